//! Work that events set off: joined while it stays open, ended by what came
//! since.

use super::calendar::{State, Task, absorb};
use super::trees::any_shared;
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, ChoreKind, Trigger};
use crate::facts::weather::rain_reaches;
use crate::season::evidence::Evidence;
use chrono::{Days, NaiveDate};

/// A chore that several events set off for the same trees is one task as long
/// as it stays open: the first keeps its name, closes with the last, and tells
/// of the last event first. What was done before the next one opened is over.
/// Sprays and frost to come are told event by event: each has days of its own.
pub(super) fn one_at_a_time(facts: &Facts, chore: &Chore, mut tasks: Vec<Task>) -> Vec<Task> {
    let apart = chore.after.as_ref().is_none_or(|after| {
        chore.kind == ChoreKind::Spray || matches!(after.trigger, Trigger::FrostAhead { .. })
    });
    if apart {
        return tasks;
    }
    tasks.sort_by_key(|task| task.window.opens.spread.middle);
    let mut joined: Vec<Task> = Vec::new();
    for task in tasks {
        let (mut on, rest): (Vec<Task>, Vec<Task>) = joined
            .into_iter()
            .partition(|held| goes_on(facts, held, &task));
        joined = rest;
        if on.is_empty() {
            joined.push(task);
            continue;
        }
        on.sort_by_key(|held| held.window.opens.spread.middle);
        let mut held = on.remove(0);
        on.into_iter()
            .chain([task])
            .for_each(|next| go_on(facts, &mut held, next));
        joined.push(held);
    }
    joined
}

/// Lets a task go on with that of a later event.
fn go_on(facts: &Facts, held: &mut Task, next: Task) {
    held.window.best = next.window.best.clone();
    if next.window.closes.spread.middle > held.window.closes.spread.middle {
        held.window.closes = next.window.closes.clone();
    }
    let latest = next.reasons.first().cloned();
    absorb(facts, held, next);
    if let Some(latest) = latest {
        held.reasons.retain(|reason| *reason != latest);
        held.reasons.insert(0, latest);
    }
}

/// Whether rain has ended the dry spell that set a task off: as much as was
/// wanting has fallen within its days since.
pub(super) fn rained(facts: &Facts, chore: &Chore, task: &Task, today: NaiveDate) -> bool {
    let trigger = chore.after.as_ref().map(|after| &after.trigger);
    let (Some(Trigger::Dry { rain_mm, days }), Some(daily)) = (trigger, &facts.weather.daily)
    else {
        return false;
    };
    // The task's reason names the day on which the spell was noticed.
    let noticed = task.reasons.iter().find_map(|reason| match reason {
        Evidence::Dry { date, .. } => Some(*date),
        _ => None,
    });
    let Some(noticed) = noticed else {
        return false;
    };
    let fell = |date: NaiveDate| -> f64 {
        let back = (0..u64::from(*days)).filter_map(|back| date.checked_sub_days(Days::new(back)));
        back.filter_map(|day| daily.day(day)?.rain_mm).sum()
    };
    noticed
        .iter_days()
        .take_while(|date| *date <= today)
        .any(|date| rain_reaches(fell(date), *rain_mm))
}

/// Work that an event set off can wait where its day comes after tomorrow and
/// its last days have not begun. Sprays have hours, not days.
pub(super) fn can_wait(task: &mut Task, today: NaiveDate) {
    let later = |date: NaiveDate, days: i64| (date - today).num_days() > days;
    if task.state == State::Urgent
        && task.kind != ChoreKind::Spray
        && task.day.is_some_and(|day| later(day, 1))
        && later(task.window.closes.spread.middle, 2)
    {
        task.state = State::Open;
    }
}

/// Whether a task of a later event is the same work as one still open then.
fn goes_on(facts: &Facts, held: &Task, task: &Task) -> bool {
    let opens = task.window.opens.spread.middle;
    let same = held.crop == task.crop
        && held.group == task.group
        && (held.trees == task.trees || any_shared(&held.trees, &task.trees));
    let journal = &facts.journal;
    let settled = journal
        .chores
        .iter()
        .any(|noted| noted.task == held.id && noted.date < opens)
        || journal.bud_counts.iter().any(|count| {
            (held.window.opens.spread.middle - Days::new(1)..opens - Days::new(1))
                .contains(&count.date)
        });
    same && opens <= held.window.closes.spread.middle && !settled
}
