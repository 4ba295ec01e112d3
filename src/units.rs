//! Quantities with their unit.
//!
//! [`MEASURES`] is the one table of name, unit, least and most: the reader of
//! files, the messages and the tests all take their bounds from it. Files may
//! say `43 °F`, `1.5 in` or `300 ft`; the inside is SI.
//!
//! Formulas in `season/` take plain `f64` in the SI unit that the parameter's
//! name ends in (`low_c`, `rain_mm`); the types here guard the edges where a
//! figure comes in or goes out.

use std::fmt;

/// What a number measures; the key into [`MEASURES`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Air, bud or soil temperature, in °C.
    Temperature,
    /// A difference of two temperatures, in K (= °C of difference).
    TemperatureStep,
    /// Degree days, in °C days.
    DegreeDays,
    /// Rain or other water depth, in mm.
    Rain,
    /// Wind speed, in m/s.
    Wind,
    /// Relative humidity, in %.
    Humidity,
    /// Height above sea level, in m.
    Elevation,
    /// A distance on the ground, in m.
    Distance,
    /// Latitude, in degrees, north positive.
    Latitude,
    /// Longitude, in degrees, east positive.
    Longitude,
    /// A time span in days.
    Days,
    /// A time span in hours.
    Hours,
    /// Air pressure, in hPa.
    Pressure,
}

/// A unit that a file or a person may write, and how it becomes the SI unit:
/// `si = value * scale + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// The sign as we print it.
    pub symbol: &'static str,
    /// Other spellings that are read, compared without regard to case.
    pub also: &'static [&'static str],
    /// Factor to the SI unit.
    pub scale: f64,
    /// Added after scaling.
    pub offset: f64,
}

/// One row of the table: a quantity, its bounds in the SI unit, its units
/// (the first one is the SI unit of this program).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    /// Which quantity the row describes.
    pub quantity: Quantity,
    /// Its name in messages.
    pub name: &'static str,
    /// Least value that is accepted, in the first unit.
    pub least: f64,
    /// Most that is accepted, in the first unit.
    pub most: f64,
    /// The units that are read; the first is the one kept inside.
    pub units: &'static [Unit],
}

const fn unit(
    symbol: &'static str,
    also: &'static [&'static str],
    scale: f64,
    offset: f64,
) -> Unit {
    Unit {
        symbol,
        also,
        scale,
        offset,
    }
}

