//! A station's file that grows.

use super::contract::keeps_the_contract;
use super::{date, instant, place};
use budtide::sources::csv_file::Options;
use budtide::sources::watched::Watched;
use budtide::sources::{Span, WeatherSource, observed};
use chrono::TimeDelta;
use chrono_tz::America::New_York;
use std::fmt::Write as _;
use std::fs;

/// Hours in local standard time.
fn rows(first: &str, hours: i64) -> String {
    let start = date(first).and_hms_opt(0, 0, 0).unwrap();
    let mut text = String::new();
    for hour in 0..hours {
        let at = start + TimeDelta::hours(hour);
        let warm = (hour % 24) as f64 / 2.0;
        writeln!(text, "{},{warm:.1},80,0.2", at.format("%Y-%m-%d %H:%M")).unwrap();
    }
    text
}

const HEAD: &str = "time,temperature (°C),humidity (%),rain (mm)\n";

#[test]
fn a_folder_keeps_the_contract() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("a.csv"),
        format!("{HEAD}{}", rows("2026-04-01", 72)),
    )
    .unwrap();
    fs::write(
        folder.path().join("b.csv"),
        format!("{HEAD}{}", rows("2026-04-03", 72)),
    )
    .unwrap();
    fs::write(folder.path().join("readme.md"), "not weather").unwrap();
    let now = instant("2026-04-05T15:30:00Z");
    let source = Watched::new("own station", folder.path(), Options::default());
    let span = Span {
        first: date("2026-04-02"),
        last: date("2026-04-05"),
    };
    keeps_the_contract(&source, &place(New_York), span, now);
    let part = observed(&source, &place(New_York), span, now)
        .unwrap()
        .unwrap();
    assert_eq!(part.left.doubled, 24, "3 April stands in both files");
    assert_eq!(part.days.len(), 3);
    assert_eq!(part.days[0].high_c, Some(11.5));
}

#[test]
fn a_look_tells_what_is_new() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("station.csv");
    let source = Watched::new("own station", &file, Options::default());
    let place = place(New_York);
    let now = instant("2026-04-20T15:30:00Z");
    let error = source.look(&place, now).unwrap_err();
    assert!(error.again(), "{error}");

    fs::write(&file, format!("{HEAD}{}", rows("2026-04-01", 48))).unwrap();
    let news = source.look(&place, now).unwrap();
    assert_eq!((news.len(), news[0].known_until), (1, None));
    assert_eq!(news[0].added(), 48);
    assert!(source.look(&place, now).unwrap().is_empty(), "unchanged");

    // A day more, and a row that is being written.
    let more = format!("{HEAD}{}2026-04-04 0", rows("2026-04-01", 72));
    fs::write(&file, more).unwrap();
    let news = source.look(&place, now).unwrap();
    assert_eq!(news[0].added(), 24);
    assert_eq!(
        news[0].known_until.unwrap().to_string(),
        "2026-04-02 23:00:00"
    );
    let import = news[0].import.as_ref().unwrap();
    assert_eq!(import.hourly.len(), 72);

    // Not weather any more: told, and taken up again when it is mended.
    fs::write(&file, "what,ever\n1,2\n").unwrap();
    let news = source.look(&place, now).unwrap();
    assert!(news[0].import.is_err());
    assert_eq!(news[0].added(), 0);
    fs::write(&file, format!("{HEAD}{}", rows("2026-04-01", 73))).unwrap();
    assert_eq!(source.look(&place, now).unwrap()[0].added(), 1);
    assert_eq!(source.name(), "own station");
}
