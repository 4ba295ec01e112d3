//! Figures as one writes them in the field, with a guard against the other
//! country's degrees.

use super::names::Keeper;
use crate::units::{Quantity, UnitSystem, f_to_c};

/// A low above this is asked back: nobody notes one for a frost, °C.
const WARM_LOW_C: f64 = 15.0;

/// No low that one notes at fruit trees lies below this, °C.
const COLDEST_LOW_C: f64 = -40.0;

/// A low further than this from that of the weather record is asked back, K.
const FAR_FROM_RECORD_K: f64 = 12.0;

/// Rain of one reading from which it is asked back, mm.
const MUCH_RAIN_MM: f64 = 250.0;

/// A number and what stands behind it.
fn parts(text: &str) -> Option<(f64, String)> {
    let text = text.trim().replace('\u{2212}', "-").replace(',', ".");
    let end = text
        .char_indices()
        .find(|(at, c)| !(c.is_ascii_digit() || *c == '.' || (*at == 0 && matches!(c, '-' | '+'))))
        .map_or(text.len(), |(at, _)| at);
    let (number, rest) = text.split_at(end);
    let value: f64 = number.parse().ok()?;
    Some((value, rest.trim().to_lowercase()))
}

/// A low in the unit meant and in the other one: `28 °C (82 °F)`.
fn both(low_c: f64, celsius: bool) -> String {
    let (c, f) = (UnitSystem::Metric, UnitSystem::Us);
    let (first, second) = if celsius { (c, f) } else { (f, c) };
    format!(
        "{} ({})",
        first.temperature(low_c),
        second.temperature(low_c)
    )
}

/// A lowest temperature: `28F`, `-2C`, or a bare number in the keeper's own
/// unit. One that can hardly be in its unit is asked back. `known_c` is the
/// low of the weather record, where there is one.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn low(
    text: &str,
    units: UnitSystem,
    known_c: Option<f64>,
    keeper: Keeper,
) -> Result<f64, String> {
    let not_one = || format!("\"{text}\" is no temperature; write 28F or -2C");
    let (value, unit) = parts(text).ok_or_else(not_one)?;
    let celsius = match unit.trim_start_matches(['°', ' ']).trim() {
        "" => units == UnitSystem::Metric,
        "c" | "celsius" => true,
        "f" | "fahrenheit" => false,
        _ => return Err(not_one()),
    };
    let low_c = if celsius { value } else { f_to_c(value) };
    let other_c = if celsius { f_to_c(value) } else { value };
    let bare = unit.is_empty();
    // What cannot be on this planet is no matter of the unit.
    if Quantity::Temperature.check(low_c).is_err() && Quantity::Temperature.check(other_c).is_err()
    {
        return Quantity::Temperature
            .check(low_c)
            .map_err(|error| format!("{error}; nothing was noted"));
    }
    let far = |c: f64| known_c.is_some_and(|known| (known - c).abs() > FAR_FROM_RECORD_K);
    let doubtful = low_c > WARM_LOW_C || (bare && far(low_c) && !far(other_c));
    // Only what could be a low in the other unit is asked back.
    let plausible = (COLDEST_LOW_C..=WARM_LOW_C).contains(&other_c);
    if low_c > WARM_LOW_C && !plausible {
        return Err(format!(
            "a low of {} is too warm to be one that buds could suffer from; look at the figure \
             again, or write it with --sure; nothing was noted",
            both(low_c, celsius)
        ));
    }
    if doubtful {
        let number = number_of(value);
        let (sign, other) = if celsius { ("C", "F") } else { ("F", "C") };
        let question = format!(
            "a low of {}? Did you mean {}?",
            both(low_c, celsius),
            both(other_c, !celsius)
        );
        return match keeper.yes(&question) {
            Some(true) => Quantity::Temperature
                .check(other_c)
                .map_err(|e| e.to_string()),
            Some(false) => Err("nothing was noted".to_owned()),
            None => Err(format!(
                "{question} Write {number}{other}, or {number}{sign} with --sure; nothing was noted"
            )),
        };
    }
    Quantity::Temperature
        .check(low_c)
        .map_err(|error| format!("{error}; nothing was noted"))
}

fn number_of(value: f64) -> String {
    crate::units::plain(value)
}

/// A low that the keeper is sure of: no guard but what can be on this planet.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn sure_low(text: &str, units: UnitSystem) -> Result<f64, String> {
    let (value, unit) =
        parts(text).ok_or_else(|| format!("\"{text}\" is no temperature; write 28F or -2C"))?;
    let celsius = match unit.trim_start_matches(['°', ' ']).trim() {
        "" => units == UnitSystem::Metric,
        unit => unit.starts_with('c'),
    };
    let low_c = if celsius { value } else { f_to_c(value) };
    Quantity::Temperature
        .check(low_c)
        .map_err(|error| format!("{error}; nothing was noted"))
}

