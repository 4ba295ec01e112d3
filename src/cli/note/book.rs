//! The journal as it is read, and put right: list, history, spray log, undo,
//! edit.

use super::entry::Desk;
use super::grammar::Where;
use super::names::Keeper;
use super::{id, now, open, plan_of, said, told, wrapped};
use crate::cli::answer::Output;
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Kind};
use crate::render::page;
use crate::service::gather::{self, Folders};
use crate::store::journal::{Act, Filter, JournalStore, Listed};
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use serde_json::{Map, Value, json};

/// Reading the journal, and putting it right.
#[derive(Clone, Debug, Subcommand)]
pub enum Book {
    /// Take a note back: the last one, or one by its number
    Undo {
        /// Its number, as `budtide journal` shows it
        number: Option<String>,
    },
    /// Change a note; what it said before is kept
    Edit {
        /// Its number
        number: String,
        /// A figure or word of it, such as rate="3 lb" or minutes=40
        #[arg(long, value_name = "KEY=VALUE")]
        set: Vec<String>,
        #[command(flatten)]
        at: Where,
    },
    /// What was noted: a list, one note's history, the spray log, CSV
    Journal(Journal),
}

/// What of the journal is shown.
#[derive(Clone, Debug, Args)]
pub struct Journal {
    /// "sprays" for the spray log, or a number for one note's history
    #[arg(value_name = "sprays|NUMBER")]
    pub what: Option<String>,
    /// Only one kind, such as stage, spray or low
    #[arg(long, value_name = "KIND")]
    pub kind: Option<String>,
    /// From this day on
    #[arg(long, value_name = "DAY")]
    pub from: Option<String>,
    /// Up to this day
    #[arg(long, value_name = "DAY")]
    pub to: Option<String>,
    /// About one crop
    #[arg(long, value_name = "CROP")]
    pub crop: Option<String>,
    /// About one tree
    #[arg(long, value_name = "TREE")]
    pub tree: Option<String>,
    /// About one task
    #[arg(long, value_name = "TASK")]
    pub task: Option<String>,
    /// Those taken back, instead of those that stand
    #[arg(long)]
    pub undone: bool,
    /// As CSV; with --kind, every field of that kind has its column
    #[arg(long)]
    pub csv: bool,
}

/// Does what was asked with the journal.
pub fn run(
    book: &Book,
    folders: &Folders,
    today: NaiveDate,
    as_of: Option<NaiveDate>,
    as_json: bool,
) -> Result<Output, String> {
    let facts = gather::facts(folders, today).map_err(|error| error.to_string())?;
    if !folders.data.join(crate::store::journal::FILE).is_file() {
        return match book {
            Book::Journal(_) if as_json => Ok(Output::Json("[]".to_owned())),
            Book::Journal(_) => Ok(Output::Lines(vec![
                "Nothing is noted yet. `budtide note --help` shows how.".to_owned(),
            ])),
            _ => Err("nothing is noted yet, so there is nothing to change".to_owned()),
        };
    }
    let mut store = open(&folders.data)?;
    match book {
        Book::Undo { number } => undo(&mut store, &facts, number.as_deref(), today, as_of),
        Book::Edit { number, set, at } => {
            let number = id(number)?;
            let listed = find(&store, number)?;
            let rest = without(&facts, &listed.entry);
            let desk = Desk {
                facts: &rest,
                today,
                keeper: Keeper::look(),
                plan: &|day| plan_of(&rest, day),
            };
            let mut entry = listed.entry.clone();
            change(&desk, &mut entry, set, at).map_err(|text| wrapped(&text))?;
            desk.check(&entry).map_err(|text| wrapped(&text))?;
            let now = now(&facts, as_of);
            store
                .edit(number, &entry, now)
                .map_err(|error| told(&error))?;
            let mut lines = vec![format!("Number {number} now says:")];
            lines.extend(page::wrap(
                &format!("{}, {}", said::line(&facts, &entry), entry.date),
                "  ",
                "    ",
            ));
            let changes = changes(&listed.entry, &entry);
            if changes.is_empty() {
                lines.push("  as it did before: nothing was changed by that".to_owned());
            }
            for text in changes {
                lines.extend(page::wrap(&text, "  ", "    "));
            }
            lines.push(format!(
                "`budtide undo {number}` brings back what it said before."
            ));
            let value = json!({
                "number": number.0,
                "before": entry_json(&listed.entry),
                "after": entry_json(&entry),
            });
            Ok(Output::Both { lines, value })
        }
        Book::Journal(journal) => show(&store, &facts, journal, today, as_json),
    }
}

