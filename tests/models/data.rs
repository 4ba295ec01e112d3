//! Reading of the fixtures and of the weather records.

use budtide::facts::weather::{DailyRecord, Day, Hour, HourlyRecord};
use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta};
use flate2::read::GzDecoder;
use std::collections::HashMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// One line of a table by its heading.
pub type Row = HashMap<String, String>;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures")
}

fn text(path: &Path) -> String {
    let mut text = String::new();
    let mut file = File::open(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    if path.extension().is_some_and(|end| end == "gz") {
        GzDecoder::new(file).read_to_string(&mut text).unwrap();
    } else {
        file.read_to_string(&mut text).unwrap();
    }
    text
}

fn table(path: &Path) -> Vec<Row> {
    let text = text(path);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings = reader.headers().unwrap().clone();
    let rows: Vec<Row> = reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            headings
                .iter()
                .zip(&record)
                .map(|(key, value)| (key.to_owned(), value.to_owned()))
                .collect()
        })
        .collect();
    assert!(!rows.is_empty(), "{} is empty", path.display());
    rows
}

/// All rows of a table in `fixtures/check_values/`, plain or packed, or of one
/// beside that folder.
pub fn check_values(name: &str) -> Vec<Row> {
    let places = [
        format!("check_values/{name}.csv"),
        format!("check_values/{name}.csv.gz"),
        format!("{name}.csv"),
    ];
    let found = places
        .iter()
        .map(|place| fixtures().join(place))
        .find(|path| path.exists());
    table(&found.unwrap_or_else(|| panic!("no table {name}")))
}

/// A cell as text.
pub fn cell<'a>(row: &'a Row, key: &str) -> &'a str {
    row.get(key)
        .unwrap_or_else(|| panic!("no column {key}"))
        .as_str()
}

/// A cell as a number; `None` when it is empty.
pub fn maybe(row: &Row, key: &str) -> Option<f64> {
    let text = cell(row, key).trim();
    (!text.is_empty()).then(|| text.parse().unwrap_or_else(|_| panic!("{key}: {text}")))
}

/// A cell that must be a number.
pub fn number(row: &Row, key: &str) -> f64 {
    maybe(row, key).unwrap_or_else(|| panic!("{key} is empty"))
}

/// A cell as a date.
pub fn date(row: &Row, key: &str) -> NaiveDate {
    cell(row, key).parse().unwrap()
}

/// A weather record: from the fixtures, else from the folder of
/// `BUDTIDE_DATA`; `None`, and a word about it, when it is not there.
fn weather_file(name: &str) -> Option<PathBuf> {
    let own = match name {
        "registry/daily_champion_ne_1982_2018.csv.gz" => {
            Some("weather/daily_champion_ne_1982_2018.csv.gz")
        }
        "registry/hourly_nyc_airports_2013.csv.gz#KEWR" => Some("weather/kewr_2013_hourly.csv.gz"),
        _ => None,
    };
    if let Some(own) = own {
        return Some(fixtures().join(own));
    }
    let name = name.split('#').next().unwrap();
    let folder = std::env::var_os("BUDTIDE_DATA").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/datasets"),
        PathBuf::from,
    );
    let path = folder.join(name);
    if path.exists() {
        Some(path)
    } else {
        println!("skipped: no {name} (set BUDTIDE_DATA)");
        None
    }
}

/// The daily file of a station, as the check values name it.
pub fn daily(station: &str) -> Option<DailyRecord> {
    let file = match station {
        "champion_ne" => "registry/daily_champion_ne_1982_2018.csv.gz",
        "washington_dc_dca" => "fetched/daily_washington_dc_dca_1945_2022.csv.gz",
        "winchester_va" => "fetched/daily_winchester_va_1982_2020.csv.gz",
        "hudson_valley_ny" => "fetched/daily_hudson_valley_ny_1993_2019.csv.gz",
        "state_college_pa" => "fetched/daily_state_college_pa_1893_2020.csv.gz",
        "klein_altendorf_de" => "fetched/daily_klein_altendorf_1958_2022.csv.gz",
        "zaragoza_es" => "fetched/daily_zaragoza_1973_2022.csv.gz",
        "brussels_be" => "registry/daily_brussels_1976_2005.csv.gz",
        "suwon_kr" | "daejeon_kr" => "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "nagano_jp" | "sapporo_jp" => "registry/daily_japan_8_stations_1976_2025.csv.gz",
        other => panic!("no file for {other}"),
    };
    let days: Vec<Day> = table(&weather_file(file)?)
        .iter()
        .filter(|row| cell(row, "station") == station)
        .map(|row| Day {
            date: date(row, "date"),
            low_c: maybe(row, "tmin_c"),
            high_c: maybe(row, "tmax_c"),
            rain_mm: row.get("precip_mm").and_then(|mm| mm.parse().ok()),
        })
        .collect();
    Some(DailyRecord::from_days(&days).unwrap())
}

/// A record whose gaps of any length, and days with a low above the high, are
/// filled by straight lines, as the makers of the check values did.
pub fn filled(record: &DailyRecord) -> DailyRecord {
    let mut filled = record.clone();
    for index in 0..filled.len() {
        let day = filled.at(index);
        if let (Some(low), Some(high)) = (day.low_c, day.high_c)
            && low > high
        {
            filled.low_c.set(index, None);
            filled.high_c.set(index, None);
        }
    }
    for column in [&mut filled.low_c, &mut filled.high_c] {
        fill_column(column);
    }
    filled
}

