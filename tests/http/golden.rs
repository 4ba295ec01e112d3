//! Captured replies of the real services against figures read off the files.

use super::{client, data, date, instant};
use budtide::facts::weather::{Day, Forecast, Hour};
use budtide::sources::client::{Client, Reply, Request};
use budtide::sources::console::{self, Count, Form, Gauge, Rain};
use budtide::sources::error::{Again, Fault, Why};
use budtide::sources::open_meteo::{self, OpenMeteoReply};
use budtide::sources::{AlertKind, address::Address, ghcn, nws};
use chrono::NaiveDate;
use chrono_tz::America::{Chicago, New_York};
use chrono_tz::{Europe, Tz};
use std::fs;
use std::time::Duration;

use super::server::{Answer, Server};

fn file(name: &str) -> Option<Vec<u8>> {
    data(&format!("fetched/api/{name}")).map(|path| fs::read(path).unwrap())
}

/// A captured body as it comes over the wire, with a status.
fn reply(body: Vec<u8>, status: u16) -> Reply {
    let server = Server::start(move |_| Answer::status(status, body.clone()));
    let client: &Client = &client();
    let request = Request::new("fetching", Address::read(&server.base()).unwrap());
    client
        .fetch(&request, |reply| Ok::<_, Fault>(reply.clone()))
        .unwrap()
}

fn open_meteo(name: &str, status: u16, zone: Tz) -> Option<Result<OpenMeteoReply, Fault>> {
    let now = instant("2026-11-25T12:00:00Z");
    Some(open_meteo::read(
        &reply(file(name)?, status),
        zone,
        "best_match",
        now,
    ))
}

fn at(hours: &[Hour], start: &str) -> Hour {
    *hours
        .iter()
        .find(|hour| hour.start.to_string() == start)
        .unwrap()
}

fn close(known: Option<f64>, figure: f64) {
    let known = known.unwrap();
    assert!((known - figure).abs() < 1e-3, "{known} is not {figure}");
}

fn of(days: &[Day], day: &str) -> Day {
    *days.iter().find(|known| known.date == date(day)).unwrap()
}

#[test]
fn open_meteo_hours_in_utc() {
    let Some(reply) = open_meteo(
        "open-meteo/forecast-iso8601-gmt-2026-08-15.json",
        200,
        Europe::Vienna,
    ) else {
        return;
    };
    let reply = reply.unwrap();
    let hours = reply.hours();
    // 00:00 UTC is 01:00 standard time in Vienna; the rain of 00:00 belongs
    // to the hour before.
    close(at(&hours, "2026-08-15 01:00:00").temperature_c, 21.6);
    close(at(&hours, "2026-08-15 15:00:00").temperature_c, 33.8);
    assert_eq!(at(&hours, "2026-08-15 00:00:00").rain_mm, Some(0.0));
    assert_eq!(hours.len(), 25);
    assert_eq!(reply.elevation_m, Some(194.0));
    assert_eq!(reply.cell, Some((48.2, 16.38)));
}

#[test]
fn open_meteo_unix_seconds_and_days_of_a_fixed_offset() {
    let Some(reply) = open_meteo(
        "open-meteo/forecast-unixtime-europe-2026-10-01.json",
        200,
        Europe::Prague,
    ) else {
        return;
    };
    let reply = reply.unwrap();
    // 1790805600 is 30 September 22:00 UTC: 23:00 standard time.
    close(
        at(&reply.hours(), "2026-09-30 23:00:00").temperature_c,
        16.0,
    );
    close(
        at(&reply.hours(), "2026-10-03 07:00:00").temperature_c,
        10.0,
    );
    assert_eq!(reply.hours().len(), 72);
    assert_eq!(reply.days.len(), 3);
    close(of(&reply.days, "2026-10-01").high_c, 23.2);
    close(of(&reply.days, "2026-10-03").low_c, 9.6);
}

