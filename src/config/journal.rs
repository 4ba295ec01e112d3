//! A journal written as a file: the demo's, and one to bring along.

use super::fault::{Fault, hint};
use super::place::crop;
use super::reader::{Sheet, Table};
use crate::facts::journal::{
    ChoreNoted, Damage, DamageCause, Harvest, Journal, Noted, Severity, ShootGrowth, StageSeen,
    Symptom,
};
use crate::facts::knowledge::Crop;

/// The file's name in the user's folder.
pub const FILE: &str = "journal.toml";

/// Reads a journal from the text of a file.
///
/// # Errors
/// Every fault of the file.
pub fn read(file: &str, text: &str, crops: &[Crop]) -> Result<Journal, Vec<Fault>> {
    let sheet = Sheet::new(file, text);
    let parsed = sheet.parse();
    let mut journal = Journal::default();
    {
        let root = sheet.root(&parsed);
        journal.stages = root
            .tables("stage")
            .iter()
            .filter_map(|table| stage_seen(table, crops))
            .collect();
        journal.chores = root
            .tables("chore")
            .iter()
            .filter_map(chore_noted)
            .collect();
        let tables = |key| root.tables(key);
        journal.symptoms = tables("symptom")
            .iter()
            .filter_map(|table| noted(table, crops, symptom))
            .collect();
        journal.shoots = tables("shoots")
            .iter()
            .filter_map(|table| noted(table, crops, shoots))
            .collect();
        journal.harvests = tables("harvest")
            .iter()
            .filter_map(|table| noted(table, crops, harvest))
            .collect();
        journal.damage = tables("damage")
            .iter()
            .filter_map(|table| noted(table, crops, damage))
            .collect();
        root.finish();
    }
    drop(parsed);
    journal.stages.sort_by_key(|seen| seen.date);
    journal.chores.sort_by_key(|noted| noted.date);
    journal.symptoms.sort_by_key(|noted| noted.date);
    journal.shoots.sort_by_key(|noted| noted.date);
    journal.harvests.sort_by_key(|noted| noted.date);
    journal.damage.sort_by_key(|noted| noted.date);
    if sheet.is_clean() {
        Ok(journal)
    } else {
        Err(sheet.into_faults())
    }
}

fn stage_seen(table: &Table<'_, '_>, crops: &[Crop]) -> Option<StageSeen> {
    let date = table.date("date");
    let crop = crop(table, crops);
    let cultivar = table.maybe_text("cultivar");
    let word = table.text("stage", "full bloom");
    table.finish();
    let (crop, word) = (crop?, word?);
    let known = crops.iter().find(|one| one.id == crop)?;
    let Some(stage) = known.stage(&word) else {
        let names: Vec<&str> = known
            .stages
            .iter()
            .map(|stage| stage.name.as_str())
            .collect();
        let meant = match hint(&word, &names) {
            far if far.is_empty() => format!("; its stages are {}", names.join(", ")),
            near => near,
        };
        table.fault("stage", format!("{crop} has no stage \"{word}\"{meant}"));
        return None;
    };
    Some(StageSeen {
        date: date?,
        crop,
        cultivar,
        stage: known.stages[stage].name.clone(),
    })
}

fn chore_noted(table: &Table<'_, '_>) -> Option<ChoreNoted> {
    let date = table.date("date");
    let task = table.text("task", "prune-pome-apple-2027");
    let done = table.flag("done", true);
    table.finish();
    Some(ChoreNoted {
        date: date?,
        task: task?,
        done,
        trees: Vec::new(),
    })
}

/// A note about trees by id, or about a crop: `trees` or `crop` must be there.
fn noted<T>(
    table: &Table<'_, '_>,
    crops: &[Crop],
    read: impl FnOnce(&Table<'_, '_>) -> Option<T>,
) -> Option<Noted<T>> {
    let date = table.date("date");
    let trees = table.words("trees");
    let about = table.has("crop").then(|| crop(table, crops)).flatten();
    if trees.is_empty() && !table.has("crop") {
        let message = "is missing: write the trees' ids, trees = [\"A1\"], or a crop";
        table.fault("trees", message.to_owned());
    }
    let note = table.maybe_text("note");
    let what = read(table);
    table.finish();
    Some(Noted {
        date: date?,
        trees,
        crop: about,
        note,
        what: what?,
    })
}

/// `what`, and `grade` from 0 to 5 or `share` of leaves, fruit or shoots.
fn symptom(table: &Table<'_, '_>) -> Option<Symptom> {
    let what = table.text("what", "cedar-apple-rust");
    let grade = table.maybe_whole("grade", 0, 5);
    let share = table.maybe_number("share", 0.0, 1.0);
    let severity = grade
        .and_then(|grade| u8::try_from(grade).ok())
        .map(Severity::Grade)
        .or(share.map(Severity::Share));
    Some(Symptom {
        what: what?,
        severity,
    })
}

/// `length_cm` of the usual shoot.
fn shoots(table: &Table<'_, '_>) -> Option<ShootGrowth> {
    table
        .number("length_cm", 0.0, 500.0)
        .map(|length_cm| ShootGrowth { length_cm })
}

/// `of_full`, the crop as a share of a full one, or `weight_kg`.
fn harvest(table: &Table<'_, '_>) -> Option<Harvest> {
    let of_full = table.maybe_number("of_full", 0.0, 2.0);
    let weight_kg = table.maybe_number("weight_kg", 0.0, 1e6);
    Some(Harvest { weight_kg, of_full })
}

/// `cause`, and `share` of what it is about.
fn damage(table: &Table<'_, '_>) -> Option<Damage> {
    let cause = table.choice("cause", &DamageCause::ALL);
    let share = table.maybe_number("share", 0.0, 1.0);
    Some(Damage {
        cause: cause?,
        share,
    })
}
