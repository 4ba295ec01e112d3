//! What a season did to one tree: infection periods that could touch it, and
//! symptoms that the keeper saw on it.
//!
//! [`counts`] feeds the verdicts; it decides nothing itself.

use super::derive::Season;
use super::infection::Class;
use super::infections::InfectionPeriod;
use super::years;
use crate::facts::Facts;
use crate::facts::journal::Severity;
use crate::facts::knowledge::{Crop, Rating};
use crate::facts::register::Tree;
use chrono::{Datelike, NaiveDate};

/// One disease on one tree in one season.
#[derive(Clone, Debug, PartialEq)]
pub struct DiseaseTally {
    /// The disease's id.
    pub disease: String,
    /// The year of the season.
    pub year: i32,
    /// How readily the cultivar takes it, if a source says.
    pub rating: Option<Rating>,
    /// Infection periods from the first stage at risk on, those merely
    /// possible left out; empty where the weather is not known by the hour.
    pub periods: Vec<InfectionPeriod>,
    /// How many of them were severe.
    pub severe: usize,
    /// What the keeper saw of it: day and how bad.
    pub seen: Vec<(NaiveDate, Option<Severity>)>,
    /// The worst of it as a share, 0 to 1; a grade of 5 is 1.
    pub worst: Option<f64>,
}

/// The tally of a tree for the season's year: the diseases of its crop of
/// which there was an infection period, or a symptom in the journal.
pub fn tally(facts: &Facts, season: &Season, tree: &Tree) -> Vec<DiseaseTally> {
    let year = season.today.year();
    let hosts = facts.knowledge.diseases.iter();
    hosts
        .filter(|disease| disease.hosts.contains(&tree.crop))
        .filter_map(|disease| {
            let periods = of_disease(season, &disease.id);
            let seen = symptoms(facts, tree, &disease.id, year);
            if periods.is_empty() && seen.is_empty() {
                return None;
            }
            let shares = seen.iter().filter_map(|(_, severity)| severity.map(share));
            let name = tree.cultivar.as_deref();
            let cultivar = name.and_then(|name| facts.knowledge.cultivar(&tree.crop, name));
            let rating = cultivar.and_then(|known| known.rating(&disease.id));
            Some(DiseaseTally {
                disease: disease.id.clone(),
                year,
                rating: rating.map(|rating| rating.rating),
                severe: severe(&periods),
                worst: shares.reduce(f64::max),
                periods,
                seen,
            })
        })
        .collect()
}

/// Infection periods of a disease on a crop in one season.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeasonCount {
    /// The crop's id.
    pub crop: String,
    /// The disease's id.
    pub disease: String,
    /// The year.
    pub year: i32,
    /// Periods that infect, those merely possible left out.
    pub periods: usize,
    /// Of them the severe ones.
    pub severe: usize,
}

/// The counts of the register's crops: this season as far as it goes, and the
/// earlier years of which the hours of a season are on record.
pub fn counts(facts: &Facts, season: &Season) -> Vec<SeasonCount> {
    let year = season.today.year();
    let stands = |id: &str| {
        let mut trees = facts.register.trees.iter();
        trees.any(|tree| tree.stands() && tree.crop == id)
    };
    let crops: Vec<&Crop> = facts
        .knowledge
        .crops
        .iter()
        .filter(|crop| stands(&crop.id))
        .collect();
    let mut found = Vec::new();
    for (crop, infections) in years::infections_before(facts, &crops, season.today) {
        for one in infections {
            for (year, periods, severe) in one.by_year {
                found.push(SeasonCount {
                    crop: crop.clone(),
                    disease: one.disease.clone(),
                    year,
                    periods,
                    severe,
                });
            }
        }
    }
    for crop in &crops {
        let hosted = facts.knowledge.diseases.iter();
        for disease in hosted.filter(|disease| disease.hosts.contains(&crop.id)) {
            let periods = of_disease(season, &disease.id);
            if !periods.is_empty() {
                found.push(SeasonCount {
                    crop: crop.id.clone(),
                    disease: disease.id.clone(),
                    year,
                    periods: periods.len(),
                    severe: severe(&periods),
                });
            }
        }
    }
    found
}

/// The periods of a disease this season, those merely possible left out.
fn of_disease(season: &Season, disease: &str) -> Vec<InfectionPeriod> {
    let periods = season.infections.iter();
    periods
        .filter(|period| period.disease == disease && period.class >= Class::Infection)
        .cloned()
        .collect()
}

fn severe(periods: &[InfectionPeriod]) -> usize {
    periods
        .iter()
        .filter(|one| one.class == Class::Severe)
        .count()
}

/// What the keeper saw of a disease on a tree in a year: entries on the tree,
/// and those on its whole crop.
pub fn symptoms(
    facts: &Facts,
    tree: &Tree,
    disease: &str,
    year: i32,
) -> Vec<(NaiveDate, Option<Severity>)> {
    let entries = facts.journal.symptoms.iter();
    entries
        .filter(|seen| seen.date.year() == year && seen.what.what == disease)
        .filter(|seen| {
            seen.trees.contains(&tree.id)
                || (seen.trees.is_empty() && seen.crop.as_ref() == Some(&tree.crop))
        })
        .map(|seen| (seen.date, seen.what.severity))
        .collect()
}

/// A severity as a share, 0 to 1.
pub fn share(severity: Severity) -> f64 {
    match severity {
        Severity::Grade(grade) => f64::from(grade.min(5)) / 5.0,
        Severity::Share(share) => share.clamp(0.0, 1.0),
    }
}
