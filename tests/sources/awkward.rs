//! Awkward and malformed files, each with the complete text that the user
//! gets and what was read.
//!
//! The expected texts stand in `tests/fixtures/import/`. With
//! `BUDTIDE_WRITE_EXPECTED=1` they are written anew; read the difference
//! before you commit it.

use super::{options, read_text};
use budtide::facts::weather::{Day, Hour};
use budtide::sources::csv_file::{Import, ImportError, Limits, Options, Reason, read};
use chrono::{NaiveDate, TimeDelta};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

const SHOWN: usize = 30;

fn number(value: Option<f64>) -> String {
    value.map_or("-".to_owned(), |value| format!("{value:.2}"))
}

fn day_line(day: &Day) -> String {
    format!(
        "{} low {} high {} rain {}",
        day.date,
        number(day.low_c),
        number(day.high_c),
        number(day.rain_mm)
    )
}

fn hour_line(hour: &Hour) -> String {
    format!(
        "{} temp {} dew {} rh {} rain {} wind {}",
        hour.start.format("%Y-%m-%d %H:%M"),
        number(hour.temperature_c),
        number(hour.dew_point_c),
        number(hour.humidity_pct),
        number(hour.rain_mm),
        number(hour.wind_m_s)
    )
}

/// Everything that the reading gives, as text.
fn whole(result: &Result<Import, ImportError>) -> String {
    let import = match result {
        Ok(import) => import,
        Err(error) => return format!("{error}\n"),
    };
    let mut out = format!("{}\n---\n", import.report);
    let mut lines: Vec<String> = import.daily.iter().map(day_line).collect();
    lines.extend(import.hourly.iter().map(hour_line));
    let more = lines.len().saturating_sub(SHOWN);
    for line in lines.iter().take(SHOWN) {
        let _ = writeln!(out, "{line}");
    }
    if more > 0 {
        let _ = writeln!(out, "and {more} more");
    }
    for line in out.lines() {
        assert!(line.chars().count() <= 80, "over 80 columns: {line}");
    }
    out
}

pub fn expect(name: &str, result: &Result<Import, ImportError>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/import")
        .join(format!("{name}.txt"));
    let got = whole(result);
    if std::env::var_os("BUDTIDE_WRITE_EXPECTED").is_some() {
        std::fs::write(&path, &got).unwrap();
    }
    let wanted = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(got, wanted, "{}", path.display());
}

macro_rules! cases {
    ($($name:ident: $bytes:expr $(, $key:literal = $value:literal)*;)*) => {$(
        #[test]
        fn $name() {
            let bytes: Vec<u8> = $bytes.to_vec();
            let told: &[(&str, &str)] = &[$(($key, $value)),*];
            expect(stringify!($name), &read_text("farm.csv", &bytes, told));
        }
    )*};
}

// --- the file as a whole ---

cases! {
    empty_file: b"";
    only_blanks: b" \r\n\r\n  ";
    only_header: b"date,tmin_c,tmax_c,rain_mm\n";
    only_comments: b"# nothing\n# at all\n";
    no_header: b"2024-01-01,-3.0,4.1,0\n2024-01-02,-3.0,4.1,0\n";
    binary_junk: b"\x00\x01\x02date,tmin_c\n\xff\x00";
    a_spreadsheet: b"PK\x03\x04\x14\x00";
    utf_16: b"\xff\xfed\x00a\x00t\x00e\x00";
    prose: b"Dear grower,\nthe weather was fine.\n";
    not_gzip_inside: b"\x1f\x8b\x08\x00garbage that is no deflate stream";
    truncated_gzip: { let mut packed = gzip(&many_days(400)); packed.truncate(packed.len() / 2); packed };
    gzip_with_wrong_sum: { let mut packed = gzip(&many_days(3)); let at = packed.len() - 6; packed[at] ^= 0x55; packed };
    byte_order_mark: b"\xef\xbb\xbfdate,tmin_c,tmax_c\n2024-01-01,1,2\n";
    latin_1_degree_sign: b"date;Tmin (\xb0C);Tmax (\xb0C)\n2024-01-01;1,5;2\n";
    utf_8_read_twice: "date,Tmin (Â°F),Tmax (℉)\n2024-01-01,32,50\n".as_bytes();
    crlf: b"date,tmin_c,tmax_c\r\n\r\n2024-01-01,1,2\r\n# note\r\n2024-01-02,x,2\r\n";
    bare_carriage_returns: b"date,tmin_c,tmax_c\r2024-01-01,1,2\r2024-01-02,x,2\r";
    tabs: b"date\ttmin_c\ttmax_c\n2024-01-01\t1\t2\n";
    bars: b"date|tmin_c|tmax_c\n2024-01-01|1|2\n";
    lines_before_the_header: b"Station report\nmade by hand, 2024\n\ndate,tmin_c,tmax_c\n2024-01-01,1,2\n";
    wrong_separator_told: b"date,tmin_c,tmax_c\n2024-01-01,1,2\n", "separator" = ";";
}