/// Rain of the gauge: `0.5in`, `12mm`, or a bare number in the keeper's own
/// unit, mm.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn rain(text: &str, units: UnitSystem, keeper: Keeper) -> Result<f64, String> {
    let not_one = || format!("\"{text}\" is no rain; write 0.5in or 12mm");
    let (value, unit) = parts(text).ok_or_else(not_one)?;
    let rain_mm = match (unit.as_str(), units) {
        ("in" | "inch" | "inches" | "\"", _) | ("", UnitSystem::Us) => value * 25.4,
        ("mm", _) | ("", UnitSystem::Metric) => value,
        ("cm", _) => value * 10.0,
        _ => return Err(not_one()),
    };
    if rain_mm > MUCH_RAIN_MM {
        let question = format!(
            "{} in ({} mm) in one reading is very much; is it so?",
            number_of(rain_mm / 25.4),
            rain_mm.round()
        );
        match keeper.yes(&question) {
            Some(true) => {}
            Some(false) => return Err("nothing was noted".to_owned()),
            None => {
                return Err(format!(
                    "{question} Write the unit, 12mm or 0.5in, and note a flood in parts; \
                     nothing was noted"
                ));
            }
        }
    }
    Quantity::Rain
        .check(rain_mm)
        .map_err(|error| format!("{error}; nothing was noted"))
}

/// A length of shoots, cm.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn length(text: &str, units: UnitSystem) -> Result<f64, String> {
    let not_one = || format!("\"{text}\" is no length; write 14in or 35cm");
    let (value, unit) = parts(text).ok_or_else(not_one)?;
    let cm = match (unit.as_str(), units) {
        ("in" | "inch" | "inches" | "\"", _) | ("", UnitSystem::Us) => value * 2.54,
        ("cm", _) | ("", UnitSystem::Metric) => value,
        ("ft", _) => value * 30.48,
        ("mm", _) => value / 10.0,
        ("m", _) => value * 100.0,
        _ => return Err(not_one()),
    };
    if (0.0..=400.0).contains(&cm) {
        Ok(cm)
    } else {
        Err(format!(
            "a year's growth of {text} cannot be: it lies between 0 and 13 ft (4 m); nothing was noted"
        ))
    }
}

/// What was said of a crop: a weight picked, or a share of a full one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// kg.
    Weight(f64),
    /// 0 to 1.
    Share(f64),
}

/// A crop picked or judged: `45lb`, `20kg`, `60%`, or a bare number in the
/// keeper's own unit of weight.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn amount(text: &str, units: UnitSystem) -> Result<Amount, String> {
    let not_one = || {
        format!("\"{text}\" is no amount of fruit; write a weight, 45lb or 20kg, or a share, 60%")
    };
    let (value, unit) = parts(text).ok_or_else(not_one)?;
    if unit == "%" {
        return share(text).map(Amount::Share);
    }
    let kg = match (unit.as_str(), units) {
        ("lb" | "lbs" | "pound" | "pounds", _) | ("", UnitSystem::Us) => value * 0.453_592_37,
        ("kg", _) | ("", UnitSystem::Metric) => value,
        ("g", _) => value / 1000.0,
        ("oz", _) => value * 0.028_349_5,
        _ => return Err(not_one()),
    };
    if (0.0..=1_000_000.0).contains(&kg) {
        Ok(Amount::Weight(kg))
    } else {
        Err(format!("a crop of {text} cannot be; nothing was noted"))
    }
}

/// A share: `30%`, `0.3`.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn share(text: &str) -> Result<f64, String> {
    let (value, unit) = parts(text).ok_or_else(|| format!("\"{text}\" is no share; write 30%"))?;
    let share = match unit.as_str() {
        "%" => value / 100.0,
        "" if value <= 1.0 => value,
        _ => return Err(format!("\"{text}\" is no share; write 30% or 0.3")),
    };
    if (0.0..=1.0).contains(&share) {
        Ok(share)
    } else {
        Err(format!(
            "a share of {text} cannot be: it lies between 0 and 100 %; nothing was noted"
        ))
    }
}

/// How bad: `3` or `3/5` on the scale of 0 to 5, or `30%`.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn severity(text: &str) -> Result<crate::facts::journal::Severity, String> {
    use crate::facts::journal::Severity;
    if text.trim().ends_with('%') {
        return share(text).map(Severity::Share);
    }
    let grade = text.trim().trim_end_matches("/5").parse::<u8>().ok();
    match grade.filter(|grade| *grade <= 5) {
        Some(grade) => Ok(Severity::Grade(grade)),
        None => Err(format!(
            "\"{text}\" is no severity; write 0 (none) to 5 (all of it), or a share, 30%; \
             nothing was noted"
        )),
    }
}

