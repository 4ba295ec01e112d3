//! The commands that show something of an orchard.

use super::note::tasks;
use super::{
    Output, Show, ask, calendar, hindcast, json, measure, orchard, register_notes, rehearse, setup,
};
use crate::config::fault::hint;
use crate::facts::Facts;
use crate::facts::place::misplaced;
use crate::plan::{self, Plan, changes, event_id};
use crate::render::{frost, page, rust};
use crate::season;
use chrono::{Datelike, NaiveDate};
use std::path::Path;

/// The foot of every page of the demo.
pub const DEMO_FOOT: &str =
    "All of this is invented: holding, trees and weather. `budtide --help` goes on.";

/// Shows one thing; `gather` brings the facts of a day.
pub fn run(
    show: &Show,
    as_json: bool,
    today: NaiveDate,
    gather: impl Fn(NaiveDate) -> Result<Facts, String>,
) -> Result<Output, String> {
    if let Show::Rehearse(what) = show {
        let facts = gather(rehearse::horizon(today))?;
        return rehearse::run(what, &facts, today, as_json);
    }
    let facts = gather(today)?;
    match show {
        Show::Measure { what } => return measure::run(what, &facts, today, as_json),
        Show::Hindcast { crop } => {
            let crop = crop
                .as_deref()
                .map(|word| known_crop(&facts, word))
                .transpose()?;
            return hindcast::run(&facts, crop.as_deref(), as_json);
        }
        Show::Ask { crop, words } => {
            let crop = known_crop(&facts, crop)?;
            return ask::run(&facts, &crop, words, as_json);
        }
        Show::Choose(asked) => return orchard::choose(asked, &facts, today, as_json),
        _ => {}
    }
    let season = season::derive(&facts, today);
    match show {
        Show::Frost if as_json => return json::frost(&facts, &season).map(Output::Json),
        Show::Frost => return Ok(Output::Lines(frost::page(&facts, &season))),
        Show::Rust if as_json => return json::rust(&facts, &season).map(Output::Json),
        Show::Rust => return Ok(Output::Lines(rust::page(&facts, &season))),
        _ => {}
    }
    let plan = plan::make(&facts, &season, today);
    let lines = match show {
        Show::Calendar(asked) => return calendar::run(asked, &facts, &season, &plan, as_json),
        Show::Today if as_json => {
            return json::plan(&facts, &season, &plan, &|_| true).map(Output::Json);
        }
        Show::Today => page::today(&facts, &season, &plan),
        Show::Why { name } => {
            let task = task(&plan, name)?;
            if as_json {
                return json::task(&facts, &plan, task).map(Output::Json);
            }
            page::why(&facts, &season, &plan, task)
        }
        Show::Trees { id } => return orchard::trees(&facts, &season, id.as_deref(), as_json),
        Show::Map => return orchard::map(&facts, &season, as_json),
        Show::Junipers => return orchard::junipers(&facts, &season, as_json),
        Show::Replanting => return orchard::replanting(&facts, &season, &plan, as_json),
        Show::Stages if as_json => return json::stages(&season).map(Output::Json),
        Show::Stages => page::stages(&facts, &season),
        // Answered above: they need no plan.
        Show::Measure { .. }
        | Show::Hindcast { .. }
        | Show::Ask { .. }
        | Show::Choose(_)
        | Show::Rehearse(_)
        | Show::Frost
        | Show::Rust
        | Show::Weather(_)
        | Show::Keep(_) => Vec::new(),
        Show::Changes { since } => {
            if *since > today {
                return Err(format!(
                    "{since} is still to come (today is {today}); name a day that is past"
                ));
            }
            let before = earlier(&gather, *since)?;
            let found = changes::changes(&before, &plan);
            if as_json {
                return json::changes(&facts, &before, &plan, &found).map(Output::Json);
            }
            page::changes(&facts, &before, &plan, &found)
        }
    };
    Ok(Output::Lines(lines))
}

fn earlier(
    gather: &impl Fn(NaiveDate) -> Result<Facts, String>,
    day: NaiveDate,
) -> Result<Plan, String> {
    let facts = gather(day)?;
    Ok(plan::make(&facts, &season::derive(&facts, day), day))
}

/// The id of a crop by its id, name, plural or another name.
pub(super) fn known_crop(facts: &Facts, word: &str) -> Result<String, String> {
    let mut crops = facts.knowledge.crops.iter();
    let found = crops.find(|crop| crop.is_called(word));
    found.map(|crop| crop.id.clone()).ok_or_else(|| {
        let ids: Vec<&str> = facts
            .knowledge
            .crops
            .iter()
            .map(|crop| crop.id.as_str())
            .collect();
        let text = format!("no crop named \"{word}\"{}", hint(word, &ids));
        page::wrap(&text, "", "  ").join("\n")
    })
}

