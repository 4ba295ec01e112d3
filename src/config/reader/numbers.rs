//! Bare numbers, answers of yes or no, and quantities with their unit.

use super::{At, Table};
use crate::units::Quantity;
use toml::de::DeValue;

impl<'s, 'a> Table<'s, 'a> {
    /// A bare number, if the key is there.
    pub fn number_at(&self, key: &str) -> Option<At<f64>> {
        let value = self.value(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(integer) => {
                i64::from_str_radix(&integer.as_str().replace('_', ""), integer.radix())
                    .ok()
                    .map(|integer| integer as f64)
            }
            DeValue::Float(float) => float.as_str().replace('_', "").parse().ok(),
            _ => {
                self.wrong_type(key, value, "a number without quotes");
                return None;
            }
        };
        match number.filter(|number: &f64| number.is_finite()) {
            Some(number) => Some(At {
                value: number,
                span: value.span(),
            }),
            None => {
                self.fault_at(value.span(), key, "is not a number that can be used".into());
                None
            }
        }
    }

    /// A bare number within bounds, if the key is there.
    pub fn maybe_number(&self, key: &str, least: f64, most: f64) -> Option<f64> {
        let at = self.number_at(key)?;
        if (least..=most).contains(&at.value) {
            return Some(at.value);
        }
        self.fault_at(
            at.span,
            key,
            format!("{} cannot be: it lies between {least} and {most}", at.value),
        );
        None
    }

    /// A bare number within bounds that must be there.
    pub fn number(&self, key: &str, least: f64, most: f64) -> Option<f64> {
        if self.value(key).is_none() {
            self.missing(key, &format!("{least}"));
            return None;
        }
        self.maybe_number(key, least, most)
    }

    /// A whole number within bounds, if the key is there.
    pub fn maybe_whole(&self, key: &str, least: i64, most: i64) -> Option<i64> {
        let at = self.number_at(key)?;
        if at.value.fract() != 0.0 {
            self.fault_at(
                at.span,
                key,
                format!("should be a whole number, not {}", at.value),
            );
            return None;
        }
        if (least as f64..=most as f64).contains(&at.value) {
            return Some(at.value as i64);
        }
        self.fault_at(
            at.span,
            key,
            format!("{} cannot be: it lies between {least} and {most}", at.value),
        );
        None
    }

    /// `true` or `false`; missing means `otherwise`.
    pub fn flag(&self, key: &str, otherwise: bool) -> bool {
        self.maybe_flag(key).unwrap_or(otherwise)
    }

    /// True or false, if the key is there.
    pub fn maybe_flag(&self, key: &str) -> Option<bool> {
        let value = self.value(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong_type(key, value, "true or false, without quotes");
        }
        flag
    }

    /// A quantity with its unit, such as `"28 °F"`, if the key is there.
    /// Latitude and longitude may be bare numbers.
    pub fn maybe_quantity(&self, key: &str, quantity: Quantity) -> Option<f64> {
        let value = self.value(key)?;
        let bare = matches!(quantity, Quantity::Latitude | Quantity::Longitude);
        let result = match value.get_ref() {
            DeValue::String(text) => quantity.read(text),
            DeValue::Integer(_) | DeValue::Float(_) => {
                let number = self.number_at(key)?;
                if !bare {
                    self.fault_at(
                        number.span,
                        key,
                        format!(
                            "{} has no unit; write it in quotes with one, such as \"{}\"",
                            number.value,
                            quantity.example()
                        ),
                    );
                    return None;
                }
                quantity.check(number.value)
            }
            _ => {
                let wanted = match bare {
                    true => format!("a number such as {}", quantity.example()),
                    false => format!("a text such as \"{}\"", quantity.example()),
                };
                self.wrong_type(key, value, &wanted);
                return None;
            }
        };
        match result {
            Ok(si) => Some(si),
            Err(error) => {
                self.fault_at(value.span(), key, error.to_string());
                None
            }
        }
    }

    /// A quantity that must be there.
    pub fn quantity(&self, key: &str, quantity: Quantity) -> Option<f64> {
        if self.value(key).is_none() {
            let bare = matches!(quantity, Quantity::Latitude | Quantity::Longitude);
            let quote = if bare { "" } else { "\"" };
            self.missing(key, &format!("{quote}{}{quote}", quantity.example()));
            return None;
        }
        self.maybe_quantity(key, quantity)
    }

    /// A pair of bare numbers, least and most: `[10, 15]`; one number stands
    /// for both.
    pub fn span_of(&self, key: &str) -> Option<(f64, f64)> {
        let value = self.value(key)?;
        let Some(list) = value.get_ref().as_array() else {
            return self.number_at(key).map(|at| (at.value, at.value));
        };
        let numbers: Vec<f64> = list
            .iter()
            .filter_map(|item| match item.get_ref() {
                DeValue::Integer(integer) => integer.as_str().parse().ok(),
                DeValue::Float(float) => float.as_str().parse().ok(),
                _ => None,
            })
            .collect();
        match numbers[..] {
            [least, most] if list.iter().count() == 2 && least <= most => Some((least, most)),
            _ => {
                self.fault_at(value.span(), key, "should be [least, most]".into());
                None
            }
        }
    }

    /// One or two quantities with their unit, least and most: `"308 °F d"` or
    /// `["1150 °F d", "1200 °F d"]`; one stands for both.
    pub fn quantity_span(&self, key: &str, quantity: Quantity) -> Option<(f64, f64)> {
        let value = self.value(key)?;
        if value.get_ref().as_array().is_none() {
            return self.maybe_quantity(key, quantity).map(|one| (one, one));
        }
        let mut read = Vec::new();
        for at in self.texts(key) {
            match quantity.read(&at.value) {
                Ok(si) => read.push(si),
                Err(error) => {
                    self.fault_at(at.span, key, error.to_string());
                    return None;
                }
            }
        }
        match read[..] {
            [least, most] if least <= most => Some((least, most)),
            _ => {
                let example = quantity.example();
                let message =
                    format!("should be [least, most], such as [\"{example}\", \"{example}\"]");
                self.fault_at(value.span(), key, message);
                None
            }
        }
    }
}
