//! Open-Meteo: reanalysis of past decades by the hour, and a forecast.
//!
//! Values are those of a grid cell, not of the orchard. All is asked for in
//! UTC and turned into local standard time here: the service's own local
//! times use the offset of the moment of asking (reference: weather-sources
//! 1.5). Its rain is that of the hour *before* the stamp. Units are read from
//! the reply and refused if unknown.
//!
//! The archive of one model ends some days ago and is filled up from the
//! forecast service's past days; when the archive has caught up, its values
//! correct them.

use super::address::Address;
use super::client::{Client, Reply, Request};
use super::error::{Again, Fault, SourceError, Why};
use super::hours::{
    Field, HourTable, day_begins, days_over, hour_before, hour_floor, known_days, standard,
};
use super::{Credit, Part, Span, WeatherSource};
use crate::facts::place::Place;
use crate::facts::weather::{DailyRecord, Day, Forecast, HourlyRecord};
use crate::units::{Quantity, Unit};
use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use serde::Deserialize;
use serde::de::{self, Visitor};
use std::collections::BTreeMap;
use std::fmt;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The hourly variables that are asked for.
const VARIABLES: &str =
    "temperature_2m,dew_point_2m,relative_humidity_2m,precipitation,wind_speed_10m";

/// Days that the archive of one model lags behind: five, and one for the
/// hours of the day (reference: weather-sources 1.7).
const ARCHIVE_LAG: u64 = 6;

/// Days before that for which the forecast service stands in if it lags more
/// (our choice).
const UNSETTLED: u64 = 30;

/// Days that the forecast service goes back (reference: weather-sources 1.1).
const PAST_DAYS: u64 = 92;

/// Weighted calls a minute that we allow ourselves of the 600 that the free
/// service allows (reference: weather-sources 1.7; the share is our choice).
const CALLS_A_MINUTE: f64 = 400.0;

/// How to reach it. The default is the free public service.
#[derive(Clone, PartialEq, Eq)]
pub struct OpenMeteoSettings {
    /// Base address of the forecast.
    pub forecast: String,
    /// Base address of the archive.
    pub archive: String,
    /// Key of a paying customer.
    pub key: Option<String>,
    /// Which reanalysis; one for all years, since mixtures jump.
    pub model: String,
    /// Days ahead, 1 to 16.
    pub days_ahead: u64,
    /// Days that one request for the archive spans.
    pub days_a_request: u64,
    /// Whether to keep to the free service's calls a minute.
    pub paced: bool,
}

impl Default for OpenMeteoSettings {
    fn default() -> Self {
        OpenMeteoSettings {
            forecast: "https://api.open-meteo.com".to_owned(),
            archive: "https://archive-api.open-meteo.com".to_owned(),
            key: None,
            model: "era5_seamless".to_owned(),
            days_ahead: 16,
            days_a_request: 366,
            paced: true,
        }
    }
}

impl OpenMeteoSettings {
    /// A server of one's own: one address for all, no pacing.
    pub fn at(base: &str) -> Self {
        OpenMeteoSettings {
            forecast: base.to_owned(),
            archive: base.to_owned(),
            paced: false,
            ..OpenMeteoSettings::default()
        }
    }
}

impl fmt::Debug for OpenMeteoSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("OpenMeteoSettings")
            .field("forecast", &self.forecast)
            .field("archive", &self.archive)
            .field("key", &self.key.as_ref().map(|_| "***"))
            .field("model", &self.model)
            .finish_non_exhaustive()
    }
}

/// The source.
#[derive(Debug)]
pub struct OpenMeteo {
    client: Arc<Client>,
    settings: OpenMeteoSettings,
}

/// What a reply holds.
#[derive(Debug, Default)]
pub struct OpenMeteoReply {
    table: HourTable,
    /// Daily values, if it has any: over days of a fixed offset, not of local
    /// standard time, so they serve as a cross-check only.
    pub days: Vec<Day>,
    /// Height that the values were reduced to, m.
    pub elevation_m: Option<f64>,
    /// Latitude and longitude of the grid cell, degrees.
    pub cell: Option<(f64, f64)>,
}

impl OpenMeteoReply {
    /// The hours in local standard time, in order.
    pub fn hours(&self) -> Vec<crate::facts::weather::Hour> {
        self.table.hours_from(NaiveDateTime::MIN)
    }

    /// What was not taken.
    pub fn left(&self) -> super::Left {
        self.table.left
    }

    /// Whether no temperature is known on the last day of a piece.
    fn ends_before(&self, last: NaiveDate) -> bool {
        let midnight = last.and_time(chrono::NaiveTime::MIN);
        self.table
            .hours_from(midnight)
            .iter()
            .all(|hour| hour.start.date() > last || hour.temperature_c.is_none())
    }

