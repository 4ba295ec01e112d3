//! What the keeper reported: which reports can be, and what they teach.

use super::bloom::{Observation, Sister, group_difference};
use super::season_days::SeasonYear;
use crate::facts::journal::StageSeen;
use crate::facts::knowledge::{Crop, Knowledge, cultivar_key};
use chrono::NaiveDate;

/// Why a report was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The crop has no such stage.
    UnknownStage,
    /// The day lies ahead.
    InTheFuture,
    /// Another report, on an earlier day, has a later stage.
    AfterLaterStage {
        /// That stage.
        stage: String,
        /// Its day.
        date: NaiveDate,
    },
    /// More than six weeks outside the window that the weather or the usual
    /// date gives: a slip in month or year is likelier.
    FarFromForecast {
        /// The expected day.
        expected: NaiveDate,
    },
}

/// A report that was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// The report.
    pub report: StageSeen,
    /// Why.
    pub why: Refusal,
}

/// What the keeper reported this season, and whether silence means that a
/// stage has not come.
#[derive(Clone, Copy, Debug)]
pub struct Reports<'a> {
    /// Stages seen on this crop, of any season.
    pub seen: &'a [StageSeen],
    /// The keeper looks every few days and reports: stages not reported have
    /// not come, and windows are cut at today.
    pub watched: bool,
}

/// Sorts the reports of a season into those that can be, in the order of
/// their stages, and those that cannot; reports of other seasons are passed
/// over. Several of one stage count as their mean day.
pub fn sort_reports(
    crop: &Crop,
    season: SeasonYear,
    today: NaiveDate,
    seen: &[StageSeen],
) -> (Vec<(usize, NaiveDate)>, Vec<Refused>) {
    let mut refused = Vec::new();
    let mut refuse = |report: &StageSeen, why| {
        refused.push(Refused {
            report: report.clone(),
            why,
        });
    };
    let mut sorted: Vec<&StageSeen> = seen
        .iter()
        .filter(|one| one.crop == crop.id)
        .filter(|one| SeasonYear::of(one.date, season.southern) == season)
        .collect();
    sorted.sort_by_key(|report| report.date);
    let mut kept: Vec<(usize, NaiveDate)> = Vec::new();
    for report in sorted {
        let Some(stage) = crop.stage(&report.stage) else {
            refuse(report, Refusal::UnknownStage);
            continue;
        };
        if report.date > today {
            refuse(report, Refusal::InTheFuture);
            continue;
        }
        let later = kept.iter().filter(|(other, _)| *other > stage).max();
        if let Some((other, date)) = later.filter(|(_, date)| *date < report.date) {
            let stage = crop.stages.get(*other).map_or("", |stage| &stage.name);
            refuse(
                report,
                Refusal::AfterLaterStage {
                    stage: stage.to_owned(),
                    date: *date,
                },
            );
            continue;
        }
        kept.push((stage, report.date));
    }
    kept.sort_by_key(|(stage, _)| *stage);
    let days = kept
        .chunk_by(|a, b| a.0 == b.0)
        .filter_map(|same| {
            let sum: i64 = same.iter().map(|(_, date)| season.day(*date)).sum();
            let (stage, _) = same.first()?;
            let mean = sum as f64 / same.len() as f64;
            Some((*stage, season.date(mean.round())))
        })
        .collect();
    (days, refused)
}

/// Observations for the fit out of the journal: of every season before
/// `before`, the stages with a heat share.
pub fn observations(
    crop: &Crop,
    southern: bool,
    before: i32,
    seen: &[StageSeen],
) -> Vec<Observation> {
    seen.iter()
        .filter(|report| report.crop == crop.id)
        .filter_map(|report| {
            let stage = crop.stages.get(crop.stage(&report.stage)?)?;
            let season = SeasonYear::of(report.date, southern);
            let share = match &stage.heat_share {
                Some((share, _)) => *share,
                None if full_bloom(crop) == crop.stage(&report.stage) => 1.0,
                None => return None,
            };
            (season.year < before).then(|| Observation {
                year: season.year,
                instant: season.day(report.date) as f64 + 0.5,
                share,
            })
        })
        .collect()
}

/// Observations of the other cultivars of a crop for the fit of one: one
/// [`Sister`] per cultivar named in the reports, with the difference that the
/// bloom groups lead to expect; reports without a cultivar are one more.
pub fn sisters(
    knowledge: &Knowledge,
    crop: &Crop,
    cultivar: Option<&str>,
    southern: bool,
    before: i32,
    seen: &[StageSeen],
) -> Vec<Sister> {
    let group = |name: Option<&str>| {
        name.and_then(|name| knowledge.cultivar(&crop.id, name))
            .and_then(|known| known.bloom.as_ref())
            .map(|(group, _)| *group)
    };
    let key = |seen: &StageSeen| seen.cultivar.as_deref().map(cultivar_key);
    let mut sorted = seen.to_vec();
    sorted.sort_by_key(key);
    sorted
        .chunk_by(|a, b| key(a) == key(b))
        .map(|same| {
            let name = same.first().and_then(|one| one.cultivar.as_deref());
            Sister {
                later_days: group_difference(group(cultivar), group(name)),
                seen: observations(crop, southern, before, same),
            }
        })
        .collect()
}

/// A report put together again.
pub(super) fn report_of(crop: &Crop, stage: usize, date: NaiveDate) -> StageSeen {
    StageSeen {
        date,
        crop: crop.id.clone(),
        cultivar: None,
        stage: crop
            .stages
            .get(stage)
            .map_or_else(String::new, |stage| stage.name.clone()),
    }
}

/// The stage with the heat of full bloom.
pub fn full_bloom(crop: &Crop) -> Option<usize> {
    crop.stages
        .iter()
        .position(|stage| {
            stage
                .heat_share
                .as_ref()
                .is_some_and(|(share, _)| *share == 1.0)
        })
        .or_else(|| crop.stage("full bloom"))
}
