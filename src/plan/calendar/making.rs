//! The tasks of a chore in one season: for which trees, from when to when.

use super::joining::{absorb, join_event, join_near_groups, widen};
use super::{State, Task};
use crate::facts::Facts;
use crate::facts::knowledge::{After, Chore, Trigger};
use crate::plan::days::share_out::Fit;
use crate::plan::event_id;
use crate::plan::sprays;
use crate::plan::trees::{self, Chosen, ids};
use crate::plan::window::{self, Bound, Window};
use crate::season::evidence::Evidence;
use crate::season::spread::{Basis, Spread};
use crate::season::{Event, Group, Season, warned};

/// All tasks of a chore in one season.
pub(super) fn tasks_of(facts: &Facts, season: &Season, chore: &Chore, year: i32) -> Vec<Task> {
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
    tasks.sort_by_key(|task| task.window.opens.spread.middle);
    tasks
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
    for event in &events {
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
        let id = event_id::of(&stem, &after.trigger, event.date);
        let mut task = task(id, chore, year, crop, label, window, &chosen);
        task.reasons.insert(0, event.evidence.clone());
        if let (Trigger::FrostAhead { .. }, Evidence::FrostNight(night)) =
            (&after.trigger, &event.evidence)
        {
            let (alerts, zone) = (&facts.weather.alerts, facts.place.time_zone);
            let warned = warned::of_night(alerts, night.date, zone);
            task.reasons.splice(1..1, warned);
        }
        tasks.push(task);
    }
    tasks
}

/// The chosen trees without those that a noted spray still covered when an
/// infection began; `None` where none is left.
fn uncovered(facts: &Facts, chosen: &Chosen, crop: Option<&str>, event: &Event) -> Option<Chosen> {
    let (disease, from) = match &event.evidence {
        Evidence::Infection { disease, from, .. } => (disease, *from),
        Evidence::InfectionAhead { disease, from, .. } => (disease, from.date()),
        _ => return Some(chosen.clone()),
    };
    if facts.journal.sprays.is_empty() {
        return Some(chosen.clone());
    }
    let open = |id: &String| sprays::covered(facts, id, crop, disease, from).is_none();
    let mut left = chosen.clone();
    left.trees.retain(open);
    if left.trees.is_empty() && !chosen.trees.is_empty() {
        return None;
    }
    let trees = facts.register.trees.iter();
    let open = ids(&left.trees);
    let plants = trees.filter(|tree| open.contains(tree.id.as_str()));
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
    let bound = |date, days: f64| Bound {
        spread: Spread::certain(date, basis).shifted(days),
        evidence: event.evidence.clone(),
        shift_days: days,
    };
    // What is done ahead hangs on the first day, what follows on the last.
    let best = if after.best_days < 0.0 {
        event.date
    } else {
        event.until
    };
    Window {
        opens: bound(event.date, after.opens_days),
        best: bound(best, after.best_days),
        closes: bound(event.until, after.closes_days),
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
