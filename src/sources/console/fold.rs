//! One reading after the other becomes hours and days.

use super::super::hours::{empty_hour, hour_floor, standard};
use super::rain::{self, Counter, Fell, Sum};
use super::{Odd, Reading, Trial};
use crate::facts::weather::{Day, Hour};
use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A reading stands for the full hour up to this far away, minutes.
const NEAR_MIN: i64 = 30;

/// A temperature may not leap by more than this within so many minutes, K
/// (reference: weather-sources 4.2).
const LEAP_K: f64 = 10.0;
const LEAP_MIN: i64 = 5;

/// After so many hours of one temperature the sensor is stuck (reference:
/// weather-sources 4.2).
const STUCK_H: i64 = 12;

/// Hours with a reading, and the longest gap in hours, for the extremes of a
/// day (reference: weather-sources 8.2; common practice).
const HOURS_FOR_EXTREMES: u32 = 20;
const LONGEST_GAP_H: i64 = 3;

/// A reading this far before the last one shows that a clock was wrong.
const WRONG_CLOCK_MIN: i64 = 60;

/// What is known of the hour and the day that are not over yet. Its text, with
/// [`write`](Self::write), holds numbers and times alone.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Fold {
    zone: String,
    last: Option<Last>,
    counter: Option<Counter>,
    rain_to: Option<NaiveDateTime>,
    rain: BTreeMap<NaiveDateTime, Sum>,
    days: BTreeMap<NaiveDate, Daily>,
    good: Option<(DateTime<Utc>, f64)>,
    still: Option<(DateTime<Utc>, f64)>,
    trial: Trial,
}

/// The reading before.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Last {
    at: DateTime<Utc>,
    temperature_c: Option<f64>,
    humidity_pct: Option<f64>,
    wind_m_s: Option<f64>,
}

/// A day that is not over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
struct Daily {
    low_c: Option<f64>,
    high_c: Option<f64>,
    /// One bit for each hour with a temperature.
    hours: u32,
    last: Option<NaiveDateTime>,
    longest_gap_s: i64,
    rain: Sum,
    /// Its temperatures may be of another unit.
    doubted: bool,
}

/// What a reading brought.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Taken {
    /// Whether it was new; a doubled or late one is not.
    pub fresh: bool,
    /// Hours of which something is known now for good: the state of the air at
    /// their start, or the rain of all of it. Local standard time.
    pub hours: Vec<Hour>,
    /// Days that are over.
    pub days: Vec<Day>,
    /// What is odd.
    pub odd: Vec<Odd>,
}

impl Fold {
    /// Takes a reading. `forecast` tells the forecast temperature of an hour,
    /// where there is one, in °C.
    ///
    /// The air of an hour is that of the reading nearest to its start, at most
    /// half an hour away, as the store has it; low and high of a day are those
    /// of all its readings; rain is the growth of the counter. An hour's rain
    /// is known if at most five minutes of it are not.
    pub fn take(
        &mut self,
        reading: &Reading,
        zone: Tz,
        forecast: &dyn Fn(NaiveDateTime) -> Option<f64>,
    ) -> Taken {
        self.begin(zone, reading.at);
        if self.last.is_some_and(|last| reading.at <= last.at) {
            return Taken::default();
        }
        if reading.sure_of_unit {
            self.trial = Trial::default();
        }
        let mut taken = Taken {
            fresh: true,
            odd: reading.odd.clone(),
            ..Taken::default()
        };
        let local = standard(zone, reading.at);
        let now = Last {
            at: reading.at,
            temperature_c: self.vetted(reading, &mut taken.odd),
            humidity_pct: reading.humidity_pct,
            wind_m_s: reading.wind_m_s,
        };
        if let Some(fell) = rain::fell(reading.rain, local, &mut self.counter, &mut taken.odd) {
            self.rain(fell);
        }
        let mut hours = self.air(now, zone);
        if !reading.sure_of_unit {
            self.judge(&mut hours, forecast, &mut taken.odd);
        }
        let this = hour_floor(local);
        let going = self.rain.split_off(&this);
        for (start, sum) in std::mem::replace(&mut self.rain, going) {
            let mm = sum.known(3_600.0);
            if mm.is_some() {
                hours.entry(start).or_insert(empty_hour(start)).rain_mm = mm;
            }
        }
        taken.hours = hours.into_values().collect();
        taken.days = self.days_over(local.date());
        self.day(local, now.temperature_c);
        self.last = Some(now);
        taken
    }

    /// When the last reading was made.
    pub fn last(&self) -> Option<DateTime<Utc>> {
        self.last.map(|last| last.at)
    }

