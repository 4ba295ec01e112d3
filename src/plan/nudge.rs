//! What is worth a word today: the nudges of a plan.
//!
//! Rules of reference/algorithms.md 13.1 to 13.6 (common practice, our
//! judgement): a window's opening, its best day, a last call; what cannot wait
//! alone and at once; things to have at hand before. At most one of each kind
//! for a task and its season, and a window that moves by less than
//! [`NEWS_DAYS`] is no news.

mod events; // what an event sets off: told once for each event
mod key; // the name of a nudge that never changes
mod said; // what was told before
mod windows; // openings, best days, last calls

pub use key::key;
pub use said::{Said, Subject, Told};

use super::calendar::{Note, Plan, State, Task, take_off};
use super::changes::{self, Change, NEWS_DAYS, What};
use super::days::Prospect;
use crate::facts::Facts;
use crate::season::Season;
use crate::season::evidence::FrostNight;
use crate::season::frost_toll::FrostToll;
use chrono::{NaiveDate, TimeDelta};
use std::borrow::Cow;

/// What sort of word it is, in the order in which they are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// It cannot wait: frost tonight, an infection that just ended.
    Urgent,
    /// A killing frost has changed the calendar.
    Replan,
    /// The last days of a window.
    LastCall,
    /// A good day for it, now that its best time has come.
    BestDay,
    /// The frost that was warned of did not come.
    AllClear,
    /// The window is open.
    Opening,
    /// What was told has moved.
    Moved,
    /// Things to buy, order or lay out.
    Ready,
    /// The window has closed without a word from the keeper.
    Over,
}

impl Kind {
    /// Every kind with the word that stands in files.
    pub const ALL: [(Kind, &'static str); 9] = [
        (Kind::Urgent, "urgent"),
        (Kind::Replan, "replan"),
        (Kind::LastCall, "last-call"),
        (Kind::BestDay, "best-day"),
        (Kind::AllClear, "all-clear"),
        (Kind::Opening, "opening"),
        (Kind::Moved, "moved"),
        (Kind::Ready, "ready"),
        (Kind::Over, "over"),
    ];

    /// The word that stands in files.
    pub fn word(self) -> &'static str {
        Kind::ALL
            .iter()
            .find(|(kind, _)| *kind == self)
            .map_or("opening", |(_, word)| word)
    }

    /// The kind of a word.
    pub fn read(word: &str) -> Option<Self> {
        Kind::ALL
            .iter()
            .find(|(_, known)| *known == word)
            .map(|(kind, _)| *kind)
    }
}

/// One thing to be told.
#[derive(Clone, Debug, PartialEq)]
pub struct Nudge {
    /// What sort of word it is.
    pub kind: Kind,
    /// What will be noted as told, with its key.
    pub told: Told,
    /// What it is about.
    pub about: About,
    /// Whether it can wait for other news, some days.
    pub patient: bool,
}

/// What a nudge is about.
#[derive(Clone, Debug, PartialEq)]
pub enum About {
    /// A task of the calendar.
    Task(Box<Task>),
    /// Frost in the coming night, crop by crop, the worst first.
    Frost(Vec<FrostNight>),
    /// A frost warned of that did not come.
    AllClear {
        /// The morning it was warned of.
        date: NaiveDate,
        /// The low that was seen, °C.
        low_c: f64,
    },
    /// What a killing frost changed, line by line.
    Replan {
        /// The crops that it took fruit of, those with least left first.
        lost: Vec<Lost>,
        /// The changes; tasks are named by id.
        changes: Vec<(Change, Task)>,
    },
}

/// What frost has left of a crop.
#[derive(Clone, Debug, PartialEq)]
pub struct Lost {
    /// The crop's id.
    pub crop: String,
    /// Share of a full crop left, 0 to 1.
    pub left: f64,
    /// The least and the most that it may be.
    pub span: (f64, f64),
    /// The nights that took the rest.
    pub toll: FrostToll,
}

/// Days without a message after which what is patient is told by itself.
const PATIENCE_DAYS: i64 = 5;

/// Days of silence after which everything open is told as on the first day:
/// the first lines and a count, the rest not piecemeal on later days.
const LONG_SILENCE_DAYS: i64 = 21;

/// Most lines of a digest; 13.5.
pub const MOST_LINES: usize = 7;

/// Days after a killing frost in which its new calendar is told.
const REPLAN_DAYS: i64 = 10;

/// Days within which killing frosts are one event.
const ONE_FROST_DAYS: i64 = 5;

