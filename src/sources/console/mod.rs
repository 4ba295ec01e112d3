//! What weather consoles send by their own upload, and what stations
//! broadcast at home.
//!
//! Only shapes that were seen in captures are read (reference:
//! weather-sources 4.1): the form fields that consoles push by HTTP
//! ([`read_form`]), and the broadcast of stations in one piece
//! ([`read_broadcast`]). What a gateway answers when asked over the local
//! network was seen in no capture, and its numbered values are in no document
//! at hand: it is left out.
//!
//! Nothing here listens and nothing is kept here. [`Fold`] takes one reading
//! after the other and hands out hours and days once they are over; it can be
//! written down and taken up again in the middle of an hour.

mod broadcast; // the datagrams of stations in one piece
mod fold; // readings into hours and days
mod rain; // counters and spans of rain
mod trial; // degrees of another kind than the field says
mod upload; // the form and the query of consoles

pub use broadcast::read_broadcast;
pub use fold::{Fold, Taken};
pub use trial::Trial;
pub use upload::{Form, Gauge, read_fields, read_form};

use crate::units::plain;
use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use std::fmt;

/// One reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Air temperature, °C.
    pub temperature_c: Option<f64>,
    /// Whether the unit of the temperature is beyond doubt.
    pub sure_of_unit: bool,
    /// Relative humidity, %.
    pub humidity_pct: Option<f64>,
    /// Wind speed, m/s.
    pub wind_m_s: Option<f64>,
    /// Rain.
    pub rain: Rain,
    /// What is odd about it.
    pub odd: Vec<Odd>,
}

/// How a station tells rain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rain {
    /// It does not.
    Unknown,
    /// What fell in the minutes before the reading.
    Past {
        /// How many minutes.
        minutes: f64,
        /// How much, mm.
        mm: f64,
    },
    /// A counter that only grows until it is set back.
    Counter {
        /// Since when it counts.
        count: Count,
        /// How far it is, mm.
        mm: f64,
    },
}

/// Since when a counter of rain counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Count {
    /// The beginning of the year.
    Year,
    /// The day it was first switched on.
    Total,
    /// Midnight.
    Day,
}

/// What is odd about readings that are taken all the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Odd {
    /// A value beyond anything that can be; it is left out.
    Impossible {
        /// The field.
        field: &'static str,
        /// As it came.
        value: f64,
    },
    /// A temperature far from the one of a moment ago; it is left out.
    Leap {
        /// From, °C.
        from_c: f64,
        /// To, °C.
        to_c: f64,
    },
    /// The same temperature for many hours; it is left out.
    Stuck {
        /// The temperature, °C.
        at_c: f64,
        /// How long, hours.
        hours: i64,
    },
    /// More rain since the reading before than ever fell; it is left out.
    Deluge {
        /// How much, mm.
        mm: f64,
    },
    /// Two rain gauges, and none was chosen.
    TwoGauges,
    /// None of the gauge that was chosen.
    NoSuchGauge(Gauge),
    /// The number fits what is forecast if it is °C; temperatures are left out.
    LooksCelsius {
        /// The number as it came.
        value: f64,
        /// What the forecast has for the hour, °C.
        forecast_c: f64,
    },
}

impl Odd {
    /// A word by which two of a kind are known.
    pub fn kind(&self) -> &'static str {
        match self {
            Odd::Impossible { field, .. } => field,
            Odd::Leap { .. } => "leap",
            Odd::Stuck { .. } => "stuck",
            Odd::Deluge { .. } => "deluge",
            Odd::TwoGauges => "two gauges",
            Odd::NoSuchGauge(_) => "no such gauge",
            Odd::LooksCelsius { .. } => "looks like °C",
        }
    }

    /// Whether the keeper should hear of it, not the log alone.
    pub fn tell(&self) -> bool {
        !matches!(self, Odd::Leap { .. } | Odd::Deluge { .. })
    }
}

