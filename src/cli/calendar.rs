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

/// How the calendar is asked for: in one form, of some tasks or of all.
/// Without any of these, lanes of the year.
#[derive(Clone, Debug, Default, Args)]
pub struct Calendar {
    /// As a list by month, every task with its name
    #[arg(long)]
    list: bool,
    /// Only the tasks of one crop; alone, one lane each
    #[arg(long, value_name = "CROP")]
    crop: Option<String>,
    /// The coming seven days, day by day
    #[arg(long)]
    week: bool,
    /// The coming five weeks, week by week
    #[arg(long)]
    month: bool,
    /// Only what is for one tree, by its id in the register
    #[arg(long, value_name = "ID")]
    tree: Option<String>,
    /// Only one chore, by its id or by words of its name
    #[arg(long, value_name = "CHORE")]
    chore: Option<String>,
    /// Your hours week by week: wanted, given, and what finds no place
    #[arg(long)]
    hours: bool,
    /// All of it as an iCalendar file (RFC 5545) for a calendar program
    #[arg(long)]
    icalendar: bool,
}

impl Calendar {
    /// Whether what was asked for goes together.
    ///
    /// # Errors
    /// What does not, and what does.
    pub fn check(&self) -> Result<(), String> {
        let forms = [
            ("--list", self.list),
            ("--week", self.week),
            ("--month", self.month),
            ("--hours", self.hours),
            ("--icalendar", self.icalendar),
        ];
        let asked: Vec<&str> = forms
            .iter()
            .filter(|form| form.1)
            .map(|form| form.0)
            .collect();
        if let [first, second, ..] = asked[..] {
            return Err(format!(
                "{first} and {second} are two forms of the calendar: ask for one at a time; \
                 --crop, --tree and --chore may go with it"
            ));
        }
        let filters = [
            ("--crop", &self.crop),
            ("--tree", &self.tree),
            ("--chore", &self.chore),
        ];
        let filter = filters.iter().find(|(_, value)| value.is_some());
        match filter.filter(|_| self.hours) {
            Some((name, _)) => Err(format!(
                "--hours are those of the whole orchard: leave out {name}, or ask for --list, \
                 --week or --month with it"
            )),
            None => Ok(()),
        }
    }
}

/// The tasks that are asked for, by ids that are known.
#[derive(Debug)]
struct Filter {
    crop: Option<String>,
    tree: Option<String>,
    chore: Option<String>,
}

impl Filter {
    fn of(asked: &Calendar, facts: &Facts) -> Result<Self, String> {
        let crop = asked.crop.as_deref();
        let crop = crop.map(|word| super::show::known_crop(facts, word));
        let tree = asked.tree.as_deref().map(|id| known_tree(facts, id));
        let chore = asked.chore.as_deref().map(|word| known_chore(facts, word));
        Ok(Filter {
            crop: crop.transpose()?,
            tree: tree.transpose()?,
            chore: chore.transpose()?,
        })
    }

    fn wants(&self, task: &Task) -> bool {
        let crop = self.crop.as_ref();
        let tree = self.tree.as_ref();
        let chore = self.chore.as_ref();
        crop.is_none_or(|crop| task.crop.as_ref() == Some(crop))
            && tree.is_none_or(|id| task.trees.contains(id))
            && chore.is_none_or(|id| task.chore == *id)
    }

    /// `apple, tree A1`; empty where all is wanted.
    fn words(&self, facts: &Facts) -> String {
        let name = |id: &String| facts.knowledge.crop(id).map(|crop| crop.plural.clone());
        let parts = [
            self.crop.as_ref().and_then(name),
            self.tree.clone(),
            self.chore.clone(),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
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
    let filter = Filter::of(asked, facts)?;
    let only = filter.words(facts);
    let mut own = plan.clone();
    if !only.is_empty() {
        own.tasks.retain(|task| filter.wants(task));
        // They speak of the whole orchard.
        own.notes.clear();
    }
    if asked.icalendar {
        let entries = nudge::entries(facts, &own);
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
            filter.wants(task) && ahead.is_none_or(|until| task.window.opens.spread.middle <= until)
        };
        return json::plan(facts, season, plan, &wanted).map(Output::Json);
    }
    let plain = !(asked.list || asked.week || asked.month || asked.hours);
    let lines = match (&filter.crop, &filter.tree, &filter.chore) {
        (Some(crop), None, None) if plain => {
            page::calendar(facts, season, plan, &Layout::Crop(crop.clone()))
        }
        (None, Some(id), None) if plain => views::tree(facts, season, plan, id),
        (None, None, Some(id)) if plain => views::chore(facts, season, plan, id),
        (None, None, None) if plain => page::calendar(facts, season, plan, &Layout::Lanes),
        _ if asked.hours => views::hours(facts, season, plan),
        _ => {
            let mut lines = match asked {
                Calendar { week: true, .. } => views::week(facts, season, &own),
                Calendar { month: true, .. } => views::month(facts, season, &own),
                _ => page::calendar(facts, season, &own, &Layout::List),
            };
            if !only.is_empty() {
                lines.insert(1, format!("Only {only}."));
                if own.tasks.is_empty() {
                    lines.push("No task of the coming year is for that.".to_owned());
                }
            }
            lines
        }
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