/// A digest's nudges in the order in which they are told.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Digest {
    /// Lines, each of one kind and one chore.
    pub lines: Vec<Vec<Nudge>>,
    /// Those left over for which there is no line today.
    pub more: Vec<Vec<Nudge>>,
    /// Whether those left over count as told, by their number.
    pub more_is_told: bool,
}

impl Digest {
    /// All that counts as told once it is sent.
    pub fn told(&self) -> impl Iterator<Item = &Told> {
        let more: &[Vec<Nudge>] = if self.more_is_told { &self.more } else { &[] };
        self.lines
            .iter()
            .chain(more)
            .flatten()
            .map(|nudge| &nudge.told)
    }
}

/// What cannot wait: alone and at once.
pub fn urgent(facts: &Facts, season: &Season, plan: &Plan, said: &Said) -> Vec<Nudge> {
    let mut found: Vec<Nudge> = events::frost_tonight(facts, season, plan.today, said)
        .into_iter()
        .collect();
    for task in &plan.tasks {
        let task = &awake(facts, task, plan.today);
        found.extend(events::infection(facts, task, plan.today, said));
    }
    found
}

/// The morning's digest. `before` is the calendar as it was before a killing
/// frost, if [`frost_to_tell`] names one.
pub fn digest(
    facts: &Facts,
    season: &Season,
    plan: &Plan,
    before: Option<&Plan>,
    said: &Said,
) -> Digest {
    let today = plan.today;
    let mut found = Vec::new();
    found.extend(replan(plan, before, said));
    found.extend(events::all_clear(facts, season, today, said));
    let prospect = Prospect::new(facts, season, today);
    for task in &plan.tasks {
        let task = &awake(facts, task, today);
        found.extend(events::opening(facts, task, today, said));
        found.extend(windows::of(facts, &prospect, task, today, said));
    }
    arranged(found, said, today)
}

/// Groups what is due by kind and chore, and lets the patient wait.
fn arranged(found: Vec<Nudge>, said: &Said, today: NaiveDate) -> Digest {
    let silence = said.silence_days(today);
    let pressing = found.iter().any(|nudge| !nudge.patient);
    let waited = silence.is_none_or(|days| days >= PATIENCE_DAYS)
        && found.iter().any(|nudge| nudge.kind != Kind::Over);
    if !pressing && !waited {
        return Digest::default();
    }
    let mut lines: Vec<Vec<Nudge>> = Vec::new();
    for nudge in found {
        let same = lines.iter_mut().find(|line| {
            line.first().is_some_and(|held| {
                held.kind == nudge.kind
                    && (matches!(nudge.kind, Kind::Ready | Kind::Over)
                        || held.told.subject.chore == nudge.told.subject.chore)
            })
        });
        match same {
            Some(line) => line.push(nudge),
            None => lines.push(vec![nudge]),
        }
    }
    lines.sort_by_key(|line| {
        let kind = line.first().map_or(Kind::Over, |nudge| nudge.kind);
        let worth = line.iter().map(Nudge::worth).max().unwrap_or(0);
        let closes = line.iter().map(|nudge| nudge.told.until).min();
        (kind, 5 - worth.min(5), closes)
    });
    let more = lines.split_off(lines.len().min(MOST_LINES));
    Digest {
        lines,
        more,
        more_is_told: silence.is_none_or(|days| days >= LONG_SILENCE_DAYS),
    }
}

/// The night of a killing frost whose new calendar was not told yet.
pub fn frost_to_tell(plan: &Plan, said: &Said) -> Option<NaiveDate> {
    let nights = plan.notes.iter().filter_map(|note| match note {
        Note::CropLost { toll, .. } => Some(toll.worst().date),
        _ => None,
    });
    nights
        .filter(|date| {
            let age = (plan.today - *date).num_days();
            let known = said.told.iter().any(|told| {
                told.kind == Kind::Replan && (told.from - *date).num_days().abs() <= ONE_FROST_DAYS
            });
            (0..=REPLAN_DAYS).contains(&age) && !known
        })
        .max()
}

/// One word on all that a killing frost changed.
fn replan(plan: &Plan, before: Option<&Plan>, said: &Said) -> Option<Nudge> {
    let date = frost_to_tell(plan, said)?;
    let mut lost: Vec<Lost> = plan
        .notes
        .iter()
        .filter_map(|note| match note {
            Note::CropLost {
                crop,
                left,
                span,
                toll,
            } if (toll.worst().date - date).num_days().abs() <= ONE_FROST_DAYS => Some(Lost {
                crop: crop.clone(),
                left: *left,
                span: *span,
                toll: toll.clone(),
            }),
            _ => None,
        })
        .collect();
    lost.sort_by(|a, b| a.left.total_cmp(&b.left));
    let changes = before.map_or_else(Vec::new, |before| by_frost(before, plan, &lost));
    Some(Nudge {
        kind: Kind::Replan,
        told: Told::new(
            Kind::Replan,
            Subject::named("frost-night", date),
            0,
            plan.today,
            (date, date),
        ),
        about: About::Replan { lost, changes },
        patient: false,
    })
}

