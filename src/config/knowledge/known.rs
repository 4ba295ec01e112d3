//! Which ids there are, so that a file can be held against the others.

use super::shelf::{File, Shelf};
use crate::config::fault::{Fault, hint};
use crate::config::reader::{At, Sheet, Table};
use crate::facts::knowledge::{Crop, Source};
use std::collections::BTreeSet;

/// The ids of one kind.
#[derive(Clone, Debug, Default)]
pub struct Names {
    what: &'static str,
    there: BTreeSet<String>,
    removed: BTreeSet<String>,
}

impl Names {
    /// Ids of a kind from names; `what` is the kind in messages: `crop`.
    pub fn new(what: &'static str, there: BTreeSet<String>) -> Self {
        Names {
            what,
            there,
            removed: BTreeSet::new(),
        }
    }

    /// Ids of a kind from the names of the files in a folder.
    pub fn of_folder(what: &'static str, shelf: &Shelf, folder: &str) -> Self {
        Names {
            what,
            there: shelf.folder(folder).map(|f| f.stem().to_owned()).collect(),
            removed: shelf.removed(folder).map(str::to_owned).collect(),
        }
    }

    /// What to say of an id that is not known.
    pub fn unknown(&self, id: &str) -> String {
        let all: Vec<&str> = self.there.iter().map(String::as_str).collect();
        format!("no {} named \"{id}\"{}", self.what, hint(id, &all))
    }

    /// Whether an id is known.
    pub fn has(&self, id: &str) -> bool {
        self.there.contains(id)
    }
}

/// All ids that files refer to.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// Of `references.toml`.
    pub references: Names,
    /// Of `cautions.toml`.
    pub cautions: Names,
    /// Of `crops/`.
    pub crops: Names,
    /// Of `diseases/`.
    pub diseases: Names,
    /// Of `insects/`.
    pub insects: Names,
    /// Of `materials/`.
    pub materials: Names,
    /// Of `chores/`.
    pub chores: Names,
}

impl Known {
    /// The ids that the names of the files give; references and cautions are
    /// still to come.
    pub fn of(shelf: &Shelf) -> Self {
        Known {
            references: Names::new("reference", BTreeSet::new()),
            cautions: Names::new("caution", BTreeSet::new()),
            crops: Names::of_folder("crop", shelf, "crops"),
            diseases: Names::of_folder("disease", shelf, "diseases"),
            insects: Names::of_folder("insect", shelf, "insects"),
            materials: Names::of_folder("material", shelf, "materials"),
            chores: Names::of_folder("chore", shelf, "chores"),
        }
    }
}

/// A file being read, with all that it may refer to.
#[derive(Clone, Copy, Debug)]
pub struct Reading<'k> {
    /// The file.
    pub file: &'k File,
    /// The ids there are.
    pub known: &'k Known,
}

impl Reading<'_> {
    /// An id of one kind. An unknown one is a fault; one that the user took
    /// away is quietly left out where a shipped file names it.
    pub fn id(
        &self,
        table: &Table<'_, '_>,
        key: &str,
        at: At<String>,
        names: &Names,
    ) -> Option<String> {
        if names.has(&at.value) {
            return Some(at.value);
        }
        if !(self.file.shipped && names.removed.contains(&at.value)) {
            table.fault_at(at.span, key, names.unknown(&at.value));
        }
        None
    }

    /// A key that is an id of one kind.
    pub fn key(&self, table: &Table<'_, '_>, key: &str, names: &Names) -> Option<String> {
        let at = At {
            value: key.to_owned(),
            span: table.key_span(key),
        };
        self.id(table, key, at, names)
    }

    /// A list of ids of one kind.
    pub fn ids(&self, table: &Table<'_, '_>, key: &str, names: &Names) -> Vec<String> {
        table
            .texts(key)
            .into_iter()
            .filter_map(|at| self.id(table, key, at, names))
            .collect()
    }

    /// `reference` and `standing` of a table, each reference a known one.
    pub fn source(&self, table: &Table<'_, '_>) -> Option<Source> {
        let source = table.source()?;
        let names = &self.known.references;
        for reference in &source.references {
            if !names.has(reference) {
                table.fault("reference", names.unknown(reference));
            }
        }
        Some(source)
    }

    /// A growth stage, which every one of some crops must have.
    pub fn stage(&self, table: &Table<'_, '_>, key: &str, crops: &[&Crop]) -> Option<String> {
        let at = table.text_at(key)?;
        for crop in crops {
            if crop.stage(&at.value).is_none() {
                let names: Vec<&str> = crop
                    .stages
                    .iter()
                    .map(|stage| stage.name.as_str())
                    .collect();
                let message = format!(
                    "{} has no stage \"{}\"{}",
                    crop.name,
                    at.value,
                    hint(&at.value, &names)
                );
                table.fault_at(at.span, key, message);
                return None;
            }
        }
        Some(at.value)
    }
}

/// Reads one file: its root goes to `read`, and whatever is wrong to `faults`.
/// After a fault of the syntax nothing else of the file is judged.
pub fn sheet<T>(
    file: &File,
    faults: &mut Vec<Fault>,
    read: impl FnOnce(&Table<'_, '_>) -> T,
) -> Option<T> {
    let sheet = Sheet::new(&file.name, &file.text);
    let parsed = sheet.parse();
    let value = sheet.is_clean().then(|| {
        let root = sheet.root(&parsed);
        let value = read(&root);
        root.finish();
        value
    });
    drop(parsed);
    faults.extend(sheet.into_faults());
    value
}
