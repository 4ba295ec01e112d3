//! What the user tells about a file: units, columns, station, clock.
//!
//! Every option has a key, so that a message can name the mend and a command
//! or a settings file can pass it on: see [`Options::set`].

use super::header::Field;
use crate::units::{Quantity, Unit};
use chrono::NaiveDate;
use chrono_tz::Tz;

/// What clock the times without an offset were read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// Local standard time all year: no hour is missing or doubled.
    Standard,
    /// The clock on the wall, with daylight time.
    Civil,
    /// UTC.
    Utc,
}

/// What an hour's stamp means.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stamps {
    /// The row stands for the hour that begins at its stamp.
    #[default]
    Beginning,
    /// The row stands for the hour that ends at its stamp: the whole row moves
    /// one hour back.
    Ending,
    /// The readings hold at the stamp, the rain fell in the hour before it, as
    /// airports report: only the rain moves back.
    RainBefore,
}

/// How dates with the year at the end are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOrder {
    /// `5/31/2024`
    MonthFirst,
    /// `31.5.2024`
    DayFirst,
}

/// How much is read at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of the file.
    pub bytes: u64,
    /// Bytes after unpacking.
    pub unpacked: u64,
    /// Rows.
    pub rows: usize,
}

impl Default for Limits {
    /// 512 MiB packed or not, and six million rows: 600 years of hours.
    fn default() -> Self {
        Limits {
            bytes: 512 << 20,
            unpacked: 512 << 20,
            rows: 6_000_000,
        }
    }
}

/// Which column holds a field; `None` as header leaves the field out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ColumnChoice {
    /// The field.
    pub field: Field,
    /// The column's name in the file, or `None` to use no column.
    pub header: Option<String>,
}

/// What the user tells about a file. The default tells nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Which station of several.
    pub station: Option<String>,
    /// The zone of the place; needed for UTC and for civil time.
    pub zone: Option<Tz>,
    /// The clock of times without an offset; standard time if not told.
    pub clock: Option<Clock>,
    /// What an hour's stamp means.
    pub stamps: Stamps,
    /// How dates with the year at the end are written.
    pub dates: Option<DateOrder>,
    /// The separator; found from the header if not told.
    pub separator: Option<char>,
    /// Columns by their name in the file, before any guess.
    pub columns: Vec<ColumnChoice>,
    /// Units by field; they stand before what a header says.
    pub units: Vec<(Field, Unit)>,
    /// Rows after the day that follows this one are dropped.
    pub today: Option<NaiveDate>,
    /// How much is read at most.
    pub limits: Limits,
}

impl Options {
    /// Sets one option by its key:
    ///
    /// * `station`: a name; `zone`: such as `America/New_York`
    /// * `clock`: `standard`, `civil` or `utc`
    /// * `stamps`: `beginning`, `ending` or `rain-before`
    /// * `dates`: `m/d/y` or `d/m/y`
    /// * `separator`: `,` `;` `|` or `tab`
    /// * `column.FIELD`: a column's name, or `none`
    /// * `unit.FIELD`: a unit; `unit.temperature` holds for `low`, `high` and
    ///   `dew_point` too unless they have their own
    ///
    /// # Errors
    /// A sentence that names what may stand there.
    pub fn set(&mut self, key: &str, value: &str) -> Result<(), String> {
        let value = value.trim();
        let refuse = |known: &str| {
            Err(format!(
                "\"{value}\" cannot stand for {key}; known are {known}"
            ))
        };
        match key.trim() {
            "station" => self.station = Some(value.to_owned()),
            "zone" => match value.parse::<Tz>() {
                Ok(zone) => self.zone = Some(zone),
                Err(_) => return refuse("names such as America/New_York"),
            },
            "clock" => match value {
                "standard" => self.clock = Some(Clock::Standard),
                "civil" => self.clock = Some(Clock::Civil),
                "utc" | "UTC" => self.clock = Some(Clock::Utc),
                _ => return refuse("standard, civil, utc"),
            },
            "stamps" => match value {
                "beginning" => self.stamps = Stamps::Beginning,
                "ending" => self.stamps = Stamps::Ending,
                "rain-before" => self.stamps = Stamps::RainBefore,
                _ => return refuse("beginning, ending, rain-before"),
            },
            "dates" => match value {
                "m/d/y" => self.dates = Some(DateOrder::MonthFirst),
                "d/m/y" | "d.m.y" => self.dates = Some(DateOrder::DayFirst),
                _ => return refuse("m/d/y, d/m/y"),
            },
            "separator" => match value {
                "tab" => self.separator = Some('\t'),
                "," | ";" | "|" => self.separator = value.chars().next(),
                _ => return refuse(", ; | tab"),
            },
            other => return self.set_field(other, value),
        }
        Ok(())
    }

