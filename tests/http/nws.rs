//! The US service: its chain of calls, intervals, reports, warnings, faults.

use super::contract::{keeps_the_contract, says_what_failed};
use super::server::{Answer, Asked, Server};
use super::{client, date, instant, place};
use budtide::sources::nws::{Nws, read_alerts, read_grid, read_hourly, read_reports};
use budtide::sources::{AlertKind, Note, SourceError, Span, WeatherSource, Why, observed};
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::America::New_York;
use serde_json::{Value, json};

fn now() -> DateTime<Utc> {
    instant("2026-04-20T15:30:00Z")
}

fn span() -> Span {
    Span {
        first: date("2026-04-17"),
        last: date("2026-04-20"),
    }
}

fn source(base: &str) -> Nws {
    Nws::new(client(), base, "keeper@example.org")
}

pub fn point() -> Value {
    json!({"properties": {"gridId": "XYZ", "gridX": "7", "gridY": 8,
        "forecastZone": "https://api.example.org/zones/forecast/NYZ052",
        "county": "https://api.example.org/zones/county/NYC001"}})
}

pub fn stations(ids: &[&str]) -> Value {
    let list: Vec<Value> = ids
        .iter()
        .enumerate()
        .map(|(index, id)| {
            json!({"properties": {"stationIdentifier": id,
                "distance": {"unitCode": "wmoUnit:m", "value": 1000.4 * (index + 1) as f64},
                "elevation": {"unitCode": "wmoUnit:m", "value": 90.0}}})
        })
        .collect();
    json!({"features": list})
}

pub fn quantity(unit: &str, value: impl Into<Value>, flag: &str) -> Value {
    json!({"unitCode": unit, "value": value.into(), "qualityControl": flag})
}

/// Routine reports seven minutes before each hour, newest first.
pub fn reports(begin: DateTime<Utc>, end: DateTime<Utc>) -> Value {
    let mut list = Vec::new();
    let mut at = DateTime::from_timestamp(begin.timestamp() / 3_600 * 3_600, 0).unwrap()
        - TimeDelta::minutes(7);
    while at <= end.min(now()) {
        if at >= begin {
            let wave = 5.0 + (at.timestamp() / 3_600 % 24) as f64 / 4.0;
            list.push(json!({"properties": {
                "timestamp": at.to_rfc3339(), "rawMessage": "XXXX 000000Z",
                "temperature": quantity("wmoUnit:degC", wave, "V"),
                "dewpoint": quantity("wmoUnit:degC", wave - 2.0, "V"),
                "relativeHumidity": quantity("wmoUnit:percent", 87.0, "V"),
                "windSpeed": quantity("wmoUnit:km_h-1", 18.0, "V"),
                "precipitationLastHour": quantity("wmoUnit:mm", 0.5, "C")}}));
        }
        at += TimeDelta::hours(1);
    }
    list.reverse();
    json!({"features": list})
}

fn intervals(unit: &str, from: &str, length: &str, count: i64, value: f64) -> Value {
    let begin = instant(from);
    let list: Vec<Value> = (0..count)
        .map(|index| {
            let hours: i64 = length
                .trim_matches(|c: char| !c.is_ascii_digit())
                .parse()
                .unwrap();
            let at = begin + TimeDelta::hours(hours * index);
            json!({"validTime": format!("{}/{length}", at.to_rfc3339()), "value": value})
        })
        .collect();
    json!({"uom": unit, "values": list})
}

pub fn grid() -> Value {
    json!({"properties": {"updateTime": "2026-04-20T13:00:00+00:00",
        "temperature": intervals("wmoUnit:degC", "2026-04-20T06:00:00Z", "PT3H", 40, 6.0),
        "dewpoint": intervals("wmoUnit:degC", "2026-04-20T06:00:00Z", "PT120H", 1, 2.0),
        "relativeHumidity": {"values": []},
        "windSpeed": intervals("wmoUnit:km_h-1", "2026-04-20T06:00:00Z", "PT12H", 10, 36.0),
        "quantitativePrecipitation":
            intervals("wmoUnit:mm", "2026-04-20T06:00:00Z", "PT6H", 8, 3.0),
        "minTemperature": intervals("wmoUnit:degC", "2026-04-21T00:00:00Z", "PT14H", 1, -2.0),
        "maxTemperature": intervals("wmoUnit:degC", "2026-04-21T12:00:00Z", "PT13H", 1, 9.0),
        "heatIndex": {"uom": "wmoUnit:degC", "values": [
            {"validTime": "2026-04-20T06:00:00+00:00/P7D", "value": null}]}}})
}

