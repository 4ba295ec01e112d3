//! `lookalikes.toml`: what is mistaken for what.

use super::known::{Known, Reading, sheet};
use super::shelf::Shelf;
use crate::config::fault::{Fault, hint};
use crate::facts::knowledge::{Crop, Lookalike};

/// Reads all look-alikes.
pub fn read(
    shelf: &Shelf,
    known: &Known,
    crops: &[Crop],
    faults: &mut Vec<Fault>,
) -> Vec<Lookalike> {
    let ids: Vec<&str> = crops.iter().map(|crop| crop.id.as_str()).collect();
    let removed: Vec<&str> = shelf.removed("crops").collect();
    let mut all: Vec<Lookalike> = Vec::new();
    for file in shelf.folder("lookalikes") {
        let reading = Reading { file, known };
        sheet(file, faults, |root| {
            for table in root.tables("lookalike") {
                let id = table.required_text_at("id", "peach-rust");
                let name = table.text("name", "Peach rust");
                let mut of_crops = Vec::new();
                for crop in table.texts("crops") {
                    if ids.contains(&crop.value.as_str()) {
                        of_crops.push(crop.value);
                    } else if !removed.contains(&crop.value.as_str()) {
                        let message = format!(
                            "no crop named \"{}\"{}",
                            crop.value,
                            hint(&crop.value, &ids)
                        );
                        table.fault_at(crop.span, "crops", message);
                    }
                }
                let words = table.words("words");
                let first = table.flag("first", false);
                let look = table.text("look", "What it looks like");
                let tell = table.text("tell", "How to tell it from others");
                let act = table.text("act", "What to do");
                let source = reading.source(&table);
                table.finish();
                let (Some(id), Some(name), Some(look), Some(tell), Some(act), Some(source)) =
                    (id, name, look, tell, act, source)
                else {
                    continue;
                };
                if all.iter().any(|one| one.id == id.value) {
                    let message = format!("\"{}\" stands here twice", id.value);
                    table.fault_at(id.span, "id", message);
                    continue;
                }
                all.push(Lookalike {
                    id: id.value,
                    name,
                    crops: of_crops,
                    words,
                    first,
                    look,
                    tell,
                    act,
                    source,
                });
            }
        });
    }
    all
}
