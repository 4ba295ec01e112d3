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

mod reply;

pub use reply::{OpenMeteoReply, read};

use super::address::Address;
use super::client::{Client, Request};
use super::error::{Fault, SourceError, Why};
use super::hours::{coming, day_begins, days_over, known_days, standard};
use super::{Credit, Part, Span, WeatherSource, hand};
use crate::facts::place::Place;
use crate::facts::weather::{DailyRecord, Forecast, HourlyRecord};
use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, Utc};
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

/// Its name, for the keeper and the store.
pub const NAME: &str = "Open-Meteo";

/// What has to stand where its data are shown.
pub const CREDIT: Credit = Credit {
    text: "Weather data by Open-Meteo.com",
    link: "https://open-meteo.com/",
    licence: "CC BY 4.0",
};

/// The source.
#[derive(Debug)]
pub struct OpenMeteo {
    client: Arc<Client>,
    settings: OpenMeteoSettings,
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
                notes: Vec::new(),
            };
            hand(take, part)?;
            if self.settings.paced && index + 1 < of {
                let pause = pause_for(piece.days());
                self.client.sleep(pause.saturating_sub(start.elapsed()))?;
            }
        }
        Ok(())
    }

    fn pause_after(&self, span: Span) -> Duration {
        if self.settings.paced {
            pause_for(span.days())
        } else {
            Duration::ZERO
        }
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
            let hours = reply.table.hours(coming(today), NaiveDateTime::MAX);
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
