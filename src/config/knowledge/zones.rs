//! `config/zones.toml`: what a hardiness zone tells where no weather is known.

use super::known::{Known, Reading, sheet};
use super::shelf::Shelf;
use crate::config::fault::Fault;
use crate::config::reader::Table;
use crate::facts::knowledge::{LeafFallRule, ZoneMonths};
use crate::units::Quantity;

/// Reads the zones and the rule of leaf fall; of several files the later one
/// adds to the earlier.
pub fn read(
    shelf: &Shelf,
    known: &Known,
    faults: &mut Vec<Fault>,
) -> (Vec<ZoneMonths>, Option<LeafFallRule>) {
    let mut zones = Vec::new();
    let mut rule = None;
    for file in shelf.folder("zones") {
        let reading = Reading { file, known };
        sheet(file, faults, |root| {
            let tables = root.tables("zone");
            zones.extend(tables.iter().filter_map(|table| zone(table, &reading)));
            if let Some(table) = root.table("leaf_fall") {
                rule = leaf_fall(&table, &reading);
            }
        });
    }
    (zones, rule)
}

fn zone(table: &Table<'_, '_>, reading: &Reading<'_>) -> Option<ZoneMonths> {
    let number = table.number("zone", 1.0, 13.0);
    let day = |key: &str| {
        let day = table.maybe_month_day(key);
        if !table.has(key) {
            table.fault(
                key,
                format!("is missing; write month and day as {key} = \"04-20\""),
            );
        }
        day
    };
    let last_freeze = day("last_freeze");
    let first_freeze = day("first_freeze");
    let apple_bloom = day("apple_bloom");
    let soil_warms = day("soil_warms");
    let leaf_fall = day("leaf_fall");
    let spread_days = table.number("spread_days", 1.0, 60.0);
    let source = reading.source(table);
    table.finish();
    Some(ZoneMonths {
        zone: number? as u8,
        last_freeze: last_freeze?,
        first_freeze: first_freeze?,
        apple_bloom: apple_bloom?,
        soil_warms: soil_warms?,
        leaf_fall: leaf_fall?,
        spread_days: spread_days? as u32,
        source: source?,
    })
}

fn leaf_fall(table: &Table<'_, '_>, reading: &Reading<'_>) -> Option<LeafFallRule> {
    let threshold_c = table.quantity("freeze", Quantity::Temperature);
    let half_days = table.number("half_days", 0.0, 120.0);
    let most_days = table.number("most_days", 0.0, 120.0);
    let source = reading.source(table);
    table.finish();
    Some(LeafFallRule {
        threshold_c: threshold_c?,
        half_days: half_days?,
        most_days: most_days?,
        source: source?,
    })
}
