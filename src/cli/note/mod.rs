//! The commands that note what the keeper saw and did, and the journal that
//! they fill.

pub mod book; // list, history, spray log, undo, edit
mod caught; // from when heat is counted after a catch
mod day; // days as one writes them
mod entry; // from words to an entry
mod grammar; // the words themselves
mod intervals; // re-entry and days to harvest
mod meant; // what is meant by a word
mod measures; // figures as one writes them
mod name_lists; // everything that has a name
mod names; // names as one writes them
mod planted; // trees planted and taken out
mod rained; // what a reading of the gauge stands for
mod said; // entries in words
mod sound; // what cannot be, and what is doubtful
mod spray_said; // oil and bees after a spray
mod sprayed; // a spray, as a log is asked for it
pub(in crate::cli) mod tasks; // tasks by a part of their name

pub use grammar::Keep;
pub(super) use grammar::whole;

use super::answer::{Output, sentences};
use crate::clock::Clock;
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Journal};
use crate::plan::{self, Plan};
use crate::render::page;
use crate::season;
use crate::service::gather::{self, Folders};
use crate::store::journal::{self as kept, Filter, JournalStore, Listed};
use crate::store::{EntryId, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use entry::{Desk, Made};
use names::Keeper;
use serde_json::json;
use std::path::Path;

/// The calendar of a day.
fn plan_of(facts: &Facts, today: NaiveDate) -> Plan {
    plan::make(facts, &season::derive(facts, today), today)
}

/// Opens the keeper's journal, or begins it.
fn open(data: &Path) -> Result<JournalStore, String> {
    JournalStore::open(&data.join(kept::FILE)).map_err(|error| told(&error))
}

fn told(error: &StoreError) -> String {
    page::wrap(&error.to_string(), "", "  ").join("\n")
}

fn wrapped(text: &str) -> String {
    page::wrap(text, "", "  ").join("\n")
}

/// Makes the entry of a command, on the facts of a day.
fn made(facts: &Facts, today: NaiveDate, keep: &Keep) -> Result<Made, String> {
    let plan = |day: NaiveDate| {
        let mut then = facts.clone();
        then.journal = facts.journal.as_of(day);
        then.heed_notes(day);
        plan_of(&then, day)
    };
    let desk = Desk {
        facts,
        today,
        keeper: Keeper::look(),
        plan: &plan,
    };
    desk.entry(keep).map_err(|text| wrapped(&text))
}

/// What an entry does to the calendar of a day.
fn effect_of(facts: &Facts, today: NaiveDate, entry: &Entry) -> Vec<String> {
    if !said::moves(entry) {
        return Vec::new();
    }
    let before = plan_of(facts, today);
    let mut then = facts.clone();
    then.journal = then.journal.with(Journal::from_entries([entry.clone()]));
    then.heed_notes(today);
    let season = season::derive(&then, today);
    let mut lines = said::sense(&then, &season, entry);
    lines.extend(said::effect(
        facts,
        &before,
        &plan::make(&then, &season, today),
    ));
    lines
}

/// Notes something in the keeper's journal and says what it changed.
pub fn run(
    keep: &Keep,
    folders: &Folders,
    today: NaiveDate,
    as_of: Option<NaiveDate>,
) -> Result<Output, String> {
    let facts = gather::facts(folders, today).map_err(|error| error.to_string())?;
    let Made { entry, told } = made(&facts, today, keep)?;
    let mut store = open(&folders.data)?;
    if let Some(same) = noted_already(&store, &entry)? {
        return Err(wrapped(&format!(
            "this stands already, as number {}: {}; nothing was noted",
            same.id,
            said::line(&facts, &same.entry)
        )));
    }
    let now = now(&facts, as_of);
    let id = store
        .record(&entry, now)
        .map_err(|error| self::told(&error))?;
    let mut lines = page::wrap(
        &format!(
            "Noted as {id}: {}, {}.",
            said::line(&facts, &entry),
            entry.date
        ),
        "",
        "  ",
    );
    let said = said_of(&facts, &entry, &told, today);
    let noted = book::listed_json(&Listed {
        id,
        recorded: now,
        changed: now,
        revisions: 1,
        entry,
    });
    let value = json!({ "noted": noted, "said": sentences(&said) });
    lines.extend(said);
    lines.push(format!("`budtide undo {id}` takes it back."));
    Ok(Output::Both { lines, value })
}

/// What the same note would do to the demo, of which nothing is kept.
pub fn demo(keep: &Keep, today: NaiveDate) -> Result<Output, String> {
    let facts = gather::demo(today).map_err(|error| error.to_string())?;
    let Made { entry, told } = made(&facts, today, keep)?;
    let mut lines = page::wrap(
        &format!(
            "Would be noted: {}, {}.",
            said::line(&facts, &entry),
            entry.date
        ),
        "",
        "  ",
    );
    let said = said_of(&facts, &entry, &told, today);
    // The demo keeps no journal.
    let value = json!({
        "noted": null, "would_note": book::entry_json(&entry), "said": sentences(&said),
    });
    lines.extend(said);
    lines.push("The demo keeps no journal: nothing was noted.".to_owned());
    Ok(Output::Both { lines, value })
}

/// What is said of an entry besides that it was noted.
fn said_of(facts: &Facts, entry: &Entry, told: &[String], today: NaiveDate) -> Vec<String> {
    let told = told.iter().flat_map(|text| page::wrap(text, "", "  "));
    let mut lines: Vec<String> = told.collect();
    lines.extend(after(facts, entry, today));
    lines.extend(effect_of(facts, today, entry));
    lines
}

/// What the keeper should know after a note, besides the calendar.
fn after(facts: &Facts, entry: &Entry, today: NaiveDate) -> Vec<String> {
    let text = match &entry.what {
        Fact::Symptom(symptom) => {
            let Some(crop) = entry.crop.as_deref() else {
                return Vec::new();
            };
            return super::ask::lines(facts, crop, &symptom.what);
        }
        Fact::Spray(_) | Fact::Catch(_) | Fact::Rain(_) => {
            let mut texts = spray_said::minded(facts, entry, today);
            texts.extend(caught::meant(facts, entry, today));
            texts.extend(rained::meant(facts, entry, today));
            return texts
                .iter()
                .flat_map(|text| page::wrap(text, "", "  "))
                .collect();
        }
        Fact::Skipped(_) => "It is off the list for this season.",
        Fact::Buds(_) => "The count now stands in the place of the estimate.",
        Fact::Low(_) => "For these trees it goes before the station's low.",
        _ => return Vec::new(),
    };
    vec![text.to_owned()]
}

/// The entry that says the same already, of the kinds that are said once.
fn noted_already(store: &JournalStore, entry: &Entry) -> Result<Option<Listed>, String> {
    let once = matches!(
        entry.what,
        Fact::Stage(_)
            | Fact::Done(_)
            | Fact::Skipped(_)
            | Fact::Low(_)
            | Fact::Planting(_)
            | Fact::Removal(_)
    );
    if !once {
        return Ok(None);
    }
    let filter = Filter {
        kinds: vec![entry.what.kind()],
        from: Some(entry.date),
        to: Some(entry.date),
        ..Filter::default()
    };
    let listed = store.list(&filter).map_err(|error| told(&error))?;
    Ok(listed.into_iter().find(|listed| listed.entry == *entry))
}

/// The instant of a note: the day's morning where the day is fixed.
fn now(facts: &Facts, as_of: Option<NaiveDate>) -> DateTime<Utc> {
    as_of
        .map_or(Clock::Wall, Clock::Fixed)
        .now(facts.place.time_zone)
}

/// Reads the number of an entry.
fn id(text: &str) -> Result<EntryId, String> {
    text.parse().map_err(|_| {
        format!("\"{text}\" is not the number of an entry; `budtide journal` shows them")
    })
}
