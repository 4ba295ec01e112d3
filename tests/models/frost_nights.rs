//! Nights against flower buds at the stage that they are in.

use budtide::config::knowledge;
use budtide::facts::knowledge::Crop;
use budtide::facts::weather::Day;
use budtide::season::frost_nights::{Buds, Low, night};
use budtide::season::spread::{Basis, Spread};
use budtide::units::f_to_c;
use chrono::{Days, NaiveDate};

fn date(m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, m, d).unwrap()
}

fn apple() -> Crop {
    let knowledge = knowledge::load(None).unwrap_or_else(|faults| panic!("{}", faults[0]));
    knowledge.crop("apple").unwrap().clone()
}

/// Apple with half-inch green on 1 April, tight cluster on 11 April and
/// first pink on 15 April, each two days sooner or later.
fn stages(crop: &Crop) -> Vec<Option<Spread>> {
    let mut stages = vec![None; crop.stages.len()];
    for (name, day) in [
        ("half-inch green", 1),
        ("tight cluster", 11),
        ("first pink", 15),
    ] {
        let middle = date(4, day);
        stages[crop.stage(name).unwrap()] = Some(Spread {
            early: middle - Days::new(2),
            middle,
            late: middle + Days::new(2),
            basis: Basis::Forecast,
        });
    }
    stages
}

fn near(value: f64, wanted: f64) {
    assert!((value - wanted).abs() < 1e-9, "{value} instead of {wanted}");
}

/// EB0913 as in reference/frost.md 1: apple half-inch green 23/15 °F, tight
/// cluster 27/21; by its section 3 linear by date between them.
#[test]
fn between_two_stages_by_the_days() {
    let crop = apple();
    let stages = stages(&crop);
    let on = |day| Buds::on(&crop, &stages, date(4, day)).unwrap();
    near(on(1).critical.kill_10_c(), f_to_c(23.0));
    near(on(6).critical.kill_10_c(), f_to_c(25.0));
    near(on(6).critical.kill_90_c(), f_to_c(18.0));
    near(on(11).critical.kill_10_c(), f_to_c(27.0));
    assert_eq!(
        (on(10).stage, on(12).stage),
        ("half-inch green", "tight cluster")
    );
    assert_eq!(on(10).stages, (Some("half-inch green"), "tight cluster"));
    // Before the first of the dates that are known nothing is told; on it
    // the buds may not be that far.
    assert!(Buds::on(&crop, &stages, date(3, 31)).is_none());
    assert_eq!(on(1).stages.0, None);
}

/// A night seen kills by its low; one ahead by the mean over its spread
/// (reference/algorithms.md 7: 28 °F, spread 2 °F, 28/25: 0.2601).
#[test]
fn a_night_seen_and_one_ahead() {
    let crop = apple();
    let stages: Vec<Option<Spread>> = crop
        .stages
        .iter()
        .map(|stage| {
            (stage.name == "full bloom").then(|| Spread::certain(date(4, 20), Basis::Seen))
        })
        .collect();
    let day = |low_f: f64| Day {
        date: date(4, 21),
        low_c: Some(f_to_c(low_f)),
        high_c: None,
        rain_mm: None,
    };
    let of = |low_f, from| night(&crop, &stages, day(low_f), from).unwrap();
    let seen = of(28.0, Low::Seen(0.0));
    near(seen.kill, 0.1);
    assert_eq!(
        (seen.forecast, seen.at_the_trees, seen.tenth),
        (false, false, 1.0)
    );
    let ahead = of(28.0, Low::Forecast(0.0, 2.0 / 1.8));
    assert!((ahead.kill - 0.2601).abs() < 1e-4, "{ahead:?}");
    assert!((ahead.tenth - 0.5).abs() < 1e-9 && ahead.is_feared());
    assert!(
        ahead.kill_least < 0.03 && ahead.kill_most > 0.6,
        "{ahead:?}"
    );
    assert!(of(28.0, Low::Read).at_the_trees);
    // One in fifty a tenth: not to be feared, and of 32 °F no word at all.
    assert_eq!(
        night(&crop, &stages, day(32.0), Low::Forecast(0.0, 2.0 / 1.8)),
        None
    );
    assert_eq!(night(&crop, &stages, day(32.0), Low::Seen(0.0)), None);
}
