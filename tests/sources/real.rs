//! Real files. Row counts are those of the data catalogue
//! (reference: datasets, sections A and B); single values were read by hand
//! in the files.

use super::options;
use budtide::facts::weather::{Day, Hour};
use budtide::sources::csv_file::{Field, Import, Options, Reason, days_from_hours, read_path};
use chrono::{NaiveDate, NaiveDateTime};
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/weather")
        .join(name)
}

/// A file of the data that do not come with the project, if it is there.
fn data(name: &str) -> Option<PathBuf> {
    let folder = std::env::var_os("BUDTIDE_DATA").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/datasets"),
        PathBuf::from,
    );
    let path = folder.join("registry").join(name);
    if path.exists() {
        return Some(path);
    }
    println!("skipped: {} is not there; set BUDTIDE_DATA", path.display());
    None
}

fn import(path: &Path, told: &[(&str, &str)]) -> Import {
    read_path(path, &options(told)).unwrap_or_else(|error| panic!("{error}"))
}

fn date(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).unwrap()
}

fn at(y: i32, m: u32, d: u32, h: u32) -> NaiveDateTime {
    date(y, m, d).and_hms_opt(h, 0, 0).unwrap()
}

fn hour(import: &Import, start: NaiveDateTime) -> Hour {
    *import
        .hourly
        .iter()
        .find(|hour| hour.start == start)
        .unwrap()
}

fn day(import: &Import, date: NaiveDate) -> Day {
    *import.daily.iter().find(|day| day.date == date).unwrap()
}

fn near(got: Option<f64>, wanted: f64) {
    let got = got.unwrap();
    assert!((got - wanted).abs() < 0.005, "{got} is not {wanted}");
}

#[test]
fn newark_2013() {
    let path = fixture("kewr_2013_hourly.csv.gz");
    let utc = import(
        &path,
        &[("zone", "America/New_York"), ("stamps", "rain-before")],
    );
    let lst = import(&path, &[]);
    // Rows of KEWR in the catalogue's 26,115 of three airports.
    assert_eq!(lst.report.rows, 8_703);
    assert_eq!(lst.report.kept, 8_703);
    assert_eq!(lst.hourly.len(), 8_703);
    assert_eq!(lst.stations, ["KEWR"]);
    // First row: 39.02 °F, dew point 26.06 °F, 59.37 %, 0 in, 10.36 mph.
    let first = hour(&lst, at(2013, 1, 1, 1));
    assert_eq!(lst.hourly[0], first);
    near(first.temperature_c, 3.9);
    near(first.dew_point_c, -3.3);
    near(first.humidity_pct, 59.37);
    near(first.rain_mm, 0.0);
    near(first.wind_m_s, 4.631);
    // Both clocks lead to the same standard time.
    assert_eq!(
        hour(&utc, at(2013, 1, 1, 1)).temperature_c,
        first.temperature_c
    );
    assert_eq!(
        hour(&utc, at(2013, 7, 15, 14)).temperature_c,
        hour(&lst, at(2013, 7, 15, 14)).temperature_c
    );
    // The known bad wind of 1,048 mph.
    let finding = lst
        .report
        .finding(Reason::OutOfBounds(Field::Wind))
        .unwrap();
    assert_eq!(finding.lines.len(), 1);
    assert!(finding.samples[0].text.starts_with("1048."), "{finding}");
    assert!(lst.report.to_string().contains("wind that cannot be"));
    assert_eq!(lst.report.finding(Reason::NotANumber(Field::Wind)), None);
    // 43.9 in of rain in the year, as the catalogue says.
    let rain: f64 = lst.hourly.iter().filter_map(|hour| hour.rain_mm).sum();
    assert!((rain / 25.4 - 43.9).abs() < 0.05, "{rain}");
    // Rain moved an hour back is the same rain.
    let moved: f64 = utc.hourly.iter().filter_map(|hour| hour.rain_mm).sum();
    assert!((rain - moved).abs() < 1e-6);
    let days = days_from_hours(&lst.hourly);
    assert_eq!(days.len(), 364, "1 January to 30 December");
}

#[test]
fn the_newark_report_is_whole() {
    let path = fixture("kewr_2013_hourly.csv.gz");
    let bytes = std::fs::read(&path).unwrap();
    let told = options(&[("zone", "America/New_York"), ("stamps", "rain-before")]);
    let import = budtide::sources::csv_file::read(&bytes, "kewr.csv.gz", &told);
    super::awkward::expect("newark_2013", &import);
}

#[test]
fn champion_nebraska() {
    let champion = import(&fixture("daily_champion_ne_1982_2018.csv.gz"), &[]);
    // 37 years with nine leap days, none missing.
    assert_eq!(champion.daily.len(), 37 * 365 + 9);
    assert_eq!(champion.report.rows_dropped(), 0);
    assert_eq!(champion.report.values_dropped(), 0);
    assert_eq!(champion.report.missing(), 0);
    assert_eq!(champion.stations, ["champion_ne"]);
    let first = day(&champion, date(1982, 1, 1));
    assert_eq!((first.low_c, first.high_c), (Some(-21.11), Some(3.33)));
    assert_eq!(first.rain_mm, Some(0.0));
    // The freeze of April 2007 went down to -10.5 °C there (catalogue).
    let coldest = (4..=9)
        .filter_map(|of_month| day(&champion, date(2007, 4, of_month)).low_c)
        .fold(f64::INFINITY, f64::min);
    assert!((coldest + 10.5).abs() < 0.06, "{coldest}");
    assert_eq!(champion.report.unused, ["et0_mm"]);
}

