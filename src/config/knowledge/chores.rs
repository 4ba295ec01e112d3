//! `config/chores/*.toml`: the year's work, one file each.

use super::known::{Known, Reading, sheet};
use super::shelf::Shelf;
use crate::config::fault::Fault;
use crate::config::reader::{At, Table};
use crate::facts::journal::DamageCause;
use crate::facts::knowledge::{
    After, Anchor, Chore, ChoreKind, Crop, Cutoff, DegreeDayMethod, Guard, HeatRule, HeatStart,
    Needs, PlantingSeason, Point, Source, Stock, Trigger,
};
use crate::facts::register::{Age, Status};
use crate::units::Quantity;

/// The keys that say which point of the year an anchor means.
const POINTS: [&str; 11] = [
    "date",
    "stage",
    "leaf_fall",
    "spring_freeze",
    "fall_freeze",
    "soil_warms",
    "soil_cools",
    "heat",
    "harvest",
    "coldest_past",
    "chill_portions",
];

/// The keys that say what must have happened.
const TRIGGERS: [&str; 11] = [
    "frost_kill",
    "frost_ahead",
    "infection",
    "infection_ahead",
    "warm_rain",
    "heavy_rain",
    "dry",
    "hard_winter",
    "cold_plunge",
    "wind",
    "damage",
];

/// The keys that say which weather forbids it.
const GUARDS: [&str; 6] = [
    "deep_cold",
    "freeze",
    "in_bloom",
    "frost_damage",
    "rain",
    "heat",
];

/// Reads all chores.
pub fn read(shelf: &Shelf, known: &Known, crops: &[Crop], faults: &mut Vec<Fault>) -> Vec<Chore> {
    shelf
        .folder("chores")
        .filter_map(|file| {
            let reading = Reading { file, known };
            sheet(file, faults, |root| chore(root, &reading, crops)).flatten()
        })
        .collect()
}

/// Reads one chore.
fn chore(root: &Table<'_, '_>, reading: &Reading<'_>, all: &[Crop]) -> Option<Chore> {
    let name = root.text("name", "Dormant pruning of apple and pear");
    let lane = lane(root);
    let say = root.text("say", "Prune {trees}");
    let kind = root.choice("kind", &ChoreKind::ALL);
    let worth = root.maybe_whole("worth", 1, 5).unwrap_or(3);
    let needs = root
        .table("for")
        .map(|table| needs(&table, reading))
        .unwrap_or_default();
    let own: Vec<&Crop> = all
        .iter()
        .filter(|crop| needs.crops.contains(&crop.id))
        .collect();
    let place = Placing {
        reading,
        own: &own,
        all,
    };
    let opens = place.anchors(root, "opens");
    let best = place.anchors(root, "best");
    let closes = place.anchors(root, "closes");
    let after = root.table("after").and_then(|table| after(&table, reading));
    let guards = root.tables("guard").iter().filter_map(guard).collect();
    let good_day = root.maybe_text("good_day").unwrap_or_default();
    let lead_days = root.maybe_number("lead_days", 0.0, 400.0).unwrap_or(0.0);
    let every_days = root.maybe_number("every_days", 1.0, 400.0);
    let (minutes, minutes_in_all) = root
        .table("minutes")
        .and_then(|table| minutes(&table, reading))
        .map_or((None, false), |(span, in_all)| (Some(span), in_all));
    let tools = root.words("tools");
    let why = root.text("why", "what it is good for");
    let how = root.text("how", "how it is done");
    let too_early = root.maybe_text("too_early").unwrap_or_default();
    let too_late = root.maybe_text("too_late").unwrap_or_default();
    let materials = reading.ids(root, "materials", &reading.known.materials);
    let cautions = reading.ids(root, "cautions", &reading.known.cautions);
    let comes_after = reading.ids(root, "comes_after", &reading.known.chores);
    let source = reading.source(root);
    if after.is_none() && !root.has("after") {
        for (key, list) in [("opens", &opens), ("closes", &closes)] {
            if list.is_empty() && !root.has(key) {
                root.fault(key, format!("is missing; write at least one [[{key}]]"));
            }
        }
    }
    root.finish();
    Some(Chore {
        id: reading.file.stem().to_owned(),
        name: name?,
        lane: lane?,
        say: say?,
        kind: kind?,
        worth: u8::try_from(worth).unwrap_or(3),
        needs,
        opens,
        best,
        closes,
        after,
        guards,
        good_day,
        lead_days,
        every_days,
        minutes,
        minutes_in_all,
        tools,
        why: why?,
        how: how?,
        too_early,
        too_late,
        materials,
        cautions,
        comes_after,
        source: source?,
    })
}

