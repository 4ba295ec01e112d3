//! Openings, best days, last calls, things to have ready: the nudges of a task
//! with a window.

use super::{Kind, Nudge, Said, Subject, Told, pending, plus, snoozed};
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, ChoreKind};
use crate::plan::calendar::{State, Task};
use crate::plan::changes::NEWS_DAYS;
use crate::plan::days::Prospect;
use chrono::NaiveDate;

/// Days before the close on which the last call is made.
const LAST_DAYS: i64 = 3;

/// Windows shorter than this are told at their opening alone, with the close,
/// unless much hangs on them.
const SHORT_DAYS: i64 = 8;

/// An opening of a window at least this long can wait for other news.
const LONG_DAYS: i64 = 14;

/// Least days between a word on a task and its last call.
const REST_DAYS: i64 = 3;

/// Least days between a word on a task and its best day.
const BEST_REST_DAYS: i64 = 7;

/// Chance of a suitable day below which the last call is made; 13.1.
const ENOUGH: f64 = 0.7;

/// Chance of other suitable days below which a good day presses; 13.1.
const OTHERS: f64 = 0.9;

/// How many other days that chance is about.
const OTHER_DAYS: usize = 2;

/// Added to the number of a last call that is said again; no turn comes near
/// it.
pub(super) const AGAIN: u32 = 1 << 16;

/// Worth below which a last call is not said again.
const LOUD: u8 = 5;

/// Worth below which a task is told once only.
const MINOR: u8 = 3;

/// Most moves that are told of one task.
const MOST_MOVES: u32 = 2;

/// Days from one word on a task to the news that it moved.
const MOVE_REST_DAYS: i64 = 7;

/// What is due of a task today; at most one thing.
pub(super) fn of(
    facts: &Facts,
    prospect: &Prospect<'_>,
    task: &Task,
    today: NaiveDate,
    said: &Said,
) -> Option<Nudge> {
    let chore = facts.knowledge.chore(&task.chore)?;
    if chore.after.is_some() {
        return None;
    }
    let subject = Subject::of(task);
    let turn = turn(facts, chore, task);
    let told: Vec<&Told> = said.of(&subject).collect();
    if task.state == State::Missed {
        return over(task, &told, turn, today);
    }
    if !pending(task) {
        return None;
    }
    let now = Now {
        prospect,
        task,
        told: &told,
        turn,
        today,
    };
    now.last_call(chore).or_else(|| {
        if snoozed(facts, task, today) {
            return None;
        }
        now.moved()
            .or_else(|| now.opening())
            .or_else(|| now.best_day(chore))
            .or_else(|| now.ready(chore))
    })
}

/// How often what comes again was done: each turn is told anew.
fn turn(facts: &Facts, chore: &Chore, task: &Task) -> u32 {
    if chore.every_days.is_none() {
        return 0;
    }
    let noted = facts.journal.chores.iter();
    let done = noted.filter(|noted| noted.task == task.id && noted.done);
    u32::try_from(done.count()).unwrap_or(u32::MAX)
}

/// A task on a day, with what was told of it.
struct Now<'a> {
    prospect: &'a Prospect<'a>,
    task: &'a Task,
    told: &'a [&'a Told],
    turn: u32,
    today: NaiveDate,
}

