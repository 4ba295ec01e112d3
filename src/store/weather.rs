//! The weather that was fetched, by source.
//!
//! Seen values and forecasts lie in tables of their own: nothing turns one
//! into the other. Every seen value has its source and the instant at which
//! it was issued; a later issue corrects an earlier one, an earlier one never
//! undoes a later one, and an unknown value never takes a known one's place.
//!
//! ```text
//! source    id, name
//! block     source, series, year -> packed values, instants of issue
//! forecast  source, day of issue -> packed days and hours
//! note      key -> value: what the fetching wants to remember
//! fetching  source, job -> when it worked, failed, is due; days asked for
//! alert     source, key -> a warning of cold
//! ```

use super::error::StoreError;
use super::file::{self, Layout};
use super::packing::{self, Series, UNKNOWN};
use crate::facts::weather::{Column, Day, Forecast, Hour};
use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, Utc};
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The usual name of the file.
pub const FILE: &str = "weather.sqlite";

/// Days of issue of which a source's forecasts are kept, so that a past day
/// can be looked at as it was known then.
const FORECASTS_KEPT: i64 = 60;

const LAYOUT: Layout = Layout {
    name: "weather file",
    steps: &[
        "CREATE TABLE source (
            id INTEGER PRIMARY KEY,
            name TEXT NOT NULL UNIQUE
        ) STRICT;
        CREATE TABLE block (
            source INTEGER NOT NULL REFERENCES source (id) ON DELETE CASCADE,
            series INTEGER NOT NULL,
            year INTEGER NOT NULL,
            codes BLOB NOT NULL,
            issued BLOB NOT NULL,
            sum INTEGER NOT NULL,
            UNIQUE (source, series, year)
        ) STRICT;
        CREATE TABLE forecast (
            source INTEGER NOT NULL REFERENCES source (id) ON DELETE CASCADE,
            day INTEGER NOT NULL,
            issued INTEGER NOT NULL,
            first_day INTEGER NOT NULL,
            days BLOB NOT NULL,
            first_hour INTEGER,
            hours BLOB NOT NULL,
            sum INTEGER NOT NULL,
            UNIQUE (source, day)
        ) STRICT;",
        "CREATE TABLE note (
            key TEXT PRIMARY KEY,
            value TEXT NOT NULL
        ) STRICT, WITHOUT ROWID;",
        "CREATE TABLE fetching (
            source TEXT NOT NULL,
            job TEXT NOT NULL,
            succeeded INTEGER,
            tried INTEGER,
            next INTEGER,
            failures INTEGER NOT NULL,
            error TEXT,
            first INTEGER,
            last INTEGER,
            PRIMARY KEY (source, job)
        ) STRICT, WITHOUT ROWID;
        CREATE TABLE alert (
            source TEXT NOT NULL,
            key TEXT NOT NULL,
            kind INTEGER,
            event TEXT NOT NULL,
            begins INTEGER NOT NULL,
            ends INTEGER NOT NULL,
            sent INTEGER NOT NULL,
            headline TEXT NOT NULL,
            office TEXT NOT NULL,
            PRIMARY KEY (source, key)
        ) STRICT, WITHOUT ROWID;",
    ],
    // It can be fetched again: a power cut may cost the last minutes.
    synchronous: "NORMAL",
};

/// Who says a value, and when it was issued.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Origin<'a> {
    /// The source's name, as the keeper reads it.
    pub source: &'a str,
    /// When the source issued it; when it was fetched, where that is not said.
    pub issued: DateTime<Utc>,
}

/// What became of the values put in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Put {
    /// Not known before.
    pub new: usize,
    /// Took the place of another value.
    pub corrected: usize,
    /// Known already.
    pub same: usize,
    /// Older than what is kept, and left out.
    pub older: usize,
    /// Beyond anything that the quantity can be, and left out.
    pub impossible: usize,
}

/// The kept weather.
#[derive(Debug)]
pub struct WeatherStore {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    set_aside: Option<PathBuf>,
}