pub fn hourly() -> Value {
    let periods: Vec<Value> = (0..72)
        .map(|hour| {
            let at = instant("2026-04-20T16:00:00Z") + TimeDelta::hours(hour);
            json!({"startTime": at.to_rfc3339(), "temperature": 50, "temperatureUnit": "F",
                "dewpoint": {"unitCode": "wmoUnit:degC", "value": 4.0},
                "relativeHumidity": {"unitCode": "wmoUnit:percent", "value": null},
                "windSpeed": "5 to 10 mph"})
        })
        .collect();
    json!({"properties": {"generatedAt": "2026-04-20T13:00:00+00:00", "periods": periods}})
}

/// Whole bodies of the four kinds, for tests that damage them.
pub fn bodies() -> [Vec<u8>; 4] {
    let reports = reports(now() - TimeDelta::hours(9), now());
    let sent = "2026-04-20T10:00:00-04:00";
    let alerts = json!({"features": [warning("Freeze Warning", &[FREEZE], "NYZ052", sent)]});
    [grid(), hourly(), reports, alerts].map(|body| body.to_string().into_bytes())
}

/// A warning with its event codes.
pub fn warning(event: &str, codes: &[&str], zone: &str, sent: &str) -> Value {
    json!({"geometry": null, "properties": {
        "status": "Actual", "messageType": "Alert", "urgency": "Expected", "event": event,
        "sent": sent, "onset": "2026-04-21T02:00:00-04:00",
        "expires": "2026-04-20T20:00:00-04:00", "ends": "2026-04-21T09:00:00-04:00",
        "headline": event, "senderName": "NWS Somewhere",
        "geocode": {"UGC": [zone]}, "parameters": {"VTEC": codes}}})
}

pub const FREEZE: &str = "/O.NEW.KXYZ.FZ.W.0003.260421T0600Z-260421T1300Z/";

fn serve(asked: &Asked) -> Answer {
    let path: Vec<&str> = asked.path.trim_matches('/').split('/').collect();
    let of = |name: &str| instant(&asked.query[name]);
    assert!(asked.headers["user-agent"].contains("keeper@example.org"));
    assert_eq!(asked.headers["accept"], "application/geo+json");
    let body = match path.as_slice() {
        ["points", at] => {
            assert_eq!(*at, "42.7457,-73.7523");
            point()
        }
        ["gridpoints", "XYZ", "7,8"] => grid(),
        ["gridpoints", "XYZ", "7,8", "forecast", "hourly"] => hourly(),
        ["gridpoints", "XYZ", "7,8", "stations"] => stations(&["KAAA", "KBBB"]),
        ["stations", "KAAA", "observations"] => reports(of("start"), of("end")),
        ["alerts", "active"] => {
            let sent = "2026-04-20T10:00:00-04:00";
            json!({"features": [warning("Freeze Warning", &[FREEZE], "NYZ052", sent)]})
        }
        other => panic!("{other:?}"),
    };
    Answer::json(body.to_string())
}

#[test]
fn the_us_service_keeps_the_contract() {
    let server = Server::start(serve);
    let place = place(New_York);
    keeps_the_contract(&source(&server.base()), &place, span(), now());
    says_what_failed(|base| Box::new(source(base)), &place, span(), now());
    let points = server
        .asked()
        .iter()
        .filter(|asked| asked.path.starts_with("/points"))
        .count();
    assert_eq!(points, 1, "the grid cell is kept");
}

