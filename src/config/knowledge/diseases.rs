//! `diseases/*.toml`: hosts, window of stages, weather, and the figures of
//! the models.

use super::crops::span_within;
use super::known::{Known, Reading, sheet};
use super::shelf::{File, Shelf};
use crate::config::fault::Fault;
use crate::config::reader::Table;
use crate::facts::knowledge::{Crop, Disease, Figure, IncidenceRow, InfectionModel, WetnessRow};
use crate::units::Quantity;

/// Reads all diseases.
pub fn read(shelf: &Shelf, known: &Known, crops: &[Crop], faults: &mut Vec<Fault>) -> Vec<Disease> {
    shelf
        .folder("diseases")
        .filter_map(|file| {
            let reading = Reading { file, known };
            sheet(file, faults, |root| disease(root, file, &reading, crops)).flatten()
        })
        .collect()
}

fn disease(
    root: &Table<'_, '_>,
    file: &File,
    reading: &Reading<'_>,
    crops: &[Crop],
) -> Option<Disease> {
    let name = root.text("name", "cherry leaf spot");
    let latin = root.text("latin", "Blumeriella jaapii");
    let hosts = reading.ids(root, "hosts", &reading.known.crops);
    let of_hosts: Vec<&Crop> = crops
        .iter()
        .filter(|crop| hosts.contains(&crop.id))
        .collect();
    let needs_juniper = root.flag("needs_juniper", false);
    let model = root.choice("model", &InfectionModel::ALL);
    let from_stage = reading.stage(root, "from_stage", &of_hosts);
    let to_stage = reading.stage(root, "to_stage", &of_hosts);
    let days_beyond = root.maybe_number("days_beyond", 0.0, 200.0);
    let weather = root.text("weather", "Rain at 60 to 68 °F");
    let lag_days = root
        .has("lag_days")
        .then(|| span_within(root, "lag_days", (0.0, 800.0)))
        .flatten();
    let action = root.text("action", "Rake leaves; protect from petal fall");
    let look = root.text("look", "Purple specks, then yellow leaves");
    let source = reading.source(root);
    let wetness = wetness(root, reading);
    let incidence = incidence(root, reading);
    let figures = figures(root, reading);
    if needs_juniper {
        for crop in &of_hosts {
            if crop.kind != crate::facts::knowledge::CropKind::Pome {
                let message = format!(
                    "juniper rusts live on the apple tribe only, and {} is not of it",
                    crop.name
                );
                root.fault("hosts", message);
            }
        }
    }
    Some(Disease {
        id: file.stem().to_owned(),
        name: name?,
        latin: latin?,
        hosts,
        needs_juniper,
        model: model?,
        from_stage,
        to_stage,
        days_beyond: days_beyond.unwrap_or(0.0),
        weather: weather?,
        lag_days,
        action: action?,
        look: look?,
        source: source?,
        wetness,
        incidence,
        figures,
    })
}

fn wetness(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<WetnessRow> {
    let mut rows: Vec<WetnessRow> = Vec::new();
    for table in root.tables("wetness") {
        let temperature_c = table.quantity("temperature", Quantity::Temperature);
        let light_hours = table.quantity("light", Quantity::Hours);
        let severe_hours = table.maybe_quantity("severe", Quantity::Hours);
        let source = reading.source(&table);
        table.finish();
        let (Some(temperature_c), Some(light_hours), Some(source)) =
            (temperature_c, light_hours, source)
        else {
            continue;
        };
        if rows
            .last()
            .is_some_and(|row| row.temperature_c >= temperature_c)
        {
            table.fault("temperature", "rows stand from cold to warm".into());
        }
        if severe_hours.is_some_and(|severe| severe < light_hours) {
            table.fault("severe", "should not be shorter than light".into());
        }
        rows.push(WetnessRow {
            temperature_c,
            light_hours,
            severe_hours,
            source,
        });
    }
    rows
}

fn incidence(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<IncidenceRow> {
    let mut rows = Vec::new();
    for table in root.tables("incidence") {
        let temperature_c = table.quantity("temperature", Quantity::Temperature);
        let wet_hours = table.quantity("wet", Quantity::Hours);
        let percent = span_within(&table, "percent", (0.0, 100.0));
        let source = reading.source(&table);
        table.finish();
        let (Some(temperature_c), Some(wet_hours), Some(percent), Some(source)) =
            (temperature_c, wet_hours, percent, source)
        else {
            continue;
        };
        rows.push(IncidenceRow {
            temperature_c,
            wet_hours,
            share: (percent.0 / 100.0, percent.1 / 100.0),
            source,
        });
    }
    rows
}

fn figures(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<Figure> {
    let mut rows: Vec<Figure> = Vec::new();
    for table in root.tables("figure") {
        let name = table.required_text_at("name", "degree hours needed");
        let value = figure_value(&table);
        let source = reading.source(&table);
        table.finish();
        let (Some(name), Some((value, unit)), Some(source)) = (name, value, source) else {
            continue;
        };
        if rows.iter().any(|row| row.name == name.value) {
            let message = format!("\"{}\" stands here twice", name.value);
            table.fault_at(name.span, "name", message);
            continue;
        }
        rows.push(Figure {
            name: name.value,
            value,
            unit,
            source,
        });
    }
    rows
}

/// The quantities that a figure may measure, and the unit it is kept in.
const FIGURES: [(Quantity, &str); 6] = [
    (Quantity::Temperature, "°C"),
    (Quantity::DegreeDays, "°C d"),
    (Quantity::Rain, "mm"),
    (Quantity::Hours, "h"),
    (Quantity::Days, "d"),
    (Quantity::Humidity, "%"),
];

/// A figure with its unit, or a bare number for a constant without one.
fn figure_value(table: &Table<'_, '_>) -> Option<(f64, &'static str)> {
    if table.is_number("value") {
        return Some((table.number("value", -1e6, 1e6)?, ""));
    }
    let at = table.required_text_at("value", "198 °F h")?;
    let hours = |unit: &str| at.value.strip_suffix(unit)?.trim().parse::<f64>().ok();
    if let Some(degree_hours) = hours("°F h") {
        return Some((degree_hours / 1.8, "°C h"));
    }
    if let Some(degree_hours) = hours("°C h") {
        return Some((degree_hours, "°C h"));
    }
    let read = FIGURES
        .iter()
        .find_map(|(quantity, unit)| Some((quantity.read(&at.value).ok()?, *unit)));
    if read.is_none() {
        let message = format!(
            "\"{}\" has no unit known here; use °F, °F d, °F h, in, h, d, % or a bare number",
            at.value
        );
        table.fault_at(at.span, "value", message);
    }
    read
}