impl WeatherStore {
    /// Opens the file, or begins one. A damaged file is moved aside and a new
    /// one begun; [`set_aside`](Self::set_aside) says so.
    ///
    /// # Errors
    /// [`StoreError`]; never for damage.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let (connection, set_aside) = match LAYOUT.open(path) {
            Err(error) if error.is_damage() => {
                let aside = LAYOUT.set_aside_damaged(path)?;
                (LAYOUT.open(path)?, aside)
            }
            other => (other?, None),
        };
        Ok(WeatherStore {
            connection,
            path: path.to_path_buf(),
            set_aside,
        })
    }

    /// Where the damaged file is that was found on opening: the weather has to
    /// be fetched again.
    pub fn set_aside(&self) -> Option<&Path> {
        self.set_aside.as_deref()
    }

    /// How long a step waits for another process; five seconds unless said.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn set_patience(&self, patience: Duration) -> Result<(), StoreError> {
        self.connection
            .busy_timeout(patience)
            .map_err(|e| StoreError::sql(e, &self.path, "setting the patience"))
    }

    /// Sets the file aside and begins a new one: for damage that shows only
    /// while reading.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn rebuild(self) -> Result<Self, StoreError> {
        let WeatherStore {
            connection, path, ..
        } = self;
        // Its log may be unreadable as well; what it holds is given up.
        drop(connection);
        let aside = file::set_aside(&path, "setting the damaged weather file aside")?;
        let fresh = WeatherStore::open(&path)?;
        Ok(WeatherStore {
            set_aside: Some(aside),
            ..fresh
        })
    }

    /// Keeps days that were seen. Of a day given twice the later one stands.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing is changed.
    pub fn put_days(&mut self, origin: Origin<'_>, days: &[Day]) -> Result<Put, StoreError> {
        let doing = format!("keeping days of {}", origin.source);
        let mut put = Put::default();
        let mut values = Values::default();
        values.add_days(days, &mut put);
        self.write(&doing, |change| {
            let source = source_id(change, origin.source)?;
            values.keep(change, source, origin.issued, &mut put)
        })?;
        Ok(put)
    }

    /// Keeps hours that were seen; minutes of a start are cut off. Of an hour
    /// given twice the later one stands.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing is changed.
    pub fn put_hours(&mut self, origin: Origin<'_>, hours: &[Hour]) -> Result<Put, StoreError> {
        let doing = format!("keeping hours of {}", origin.source);
        let mut put = Put::default();
        let mut values = Values::default();
        values.add_hours(hours, &mut put);
        self.write(&doing, |change| {
            let source = source_id(change, origin.source)?;
            values.keep(change, source, origin.issued, &mut put)
        })?;
        Ok(put)
    }

    /// Keeps a forecast under its source's name. It takes the place of an
    /// earlier one of the same day of issue; those of earlier days stay for a
    /// while. `false` when a later one of that day is kept already.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing is changed.
    pub fn put_forecast(
        &mut self,
        forecast: &Forecast,
        issued: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let doing = format!("keeping the forecast of {}", forecast.source);
        let daily = &forecast.daily;
        let days = columns_to_bytes(
            &Series::DAILY,
            &[&daily.low_c, &daily.high_c, &daily.rain_mm],
        );
        let hours = forecast.hourly.as_ref().map_or_else(Vec::new, |hourly| {
            columns_to_bytes(
                &Series::HOURLY,
                &[
                    &hourly.temperature_c,
                    &hourly.dew_point_c,
                    &hourly.humidity_pct,
                    &hourly.rain_mm,
                    &hourly.wind_m_s,
                ],
            )
        });
        let first_hour = forecast
            .hourly
            .as_ref()
            .map(|hourly| hourly.first().and_utc().timestamp());
        let day = i64::from(forecast.issued.num_days_from_ce());
        self.write(&doing, |change| {
            let source = source_id(change, &forecast.source)?;
            let kept = change.execute(
                "INSERT INTO forecast VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
                 ON CONFLICT (source, day) DO UPDATE SET
                    issued = excluded.issued, first_day = excluded.first_day,
                    days = excluded.days, first_hour = excluded.first_hour,
                    hours = excluded.hours, sum = excluded.sum
                 WHERE excluded.issued >= issued",
                params![
                    source,
                    day,
                    issued.timestamp(),
                    i64::from(daily.first().num_days_from_ce()),
                    days,
                    first_hour,
                    hours,
                    packing::checksum(&[&days, &hours]),
                ],
            )?;
            change.execute(
                "DELETE FROM forecast WHERE source = ?1 AND day <=
                    (SELECT max(day) FROM forecast WHERE source = ?1) - ?2",
                params![source, FORECASTS_KEPT],
            )?;
            Ok(kept > 0)
        })
    }

    /// Forgets everything that a source said; `false` when it said nothing.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn forget(&mut self, source: &str) -> Result<bool, StoreError> {
        self.write(&format!("forgetting {source}"), |change| {
            Ok(change.execute("DELETE FROM source WHERE name = ?1", [source])? > 0)
        })
    }

    /// Remembers a word for whoever fetches, such as the mark of the version
    /// last read.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn remember(&mut self, key: &str, value: &str) -> Result<(), StoreError> {
        self.write("keeping a note on the fetching", |change| {
            change.execute("INSERT OR REPLACE INTO note VALUES (?1, ?2)", [key, value])?;
            Ok(())
        })
    }

    /// What was remembered under a key.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn recall(&self, key: &str) -> Result<Option<String>, StoreError> {
        self.connection
            .query_row("SELECT value FROM note WHERE key = ?1", [key], |row| {
                row.get(0)
            })
            .optional()
            .map_err(|e| StoreError::sql(e, &self.path, "reading a note on the fetching"))
    }

    /// One change, whole or not at all.
    pub(super) fn write<T>(
        &mut self,
        doing: &str,
        change: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let path = &self.path;
        let sql = |e| StoreError::sql(e, path, doing);
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(sql)?;
        let done = change(&transaction).map_err(sql)?;
        transaction.commit().map_err(sql)?;
        Ok(done)
    }
}

