//! What may still be sprayed, and what may not: days to harvest, spacing from
//! oil, how often a group was used, heat, open bloom.
//!
//! The limits here are the cautious end of what sources print. The label of
//! the product in hand goes before all of it, and is the law.

use super::calendar::{Plan, State, Task};
use super::days::Hold;
use super::days::suitable::Prospect;
use super::trees::any_shared;
use crate::facts::Facts;
use crate::facts::journal::{Noted, Spray};
use crate::facts::knowledge::{ChoreKind, Material, Point};
use crate::facts::weather::DailyRecord;
use crate::season::Season;
use crate::season::cover::{Cover, growth_limit_days};
use crate::season::evidence::{Evidence, SprayLimit};
use chrono::{Datelike, Days, NaiveDate};

/// Goes through the sprays of a plan: strikes the materials that may not be
/// used, says why, and puts a group that was used last behind the others.
pub fn limit(facts: &Facts, season: &Season, prospect: &Prospect<'_>, plan: &mut Plan) {
    let oils = oil_days(facts, plan);
    for (at, task) in plan.tasks.iter_mut().enumerate() {
        if task.kind != ChoreKind::Spray || !pending(task) {
            continue;
        }
        let (first, last) = span(task);
        let harvest = first_harvest(season, task, first);
        let hottest = prospect.hottest(first);
        let noted = noted_on(facts, task, first.year());
        let near_oil = oils
            .iter()
            .filter(|oil| oil.task != Some(at) && shares_trees(&oil.trees, task));
        let near_oil: Vec<NaiveDate> = near_oil.map(|oil| oil.date).collect();
        let mut reasons = Vec::new();
        let mut used_last: Vec<String> = Vec::new();
        task.materials.retain(|id| {
            let material = facts.knowledge.materials.iter().find(|one| one.id == *id);
            let Some(material) = material else {
                return true;
            };
            let mut tell = |limit: SprayLimit| {
                reasons.push(Evidence::SprayLimit {
                    material: material.id.clone(),
                    limit,
                });
            };
            if let Some(limit) = by_harvest(material, harvest, first, last) {
                let struck = matches!(limit, SprayLimit::Harvest { until, .. } if until < first);
                tell(limit);
                if struck {
                    return false;
                }
            }
            if let Some(limit) = used_up(facts, material, &noted) {
                tell(limit);
                return false;
            }
            if let Some(limit) = by_oil(material, &near_oil, first) {
                tell(limit);
                return false;
            }
            if let Some(limit) = by_heat(material, hottest) {
                tell(limit);
                return false;
            }
            let bloom = match off_bloom(material) {
                OffBloom::Any => season.in_bloom(None, task.season, first),
                OffBloom::Own => season.in_bloom(task.crop.as_deref(), task.season, first),
                OffBloom::No => false,
            };
            if bloom {
                tell(SprayLimit::Bloom);
                return false;
            }
            if let Some(date) = group_used_last(facts, material, &noted) {
                used_last.push(material.id.clone());
                tell(SprayLimit::Rotate {
                    code: material.code.clone(),
                    date,
                });
            }
            true
        });
        // A stable sort: the group used last goes behind, the rest stays.
        if used_last.len() < task.materials.len() {
            task.materials.sort_by_key(|id| used_last.contains(id));
        }
        task.reasons.extend(reasons);
        if task.materials.is_empty() {
            task.hold = Some(Hold::NoMaterial);
        }
    }
}

/// From which bloom a material is kept.
enum OffBloom {
    /// From any in the orchard: bees fly from tree to tree, and drift goes
    /// with them.
    Any,
    /// From that of the tree itself.
    Own,
    /// From none.
    No,
}

/// Read from the words of its file: whatever is not called low or allowed
/// there is kept from all bloom, so that an unknown one errs to the bees' side.
fn off_bloom(material: &Material) -> OffBloom {
    let words = material.bees.as_str();
    let mild = words.starts_with("low") || words.starts_with("allowed in bloom");
    if !mild && (material.kind == "insecticide" || words.contains("toxic")) {
        return OffBloom::Any;
    }
    let told = ["not in bloom", "never near bloom", "keep off open bloom"];
    match told.iter().any(|word| words.contains(word)) {
        true => OffBloom::Own,
        false => OffBloom::No,
    }
}