// --- columns and units ---

cases! {
    no_unit: b"DATE,TMIN,TMAX,PRCP\n2024-01-01,30,40,0.1\n";
    unit_told: b"DATE,TMIN,TMAX,PRCP\n2024-01-01,32,50,0.1\n", "unit.temperature" = "F", "unit.rain" = "in";
    tenths_told: b"DATE,TMIN,TMAX,PRCP\n2024-01-01,-99,222,254\n", "unit.temperature" = "0.1 C", "unit.rain" = "0.1 mm";
    wrong_unit: b"date,tmin_mm,tmax_c\n2024-01-01,1,2\n";
    wrong_unit_in_brackets: b"date,tmin_c,tmax_c,rain [hPa]\n2024-01-01,1,2,3\n";
    two_columns_for_one: b"date,tmin_c,tmax_c,tmin_f\n2024-01-01,1,2,33.8\n";
    two_columns_one_chosen: b"date,tmin_c,tmax_c,tmin_f\n2024-01-01,1,2,41\n", "column.low" = "tmin_f";
    two_time_columns: b"timestamp,datetime,temp_c\n2024-01-01 00:00,2024-01-01 00:00,2\n";
    names_told: b"day of year,coldest,T max,when\n1,30,50,2024-01-01\n", "column.low" = "coldest", "unit.low" = "F", "column.high" = "t max", "unit.high" = "F", "column.date" = "when";
    name_told_is_not_there: b"date,tmin_c,tmax_c\n2024-01-01,1,2\n", "column.low" = "T mim";
    a_column_left_out: b"date,tmin_c,tmax_c,rain\n2024-01-01,1,2,3\n", "column.rain" = "none";
    no_date_column: b"number,tmin_c,tmax_c\n1,1,2\n";
    only_a_mean: b"date,temp_c\n2024-01-01,1\n";
    nothing_measured: b"time,pressure_hpa\n2024-01-01 00:00,1013\n";
    fahrenheit_called_celsius: fahrenheit_year("tmin_c,tmax_c");
    fahrenheit_called_celsius_but_told: fahrenheit_year("tmin_c,tmax_c"), "unit.temperature" = "°F";
    celsius_called_fahrenheit: celsius_year("tmin_f,tmax_f");
    tenths_called_celsius: b"date,tmin_c,tmax_c\n2024-06-01,101,222\n2024-06-02,99,250\n2024-06-03,120,271\n";
    unit_of_the_name_overruled: b"date,tmin_c,tmax_c\n2024-01-01,32,50\n", "unit.low" = "F", "unit.temperature" = "C";
    a_winter_in_fahrenheit_called_celsius: b"date,tmin_c,tmax_c\n2024-01-01,20,56\n2024-01-02,30,58\n2024-01-03,25,61\n2024-01-04,25,40\n";
    humidity_as_a_fraction: humid_hours();
    units_row_below: b"date,tmin_c,tmax_c\n,deg C,deg C\n2024-01-01,1,2\n";
    names_in_other_words: b"Date Time,Outside Temp (\xc2\xb0F),Dew Point [C],Relative Humidity,Wind Speed (km/h),Rainfall (in),Gust (mph)\n2024-01-01 05:00,50,1,80,36,0.1,20\n";
}

