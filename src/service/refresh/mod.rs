//! The weather brought up to date: what is due is asked for, screened,
//! corrected to the height of the place and kept.
//!
//! A source that fails leaves the kept weather in use; what failed, and when
//! it is tried again, is kept beside it. The first fetch goes back in time
//! year by year, the newest first, and goes on where it was broken off.
//!
//! ```no_run
//! # use budtide::{config, service::refresh, store::weather::WeatherStore};
//! # use std::{ops::ControlFlow, path::Path};
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let settings = config::load(Path::new("x")).map_err(|_| "faults")?;
//! # let now = chrono::DateTime::UNIX_EPOCH;
//! let mut store = WeatherStore::open(Path::new("weather.sqlite"))?;
//! // One for as long as the settings hold: it knows what it asked before.
//! let fetcher = refresh::Fetcher::new(&settings, refresh::Manner::Background, 7);
//! // Blocks; ends between two requests after `fetcher.stop()` or a `Break`.
//! let done = fetcher.round(&mut store, now, refresh::Wanted::Due, &mut |_| {
//!     ControlFlow::Continue(())
//! })?;
//! # let _ = done.next_due;
//! # Ok(()) }
//! ```

mod asking; // one round at work
mod due; // when a job is due, and after a failure
mod keep; // screened, corrected, kept
mod served; // the sources that the settings name

pub use due::Job;
pub use served::{Unasked, names_in_order};

use crate::config::Settings;
use crate::config::weather::WeatherSettings;
use crate::facts::place::Place;
use crate::sources::Span;
use crate::sources::client::{self, Client, Traffic};
use crate::sources::patience::Patience;
use crate::sources::stop::Stop;
use crate::store::StoreError;
use crate::store::weather::WeatherStore;
use asking::Round;
use chrono::{DateTime, Utc};
use due::local_day;
use served::Served;
use std::fmt;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::Arc;

/// How patient the requests are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Manner {
    /// Nobody waits.
    Background,
    /// Somebody sits before it.
    AtOnce,
}

/// What a round asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// What is due; of past years a few, the others in the next round.
    Due,
    /// Everything now, and all past years that are missing.
    All,
}

/// A step of a round, for a progress bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step<'a> {
    /// The source's name.
    pub source: &'a str,
    /// What is asked for.
    pub job: Job,
    /// Of which days.
    pub span: Option<Span>,
    /// How many parts of the job are done.
    pub done: usize,
    /// How many there are.
    pub of: usize,
}

/// What a round brought.
#[derive(Clone, Debug, PartialEq)]
pub struct Refreshed {
    /// Values of days that were not known before.
    pub new_days: usize,
    /// Values of hours that were not known before.
    pub new_hours: usize,
    /// Values that took the place of others.
    pub corrected: usize,
    /// Values that cannot be, or that the source itself doubts: left out.
    pub left: usize,
    /// Whether a forecast came.
    pub forecast: bool,
    /// Warnings of cold that hold.
    pub alerts: usize,
    /// What failed.
    pub faults: Vec<RefreshFault>,
    /// Where a damaged weather file was put aside: all is fetched anew.
    pub set_aside: Option<PathBuf>,
    /// Whether the place or the model changed since the last round, so that
    /// what services had said of the other was forgotten.
    pub moved: bool,
    /// Whether it was broken off.
    pub stopped: bool,
    /// When the next round is due; `None` where nothing is ever fetched.
    pub next_due: Option<DateTime<Utc>>,
}

/// A source that failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefreshFault {
    /// The source's name.
    pub source: String,
    /// What was asked for.
    pub job: Job,
    /// What was being done, with whom, and why it failed.
    pub text: String,
    /// Whether the keeper has to do something: waiting will not mend it.
    pub tell: bool,
    /// When it is tried again.
    pub next: DateTime<Utc>,
}

