//! `materials/*.toml`: protection materials by active ingredient.

use super::crops::span_within;
use super::known::{Known, Reading, sheet};
use super::shelf::{File, Shelf};
use crate::config::fault::Fault;
use crate::config::reader::Table;
use crate::facts::knowledge::{Material, ReachesBack};
use crate::units::Quantity;

/// Reads all materials.
pub fn read(shelf: &Shelf, known: &Known, faults: &mut Vec<Fault>) -> Vec<Material> {
    shelf
        .folder("materials")
        .filter_map(|file| {
            let reading = Reading { file, known };
            sheet(file, faults, |root| material(root, file, &reading)).flatten()
        })
        .collect()
}

fn material(root: &Table<'_, '_>, file: &File, reading: &Reading<'_>) -> Option<Material> {
    let words = |key: &str| root.maybe_text(key).unwrap_or_default();
    let name = root.text("name", "captan");
    let kind = root.text("kind", "fungicide");
    let code = root.text("code", "FRAC M04");
    let organic = root.flag("organic", false);
    let mut controls = reading.ids(root, "controls_diseases", &reading.known.diseases);
    controls.extend(reading.ids(root, "controls_insects", &reading.known.insects));
    let fails_on = reading.ids(root, "fails_on", &reading.known.diseases);
    let days_to_harvest = words("days_to_harvest");
    let re_entry = words("re_entry");
    let longest_to_harvest = root.maybe_number("longest_days_to_harvest", 0.0, 400.0);
    let oil_gap_days = root.maybe_number("oil_gap_days", 0.0, 60.0);
    let hot_above_c = root.maybe_quantity("hot_above", Quantity::Temperature);
    let most_sprays = root.maybe_whole("most_sprays", 0, 50);
    let most_uses = words("most_uses");
    let burns = words("burns");
    let bees = words("bees");
    let source = reading.source(root);
    let reaches_back = root
        .tables("reaches_back")
        .iter()
        .filter_map(|table| reaches_back(table, reading))
        .collect();
    if let Some(both) = fails_on.iter().find(|id| controls.contains(id)) {
        root.fault(
            "fails_on",
            format!("\"{both}\" stands under controls as well"),
        );
    }
    Some(Material {
        id: file.stem().to_owned(),
        name: name?,
        kind: kind?,
        code: code?,
        organic,
        controls,
        fails_on,
        reaches_back,
        days_to_harvest,
        longest_to_harvest,
        oil_gap_days,
        hot_above_c,
        most_sprays: most_sprays.and_then(|most| u32::try_from(most).ok()),
        re_entry,
        most_uses,
        burns,
        bees,
        source: source?,
    })
}

fn reaches_back(table: &Table<'_, '_>, reading: &Reading<'_>) -> Option<ReachesBack> {
    let disease = table
        .required_text_at("disease", "apple-scab")
        .and_then(|at| reading.id(table, "disease", at, &reading.known.diseases));
    let hours = span_within(table, "hours", (0.0, 400.0));
    let source = reading.source(table);
    table.finish();
    let (least_hours, most_hours) = hours?;
    Some(ReachesBack {
        disease: disease?,
        least_hours,
        most_hours,
        source: source?,
    })
}
