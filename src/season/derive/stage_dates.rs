//! When each group reaches each stage, in every year that the season covers.

use super::{Caveat, GroupYear};
use crate::facts::Facts;
use crate::facts::journal::StageSeen;
use crate::facts::knowledge::{Crop, cultivar_key};
use crate::facts::weather::Weather;
use crate::season::bloom::{self, Fit, FitCaveat, Years};
use crate::season::ensemble::{Climate, Outlook};
use crate::season::evidence::FitNote;
use crate::season::groups::Group;
use crate::season::screening;
use crate::season::season_days::SeasonYear;
use crate::season::spread::{Basis, Spread};
use crate::season::stages::{self, Refused, Reports, StageCaveat, StageDates};
use crate::season::usual::Usual;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeSet;

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
            if year == today.year() {
                stages.caveats.extend(caveats(&group.crop, fit, &dates));
            }
            let basis = &fit.basis;
            let by_zone = facts.place.usual_bloom.is_empty() && basis.usual.is_some();
            let fit = FitNote {
                observations: basis.own + basis.sisters,
                usual_date: basis.usual.is_some_and(|usual| !usual.from_other_crop),
                borrowed: basis.usual.is_some_and(|usual| usual.from_other_crop),
                by_zone,
                years: outlook.members(),
            };
            stages
                .groups
                .push(group_year(crop, year, index, &dates, &seen, fit));
        }
    }
    stages
}

/// All stages of all groups, and the reports that could not be.
#[derive(Debug, Default)]
pub(super) struct Stages {
    pub(super) groups: Vec<GroupYear>,
    pub(super) refused: Vec<Refused>,
    pub(super) caveats: Vec<Caveat>,
}

/// What a fit and its stages warn of. How few years there are, and that no
/// usual date is known, is told for the season as a whole.
fn caveats(crop: &str, fit: &Fit, dates: &StageDates) -> Vec<Caveat> {
    let crop = || crop.to_owned();
    let fits = fit.basis.caveats.iter().filter_map(|caveat| match caveat {
        FitCaveat::OddObservation { year, late_days } => Some(Caveat::OddObservation {
            crop: crop(),
            year: *year,
            late_days: *late_days,
        }),
        _ => None,
    });
    let stages = dates.caveats.iter().filter_map(|caveat| match caveat {
        StageCaveat::LittleChill { portions, least } => Some(Caveat::LittleChill {
            crop: crop(),
            portions: *portions,
            least: *least,
        }),
        StageCaveat::MayNotBloom { share } => Some(Caveat::MayNotBloom {
            crop: crop(),
            share: *share,
        }),
        _ => None,
    });
    fits.chain(stages).collect()
}

/// The zone's usual bloom of apple and the crop's usual difference from it,
/// where the weather of the place is known but no usual date of any crop: the
/// heat rules alone would give all crops one date.
fn zone_usual(facts: &Facts, latitude: f64, crop: &str) -> Option<Usual> {
    facts.weather.daily.as_ref()?;
    if !facts.place.usual_bloom.is_empty() {
        return None;
    }
    let months = facts.knowledge.zone(facts.place.hardiness.number())?;
    let offset = |id: &str| facts.knowledge.crop(id)?.bloom_offset.as_ref();
    let here = offset(crop)?;
    let apple = offset("apple").map_or(0.0, |offset| offset.days);
    let (month, day) = months.apple_bloom;
    let date = NaiveDate::from_ymd_opt(2001, month, day)?;
    let season = SeasonYear::at(2001, latitude);
    // The handbook's span holds nearly all places and years: two deviations.
    let spread = f64::from(months.spread_days) / 2.0;
    Some(Usual {
        instant: season.day(date) as f64 + 0.5 + here.days - apple,
        spread_days: spread.hypot(here.spread_days),
        from_other_crop: true,
    })
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
        usual: bloom::usual_date(&facts.place, &facts.knowledge, &group.crop, cultivar)
            .or_else(|| zone_usual(facts, facts.place.latitude, &group.crop)),
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

fn group_year(
    crop: &Crop,
    year: i32,
    group: usize,
    dates: &StageDates,
    reports: &[StageSeen],
    fit: FitNote,
) -> GroupYear {
    let noted = |stage: usize| {
        let of_stage = reports
            .iter()
            .filter(|seen| crop.stage(&seen.stage) == Some(stage));
        let days: BTreeSet<NaiveDate> = of_stage.map(|seen| seen.date).collect();
        days.len()
    };
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
        noted: (0..crop.stages.len()).map(noted).collect(),
        fit,
    }
}
