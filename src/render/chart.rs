//! The year as lanes: one line a task, one character a week.
//!
//! `.` it may be open, `o` it is open more likely than not, `O` the week of
//! its best time, `x` done or put aside.

use super::sentence::Words;
use crate::plan::calendar::{Plan, State, Task};
use chrono::{Datelike, Days, NaiveDate, TimeDelta};

/// Columns of the label.
const LABEL: usize = 26;

/// Weeks shown.
const WEEKS: usize = 52;

/// What the characters mean, for the foot of a chart.
pub const KEY: &str = ". may be open   o open   O best week   x done";

/// The chart of the tasks that `keep` lets through, 80 columns wide.
pub fn lanes(plan: &Plan, words: Words<'_>, keep: impl Fn(&Task) -> bool) -> Vec<String> {
    let monday =
        plan.today - TimeDelta::days(i64::from(plan.today.weekday().num_days_from_monday()));
    let mut lines = vec![months(monday)];
    for task in plan.tasks.iter().filter(|task| keep(task)) {
        let label = fit(&words.say(task), LABEL);
        let weeks: String = (0..WEEKS)
            .map(|week| mark(task, monday + Days::new(week as u64 * 7)))
            .collect();
        lines.push(format!("{label} {}", weeks.trim_end()));
    }
    lines
}

/// The line of month names, each over the first of its weeks.
fn months(monday: NaiveDate) -> String {
    let mut line = vec![' '; WEEKS];
    let mut last = 0;
    for week in 0..WEEKS {
        let sunday = monday + Days::new(week as u64 * 7 + 6);
        if sunday.month() != last && (week == 0 || sunday.day() <= 7) {
            let name = sunday.format("%b").to_string();
            if week + name.len() <= WEEKS {
                for (step, letter) in name.chars().enumerate() {
                    line[week + step] = letter;
                }
            }
        }
        last = sunday.month();
    }
    let months: String = line.into_iter().collect();
    format!("{} {}", " ".repeat(LABEL), months.trim_end())
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
        let monday = NaiveDate::from_ymd_opt(2026, 4, 20).unwrap();
        let line = months(monday);
        assert!(line.trim_start().starts_with("Apr"), "{line}");
        assert!(line.chars().count() <= LABEL + 1 + WEEKS);
    }
}
