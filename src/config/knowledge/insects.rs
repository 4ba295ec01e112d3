//! `insects/*.toml`: insects and mites, their events by degree days.

use super::known::{Known, Reading, sheet};
use super::shelf::{File, Shelf};
use crate::config::fault::Fault;
use crate::config::reader::Table;
use crate::facts::knowledge::{
    Crop, Cutoff, DegreeDayMethod, HeatRule, HeatStart, Insect, InsectEvent,
};
use crate::units::Quantity;

/// Reads all insects and mites.
pub fn read(shelf: &Shelf, known: &Known, crops: &[Crop], faults: &mut Vec<Fault>) -> Vec<Insect> {
    shelf
        .folder("insects")
        .filter_map(|file| {
            let reading = Reading { file, known };
            sheet(file, faults, |root| insect(root, file, &reading, crops)).flatten()
        })
        .collect()
}

fn insect(
    root: &Table<'_, '_>,
    file: &File,
    reading: &Reading<'_>,
    crops: &[Crop],
) -> Option<Insect> {
    let name = root.text("name", "codling moth");
    let latin = root.text("latin", "Cydia pomonella");
    let hosts = reading.ids(root, "hosts", &reading.known.crops);
    let look = root.text("look", "Hang a trap at bloom");
    let of_hosts: Vec<&Crop> = crops
        .iter()
        .filter(|crop| hosts.contains(&crop.id))
        .collect();
    let events = root
        .tables("event")
        .iter()
        .filter_map(|table| event(table, reading, &of_hosts))
        .collect();
    Some(Insect {
        id: file.stem().to_owned(),
        name: name?,
        latin: latin?,
        hosts,
        look: look?,
        events,
    })
}

fn event(table: &Table<'_, '_>, reading: &Reading<'_>, hosts: &[&Crop]) -> Option<InsectEvent> {
    let event = table.text("event", "first egg hatch");
    let crop = table
        .text_at("crop")
        .and_then(|at| reading.id(table, "crop", at, &reading.known.crops));
    let of: Vec<&Crop> = hosts
        .iter()
        .copied()
        .filter(|host| crop.as_ref().is_none_or(|id| host.id == *id))
        .collect();
    let heat = table.quantity_span("sum", Quantity::DegreeDays);
    let rule = if table.has("sum") {
        heat_rule(table)
    } else {
        // A window by stage alone; the rule then says nothing.
        Some(HeatRule {
            method: DegreeDayMethod::NotStated,
            base_c: 0.0,
            upper_c: None,
            cutoff: Cutoff::default(),
        })
    };
    let start = start(table, reading, &of);
    let reckons_catch = table.flag("reckons_catch", false);
    if reckons_catch
        && matches!(
            start,
            Some(HeatStart::Biofix(_) | HeatStart::LaterBiofix(_))
        )
    {
        let text = "cannot be reckoned from a catch; give it a start or start_stage";
        table.fault("reckons_catch", text.into());
    }
    let source = reading.source(table);
    table.finish();
    if table.has("crop") && crop.is_none() {
        // Published for a crop that is not there: it says nothing of others.
        return None;
    }
    Some(InsectEvent {
        event: event?,
        crop,
        heat,
        rule: rule?,
        start: start?,
        reckons_catch,
        source: source?,
    })
}

/// `method`, `base`, and where there are any `upper` and `cutoff`.
pub fn heat_rule(table: &Table<'_, '_>) -> Option<HeatRule> {
    let method = table.choice("method", &DegreeDayMethod::ALL);
    let base_c = table.quantity("base", Quantity::Temperature);
    let upper_c = table.maybe_quantity("upper", Quantity::Temperature);
    let cutoff = table
        .maybe_choice("cutoff", &Cutoff::ALL)
        .unwrap_or_default();
    if upper_c.is_some_and(|upper| base_c.is_some_and(|base| upper <= base)) {
        table.fault("upper", "should be warmer than base".into());
    }
    Some(HeatRule {
        method: method?,
        base_c: base_c?,
        upper_c,
        cutoff,
    })
}

/// One of `start = "01-01"`, `start_stage` and `biofix`.
fn start(table: &Table<'_, '_>, reading: &Reading<'_>, hosts: &[&Crop]) -> Option<HeatStart> {
    let day = table.maybe_month_day("start");
    let stage = reading.stage(table, "start_stage", hosts);
    let biofix = table.maybe_text("biofix");
    let later = table.maybe_text("later_biofix");
    let given = ["start", "start_stage", "biofix", "later_biofix"]
        .iter()
        .filter(|key| table.has(key))
        .count();
    if given != 1 {
        let message =
            "needs one of start = \"01-01\", start_stage = \"petal fall\", biofix = \"first moth\"";
        table.fault("start", message.into());
        return None;
    }
    match (day, stage, biofix, later) {
        (Some((month, day)), ..) => Some(HeatStart::Calendar(month, day)),
        (_, Some(stage), ..) => Some(HeatStart::Stage(stage)),
        (_, _, Some(biofix), _) => Some(HeatStart::Biofix(biofix)),
        (.., Some(later)) => Some(HeatStart::LaterBiofix(later)),
        _ => None,
    }
}
