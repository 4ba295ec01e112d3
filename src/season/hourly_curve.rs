//! Hours from daily extremes: a sine by day, a logarithm by night.
//!
//! Linvill 1990, HortScience 25:14-16, in its continuous form: `ln(t + 1) /
//! ln(N + 1)` over the night, so that the curve has no step at sunset, at
//! midnight or at sunrise. Hours are solar time; the highest value falls at
//! 14:00, the lowest at sunrise, which is rarely a whole hour: for frost use
//! the daily low, never the least of the hours.

use super::sun::{self, Declination};
use crate::facts::weather::{Column, DailyRecord};
use chrono::{Datelike, NaiveDate};
use std::f64::consts::PI;

/// One day's extremes and sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurveDay {
    /// Lowest temperature, °C.
    pub low_c: f64,
    /// Highest temperature, °C.
    pub high_c: f64,
    /// Day length, h.
    pub length_h: f64,
}

impl CurveDay {
    fn sunrise(&self) -> f64 {
        12.0 - 0.5 * self.length_h
    }

    fn sunset(&self) -> f64 {
        12.0 + 0.5 * self.length_h
    }

    /// Whether the sun rises and sets.
    fn has_night_and_day(&self) -> bool {
        self.length_h > 0.0 && self.length_h < 24.0
    }

    fn by_day(&self, hour: f64) -> f64 {
        self.low_c
            + (self.high_c - self.low_c)
                * (PI * (hour - self.sunrise()) / (self.length_h + 4.0)).sin()
    }
}

/// The temperatures at 0, 1, .. 23 h solar time of a day, °C, from its
/// extremes and those of its neighbours. Without a day before or after, the
/// day itself stands in. Without night or without day the hours all are the
/// mean of the extremes.
pub fn hours_of_day(before: Option<CurveDay>, day: CurveDay, after: Option<CurveDay>) -> [f64; 24] {
    let mut hours = [0.5 * (day.low_c + day.high_c); 24];
    if !day.has_night_and_day() {
        return hours;
    }
    let before = before.filter(CurveDay::has_night_and_day).unwrap_or(day);
    let after = after.filter(CurveDay::has_night_and_day).unwrap_or(day);
    let morning = Night::between(before, day);
    let evening = Night::between(day, after);
    for (hour, slot) in hours.iter_mut().enumerate() {
        let h = hour as f64;
        *slot = if h < day.sunrise() {
            morning.at(h + 24.0 - before.sunset())
        } else if h <= day.sunset() {
            day.by_day(h)
        } else {
            evening.at(h - day.sunset())
        };
    }
    hours
}

/// One night: from the value at sunset down to the next low.
struct Night {
    at_sunset_c: f64,
    fall_per_log: f64,
}

impl Night {
    fn between(evening: CurveDay, morning: CurveDay) -> Self {
        let length = (24.0 - evening.sunset() + morning.sunrise()).max(0.0);
        let at_sunset_c = evening.by_day(evening.sunset());
        let log = length.ln_1p();
        Night {
            at_sunset_c,
            fall_per_log: if log > 0.0 {
                (at_sunset_c - morning.low_c) / log
            } else {
                0.0
            },
        }
    }

    /// `hours` since sunset.
    fn at(&self, hours: f64) -> f64 {
        self.at_sunset_c - self.fall_per_log * hours.max(0.0).ln_1p()
    }
}

/// The curve over a whole record at one latitude: 24 hours a day in solar
/// time, the first at the record's first midnight. Days that are not known
/// give unknown hours; a low above its high is swapped.
pub fn hours_of_record(record: &DailyRecord, latitude_deg: f64) -> Column {
    let mut hours = Column::default();
    each_day(record, latitude_deg, |day| match day {
        Some(values) => values.iter().for_each(|&value| hours.push(Some(value))),
        None => (0..24).for_each(|_| hours.push(None)),
    });
    hours
}

