//! `crops/*.toml`: one crop a file, its stages in order and its figures.

use super::known::{Known, Reading, sheet};
use super::shelf::{File, Shelf};
use crate::config::fault::{Fault, hint};
use crate::config::reader::Table;
use crate::facts::knowledge::{
    Advice, BloomOffset, BloomToHarvest, Chill, ChillUnit, CriticalTemperature, Crop, CropKind,
    Habit, PlantingAdvice, Pollination, SelfFertile, ShootTarget, Source, Spacing, Stage, Stock,
};
use crate::units::{Quantity, c_to_f, plain};

/// The spring temperatures that kill a tenth lie within these bounds in every
/// table read, °F; whatever lies outside is a slip, most often a dash taken
/// for a minus sign.
const KILL_10_F: (f64, f64) = (14.0, 32.0);

/// Exactly.
const CM_PER_INCH: f64 = 2.54;

/// The stage that heat shares and days are counted against.
const FULL_BLOOM: &str = "full bloom";

/// Reads all crops.
pub fn read(shelf: &Shelf, known: &Known, faults: &mut Vec<Fault>) -> Vec<Crop> {
    shelf
        .folder("crops")
        .filter_map(|file| {
            let reading = Reading { file, known };
            sheet(file, faults, |root| crop(root, file, &reading)).flatten()
        })
        .collect()
}

fn crop(root: &Table<'_, '_>, file: &File, reading: &Reading<'_>) -> Option<Crop> {
    let name = root.text("name", "tart cherry");
    let plural = root.text("plural", "tart cherries");
    let plant = root.text("plant", "tree");
    let also = root.words("also");
    let latin = root.text("latin", "Prunus cerasus");
    let kind = root.choice("kind", &CropKind::ALL);
    let stages = stages(root, reading);
    let critical = critical(root, reading, &stages);
    let blossoms_needed = spanned(root, "blossoms_needed", "percent", (0.0, 100.0), reading);
    let chill = chill(root, reading);
    let bloom_offset = bloom_offset(root, reading);
    let harvest = harvest(root, reading);
    let planting = planting(root, reading);
    let years_to_bear = spanned(root, "years_to_bear", "years", (0.0, 30.0), reading);
    let coldest_zone = coldest_zone(root, reading);
    let habit = habit(root, reading);
    Some(Crop {
        id: file.stem().to_owned(),
        name: name?,
        plural: plural?,
        plant: plant?,
        also,
        latin: latin?,
        kind: kind?,
        stages,
        critical,
        blossoms_needed: blossoms_needed
            .map(|(least, most, source)| (least / 100.0, most / 100.0, source)),
        chill,
        bloom_offset,
        harvest,
        planting,
        years_to_bear,
        coldest_zone,
        habit,
    })
}

/// `pollination`, `spacing` and `shoots`.
fn habit(root: &Table<'_, '_>, reading: &Reading<'_>) -> Habit {
    let pollination = root.table("pollination").and_then(|table| {
        let self_fertile = table.choice("self_fertile", &SelfFertile::ALL);
        let within_m = table.quantity("within", Quantity::Distance);
        let source = reading.source(&table);
        table.finish();
        Some(Pollination {
            self_fertile: self_fertile?,
            within_m: within_m?,
            source: source?,
        })
    });
    let spacing = root.tables("spacing").into_iter().filter_map(|table| {
        let on = table.text("on", "dwarfing stocks");
        let in_row_m = table.quantity_span("in_row", Quantity::Distance);
        let source = reading.source(&table);
        table.finish();
        Some(Spacing {
            on: on?,
            in_row_m: in_row_m?,
            source: source?,
        })
    });
    let shoots = root.tables("shoots").into_iter().filter_map(|table| {
        let bearing = table.flag("bearing", true);
        let inches = span_within(&table, "inches", (0.0, 100.0));
        let source = reading.source(&table);
        table.finish();
        let (least, most) = inches?;
        Some(ShootTarget {
            bearing,
            length_cm: (least * CM_PER_INCH, most * CM_PER_INCH),
            source: source?,
        })
    });
    Habit {
        pollination,
        spacing: spacing.collect(),
        shoots: shoots.collect(),
    }
}