// --- rows and values ---

cases! {
    open_quote: b"date,tmin_c,tmax_c\n2024-01-01,\"1,2\n2024-01-02,1,2\n2024-01-03,\"1\",2\n";
    open_quote_at_the_end: b"date,tmin_c,tmax_c\n2024-01-01,1,2\n2024-01-02,\"1,2";
    quoted: b"\"date\",\"tmin_c\",\"tmax_c\"\n\"2024-01-01\",\"1\",\"2\"\n";
    few_and_many_fields: b"date,tmin_c,tmax_c\n2024-01-01,1\n2024-01-02,1,2,3\n2024-01-03,1,2\n2024-01-04\n";
    trailing_commas: b"date,tmin_c,tmax_c,,\n2024-01-01,1,2,,\n2024-01-02,1,2,,,,\n,,,,\n";
    comma_decimals: b"date;tmin_c;tmax_c;rain_mm\n2024-01-01;-1,5;2,25;0,1\n2024-01-02;-1.5;2.25;1.234,5\n";
    comma_decimals_between_commas: b"date,tmin_c,tmax_c\n2024-01-01,\"-1,5\",\"2,25\"\n";
    thousands: b"date,tmin_c,tmax_c,rain_mm\n2024-01-01,1,2,\"1,234.5\"\n2024-01-02,1,2,1 234\n";
    marks_for_missing: b"date,tmin_c,tmax_c,rain_mm\n2024-01-01,NA,NaN,-\n2024-01-02,M,-99,-999\n2024-01-03,-9999,9999,null\n2024-01-04,,,\n2024-01-05,-99.9,1,T\n";
    no_numbers: b"date,tmin_c,tmax_c\n2024-01-01,inf,-infinity\n2024-01-02,1e999,12F\n2024-01-03,0x1A,?\n2024-01-04,1,..2\n";
    what_cannot_be: b"date,tmin_f,tmax_f,rain_in\n2024-01-01,-80,141,-0.1\n2024-01-02,30,40,79\n2024-01-03,30,40,0.1\n";
    humidity_and_wind_that_cannot_be: b"time_lst,temp_c,rh_pct,wind_mph\n2024-01-01 00:00,1,120,1048\n2024-01-01 01:00,1,100,10\n2024-01-01 02:00,1,-1,-1\n";
    low_above_high: b"date,tmin_f,tmax_f\n2024-01-01,50,32\n2024-01-02,32,32\n";
    huge_field: { let mut text = b"date,tmin_c,tmax_c\n2024-01-01,".to_vec(); text.extend(vec![b'7'; 3_000_000]); text.extend(b",2\n2024-01-02,1,2\n"); text };
    a_million_blank_lines: { let mut text = b"date,tmin_c,tmax_c\n2024-01-01,1,2\n".to_vec(); text.extend(vec![b'\n'; 1_000_000]); text.extend(b"2024-01-03,1,y\n"); text };
    two_stations: b"station,date,tmin_c,tmax_c\nhill,2024-01-01,1,2\nvale,2024-01-01,0,3\nvale,2024-01-02,0,3\n";
    one_of_two_stations: b"station,date,tmin_c,tmax_c\nhill,2024-01-01,1,2\nvale,2024-01-01,0,3\n,2024-01-02,0,3\n", "station" = "vale";
    no_such_station: b"station,date,tmin_c,tmax_c\nhill,2024-01-01,1,2\nvale,2024-01-01,0,3\n", "station" = "dale";
    a_station_without_a_column: b"date,tmin_c,tmax_c\n2024-01-01,1,2\n", "station" = "vale";
}

// --- dates and times ---