    /// The same with the known values of `above` laid over.
    fn under(mut self, above: OpenMeteoReply) -> Self {
        self.table.lay_over(above.table);
        self.elevation_m = above.elevation_m.or(self.elevation_m);
        self
    }
}

impl OpenMeteo {
    /// The source behind a client.
    pub fn new(client: Arc<Client>, settings: OpenMeteoSettings) -> Self {
        OpenMeteo { client, settings }
    }

    fn request(
        &self,
        doing: String,
        base: &str,
        path: &str,
        place: &Place,
    ) -> Result<Request, SourceError> {
        let address =
            Address::below(base, path).map_err(|fault| fault.into_error(&doing, self.name(), 0))?;
        let mut address = address
            .with("latitude", &degrees(place.latitude))
            .with("longitude", &degrees(place.longitude))
            .with("hourly", VARIABLES)
            .with("timezone", "GMT")
            .with("timeformat", "unixtime")
            .with("wind_speed_unit", "ms");
        if let Some(elevation) = place.elevation_m {
            address = address.with("elevation", &format!("{elevation:.0}"));
        }
        let key = self.settings.key.as_deref().unwrap_or("");
        if !key.is_empty() {
            address = address.with("apikey", key);
        }
        Ok(Request::new(doing, address).hiding(key))
    }

    /// The hours of a piece from one of the two services.
    fn piece(
        &self,
        place: &Place,
        piece: Span,
        archive: bool,
        now: DateTime<Utc>,
    ) -> Result<OpenMeteoReply, SourceError> {
        let zone = place.time_zone;
        let doing = format!("fetching the hours of {} to {}", piece.first, piece.last);
        // The rain of the last hour stands at the next day's first stamp.
        let after = piece.last.succ_opt().unwrap_or(piece.last);
        let first = day_begins(zone, piece.first).date_naive();
        let last = day_begins(zone, after).date_naive();
        let (base, path) = if archive {
            (&self.settings.archive, "/v1/archive")
        } else {
            (&self.settings.forecast, "/v1/forecast")
        };
        let mut request = self.request(doing, base, path, place)?;
        request.address = request
            .address
            .with("start_date", &first.to_string())
            .with("end_date", &last.to_string());
        if archive {
            request.address = request.address.with("models", &self.settings.model);
        }
        self.client.fetch(&request, |reply| {
            read(reply, zone, &self.settings.model, now)
        })
    }
}

impl WeatherSource for OpenMeteo {
    fn name(&self) -> &str {
        "Open-Meteo"
    }

    fn credit(&self) -> Credit {
        Credit {
            text: "Weather data by Open-Meteo.com",
            link: "https://open-meteo.com/",
            licence: "CC BY 4.0",
        }
    }

    fn observed(
        &self,
        place: &Place,
        span: Span,
        now: DateTime<Utc>,
        take: &mut dyn FnMut(Part) -> ControlFlow<()>,
    ) -> Result<(), SourceError> {
        let until = standard(place.time_zone, now);
        let today = until.date();
        let back = |days| today.checked_sub_days(Days::new(days)).unwrap_or(today);
        // The archive's last weeks are a piece of their own: should it lag
        // more than usual, only they have to come from elsewhere.
        let settled = Span {
            first: NaiveDate::from_ymd_opt(1940, 1, 1).unwrap_or(today),
            last: back(ARCHIVE_LAG + UNSETTLED),
        };
        let unsettled = Span {
            first: back(ARCHIVE_LAG + UNSETTLED - 1),
            last: back(ARCHIVE_LAG),
        };
        let recent = Span {
            first: back(ARCHIVE_LAG - 1),
            last: today,
        };
        let mut pieces: Vec<(Span, bool)> = span
            .and(settled)
            .pieces(self.settings.days_a_request)
            .into_iter()
            .map(|piece| (piece, true))
            .collect();
        for (piece, archive) in [(span.and(unsettled), true), (span.and(recent), false)] {
            if !piece.is_empty() {
                pieces.push((piece, archive));
            }
        }
        let of = pieces.len();
        for (index, (piece, archive)) in pieces.into_iter().enumerate() {
            let start = Instant::now();
            let from_past = piece.first >= back(PAST_DAYS);
            let reply = match self.piece(place, piece, archive, now) {
                // It does not go so far yet.
                Err(SourceError::Never(_)) if archive && from_past => {
                    self.piece(place, piece, false, now)?
                }
                // It does, but the last days are still empty.
                Ok(reply) if archive && from_past && reply.ends_before(piece.last) => {
                    self.piece(place, piece, false, now)?.under(reply)
                }
                other => other?,
            };
            let hours = reply.table.hours(piece, until);
            let part = Part {
                span: piece,
                days: days_over(&hours, until),
                hours,
                issued: now,
                left: reply.table.left,
                elevation_m: reply.elevation_m,
                station: archive.then(|| self.settings.model.clone()),
                part: index + 1,
                of,
            };
            if take(part).is_break() {
                return Err(SourceError::Stopped);
            }
            if self.settings.paced && index + 1 < of {
                let pause = pause_for(piece.days());
                self.client.sleep(pause.saturating_sub(start.elapsed()))?;
            }
        }
        Ok(())
    }

