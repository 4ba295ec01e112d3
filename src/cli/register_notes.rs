//! The register's file against the notes, where both speak.

use crate::facts::Facts;
use crate::facts::journal::{Noted, Planting, Removal};
use crate::facts::noted::is_about;
use crate::facts::register::{Planted, Tree};
use crate::render::weather::date;

/// What notes add to the register's file, and which counts where they differ:
/// a text each.
pub fn held_against(facts: &Facts) -> Vec<String> {
    let plantings = facts.journal.plantings.iter();
    let mut texts: Vec<String> = plantings.flat_map(|noted| planted(facts, noted)).collect();
    let removals = facts.journal.removals.iter();
    texts.extend(removals.flat_map(|noted| taken_out(facts, noted)));
    texts
}

fn filed<'f>(facts: &'f Facts, id: &str) -> Option<&'f Tree> {
    let mut trees = facts.filed.trees.iter();
    trees.find(|tree| tree.id.eq_ignore_ascii_case(id))
}

fn planted(facts: &Facts, noted: &Noted<Planting>) -> Vec<String> {
    let day = date(noted.date);
    let crop = noted.crop.as_deref().unwrap_or_default();
    if noted.trees.is_empty() {
        return vec![format!(
            "Planted on {day} by your notes: {} {crop}, without a name, so no work is planned for \
             it. `budtide journal --kind planting` shows the number of the note, `budtide edit \
             NUMBER --tree NAME` gives the name.",
            noted.what.count
        )];
    }
    let mut texts = Vec::new();
    let mut new: Vec<&str> = Vec::new();
    for id in &noted.trees {
        let Some(tree) = filed(facts, id) else {
            new.push(id);
            continue;
        };
        let name = &tree.id;
        if tree.crop != crop {
            texts.push(format!(
                "{name} is {} in register.toml and {crop} in your note of {day}: the file counts.",
                tree.crop
            ));
            continue;
        }
        let when = match tree.planted {
            None => {
                texts.push(format!(
                    "{name} has no planting day in register.toml: that of your note counts, {day}."
                ));
                continue;
            }
            Some(Planted::Day(own)) if own != noted.date => date(own),
            Some(Planted::Year(own)) if Planted::Day(noted.date).year() != own => own.to_string(),
            Some(_) => continue,
        };
        texts.push(format!(
            "{name} was planted in {when} by register.toml and on {day} by your note: the file \
             counts."
        ));
    }
    if !new.is_empty() {
        let (stand, they) = if new.len() == 1 {
            ("stands", "it counts")
        } else {
            ("stand", "they count")
        };
        texts.push(format!(
            "{} ({crop}, planted on {day}) {stand} in your notes alone: {they} all the same. \
             In register.toml there is room for rootstock and the like.",
            new.join(", ")
        ));
    }
    texts
}

fn taken_out(facts: &Facts, noted: &Noted<Removal>) -> Vec<String> {
    let day = date(noted.date);
    let mut texts = Vec::new();
    for id in &noted.trees {
        let juniper = facts.filed.junipers.iter().any(|juniper| juniper.id == *id);
        if juniper {
            texts.push(format!(
                "Juniper {id} is gone since {day} by your notes: it no longer counts, though \
                 register.toml has it. Take it out there."
            ));
            continue;
        }
        let tree = facts.register.trees.iter().find(|tree| tree.id == *id);
        match (tree, filed(facts, id)) {
            (None, _) => texts.push(format!(
                "{id} was taken out on {day} by your notes, but neither they nor register.toml \
                 have such a tree."
            )),
            (Some(tree), Some(_)) if !is_about(noted, tree) => texts.push(format!(
                "{id} was taken out on {day} by your notes, and register.toml has one planted \
                 after that or in the same year: it is taken for its successor. If it is the one \
                 taken out, write status = \"removed\" there."
            )),
            (_, Some(own)) if own.stands() => texts.push(format!(
                "{id} is out since {day} by your notes and counts so; register.toml has it as {}. \
                 Write status = \"removed\" there.",
                own.status.word()
            )),
            _ => {}
        }
    }
    texts
}
