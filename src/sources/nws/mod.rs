//! The US National Weather Service: forecast grid, station reports, warnings.
//!
//! It covers the United States alone and wants to know who asks: without a
//! contact nothing is asked. The place leads to a grid cell and its stations
//! once a week; the grid gives the numbers of the forecast, and where it is
//! not to be had, the hourly forecast does, without rain. Reports are kept
//! about a week there.

mod alerts;
mod forecast;
mod interval;
mod observations;
mod quantity;

pub use observations::Reports;

use super::address::Address;
use super::client::{Client, Request};
use super::error::{Again, Fault, SourceError, Why};
use super::hours::{day_begins, days_over, standard};
use super::reply::{Reply, clean};
use super::{Alert, Credit, Note, Part, Span, WeatherSource, hand};
use crate::facts::place::Place;
use crate::facts::weather::Forecast;
use crate::units::Quantity;
use chrono::{DateTime, Days, SecondsFormat, TimeDelta, Utc};
use chrono_tz::Tz;
use serde_json::Value;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, Mutex, PoisonError};

/// Days for which reports are kept there (reference: weather-sources 2.2).
const KEPT_DAYS: u64 = 7;

/// Days after which the grid cell of the place is asked for anew: the mapping
/// changes without notice (reference: weather-sources 2.1).
const POINT_DAYS: i64 = 7;

/// Stations that are tried, nearest first (our choice).
const STATIONS: usize = 4;

/// The share of a day's hours that a station has to tell to be taken before
/// a farther one (our choice).
const ENOUGH: f64 = 0.75;

/// The usual address.
pub const BASE: &str = "https://api.weather.gov";

/// Its name, for the keeper and the store.
pub const NAME: &str = "US National Weather Service";

/// What has to stand where its data are shown.
pub const CREDIT: Credit = Credit {
    text: "Weather data by NOAA's National Weather Service",
    link: "https://www.weather.gov/",
    licence: "public domain",
};

/// The source.
#[derive(Debug)]
pub struct Nws {
    client: Arc<Client>,
    base: String,
    user_agent: Option<String>,
    points: Mutex<BTreeMap<String, Point>>,
}

/// What the service knows of a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The grid cell, such as `ALY/71,67`.
    pub cell: String,
    /// The zones of warnings, such as `NYZ052`.
    pub zones: Vec<String>,
    asked: DateTime<Utc>,
    stations: Option<Vec<Station>>,
}

/// A station near the place.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Its identifier, such as `KALB`.
    pub id: String,
    /// How far it is from the place, m, if told.
    pub metres: Option<u64>,
    /// Its height, m, if told.
    pub elevation_m: Option<f64>,
}

impl Nws {
    /// The source behind a client. `contact` is the address of the keeper,
    /// which the service asks for; an empty one lets every request fail.
    pub fn new(client: Arc<Client>, base: &str, contact: &str) -> Self {
        let contact = clean(contact);
        let ours = concat!("budtide/", env!("CARGO_PKG_VERSION"));
        let plain = contact.bytes().all(|byte| (b' '..=b'~').contains(&byte));
        Nws {
            client,
            base: base.to_owned(),
            user_agent: (plain && !contact.is_empty()).then(|| format!("{ours} ({contact})")),
            points: Mutex::default(),
        }
    }

    fn ask<T>(
        &self,
        doing: &str,
        path: &str,
        query: &[(&str, String)],
        mut read: impl FnMut(&Value) -> Result<T, Fault>,
    ) -> Result<T, SourceError> {
        let fail = |fault: Fault| fault.into_error(doing, self.name(), 0);
        let mut address = Address::below(&self.base, path).map_err(fail)?;
        for (name, value) in query {
            address = address.with(name, value);
        }
        let Some(user_agent) = &self.user_agent else {
            let what = "the service wants an address to write to; set a contact".to_owned();
            return Err(fail(Fault::never(Why::Setting(what))));
        };
        let mut request = Request::new(doing, address);
        request.accept = "application/geo+json";
        request.user_agent = Some(user_agent.clone());
        request.keep = true;
        self.client.fetch(&request, |reply| read(&answer(reply)?))
    }

