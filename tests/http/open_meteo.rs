//! Open-Meteo: shapes, faults, whole years.

use super::contract::{keeps_the_contract, says_what_failed};
use super::server::{Answer, Asked, Server};
use super::{client, data, date, instant, place};
use budtide::facts::weather::Hour;
use budtide::sources::csv_file::{self, days_from_hours};
use budtide::sources::open_meteo::{OpenMeteo, OpenMeteoSettings};
use budtide::sources::{Span, observed};
use chrono::{NaiveDate, TimeDelta};
use chrono_tz::America::New_York;
use std::collections::BTreeMap;

/// Temperature, dew point, humidity, rain of the hour before, wind, by UTC
/// second.
pub type Values = BTreeMap<i64, [Option<f64>; 5]>;

/// Answers as the service does, in UTC seconds and SI units.
pub fn serve(values: &Values, asked: &Asked, today: NaiveDate) -> Answer {
    let day = |name: &str| asked.query.get(name).map(|text| date(text));
    let count = |name: &str| {
        let text = asked.query.get(name).map_or("0", String::as_str);
        TimeDelta::days(text.parse().unwrap())
    };
    assert_eq!(asked.query["timezone"], "GMT");
    assert_eq!(asked.query["timeformat"], "unixtime");
    let first = day("start_date").unwrap_or_else(|| today - count("past_days"));
    let last =
        day("end_date").unwrap_or_else(|| today + count("forecast_days") - TimeDelta::days(1));
    let begin = first.and_hms_opt(0, 0, 0).unwrap().and_utc().timestamp();
    let end = last.and_hms_opt(23, 0, 0).unwrap().and_utc().timestamp();
    let stamps: Vec<i64> = (begin..=end).step_by(3_600).collect();
    let column = |index: usize| {
        let cells: Vec<String> = stamps
            .iter()
            .map(|stamp| {
                let value = values.get(stamp).and_then(|row| row[index]);
                value.map_or("null".to_owned(), |value| value.to_string())
            })
            .collect();
        cells.join(",")
    };
    let times: Vec<String> = stamps.iter().map(i64::to_string).collect();
    Answer::json(format!(
        r#"{{"latitude":42.75,"longitude":-73.75,"generationtime_ms":0.1,"utc_offset_seconds":0,
        "timezone":"GMT","timezone_abbreviation":"GMT","elevation":100.0,
        "hourly_units":{{"time":"unixtime","temperature_2m":"°C","dew_point_2m":"°C",
        "relative_humidity_2m":"%","precipitation":"mm","wind_speed_10m":"m/s"}},
        "hourly":{{"time":[{}],"temperature_2m":[{}],"dew_point_2m":[{}],
        "relative_humidity_2m":[{}],"precipitation":[{}],"wind_speed_10m":[{}]}}}}"#,
        times.join(","),
        column(0),
        column(1),
        column(2),
        column(3),
        column(4)
    ))
}

/// A made-up year: a wave over the day and one over the year.
pub fn made_up(first: NaiveDate, days: i64) -> Values {
    let begin = first.and_hms_opt(0, 0, 0).unwrap().and_utc().timestamp();
    (0..days * 24)
        .map(|hour| {
            let wave = |period: f64| (hour as f64 * std::f64::consts::TAU / period).sin();
            let temperature = 10.0 - 12.0 * wave(8_766.0) + 6.0 * wave(24.0);
            let temperature = (temperature * 10.0).round() / 10.0;
            let rain = if hour % 17 == 0 { 1.2 } else { 0.0 };
            let row = [temperature, temperature - 3.0, 80.0, rain, 2.5].map(Some);
            (begin + hour * 3_600, row)
        })
        .collect()
}

fn source(base: &str) -> OpenMeteo {
    let mut settings = OpenMeteoSettings::at(base);
    settings.key = Some("secret".to_owned());
    OpenMeteo::new(client(), settings)
}

#[test]
fn open_meteo_keeps_the_contract() {
    let now = instant("2026-04-20T15:30:00Z");
    let values = made_up(date("2025-01-01"), 600);
    let server = Server::start(move |asked| serve(&values, asked, now.date_naive()));
    let span = Span {
        first: date("2025-02-01"),
        last: date("2026-04-20"),
    };
    keeps_the_contract(&source(&server.base()), &place(New_York), span, now);
    says_what_failed(|base| Box::new(source(base)), &place(New_York), span, now);
}

