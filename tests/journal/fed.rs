//! What the keeper's notes feed: the real binary, with a weather of our own
//! invention beside them.

use super::{folder, says_on};
use chrono::{Datelike, NaiveDate};
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// A folder with days of an invented weather up to a day, that not included:
/// a sine of the year, rain as `rain` says, inches.
fn with_weather(day: &str, rain: impl Fn(NaiveDate) -> f64) -> TempDir {
    let home = folder("us");
    let until: NaiveDate = day.parse().unwrap();
    let first = NaiveDate::from_ymd_opt(2017, 1, 1).unwrap();
    let mut text = "date,tmin_f,tmax_f,rain_in\n".to_owned();
    for day in first.iter_days().take_while(|day| *day < until) {
        let turn = f64::from(day.ordinal0()) / 365.25 * std::f64::consts::TAU;
        let mean =
            53.0 - 22.0 * (turn - 0.3).cos() + f64::from(day.day() % 7) + f64::from(day.year() % 5);
        let (low, high) = (mean - 11.0, mean + 11.0);
        text.push_str(&format!("{day},{low:.0},{high:.0},{}\n", rain(day)));
    }
    let file = home.path().join("days.csv");
    fs::write(&file, text).unwrap();
    let said = says_on(day, home.path(), &["import", file.to_str().unwrap()]);
    assert!(said.contains("new"), "{said}");
    home
}

fn json(day: &str, home: &Path, args: &[&str]) -> Value {
    let said = says_on(day, home, &[args, &["--json"]].concat());
    serde_json::from_str(&said).unwrap_or_else(|error| panic!("{args:?}: {error}: {said}"))
}

/// The tasks of a chore on a day's calendar.
fn tasks(day: &str, home: &Path, chore: &str) -> Vec<Value> {
    let plan = json(day, home, &["calendar"]);
    let tasks = plan["tasks"].as_array().unwrap().iter();
    tasks
        .filter(|task| task["chore"] == chore && task["season"] == 2026)
        .cloned()
        .collect()
}

/// A text on one line.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A catch that goes on starts the count to egg hatch; undone, the reckoned
/// start is back. 250 degree days (50 F) after it: Good Fruit Grower on the
/// Washington model, tests/fixtures/insect_degree_days.csv.
#[test]
fn a_lasting_catch_starts_the_count_of_its_insect() {
    let home = with_weather("2026-05-20", |_| 0.0);
    let home = home.path();
    let day = "2026-05-20";
    let cover = || tasks(day, home, "codling-cover");
    let why = || flat(&says_on(day, home, &["why", "codling-cover-apple-2026"]));
    let before = cover();
    assert_eq!(before.len(), 1, "{before:?}");
    let reckoned = why();
    assert!(
        reckoned.contains("no catch is noted, so the first is reckoned"),
        "{reckoned}"
    );
    let one = flat(&says_on(
        day,
        home,
        &["note", "catch", "codling-moth", "3", "--on", "05-15"],
    ));
    assert!(one.contains("One catch is no start yet"), "{one}");
    assert!(one.contains("Until then the first is reckoned"), "{one}");
    assert_eq!(cover(), before, "one catch alone");
    let two = flat(&says_on(
        day,
        home,
        &["note", "catch", "codling-moth", "2", "--on", "05-19"],
    ));
    assert!(
        two.contains(
            "Heat for codling moth is now counted from 15 May, the first catch that goes on."
        ),
        "{two}"
    );
    assert!(two.contains("first egg hatch, first spray"), "{two}");
    let noted = why();
    assert!(
        noted.contains("you noted the first catch on 15 May"),
        "{noted}"
    );
    assert!(!noted.contains("A date of the calendar"), "{noted}");
    assert_ne!(cover()[0]["opens"], before[0]["opens"]);
    // The sum by hand: simple average above 50 F from the catch on.
    let mut sum = 0.0;
    let opened = NaiveDate::from_ymd_opt(2026, 5, 15)
        .unwrap()
        .iter_days()
        .find(|date| {
            let turn = f64::from(date.ordinal0()) / 365.25 * std::f64::consts::TAU;
            let mean = 53.0 - 22.0 * (turn - 0.3).cos() + f64::from(date.day() % 7);
            sum += (mean + 2.0 - 50.0_f64).max(0.0);
            sum >= 250.0
        })
        .unwrap();
    let told: NaiveDate = cover()[0]["opens"]["p50"]
        .as_str()
        .unwrap()
        .parse()
        .unwrap();
    assert!((told - opened).num_days().abs() <= 2, "{told} {opened}");
    says_on(day, home, &["undo"]);
    says_on(day, home, &["undo"]);
    assert_eq!(cover(), before);
    // Called the biofix, one catch is enough.
    let said = says_on(
        day,
        home,
        &[
            "note",
            "catch",
            "codling-moth",
            "1",
            "--biofix",
            "--on",
            "05-15",
        ],
    );
    assert!(said.contains("now counted from 15 May"), "{said}");
    assert!(why().contains("you noted the first catch on 15 May"));
}