#[test]
fn reports_become_hours() {
    let server = Server::start(serve);
    let part = observed(&source(&server.base()), &place(New_York), span(), now())
        .unwrap()
        .unwrap();
    assert_eq!(part.station.as_deref(), Some("KAAA"));
    assert_eq!(part.elevation_m, Some(90.0));
    assert_eq!(part.days.len(), 3, "today is not over");
    let hours: Vec<_> = part
        .hours
        .iter()
        .filter(|hour| hour.start.date() == date("2026-04-18"))
        .collect();
    assert_eq!(hours.len(), 24);
    assert!(
        hours
            .iter()
            .all(|hour| hour.rain_mm == Some(0.5) && hour.wind_m_s == Some(5.0))
    );
    assert_eq!(part.days[1].rain_mm, Some(12.0));
}

#[test]
fn without_a_contact_nothing_is_asked() {
    let server = Server::start(serve);
    let source = Nws::new(client(), &server.base(), "  ");
    let error = source.forecast(&place(New_York), now()).unwrap_err();
    assert!(matches!(error.failure().unwrap().why, Why::Setting(_)) && !error.again());
    assert!(error.to_string().contains("contact"), "{error}");
    assert!(server.asked().is_empty());
}

/// Intervals are laid out, shared and never taken beyond their end.
#[test]
fn the_grid_becomes_hours_and_days() {
    let forecast = read_grid(grid().to_string().as_bytes(), New_York, now()).unwrap();
    assert_eq!(forecast.issued, date("2026-04-20"));
    let hours = forecast.hourly.unwrap();
    // 06:00 UTC is 01:00 standard time.
    assert_eq!(hours.first().to_string(), "2026-04-20 01:00:00");
    assert_eq!(hours.len(), 120);
    let hour = hours.at(5);
    assert_eq!(
        (hour.temperature_c, hour.dew_point_c),
        (Some(6.0), Some(2.0))
    );
    assert_eq!((hour.rain_mm, hour.wind_m_s), (Some(0.5), Some(10.0)));
    assert_eq!(hour.humidity_pct, None);
    assert_eq!(hours.at(47).rain_mm, Some(0.5));
    assert_eq!(hours.at(48).rain_mm, None, "absent is unknown, not dry");
    // The low of the night and the high of the day reach beyond the hours.
    let lows: Vec<_> = forecast.daily.days().filter_map(|day| day.low_c).collect();
    assert!(lows.contains(&-2.0), "{lows:?}");
    let day = forecast.daily.day(date("2026-04-21")).unwrap();
    assert_eq!(day.high_c, Some(9.0));
    assert_eq!(
        forecast.daily.day(date("2026-04-22")).unwrap().rain_mm,
        None
    );
}

#[test]
fn odd_grids_are_refused_or_unknown() {
    let with = |change: &dyn Fn(&mut Value)| {
        let mut grid = grid();
        change(&mut grid["properties"]);
        read_grid(grid.to_string().as_bytes(), New_York, now())
    };
    let f = with(&|grid| {
        grid["temperature"]["uom"] = json!("wmoUnit:degF");
    });
    let hours = f.unwrap().hourly.unwrap();
    assert!((hours.at(0).temperature_c.unwrap() - (6.0 - 32.0) / 1.8).abs() < 1e-4);
    for unit in [json!("wmoUnit:rankine"), Value::Null] {
        let fault = with(&|grid| grid["temperature"]["uom"] = unit.clone()).unwrap_err();
        assert!(matches!(fault.why, Why::Unreadable(_)), "{fault:?}");
    }
    let wrong = with(&|grid| grid["temperature"]["values"][0]["validTime"] = json!("soon"));
    assert!(wrong.is_err());
    let wind = with(&|grid| grid["windSpeed"] = Value::Null).unwrap();
    assert_eq!(wind.hourly.unwrap().wind_m_s.known(), 0);
    let old = with(&|grid| grid["updateTime"] = json!("2026-04-19T13:00:00+00:00"));
    assert!(format!("{:?}", old.unwrap_err()).contains("26 hours old"));
    assert!(with(&|grid| grid["updateTime"] = Value::Null).is_err());
    let empty = with(&|grid| {
        for (_, layer) in grid.as_object_mut().unwrap().iter_mut() {
            if layer.is_object() {
                layer["values"] = json!([]);
            }
        }
    });
    assert!(empty.is_err(), "nothing is no forecast");
    for wrong in ["{}", "[]", "null", "3", r#"{"properties":[]}"#] {
        assert!(
            read_grid(wrong.as_bytes(), New_York, now()).is_err(),
            "{wrong}"
        );
    }
}

