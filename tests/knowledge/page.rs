//! The page for whoever adds a file.

use super::{files, root};
use budtide::facts::knowledge::Standing;
use std::collections::BTreeSet;
use std::fs;

/// Every key of a table and of the tables in it; what stands under `ratings`
/// is named after diseases and is left out.
fn keys(table: &toml::Table, found: &mut BTreeSet<String>) {
    for (key, value) in table {
        found.insert(key.clone());
        match value {
            toml::Value::Table(inner) if key == "ratings" => {
                for rating in inner.values().filter_map(toml::Value::as_table) {
                    keys(rating, found);
                }
            }
            toml::Value::Table(inner) => keys(inner, found),
            toml::Value::Array(list) => {
                for inner in list.iter().filter_map(toml::Value::as_table) {
                    keys(inner, found);
                }
            }
            _ => {}
        }
    }
}

#[test]
fn the_page_tells_every_key() {
    let page = fs::read_to_string(root().join("config/README.md")).unwrap();
    let words: BTreeSet<&str> = page
        .split(|c: char| !(c.is_alphanumeric() || c == '_'))
        .collect();
    let mut found = BTreeSet::new();
    for (_, text) in files() {
        keys(&toml::from_str(&text).unwrap(), &mut found);
    }
    assert!(found.len() > 60, "{}", found.len());
    let untold: Vec<_> = found
        .iter()
        .filter(|key| !words.contains(key.as_str()))
        .collect();
    assert!(untold.is_empty(), "{untold:?}");
    for (_, word) in Standing::ALL {
        assert!(page.contains(&format!("| `{word}` |")), "{word}");
    }
}
