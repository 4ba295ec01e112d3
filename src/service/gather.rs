//! Gathers the facts: the user's files, the weather and the journal kept, or
//! the embedded demo.

use super::refresh::names_in_order;
use crate::clock::Clock;
use crate::config::fault::Fault;
use crate::config::{self, Settings};
use crate::facts::Facts;
use crate::facts::journal::Journal;
use crate::facts::register::Register;
use crate::facts::weather::{DailyRecord, Day, Forecast, HourlyRecord, Weather};
use crate::sources::credit_of;
use crate::sources::csv_file::{self, Options};
use crate::store::StoreError;
use crate::store::journal::{self, JournalStore};
use crate::store::weather::{self, WeatherStore};
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeZone, Utc};
use chrono_tz::OffsetComponents;
use std::fmt;
use std::path::{Path, PathBuf};

/// Days of its own later weather that the demo shows as a forecast.
pub const DEMO_FORECAST_DAYS: u64 = 7;

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

/// From which moment, and how much, is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// The day.
    pub today: NaiveDate,
    /// The instant, where the day's own hours count as far as they were seen;
    /// `None` is the morning of the day.
    pub now: Option<DateTime<Utc>>,
    /// Whether hours of all years are wanted; otherwise those of the last two
    /// calendar years, which is all that a plan looks at.
    pub all_hours: bool,
}

impl Look {
    /// The morning of a day.
    pub fn morning(today: NaiveDate) -> Self {
        Look {
            today,
            now: None,
            all_hours: false,
        }
    }
}

/// The facts of a user's folder as they stand on the morning of `today`.
///
/// # Errors
/// Faults of the files, or weather that cannot be read.
pub fn facts(folders: &Folders, today: NaiveDate) -> Result<Facts, GatherError> {
    facts_at(folders, Look::morning(today))
}

/// The facts of a user's folder as they stand at a moment.
///
/// # Errors
/// Faults of the files, or weather that cannot be read.
pub fn facts_at(folders: &Folders, look: Look) -> Result<Facts, GatherError> {
    let settings = config::load(&folders.config).map_err(GatherError::Faults)?;
    facts_of(settings, folders, look)
}

/// The facts of settings that were read before, with what is kept.
///
/// # Errors
/// Weather or a journal that cannot be read.
pub fn facts_of(
    mut settings: Settings,
    folders: &Folders,
    look: Look,
) -> Result<Facts, GatherError> {
    settings.journal = settings.journal.with(kept_journal(&folders.data)?);
    let weather = kept_weather(&folders.data, &settings, look)?.as_of(look.today);
    Ok(joined(settings, weather, look.today))
}

/// Settings and weather as the facts of a day, the notes heeded.
pub fn joined(settings: Settings, weather: Weather, today: NaiveDate) -> Facts {
    let mut facts = Facts {
        place: settings.place,
        register: Register::default(),
        filed: settings.register,
        weather,
        journal: settings.journal.as_of(today),
        preferences: settings.preferences,
        knowledge: settings.knowledge,
    };
    facts.heed_notes(today);
    facts
}

/// The weather that was kept before; none is no error, and no file is begun.
fn kept_weather(data: &Path, settings: &Settings, look: Look) -> Result<Weather, GatherError> {
    let file = data.join(weather::FILE);
    if !file.is_file() {
        return Ok(Weather::default());
    }
    let store = WeatherStore::open(&file)?;
    match loaded(&store, settings, look) {
        // Damage that shows only now: the file is set aside, and all can be
        // fetched again.
        Err(error) if error.is_damage() => Ok(loaded(&store.rebuild()?, settings, look)?),
        other => Ok(other?),
    }
}

fn loaded(store: &WeatherStore, settings: &Settings, look: Look) -> Result<Weather, StoreError> {
    let names = names_in_order(&settings.weather, &store.names()?);
    let order: Vec<&str> = names.iter().map(String::as_str).collect();
    let hours_from = if look.all_hours {
        NaiveDate::MIN
    } else {
        NaiveDate::from_ymd_opt(look.today.year() - 1, 1, 1).unwrap_or(NaiveDate::MIN)
    };
    let mut weather = store.load_recent(look.today, &order, hours_from)?;
    let zone = settings.place.time_zone;
    let now = look
        .now
        .unwrap_or_else(|| Clock::Fixed(look.today).now(zone));
    weather.alerts = store.alerts(now)?;
    // Whom nothing was heard of is not thanked.
    let heard = store.heard()?;
    let heard = names.iter().filter(|name| heard.contains(name));
    weather.credits = heard.filter_map(|name| credit(name)).collect();
    weather.credits.dedup();
    weather.seen_to = look.now.map(|now| {
        let utc = now.naive_utc();
        let offset = zone.offset_from_utc_datetime(&utc).base_utc_offset();
        utc.checked_add_signed(offset).unwrap_or(utc)
    });
    Ok(weather)
}

/// What has to stand where weather kept under a name is shown; `None` for the
/// keeper's own.
pub fn credit(name: &str) -> Option<String> {
    let credit = credit_of(name)?;
    Some(format!(
        "{} ({}), {}.",
        credit.text, credit.link, credit.licence
    ))
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
        weather: config::weather::WeatherSettings::none(),
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
        ..Weather::default()
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
