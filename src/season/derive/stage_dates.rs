//! When each group reaches each stage, in every year that the season covers.

use super::GroupYear;
use crate::facts::Facts;
use crate::facts::journal::StageSeen;
use crate::facts::knowledge::{Crop, cultivar_key};
use crate::facts::weather::Weather;
use crate::season::bloom::{self, Fit, Years};
use crate::season::ensemble::{Climate, Outlook};
use crate::season::evidence::FitNote;
use crate::season::groups::Group;
use crate::season::screening;
use crate::season::spread::{Basis, Spread};
use crate::season::stages::{self, Refused, Reports, StageDates};
use chrono::{Datelike, NaiveDate};

/// The stages of every group in every year that the season covers. The table
/// of candidates is worked out once for all of them.
pub(super) fn of(facts: &Facts, weather: &Weather, groups: &[Group], today: NaiveDate) -> Stages {
    let latitude = facts.place.latitude;
    let climate = match &weather.daily {
        Some(daily) => Climate::new(&screening::screen(daily).record, latitude),
        None => Climate::unknown(latitude),
    };
    let fits: Vec<Fit> = groups
        .iter()
        .map(|group| {
            Fit::new(
                &climate.candidates,
                &bloom_evidence(facts, &climate, group),
                Years::All,
            )
        })
        .collect();
    let mut stages = Stages::default();
    for year in [today.year(), today.year() + 1] {
        let forecast = weather.forecast.as_ref();
        let outlook = Outlook::new(&climate, forecast, year, today, Years::Before(today.year()));
        for (index, (group, fit)) in groups.iter().zip(&fits).enumerate() {
            let Some(crop) = facts.knowledge.crop(&group.crop) else {
                continue;
            };
            let seen = reports(facts, group, year);
            let reports = Reports {
                seen: &seen,
                watched: !seen.is_empty(),
            };
            let zone = facts.place.hardiness;
            let dates = stages::season_of(crop, &climate, &outlook, fit, zone, reports);
            stages.refused.extend(dates.refused.iter().cloned());
            let basis = &fit.basis;
            let fit = FitNote {
                observations: basis.own + basis.sisters,
                usual_date: basis.usual.is_some_and(|usual| !usual.from_other_crop),
                borrowed: basis.usual.is_some_and(|usual| usual.from_other_crop),
                years: outlook.members(),
            };
            stages
                .groups
                .push(group_year(crop, year, index, &dates, fit));
        }
    }
    stages
}

/// All stages of all groups, and the reports that could not be.
#[derive(Debug, Default)]
pub(super) struct Stages {
    pub(super) groups: Vec<GroupYear>,
    pub(super) refused: Vec<Refused>,
}

/// What is known of a group's bloom: the usual date, its own blooms, and those
/// of other cultivars of the crop.
pub(in crate::season) fn bloom_evidence(
    facts: &Facts,
    climate: &Climate,
    group: &Group,
) -> bloom::Evidence {
    let cultivar = group
        .cultivar
        .as_deref()
        .or_else(|| facts.cultivar_of(group.trees.first()));
    let mut evidence = bloom::Evidence {
        usual: bloom::usual_date(&facts.place, &facts.knowledge, &group.crop, cultivar),
        ..bloom::Evidence::default()
    };
    let Some(crop) = facts.knowledge.crop(&group.crop) else {
        return evidence;
    };
    let (own, sisters): (Vec<StageSeen>, Vec<StageSeen>) = facts
        .journal
        .stages
        .iter()
        .filter(|seen| seen.crop == group.crop)
        .cloned()
        .partition(|seen| concerns(facts, group, seen));
    let (southern, knowledge) = (climate.southern(), &facts.knowledge);
    evidence.own = stages::observations(crop, southern, i32::MAX, &own);
    evidence.sisters = stages::sisters(knowledge, crop, cultivar, southern, i32::MAX, &sisters);
    evidence
}

/// Stages that the keeper saw on a group in a year.
fn reports(facts: &Facts, group: &Group, year: i32) -> Vec<StageSeen> {
    let seen = facts.journal.stages.iter();
    seen.filter(|seen| seen.crop == group.crop && seen.date.year() == year)
        .filter(|seen| concerns(facts, group, seen))
        .cloned()
        .collect()
}

/// Whether a report is about a group: it names no cultivar and the group has
/// none of its own, or it names one of the group's.
fn concerns(facts: &Facts, group: &Group, seen: &StageSeen) -> bool {
    let Some(name) = &seen.cultivar else {
        return group.cultivar.is_none();
    };
    let key = cultivar_key(name);
    group.trees.iter().any(|index| {
        facts
            .cultivar_of(Some(index))
            .is_some_and(|other| cultivar_key(other) == key)
    })
}

fn group_year(crop: &Crop, year: i32, group: usize, dates: &StageDates, fit: FitNote) -> GroupYear {
    let mut spreads = vec![None; crop.stages.len()];
    let mut seen = vec![None; crop.stages.len()];
    for date in &dates.stages {
        if let Some(slot) = spreads.get_mut(date.stage) {
            *slot = Some(Spread::new(date.p10, date.p50, date.p90, date.basis));
        }
        if date.basis == Basis::Seen
            && let Some(slot) = seen.get_mut(date.stage)
        {
            *slot = Some(date.p50);
        }
    }
    GroupYear {
        year,
        group,
        spreads,
        seen,
        fit,
    }
}