/// All sources that the settings name, and the way out to them.
pub struct Fetcher {
    place: Place,
    settings: WeatherSettings,
    client: Arc<Client>,
    stop: Stop,
    served: Vec<Served>,
    unasked: Vec<Unasked>,
    seed: u64,
}

impl fmt::Debug for Fetcher {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names: Vec<&str> = self.served.iter().map(Served::name).collect();
        f.debug_struct("Fetcher").field("served", &names).finish()
    }
}

impl Fetcher {
    /// The sources of a user's settings. `seed` keeps many installations from
    /// asking in step: anything that differs between machines.
    pub fn new(settings: &Settings, manner: Manner, seed: u64) -> Self {
        let behaviour = client::Settings {
            patience: match manner {
                Manner::Background => Patience::BACKGROUND,
                Manner::AtOnce => Patience::AT_ONCE,
            },
            seed,
            ..client::Settings::default()
        };
        Fetcher::with(&settings.place, &settings.weather, behaviour)
    }

    /// As [`new`](Self::new), with a client that behaves as told.
    pub fn with(place: &Place, settings: &WeatherSettings, behaviour: client::Settings) -> Self {
        let stop = behaviour.stop.clone();
        let seed = behaviour.seed;
        let client = Arc::new(Client::new(behaviour));
        let (served, unasked) = served::of(settings, &client);
        Fetcher {
            place: place.clone(),
            settings: settings.clone(),
            client,
            stop,
            served,
            unasked,
            seed,
        }
    }

    /// Sources that the settings name and that cannot be asked, and why.
    pub fn unasked(&self) -> &[Unasked] {
        &self.unasked
    }

    /// Whether there is nobody to ask.
    pub fn is_idle(&self) -> bool {
        self.served.is_empty()
    }

    /// What went over the wire so far.
    pub fn traffic(&self) -> Traffic {
        self.client.traffic()
    }

    /// Ends a round that runs in another thread, between two requests or
    /// within a pause.
    pub fn stop(&self) {
        self.stop.set();
    }

    /// Asks for what is wanted and keeps it. Blocks. A source that fails is
    /// among the faults, never an error.
    ///
    /// # Errors
    /// [`StoreError`] when the weather cannot be kept.
    pub fn round(
        &self,
        store: &mut WeatherStore,
        now: DateTime<Utc>,
        wanted: Wanted,
        progress: &mut dyn FnMut(&Step<'_>) -> ControlFlow<()>,
    ) -> Result<Refreshed, StoreError> {
        let mut round = Round {
            fetcher: self,
            store,
            now,
            wanted,
            today: local_day(&self.place, now),
            progress,
            done: Refreshed::nothing(),
        };
        round.done.set_aside = round.store.set_aside().map(PathBuf::from);
        round.forget_other_place()?;
        for served in &self.served {
            round.ask(served)?;
            if round.done.stopped {
                break;
            }
        }
        round.done.alerts = round.store.alerts(now)?.len();
        round.done.next_due = self.next_due(round.store, now)?;
        Ok(round.done)
    }

    /// When something is due; a moment in the past where it is overdue.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn next_due(
        &self,
        store: &WeatherStore,
        now: DateTime<Utc>,
    ) -> Result<Option<DateTime<Utc>>, StoreError> {
        let mut next: Option<DateTime<Utc>> = None;
        for served in &self.served {
            for job in served.jobs() {
                let state = store.fetch_state(served.name(), job.word())?;
                let at = state.next.unwrap_or(now);
                next = Some(next.map_or(at, |known| known.min(at)));
            }
        }
        Ok(next)
    }
}

impl Refreshed {
    fn nothing() -> Self {
        Refreshed {
            new_days: 0,
            new_hours: 0,
            corrected: 0,
            left: 0,
            forecast: false,
            alerts: 0,
            faults: Vec::new(),
            set_aside: None,
            moved: false,
            stopped: false,
            next_due: None,
        }
    }
}
