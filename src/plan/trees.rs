//! Which trees a chore is for, and why these.

use super::taking::Taking;
use super::{age, replacement};
use crate::facts::Facts;
use crate::facts::knowledge::{Advice, Chore, CropKind, PlantingSeason, Rating, Stock};
use crate::facts::register::{Status, Tree};
use crate::season::evidence::Evidence;
use crate::season::{Group, Season};
use std::collections::HashSet;

/// Trees by their ids, to be asked for one by one: a register may hold
/// thousands.
pub(in crate::plan) fn ids(trees: &[String]) -> HashSet<&str> {
    trees.iter().map(String::as_str).collect()
}

/// Whether two lists have a tree in common.
pub(in crate::plan) fn any_shared(one: &[String], other: &[String]) -> bool {
    let known = ids(one);
    other.iter().any(|id| known.contains(id.as_str()))
}

/// The trees of one task, with the reasons why it is these.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chosen {
    /// Ids, in the order of the register.
    pub trees: Vec<String>,
    /// How many plants stand behind them.
    pub plants: u32,
    /// Why these.
    pub reasons: Vec<Evidence>,
}

/// The trees of a group that a chore is for in a season; `None` if it is for
/// none of them.
pub fn choose(
    facts: &Facts,
    season: &Season,
    chore: &Chore,
    group: &Group,
    year: i32,
) -> Option<Chosen> {
    if !zone_fits(facts, chore) {
        return None;
    }
    let mut chosen = Chosen::default();
    if chore.needs.planting.is_some() {
        return wanted(facts, season, chore, group, year);
    }
    if !junipers_fit(facts, chore, &mut chosen) {
        return None;
    }
    let crop = facts.knowledge.crop(&group.crop)?;
    // Only a loss that is sure takes work off the list; the count of buds
    // settles the rest.
    if season.crop_surely_left(group, year) < chore.needs.crop_left {
        return None;
    }
    let mut need: Vec<(String, Option<Rating>)> = Vec::new();
    let mut spared: Vec<String> = Vec::new();
    let mut despite: Vec<(String, Rating, Vec<i32>)> = Vec::new();
    for tree in group
        .trees
        .iter()
        .filter_map(|&index| facts.register.trees.get(index))
    {
        let states = &chore.needs.states;
        let state_fits = if states.is_empty() {
            tree.tended()
        } else {
            states.contains(&tree.status)
        };
        if !state_fits || !age::meant(age::of(tree, crop, year), &chore.needs.ages) {
            continue;
        }
        if let Some(disease) = &chore.needs.susceptible_to {
            let taking = Taking::of(facts, tree, disease, season.today);
            let name = name_of(tree);
            if !taking.needs() {
                push_new(&mut spared, name);
                continue;
            }
            match taking.rating.filter(|_| taking.against_rating()) {
                Some(rating) => {
                    let who = format!("{name} {}", tree.id);
                    despite.push((who, rating, taking.noted));
                }
                None if need.iter().any(|(known, _)| *known == name) => {}
                None => need.push((name, taking.rating)),
            }
        }
        chosen.trees.push(tree.id.clone());
        chosen.plants = chosen.plants.saturating_add(tree.count);
        if !states.is_empty() {
            push_state(&mut chosen.reasons, tree);
        }
    }
    if chosen.trees.is_empty() {
        return None;
    }
    if let Some(disease) = &chore.needs.susceptible_to {
        chosen.reasons.insert(
            0,
            Evidence::Ratings {
                disease: disease.clone(),
                need,
                spared,
                despite,
            },
        );
    }
    Some(chosen)
}

fn push_state(reasons: &mut Vec<Evidence>, tree: &Tree) {
    for reason in reasons.iter_mut() {
        if let Evidence::State { trees, state } = reason
            && *state == tree.status.word()
        {
            trees.push(tree.id.clone());
            return;
        }
    }
    reasons.push(Evidence::State {
        trees: vec![tree.id.clone()],
        state: tree.status.word(),
    });
}

fn push_new(list: &mut Vec<String>, name: String) {
    if !list.contains(&name) {
        list.push(name);
    }
}

/// The cultivar's name, or the tree's id where none is given.
fn name_of(tree: &Tree) -> String {
    tree.cultivar.clone().unwrap_or_else(|| tree.id.clone())
}

/// What is published of a tree's cultivar against a disease; `None`: unknown.
pub fn rating_of(facts: &Facts, tree: &Tree, disease: &str) -> Option<Rating> {
    let name = tree.cultivar.as_deref()?;
    facts
        .knowledge
        .cultivar(&tree.crop, name)?
        .rating(disease)
        .map(|rating| rating.rating)
}

