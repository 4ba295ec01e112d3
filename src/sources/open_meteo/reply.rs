//! What Open-Meteo answers: parallel columns with their units, or an error.

use super::super::Left;
use super::super::error::{Again, Fault, Why};
use super::super::hours::{Field, HourTable, hour_before, hour_floor, in_our_time, standard};
use super::super::reply::{Reply, clean};
use crate::facts::weather::{Day, Hour};
use crate::units::{Quantity, Unit};
use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use serde::Deserialize;
use serde::de::{self, Visitor};
use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

/// What a reply holds.
#[derive(Debug, Default)]
pub struct OpenMeteoReply {
    pub(super) table: HourTable,
    /// Daily values, if it has any: over days of a fixed offset, not of local
    /// standard time, so they serve as a cross-check only.
    pub days: Vec<Day>,
    /// Height that the values were reduced to, m.
    pub elevation_m: Option<f64>,
    /// Latitude and longitude of the grid cell, degrees.
    pub cell: Option<(f64, f64)>,
}

impl OpenMeteoReply {
    /// The hours in local standard time, in order.
    pub fn hours(&self) -> Vec<Hour> {
        self.table.hours_from(NaiveDateTime::MIN)
    }

    /// What was not taken.
    pub fn left(&self) -> Left {
        self.table.left
    }

    /// Whether no temperature is known on the last day of a piece.
    pub(super) fn ends_before(&self, last: NaiveDate) -> bool {
        let midnight = last.and_time(NaiveTime::MIN);
        self.table
            .hours_from(midnight)
            .iter()
            .all(|hour| hour.start.date() > last || hour.temperature_c.is_none())
    }

    /// The same with the known values of `above` laid over.
    pub(super) fn under(mut self, above: OpenMeteoReply) -> Self {
        self.table.lay_over(above.table);
        self.elevation_m = above.elevation_m.or(self.elevation_m);
        self
    }
}

/// Reads a reply of the archive or the forecast.
///
/// # Errors
/// [`Fault`] for an error that the service told, a reply that is broken, and
/// units that are not known.
pub fn read(
    reply: &Reply,
    zone: Tz,
    model: &str,
    now: DateTime<Utc>,
) -> Result<OpenMeteoReply, Fault> {
    if reply.status != 200 {
        return Err(refused(reply, now));
    }
    let answer = answer(&reply.body).map_err(|error| reply.not_json(&error))?;
    if answer.error == Some(true) {
        // A failure after the status was sent.
        let said = answer.reason.unwrap_or_default();
        return Err(Fault::soon(Why::Status {
            code: 200,
            said: clean(&said),
        }));
    }
    let mut out = OpenMeteoReply {
        elevation_m: answer.elevation.filter(|metres| metres.is_finite()),
        cell: answer.latitude.zip(answer.longitude),
        ..OpenMeteoReply::default()
    };
    let offset = answer.utc_offset_seconds.unwrap_or(0);
    if let Some(block) = &answer.hourly {
        let units = answer.hourly_units.unwrap_or_default();
        hourly(block, &units, offset, zone, model, &mut out.table)?;
    }
    if let Some(block) = &answer.daily {
        let units = answer.daily_units.unwrap_or_default();
        out.days = daily(block, &units, offset, model, &mut out.table.left)?;
    }
    if answer.hourly.is_none() && answer.daily.is_none() {
        return Err(Fault::unknown_form("it has neither hours nor days"));
    }
    Ok(out)
}

/// What an error status means: the wait stands in its words alone.
fn refused(reply: &Reply, now: DateTime<Utc>) -> Fault {
    let said = answer(&reply.body)
        .ok()
        .and_then(|answer| answer.reason)
        .unwrap_or_default();
    let mut fault = reply.refused(said.clone());
    if reply.status == 429 && reply.retry_after.is_none() {
        let said = said.to_ascii_lowercase();
        let wait = if said.contains("minutely") {
            Some(60)
        } else if said.contains("hourly") {
            Some(3_600)
        } else if said.contains("daily") || said.contains("monthly") {
            // The next day in UTC (from memory).
            let now = reply.date.unwrap_or(now).timestamp();
            u64::try_from(86_400 - now.rem_euclid(86_400)).ok()
        } else {
            None
        };
        fault.again = Again::Soon(wait.map(Duration::from_secs));
    }
    fault
}

/// A block of equally long columns.
type Block = BTreeMap<String, Option<Vec<Cell>>>;

