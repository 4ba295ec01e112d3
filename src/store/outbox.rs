//! Messages on their way out, and what the service remembers.
//!
//! A message has a key that is said once: putting it in again changes
//! nothing, whatever became of it. It is noted as sent after it left; a crash
//! between the two repeats it under the same key. Keys, steps and states are
//! those of reference/algorithms.md 13.3 (common practice).

use super::error::StoreError;
use super::journal::{Change, JournalStore};
use super::journal_rows::instant;
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Connection, OptionalExtension, Row, params};

/// Minutes to wait after the first, second, ... failure; then the last again
/// and again. Common practice.
const RETRY_MINUTES: [i64; 6] = [1, 5, 15, 60, 240, 360];

/// A message to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outgoing {
    /// What makes it this message and no other.
    pub key: String,
    /// Not to be sent before.
    pub not_before: DateTime<Utc>,
    /// Of no use from then on.
    pub expires_at: DateTime<Utc>,
    /// The higher the sooner.
    pub priority: i64,
    /// The task that it is about, for [`Change::cancel`]; may be empty.
    pub about: String,
    /// What is said, in the caller's form.
    pub payload: String,
}

/// Where a message is on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Waits for its time.
    New,
    /// Handed to a channel; how that ended is not known yet.
    Sending,
    /// Left.
    Sent,
    /// Will not be sent any more.
    Dropped,
}

impl State {
    /// Every state with the word used in the file.
    pub const ALL: [(State, &'static str); 4] = [
        (State::New, "new"),
        (State::Sending, "sending"),
        (State::Sent, "sent"),
        (State::Dropped, "dropped"),
    ];

    /// The word used in the file.
    pub fn word(self) -> &'static str {
        State::ALL
            .iter()
            .find(|(state, _)| *state == self)
            .map_or("new", |(_, word)| word)
    }
}

/// A message as it stands in the outbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// What was put in; `not_before` moves with every failure.
    pub message: Outgoing,
    /// Where it is.
    pub state: State,
    /// How often it was tried.
    pub attempts: u32,
    /// Why it was not sent.
    pub last_error: Option<String>,
    /// When it was put in.
    pub queued_at: DateTime<Utc>,
    /// When it left.
    pub sent_at: Option<DateTime<Utc>>,
}

/// What follows a failure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AfterFailure {
    /// It will be tried again then.
    Again(DateTime<Utc>),
    /// It would be stale by then: dropped, and to be told.
    Dropped,
}

const COLUMNS: &str = "key, not_before, expires_at, priority, about, payload, state, attempts, \
                       last_error, queued_at, sent_at";