    fn forecast(&self, place: &Place, now: DateTime<Utc>) -> Result<Forecast, SourceError> {
        let zone = place.time_zone;
        let doing = "fetching the forecast".to_owned();
        let mut request = self.request(
            doing.clone(),
            &self.settings.forecast,
            "/v1/forecast",
            place,
        )?;
        // A day back, so that today is whole in any zone.
        request.address = request.address.with("past_days", "1").with(
            "forecast_days",
            &self.settings.days_ahead.clamp(1, 16).to_string(),
        );
        let today = standard(zone, now).date();
        let source = self.name().to_owned();
        self.client.fetch(&request, |reply| {
            let reply = read(reply, zone, &self.settings.model, now)?;
            let midnight = today.and_time(chrono::NaiveTime::MIN);
            let hours = reply.table.hours_from(midnight);
            let Some(daily) = DailyRecord::from_days(&known_days(&hours)) else {
                return Err(Fault::later(Why::Unreadable(
                    "it has no whole day from today on".to_owned(),
                )));
            };
            Ok(Forecast {
                issued: today,
                daily,
                hourly: HourlyRecord::from_hours(&hours),
                source: source.clone(),
            })
        })
    }
}

/// Degrees with as many decimals as mean anything on a grid.
fn degrees(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// How long a request of so many days uses up the calls of: more than two
/// weeks or ten variables count as several (reference: weather-sources 1.7).
fn pause_for(days: u64) -> Duration {
    let calls = (days as f64 / 14.0).max(1.0);
    Duration::from_secs_f64(calls * 60.0 / CALLS_A_MINUTE)
}

/// Reads a reply of the archive or the forecast.
///
/// # Errors
/// [`Fault`] for an error that the service told, a reply that is broken, and
/// units that are not known.
pub fn read(
    reply: &Reply,
    zone: Tz,
    model: &str,
    now: DateTime<Utc>,
) -> Result<OpenMeteoReply, Fault> {
    if reply.status != 200 {
        return Err(refused(reply, now));
    }
    let answer = answer(&reply.body).map_err(|error| reply.not_json(&error))?;
    if answer.error == Some(true) {
        // A failure after the status was sent.
        let said = answer.reason.unwrap_or_default();
        return Err(Fault::soon(Why::Status {
            code: 200,
            said: super::client::clean(&said),
        }));
    }
    let mut out = OpenMeteoReply {
        elevation_m: answer.elevation.filter(|metres| metres.is_finite()),
        cell: answer.latitude.zip(answer.longitude),
        ..OpenMeteoReply::default()
    };
    let offset = answer.utc_offset_seconds.unwrap_or(0);
    if let Some(block) = &answer.hourly {
        let units = answer.hourly_units.unwrap_or_default();
        hourly(block, &units, offset, zone, model, &mut out.table)?;
    }
    if let Some(block) = &answer.daily {
        let units = answer.daily_units.unwrap_or_default();
        out.days = daily(block, &units, offset, model, &mut out.table.left)?;
    }
    if answer.hourly.is_none() && answer.daily.is_none() {
        return Err(Fault::unknown_form("it has neither hours nor days"));
    }
    Ok(out)
}

/// What an error status means: the wait stands in its words alone.
fn refused(reply: &Reply, now: DateTime<Utc>) -> Fault {
    let said = answer(&reply.body)
        .ok()
        .and_then(|answer| answer.reason)
        .unwrap_or_default();
    let mut fault = reply.refused(said.clone());
    if reply.status == 429 && reply.retry_after.is_none() {
        let said = said.to_ascii_lowercase();
        let wait = if said.contains("minutely") {
            Some(60)
        } else if said.contains("hourly") {
            Some(3_600)
        } else if said.contains("daily") || said.contains("monthly") {
            // The next day in UTC (from memory).
            let now = reply.date.unwrap_or(now).timestamp();
            u64::try_from(86_400 - now.rem_euclid(86_400)).ok()
        } else {
            None
        };
        fault.again = Again::Soon(wait.map(Duration::from_secs));
    }
    fault
}

/// A block of equally long columns.
type Block = BTreeMap<String, Option<Vec<Cell>>>;

/// The parts of a reply that are read.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Answer {
    latitude: Option<f64>,
    longitude: Option<f64>,
    elevation: Option<f64>,
    utc_offset_seconds: Option<i64>,
    hourly_units: Option<BTreeMap<String, Option<String>>>,
    hourly: Option<Block>,
    daily_units: Option<BTreeMap<String, Option<String>>>,
    daily: Option<Block>,
    error: Option<bool>,
    reason: Option<String>,
}

