//! Everything about a place's weather that all crops share.

use super::candidates::Candidates;
use super::season_days::{DailyChill, SeasonDays, SeasonYear, bridged};
use crate::facts::weather::DailyRecord;
use chrono::{Datelike, NaiveDate};

/// Everything about a place's weather that all crops share.
#[derive(Clone, Debug)]
pub struct Climate {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// The screened record, short gaps bridged.
    pub(super) record: DailyRecord,
    /// Chill gained on each day.
    chill: DailyChill,
    /// Usual low and high by day of the year, °C; 366 of them.
    pub(super) normals: Vec<(f64, f64)>,
    /// The table of candidate dates.
    pub candidates: Candidates,
}

impl Climate {
    /// Works it out once per place and record (screened; measured days only).
    pub fn new(record: &DailyRecord, latitude_deg: f64) -> Self {
        let latitude_deg = if latitude_deg.is_finite() {
            latitude_deg.clamp(-89.9999, 89.9999)
        } else {
            45.0
        };
        let record = bridged(record);
        let chill = DailyChill::new(&record, latitude_deg);
        Climate {
            latitude_deg,
            normals: normals(&record),
            candidates: Candidates::new(&record, &chill, latitude_deg),
            record,
            chill,
        }
    }

    /// A place of which no weather is known.
    pub fn unknown(latitude_deg: f64) -> Self {
        Climate::new(&DailyRecord::unknown(NaiveDate::default(), 0), latitude_deg)
    }

    /// South of the equator.
    pub fn southern(&self) -> bool {
        self.candidates.southern()
    }

    /// The record, short gaps bridged.
    pub fn record(&self) -> &DailyRecord {
        &self.record
    }

    pub(super) fn season(&self, year: i32) -> Option<SeasonDays> {
        let season = SeasonYear::at(year, self.latitude_deg);
        SeasonDays::of(&self.record, &self.chill, season)
    }
}

/// Usual low and high of a day.
pub(super) fn normal(normals: &[(f64, f64)], date: NaiveDate) -> (f64, f64) {
    normals
        .get(date.ordinal0() as usize)
        .copied()
        .unwrap_or((0.0, 10.0))
}

/// Mean low and high by day of the year, smoothed over 31 days around it.
fn normals(record: &DailyRecord) -> Vec<(f64, f64)> {
    const HALF: usize = 15;
    let mut sums = vec![(0.0, 0.0, 0.0f64); 366];
    for day in record.days() {
        if let (Some(low), Some(high), Some(slot)) = (
            day.low_c,
            day.high_c,
            sums.get_mut(day.date.ordinal0() as usize),
        ) {
            slot.0 += low;
            slot.1 += high;
            slot.2 += 1.0;
        }
    }
    (0..366)
        .map(|day| {
            let around = (day + 366 - HALF..=day + 366 + HALF).map(|index| index % 366);
            let (low, high, count) = around
                .filter_map(|index| sums.get(index))
                .fold((0.0, 0.0, 0.0), |(a, b, n), (low, high, count)| {
                    (a + low, b + high, n + count)
                });
            if count > 0.0 {
                (low / count, high / count)
            } else {
                (0.0, 10.0)
            }
        })
        .collect()
}