/// Whether the place lies in the zones that a chore is for.
pub fn zone_fits(facts: &Facts, chore: &Chore) -> bool {
    let zone = facts.place.hardiness.number();
    chore
        .needs
        .zones
        .is_none_or(|(from, to)| (from..=to).contains(&zone))
}

/// Whether the junipers that a chore asks for stand; adds the reason.
fn junipers_fit(facts: &Facts, chore: &Chore, chosen: &mut Chosen) -> bool {
    let within = match (chore.needs.juniper_within_m, chore.needs.on_junipers) {
        (Some(within), _) => within,
        (None, true) => f64::INFINITY,
        (None, false) => return true,
    };
    let near: Vec<_> = facts
        .register
        .junipers
        .iter()
        .filter(|juniper| juniper.distance_m <= within)
        .filter(|juniper| juniper.is_own() || !chore.needs.on_junipers)
        .collect();
    let Some(nearest) = near
        .iter()
        .map(|juniper| juniper.distance_m)
        .reduce(f64::min)
    else {
        return false;
    };
    let count = near.iter().map(|juniper| juniper.count).sum();
    chosen.reasons.push(Evidence::Junipers {
        count,
        nearest_m: nearest,
    });
    true
}

/// The junipers that a chore on junipers is for; `None` if it is for none, or
/// if no pome fruit stands to be infected.
pub fn choose_junipers(facts: &Facts, chore: &Chore) -> Option<Chosen> {
    let hosts = facts
        .register
        .trees
        .iter()
        .filter(|tree| tree.stands())
        .any(|tree| {
            facts
                .knowledge
                .crop(&tree.crop)
                .is_some_and(|crop| crop.kind == CropKind::Pome)
        });
    let mut chosen = Chosen::default();
    if !hosts || !zone_fits(facts, chore) || !junipers_fit(facts, chore, &mut chosen) {
        return None;
    }
    let within = chore.needs.juniper_within_m.unwrap_or(f64::INFINITY);
    for juniper in &facts.register.junipers {
        if juniper.is_own() && juniper.distance_m <= within {
            chosen.trees.push(juniper.id.clone());
            chosen.plants = chosen.plants.saturating_add(juniper.count);
        }
    }
    Some(chosen)
}

/// The plantings that are meant: trees to be replaced, and those wanted.
fn wanted(
    facts: &Facts,
    season: &Season,
    chore: &Chore,
    group: &Group,
    year: i32,
) -> Option<Chosen> {
    let stock = chore.needs.planting?;
    let mut chosen = Chosen::default();
    // Successors are planted in one season, that of the plan over the years.
    let fall = replacement::in_fall(facts, &group.crop);
    let in_season = chore
        .needs
        .season
        .is_none_or(|which| (which == PlantingSeason::Fall) == fall);
    for tree in group
        .trees
        .iter()
        .filter_map(|&index| facts.register.trees.get(index))
    {
        let leaves = matches!(tree.status, Status::Dead | Status::Replace)
            && !replacement::waits(facts, &tree.id, year, season.today);
        if leaves && in_season && stock == Stock::BareRoot {
            chosen.trees.push(tree.id.clone());
            chosen.plants = chosen.plants.saturating_add(tree.count);
            push_state(&mut chosen.reasons, tree);
        }
    }
    for wish in &facts.register.wanted {
        if wish.crop == group.crop && wish.stock == stock {
            let cultivar = wish.cultivar.as_deref().unwrap_or("new");
            chosen.trees.push(format!("{cultivar} {}", wish.crop));
            chosen.plants = chosen.plants.saturating_add(wish.count);
        }
    }
    if chosen.trees.is_empty() {
        return None;
    }
    let Some(which) = chore.needs.season else {
        return Some(chosen);
    };
    let advice = planting_advice(facts, &group.crop, stock)?;
    let verdict = match which {
        PlantingSeason::Fall => advice.fall,
        PlantingSeason::Spring => advice.spring,
    };
    if verdict == Advice::Unwise {
        return None;
    }
    chosen.reasons.push(Evidence::Planting {
        crop: group.crop.clone(),
        zone: facts.place.hardiness,
        fall: advice.fall,
        spring: advice.spring,
        why: advice.why.clone(),
        source: advice.source.clone(),
    });
    Some(chosen)
}

/// The planting advice for a crop and kind of stock in the place's zone.
pub fn planting_advice<'f>(
    facts: &'f Facts,
    crop: &str,
    stock: Stock,
) -> Option<&'f crate::facts::knowledge::PlantingAdvice> {
    let zone = facts.place.hardiness.number();
    let crop = facts.knowledge.crop(crop)?;
    crop.planting
        .iter()
        .find(|advice| advice.stock == stock && (advice.zones.0..=advice.zones.1).contains(&zone))
}