fn find(store: &JournalStore, number: crate::store::EntryId) -> Result<Listed, String> {
    let all = store
        .list(&Filter::default())
        .map_err(|error| told(&error))?;
    all.into_iter()
        .find(|listed| listed.id == number)
        .ok_or_else(|| {
            format!("the journal has no note {number} that stands; `budtide journal` shows them")
        })
}

/// The facts without a stage or a chore that is being changed, so that it is
/// not held against itself.
fn without(facts: &Facts, entry: &Entry) -> Facts {
    let mut facts = facts.clone();
    if let (Fact::Stage(stage), Some(crop)) = (&entry.what, &entry.crop) {
        let stages = &mut facts.journal.stages;
        if let Some(at) = stages.iter().position(|seen| {
            seen.date == entry.date && seen.crop == *crop && seen.stage == stage.stage
        }) {
            stages.remove(at);
        }
    }
    if let Some(task) = entry.what.task() {
        let chores = &mut facts.journal.chores;
        let own = chores.iter().position(|noted| {
            noted.date == entry.date && noted.task == task && noted.trees == entry.trees
        });
        if let Some(at) = own {
            chores.remove(at);
        }
    }
    facts
}

fn change(desk: &Desk<'_>, entry: &mut Entry, set: &[String], at: &Where) -> Result<(), String> {
    if set.is_empty() && at.on.is_none() && at.tree.is_empty() && at.say.is_none() {
        return Err(
            "say what to change: --on DAY, --tree TREES, --say TEXT or --set KEY=VALUE".to_owned(),
        );
    }
    if at.on.is_some() {
        entry.date = desk.date(at)?;
    }
    if !at.tree.is_empty() {
        let crop = entry.crop.as_deref();
        entry.trees = match (&entry.what, entry.what.task(), crop) {
            (_, Some(task), _) => desk.trees_of_named(task, &at.tree)?,
            (Fact::Planting(_), _, Some(crop)) => desk.new_names(&at.tree, crop)?,
            (Fact::Removal(_), ..) => desk.trees_or_junipers(&at.tree)?,
            (Fact::Symptom(_), _, None) => desk.juniper_names(&at.tree)?,
            _ => desk.trees(&at.tree, crop)?,
        };
    }
    if let Some(text) = &at.say {
        entry.note = Some(text.clone()).filter(|text| !text.trim().is_empty());
    }
    for pair in set {
        let (key, value) = pair
            .split_once('=')
            .ok_or_else(|| format!("\"{pair}\" is not KEY=VALUE; nothing was changed"))?;
        let (key, value) = (key.trim(), value.trim());
        if key == "crop" {
            entry.crop = Some(desk.crop(value)?);
            continue;
        }
        entry.what = crate::store::with_field(&entry.what, key, value)
            .map_err(|why| format!("{why}; nothing was changed"))?;
    }
    if let (Fact::Stage(stage), Some(crop)) = (&mut entry.what, &entry.crop) {
        let known = desk.facts.knowledge.crop(crop);
        let place = known.and_then(|known| known.stages.get(known.stage(&stage.stage)?));
        match place {
            Some(known) => stage.stage.clone_from(&known.name),
            None => {
                return Err(format!(
                    "{crop} has no stage \"{}\"; nothing was changed",
                    stage.stage
                ));
            }
        }
    }
    Ok(())
}

fn undo(
    store: &mut JournalStore,
    facts: &Facts,
    number: Option<&str>,
    today: NaiveDate,
    as_of: Option<NaiveDate>,
) -> Result<Output, String> {
    let number = match number {
        Some(text) => id(text)?,
        None => {
            let latest = store.latest().map_err(|error| told(&error))?;
            latest
                .ok_or("nothing stands in the journal, so nothing can be taken back")?
                .id
        }
    };
    let done = store
        .undo(number, now(facts, as_of))
        .map_err(|error| told(&error))?;
    let mut lines = page::wrap(
        &format!(
            "Taken back, number {number}: {}, {}.",
            said::line(facts, &done.taken),
            done.taken.date
        ),
        "",
        "  ",
    );
    match &done.left {
        Some(left) => lines.extend(page::wrap(
            &format!("It says again: {}, {}.", said::line(facts, left), left.date),
            "",
            "  ",
        )),
        None => lines.push(format!(
            "`budtide journal {number}` still shows its history."
        )),
    }
    let _ = today;
    let value = json!({
        "number": number.0,
        "taken_back": entry_json(&done.taken),
        "says_again": done.left.as_ref().map(entry_json),
    });
    Ok(Output::Both { lines, value })
}

