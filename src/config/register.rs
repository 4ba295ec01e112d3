//! `register.toml`: the trees, and the junipers that carry rust.

use super::fault::Fault;
use super::place::crop;
use super::reader::{Sheet, Table};
use crate::facts::knowledge::{Crop, Stock};
use crate::facts::register::{Juniper, Planted, Register, Status, Tree, Wanted};
use crate::units::Quantity;
use chrono::NaiveDate;
use std::collections::HashMap;

/// The file's name in the user's folder.
pub const FILE: &str = "register.toml";

/// The most plants that one entry may stand for.
const MOST_PLANTS: i64 = 100_000;

/// Reads the register from the text of a file.
///
/// # Errors
/// Every fault of the file.
pub fn read(file: &str, text: &str, crops: &[Crop]) -> Result<Register, Vec<Fault>> {
    let sheet = Sheet::new(file, text);
    let parsed = sheet.parse();
    let register = {
        let root = sheet.root(&parsed);
        let mut ids = HashMap::new();
        let trees = root
            .tables("tree")
            .iter()
            .filter_map(|table| tree(table, crops, &mut ids))
            .collect();
        let junipers = root
            .tables("juniper")
            .iter()
            .filter_map(|table| juniper(table, &mut ids))
            .collect();
        let wanted = root
            .tables("wanted")
            .iter()
            .filter_map(|table| wanted(table, crops))
            .collect();
        root.finish();
        Register {
            trees,
            junipers,
            wanted,
        }
    };
    drop(parsed);
    if sheet.is_clean() {
        Ok(register)
    } else {
        Err(sheet.into_faults())
    }
}

/// Trees said to be planted after a year: a slip of the pen, unless they are
/// on order, and then they are `[[wanted]]`. Reads what [`read`] has passed.
pub fn planted_after(file: &str, text: &str, last: i32) -> Vec<Fault> {
    let sheet = Sheet::new(file, text);
    let parsed = sheet.parse();
    let root = sheet.root(&parsed);
    for table in root.tables("tree") {
        if let Some(year) = planted(&table)
            .map(Planted::year)
            .filter(|year| *year > last)
        {
            table.fault(
                "planted",
                format!(
                    "{year} is still to come; write the year in which it was planted, {last} at \
                     the latest, or enter what you mean to plant as [[wanted]]"
                ),
            );
        }
    }
    drop(root);
    drop(parsed);
    sheet.into_faults()
}

fn tree(table: &Table<'_, '_>, crops: &[Crop], ids: &mut HashMap<String, String>) -> Option<Tree> {
    let id = id(table, "A1", ids);
    let crop = crop(table, crops);
    let cultivar = table.maybe_text("cultivar");
    let rootstock = table.maybe_text("rootstock");
    let planted = planted(table);
    let row = table.maybe_text("row");
    let spot = table
        .maybe_whole("spot", 1, 100_000)
        .and_then(|spot| u32::try_from(spot).ok());
    let count = count(table);
    let status = table
        .maybe_choice("status", &Status::ALL)
        .unwrap_or_default();
    let notes = table.maybe_text("notes");
    table.finish();
    Some(Tree {
        id: id?,
        crop: crop?,
        cultivar,
        rootstock,
        planted,
        row,
        spot,
        count,
        status,
        notes,
    })
}

fn juniper(table: &Table<'_, '_>, ids: &mut HashMap<String, String>) -> Option<Juniper> {
    let id = id(table, "J1", ids);
    let place = table.text("where", "east fence");
    let distance_m = table.quantity("distance", Quantity::Distance);
    let removable = table.maybe_flag("removable");
    let count = count(table);
    let notes = table.maybe_text("notes");
    table.finish();
    Some(Juniper {
        id: id?,
        place: place?,
        distance_m: distance_m?,
        removable,
        count,
        notes,
    })
}

fn wanted(table: &Table<'_, '_>, crops: &[Crop]) -> Option<Wanted> {
    let crop = crop(table, crops);
    let cultivar = table.maybe_text("cultivar");
    let count = count(table);
    let stock = table
        .maybe_choice("stock", &Stock::ALL)
        .unwrap_or(Stock::BareRoot);
    table.finish();
    Some(Wanted {
        crop: crop?,
        cultivar,
        count,
        stock,
    })
}

fn count(table: &Table<'_, '_>) -> u32 {
    let count = table.maybe_whole("count", 1, MOST_PLANTS);
    count
        .and_then(|count| u32::try_from(count).ok())
        .unwrap_or(1)
}

/// The entry's id, which no other entry may have.
fn id(table: &Table<'_, '_>, example: &str, ids: &mut HashMap<String, String>) -> Option<String> {
    let id = table.text("id", example)?;
    if let Some(other) = ids.insert(id.to_lowercase(), table.path().to_owned()) {
        table.fault(
            "id",
            format!(
                "\"{id}\" is the id of {other} already, small and capital letters taken alike; \
                 every entry needs one of its own"
            ),
        );
        return None;
    }
    Some(id)
}

/// `planted = 2015` or `planted = 2015-04-02`.
fn planted(table: &Table<'_, '_>) -> Option<Planted> {
    const FIRST: i64 = 1700;
    const LAST: i64 = 2200;
    if table.is_number("planted") {
        let year = table.maybe_whole("planted", FIRST, LAST)?;
        return i32::try_from(year).ok().map(Planted::Year);
    }
    if table.is_text("planted") {
        let text = table.maybe_text("planted")?;
        let day = NaiveDate::parse_from_str(&text, "%Y-%m-%d").ok();
        if day.is_none() {
            let mend = "write the year, planted = 2015, or the day, planted = 2015-04-02";
            table.fault(
                "planted",
                format!("\"{text}\" is neither a year nor a day of the calendar; {mend}"),
            );
        }
        return day.map(Planted::Day);
    }
    let day: NaiveDate = table.maybe_date("planted")?;
    Some(Planted::Day(day))
}
