//! Shapes that the services document and of which no capture is at hand
//! (reference: weather-sources 1.3 to 1.5, 2.2 to 2.7): made up, each with
//! the value or the error that has to come of it.

use super::nws::{grid, point, quantity};
use super::open_meteo::made_up;
use super::server::{Answer, Server};
use super::{client, date, instant, place, quick};
use budtide::facts::weather::Hour;
use budtide::sources::client::{Client, Request};
use budtide::sources::error::{Again, Fault};
use budtide::sources::nws::{Nws, read_grid, read_hourly, read_reports};
use budtide::sources::open_meteo::{self, OpenMeteo, OpenMeteoReply, OpenMeteoSettings};
use budtide::sources::{WeatherSource, address::Address};
use chrono_tz::America::New_York;
use serde_json::{Value, json};

fn open_meteo(status: u16, body: &Value) -> Result<OpenMeteoReply, Fault> {
    let body = body.to_string();
    let server = Server::start(move |_| Answer::status(status, body.clone()));
    let client = Client::new(quick());
    let request = Request::new("fetching", Address::read(&server.base()).unwrap());
    let reply = client
        .fetch(&request, |reply| Ok::<_, Fault>(reply.clone()))
        .unwrap();
    open_meteo::read(
        &reply,
        New_York,
        "era5_seamless",
        instant("2026-04-20T15:30:00Z"),
    )
}

/// Two hours from midnight UTC on, 19:00 and 20:00 standard time.
fn two_hours() -> Value {
    json!({"latitude": 42.7, "longitude": -73.7, "generationtime_ms": 0.03,
        "utc_offset_seconds": 0, "timezone": "GMT", "timezone_abbreviation": "GMT",
        "elevation": 91.0,
        "hourly_units": {"time": "unixtime", "temperature_2m": "°C", "dew_point_2m": "°C",
            "relative_humidity_2m": "%", "precipitation": "mm", "wind_speed_10m": "m/s"},
        "hourly": {"time": [1_776_643_200, 1_776_646_800], "temperature_2m": [10, -0.0],
            "dew_point_2m": [5.0, null], "relative_humidity_2m": [60, 61],
            "precipitation": [0.00, 2.54], "wind_speed_10m": [4, 5.5]}})
}

fn close(known: Option<f64>, figure: f64) {
    let known = known.unwrap();
    assert!((known - figure).abs() < 1e-3, "{known} is not {figure}");
}

fn hours(change: impl FnOnce(&mut Value)) -> Vec<Hour> {
    let mut body = two_hours();
    change(&mut body);
    open_meteo(200, &body).unwrap().hours()
}

#[test]
fn units_and_times_of_open_meteo_are_read_from_the_reply() {
    let known = |hours: &[Hour], start: &str| {
        let found = hours.iter().find(|hour| hour.start.to_string() == start);
        *found.unwrap()
    };
    let plain = hours(|_| ());
    let hour = known(&plain, "2026-04-19 19:00:00");
    assert_eq!(hour.temperature_c, Some(10.0));
    assert_eq!(hour.rain_mm, Some(2.54), "rain of the preceding hour");
    let hour = known(&plain, "2026-04-19 20:00:00");
    assert_eq!((hour.temperature_c, hour.dew_point_c), (Some(0.0), None));
    let american = hours(|body| {
        for (name, unit) in [
            ("temperature_2m", "°F"),
            ("dew_point_2m", "°F"),
            ("precipitation", "inch"),
            ("wind_speed_10m", "mp/h"),
        ] {
            body["hourly_units"][name] = json!(unit);
        }
        body["hourly"]["temperature_2m"] = json!([50, 14.0]);
        body["hourly"]["precipitation"] = json!([0, 0.1]);
    });
    let hour = known(&american, "2026-04-19 19:00:00");
    close(hour.temperature_c, 10.0);
    close(hour.dew_point_c, -15.0);
    close(hour.rain_mm, 2.54);
    close(hour.wind_m_s, 4.0 * 0.447_04);
    close(known(&american, "2026-04-19 20:00:00").temperature_c, -10.0);
    // Knots and km/h; local times of a fixed offset.
    for (unit, factor) in [("kn", 0.514_444), ("km/h", 1.0 / 3.6)] {
        let read = hours(|body| {
            body["hourly_units"]["wind_speed_10m"] = json!(unit);
            body["hourly_units"]["time"] = json!("iso8601");
            body["utc_offset_seconds"] = json!(-14_400);
            body["timezone"] = json!("America/New_York");
            body["timezone_abbreviation"] = json!("GMT-4");
            body["hourly"]["time"] = json!(["2026-04-19T20:00", "2026-04-19T21:00"]);
        });
        close(known(&read, "2026-04-19 19:00:00").wind_m_s, 4.0 * factor);
    }
    // Parts that are left out or null.
    let bare = hours(|body| {
        let body = body.as_object_mut().unwrap();
        for name in [
            "elevation",
            "timezone",
            "utc_offset_seconds",
            "generationtime_ms",
        ] {
            body.remove(name);
        }
        body["hourly"]["dew_point_2m"] = Value::Null;
        body["hourly"]["wind_speed_10m"] = json!([null, null]);
        body.insert("daily".to_owned(), Value::Null);
        body.insert("current".to_owned(), json!({"time": 1, "interval": 900}));
    });
    let hour = known(&bare, "2026-04-19 19:00:00");
    assert_eq!(hour.temperature_c, Some(10.0));
    assert_eq!((hour.dew_point_c, hour.wind_m_s), (None, None));
    // A model that ends before the span: nothing known, and no fault.
    let nothing = hours(|body| {
        for name in [
            "temperature_2m",
            "dew_point_2m",
            "relative_humidity_2m",
            "precipitation",
            "wind_speed_10m",
        ] {
            body["hourly"][name] = Value::Null;
        }
    });
    assert!(nothing.iter().all(|hour| hour.temperature_c.is_none()));
    // A list of places: the first is the one that was asked for.
    let mut second = two_hours();
    second["location_id"] = json!(1);
    second["hourly"]["temperature_2m"] = json!([30, 30]);
    let list = open_meteo(200, &json!([two_hours(), second])).unwrap();
    assert_eq!(
        known(&list.hours(), "2026-04-19 19:00:00").temperature_c,
        Some(10.0)
    );
}

