//! Names of tasks that events set off: they bear the event's day, and what was
//! noted under a name holds when a revised record shifts that day a little.

use super::calendar::Task;
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, Trigger};
use chrono::{Datelike, NaiveDate};

/// Days by which the day of one event may shift (our choice: a dry spell calls
/// again after a week, so the next is far enough).
pub const SHIFT_DAYS: u32 = 3;

/// The same of what is forecast (our choice: two nights on it is another frost
/// or rain).
const FORECAST_SHIFT_DAYS: u32 = 1;

/// The name of the task that an event of a day set off, such as
/// `water-new-2026-jun29`. What happens once in a winter needs no day.
pub fn of(stem: &str, trigger: &Trigger, date: NaiveDate) -> String {
    match trigger {
        Trigger::HardWinter { .. } => stem.to_owned(),
        _ => format!("{stem}-{}", date.format("%b%-d")).to_lowercase(),
    }
}

/// A name without its event, and the day of the year of that; the day is
/// `None` where an older version wrote a number in its place.
fn parts(id: &str) -> Option<(&str, Option<u32>)> {
    let (stem, tail) = id.rsplit_once('-')?;
    let season = stem.rsplit('-').next()?;
    let of_season = season.len() == 4 && season.bytes().all(|b| b.is_ascii_digit());
    if !of_season || tail.is_empty() {
        return None;
    }
    if tail.len() <= 3 && tail.bytes().all(|b| b.is_ascii_digit()) {
        return Some((stem, None));
    }
    // A leap year has every day.
    let day = NaiveDate::parse_from_str(&format!("2024{tail}"), "%Y%b%d").ok()?;
    Some((stem, Some(day.ordinal())))
}

/// Days between two days of the year, over its end where that is shorter.
fn apart(a: u32, b: u32) -> u32 {
    let days = a.abs_diff(b);
    days.min(366 - days)
}

/// The days by which two names of one event differ; `None` where they are of
/// different events.
pub fn shift(a: &str, b: &str) -> Option<u32> {
    let ((stem, day), (other, other_day)) = (parts(a)?, parts(b)?);
    let days = apart(day?, other_day?);
    (stem == other && days <= SHIFT_DAYS).then_some(days)
}

/// The task of a name, or that of the same event under a shifted day.
pub fn find<'t>(tasks: &'t [Task], id: &str) -> Option<&'t Task> {
    let exact = tasks.iter().find(|task| task.id == id);
    exact.or_else(|| {
        let near = tasks
            .iter()
            .filter_map(|task| Some((shift(&task.id, id)?, task)));
        near.min_by_key(|(days, _)| *days).map(|(_, task)| task)
    })
}

/// Gives the tasks of a chore in a season the names under which the keeper has
/// noted something about them: the nearest event within some days; of what is
/// left, that in whose window the note was made.
pub fn keep_noted(facts: &Facts, chore: &Chore, tasks: &mut [Task]) {
    let Some(after) = &chore.after else {
        return;
    };
    let reach = match after.trigger {
        Trigger::FrostAhead { .. } | Trigger::InfectionAhead { .. } => FORECAST_SHIFT_DAYS,
        _ => SHIFT_DAYS,
    };
    let marks = marks(facts, chore, tasks);
    let mut free: Vec<usize> = (0..tasks.len())
        .filter(|at| !is_marked(facts, &tasks[*at].id))
        .collect();
    let mut near: Vec<(u32, usize, usize)> = Vec::new();
    for (mark, (id, _)) in marks.iter().enumerate() {
        for &at in &free {
            if let Some(days) = shift(id, &tasks[at].id).filter(|days| *days <= reach) {
                near.push((days, mark, at));
            }
        }
    }
    near.sort_unstable();
    let mut given: Vec<usize> = Vec::new();
    for (_, mark, at) in near {
        if free.contains(&at) && !given.contains(&mark) {
            tasks[at].id.clone_from(&marks[mark].0);
            free.retain(|one| *one != at);
            given.push(mark);
        }
    }
    let marks = marks.into_iter().enumerate();
    for (_, (id, noted)) in marks.filter(|(mark, _)| !given.contains(mark)) {
        let stem = parts(&id).map(|(stem, _)| stem.to_owned());
        let open = free.iter().copied().filter(|&at| {
            let window = &tasks[at].window;
            let span = window.opens.spread.middle..=window.closes.spread.middle;
            let own = parts(&tasks[at].id).map_or(tasks[at].id.as_str(), |(stem, _)| stem);
            stem.as_deref() == Some(own) && span.contains(&noted)
        });
        let last = open.max_by_key(|&at| tasks[at].window.opens.spread.middle);
        if let Some(at) = last {
            tasks[at].id = id;
            free.retain(|one| *one != at);
        }
    }
}

