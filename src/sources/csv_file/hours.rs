//! Days made from hours.

use crate::facts::weather::{Day, Hour};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Hours with a temperature that a day needs for its extremes
/// (reference: algorithms, hourly degree days; standing: our own choice).
const HOURS_FOR_EXTREMES: usize = 20;

/// Days made from hours, and the rain of days that are not whole.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DaysOfHours {
    /// The days, in order. Rain is known only if all 24 hours tell it.
    pub days: Vec<Day>,
    /// What fell at least on days with some hours of rain unknown.
    pub part_rain: Vec<PartRain>,
}

/// The rain of a day of which some hours are unknown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartRain {
    /// The day.
    pub date: NaiveDate,
    /// How many hours tell their rain, 1 to 23.
    pub hours: usize,
    /// The sum of these, mm.
    pub at_least_mm: f64,
}

/// Days of local standard time, midnight to midnight. Low and high are those
/// of the hourly readings and so a little narrower than a thermometer's; with
/// fewer than 20 hours they are unknown. Rain is known if all 24 hours tell it.
pub fn days_from_hours(hours: &[Hour]) -> Vec<Day> {
    summarise_hours(hours).days
}

/// As [`days_from_hours`], with the rain of incomplete days told beside.
pub fn summarise_hours(hours: &[Hour]) -> DaysOfHours {
    let mut by_start: BTreeMap<NaiveDate, BTreeMap<_, Hour>> = BTreeMap::new();
    for hour in hours {
        by_start
            .entry(hour.start.date())
            .or_default()
            .insert(hour.start, *hour);
    }
    let mut out = DaysOfHours::default();
    for (date, hours) in by_start {
        let readings: Vec<f64> = hours
            .values()
            .filter_map(|hour| hour.temperature_c)
            .collect();
        let rain: Vec<f64> = hours.values().filter_map(|hour| hour.rain_mm).collect();
        let enough = readings.len() >= HOURS_FOR_EXTREMES;
        let whole = rain.len() >= 24;
        let sum: f64 = rain.iter().sum();
        out.days.push(Day {
            date,
            low_c: enough.then(|| readings.iter().copied().fold(f64::INFINITY, f64::min)),
            high_c: enough.then(|| readings.iter().copied().fold(f64::NEG_INFINITY, f64::max)),
            rain_mm: whole.then_some(sum),
        });
        if !whole && !rain.is_empty() {
            out.part_rain.push(PartRain {
                date,
                hours: rain.len(),
                at_least_mm: sum,
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;

    fn hours(count: i64) -> Vec<Hour> {
        let midnight = NaiveDate::from_ymd_opt(2024, 4, 1)
            .unwrap()
            .and_hms_opt(0, 0, 0)
            .unwrap();
        (0..count)
            .map(|at| Hour {
                start: midnight + TimeDelta::hours(at),
                temperature_c: Some(at as f64),
                dew_point_c: None,
                humidity_pct: None,
                rain_mm: Some(0.5),
                wind_m_s: None,
            })
            .collect()
    }

    #[test]
    fn twenty_hours_make_extremes_and_24_make_rain() {
        let whole = summarise_hours(&hours(24));
        assert_eq!(whole.days[0].low_c, Some(0.0));
        assert_eq!(whole.days[0].high_c, Some(23.0));
        assert_eq!(whole.days[0].rain_mm, Some(12.0));
        assert!(whole.part_rain.is_empty());
        let part = summarise_hours(&hours(20));
        assert_eq!(part.days[0].high_c, Some(19.0));
        assert_eq!(part.days[0].rain_mm, None);
        assert_eq!(
            (part.part_rain[0].hours, part.part_rain[0].at_least_mm),
            (20, 10.0)
        );
        let few = days_from_hours(&hours(19));
        assert_eq!((few[0].low_c, few[0].high_c), (None, None));
        assert!(days_from_hours(&[]).is_empty());
    }
}