    /// As text, to be kept.
    pub fn write(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// From its text; `None` where it is none.
    pub fn read(text: &str) -> Option<Fold> {
        serde_json::from_str(text).ok()
    }

    /// Begins anew in another zone, or after a clock that had run ahead.
    fn begin(&mut self, zone: Tz, at: DateTime<Utc>) {
        let ahead = |last: &Last| last.at - at > TimeDelta::minutes(WRONG_CLOCK_MIN);
        if self.zone != zone.name() || self.last.as_ref().is_some_and(ahead) {
            *self = Fold {
                zone: zone.name().to_owned(),
                trial: self.trial,
                ..Fold::default()
            };
        }
    }

    /// The temperature, unless it leaps or has not moved for long.
    fn vetted(&mut self, reading: &Reading, odd: &mut Vec<Odd>) -> Option<f64> {
        let c = reading.temperature_c?;
        if let Some((at, known)) = self.good
            && reading.at - at <= TimeDelta::minutes(LEAP_MIN)
            && (c - known).abs() > LEAP_K
        {
            odd.push(Odd::Leap {
                from_c: known,
                to_c: c,
            });
            return None;
        }
        self.good = Some((reading.at, c));
        let silent = |last: Last| reading.at - last.at > TimeDelta::hours(1);
        match self.still {
            Some((since, known)) if known == c && !self.last.is_some_and(silent) => {
                let hours = (reading.at - since).num_hours();
                if hours >= STUCK_H {
                    odd.push(Odd::Stuck { at_c: c, hours });
                    return None;
                }
            }
            _ => self.still = Some((reading.at, c)),
        }
        Some(c)
    }

    /// Shares rain out to its hours and days.
    fn rain(&mut self, mut fell: Fell) {
        // A broadcast may overlap the one before.
        if let Some(to) = self.rain_to {
            fell.from = fell.from.max(to).min(fell.to);
        }
        self.rain_to = Some(fell.to);
        let midnight = |time: NaiveDateTime| time.date().and_time(NaiveTime::MIN);
        fell.parts(midnight, TimeDelta::days(1), |start, mm, seconds| {
            let day = self.days.entry(start.date()).or_default();
            day.rain.add(mm, seconds);
        });
        if fell.by_hour {
            fell.parts(hour_floor, TimeDelta::hours(1), |start, mm, seconds| {
                self.rain.entry(start).or_default().add(mm, seconds);
            });
        }
    }

    /// The air at the full hours between the reading before and this one.
    fn air(&self, now: Last, zone: Tz) -> BTreeMap<NaiveDateTime, Hour> {
        let to = standard(zone, now.at);
        let from = self.last.map(|last| standard(zone, last.at));
        let mut hours = BTreeMap::new();
        let first = from.map(|from| hour_floor(from) + TimeDelta::hours(1));
        let last = hour_floor(to);
        // Those between lie too far from both.
        for start in [first.unwrap_or(last), last] {
            if start > to || from.is_some_and(|from| start <= from) {
                continue;
            }
            let away = |time: NaiveDateTime| (time - start).num_seconds().abs();
            let near = |reading: Last, time: NaiveDateTime| {
                (away(time) <= NEAR_MIN * 60).then_some((away(time), reading))
            };
            let before = self.last.zip(from);
            let mut near: Vec<(i64, Last)> = [
                before.and_then(|(reading, time)| near(reading, time)),
                near(now, to),
            ]
            .into_iter()
            .flatten()
            .collect();
            near.sort_by_key(|(away, _)| *away);
            let value = |of: fn(&Last) -> Option<f64>| near.iter().find_map(|(_, at)| of(at));
            let hour = Hour {
                temperature_c: value(|at| at.temperature_c),
                humidity_pct: value(|at| at.humidity_pct),
                wind_m_s: value(|at| at.wind_m_s),
                ..empty_hour(start)
            };
            if hour != empty_hour(start) {
                hours.insert(start, hour);
            }
        }
        hours
    }

    /// Takes out temperatures that seem to be of another unit.
    fn judge(
        &mut self,
        hours: &mut BTreeMap<NaiveDateTime, Hour>,
        forecast: &dyn Fn(NaiveDateTime) -> Option<f64>,
        odd: &mut Vec<Odd>,
    ) {
        for hour in hours.values_mut() {
            if let Some(c) = hour.temperature_c
                && let Some(forecast) = forecast(hour.start)
            {
                odd.extend(self.trial.judge(c, forecast));
            }
            if self.trial.is_doubted() {
                hour.temperature_c = None;
                self.days.entry(hour.start.date()).or_default().doubted = true;
            }
        }
    }

    /// Adds a temperature to its day.
    fn day(&mut self, local: NaiveDateTime, temperature_c: Option<f64>) {
        let doubted = self.trial.is_doubted();
        let day = self.days.entry(local.date()).or_default();
        day.doubted |= doubted;
        let Some(c) = temperature_c else { return };
        day.low_c = Some(day.low_c.map_or(c, |low| low.min(c)));
        day.high_c = Some(day.high_c.map_or(c, |high| high.max(c)));
        day.hours |= 1 << local.hour();
        let midnight = local.date().and_time(NaiveTime::MIN);
        let gap = local - day.last.unwrap_or(midnight);
        day.longest_gap_s = day.longest_gap_s.max(gap.num_seconds());
        day.last = Some(local);
    }

    /// Days that are over; those of which nothing is known are left out.
    fn days_over(&mut self, today: NaiveDate) -> Vec<Day> {
        let going = self.days.split_off(&today);
        std::mem::replace(&mut self.days, going)
            .into_iter()
            .filter_map(|(date, day)| {
                let end = date.succ_opt()?.and_time(NaiveTime::MIN);
                let rest = end - day.last.unwrap_or(date.and_time(NaiveTime::MIN));
                let whole = day.hours.count_ones() >= HOURS_FOR_EXTREMES
                    && day.longest_gap_s.max(rest.num_seconds()) <= LONGEST_GAP_H * 3_600
                    && !day.doubted;
                let day = Day {
                    date,
                    low_c: day.low_c.filter(|_| whole),
                    high_c: day.high_c.filter(|_| whole),
                    rain_mm: day.rain.known(24.0 * 3_600.0),
                };
                (day.low_c.is_some() || day.rain_mm.is_some()).then_some(day)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests;
