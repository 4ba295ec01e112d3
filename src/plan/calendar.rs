//! The calendar: every chore set on the season, for the trees that need it.

mod joining;
mod making;
mod notes;
mod standing;

pub(super) use joining::absorb;
pub(super) use standing::take_off;

use super::days::share_out::{self, Fit, WeekLoad};
use super::days::{Hold, Prospect};
use super::event_id;
use super::occasions;
use super::sprays;
use super::window::Window;
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, ChoreKind};
use crate::facts::preferences::Sprays;
use crate::season::Season;
use crate::season::evidence::Evidence;
use crate::season::frost_toll::FrostToll;
use chrono::{Days, NaiveDate};
use joining::in_all;
use making::tasks_of;
use notes::{leave_out_sprays, lost_crops, too_much};
use standing::settle;
use std::collections::HashMap;

/// How far the calendar looks ahead, days.
pub const HORIZON_DAYS: u64 = 365;

/// What is to be done over the coming year, in the order in which it opens.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The day it was made for.
    pub today: NaiveDate,
    /// The last day it looks at.
    pub until: NaiveDate,
    /// The tasks.
    pub tasks: Vec<Task>,
    /// What the keeper should know besides.
    pub notes: Vec<Note>,
    /// The keeper's weeks: time there is, time wanted, time given out. Empty
    /// where the keeper has named no hours.
    pub load: Vec<WeekLoad>,
}

/// One chore for the trees of one crop in one season.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Stable name: chore, crop, season, and the occurrence if it can recur.
    pub id: String,
    /// The chore's id.
    pub chore: String,
    /// What sort of work it is.
    pub kind: ChoreKind,
    /// The year in which the season's bloom falls.
    pub season: i32,
    /// The crop's id, if it is for one crop.
    pub crop: Option<String>,
    /// `early` or `late`, where groups of one crop are kept apart.
    pub group: Option<String>,
    /// Ids of trees or junipers.
    pub trees: Vec<String>,
    /// How many plants they are.
    pub plants: u32,
    /// When.
    pub window: Window,
    /// How it stands today.
    pub state: State,
    /// The day to do it, as far as one can tell: the first of those in `fit`,
    /// or the first that the guards allow.
    pub day: Option<NaiveDate>,
    /// Its share of the keeper's time.
    pub fit: Fit,
    /// Why it must wait, if it must.
    pub hold: Option<Hold>,
    /// Why at all, and why these trees.
    pub reasons: Vec<Evidence>,
    /// Ids of cautions.
    pub cautions: Vec<String>,
    /// Ids of active ingredients that may be considered.
    pub materials: Vec<String>,
    /// Rough minutes for all its plants, least and most.
    pub minutes: Option<(f64, f64)>,
    /// How much is lost by missing it, 1 to 5.
    pub worth: u8,
}

/// How a task stands today.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// It cannot wait: the event is on, or the last days run.
    Urgent,
    /// Its window is open, as likely as not or more.
    Open,
    /// It opens later.
    Coming,
    /// The keeper has done it.
    Done,
    /// The keeper has put it aside for the season.
    Skipped,
    /// Its window has closed without a word.
    Missed,
}

impl State {
    /// The word used in output.
    pub fn word(self) -> &'static str {
        match self {
            State::Urgent => "now",
            State::Open => "open",
            State::Coming => "coming",
            State::Done => "done",
            State::Skipped => "skipped",
            State::Missed => "missed",
        }
    }
}

