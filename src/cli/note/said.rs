//! Entries in words, and what one of them did to the calendar.

use super::measures;
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Severity};
use crate::facts::register::Tree;
use crate::plan::calendar::Note;
use crate::plan::{Plan, changes};
use crate::render::page;
use crate::render::sentence::Words;
use crate::season::{Caveat, Season};
use crate::units::{UnitSystem, plain};
use chrono::Datelike;

/// Most changes that are told after a note; the rest is counted.
const TOLD: usize = 3;

/// An entry in a line, without its day.
pub fn line(facts: &Facts, entry: &Entry) -> String {
    let units = facts.place.units;
    let crop = entry.crop.as_deref().map(|crop| crop_name(facts, crop));
    let of_crop = || crop.clone().unwrap_or_else(|| "the orchard".to_owned());
    let cultivar = |cultivar: &Option<String>| {
        let name = cultivar.as_deref();
        name.map_or_else(String::new, |name| format!(" '{name}'"))
    };
    let mut text = match &entry.what {
        Fact::Stage(stage) => format!(
            "{}{} in {}",
            of_crop(),
            cultivar(&stage.cultivar),
            stage.stage
        ),
        Fact::Done(work) => {
            let took = work
                .minutes
                .map_or_else(String::new, |m| format!(" in {m} min"));
            format!("done: {}{took}", work.task)
        }
        Fact::Skipped(task) => format!("skipped for this season: {task}"),
        Fact::Snoozed(snooze) => format!("put off until {}: {}", snooze.until, snooze.task),
        Fact::Spray(spray) => format!(
            "sprayed {}{}",
            spray.materials.join(" and "),
            crop.as_deref()
                .map_or_else(String::new, |crop| format!(" on {crop}"))
        ),
        Fact::Catch(caught) => format!(
            "{} {} in trap {}{}",
            caught.count,
            caught.insect,
            caught.trap.as_deref().unwrap_or("(no name)"),
            if caught.biofix { ", biofix" } else { "" }
        ),
        Fact::Symptom(symptom) => {
            let how = match symptom.severity {
                Some(Severity::Grade(grade)) => format!(", {grade} of 5"),
                Some(Severity::Share(share)) => format!(", {}", percent(share)),
                None => String::new(),
            };
            // Junipers are noted without a crop.
            let host = if crop.is_none() && !entry.trees.is_empty() {
                "juniper".to_owned()
            } else {
                of_crop()
            };
            format!("{} on {host}{how}", symptom.what)
        }
        Fact::Shoots(shoots) => {
            format!(
                "shoots grew {}",
                measures::length_text(shoots.length_cm, units)
            )
        }
        Fact::Harvest(harvest) => {
            let parts = [
                harvest
                    .weight_kg
                    .map(|kg| format!("{} picked", measures::weight_text(kg, units))),
                harvest
                    .of_full
                    .map(|share| format!("{} of a full crop", percent(share))),
            ];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            format!("{}: {}", of_crop(), parts.join(", "))
        }
        Fact::Damage(damage) => format!(
            "{} damage on {}{}",
            damage.cause.word(),
            of_crop(),
            damage
                .share
                .map_or_else(String::new, |share| format!(", {}", percent(share)))
        ),
        Fact::Buds(count) => format!(
            "{}{}: {} of {} buds dead ({})",
            of_crop(),
            cultivar(&count.cultivar),
            count.cut.saturating_sub(count.live),
            count.cut,
            percent(1.0 - f64::from(count.live) / f64::from(count.cut.max(1)))
        ),
        Fact::Rain(rain) => match units {
            UnitSystem::Us => format!("rain {} in", plain(rain.rain_mm / 25.4)),
            UnitSystem::Metric => format!("rain {} mm", plain(rain.rain_mm)),
        },
        Fact::Low(low) => format!(
            "low of {}{}",
            measures::low_text(low.low_c, units),
            low.spot
                .as_deref()
                .map_or_else(String::new, |spot| format!(" at {spot}"))
        ),
        Fact::Planting(planting) => format!(
            "planted {} {}{}",
            planting.count,
            of_crop(),
            cultivar(&planting.cultivar)
        ),
        Fact::Removal(removal) => format!(
            "taken out{}",
            removal
                .reason
                .as_deref()
                .map_or_else(String::new, |why| format!(": {why}"))
        ),
        Fact::Note => entry.note.clone().unwrap_or_default(),
    };
    if !entry.trees.is_empty() {
        text.push_str(&format!(" [{}]", entry.trees.join(", ")));
    }
    if let (Some(note), false) = (&entry.note, matches!(entry.what, Fact::Note)) {
        text.push_str(&format!(" - {note}"));
    }
    text
}

fn percent(share: f64) -> String {
    format!("{} %", plain((share * 100.0).round()))
}

/// A crop's name.
pub fn crop_name(facts: &Facts, id: &str) -> String {
    facts
        .knowledge
        .crop(id)
        .map_or_else(|| id.to_owned(), |crop| crop.name.clone())
}

/// Whether an entry of this kind can move the calendar.
pub fn moves(entry: &Entry) -> bool {
    matches!(
        entry.what,
        Fact::Stage(_)
            | Fact::Catch(_)
            | Fact::Low(_)
            | Fact::Buds(_)
            | Fact::Rain(_)
            | Fact::Planting(_)
            | Fact::Removal(_)
    )
}

