//! The layer table of the house, held against the sources.
//!
//! A copy of this table stands in `DEVELOPERS.md`; the last test compares
//! them.

use std::fs;
use std::path::{Path, PathBuf};

/// Floor, room, rooms that it may import. `*` is any room of a lower floor.
const TABLE: &[(u8, &str, &[&str])] = &[
    (0, "units", &[]),
    (1, "facts", &["units"]),
    (2, "season", &["facts", "units"]),
    (3, "plan", &["season", "facts", "units"]),
    (4, "render", &["plan", "season", "facts", "units"]),
    (5, "clock", &[]),
    (5, "config", &["facts", "units"]),
    (5, "sources", &["facts", "units"]),
    (5, "store", &["facts", "units"]),
    (5, "channels", &["render"]),
    (
        6,
        "service",
        &[
            "channels", "store", "sources", "config", "clock", "render", "plan", "season", "facts",
            "units",
        ],
    ),
    (
        7,
        "cli",
        &[
            "service", "channels", "store", "sources", "config", "clock", "render", "plan",
            "season", "facts", "units",
        ],
    ),
];

/// What floors 0 to 4 must not touch.
const FORBIDDEN_IN_THE_CORE: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::thread",
    "std::process",
    "std::io",
    "std::time::SystemTime",
    "std::time::Instant",
    "Utc::now",
    "Local::now",
    "println!",
    "eprintln!",
    "print!",
    "eprint!",
    "dbg!",
    "tokio",
    "serde",
    "rusqlite",
    "include_dir",
    "include_str!",
];

/// What only `clock.rs` may touch.
const ONLY_THE_CLOCK: &[&str] = &["Utc::now", "Local::now", "SystemTime::now"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// Every source file with the room that it belongs to.
fn sources() -> Vec<(String, PathBuf, String)> {
    let mut files = Vec::new();
    let mut folders = vec![root()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                let inner = path.strip_prefix(root()).unwrap().to_path_buf();
                let room = inner
                    .components()
                    .next()
                    .unwrap()
                    .as_os_str()
                    .to_string_lossy()
                    .trim_end_matches(".rs")
                    .to_owned();
                let text = fs::read_to_string(&path).unwrap();
                files.push((room, inner, text));
            }
        }
    }
    assert!(!files.is_empty());
    files.sort_by(|a, b| a.1.cmp(&b.1));
    files
}

/// The code of a file without comments and without its unit tests.
fn code(text: &str) -> String {
    let body = text
        .split("\n#[cfg(test)]\nmod tests")
        .next()
        .unwrap_or(text);
    body.lines()
        .map(|line| line.split("//").next().unwrap_or(""))
        .collect::<Vec<_>>()
        .join("\n")
}

/// The rooms that a file imports by `crate::room`, `crate::{room, ..}` or
/// `super::` out of its own room.
fn imports(code: &str) -> Vec<String> {
    let mut rooms = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(list) = rest.strip_prefix('{') {
            let list = list.split('}').next().unwrap_or("");
            rooms.extend(list.split(',').map(|item| word(item.trim_start())));
        } else {
            rooms.push(word(rest));
        }
    }
    rooms.retain(|room| !room.is_empty());
    rooms
}

fn word(text: &str) -> String {
    text.chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect()
}

#[test]
fn rooms_import_only_from_below() {
    let mut wrong = Vec::new();
    for (room, path, text) in sources() {
        if room == "lib" || room == "main" {
            continue;
        }
        let Some((_, _, may)) = TABLE.iter().find(|(_, name, _)| *name == room) else {
            wrong.push(format!(
                "{}: the room \"{room}\" is not in the table",
                path.display()
            ));
            continue;
        };
        for other in imports(&code(&text)) {
            if other != room && !may.contains(&other.as_str()) {
                wrong.push(format!(
                    "{}: {room} must not import {other}",
                    path.display()
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_core_is_pure() {
    let mut wrong = Vec::new();
    for (room, path, text) in sources() {
        let floor = TABLE
            .iter()
            .find(|(_, name, _)| *name == room)
            .map(|(floor, _, _)| *floor);
        let code = code(&text);
        if floor.is_some_and(|floor| floor <= 4) {
            for word in FORBIDDEN_IN_THE_CORE {
                if code.contains(word) {
                    wrong.push(format!("{}: {word} in the core", path.display()));
                }
            }
        }
        if room != "clock" {
            for word in ONLY_THE_CLOCK {
                if code.contains(word) {
                    wrong.push(format!("{}: only clock.rs may use {word}", path.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn unsafe_code_is_forbidden_at_both_doors() {
    for door in ["lib.rs", "main.rs"] {
        let text = fs::read_to_string(root().join(door)).unwrap();
        assert!(text.contains("#![forbid(unsafe_code)]"), "{door}");
    }
    let main = fs::read_to_string(root().join("main.rs")).unwrap();
    assert!(main.lines().count() <= 25, "main.rs stays a door");
}

#[test]
fn the_checker_sees_a_breach() {
    assert_eq!(imports("use crate::plan::window;"), ["plan"]);
    assert_eq!(imports("use crate::{facts::place, cli};"), ["facts", "cli"]);
    assert_eq!(code("let x = 1; // crate::cli\n"), "let x = 1; ");
}

#[test]
fn the_developers_page_holds_the_same_table() {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md");
    let text = fs::read_to_string(page).unwrap();
    for (floor, room, _) in TABLE {
        let row = text
            .lines()
            .find(|line| line.starts_with(&format!("| {floor} |")) && line.contains(room))
            .unwrap_or_else(|| panic!("DEVELOPERS.md has no row for floor {floor}, {room}"));
        assert!(row.matches('|').count() == 4, "{row}");
    }
}
