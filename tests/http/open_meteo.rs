//! Open-Meteo: shapes, faults, whole years.

use super::contract::{keeps_the_contract, says_what_failed};
use super::server::{Answer, Asked, Server};
use super::{client, data, date, instant, place};
use budtide::facts::weather::Hour;
use budtide::sources::address::Address;
use budtide::sources::client::Request;
use budtide::sources::csv_file::{self, days_from_hours};
use budtide::sources::open_meteo::{self, OpenMeteo, OpenMeteoReply, OpenMeteoSettings};
use budtide::sources::{SourceError, Span, WeatherSource, observed};
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

/// A block of hours from 06:00 UTC on 15 April 2026.
fn block(units: &str, columns: &str) -> String {
    format!(
        r#"{{"utc_offset_seconds":0,"hourly_units":{{"time":"unixtime",{units}}},
        "hourly":{{"time":[1776232800,1776236400,1776240000],{columns}}}}}"#
    )
}

fn read(body: &str) -> Result<OpenMeteoReply, SourceError> {
    let body = body.to_owned();
    let server = Server::start(move |_| Answer::json(body.clone()));
    let request = Request::new("fetching", Address::read(&server.base()).unwrap());
    client().fetch(&request, |reply| {
        open_meteo::read(reply, New_York, "era5", instant("2026-04-20T12:00:00Z"))
    })
}

