//! The calendar: every chore set on the season, for the trees that need it.

use super::days::share_out::{self, Fit, WeekLoad};
use super::days::{self, Hold, Prospect};
use super::occasions;
use super::sprays;
use super::trees::{self, Chosen};
use super::window::{self, Bound, Window};
use crate::facts::Facts;
use crate::facts::journal::ChoreNoted;
use crate::facts::knowledge::{After, Chore, ChoreKind, Material, Trigger};
use crate::facts::preferences::Sprays;
use crate::season::evidence::{Evidence, FrostNight};
use crate::season::spread::{Basis, Spread};
use crate::season::{Event, Group, Season};
use chrono::{Datelike, Days, NaiveDate, TimeDelta};
use std::collections::HashMap;

/// How far the calendar looks ahead, days.
pub const HORIZON_DAYS: u64 = 365;

/// Two groups of one crop whose windows open this many days apart or less are
/// done together.
const TOGETHER_DAYS: i64 = 4;

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
        /// The night that took it.
        night: FrostNight,
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

/// All tasks of a chore in one season.
fn tasks_of(facts: &Facts, season: &Season, chore: &Chore, year: i32) -> Vec<Task> {
    if !trees::zone_fits(facts, chore) {
        return Vec::new();
    }
    if chore.needs.on_junipers {
        let Some(group) = season.groups.first() else {
            return Vec::new();
        };
        let chosen = trees::choose_junipers(facts, chore);
        return chosen
            .into_iter()
            .flat_map(|chosen| {
                with_windows(facts, season, chore, Part::whole(group, year), &chosen)
            })
            .collect();
    }
    if chore.needs.crops.is_empty() {
        let Some(group) = season.groups.first() else {
            return Vec::new();
        };
        let whole = Chosen::default();
        return with_windows(facts, season, chore, Part::whole(group, year), &whole);
    }
    if !chore.needs.per_crop {
        return together(facts, season, chore, year);
    }
    let mut tasks = Vec::new();
    for crop in &chore.needs.crops {
        let mut found: Vec<(&Group, Chosen)> = season
            .groups
            .iter()
            .filter(|group| group.crop == *crop)
            .filter_map(|group| {
                trees::choose(facts, season, chore, group, year).map(|chosen| (group, chosen))
            })
            .collect();
        join_near_groups(chore, season, year, &mut found);
        let apart = found.len() > 1;
        for (group, chosen) in &found {
            let label = apart.then(|| name_of(group)).flatten();
            let part = Part {
                crop: Some(crop),
                label: label.as_deref(),
                ..Part::whole(group, year)
            };
            let found = with_windows(facts, season, chore, part, chosen);
            found
                .into_iter()
                .for_each(|task| put(facts, &mut tasks, task));
        }
    }
    tasks
}

/// What sets a group's task apart from the crop's others: its cultivar, or
/// early and late.
fn name_of(group: &Group) -> Option<String> {
    let own = group.cultivar.clone();
    own.or_else(|| group.label().map(str::to_owned))
}

/// Adds a task; one of the same name takes it in, so that a name is unique.
fn put(facts: &Facts, tasks: &mut Vec<Task>, task: Task) {
    match tasks.iter_mut().find(|held| held.id == task.id) {
        Some(held) => {
            widen(&mut held.window, &task.window);
            absorb(facts, held, task);
        }
        None => tasks.push(task),
    }
}

/// A chore that is done for all its crops at once. One that waits for an
/// event takes the trees that the event touches, and tells of each crop.
fn together(facts: &Facts, season: &Season, chore: &Chore, year: i32) -> Vec<Task> {
    let mut tasks: Vec<Task> = Vec::new();
    for group in season
        .groups
        .iter()
        .filter(|group| chore.needs.crops.contains(&group.crop))
    {
        let Some(chosen) = trees::choose(facts, season, chore, group, year) else {
            continue;
        };
        for task in with_windows(facts, season, chore, Part::whole(group, year), &chosen) {
            match tasks.first_mut() {
                Some(held) if chore.after.is_none() => {
                    widen(&mut held.window, &task.window);
                    absorb(facts, held, task);
                }
                _ => join_event(facts, &mut tasks, task),
            }
        }
    }
    if chore.after.is_some() {
        let stem = stem(chore, None, None, year);
        tasks.sort_by_key(|task| task.window.opens.spread.middle);
        for (index, task) in tasks.iter_mut().enumerate() {
            task.id = format!("{stem}-{}", index + 1);
        }
    }
    tasks
}

