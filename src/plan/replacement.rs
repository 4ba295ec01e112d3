//! What comes out when, and what follows it: a plan over the years.
//!
//! A few trees a year, as many as the keeper's hours carry; the dead first.
//! The calendar takes the same turns, so that what waits for a later year is
//! neither ordered nor planted before.

use super::Plan;
use super::trees;
use crate::facts::Facts;
use crate::facts::knowledge::{Advice, Stock};
use crate::facts::register::{Status, Tree};
use chrono::{Datelike, NaiveDate};

/// Hours a week for the orchard that carry one new tree a year: planting,
/// guarding and watering it (our judgement).
const HOURS_FOR_ONE: f64 = 2.0;

/// New trees a year at least and at most.
const A_YEAR: (usize, usize) = (1, 6);

/// Years of rest for the same kind in the same hole (GFG-REPL, for cherry).
pub const REST_YEARS: i32 = 2;

/// After this month the spring's planting of bare roots is taken as over, so
/// that a tree still to come out waits a year (our judgement).
const LAST_PLANTING_MONTH: u32 = 3;

/// Chores that carry a new tree through its first year, by id.
pub const FIRST_YEAR: [&str; 6] = [
    "receive-spring",
    "water-new",
    "mulch",
    "deblossom-new",
    "train-young",
    "guards-fall",
];

/// One tree that comes out, and what follows.
#[derive(Clone, Debug, PartialEq)]
pub struct Step<'f> {
    /// The tree.
    pub tree: &'f Tree,
    /// The year of the planting.
    pub year: i32,
    /// Days between which it is best felled: the dormant time before.
    pub remove: (NaiveDate, NaiveDate),
    /// Days between which stock is ordered.
    pub order: (NaiveDate, NaiveDate),
    /// Days between which it is planted, and whether in fall; `None` where the
    /// zone's advice has no season for it.
    pub plant: Option<(NaiveDate, NaiveDate, bool)>,
    /// The first year in which the same kind may follow in the same hole.
    pub same_kind_from: i32,
    /// Why the season was chosen.
    pub why: Option<String>,
}

/// The trees that leave, in the order of their turns.
fn leaving(facts: &Facts) -> Vec<&Tree> {
    let mut trees: Vec<&Tree> = facts
        .register
        .trees
        .iter()
        .filter(|tree| matches!(tree.status, Status::Dead | Status::Replace))
        .collect();
    // A dead tree feeds borers and blight: it goes first.
    trees.sort_by_key(|tree| tree.status != Status::Dead);
    trees
}

/// How many new trees the keeper's hours carry in a year.
pub fn a_year(facts: &Facts) -> usize {
    let carried = (facts.preferences.hours_per_week / HOURS_FOR_ONE).floor();
    (carried.max(0.0) as usize).clamp(A_YEAR.0, A_YEAR.1)
}

/// The first season in which bare roots can still be planted.
fn first_season(today: NaiveDate) -> i32 {
    today.year() + i32::from(today.month() > LAST_PLANTING_MONTH)
}

/// The season in which a tree's successor is planted at the earliest; `None`
/// for a tree that stays.
pub fn turn(facts: &Facts, id: &str, today: NaiveDate) -> Option<i32> {
    let at = leaving(facts).iter().position(|tree| tree.id == id)?;
    let later = (at / a_year(facts)).min(100) as i32;
    Some(first_season(today) + later)
}

/// Whether a tree's replanting waits for a season after this one.
pub fn waits(facts: &Facts, id: &str, season: i32, today: NaiveDate) -> bool {
    turn(facts, id, today).is_some_and(|turn| turn > first_season(today) && season < turn)
}

/// Whether a crop's successors are planted in fall: where fall is best and
/// spring is not, or spring is unwise; all others in spring, after a winter in which the old one
/// comes out.
pub fn in_fall(facts: &Facts, crop: &str) -> bool {
    trees::planting_advice(facts, crop, Stock::BareRoot).is_some_and(|advice| match advice.fall {
        Advice::Best => advice.spring != Advice::Best,
        Advice::Possible => advice.spring == Advice::Unwise,
        Advice::Unwise => false,
    })
}

/// Whether some of these trees are to be replaced: the same kind may not
/// follow in their holes before [`REST_YEARS`] are over.
pub fn rests(facts: &Facts, ids: &[String]) -> bool {
    leaving(facts).iter().any(|tree| ids.contains(&tree.id))
}

/// The plan, in the order of the turns.
pub fn steps<'f>(facts: &'f Facts, plan: &Plan, today: NaiveDate) -> Vec<Step<'f>> {
    leaving(facts)
        .into_iter()
        .filter_map(|tree| step(facts, plan, tree, today))
        .collect()
}

fn step<'f>(facts: &'f Facts, plan: &Plan, tree: &'f Tree, today: NaiveDate) -> Option<Step<'f>> {
    let year = turn(facts, &tree.id, today)?;
    let day = NaiveDate::from_ymd_opt;
    let advice = trees::planting_advice(facts, &tree.crop, Stock::BareRoot);
    let fall = in_fall(facts, &tree.crop);
    let possible = advice
        .is_none_or(|advice| advice.spring != Advice::Unwise || advice.fall != Advice::Unwise);
    let chore = if fall { "plant-fall" } else { "plant-spring" };
    let planned = plan
        .tasks
        .iter()
        .filter(|task| task.chore == chore && task.crop.as_deref().is_none_or(|c| c == tree.crop))
        .map(|task| {
            (
                task.window.opens.spread.middle,
                task.window.closes.spread.middle,
            )
        })
        .next();
    // Fall planting comes before the season that it is counted to.
    let own_year = if fall { year - 1 } else { year };
    let plant = match planned {
        Some((opens, closes)) => {
            let later = own_year - opens.year();
            let moved = |date: NaiveDate| date.with_year(date.year() + later).unwrap_or(date);
            Some((moved(opens), moved(closes), fall))
        }
        None if fall => Some((day(own_year, 11, 1)?, day(own_year, 12, 15)?, true)),
        None => Some((day(own_year, 3, 1)?, day(own_year, 4, 20)?, false)),
    };
    let order = if fall {
        (day(own_year, 6, 1)?, day(own_year, 9, 1)?)
    } else {
        (day(year - 1, 8, 15)?, day(year - 1, 10, 15)?)
    };
    let removed = day(year - 1, 12, 1)?;
    Some(Step {
        tree,
        year,
        remove: if tree.status == Status::Dead {
            (today, removed.max(today))
        } else {
            (removed.max(today), day(year, 2, 28)?.max(today))
        },
        order: (order.0.max(today), order.1.max(today)),
        plant: plant.filter(|_| possible),
        same_kind_from: year + REST_YEARS,
        why: advice.map(|advice| advice.why.clone()),
    })
}
