//! `references.toml` and `cautions.toml`, and further files in folders of
//! those names.

use super::known::{Known, Reading, sheet};
use super::shelf::Shelf;
use crate::config::fault::Fault;
use crate::facts::knowledge::{Caution, Reference};
use std::collections::HashSet;

/// Reads all references.
pub fn references(shelf: &Shelf, faults: &mut Vec<Fault>) -> Vec<Reference> {
    let mut all: Vec<Reference> = Vec::new();
    let mut ids = HashSet::new();
    for file in shelf.folder("references") {
        sheet(file, faults, |root| {
            for table in root.tables("reference") {
                let id = table.required_text_at("id", "WSU-MSU");
                let text = table.text("text", "Author, year, title, publisher");
                table.finish();
                let (Some(id), Some(text)) = (id, text) else {
                    continue;
                };
                if !ids.insert(id.value.clone()) {
                    let message = format!("\"{}\" stands here twice", id.value);
                    table.fault_at(id.span, "id", message);
                    continue;
                }
                all.push(Reference { id: id.value, text });
            }
        });
    }
    all
}

/// Reads all cautions.
pub fn cautions(shelf: &Shelf, known: &Known, faults: &mut Vec<Fault>) -> Vec<Caution> {
    let mut all: Vec<Caution> = Vec::new();
    for file in shelf.folder("cautions") {
        let reading = Reading { file, known };
        sheet(file, faults, |root| {
            for table in root.tables("caution") {
                let id = table.required_text_at("id", "ladder");
                let short = table.text("short", "Ladder: level ground, never alone");
                let text = table.text("text", "What to beware of, in a few sentences");
                let source = reading.source(&table);
                table.finish();
                let (Some(id), Some(short), Some(text), Some(source)) = (id, short, text, source)
                else {
                    continue;
                };
                if all.iter().any(|one| one.id == id.value) {
                    let message = format!("\"{}\" stands here twice", id.value);
                    table.fault_at(id.span, "id", message);
                    continue;
                }
                all.push(Caution {
                    id: id.value,
                    short,
                    text,
                    source,
                });
            }
        });
    }
    all
}