impl Change<'_> {
    /// Puts a message in; `false` when its key was there before.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn queue(&self, message: &Outgoing, now: DateTime<Utc>) -> Result<bool, StoreError> {
        let put = self.execute(
            "INSERT OR IGNORE INTO outbox
                (key, not_before, expires_at, priority, about, payload, state, queued_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, 'new', ?7)",
            params![
                message.key,
                message.not_before.timestamp_millis(),
                message.expires_at.timestamp_millis(),
                message.priority,
                message.about,
                message.payload,
                now.timestamp_millis(),
            ],
        )?;
        Ok(put > 0)
    }

    /// Drops what waits about a task that is done or skipped; nobody needs to
    /// be told. Returns how many.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn cancel(&self, about: &str, now: DateTime<Utc>) -> Result<usize, StoreError> {
        self.execute(
            "UPDATE outbox SET state = 'dropped', last_error = 'no longer needed', told_at = ?2
             WHERE about = ?1 AND about <> '' AND state IN ('new', 'sending')",
            params![about, now.timestamp_millis()],
        )
    }

    /// Marks a message as handed to a channel; counts as an attempt.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoMessage`](StoreError::NoMessage) unless it is new.
    pub fn sending(&self, key: &str) -> Result<(), StoreError> {
        let marked = self.execute(
            "UPDATE outbox SET state = 'sending', attempts = attempts + 1
             WHERE key = ?1 AND state = 'new'",
            [key],
        )?;
        self.some(marked, key)
    }

    /// Marks a message as sent.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoMessage`](StoreError::NoMessage) if there is none
    /// or it was sent before.
    pub fn sent(&self, key: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
        // It left: that holds even if it was cancelled or given up meanwhile.
        let marked = self.execute(
            "UPDATE outbox SET state = 'sent', sent_at = ?2, last_error = NULL
             WHERE key = ?1 AND state <> 'sent'",
            params![key, now.timestamp_millis()],
        )?;
        self.some(marked, key)
    }

    /// Marks a message as failed for now: tried again after 1, 5, 15, 60 and
    /// 240 minutes, then every 6 hours, as long as it is of use.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoMessage`](StoreError::NoMessage) unless it is being
    /// sent.
    pub fn failed(
        &self,
        key: &str,
        why: &str,
        now: DateTime<Utc>,
    ) -> Result<AfterFailure, StoreError> {
        let found = message(&self.transaction, key).map_err(|e| self.sql(e))?;
        let Some(found) = found.filter(|found| found.state == State::Sending) else {
            return Err(self.none(key));
        };
        let step = usize::try_from(found.attempts.max(1) - 1).unwrap_or(usize::MAX);
        let last = RETRY_MINUTES.last().copied().unwrap_or(360);
        let minutes = RETRY_MINUTES.get(step).copied().unwrap_or(last);
        let next = now
            .checked_add_signed(TimeDelta::minutes(minutes))
            .unwrap_or(DateTime::<Utc>::MAX_UTC);
        if next >= found.message.expires_at {
            self.refused(key, why)?;
            return Ok(AfterFailure::Dropped);
        }
        self.execute(
            "UPDATE outbox SET state = 'new', not_before = ?2, last_error = ?3 WHERE key = ?1",
            params![key, next.timestamp_millis(), why],
        )?;
        Ok(AfterFailure::Again(next))
    }

    /// Marks a message as refused for good: dropped, and to be told.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoMessage`](StoreError::NoMessage) unless it waits or
    /// is being sent.
    pub fn refused(&self, key: &str, why: &str) -> Result<(), StoreError> {
        let marked = self.execute(
            "UPDATE outbox SET state = 'dropped', last_error = ?2
             WHERE key = ?1 AND state IN ('new', 'sending')",
            params![key, why],
        )?;
        self.some(marked, key)
    }

    /// Takes up what a crash left between a channel and its answer: it is sent
    /// once more, under the same key. Only for the one service that sends, at
    /// its start. Returns how many.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn take_up(&self) -> Result<usize, StoreError> {
        self.execute(
            "UPDATE outbox SET state = 'new' WHERE state = 'sending'",
            [],
        )
    }

    /// Drops what is of no use any more, to be told; returns how many.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn drop_expired(&self, now: DateTime<Utc>) -> Result<usize, StoreError> {
        self.execute(
            "UPDATE outbox SET state = 'dropped',
                last_error = coalesce(last_error, 'its time passed before it could be sent')
             WHERE state = 'new' AND expires_at <= ?1",
            [now.timestamp_millis()],
        )
    }

    /// Notes that the keeper was told of a message that was dropped.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoMessage`](StoreError::NoMessage) unless it was
    /// dropped.
    pub fn told(&self, key: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
        let marked = self.execute(
            "UPDATE outbox SET told_at = ?2 WHERE key = ?1 AND state = 'dropped'",
            params![key, now.timestamp_millis()],
        )?;
        self.some(marked, key)
    }

    /// Remembers a word for the service, such as the mark of the last plan.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn remember(&self, key: &str, value: &str) -> Result<(), StoreError> {
        self.execute(
            "INSERT OR REPLACE INTO memory VALUES (?1, ?2)",
            [key, value],
        )?;
        Ok(())
    }

    /// What is remembered under a key, seen from within this change.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn recall(&self, key: &str) -> Result<Option<String>, StoreError> {
        recall(&self.transaction, key).map_err(|e| self.sql(e))
    }

    fn execute(&self, step: &str, with: impl rusqlite::Params) -> Result<usize, StoreError> {
        self.transaction
            .execute(step, with)
            .map_err(|e| self.sql(e))
    }

    fn some(&self, marked: usize, key: &str) -> Result<(), StoreError> {
        if marked == 0 {
            return Err(self.none(key));
        }
        Ok(())
    }

    fn none(&self, key: &str) -> StoreError {
        StoreError::NoMessage {
            key: key.to_owned(),
            doing: self.doing.to_owned(),
        }
    }
}