#[test]
fn open_meteo_replies_that_cannot_be_used_say_why() {
    let with = |change: &dyn Fn(&mut Value)| {
        let mut body = two_hours();
        change(&mut body);
        format!("{:?}", open_meteo(200, &body).unwrap_err())
    };
    for (says, fault) in [
        (
            "temperature_2m is in \\\"rankine\\\", which is not known",
            with(&|body| body["hourly_units"]["temperature_2m"] = json!("rankine")),
        ),
        (
            "precipitation has no unit",
            with(&|body| {
                body["hourly_units"]
                    .as_object_mut()
                    .unwrap()
                    .remove("precipitation");
            }),
        ),
        (
            "wind_speed_10m is not as long as its times",
            with(&|body| body["hourly"]["wind_speed_10m"] = json!([1.0])),
        ),
        (
            "it has no times",
            with(&|body| body["hourly"]["time"] = Value::Null),
        ),
        (
            "neither hours nor days",
            with(&|body| body["hourly"] = Value::Null),
        ),
    ] {
        assert!(fault.contains(says), "{says}: {fault}");
    }
    assert!(open_meteo(200, &json!([])).is_err(), "a list of no place");
    for (status, reason, again) in [
        (400, "Invalid timezone", Again::Never),
        (400, "No data is available for this location", Again::Never),
        (503, "The service is overloaded", Again::Soon(None)),
        (429, "Too many concurrent requests", Again::Soon(None)),
        (
            429,
            "Hourly API request limit exceeded. Please try again in the next hour.",
            Again::Soon(Some(std::time::Duration::from_secs(3_600))),
        ),
    ] {
        for body in [
            json!({"error": true, "reason": reason}),
            json!({"reason": reason, "error": true, "extra": {"a": [1]}}),
        ] {
            let fault = open_meteo(status, &body).unwrap_err();
            assert_eq!(fault.again, again, "{reason}");
            let text = fault.into_error("asking", "host", 1).to_string();
            assert!(
                text.contains(&format!("it answered {status}: {reason}")),
                "{text}"
            );
        }
    }
    // A failure after the status was sent.
    let late = open_meteo(200, &json!({"error": true, "reason": "timeout"})).unwrap_err();
    assert_eq!(late.again, Again::Soon(None));
}