/// The changes that a frost made, not those of a changed forecast: what is new
/// or gone for a crop that it took, and what moved by the rule's days.
fn by_frost(before: &Plan, after: &Plan, lost: &[Lost]) -> Vec<(Change, Task)> {
    let task = |id: &str| {
        let mut both = after.tasks.iter().chain(&before.tasks);
        both.find(|task| task.id == id).cloned()
    };
    changes::changes(before, after)
        .into_iter()
        .filter_map(|change| Some((task(&change.task)?, change)))
        .filter(|(task, change)| {
            let hit = |crop: &String| lost.iter().any(|lost| lost.crop == *crop);
            match change.what {
                What::Dropped => task.crop.as_ref().is_some_and(hit),
                What::Added { .. } => {
                    task.chore != events::FROST_CHORE && change.because.iter().any(events::is_frost)
                }
                What::Moved { closes, .. } => {
                    task.crop.as_ref().is_some_and(hit)
                        && (closes.1 - closes.0).num_days().abs() >= NEWS_DAYS
                }
            }
        })
        .map(|(task, change)| (change, task))
        .collect()
}

impl Nudge {
    /// A nudge about a task.
    fn of_task(kind: Kind, task: &Task, sequence: u32, today: NaiveDate, patient: bool) -> Self {
        let window = &task.window;
        Nudge {
            kind,
            told: Told::new(
                kind,
                Subject::of(task),
                sequence,
                today,
                (window.opens.spread.middle, window.closes.spread.middle),
            ),
            about: About::Task(Box::new(task.clone())),
            patient,
        }
    }

    /// How much is lost by missing it, 1 to 5.
    pub fn worth(&self) -> u8 {
        match &self.about {
            About::Task(task) => task.worth,
            _ => 5,
        }
    }

    /// Whether it is a last call that was made before.
    pub fn is_said_again(&self) -> bool {
        self.kind == Kind::LastCall && self.told.sequence >= windows::AGAIN
    }

    /// The task, where it is about one.
    pub fn task(&self) -> Option<&Task> {
        match &self.about {
            About::Task(task) => Some(task),
            _ => None,
        }
    }
}

/// Whether the keeper has put a task off beyond `today`, with all its trees.
fn snoozed(facts: &Facts, task: &Task, today: NaiveDate) -> bool {
    if task.trees.is_empty() {
        return is_off(facts, task, None, today);
    }
    let off = |id: &String| is_off(facts, task, Some(id), today);
    task.trees.iter().all(off)
}

/// Whether a task, or one tree of it, is put off beyond `today`: the last word
/// on the whole or on the tree counts.
fn is_off(facts: &Facts, task: &Task, tree: Option<&String>, today: NaiveDate) -> bool {
    let mut noted = facts.journal.snoozes.iter().rev();
    let last = noted.find(|noted| {
        let about = noted.trees.is_empty() || tree.is_none_or(|id| noted.trees.contains(id));
        noted.what.task == task.id && noted.date <= today && about
    });
    last.is_some_and(|noted| noted.what.until > today)
}

/// The task without the trees that are put off, where others of it are not.
fn awake<'t>(facts: &Facts, task: &'t Task, today: NaiveDate) -> Cow<'t, Task> {
    let stay = |id: &&String| !is_off(facts, task, Some(id), today);
    let left: Vec<String> = task.trees.iter().filter(stay).cloned().collect();
    if left.is_empty() || left.len() == task.trees.len() {
        return Cow::Borrowed(task);
    }
    let mut awake = task.clone();
    take_off(facts, &mut awake, left);
    Cow::Owned(awake)
}

/// Until when a task may be put off: its latest close. Later is refused, since
/// nothing would be left to remind of.
pub fn latest_snooze(task: &Task) -> NaiveDate {
    task.window.closes.spread.late
}

/// Whether a task is still to be done.
fn pending(task: &Task) -> bool {
    matches!(task.state, State::Urgent | State::Open | State::Coming)
}

/// `date` plus days, without a fault at the end of time.
fn plus(date: NaiveDate, days: i64) -> NaiveDate {
    date.checked_add_signed(TimeDelta::days(days))
        .unwrap_or(date)
}
