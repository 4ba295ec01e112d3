//! A season's work shared out over the keeper's hours: every task gets its
//! days, and what does not fit is told.
//!
//! The coming days stand each for itself, later ones week by week. What a
//! task costs on a day grows with the distance from its best time and with
//! the risk of weather that forbids it; the worth of the chore decides what
//! is left undone where time is short.

use super::flow::{Flow, Job, Slot};
use super::suitable::{Judge, Prospect};
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, ChoreKind, Trigger};
use crate::plan::calendar::{Plan, State, Task};
use chrono::{Datelike, Days, NaiveDate, TimeDelta, Weekday};

/// Minutes of a block.
const BLOCK_MIN: f64 = 5.0;

/// Share of the week's hours that a working day holds; Saturday and Sunday
/// share the rest (our judgement: most of it at weekends).
const WEEKDAY_SHARE: f64 = 0.08;

/// Turns of one task that are looked at, at most.
const MOST_TURNS: usize = 60;

/// What the distance from the best time costs at the far end of a window.
const FAR_COST: f64 = 600.0;

/// What a day costs that never suits.
const RISK_COST: f64 = 300.0;

/// What a day costs that is too short for the whole of a piece of work.
const SHORT_COST: i64 = 30;

/// Days from the best time to the close below which work that an event set off
/// presses, such as a spray after an infection (our judgement).
const PRESSING_DAYS: i64 = 8;

/// Days from a chore to one that comes after it (our judgement: the next day).
const LAG_DAYS: u64 = 1;

/// What a task was given.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fit {
    /// Days with the minutes of each, in their order.
    pub days: Vec<(NaiveDate, f64)>,
    /// Minutes that found no place.
    pub left_over_min: f64,
}

/// One week of the keeper's time, from its Monday.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeekLoad {
    /// Its Monday.
    pub monday: NaiveDate,
    /// Minutes that the keeper has.
    pub room_min: f64,
    /// Minutes wanted if every task were done at its best time.
    pub wanted_min: f64,
    /// Minutes given out.
    pub given_min: f64,
    /// Minutes that would have belonged here and found no place.
    pub left_over_min: f64,
    /// What one more block in this week would save, in the worth of chores.
    pub relief: i64,
}

/// A day or a week.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Period {
    first: NaiveDate,
    last: NaiveDate,
}

/// One turn of a task.
struct Turn {
    task: usize,
    first: NaiveDate,
    last: NaiveDate,
    best: NaiveDate,
    blocks: u32,
    /// Whether each day that it waits costs much, as of what an event has set
    /// off for some days only.
    pressing: bool,
}

/// Gives every pending task of the plan its days and fills the plan's load.
/// Nothing is shared out where the keeper has no hours.
pub fn share_out(facts: &Facts, prospect: &Prospect<'_>, plan: &mut Plan) {
    let hours = facts.preferences.hours_per_week;
    if !hours.is_finite() || hours <= 0.0 {
        return;
    }
    let periods = periods(plan.today, plan.until);
    let room: Vec<u32> = periods.iter().map(|one| room_of(*one, hours)).collect();
    let order = order_of_work(facts, plan);
    let mut flow = Flow::new(&room);
    let mut turns: Vec<(Turn, usize)> = Vec::new();
    let mut ends: Vec<Option<NaiveDate>> = vec![None; plan.tasks.len()];
    let mut level = 0;
    let last_level = order.levels.iter().copied().max().unwrap_or(0);
    while level <= last_level {
        for at in 0..plan.tasks.len() {
            if order.levels.get(at) != Some(&level) {
                continue;
            }
            let after = order.before(at).filter_map(|before| ends[before]).max();
            for turn in turns_of(facts, plan, at, after) {
                let job = job_of(facts, prospect, plan, &turn, &periods, &room);
                turns.push((turn, flow.add(job)));
            }
        }
        // What later work waits for stays where it is, or comes sooner.
        for (turn, job) in turns
            .iter()
            .filter(|(turn, _)| order.levels.get(turn.task) == Some(&level))
        {
            let Some(period) = flow.placed(*job).map(|(period, _)| period).max() else {
                continue;
            };
            if order.is_awaited(turn.task) {
                flow.close_after(*job, period);
            }
            let end = periods[period].last.min(turn.last);
            ends[turn.task] = ends[turn.task].max(Some(end));
        }
        level += 1;
    }
    hand_out(facts, prospect, plan, &flow, &turns, &periods);
    plan.load = load(plan, &flow, &turns, &periods, hours);
}