/// One place's answer; asked for several the service sends a list.
fn answer(body: &[u8]) -> Result<Answer, serde_json::Error> {
    let start = body.iter().find(|byte| !byte.is_ascii_whitespace());
    if start == Some(&b'[') {
        let list: Vec<Answer> = serde_json::from_slice(body)?;
        return Ok(list.into_iter().next().unwrap_or_default());
    }
    serde_json::from_slice(body)
}

/// A number, a text (of a time) or nothing.
#[derive(Clone, Debug, PartialEq)]
enum Cell {
    Number(f64),
    Text(String),
    Nothing,
}

impl Cell {
    fn number(&self) -> Option<f64> {
        match self {
            Cell::Number(value) if value.is_finite() => Some(*value),
            _ => None,
        }
    }

    /// An instant: seconds since 1970, or a local time of a fixed offset.
    fn instant(&self, offset: i64) -> Option<DateTime<Utc>> {
        match self {
            Cell::Number(seconds) if seconds.abs() < 1e11 => {
                DateTime::from_timestamp(*seconds as i64, 0)
            }
            Cell::Text(text) => {
                let local = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M")
                    .or_else(|_| NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S"))
                    .ok()?;
                let offset = TimeDelta::try_seconds(offset)?;
                Some(local.checked_sub_signed(offset)?.and_utc())
            }
            _ => None,
        }
    }

    /// A day: a date, or the instant at which a day of the offset begins.
    fn date(&self, offset: i64) -> Option<NaiveDate> {
        match self {
            Cell::Number(_) => {
                let offset = TimeDelta::try_seconds(offset)?;
                let instant = self.instant(0)?.naive_utc();
                Some(instant.checked_add_signed(offset)?.date())
            }
            Cell::Text(text) => text.parse().ok(),
            Cell::Nothing => None,
        }
    }
}

impl<'de> Deserialize<'de> for Cell {
    fn deserialize<D: de::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Any;
        impl Visitor<'_> for Any {
            type Value = Cell;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number, a text or null")
            }
            fn visit_i64<E>(self, value: i64) -> Result<Cell, E> {
                Ok(Cell::Number(value as f64))
            }
            fn visit_u64<E>(self, value: u64) -> Result<Cell, E> {
                Ok(Cell::Number(value as f64))
            }
            fn visit_f64<E>(self, value: f64) -> Result<Cell, E> {
                Ok(Cell::Number(value))
            }
            fn visit_str<E>(self, text: &str) -> Result<Cell, E> {
                Ok(Cell::Text(text.to_owned()))
            }
            fn visit_bool<E>(self, _: bool) -> Result<Cell, E> {
                Ok(Cell::Nothing)
            }
            fn visit_unit<E>(self) -> Result<Cell, E> {
                Ok(Cell::Nothing)
            }
        }
        from.deserialize_any(Any)
    }
}

/// A column by its variable. Where several models were asked their names
/// stand behind the variable's.
fn column<'b>(block: &'b Block, name: &str, model: &str) -> Option<(&'b str, &'b [Cell])> {
    let known = |key: &str| {
        let (key, cells) = block.get_key_value(key)?;
        Some((key.as_str(), cells.as_deref()?))
    };
    known(name)
        .or_else(|| known(&format!("{name}_{model}")))
        .or_else(|| known(&format!("{name}_best_match")))
}

/// The unit of a column; an unknown one is refused.
fn unit(
    units: &BTreeMap<String, Option<String>>,
    key: &str,
    quantity: Quantity,
) -> Result<Unit, Fault> {
    let text = units.get(key).and_then(|unit| unit.as_deref());
    let Some(text) = text else {
        return Err(Fault::unknown_form(format!("{key} has no unit")));
    };
    let spelled = if text == "mp/h" { "mph" } else { text };
    quantity.unit(spelled).ok_or_else(|| {
        let text = super::client::clean(text);
        Fault::unknown_form(format!("{key} is in \"{text}\", which is not known"))
    })
}