#[test]
fn units_are_read_and_unknown_ones_refused() {
    let hours = |units: &str, columns: &str| read(&block(units, columns)).unwrap().hours();
    let us = hours(
        r#""temperature_2m":"°F","precipitation":"inch","wind_speed_10m":"mp/h""#,
        r#""temperature_2m":[50,59.0,-0],"precipitation":[0.00,1,0],"wind_speed_10m":[10,0,null]"#,
    );
    // 06:00 UTC is 01:00 standard time; its rain fell in the hour before.
    assert_eq!(us[0].start.to_string(), "2026-04-15 00:00:00");
    assert_eq!((us[0].temperature_c, us[0].rain_mm), (None, Some(0.0)));
    assert!((us[1].temperature_c.unwrap() - 10.0).abs() < 1e-9);
    assert_eq!(us[1].rain_mm, Some(25.4));
    assert!((us[1].wind_m_s.unwrap() - 4.470_4).abs() < 1e-9);
    assert_eq!((us[3].wind_m_s, us[3].rain_mm), (None, None));
    let knots = hours(r#""wind_speed_10m":"kn""#, r#""wind_speed_10m":[1,2,3]"#);
    assert!((knots[0].wind_m_s.unwrap() - 0.514_444).abs() < 1e-6);

    for (units, columns) in [
        (
            r#""temperature_2m":"K""#,
            r#""temperature_2m":[280,281,282]"#,
        ),
        (r#""temperature_2m":"mm""#, r#""temperature_2m":[1,2,3]"#),
        (r#""rain":"mm""#, r#""temperature_2m":[1,2,3]"#),
        (r#""temperature_2m":null"#, r#""temperature_2m":[1,2,3]"#),
    ] {
        let error = read(&block(units, columns)).unwrap_err();
        assert!(!error.again() && error.tell(), "{error}");
        assert!(error.to_string().contains("temperature_2m"), "{error}");
    }
}

/// Nine shapes of nothing, and values that cannot be.
#[test]
fn what_is_missing_is_unknown_and_counted() {
    let units = r#""temperature_2m":"°C","dew_point_2m":"undefined","precipitation":"mm""#;
    let reply = read(&block(
        units,
        r#""temperature_2m":[null,99.9,4.5],"dew_point_2m":[null,null,null],"precipitation":null"#,
    ))
    .unwrap();
    let hours = reply.hours();
    assert_eq!(hours.len(), 1, "an hour of which nothing is known is none");
    assert_eq!(hours[0].temperature_c, Some(4.5));
    assert_eq!((reply.left().missing, reply.left().impossible), (4, 1));
    for body in [
        "{}",
        r#"{"hourly":null}"#,
        r#"{"hourly":{}}"#,
        r#"{"hourly":{"time":null}}"#,
        r#"{"hourly":{"time":[1776232800]}}"#,
        r#"{"hourly":{"time":[1776232800,1776236400],"temperature_2m":[1]}}"#,
        r#"{"hourly":{"time":[1776232800],"temperature_2m":7}}"#,
        r#"{"hourly":[]}"#,
        "[]",
        "7",
        "null",
    ] {
        let error = read(body).unwrap_err();
        assert!(
            error.to_string().contains("cannot be used"),
            "{body}: {error}"
        );
    }
}

#[test]
fn hours_out_of_order_and_doubled_stand_once() {
    let body = r#"{"hourly_units":{"temperature_2m":"°C"},"hourly":{
        "time":[1776240000,1776232800,1776236400,1776236400,null,"x",1e300],
        "temperature_2m":[3,1,9,2,7,7,7]}}"#;
    let reply = read(body).unwrap();
    let known: Vec<_> = reply
        .hours()
        .iter()
        .map(|hour| hour.temperature_c.unwrap())
        .collect();
    assert_eq!(known, [1.0, 2.0, 3.0], "the later of two stands");
    assert_eq!((reply.left().doubled, reply.left().no_time), (1, 3));
}

#[test]
fn lists_of_places_and_names_of_models() {
    let one = block(
        r#""temperature_2m_era5":"°C","temperature_2m_gfs":"°C""#,
        r#""temperature_2m_gfs":[7,8,9],"temperature_2m_era5":[1,2,3]"#,
    );
    for body in [one.clone(), format!("[{one},{{\"location_id\":1}}]")] {
        assert_eq!(read(&body).unwrap().hours()[0].temperature_c, Some(1.0));
    }
    // A failure after the status was sent.
    let error = read(r#"{"error":true,"reason":"Data  source\nunreachable"}"#).unwrap_err();
    assert!(error.again(), "{error}");
    assert!(
        error.to_string().contains("Data source unreachable"),
        "{error}"
    );
}

/// Local times without an offset: the fixed one beside them holds.
#[test]
fn local_times_go_by_the_offset_beside_them() {
    let body = r#"{"utc_offset_seconds":-14400,"timezone":"America/New_York",
        "hourly_units":{"temperature_2m":"°C"},"hourly":{
        "time":["2026-01-15T00:00","2026-01-15T01:00:00"],"temperature_2m":[1,2]}}"#;
    // Asked in summer: 00:00 of four hours behind UTC is 23:00 standard time.
    let hours = read(body).unwrap().hours();
    assert_eq!(hours[0].start.to_string(), "2026-01-14 23:00:00");
    assert_eq!(hours[1].start.to_string(), "2026-01-15 00:00:00");
}

/// Spring and autumn in zones of both halves and of half hours.
#[test]
fn days_on_which_clocks_change_are_whole() {
    let now = instant("2026-12-20T15:30:00Z");
    for (zone, days) in [
        (New_York, ["2026-03-08", "2026-11-01"]),
        (chrono_tz::Europe::Berlin, ["2026-03-29", "2026-10-25"]),
        (chrono_tz::Australia::Adelaide, ["2026-04-05", "2026-10-04"]),
        (chrono_tz::Asia::Kolkata, ["2026-04-05", "2026-10-04"]),
    ] {
        let server = {
            let values = made_up(date("2026-01-01"), 365);
            Server::start(move |asked| serve(&values, asked, now.date_naive()))
        };
        for day in days {
            let span = Span {
                first: date(day),
                last: date(day),
            };
            let part = observed(&source(&server.base()), &place(zone), span, now)
                .unwrap()
                .unwrap();
            assert_eq!(part.hours.len(), 24, "{zone} {day}");
            assert_eq!(part.days.len(), 1, "{zone} {day}");
            assert!(part.days[0].rain_mm.is_some(), "{zone} {day}");
            let midnight = format!("{day} 00:00:00");
            assert_eq!(part.hours[0].start.to_string(), midnight);
        }
    }
}

#[test]
fn limits_of_calls_are_waited_for_or_handed_on() {
    let now = instant("2026-04-20T15:30:00Z");
    let span = Span {
        first: date("2026-03-01"),
        last: date("2026-03-02"),
    };
    for (reason, seconds) in [
        (
            "Minutely API request limit exceeded. Please try again in one minute.",
            60,
        ),
        (
            "Hourly API request limit exceeded. Please try again in the next hour.",
            3_600,
        ),
        (
            "Daily API request limit exceeded. Please try again tomorrow.",
            30_600,
        ),
    ] {
        let server = Server::start(move |_| {
            Answer::status(429, format!(r#"{{"reason":"{reason}","error":true}}"#))
        });
        let error = observed(&source(&server.base()), &place(New_York), span, now).unwrap_err();
        let after = error.failure().unwrap().after.unwrap();
        assert_eq!(after.as_secs(), seconds, "{error}");
        assert_eq!(server.asked().len(), 1);
    }
    let server = Server::start(|asked| match asked.number {
        0 => Answer::status(
            429,
            r#"{"error":true,"reason":"Too many concurrent requests"}"#,
        ),
        _ => serve(&made_up(date("2026-02-01"), 40), asked, date("2026-04-20")),
    });
    let part = observed(&source(&server.base()), &place(New_York), span, now).unwrap();
    assert_eq!(part.unwrap().days.len(), 2);
}

#[test]
fn the_forecast_begins_today_and_its_past_is_left_out() {
    // 01:30 daylight time on the 21st is 00:30 standard time.
    let now = instant("2026-04-21T05:30:00Z");
    let server = Server::start(move |asked| {
        assert_eq!(asked.query["past_days"], "1");
        assert_eq!(asked.query["forecast_days"], "16");
        assert_eq!(asked.query["apikey"], "secret");
        serve(&made_up(date("2026-04-01"), 30), asked, now.date_naive())
    });
    let forecast = source(&server.base())
        .forecast(&place(New_York), now)
        .unwrap();
    assert_eq!(forecast.issued, date("2026-04-21"));
    assert_eq!(forecast.daily.first(), date("2026-04-21"));
    // The made-up values end on 30 April, 19:00 standard time: no whole day.
    assert_eq!(forecast.daily.last(), Some(date("2026-04-29")));
    assert_eq!(forecast.hourly.as_ref().unwrap().len(), 9 * 24 + 19);
    assert_eq!(forecast.daily.low_c.known(), 9);
    assert_eq!(forecast.daily.rain_mm.known(), 9);
}