#[test]
fn rain_belongs_to_the_hour_before_its_stamp_and_the_day_is_standard_time() {
    let now = instant("2026-07-20T15:30:00Z");
    let mut values = made_up(date("2026-03-01"), 40);
    for row in values.values_mut() {
        row[3] = Some(0.0);
    }
    // 23:00 to 24:00 standard time on the day the clocks change, 8 March.
    let stamp = instant("2026-03-09T05:00:00Z").timestamp();
    values.get_mut(&stamp).unwrap()[3] = Some(4.0);
    let server = Server::start(move |asked| serve(&values, asked, now.date_naive()));
    let span = Span {
        first: date("2026-03-07"),
        last: date("2026-03-09"),
    };
    let part = observed(&source(&server.base()), &place(New_York), span, now)
        .unwrap()
        .unwrap();
    assert_eq!(part.hours.len(), 72, "no hour missing or doubled");
    assert_eq!(part.days[1].rain_mm, Some(4.0));
    assert_eq!(part.days[2].rain_mm, Some(0.0));
    let wet: Vec<&Hour> = part
        .hours
        .iter()
        .filter(|hour| hour.rain_mm == Some(4.0))
        .collect();
    assert_eq!(wet.len(), 1);
    assert_eq!(wet[0].start.to_string(), "2026-03-08 23:00:00");
    let asked = &server.asked()[0];
    assert_eq!(asked.path, "/v1/archive");
    assert_eq!(asked.query["models"], "era5_seamless");
    assert_eq!(asked.query["start_date"], "2026-03-07");
    assert_eq!(asked.query["end_date"], "2026-03-10");
}

/// KEWR 2013 (airport reports, CC0) through the fake service and through the
/// importer: the same days.
#[test]
fn a_recorded_year_gives_the_same_days_as_the_file() {
    let Some(path) = data("registry/hourly_nyc_airports_2013.csv.gz") else {
        return;
    };
    let mut options = csv_file::Options::default();
    for (key, value) in [
        ("station", "KEWR"),
        ("zone", "America/New_York"),
        ("column.rain", "precip_in"),
        ("unit.rain", "in"),
    ] {
        options.set(key, value).unwrap();
    }
    let import = csv_file::read_path(&path, &options).unwrap();
    assert!(import.hourly.len() > 8_000);
    let mut values = Values::new();
    for hour in &import.hourly {
        // Eastern standard time is five hours behind UTC.
        let utc = hour.start.and_utc().timestamp() + 5 * 3_600;
        let row = values.entry(utc).or_default();
        row[0] = hour.temperature_c;
        row[1] = hour.dew_point_c;
        row[2] = hour.humidity_pct;
        row[4] = hour.wind_m_s;
        values.entry(utc + 3_600).or_default()[3] = hour.rain_mm;
    }
    let now = instant("2014-06-01T00:00:00Z");
    let server = Server::start(move |asked| serve(&values, asked, now.date_naive()));
    let span = Span {
        first: date("2013-01-01"),
        last: date("2013-12-31"),
    };
    let part = observed(&source(&server.base()), &place(New_York), span, now)
        .unwrap()
        .unwrap();
    let mut expected = days_from_hours(&import.hourly);
    expected.retain(|day| day.low_c.is_some() || day.rain_mm.is_some());
    assert_eq!(part.days.len(), expected.len());
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() < 1e-9,
        (a, b) => a == b,
    };
    for (served, filed) in part.days.iter().zip(&expected) {
        assert_eq!(served.date, filed.date);
        assert!(near(served.low_c, filed.low_c), "{served:?} {filed:?}");
        assert!(near(served.high_c, filed.high_c), "{served:?} {filed:?}");
        assert!(near(served.rain_mm, filed.rain_mm), "{served:?} {filed:?}");
    }
    // Not vacuous: the coldest hour of that year at Newark, 23 January, was
    // 10.94 °F in the file.
    let coldest = part
        .days
        .iter()
        .filter_map(|day| day.low_c)
        .fold(99.0, f64::min);
    assert!((coldest - (10.94 - 32.0) / 1.8).abs() < 0.01, "{coldest}");
}

#[test]
fn the_archive_lags_and_the_past_days_stand_in() {
    let now = instant("2026-04-20T15:30:00Z");
    let span = Span {
        first: date("2026-03-01"),
        last: date("2026-04-20"),
    };
    // Refuses, or answers with nulls, from 5 April on.
    for refuses in [true, false] {
        let values = made_up(date("2026-01-01"), 200);
        let server = Server::start(move |asked| {
            let archive = asked.path == "/v1/archive";
            if !archive {
                return serve(&values, asked, now.date_naive());
            }
            if refuses && asked.query["end_date"].as_str() > "2026-04-05" {
                let reason =
                    "Parameter 'end_date' is out of allowed range from 1940-01-01 to 2026-04-05";
                return Answer::status(400, format!(r#"{{"reason":"{reason}","error":true}}"#));
            }
            let end = instant("2026-04-05T00:00:00Z").timestamp();
            let known = values.range(..end).map(|(at, row)| (*at, *row)).collect();
            serve(&known, asked, now.date_naive())
        });
        let part = observed(&source(&server.base()), &place(New_York), span, now)
            .unwrap()
            .unwrap();
        let known = part.days.iter().filter(|day| day.low_c.is_some()).count();
        assert_eq!(known, 50, "all but today, refuses: {refuses}");
        assert_eq!(
            part.hours.last().unwrap().start.to_string(),
            "2026-04-20 09:00:00"
        );
    }
}