/// A task by its name, or by a part that fits no other.
fn task<'p>(plan: &'p Plan, name: &str) -> Result<&'p plan::Task, String> {
    let ids: Vec<String> = plan.tasks.iter().map(|task| task.id.clone()).collect();
    let found = tasks::fitting(name, &ids);
    if found.len() > 1 {
        return Err(page::wrap(&tasks::several(name, &found), "", "  ").join("\n"));
    }
    let task = found.first();
    let task = task.and_then(|id| plan.tasks.iter().find(|task| task.id == *id));
    // A name out of an older message, whose event's day has shifted since.
    let task = task.or_else(|| event_id::find(&plan.tasks, &name.trim().to_lowercase()));
    task.ok_or_else(|| {
        let names: Vec<&str> = ids.iter().map(String::as_str).collect();
        let text = format!(
            "there is no task named \"{name}\" on the calendar of {}{}",
            plan.today,
            hint(name, &names)
        );
        let more = "`budtide calendar --list` shows the names in brackets";
        [page::wrap(&text, "", "  "), page::wrap(more, "", "  ")]
            .concat()
            .join("\n")
    })
}

/// What `check` says of files in order.
pub fn checked(facts: &Facts, folder: &Path, today: NaiveDate) -> Output {
    let seen_until = facts.weather.seen_until();
    let hints = hints_of(facts, today);
    let mut lines = vec![format!("The files in {} are in order.", folder.display())];
    let trees: u32 = facts.register.trees.iter().map(|tree| tree.count).sum();
    lines.push(format!(
        "{}: {} trees and plants in {} entries, {} juniper{}.",
        facts.place.name,
        trees,
        facts.register.trees.len(),
        facts.register.junipers.len(),
        if facts.register.junipers.len() == 1 {
            ""
        } else {
            "s"
        }
    ));
    for hint in &hints {
        lines.extend(page::wrap(hint, "", "  "));
    }
    lines.push(match seen_until {
        Some(day) => format!("Weather is known until {day}."),
        None => "No weather is known yet; dates come from the zone alone.".to_owned(),
    });
    let value = serde_json::json!({
        "in_order": true,
        "folder": folder.display().to_string(),
        "place": facts.place.name,
        "trees": trees,
        "entries": facts.register.trees.len(),
        "junipers": facts.register.junipers.len(),
        "hints": hints,
        "weather_seen_until": seen_until.map(|day| day.to_string()),
    });
    Output::Both { lines, value }
}

/// What is no fault and yet worth a look: coordinates beside the time zone,
/// cultivars of no list, crops too tender for the zone.
fn hints_of(facts: &Facts, today: NaiveDate) -> Vec<String> {
    let mut hints = Vec::new();
    let place = &facts.place;
    let (latitude, longitude, zone) = (place.latitude, place.longitude, place.time_zone);
    if let Some(wrong) = misplaced(latitude, longitude, zone, today.year()) {
        let said = setup::said(&wrong, latitude, longitude, zone.name());
        hints.push(format!("place.toml: {said}."));
    }
    for tree in &facts.register.trees {
        if let Some(cultivar) = &tree.cultivar
            && facts.knowledge.cultivar(&tree.crop, cultivar).is_none()
        {
            hints.push(format!(
                "register.toml, {}: {}",
                tree.id,
                unknown_cultivar(facts, &tree.crop, cultivar)
            ));
        }
    }
    for crop in &facts.knowledge.crops {
        let trees = facts.register.trees.iter();
        let ids: Vec<&str> = trees
            .filter(|tree| tree.stands() && tree.crop == crop.id)
            .map(|tree| tree.id.as_str())
            .collect();
        if let Some((coldest, _)) = &crop.coldest_zone
            && facts.place.hardiness.number() < *coldest
            && !ids.is_empty()
        {
            hints.push(format!(
                "register.toml, {}: {} in zone {}, but zone {coldest} is the coldest that \
                 usually carries it.",
                ids.join(" "),
                crop.name,
                facts.place.hardiness
            ));
        }
    }
    hints.extend(register_notes::held_against(facts));
    hints
}

fn unknown_cultivar(facts: &Facts, crop: &str, cultivar: &str) -> String {
    let names: Vec<&str> = facts
        .knowledge
        .cultivars
        .iter()
        .filter(|known| known.crop == crop)
        .map(|known| known.name.as_str())
        .collect();
    let near = crate::config::fault::nearest(cultivar, names.iter().copied());
    let meant = near.map_or_else(String::new, |name| format!(" Did you mean '{name}'?"));
    format!("'{cultivar}' ({crop}) is in no list here: its ratings are taken as unknown.{meant}")
}
