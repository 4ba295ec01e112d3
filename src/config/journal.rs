//! A journal written as a file: the demo's, and one to bring along.

use super::fault::{Fault, hint};
use super::place::crop;
use super::reader::{Sheet, Table};
use crate::facts::journal::{ChoreNoted, Journal, StageSeen};
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
        root.finish();
    }
    drop(parsed);
    journal.stages.sort_by_key(|seen| seen.date);
    journal.chores.sort_by_key(|noted| noted.date);
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
    })
}