fn show(
    store: &JournalStore,
    facts: &Facts,
    journal: &Journal,
    today: NaiveDate,
    as_json: bool,
) -> Result<Output, String> {
    let sprays = journal
        .what
        .as_deref()
        .is_some_and(|what| matches!(what.to_lowercase().as_str(), "sprays" | "spray"));
    if let (Some(what), false) = (&journal.what, sprays) {
        return history(
            store,
            facts,
            id(what).map_err(|_| {
                format!("\"{what}\" is neither \"sprays\" nor the number of a note")
            })?,
            as_json,
        );
    }
    let kind = journal.kind.as_deref().map(kind_of).transpose()?;
    let kind = if sprays { Some(Kind::Spray) } else { kind };
    let day = |text: &Option<String>| {
        let text = text.as_deref();
        text.map(|text| super::day::read(text, today)).transpose()
    };
    let crop = journal.crop.as_deref().map(|word| {
        super::names::find(word, "crop", &super::name_lists::crops(facts), Keeper::Away)
            .map_err(|text| text.replace("; nothing was noted", ""))
    });
    let filter = Filter {
        kinds: kind.into_iter().collect(),
        from: day(&journal.from)?,
        to: day(&journal.to)?,
        crop: crop.transpose()?,
        tree: journal.tree.clone(),
        task: journal.task.clone(),
        undone: journal.undone,
    };
    if journal.csv {
        let csv = match kind {
            Some(kind) => store.export_csv(kind).map_err(|error| told(&error))?,
            None => csv_of_all(facts, &store.list(&filter).map_err(|error| told(&error))?)?,
        };
        return Ok(Output::Raw(format!("{}\n", csv.trim_end())));
    }
    let listed = store.list(&filter).map_err(|error| told(&error))?;
    if as_json {
        return json_of(&listed).map(Output::Json);
    }
    if listed.is_empty() {
        return Ok(Output::Lines(vec!["No note fits.".to_owned()]));
    }
    if sprays {
        return Ok(Output::Lines(spray_log(facts, &listed)));
    }
    let mut lines = vec![format!(
        "{} in the journal{}",
        crate::render::sentence::named(
            u32::try_from(listed.len()).unwrap_or(u32::MAX),
            "note",
            "notes"
        ),
        if journal.undone { ", taken back" } else { "" }
    )];
    for one in &listed {
        let edited = if one.revisions > 1 { " (changed)" } else { "" };
        let first = format!("{:>4}  {}  ", one.id.to_string(), one.entry.date);
        lines.extend(page::wrap(
            &format!("{}{edited}", said::line(facts, &one.entry)),
            &first,
            "                  ",
        ));
    }
    Ok(Output::Lines(lines))
}

fn kind_of(word: &str) -> Result<Kind, String> {
    let word = word.trim().to_lowercase();
    let word = word
        .strip_suffix('s')
        .filter(|one| Kind::read(one).is_some())
        .unwrap_or(&word);
    Kind::read(word).ok_or_else(|| {
        let kinds: Vec<&str> = Kind::ALL.iter().map(|(_, word)| *word).collect();
        wrapped(&format!(
            "no kind of note is called \"{word}\"; there are {}",
            kinds.join(", ")
        ))
    })
}

