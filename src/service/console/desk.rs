//! Readings are folded into hours and kept.

use super::door::Hears;
use super::{Came, What};
use crate::clock;
use crate::config::weather::{ConsoleChoice, GaugeChoice};
use crate::facts::weather::{Day, Hour};
use crate::sources::console::{Fold, Form, Gauge, Reading};
use crate::store::weather::{Origin, WeatherStore};
use crate::store::{FetchState, Live, StoreError};
use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The name of its job in the store.
pub const JOB: &str = "upload";

/// What is known of the hour so far is kept so often, seconds: often enough to
/// lose little, seldom enough to spare a memory card.
const SAVE_S: i64 = 60;

/// Trouble that did not show for so long is over, minutes.
const OVER_MIN: i64 = 60;

/// A console that sends nothing for so long is told, hours (our choice: a
/// change of its batteries takes less).
const SILENT_H: i64 = 3;

/// Hours and days that wait while the store cannot be written; the oldest go.
const MOST_WAITING: usize = 24 * 31;

/// How the door hears a console of the settings.
pub fn from_settings(choice: &ConsoleChoice) -> Hears {
    Hears {
        way: choice.way.clone(),
        from: choice.from.clone(),
        form: Form {
            gauge: choice.gauge.map(|gauge| match gauge {
                GaugeChoice::Bucket => Gauge::Bucket,
                GaugeChoice::Piezo => Gauge::Piezo,
            }),
            temperature: choice.units.temperature,
            rain: choice.units.rain,
            wind: choice.units.wind,
        },
        clock: Arc::new(clock::now),
        limit: None,
    }
}

/// What the service does with what came.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heard {
    /// For the log; each kind is told once.
    pub warnings: Vec<String>,
    /// For the log, the ordinary course.
    pub remark: Option<String>,
    /// Whether an hour or a day was kept.
    pub finished: bool,
}

/// The desk at which readings are taken down.
#[derive(Debug)]
pub struct Desk {
    name: String,
    zone: Tz,
    file: PathBuf,
    fold: Fold,
    hours: Vec<Hour>,
    days: Vec<Day>,
    state: FetchState,
    opened: DateTime<Utc>,
    saved: Option<DateTime<Utc>>,
    changed: bool,
    told: BTreeSet<String>,
    trouble: Option<(String, DateTime<Utc>)>,
}

impl Desk {
    /// Takes up what was known of the hour before a restart. `file` is the store
    /// of weather, which need not be there yet.
    pub fn open(name: &str, zone: Tz, file: &Path, now: DateTime<Utc>) -> Self {
        let mut fold = Fold::default();
        let mut state = FetchState {
            source: name.to_owned(),
            job: JOB.to_owned(),
            ..FetchState::default()
        };
        // A store that cannot be read is told by whoever looks at the season.
        if file.is_file()
            && let Ok(store) = WeatherStore::open(file)
        {
            let note = store.recall(&note(name)).ok().flatten();
            fold = note.and_then(|text| Fold::read(&text)).unwrap_or_default();
            if let Ok(known) = store.fetch_state(name, JOB) {
                state = known;
            }
        }
        Desk {
            name: name.to_owned(),
            zone,
            file: file.to_path_buf(),
            fold,
            hours: Vec::new(),
            days: Vec::new(),
            state,
            opened: now,
            saved: None,
            changed: false,
            told: BTreeSet::new(),
            trouble: None,
        }
    }

    /// Takes down what came.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be kept now; it waits, and nothing is
    /// lost while the service runs.
    pub fn take(&mut self, came: Came) -> Result<Heard, StoreError> {
        let mut heard = Heard::default();
        let now = came.arrived;
        match came.what {
            What::Reading(reading) => self.reading(&reading, now, &mut heard),
            What::Refused(refused) => {
                self.failed(now, refused.to_string());
                self.warn(refused.kind(), refused.to_string(), true, now, &mut heard);
            }
            What::Strange(why) => {
                let text = format!("of an upload nothing was taken: {why}");
                self.warn(why, text, false, now, &mut heard);
            }
            What::TurnedAway(from) => {
                let text = format!(
                    "{from} is turned away; name who may send under [weather.console]: \
                     from = [\"{from}\"]"
                );
                self.warn(&format!("away {from}"), text, false, now, &mut heard);
            }
            What::Second(from) => {
                let text = format!(
                    "{from} sends beside another console and is not heard; name the one that \
                     counts under [weather.console]: from = [\"{from}\"]"
                );
                self.warn(&format!("second {from}"), text, true, now, &mut heard);
            }
            What::Shut(why) => {
                let text = format!(
                    "it cannot listen on {why}. It tries again every minute; see listen under \
                     [weather.console]"
                );
                self.warn("shut", text, true, now, &mut heard);
            }
            What::Open(at) => {
                self.told.remove("shut");
                self.trouble = None;
                heard.remark = Some(format!("listens for the {} on {at}", self.name));
            }
        }
        let due = |saved: DateTime<Utc>| (now - saved).abs() >= TimeDelta::seconds(SAVE_S);
        heard.finished = !(self.hours.is_empty() && self.days.is_empty());
        if heard.finished || (self.changed && self.saved.is_none_or(due)) {
            self.save(now)?;
        }
        Ok(heard)
    }