/// The lane's words, short enough for their column.
fn lane(root: &Table<'_, '_>) -> Option<String> {
    const COLUMN: usize = 26;
    let lane = root.text("lane", "Prune apple and pear")?;
    let count = lane.chars().count();
    if count > COLUMN {
        root.fault("lane", format!("has {count} letters; keep it to {COLUMN}"));
        return None;
    }
    Some(lane)
}

fn needs(table: &Table<'_, '_>, reading: &Reading<'_>) -> Needs {
    let needs = Needs {
        crops: reading.ids(table, "crops", &reading.known.crops),
        per_crop: table.flag("per_crop", true),
        ages: table.choices("ages", &Age::ALL),
        states: table.choices("states", &Status::ALL),
        susceptible_to: table
            .text_at("susceptible_to")
            .and_then(|at| reading.id(table, "susceptible_to", at, &reading.known.diseases)),
        juniper_within_m: table.maybe_quantity("juniper_within", Quantity::Distance),
        on_junipers: table.flag("on_junipers", false),
        planting: table.maybe_choice("planting", &Stock::ALL),
        zones: table
            .span_of("zones")
            .map(|(from, to)| (from as u8, to as u8)),
        season: table.maybe_choice("season", &PlantingSeason::ALL),
        crop_left: table.maybe_number("crop_left", 0.0, 1.0).unwrap_or(0.0),
    };
    table.finish();
    needs
}

/// Minutes by the plant, or for the whole of it.
fn minutes(table: &Table<'_, '_>, reading: &Reading<'_>) -> Option<((f64, f64, Source), bool)> {
    let in_all = table.has("in_all");
    let key = if in_all { "in_all" } else { "per_plant" };
    let span = table.span_of(key);
    if span.is_none() && !table.has(key) {
        table.fault(
            "per_plant",
            "is missing; write it as per_plant = [5, 10], or in_all = [20, 40]".to_owned(),
        );
    }
    let source = reading.source(table);
    table.finish();
    let (least, most) = span?;
    Some(((least, most, source?), in_all))
}

/// The one key of several that a table holds; a fault if none or two.
fn only<'k>(table: &Table<'_, '_>, keys: &[&'k str], what: &str) -> Option<&'k str> {
    let held: Vec<&str> = keys.iter().copied().filter(|key| table.has(key)).collect();
    match held[..] {
        [key] => Some(key),
        [] => {
            table.fault(
                "",
                format!("names no {what}; write one of {}", keys.join(", ")),
            );
            None
        }
        _ => {
            table.fault(
                held[1],
                format!("names two of a kind; keep one of {}", held.join(", ")),
            );
            None
        }
    }
}

/// What the anchors of one chore are held against.
struct Placing<'p> {
    reading: &'p Reading<'p>,
    /// The chore's own crops.
    own: &'p [&'p Crop],
    /// All crops.
    all: &'p [Crop],
}