/// Days up to the Sunday of the next week, then weeks.
fn periods(today: NaiveDate, until: NaiveDate) -> Vec<Period> {
    let mut periods = Vec::new();
    let sunday = week_of(today) + Days::new(13);
    let mut first = today;
    while first <= until {
        let last = if first <= sunday {
            first
        } else {
            first + Days::new(6)
        };
        periods.push(Period { first, last });
        first = last + Days::new(1);
    }
    periods
}

/// The Monday of a day's week.
pub fn week_of(date: NaiveDate) -> NaiveDate {
    let back = i64::from(date.weekday().num_days_from_monday());
    date.checked_sub_signed(TimeDelta::days(back))
        .unwrap_or(date)
}

/// Blocks of a day: most of them at the weekend; a week holds exactly the
/// keeper's hours.
fn room_of_day(date: NaiveDate, hours: f64) -> u32 {
    let week = (hours * 60.0 / BLOCK_MIN).round().clamp(0.0, 1e5);
    let working_day = (week * WEEKDAY_SHARE).floor();
    let weekend = week - 5.0 * working_day;
    let blocks = match date.weekday() {
        Weekday::Sat => (weekend / 2.0).ceil(),
        Weekday::Sun => (weekend / 2.0).floor(),
        _ => working_day,
    };
    blocks as u32
}

fn room_of(period: Period, hours: f64) -> u32 {
    days_in(period).map(|day| room_of_day(day, hours)).sum()
}

fn days_in(period: Period) -> impl Iterator<Item = NaiveDate> {
    period
        .first
        .iter_days()
        .take_while(move |day| *day <= period.last)
}

/// Which task waits for which.
struct Order {
    /// How many steps stand before each task.
    levels: Vec<usize>,
    /// First the task that comes before, then the one that waits.
    pairs: Vec<(usize, usize)>,
}

impl Order {
    fn before(&self, task: usize) -> impl Iterator<Item = usize> + '_ {
        let pairs = self.pairs.iter();
        pairs.filter(move |pair| pair.1 == task).map(|pair| pair.0)
    }

    fn is_awaited(&self, task: usize) -> bool {
        self.pairs.iter().any(|pair| pair.0 == task)
    }
}

/// The order that chores ask for, among tasks on the same trees whose windows
/// meet.
fn order_of_work(facts: &Facts, plan: &Plan) -> Order {
    let tasks = &plan.tasks;
    let mut pairs = Vec::new();
    for (after, task) in tasks.iter().enumerate().filter(|(_, task)| pending(task)) {
        let chore = facts.knowledge.chore(&task.chore);
        for first in chore.iter().flat_map(|chore| &chore.comes_after) {
            for (before, other) in tasks.iter().enumerate() {
                let meant = other.chore == *first && pending(other) && before != after;
                if meant && same_trees(task, other) && meet(other, task) {
                    pairs.push((before, after));
                }
            }
        }
    }
    let mut levels = vec![0_usize; tasks.len()];
    // A ring, which the catalogue has none of, ends with the rounds.
    for _ in 0..8 {
        for &(before, after) in &pairs {
            levels[after] = levels[after].max((levels[before] + 1).min(8));
        }
    }
    Order { levels, pairs }
}

fn pending(task: &Task) -> bool {
    matches!(task.state, State::Urgent | State::Open | State::Coming)
}

fn same_trees(a: &Task, b: &Task) -> bool {
    a.trees.iter().any(|id| b.trees.contains(id))
}

/// Whether the first may still go on when the second is open.
fn meet(first: &Task, second: &Task) -> bool {
    let (a, b) = (&first.window, &second.window);
    a.closes.spread.middle >= b.opens.spread.middle
        && a.opens.spread.middle <= b.closes.spread.middle
}