cases! {
    dates_that_are_wrong: b"date,tmin_c,tmax_c\n,1,2\n2023-02-30,1,2\n0000-01-01,1,2\n9999-12-31,1,2\nyesterday,1,2\n2024-13-01,1,2\n2024-02-29,1,2\n";
    rows_doubled: b"date,tmin_c,tmax_c\n2024-01-01,1,2\n2024-01-01,1,2\n2024-01-02,1,2\n2024-01-02,1,3\n2024-01-02,1,4\n";
    rows_unsorted: b"date,tmin_c,tmax_c\n2024-01-03,1,2\n2024-01-01,1,2\n2024-01-02,1,2\n";
    newest_first: b"date,tmin_c,tmax_c\n2024-01-03,1,2\n2024-01-02,1,2\n2024-01-01,1,2\n";
    gaps: b"date,tmin_c,tmax_c\n2024-01-01,1,2\n2024-01-03,1,2\n2024-02-01,1,2\n2024-02-02,1,2\n";
    month_or_day_first: b"date,tmin_c,tmax_c\n1/2/2024,1,2\n2/2/2024,1,2\n";
    month_first_told: b"date,tmin_c,tmax_c\n1/2/2024,1,2\n2/2/2024,1,2\n", "dates" = "m/d/y";
    month_first_found: b"date,tmin_c,tmax_c\n1/2/24,1,2\n1/31/24,1,2\n";
    day_first_found: b"date;tmin_c;tmax_c\n01.02.2024;1;2\n31.01.2024;1;2\n";
    both_orders: b"date,tmin_c,tmax_c\n1/2/2024,1,2\n1/31/2024,1,2\n31/1/2024,1,2\n";
    year_month_day: b"year,month,day,tmin_c,tmax_c\n2024,2,29,1,2\n2023,2,29,1,2\n2024,,1,1,2\n2024,x,1,1,2\n";
    year_month_day_hour: b"Year,Mon,Day,Hour,temp_c\n2024,2,29,0,1\n2024,2,29,23,1\n2024,2,29,24,3\n2024,2,29,25,3\n";
    date_and_time: b"date,time,temp_c\n2024-02-29,23:00,1\n2024-02-29,24:00,2\n2024-02-29,1 PM,3\n2024-02-29,,3\n";
    hour_24: b"time_lst,temp_c\n2024-12-31 23:00,1\n2024-12-31T24:00,2\n2024-12-31 24:30,3\n";
    hour_ending: b"time_lst,temp_c,rain_mm\n2024-01-01 01:00,1,0.5\n2024-01-01 24:00,2,0\n", "stamps" = "ending";
    rain_of_the_hour_before: b"time_lst,temp_c,rain_mm\n2024-01-01 00:51,1,0.5\n2024-01-01 01:51,2,0\n", "stamps" = "rain-before";
    ten_minutes: ten_minute_rows();
    ten_minutes_ending: ten_minute_rows(), "stamps" = "ending";
    utc_without_zone: b"time,temp_c\n2024-07-01T05:00:00Z,1\n";
    utc_with_zone: b"time,temp_c\n2024-07-01T05:00:00Z,1\n2024-01-01T05:00:00Z,1\n", "zone" = "America/New_York";
    utc_by_name: b"time_utc,temp_c\n2024-07-01 05:00,1\n", "zone" = "America/New_York";
    civil_without_zone: b"time,temp_c\n2024-07-01 05:00,1\n", "clock" = "civil";
    offsets_differ: b"time,temp_c\n2024-01-01T05:00:00-05:00,1\n2024-07-01T05:00:00-04:00,1\n";
    offsets_differ_with_zone: b"time,temp_c\n2024-01-01T05:00:00-05:00,1\n2024-07-01T05:00:00-04:00,1\n", "zone" = "America/New_York";
    offset_is_the_clock: b"time,temp_c\n2024-01-01T05:00:00-06:00,1\n";
    new_york_spring_civil: new_york_spring(), "clock" = "civil", "zone" = "America/New_York";
    new_york_spring_in_the_gap: b"time,temp_c\n2024-03-10 01:30,1\n2024-03-10 02:00,1\n2024-03-10 02:30,2\n2024-03-10 03:00,3\n", "clock" = "civil", "zone" = "America/New_York";
    new_york_spring_not_told: new_york_spring(), "zone" = "America/New_York";
    new_york_fall_civil: new_york_fall(), "clock" = "civil", "zone" = "America/New_York";
    new_york_fall_newest_first: newest_first_of(&new_york_fall()), "clock" = "civil", "zone" = "America/New_York";
    new_york_fall_once: b"time,temp_c\n2024-11-03 00:00,0\n2024-11-03 01:00,1\n2024-11-03 02:00,2\n", "clock" = "civil", "zone" = "America/New_York";
    new_york_fall_not_told: new_york_fall(), "zone" = "America/New_York";
    berlin_spring_civil: b"time,temp_c\n2024-03-31 01:00,1\n2024-03-31 02:00,2\n2024-03-31 03:00,3\n2024-03-31 04:00,4\n", "clock" = "civil", "zone" = "Europe/Berlin";
    berlin_fall_civil: b"time,temp_c\n27.10.2024 01:00,1\n27.10.2024 02:00,2\n27.10.2024 02:00,3\n27.10.2024 03:00,4\n", "clock" = "civil", "zone" = "Europe/Berlin";
    new_york_fall_hours_ending: new_york_fall(), "clock" = "civil", "zone" = "America/New_York", "stamps" = "ending";
    lows_twice_a_day: b"timestamp,tmin_c,tmax_c\n2024-01-01 00:00,1,2\n2024-01-01 12:00,1,3\n";
    morning_readings: b"timestamp,tmin_c,tmax_c\n2024-01-01 07:00,1,2\n2024-01-02 07:00,1,3\n";
    hours_with_extremes: b"time_lst,temp_c,tmin_c,tmax_c\n2024-01-01 00:00,1.5,1,2\n";
}