impl Placing<'_> {
    fn anchors(&self, root: &Table<'_, '_>, key: &str) -> Vec<Anchor> {
        root.tables(key)
            .iter()
            .filter_map(|table| self.anchor(table))
            .collect()
    }

    fn anchor(&self, table: &Table<'_, '_>) -> Option<Anchor> {
        let key = only(table, &POINTS, "point of the year")?;
        let years_before = match table.maybe_choice("autumn", &[(1_u8, "before"), (0, "after")]) {
            Some(years) => years,
            None => table
                .maybe_whole("years_before", 0, 1)
                .map_or(0, |years| years as u8),
        };
        let point = self.point(table, key, years_before);
        let shift_days = table
            .maybe_number("shift_days", -400.0, 400.0)
            .unwrap_or(0.0);
        table.finish();
        Some(Anchor {
            point: point?,
            shift_days,
        })
    }

    fn point(&self, table: &Table<'_, '_>, key: &str, years_before: u8) -> Option<Point> {
        let cold = |key| table.quantity(key, Quantity::Temperature);
        Some(match key {
            "date" => {
                let (month, day) = table.maybe_month_day("date")?;
                Point::Calendar {
                    month,
                    day,
                    years_before,
                }
            }
            "stage" => self.stage(table)?,
            "leaf_fall" => {
                let percent = table.maybe_whole("leaf_fall", 50, 90)? as u8;
                Point::LeafFall {
                    percent,
                    years_before,
                }
            }
            "spring_freeze" => Point::SpringFreeze {
                threshold_c: cold("spring_freeze")?,
            },
            "fall_freeze" => Point::FallFreeze {
                threshold_c: cold("fall_freeze")?,
                years_before,
            },
            "soil_warms" => Point::SoilWarms {
                threshold_c: cold("soil_warms")?,
            },
            "soil_cools" => Point::SoilCools {
                threshold_c: cold("soil_cools")?,
                years_before,
            },
            "heat" => {
                let sum = table.quantity("heat", Quantity::DegreeDays);
                let rule = heat_rule(table);
                let start = self.heat_start(table);
                Point::Heat {
                    sum: sum?,
                    rule: rule?,
                    start: start?,
                }
            }
            "harvest" => {
                let ends = [(false, "first"), (true, "last")];
                Point::Harvest {
                    last: table.choice("harvest", &ends)?,
                }
            }
            "coldest_past" => {
                table.flag("coldest_past", true);
                Point::ColdestPast
            }
            _ => Point::ChillReached {
                portions: table.number("chill_portions", 0.0, 300.0)?,
            },
        })
    }

    /// A stage of the chore's own crops, or of the one named by `of`.
    fn stage(&self, table: &Table<'_, '_>) -> Option<Point> {
        let Some(of) = table.text_at("of") else {
            let stage = self.reading.stage(table, "stage", self.own)?;
            return Some(Point::Stage { stage, crop: None });
        };
        let of: At<String> = of;
        let crop = self
            .reading
            .id(table, "of", of, &self.reading.known.crops)?;
        let one: Vec<&Crop> = self.all.iter().filter(|one| one.id == crop).collect();
        let stage = self.reading.stage(table, "stage", &one)?;
        Some(Point::Stage {
            stage,
            crop: Some(crop),
        })
    }

    /// `since_date`, `since_stage` or `since_catch`.
    fn heat_start(&self, table: &Table<'_, '_>) -> Option<HeatStart> {
        match only(
            table,
            &["since_date", "since_stage", "since_catch"],
            "start of the sum",
        )? {
            "since_date" => table
                .maybe_month_day("since_date")
                .map(|(month, day)| HeatStart::Calendar(month, day)),
            "since_stage" => table.maybe_text("since_stage").map(HeatStart::Stage),
            key => {
                let at = table.text_at(key)?;
                let insects = &self.reading.known.insects;
                let insect = self.reading.id(table, key, at, insects)?;
                Some(HeatStart::Catch(insect))
            }
        }
    }
}

/// `base`, `upper`, `cutoff` and `method` of a heat sum.
pub(super) fn heat_rule(table: &Table<'_, '_>) -> Option<HeatRule> {
    let method = table.choice("method", &DegreeDayMethod::ALL);
    let base_c = table.quantity("base", Quantity::Temperature);
    let upper_c = table.maybe_quantity("upper", Quantity::Temperature);
    let cutoff = table
        .maybe_choice("cutoff", &Cutoff::ALL)
        .unwrap_or_default();
    if let (Some(base), Some(upper)) = (base_c, upper_c)
        && upper <= base
    {
        table.fault("upper", "should be warmer than base".to_owned());
        return None;
    }
    Some(HeatRule {
        method: method?,
        base_c: base_c?,
        upper_c,
        cutoff,
    })
}