impl fmt::Display for Odd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Odd::Impossible { field, value } => write!(
                f,
                "{field} = {} cannot be and is left out; look at the sensor and at the units \
                 that the console is set to",
                plain(*value)
            ),
            Odd::Leap { from_c, to_c } => write!(
                f,
                "a leap from {} to {} °C within five minutes is left out",
                plain(*from_c),
                plain(*to_c)
            ),
            Odd::Stuck { at_c, hours } => write!(
                f,
                "the temperature has stood at {} °C for {hours} hours and is left out until it \
                 moves; look at the sensor and its battery",
                plain(*at_c)
            ),
            Odd::Deluge { mm } => write!(
                f,
                "{} mm of rain since the reading before cannot be and are left out",
                plain(*mm)
            ),
            Odd::TwoGauges => write!(
                f,
                "it has two rain gauges; the tipping bucket counts until you choose: write \
                 rain = \"bucket\" or rain = \"piezo\" under [weather.console]"
            ),
            Odd::NoSuchGauge(gauge) => write!(
                f,
                "it sends no rain of the gauge chosen by rain = \"{}\"; take that line out, or \
                 choose the other",
                gauge.word()
            ),
            Odd::LooksCelsius { value, forecast_c } => write!(
                f,
                "tempf = {} while {} °C was forecast: it looks like °C under the name of °F. \
                 Temperatures are left out; write temperature_unit = \"°C\" under \
                 [weather.console], or \"°F\" if that is right",
                plain(*value),
                plain(*forecast_c)
            ),
        }
    }
}

/// Why nothing of an upload or a broadcast is taken. No text repeats a field
/// of it: one of them is a password.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refused {
    /// It is not of the form that is known.
    Form,
    /// It does not say when it was read.
    NoTime,
    /// Its time cannot be read.
    Time,
    /// Neither temperature nor rain.
    Nothing,
    /// Its pressure shows that its units are not those of its field names.
    Units {
        /// The pressure as it came.
        pressure: f64,
    },
    /// Its clock is wrong by this much, ahead where above nought.
    Clock(TimeDelta),
}

impl Refused {
    /// A word by which two of a kind are known.
    pub fn kind(&self) -> &'static str {
        match self {
            Refused::Form => "form",
            Refused::NoTime => "no time",
            Refused::Time => "time",
            Refused::Nothing => "nothing",
            Refused::Units { .. } => "units",
            Refused::Clock(_) => "clock",
        }
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refused::Form => write!(f, "it is no upload of a station console"),
            Refused::NoTime => write!(f, "it does not say when it was read (dateutc is missing)"),
            Refused::Time => write!(
                f,
                "its time cannot be read; dateutc is written as 2026-04-20 19:14:47, or now"
            ),
            Refused::Nothing => write!(
                f,
                "it has neither an outdoor temperature nor rain; has the console lost its sensor?"
            ),
            Refused::Units { pressure } => write!(
                f,
                "its pressure of {} is no inches of mercury, so its other values are hardly in \
                 °F, inches and mph; write temperature_unit, rain_unit and wind_unit under \
                 [weather.console]",
                plain(*pressure)
            ),
            Refused::Clock(off) => {
                let way = if *off > TimeDelta::zero() {
                    "ahead"
                } else {
                    "behind"
                };
                write!(
                    f,
                    "its clock is {} {way}; set the console's date, time and zone",
                    length(off.abs())
                )
            }
        }
    }
}

impl std::error::Error for Refused {}

/// A span of time in its largest unit.
fn length(span: TimeDelta) -> String {
    let (number, unit) = match span.num_minutes() {
        minutes if minutes < 120 => (minutes, "minutes"),
        minutes if minutes < 2 * 1_440 => (minutes / 60, "hours"),
        minutes if minutes < 730 * 1_440 => (minutes / 1_440, "days"),
        minutes => (minutes / (365 * 1_440), "years"),
    };
    format!("{number} {unit}")
}

/// A clock may be off by this much, minutes (our choice: hours and days are
/// still told apart well enough).
const CLOCK_OFF_MIN: i64 = 10;

/// Holds the clock of a reading against the time of its arrival.
///
/// # Errors
/// [`Refused::Clock`] where they are more than ten minutes apart.
pub fn on_time(reading: &Reading, arrived: DateTime<Utc>) -> Result<(), Refused> {
    let off = reading.at - arrived;
    if off.abs() > TimeDelta::minutes(CLOCK_OFF_MIN) {
        return Err(Refused::Clock(off));
    }
    Ok(())
}

/// The air of an orchard in °C (reference: weather-sources 4.2).
const AIR_C: std::ops::RangeInclusive<f64> = -50.0..=55.0;

/// Takes a value if it can be; notes it where it cannot.
fn checked(
    odd: &mut Vec<Odd>,
    field: &'static str,
    raw: Option<f64>,
    si: impl Fn(f64) -> f64,
    can_be: impl Fn(f64) -> bool,
) -> Option<f64> {
    let raw = raw?;
    let value = si(raw);
    if can_be(value) {
        return Some(value);
    }
    odd.push(Odd::Impossible { field, value: raw });
    None
}
