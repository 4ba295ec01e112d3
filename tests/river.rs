//! The river: whole years of real weather, seen day after day as they came,
//! from facts to season to plan to words, against golden files that a person
//! can read. `BUDTIDE_WRITE_EXPECTED=1` writes them anew; read the difference.
//!
//! * Champion, Nebraska, 1982-2018 (Apache-2.0, see the fixture's licence note
//!   in `fixtures/weather/README.md`): 2007 with its killing April, and 2012
//!   with its early spring.
//! * Newark, New Jersey, 2013 by the hour (CC0): the infection periods of rust
//!   and scab of one wet year.

use budtide::config;
use budtide::facts::Facts;
use budtide::facts::weather::{DailyRecord, HourlyRecord, Weather};
use budtide::plan::{self, State};
use budtide::render::sentence::Words;
use budtide::season;
use budtide::service::gather;
use budtide::sources::csv_file::{self, Options, days_from_hours};
use chrono::{Datelike, NaiveDate, TimeDelta};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures")
        .join(name)
}

/// A small register that stands for many: the crops with a frost table, a
/// rust-susceptible and a resistant apple, a juniper.
const REGISTER: &str = r#"
[[tree]]
id = "A1"
crop = "apple"
cultivar = "Golden Delicious"
planted = 1990

[[tree]]
id = "A2"
crop = "apple"
cultivar = "Liberty"
planted = 1990

[[tree]]
id = "P1"
crop = "peach"
cultivar = "Redhaven"
planted = 1999

[[tree]]
id = "R1"
crop = "pear"
cultivar = "Bartlett"
planted = 1990
status = "replace"

[[juniper]]
id = "J1"
where = "fence"
distance = "120 ft"
removable = true
"#;

fn facts(place: &str, weather: Weather) -> Facts {
    let knowledge = config::knowledge::load(None).unwrap();
    let (place, preferences) = config::place::read("place.toml", place, &knowledge.crops).unwrap();
    let register = config::register::read("register.toml", REGISTER, &knowledge.crops).unwrap();
    let settings = config::Settings {
        delivery: config::delivery::Delivery::default(),
        weather: config::weather::WeatherSettings::none(),
        warnings: Vec::new(),
        place,
        preferences,
        register,
        journal: Default::default(),
        knowledge,
    };
    gather::joined(settings, weather, NaiveDate::MAX)
}

pub fn champion() -> Facts {
    let file = fixture("weather/daily_champion_ne_1982_2018.csv.gz");
    let read = csv_file::read_path(&file, &Options::default()).unwrap();
    let weather = Weather {
        daily: DailyRecord::from_days(&read.daily),
        ..Weather::default()
    };
    let place = r#"
name = "Champion"
latitude = 40.4
longitude = -101.7
time_zone = "America/Denver"
hardiness_zone = "5a"
[[usual_bloom]]
crop = "apple"
date = "05-06"
"#;
    facts(place, weather)
}

fn newark() -> Facts {
    let file = fixture("weather/kewr_2013_hourly.csv.gz");
    let mut options = Options::default();
    options.set("zone", "America/New_York").unwrap();
    let read = csv_file::read_path(&file, &options).unwrap();
    let weather = Weather {
        daily: DailyRecord::from_days(&days_from_hours(&read.hourly)),
        hourly: HourlyRecord::from_hours(&read.hourly),
        ..Weather::default()
    };
    let place = r#"
name = "Newark"
latitude = 40.7
longitude = -74.2
time_zone = "America/New_York"
hardiness_zone = "7b"
[[usual_bloom]]
crop = "apple"
date = "04-28"
sure = true
"#;
    facts(place, weather)
}

/// The facts as they were known on the morning of a day.
fn on(facts: &Facts, today: NaiveDate) -> Facts {
    Facts {
        weather: facts.weather.as_of(today),
        journal: facts.journal.as_of(today),
        ..facts.clone()
    }
}