#[test]
fn open_meteo_other_shapes() {
    if let Some(reply) = open_meteo("open-meteo/archive-daily-chicago-2022.json", 200, Chicago) {
        let reply = reply.unwrap();
        assert_eq!((reply.days.len(), reply.hours().len()), (194, 0));
        close(of(&reply.days, "2022-01-06").low_c, -13.8);
        close(of(&reply.days, "2022-01-06").high_c, -10.8);
        close(of(&reply.days, "2022-07-13").low_c, 19.2);
    }
    if let Some(reply) = open_meteo("open-meteo/ensemble-2026-08-15.json", 200, Europe::Vienna) {
        // The control run stands under the plain name.
        let hours = reply.unwrap().hours();
        close(at(&hours, "2026-08-15 01:00:00").temperature_c, 19.3);
        assert_eq!(hours.len(), 24);
    }
    for (name, says) in [
        (
            "forecast-two-models-suffixed-keys-2023-11-13",
            "nothing that was asked for",
        ),
        ("geocoding-2026-08-15", "neither hours nor days"),
        ("elevation-2026-08-15", ""),
    ] {
        if let Some(reply) = open_meteo(&format!("open-meteo/{name}.json"), 200, Europe::Berlin) {
            let fault = reply.unwrap_err();
            assert!(format!("{fault:?}").contains(says), "{name}: {fault:?}");
        }
    }
}

#[test]
fn open_meteo_errors() {
    if let Some(reply) = open_meteo(
        "open-meteo/error-400-date-range-archive.json",
        400,
        New_York,
    ) {
        let fault = reply.unwrap_err();
        assert_eq!(fault.again, Again::Never);
        let said = "Parameter 'start_date' is out of allowed range from 1940-01-01 to 2026-07-27";
        assert_eq!(
            fault.why,
            Why::Status {
                code: 400,
                said: said.to_owned()
            }
        );
    }
    if let Some(reply) = open_meteo("open-meteo/error-429-minutely.json", 429, New_York) {
        let again = reply.unwrap_err().again;
        assert_eq!(again, Again::Soon(Some(Duration::from_secs(60))));
    }
}

fn first_day(forecast: &Forecast) -> NaiveDate {
    forecast.daily.first()
}

#[test]
fn the_us_grid_of_2026() {
    let Some(body) = file("nws/aly-2026-07-15-gridpoint.json") else {
        return;
    };
    let now = instant("2026-07-15T20:00:00Z");
    let forecast = nws::read_grid(&body, New_York, now).unwrap();
    assert_eq!(forecast.issued, date("2026-07-15"));
    assert_eq!(first_day(&forecast), date("2026-07-15"));
    let hours: Vec<Hour> = forecast.hourly.as_ref().unwrap().hours().collect();
    assert_eq!(
        hours
            .iter()
            .filter(|hour| hour.temperature_c.is_some())
            .count(),
        181
    );
    // 16 July 09:00 UTC.
    let hour = at(&hours, "2026-07-16 04:00:00");
    close(hour.temperature_c, 18.889);
    close(hour.dew_point_c, 14.444);
    close(hour.humidity_pct, 75.0);
    close(hour.wind_m_s, 3.704 / 3.6);
    // 8.89 mm from 18:00 UTC on 18 July, six hours; nothing is known after.
    close(at(&hours, "2026-07-18 13:00:00").rain_mm, 8.89 / 6.0);
    assert_eq!(at(&hours, "2026-07-18 19:00:00").rain_mm, None);
    let days: Vec<Day> = forecast.daily.days().collect();
    // Hours reach down to 15.6 and up to 27.8 °C, the layers to 15 and 28.3.
    close(of(&days, "2026-07-20").low_c, 15.0);
    close(of(&days, "2026-07-18").high_c, 28.333);
    close(of(&days, "2026-07-15").high_c, 29.444);
    assert_eq!(of(&days, "2026-07-15").low_c, None, "the morning is past");
    close(of(&days, "2026-07-17").rain_mm, 0.0);
    assert_eq!(
        of(&days, "2026-07-18").rain_mm,
        None,
        "five hours are unknown"
    );
    // A day later it is no forecast any more.
    let late = nws::read_grid(&body, New_York, instant("2026-07-16T20:00:00Z"));
    assert!(matches!(late.unwrap_err().again, Again::Later(_)));
}