// --- what stands in the cases ---

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

fn year(columns: &str, low: impl Fn(f64) -> f64) -> Vec<u8> {
    let mut text = format!("date,{columns}\n");
    let first = NaiveDate::from_ymd_opt(2023, 1, 1).unwrap();
    for at in 0..365 {
        let season = -(f64::from(at) / 365.0 * std::f64::consts::TAU).cos();
        let low = low(season);
        let date = first + TimeDelta::days(i64::from(at));
        let _ = writeln!(text, "{date},{low:.0},{:.0}", low + 18.0);
    }
    text.into_bytes()
}

fn many_days(count: usize) -> Vec<u8> {
    let whole = year("tmin_c,tmax_c", |season| 5.0 + 12.0 * season);
    let text = String::from_utf8(whole).unwrap();
    let lines: Vec<&str> = text.lines().take(count + 1).collect();
    lines.join("\n").into_bytes()
}

fn fahrenheit_year(columns: &str) -> Vec<u8> {
    year(columns, |season| 45.0 + 25.0 * season)
}

fn celsius_year(columns: &str) -> Vec<u8> {
    year(columns, |season| 5.0 + 13.0 * season)
}

fn humid_hours() -> Vec<u8> {
    let mut text = "time_lst,temp_c,rh\n".to_owned();
    for hour in 0..24 {
        let _ = writeln!(text, "2024-01-01 {hour:02}:00,1,0.{}", 50 + hour);
    }
    text.into_bytes()
}

fn ten_minute_rows() -> Vec<u8> {
    let mut text = "time_lst,temp_c,rain_mm\n".to_owned();
    for at in 0..15 {
        let _ = writeln!(text, "2024-01-01 {:02}:{:02},{at},0.1", at / 6, at % 6 * 10);
    }
    text.into_bytes()
}

fn new_york_spring() -> Vec<u8> {
    b"time,temp_c\n2024-03-10 00:00,0\n2024-03-10 01:00,1\n2024-03-10 03:00,3\n2024-03-10 04:00,4\n"
        .to_vec()
}

fn new_york_fall() -> Vec<u8> {
    b"time,temp_c\n2024-11-03 00:00,0\n2024-11-03 01:00,1\n2024-11-03 01:00,2\n2024-11-03 02:00,3\n"
        .to_vec()
}