pub(super) fn source_id(change: &Transaction<'_>, name: &str) -> rusqlite::Result<i64> {
    change.execute("INSERT OR IGNORE INTO source (name) VALUES (?1)", [name])?;
    change.query_row("SELECT id FROM source WHERE name = ?1", [name], |row| {
        row.get(0)
    })
}

/// Packed values on their way into the file, by series and year.
#[derive(Default)]
pub(super) struct Values(BTreeMap<(Series, i32), Vec<(usize, i16)>>);

impl Values {
    pub(super) fn add_days(&mut self, days: &[Day], put: &mut Put) {
        for day in days {
            let row = [day.low_c, day.high_c, day.rain_mm];
            self.add(packing::day_slot(day.date), &Series::DAILY, &row, put);
        }
    }

    pub(super) fn add_hours(&mut self, hours: &[Hour], put: &mut Put) {
        for hour in hours {
            let row = [
                hour.temperature_c,
                hour.dew_point_c,
                hour.humidity_pct,
                hour.rain_mm,
                hour.wind_m_s,
            ];
            self.add(packing::hour_slot(hour.start), &Series::HOURLY, &row, put);
        }
    }

    fn add(
        &mut self,
        slot: Option<(i32, usize)>,
        series: &[Series],
        row: &[Option<f64>],
        put: &mut Put,
    ) {
        for (&series, value) in series.iter().zip(row) {
            let Some(value) = *value else { continue };
            match (slot, series.pack(value)) {
                (Some((year, at)), Some(code)) => {
                    self.0.entry((series, year)).or_default().push((at, code));
                }
                _ => put.impossible += 1,
            }
        }
    }

    pub(super) fn keep(
        &self,
        change: &Transaction<'_>,
        source: i64,
        issued: DateTime<Utc>,
        put: &mut Put,
    ) -> rusqlite::Result<()> {
        let mut read = change.prepare(
            "SELECT codes, issued FROM block WHERE source = ?1 AND series = ?2 AND year = ?3",
        )?;
        let mut write =
            change.prepare("INSERT OR REPLACE INTO block VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?;
        for ((series, year), values) in &self.0 {
            let key = params![source, series.code(), year];
            let mut block = read
                .query_row(key, |row| {
                    Ok(Block::of(
                        row.get_ref(0)?.as_blob()?,
                        row.get_ref(1)?.as_blob()?,
                    ))
                })
                .optional()?
                .unwrap_or_default();
            let before = *put;
            for &(at, code) in values {
                block.put(at, code, issued.timestamp(), put);
            }
            if (put.new, put.corrected, put.same) == (before.new, before.corrected, before.same) {
                continue;
            }
            let codes = packing::to_bytes(&block.codes);
            let runs = packing::runs_to_bytes(&block.issued);
            let sum = packing::checksum(&[&codes]);
            write.execute(params![source, series.code(), year, codes, runs, sum])?;
        }
        Ok(())
    }
}

/// One series of one year, unpacked for a change.
#[derive(Default)]
struct Block {
    codes: Vec<i16>,
    issued: Vec<i64>,
}

impl Block {
    fn of(codes: &[u8], runs: &[u8]) -> Block {
        let codes: Vec<i16> = packing::from_bytes(codes).collect();
        let mut issued: Vec<i64> = packing::runs(runs)
            .flat_map(|(len, at)| std::iter::repeat_n(at, len))
            .collect();
        issued.resize(codes.len(), i64::MIN);
        Block { codes, issued }
    }

    fn put(&mut self, at: usize, code: i16, issued: i64, put: &mut Put) {
        if self.codes.len() <= at {
            self.codes.resize(at + 1, UNKNOWN);
            self.issued.resize(at + 1, i64::MIN);
        }
        let (Some(kept), Some(when)) = (self.codes.get_mut(at), self.issued.get_mut(at)) else {
            return;
        };
        match *kept {
            UNKNOWN => put.new += 1,
            _ if *when > issued => {
                put.older += 1;
                return;
            }
            same if same == code => put.same += 1,
            _ => put.corrected += 1,
        }
        (*kept, *when) = (code, issued);
    }
}

/// Columns one after the other, each at full length.
fn columns_to_bytes(series: &[Series], columns: &[&Column]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for (series, column) in series.iter().zip(columns) {
        for value in column.iter() {
            let code = value.and_then(|value| series.pack(value));
            bytes.extend(code.unwrap_or(UNKNOWN).to_le_bytes());
        }
    }
    bytes
}

/// The parts of [`columns_to_bytes`].
pub(super) fn columns_from_bytes<const N: usize>(series: [Series; N], bytes: &[u8]) -> [Column; N] {
    let codes: Vec<i16> = packing::from_bytes(bytes).collect();
    let len = codes.len() / N.max(1);
    let mut at = 0;
    series.map(|series| {
        let part = codes.iter().skip(at).take(len);
        at += len;
        part.map(|&code| series.unpack(code)).collect()
    })
}

/// A local stamp kept as if it were UTC: a number, not an instant.
pub(super) fn local_stamp(seconds: i64) -> NaiveDateTime {
    packing::instant(seconds).map_or_else(
        || NaiveDate::MIN.and_time(NaiveTime::MIN),
        |at| at.naive_utc(),
    )
}