/// Names of a chore's tasks in the journal that no task bears, each once, with
/// the day of their first note.
fn marks(facts: &Facts, chore: &Chore, tasks: &[Task]) -> Vec<(String, NaiveDate)> {
    let journal = &facts.journal;
    let chores = journal.chores.iter().map(|noted| (&noted.task, noted.date));
    let snoozes = journal.snoozes.iter();
    let noted = chores.chain(snoozes.map(|noted| (&noted.what.task, noted.date)));
    let mut marks: Vec<(String, NaiveDate)> = Vec::new();
    for (id, date) in noted.filter(|(id, _)| id.starts_with(&chore.id)) {
        let borne = tasks.iter().any(|task| task.id == *id);
        if !borne && parts(id).is_some() && !marks.iter().any(|(known, _)| known == id) {
            marks.push((id.clone(), date));
        }
    }
    marks
}

fn is_marked(facts: &Facts, id: &str) -> bool {
    let journal = &facts.journal;
    journal.chores.iter().any(|noted| noted.task == id)
        || journal.snoozes.iter().any(|noted| noted.what.task == id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_bear_the_day_and_shift_with_it() {
        let date = |m, d| NaiveDate::from_ymd_opt(2026, m, d).unwrap();
        let dry = Trigger::Dry {
            rain_mm: 25.4,
            days: 7,
        };
        assert_eq!(
            of("water-new-2026", &dry, date(6, 9)),
            "water-new-2026-jun9"
        );
        let winter = Trigger::HardWinter { low_c: -20.0 };
        assert_eq!(
            of("hard-winter-tree-2026", &winter, date(1, 9)),
            "hard-winter-tree-2026"
        );
        for (a, b, days) in [
            ("water-new-2026-jun9", "water-new-2026-jun9", Some(0)),
            ("water-new-2026-jun9", "water-new-2026-jun12", Some(3)),
            ("water-new-2026-may30", "water-new-2026-jun1", Some(2)),
            ("cold-plunge-2026-dec31", "cold-plunge-2026-jan1", Some(1)),
            ("water-new-2026-jun9", "water-new-2026-jun13", None),
            ("water-new-2026-jun9", "water-new-2027-jun9", None),
            ("water-new-2026-jun9", "water-late-2026-jun9", None),
            ("water-new-2026-jun9", "water-new-2026-1", None),
            ("water-new-2026", "water-new-2026", None),
            ("prune-pome-apple-2026", "prune-pome-apple-2026", None),
        ] {
            assert_eq!(shift(a, b), days, "{a} {b}");
        }
        assert_eq!(
            parts("scab-cover-apple-2026-1"),
            Some(("scab-cover-apple-2026", None))
        );
        assert_eq!(
            parts("rust-after-apple-early-2026-may2"),
            Some(("rust-after-apple-early-2026", Some(123)))
        );
        for id in [
            "",
            "x",
            "a-2026",
            "a-2026-",
            "a-2026-foo",
            "a-26-may2",
            "a-2026-may32",
        ] {
            assert_eq!(parts(id), None, "{id}");
        }
    }
}
