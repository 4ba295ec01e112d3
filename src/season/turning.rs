//! The turning points of the year: freezes, soil, leaf fall, the coldest
//! time, heat sums, worked out on each member of the ensemble.

use super::degree_days::DegreeDays;
use super::freeze_dates::is_freeze;
use super::members::Members;
use super::spread::{Basis, Spread};
use crate::facts::knowledge::HeatRule;
use crate::facts::weather::DailyRecord;
use chrono::{Datelike, Days, NaiveDate, TimeDelta};

/// Days over which the soil must hold its side of a threshold.
const SOIL_RUN: usize = 5;

/// The last day from 1 February to 31 July of `year` with a low at or below
/// the threshold; `None` for a spring without one.
pub fn last_spring_freeze(record: &DailyRecord, year: i32, threshold_c: f64) -> Option<NaiveDate> {
    let from = NaiveDate::from_ymd_opt(year, 2, 1)?;
    let to = NaiveDate::from_ymd_opt(year, 7, 31)?;
    span(record, from, to)
        .rev()
        .find(|&index| freezes(record, index, threshold_c))
        .map(|index| record.date(index))
}

/// The first day from 1 August of `year` on with a low at or below the
/// threshold; `None` for an autumn without one.
pub fn first_fall_freeze(record: &DailyRecord, year: i32, threshold_c: f64) -> Option<NaiveDate> {
    let from = NaiveDate::from_ymd_opt(year, 8, 1)?;
    let to = NaiveDate::from_ymd_opt(year, 12, 31)?;
    span(record, from, to)
        .find(|&index| freezes(record, index, threshold_c))
        .map(|index| record.date(index))
}

fn freezes(record: &DailyRecord, index: usize, threshold_c: f64) -> bool {
    record
        .low_c
        .get(index)
        .is_some_and(|low| is_freeze(low, threshold_c))
}

fn span(record: &DailyRecord, from: NaiveDate, to: NaiveDate) -> std::ops::Range<usize> {
    let first = record
        .index(from.max(record.first()))
        .unwrap_or(record.len());
    let end = record.index(to).map_or(record.len(), |last| last + 1);
    first..end.max(first)
}

/// Soil temperature at 10 cm under bare ground on each day, °C, from the mean
/// of the air.
///
/// Kaetterer & Andren 2009, Acta Agric. Scand. B 59:77-86 (read in the
/// documentation of an open package), green area 0, without snow. An
/// empirical fit for cold-temperate sites; bare ground in full sun runs
/// warmer. An unknown day leaves the soil as it was.
pub fn soil_10cm(record: &DailyRecord) -> Vec<f64> {
    let mut soil: Option<f64> = None;
    (0..record.len())
        .map(|index| {
            let air = record.low_c.get(index).zip(record.high_c.get(index));
            if let Some((low, high)) = air {
                let mean = f64::midpoint(low, high);
                soil = Some(match soil {
                    None => mean,
                    Some(before) => soil_next_day(before, mean),
                });
            }
            soil.unwrap_or(f64::NAN)
        })
        .collect()
}

fn soil_next_day(before_c: f64, air_c: f64) -> f64 {
    let surface = if air_c < 0.0 {
        0.2 * air_c
    } else {
        air_c * (0.95 + 0.05 * (1.2_f64).exp())
    };
    before_c + (surface - before_c) * 0.24 * (-0.17_f64).exp()
}

/// The day from which the soil stays at or above a threshold in spring: the
/// day after the last run of five days, from 1 January to 31 July, whose mean
/// was below it.
pub fn soil_warms(
    record: &DailyRecord,
    soil: &[f64],
    year: i32,
    threshold_c: f64,
) -> Option<NaiveDate> {
    let from = NaiveDate::from_ymd_opt(year, 1, 1)?;
    let to = NaiveDate::from_ymd_opt(year, 7, 31)?;
    let last_cold = span(record, from, to)
        .rev()
        .find(|&index| run_mean(soil, index) < threshold_c);
    match last_cold {
        Some(index) => record
            .date(index)
            .checked_add_days(Days::new(1))
            .filter(|day| *day <= to),
        None => Some(from),
    }
}