/// File, station if a choice is needed, its rows (counted with zgrep), first
/// day, its low and high as they stand in the file.
type Daily = (&'static str, &'static str, usize, (i32, u32, u32), f64, f64);

const DAILY: [Daily; 4] = [
    (
        "daily_brussels_1976_2005.csv.gz",
        "",
        10_958,
        (1976, 1, 1),
        3.0,
        10.6,
    ),
    (
        "daily_champion_ne_1982_2018.csv.gz",
        "",
        13_514,
        (1982, 1, 1),
        -21.11,
        3.33,
    ),
    (
        "daily_japan_8_stations_1976_2025.csv.gz",
        "sapporo_jp",
        18_263,
        (1976, 1, 1),
        -10.1,
        2.2,
    ),
    (
        "daily_korea_10_stations_1972_2024.csv.gz",
        "seoul_kr",
        19_175,
        (1972, 1, 1),
        -3.9,
        2.0,
    ),
];

#[test]
fn daily_files_of_the_catalogue() {
    for (name, station, rows, first, low, high) in DAILY {
        let Some(path) = data(name) else { continue };
        let told: &[(&str, &str)] = if station.is_empty() {
            &[]
        } else {
            let error = read_path(&path, &Options::default()).unwrap_err();
            assert!(error.to_string().contains(station), "{error}");
            &[("station", station)]
        };
        let import = import(&path, told);
        assert_eq!(import.report.kept, rows, "{}", import.report);
        assert_eq!(import.daily.len(), rows, "{}", import.report);
        assert_eq!(import.report.values_dropped(), 0, "{}", import.report);
        let first = day(&import, date(first.0, first.1, first.2));
        assert_eq!((first.low_c, first.high_c), (Some(low), Some(high)));
    }
}

#[test]
fn stations_of_korea_and_japan() {
    for (name, count, total) in [
        ("daily_japan_8_stations_1976_2025.csv.gz", 8, 146_104),
        ("daily_korea_10_stations_1972_2024.csv.gz", 10, 191_202),
    ] {
        let Some(path) = data(name) else { continue };
        let first = if count == 8 { "nagano_jp" } else { "suwon_kr" };
        let import = import(&path, &[("station", first)]);
        assert_eq!(import.stations.len(), count);
        assert_eq!(import.report.rows, total);
        let of_all: usize = import.report.stations.iter().map(|(_, rows)| rows).sum();
        assert_eq!(of_all, total);
        assert_eq!(import.report.kept + import.report.other_stations, total);
    }
}

/// File, options, rows, first hour in standard time, its temperature in °C.
type Hourly = (
    &'static str,
    &'static [(&'static str, &'static str)],
    usize,
    (i32, u32, u32, u32),
    f64,
);

const HOURLY: [Hourly; 7] = [
    (
        "hourly_chicago_ohare_2015_2017.csv.gz",
        &[("zone", "America/Chicago"), ("stamps", "rain-before")],
        26_299,
        (2014, 12, 31, 18),
        -8.3,
    ),
    (
        "hourly_chicago_ohare_2015_2017.csv.gz",
        &[],
        26_299,
        (2014, 12, 31, 18),
        -8.3,
    ),
    (
        "hourly_nyc_airports_2013.csv.gz",
        &[("station", "KJFK"), ("zone", "America/New_York")],
        8_706,
        (2013, 1, 1, 1),
        3.9,
    ),
    (
        "hourly_nyc_airports_2013.csv.gz",
        &[("station", "KEWR")],
        8_703,
        (2013, 1, 1, 1),
        3.9,
    ),
    (
        "hourly_tmy3_chicago_il_epw.csv.gz",
        &[("stamps", "ending")],
        8_760,
        (1986, 1, 1, 0),
        -12.2,
    ),
    (
        "hourly_tmy3_greensboro_nc.csv.gz",
        &[("stamps", "ending")],
        8_760,
        (1988, 1, 1, 0),
        10.0,
    ),
    (
        "hourly_tmy3_richmond_va.csv.gz",
        &[("stamps", "ending")],
        8_760,
        (1987, 1, 1, 0),
        -0.6,
    ),
];

#[test]
fn hourly_files_of_the_catalogue() {
    for (name, told, rows, first, temperature) in HOURLY {
        let Some(path) = data(name) else { continue };
        let import = import(&path, told);
        assert_eq!(import.report.kept, rows, "{}", import.report);
        assert_eq!(import.report.rows_dropped(), 0, "{}", import.report);
        let first = hour(&import, at(first.0, first.1, first.2, first.3));
        near(first.temperature_c, temperature);
        let wind = usize::from(told.first() == Some(&("station", "KEWR")));
        assert_eq!(import.report.values_dropped(), wind, "{}", import.report);
    }
}

#[test]
fn chicago_lacks_four_hours_and_knows_its_rain() {
    let Some(path) = data("hourly_chicago_ohare_2015_2017.csv.gz") else {
        return;
    };
    // Stamps are UTC: the rain of the three UTC years is that of the catalogue,
    // 849 + 694 + 982 mm in sums of one hour.
    let import = import(&path, &[("zone", "America/Chicago")]);
    let rain: f64 = import.hourly.iter().filter_map(|hour| hour.rain_mm).sum();
    assert!((rain - 2_525.0).abs() < 1.5, "{rain}");
    let hours: usize = import.hourly.len() + import.report.missing();
    assert_eq!(hours, 26_304, "three years of hours");
    assert_eq!(import.report.missing(), 5, "{}", import.report);
}
