//! What the fetching wants to know again: how each source did, and the
//! warnings that hold.

use super::error::StoreError;
use super::packing;
use super::weather::WeatherStore;
use crate::facts::weather::{Alert, AlertKind};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use rusqlite::{Transaction, params};

/// How one job of one source did so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FetchState {
    /// The source's name.
    pub source: String,
    /// What is fetched, such as `forecast`.
    pub job: String,
    /// When it last worked.
    pub succeeded: Option<DateTime<Utc>>,
    /// When it was last tried.
    pub tried: Option<DateTime<Utc>>,
    /// When it is due again; at once where this is not known.
    pub next: Option<DateTime<Utc>>,
    /// How often in a row it failed.
    pub failures: u32,
    /// Why it failed last; `None` after a success.
    pub error: Option<String>,
    /// The days that were asked for so far, first and last.
    pub span: Option<(NaiveDate, NaiveDate)>,
}

/// The kinds of warnings with their numbers in the file.
const KINDS: [(AlertKind, i64); 4] = [
    (AlertKind::FrostAdvisory, 0),
    (AlertKind::FreezeWatch, 1),
    (AlertKind::FreezeWarning, 2),
    (AlertKind::Cold, 3),
];

/// Days that a warning is kept after its end, so that a past day can be
/// looked at as it was known then.
const ALERTS_KEPT_S: i64 = 60 * 86_400;

/// Writes how a job did, within a change.
pub(super) fn write_state(change: &Transaction<'_>, state: &FetchState) -> rusqlite::Result<()> {
    let seconds = |at: Option<DateTime<Utc>>| at.map(|at| at.timestamp());
    let ce = |date: NaiveDate| i64::from(date.num_days_from_ce());
    change.execute(
        "INSERT OR REPLACE INTO fetching VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        params![
            state.source,
            state.job,
            seconds(state.succeeded),
            seconds(state.tried),
            seconds(state.next),
            state.failures,
            state.error,
            state.span.map(|(first, _)| ce(first)),
            state.span.map(|(_, last)| ce(last)),
        ],
    )?;
    Ok(())
}

impl WeatherStore {
    /// How a job of a source did.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn fetch_state(&self, source: &str, job: &str) -> Result<FetchState, StoreError> {
        let states = self.fetch_states()?;
        let found = states
            .into_iter()
            .find(|state| state.source == source && state.job == job);
        Ok(found.unwrap_or_else(|| FetchState {
            source: source.to_owned(),
            job: job.to_owned(),
            ..FetchState::default()
        }))
    }

    /// How every job did, by source and job.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn fetch_states(&self) -> Result<Vec<FetchState>, StoreError> {
        self.rows(
            "reading how the fetching did",
            "SELECT source, job, succeeded, tried, next, failures, error, first, last
             FROM fetching ORDER BY source, job",
            [],
            |row| {
                let instant = |at: Option<i64>| at.and_then(packing::instant);
                let day = |ce: Option<i64>| {
                    NaiveDate::from_num_days_from_ce_opt(i32::try_from(ce?).ok()?)
                };
                Ok(FetchState {
                    source: row.get(0)?,
                    job: row.get(1)?,
                    succeeded: instant(row.get(2)?),
                    tried: instant(row.get(3)?),
                    next: instant(row.get(4)?),
                    failures: row.get::<_, i64>(5)?.try_into().unwrap_or(u32::MAX),
                    error: row.get(6)?,
                    span: day(row.get(7)?).zip(day(row.get(8)?)),
                })
            },
        )
    }

    /// Keeps how a job did.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn put_fetch_state(&mut self, state: &FetchState) -> Result<(), StoreError> {
        self.write("keeping how the fetching did", |change| {
            write_state(change, state)
        })
    }

    /// Forgets how the jobs of a source did, so that all is due anew.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn forget_fetching(&mut self, source: &str) -> Result<(), StoreError> {
        self.write("forgetting how the fetching did", |change| {
            change.execute("DELETE FROM fetching WHERE source = ?1", [source])?;
            change.execute("DELETE FROM alert WHERE source = ?1", [source])?;
            Ok(())
        })
    }

    /// Keeps the warnings that a source says hold at `now`: those that it no
    /// longer names, and that were not over, are withdrawn.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn put_alerts(
        &mut self,
        source: &str,
        alerts: &[Alert],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        self.write("keeping the warnings", |change| {
            change.execute(
                "DELETE FROM alert WHERE source = ?1 AND (ends > ?2 OR ends < ?2 - ?3)",
                params![source, now.timestamp(), ALERTS_KEPT_S],
            )?;
            for alert in alerts {
                let kind = KINDS.iter().find(|(kind, _)| *kind == alert.kind);
                change.execute(
                    "INSERT OR REPLACE INTO alert VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                    params![
                        source,
                        alert.key,
                        kind.map(|(_, number)| number),
                        alert.event,
                        alert.begins.timestamp(),
                        alert.ends.timestamp(),
                        alert.sent.timestamp(),
                        alert.headline,
                        alert.office,
                    ],
                )?;
            }
            Ok(())
        })
    }

    /// The warnings that were sent by `now` and are not over then, the
    /// earliest first.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn alerts(&self, now: DateTime<Utc>) -> Result<Vec<Alert>, StoreError> {
        let found = self.rows(
            "reading the warnings",
            "SELECT key, kind, event, begins, ends, sent, headline, office FROM alert
             WHERE sent <= ?1 AND ends > ?1 ORDER BY begins, key",
            [now.timestamp()],
            |row| {
                let number: Option<i64> = row.get(1)?;
                let kind = KINDS.iter().find(|(_, known)| Some(*known) == number);
                let times = [row.get(3)?, row.get(4)?, row.get(5)?].map(packing::instant);
                let (Some((kind, _)), [Some(begins), Some(ends), Some(sent)]) = (kind, times)
                else {
                    return Ok(None);
                };
                Ok(Some(Alert {
                    key: row.get(0)?,
                    kind: *kind,
                    event: row.get(2)?,
                    begins,
                    ends,
                    sent,
                    headline: row.get(6)?,
                    office: row.get(7)?,
                }))
            },
        )?;
        Ok(found.into_iter().flatten().collect())
    }

    /// The names of all sources of which anything is kept, by name.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn names(&self) -> Result<Vec<String>, StoreError> {
        self.rows(
            "reading the sources",
            "SELECT name FROM source ORDER BY name",
            [],
            |row| row.get(0),
        )
    }

    /// The same with those that gave warnings alone: all that have to be named
    /// where the weather is shown.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn heard(&self) -> Result<Vec<String>, StoreError> {
        self.rows(
            "reading the sources",
            "SELECT name FROM source UNION SELECT source FROM alert ORDER BY 1",
            [],
            |row| row.get(0),
        )
    }
}