fn history(
    store: &JournalStore,
    facts: &Facts,
    number: crate::store::EntryId,
    as_json: bool,
) -> Result<Output, String> {
    let revisions = store.history(number).map_err(|error| told(&error))?;
    let zone = facts.place.time_zone;
    let rows: Vec<(String, &str, Option<&Entry>)> = revisions
        .iter()
        .map(|revision| {
            let at = revision
                .at
                .with_timezone(&zone)
                .format("%Y-%m-%d %H:%M")
                .to_string();
            match &revision.act {
                Act::Recorded(entry) => (at, "noted", Some(entry)),
                Act::Edited(entry) => (at, "changed", Some(entry)),
                Act::Undone => (at, "taken back", None),
            }
        })
        .collect();
    if as_json {
        let list: Vec<Value> = rows
            .iter()
            .map(|(at, act, entry)| json!({"at": at, "act": act, "entry": entry.map(entry_json)}))
            .collect();
        return serde_json::to_string_pretty(&list)
            .map(Output::Json)
            .map_err(|e| e.to_string());
    }
    let mut lines = vec![format!("The history of number {number}")];
    // The versions that stand, the latest last.
    let mut standing: Vec<&Entry> = Vec::new();
    for (at, act, entry) in rows {
        let text = entry.map_or_else(String::new, |entry| {
            format!(": {}, {}", said::line(facts, entry), entry.date)
        });
        lines.extend(page::wrap(
            &format!("{act}{text}"),
            &format!("  {at}  "),
            "      ",
        ));
        // A line holds not all that a spray was noted with.
        let more = match (standing.last(), entry) {
            (Some(before), Some(entry)) => changes(before, entry),
            (None, Some(entry)) if matches!(entry.what, Fact::Spray(_)) => {
                let parts = parts(entry).into_iter();
                parts
                    .filter(|(name, _)| {
                        !matches!(
                            name.as_str(),
                            "day" | "words" | "trees" | "crop" | "materials"
                        )
                    })
                    .map(|(name, value)| format!("{name}: {value}"))
                    .collect()
            }
            _ => Vec::new(),
        };
        for text in more {
            lines.extend(page::wrap(&text, "      ", "        "));
        }
        match entry {
            Some(entry) => standing.push(entry),
            None => {
                standing.pop();
            }
        }
    }
    Ok(Output::Lines(lines))
}

/// The spray log: every field, whether filled or not, so that a gap is seen.
fn spray_log(facts: &Facts, listed: &[Listed]) -> Vec<String> {
    let place = &facts.place;
    let mut lines = vec![format!("Spray log, {}", place.name)];
    for one in listed {
        let Fact::Spray(spray) = &one.entry.what else {
            continue;
        };
        let time =
            |time: Option<chrono::NaiveTime>| time.map(|time| time.format("%H:%M").to_string());
        let times = match (time(spray.start), time(spray.end)) {
            (Some(start), Some(end)) => Some(format!("{start} to {end}")),
            (start, end) => start.or(end),
        };
        let names: Vec<String> = spray
            .materials
            .iter()
            .map(|id| {
                let known = facts
                    .knowledge
                    .materials
                    .iter()
                    .find(|known| known.id == *id);
                known.map_or_else(
                    || id.clone(),
                    |known| format!("{} ({})", known.name, known.code),
                )
            })
            .collect();
        lines.push(String::new());
        lines.push(format!("{}  number {}", one.entry.date, one.id));
        let crop = one
            .entry
            .crop
            .as_deref()
            .map(|crop| said::crop_name(facts, crop));
        let trees = Some(one.entry.trees.join(", ")).filter(|trees| !trees.is_empty());
        let rows: [(&str, Option<String>); 15] = [
            ("time", times),
            ("crop", crop),
            ("trees", trees),
            ("active ingredient", Some(names.join(", "))),
            ("label", spray.label.clone()),
            ("rate", spray.rate.clone()),
            ("amount", spray.amount.clone()),
            ("area", spray.area.clone()),
            ("against", spray.against.clone()),
            ("wind", spray.wind.clone()),
            ("applicator", spray.by.clone()),
            (
                "no entry before",
                spray
                    .reentry
                    .map(|at| at.format("%Y-%m-%d %H:%M").to_string()),
            ),
            (
                "no picking before",
                spray.harvest_from.map(|day| day.to_string()),
            ),
            ("note", one.entry.note.clone()),
            (
                "recorded",
                Some(format!(
                    "{}{}",
                    one.recorded
                        .with_timezone(&place.time_zone)
                        .format("%Y-%m-%d %H:%M"),
                    if one.revisions > 1 {
                        ", changed since; the history is kept"
                    } else {
                        ""
                    }
                )),
            ),
        ];
        for (name, value) in rows {
            let value = value.unwrap_or_else(|| "not noted".to_owned());
            lines.extend(page::wrap(
                &value,
                &format!("  {name:<18} "),
                &" ".repeat(21),
            ));
        }
    }
    lines
}

