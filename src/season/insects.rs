//! Events of an insect's year by degree days, each with the rule it was
//! published for.
//!
//! Sources mix three ways of summing that differ much in spring: at 40 and
//! 70 °F above 50 °F they give 5.0, 10.0 and 7.5 °F days. A figure whose
//! source names no method is taken by simple average and says so.

use super::degree_days::{Crossing, DegreeDays, RuleError};
use crate::facts::journal::{Noted, TrapCatch};
use crate::facts::knowledge::{DegreeDayMethod, HeatRule, Insect, InsectEvent};
use crate::facts::weather::DailyRecord;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// Days within which a second catch shows that the first one goes on (our
/// judgement: a trap looked at weekly, and some days' grace).
pub const SUSTAINED_DAYS: i64 = 10;

/// The looks at the traps of one insect in one year: by day, the moths counted
/// and whether the keeper called it the biofix.
type Looks = BTreeMap<NaiveDate, (u64, bool)>;

/// The first lasting catch of each insect and year, as far as it was noted by
/// `today`, in the order of insect and day: a catch that the keeper called the
/// biofix; otherwise the first one with moths in the trap again at the next
/// look, within [`SUSTAINED_DAYS`]. Traps looked at on one day count together.
pub fn biofixes(catches: &[Noted<TrapCatch>], today: NaiveDate) -> Vec<(String, NaiveDate)> {
    let mut looks: BTreeMap<(&str, i32), Looks> = BTreeMap::new();
    for noted in catches.iter().filter(|noted| noted.date <= today) {
        let (caught, date) = (&noted.what, noted.date);
        let years = looks.entry((&caught.insect, date.year())).or_default();
        let look = years.entry(date).or_default();
        look.0 += u64::from(caught.count);
        look.1 |= caught.biofix;
    }
    looks
        .into_iter()
        .filter_map(|((insect, _), looks)| Some((insect.to_owned(), first_lasting(&looks)?)))
        .collect()
}

/// The first lasting catch of the looks of one year.
fn first_lasting(looks: &Looks) -> Option<NaiveDate> {
    let called = looks.iter().find(|(_, (_, biofix))| *biofix);
    let went_on = || {
        let pairs = looks.iter().zip(looks.iter().skip(1));
        pairs
            .filter(|((_, (one, _)), (_, (two, _)))| *one > 0 && *two > 0)
            .map(|((first, _), (second, _))| (first, second))
            .find(|(first, second)| (**second - **first).num_days() <= SUSTAINED_DAYS)
            .map(|(first, _)| *first)
    };
    called.map(|(date, _)| *date).or_else(went_on)
}

/// The events that stand in for a first catch, by insect.
pub fn reckoned_catches(insects: &[Insect]) -> Vec<(String, InsectEvent)> {
    let reckoned = |insect: &Insect| {
        let event = insect.events.iter().find(|event| event.reckons_catch)?;
        Some((insect.id.clone(), event.clone()))
    };
    insects.iter().filter_map(reckoned).collect()
}

/// When an event is due on a record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EventDates {
    /// First day of the sum: the keeper's biofix where there is one.
    pub since: NaiveDate,
    /// Whether that start was noted by the keeper, not predicted.
    pub start_noted: bool,
    /// Where the sum reaches the least figure; `None`: not in the record.
    pub least: Option<Crossing>,
    /// Where it reaches the most.
    pub most: Option<Crossing>,
    /// The source named no method; simple average was taken.
    pub method_assumed: bool,
}

/// Whether a rule's method is assumed, not told by its source.
pub fn method_is_assumed(rule: &HeatRule) -> bool {
    rule.method == DegreeDayMethod::NotStated
}

/// When a heat sum since a start meets a span of figures, °C days. The
/// keeper's `biofix` takes the place of the predicted start. `Ok(None)` when
/// there is no start at all.
///
/// # Errors
/// [`RuleError`] when the rule's thresholds make no sense.
pub fn due(
    record: &DailyRecord,
    rule: HeatRule,
    heat: (f64, f64),
    predicted_start: Option<NaiveDate>,
    biofix: Option<NaiveDate>,
) -> Result<Option<EventDates>, RuleError> {
    let degree_days = DegreeDays::by(rule)?;
    let Some(since) = biofix.or(predicted_start) else {
        return Ok(None);
    };
    Ok(Some(EventDates {
        since,
        start_noted: biofix.is_some(),
        least: degree_days.crossing(record, since, heat.0),
        most: degree_days.crossing(record, since, heat.1),
        method_assumed: method_is_assumed(&rule),
    }))
}