/// The gauge in a dry week: water is called for by the record, not by the
/// gauge; shown as the keeper's own, kept out of the weather store.
#[test]
fn the_gauge_stands_in_the_place_of_the_record() {
    let home = with_weather("2026-07-01", |day| {
        if day < NaiveDate::from_ymd_opt(2026, 6, 1).unwrap() && day.day() % 3 == 0 {
            0.5
        } else {
            0.0
        }
    });
    let home = home.path();
    fs::write(
        home.join("register.toml"),
        "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\nplanted = 2026\n",
    )
    .unwrap();
    let day = "2026-07-01";
    let water = || tasks(day, home, "water-new");
    let open = |tasks: &[Value]| {
        let on = |task: &&Value| ["open", "now"].contains(&task["state"].as_str().unwrap());
        tasks.iter().filter(on).count()
    };
    let before = water();
    assert_eq!(open(&before), 1, "{before:?}");
    let stored = || fs::read(home.join("data/weather.sqlite")).unwrap();
    let kept = stored();
    let said = flat(&says_on(
        day,
        home,
        &["note", "rain", "1.2in", "--on", "06-29"],
    ));
    assert!(
        said.contains("It stands in the place of the record's rain of that day"),
        "{said}"
    );
    assert_eq!(open(&water()), 0, "the ground is wet");
    let page = flat(&says_on(day, home, &["weather"]));
    assert!(
        page.contains("Rain of your own gauge: 29 Jun 1.2 in (the record has none)."),
        "{page}"
    );
    let view = json(day, home, &["weather"]);
    let days = view["days"].as_array().unwrap();
    let own: Vec<&Value> = days.iter().filter(|day| day["own_rain"] == true).collect();
    assert_eq!(own.len(), 1);
    assert_eq!(
        (&own[0]["date"], &own[0]["record_rain_mm"]),
        (&Value::from("2026-06-29"), &Value::from(0.0))
    );
    // A second reading of the day adds to the first, and is told so.
    let said = flat(&says_on(
        day,
        home,
        &["note", "rain", "0.1in", "--on", "06-29"],
    ));
    assert!(said.contains("adds up to 1.3 in"), "{said}");
    says_on(day, home, &["undo"]);
    says_on(day, home, &["undo"]);
    assert_eq!(water(), before);
    assert_eq!(stored(), kept, "nothing is kept as the weather's");
    // Today's rain counts at once.
    says_on(day, home, &["note", "rain", "1in"]);
    assert_eq!(open(&water()), 0);
}

/// Rain of the gauge washes the cover of a noted spray off: two inches end it
/// (reference/algorithms.md 11).
#[test]
fn the_gauge_washes_cover_off() {
    use budtide::facts::journal::{Entry, Fact, Journal, Noted, RainRead, Spray};
    use budtide::facts::weather::{DailyRecord, Weather};
    use budtide::plan::sprays::covered;
    let date = |d| NaiveDate::from_ymd_opt(2026, 5, d).unwrap();
    let noted = |d, what| Entry {
        date: date(d),
        trees: Vec::new(),
        crop: None,
        note: None,
        what,
    };
    let spray = Spray {
        materials: vec!["myclobutanil".to_owned()],
        ..Spray::default()
    };
    let mut facts = budtide::service::gather::demo(date(9)).unwrap();
    facts.journal = Journal::from_entries([noted(4, Fact::Spray(spray))]);
    facts.weather = Weather {
        daily: Some(DailyRecord::unknown(date(1), 8)),
        ..Weather::default()
    };
    let cover = |facts: &budtide::facts::Facts| {
        covered(facts, "A2", Some("apple"), "cedar-apple-rust", date(7))
    };
    facts.heed_notes(date(9));
    assert_eq!(cover(&facts), Some(date(4)));
    let rain: Noted<RainRead> = Noted {
        date: date(5),
        trees: Vec::new(),
        crop: None,
        note: None,
        what: RainRead { rain_mm: 55.0 },
    };
    facts.journal.rain.push(rain);
    facts.heed_notes(date(9));
    assert_eq!(cover(&facts), None);
}

