//! What one field says: a number, a mark for missing, or neither.

use crate::units::{Quantity, Unit};

/// What a field says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Value {
    /// A number in the unit of its column.
    Known(f64),
    /// Empty or a mark for missing.
    Unknown,
    /// A trace of rain: too little to measure.
    Trace,
    /// Anything else.
    NotANumber,
}

/// Words that loggers and agencies write where nothing was measured.
const MISSING_WORDS: [&str; 11] = [
    "na", "n/a", "nan", "-", "--", "---", "m", "null", "none", "nil", "missing",
];

/// Numbers that stand for missing.
const MISSING_NUMBERS: [f64; 6] = [-99.0, -99.9, -999.0, -999.9, -9999.0, 9999.0];

/// Of these, the ones that can be no reading even in tenths.
const MISSING_TENTHS: [f64; 2] = [-9999.0, 9999.0];

/// Reads a field. A decimal comma is read where the separator is not a comma.
pub(super) fn value(text: &str, quantity: Quantity, unit: &Unit, decimal_comma: bool) -> Value {
    let text = text.trim();
    if text.is_empty() {
        return Value::Unknown;
    }
    let Some(number) = number(text, decimal_comma) else {
        if MISSING_WORDS
            .iter()
            .any(|word| word.eq_ignore_ascii_case(text))
        {
            return Value::Unknown;
        }
        if quantity == Quantity::Rain
            && (text.eq_ignore_ascii_case("t") || text.eq_ignore_ascii_case("trace"))
        {
            return Value::Trace;
        }
        return Value::NotANumber;
    };
    let fine = unit.scale < 1.0 && unit.symbol.starts_with("0.");
    let marks: &[f64] = if fine {
        &MISSING_TENTHS
    } else {
        &MISSING_NUMBERS
    };
    if marks.contains(&number) {
        Value::Unknown
    } else {
        Value::Known(number)
    }
}

fn number(text: &str, decimal_comma: bool) -> Option<f64> {
    let digits = |text: &str| {
        text.bytes()
            .all(|byte| matches!(byte, b'0'..=b'9' | b'.' | b'+' | b'-' | b'e' | b'E'))
    };
    if digits(text) {
        return text.parse().ok().filter(|number: &f64| number.is_finite());
    }
    let text = text.replace('\u{2212}', "-");
    let text = if decimal_comma && text.matches(',').count() == 1 && !text.contains('.') {
        text.replace(',', ".")
    } else {
        text
    };
    digits(&text)
        .then(|| text.parse().ok().filter(|number: &f64| number.is_finite()))
        .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_say_numbers_marks_or_nothing() {
        let celsius = Quantity::Temperature.measure().units[0];
        let rain = Quantity::Rain.measure().units[0];
        let read = |text| value(text, Quantity::Temperature, &celsius, true);
        assert_eq!(read(" -3,5 "), Value::Known(-3.5));
        assert_eq!(read("\u{2212}3.5"), Value::Known(-3.5));
        assert_eq!(read("1e1"), Value::Known(10.0));
        assert_eq!(read("-99.9"), Value::Unknown);
        for text in ["", "NA", "nan", "NaN", "M", "--", "-9999", "9999.0", "-99"] {
            assert_eq!(read(text), Value::Unknown, "{text}");
        }
        for text in [
            "inf",
            "-infinity",
            "1e999",
            "1.234,5",
            "12F",
            "T",
            "0x10",
            "1 000",
        ] {
            assert_eq!(read(text), Value::NotANumber, "{text}");
        }
        assert_eq!(value("T", Quantity::Rain, &rain, false), Value::Trace);
        assert_eq!(
            value("1,5", Quantity::Rain, &rain, false),
            Value::NotANumber
        );
    }
}