#[test]
fn the_hourly_forecast_stands_in_for_the_grid() {
    for (status, kind) in [(503, "ForecastGridExpired"), (500, "UnexpectedProblem")] {
        let server = Server::start(move |asked| {
            if asked.path == "/gridpoints/XYZ/7,8" {
                let kind = format!("https://api.example.org/problems/{kind}");
                let body = json!({"type": kind, "title": "No", "status": status,
                    "detail": "The grid is not there."});
                return Answer::status(status, body.to_string());
            }
            serve(asked)
        });
        let forecast = source(&server.base())
            .forecast(&place(New_York), now())
            .unwrap();
        let hours = forecast.hourly.unwrap();
        let hour = hours.at(0);
        assert_eq!(hour.start.to_string(), "2026-04-20 11:00:00");
        assert!((hour.temperature_c.unwrap() - 10.0).abs() < 1e-4);
        assert!((hour.wind_m_s.unwrap() - 7.5 * 0.447_04).abs() < 1e-4);
        assert_eq!((hour.humidity_pct, hour.rain_mm), (None, None));
    }
}

#[test]
fn newer_hourly_forecasts_have_objects() {
    let mut answer = hourly();
    let period = &mut answer["properties"]["periods"][0];
    period["temperature"] = json!({"unitCode": "wmoUnit:degC", "value": 9.5});
    period["windSpeed"] = json!({"unitCode": "wmoUnit:km_h-1", "value": 36.0});
    let forecast = read_hourly(answer.to_string().as_bytes(), New_York, now()).unwrap();
    let hour = forecast.hourly.unwrap().at(0);
    assert_eq!((hour.temperature_c, hour.wind_m_s), (Some(9.5), Some(10.0)));
    answer["properties"]["periods"] = json!([]);
    assert!(read_hourly(answer.to_string().as_bytes(), New_York, now()).is_err());
}

/// Days of 23 and 25 hours by the clock on the wall have 24 here.
#[test]
fn the_days_on_which_clocks_change_have_24_hours() {
    for (morning, first) in [
        ("2026-03-08", "2026-03-08T05:00:00Z"),
        ("2026-11-01", "2026-11-01T05:00:00Z"),
    ] {
        let periods: Vec<Value> = (0..24)
            .map(|hour| {
                let at = instant(first) + TimeDelta::hours(hour);
                let local = at.with_timezone(&New_York).to_rfc3339();
                json!({"startTime": local, "temperature": hour, "temperatureUnit": "C"})
            })
            .collect();
        let answer = json!({"properties": {"updateTime": first, "periods": periods}});
        let forecast =
            read_hourly(answer.to_string().as_bytes(), New_York, instant(first)).unwrap();
        let hours = forecast.hourly.unwrap();
        assert_eq!(hours.len(), 24, "{morning}");
        assert!(hours.hours().enumerate().all(|(index, hour)| {
            hour.start.date() == date(morning) && hour.temperature_c == Some(index as f64)
        }));
        let day = forecast.daily.day(date(morning)).unwrap();
        assert_eq!((day.low_c, day.high_c), (Some(0.0), Some(23.0)));
    }
}