/// A tree planted has its first-year work from that day, one taken out has
/// none; `check` tells the file from the notes; undone, all is as before.
#[test]
fn plantings_and_removals_count_in_the_register() {
    let home = with_weather("2026-07-01", |_| 0.0);
    let home = home.path();
    let day = "2026-07-01";
    let names = |task: &Value| -> Vec<String> {
        let trees = task["trees"].as_array().unwrap().iter();
        trees.map(|id| id.as_str().unwrap().to_owned()).collect()
    };
    let of = |id: &str| -> Vec<String> {
        let plan = json(day, home, &["calendar"]);
        let tasks = plan["tasks"].as_array().unwrap().iter();
        let own = tasks.filter(|task| names(task).iter().any(|one| one == id));
        own.map(|task| task["chore"].as_str().unwrap().to_owned())
            .collect()
    };
    let plan = || json(day, home, &["calendar"]);
    let check = || flat(&says_on(day, home, &["check"]));
    let (before, checked) = (plan(), check());
    assert!(!of("P1").is_empty() && of("A2").is_empty());
    let said = flat(&says_on(
        day,
        home,
        &[
            "note", "planting", "apple", "Liberty", "--count", "2", "--on", "04-20",
        ],
    ));
    assert!(
        said.contains("planted 2 apple 'Liberty' [A2, A3]"),
        "{said}"
    );
    assert!(
        said.contains("In the register from that day on: A2, A3."),
        "{said}"
    );
    for id in ["A2", "A3"] {
        assert!(of(id).contains(&"water-new".to_owned()), "{:?}", of(id));
    }
    assert!(says_on(day, home, &["trees", "A2"]).contains("A2"));
    assert!(
        check().contains("A2, A3 (apple, planted on 20 Apr 2026) stand in your notes alone"),
        "{}",
        check()
    );
    // The day before it was planted it is not there.
    let eve = json("2026-04-19", home, &["calendar"]);
    let eve = eve["tasks"].as_array().unwrap().iter();
    assert!(
        !eve.clone()
            .any(|task| names(task).contains(&"A2".to_owned()))
    );
    let renamed = says_on(day, home, &["edit", "1", "--tree", "A7,A8"]);
    assert!(
        renamed.contains("trees: A7, A8, before A2, A3"),
        "{renamed}"
    );
    assert!(of("A2").is_empty() && of("A8").contains(&"water-new".to_owned()));
    says_on(
        day,
        home,
        &["note", "removal", "P1", "borers", "--on", "06-30"],
    );
    assert!(of("P1").is_empty());
    assert!(
        check().contains("P1 is out since 30 Jun 2026 by your notes and counts so"),
        "{}",
        check()
    );
    assert_eq!(
        says_on(day, home, &["note", "removal", "P1"]),
        "!P1 is out already; nothing was noted\n"
    );
    let again = flat(&says_on(
        day,
        home,
        &["note", "planting", "peach", "--tree", "P1"],
    ));
    assert!(again.contains("such as P2"), "{again}");
    says_on(day, home, &["note", "removal", "J1", "felled"]);
    assert!(
        check().contains("Juniper J1 is gone since 1 Jul 2026"),
        "{}",
        check()
    );
    assert!(
        says_on(day, home, &["rust"]).contains("No juniper stands in the register"),
        "a felled juniper carries no rust"
    );
    for _ in 0..4 {
        says_on(day, home, &["undo"]);
    }
    assert_eq!((plan(), check()), (before, checked));
}