/// Opens a window with the earlier of two and closes it with the later,
/// quantile by quantile.
fn widen(window: &mut Window, other: &Window) {
    let opens = window.opens.spread.earlier(other.opens.spread);
    let closes = window.closes.spread.later(other.closes.spread);
    if other.opens.spread.middle < window.opens.spread.middle {
        window.opens = other.opens.clone();
        window.best = other.best.clone();
    }
    if other.closes.spread.middle > window.closes.spread.middle {
        window.closes = other.closes.clone();
    }
    window.opens.spread = opens;
    window.closes.spread = closes;
}

/// Days within which events of several crops are one.
const ONE_EVENT_DAYS: i64 = 3;

/// Joins a task of one group to that of another which the same event set off.
fn join_event(facts: &Facts, tasks: &mut Vec<Task>, task: Task) {
    let opens = task.window.opens.spread.middle;
    let same = tasks
        .iter_mut()
        .find(|held| (held.window.opens.spread.middle - opens).num_days().abs() <= ONE_EVENT_DAYS);
    let Some(held) = same else {
        tasks.push(task);
        return;
    };
    absorb(facts, held, task);
}

/// Adds the trees, minutes and reasons of one task to another, each tree and
/// each reason once.
pub(super) fn absorb(facts: &Facts, held: &mut Task, task: Task) {
    let shared = |id: &String| held.trees.contains(id);
    let plants = if task.trees.iter().any(shared) {
        let trees = facts.register.trees.iter();
        let new = trees.filter(|tree| task.trees.contains(&tree.id) && !shared(&tree.id));
        new.map(|tree| tree.count).sum()
    } else {
        task.plants
    };
    let share = match task.plants {
        0 if held.trees == task.trees => 0.0,
        0 => 1.0,
        all => (f64::from(plants) / f64::from(all)).min(1.0),
    };
    for id in task.trees {
        if !held.trees.contains(&id) {
            held.trees.push(id);
        }
    }
    held.plants = held.plants.saturating_add(plants);
    held.minutes = match (held.minutes, task.minutes) {
        (Some((a, b)), Some((c, d))) => Some((a + c * share, b + d * share)),
        (one, other) => one.or(other),
    };
    for reason in task.reasons {
        if !held.reasons.contains(&reason) {
            held.reasons.push(reason);
        }
    }
}

/// Joins groups of a crop whose windows open within a few days of each other.
fn join_near_groups(chore: &Chore, season: &Season, year: i32, found: &mut Vec<(&Group, Chosen)>) {
    let opening =
        |group: &Group| window::of(chore, season, group, year).map(|w| w.opens.spread.middle);
    let mut joined: Vec<(&Group, Chosen)> = Vec::new();
    for (group, chosen) in found.drain(..) {
        let near = joined
            .iter_mut()
            .find(|(other, _)| match (opening(group), opening(other)) {
                (Some(a), Some(b)) => (a - b).num_days().abs() <= TOGETHER_DAYS,
                _ => true,
            });
        match near {
            Some((_, held)) => merge(held, chosen),
            None => joined.push((group, chosen)),
        }
    }
    *found = joined;
}

/// Merges two groups of one crop: ratings are put together, so that the
/// reason names every cultivar once.
fn merge(held: &mut Chosen, more: Chosen) {
    held.trees.extend(more.trees);
    held.plants = held.plants.saturating_add(more.plants);
    for reason in more.reasons {
        let into = held
            .reasons
            .iter_mut()
            .find_map(|known| match (known, &reason) {
                (
                    Evidence::Ratings {
                        disease,
                        need,
                        spared,
                    },
                    Evidence::Ratings {
                        disease: other,
                        need: more,
                        spared: also,
                    },
                ) if disease == other => {
                    for one in more {
                        if !need.contains(one) {
                            need.push(one.clone());
                        }
                    }
                    for one in also {
                        if !spared.contains(one) {
                            spared.push(one.clone());
                        }
                    }
                    Some(())
                }
                _ => None,
            });
        if into.is_none() && !held.reasons.contains(&reason) {
            held.reasons.push(reason);
        }
    }
}

/// For whom a task is: a group in a season, and by what its name tells it from
/// others.
#[derive(Clone, Copy)]
struct Part<'a> {
    group: &'a Group,
    year: i32,
    crop: Option<&'a str>,
    label: Option<&'a str>,
}

impl<'a> Part<'a> {
    /// All that the chore is for, at once.
    fn whole(group: &'a Group, year: i32) -> Self {
        Part {
            group,
            year,
            crop: None,
            label: None,
        }
    }
}