/// The same for an event of the knowledge; `Ok(None)` also where it has no
/// heat sum.
///
/// # Errors
/// See [`due`].
pub fn event_due(
    record: &DailyRecord,
    event: &InsectEvent,
    predicted_start: Option<NaiveDate>,
    biofix: Option<NaiveDate>,
) -> Result<Option<EventDates>, RuleError> {
    match event.heat {
        Some(heat) => due(record, event.rule, heat, predicted_start, biofix),
        None => Ok(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::knowledge::{Cutoff, HeatStart, Source, Standing};
    use chrono::Days;

    fn date(m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2019, m, d).unwrap()
    }

    /// A record of 40 to 70 °F days (dd-01 of model_check_values).
    fn record() -> DailyRecord {
        let mut record = DailyRecord::unknown(date(4, 1), 0);
        for _ in 0..120 {
            record.push(
                Some(40.0f64.mul_add(5.0 / 9.0, -160.0 / 9.0)),
                Some(190.0 / 9.0),
                None,
            );
        }
        record
    }

    fn rule(method: DegreeDayMethod) -> HeatRule {
        HeatRule {
            method,
            base_c: 10.0,
            upper_c: Some(88.0f64.mul_add(5.0 / 9.0, -160.0 / 9.0)),
            cutoff: Cutoff::Horizontal,
        }
    }

    /// Methods of the same figure lie weeks apart in spring.
    #[test]
    fn the_method_belongs_to_the_figure() {
        // 250 °F days at 5.00, 10.00 and 7.54 a day.
        for (method, days) in [
            (DegreeDayMethod::SimpleAverage, 50),
            (DegreeDayMethod::ClampedAverage, 25),
            (DegreeDayMethod::SingleSine, 34),
            (DegreeDayMethod::NotStated, 50),
        ] {
            let heat = 250.0 / 1.8 - 1e-3;
            let dates = due(&record(), rule(method), (heat, 1e9), Some(date(4, 1)), None)
                .unwrap()
                .unwrap();
            assert_eq!(
                dates.least.unwrap().date,
                date(4, 1) + Days::new(days - 1),
                "{method:?}"
            );
            assert_eq!(dates.most, None);
            assert_eq!(dates.method_assumed, method == DegreeDayMethod::NotStated);
        }
    }

    #[test]
    fn the_keepers_biofix_goes_before_the_predicted_start() {
        let by = |start, biofix| {
            due(
                &record(),
                rule(DegreeDayMethod::SimpleAverage),
                (27.7, 55.5),
                start,
                biofix,
            )
            .unwrap()
        };
        assert_eq!(by(None, None), None);
        let noted = by(Some(date(4, 1)), Some(date(4, 20))).unwrap();
        assert!(noted.start_noted);
        assert_eq!(noted.since, date(4, 20));
        assert_eq!(noted.least.unwrap().date, date(4, 29));
        assert_eq!(noted.most.unwrap().date, date(5, 9));
        let event = InsectEvent {
            event: "window only".to_owned(),
            crop: None,
            heat: None,
            rule: rule(DegreeDayMethod::SingleSine),
            start: HeatStart::Calendar(1, 1),
            reckons_catch: false,
            source: Source {
                references: Vec::new(),
                standing: Standing::CommonPractice,
            },
        };
        assert_eq!(
            event_due(&record(), &event, Some(date(4, 1)), None),
            Ok(None)
        );
        let bad = HeatRule {
            base_c: 40.0,
            ..rule(DegreeDayMethod::SingleSine)
        };
        assert!(due(&record(), bad, (1.0, 2.0), Some(date(4, 1)), None).is_err());
    }

    fn caught(date: NaiveDate, count: u32, biofix: bool) -> Noted<TrapCatch> {
        Noted {
            date,
            trees: Vec::new(),
            crop: None,
            note: None,
            what: TrapCatch {
                insect: "codling-moth".to_owned(),
                trap: None,
                count,
                biofix,
            },
        }
    }

    #[test]
    fn a_catch_counts_once_it_goes_on_or_is_called_the_biofix() {
        let start = |catches: &[Noted<TrapCatch>], today| {
            let found = biofixes(catches, today);
            found.first().map(|(_, date)| *date)
        };
        let late = date(6, 30);
        let mut catches = vec![caught(date(5, 3), 2, false)];
        assert_eq!(start(&catches, late), None, "one alone");
        catches.push(caught(date(5, 13), 1, false));
        assert_eq!(start(&catches, late), Some(date(5, 3)));
        assert_eq!(start(&catches, date(5, 12)), None, "not seen by then");
        catches[1].date = date(5, 14);
        assert_eq!(start(&catches, late), None, "too far apart");
        catches.push(caught(date(5, 20), 4, false));
        assert_eq!(start(&catches, late), Some(date(5, 14)));
        // An empty trap in between ends what began.
        catches[1].date = date(5, 6);
        catches[1].what.count = 0;
        catches[2].date = date(5, 9);
        assert_eq!(start(&catches, late), None);
        catches.push(caught(date(5, 16), 1, true));
        catches.push(caught(date(5, 12), 1, false));
        assert_eq!(start(&catches, late), Some(date(5, 16)), "called so");
        // Each insect and each year by itself.
        catches[3].what.insect = "oriental-fruit-moth".to_owned();
        let found = biofixes(&catches, late);
        let ids: Vec<&str> = found.iter().map(|(id, _)| id.as_str()).collect();
        assert_eq!(ids, ["codling-moth", "oriental-fruit-moth"]);
    }
}
