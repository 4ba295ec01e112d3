//! Juniper rusts on apple: the horns must be wet first, then the leaves long
//! enough.
//!
//! Rain opens an event; after some wet hours at mild temperatures the horns
//! give off spores (West Virginia Univ.; Pearson, Seem & Meyer 1980), and the
//! wet hours that remain are read in the table (Aldwinckle, Pearson & Seem
//! 1980, 23 of 24 field periods called right). Unlike scab, rust infects in
//! the dark. Whether the horns are active at all, and the host at a stage at
//! risk, is judged by the caller.

use super::wetness_table::WetnessTable;
use super::{Counter, Outcome, wet_temperatures};
use crate::facts::weather::HourlyRecord;
use crate::season::wetness::{Estimate, WetHours, WetPeriod};

/// When wetted horns give off spores.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HornRule {
    /// Wet hours needed in the warm band (4).
    pub warm_hours: usize,
    /// Warm band of the mean over those hours, °C (52 to 77 °F).
    pub warm_c: (f64, f64),
    /// Wet hours needed in the cool band (7, from memory).
    pub cool_hours: usize,
    /// Cool band, °C (46 to 52 °F, from memory).
    pub cool_c: (f64, f64),
    /// Hours for which horns that were wet stay ready while the air holds
    /// 85 % (24): then there is no delay, and no rain is needed.
    pub ready_hours: usize,
}

/// What came of one wet period for a juniper rust.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RustOutcome {
    /// Class, hours and needs, counted from the spores on.
    pub outcome: Outcome,
    /// Index of the first rain hour, which wets the horns.
    pub rain_at: Option<usize>,
    /// Index of the hour at whose end spores fly; `None`: never in it.
    pub spores_at: Option<usize>,
    /// The horns were ready from an earlier wetting.
    pub ready_before: bool,
}

/// Judges one wet period (joined over dry breaks of less than 8 hours).
pub fn judge(
    record: &HourlyRecord,
    wet: &WetHours,
    estimate: Estimate,
    period: &WetPeriod,
    table: &WetnessTable,
    horns: &HornRule,
) -> RustOutcome {
    let mut counter = Counter::new(table, period.open);
    let ready_before = horns_are_ready(wet, estimate, period.first, horns.ready_hours);
    let rain_at = (period.first..=period.last).find(|&hour| wet.rained(hour));
    let start = if ready_before {
        Some(period.first)
    } else {
        rain_at
    };
    let mut spores_at = None;
    if let Some(start) = start {
        let mut recent: Vec<f64> = Vec::new();
        let mut flying = ready_before;
        for (hour, temperature_c) in wet_temperatures(record, wet, estimate, start..=period.last) {
            if flying {
                spores_at.get_or_insert(hour);
                counter.add(hour, temperature_c);
                continue;
            }
            recent.push(temperature_c);
            if mean_of_last(&recent, horns.warm_hours)
                .is_some_and(|mean| (horns.warm_c.0..=horns.warm_c.1).contains(&mean))
                || mean_of_last(&recent, horns.cool_hours)
                    .is_some_and(|mean| mean >= horns.cool_c.0 && mean < horns.cool_c.1)
            {
                flying = true;
                spores_at = Some(hour);
            }
        }
    }
    RustOutcome {
        outcome: counter.outcome,
        rain_at,
        spores_at,
        ready_before,
    }
}

/// Mean of the last `count` values, if there are so many.
fn mean_of_last(values: &[f64], count: usize) -> Option<f64> {
    let start = values.len().checked_sub(count.max(1))?;
    let last = values.get(start..)?;
    Some(last.iter().sum::<f64>() / last.len() as f64)
}