#[test]
fn the_us_grid_of_2022() {
    let Some(body) = file("nws/pynws-detailed_forecast.json") else {
        return;
    };
    let now = instant("2022-02-04T04:00:00Z");
    let forecast = nws::read_grid(&body, Chicago, now).unwrap();
    let hours: Vec<Hour> = forecast.hourly.unwrap().hours().collect();
    // Ten hours of one value from 01:00 UTC: 19:00 to 04:00 central time.
    close(at(&hours, "2022-02-03 19:00:00").temperature_c, 18.889);
    close(at(&hours, "2022-02-04 04:00:00").temperature_c, 18.889);
    close(at(&hours, "2022-02-04 05:00:00").temperature_c, 18.333);
    let days: Vec<Day> = forecast.daily.days().collect();
    close(of(&days, "2022-02-06").low_c, 3.333);
    close(of(&days, "2022-02-05").high_c, 12.778);
    // Four totals of six hours from 06:00 UTC, midnight of central time.
    close(
        of(&days, "2022-02-04").rain_mm,
        2.032 + 4.826 + 4.826 + 3.048,
    );
}

#[test]
fn the_us_hourly_forecast() {
    if let Some(body) = file("nws/aly-2026-07-15-forecast-hourly.json") {
        let now = instant("2026-07-15T20:10:00Z");
        let forecast = nws::read_hourly(&body, New_York, now).unwrap();
        let hours: Vec<Hour> = forecast.hourly.unwrap().hours().collect();
        assert_eq!(hours.len(), 156);
        // 05:00 daylight time: 66 °F, 2 mph.
        let hour = at(&hours, "2026-07-16 04:00:00");
        close(hour.temperature_c, (66.0 - 32.0) / 1.8);
        close(hour.dew_point_c, 14.444);
        close(hour.wind_m_s, 2.0 * 0.447_04);
        assert_eq!(hour.rain_mm, None);
    }
    if let Some(body) = file("nws/pynws-gridpoints_forecast_hourly_us.json") {
        let now = instant("2019-10-15T00:15:00Z");
        // Two periods make no day; the hours alone are no forecast.
        assert!(nws::read_hourly(&body, New_York, now).is_err());
    }
}

#[test]
fn reports_of_us_stations() {
    for (name, start, temperature, dew_point, wind) in [
        ("KALB-2026-07-15", "2026-07-15 15:00:00", 25.0, None, 22.212),
        ("KAQW-2026-07-15", "2026-07-15 15:00:00", 25.0, None, 24.084),
        (
            "KDDH-2026-07-15",
            "2026-07-15 15:00:00",
            24.0,
            Some(15.0),
            9.252,
        ),
        (
            "KLIT-2024-02-20",
            "2024-02-20 11:00:00",
            12.8,
            Some(0.6),
            5.4,
        ),
        (
            "KPBF-2024-02-20",
            "2024-02-20 11:00:00",
            12.8,
            Some(0.6),
            5.4,
        ),
    ] {
        let Some(body) = file(&format!("nws/observations-{name}.json")) else {
            return;
        };
        let reports = nws::read_reports(&body, New_York).unwrap();
        let hour = at(&reports.hours(), start);
        close(hour.temperature_c, temperature);
        assert_eq!(hour.dew_point_c, dew_point, "{name}");
        close(hour.wind_m_s, wind / 3.6);
        assert_eq!(hour.rain_mm, None, "{name}: null is not dry");
    }
    if let Some(body) = file("nws/pynws-stations_observations_multiple.json") {
        // The same stamp twice, once with nulls; flags and units of 2019.
        let reports = nws::read_reports(&body, New_York).unwrap();
        let hour = at(&reports.hours(), "2019-06-27 06:00:00");
        close(hour.temperature_c, 10.0);
        close(hour.wind_m_s, 10.0);
        assert_eq!(reports.extremes[&date("2019-06-27")], (10.0, 10.0));
    }
    if let Some(body) = file("nws/pynws-stations_observations_missing_value.json") {
        let reports = nws::read_reports(&body, New_York).unwrap();
        assert!(reports.hours().is_empty());
        assert_eq!(reports.left().no_time, 1);
    }
}

