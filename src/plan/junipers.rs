//! The junipers that carry rust: which are near, what was seen on them, what
//! cutting would change.
//!
//! Spores fly for miles, so that taking out what is near lowers the dose and
//! never ends rust. Only what the keeper may cut is ever spoken of for
//! cutting. White cedar (*Thuja*) carries no juniper rust (OMAFRA Pub. 310).

use super::taking::Taking;
use crate::facts::Facts;
use crate::facts::knowledge::{Rating, Weighed};
use crate::facts::register::Juniper;
use chrono::{Datelike, NaiveDate};

/// Within this distance the galls of a juniper are worth cutting, m: 300 yd,
/// as the chore has it.
pub const CLIP_WITHIN_M: f64 = 274.3;

/// What is worth doing about a juniper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worth {
    /// Galls off every winter; taking it out would lower the dose.
    CutOrClip,
    /// Galls off every winter.
    Clip,
    /// Too far for either.
    TooFar,
    /// Nobody said whether it is the keeper's.
    NotSaid,
    /// Not the keeper's: nothing but a talk.
    NotYours,
    /// The name says white cedar, which carries no rust.
    NoHost,
}

/// One juniper of the register.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing<'f> {
    /// It.
    pub juniper: &'f Juniper,
    /// What is worth doing.
    pub worth: Worth,
    /// What was noted on it: year and word.
    pub galls: Vec<(i32, String)>,
}

/// All of them, and who suffers.
#[derive(Clone, Debug, PartialEq)]
pub struct Junipers<'f> {
    /// Nearest first.
    pub junipers: Vec<Standing<'f>>,
    /// Plants within two miles that the keeper may not cut, or has not said so.
    pub others: u32,
    /// Plants within 300 ft that the keeper may cut.
    pub own_near: u32,
    /// Trees that a juniper rust lives on and that are rated susceptible to
    /// one, by id.
    pub suffering: Vec<String>,
    /// Host trees of which no rating says anything, by id.
    pub unrated: Vec<String>,
}

/// The junipers of the register as they matter.
pub fn of(facts: &Facts, today: NaiveDate) -> Junipers<'_> {
    let judging = &facts.knowledge.judging;
    let near = judging.of(Weighed::NearJuniper);
    let far = judging.of(Weighed::FarJuniper);
    let mut junipers: Vec<Standing<'_>> = facts
        .register
        .junipers
        .iter()
        .map(|juniper| Standing {
            juniper,
            worth: worth(juniper, near),
            galls: galls(facts, juniper, today),
        })
        .collect();
    junipers.sort_by(|a, b| a.juniper.distance_m.total_cmp(&b.juniper.distance_m));
    let count = |keep: &dyn Fn(&Standing<'_>) -> bool| {
        junipers
            .iter()
            .filter(|one| one.worth != Worth::NoHost && keep(one))
            .fold(0u32, |sum, one| sum.saturating_add(one.juniper.count))
    };
    let others = count(&|one| !one.juniper.is_own() && one.juniper.distance_m <= far);
    let own_near = count(&|one| one.juniper.is_own() && one.juniper.distance_m <= near);
    let (suffering, unrated) = hosts(facts, today);
    Junipers {
        junipers,
        others,
        own_near,
        suffering,
        unrated,
    }
}

fn worth(juniper: &Juniper, near: f64) -> Worth {
    let words = format!(
        "{} {}",
        juniper.place,
        juniper.notes.as_deref().unwrap_or_default()
    )
    .to_lowercase();
    if words.contains("white cedar") || words.contains("thuja") || words.contains("arborvitae") {
        return Worth::NoHost;
    }
    match (juniper.removable, juniper.distance_m) {
        (None, _) => Worth::NotSaid,
        (Some(false), _) => Worth::NotYours,
        (Some(true), metres) if metres <= near => Worth::CutOrClip,
        (Some(true), metres) if metres <= CLIP_WITHIN_M => Worth::Clip,
        (Some(true), _) => Worth::TooFar,
    }
}

fn galls(facts: &Facts, juniper: &Juniper, today: NaiveDate) -> Vec<(i32, String)> {
    let mut found: Vec<(i32, String)> = facts
        .journal
        .symptoms
        .iter()
        .filter(|noted| noted.date <= today)
        .filter(|noted| {
            let mut trees = noted.trees.iter();
            trees.any(|id| id.eq_ignore_ascii_case(&juniper.id))
        })
        .map(|noted| (noted.date.year(), noted.what.what.clone()))
        .collect();
    found.dedup();
    found
}

/// Host trees rated susceptible to a juniper rust or seen to take it against
/// their rating, and those not rated.
fn hosts(facts: &Facts, today: NaiveDate) -> (Vec<String>, Vec<String>) {
    let (mut suffering, mut unrated) = (Vec::new(), Vec::new());
    for tree in facts.register.trees.iter().filter(|tree| tree.tended()) {
        let rusts: Vec<&str> = facts
            .knowledge
            .diseases
            .iter()
            .filter(|one| one.needs_juniper && one.hosts.contains(&tree.crop))
            .map(|one| one.id.as_str())
            .collect();
        if rusts.is_empty() {
            continue;
        }
        let takings: Vec<Taking> = rusts
            .iter()
            .map(|rust| Taking::of(facts, tree, rust, today))
            .collect();
        let suffers = |one: &Taking| {
            let rated = one
                .rating
                .is_some_and(|rating| rating >= Rating::Susceptible);
            rated || one.against_rating()
        };
        if takings.iter().any(suffers) {
            suffering.push(tree.id.clone());
        } else if takings.iter().all(|one| one.rating.is_none()) {
            unrated.push(tree.id.clone());
        }
    }
    (suffering, unrated)
}