impl JournalStore {
    /// What is to be sent now: of use still, by priority, then by age.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn due(&self, now: DateTime<Utc>) -> Result<Vec<Message>, StoreError> {
        self.messages(
            "state = 'new' AND not_before <= ?1 AND expires_at > ?1
             ORDER BY priority DESC, not_before, rowid",
            [now.timestamp_millis()],
        )
    }

    /// When the next message is due, or of no use any more; in the past if one
    /// is due already.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn next_due(&self) -> Result<Option<DateTime<Utc>>, StoreError> {
        self.reading("reading the outbox", |connection| {
            connection
                .query_row(
                    "SELECT min(min(not_before, expires_at)) FROM outbox WHERE state = 'new'",
                    [],
                    |row| row.get::<_, Option<i64>>(0),
                )
                .map(|at| at.and_then(DateTime::from_timestamp_millis))
        })
    }

    /// A message by its key.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn message(&self, key: &str) -> Result<Option<Message>, StoreError> {
        self.reading("reading the outbox", |connection| message(connection, key))
    }

    /// What was dropped and not told yet, oldest first.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn dropped_untold(&self) -> Result<Vec<Message>, StoreError> {
        self.messages("state = 'dropped' AND told_at IS NULL ORDER BY rowid", [])
    }

    /// What left at `since` or later, oldest first.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn sent_since(&self, since: DateTime<Utc>) -> Result<Vec<Message>, StoreError> {
        self.messages(
            "state = 'sent' AND sent_at >= ?1 ORDER BY sent_at, rowid",
            [since.timestamp_millis()],
        )
    }

    /// What is remembered under a key.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn recall(&self, key: &str) -> Result<Option<String>, StoreError> {
        self.reading("reading what the service remembers", |connection| {
            recall(connection, key)
        })
    }

    fn messages(
        &self,
        which: &str,
        with: impl rusqlite::Params,
    ) -> Result<Vec<Message>, StoreError> {
        self.reading("reading the outbox", |connection| {
            connection
                .prepare(&format!("SELECT {COLUMNS} FROM outbox WHERE {which}"))?
                .query_map(with, read)?
                .collect()
        })
    }
}

fn message(connection: &Connection, key: &str) -> rusqlite::Result<Option<Message>> {
    connection
        .query_row(
            &format!("SELECT {COLUMNS} FROM outbox WHERE key = ?1"),
            [key],
            read,
        )
        .optional()
}

fn recall(connection: &Connection, key: &str) -> rusqlite::Result<Option<String>> {
    connection
        .query_row("SELECT value FROM memory WHERE key = ?1", [key], |row| {
            row.get(0)
        })
        .optional()
}

fn read(row: &Row<'_>) -> rusqlite::Result<Message> {
    let word: String = row.get(6)?;
    let state = State::ALL
        .iter()
        .find(|(_, known)| *known == word)
        .map(|(state, _)| *state)
        .ok_or_else(|| {
            rusqlite::Error::FromSqlConversionFailure(
                6,
                rusqlite::types::Type::Text,
                format!("no state \"{word}\"").into(),
            )
        })?;
    let sent_at = match row.get::<_, Option<i64>>(10)? {
        Some(_) => Some(instant(row, 10)?),
        None => None,
    };
    Ok(Message {
        message: Outgoing {
            key: row.get(0)?,
            not_before: instant(row, 1)?,
            expires_at: instant(row, 2)?,
            priority: row.get(3)?,
            about: row.get(4)?,
            payload: row.get(5)?,
        },
        state,
        attempts: row.get(7)?,
        last_error: row.get(8)?,
        queued_at: instant(row, 9)?,
        sent_at,
    })
}
