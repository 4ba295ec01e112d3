//! `weather`: what is known, from whom, until when; fetch; compare.

mod compare;
mod fetch;
mod known;

use super::{Common, Output, all, folders};
use crate::clock::Clock;
use crate::config::{self, Settings};
use crate::service::console::JOB as UPLOAD;
use crate::service::gather::{self, Folders, Look};
use crate::service::refresh::{Fetcher, names_in_order};
use crate::store::weather::{FILE, WeatherStore};
use crate::store::{FetchState, SourceSummary};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use clap::{Args, Subcommand};
use serde::Serialize;
use std::fmt::Display;

const EXAMPLES: &str = "\
Examples:
  budtide weather                  what is known, from whom, until when
  budtide weather fetch            ask the services now
  budtide weather compare          how far the sources agree

Where it comes from stands in place.toml, table [weather]; without it the
coordinates are enough. `sources = \"none\"` there keeps budtide off the network.
A station console of your own is heard by the service: [weather.console].";

/// What of the weather.
#[derive(Clone, Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct Weather {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Clone, Debug, Subcommand)]
enum What {
    /// Ask the services now, past years included; goes on where it ended
    Fetch,
    /// Hold the sources against each other, day by day
    Compare {
        /// The source that the others are held against; the most trusted if
        /// left out
        first: Option<String>,
        /// Only this other one
        second: Option<String>,
        /// Over how many days back
        #[arg(long, default_value_t = 365, value_parser = clap::value_parser!(u64).range(2..=40_000))]
        days: u64,
    },
}

/// Runs the command.
pub fn run(weather: &Weather, common: &Common) -> Result<Output, String> {
    let folders = folders(common)?;
    let settings = config::load(&folders.config).map_err(|faults| all(&faults))?;
    let zone = settings.place.time_zone;
    let clock = common.as_of.map_or(Clock::Wall, Clock::Fixed);
    let now = clock.now(zone);
    match &weather.what {
        Some(What::Fetch) if common.as_of.is_some() => {
            Err("fetch always asks for the weather of now; leave --as-of out".to_owned())
        }
        Some(What::Fetch) => fetch::run(&settings, &folders, now, common.json),
        Some(What::Compare {
            first,
            second,
            days,
        }) => {
            let today = clock.today(zone);
            let names = [first.as_deref(), second.as_deref()];
            compare::run(&settings, &folders, today, names, *days, common.json)
        }
        None => {
            let look = Look {
                today: clock.today(zone),
                now: common.as_of.is_none().then_some(now),
                all_hours: false,
            };
            known::run(&settings, &folders, look, now, common.json)
        }
    }
}

/// The demo's weather: one invented source, of which nothing can be fetched.
pub fn demo(weather: &Weather, today: NaiveDate, as_json: bool) -> Result<Output, String> {
    if weather.what.is_some() {
        return Err(
            "the demo has one invented record: there is nothing to fetch or to compare; \
             `budtide demo weather` shows it"
                .to_owned(),
        );
    }
    let facts = gather::demo(today).map_err(plain)?;
    known::demo(&facts, today, as_json)
}

fn plain(error: impl Display) -> String {
    error.to_string()
}

/// The store, if there is one.
fn kept(folders: &Folders) -> Result<Option<WeatherStore>, String> {
    let file = folders.data.join(FILE);
    if !file.is_file() {
        return Ok(None);
    }
    WeatherStore::open(&file).map(Some).map_err(plain)
}

/// What the keeper may do about what is missing.
fn hints(
    settings: &Settings,
    fetcher: &Fetcher,
    summaries: &[SourceSummary],
    states: &[FetchState],
    now: DateTime<Utc>,
) -> Vec<String> {
    let mut hints = Vec::new();
    let weather = &settings.weather;
    let console = weather.console_used();
    if let Some(console) = console {
        hints.extend(silence(&console.name, states, now));
    }
    if fetcher.is_idle() && fetcher.unasked().is_empty() && console.is_some() {
        hints.push(
            "Only the station console is a source: it sends by itself while the service runs, \
             and there is nobody to ask. Without a forecast past years stand in."
                .to_owned(),
        );
    } else if fetcher.is_idle() && fetcher.unasked().is_empty() {
        hints.push(
            "No source is set: place.toml says sources = \"none\". Bring files in with \
             `budtide import FILE`, or take that line out to let budtide fetch."
                .to_owned(),
        );
    } else if !fetcher.is_idle() && states.iter().all(|state| state.job == UPLOAD) {
        let mut names = names_in_order(weather, &[]);
        names.retain(|name| console.is_none_or(|console| console.name != *name));
        let names = names.join(", ");
        let what = if summaries.is_empty() {
            "Nothing was fetched yet"
        } else {
            "Nothing was fetched yet; what is known was brought in from files"
        };
        hints.push(format!(
            "{what}. `budtide weather fetch` asks now, the service does it by itself: {names}."
        ));
    }
    for unasked in fetcher.unasked() {
        let word = unasked.service.word();
        hints.push(format!("\"{word}\" is not asked: {}.", unasked.why));
    }
    let overdue = states
        .iter()
        .filter(|state| state.job == "forecast")
        .filter_map(|state| state.succeeded)
        .max()
        .is_some_and(|last| now - last > TimeDelta::hours(36));
    if overdue {
        hints.push(
            "No forecast came for more than a day. Is there a network, and does the service run? \
             `budtide weather fetch` tries now."
                .to_owned(),
        );
    }
    hints
}

/// A console that sends nothing.
fn silence(name: &str, states: &[FetchState], now: DateTime<Utc>) -> Option<String> {
    let known = states
        .iter()
        .find(|state| state.source == name && state.job == UPLOAD);
    let Some(state) = known else {
        return Some(format!(
            "Nothing came from the {name} yet. It sends to this machine's address, with port and \
             path as in [weather.console], while the service runs."
        ));
    };
    let last = state.succeeded?;
    (now - last > TimeDelta::hours(1)).then(|| {
        format!(
            "Nothing came from the {name} for more than an hour. Does the service run \
             (`budtide service status`), and is the console on?"
        )
    })
}

fn json<T: Serialize>(view: &T) -> Result<Output, String> {
    serde_json::to_string_pretty(view)
        .map(Output::Json)
        .map_err(|error| format!("no JSON can be made: {error}"))
}