/// The parts of a reply that are read.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Answer {
    latitude: Option<f64>,
    longitude: Option<f64>,
    elevation: Option<f64>,
    utc_offset_seconds: Option<i64>,
    hourly_units: Option<BTreeMap<String, Option<String>>>,
    hourly: Option<Block>,
    daily_units: Option<BTreeMap<String, Option<String>>>,
    daily: Option<Block>,
    error: Option<bool>,
    reason: Option<String>,
}

/// One place's answer; asked for several the service sends a list.
fn answer(body: &[u8]) -> Result<Answer, serde_json::Error> {
    let start = body.iter().find(|byte| !byte.is_ascii_whitespace());
    if start == Some(&b'[') {
        let list: Vec<Answer> = serde_json::from_slice(body)?;
        return Ok(list.into_iter().next().unwrap_or_default());
    }
    serde_json::from_slice(body)
}

/// A number, a text (of a time) or nothing.
#[derive(Clone, Debug, PartialEq)]
enum Cell {
    Number(f64),
    Text(String),
    Nothing,
}

impl Cell {
    fn number(&self) -> Option<f64> {
        match self {
            Cell::Number(value) if value.is_finite() => Some(*value),
            _ => None,
        }
    }

    /// An instant: seconds since 1970, or a local time of a fixed offset.
    fn instant(&self, offset: i64) -> Option<DateTime<Utc>> {
        match self {
            Cell::Number(seconds) if seconds.abs() < 1e11 => {
                in_our_time(DateTime::from_timestamp(*seconds as i64, 0)?)
            }
            Cell::Text(text) => {
                let local = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M")
                    .or_else(|_| NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S"))
                    .ok()?;
                let offset = TimeDelta::try_seconds(offset)?;
                in_our_time(local.checked_sub_signed(offset)?.and_utc())
            }
            _ => None,
        }
    }

    /// A day: a date, or the instant at which a day of the offset begins.
    fn date(&self, offset: i64) -> Option<NaiveDate> {
        match self {
            Cell::Number(_) => {
                let offset = TimeDelta::try_seconds(offset)?;
                let instant = self.instant(0)?.naive_utc();
                Some(instant.checked_add_signed(offset)?.date())
            }
            Cell::Text(text) => {
                let date: NaiveDate = text.parse().ok()?;
                let midnight = date.and_time(NaiveTime::MIN).and_utc();
                in_our_time(midnight).map(|_| date)
            }
            Cell::Nothing => None,
        }
    }
}

impl<'de> Deserialize<'de> for Cell {
    fn deserialize<D: de::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Any;
        impl Visitor<'_> for Any {
            type Value = Cell;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number, a text or null")
            }
            fn visit_i64<E>(self, value: i64) -> Result<Cell, E> {
                Ok(Cell::Number(value as f64))
            }
            fn visit_u64<E>(self, value: u64) -> Result<Cell, E> {
                Ok(Cell::Number(value as f64))
            }
            fn visit_f64<E>(self, value: f64) -> Result<Cell, E> {
                Ok(Cell::Number(value))
            }
            fn visit_str<E>(self, text: &str) -> Result<Cell, E> {
                Ok(Cell::Text(text.to_owned()))
            }
            fn visit_bool<E>(self, _: bool) -> Result<Cell, E> {
                Ok(Cell::Nothing)
            }
            fn visit_unit<E>(self) -> Result<Cell, E> {
                Ok(Cell::Nothing)
            }
        }
        from.deserialize_any(Any)
    }
}

/// A column by its variable. Where several models were asked their names
/// stand behind the variable's.
fn column<'b>(block: &'b Block, name: &str, model: &str) -> Option<(&'b str, &'b [Cell])> {
    let known = |key: &str| {
        let (key, cells) = block.get_key_value(key)?;
        Some((key.as_str(), cells.as_deref()?))
    };
    known(name)
        .or_else(|| known(&format!("{name}_{model}")))
        .or_else(|| known(&format!("{name}_best_match")))
}

/// The unit of a column; an unknown one is refused.
fn unit(
    units: &BTreeMap<String, Option<String>>,
    key: &str,
    quantity: Quantity,
) -> Result<Unit, Fault> {
    let text = units.get(key).and_then(|unit| unit.as_deref());
    let Some(text) = text else {
        return Err(Fault::unknown_form(format!("{key} has no unit")));
    };
    let spelled = if text == "mp/h" { "mph" } else { text };
    quantity.unit(spelled).ok_or_else(|| {
        let text = clean(text);
        Fault::unknown_form(format!("{key} is in \"{text}\", which is not known"))
    })
}

