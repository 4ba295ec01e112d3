//! What weather consoles send by their own upload, and what stations
//! broadcast at home: one reading at a time.
//!
//! Only shapes that were seen in captures are read (reference:
//! weather-sources 4.1): the form fields that consoles push by HTTP, and the
//! broadcast of stations in one piece (`obs_st`). What a console answers when
//! asked over the local network was seen in no capture and is left out. There
//! is no listener here: these functions turn what came into readings, and
//! readings into hours.

use super::error::Fault;
use super::hours::{Field, HourTable, hour_floor, in_our_time, standard};
use super::reply::clean;
use crate::facts::weather::Hour;
use crate::units::{Quantity, f_to_c};
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Air temperature, °C.
    pub temperature_c: Option<f64>,
    /// Relative humidity, %.
    pub humidity_pct: Option<f64>,
    /// Wind speed, m/s.
    pub wind_m_s: Option<f64>,
    /// Rain.
    pub rain: Rain,
}

/// How a station tells rain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rain {
    /// It does not.
    Unknown,
    /// What fell since the reading before, mm.
    Since(f64),
    /// A counter that only grows until it is set back, mm.
    Counter(f64),
}

/// Which of two gauges counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Gauge {
    /// The tipping bucket (`yearlyrainin`, else `totalrainin`).
    #[default]
    Bucket,
    /// The haptic sensor (`yrain_piezo`).
    Haptic,
}

/// Reads the form of a console's upload: `tempf=53.8&humidity=30&...`.
///
/// # Errors
/// As [`read_fields`].
pub fn read_form(body: &str, gauge: Gauge, received: DateTime<Utc>) -> Result<Reading, Fault> {
    let mut fields = Map::new();
    for pair in body.trim().trim_start_matches('?').split('&') {
        if let Some((name, value)) = pair.split_once('=') {
            fields.insert(unescape(name), Value::String(unescape(value)));
        }
    }
    read_fields(&fields, gauge, received)
}

/// Reads the fields of a console's upload; values may be texts or numbers.
/// `received` stands in for the word `now` as time.
///
/// # Errors
/// [`Fault`] where there is no time or neither temperature nor rain. No
/// message repeats a field: one of them is a key.
pub fn read_fields(
    fields: &Map<String, Value>,
    gauge: Gauge,
    received: DateTime<Utc>,
) -> Result<Reading, Fault> {
    let number = |name: &str| match fields.get(name)? {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => text.trim().parse().ok(),
        _ => None,
    };
    let stamp = fields.get("dateutc").and_then(Value::as_str);
    let at = match stamp.map(|text| text.trim().replace(['+', 'T'], " ")) {
        Some(text) if text.eq_ignore_ascii_case("now") => received,
        Some(text) => NaiveDateTime::parse_from_str(&text, "%Y-%m-%d %H:%M:%S")
            .ok()
            .and_then(|at| in_our_time(at.and_utc()))
            .ok_or_else(|| Fault::unknown_form("the time of the reading cannot be read"))?,
        None => return Err(Fault::unknown_form("the reading has no time")),
    };
    let inches = match gauge {
        Gauge::Bucket => number("yearlyrainin").or_else(|| number("totalrainin")),
        Gauge::Haptic => number("yrain_piezo"),
    };
    let reading = Reading {
        at,
        temperature_c: number("tempf")
            .map(f_to_c)
            .filter(possible(Quantity::Temperature)),
        humidity_pct: number("humidity").filter(possible(Quantity::Humidity)),
        wind_m_s: number("windspeedmph")
            .map(|mph| mph * 0.447_04)
            .filter(possible(Quantity::Wind)),
        rain: inches
            .map(|inches| inches * 25.4)
            .filter(|mm| mm.is_finite() && *mm >= 0.0)
            .map_or(Rain::Unknown, Rain::Counter),
    };
    if reading.temperature_c.is_none() && reading.rain == Rain::Unknown {
        return Err(Fault::unknown_form(
            "the reading has neither temperature nor rain",
        ));
    }
    Ok(reading)
}

/// Reads a broadcast of a station in one piece: its `obs_st` messages. Other
/// messages give no reading; those of stations in two pieces are not put
/// together.
///
/// # Errors
/// [`Fault`] where it is no such message at all.
pub fn read_broadcast(body: &[u8]) -> Result<Vec<Reading>, Fault> {
    let message: Value =
        serde_json::from_slice(body).map_err(|error| Fault::broken(clean(&error.to_string())))?;
    let Some(kind) = message.get("type").and_then(Value::as_str) else {
        return Err(Fault::unknown_form("the message has no type"));
    };
    if kind != "obs_st" {
        return Ok(Vec::new());
    }
    let rows = message.get("obs").and_then(Value::as_array);
    let mut readings = Vec::new();
    for row in rows.into_iter().flatten() {
        let number = |index: usize| row.get(index).and_then(Value::as_f64);
        let at = number(0).and_then(|at| DateTime::from_timestamp(at as i64, 0));
        let Some(at) = at.and_then(in_our_time) else {
            return Err(Fault::unknown_form("the reading has no time"));
        };
        readings.push(Reading {
            at,
            wind_m_s: number(2).filter(possible(Quantity::Wind)),
            temperature_c: number(7).filter(possible(Quantity::Temperature)),
            humidity_pct: number(8).filter(possible(Quantity::Humidity)),
            rain: number(12)
                .filter(possible(Quantity::Rain))
                .map_or(Rain::Unknown, Rain::Since),
        });
    }
    Ok(readings)
}

