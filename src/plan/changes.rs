//! What moved between two calendars: line by line, with the reason.

use super::calendar::{Note, Plan, State, Task};
use super::event_id;
use crate::season::evidence::Evidence;
use chrono::NaiveDate;
use std::collections::HashMap;

/// A window that moves by less than this is not news, days.
pub const NEWS_DAYS: i64 = 3;

/// One difference between two calendars.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The task's id.
    pub task: String,
    /// What happened to it.
    pub what: What,
    /// The evidence behind it; empty where none can be named.
    pub because: Vec<Evidence>,
}

/// What happened to a task.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// It was not there before.
    Added {
        /// Its opening.
        opens: NaiveDate,
        /// Its close.
        closes: NaiveDate,
    },
    /// It is no longer there.
    Dropped,
    /// Its opening or close moved.
    Moved {
        /// Opening before and after.
        opens: (NaiveDate, NaiveDate),
        /// Close before and after.
        closes: (NaiveDate, NaiveDate),
    },
}

/// Everything that differs by [`NEWS_DAYS`] or more between two calendars.
///
/// Only tasks that were or are still to be done count; a task that merely ran
/// out between the two days is no change.
pub fn changes(before: &Plan, after: &Plan) -> Vec<Change> {
    let mut changes = Vec::new();
    let pairs = pairs(before, after);
    for task in after.tasks.iter().filter(|task| pending(task)) {
        let (opens, closes) = middles(task);
        match pairs.get(task.id.as_str()).copied() {
            None if opens > before.until => {}
            None => changes.push(Change {
                task: task.id.clone(),
                what: What::Added { opens, closes },
                because: if task.reasons.is_empty() {
                    vec![task.window.opens.evidence.clone()]
                } else {
                    task.reasons.clone()
                },
            }),
            Some(old) => {
                let (old_opens, old_closes) = middles(old);
                let by = |a: NaiveDate, b: NaiveDate| (b - a).num_days().abs();
                let moved_open = opens > after.today && by(old_opens, opens) >= NEWS_DAYS;
                if moved_open || by(old_closes, closes) >= NEWS_DAYS {
                    let because = if moved_open {
                        &task.window.opens.evidence
                    } else {
                        &task.window.closes.evidence
                    };
                    changes.push(Change {
                        task: task.id.clone(),
                        what: What::Moved {
                            opens: (old_opens, opens),
                            closes: (old_closes, closes),
                        },
                        because: vec![because.clone()],
                    });
                }
            }
        }
    }
    for old in before.tasks.iter().filter(|task| pending(task)) {
        let gone = !pairs.values().any(|known| known.id == old.id);
        let ran_out = middles(old).1 < after.today;
        if gone && !ran_out {
            changes.push(Change {
                task: old.id.clone(),
                what: What::Dropped,
                because: lost(after, old),
            });
        }
    }
    changes
}

/// What each task was before, by its name now: the one of that name, or that of
/// the same event under a day that has shifted.
fn pairs<'p>(before: &'p Plan, after: &'p Plan) -> HashMap<&'p str, &'p Task> {
    let old = |id: &str| before.tasks.iter().find(|old| old.id == id);
    let mut pairs: HashMap<&str, &Task> = HashMap::new();
    for task in &after.tasks {
        pairs.extend(old(&task.id).map(|old| (task.id.as_str(), old)));
    }
    let fresh = |task: &&Task| old(&task.id).is_none();
    for task in after.tasks.iter().filter(fresh) {
        let free = before.tasks.iter().filter(|old| {
            let taken = pairs.values().any(|known| known.id == old.id);
            !taken
        });
        let near = free.filter_map(|old| Some((event_id::shift(&old.id, &task.id)?, old)));
        let nearest = near.min_by_key(|(days, _)| *days);
        pairs.extend(nearest.map(|(_, old)| (task.id.as_str(), old)));
    }
    pairs
}

/// The frost that took the crop which a dropped task was for.
fn lost(after: &Plan, task: &Task) -> Vec<Evidence> {
    let night = after.notes.iter().find_map(|note| match note {
        Note::CropLost { crop, toll, .. } if task.crop.as_ref() == Some(crop) => Some(toll.worst()),
        _ => None,
    });
    night
        .map(|night| Evidence::FrostNight(night.clone()))
        .into_iter()
        .collect()
}

fn pending(task: &Task) -> bool {
    matches!(task.state, State::Urgent | State::Open | State::Coming)
}

fn middles(task: &Task) -> (NaiveDate, NaiveDate) {
    (
        task.window.opens.spread.middle,
        task.window.closes.spread.middle,
    )
}