/// A made-up year asked for at a place of which the archive answers with
/// whole columns of null: unknown, not the end of the fetching.
#[test]
fn columns_of_null_do_not_end_a_fetch() {
    let values = made_up(date("2026-04-10"), 40);
    let server = Server::start(move |asked| {
        if asked.path == "/v1/archive" {
            let mut body = two_hours();
            for (name, column) in body["hourly"].as_object_mut().unwrap() {
                if name != "time" {
                    *column = Value::Null;
                }
            }
            return Answer::json(body.to_string());
        }
        super::open_meteo::serve(&values, asked, date("2026-04-20"))
    });
    let source = OpenMeteo::new(client(), OpenMeteoSettings::at(&server.base()));
    let span = budtide::sources::Span {
        first: date("1950-01-01"),
        last: date("1950-12-31"),
    };
    let now = instant("2026-04-20T15:30:00Z");
    let part = budtide::sources::observed(&source, &place(New_York), span, now)
        .unwrap()
        .unwrap();
    assert!(part.hours.iter().all(|hour| hour.temperature_c.is_none()));
}

/// ISO 8601 durations as they occur, and those that the schema allows.
#[test]
fn intervals_of_the_grid_are_laid_out() {
    for (valid, count) in [
        ("2026-04-20T06:00:00+00:00/PT1H", 1),
        ("2026-04-20T06:00:00+00:00/PT15H", 15),
        ("2026-04-20T06:00:00+00:00/P1DT6H", 30),
        ("2026-04-20T06:00:00+00:00/P1D", 24),
        ("2026-04-20T06:00:00+00:00/P7DT13H", 181),
        ("2026-04-20T02:00:00-04:00/PT2H", 2),
        ("2026-04-20T06:00:00+00:00/2026-04-20T09:00:00+00:00", 3),
        ("PT6H/2026-04-20T12:00:00+00:00", 6),
        ("2026-04-20T06:00:00Z/PT90M", 2),
    ] {
        let mut body = grid();
        let layers = &mut body["properties"];
        layers["temperature"]["values"] = json!([{"validTime": valid, "value": 3.0}]);
        for name in ["dewpoint", "windSpeed", "quantitativePrecipitation"] {
            layers[name] = json!({"values": []});
        }
        let now = instant("2026-04-20T15:30:00Z");
        let forecast = read_grid(body.to_string().as_bytes(), New_York, now).unwrap();
        let hours = forecast.hourly.unwrap();
        assert_eq!(hours.temperature_c.known(), count, "{valid}");
        assert_eq!(hours.first().to_string(), "2026-04-20 01:00:00", "{valid}");
    }
    for wrong in [
        "2026-04-20T06:00:00+00:00",
        "P1M/P1M",
        "2026-04-20T06:00:00Z/P1Y",
        "/",
    ] {
        let mut body = grid();
        body["properties"]["temperature"]["values"] = json!([{"validTime": wrong, "value": 3.0}]);
        let now = instant("2026-04-20T15:30:00Z");
        let fault = read_grid(body.to_string().as_bytes(), New_York, now).unwrap_err();
        let text = format!("{fault:?}");
        assert!(
            text.contains("a time of temperature cannot be read"),
            "{text}"
        );
    }
}

#[test]
fn newer_and_older_shapes_of_the_us_service() {
    let now = instant("2026-04-20T15:30:00Z");
    // A wind of a span, as the schema has it for objects.
    let periods: Vec<Value> = (0..72)
        .map(|hour| {
            let at = instant("2026-04-20T16:00:00Z") + chrono::TimeDelta::hours(hour);
            json!({"startTime": at.to_rfc3339(), "temperatureTrend": "",
                "temperature": {"unitCode": "wmoUnit:degF", "value": 50},
                "windSpeed": {"unitCode": "wmoUnit:km_h-1", "minValue": 18, "maxValue": 36},
                "probabilityOfPrecipitation": {"unitCode": "wmoUnit:percent", "value": null}})
        })
        .collect();
    let body = json!({"properties": {"generatedAt": "2026-04-20T13:00:00+00:00",
        "periods": periods}});
    let forecast = read_hourly(body.to_string().as_bytes(), New_York, now).unwrap();
    let hour = forecast.hourly.unwrap().at(0);
    close(hour.temperature_c, 10.0);
    close(hour.wind_m_s, 7.5);
    // Reports: every unit code that is documented, the prefix of 2019 too.
    for (name, unit, value, wanted) in [
        ("temperature", "wmoUnit:degC", 4.0, 4.0),
        ("temperature", "unit:degC", 4.0, 4.0),
        ("temperature", "wmoUnit:degF", 50.0, 10.0),
        ("temperature", "wmoUnit:K", 273.15, 0.0),
        ("windSpeed", "wmoUnit:km_h-1", 36.0, 10.0),
        ("windSpeed", "unit:m_s-1", 10.0, 10.0),
        ("relativeHumidity", "wmoUnit:percent", 55.0, 55.0),
        ("precipitationLastHour", "wmoUnit:mm", 2.0, 2.0),
        ("precipitationLastHour", "unit:m", 0.002, 2.0),
    ] {
        let report = json!({"features": [{"properties": {
            "timestamp": "2026-04-20T11:53:00+00:00", "rawMessage": "X",
            name: quantity(unit, value, "V")}}]});
        let reports = read_reports(report.to_string().as_bytes(), New_York).unwrap();
        let hours = reports.hours();
        let found = hours.iter().find_map(|hour| match name {
            "temperature" => hour.temperature_c,
            "windSpeed" => hour.wind_m_s,
            "relativeHumidity" => hour.humidity_pct,
            _ => hour.rain_mm,
        });
        close(found, wanted);
    }
    // Flags: what failed is left out, whatever the value; a null has any flag.
    for (flag, taken) in [
        ("V", true),
        ("S", true),
        ("C", true),
        ("G", true),
        // From memory.
        ("T", true),
        ("Z", true),
        ("X", false),
        ("Q", false),
        ("B", false),
    ] {
        let report = json!({"features": [{"properties": {
            "timestamp": "2026-04-20T11:53:00+00:00",
            "dewpoint": quantity("wmoUnit:degC", Value::Null, flag),
            "temperature": quantity("wmoUnit:degC", 4.0, flag)}}]});
        let reports = read_reports(report.to_string().as_bytes(), New_York).unwrap();
        assert_eq!(!reports.hours().is_empty(), taken, "{flag}");
    }
    for empty in [json!({"features": []}), json!({"features": null})] {
        let reports = read_reports(empty.to_string().as_bytes(), New_York).unwrap();
        assert!(reports.hours().is_empty());
    }
}