fn newest_first_of(text: &[u8]) -> Vec<u8> {
    let text = String::from_utf8(text.to_vec()).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    lines[1..].reverse();
    lines.join("\n").into_bytes()
}

// --- limits, and what the table cannot hold ---

fn small() -> Options {
    Options {
        limits: Limits {
            bytes: 2_000,
            unpacked: 3_000,
            rows: 100,
        },
        ..Options::default()
    }
}

#[test]
fn a_file_over_the_limit() {
    expect(
        "a_file_over_the_limit",
        &read(&many_days(365), "farm.csv", &small()),
    );
}

#[test]
fn a_gzip_bomb() {
    let bomb = gzip(&vec![b'0'; 1_000_000]);
    assert!(bomb.len() < 2_000);
    expect("a_gzip_bomb", &read(&bomb, "farm.csv.gz", &small()));
}

#[test]
fn too_many_rows() {
    let text = "date,tmin_c\n".to_owned() + &"x,1\n".repeat(101);
    expect(
        "too_many_rows",
        &read(text.as_bytes(), "farm.csv", &small()),
    );
}

#[test]
fn plain_text_named_gz() {
    let text = b"date,tmin_c,tmax_c\n2024-01-01,1,2\n";
    expect("plain_text_named_gz", &read_text("farm.csv.gz", text, &[]));
}

#[test]
fn days_of_the_future() {
    let told = Options {
        today: NaiveDate::from_ymd_opt(2024, 1, 1),
        ..Options::default()
    };
    let text = b"date,tmin_c,tmax_c\n2024-01-01,1,2\n2024-01-02,1,2\n2024-01-03,1,2\n";
    expect("days_of_the_future", &read(text, "farm.csv", &told));
}

#[test]
fn a_missing_file_and_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("none.csv");
    let error = budtide::sources::csv_file::read_path(&path, &Options::default()).unwrap_err();
    assert!(
        error.to_string().contains("none.csv: cannot be read: "),
        "{error}"
    );
    assert!(budtide::sources::csv_file::read_path(folder.path(), &Options::default()).is_err());
}

#[test]
fn every_line_can_be_listed() {
    let mut text = "date,tmin_c,tmax_c\n".to_owned();
    text.push_str(&"2023-02-30,1,2\n".repeat(60));
    text.push_str("2023-01-01,1,2\n2023-01-04,1,2\n");
    let import = read_text("farm.csv", text.as_bytes(), &[]).unwrap();
    let finding = import.report.finding(Reason::DateImpossible).unwrap();
    assert_eq!(finding.lines, (2..=61).collect::<Vec<u32>>());
    let listed = import.report.all_lines();
    for line in 2..=61 {
        assert!(listed.contains(&format!(" {line}")), "{line}");
    }
    assert!(
        listed.contains("2023-01-02 to 2023-01-03 missing: 2 days"),
        "{listed}"
    );
    assert!(listed.lines().all(|line| line.len() <= 80));
}

#[test]
fn options_that_cannot_be() {
    let mut told = options(&[]);
    for (key, value, message) in [
        (
            "clock",
            "wall",
            "\"wall\" cannot stand for clock; known are standard, civil, utc",
        ),
        (
            "zone",
            "Mars",
            "\"Mars\" cannot stand for zone; known are names such as America/New_York",
        ),
        (
            "unit.low",
            "mm",
            "\"mm\" is not a unit of low; use °C, °F, 0.1 °C",
        ),
        ("unit.date", "d", "date has no unit"),
        (
            "unit.lwo",
            "F",
            "no option \"unit.lwo\"; known are station, zone, clock, stamps, dates, separator, \
             column.FIELD and unit.FIELD with FIELD one of low, high, temperature, dew_point, \
             humidity, rain, wind, station, date, time, year, month, day, hour",
        ),
    ] {
        assert_eq!(told.set(key, value).unwrap_err(), message);
    }
    assert_eq!(told, options(&[]));
}