    /// Keeps all that is known, the hour so far included.
    ///
    /// # Errors
    /// [`StoreError`]; it stays to be kept.
    pub fn save(&mut self, now: DateTime<Utc>) -> Result<(), StoreError> {
        if !self.changed {
            return Ok(());
        }
        // Not at once again where the disk is full.
        self.saved = Some(now);
        let excess = |len: usize| len.saturating_sub(MOST_WAITING);
        self.hours.drain(..excess(self.hours.len()));
        self.days.drain(..excess(self.days.len()));
        let origin = Origin {
            source: &self.name,
            issued: self.fold.last().unwrap_or(now),
        };
        let live = Live {
            days: &self.days,
            hours: &self.hours,
            note: (&note(&self.name), &self.fold.write()),
            state: self.state.clone(),
        };
        WeatherStore::open(&self.file)?.put_live(origin, &live)?;
        self.hours.clear();
        self.days.clear();
        self.changed = false;
        Ok(())
    }

    /// What the keeper should hear of, as long as it lasts.
    pub fn trouble(&self, now: DateTime<Utc>) -> Option<String> {
        let over = |at: DateTime<Utc>| now - at > TimeDelta::minutes(OVER_MIN);
        if let Some((text, at)) = &self.trouble
            && !over(*at)
        {
            return Some(format!("Of the {}: {text}.", self.name));
        }
        let heard = self.state.succeeded.max(Some(self.opened))?;
        let silent = now - heard > TimeDelta::hours(SILENT_H);
        silent.then(|| match self.state.succeeded {
            Some(last) => format!(
                "Nothing came from the {} since {}.",
                self.name,
                last.with_timezone(&self.zone).format("%-d %b %H:%M")
            ),
            None => format!(
                "Nothing came from the {} yet: does it send to this machine's address, port and \
                 path?",
                self.name
            ),
        })
    }

    fn reading(&mut self, reading: &Reading, now: DateTime<Utc>, heard: &mut Heard) {
        let taken = self.fold.take(reading, self.zone, &forecast(&self.file));
        self.state.tried = Some(now);
        self.state.succeeded = Some(now);
        self.state.failures = 0;
        self.state.error = None;
        self.changed = true;
        for odd in &taken.odd {
            if odd.tell() {
                self.state.error = Some(odd.to_string());
            }
            self.warn(odd.kind(), odd.to_string(), odd.tell(), now, heard);
        }
        self.hours.extend(taken.hours);
        self.days.extend(taken.days);
    }

    fn failed(&mut self, now: DateTime<Utc>, text: String) {
        self.state.tried = Some(now);
        self.state.failures = self.state.failures.saturating_add(1);
        self.state.error = Some(text);
        self.changed = true;
    }

    /// For the log once; for the keeper while it lasts.
    fn warn(
        &mut self,
        kind: &str,
        text: String,
        tell: bool,
        now: DateTime<Utc>,
        heard: &mut Heard,
    ) {
        // A stranger must not fill the memory with its addresses.
        const MOST_TOLD: usize = 100;
        if self.told.len() < MOST_TOLD && self.told.insert(kind.to_owned()) {
            heard.warnings.push(format!("{}: {text}", self.name));
        }
        if tell {
            self.trouble = Some((text, now));
        }
    }
}

fn note(name: &str) -> String {
    format!("{JOB} {name}")
}

/// The forecast of an hour, out of the store. Read only where an hour ends.
fn forecast(file: &Path) -> impl Fn(NaiveDateTime) -> Option<f64> {
    let file = file.to_path_buf();
    move |start| {
        if !file.is_file() {
            return None;
        }
        let store = WeatherStore::open(&file).ok()?;
        let forecast = store.forecast_on(start.date(), &[]).ok()??;
        let hourly = forecast.hourly?;
        let index = hourly.index(start)?;
        hourly.temperature_c.get(index)
    }
}