/// A column and its unit; `None` where there is none or all is null.
fn measured<'b>(
    block: &'b Block,
    units: &BTreeMap<String, Option<String>>,
    name: &str,
    model: &str,
    quantity: Quantity,
) -> Result<Option<(&'b [Cell], Unit)>, Fault> {
    let Some((key, cells)) = column(block, name, model) else {
        return Ok(None);
    };
    if cells.iter().all(|cell| cell.number().is_none()) {
        return Ok(Some((cells, quantity.measure().units[0])));
    }
    Ok(Some((cells, unit(units, key, quantity)?)))
}

fn times(block: &Block) -> Result<&[Cell], Fault> {
    let Some(Some(times)) = block.get("time") else {
        return Err(Fault::unknown_form("it has no times"));
    };
    for (name, cells) in block {
        if cells
            .as_ref()
            .is_some_and(|cells| cells.len() != times.len())
        {
            let name = super::client::clean(name);
            return Err(Fault::broken(format!("{name} is not as long as its times")));
        }
    }
    Ok(times)
}

fn hourly(
    block: &Block,
    units: &BTreeMap<String, Option<String>>,
    offset: i64,
    zone: Tz,
    model: &str,
    table: &mut HourTable,
) -> Result<(), Fault> {
    let starts: Vec<Option<NaiveDateTime>> = times(block)?
        .iter()
        .map(|cell| Some(hour_floor(standard(zone, cell.instant(offset)?))))
        .collect();
    table.left.no_time += starts.iter().filter(|start| start.is_none()).count();
    for (name, field) in [
        ("temperature_2m", Field::Temperature),
        ("dew_point_2m", Field::DewPoint),
        ("relative_humidity_2m", Field::Humidity),
        ("wind_speed_10m", Field::Wind),
    ] {
        if let Some((cells, unit)) = measured(block, units, name, model, field.quantity())? {
            for (start, cell) in starts.iter().zip(cells) {
                if let Some(start) = start {
                    table.put(*start, field, cell.number().map(|value| unit.to_si(value)));
                }
            }
        }
    }
    let precipitation = measured(block, units, "precipitation", model, Quantity::Rain)?;
    // Without it rain and showers make it up, snow left out.
    let rain = match precipitation {
        Some(_) => [precipitation, None],
        None => [
            measured(block, units, "rain", model, Quantity::Rain)?,
            measured(block, units, "showers", model, Quantity::Rain)?,
        ],
    };
    if rain.iter().all(Option::is_none) {
        return Ok(());
    }
    for (index, start) in starts.iter().enumerate() {
        let Some(start) = start else { continue };
        let mut sum = Some(0.0);
        for (cells, unit) in rain.iter().flatten() {
            let value = cells.get(index).and_then(Cell::number);
            sum = sum.zip(value).map(|(sum, value)| sum + unit.to_si(value));
        }
        table.put(hour_before(*start), Field::Rain, sum);
    }
    Ok(())
}

fn daily(
    block: &Block,
    units: &BTreeMap<String, Option<String>>,
    offset: i64,
    model: &str,
    left: &mut super::Left,
) -> Result<Vec<Day>, Fault> {
    let times = times(block)?;
    let mut column = |name: &str, quantity: Quantity| -> Result<Vec<Option<f64>>, Fault> {
        let Some((cells, unit)) = measured(block, units, name, model, quantity)? else {
            return Ok(vec![None; times.len()]);
        };
        let mut values = Vec::with_capacity(cells.len());
        for cell in cells {
            let si = cell.number().map(|value| unit.to_si(value));
            left.missing += usize::from(si.is_none());
            let kept = si.filter(|si| quantity.check(*si).is_ok());
            left.impossible += usize::from(si.is_some() && kept.is_none());
            values.push(kept);
        }
        Ok(values)
    };
    let low = column("temperature_2m_min", Quantity::Temperature)?;
    let high = column("temperature_2m_max", Quantity::Temperature)?;
    let rain = column("precipitation_sum", Quantity::Rain)?;
    let mut days = BTreeMap::new();
    for (index, time) in times.iter().enumerate() {
        let Some(date) = time.date(offset) else {
            left.no_time += 1;
            continue;
        };
        let at = |values: &[Option<f64>]| values.get(index).copied().flatten();
        let day = Day {
            date,
            low_c: at(&low),
            high_c: at(&high),
            rain_mm: at(&rain),
        };
        left.doubled += usize::from(days.insert(date, day).is_some());
    }
    Ok(days.into_values().collect())
}