/// The flat list of stations has to do where the other is missing.
#[test]
fn stations_may_come_as_a_flat_list() {
    let server = Server::start(|asked| match asked.path.as_str() {
        "/points/42.7457,-73.7523" => Answer::json(point().to_string()),
        "/gridpoints/XYZ/7,8/stations" => Answer::json(
            json!({"observationStations": ["https://api.example.org/stations/KAAA"]}).to_string(),
        ),
        path => {
            assert_eq!(path, "/stations/KAAA/observations");
            Answer::json(r#"{"features":[]}"#)
        }
    });
    let source = Nws::new(client(), &server.base(), "keeper@example.org");
    let today = date("2026-04-20");
    let span = budtide::sources::Span {
        first: today,
        last: today,
    };
    let now = instant("2026-04-20T15:30:00Z");
    let part = budtide::sources::observed(&source, &place(New_York), span, now);
    assert!(part.is_ok(), "{part:?}");
    assert!(
        server
            .asked()
            .iter()
            .any(|asked| asked.path == "/stations/KAAA/observations")
    );
}

/// Problem documents of every documented kind.
#[test]
fn problems_of_the_us_service_are_worded() {
    for (status, kind, again) in [
        (500, "UnexpectedProblem", true),
        (503, "ForecastGridExpired", true),
        (503, "ServiceUnavailable", true),
        (503, "UnavailableWebService", true),
        (404, "NotFound", false),
        (404, "InvalidPoint", false),
        (400, "InvalidParameter", false),
    ] {
        let server = Server::start(move |_| {
            let body = json!({"correlationId": "1a2b", "title": "A Title",
                "type": format!("https://api.example.org/problems/{kind}"), "status": status,
                "detail": "What went wrong.", "instance": "https://api.example.org/requests/1a2b"});
            let kind = "application/problem+json".to_owned();
            Answer::Reply(
                status,
                vec![("Content-Type".to_owned(), kind)],
                body.to_string().into(),
            )
        });
        let source = Nws::new(client(), &server.base(), "keeper@example.org");
        let now = instant("2026-04-20T15:30:00Z");
        let error = source.forecast(&place(New_York), now).unwrap_err();
        assert_eq!(error.again(), again, "{kind}: {error}");
        let text = error.to_string();
        assert!(text.contains("A Title: What went wrong."), "{text}");
        assert!(server.asked().len() <= 4, "{kind}: no loop");
    }
    // From the edge: a page, not a problem.
    let server = Server::start(|_| {
        let html = ("Content-Type".to_owned(), "text/html".to_owned());
        Answer::Reply(403, vec![html], b"<html>Access Denied".to_vec())
    });
    let source = Nws::new(client(), &server.base(), "keeper@example.org");
    let now = instant("2026-04-20T15:30:00Z");
    let error = source.forecast(&place(New_York), now).unwrap_err();
    assert!(error.to_string().contains("it answered 403"), "{error}");
    assert!(!error.again() && error.tell());
}