    /// The grid cell and zones of a place, kept for a week.
    fn point(&self, place: &Place, now: DateTime<Utc>) -> Result<Point, SourceError> {
        let key = coordinates(place);
        let known = self.lock().get(&key).cloned();
        if let Some(point) = known
            && (TimeDelta::zero()..TimeDelta::days(POINT_DAYS)).contains(&(now - point.asked))
        {
            return Ok(point);
        }
        let path = format!("points/{key}");
        let asked = self.ask(
            "asking for the grid cell of the place",
            &path,
            &[],
            |answer| point(answer, now),
        )?;
        self.lock().insert(key, asked.clone());
        Ok(asked)
    }

    fn forget(&self, place: &Place) {
        self.lock().remove(&coordinates(place));
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, BTreeMap<String, Point>> {
        self.points.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The stations near the place, nearest first.
    fn stations(&self, place: &Place, now: DateTime<Utc>) -> Result<Vec<Station>, SourceError> {
        let point = self.point(place, now)?;
        if let Some(stations) = point.stations {
            return Ok(stations);
        }
        let path = format!("gridpoints/{}/stations", point.cell);
        let found = self.ask("asking for stations near the place", &path, &[], stations)?;
        if let Some(point) = self.lock().get_mut(&coordinates(place)) {
            point.stations = Some(found.clone());
        }
        Ok(found)
    }

    /// The reports of a station on a day in local standard time.
    fn reports(&self, station: &str, day: Span, zone: Tz) -> Result<Reports, SourceError> {
        let stamp = |instant: DateTime<Utc>| instant.to_rfc3339_opts(SecondsFormat::Secs, true);
        // Half an hour more at both ends: the report nearest to midnight, and
        // an hour of rain after it.
        let begin = day_begins(zone, day.first) - TimeDelta::minutes(30);
        let after = day.last.succ_opt().unwrap_or(day.last);
        let end = day_begins(zone, after) + TimeDelta::minutes(30);
        let query = [
            ("start", stamp(begin)),
            ("end", stamp(end)),
            ("limit", "500".to_owned()),
        ];
        let doing = format!("fetching the reports of {station} on {}", day.first);
        let path = format!("stations/{station}/observations");
        self.ask(&doing, &path, &query, |answer| {
            observations::read(answer, zone)
        })
    }

    fn forecast_once(&self, place: &Place, now: DateTime<Utc>) -> Result<Forecast, SourceError> {
        let point = self.point(place, now)?;
        let (zone, name) = (place.time_zone, self.name());
        let path = format!("gridpoints/{}", point.cell);
        let grid = self.ask("fetching the forecast grid", &path, &[], |answer| {
            forecast::grid(answer, zone, now, name)
        });
        let Err(SourceError::Later(failure)) = grid else {
            return grid;
        };
        let path = format!("gridpoints/{}/forecast/hourly", point.cell);
        self.ask("fetching the hourly forecast", &path, &[], |answer| {
            forecast::hourly(answer, zone, now, name)
        })
        // Of two failures the first tells more.
        .map_err(|other| match other {
            SourceError::Stopped => other,
            _ => SourceError::Later(failure),
        })
    }
}

impl WeatherSource for Nws {
    fn name(&self) -> &str {
        NAME
    }

    fn credit(&self) -> Credit {
        CREDIT
    }

    fn observed(
        &self,
        place: &Place,
        span: Span,
        now: DateTime<Utc>,
        take: &mut dyn FnMut(Part) -> ControlFlow<()>,
    ) -> Result<(), SourceError> {
        let zone = place.time_zone;
        let until = standard(zone, now);
        let today = until.date();
        let kept = Span {
            first: today
                .checked_sub_days(Days::new(KEPT_DAYS))
                .unwrap_or(today),
            last: today,
        };
        let days = span.and(kept).pieces(1);
        let Some(&last) = days.last() else {
            return Ok(());
        };
        let (station, notes, last_reports) = self.station(place, last, now)?;
        let of = days.len();
        let mut last_reports = Some(last_reports);
        for (index, day) in days.into_iter().enumerate() {
            let known = last_reports.take_if(|_| day == last);
            let reports = match known {
                Some(reports) => reports,
                None => self.reports(&station.id, day, zone)?,
            };
            let hours = reports.table.hours(day, until);
            let mut seen = days_over(&hours, until);
            for day in &mut seen {
                let Some((low, high)) = reports.extremes.get(&day.date) else {
                    continue;
                };
                day.low_c = day.low_c.map(|known| known.min(*low));
                day.high_c = day.high_c.map(|known| known.max(*high));
            }
            let part = Part {
                span: day,
                days: seen,
                hours,
                issued: now,
                left: reports.table.left,
                elevation_m: station.elevation_m,
                station: Some(station.id.clone()),
                part: index + 1,
                of,
                notes: notes.clone(),
            };
            hand(take, part)?;
        }
        Ok(())
    }

    fn forecast(&self, place: &Place, now: DateTime<Utc>) -> Result<Forecast, SourceError> {
        match self.forecast_once(place, now) {
            // The grid cell of the place may have changed: ask once anew.
            Err(SourceError::Never(failure))
                if matches!(failure.why, Why::Status { code: 404, .. }) =>
            {
                self.forget(place);
                self.forecast_once(place, now)
            }
            other => other,
        }
    }

    fn alerts(&self, place: &Place, now: DateTime<Utc>) -> Result<Vec<Alert>, SourceError> {
        // Without the zones the service's own choice has to do.
        let zones = match self.point(place, now) {
            Ok(point) => point.zones,
            Err(SourceError::Later(_)) => Vec::new(),
            Err(other) => return Err(other),
        };
        let query = [("point", coordinates(place))];
        let at = (place.longitude, place.latitude);
        self.ask("asking for warnings", "alerts/active", &query, |answer| {
            if answer.get("features").is_none() {
                return Err(Fault::unknown_form("there is no list of warnings"));
            }
            Ok(alerts::read(answer, &zones, at, now))
        })
    }
}

impl Nws {
    /// The nearest station that has enough of a day, or else the one that has
    /// most; with its reports of that day.
    fn station(
        &self,
        place: &Place,
        day: Span,
        now: DateTime<Utc>,
    ) -> Result<(Station, Vec<Note>, Reports), SourceError> {
        let zone = place.time_zone;
        let stations = self.stations(place, now)?;
        let begun = (now - day_begins(zone, day.first)).num_hours().clamp(1, 24);
        let mut best: Option<(usize, Station, Vec<Note>, Reports)> = None;
        let mut failed = None;
        for (index, station) in stations.into_iter().take(STATIONS).enumerate() {
            let reports = match self.reports(&station.id, day, zone) {
                Ok(reports) => reports,
                Err(SourceError::Stopped) => return Err(SourceError::Stopped),
                Err(error) => {
                    failed.get_or_insert(error);
                    continue;
                }
            };
            let known = reports
                .hours()
                .iter()
                .filter(|hour| hour.temperature_c.is_some())
                .count();
            let notes = if index == 0 {
                Vec::new()
            } else {
                vec![Note::FartherStation {
                    station: station.id.clone(),
                    metres: station.metres,
                }]
            };
            if best.as_ref().is_none_or(|(most, ..)| known > *most) {
                best = Some((known, station, notes, reports));
            }
            if known as f64 >= ENOUGH * begun as f64 {
                break;
            }
        }
        match (best, failed) {
            (Some((_, station, notes, reports)), _) => Ok((station, notes, reports)),
            (None, Some(error)) => Err(error),
            (None, None) => Err(
                Fault::later(Why::Place("it names no station near it".to_owned())).into_error(
                    "asking for stations near the place",
                    self.name(),
                    1,
                ),
            ),
        }
    }
}

/// Latitude and longitude as the service takes them: four decimals at most,
/// no trailing noughts (reference: weather-sources 2.1).
fn coordinates(place: &Place) -> String {
    let short = |degrees: f64| {
        let text = format!("{degrees:.4}");
        let text = text.trim_end_matches('0').trim_end_matches('.');
        if text == "-0" { "0" } else { text }.to_owned()
    };
    format!("{},{}", short(place.latitude), short(place.longitude))
}

/// The body of a good reply, or what its error says.
fn answer(reply: &Reply) -> Result<Value, Fault> {
    if reply.status == 200 {
        return serde_json::from_slice(&reply.body).map_err(|error| reply.not_json(&error));
    }
    let problem: Value = serde_json::from_slice(&reply.body).unwrap_or(Value::Null);
    let text = |name: &str| problem.get(name).and_then(Value::as_str).unwrap_or("");
    let (title, detail) = (text("title"), text("detail"));
    let said = match (title.is_empty(), detail.is_empty() || detail == title) {
        (false, false) => format!("{title}: {detail}"),
        (true, _) => detail.to_owned(),
        (false, true) => title.to_owned(),
    };
    if alerts::last_step(text("type")) == "InvalidPoint" {
        return Err(Fault::never(Why::Place(clean(&said))));
    }
    let mut fault = reply.refused(said);
    if let (503, Again::Soon(None)) = (reply.status, fault.again)
        && alerts::last_step(text("type")) == "ForecastGridExpired"
    {
        // The office has sent nothing new: seconds will not mend it.
        fault.again = Again::Later(None);
    }
    Err(fault)
}

fn point(answer: &Value, now: DateTime<Utc>) -> Result<Point, Fault> {
    let properties = answer.get("properties").unwrap_or(&Value::Null);
    // Numbers, or texts that hold numbers.
    let number = |name: &str| match properties.get(name)? {
        Value::Number(number) => number.as_u64(),
        Value::String(text) => text.trim().parse().ok(),
        _ => None,
    };
    let office = properties
        .get("gridId")
        .or_else(|| properties.get("cwa"))
        .and_then(Value::as_str)
        .filter(|id| !id.is_empty() && id.bytes().all(|byte| byte.is_ascii_alphanumeric()));
    let (Some(office), Some(x), Some(y)) = (office, number("gridX"), number("gridY")) else {
        return Err(Fault::never(Why::Place("it has no grid cell".to_owned())));
    };
    let zones = ["forecastZone", "county", "fireWeatherZone"]
        .iter()
        .filter_map(|name| properties.get(name)?.as_str())
        .map(|zone| alerts::last_step(zone).to_owned())
        .collect();
    Ok(Point {
        cell: format!("{office}/{x},{y}"),
        zones,
        asked: now,
        stations: None,
    })
}

fn is_station(id: &str) -> bool {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_';
    !id.is_empty() && id.bytes().all(plain)
}

fn stations(answer: &Value) -> Result<Vec<Station>, Fault> {
    let Some(list) = answer.get("features").and_then(Value::as_array) else {
        // The flat list beside it has the addresses alone.
        let flat = answer.get("observationStations").and_then(Value::as_array);
        let Some(flat) = flat else {
            return Err(Fault::unknown_form("there is no list of stations"));
        };
        return Ok(flat
            .iter()
            .filter_map(|address| Some(alerts::last_step(address.as_str()?)))
            .filter(|id| is_station(id))
            .map(|id| Station {
                id: id.to_owned(),
                metres: None,
                elevation_m: None,
            })
            .collect());
    };
    let mut stations = Vec::new();
    for station in list {
        let properties = station.get("properties").unwrap_or(&Value::Null);
        let id = properties.get("stationIdentifier").and_then(Value::as_str);
        let Some(id) = id.filter(|id| is_station(id)) else {
            continue;
        };
        let metres = |name: &str| match quantity::said(properties.get(name), Quantity::Elevation) {
            Ok(quantity::Said::Value { si, .. }) => Some(si),
            _ => None,
        };
        stations.push(Station {
            id: id.to_owned(),
            metres: metres("distance").map(|metres| metres.max(0.0) as u64),
            elevation_m: metres("elevation"),
        });
    }
    Ok(stations)
}

/// Reads a body of one of the service's answers, for tests and imports: the
/// forecast grid.
///
/// # Errors
/// [`Fault`] where it cannot be used.
pub fn read_grid(body: &[u8], zone: Tz, now: DateTime<Utc>) -> Result<Forecast, Fault> {
    forecast::grid(&parse(body)?, zone, now, "grid")
}

/// As [`read_grid`], for the hourly forecast.
///
/// # Errors
/// [`Fault`] where it cannot be used.
pub fn read_hourly(body: &[u8], zone: Tz, now: DateTime<Utc>) -> Result<Forecast, Fault> {
    forecast::hourly(&parse(body)?, zone, now, "hourly")
}

/// As [`read_grid`], for reports of a station.
///
/// # Errors
/// [`Fault`] where they cannot be used.
pub fn read_reports(body: &[u8], zone: Tz) -> Result<Reports, Fault> {
    observations::read(&parse(body)?, zone)
}

/// As [`read_grid`], for warnings that concern zones such as `NYZ052`.
///
/// # Errors
/// [`Fault`] where they cannot be read.
pub fn read_alerts(body: &[u8], zones: &[String], now: DateTime<Utc>) -> Result<Vec<Alert>, Fault> {
    Ok(alerts::read(&parse(body)?, zones, (0.0, 0.0), now))
}

fn parse(body: &[u8]) -> Result<Value, Fault> {
    serde_json::from_slice(body).map_err(|error| Fault::broken(clean(&error.to_string())))
}
