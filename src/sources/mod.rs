//! Where weather comes from: one file or folder for each source.
//!
//! A source hands out [`facts::weather`](crate::facts::weather) types and a
//! report of what it took, what it left and why. Nothing is skipped silently.
//!
//! Those that ask a service stand behind [`WeatherSource`]. They block, read
//! no clock (the caller says what time it is) and go out through one
//! [`client::Client`]. How often to ask, for one place:
//!
//! | source | what | requests a day |
//! | --- | --- | --- |
//! | Open-Meteo | forecast, and hours of today, every 3 h | 16 |
//! | Open-Meteo | the last twelve days again, once | 2 |
//! | Open-Meteo | 30 past years, once and never again | 31, weighing some 800 |
//! | US service | grid and alerts, every 3 h (alerts hourly on frost nights) | 16 to 30 |
//! | US service | station reports, every 3 h | 9, and 2 a week for the point |
//! | station record | once a week, only if it changed | under 1 |
//!
//! Free use of Open-Meteo allows under 10,000 weighted calls a day
//! (reference: weather-sources 1.7).

pub mod address;
pub mod client;
pub mod compare;
pub mod console;
pub mod csv_file;
pub mod elevation;
pub mod error;
pub mod ghcn;
mod hours;
mod kept;
pub mod nws;
pub mod open_meteo;
pub mod patience;
mod reply;
mod request;
pub mod stop;
pub mod watched;

pub use error::{Failure, Fault, SourceError, Why};

use crate::facts::place::Place;
pub use crate::facts::weather::{Alert, AlertKind};
use crate::facts::weather::{Day, Forecast, Hour};
use chrono::{DateTime, Days, NaiveDate, Utc};
use std::ops::ControlFlow;
use std::time::Duration;

/// Somebody who has the weather of a place.
pub trait WeatherSource: Send + Sync {
    /// Its name, for the keeper and the store.
    fn name(&self) -> &str;

    /// What has to stand where its data are shown.
    fn credit(&self) -> Credit;

    /// What was seen on the days of `span`, in local standard time, days and
    /// hours in order, each once, and nothing after `now`. A long span comes
    /// in parts, from the earliest on; `take` may end it by `Break`.
    ///
    /// # Errors
    /// [`SourceError`]; parts that were taken before it stand.
    fn observed(
        &self,
        place: &Place,
        span: Span,
        now: DateTime<Utc>,
        take: &mut dyn FnMut(Part) -> ControlFlow<()>,
    ) -> Result<(), SourceError>;

    /// The coming days as of `now`.
    ///
    /// # Errors
    /// [`SourceError`], [`SourceError::NotOffered`] where it makes none.
    fn forecast(&self, place: &Place, now: DateTime<Utc>) -> Result<Forecast, SourceError> {
        let _ = (place, now);
        Err(self.not_offered("forecast"))
    }

    /// Warnings of cold that hold for the place at `now` or later.
    ///
    /// # Errors
    /// [`SourceError`], [`SourceError::NotOffered`] where it gives none.
    fn alerts(&self, place: &Place, now: DateTime<Utc>) -> Result<Vec<Alert>, SourceError> {
        let _ = (place, now);
        Err(self.not_offered("warnings"))
    }

    /// How long to wait after a request for a long span before the next one,
    /// so as to stay within what the service allows.
    fn pause_after(&self, span: Span) -> Duration {
        let _ = span;
        Duration::ZERO
    }

    /// The error for what it does not have.
    fn not_offered(&self, what: &'static str) -> SourceError {
        SourceError::NotOffered {
            source: self.name().to_owned(),
            what,
        }
    }
}

/// Days from the first to the last, both included, in local standard time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// The first day.
    pub first: NaiveDate,
    /// The last day.
    pub last: NaiveDate,
}

impl Span {
    /// How many days it has; none if the last lies before the first.
    pub fn days(self) -> u64 {
        u64::try_from((self.last - self.first).num_days() + 1).unwrap_or(0)
    }

    /// Whether it has no day.
    pub fn is_empty(self) -> bool {
        self.days() == 0
    }

    /// Whether a day lies in it.
    pub fn contains(self, date: NaiveDate) -> bool {
        (self.first..=self.last).contains(&date)
    }