fn pending(task: &Task) -> bool {
    matches!(task.state, State::Urgent | State::Open | State::Coming)
}

/// The first and the last day on which a task is thought to be done.
fn span(task: &Task) -> (NaiveDate, NaiveDate) {
    let days = &task.fit.days;
    let first = days.first().map(|(day, _)| *day).or(task.day);
    let first = first.unwrap_or(task.window.best.spread.middle);
    let last = days.last().map_or(first, |(day, _)| *day);
    (first, last)
}

fn shares_trees(trees: &[String], task: &Task) -> bool {
    trees.is_empty() || any_shared(trees, &task.trees)
}

/// A spray of oil, noted or proposed.
struct OilDay {
    task: Option<usize>,
    trees: Vec<String>,
    date: NaiveDate,
}

fn is_oil(facts: &Facts, id: &str) -> bool {
    let material = facts.knowledge.materials.iter().find(|one| one.id == id);
    material.is_some_and(|material| material.kind == "oil")
}

/// The oil sprays of the journal and those that the plan proposes.
fn oil_days(facts: &Facts, plan: &Plan) -> Vec<OilDay> {
    let noted = facts.journal.sprays.iter().filter(|noted| {
        let materials = &noted.what.materials;
        materials.iter().any(|id| is_oil(facts, id))
    });
    let noted = noted.map(|noted| OilDay {
        task: None,
        trees: noted.trees.clone(),
        date: noted.date,
    });
    let proposed = plan.tasks.iter().enumerate().filter(|(_, task)| {
        let oil = |id: &String| is_oil(facts, id);
        pending(task) && !task.materials.is_empty() && task.materials.iter().all(oil)
    });
    let proposed = proposed.map(|(at, task)| OilDay {
        task: Some(at),
        trees: task.trees.clone(),
        date: span(task).0,
    });
    noted.chain(proposed).collect()
}

/// The first day on which any of the task's trees may be picked, after a day.
fn first_harvest(season: &Season, task: &Task, after: NaiveDate) -> Option<NaiveDate> {
    let crop = task.crop.as_deref()?;
    let groups = season.groups.iter().filter(|group| group.crop == crop);
    let first = Point::Harvest { last: false };
    groups
        .flat_map(|group| {
            [after.year(), after.year() + 1]
                .into_iter()
                .filter_map(|year| season.point(&first, group, year))
        })
        .map(|(spread, _)| spread.early)
        .filter(|day| *day > after)
        .min()
}

fn by_harvest(
    material: &Material,
    harvest: Option<NaiveDate>,
    first: NaiveDate,
    last: NaiveDate,
) -> Option<SprayLimit> {
    let (harvest, days) = (harvest?, material.longest_to_harvest?);
    let until = harvest.checked_sub_days(Days::new(days.max(0.0).ceil() as u64))?;
    // Told only where it bears on the days that are meant.
    (until < last.max(first)).then_some(SprayLimit::Harvest {
        until,
        days,
        harvest,
    })
}

/// Sprays of a year on the trees of a task, in their order.
fn noted_on<'f>(facts: &'f Facts, task: &Task, year: i32) -> Vec<&'f Noted<Spray>> {
    let mut noted: Vec<&Noted<Spray>> = facts
        .journal
        .sprays
        .iter()
        .filter(|noted| noted.date.year() == year && concerns(noted, task))
        .collect();
    noted.sort_by_key(|noted| noted.date);
    noted
}

fn concerns(noted: &Noted<Spray>, task: &Task) -> bool {
    let crop = noted.crop.is_none() || task.crop.is_none() || noted.crop == task.crop;
    crop && shares_trees(&noted.trees, task)
}

