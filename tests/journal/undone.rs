//! Noted and taken back: journal, register and plan are as they were.

use super::{PLACE, REGISTER};
use budtide::facts::Facts;
use budtide::facts::journal::{
    BudCount, Damage, DamageCause, Entry, Fact, Harvest, Kind, LowRead, Noted, Planting, RainRead,
    Removal, Severity, ShootGrowth, Snooze, Spray, Stage, Symptom, TrapCatch, Work,
};
use budtide::plan::{self, Plan};
use budtide::season;
use budtide::service::gather::{self, Folders};
use budtide::store::journal::{self, JournalStore};
use budtide::store::weather::{self, Origin, WeatherStore};
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeZone, Utc};
use proptest::prelude::*;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 20).unwrap()
}

fn at() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 5, 20, 12, 0, 0).unwrap()
}

/// Some dry years with cold springs.
fn weather(data: &Path) {
    use budtide::facts::weather::Day;
    let first = NaiveDate::from_ymd_opt(2019, 1, 1).unwrap();
    let days: Vec<Day> = first
        .iter_days()
        .take_while(|day| *day < today())
        .map(|date| {
            let turn = f64::from(date.ordinal0()) / 365.25 * std::f64::consts::TAU;
            let mean = 11.0 - 12.0 * (turn - 0.3).cos() + f64::from(date.day() % 7);
            Day {
                date,
                low_c: Some(mean - 6.0),
                high_c: Some(mean + 6.0),
                rain_mm: Some(0.0),
            }
        })
        .collect();
    let mut store = WeatherStore::open(&data.join(weather::FILE)).unwrap();
    let origin = Origin {
        source: "own station",
        issued: at(),
    };
    store.put_days(origin, &days).unwrap();
}

/// A note of a kind, with figures, trees and days as drawn.
fn note(kind: Kind, days: u64, figure: f64, tree: bool, task: &str) -> Entry {
    let trees = |ids: &[&str]| ids.iter().map(|id| (*id).to_owned()).collect::<Vec<_>>();
    let count = (figure * 9.0) as u32 + 1;
    let task = task.to_owned();
    let (crop, what) = match kind {
        Kind::Stage => (
            Some("apple"),
            Fact::Stage(Stage {
                cultivar: None,
                stage: "full bloom".to_owned(),
            }),
        ),
        Kind::Done => (
            None,
            Fact::Done(Work {
                task,
                minutes: Some(count),
            }),
        ),
        Kind::Skipped => (None, Fact::Skipped(task)),
        Kind::Snoozed => (
            None,
            Fact::Snoozed(Snooze {
                task,
                until: today() + Days::new(u64::from(count)),
            }),
        ),
        Kind::Spray => (
            Some("apple"),
            Fact::Spray(Spray {
                materials: vec!["captan".to_owned()],
                ..Spray::default()
            }),
        ),
        Kind::Catch => (
            None,
            Fact::Catch(TrapCatch {
                insect: "codling-moth".to_owned(),
                trap: None,
                count,
                biofix: tree,
            }),
        ),
        Kind::Symptom => (
            Some("apple"),
            Fact::Symptom(Symptom {
                what: "cedar-apple-rust".to_owned(),
                severity: Some(Severity::Share(figure)),
            }),
        ),
        Kind::Shoots => (
            None,
            Fact::Shoots(ShootGrowth {
                length_cm: figure * 90.0,
            }),
        ),
        Kind::Harvest => (
            Some("peach"),
            Fact::Harvest(Harvest {
                weight_kg: None,
                of_full: Some(figure),
            }),
        ),
        Kind::Damage => (
            Some("apple"),
            Fact::Damage(Damage {
                cause: DamageCause::Hail,
                share: Some(figure),
            }),
        ),
        Kind::Buds => (
            Some("peach"),
            Fact::Buds(BudCount {
                cultivar: None,
                stage: None,
                live: count,
                cut: count + 5,
            }),
        ),
        Kind::Rain => (
            None,
            Fact::Rain(RainRead {
                rain_mm: figure * 60.0,
            }),
        ),
        Kind::Low => (
            None,
            Fact::Low(LowRead {
                low_c: figure * 6.0 - 8.0,
                spot: None,
            }),
        ),
        Kind::Planting => (
            Some("apple"),
            Fact::Planting(Planting {
                cultivar: None,
                count: 1,
            }),
        ),
        Kind::Removal => (None, Fact::Removal(Removal { reason: None })),
        Kind::Note => (None, Fact::Note),
    };
    let trees = match kind {
        Kind::Planting => trees(&["A9"]),
        Kind::Removal => trees(&[if tree { "P1" } else { "J1" }]),
        Kind::Shoots => trees(&["A1"]),
        _ => Vec::new(),
    };
    Noted {
        date: today() - Days::new(days),
        trees,
        crop: crop.map(str::to_owned),
        note: Some("as drawn".to_owned()),
        what,
    }
}

fn plan(folders: &Folders) -> (Facts, Plan) {
    let facts = gather::facts(folders, today()).unwrap();
    let plan = plan::make(&facts, &season::derive(&facts, today()), today());
    (facts, plan)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3))]

    /// Every kind of note, on a journal of others: taken back, plan, register,
    /// weather and journal are equal to the last bit.
    #[test]
    fn every_kind_of_note_is_undone_without_a_trace(
        kept in proptest::collection::vec(
            (0..Kind::ALL.len(), 0..40_u64, 0.0..1.0_f64, any::<bool>()), 0..4),
        days in 0..15_u64, figure in 0.05..1.0_f64, tree in any::<bool>(),
    ) {
        let home = TempDir::new().unwrap();
        fs::write(home.path().join("place.toml"), PLACE).unwrap();
        let newer = "\n[[tree]]\nid = \"A2\"\ncrop = \"apple\"\nplanted = 2026\n";
        fs::write(home.path().join("register.toml"), format!("{REGISTER}{newer}")).unwrap();
        let folders = Folders {
            config: home.path().to_owned(),
            data: home.path().join("data"),
        };
        fs::create_dir_all(&folders.data).unwrap();
        weather(&folders.data);
        let mut store = JournalStore::open(&folders.data.join(journal::FILE)).unwrap();
        let open = plan(&folders).1;
        let task = open.tasks.iter().find(|task| task.chore == "water-new").unwrap();
        for (kind, days, figure, tree) in kept {
            let entry = note(Kind::ALL[kind].0, days, figure, tree, &task.id);
            store.record(&entry, at()).unwrap();
        }
        let (facts, before) = plan(&folders);
        let mut moved = 0;
        for (kind, word) in Kind::ALL {
            let id = store.record(&note(kind, days, figure, tree, &task.id), at()).unwrap();
            let noted = plan(&folders);
            moved += usize::from(noted.1 != before);
            store.undo(id, at()).unwrap();
            let (undone, after) = plan(&folders);
            prop_assert_eq!(&undone.journal, &facts.journal, "{}", word);
            prop_assert_eq!(&undone.register, &facts.register, "{}", word);
            // Unknown values equal nothing, not even themselves.
            let told = |facts: &Facts| format!("{:?}", facts.weather);
            prop_assert!(told(&undone) == told(&facts), "{word}");
            prop_assert!(after == before, "{word}");
        }
        prop_assert!(moved >= 3, "notes move the plan: {}", moved);
    }
}
