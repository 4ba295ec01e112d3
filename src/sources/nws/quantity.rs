//! Values as the service writes them: `{unitCode, value, qualityControl}`,
//! and its units by the code, never by the field.

use super::super::error::Fault;
use super::super::reply::clean;
use crate::units::Quantity;
use serde_json::Value;

/// What a value says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Said {
    /// A value in SI units, and whether the service's own checks passed it.
    Value {
        /// In the SI unit of its quantity.
        si: f64,
        /// Whether it passed; otherwise it was not checked.
        checked: bool,
    },
    /// The service does not know.
    Nothing,
    /// The service's checks failed it.
    Failed,
}

/// Reads a value with its unit and its quality flag.
///
/// V, S, C and G passed, Z and none were not checked, all others failed
/// (reference: weather-sources 2.5). T passed too: it stands for a temperature
/// whose virtual temperature could not be had (from memory of the flags'
/// table).
///
/// # Errors
/// [`Fault`] when there is a value in a unit that is not known.
pub(super) fn said(value: Option<&Value>, quantity: Quantity) -> Result<Said, Fault> {
    let number = |name: &str| value.and_then(|value| value.get(name)?.as_f64());
    // Of a span, as newer forecasts of the wind have it, the middle.
    let span = || number("minValue").zip(number("maxValue"));
    let middle = || span().map(|(least, most)| f64::midpoint(least, most));
    let Some(number) = number("value").or_else(middle) else {
        return Ok(Said::Nothing);
    };
    let flag = value
        .and_then(|value| value.get("qualityControl"))
        .and_then(Value::as_str);
    // `qc:V` in 2019.
    let checked = match flag.map(|flag| flag.rsplit(':').next().unwrap_or(flag)) {
        Some("V" | "S" | "C" | "G" | "T") => true,
        Some("Z" | "") | None => false,
        Some(_) => return Ok(Said::Failed),
    };
    let code = value.and_then(|value| {
        let code = value.get("unitCode").or_else(|| value.get("uom"))?;
        code.as_str()
    });
    let si = to_si(number, code, quantity)?;
    Ok(Said::Value { si, checked })
}

/// A value in the SI unit of its quantity.
///
/// # Errors
/// [`Fault`] when the unit is missing or not known.
pub(super) fn to_si(value: f64, code: Option<&str>, quantity: Quantity) -> Result<f64, Fault> {
    let Some(code) = code else {
        return Err(Fault::unknown_form(format!(
            "a {} has no unit",
            quantity.measure().name
        )));
    };
    // `wmoUnit:degC`, `unit:degC` in 2019, or a whole address.
    let short = code.rsplit([':', '/']).next().unwrap_or(code);
    let (scale, offset) = match (quantity, short) {
        (Quantity::Temperature, "degC") => (1.0, 0.0),
        (Quantity::Temperature, "degF") => (5.0 / 9.0, -160.0 / 9.0),
        (Quantity::Temperature, "K") => (1.0, -273.15),
        (Quantity::Wind, "m_s-1") => (1.0, 0.0),
        (Quantity::Wind, "km_h-1") => (1.0 / 3.6, 0.0),
        (Quantity::Wind, "kt") => (0.514_444, 0.0),
        (Quantity::Wind, "mi_h-1") => (0.447_04, 0.0),
        (Quantity::Rain, "mm" | "kg_m-2") => (1.0, 0.0),
        (Quantity::Rain, "cm") => (10.0, 0.0),
        (Quantity::Rain, "m") => (1_000.0, 0.0),
        (Quantity::Rain, "in" | "[in_i]") => (25.4, 0.0),
        (Quantity::Humidity, "percent") => (1.0, 0.0),
        (Quantity::Elevation, "m") => (1.0, 0.0),
        (Quantity::Elevation, "ft") => (0.304_8, 0.0),
        // Plain words, as the worded forecasts have them.
        _ => match quantity.unit(short) {
            Some(unit) => (unit.scale, unit.offset),
            None => {
                return Err(Fault::unknown_form(format!(
                    "a {} is in \"{}\", which is not known",
                    quantity.measure().name,
                    clean(code)
                )));
            }
        },
    };
    Ok(value * scale + offset)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn units_go_by_their_code() {
        let c = |code| to_si(50.0, Some(code), Quantity::Temperature).unwrap();
        assert_eq!(c("wmoUnit:degC"), 50.0);
        assert_eq!(c("unit:degC"), 50.0);
        assert!((c("wmoUnit:degF") - 10.0).abs() < 1e-9);
        assert!((c("F") - 10.0).abs() < 1e-9);
        let address = "http://codes.wmo.int/common/unit/K";
        assert!((c(address) + 223.15).abs() < 1e-9);
        let rain = to_si(0.0012, Some("unit:m"), Quantity::Rain).unwrap();
        assert!((rain - 1.2).abs() < 1e-9, "2019: rain in metres");
        assert!(to_si(1.0, Some("wmoUnit:furlong"), Quantity::Wind).is_err());
        assert!(to_si(1.0, None, Quantity::Wind).is_err());
    }

    #[test]
    fn flags_decide() {
        let of = |flag: Value| {
            let value = json!({"unitCode": "wmoUnit:degC", "value": 1, "qualityControl": flag});
            said(Some(&value), Quantity::Temperature).unwrap()
        };
        let value = |checked| Said::Value { si: 1.0, checked };
        assert_eq!(of(json!("V")), value(true));
        assert_eq!(of(json!("qc:V")), value(true), "2019");
        assert_eq!(of(json!("qc:X")), Said::Failed);
        assert_eq!(of(json!("Z")), value(false));
        assert_eq!(of(Value::Null), value(false));
        assert_eq!(of(json!("X")), Said::Failed);
        assert_eq!(of(json!("Q")), Said::Failed);
        // A null with any flag, an empty object, nothing.
        let null = json!({"unitCode": "wmoUnit:degC", "value": null, "qualityControl": "V"});
        for nothing in [Some(&null), Some(&json!({})), Some(&json!(null)), None] {
            assert_eq!(said(nothing, Quantity::Temperature), Ok(Said::Nothing));
        }
    }
}
