//! Groups and crops that are done together are one task.

use super::Task;
use crate::facts::Facts;
use crate::facts::knowledge::Chore;
use crate::plan::trees::{Chosen, ids};
use crate::plan::window::{self, Window};
use crate::season::evidence::Evidence;
use crate::season::{Group, Season};

/// Two groups of one crop whose windows open this many days apart or less are
/// done together.
const TOGETHER_DAYS: i64 = 4;

/// Opens a window with the earlier of two and closes it with the later,
/// quantile by quantile.
pub(super) fn widen(window: &mut Window, other: &Window) {
    let opens = window.opens.spread.earlier(other.opens.spread);
    let closes = window.closes.spread.later(other.closes.spread);
    if other.opens.spread.middle < window.opens.spread.middle {
        window.opens = other.opens.clone();
        window.best = other.best.clone();
    }
    if other.closes.spread.middle > window.closes.spread.middle {
        window.closes = other.closes.clone();
    }
    window.opens.spread = opens;
    window.closes.spread = closes;
}

/// Days within which events of several crops are one.
const ONE_EVENT_DAYS: i64 = 3;

/// Joins a task of one group to that of another which the same event set off.
pub(super) fn join_event(facts: &Facts, tasks: &mut Vec<Task>, task: Task) {
    let opens = task.window.opens.spread.middle;
    let same = tasks
        .iter_mut()
        .find(|held| (held.window.opens.spread.middle - opens).num_days().abs() <= ONE_EVENT_DAYS);
    let Some(held) = same else {
        tasks.push(task);
        return;
    };
    absorb(facts, held, task);
}

/// Adds the trees, minutes and reasons of one task to another, each tree and
/// each reason once.
pub(in crate::plan) fn absorb(facts: &Facts, held: &mut Task, task: Task) {
    let new: Vec<String> = {
        let known = ids(&held.trees);
        let fresh = task.trees.iter().filter(|id| !known.contains(id.as_str()));
        fresh.cloned().collect()
    };
    let plants = if new.len() < task.trees.len() {
        let trees = facts.register.trees.iter();
        let fresh = ids(&new);
        let counted = trees.filter(|tree| fresh.contains(tree.id.as_str()));
        counted.map(|tree| tree.count).sum()
    } else {
        task.plants
    };
    let share = match task.plants {
        0 if held.trees == task.trees => 0.0,
        0 => 1.0,
        all => (f64::from(plants) / f64::from(all)).min(1.0),
    };
    held.trees.extend(new);
    held.plants = held.plants.saturating_add(plants);
    held.minutes = match (held.minutes, task.minutes) {
        (Some((a, b)), Some((c, d))) => Some((a + c * share, b + d * share)),
        (one, other) => one.or(other),
    };
    for reason in task.reasons {
        if !held.reasons.contains(&reason) {
            held.reasons.push(reason);
        }
    }
}

/// Joins groups of a crop whose windows open within a few days of each other.
pub(super) fn join_near_groups(
    chore: &Chore,
    season: &Season,
    year: i32,
    found: &mut Vec<(&Group, Chosen)>,
) {
    let opening =
        |group: &Group| window::of(chore, season, group, year).map(|w| w.opens.spread.middle);
    let mut joined: Vec<(&Group, Chosen)> = Vec::new();
    for (group, chosen) in found.drain(..) {
        let near = joined
            .iter_mut()
            .find(|(other, _)| match (opening(group), opening(other)) {
                (Some(a), Some(b)) => (a - b).num_days().abs() <= TOGETHER_DAYS,
                _ => true,
            });
        match near {
            Some((_, held)) => merge(held, chosen),
            None => joined.push((group, chosen)),
        }
    }
    *found = joined;
}

/// Merges two groups of one crop: ratings are put together, so that the
/// reason names every cultivar once.
fn merge(held: &mut Chosen, more: Chosen) {
    held.trees.extend(more.trees);
    held.plants = held.plants.saturating_add(more.plants);
    for reason in more.reasons {
        let into = held
            .reasons
            .iter_mut()
            .find_map(|known| match (known, &reason) {
                (
                    Evidence::Ratings {
                        disease,
                        need,
                        spared,
                        despite,
                    },
                    Evidence::Ratings {
                        disease: other,
                        need: more,
                        spared: also,
                        despite: seen,
                    },
                ) if disease == other => {
                    for one in more {
                        if !need.contains(one) {
                            need.push(one.clone());
                        }
                    }
                    for one in also {
                        if !spared.contains(one) {
                            spared.push(one.clone());
                        }
                    }
                    for one in seen {
                        if !despite.contains(one) {
                            despite.push(one.clone());
                        }
                    }
                    Some(())
                }
                _ => None,
            });
        if into.is_none() && !held.reasons.contains(&reason) {
            held.reasons.push(reason);
        }
    }
}

/// A chore that takes as long however many plants there are does not take
/// longer for several groups of them.
pub(super) fn in_all(facts: &Facts, task: &mut Task) {
    let chore = facts.knowledge.chore(&task.chore);
    if let Some((least, most, _)) = chore
        .filter(|chore| chore.minutes_in_all)
        .and_then(|chore| chore.minutes.as_ref())
    {
        task.minutes = Some((*least, *most));
    }
}