/// An entry's header and fields as texts by name, in a fixed order; those
/// without a value left out.
fn parts(entry: &Entry) -> Vec<(String, String)> {
    let trees = Some(entry.trees.join(", ")).filter(|trees| !trees.is_empty());
    let header = [
        ("day", Some(entry.date.to_string())),
        ("crop", entry.crop.clone()),
        ("trees", trees),
        ("words", entry.note.clone()),
    ];
    let header = header
        .into_iter()
        .filter_map(|(name, value)| Some((name.to_owned(), value?)));
    let fields = crate::store::fields_of(&entry.what);
    let fields = fields.into_iter().map(|(name, value)| {
        let text = match value {
            Value::String(text) => text,
            Value::Array(list) => {
                let words = list.iter().map(|one| one.as_str().unwrap_or_default());
                words.collect::<Vec<_>>().join(", ")
            }
            other => other.to_string(),
        };
        (name, text)
    });
    header.chain(fields).collect()
}

/// What an edit changed: `rate: "2 lb", before "3 lb"`.
fn changes(before: &Entry, after: &Entry) -> Vec<String> {
    let (old, new) = (parts(before), parts(after));
    let find = |among: &[(String, String)], name: &str| {
        let found = among.iter().find(|(own, _)| own == name);
        found.map(|(_, value)| value.clone())
    };
    let mut names: Vec<&String> = old.iter().chain(&new).map(|(name, _)| name).collect();
    let mut seen: Vec<&String> = Vec::new();
    names.retain(|name| {
        let first = !seen.contains(name);
        seen.push(name);
        first
    });
    names
        .into_iter()
        .filter_map(|name| match (find(&old, name), find(&new, name)) {
            (Some(old), Some(new)) if old == new => None,
            (Some(old), Some(new)) => Some(format!("{name}: {new}, before {old}")),
            (Some(old), None) => Some(format!("{name}: taken away, before {old}")),
            (None, Some(new)) => Some(format!("{name}: {new}, not noted before")),
            (None, None) => None,
        })
        .collect()
}

/// An entry as JSON; figures in SI units.
pub fn entry_json(entry: &Entry) -> Value {
    let fields: Map<String, Value> = crate::store::fields_of(&entry.what);
    json!({
        "kind": entry.what.kind().word(),
        "date": entry.date.to_string(),
        "crop": entry.crop,
        "trees": entry.trees,
        "note": entry.note,
        "fields": fields,
    })
}

/// An entry of the journal as JSON, with its number.
pub fn listed_json(one: &Listed) -> Value {
    let mut value = entry_json(&one.entry);
    if let Some(map) = value.as_object_mut() {
        map.insert("number".to_owned(), one.id.0.into());
        map.insert("recorded".to_owned(), one.recorded.to_rfc3339().into());
        map.insert("changed".to_owned(), one.changed.to_rfc3339().into());
    }
    value
}

/// Entries as JSON.
pub fn json_of(listed: &[Listed]) -> Result<String, String> {
    let list: Vec<Value> = listed.iter().map(listed_json).collect();
    serde_json::to_string_pretty(&list).map_err(|error| error.to_string())
}

fn csv_of_all(facts: &Facts, listed: &[Listed]) -> Result<String, String> {
    let failed = |error: csv::Error| format!("the CSV cannot be written: {error}");
    let mut writer = csv::Writer::from_writer(Vec::new());
    let head = ["number", "date", "kind", "crop", "trees", "what", "note"];
    writer.write_record(head).map_err(failed)?;
    for one in listed {
        let entry = &one.entry;
        let bare = Entry {
            note: None,
            trees: Vec::new(),
            ..entry.clone()
        };
        writer
            .write_record([
                one.id.to_string(),
                entry.date.to_string(),
                entry.what.kind().word().to_owned(),
                entry.crop.clone().unwrap_or_default(),
                entry.trees.join("; "),
                said::line(facts, &bare),
                entry.note.clone().unwrap_or_default(),
            ])
            .map_err(failed)?;
    }
    let bytes = writer.into_inner().map_err(|error| error.to_string())?;
    String::from_utf8(bytes).map_err(|error| error.to_string())
}
