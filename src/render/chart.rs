//! The year as lanes: one line a task, one character a week.
//!
//! `.` it may be open, `o` it is open more likely than not, `O` the week of
//! its best time, `x` done or put aside.

use crate::facts::knowledge::Knowledge;
use crate::plan::calendar::{Plan, State, Task};
use chrono::{Datelike, Days, NaiveDate, TimeDelta};

/// Columns of the label.
const LABEL: usize = 26;

/// Weeks shown.
const WEEKS: usize = 52;

/// What the characters mean, for the foot of a chart.
pub const KEY: &str = ". may be open   o open   O best week   x done";

/// The chart of the year, 80 columns wide: one lane for each chore, its crops
/// together.
pub fn by_chore(plan: &Plan, knowledge: &Knowledge) -> Vec<String> {
    let mut lanes: Vec<(String, Vec<&Task>)> = Vec::new();
    for task in shown(plan) {
        let label = knowledge
            .chore(&task.chore)
            .map_or(&task.chore, |chore| &chore.lane);
        match lanes.iter_mut().find(|(known, _)| known == label) {
            Some((_, tasks)) => tasks.push(task),
            None => lanes.push((label.clone(), vec![task])),
        }
    }
    draw(plan, &lanes)
}

/// The chart of one crop: one lane for each of its tasks.
pub fn of_crop(plan: &Plan, knowledge: &Knowledge, crop: &str) -> Vec<String> {
    let lanes: Vec<(String, Vec<&Task>)> = shown(plan)
        .filter(|task| task.crop.as_deref() == Some(crop))
        .map(|task| {
            let lane = knowledge
                .chore(&task.chore)
                .map_or(&task.chore, |chore| &chore.lane);
            (lane.clone(), vec![task])
        })
        .collect();
    draw(plan, &lanes)
}

fn shown(plan: &Plan) -> impl Iterator<Item = &Task> {
    plan.tasks.iter().filter(|task| task.state != State::Missed)
}

fn draw(plan: &Plan, lanes: &[(String, Vec<&Task>)]) -> Vec<String> {
    let weekday = i64::from(plan.today.weekday().num_days_from_monday());
    let monday = plan.today - TimeDelta::days(weekday);
    let mut lines = vec![months(monday)];
    for (label, tasks) in lanes {
        let weeks: String = (0..WEEKS as u64)
            .map(|week| {
                let start = monday + Days::new(week * 7);
                tasks
                    .iter()
                    .map(|task| mark(task, start))
                    .max_by_key(|mark| rank(*mark))
                    .unwrap_or(' ')
            })
            .collect();
        lines.push(format!("{} {}", fit(label, LABEL), weeks.trim_end()));
    }
    lines
}

/// Which mark wins where several tasks share a lane.
fn rank(mark: char) -> usize {
    " .xoO".find(mark).unwrap_or(0)
}

/// The line of month names, each over the week in which it begins; a name
/// without room before the next is left out.
fn months(monday: NaiveDate) -> String {
    let starts: Vec<(usize, String)> = (0..WEEKS)
        .filter_map(|week| {
            let first = monday + Days::new(week as u64 * 7);
            let begins = week == 0 || (0..7).any(|day| (first + Days::new(day)).day() == 1);
            let sunday = first + Days::new(6);
            begins.then(|| (week, sunday.format("%b").to_string()))
        })
        .collect();
    let mut line = String::new();
    for (at, (week, name)) in starts.iter().enumerate() {
        let next = starts.get(at + 1).map_or(WEEKS + 1, |(week, _)| *week);
        if week + name.len() < next {
            line.push_str(&" ".repeat(week.saturating_sub(line.chars().count())));
            line.push_str(name);
        }
    }
    format!("{} {line}", " ".repeat(LABEL))
}

/// One week of one task.
fn mark(task: &Task, monday: NaiveDate) -> char {
    let sunday = monday + Days::new(6);
    let window = &task.window;
    let opened = window.opens.spread.chance_by(sunday);
    let closed = window.closes.spread.chance_by(monday - Days::new(1));
    let open = opened * (1.0 - closed);
    let best = window.best.spread.middle;
    let settled = matches!(task.state, State::Done | State::Skipped);
    match open {
        _ if settled && open >= 0.5 => 'x',
        _ if best >= monday && best <= sunday => 'O',
        open if open >= 0.5 => 'o',
        open if open >= 0.1 => '.',
        _ => ' ',
    }
}

/// A label cut or filled to a width.
pub fn fit(text: &str, width: usize) -> String {
    let count = text.chars().count();
    if count <= width {
        return format!("{text}{}", " ".repeat(width - count));
    }
    let cut: String = text.chars().take(width - 1).collect();
    format!("{cut}\u{2026}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_has_its_width() {
        assert_eq!(fit("prune", 8), "prune   ");
        assert_eq!(fit("prune apples", 8), "prune a\u{2026}");
    }

    #[test]
    fn months_stand_over_their_weeks() {
        let line = months(NaiveDate::from_ymd_opt(2026, 3, 30).unwrap());
        assert!(line.chars().count() <= LABEL + 1 + WEEKS, "{line}");
        assert_eq!(line.find("Apr"), Some(LABEL + 1));
        assert_eq!(
            line.find("May"),
            Some(LABEL + 1 + 4),
            "1 May falls into the fifth week"
        );
        // A name without room before the next is left out.
        let tight = months(NaiveDate::from_ymd_opt(2026, 4, 20).unwrap());
        assert!(
            !tight.contains("Apr") || tight.trim_end().ends_with("Apr"),
            "{tight}"
        );
    }
}
