//! Rust judged from the hours of a forecast: told before the rain, for trees
//! that are not covered.

use budtide::facts::Facts;
use budtide::facts::journal::{Entry, Fact, Spray};
use budtide::facts::weather::{Hour, HourlyRecord};
use budtide::plan::nudge::{self, Said};
use budtide::plan::{self, Plan, State};
use budtide::render::rust;
use budtide::season::infection::Class;
use budtide::season::infections::Certainty;
use budtide::season::{self, Season};
use budtide::service::gather;
use chrono::{Days, NaiveDate};

const DISEASE: &str = "cedar-apple-rust";

/// The demo on a morning; the hours that came are its forecast, changed by
/// `change`.
fn morning(today: NaiveDate, change: impl Fn(&mut Hour)) -> Facts {
    let mut facts = gather::demo(today).unwrap();
    facts.journal.sprays.clear();
    let later = gather::demo(today + Days::new(6)).unwrap();
    let hours: Vec<Hour> = later
        .weather
        .hourly
        .unwrap()
        .hours()
        .filter(|hour| hour.start.date() >= today)
        .map(|mut hour| {
            change(&mut hour);
            hour
        })
        .collect();
    facts.weather.forecast.as_mut().unwrap().hourly = HourlyRecord::from_hours(&hours);
    facts
}

fn look(facts: &Facts, today: NaiveDate) -> (Season, Plan) {
    let season = season::derive(facts, today);
    let plan = plan::make(facts, &season, today);
    (season, plan)
}

/// The first infection of the demo's spring that begins on a day after a dry
/// morning, as it was seen afterwards.
fn infection() -> season::infections::InfectionPeriod {
    let end = NaiveDate::from_ymd_opt(2026, 6, 20).unwrap();
    let facts = gather::demo(end).unwrap();
    let season = season::derive(&facts, end);
    let mut found = season.infections.into_iter();
    found
        .find(|one| one.disease == DISEASE && one.class >= Class::Infection)
        .expect("the demo has a rust infection")
}

#[test]
fn rain_ahead_calls_for_cover_before_it() {
    let seen = infection();
    let today = seen.from.date() - Days::new(1);
    let facts = morning(today, |_| {});
    let (season, plan) = look(&facts, today);
    let ahead = season.infections_ahead.as_ref().unwrap();
    let own = ahead
        .iter()
        .find(|ahead| ahead.period.disease == DISEASE)
        .unwrap();
    // The same hours give the same period, before as after.
    assert_eq!((own.period.from, own.period.class), (seen.from, seen.class));
    let believed = match own.period.sure {
        true => Certainty::Likely,
        false => Certainty::Possible,
    };
    assert_eq!(own.certainty, believed, "tomorrow's rain");
    let task = plan
        .tasks
        .iter()
        .find(|task| task.chore == "rust-ahead")
        .unwrap();
    assert_eq!(task.state, State::Urgent, "{task:?}");
    assert!(!task.trees.is_empty());
    let trees = &facts.register.trees;
    assert!(
        task.trees.iter().all(|id| {
            let tree = trees.iter().find(|tree| tree.id == *id).unwrap();
            tree.cultivar.as_deref() != Some("Liberty")
        }),
        "a resistant tree needs none: {:?}",
        task.trees
    );
    let digest = nudge::digest(&facts, &season, &plan, None, &Said::default());
    let lines = digest.lines.iter().chain(&digest.more).flatten();
    assert!(
        lines
            .filter_map(|nudge| nudge.task())
            .any(|task| task.chore == "rust-ahead"),
        "a word on it"
    );
    let page = rust::page(&facts, &season).join("\n");
    assert!(
        page.contains("Ahead, ") && page.contains("To cover before it:"),
        "{page}"
    );
    assert!(
        page.lines().all(|line| line.chars().count() <= 80),
        "{page}"
    );
}

#[test]
fn a_dry_forecast_or_one_without_hours_or_a_cover_calls_for_nothing() {
    let seen = infection();
    let today = seen.from.date() - Days::new(1);
    let calls = |facts: &Facts| {
        let (season, plan) = look(facts, today);
        let called = plan.tasks.iter().any(|task| task.chore == "rust-ahead");
        (season, called)
    };
    let dry = morning(today, |hour| {
        hour.rain_mm = Some(0.0);
        hour.humidity_pct = Some(40.0);
        hour.dew_point_c = hour.temperature_c.map(|c| c - 12.0);
    });
    let (season, called) = calls(&dry);
    assert_eq!(
        (season.infections_ahead.map(|ahead| ahead.len()), called),
        (Some(0), false)
    );
    let mut blind = morning(today, |_| {});
    blind.weather.forecast.as_mut().unwrap().hourly = None;
    let (season, called) = calls(&blind);
    assert_eq!((&season.infections_ahead, called), (&None, false));
    let page = rust::page(&blind, &season).join("\n");
    assert!(page.contains("has no hours"), "{page}");
    // Trees covered that day need nothing.
    let mut covered = morning(today, |_| {});
    let spray = Entry {
        date: today,
        trees: Vec::new(),
        crop: Some("apple".to_owned()),
        note: None,
        what: Fact::Spray(Spray {
            materials: vec!["mancozeb".to_owned()],
            ..Spray::default()
        }),
    };
    covered.journal = budtide::facts::journal::Journal::from_entries([spray]);
    let (season, called) = calls(&covered);
    assert!(!called && !season.infections_ahead.unwrap().is_empty());
}
