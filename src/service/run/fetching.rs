//! Weather fetched beside the rounds.

use super::{AFTER_TROUBLE, Service, first_day};
use crate::clock;
use crate::config::Settings;
use crate::service::log::Log;
use crate::service::refresh::{Fetcher, Manner, Refreshed, Wanted};
use crate::store::weather::{self, WeatherStore};
use chrono::TimeDelta;
use std::ops::ControlFlow;
use std::sync::Arc;

impl Service {
    /// Begins a fetch if one is due and none is under way.
    pub(super) fn fetch(&mut self) {
        let now = clock::now();
        if self.fetching.is_some()
            || now.date_naive() < first_day()
            || self.fetch_at.is_none_or(|at| now < at)
        {
            return;
        }
        let fetcher = Arc::clone(&self.fetcher);
        let file = self.options.folders.data.join(weather::FILE);
        self.fetching = Some(tokio::task::spawn_blocking(move || {
            let mut store = WeatherStore::open(&file)?;
            fetcher.round(&mut store, now, Wanted::Due, &mut |_| {
                ControlFlow::Continue(())
            })
        }));
    }

    /// Takes in what a fetch brought; whether the season has to be looked at
    /// anew for it.
    pub(super) fn fetched(&mut self, fetched: Result<Refreshed, String>) -> bool {
        let log = self.options.log;
        let soonest = clock::now() + AFTER_TROUBLE;
        match fetched {
            Ok(refreshed) => {
                for fault in &refreshed.faults {
                    log.warning(
                        &fault.text,
                        &[
                            ("source", &fault.source),
                            ("again", &fault.next.format("%Y-%m-%dT%H:%M:%SZ")),
                        ],
                    );
                }
                if let Some(file) = &refreshed.set_aside {
                    log.warning(
                        "the kept weather was damaged and is fetched anew",
                        &[("aside", &file.display())],
                    );
                }
                log.info(
                    "weather fetched",
                    &[
                        ("days", &refreshed.new_days),
                        ("hours", &refreshed.new_hours),
                        ("corrected", &refreshed.corrected),
                        ("forecast", &refreshed.forecast),
                    ],
                );
                let told: Vec<&str> = refreshed
                    .faults
                    .iter()
                    .filter(|fault| fault.tell)
                    .map(|fault| fault.text.as_str())
                    .collect();
                self.keeper
                    .trouble("weather", (!told.is_empty()).then(|| told.join(" ")));
                // Never at once again, whatever the sources say. One that was
                // broken off served settings that are gone: the new ones ask.
                let at_once = clock::now() + TimeDelta::seconds(30);
                self.fetch_at = match refreshed.stopped {
                    true => Some(at_once),
                    false => refreshed.next_due.map(|at| at.max(at_once)),
                };
                let alerts = std::mem::replace(&mut self.alerts, refreshed.alerts);
                let values = refreshed.new_days + refreshed.new_hours + refreshed.corrected;
                values > 0
                    || refreshed.forecast
                    || refreshed.alerts > 0
                    || alerts > 0
                    || refreshed.moved
                    || refreshed.set_aside.is_some()
            }
            Err(error) => {
                log.error(&error, &[]);
                self.fetch_at = Some(soonest);
                true
            }
        }
    }
}

/// The sources that the settings name; the log tells of those that cannot be
/// asked.
pub(super) fn fetcher(settings: &Settings, log: Log) -> Arc<Fetcher> {
    let fetcher = Fetcher::new(settings, Manner::Background, u64::from(std::process::id()));
    for unasked in fetcher.unasked().iter().filter(|unasked| unasked.fault) {
        log.warning(&unasked.why, &[]);
    }
    Arc::new(fetcher)
}
