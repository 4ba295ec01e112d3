//! Whether a tree takes a disease: what its keeper saw on it weighs more than
//! what is published of its cultivar. Trees are sold under wrong names, and
//! rusts and scabs have strains that a rating has not met.

use super::trees::rating_of;
use crate::facts::Facts;
use crate::facts::journal::{Noted, Severity, Symptom};
use crate::facts::knowledge::{Rating, Weighed};
use crate::facts::register::Tree;
use crate::season::season_days::SeasonYear;
use chrono::NaiveDate;

/// How a tree stands to a disease.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taking {
    /// What is published of its cultivar; `None`: unknown.
    pub rating: Option<Rating>,
    /// The seasons in which the keeper noted the disease on this very tree,
    /// oldest first.
    pub noted: Vec<i32>,
}

impl Taking {
    /// How a tree stands to a disease on a day. Notes are looked back on as
    /// far as for a verdict; those on a whole crop overrule no rating, since
    /// they do not say which of its trees show it, nor do those that say "0".
    pub fn of(facts: &Facts, tree: &Tree, disease: &str, today: NaiveDate) -> Self {
        let season = |date| SeasonYear::running(date, facts.place.latitude).year;
        let back = facts.knowledge.judging.whole(Weighed::YearsBack);
        let since = season(today) - back;
        let mut noted: Vec<i32> = facts
            .journal
            .symptoms
            .iter()
            .filter(|one| one.date <= today && one.what.what == disease && names(one, tree))
            .filter(|one| one.what.severity.is_none_or(shows))
            .map(|one| season(one.date))
            .filter(|year| *year > since)
            .collect();
        noted.sort_unstable();
        noted.dedup();
        Taking {
            rating: rating_of(facts, tree, disease),
            noted,
        }
    }

    /// Whether it is rated to resist the disease.
    pub fn resists(&self) -> bool {
        self.rating
            .is_some_and(|rating| rating <= Rating::Resistant)
    }

    /// Whether it is to be looked after like one that takes the disease: it
    /// may by its rating, or nobody knows, or it was seen to.
    pub fn needs(&self) -> bool {
        !self.resists() || self.against_rating()
    }

    /// Whether it was seen to take what it is rated to resist.
    pub fn against_rating(&self) -> bool {
        self.resists() && !self.noted.is_empty()
    }
}

fn names(noted: &Noted<Symptom>, tree: &Tree) -> bool {
    noted
        .trees
        .iter()
        .any(|id| id.eq_ignore_ascii_case(&tree.id))
}

/// Whether a severity says that there was any.
fn shows(severity: Severity) -> bool {
    match severity {
        Severity::Grade(grade) => grade > 0,
        Severity::Share(share) => share > 0.0,
    }
}