/// The tasks of a chore for chosen trees: one by its anchors, or one for each
/// event that sets it off.
fn with_windows(
    facts: &Facts,
    season: &Season,
    chore: &Chore,
    part: Part<'_>,
    chosen: &Chosen,
) -> Vec<Task> {
    let Part {
        group,
        year,
        crop,
        label,
    } = part;
    let frame = if chore.opens.is_empty() {
        None
    } else {
        window::of(chore, season, group, year)
    };
    let stem = stem(chore, crop, label, year);
    let Some(after) = &chore.after else {
        let Some(window) = frame else {
            return Vec::new();
        };
        return vec![task(stem, chore, year, crop, label, window, chosen)];
    };
    if frame.is_none() && !chore.opens.is_empty() {
        return Vec::new();
    }
    let events = season.events(&after.trigger, group, year);
    let mut tasks = Vec::new();
    for (index, event) in events.iter().enumerate() {
        let counts = frame.as_ref().is_none_or(|frame| {
            (frame.opens.spread.early..=frame.closes.spread.late).contains(&event.date)
        });
        let Some(chosen) = Some(chosen)
            .filter(|_| counts)
            .and_then(|chosen| uncovered(facts, chosen, crop, event))
        else {
            continue;
        };
        let window = event_window(after, event);
        let id = format!("{stem}-{}", index + 1);
        let mut task = task(id, chore, year, crop, label, window, &chosen);
        task.reasons.insert(0, event.evidence.clone());
        tasks.push(task);
    }
    tasks
}

/// The chosen trees without those that a noted spray still covered when an
/// infection began; `None` where none is left.
fn uncovered(facts: &Facts, chosen: &Chosen, crop: Option<&str>, event: &Event) -> Option<Chosen> {
    let Evidence::Infection { disease, from, .. } = &event.evidence else {
        return Some(chosen.clone());
    };
    if facts.journal.sprays.is_empty() {
        return Some(chosen.clone());
    }
    let open = |id: &String| sprays::covered(facts, id, crop, disease, *from).is_none();
    let mut left = chosen.clone();
    left.trees.retain(open);
    if left.trees.is_empty() && !chosen.trees.is_empty() {
        return None;
    }
    let trees = facts.register.trees.iter();
    let plants = trees.filter(|tree| left.trees.contains(&tree.id));
    left.plants = plants.map(|tree| tree.count).sum();
    Some(left)
}

/// `chore-crop-label-year`; a chore that is for one crop by its name keeps
/// the crop all the same, so that names never change with the register.
fn stem(chore: &Chore, crop: Option<&str>, label: Option<&str>, year: i32) -> String {
    let mut stem = chore.id.clone();
    for part in [crop, label].into_iter().flatten() {
        stem.push('-');
        stem.extend(part.chars().filter_map(|c| match c {
            ' ' | '-' => Some('-'),
            c => c.is_alphanumeric().then_some(c.to_ascii_lowercase()),
        }));
    }
    format!("{stem}-{year}")
}

fn event_window(after: &After, event: &Event) -> Window {
    let basis = if event.forecast {
        Basis::Forecast
    } else {
        Basis::Seen
    };
    let bound = |days: f64| Bound {
        spread: Spread::certain(event.date, basis).shifted(days),
        evidence: event.evidence.clone(),
        shift_days: days,
    };
    Window {
        opens: bound(after.opens_days),
        best: bound(after.best_days),
        closes: bound(after.closes_days),
    }
}

