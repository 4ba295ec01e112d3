//! The grid and the hourly forecast of the service.
//!
//! The grid has intervals of unequal length, which are laid out by the hour;
//! rain comes as totals of about six hours and is shared evenly over them,
//! which is an assumption. Where the grid says nothing, nothing is known.

use super::super::error::{Fault, Why};
use super::super::hours::{Field, HourTable, coming, hour_floor, known_days, standard};
use super::super::reply::clean;
use super::interval::{Interval, instant};
use super::quantity::{Said, said, to_si};
use crate::facts::weather::{DailyRecord, Day, Forecast, Hour, HourlyRecord};
use crate::units::Quantity;
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use serde_json::Value;
use std::collections::BTreeMap;

/// A forecast older than this is no forecast (reference: weather-sources 2.7).
const TOO_OLD_H: i64 = 24;

/// The layers of the grid that are read by the hour.
const LAYERS: [(&str, Field); 4] = [
    ("temperature", Field::Temperature),
    ("dewpoint", Field::DewPoint),
    ("relativeHumidity", Field::Humidity),
    ("windSpeed", Field::Wind),
];

/// Shortest interval of a night's low or a day's high that is no stump of one
/// (reference: weather-sources 2.3: 13 and 14 h; stumps of 2 and 4 h seen).
const EXTREME_H: f64 = 9.0;

/// Reads the grid.
///
/// # Errors
/// [`Fault`] where it is broken, in unknown units, empty or too old.
pub(super) fn grid(
    answer: &Value,
    zone: Tz,
    now: DateTime<Utc>,
    source: &str,
) -> Result<Forecast, Fault> {
    let properties = properties(answer)?;
    let issued = issued(properties, now)?;
    let mut table = HourTable::default();
    for (name, field) in LAYERS {
        for (interval, si) in layer(properties, name, field.quantity())? {
            for hour in interval.hours() {
                table.put(hour_floor(standard(zone, hour)), field, Some(si));
            }
        }
    }
    for (interval, si) in layer(properties, "quantitativePrecipitation", Quantity::Rain)? {
        let share = si / interval.length_h().max(1.0);
        for hour in interval.hours() {
            table.put(hour_floor(standard(zone, hour)), Field::Rain, Some(share));
        }
    }
    let lows = layer(properties, "minTemperature", Quantity::Temperature)?;
    let highs = layer(properties, "maxTemperature", Quantity::Temperature)?;
    let today = standard(zone, now).date();
    let hours = table.hours(coming(today), NaiveDateTime::MAX);
    let mut days: BTreeMap<_, Day> = known_days(&hours)
        .into_iter()
        .map(|day| (day.date, day))
        .collect();
    extremes(&lows, &hours, zone, &mut days, false);
    extremes(&highs, &hours, zone, &mut days, true);
    let days: Vec<Day> = days.into_values().filter(|day| day.date >= today).collect();
    finish(days, hours, zone, issued, source)
}

/// Reads the hourly forecast: for when the grid is not to be had. It has no
/// rain.
///
/// # Errors
/// As [`grid`].
pub(super) fn hourly(
    answer: &Value,
    zone: Tz,
    now: DateTime<Utc>,
    source: &str,
) -> Result<Forecast, Fault> {
    let properties = properties(answer)?;
    let issued = issued(properties, now)?;
    let periods = properties.get("periods").and_then(Value::as_array);
    let Some(periods) = periods else {
        return Err(Fault::unknown_form("the forecast has no periods"));
    };
    let mut table = HourTable::default();
    for period in periods {
        let begin = period.get("startTime").and_then(Value::as_str);
        let Some(begin) = begin.and_then(instant) else {
            table.left.no_time += 1;
            continue;
        };
        let start = hour_floor(standard(zone, begin));
        let temperature = match period.get("temperature") {
            Some(Value::Number(number)) => {
                let unit = period.get("temperatureUnit").and_then(Value::as_str);
                let value = number.as_f64().unwrap_or(f64::NAN);
                Some(to_si(value, unit, Quantity::Temperature)?)
            }
            object => value(object, Quantity::Temperature, &mut table)?,
        };
        table.put(start, Field::Temperature, temperature);
        for (name, field) in [
            ("dewpoint", Field::DewPoint),
            ("relativeHumidity", Field::Humidity),
        ] {
            let si = value(period.get(name), field.quantity(), &mut table)?;
            table.put(start, field, si);
        }
        let wind = match period.get("windSpeed") {
            Some(Value::String(text)) => worded_wind(text),
            object => value(object, Quantity::Wind, &mut table)?,
        };
        table.put(start, Field::Wind, wind);
    }
    let today = standard(zone, now).date();
    let hours = table.hours(coming(today), NaiveDateTime::MAX);
    finish(known_days(&hours), hours, zone, issued, source)
}

fn properties(answer: &Value) -> Result<&Value, Fault> {
    answer
        .get("properties")
        .filter(|properties| properties.is_object())
        .ok_or_else(|| Fault::unknown_form("the forecast has no properties"))
}

/// When the forecast was made; too old a one is a fault that may pass.
fn issued(properties: &Value, now: DateTime<Utc>) -> Result<DateTime<Utc>, Fault> {
    let text = ["updateTime", "generatedAt", "updated"]
        .iter()
        .find_map(|name| properties.get(name)?.as_str());
    let Some(issued) = text.and_then(instant) else {
        return Err(Fault::unknown_form(
            "the forecast does not say when it was made",
        ));
    };
    let age = (now - issued).num_hours();
    if age > TOO_OLD_H {
        return Err(Fault::later(Why::Unreadable(format!(
            "the forecast is {age} hours old"
        ))));
    }
    Ok(issued)
}

