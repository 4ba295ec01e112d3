//! Files in, checked facts out.
//!
//! All faults of all files are told at once, each with file, line, column,
//! key, the line itself and the nearest known name.

pub mod delivery;
pub mod demo;
pub mod fault;
pub mod journal;
pub mod knowledge;
pub mod place;
pub mod reader;
pub mod register;
pub mod weather;

use crate::facts::journal::Journal;
use crate::facts::knowledge::Knowledge;
use crate::facts::place::Place;
use crate::facts::preferences::Preferences;
use crate::facts::register::Register;
use chrono::{Datelike, NaiveDate};
use fault::Fault;
use knowledge::shelf::Shelf;
use std::path::Path;

/// Everything that the user's folder and the shipped knowledge say.
#[derive(Clone, Debug)]
pub struct Settings {
    /// `place.toml`.
    pub place: Place,
    /// The table `[nudges]` of `place.toml`.
    pub preferences: Preferences,
    /// By which ways messages leave.
    pub delivery: delivery::Delivery,
    /// Where the weather comes from.
    pub weather: weather::WeatherSettings,
    /// What works but ought to be mended.
    pub warnings: Vec<Fault>,
    /// `register.toml`.
    pub register: Register,
    /// `journal.toml`, if there is one: notes brought along.
    pub journal: Journal,
    /// The shipped knowledge with the user's files over it.
    pub knowledge: Knowledge,
}

/// Reads a user's folder.
///
/// # Errors
/// Every fault of every file, at once.
pub fn load(folder: &Path) -> Result<Settings, Vec<Fault>> {
    load_with(folder, &Shelf::open(Some(folder)))
}

/// The same with the files of knowledge as they were read before.
///
/// # Errors
/// Every fault of every file, at once.
pub fn load_with(folder: &Path, shelf: &Shelf) -> Result<Settings, Vec<Fault>> {
    let knowledge = knowledge::on(shelf, None)?;
    let crops = &knowledge.crops;
    // A folder without both files is told of once.
    let bare = [place::FILE, register::FILE]
        .iter()
        .all(|name| matches!(folder.join(name).try_exists(), Ok(false)));
    if bare {
        return Err(vec![Fault::whole(
            place::FILE,
            format!(
                "there is no such file in {}, and no {}; `budtide setup` writes both",
                folder.display(),
                register::FILE
            ),
        )]);
    }
    let mut faults = Vec::new();
    let place = text(folder, place::FILE, true)
        .and_then(|text| place::read_all(place::FILE, &text, crops))
        .map_err(|found| faults.extend(found));
    let register = text(folder, register::FILE, true)
        .and_then(|text| register::read(register::FILE, &text, crops))
        .map_err(|found| faults.extend(found));
    let journal = text(folder, journal::FILE, false)
        .and_then(|text| journal::read(journal::FILE, &text, crops))
        .map_err(|found| faults.extend(found));
    match (place, register, journal) {
        (Ok(read), Ok(register), Ok(journal)) => Ok(Settings {
            place: read.place,
            preferences: read.preferences,
            delivery: read.delivery,
            weather: read.weather.below(folder),
            warnings: read.warnings,
            register,
            journal,
            knowledge,
        }),
        _ => Err(faults),
    }
}

/// What cannot be yet by the day it is: trees planted after the next planting
/// season, which may be that of next spring.
pub fn planted_ahead(folder: &Path, today: NaiveDate) -> Vec<Fault> {
    let last = today.year() + 1;
    text(folder, register::FILE, false)
        .map(|text| register::planted_after(register::FILE, &text, last))
        .unwrap_or_default()
}

/// A file's text; an optional one that is missing counts as empty.
fn text(folder: &Path, name: &str, needed: bool) -> Result<String, Vec<Fault>> {
    match std::fs::read_to_string(folder.join(name)) {
        Ok(text) => Ok(text),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && !needed => Ok(String::new()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Err(vec![Fault::whole(
            name,
            format!(
                "there is no such file in {}; `budtide setup` writes it",
                folder.display()
            ),
        )]),
        Err(error) if error.kind() == std::io::ErrorKind::InvalidData => Err(vec![Fault::whole(
            name,
            "this file is not text in UTF-8; save it anew as UTF-8 in your editor".to_owned(),
        )]),
        Err(error) => Err(vec![Fault::whole(
            name,
            format!("this file cannot be read: {error}"),
        )]),
    }
}