/// The group that a code names, without those to which nothing gets
/// resistant: FRAC M and BM, and what has no code of its own.
fn group_of(material: &Material) -> Option<&str> {
    let code = material.code.as_str();
    let number = code.split_whitespace().nth(1)?;
    let single = number.starts_with(|first: char| first.is_ascii_digit());
    single.then_some(code)
}

fn of_group(facts: &Facts, ids: &[String], code: &str) -> bool {
    ids.iter().any(|id| {
        let material = facts.knowledge.materials.iter().find(|one| one.id == *id);
        material.is_some_and(|material| material.code == code)
    })
}

fn used_up(facts: &Facts, material: &Material, noted: &[&Noted<Spray>]) -> Option<SprayLimit> {
    let most = material.most_sprays?;
    let of_it = |noted: &&&Noted<Spray>| of_group(facts, &noted.what.materials, &material.code);
    let uses = noted.iter().filter(of_it).count() as u32;
    (uses >= most).then_some(SprayLimit::UsedUp { uses, most })
}

fn group_used_last(
    facts: &Facts,
    material: &Material,
    noted: &[&Noted<Spray>],
) -> Option<NaiveDate> {
    let code = group_of(material)?;
    // Oil and the like between two sprays breaks no row of the same group.
    let last = noted.iter().rev().find(|noted| {
        noted.what.materials.iter().any(|id| {
            let known = facts.knowledge.materials.iter().find(|one| one.id == *id);
            known.is_some_and(|known| known.kind == material.kind)
        })
    })?;
    of_group(facts, &last.what.materials, code).then_some(last.date)
}

fn by_oil(material: &Material, oils: &[NaiveDate], day: NaiveDate) -> Option<SprayLimit> {
    let gap = material.oil_gap_days?;
    let near = |oil: &&NaiveDate| ((**oil - day).num_days().abs() as f64) < gap;
    let oil = *oils.iter().find(near)?;
    Some(SprayLimit::Oil { oil, gap })
}

fn by_heat(material: &Material, hottest: Option<(NaiveDate, f64)>) -> Option<SprayLimit> {
    let (limit_c, (date, high_c)) = (material.hot_above_c?, hottest?);
    (high_c > limit_c).then_some(SprayLimit::Heat {
        date,
        high_c,
        limit_c,
    })
}

/// The spray that still covered a tree against a disease on a day: one noted
/// before it whose interval, shortened by rain, had not run out.
pub fn covered(
    facts: &Facts,
    tree: &str,
    crop: Option<&str>,
    disease: &str,
    date: NaiveDate,
) -> Option<NaiveDate> {
    let helps = |id: &String| {
        let material = facts.knowledge.materials.iter().find(|one| one.id == *id);
        material.is_some_and(|material| material.controls.iter().any(|one| one == disease))
    };
    let sprays = facts.journal.sprays.iter().filter(|noted| {
        noted.date <= date
            && (date - noted.date).num_days() <= 14
            && (noted.trees.is_empty() || noted.trees.iter().any(|id| id == tree))
            && (noted.crop.is_none() || crop.is_none() || noted.crop.as_deref() == crop)
            && noted.what.materials.iter().any(helps)
    });
    sprays
        .map(|noted| noted.date)
        .filter(|applied| cover(facts.weather.daily.as_ref(), *applied, date).ends() >= date)
        .max()
}

/// The cover of a spray up to the day before another: its interval is that of
/// fast growth, since infections that are told fall into spring.
fn cover(daily: Option<&DailyRecord>, applied: NaiveDate, until: NaiveDate) -> Cover {
    let mut cover = Cover::of(applied, growth_limit_days(true));
    let days = applied.iter_days().take_while(|day| *day < until);
    for (at, day) in days.enumerate() {
        // Rain of the day of spraying itself: most fell before, as nobody
        // sprays into rain.
        let rain = daily
            .filter(|_| at > 0)
            .and_then(|daily| daily.day(day)?.rain_mm);
        cover.day(rain);
    }
    cover
}
