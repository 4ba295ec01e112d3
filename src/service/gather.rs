//! Gathers the facts: the user's files, the weather and the journal kept, or
//! the embedded demo.

use crate::config::fault::Fault;
use crate::config::{self, Settings};
use crate::facts::Facts;
use crate::facts::journal::Journal;
use crate::facts::register::Status;
use crate::facts::weather::{DailyRecord, Day, Forecast, HourlyRecord, Weather};
use crate::sources::csv_file::{self, Options};
use crate::store::StoreError;
use crate::store::journal::{self, JournalStore};
use crate::store::weather::{self, WeatherStore};
use chrono::{Days, NaiveDate};
use std::fmt;
use std::path::{Path, PathBuf};

/// Days of its own later weather that the demo shows as a forecast.
const DEMO_FORECAST_DAYS: u64 = 7;

/// The day that the demo opens on: the morning after its late frost.
pub const DEMO_DAY: (i32, u32, u32) = (2026, 4, 22);

/// Why the facts cannot be gathered.
#[derive(Debug)]
pub enum GatherError {
    /// Faults of the user's files.
    Faults(Vec<Fault>),
    /// Weather or journal that was kept cannot be read.
    Weather(String),
}

impl fmt::Display for GatherError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GatherError::Faults(faults) => {
                for (at, fault) in faults.iter().enumerate() {
                    if at > 0 {
                        writeln!(f)?;
                    }
                    write!(f, "{fault}")?;
                }
                Ok(())
            }
            GatherError::Weather(text) => f.write_str(text),
        }
    }
}

impl std::error::Error for GatherError {}

impl From<StoreError> for GatherError {
    fn from(error: StoreError) -> Self {
        GatherError::Weather(error.to_string())
    }
}

/// Where the user's files and what is kept between runs lie.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Folders {
    /// `place.toml`, `register.toml` and the user's own knowledge.
    pub config: PathBuf,
    /// Weather and journal.
    pub data: PathBuf,
}

/// The facts of a user's folder as they stand on the morning of `today`.
///
/// # Errors
/// Faults of the files, or weather that cannot be read.
pub fn facts(folders: &Folders, today: NaiveDate) -> Result<Facts, GatherError> {
    let settings = config::load(&folders.config).map_err(GatherError::Faults)?;
    facts_of(settings, folders, today)
}

/// The facts of settings that were read before, with what is kept.
///
/// # Errors
/// Weather or a journal that cannot be read.
pub fn facts_of(
    mut settings: Settings,
    folders: &Folders,
    today: NaiveDate,
) -> Result<Facts, GatherError> {
    settings.journal = settings.journal.with(kept_journal(&folders.data)?);
    let weather = kept_weather(&folders.data, today)?.as_of(today);
    let mut facts = joined(settings, weather, today);
    take_out(&mut facts);
    Ok(facts)
}

/// Settings and weather as the facts of a day.
pub fn joined(settings: Settings, weather: Weather, today: NaiveDate) -> Facts {
    Facts {
        place: settings.place,
        register: settings.register,
        weather,
        journal: settings.journal.as_of(today),
        preferences: settings.preferences,
        knowledge: settings.knowledge,
    }
}

/// The weather that was kept before; none is no error, and no file is begun.
fn kept_weather(data: &Path, today: NaiveDate) -> Result<Weather, GatherError> {
    let file = data.join(weather::FILE);
    if !file.is_file() {
        return Ok(Weather::default());
    }
    let store = WeatherStore::open(&file)?;
    Ok(store.load(today, &[])?)
}

/// Takes the trees out of the register that the journal says were removed.
pub fn take_out(facts: &mut Facts) {
    for removal in &facts.journal.removals {
        for tree in &mut facts.register.trees {
            if removal.trees.contains(&tree.id) {
                tree.status = Status::Removed;
            }
        }
    }
}

/// The journal that was kept; none is no error, and no file is begun.
///
/// # Errors
/// A journal that cannot be read.
pub fn kept_journal(data: &Path) -> Result<Journal, GatherError> {
    let file = data.join(journal::FILE);
    if !file.is_file() {
        return Ok(Journal::default());
    }
    Ok(JournalStore::open(&file)?.load()?)
}

/// The demo's facts on a day: its weather up to it seen, the week that
/// follows as its forecast.
///
/// # Errors
/// Faults of the embedded files; there are none in a sound program.
pub fn demo(today: NaiveDate) -> Result<Facts, GatherError> {
    let knowledge = config::knowledge::load(None).map_err(GatherError::Faults)?;
    let (place, preferences, register, journal) =
        config::demo::read(&knowledge).map_err(GatherError::Faults)?;
    let settings = Settings {
        place,
        preferences,
        delivery: config::delivery::Delivery::default(),
        warnings: Vec::new(),
        register,
        journal,
        knowledge,
    };
    let read = |bytes, name| {
        csv_file::read(bytes, name, &Options::default())
            .map_err(|error| GatherError::Weather(error.to_string()))
    };
    let days = read(config::demo::DAILY, "demo/weather_daily.csv.gz")?.daily;
    let hours = read(config::demo::HOURLY, "demo/weather_hourly.csv.gz")?.hourly;
    let weather = Weather {
        daily: DailyRecord::from_days(&days),
        hourly: HourlyRecord::from_hours(&hours),
        forecast: demo_forecast(&days, today),
    };
    Ok(joined(settings, weather.as_of(today), today))
}

fn demo_forecast(days: &[Day], today: NaiveDate) -> Option<Forecast> {
    let until = today + Days::new(DEMO_FORECAST_DAYS);
    let coming: Vec<Day> = days
        .iter()
        .filter(|day| day.date >= today && day.date < until)
        .copied()
        .collect();
    Some(Forecast {
        issued: today,
        daily: DailyRecord::from_days(&coming)?,
        hourly: None,
        source: "the demo's own weather".to_owned(),
    })
}