/// A year seen every few days, and every day in the given span: what opens,
/// what turns urgent, what closes or is dropped, and the stages of apple.
fn year(facts: &Facts, year: i32, close: (u32, u32)) -> String {
    let day = |m, d| NaiveDate::from_ymd_opt(year, m, d).unwrap();
    let mut text = String::new();
    let mut known: BTreeMap<String, (State, String)> = BTreeMap::new();
    let mut today = day(1, 4);
    while today <= day(12, 27) {
        let facts = on(facts, today);
        let season = season::derive(&facts, today);
        let plan = plan::make(&facts, &season, today);
        let words = Words::new(&facts, today);
        let mut lines = Vec::new();
        let mut now: BTreeMap<String, (State, String)> = BTreeMap::new();
        for task in &plan.tasks {
            let window = &task.window;
            assert!(
                window.opens.spread.early <= window.opens.spread.late,
                "{}",
                task.id
            );
            assert!(
                window.opens.spread.middle <= window.closes.spread.middle,
                "{}",
                task.id
            );
            let before = known.get(&task.id).map(|(state, _)| *state);
            let active = matches!(task.state, State::Open | State::Urgent);
            if active && before != Some(task.state) {
                lines.push(format!(
                    "  {:<6} {} ({})",
                    task.state.word(),
                    words.say(task),
                    words.when(task)
                ));
            }
            now.insert(task.id.clone(), (task.state, words.say(task)));
        }
        for (id, (state, say)) in &known {
            let was = matches!(state, State::Open | State::Urgent);
            let is = now
                .get(id)
                .is_some_and(|(state, _)| matches!(state, State::Open | State::Urgent));
            if was && !is {
                lines.push(format!("  over   {say}"));
            }
        }
        if today.day() <= 7 && today.month() <= 6 {
            for (name, _, spread, _) in season.stage_list(&season.groups[0], year) {
                if ["green tip", "full bloom", "petal fall"].contains(&name)
                    && let Some(spread) = spread
                {
                    lines.push(format!("  apple  {name} {}", words.spread(spread)));
                }
            }
        }
        if !lines.is_empty() {
            writeln!(text, "{}", today.format("%a %-d %b %Y")).unwrap();
            for line in lines {
                writeln!(text, "{line}").unwrap();
            }
        }
        known = now;
        let near =
            today >= day(close.0, close.1) && today < day(close.0, close.1) + TimeDelta::days(20);
        today += TimeDelta::days(if near { 1 } else { 7 });
    }
    text
}

fn golden(name: &str, text: &str) {
    let path = fixture("river").join(name);
    if std::env::var_os("BUDTIDE_WRITE_EXPECTED").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, text).unwrap();
        return;
    }
    let expected = fs::read_to_string(&path).unwrap_or_default();
    for (at, (is, was)) in text.lines().zip(expected.lines()).enumerate() {
        assert_eq!(is, was, "{name}, line {}", at + 1);
    }
    assert_eq!(
        text.lines().count(),
        expected.lines().count(),
        "{name}: lines"
    );
}

/// The low of -10.5 °C in April 2007 after a warm March killed the crop in the
/// Plains (Gu and others 2008, BioScience 58:253-262: the freeze; remembered).
#[test]
fn champion_2007_the_killing_april() {
    let text = year(&champion(), 2007, (3, 28));
    golden("champion_2007.txt", &text);
    assert!(
        text.contains("count the live ones"),
        "buds are to be counted after the frost"
    );
}

#[test]
fn champion_2012_an_early_spring() {
    golden("champion_2012.txt", &year(&champion(), 2012, (4, 1)));
}

/// Rust and scab periods of a wet year: each in wet, mild weather, none in a
/// dry week; rust infects from 2 to 24 °C only (Aldwinckle, Pearson & Seem
/// 1980, Phytopathology 70:1070-1073, abstract).
#[test]
fn newark_2013_by_the_hour() {
    let today = NaiveDate::from_ymd_opt(2013, 7, 15).unwrap();
    let facts = on(&newark(), today);
    let season = season::derive(&facts, today);
    let mut text = String::new();
    for period in &season.infections {
        let mean = period.mean_c.unwrap_or(f64::NAN);
        writeln!(
            text,
            "{} to {}  {:<20} {:?}, {} wet hours at {:.1} °C",
            period.from.format("%d %b %H"),
            period.until.format("%d %b %H"),
            period.disease,
            period.class,
            period.wet_hours,
            mean
        )
        .unwrap();
        if period.disease == "cedar-apple-rust" {
            assert!((2.0..=24.5).contains(&mean), "{period:?}");
            let hours = facts.weather.hourly.as_ref().unwrap();
            let from = hours.index(period.from).unwrap();
            let until = hours.index(period.until).unwrap();
            let rain: f64 = (from.saturating_sub(24)..=until)
                .filter_map(|hour| hours.rain_mm.get(hour))
                .sum();
            assert!(rain > 0.0, "no rust in a dry week: {period:?}");
        }
    }
    golden("newark_2013_infections.txt", &text);
    assert!(text.contains("cedar-apple-rust"));
}