/// The turns of a task that are still to come, from the day on that work
/// before it leaves.
fn turns_of(facts: &Facts, plan: &Plan, at: usize, after: Option<NaiveDate>) -> Vec<Turn> {
    let mut turns = Vec::new();
    let Some(task) = plan.tasks.get(at).filter(|task| pending(task)) else {
        return turns;
    };
    let (Some((least, most)), Some(chore)) = (task.minutes, facts.knowledge.chore(&task.chore))
    else {
        return turns;
    };
    if by_frost(chore) {
        return turns;
    }
    let window = &task.window;
    let last = window.closes.spread.middle.min(plan.until);
    let opens = window.opens.spread.middle.max(plan.today);
    // An order that leaves no day is no order.
    let first = after
        .map(|day| opens.max(day + Days::new(LAG_DAYS)))
        .filter(|day| *day <= last)
        .unwrap_or(opens);
    if first > last {
        return turns;
    }
    let minutes = f64::midpoint(least, most);
    let best = window.best.spread.middle.clamp(first, last);
    let Some(every) = chore.every_days.filter(|days| *days >= 1.0) else {
        let blocks = blocks(minutes);
        turns.push(Turn {
            task: at,
            first,
            last,
            best,
            blocks,
            pressing: chore.after.is_some() && (last - best).num_days() < PRESSING_DAYS,
        });
        return turns;
    };
    let every = every.round() as u64;
    let starts: Vec<NaiveDate> = first
        .iter_days()
        .step_by(every as usize)
        .take_while(|day| *day <= last)
        .take(MOST_TURNS)
        .collect();
    // The minutes of a harvest are those of the whole crop.
    let share = if chore.kind == ChoreKind::Harvest {
        minutes / starts.len().max(1) as f64
    } else {
        minutes
    };
    for start in starts {
        let end = (start + Days::new(every - 1)).min(last);
        turns.push(Turn {
            task: at,
            first: start,
            last: end,
            best: start,
            blocks: blocks(share),
            pressing: false,
        });
    }
    turns
}

/// Whether a frost sets the day, not the keeper's hours: what is done before
/// it, and the count of buds after it.
fn by_frost(chore: &Chore) -> bool {
    chore
        .after
        .as_ref()
        .is_some_and(|after| match after.trigger {
            Trigger::FrostAhead { .. } => true,
            Trigger::FrostKill { .. } => after.closes_days - after.best_days < PRESSING_DAYS as f64,
            _ => false,
        })
}

fn blocks(minutes: f64) -> u32 {
    (minutes / BLOCK_MIN).ceil().clamp(1.0, 1e6) as u32
}

/// What a block left undone costs, by the worth of its chore.
fn worth(chore: &Chore) -> i64 {
    match chore.worth {
        0 | 1 => 1_500,
        2 => 2_200,
        3 => 3_300,
        4 => 5_000,
        _ => 8_000,
    }
}

fn job_of(
    facts: &Facts,
    prospect: &Prospect<'_>,
    plan: &Plan,
    turn: &Turn,
    periods: &[Period],
    room: &[u32],
) -> Job {
    let Some((task, chore)) = plan
        .tasks
        .get(turn.task)
        .and_then(|task| Some((task, facts.knowledge.chore(&task.chore)?)))
    else {
        return Job::default();
    };
    let judge = prospect.judge(chore, task);
    let from = periods.partition_point(|period| period.last < turn.first);
    let until = periods.partition_point(|period| period.first <= turn.last);
    let slots = (from..until)
        .filter_map(|at| slot(&judge, turn, at, *periods.get(at)?, *room.get(at)?))
        .collect();
    Job {
        blocks: turn.blocks,
        worth: worth(chore),
        slots,
    }
}

/// A period as a place for a turn; `None` where no day of it can suit.
fn slot(judge: &Judge<'_, '_>, turn: &Turn, at: usize, period: Period, room: u32) -> Option<Slot> {
    let (mut days, mut chance) = (0.0, 0.0);
    for day in days_in(period).filter(|day| (turn.first..=turn.last).contains(day)) {
        days += 1.0;
        chance += judge.on(day).chance;
    }
    if chance <= 0.0 || room == 0 {
        return None;
    }
    let all = f64::from(room) * chance
        / (period.last - period.first + TimeDelta::days(1)).num_days() as f64;
    let most = (all.ceil() as u32).clamp(1, room);
    let middle = period.first.max(turn.first).min(turn.last);
    let away = (turn.best - middle).num_days();
    // Too early counts from the best time to the opening, too late to the
    // close.
    let span = if away > 0 {
        (turn.best - turn.first).num_days()
    } else {
        (turn.last - turn.best).num_days()
    };
    let span = if turn.pressing { 1 } else { span.max(7) };
    let far = away.abs() as f64 / span as f64;
    let mut cost = (far * FAR_COST + (1.0 - chance / days) * RISK_COST) as i64;
    if period.first == period.last && turn.blocks > room {
        cost += SHORT_COST;
    }
    Some(Slot {
        period: at,
        cost,
        most,
    })
}

