//! Reports of a station: several an hour, in any order, full of nulls.
//!
//! A value of an hour is that of the report nearest to it, routine reports
//! (about seven minutes before the hour, in tenths) before those between
//! (whole degrees). The rain of a routine report fell in the hour before.

use super::super::Left;
use super::super::error::Fault;
use super::super::hours::{Field, HourTable, hour_before, hour_floor, standard};
use super::interval::instant;
use super::quantity::{Said, said};
use crate::facts::weather::Hour;
use crate::units::Quantity;
use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use serde_json::Value;
use std::collections::BTreeMap;

/// What the reports of a station say.
#[derive(Debug, Default)]
pub struct Reports {
    pub(super) table: HourTable,
    /// Lowest and highest checked reading of each day in local standard time,
    /// reports between the hours included, °C.
    pub extremes: BTreeMap<NaiveDate, (f64, f64)>,
    /// The latest report.
    pub latest: Option<DateTime<Utc>>,
}

impl Reports {
    /// The hours, in order.
    pub fn hours(&self) -> Vec<Hour> {
        self.table.hours_from(NaiveDateTime::MIN)
    }

    /// What was not taken.
    pub fn left(&self) -> Left {
        self.table.left
    }
}

/// One value among those of its hour: routine first, then the nearest.
type Candidate = ((bool, i64), f64);

/// Reads a list of reports.
///
/// # Errors
/// [`Fault`] where a value is in an unknown unit or there is no list at all.
pub(super) fn read(answer: &Value, zone: Tz) -> Result<Reports, Fault> {
    let list = match answer.get("features") {
        Some(Value::Array(list)) => list.as_slice(),
        // A null is an empty list there; a single report has no list.
        Some(Value::Null) => &[],
        _ if answer.get("properties").is_some() => std::slice::from_ref(answer),
        _ => return Err(Fault::unknown_form("there is no list of reports")),
    };
    let mut reports = Reports::default();
    let mut best: BTreeMap<(NaiveDateTime, usize), Candidate> = BTreeMap::new();
    let mut rain: BTreeMap<NaiveDateTime, f64> = BTreeMap::new();
    let mut dry: Vec<NaiveDateTime> = Vec::new();
    for report in list {
        let Some(report) = report.get("properties") else {
            reports.table.left.no_time += 1;
            continue;
        };
        let stamp = report.get("timestamp").and_then(Value::as_str);
        let Some(stamp) = stamp.and_then(instant) else {
            reports.table.left.no_time += 1;
            continue;
        };
        reports.latest = reports.latest.max(Some(stamp));
        let local = standard(zone, stamp);
        let hour = hour_floor(local + TimeDelta::minutes(30));
        let away = (local - hour).num_seconds().abs();
        let routine = report
            .get("rawMessage")
            .and_then(Value::as_str)
            .is_some_and(|raw| !raw.is_empty());
        for (index, (name, field)) in FIELDS.iter().enumerate() {
            let left = &mut reports.table.left;
            let Some((si, checked)) = usable(report.get(*name), field.quantity(), left)? else {
                continue;
            };
            if index == 0 && checked {
                let day = reports.extremes.entry(local.date()).or_insert((si, si));
                *day = (day.0.min(si), day.1.max(si));
            }
            let rank = (!routine, away);
            let candidate = (rank, si);
            best.entry((hour, index))
                .and_modify(|known| {
                    if rank < known.0 {
                        *known = candidate;
                    }
                })
                .or_insert(candidate);
        }
        let left = &mut reports.table.left;
        let before = hour_before(hour);
        if let Some((si, _)) = usable(report.get("precipitationLastHour"), Quantity::Rain, left)? {
            // Reports between add up since the last routine one: the most is
            // that of the whole hour.
            let sum = rain.entry(before).or_insert(si);
            *sum = sum.max(si);
        }
        for (name, hours) in [
            ("precipitationLast3Hours", 3),
            ("precipitationLast6Hours", 6),
        ] {
            let said = said(report.get(name), Quantity::Rain)?;
            if matches!(said, Said::Value { si, .. } if si == 0.0) {
                dry.extend((0..hours).map(|back| before - TimeDelta::hours(back)));
            }
        }
    }
    for ((hour, index), (_, si)) in best {
        if let Some((_, field)) = FIELDS.get(index) {
            reports.table.put(hour, *field, Some(si));
        }
    }
    // No rain in three or six hours is none in each of them.
    for hour in dry {
        rain.entry(hour).or_insert(0.0);
    }
    for (hour, si) in rain {
        reports.table.put(hour, Field::Rain, Some(si));
    }
    Ok(reports)
}

const FIELDS: [(&str, Field); 4] = [
    ("temperature", Field::Temperature),
    ("dewpoint", Field::DewPoint),
    ("relativeHumidity", Field::Humidity),
    ("windSpeed", Field::Wind),
];

/// A value that can be, and whether it was checked there.
fn usable(
    value: Option<&Value>,
    quantity: Quantity,
    left: &mut Left,
) -> Result<Option<(f64, bool)>, Fault> {
    match said(value, quantity)? {
        Said::Nothing => left.missing += 1,
        Said::Failed => left.flagged += 1,
        Said::Value { si, checked } if quantity.check(si).is_ok() => {
            return Ok(Some((si, checked)));
        }
        Said::Value { .. } => left.impossible += 1,
    }
    Ok(None)
}