/// Walks over a record day by day with the 24 hours of each, or `None` for a
/// day that is not known; nothing is kept.
pub fn each_day(record: &DailyRecord, latitude_deg: f64, mut take: impl FnMut(Option<&[f64; 24]>)) {
    let lengths = day_lengths(latitude_deg);
    let mut date = record.first();
    let mut next = |index: usize| {
        let length = lengths[day_slot(date)];
        date = date.succ_opt().unwrap_or(date);
        let (low, high) = (record.low_c.get(index)?, record.high_c.get(index)?);
        Some(CurveDay {
            low_c: low.min(high),
            high_c: low.max(high),
            length_h: length,
        })
    };
    let (mut before, mut day) = (None, next(0));
    for index in 0..record.len() {
        let after = next(index + 1);
        match day {
            Some(known) => take(Some(&hours_of_day(before, known, after))),
            None => take(None),
        }
        (before, day) = (day, after);
    }
}

/// Day length for every day of the year; index 0 is not used.
fn day_lengths(latitude_deg: f64) -> [f64; 367] {
    let mut lengths = [12.0; 367];
    for (day, length) in lengths.iter_mut().enumerate() {
        *length = sun::solar(latitude_deg, day as u32, Declination::Cbm).length_h();
    }
    lengths
}

fn day_slot(date: NaiveDate) -> usize {
    (date.ordinal() as usize).min(366)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::weather::Day;
    use chrono::Days;

    fn record(first: NaiveDate, extremes: &[(f64, f64)]) -> DailyRecord {
        let days: Vec<Day> = extremes
            .iter()
            .enumerate()
            .map(|(n, &(low, high))| Day {
                date: first + Days::new(n as u64),
                low_c: Some(low),
                high_c: Some(high),
                rain_mm: None,
            })
            .collect();
        DailyRecord::from_days(&days).unwrap()
    }

    fn middle_day(day_of_year: u32, extremes: &[(f64, f64); 3]) -> Vec<f64> {
        let first = NaiveDate::from_yo_opt(2025, day_of_year - 1).unwrap();
        let hours = hours_of_record(&record(first, extremes), 40.0);
        (24..48).map(|hour| hours.get(hour).unwrap()).collect()
    }

    fn check(hours: &[f64], wanted: &[f64; 24]) {
        for (hour, (value, wanted)) in hours.iter().zip(wanted).enumerate() {
            assert!(
                (value - wanted).abs() < 6e-4,
                "{hour} h: {value} instead of {wanted}"
            );
        }
    }

    /// reference/algorithms.md 2.3, latitude 40; a second implementation
    /// agrees there to 1e-9.
    #[test]
    fn spring_day_of_the_reference() {
        check(
            &middle_day(100, &[(3.0, 14.0), (5.0, 20.0), (8.0, 16.0)]),
            &[
                6.334, 6.022, 5.750, 5.508, 5.290, 5.092, 6.397, 9.116, 11.695, 14.046, 16.090,
                17.756, 18.988, 19.745, 20.000, 19.745, 18.988, 17.756, 16.090, 13.951, 12.485,
                11.521, 10.801, 10.227,
            ],
        );
    }

    /// The same, days 14 to 16.
    #[test]
    fn winter_day_of_the_reference() {
        check(
            &middle_day(15, &[(-8.0, -2.0), (-6.0, 4.0), (-10.0, -1.0)]),
            &[
                -5.358, -5.475, -5.581, -5.676, -5.763, -5.843, -5.918, -5.987, -4.141, -1.944,
                0.038, 1.700, 2.955, 3.735, 4.000, 3.735, 2.955, 1.212, -1.462, -3.110, -4.305,
                -5.243, -6.016, -6.672,
            ],
        );
    }

    #[test]
    fn a_flat_day_is_flat_and_an_unknown_day_unknown() {
        for value in middle_day(200, &[(10.0, 10.0); 3]) {
            assert!((value - 10.0).abs() < 1e-6);
        }
        let first = NaiveDate::from_ymd_opt(2025, 7, 1).unwrap();
        let mut gap = record(first, &[(10.0, 20.0); 3]);
        gap.low_c.set(1, None);
        let hours = hours_of_record(&gap, 40.0);
        assert_eq!(hours.len(), 72);
        assert_eq!(hours.known(), 48);
        assert!(hours_of_record(&DailyRecord::unknown(first, 0), 40.0).is_empty());
    }

    #[test]
    fn polar_night_gives_the_mean() {
        let first = NaiveDate::from_ymd_opt(2025, 12, 20).unwrap();
        let hours = hours_of_record(&record(first, &[(-20.0, -10.0); 2]), 80.0);
        assert!(hours.iter().flatten().all(|t| (t + 15.0).abs() < 1e-6));
    }
}