/// The table. Bounds are what can occur on an orchard on this planet, wide
/// enough to refuse only slips of the pen.
pub static MEASURES: [Measure; 13] = [
    Measure {
        quantity: Quantity::Temperature,
        name: "temperature",
        least: -60.0,
        most: 60.0,
        units: &[
            unit("°C", &["C", "degC", "deg C", "celsius"], 1.0, 0.0),
            unit(
                "°F",
                &["F", "degF", "deg F", "fahrenheit"],
                5.0 / 9.0,
                -160.0 / 9.0,
            ),
        ],
    },
    Measure {
        quantity: Quantity::TemperatureStep,
        name: "temperature difference",
        least: -60.0,
        most: 60.0,
        units: &[
            unit("K", &["°C", "C"], 1.0, 0.0),
            unit("°F", &["F"], 5.0 / 9.0, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::DegreeDays,
        name: "heat sum",
        least: 0.0,
        most: 10_000.0,
        units: &[
            unit("°C d", &["C-days", "C-day", "°C days"], 1.0, 0.0),
            unit("°F d", &["F-days", "F-day", "°F days"], 5.0 / 9.0, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Rain,
        name: "rain",
        least: 0.0,
        most: 2_000.0,
        units: &[
            unit("mm", &[], 1.0, 0.0),
            unit("in", &["inch", "inches", "\""], 25.4, 0.0),
            unit("cm", &[], 10.0, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Wind,
        name: "wind",
        least: 0.0,
        most: 120.0,
        units: &[
            unit("m/s", &["m_s", "mps"], 1.0, 0.0),
            unit("mph", &["mi/h"], 0.447_04, 0.0),
            unit("km/h", &["kmh", "kph"], 1.0 / 3.6, 0.0),
            unit("kn", &["kt", "knot", "knots"], 0.514_444, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Humidity,
        name: "relative humidity",
        least: 0.0,
        most: 105.0,
        units: &[unit("%", &["pct", "percent"], 1.0, 0.0)],
    },
    Measure {
        quantity: Quantity::Elevation,
        name: "elevation",
        least: -450.0,
        most: 6_000.0,
        units: &[
            unit("m", &["metre", "metres", "meter", "meters"], 1.0, 0.0),
            unit("ft", &["foot", "feet"], 0.304_8, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Distance,
        name: "distance",
        least: 0.0,
        most: 50_000.0,
        units: &[
            unit("m", &["metre", "metres", "meter", "meters"], 1.0, 0.0),
            unit("ft", &["foot", "feet"], 0.304_8, 0.0),
            unit("yd", &["yard", "yards"], 0.914_4, 0.0),
            unit("km", &[], 1_000.0, 0.0),
            unit("mi", &["mile", "miles"], 1_609.344, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Latitude,
        name: "latitude",
        least: -90.0,
        most: 90.0,
        units: &[unit("°", &["deg", "degrees"], 1.0, 0.0)],
    },
    Measure {
        quantity: Quantity::Longitude,
        name: "longitude",
        least: -180.0,
        most: 180.0,
        units: &[unit("°", &["deg", "degrees"], 1.0, 0.0)],
    },
    Measure {
        quantity: Quantity::Days,
        name: "time span",
        least: 0.0,
        most: 4_000.0,
        units: &[
            unit("d", &["day", "days"], 1.0, 0.0),
            unit("weeks", &["week", "w"], 7.0, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Hours,
        name: "time span",
        least: 0.0,
        most: 10_000.0,
        units: &[
            unit("h", &["hour", "hours"], 1.0, 0.0),
            unit("min", &["minute", "minutes"], 1.0 / 60.0, 0.0),
        ],
    },
    Measure {
        quantity: Quantity::Pressure,
        name: "air pressure",
        least: 500.0,
        most: 1_100.0,
        units: &[
            unit("hPa", &["mbar", "mb"], 1.0, 0.0),
            unit("inHg", &["in Hg"], 33.863_9, 0.0),
        ],
    },
];

/// Why a text is not a value of a quantity.
#[derive(Clone, Debug, PartialEq)]
pub enum UnitError {
    /// No number at the start.
    NotANumber {
        /// The text as given.
        text: String,
        /// What was wanted.
        quantity: Quantity,
    },
    /// A number without a unit where one is needed.
    NoUnit {
        /// The text as given.
        text: String,
        /// What was wanted.
        quantity: Quantity,
    },
    /// A unit of something else, or of nothing known.
    WrongUnit {
        /// The unit as given.
        unit: String,
        /// What was wanted.
        quantity: Quantity,
    },
    /// A value out of the table's bounds.
    OutOfRange {
        /// The value in the unit it was given in.
        value: f64,
        /// That unit.
        unit: Unit,
        /// What was wanted.
        quantity: Quantity,
    },
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            UnitError::NotANumber { text, quantity } => {
                let row = quantity.measure();
                write!(
                    f,
                    "\"{text}\" is not a {}; write a number and its unit, such as \"{}\"",
                    row.name,
                    quantity.example()
                )
            }
            UnitError::NoUnit { text, quantity } => {
                let row = quantity.measure();
                write!(
                    f,
                    "\"{text}\" has no unit; write {} as \"{}\"",
                    row.name,
                    quantity.example()
                )
            }
            UnitError::WrongUnit { unit, quantity } => {
                let row = quantity.measure();
                let known: Vec<&str> = row.units.iter().map(|u| u.symbol).collect();
                write!(
                    f,
                    "\"{unit}\" is not a unit of {}; use {}",
                    row.name,
                    known.join(" or ")
                )
            }
            UnitError::OutOfRange {
                value,
                unit,
                quantity,
            } => {
                let row = quantity.measure();
                write!(
                    f,
                    "{} {} cannot be: it lies between {} and {} {}",
                    row.name,
                    with_unit(*value, unit.symbol),
                    plain(unit.from_si(row.least)),
                    plain(unit.from_si(row.most)),
                    unit.symbol
                )
            }
        }
    }
}

impl std::error::Error for UnitError {}

impl Quantity {
    /// The row of [`MEASURES`] for this quantity.
    pub fn measure(self) -> &'static Measure {
        let found = MEASURES.iter().find(|row| row.quantity == self);
        // Every variant has a row; `every_quantity_has_its_row` holds it.
        found.unwrap_or(&MEASURES[0])
    }

    /// A value as a person would write it, for messages.
    pub fn example(self) -> &'static str {
        match self {
            Quantity::Temperature => "28 °F",
            Quantity::TemperatureStep => "2 °F",
            Quantity::DegreeDays => "120 °F d",
            Quantity::Rain => "0.5 in",
            Quantity::Wind => "8 mph",
            Quantity::Humidity => "90 %",
            Quantity::Elevation => "850 ft",
            Quantity::Distance => "300 ft",
            Quantity::Latitude => "38.9",
            Quantity::Longitude => "-78.2",
            Quantity::Days => "14 d",
            Quantity::Hours => "6 h",
            Quantity::Pressure => "1013 hPa",
        }
    }

    /// Checks a value that is already in the SI unit.
    ///
    /// # Errors
    /// [`UnitError::OutOfRange`] when it lies outside the table's bounds or is
    /// not finite.
    pub fn check(self, si: f64) -> Result<f64, UnitError> {
        self.check_as(si, self.measure().units[0])
    }

    fn check_as(self, si: f64, unit: Unit) -> Result<f64, UnitError> {
        let row = self.measure();
        if si.is_finite() && (row.least - 1e-9..=row.most + 1e-9).contains(&si) {
            Ok(si)
        } else {
            Err(UnitError::OutOfRange {
                value: unit.from_si(si),
                unit,
                quantity: self,
            })
        }
    }

    /// Finds a unit of this quantity by its sign or another spelling.
    pub fn unit(self, text: &str) -> Option<Unit> {
        let wanted = text.trim();
        self.measure().units.iter().copied().find(|unit| {
            unit.symbol.eq_ignore_ascii_case(wanted)
                || unit
                    .also
                    .iter()
                    .any(|name| name.eq_ignore_ascii_case(wanted))
        })
    }

    /// Reads `"43 °F"`, `"0.5in"`, `"-2 C"` and returns the SI value.
    ///
    /// Latitude and longitude may stand without a unit.
    ///
    /// # Errors
    /// [`UnitError`] says which part is wrong and how to mend it.
    pub fn read(self, text: &str) -> Result<f64, UnitError> {
        let trimmed = text.trim();
        let end = number_end(trimmed);
        let (number, rest) = trimmed.split_at(end);
        let value: f64 =
            number
                .replace('\u{2212}', "-")
                .parse()
                .map_err(|_| UnitError::NotANumber {
                    text: text.to_owned(),
                    quantity: self,
                })?;
        let rest = rest.trim();
        let unit = if rest.is_empty() {
            if matches!(self, Quantity::Latitude | Quantity::Longitude) {
                self.measure().units[0]
            } else {
                return Err(UnitError::NoUnit {
                    text: text.to_owned(),
                    quantity: self,
                });
            }
        } else {
            self.unit(rest).ok_or_else(|| UnitError::WrongUnit {
                unit: rest.to_owned(),
                quantity: self,
            })?
        };
        self.check_as(unit.to_si(value), unit)
    }
}

impl Unit {
    /// To the SI unit.
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.scale + self.offset
    }

    /// From the SI unit.
    pub fn from_si(&self, si: f64) -> f64 {
        (si - self.offset) / self.scale
    }
}

/// Where the number at the start of a text ends.
fn number_end(text: &str) -> usize {
    text.char_indices()
        .find(|&(at, c)| {
            let sign = at == 0 && matches!(c, '-' | '+' | '\u{2212}');
            !(c.is_ascii_digit() || c == '.' || sign)
        })
        .map_or(text.len(), |(at, _)| at)
}

/// A number without needless zeros, at most two decimals.
pub fn plain(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

fn with_unit(value: f64, symbol: &str) -> String {
    format!("{} {symbol}", plain(value))
}

/// Fahrenheit to Celsius.
pub fn f_to_c(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

/// Celsius to Fahrenheit.
pub fn c_to_f(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

/// Which units the user wants to see.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum UnitSystem {
    /// °F, inches, feet.
    #[default]
    Us,
    /// °C, millimetres, metres.
    Metric,
}

impl UnitSystem {
    /// A temperature in whole degrees, such as `28 °F`; a tenth where the
    /// metric system needs it (`-2.2 °C`).
    pub fn temperature(self, celsius: f64) -> String {
        match self {
            UnitSystem::Us => format!("{} °F", whole(c_to_f(celsius))),
            UnitSystem::Metric => format!("{} °C", plain((celsius * 10.0).round() / 10.0)),
        }
    }

    /// A depth of rain.
    pub fn rain(self, millimetres: f64) -> String {
        match self {
            UnitSystem::Us => format!("{} in", plain(millimetres / 25.4)),
            UnitSystem::Metric => format!("{} mm", whole(millimetres)),
        }
    }

    /// A wind speed: `9 mph`, `4 m/s`.
    pub fn wind(self, metres_per_second: f64) -> String {
        match self {
            UnitSystem::Us => format!("{:.0} mph", metres_per_second / 0.447_04),
            UnitSystem::Metric => format!("{metres_per_second:.0} m/s"),
        }
    }

    /// A distance on the ground, in feet or metres; over 1000 ft in miles, over
    /// 1000 m in kilometres, to a tenth.
    pub fn distance(self, metres: f64) -> String {
        let tenth = |value: f64| plain((value * 10.0).round() / 10.0);
        match self {
            UnitSystem::Us if metres / 0.304_8 > 1000.0 => {
                format!("{} mi", tenth(metres / 1609.344))
            }
            UnitSystem::Metric if metres > 1000.0 => format!("{} km", tenth(metres / 1000.0)),
            UnitSystem::Us => format!("{} ft", whole(metres / 0.304_8)),
            UnitSystem::Metric => format!("{} m", whole(metres)),
        }
    }

    /// A heat sum.
    pub fn degree_days(self, celsius_days: f64) -> String {
        match self {
            UnitSystem::Us => format!("{} °F days", whole(celsius_days * 1.8)),
            UnitSystem::Metric => format!("{} °C days", whole(celsius_days)),
        }
    }
}

/// Rounds half away from zero and never prints a negative nought.
fn whole(value: f64) -> String {
    let rounded = value.round();
    if rounded == 0.0 {
        "0".to_owned()
    } else {
        format!("{rounded:.0}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_quantity_has_its_row() {
        use Quantity::*;
        for quantity in [
            Temperature,
            TemperatureStep,
            DegreeDays,
            Rain,
            Wind,
            Humidity,
            Elevation,
            Distance,
            Latitude,
            Longitude,
            Days,
            Hours,
            Pressure,
        ] {
            let row = quantity.measure();
            assert_eq!(row.quantity, quantity);
            assert_eq!(
                row.units[0].scale, 1.0,
                "{} keeps its first unit inside",
                row.name
            );
            assert!(
                quantity.read(quantity.example()).is_ok(),
                "{}",
                quantity.example()
            );
        }
    }

    #[test]
    fn reads_the_units_of_the_trade() {
        assert_eq!(Quantity::Temperature.read("50 °F"), Ok(10.0));
        assert_eq!(Quantity::Temperature.read("-40F"), Ok(-40.0));
        assert_eq!(Quantity::Rain.read("1 in"), Ok(25.4));
        assert_eq!(Quantity::Distance.read("300 ft").map(f64::round), Ok(91.0));
        assert_eq!(Quantity::Latitude.read("38.9"), Ok(38.9));
    }

    #[test]
    fn refuses_with_the_mend() {
        let text = |r: Result<f64, UnitError>| r.unwrap_err().to_string();
        assert_eq!(
            text(Quantity::Latitude.read("400")),
            "latitude 400 ° cannot be: it lies between -90 and 90 °"
        );
        assert_eq!(
            text(Quantity::Elevation.read("850 kg")),
            "\"kg\" is not a unit of elevation; use m or ft"
        );
        assert_eq!(
            text(Quantity::Elevation.read("850")),
            "\"850\" has no unit; write elevation as \"850 ft\""
        );
        assert_eq!(
            text(Quantity::Temperature.read("warm")),
            "\"warm\" is not a temperature; write a number and its unit, such as \"28 °F\""
        );
        assert_eq!(
            text(Quantity::Temperature.read("200 °F")),
            "temperature 200 °F cannot be: it lies between -76 and 140 °F"
        );
    }

    #[test]
    fn shows_in_the_users_units() {
        assert_eq!(UnitSystem::Us.temperature(-2.2222), "28 °F");
        assert_eq!(UnitSystem::Metric.temperature(-2.2222), "-2.2 °C");
        assert_eq!(UnitSystem::Us.temperature(-17.78), "0 °F");
        assert_eq!(UnitSystem::Us.distance(91.44), "300 ft");
        assert_eq!(UnitSystem::Us.distance(8046.72), "5 mi");
        assert_eq!(UnitSystem::Us.degree_days(100.0), "180 °F days");
    }
}
