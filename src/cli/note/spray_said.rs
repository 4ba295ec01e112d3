//! What the keeper should know after a spray: oil near by, and bees.

use super::said::crop_name;
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Spray};
use crate::facts::knowledge::Material;
use crate::season;
use chrono::{Datelike, NaiveDate};

/// What of a spray must be minded, in texts of their own.
pub fn minded(facts: &Facts, entry: &Entry, today: NaiveDate) -> Vec<String> {
    let Fact::Spray(spray) = &entry.what else {
        return Vec::new();
    };
    let materials = of(facts, spray);
    let mut texts = oil(facts, entry, &materials);
    texts.extend(bees(facts, entry, &materials, today));
    texts
}

fn of<'f>(facts: &'f Facts, spray: &Spray) -> Vec<&'f Material> {
    let known = facts.knowledge.materials.iter();
    known
        .filter(|material| spray.materials.contains(&material.id))
        .collect()
}

fn is_oil(material: &Material) -> bool {
    material.kind == "oil"
}

/// Oil and what it burns leaves with, too near each other: in this spray, in
/// one noted before, or to come.
fn oil(facts: &Facts, entry: &Entry, materials: &[&Material]) -> Vec<String> {
    let oiled = materials.iter().any(|one| is_oil(one));
    let mut texts = Vec::new();
    let day = |date: NaiveDate| date.format("%-d %b").to_string();
    for material in materials {
        let Some(gap) = material.oil_gap_days else {
            continue;
        };
        let name = &material.name;
        texts.push(if oiled {
            format!("{name} together with oil burns leaves: they need {gap} days between them.")
        } else {
            format!(
                "{name} noted {}: oil within {gap} days burns leaves.",
                day(entry.date)
            )
        });
    }
    let shared = |trees: &[String]| {
        let all = trees.is_empty() || entry.trees.is_empty();
        all || trees.iter().any(|id| entry.trees.contains(id))
    };
    for noted in &facts.journal.sprays {
        let crop = noted.crop.is_none() || entry.crop.is_none() || noted.crop == entry.crop;
        if !crop || !shared(&noted.trees) {
            continue;
        }
        let apart = (noted.date - entry.date).num_days().abs();
        let near = |gap: &f64| (apart as f64) < *gap;
        let others = of(facts, &noted.what);
        if others.iter().any(|one| is_oil(one)) {
            for material in materials {
                if let Some(gap) = material.oil_gap_days.filter(near) {
                    texts.push(format!(
                        "Oil was noted for {}: {} needs {gap} days from it. Look for burnt leaves.",
                        day(noted.date),
                        material.name
                    ));
                }
            }
        }
        for other in others.iter().filter(|_| oiled) {
            if let Some(gap) = other.oil_gap_days.filter(near) {
                texts.push(format!(
                    "{} was noted for {}: oil needs {gap} days from it. Look for burnt leaves.",
                    other.name,
                    day(noted.date)
                ));
            }
        }
    }
    texts
}

/// The list's words on bees, while anything of the register may be in bloom.
fn bees(facts: &Facts, entry: &Entry, materials: &[&Material], today: NaiveDate) -> Option<String> {
    let words: Vec<String> = materials
        .iter()
        .filter(|one| !one.bees.is_empty())
        .filter(|one| !one.bees.starts_with("low") || one.bees.contains("bloom"))
        .map(|one| format!("{}: {}", one.name, one.bees))
        .collect();
    if words.is_empty() {
        return None;
    }
    let season = season::derive(facts, today);
    let mut crops: Vec<&str> = Vec::new();
    for tree in facts.register.trees.iter().filter(|tree| tree.stands()) {
        let crop = tree.crop.as_str();
        let bloom = season.in_bloom(Some(crop), entry.date.year(), entry.date);
        if bloom && !crops.contains(&crop) {
            crops.push(crop);
        }
    }
    if crops.is_empty() {
        return None;
    }
    let names: Vec<String> = crops.iter().map(|crop| crop_name(facts, crop)).collect();
    Some(format!(
        "Bees: {} may be in bloom on that day. {}.",
        names.join(", "),
        words.join("; ")
    ))
}