fn fill_column(column: &mut budtide::facts::weather::Column) {
    let mut before: Option<(usize, f64)> = None;
    for index in 0..column.len() {
        let Some(value) = column.get(index) else {
            continue;
        };
        if let Some((at, start)) = before {
            for gap in at + 1..index {
                let share = (gap - at) as f64 / (index - at) as f64;
                column.set(gap, Some(start + share * (value - start)));
            }
        }
        before = Some((index, value));
    }
}

/// The hours of a station in a file, in local standard time; absent hours are
/// unknown.
pub fn hourly(file: &str, station: &str) -> Option<HourlyRecord> {
    let name = if station == "KEWR" && file.contains("2013") {
        format!("{file}#KEWR")
    } else {
        file.to_owned()
    };
    let mut hours = Vec::new();
    for row in table(&weather_file(&name)?) {
        if cell(&row, "station") != station {
            continue;
        }
        let value = |names: &[&str]| names.iter().find_map(|name| row.get(*name)?.parse().ok());
        let fahrenheit = |name: &str| {
            row.get(name)
                .and_then(|text| text.parse::<f64>().ok())
                .map(|f| (f - 32.0) / 1.8)
        };
        let stamp = row
            .get("time_lst")
            .or_else(|| row.get("time_lst_assumed"))
            .unwrap();
        hours.push(Hour {
            start: local(stamp),
            temperature_c: value(&["temp_c"]).or_else(|| fahrenheit("temp_f")),
            dew_point_c: value(&["dewp_c"]).or_else(|| fahrenheit("dewp_f")),
            humidity_pct: value(&["rh_pct"]),
            rain_mm: value(&["precip_mm", "precip_1h_mm"])
                .or_else(|| value(&["precip_in"]).map(|inches: f64| inches * 25.4)),
            wind_m_s: value(&["wind_m_s"]),
        });
    }
    HourlyRecord::from_hours(&hours)
}

fn local(stamp: &str) -> NaiveDateTime {
    DateTime::parse_from_rfc3339(stamp)
        .unwrap_or_else(|e| panic!("{stamp}: {e}"))
        .naive_local()
}

/// The winter of a typical-year file: months 10 to 12, then 1 to 6, stamped
/// hour by hour from 1 October 2001, 01:00.
pub fn typical_winter(file: &str) -> Option<HourlyRecord> {
    let rows = table(&weather_file(file)?);
    let months = |wanted: std::ops::RangeInclusive<u32>| {
        rows.iter().filter(move |row| {
            let month: u32 = cell(row, "tmy_month").parse().unwrap();
            wanted.contains(&month)
        })
    };
    in_a_row((10, 1, 1), months(10..=12).chain(months(1..=6)))
}

/// A typical-year file as the hours of 2001, each value at the start of its
/// hour.
pub fn typical_year(file: &str) -> Option<HourlyRecord> {
    in_a_row((1, 1, 0), table(&weather_file(file)?).iter())
}

fn in_a_row<'a>(
    (month, day, hour): (u32, u32, u32),
    rows: impl Iterator<Item = &'a Row>,
) -> Option<HourlyRecord> {
    let start = NaiveDate::from_ymd_opt(2001, month, day)
        .unwrap()
        .and_hms_opt(hour, 0, 0)
        .unwrap();
    let value = |row: &Row, key: &str| row.get(key).and_then(|text| text.parse().ok());
    let hours: Vec<Hour> = rows
        .enumerate()
        .map(|(nth, row)| Hour {
            start: start + TimeDelta::hours(nth as i64),
            temperature_c: value(row, "temp_c"),
            dew_point_c: value(row, "dewp_c"),
            humidity_pct: value(row, "rh_pct"),
            rain_mm: value(row, "precip_mm"),
            wind_m_s: None,
        })
        .collect();
    HourlyRecord::from_hours(&hours)
}

/// The temperatures of a record with absent hours filled by straight lines.
pub fn filled_hours(record: &HourlyRecord) -> HourlyRecord {
    let mut filled = record.clone();
    fill_column(&mut filled.temperature_c);
    filled
}

/// Counts rows and names the worst of those that miss their tolerance.
#[derive(Debug, Default)]
pub struct Tally {
    rows: usize,
    missed: Vec<String>,
    worst: f64,
}

impl Tally {
    /// One row: a value against what is wanted.
    pub fn row(&mut self, what: impl Fn() -> String, value: f64, wanted: f64, within: f64) {
        self.rows += 1;
        let off = (value - wanted).abs();
        if off.is_nan() || off > within {
            self.missed
                .push(format!("{}: {value} instead of {wanted}", what()));
        }
        if off > self.worst {
            self.worst = off;
        }
    }

    /// All rows are within; at least `least` of them were read.
    pub fn done(self, name: &str, least: usize) {
        println!("{name}: {} rows, farthest off {:.5}", self.rows, self.worst);
        assert!(
            self.missed.is_empty(),
            "{name}: {} of {} rows\n{}",
            self.missed.len(),
            self.rows,
            self.missed
                .iter()
                .take(12)
                .cloned()
                .collect::<Vec<_>>()
                .join("\n")
        );
        assert!(self.rows >= least, "{name}: only {} rows", self.rows);
    }
}