/// Whether the horns were wet within the hours before `first`, the air having
/// held 85 % ever since.
fn horns_are_ready(wet: &WetHours, estimate: Estimate, first: usize, ready_hours: usize) -> bool {
    for hour in (first.saturating_sub(ready_hours)..first).rev() {
        if wet.is_wet(hour, estimate) {
            return true;
        }
        if !wet.is_humid(hour) {
            return false;
        }
    }
    false
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::Class;
    use super::super::wetness_table::tests::rust;
    use super::*;
    use crate::facts::weather::Hour;
    use crate::season::wetness::{WetRule, periods};
    use crate::units::f_to_c;
    use chrono::NaiveDate;

    /// reference/disease-models.md 1.5: 52 to 77 °F seen, the rest from memory.
    pub fn horns() -> HornRule {
        HornRule {
            warm_hours: 4,
            warm_c: (f_to_c(52.0), f_to_c(77.0)),
            cool_hours: 7,
            cool_c: (f_to_c(46.0), f_to_c(52.0)),
            ready_hours: 24,
        }
    }

    /// Hours from a midnight: (how many, wet, °F). Rain falls in wet hours.
    pub fn hours(runs: &[(usize, bool, f64)]) -> HourlyRecord {
        let start = NaiveDate::from_ymd_opt(2012, 4, 20)
            .unwrap()
            .and_hms_opt(0, 0, 0)
            .unwrap();
        let len = runs.iter().map(|run| run.0).sum();
        let mut record = HourlyRecord::unknown(start, len);
        let mut hour = 0;
        for &(count, wet, f) in runs {
            for _ in 0..count {
                record.put(Hour {
                    start: record.start(hour),
                    temperature_c: Some(f_to_c(f)),
                    dew_point_c: None,
                    humidity_pct: Some(if wet { 95.0 } else { 50.0 }),
                    rain_mm: Some(if wet { 1.0 } else { 0.0 }),
                    wind_m_s: None,
                });
                hour += 1;
            }
        }
        record
    }

    fn outcomes(runs: &[(usize, bool, f64)]) -> Vec<RustOutcome> {
        let record = hours(runs);
        let wet = WetHours::of(&record, &WetRule::default());
        periods(&record, &wet, Estimate::Low, 8)
            .iter()
            .map(|period| judge(&record, &wet, Estimate::Low, period, &rust(), &horns()))
            .collect()
    }

    fn class(hours: usize, f: f64) -> Class {
        outcomes(&[(hours, true, f)])[0].outcome.class
    }

    /// model_check_values car-14: 61 °F, dry horns at the start of rain.
    #[test]
    fn four_hours_for_the_spores_and_three_for_the_leaf() {
        assert_eq!(class(4, 61.0), Class::None);
        assert!(class(6, 61.0) < Class::Infection);
        assert_eq!(class(7, 61.0), Class::Infection);
        assert_eq!(class(9, 61.0), Class::Severe);
        let seven = outcomes(&[(7, true, 61.0)])[0];
        assert_eq!(seven.spores_at, Some(3));
        assert_eq!(seven.outcome.reached_at, Some(6));
        assert_eq!(seven.outcome.counted_hours, 3);
        assert!(seven.outcome.open, "the record ends wet");
    }

    #[test]
    fn too_cold_for_the_horns_and_too_warm_for_the_leaf() {
        assert_eq!(class(40, 45.0), Class::None, "no spores below 46 °F");
        assert_eq!(class(40, 79.0), Class::None);
        // 50 °F: 7 h for the spores, 5 h for the leaf.
        assert!(class(11, 50.0) < Class::Infection);
        assert_eq!(class(12, 50.0), Class::Infection);
    }

    #[test]
    fn dew_alone_does_not_wet_the_horns_unless_they_are_ready() {
        let mut record = hours(&[(10, true, 61.0), (10, false, 61.0), (10, true, 61.0)]);
        for hour in 10..30 {
            record.rain_mm.set(hour, Some(0.0));
        }
        let judge_second = |record: &HourlyRecord| {
            let wet = WetHours::of(record, &WetRule::default());
            let all = periods(record, &wet, Estimate::Low, 8);
            judge(record, &wet, Estimate::Low, &all[1], &rust(), &horns())
        };
        assert_eq!(judge_second(&record).outcome.class, Class::None);
        for hour in 10..20 {
            record.humidity_pct.set(hour, Some(86.0));
        }
        let ready = judge_second(&record);
        assert!(ready.ready_before);
        assert_eq!(ready.outcome.class, Class::Severe);
        assert_eq!(ready.outcome.counted_hours, 10);
    }
}
