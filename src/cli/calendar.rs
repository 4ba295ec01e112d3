//! `calendar`: the year as lanes or as a list, and parts of it.

use super::{Output, json};
use crate::clock::Clock;
use crate::config::fault::hint;
use crate::facts::Facts;
use crate::plan::{Plan, Task};
use crate::render::page::{self, Layout};
use crate::render::{icalendar, nudge, views};
use crate::season::Season;
use chrono::Days;
use clap::Args;

/// How the calendar is asked for; without any of these, lanes of the year.
#[derive(Clone, Debug, Default, Args)]
pub struct Calendar {
    /// As a list by month, every task with its name
    #[arg(long, group = "part")]
    list: bool,
    /// Only the tasks of one crop, one lane each
    #[arg(long, group = "part", value_name = "CROP")]
    crop: Option<String>,
    /// The coming seven days, day by day
    #[arg(long, group = "part")]
    week: bool,
    /// The coming five weeks, week by week
    #[arg(long, group = "part")]
    month: bool,
    /// Only what is for one tree, by its id in the register
    #[arg(long, group = "part", value_name = "ID")]
    tree: Option<String>,
    /// Only one chore, by its id or by words of its name
    #[arg(long, group = "part", value_name = "CHORE")]
    chore: Option<String>,
    /// Your hours week by week: wanted, given, and what finds no place
    #[arg(long, group = "part")]
    hours: bool,
    /// All of it as an iCalendar file (RFC 5545) for a calendar program
    #[arg(long, group = "part")]
    icalendar: bool,
}

/// Shows the calendar as it was asked for.
///
/// # Errors
/// A crop, tree or chore that is not known, with the nearest that is.
pub fn run(
    asked: &Calendar,
    facts: &Facts,
    season: &Season,
    plan: &Plan,
    as_json: bool,
) -> Result<Output, String> {
    let crop = asked.crop.as_deref();
    let crop = crop.map(|word| super::show::known_crop(facts, word));
    let crop = crop.transpose()?;
    let tree = asked.tree.as_deref().map(|id| known_tree(facts, id));
    let tree = tree.transpose()?;
    let chore = asked.chore.as_deref().map(|word| known_chore(facts, word));
    let chore = chore.transpose()?;
    if asked.icalendar {
        let entries = nudge::entries(facts, plan);
        let stamp = Clock::Fixed(plan.today).now(facts.place.time_zone);
        let name = &facts.place.name;
        return Ok(Output::Raw(icalendar::publish(name, &entries, stamp)));
    }
    if as_json {
        let ahead = match asked {
            Calendar { week: true, .. } => Some(plan.today + Days::new(6)),
            Calendar { month: true, .. } => Some(plan.today + Days::new(34)),
            _ => None,
        };
        let wanted = |task: &Task| {
            crop.as_ref()
                .is_none_or(|crop| task.crop.as_ref() == Some(crop))
                && tree.as_ref().is_none_or(|id| task.trees.contains(id))
                && chore.as_ref().is_none_or(|id| task.chore == *id)
                && ahead.is_none_or(|until| task.window.opens.spread.middle <= until)
        };
        return json::plan(facts, season, plan, &wanted).map(Output::Json);
    }
    let lines = match (crop, tree, chore) {
        (Some(crop), _, _) => page::calendar(facts, season, plan, &Layout::Crop(crop)),
        (_, Some(id), _) => views::tree(facts, season, plan, &id),
        (_, _, Some(id)) => views::chore(facts, season, plan, &id),
        _ if asked.week => views::week(facts, season, plan),
        _ if asked.month => views::month(facts, season, plan),
        _ if asked.hours => views::hours(facts, season, plan),
        _ if asked.list => page::calendar(facts, season, plan, &Layout::List),
        _ => page::calendar(facts, season, plan, &Layout::Lanes),
    };
    Ok(Output::Lines(lines))
}

/// The id of a tree or juniper, without regard to case.
fn known_tree(facts: &Facts, word: &str) -> Result<String, String> {
    let register = &facts.register;
    let trees = register.trees.iter().map(|tree| tree.id.as_str());
    let junipers = register.junipers.iter().map(|juniper| juniper.id.as_str());
    let ids: Vec<&str> = trees.chain(junipers).collect();
    let found = ids
        .iter()
        .find(|id| **id == word)
        .or_else(|| ids.iter().find(|id| id.eq_ignore_ascii_case(word)));
    found.map(|id| (*id).to_owned()).ok_or_else(|| {
        let text = format!(
            "no tree or juniper \"{word}\" in the register{}",
            hint(word, &ids)
        );
        page::wrap(&text, "", "  ").join("\n")
    })
}

/// The id of a chore by its id, or by words that only one chore's name holds.
fn known_chore(facts: &Facts, word: &str) -> Result<String, String> {
    let chores = &facts.knowledge.chores;
    let wanted = word.trim().to_lowercase();
    if let Some(chore) = chores.iter().find(|chore| chore.id == wanted) {
        return Ok(chore.id.clone());
    }
    let found: Vec<&str> = chores
        .iter()
        .filter(|chore| {
            let name = format!("{} {} {}", chore.name, chore.lane, chore.id).to_lowercase();
            !wanted.is_empty() && wanted.split_whitespace().all(|part| name.contains(part))
        })
        .map(|chore| chore.id.as_str())
        .collect();
    match found[..] {
        [one] => Ok(one.to_owned()),
        [] => {
            let ids: Vec<&str> = chores.iter().map(|chore| chore.id.as_str()).collect();
            let text = format!("no chore named \"{word}\"{}", hint(word, &ids));
            Err(page::wrap(&text, "", "  ").join("\n"))
        }
        _ => {
            let text = format!(
                "several chores are meant by \"{word}\"; name one of them: {}",
                found.join(", ")
            );
            Err(page::wrap(&text, "", "  ").join("\n"))
        }
    }
}