/// Writes the days into the tasks.
fn hand_out(
    facts: &Facts,
    prospect: &Prospect<'_>,
    plan: &mut Plan,
    flow: &Flow,
    turns: &[(Turn, usize)],
    periods: &[Period],
) {
    let mut fits: Vec<Fit> = vec![Fit::default(); plan.tasks.len()];
    for (turn, job) in turns {
        let Some(task) = plan.tasks.get(turn.task) else {
            continue;
        };
        let fit = &mut fits[turn.task];
        fit.left_over_min += f64::from(flow.undone(*job)) * BLOCK_MIN;
        let Some(chore) = facts.knowledge.chore(&task.chore) else {
            continue;
        };
        let judge = prospect.judge(chore, task);
        for (period, blocks) in flow.placed(*job) {
            let day = day_in(&judge, turn, periods[period]);
            let minutes = f64::from(blocks) * BLOCK_MIN;
            match fit.days.iter_mut().find(|(known, _)| *known == day) {
                Some((_, held)) => *held += minutes,
                None => fit.days.push((day, minutes)),
            }
        }
    }
    for (task, mut fit) in plan.tasks.iter_mut().zip(fits) {
        fit.days.sort_by_key(|(day, _)| *day);
        // A day that today's weather forbids is no day: those of the forecast
        // were chosen with it in view.
        if let Some((day, _)) = fit.days.first() {
            task.day = Some(*day);
        }
        task.fit = fit;
    }
}

/// The day of a period for a turn: the likeliest to suit, the weekend first.
fn day_in(judge: &Judge<'_, '_>, turn: &Turn, period: Period) -> NaiveDate {
    let rank = |day: NaiveDate| match day.weekday() {
        Weekday::Sat => 0.2,
        Weekday::Sun => 0.1,
        _ => 0.0,
    };
    let inside = days_in(period).filter(|day| (turn.first..=turn.last).contains(day));
    let best = inside
        .map(|day| (day, judge.on(day).chance + rank(day)))
        .reduce(|held, next| if next.1 > held.1 { next } else { held });
    best.map_or(period.first, |(day, _)| day)
}

/// The keeper's weeks: what was wanted, given, and left over.
fn load(
    plan: &Plan,
    flow: &Flow,
    turns: &[(Turn, usize)],
    periods: &[Period],
    hours: f64,
) -> Vec<WeekLoad> {
    let mut weeks: Vec<WeekLoad> = Vec::new();
    let relief = flow.relief();
    for (period, saved) in periods.iter().zip(&relief) {
        let monday = week_of(period.first);
        let room_min = f64::from(room_of(*period, hours)) * BLOCK_MIN;
        match weeks.last_mut().filter(|week| week.monday == monday) {
            Some(week) => {
                week.room_min += room_min;
                week.relief = week.relief.max(*saved);
            }
            None => weeks.push(WeekLoad {
                monday,
                room_min,
                wanted_min: 0.0,
                given_min: 0.0,
                left_over_min: 0.0,
                relief: *saved,
            }),
        }
    }
    let first = week_of(plan.today);
    let place = |day: NaiveDate| usize::try_from((day - first).num_days() / 7).ok();
    for (turn, job) in turns {
        if let Some(week) = place(turn.best).and_then(|at| weeks.get_mut(at)) {
            week.wanted_min += f64::from(turn.blocks) * BLOCK_MIN;
            week.left_over_min += f64::from(flow.undone(*job)) * BLOCK_MIN;
        }
    }
    for (day, minutes) in plan.tasks.iter().flat_map(|task| &task.fit.days) {
        if let Some(week) = place(*day).and_then(|at| weeks.get_mut(at)) {
            week.given_min += minutes;
        }
    }
    weeks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, m, d).unwrap()
    }

    #[test]
    fn a_week_holds_the_hours_and_most_of_them_at_its_end() {
        for hours in [0.5, 3.0, 6.0, 10.0, 40.0] {
            let monday = date(4, 20);
            let week = Period {
                first: monday,
                last: monday + Days::new(6),
            };
            assert_eq!(f64::from(room_of(week, hours)) * BLOCK_MIN, hours * 60.0);
            let weekend = room_of_day(date(4, 25), hours) + room_of_day(date(4, 26), hours);
            assert!(weekend * 2 > room_of(week, hours), "{hours}");
        }
    }

    #[test]
    fn days_first_then_weeks_from_monday() {
        let periods = periods(date(4, 22), date(12, 31));
        assert_eq!(periods[0].first, date(4, 22));
        assert_eq!(periods[11].last, date(5, 3), "the Sunday of the next week");
        assert_eq!(periods[12].first, date(5, 4));
        assert_eq!(periods[12].last, date(5, 10));
        for pair in periods.windows(2) {
            assert_eq!(pair[0].last + Days::new(1), pair[1].first);
        }
    }
}
