//! What the keeper should know besides the tasks.

use super::{Note, Plan, Task};
use crate::facts::Facts;
use crate::facts::knowledge::{ChoreKind, Material, Point};
use crate::facts::preferences::Sprays;
use crate::plan::days::share_out::WeekLoad;
use crate::season::{Group, Season};
use chrono::{Datelike, NaiveDate};

/// Chores of the sprayer, by id: who sprays nothing has none.
const OF_SPRAYER: [&str; 2] = ["calibrate-sprayer", "sprayer-drain"];

/// Takes out the sprays that the keeper does not want.
pub(super) fn leave_out_sprays(facts: &Facts, plan: &mut Plan) {
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

/// The crops of this season of which frost has surely taken much; of the
/// groups of a crop the one with least left speaks.
pub(super) fn lost_crops(season: &Season, today: NaiveDate) -> Vec<Note> {
    let mut notes: Vec<Note> = Vec::new();
    for group in &season.groups {
        let (least, left, most) = season.crop_left_span(group, today.year());
        let sure = season.crop_surely_left(group, today.year());
        if is_picked(season, group, today) {
            continue;
        }
        let Some(toll) = season.toll_of(group).filter(|_| sure < LIGHT_CROP) else {
            continue;
        };
        let note = Note::CropLost {
            crop: group.crop.clone(),
            left,
            span: (least, most),
            toll: toll.clone(),
        };
        let known = notes.iter_mut().find_map(|note| match note {
            Note::CropLost { crop, left, .. } if *crop == group.crop => Some((*left, note)),
            _ => None,
        });
        match known {
            Some((held, known)) if left < held => *known = note,
            Some(_) => {}
            None => notes.push(note),
        }
    }
    notes
}

/// Whether the harvest of a group is over this year: what frost took of it is
/// told no more.
fn is_picked(season: &Season, group: &Group, today: NaiveDate) -> bool {
    let last = Point::Harvest { last: true };
    let harvest = season.point(&last, group, today.year());
    harvest.is_some_and(|(spread, _)| spread.late < today)
}

/// What does not fit into the keeper's hours.
pub(super) fn too_much(facts: &Facts, plan: &Plan) -> Option<Note> {
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
