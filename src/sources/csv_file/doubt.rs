//! Units that a header tells but the values belie.

use super::header::Field;
use super::layout::Measured;
use super::report::grouped;
use crate::units::{Quantity, plain};

/// What a column held, in its own unit.
#[derive(Clone, Debug, Default)]
pub(super) struct ColumnSum {
    /// Values that were kept.
    pub known: usize,
    /// Empty fields and marks for missing.
    pub unknown: usize,
    seen: usize,
    most: Option<f64>,
    /// Too hot for Celsius, and the first line.
    hot: Heat,
    /// Too hot for Fahrenheit, and the first line.
    absurd: Heat,
}

#[derive(Clone, Copy, Debug, Default)]
struct Heat {
    count: usize,
    line: usize,
}

/// A unit that is hardly right.
pub(super) struct Doubt {
    /// The line of the first value that shows it; `None` for the header.
    pub line: Option<usize>,
    /// What is odd and what to set.
    pub what: String,
    /// The surer of two doubts is told.
    pub weight: u8,
}

impl Heat {
    fn see(&mut self, line: usize) {
        self.count += 1;
        if self.count == 1 {
            self.line = line;
        }
    }

    /// Three values and one of 200 are a wrong unit, fewer are slips.
    fn is_no_slip(self, of: usize) -> bool {
        self.count >= 3 && self.count * 200 >= of
    }
}

impl ColumnSum {
    /// Notes a number of the column.
    pub fn see(&mut self, number: f64, line: usize) {
        self.seen += 1;
        self.most = Some(self.most.map_or(number, |most| most.max(number)));
        if number > 130.0 && number < 700.0 {
            self.absurd.see(line);
        } else if number > 55.0 && number <= 130.0 {
            self.hot.see(line);
        }
    }

    /// Whether the unit is hardly right. The limits are our own judgement: no
    /// orchard reads above 55 °C, no air above 130 °F, and no place with
    /// orchards stays below 50 °F for most of a year.
    pub fn doubt(&self, measured: &Measured) -> Option<Doubt> {
        let key = measured.field.name();
        let most = plain(self.most.unwrap_or(0.0));
        let seen = grouped(self.seen);
        let share = |heat: Heat| format!("{} of {seen} values", grouped(heat.count));
        let doubt = |line: usize, weight: u8, what: String| {
            Some(Doubt {
                line: (line > 0).then_some(line),
                what,
                weight,
            })
        };
        let mend = |unit: &str, said: &str| {
            format!(
                "set unit.temperature = {unit} (or unit.{key} for this column alone), or \
                 unit.{key} = {said} if that is right"
            )
        };
        match (measured.quantity, measured.unit.symbol) {
            (Quantity::Temperature, "°C") if self.absurd.is_no_slip(self.seen) => doubt(
                self.absurd.line,
                3,
                format!(
                    "is said to be in °C, but {} are above 130, up to {most}: it looks like \
                     tenths of °C; {}",
                    share(self.absurd),
                    mend("0.1 °C", "°C")
                ),
            ),
            (Quantity::Temperature, "°C") if self.hot.is_no_slip(self.seen) => doubt(
                self.hot.line,
                2,
                format!(
                    "is said to be in °C, but {} are above 55, up to {most}: it looks like °F; {}",
                    share(self.hot),
                    mend("°F", "°C")
                ),
            ),
            (Quantity::Temperature, "°F") if self.is_cold_all_year(measured.field) => doubt(
                0,
                2,
                format!(
                    "is said to be in °F, but none of {seen} values is above {most}: it looks \
                     like °C; {}",
                    mend("°C", "°F")
                ),
            ),
            (Quantity::Humidity, _) if self.seen >= 24 && self.most.is_some_and(|m| m <= 1.0) => {
                doubt(
                    0,
                    1,
                    format!(
                        "is never above {most}: it looks like a fraction, not percent; multiply \
                         it by 100, or set column.{key} = none to leave it out, or unit.{key} = % \
                         if it is right"
                    ),
                )
            }
            _ => None,
        }
    }

    fn is_cold_all_year(&self, field: Field) -> bool {
        let most_of_a_year = match field {
            Field::High => 300,
            Field::Temperature => 7_000,
            _ => return false,
        };
        self.seen >= most_of_a_year && self.most.is_some_and(|most| most <= 50.0)
    }
}