fn task(
    id: String,
    chore: &Chore,
    year: i32,
    crop: Option<&str>,
    label: Option<&str>,
    window: Window,
    chosen: &Chosen,
) -> Task {
    let plants = if chore.minutes_in_all {
        1.0
    } else {
        f64::from(chosen.plants.max(1))
    };
    Task {
        id,
        chore: chore.id.clone(),
        kind: chore.kind,
        season: year,
        crop: crop.map(str::to_owned),
        group: label.map(str::to_owned),
        trees: chosen.trees.clone(),
        plants: chosen.plants,
        window,
        state: State::Coming,
        day: None,
        fit: Fit::default(),
        hold: None,
        reasons: chosen.reasons.clone(),
        cautions: chore.cautions.clone(),
        materials: chore.materials.clone(),
        minutes: chore
            .minutes
            .as_ref()
            .map(|(least, most, _)| (least * plants, most * plants)),
        worth: chore.worth,
    }
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

/// A chore that takes as long however many plants there are does not take
/// longer for several groups of them.
fn in_all(facts: &Facts, task: &mut Task) {
    let chore = facts.knowledge.chore(&task.chore);
    if let Some((least, most, _)) = chore
        .filter(|chore| chore.minutes_in_all)
        .and_then(|chore| chore.minutes.as_ref())
    {
        task.minutes = Some((*least, *most));
    }
}

/// Chores of the sprayer, by id: who sprays nothing has none.
const OF_SPRAYER: [&str; 2] = ["calibrate-sprayer", "sprayer-drain"];

/// Takes out the sprays that the keeper does not want.
fn leave_out_sprays(facts: &Facts, plan: &mut Plan) {
    let wish = facts.preferences.sprays;
    if wish == Sprays::Any {
        return;
    }
    let allowed = |id: &String| {
        let material: Option<&Material> = facts
            .knowledge
            .materials
            .iter()
            .find(|material| material.id == *id);
        wish == Sprays::Organic && material.is_some_and(|material| material.organic)
    };
    if wish == Sprays::None {
        let of_sprayer = |task: &Task| OF_SPRAYER.contains(&task.chore.as_str());
        plan.tasks.retain(|task| !of_sprayer(task));
    }
    let before = plan.tasks.len();
    plan.tasks.retain_mut(|task| {
        if task.kind != ChoreKind::Spray {
            return true;
        }
        task.materials.retain(allowed);
        !task.materials.is_empty()
    });
    let tasks = before - plan.tasks.len();
    if tasks > 0 {
        plan.notes.push(Note::SpraysLeftOut { tasks, wish });
    }
}

/// Share of a full crop below which the keeper is told.
const LIGHT_CROP: f64 = 0.9;

/// The crops of this season of which frost has taken much.
fn lost_crops(season: &Season, today: NaiveDate) -> Vec<Note> {
    let mut notes: Vec<Note> = Vec::new();
    for group in &season.groups {
        let left = season.crop_left(group, today.year());
        let told = notes
            .iter()
            .any(|note| matches!(note, Note::CropLost { crop, .. } if *crop == group.crop));
        let night = season.worst_night(&group.crop, today.year());
        if let Some(night) = night.filter(|_| left < LIGHT_CROP && !told) {
            let (crop, night) = (group.crop.clone(), night.clone());
            notes.push(Note::CropLost { crop, left, night });
        }
    }
    notes
}

/// What does not fit into the keeper's hours.
fn too_much(facts: &Facts, plan: &Plan) -> Option<Note> {
    let sum = |of: fn(&WeekLoad) -> f64| plan.load.iter().map(of).sum::<f64>();
    let left_over_min = sum(|week| week.left_over_min);
    if left_over_min <= 0.0 {
        return None;
    }
    let mut tasks: Vec<(String, f64)> = plan
        .tasks
        .iter()
        .filter(|task| task.fit.left_over_min > 0.0)
        .map(|task| (task.id.clone(), task.fit.left_over_min))
        .collect();
    tasks.sort_by(|a, b| b.1.total_cmp(&a.1));
    let short = plan.load.iter().filter(|week| week.left_over_min > 0.0);
    let relief = plan.load.iter().filter(|week| week.relief > 0);
    // The first of several that would do as much.
    let relief = relief.reduce(|held, week| {
        if week.relief > held.relief {
            week
        } else {
            held
        }
    });
    Some(Note::TooMuch {
        hours_per_week: facts.preferences.hours_per_week,
        wanted_min: sum(|week| week.wanted_min),
        left_over_min,
        tasks,
        weeks: short
            .map(|week| (week.monday, week.left_over_min))
            .collect(),
        relief: relief.map(|week| week.monday),
    })
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
fn take_off(facts: &Facts, task: &mut Task, left: Vec<String>) {
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

/// How a task stands today, and which day suits it.
fn settle(facts: &Facts, prospect: &Prospect<'_>, task: &mut Task, today: NaiveDate) {
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
    let by_event = facts
        .knowledge
        .chore(&task.chore)
        .is_some_and(|chore| chore.after.is_some());
    task.state = match (open, over) {
        (_, true) => State::Missed,
        (true, false) if by_event || (last_days && task.worth >= 4) => State::Urgent,
        (true, false) => State::Open,
        (false, false) => State::Coming,
    };
    if let Some(chore) = facts.knowledge.chore(&task.chore) {
        days::choose(prospect, chore, task, today);
    }
}