/// A table with a pair of numbers and its source.
fn spanned(
    root: &Table<'_, '_>,
    table: &str,
    key: &str,
    bounds: (f64, f64),
    reading: &Reading<'_>,
) -> Option<(f64, f64, Source)> {
    let table = root.table(table)?;
    let pair = span_within(&table, key, bounds);
    let source = reading.source(&table);
    table.finish();
    let (least, most) = pair?;
    Some((least, most, source?))
}

/// A pair of numbers within bounds, which must be there.
pub(super) fn span_within(
    table: &Table<'_, '_>,
    key: &str,
    (least, most): (f64, f64),
) -> Option<(f64, f64)> {
    if !table.has(key) {
        table.fault(
            key,
            format!("is missing; write it as {key} = [{least}, {most}]"),
        );
        return None;
    }
    let pair = table.span_of(key)?;
    if pair.0 < least || pair.1 > most {
        table.fault(key, format!("lies outside of {least} to {most}"));
        return None;
    }
    Some(pair)
}

fn stages(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<Stage> {
    let mut stages: Vec<Stage> = Vec::new();
    let mut share_before: Option<(f64, String)> = None;
    let mut full_bloom = false;
    for table in root.tables("stage") {
        let name = table.text("name", "green tip");
        let also = table.words("also");
        let bbch = table.text("bbch", "53");
        let source = reading.source(&table);
        let heat_share = table.table("heat").and_then(|heat| {
            let share = heat.number("share", 0.0, 10.0);
            let source = reading.source(&heat);
            heat.finish();
            Some((share?, source?))
        });
        let days_after_bloom = spanned(&table, "days", "span", (0.0, 300.0), reading);
        table.finish();
        let (Some(name), Some(bbch), Some(source)) = (name, bbch, source) else {
            continue;
        };
        if let Some((share, _)) = heat_share.as_ref() {
            if name == FULL_BLOOM && *share != 1.0 {
                table.fault(
                    "heat",
                    format!("the share of {FULL_BLOOM} is 1, not {share}"),
                );
            }
            if let Some((before, stage)) = &share_before
                && share <= before
            {
                let message = format!(
                    "shares of heat grow along the list, and {stage} before it has {before} already"
                );
                table.fault("heat", message);
            }
            share_before = Some((*share, name.clone()));
        }
        full_bloom |= name == FULL_BLOOM;
        for word in std::iter::once(&name).chain(&also) {
            let twice = stages.iter().any(|stage| {
                stage.name.eq_ignore_ascii_case(word)
                    || stage.also.iter().any(|a| a.eq_ignore_ascii_case(word))
            });
            if twice {
                table.fault(
                    "name",
                    format!("\"{word}\" is an earlier stage's name already"),
                );
            }
        }
        stages.push(Stage {
            name,
            also,
            bbch,
            source,
            heat_share,
            days_after_bloom,
        });
    }
    if !full_bloom {
        root.fault("stage", format!("has no stage named \"{FULL_BLOOM}\""));
    }
    stages
}

fn critical(
    root: &Table<'_, '_>,
    reading: &Reading<'_>,
    stages: &[Stage],
) -> Vec<CriticalTemperature> {
    let mut rows: Vec<CriticalTemperature> = Vec::new();
    let mut before: Option<usize> = None;
    for table in root.tables("critical") {
        let stage = stage_of(&table, stages);
        let kill_10_c = table.quantity("kill_10", Quantity::Temperature);
        let kill_90_c = table.maybe_quantity("kill_90", Quantity::Temperature);
        let source = reading.source(&table);
        table.finish();
        if let Some(ten) = kill_10_c {
            let ten_f = c_to_f(ten);
            let (least, most) = KILL_10_F;
            if ten_f < least - 0.05 || ten_f > most + 0.05 {
                let message = format!(
                    "{} °F cannot be: 10 % of spring buds die between {least} and {most} °F",
                    plain(ten_f)
                );
                table.fault("kill_10", message);
            }
            if kill_90_c.is_some_and(|ninety| ninety >= ten) {
                let message = "should be colder than kill_10: it takes more cold to kill 90 %";
                table.fault("kill_90", message.into());
            }
        }
        if let (Some(at), Some(earlier)) = (stage, before)
            && at <= earlier
        {
            table.fault(
                "stage",
                "stands out of the order of the stages, or twice".into(),
            );
        }
        before = stage.or(before);
        let name = stage.and_then(|at| stages.get(at)).map(|s| s.name.clone());
        let (Some(stage), Some(kill_10_c), Some(source)) = (name, kill_10_c, source) else {
            continue;
        };
        rows.push(CriticalTemperature {
            stage,
            kill_10_c,
            kill_90_c,
            source,
        });
    }
    rows
}

fn stage_of(table: &Table<'_, '_>, stages: &[Stage]) -> Option<usize> {
    let at = table.required_text_at("stage", "green tip")?;
    let found = stages.iter().position(|stage| {
        stage.name.eq_ignore_ascii_case(&at.value)
            || stage
                .also
                .iter()
                .any(|also| also.eq_ignore_ascii_case(&at.value))
    });
    if found.is_none() {
        let names: Vec<&str> = stages.iter().map(|stage| stage.name.as_str()).collect();
        let message = format!("no stage named \"{}\"{}", at.value, hint(&at.value, &names));
        table.fault_at(at.span, "stage", message);
    }
    found
}

fn chill(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<Chill> {
    let mut rows = Vec::new();
    for table in root.tables("chill") {
        let cultivar = table.maybe_text("cultivar");
        let pair = span_within(&table, "range", (0.0, 3000.0));
        let unit = table.choice("unit", &ChillUnit::ALL);
        let source = reading.source(&table);
        table.finish();
        if let (Some((least, most)), Some(unit), Some(source)) = (pair, unit, source) {
            rows.push(Chill {
                cultivar,
                least,
                most,
                unit,
                source,
            });
        }
    }
    rows
}

fn bloom_offset(root: &Table<'_, '_>, reading: &Reading<'_>) -> Option<BloomOffset> {
    let table = root.table("bloom_offset")?;
    let days = table.number("days", -90.0, 90.0);
    let spread_days = table.number("spread", 0.5, 40.0);
    let source = reading.source(&table);
    table.finish();
    Some(BloomOffset {
        days: days?,
        spread_days: spread_days?,
        source: source?,
    })
}

fn harvest(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<BloomToHarvest> {
    let mut rows = Vec::new();
    for table in root.tables("harvest") {
        let cultivar = table.maybe_text("cultivar");
        let pair = span_within(&table, "days", (10.0, 300.0));
        let source = reading.source(&table);
        table.finish();
        if let (Some((least_days, most_days)), Some(source)) = (pair, source) {
            rows.push(BloomToHarvest {
                cultivar,
                least_days,
                most_days,
                source,
            });
        }
    }
    rows
}

fn planting(root: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<PlantingAdvice> {
    let mut rows = Vec::new();
    for table in root.tables("planting") {
        let zones = span_within(&table, "zones", (1.0, 13.0));
        let stock = table.choice("stock", &Stock::ALL);
        let fall = table.choice("fall", &Advice::ALL);
        let spring = table.choice("spring", &Advice::ALL);
        let why = table.text("why", "Roots grow before the first summer");
        let source = reading.source(&table);
        table.finish();
        let (Some(zones), Some(stock), Some(fall), Some(spring), Some(why), Some(source)) =
            (zones, stock, fall, spring, why, source)
        else {
            continue;
        };
        rows.push(PlantingAdvice {
            zones: (zones.0 as u8, zones.1 as u8),
            stock,
            fall,
            spring,
            why,
            source,
        });
    }
    rows
}

pub(super) fn coldest_zone(root: &Table<'_, '_>, reading: &Reading<'_>) -> Option<(u8, Source)> {
    let table = root.table("coldest_zone")?;
    let zone = table.maybe_whole("zone", 1, 13);
    if !table.has("zone") {
        table.fault("zone", "is missing; write it as zone = 5".into());
    }
    let source = reading.source(&table);
    table.finish();
    Some((u8::try_from(zone?).ok()?, source?))
}