/// A column and its unit; `None` where there is none or all is null.
fn measured<'b>(
    block: &'b Block,
    units: &BTreeMap<String, Option<String>>,
    name: &str,
    model: &str,
    quantity: Quantity,
) -> Result<Option<(&'b [Cell], Unit)>, Fault> {
    let Some((key, cells)) = column(block, name, model) else {
        return Ok(None);
    };
    if cells.iter().all(|cell| cell.number().is_none()) {
        return Ok(Some((cells, quantity.measure().units[0])));
    }
    Ok(Some((cells, unit(units, key, quantity)?)))
}

fn times(block: &Block) -> Result<&[Cell], Fault> {
    let Some(Some(times)) = block.get("time") else {
        return Err(Fault::unknown_form("it has no times"));
    };
    for (name, cells) in block {
        if cells
            .as_ref()
            .is_some_and(|cells| cells.len() != times.len())
        {
            let name = clean(name);
            return Err(Fault::broken(format!("{name} is not as long as its times")));
        }
    }
    Ok(times)
}

fn hourly(
    block: &Block,
    units: &BTreeMap<String, Option<String>>,
    offset: i64,
    zone: Tz,
    model: &str,
    table: &mut HourTable,
) -> Result<(), Fault> {
    let starts: Vec<Option<NaiveDateTime>> = times(block)?
        .iter()
        .map(|cell| Some(hour_floor(standard(zone, cell.instant(offset)?))))
        .collect();
    table.left.no_time += starts.iter().filter(|start| start.is_none()).count();
    let mut any = false;
    for (name, field) in [
        ("temperature_2m", Field::Temperature),
        ("dew_point_2m", Field::DewPoint),
        ("relative_humidity_2m", Field::Humidity),
        ("wind_speed_10m", Field::Wind),
    ] {
        if let Some((cells, unit)) = measured(block, units, name, model, field.quantity())? {
            any = true;
            for (start, cell) in starts.iter().zip(cells) {
                if let Some(start) = start {
                    table.put(*start, field, cell.number().map(|value| unit.to_si(value)));
                }
            }
        }
    }
    let precipitation = measured(block, units, "precipitation", model, Quantity::Rain)?;
    // Without it rain and showers make it up, snow left out.
    let rain = match precipitation {
        Some(_) => [precipitation, None],
        None => [
            measured(block, units, "rain", model, Quantity::Rain)?,
            measured(block, units, "showers", model, Quantity::Rain)?,
        ],
    };
    if rain.iter().all(Option::is_none) {
        // A whole column may be null beyond the end of a model: unknown.
        let named = |name: &&str| block.get(*name).is_some_and(Option::is_none);
        let null = ["temperature_2m", "dew_point_2m", "precipitation"];
        return if any || null.iter().any(named) {
            Ok(())
        } else {
            Err(Fault::unknown_form(
                "its hours have nothing that was asked for",
            ))
        };
    }
    for (index, start) in starts.iter().enumerate() {
        let Some(start) = start else { continue };
        let mut sum = Some(0.0);
        for (cells, unit) in rain.iter().flatten() {
            let value = cells.get(index).and_then(Cell::number);
            sum = sum.zip(value).map(|(sum, value)| sum + unit.to_si(value));
        }
        table.put(hour_before(*start), Field::Rain, sum);
    }
    Ok(())
}

fn daily(
    block: &Block,
    units: &BTreeMap<String, Option<String>>,
    offset: i64,
    model: &str,
    left: &mut Left,
) -> Result<Vec<Day>, Fault> {
    let times = times(block)?;
    let mut column = |name: &str, quantity: Quantity| -> Result<Vec<Option<f64>>, Fault> {
        let Some((cells, unit)) = measured(block, units, name, model, quantity)? else {
            return Ok(vec![None; times.len()]);
        };
        let mut values = Vec::with_capacity(cells.len());
        for cell in cells {
            let si = cell.number().map(|value| unit.to_si(value));
            left.missing += usize::from(si.is_none());
            let kept = si.filter(|si| quantity.check(*si).is_ok());
            left.impossible += usize::from(si.is_some() && kept.is_none());
            values.push(kept);
        }
        Ok(values)
    };
    let low = column("temperature_2m_min", Quantity::Temperature)?;
    let high = column("temperature_2m_max", Quantity::Temperature)?;
    let rain = column("precipitation_sum", Quantity::Rain)?;
    let mut days = BTreeMap::new();
    for (index, time) in times.iter().enumerate() {
        let Some(date) = time.date(offset) else {
            left.no_time += 1;
            continue;
        };
        let at = |values: &[Option<f64>]| values.get(index).copied().flatten();
        let day = Day {
            date,
            low_c: at(&low),
            high_c: at(&high),
            rain_mm: at(&rain),
        };
        left.doubled += usize::from(days.insert(date, day).is_some());
    }
    Ok(days.into_values().collect())
}