/// What the keeper should know besides the tasks.
#[derive(Clone, Debug, PartialEq)]
pub enum Note {
    /// Sprays left out because the keeper wants none, or only organic ones.
    SpraysLeftOut {
        /// How many tasks.
        tasks: usize,
        /// The keeper's wish.
        wish: Sprays,
    },
    /// Planting season advised against here.
    Unplanted {
        /// Names of wanted plantings that no season suits.
        crop: String,
    },
    /// The work does not fit into the keeper's hours.
    TooMuch {
        /// The keeper's hours a week.
        hours_per_week: f64,
        /// Minutes wanted over the coming year.
        wanted_min: f64,
        /// Minutes that found no place.
        left_over_min: f64,
        /// The tasks with most of them: id and minutes, most first.
        tasks: Vec<(String, f64)>,
        /// Mondays of the weeks that are too short, with the minutes.
        weeks: Vec<(NaiveDate, f64)>,
        /// The Monday of the week in which an hour more would do most.
        relief: Option<NaiveDate>,
    },
    /// Frost has taken much of a crop: work for its sake is dropped.
    CropLost {
        /// The crop's id.
        crop: String,
        /// Share of a full crop left, 0 to 1.
        left: f64,
        /// The least and the most that it may be.
        span: (f64, f64),
        /// The nights that took it.
        toll: FrostToll,
    },
}

/// Plans the year that follows `today`.
pub fn make(facts: &Facts, season: &Season, today: NaiveDate) -> Plan {
    let until = today + Days::new(HORIZON_DAYS);
    let mut plan = Plan {
        today,
        until,
        tasks: Vec::new(),
        notes: Vec::new(),
        load: Vec::new(),
    };
    for &year in &season.years {
        for chore in wanted_chores(facts) {
            let mut tasks = tasks_of(facts, season, chore, year);
            event_id::keep_noted(facts, chore, &mut tasks);
            tasks.retain(|task| !occasions::rained(facts, chore, task, today));
            plan.tasks
                .extend(occasions::one_at_a_time(facts, chore, tasks));
        }
    }
    leave_out_sprays(facts, &mut plan);
    plan.notes.extend(lost_crops(season, today));
    let places = places(facts);
    let prospect = Prospect::new(facts, season, today);
    for task in &mut plan.tasks {
        in_register_order(&places, &mut task.trees);
        in_all(facts, task);
        settle(facts, &prospect, task, today);
    }
    plan.tasks.retain(|task| within(task, today, until));
    plan.tasks.sort_by(|a, b| order(a).cmp(&order(b)));
    share_out::share_out(facts, &prospect, &mut plan);
    sprays::limit(facts, season, &prospect, &mut plan);
    plan.tasks
        .iter_mut()
        .for_each(|task| occasions::can_wait(task, today));
    plan.notes.extend(too_much(facts, &plan));
    plan
}

fn wanted_chores(facts: &Facts) -> impl Iterator<Item = &Chore> {
    facts
        .knowledge
        .chores
        .iter()
        .filter(|chore| !facts.preferences.silent_chores.contains(&chore.id))
}

/// Whether a task belongs on the calendar of the year from `today` on.
fn within(task: &Task, today: NaiveDate, until: NaiveDate) -> bool {
    let window = &task.window;
    let over = match task.state {
        State::Done | State::Skipped => window.closes.spread.late + Days::new(7) < today,
        _ => window.closes.spread.late < today,
    };
    !over && window.opens.spread.middle <= until
}

/// What is open comes first, then what opens first; the worthier of two first.
fn order(task: &Task) -> (NaiveDate, NaiveDate, u8, &str) {
    (
        task.window.opens.spread.middle,
        task.window.closes.spread.middle,
        5 - task.worth.min(5),
        &task.id,
    )
}

/// Where each tree stands in the register, by id.
type Places<'f> = HashMap<&'f str, usize>;

fn places(facts: &Facts) -> Places<'_> {
    let trees = facts.register.trees.iter().enumerate();
    trees.map(|(at, tree)| (tree.id.as_str(), at)).collect()
}

/// Ids in the order of the register; others keep their place behind them.
fn in_register_order(places: &Places<'_>, ids: &mut [String]) {
    ids.sort_by_key(|id| places.get(id.as_str()).copied().unwrap_or(usize::MAX));
}