#[test]
fn a_changed_grid_cell_is_asked_for_once() {
    let server = Server::start(|asked| match asked.path.as_str() {
        "/points/42.7457,-73.7523" if asked.number > 0 => {
            let moved = point().to_string().replace("\"7\"", "\"9\"");
            Answer::json(moved)
        }
        "/gridpoints/XYZ/7,8" => Answer::status(404, r#"{"type":"x/problems/InvalidGridpoint"}"#),
        "/gridpoints/XYZ/9,8" => Answer::json(grid().to_string()),
        _ => serve(asked),
    });
    source(&server.base())
        .forecast(&place(New_York), now())
        .unwrap();

    let server = Server::start(|asked| match asked.path.split('/').nth(1) {
        Some("points") => serve(asked),
        _ => Answer::status(404, "{}"),
    });
    let error = source(&server.base())
        .forecast(&place(New_York), now())
        .unwrap_err();
    assert!(!error.again(), "{error}");
    assert_eq!(server.asked().len(), 4, "no loop");
}

#[test]
fn a_place_abroad_is_said_so() {
    let server = Server::start(|_| {
        let body = json!({"type": "https://api.example.org/problems/InvalidPoint",
            "title": "Data Unavailable For Requested Point", "status": 404,
            "detail": "Unable to provide data for requested point 48.2,16.4"});
        Answer::status(404, body.to_string())
    });
    let error = source(&server.base())
        .forecast(&place(New_York), now())
        .unwrap_err();
    assert!(
        matches!(error.failure().unwrap().why, Why::Place(_)),
        "{error:?}"
    );
}

#[test]
fn a_farther_station_stands_in_and_is_named() {
    let server = Server::start(|asked| match asked.path.as_str() {
        "/stations/KAAA/observations" => Answer::json(r#"{"features":null}"#),
        "/stations/KBBB/observations" => {
            let of = |name: &str| instant(&asked.query[name]);
            Answer::json(reports(of("start"), of("end")).to_string())
        }
        _ => serve(asked),
    });
    let part = observed(&source(&server.base()), &place(New_York), span(), now())
        .unwrap()
        .unwrap();
    assert_eq!(part.station.as_deref(), Some("KBBB"));
    let note = Note::FartherStation {
        station: "KBBB".to_owned(),
        metres: Some(2_000),
    };
    assert!(part.notes.contains(&note));
}

/// Routine reports before five-minute ones, checked before failed, the most
/// of the rain of an hour, and no rain in six hours is none in each.
#[test]
fn the_best_of_several_reports_is_taken() {
    let report = |at: &str, raw: &str, temperature: Value, rain: Value| {
        json!({"properties": {"timestamp": at, "rawMessage": raw,
            "temperature": temperature, "precipitationLastHour": rain}})
    };
    let c = |value: f64, flag: &str| quantity("wmoUnit:degC", value, flag);
    let mm = |value: f64| quantity("wmoUnit:mm", value, "V");
    let null = || quantity("wmoUnit:mm", Value::Null, "Z");
    let mut dry = report("2026-04-20T05:53:00+00:00", "X", c(1.0, "V"), null());
    dry["properties"]["precipitationLast6Hours"] = mm(0.0);
    let list = json!({"features": [
        report("2026-04-20T12:00:00+00:00", "", c(8.0, "V"), null()),
        report("2026-04-20T11:53:00+00:00", "X", c(7.6, "V"), mm(2.3)),
        report("2026-04-20T11:35:00+00:00", "X", c(-99.9, "V"), mm(1.1)),
        report("2026-04-20T12:53:00+00:00", "X", c(55.0, "X"), null()),
        report("2026-04-20T12:50:00+00:00", "", c(9.0, "V"), json!({})),
        report("not a time", "X", c(3.0, "V"), null()),
        dry,
        {"properties": {}}, {}, null]});
    let reports = read_reports(list.to_string().as_bytes(), New_York).unwrap();
    let hours = reports.hours();
    let at = |hour: u32| {
        let start = date("2026-04-20").and_hms_opt(hour, 0, 0).unwrap();
        hours.iter().find(|known| known.start == start).copied()
    };
    // 12:00 UTC is 07:00 standard time.
    assert_eq!(at(7).unwrap().temperature_c, Some(7.6));
    assert_eq!(at(6).unwrap().rain_mm, Some(2.3));
    assert_eq!(at(8).unwrap().temperature_c, Some(9.0));
    assert_eq!(at(0).unwrap().rain_mm, Some(0.0));
    let left = reports.left();
    assert_eq!((left.flagged, left.impossible, left.no_time), (1, 1, 4));
    assert_eq!(reports.extremes[&date("2026-04-20")], (1.0, 9.0));
}

#[test]
fn warnings_hold_by_their_event_code() {
    let zones = ["NYZ052".to_owned(), "NYC001".to_owned()];
    let read = |list: Vec<Value>| {
        let answer = json!({"features": list}).to_string();
        read_alerts(answer.as_bytes(), &zones, now()).unwrap()
    };
    let early = "2026-04-20T08:00:00-04:00";
    let late = "2026-04-20T10:00:00-04:00";
    let freeze = |code: &str, sent: &str| warning("Freeze Warning", &[code], "NYZ052", sent);
    // `expires` lies before the cold begins: it still holds until it ends.
    let alerts = read(vec![freeze(FREEZE, early)]);
    assert_eq!(alerts.len(), 1);
    assert_eq!(alerts[0].kind, AlertKind::FreezeWarning);
    assert_eq!(alerts[0].key, "KXYZ.FZ.W.0003.2026");
    assert_eq!(alerts[0].begins, instant("2026-04-21T06:00:00Z"));
    assert_eq!(alerts[0].ends, instant("2026-04-21T13:00:00Z"));
    // Another place, a test, heat.
    let mut test = freeze(FREEZE, early);
    test["properties"]["status"] = json!("Test");
    assert!(
        read(vec![
            warning("Freeze Warning", &[FREEZE], "NYZ001", early),
            test,
            warning(
                "Heat Advisory",
                &["/O.NEW.KXYZ.HT.Y.0001.260421T0600Z-260421T1300Z/"],
                "NYZ052",
                early
            ),
        ])
        .is_empty()
    );
    // The newest message on an event decides, in any order.
    let cancelled = FREEZE.replace("NEW", "CAN");
    assert!(read(vec![freeze(&cancelled, late), freeze(FREEZE, early)]).is_empty());
    assert!(read(vec![freeze(FREEZE, early), freeze(&cancelled, late)]).is_empty());
    let extended = FREEZE.replace("NEW", "EXT").replace("T1300Z", "T1500Z");
    let alerts = read(vec![freeze(&extended, late), freeze(FREEZE, early)]);
    assert_eq!(alerts.len(), 1);
    assert_eq!(alerts[0].ends, instant("2026-04-21T15:00:00Z"));
    // A message that replaces a watch by a warning and goes on with the
    // watch of the next night.
    let alerts = read(vec![warning(
        "Freeze Warning",
        &[
            "/O.UPG.KXYZ.FZ.A.0002.260421T0600Z-260421T1300Z/",
            FREEZE,
            "/O.CON.KXYZ.FZ.A.0003.260422T0600Z-260422T1300Z/",
        ],
        "NYZ052",
        late,
    )]);
    let kinds: Vec<_> = alerts.iter().map(|alert| alert.kind).collect();
    assert_eq!(kinds, [AlertKind::FreezeWarning, AlertKind::FreezeWatch]);
    // Over already; no event code; no end but `expires`.
    let over = FREEZE.replace("260421", "260419");
    assert!(read(vec![freeze(&over, early)]).is_empty());
    let mut plain = warning("FROST ADVISORY", &[], "NYC001", early);
    assert_eq!(read(vec![plain.clone()])[0].kind, AlertKind::FrostAdvisory);
    plain["properties"]["ends"] = Value::Null;
    plain["properties"]["expires"] = json!("2026-04-21T08:00:00-04:00");
    assert_eq!(
        read(vec![plain.clone()])[0].ends,
        instant("2026-04-21T12:00:00Z")
    );
    plain["properties"]["urgency"] = json!("Past");
    assert!(read(vec![plain]).is_empty());
    assert!(
        read(vec![
            json!({}),
            json!(null),
            json!({"properties": {"status": "Actual"}})
        ])
        .is_empty()
    );
}

#[test]
fn warnings_that_cannot_be_asked_for_are_an_error_not_silence() {
    for body in ["{}", "[]", "<html>"] {
        let server = Server::start(move |asked| match asked.path.as_str() {
            "/alerts/active" => Answer::json(body),
            _ => serve(asked),
        });
        let error = source(&server.base())
            .alerts(&place(New_York), now())
            .unwrap_err();
        assert!(!matches!(error, SourceError::NotOffered { .. }), "{error}");
    }
}