/// The crops of the trees that an entry names, or of the row of a low; `None`
/// where it is about all.
fn crops_of(facts: &Facts, entry: &Entry) -> Option<Vec<String>> {
    let row = match &entry.what {
        Fact::Low(low) => low.spot.as_deref().map(str::trim),
        _ => None,
    };
    let about = |tree: &&Tree| {
        if entry.trees.is_empty() {
            let own = tree.row.as_deref();
            row.is_some_and(|row| own.is_some_and(|own| own.eq_ignore_ascii_case(row)))
        } else {
            entry.trees.contains(&tree.id)
        }
    };
    let trees = facts.register.trees.iter();
    let crops: Vec<String> = trees.filter(about).map(|tree| tree.crop.clone()).collect();
    (!crops.is_empty()).then_some(crops)
}

/// What the season makes of an entry: a report that it refuses, buds that a
/// low has killed, a count that is now the fact.
pub fn sense(facts: &Facts, season: &Season, entry: &Entry) -> Vec<String> {
    let words = Words::new(facts, season.today);
    let refused = season.caveats.iter().filter(|caveat| match caveat {
        Caveat::Refused(refused) => {
            refused.report.date == entry.date && Some(&refused.report.crop) == entry.crop.as_ref()
        }
        _ => false,
    });
    let mut texts: Vec<String> = refused.map(|caveat| words.caveat(caveat)).collect();
    let nights = season.frosts.iter().filter(|night| !night.forecast);
    match &entry.what {
        Fact::Low(_) => {
            let mut told: Vec<&str> = Vec::new();
            let about = crops_of(facts, entry);
            let nights =
                nights.filter(|night| about.as_ref().is_none_or(|c| c.contains(&night.crop)));
            for night in nights.filter(|night| night.date == entry.date && night.at_the_trees) {
                if told.contains(&night.crop.as_str()) {
                    continue;
                }
                told.push(&night.crop);
                let (least, most) = (percent(night.kill_least), percent(night.kill_most));
                let span = if least == most {
                    String::new()
                } else {
                    format!(" (span {least} to {most})")
                };
                texts.push(format!(
                    "{} in {}: likely {} of the flower buds killed{span}.",
                    crop_name(facts, &night.crop),
                    night.stage,
                    percent(night.kill)
                ));
            }
            if told.is_empty() {
                texts.push(
                    "No crop's flower buds are harmed by that, as far as is known.".to_owned(),
                );
            } else {
                texts.push("Once buds have warmed, cut a hundred and note dead of cut: `budtide note buds CROP 60/100`.".to_owned());
            }
        }
        Fact::Buds(_) => {
            let crop = entry.crop.as_deref().unwrap_or_default();
            match season.toll(crop).filter(|toll| toll.counted().is_some()) {
                Some(toll) => {
                    let of_crop = season.groups.iter().filter(|group| group.crop == crop);
                    let left = of_crop
                        .map(|group| season.crop_left(group, season.today.year()))
                        .fold(1.0, f64::min);
                    let (least, most) = (percent(toll.kill_least), percent(toll.kill_most));
                    let dead = if least == most {
                        format!("about {least}")
                    } else {
                        format!("{least} to {most}")
                    };
                    texts.push(format!(
                        "Of all buds {dead} are likely dead; about {} of a full crop is left.",
                        percent(left)
                    ));
                }
                None => texts.push(
                    "No frost night of the last three weeks is known that it could be about: it is kept, and moves nothing.".to_owned(),
                ),
            }
        }
        _ => {}
    }
    texts
        .iter()
        .flat_map(|text| page::wrap(text, "", "  "))
        .collect()
}

/// What an entry did to the calendar, in few lines: the weightiest tasks
/// first, the sooner of two.
pub fn effect(facts: &Facts, before: &Plan, after: &Plan) -> Vec<String> {
    let words = Words::new(facts, after.today);
    let mut found = changes::changes(before, after);
    let weight = |change: &changes::Change| {
        let plans = [after, before];
        let mut tasks = plans.iter().flat_map(|plan| &plan.tasks);
        tasks
            .find(|task| task.id == change.task)
            .map_or((5, after.until), |task| {
                (5 - task.worth.min(5), task.window.opens.spread.middle)
            })
    };
    found.sort_by_key(weight);
    let mut lines = Vec::new();
    let lost = after
        .notes
        .iter()
        .filter(|note| matches!(note, Note::CropLost { .. }));
    for note in lost.filter(|note| !before.notes.contains(note)) {
        lines.extend(page::wrap(&words.note(note), "", "  "));
    }
    if found.is_empty() {
        if lines.is_empty() {
            lines.push("Nothing on the calendar moves by three days or more.".to_owned());
        }
        return lines;
    }
    for change in found.iter().take(TOLD) {
        let task = [after, before]
            .iter()
            .find_map(|plan| plan.tasks.iter().find(|task| task.id == change.task));
        let title = task.map_or_else(|| change.task.clone(), |task| words.say(task));
        let text = words.change(change, &title);
        let mut parts = text.lines().map(str::trim);
        let title = parts.next().unwrap_or_default();
        let what = parts.next().unwrap_or_default();
        lines.extend(page::wrap(&format!("{title}: {what}"), "", "  "));
    }
    if found.len() > TOLD {
        lines.push(format!(
            "And {} more: `budtide calendar` shows them.",
            found.len() - TOLD
        ));
    }
    lines
}