#[test]
fn us_warnings() {
    let Some(body) = file("nws/alerts-active-freeze-2025-12-15.json") else {
        return;
    };
    let now = instant("2025-12-15T21:55:00Z");
    let of = |zone: &str| nws::read_alerts(&body, &[zone.to_owned()], now).unwrap();
    let jacksonville = of("GAZ132");
    assert_eq!(jacksonville.len(), 1);
    assert_eq!(jacksonville[0].kind, AlertKind::FreezeWarning);
    assert_eq!(jacksonville[0].key, "KJAX.FZ.W.0026.2025");
    assert_eq!(jacksonville[0].begins, instant("2025-12-16T00:00:00Z"));
    assert_eq!(jacksonville[0].ends, instant("2025-12-16T14:00:00Z"));
    assert_eq!(jacksonville[0].office, "NWS Jacksonville FL");
    // A watch that was replaced by a warning is over.
    assert!(of("ALZ065").is_empty());
    let charleston = of("GAZ087");
    assert_eq!(charleston[0].kind, AlertKind::Cold);
    assert!(of("NYZ052").is_empty());
    if let Some(flood) = file("nws/pynws-alerts_active_zone.json") {
        let now = instant("2019-12-20T22:00:00Z");
        let alerts = nws::read_alerts(&flood, &["ORZ004".to_owned()], now).unwrap();
        assert!(alerts.is_empty(), "a flood is no cold");
    }
}

#[test]
fn station_records() {
    if let Some(body) = file("ghcn/USW00093134-excerpt-1976-1979-2016-2018.dly") {
        let record = ghcn::read(&body, Some("USW00093134")).unwrap();
        let day = of(&record.days, "1976-02-29");
        assert_eq!(
            (day.low_c, day.high_c, day.rain_mm),
            (Some(10.0), Some(16.1), Some(0.0))
        );
        let day = of(&record.days, "1979-01-31");
        assert_eq!(
            (day.low_c, day.high_c, day.rain_mm),
            (Some(4.4), Some(13.3), Some(19.3))
        );
        close(of(&record.days, "2016-02-29").high_c, 23.3);
        assert_eq!((record.left.flagged, record.left.missing), (0, 6));
    }
    if let Some(body) = file("ghcn/USW00093134-rows-with-quality-flags-a.dly") {
        let record = ghcn::read(&body, None).unwrap();
        assert_eq!(record.left.flagged, 30);
        // S, I on 3 July 1906; the low of that day passed.
        let day = of(&record.days, "1906-07-03");
        assert_eq!((day.low_c, day.high_c), (Some(18.3), None));
        close(of(&record.days, "1906-07-04").high_c, 28.3);
        close(of(&record.days, "1913-03-23").rain_mm, 1.0);
        assert!(!record.days.iter().any(|day| day.date == date("1913-03-31")));
    }
    if let Some(body) = file("ghcn/byyear-style-USW00094728-2014.csv") {
        let record = ghcn::read(&body, None).unwrap();
        assert_eq!(record.days.len(), 365);
        let day = of(&record.days, "2014-01-07");
        assert_eq!(
            (day.low_c, day.high_c, day.rain_mm),
            (Some(-15.5), Some(-7.1), Some(0.0))
        );
        close(of(&record.days, "2014-04-30").rain_mm, 126.2);
        let rain: f64 = record.days.iter().filter_map(|day| day.rain_mm).sum();
        assert!((rain - 1_366.6).abs() < 0.01, "{rain}");
        assert!(record.notes.is_empty(), "read at midnight");
    }
    if let Some(body) = file("ghcn/cdo-api-v2-ghcnd-prcp-2013-09.json") {
        let record = ghcn::read(&body, None).unwrap();
        assert_eq!(record.days.len(), 28);
        close(of(&record.days, "2013-09-21").rain_mm, 9.9);
        close(of(&record.days, "2013-09-13").rain_mm, 0.0);
        assert_eq!(record.station.unwrap().id, "USC00200230");
    }
}

/// Other records of the same agency are not taken for daily ones.
#[test]
fn records_of_other_kinds_are_refused() {
    for name in [
        "ghcn/cdo-api-v2-normal-dly.json",
        "ghcn/normals-daily-1991-2020-USW00094728-columns.csv",
        "ghcn/ghcnh-USW00013967-sample.psv",
        "ghcn/ghcnh-USW00024135-sample.psv",
        "isd/global-hourly-00702699999-excerpt.csv",
        "isd/isd-fixed-width-011490-1986-first80.txt",
    ] {
        if let Some(body) = file(name) {
            let fault = ghcn::read(&body, None).unwrap_err();
            assert!(matches!(fault.why, Why::Unreadable(_)), "{name}: {fault:?}");
            assert_eq!(fault.again, Again::Never, "{name}");
        }
    }
}