    fn set_field(&mut self, key: &str, value: &str) -> Result<(), String> {
        let (kind, name) = key.split_once('.').unwrap_or((key, ""));
        let field = Field::named(name);
        match (kind, field) {
            ("column", Some(field)) => {
                let header = (value != "none").then(|| value.to_owned());
                self.columns.retain(|choice| choice.field != field);
                self.columns.push(ColumnChoice { field, header });
                Ok(())
            }
            ("unit", Some(field)) => {
                let Some(quantity) = field.quantity() else {
                    return Err(format!("{} has no unit", field.name()));
                };
                let Some(unit) = unit_of(quantity, value) else {
                    return Err(format!(
                        "\"{value}\" is not a unit of {}; use {}",
                        field.label(),
                        unit_signs(quantity)
                    ));
                };
                self.units.retain(|(known, _)| *known != field);
                self.units.push((field, unit));
                Ok(())
            }
            _ => Err(format!(
                "no option \"{key}\"; known are station, zone, clock, stamps, dates, separator, \
                 column.FIELD and unit.FIELD with FIELD one of {}",
                Field::names()
            )),
        }
    }

    /// The unit told for a field, if any.
    pub(super) fn unit(&self, field: Field) -> Option<Unit> {
        let own = |wanted: Field| {
            self.units
                .iter()
                .find(|(field, _)| *field == wanted)
                .map(|(_, unit)| *unit)
        };
        let shared = field.quantity() == Some(Quantity::Temperature);
        own(field).or_else(|| shared.then(|| own(Field::Temperature)).flatten())
    }
}

/// Units that only files have: agencies write tenths and hundredths.
const FILE_UNITS: [(Quantity, Unit); 3] = [
    (
        Quantity::Temperature,
        Unit {
            symbol: "0.1 °C",
            also: &["0.1 C", "0.1°C", "0.1C", "tenths C", "tenths of °C"],
            scale: 0.1,
            offset: 0.0,
        },
    ),
    (
        Quantity::Rain,
        Unit {
            symbol: "0.1 mm",
            also: &["0.1mm", "tenths mm", "tenths of mm"],
            scale: 0.1,
            offset: 0.0,
        },
    ),
    (
        Quantity::Rain,
        Unit {
            symbol: "0.01 in",
            also: &["0.01in", "hundredths in", "hundredths of in"],
            scale: 0.254,
            offset: 0.0,
        },
    ),
];

/// A unit of a quantity as files write it.
pub(super) fn unit_of(quantity: Quantity, text: &str) -> Option<Unit> {
    let text = text
        .trim()
        .replace('\u{c2}', "")
        .replace('\u{ba}', "°")
        .replace('\u{2103}', "°C")
        .replace('\u{2109}', "°F")
        .replace("° ", "°");
    quantity.unit(&text).or_else(|| {
        FILE_UNITS
            .iter()
            .filter(|(of, _)| *of == quantity)
            .map(|(_, unit)| *unit)
            .find(|unit| {
                unit.symbol.eq_ignore_ascii_case(&text)
                    || unit
                        .also
                        .iter()
                        .any(|name| name.eq_ignore_ascii_case(&text))
            })
    })
}

/// The signs of a quantity's units, for messages.
pub(super) fn unit_signs(quantity: Quantity) -> String {
    let mut signs: Vec<&str> = quantity.measure().units.iter().map(|u| u.symbol).collect();
    signs.extend(
        FILE_UNITS
            .iter()
            .filter(|(of, _)| *of == quantity)
            .map(|(_, unit)| unit.symbol),
    );
    signs.join(", ")
}