/// The intervals and values of a layer, in SI units. One that is missing or
/// empty is unknown; one in an unknown unit is a fault.
fn layer(
    properties: &Value,
    name: &str,
    quantity: Quantity,
) -> Result<Vec<(Interval, f64)>, Fault> {
    let layer = properties.get(name);
    let code = layer
        .and_then(|layer| layer.get("uom").or_else(|| layer.get("unitCode")))
        .and_then(Value::as_str);
    let values = layer
        .and_then(|layer| layer.get("values"))
        .and_then(Value::as_array);
    let mut out = Vec::new();
    for entry in values.into_iter().flatten() {
        let Some(value) = entry.get("value").and_then(Value::as_f64) else {
            continue;
        };
        let interval = entry.get("validTime").and_then(Value::as_str);
        let Some(interval) = interval.and_then(Interval::read) else {
            return Err(Fault::unknown_form(format!(
                "a time of {} cannot be read",
                clean(name)
            )));
        };
        let si = to_si(value, code, quantity)?;
        if quantity.check(si).is_ok() {
            out.push((interval, si));
        }
    }
    Ok(out)
}

/// Puts the lows of nights and the highs of days on the day of the coldest or
/// warmest hour inside their interval. They reach beyond the hourly values,
/// which are snapshots. On the first day, part of which is past, a low is that
/// of the coming evening: the morning's is among the observations.
fn extremes(
    layer: &[(Interval, f64)],
    hours: &[Hour],
    zone: Tz,
    days: &mut BTreeMap<chrono::NaiveDate, Day>,
    high: bool,
) {
    for (interval, si) in layer {
        if interval.length_h() < EXTREME_H {
            continue;
        }
        let begin = standard(zone, interval.begin);
        let end = standard(zone, interval.end);
        let inside = hours
            .iter()
            .filter(|hour| (begin..end).contains(&hour.start))
            .filter_map(|hour| Some((hour.start, hour.temperature_c?)));
        let reached = if high {
            inside.max_by(|a, b| a.1.total_cmp(&b.1))
        } else {
            // Of equal hours the last: nights are coldest towards morning.
            inside.min_by(|a, b| (a.1.total_cmp(&b.1)).then(b.0.cmp(&a.0)))
        };
        let usual = if high {
            warmest(begin, end)
        } else {
            coldest(end)
        };
        let date = reached.map_or(usual, |(start, _)| start).date();
        let day = days.entry(date).or_insert(Day {
            date,
            low_c: None,
            high_c: None,
            rain_mm: None,
        });
        if high {
            day.high_c = Some(day.high_c.map_or(*si, |known| known.max(*si)));
        } else {
            day.low_c = Some(day.low_c.map_or(*si, |known| known.min(*si)));
        }
    }
}

/// Where no hour is known: the middle of the day's interval.
fn warmest(begin: NaiveDateTime, end: NaiveDateTime) -> NaiveDateTime {
    begin + (end - begin) / 2
}

/// Where no hour is known: some hours before the night's interval ends.
fn coldest(end: NaiveDateTime) -> NaiveDateTime {
    end.checked_sub_signed(TimeDelta::hours(3)).unwrap_or(end)
}

fn value(
    object: Option<&Value>,
    quantity: Quantity,
    table: &mut HourTable,
) -> Result<Option<f64>, Fault> {
    Ok(match said(object, quantity)? {
        Said::Value { si, .. } => Some(si),
        Said::Nothing => None,
        Said::Failed => {
            table.left.flagged += 1;
            None
        }
    })
}

/// `14 mph`, `5 to 10 mph`: the middle, in m/s.
fn worded_wind(text: &str) -> Option<f64> {
    let unit = text.split_whitespace().last()?;
    let unit = Quantity::Wind.unit(unit)?;
    let numbers: Vec<f64> = text
        .split_whitespace()
        .filter_map(|word| word.parse().ok())
        .collect();
    if numbers.is_empty() {
        return None;
    }
    let mean = numbers.iter().sum::<f64>() / numbers.len() as f64;
    Some(unit.to_si(mean))
}

fn finish(
    days: Vec<Day>,
    hours: Vec<Hour>,
    zone: Tz,
    issued: DateTime<Utc>,
    source: &str,
) -> Result<Forecast, Fault> {
    let Some(daily) = DailyRecord::from_days(&days) else {
        return Err(Fault::later(Why::Unreadable(
            "the forecast has no day from today on".to_owned(),
        )));
    };
    Ok(Forecast {
        issued: standard(zone, issued).date(),
        daily,
        hourly: HourlyRecord::from_hours(&hours),
        source: source.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wind_in_words() {
        let mph = |text| worded_wind(text).map(|wind| wind / 0.447_04);
        assert_eq!(mph("14 mph"), Some(14.0));
        assert_eq!(mph("5 to 10 mph"), Some(7.5));
        assert_eq!(mph("0 mph"), Some(0.0));
        assert_eq!(worded_wind("36 km/h"), Some(10.0));
        assert_eq!(worded_wind("calm"), None);
        assert_eq!(worded_wind(""), None);
        assert_eq!(worded_wind("5 furlongs"), None);
    }
}