impl Now<'_> {
    fn was(&self, kinds: &[Kind]) -> bool {
        self.last_of(kinds).is_some()
    }

    fn last_of(&self, kinds: &[Kind]) -> Option<&Told> {
        let mut found = self.told.iter().rev();
        let found = found.find(|told| {
            kinds.contains(&told.kind) && (told.kind == Kind::Moved || told.sequence == self.turn)
        });
        found.copied()
    }

    /// Days since the last word on it.
    fn rest(&self) -> i64 {
        let last = self.told.iter().map(|told| told.on).max();
        last.map_or(i64::MAX, |on| (self.today - on).num_days())
    }

    fn open(&self) -> bool {
        matches!(self.task.state, State::Open | State::Urgent)
    }

    fn closes(&self) -> NaiveDate {
        self.task.window.closes.spread.middle
    }

    fn length(&self) -> i64 {
        (self.closes() - self.task.window.opens.spread.middle).num_days()
    }

    fn nudge(&self, kind: Kind, patient: bool) -> Option<Nudge> {
        let turn = self.turn;
        Some(Nudge::of_task(kind, self.task, turn, self.today, patient))
    }

    fn last_call(&self, chore: &Chore) -> Option<Nudge> {
        let left = (self.closes() - self.today).num_days();
        // Days that suit may run out before the window does.
        let scarce = !chore.guards.is_empty()
            && left <= LONG_DAYS
            && self.prospect.enough(self.task, self.today, 1) < ENOUGH;
        let minor = self.task.worth < MINOR || (self.length() < SHORT_DAYS && self.task.worth < 5);
        if !self.open() || !(left <= LAST_DAYS || scarce) {
            return None;
        }
        if self.was(&[Kind::LastCall]) {
            return self.last_call_again();
        }
        if self.told.is_empty() {
            // It was never told: the last days are its opening too.
            return self.nudge(Kind::LastCall, minor);
        }
        if minor || self.rest() <= REST_DAYS {
            return None;
        }
        self.nudge(Kind::LastCall, false)
    }

    /// The last call once more, on the last day that suits; 13.1.
    fn last_call_again(&self) -> Option<Nudge> {
        let again = self.turn.saturating_add(AGAIN);
        let mut told = self.told.iter();
        let known = told.any(|told| told.kind == Kind::LastCall && told.sequence == again);
        let tomorrow = plus(self.today, 1);
        let last = self.task.worth >= LOUD
            && self.prospect.suits(self.task, self.today).likely()
            && self.prospect.enough(self.task, tomorrow, 1) < ENOUGH;
        (last && !known && self.rest() > 0)
            .then(|| Nudge::of_task(Kind::LastCall, self.task, again, self.today, false))
    }

    fn opening(&self) -> Option<Nudge> {
        let early = [Kind::Opening, Kind::BestDay, Kind::LastCall];
        if !self.open() || self.was(&early) {
            return None;
        }
        // What must wait today is told when its day comes.
        let waits = self.task.hold.is_some() && self.task.day.is_none_or(|day| day > self.today);
        if waits && (self.closes() - self.today).num_days() > SHORT_DAYS {
            return None;
        }
        self.nudge(
            Kind::Opening,
            self.length() >= LONG_DAYS || self.task.worth < MINOR,
        )
    }

    fn best_day(&self, chore: &Chore) -> Option<Nudge> {
        // Looking, writing and leaving alone have no better day than another.
        let dull = matches!(
            chore.kind,
            ChoreKind::Ordering | ChoreKind::Records | ChoreKind::Watch
        ) || (chore.kind == ChoreKind::Protection && chore.minutes.is_none());
        let task = self.task;
        if dull || task.worth < MINOR || self.length() < SHORT_DAYS || !self.open() {
            return None;
        }
        let early = [Kind::BestDay, Kind::LastCall];
        if self.was(&early) || self.rest() < BEST_REST_DAYS {
            return None;
        }
        let tomorrow = plus(self.today, 1);
        let day = task.day?;
        let best = task.window.best.spread.middle;
        if day > tomorrow || tomorrow < best {
            return None;
        }
        // It presses only where few other days will suit.
        let after = plus(day, 1);
        let patient =
            chore.guards.is_empty() || self.prospect.enough(task, after, OTHER_DAYS) >= OTHERS;
        self.nudge(Kind::BestDay, patient)
    }

    /// Things to have at hand: materials, tools, orders.
    fn ready(&self, chore: &Chore) -> Option<Nudge> {
        let task = self.task;
        let things = !task.materials.is_empty()
            || matches!(chore.kind, ChoreKind::Planting | ChoreKind::Ordering);
        if task.state != State::Coming || !things || task.worth < MINOR || !self.told.is_empty() {
            return None;
        }
        let from = plus(
            task.window.opens.spread.early,
            -(chore.lead_days.max(0.0) as i64),
        );
        (from <= self.today)
            .then(|| self.nudge(Kind::Ready, true))
            .flatten()
    }

    /// What was told as open has moved away, or closes sooner.
    fn moved(&self) -> Option<Nudge> {
        let last = self.last_of(&[Kind::Opening, Kind::BestDay, Kind::Moved])?;
        let moves = self.told.iter().filter(|told| told.kind == Kind::Moved);
        let moves = u32::try_from(moves.count()).unwrap_or(u32::MAX);
        if moves >= MOST_MOVES || self.rest() < MOVE_REST_DAYS {
            return None;
        }
        let opens = self.task.window.opens.spread.middle;
        let away = self.task.state == State::Coming
            && (opens - self.today).num_days() >= NEWS_DAYS
            && (opens - last.from).num_days() >= NEWS_DAYS;
        let sooner = (last.until - self.closes()).num_days() >= NEWS_DAYS
            && (self.closes() - self.today).num_days() <= 2 * LONG_DAYS;
        (away || sooner).then(|| Nudge::of_task(Kind::Moved, self.task, moves, self.today, true))
    }
}

/// A window that closed without a word; told once, beside other news.
fn over(task: &Task, told: &[&Told], turn: u32, today: NaiveDate) -> Option<Nudge> {
    let spoken = told
        .iter()
        .any(|told| matches!(told.kind, Kind::Opening | Kind::BestDay | Kind::LastCall));
    let known = told.iter().any(|told| told.kind == Kind::Over);
    (spoken && !known && task.worth >= MINOR)
        .then(|| Nudge::of_task(Kind::Over, task, turn, today, true))
}