/// Captured uploads, known by their time: °F, %, mph, and inches of the counter
/// that counts, of the bucket and of the piezo gauge. The one of August 2021
/// with 22.0 under `tempf` held °C (reference: weather-sources 4.2).
type Upload = (&'static str, f64, f64, Option<f64>, [Option<f64>; 2]);

#[test]
fn home_consoles_and_broadcasts() {
    let now = instant("2026-11-25T12:00:00Z");
    let wanted: [Upload; 7] = [
        (
            "2022-11-26T22:25:29Z",
            53.8,
            30.0,
            Some(4.5),
            [Some(48.811), None],
        ),
        (
            "2022-05-27T19:08:10Z",
            93.2,
            64.0,
            Some(20.89),
            [Some(4.441), None],
        ),
        (
            "2021-08-23T23:13:41Z",
            91.4,
            48.0,
            None,
            [Some(48.504), None],
        ),
        (
            "2022-05-18T18:17:37Z",
            74.5,
            47.0,
            Some(1.34),
            [None, Some(0.0)],
        ),
        (
            "2022-04-20T19:14:47Z",
            59.7,
            65.0,
            Some(2.24),
            [Some(3.909), Some(4.114)],
        ),
        (
            "2022-06-25T06:37:24Z",
            76.28,
            54.0,
            Some(1.12),
            [Some(0.0), None],
        ),
        (
            "2021-08-17T00:15:59Z",
            22.0,
            100.0,
            Some(6.9),
            [Some(14.890), None],
        ),
    ];
    let Some(folder) = data("fetched/api/stations") else {
        return;
    };
    let (mut uploads, mut broadcasts) = (Vec::new(), 0);
    for entry in fs::read_dir(folder).unwrap() {
        let body = fs::read(entry.unwrap().path()).unwrap();
        let value: serde_json::Value = serde_json::from_slice(&body).unwrap();
        let fields = value.as_object().unwrap();
        if fields.contains_key("type") {
            let readings = console::read_broadcast(&body).unwrap();
            assert_eq!(readings.is_empty(), fields["type"] != "obs_st");
            broadcasts += readings.len();
            for reading in readings {
                assert_eq!(reading.at.timestamp(), 1_588_948_614);
                close(reading.temperature_c, 22.37);
                close(reading.humidity_pct, 50.26);
                close(reading.wind_m_s, 0.22);
                let rain = Rain::Past {
                    minutes: 1.0,
                    mm: 0.01,
                };
                assert_eq!(reading.rain, rain);
            }
            continue;
        }
        let reading = console::read_fields(fields, &Form::default(), now).unwrap();
        let Some((when, fahrenheit, humidity, mph, inches)) =
            wanted.iter().find(|(when, ..)| instant(when) == reading.at)
        else {
            panic!("an upload of {}", reading.at);
        };
        uploads.push(when);
        close(reading.temperature_c, (fahrenheit - 32.0) / 1.8);
        close(reading.humidity_pct, *humidity);
        assert_eq!(reading.wind_m_s.is_some(), mph.is_some(), "{when}");
        if let Some(mph) = mph {
            close(reading.wind_m_s, mph * 0.447_04);
        }
        let both = inches.iter().flatten().count() == 2;
        assert_eq!(reading.odd.len(), usize::from(both), "{when}");
        for (gauge, inches) in [Gauge::Bucket, Gauge::Piezo].into_iter().zip(inches) {
            let form = Form {
                gauge: Some(gauge),
                ..Form::default()
            };
            let reading = console::read_fields(fields, &form, now).unwrap();
            match (reading.rain, inches) {
                (Rain::Counter { count, mm }, Some(inches)) => {
                    close(Some(mm), inches * 25.4);
                    assert_ne!(count, Count::Day, "{when}");
                }
                (rain, inches) => assert!(rain == Rain::Unknown && inches.is_none(), "{when}"),
            }
        }
    }
    assert_eq!((uploads.len(), broadcasts), (7, 1));
}
