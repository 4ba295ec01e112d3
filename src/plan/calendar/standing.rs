//! How a task stands today: done, in part, open, to come, missed.

use super::{State, Task};
use crate::facts::Facts;
use crate::facts::journal::ChoreNoted;
use crate::facts::knowledge::{ChoreKind, Trigger};
use crate::plan::days::{self, Prospect};
use chrono::{Days, NaiveDate, TimeDelta};

/// Days from which the window that an event opens is long (our choice).
const LONG_DAYS: f64 = 21.0;

/// How a task stands today, and which day suits it.
pub(super) fn settle(facts: &Facts, prospect: &Prospect<'_>, task: &mut Task, today: NaiveDate) {
    if counted(facts, task) {
        task.state = State::Done;
        return;
    }
    let noted = || {
        let noted = facts.journal.chores.iter().rev();
        noted.filter(|noted| noted.task == task.id)
    };
    // Trees are told apart only where the task has any.
    let whole = |noted: &&ChoreNoted| noted.trees.is_empty() || task.trees.is_empty();
    let every_days = facts
        .knowledge
        .chore(&task.chore)
        .and_then(|chore| chore.every_days);
    // What comes again within its window is open anew when its days are over.
    let again = |noted: &ChoreNoted| {
        noted.done && every_days.is_some_and(|days| (today - noted.date).num_days() as f64 >= days)
    };
    let state_of = |noted: &ChoreNoted| {
        if noted.done {
            State::Done
        } else {
            State::Skipped
        }
    };
    if let Some(noted) = noted().find(whole).filter(|noted| !again(noted)) {
        task.state = state_of(noted);
        return;
    }
    let in_part: Vec<&ChoreNoted> = noted()
        .filter(|noted| !whole(noted) && !again(noted))
        .collect();
    let off = |id: &String| in_part.iter().any(|noted| noted.trees.contains(id));
    let left: Vec<String> = task.trees.iter().filter(|id| !off(id)).cloned().collect();
    if let Some(last) = in_part.first().filter(|_| left.is_empty()) {
        task.state = state_of(last);
        return;
    }
    take_off(facts, task, left);
    let window = &task.window;
    let open = window.opens.spread.middle <= today;
    let over = window.closes.spread.middle < today;
    let last_days = window.closes.spread.middle - today <= TimeDelta::days(2);
    // What an event has set off for weeks is no matter of today.
    let pressing = facts
        .knowledge
        .chore(&task.chore)
        .and_then(|chore| chore.after.as_ref())
        .is_some_and(|after| after.closes_days - after.opens_days < LONG_DAYS);
    task.state = match (open, over) {
        (_, true) => State::Missed,
        (true, false) if pressing || (last_days && task.worth >= 4) => State::Urgent,
        (true, false) => State::Open,
        (false, false) => State::Coming,
    };
    if let Some(chore) = facts.knowledge.chore(&task.chore) {
        days::choose(prospect, chore, task, today);
    }
}

/// Takes the trees off a count of buds whose crop was counted since the
/// frost; whether none is left to count.
fn counted(facts: &Facts, task: &mut Task) -> bool {
    let after = facts
        .knowledge
        .chore(&task.chore)
        .and_then(|chore| chore.after.as_ref());
    // What is looked at after the thaw; what cannot wait so long is no count.
    let count = after.is_some_and(|after| {
        matches!(after.trigger, Trigger::FrostKill { .. }) && after.opens_days >= 1.0
    });
    let since = task.window.opens.spread.middle - Days::new(1);
    if !count || task.kind != ChoreKind::Watch || facts.journal.bud_counts.is_empty() {
        return false;
    }
    let done = |crop: &str| {
        let counts = facts.journal.bud_counts.iter();
        counts
            .filter(|count| count.crop.as_deref() == Some(crop))
            .any(|count| count.date >= since && (count.date - since).num_days() <= 21)
    };
    let before = task.trees.len();
    let trees = &facts.register.trees;
    task.trees.retain(|id| {
        let tree = trees.iter().find(|tree| tree.id == *id);
        tree.is_none_or(|tree| !done(&tree.crop))
    });
    if task.trees.len() < before {
        let left = trees.iter().filter(|tree| task.trees.contains(&tree.id));
        task.plants = left.map(|tree| tree.count).sum();
    }
    before > 0 && task.trees.is_empty()
}

/// Leaves a task the trees that are not done yet, with their share of its
/// plants and minutes.
pub(in crate::plan) fn take_off(facts: &Facts, task: &mut Task, left: Vec<String>) {
    if left.len() == task.trees.len() {
        return;
    }
    let register = &facts.register;
    let plants_of = |ids: &[String]| -> u32 {
        let trees = register.trees.iter().map(|tree| (&tree.id, tree.count));
        let junipers = register.junipers.iter();
        let all = trees.chain(junipers.map(|juniper| (&juniper.id, juniper.count)));
        all.filter(|(id, _)| ids.contains(id))
            .fold(0, |sum: u32, (_, count)| sum.saturating_add(count))
    };
    let (before, after) = (plants_of(&task.trees), plants_of(&left));
    let chore = facts.knowledge.chore(&task.chore);
    if before > 0 && !chore.is_some_and(|chore| chore.minutes_in_all) {
        let share = f64::from(after) / f64::from(before);
        task.minutes = task
            .minutes
            .map(|(least, most)| (least * share, most * share));
    }
    task.plants = after;
    task.trees = left;
}
