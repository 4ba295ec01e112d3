//! The shipped knowledge and its reader.
//!
//! The CSV files in `tests/fixtures/` are copies of the project's reference
//! tables, which were made from the sources named in each of their rows; the
//! shipped files are held against them row by row.

mod crops;
mod cultivars;
mod own_files;
mod page;
mod protection;
mod sources;

use budtide::config::knowledge::load;
use budtide::facts::knowledge::Knowledge;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The shipped knowledge, or all its faults.
fn shipped() -> Knowledge {
    match load(None) {
        Ok(knowledge) => knowledge,
        Err(faults) => {
            let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
            panic!("{}", lines.join("\n"));
        }
    }
}

/// The rows of a fixture, each by the names of its columns.
fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = root().join("tests/fixtures").join(name);
    let mut reader = csv::Reader::from_path(path).unwrap();
    let rows: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    rows
}

/// A user's folder with these files.
fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    folder
}

/// The faults of the knowledge with a user's files over it, as they are shown.
fn faults(files: &[(&str, &str)]) -> String {
    let folder = folder(files);
    let found = load(Some(folder.path())).expect_err("the files should have faults");
    let lines: Vec<String> = found.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

/// Every file of knowledge that is shipped: name and text.
fn files() -> Vec<(String, String)> {
    let config = root().join("config");
    let mut files = Vec::new();
    let mut add = |name: String, path: &Path| files.push((name, fs::read_to_string(path).unwrap()));
    for single in ["references.toml", "cautions.toml", "zones.toml"] {
        add(single.to_owned(), &config.join(single));
    }
    for inside in ["crops", "cultivars", "diseases", "insects", "materials"] {
        for entry in fs::read_dir(config.join(inside)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            add(format!("{inside}/{name}"), &path);
        }
    }
    files
}

#[test]
fn the_shipped_files_have_no_fault() {
    let knowledge = shipped();
    assert_eq!(knowledge.crops.len(), 11);
    assert_eq!(knowledge.cultivars.len(), 411);
    assert_eq!(knowledge.cautions.len(), 12);
    assert!(knowledge.references.len() > 400);
    assert_eq!(knowledge.diseases.len(), 23);
    assert_eq!(knowledge.insects.len(), 17);
    assert_eq!(knowledge.materials.len(), 24);
}

#[test]
fn the_folder_and_the_program_hold_the_same_files() {
    let knowledge = shipped();
    let named = |folder: &str| -> BTreeSet<String> {
        files()
            .into_iter()
            .filter_map(|(name, _)| {
                let inside = name.strip_prefix(folder)?.strip_prefix('/')?;
                Some(inside.strip_suffix(".toml")?.to_owned())
            })
            .collect()
    };
    let crops: BTreeSet<String> = knowledge.crops.iter().map(|c| c.id.clone()).collect();
    assert_eq!(crops, named("crops"));
    let diseases: BTreeSet<String> = knowledge.diseases.iter().map(|d| d.id.clone()).collect();
    assert_eq!(diseases, named("diseases"));
    let insects: BTreeSet<String> = knowledge.insects.iter().map(|i| i.id.clone()).collect();
    assert_eq!(insects, named("insects"));
    let materials: BTreeSet<String> = knowledge.materials.iter().map(|m| m.id.clone()).collect();
    assert_eq!(materials, named("materials"));
}