/// The first day from 1 September on whose five-day mean of the soil is below
/// a threshold; `None` where it stays warmer until the end of the year.
pub fn soil_cools(
    record: &DailyRecord,
    soil: &[f64],
    year: i32,
    threshold_c: f64,
) -> Option<NaiveDate> {
    let from = NaiveDate::from_ymd_opt(year, 9, 1)?;
    let to = NaiveDate::from_ymd_opt(year, 12, 31)?;
    span(record, from, to)
        .find(|&index| run_mean(soil, index) < threshold_c)
        .map(|index| record.date(index))
}

fn run_mean(soil: &[f64], index: usize) -> f64 {
    let run = &soil[index.saturating_sub(SOIL_RUN - 1)..=index.min(soil.len().saturating_sub(1))];
    run.iter().sum::<f64>() / run.len().max(1) as f64
}

/// The day in the middle of the winter before `year`'s spring on which the
/// mean low of past years, smoothed over 31 days, is least. Each day of the
/// year is taken from the year that is still to come, where every member
/// holds another past year: a winter that was seen is one and the same in all
/// of them.
pub fn coldest_day(members: &Members, year: i32) -> Option<NaiveDate> {
    let from = NaiveDate::from_ymd_opt(year - 1, 12, 1)?;
    let days: Vec<f64> = (-15..=105)
        .map(|step| {
            let date = to_come(from + TimeDelta::days(step), members.today());
            let lows = members
                .records()
                .iter()
                .filter_map(|record| record.day(date?)?.low_c);
            let (sum, count) = lows.fold((0.0, 0.0), |(sum, count), low| (sum + low, count + 1.0));
            sum / count
        })
        .collect();
    let smooth = days.windows(31).map(|run| run.iter().sum::<f64>() / 31.0);
    let (step, _) = smooth
        .enumerate()
        .filter(|(_, mean)| mean.is_finite())
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(from + TimeDelta::days(step as i64))
}

/// The same day of the year within the year that follows `today`.
fn to_come(date: NaiveDate, today: NaiveDate) -> Option<NaiveDate> {
    [today.year(), today.year() + 1]
        .into_iter()
        .filter_map(|year| {
            date.with_year(year)
                .or_else(|| date.pred_opt()?.with_year(year))
        })
        .find(|same| *same > today)
}

/// When a heat sum is reached, from the three days of its start; the members
/// carry the weather, the start's own spread is kept.
pub fn heat_reached(members: &Members, rule: HeatRule, start: Spread, sum: f64) -> Option<Spread> {
    let degree_days = DegreeDays::by(rule).ok()?;
    let from = |day: NaiveDate| members.spread(|record| reached(&degree_days, record, day, sum));
    let middle = from(start.middle)?;
    // A start by the calendar adds no doubt: the weather alone sets the date.
    let basis = match start.basis {
        Basis::Fixed => middle.basis,
        own => middle.basis.max(own),
    };
    if start.width_days() == 0 {
        return Some(Spread { basis, ..middle });
    }
    let (early, late) = (from(start.early)?, from(start.late)?);
    Some(Spread::new(
        early.middle.min(middle.early),
        middle.middle,
        late.middle.max(middle.late),
        basis,
    ))
}

/// The day through which the sum from a day on reaches a need; unknown days
/// add nothing.
fn reached(
    degree_days: &DegreeDays,
    record: &DailyRecord,
    from: NaiveDate,
    need: f64,
) -> Option<NaiveDate> {
    let mut heat = 0.0;
    (record.index(from)?..record.len())
        .find(|&index| {
            heat += degree_days
                .day_of(record, index)
                .map_or(0.0, |day| day.heat);
            heat >= need
        })
        .map(|index| record.date(index))
}
