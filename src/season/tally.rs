//! What a season did to one tree: infection periods that could touch it, and
//! symptoms that the keeper saw on it.
//!
//! This feeds a verdict on the tree; it decides nothing itself.

use super::derive::Season;
use super::infection::Class;
use super::infections::InfectionPeriod;
use crate::facts::Facts;
use crate::facts::journal::Severity;
use crate::facts::knowledge::Rating;
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
            let periods: Vec<InfectionPeriod> = season
                .infections
                .iter()
                .filter(|period| period.disease == disease.id && period.class >= Class::Infection)
                .cloned()
                .collect();
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
                severe: periods.iter().filter(|p| p.class == Class::Severe).count(),
                worst: shares.reduce(f64::max),
                periods,
                seen,
            })
        })
        .collect()
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