/// Buds dead of buds cut: `60/100`.
///
/// # Errors
/// What is wrong, and how to write it.
pub fn dead_of(text: &str) -> Result<(u32, u32), String> {
    let halves = text.split_once('/').or_else(|| text.split_once(" of "));
    let read = halves.and_then(|(dead, cut)| {
        let number = |text: &str| text.trim().parse::<u32>().ok();
        Some((number(dead)?, number(cut)?))
    });
    match read {
        Some((dead, cut)) if dead <= cut && cut > 0 => Ok((dead, cut)),
        Some((dead, cut)) => Err(format!(
            "{dead} dead of {cut} cut cannot be; write dead first, 60/100; nothing was noted"
        )),
        None => Err(format!(
            "\"{text}\" is no count; write dead of cut, 60/100; nothing was noted"
        )),
    }
}

/// The low in both systems, for what is said back.
pub fn low_text(low_c: f64, units: UnitSystem) -> String {
    let other = match units {
        UnitSystem::Us => UnitSystem::Metric,
        UnitSystem::Metric => UnitSystem::Us,
    };
    format!(
        "{} ({})",
        units.temperature(low_c),
        other.temperature(low_c)
    )
}

/// A weight in the keeper's unit.
pub fn weight_text(kg: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Us => format!("{} lb", tenth(kg / 0.453_592_37)),
        UnitSystem::Metric => format!("{} kg", tenth(kg)),
    }
}

/// A length in the keeper's unit.
pub fn length_text(cm: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Us => format!("{} in", tenth(cm / 2.54)),
        UnitSystem::Metric => format!("{} cm", tenth(cm)),
    }
}

fn tenth(value: f64) -> String {
    crate::units::plain((value * 10.0).round() / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_low_in_the_other_countrys_degrees_is_asked_back() {
        let away = Keeper::Away;
        let near = |a: Result<f64, String>, b: f64| assert!((a.unwrap() - b).abs() < 1e-9);
        near(low("28F", UnitSystem::Metric, None, away), f_to_c(28.0));
        near(low("-2C", UnitSystem::Us, None, away), -2.0);
        near(low("28", UnitSystem::Us, None, away), f_to_c(28.0));
        near(low("-2,5 °C", UnitSystem::Metric, None, away), -2.5);
        assert_eq!(
            low("28", UnitSystem::Metric, None, away).unwrap_err(),
            "a low of 28 °C (82 °F)? Did you mean 28 °F (-2.2 °C)? Write 28F, or 28C with --sure; \
             nothing was noted"
        );
        // A bare -2 of a °F keeper on a night that the record puts at -1 °C.
        let why = low("-2", UnitSystem::Us, Some(-1.0), away).unwrap_err();
        assert!(why.contains("Did you mean -2 °C"), "{why}");
        near(low("-2", UnitSystem::Us, None, away), f_to_c(-2.0));
        assert_eq!(
            low("cold", UnitSystem::Us, None, away).unwrap_err(),
            "\"cold\" is no temperature; write 28F or -2C"
        );
        assert!(low("-99C", UnitSystem::Us, None, away).is_err());
        let why = low("270F", UnitSystem::Us, None, away).unwrap_err();
        assert!(!why.contains("Did you mean"), "{why}");
        let why = low("70F", UnitSystem::Us, None, away).unwrap_err();
        assert!(
            !why.contains("Did you mean"),
            "70 °C is no low either: {why}"
        );
    }

    #[test]
    fn other_figures() {
        let away = Keeper::Away;
        assert_eq!(rain("0.5in", UnitSystem::Metric, away), Ok(12.7));
        assert_eq!(rain("12", UnitSystem::Metric, away), Ok(12.0));
        assert!(
            rain("25", UnitSystem::Us, away).is_err(),
            "25 in is asked back"
        );
        assert!(rain("-1mm", UnitSystem::Us, away).is_err());
        assert_eq!(share("30%"), Ok(0.3));
        assert!(share("130%").is_err());
        assert_eq!(dead_of("60/100"), Ok((60, 100)));
        assert_eq!(
            dead_of("100/60").unwrap_err(),
            "100 dead of 60 cut cannot be; write dead first, 60/100; nothing was noted"
        );
        assert_eq!(length("35cm", UnitSystem::Us), Ok(35.0));
        assert_eq!(amount("60%", UnitSystem::Us), Ok(Amount::Share(0.6)));
        assert!(severity("6").is_err());
        for odd in ["", "é", "°", "--2", "1e9lb", "NaN", "inf"] {
            assert!(low(odd, UnitSystem::Us, None, away).is_err(), "{odd}");
            assert!(dead_of(odd).is_err(), "{odd}");
        }
    }
}