fn possible(quantity: Quantity) -> impl Fn(&f64) -> bool {
    move |value| quantity.check(*value).is_ok()
}

/// A gap longer than this between two counts leaves the hours between
/// unknown (our choice).
const LONGEST_GAP_H: i64 = 2;

/// Hours in local standard time from readings in any order. Each value is
/// that of the reading nearest to the hour, at most half an hour away. Rain
/// is the growth of the counter; where it falls it was set back and began
/// from nought.
pub fn hours(readings: &[Reading], zone: Tz) -> Vec<Hour> {
    let mut sorted: Vec<&Reading> = readings.iter().collect();
    sorted.sort_by_key(|reading| reading.at);
    sorted.dedup_by_key(|reading| reading.at);
    let mut table = HourTable::default();
    let mut nearest: BTreeMap<NaiveDateTime, (i64, &Reading)> = BTreeMap::new();
    let mut rain: BTreeMap<NaiveDateTime, f64> = BTreeMap::new();
    let mut before: Option<(NaiveDateTime, f64)> = None;
    for reading in sorted {
        let local = standard(zone, reading.at);
        let hour = hour_floor(local + TimeDelta::minutes(30));
        let away = (local - hour).num_seconds().abs();
        if nearest.get(&hour).is_none_or(|(known, _)| away < *known) {
            nearest.insert(hour, (away, reading));
        }
        // A reading at the full hour tells of the hour that ends there.
        let of = hour_floor(local - TimeDelta::seconds(1));
        match reading.rain {
            Rain::Unknown => {}
            Rain::Since(mm) => *rain.entry(of).or_insert(0.0) += mm,
            Rain::Counter(count) => {
                if let Some((at, known)) = before
                    && local - at <= TimeDelta::hours(LONGEST_GAP_H)
                {
                    let grown = if count >= known { count - known } else { count };
                    *rain.entry(of).or_insert(0.0) += grown;
                }
                before = Some((local, count));
            }
        }
    }
    for (hour, (_, reading)) in nearest {
        for (field, value) in [
            (Field::Temperature, reading.temperature_c),
            (Field::Humidity, reading.humidity_pct),
            (Field::Wind, reading.wind_m_s),
        ] {
            table.put(hour, field, value);
        }
    }
    for (hour, mm) in rain {
        table.put(hour, Field::Rain, Some(mm));
    }
    table.hours_from(NaiveDateTime::MIN)
}

/// `%20` and `+` as they are meant.
fn unescape(text: &str) -> String {
    let mut out = Vec::with_capacity(text.len());
    let mut bytes = text.bytes();
    while let Some(byte) = bytes.next() {
        match byte {
            b'+' => out.push(b' '),
            b'%' => {
                let digits = [bytes.next(), bytes.next()]
                    .map(|digit| digit.and_then(|digit| char::from(digit).to_digit(16)));
                match digits {
                    [Some(high), Some(low)] => out.push((high * 16 + low) as u8),
                    _ => out.push(b'?'),
                }
            }
            _ => out.push(byte),
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_700_000_000 / 3_600 * 3_600 + minute * 60, 0).unwrap()
    }

    fn counted(minute: i64, mm: f64) -> Reading {
        Reading {
            at: at(minute),
            temperature_c: Some(5.0),
            humidity_pct: None,
            wind_m_s: None,
            rain: Rain::Counter(mm),
        }
    }

    #[test]
    fn a_counter_that_falls_was_set_back() {
        let readings = [
            counted(0, 10.0),
            counted(30, 11.0),
            counted(60, 12.0),
            counted(90, 0.5),
            counted(120, 0.5),
            // A gap: what fell between belongs nowhere.
            counted(600, 9.0),
            counted(630, 9.2),
        ];
        let hours = hours(&readings, chrono_tz::UTC);
        let rain: Vec<Option<f64>> = hours.iter().map(|hour| hour.rain_mm).collect();
        assert_eq!(rain[0], Some(2.0));
        assert_eq!(rain[1], Some(0.5));
        let last = rain.last().copied().flatten();
        assert!(
            rain.iter().flatten().sum::<f64>() < 2.8,
            "{rain:?} {last:?}"
        );
    }

    #[test]
    fn a_form_is_read_and_its_key_never_told() {
        let form = "PASSKEY=secret&dateutc=2022-11-26+22:25:29&tempf=53.8&humidity=30\
                    &windspeedmph=4.5&totalrainin=48.811";
        let reading = read_form(form, Gauge::Bucket, at(0)).unwrap();
        assert_eq!(reading.at.to_rfc3339(), "2022-11-26T22:25:29+00:00");
        assert!((reading.temperature_c.unwrap() - 12.111).abs() < 0.001);
        assert!(matches!(reading.rain, Rain::Counter(mm) if (mm - 1_239.8).abs() < 0.01));
        let now = read_form("dateutc=now&tempf=50", Gauge::Bucket, at(7)).unwrap();
        assert_eq!(now.at, at(7));
        for wrong in [
            "",
            "PASSKEY=secret",
            "PASSKEY=secret&dateutc=yesterday&tempf=1",
            "PASSKEY=secret&dateutc=now&humidity=30",
        ] {
            let fault = read_form(wrong, Gauge::Bucket, at(0)).unwrap_err();
            assert!(!format!("{fault:?}").contains("secret"));
        }
    }
}
