//! What comes out when, and what follows it: a plan over the years.
//!
//! A few trees a year, as many as the keeper's hours carry; the dead first.
//! The calendar takes the same turns, so that what waits for a later year is
//! neither ordered nor planted before.

use super::Plan;
use super::trees;
use crate::facts::Facts;
use crate::facts::knowledge::{Advice, Stock, Weighed};
use crate::facts::register::{Status, Tree};
use chrono::{Datelike, NaiveDate};

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
    /// For a tree that is judged so and whose status does not say so yet: the
    /// day by which to decide, when ordering begins.
    pub decide_by: Option<NaiveDate>,
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
    let judging = &facts.knowledge.judging;
    let hours = judging.of(Weighed::HoursForOne).max(0.1);
    let carried = (facts.preferences.hours_per_week / hours).floor();
    let least = judging.whole(Weighed::NewLeast).max(1);
    let most = judging.whole(Weighed::NewMost).max(least);
    (carried.max(0.0) as usize).clamp(least as usize, most as usize)
}

/// Years of rest for the same kind in the same hole.
pub fn rest_years(facts: &Facts) -> i32 {
    facts.knowledge.judging.whole(Weighed::RestYears)
}

/// The first season in which bare roots of a crop can still be planted. What
/// is planted in fall is counted to the season after; in the last days of a
/// year its time is taken as not over yet.
fn first_season(facts: &Facts, crop: &str, today: NaiveDate) -> i32 {
    let last = facts.knowledge.judging.whole(Weighed::LastPlantingMonth);
    let over = today.month() as i32 > last;
    today.year() + i32::from(over || in_fall(facts, crop))
}

/// The season in which a tree's successor is planted at the earliest; `None`
/// for a tree that stays.
pub fn turn(facts: &Facts, id: &str, today: NaiveDate) -> Option<i32> {
    let trees = leaving(facts);
    let at = trees.iter().position(|tree| tree.id == id)?;
    let crop = trees.get(at)?.crop.as_str();
    Some(first_season(facts, crop, today) + later(facts, at))
}

/// Years that the tree at a place in the line waits for those before it.
fn later(facts: &Facts, at: usize) -> i32 {
    (at / a_year(facts)).min(100) as i32
}

/// Whether a tree's replanting waits for a season after this one. The calendar
/// asks this, so that it and the plan over the years name one season.
pub fn waits(facts: &Facts, id: &str, season: i32, today: NaiveDate) -> bool {
    turn(facts, id, today).is_some_and(|turn| season < turn)
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
/// follow in their holes before [`rest_years`] are over.
pub fn rests(facts: &Facts, ids: &[String]) -> bool {
    leaving(facts).iter().any(|tree| ids.contains(&tree.id))
}

/// The plan, in the order of the turns. `judged` are trees with the verdict
/// replace, by id: those that the register keeps follow as proposals, after
/// all that leave by the keeper's word.
pub fn steps<'f>(
    facts: &'f Facts,
    plan: &Plan,
    judged: &[&str],
    today: NaiveDate,
) -> Vec<Step<'f>> {
    let mut line = leaving(facts);
    let own = line.len();
    let proposed = facts.register.trees.iter().filter(|tree| {
        tree.tended() && tree.status != Status::Replace && judged.contains(&tree.id.as_str())
    });
    line.extend(proposed);
    let mut steps: Vec<Step<'f>> = Vec::new();
    for (at, tree) in line.into_iter().enumerate() {
        let year = first_season(facts, &tree.crop, today) + later(facts, at);
        let step = step(facts, plan, tree, year, today).map(|step| Step {
            decide_by: (at >= own).then_some(step.order.0),
            ..step
        });
        steps.extend(step);
    }
    steps.sort_by_key(|step| step.year);
    steps
}

fn step<'f>(
    facts: &'f Facts,
    plan: &Plan,
    tree: &'f Tree,
    year: i32,
    today: NaiveDate,
) -> Option<Step<'f>> {
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
    // As on the calendar, where it stands there already.
    let ordered = plan
        .tasks
        .iter()
        .find(|task| task.chore == "order-stock" && task.trees.contains(&tree.id))
        .map(|task| {
            (
                task.window.opens.spread.middle,
                task.window.closes.spread.middle,
            )
        })
        .filter(|(_, closes)| plant.is_none_or(|(opens, ..)| *closes <= opens));
    let order = match ordered {
        Some(order) if order.1.year() >= year - 1 => order,
        _ if fall => (day(own_year, 6, 1)?, day(own_year, 9, 1)?),
        _ => (day(year - 1, 8, 15)?, day(year - 1, 10, 15)?),
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
        decide_by: None,
        same_kind_from: year + rest_years(facts),
        why: advice.map(|advice| advice.why.clone()),
    })
}