fn after(table: &Table<'_, '_>, reading: &Reading<'_>) -> Option<After> {
    let opens_days = table.maybe_number("opens_days", -30.0, 60.0).unwrap_or(0.0);
    let closes_days = table.number("closes_days", -30.0, 120.0);
    let best_days = table
        .maybe_number("best_days", -30.0, 120.0)
        .unwrap_or(opens_days);
    let trigger = trigger(table, reading);
    if let Some(closes) = closes_days
        && closes < opens_days
    {
        table.fault(
            "closes_days",
            format!("{closes} comes before opens_days = {opens_days}"),
        );
    }
    table.finish();
    Some(After {
        trigger: trigger?,
        opens_days,
        best_days,
        closes_days: closes_days?,
    })
}

fn trigger(table: &Table<'_, '_>, reading: &Reading<'_>) -> Option<Trigger> {
    let key = only(table, &TRIGGERS, "event")?;
    match key {
        "frost_kill" => table
            .number(key, 0.0, 1.0)
            .map(|share| Trigger::FrostKill { share }),
        "frost_ahead" => table
            .number(key, 0.0, 1.0)
            .map(|share| Trigger::FrostAhead { share }),
        "infection" => table
            .text_at(key)
            .and_then(|at| reading.id(table, key, at, &reading.known.diseases))
            .map(|disease| Trigger::Infection { disease }),
        "infection_ahead" => table
            .text_at(key)
            .and_then(|at| reading.id(table, key, at, &reading.known.diseases))
            .map(|disease| Trigger::InfectionAhead { disease }),
        "warm_rain" => {
            let rain = table.quantity(key, Quantity::Rain);
            let mean = table.quantity("mean", Quantity::Temperature);
            rain.zip(mean)
                .map(|(rain_mm, mean_c)| Trigger::WarmRain { rain_mm, mean_c })
        }
        "heavy_rain" => table
            .quantity(key, Quantity::Rain)
            .map(|rain_mm| Trigger::HeavyRain { rain_mm }),
        "dry" => {
            let rain = table.quantity(key, Quantity::Rain);
            let days = table.maybe_whole("days", 1, 60).unwrap_or(7);
            rain.map(|rain_mm| Trigger::Dry {
                rain_mm,
                days: days as u32,
            })
        }
        "cold_plunge" => {
            let low = table.quantity(key, Quantity::Temperature);
            let drop = table.quantity("drop", Quantity::TemperatureStep);
            low.zip(drop)
                .map(|(low_c, drop_k)| Trigger::ColdPlunge { drop_k, low_c })
        }
        "wind" => table
            .quantity(key, Quantity::Wind)
            .map(|wind_m_s| Trigger::Gale { wind_m_s }),
        "damage" => table
            .choice(key, &DamageCause::ALL)
            .map(|cause| Trigger::DamageNoted { cause }),
        _ => table
            .quantity("hard_winter", Quantity::Temperature)
            .map(|low_c| Trigger::HardWinter { low_c }),
    }
}

fn guard(table: &Table<'_, '_>) -> Option<Guard> {
    let key = only(table, &GUARDS, "weather")?;
    let within = table.maybe_whole("within_days", 0, 30).unwrap_or(3) as u32;
    let guard = match key {
        "deep_cold" => table
            .quantity(key, Quantity::Temperature)
            .map(|low_c| Guard::DeepCold {
                low_c,
                within_days: within,
            }),
        "freeze" => table
            .quantity(key, Quantity::Temperature)
            .map(|low_c| Guard::Freeze {
                low_c,
                within_days: within,
            }),
        "frost_damage" => table.number(key, 0.0, 1.0).map(|share| Guard::FrostDamage {
            share,
            within_days: within,
        }),
        "in_bloom" => table.flag(key, true).then_some(Guard::Bloom),
        "rain" => table.flag(key, true).then_some(Guard::Rain {
            within_days: within,
        }),
        _ => table
            .quantity(key, Quantity::Temperature)
            .map(|high_c| Guard::Heat { high_c }),
    };
    table.finish();
    guard
}