    /// The days that both have.
    pub fn and(self, other: Span) -> Span {
        Span {
            first: self.first.max(other.first),
            last: self.last.min(other.last),
        }
    }

    /// Pieces of at most `days` days, in order.
    pub fn pieces(self, days: u64) -> Vec<Span> {
        let days = days.max(1);
        let mut pieces = Vec::new();
        let mut first = self.first;
        while first <= self.last {
            let end = first.checked_add_days(Days::new(days - 1));
            let last = end.unwrap_or(self.last).min(self.last);
            pieces.push(Span { first, last });
            let Some(next) = last.succ_opt() else { break };
            first = next;
        }
        pieces
    }
}

/// A part of what was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The days that the part is about; not all need to be known.
    pub span: Span,
    /// Whole days, in order.
    pub days: Vec<Day>,
    /// Hours, in order; empty where the source has days only.
    pub hours: Vec<Hour>,
    /// When the source issued it; when it was asked, where it does not say.
    pub issued: DateTime<Utc>,
    /// What was not taken.
    pub left: Left,
    /// Height of what was measured or modelled, m, if told.
    pub elevation_m: Option<f64>,
    /// Which station or model, if told.
    pub station: Option<String>,
    /// This part's number, from 1, for a progress bar.
    pub part: usize,
    /// How many parts there are.
    pub of: usize,
    /// What the keeper should know of it.
    pub notes: Vec<Note>,
}

/// What is odd about what was seen, for the keeper to know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Note {
    /// The thermometer is read in the morning: the maximum written on a date
    /// is mostly that of the day before. The values stand as written.
    MorningReadings {
        /// The usual time of reading, such as 700 for 7:00.
        at: u32,
        /// How many days were read so.
        days: usize,
    },
    /// The nearest station had too little; a farther one stands in.
    FartherStation {
        /// Its identifier.
        station: String,
        /// How far it is, m, if told.
        metres: Option<u64>,
    },
}

/// What was not taken, counted in values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Left {
    /// The source says that it does not know.
    pub missing: usize,
    /// Beyond anything that can be.
    pub impossible: usize,
    /// The source's own check failed it.
    pub flagged: usize,
    /// A second value for the same hour or day, the last one stands.
    pub doubled: usize,
    /// At a time that is none.
    pub no_time: usize,
}

impl Left {
    /// Adds another count.
    pub fn add(&mut self, other: Left) {
        self.missing += other.missing;
        self.impossible += other.impossible;
        self.flagged += other.flagged;
        self.doubled += other.doubled;
        self.no_time += other.no_time;
    }
}

/// What has to stand where data of a source are shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Credit {
    /// The words.
    pub text: &'static str,
    /// Where they lead.
    pub link: &'static str,
    /// The licence of the data.
    pub licence: &'static str,
}

/// What has to stand where data that are kept under a name are shown; `None`
/// for the keeper's own.
pub fn credit_of(name: &str) -> Option<Credit> {
    match name {
        open_meteo::NAME => Some(open_meteo::CREDIT),
        nws::NAME => Some(nws::CREDIT),
        name if name.starts_with(ghcn::NAME) => Some(ghcn::CREDIT),
        _ => None,
    }
}

/// Hands a part to who asked; a break ends the asking.
fn hand(take: &mut dyn FnMut(Part) -> ControlFlow<()>, part: Part) -> Result<(), SourceError> {
    match take(part) {
        ControlFlow::Continue(()) => Ok(()),
        ControlFlow::Break(()) => Err(SourceError::Stopped),
    }
}

/// All that a source saw of a span, in one piece: for short spans.
///
/// # Errors
/// As [`WeatherSource::observed`].
pub fn observed(
    source: &dyn WeatherSource,
    place: &Place,
    span: Span,
    now: DateTime<Utc>,
) -> Result<Option<Part>, SourceError> {
    let mut all: Option<Part> = None;
    source.observed(place, span, now, &mut |part| {
        match &mut all {
            None => all = Some(part),
            Some(all) => {
                all.span.last = part.span.last;
                all.days.extend(part.days);
                all.hours.extend(part.hours);
                all.left.add(part.left);
                all.issued = part.issued;
                all.part = part.part;
                all.notes.extend(part.notes);
            }
        }
        ControlFlow::Continue(())
    })?;
    Ok(all)
}
