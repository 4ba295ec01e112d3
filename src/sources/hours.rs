//! Values in any order become hours in local standard time, each once.

use super::csv_file::days_from_hours;
use super::{Left, Span};
use crate::facts::weather::{Day, Hour};
use crate::units::Quantity;
use chrono::{
    DateTime, Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::{OffsetComponents, Tz};
use std::collections::BTreeMap;

/// What a value of an hour is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Field {
    Temperature,
    DewPoint,
    Humidity,
    Rain,
    Wind,
}

impl Field {
    /// The quantity that bounds it.
    pub(super) fn quantity(self) -> Quantity {
        match self {
            Field::Temperature | Field::DewPoint => Quantity::Temperature,
            Field::Humidity => Quantity::Humidity,
            Field::Rain => Quantity::Rain,
            Field::Wind => Quantity::Wind,
        }
    }

    fn slot(self, hour: &mut Hour) -> &mut Option<f64> {
        match self {
            Field::Temperature => &mut hour.temperature_c,
            Field::DewPoint => &mut hour.dew_point_c,
            Field::Humidity => &mut hour.humidity_pct,
            Field::Rain => &mut hour.rain_mm,
            Field::Wind => &mut hour.wind_m_s,
        }
    }
}

/// Hours by their start in local standard time.
#[derive(Debug, Default)]
pub(super) struct HourTable {
    hours: BTreeMap<NaiveDateTime, Hour>,
    /// What was not taken so far.
    pub(super) left: Left,
}

impl HourTable {
    /// Puts a value in SI units into the hour that begins at `start`. Unknown
    /// values and those that cannot be are counted; of two the later stands.
    pub(super) fn put(&mut self, start: NaiveDateTime, field: Field, si: Option<f64>) {
        let Some(si) = si else {
            self.left.missing += 1;
            return;
        };
        if field.quantity().check(si).is_err() {
            self.left.impossible += 1;
            return;
        }
        let hour = self.hours.entry(start).or_insert(empty_hour(start));
        if field.slot(hour).replace(si).is_some() {
            self.left.doubled += 1;
        }
    }

    /// Takes over all that another table knows.
    pub(super) fn lay_over(&mut self, other: HourTable) {
        for (start, above) in other.hours {
            let hour = self.hours.entry(start).or_insert(above);
            for (slot, value) in [
                (&mut hour.temperature_c, above.temperature_c),
                (&mut hour.dew_point_c, above.dew_point_c),
                (&mut hour.humidity_pct, above.humidity_pct),
                (&mut hour.rain_mm, above.rain_mm),
                (&mut hour.wind_m_s, above.wind_m_s),
            ] {
                *slot = value.or(*slot);
            }
        }
    }

    /// The hours of `span` that are over at `now`, in order.
    pub(super) fn hours(&self, span: Span, until: NaiveDateTime) -> Vec<Hour> {
        let last = span.last.succ_opt().unwrap_or(span.last);
        let end = last.and_time(NaiveTime::MIN).min(hour_floor(until));
        let first = span.first.and_time(NaiveTime::MIN);
        if first >= end {
            return Vec::new();
        }
        self.hours
            .range(first..end)
            .map(|(_, hour)| *hour)
            .collect()
    }

    /// All hours from `first` on.
    pub(super) fn hours_from(&self, first: NaiveDateTime) -> Vec<Hour> {
        self.hours.range(first..).map(|(_, hour)| *hour).collect()
    }
}

/// An hour of which nothing is known.
pub(super) fn empty_hour(start: NaiveDateTime) -> Hour {
    Hour {
        start,
        temperature_c: None,
        dew_point_c: None,
        humidity_pct: None,
        rain_mm: None,
        wind_m_s: None,
    }
}

/// Days that are over at `until`, from hours; those of which nothing is known
/// are left out.
pub(super) fn days_over(hours: &[Hour], until: NaiveDateTime) -> Vec<Day> {
    let mut days = known_days(hours);
    days.retain(|day| day.date < until.date());
    days
}

/// Days from hours; those of which nothing is known are left out.
pub(super) fn known_days(hours: &[Hour]) -> Vec<Day> {
    let mut days = days_from_hours(hours);
    days.retain(|day| day.low_c.is_some() || day.high_c.is_some() || day.rain_mm.is_some());
    days
}

/// Local standard time of an instant: the zone's offset of that date without
/// daylight time, so that no hour is missing or doubled.
pub(super) fn standard(zone: Tz, instant: DateTime<Utc>) -> NaiveDateTime {
    let utc = instant.naive_utc();
    let offset = zone.offset_from_utc_datetime(&utc).base_utc_offset();
    utc.checked_add_signed(offset).unwrap_or(utc)
}

/// An instant in years that a record may touch: a slip of somebody's pen must
/// not make a record of millennia.
pub(super) fn in_our_time(instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
    (1800..=2200).contains(&instant.year()).then_some(instant)
}

/// Days that a forecast may reach ahead (our choice: more than any does).
const FORECAST_DAYS: u64 = 20;

/// The days that a forecast may be about.
pub(super) fn coming(today: NaiveDate) -> Span {
    Span {
        first: today,
        last: today
            .checked_add_days(Days::new(FORECAST_DAYS))
            .unwrap_or(today),
    }
}

/// The instant at which a day begins in local standard time.
pub(super) fn day_begins(zone: Tz, date: NaiveDate) -> DateTime<Utc> {
    let midnight = date.and_time(NaiveTime::MIN);
    let offset = zone.offset_from_utc_datetime(&midnight).base_utc_offset();
    midnight
        .checked_sub_signed(offset)
        .unwrap_or(midnight)
        .and_utc()
}

/// The start of an hour, earlier or same. Zones off the full hour lose their
/// half hour here: a record holds whole hours.
pub(super) fn hour_floor(time: NaiveDateTime) -> NaiveDateTime {
    let seconds = time.and_utc().timestamp().rem_euclid(3_600);
    time.checked_sub_signed(TimeDelta::seconds(seconds))
        .unwrap_or(time)
}

/// The hour before.
pub(super) fn hour_before(time: NaiveDateTime) -> NaiveDateTime {
    time.checked_sub_signed(TimeDelta::hours(1)).unwrap_or(time)
}
