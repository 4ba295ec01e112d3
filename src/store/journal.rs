//! The journal, and with it the outbox: what cannot be had again.
//!
//! Every change is a row added to `revision`; rows are never altered or
//! removed, and the file itself refuses it. An entry is what its rows make of
//! it: `record` begins it, `edit` lays another version on top, `undo` takes
//! the latest version away, and an entry without a version left is undone.
//!
//! What has to happen together is done in one [`Change`].

use super::entry_fields as fields;
use super::error::StoreError;
use super::file::Layout;
use super::journal_id::EntryId;
use super::journal_rows::{Thread, threads};
use super::salvage;
use crate::facts::journal::{Entry, Journal, Kind};
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Connection, Transaction, TransactionBehavior, params};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The usual name of the file.
pub const FILE: &str = "journal.sqlite";

pub(super) const LAYOUT: Layout = Layout {
    name: "journal",
    steps: &[
        "CREATE TABLE revision (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            entry INTEGER NOT NULL,
            act TEXT NOT NULL CHECK (act IN ('record', 'edit', 'undo')),
            at INTEGER NOT NULL,
            undoes INTEGER REFERENCES revision (number),
            kind TEXT,
            date TEXT,
            trees TEXT,
            crop TEXT,
            note TEXT,
            fields TEXT,
            CHECK ((act = 'undo') = (undoes IS NOT NULL)),
            CHECK ((act = 'undo') = (kind IS NULL))
        ) STRICT;
        CREATE INDEX revision_entry ON revision (entry);
        CREATE TRIGGER revision_stands BEFORE UPDATE ON revision
            BEGIN SELECT RAISE (ABORT, 'the journal is only added to'); END;
        CREATE TRIGGER revision_stays BEFORE DELETE ON revision
            BEGIN SELECT RAISE (ABORT, 'the journal is only added to'); END;",
        "CREATE TABLE outbox (
            key TEXT PRIMARY KEY,
            not_before INTEGER NOT NULL,
            expires_at INTEGER NOT NULL,
            priority INTEGER NOT NULL,
            about TEXT NOT NULL,
            payload TEXT NOT NULL,
            state TEXT NOT NULL CHECK (state IN ('new', 'sending', 'sent', 'dropped')),
            attempts INTEGER NOT NULL DEFAULT 0,
            last_error TEXT,
            queued_at INTEGER NOT NULL,
            sent_at INTEGER,
            told_at INTEGER
        ) STRICT;
        CREATE INDEX outbox_waiting ON outbox (state, not_before);
        CREATE TABLE memory (
            key TEXT PRIMARY KEY,
            value TEXT NOT NULL
        ) STRICT;",
    ],
    // A commit is on the disk before it is believed.
    synchronous: "FULL",
};

/// Which entries are wanted; everything by default.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Of these kinds; of all when empty.
    pub kinds: Vec<Kind>,
    /// From this day on.
    pub from: Option<NaiveDate>,
    /// Up to this day.
    pub to: Option<NaiveDate>,
    /// About this crop.
    pub crop: Option<String>,
    /// About this tree.
    pub tree: Option<String>,
    /// About this task.
    pub task: Option<String>,
    /// Those undone instead of those that stand.
    pub undone: bool,
}

impl Filter {
    fn lets(&self, entry: &Entry) -> bool {
        (self.kinds.is_empty() || self.kinds.contains(&entry.what.kind()))
            && self.from.is_none_or(|from| entry.date >= from)
            && self.to.is_none_or(|to| entry.date <= to)
            && (self.crop.is_none() || self.crop == entry.crop)
            && self
                .tree
                .as_ref()
                .is_none_or(|tree| entry.trees.contains(tree))
            && self
                .task
                .as_deref()
                .is_none_or(|task| entry.what.task() == Some(task))
    }
}

/// An entry with its id and its times.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// Its id.
    pub id: EntryId,
    /// When it was first recorded.
    pub recorded: DateTime<Utc>,
    /// When it was last edited or undone; when it was recorded, otherwise.
    pub changed: DateTime<Utc>,
    /// How many rows stand behind it: 1 as it was recorded.
    pub revisions: usize,
    /// What it says; what it last said, if it is undone.
    pub entry: Entry,
}

/// What was done to an entry.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// It was recorded.
    Recorded(Entry),
    /// It was edited, and says this since.
    Edited(Entry),
    /// The latest version was taken back.
    Undone,
}

/// One row of an entry's history.
#[derive(Clone, Debug, PartialEq)]
pub struct Revision {
    /// When it was done.
    pub at: DateTime<Utc>,
    /// What was done.
    pub act: Act,
}

/// What an undo took away and what it left.
#[derive(Clone, Debug, PartialEq)]
pub struct Undo {
    /// The version taken away.
    pub taken: Entry,
    /// The version that stands again; `None` when the entry is undone.
    pub left: Option<Entry>,
}

/// The journal and the outbox.
#[derive(Debug)]
pub struct JournalStore {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
}

/// Steps that are done together or not at all.
pub struct Change<'a> {
    pub(super) transaction: Transaction<'a>,
    pub(super) path: &'a Path,
    pub(super) doing: &'a str,
}

impl JournalStore {
    /// Opens the file, or begins one that only its owner may read.
    ///
    /// # Errors
    /// [`StoreError`]. A damaged journal is copied and left as it is:
    /// [`StoreError::JournalDamaged`].
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let connection = salvage::told(path, LAYOUT.open(path))?;
        Ok(JournalStore {
            connection,
            path: path.to_path_buf(),
        })
    }

    /// A journal that is in memory alone: for a rehearsal.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn in_memory() -> Result<Self, StoreError> {
        Ok(JournalStore {
            connection: LAYOUT.open_in_memory()?,
            path: PathBuf::from(":memory:"),
        })
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

    /// A number that differs from the one told before if another process or
    /// connection has changed the file since.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn version_elsewhere(&self) -> Result<i64, StoreError> {
        self.connection
            .query_row("PRAGMA data_version", [], |row| row.get(0))
            .map_err(|e| StoreError::sql(e, &self.path, "asking for changes"))
    }

    /// Does several steps in one transaction. `doing` stands in the error when
    /// one fails; then none is done.
    ///
    /// # Errors
    /// [`StoreError`], also what `steps` returns.
    pub fn change<T>(
        &mut self,
        doing: &str,
        steps: impl FnOnce(&Change<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let path = &self.path;
        let sql = |e| StoreError::sql(e, path, doing);
        let done = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(sql)
            .and_then(|transaction| {
                let change = Change {
                    transaction,
                    path,
                    doing,
                };
                let done = steps(&change)?;
                change.transaction.commit().map_err(sql)?;
                Ok(done)
            });
        salvage::told(path, done)
    }

    /// Records an entry and returns its id.
    ///
    /// # Errors
    /// [`StoreError`]; [`BadEntry`](StoreError::BadEntry) when something is
    /// missing or impossible.
    pub fn record(&mut self, entry: &Entry, now: DateTime<Utc>) -> Result<EntryId, StoreError> {
        self.change("recording an entry", |change| change.record(entry, now))
    }

    /// Lays another version on an entry.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoEntry`](StoreError::NoEntry),
    /// [`Undone`](StoreError::Undone), [`BadEntry`](StoreError::BadEntry).
    pub fn edit(
        &mut self,
        id: EntryId,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        self.change("changing an entry", |change| change.edit(id, entry, now))
    }

    /// Takes the latest version of an entry back: an edit, or the entry.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoEntry`](StoreError::NoEntry),
    /// [`Undone`](StoreError::Undone).
    pub fn undo(&mut self, id: EntryId, now: DateTime<Utc>) -> Result<Undo, StoreError> {
        self.change("undoing an entry", |change| change.undo(id, now))
    }

    /// Everything that stands, sorted by kind for the season and the plan.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn load(&self) -> Result<Journal, StoreError> {
        let listed = self.list(&Filter::default())?;
        Ok(Journal::from_entries(
            listed.into_iter().map(|listed| listed.entry),
        ))
    }

    /// Entries in the order of their dates; of one day, as recorded.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn list(&self, filter: &Filter) -> Result<Vec<Listed>, StoreError> {
        let threads = self.reading("reading the journal", |connection| {
            threads(connection, None)
        })?;
        let mut listed: Vec<Listed> = threads
            .into_iter()
            .filter_map(|(id, thread)| thread.listed(EntryId(id), filter.undone))
            .filter(|listed| filter.lets(&listed.entry))
            .collect();
        listed.sort_by_key(|listed| (listed.entry.date, listed.id));
        Ok(listed)
    }

    /// The entry recorded last that still stands.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn latest(&self) -> Result<Option<Listed>, StoreError> {
        let listed = self.list(&Filter::default())?;
        Ok(listed.into_iter().max_by_key(|listed| listed.id))
    }

    /// All that was done to an entry, first to last.
    ///
    /// # Errors
    /// [`StoreError`]; [`NoEntry`](StoreError::NoEntry).
    pub fn history(&self, id: EntryId) -> Result<Vec<Revision>, StoreError> {
        let threads = self.reading("reading an entry's history", |connection| {
            threads(connection, Some(id))
        })?;
        let thread = threads
            .into_values()
            .next()
            .ok_or(StoreError::NoEntry { id })?;
        Ok(thread.history)
    }

    /// The entries of a kind that stand, as a CSV with a head line.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn export_csv(&self, kind: Kind) -> Result<String, StoreError> {
        let doing = format!("writing the {} entries as CSV", kind.word());
        let failed = |why: String| StoreError::Other {
            file: self.path.clone(),
            doing: doing.clone(),
            why,
        };
        let listed = self.list(&Filter {
            kinds: vec![kind],
            ..Filter::default()
        })?;
        let mut writer = csv::Writer::from_writer(Vec::new());
        let head = ["id", "date", "crop", "trees"].iter();
        let tail = ["note", "recorded", "changed"].iter();
        let mut put =
            |row: Vec<String>| writer.write_record(row).map_err(|e| failed(e.to_string()));
        put(head
            .chain(fields::names(kind))
            .chain(tail)
            .map(|name| (*name).to_owned())
            .collect())?;
        for Listed {
            id,
            recorded,
            changed,
            entry,
            ..
        } in listed
        {
            let mut row = vec![
                id.to_string(),
                entry.date.to_string(),
                entry.crop.unwrap_or_default(),
                entry.trees.join("; "),
            ];
            row.extend(fields::values(&entry.what).iter().map(fields::cell));
            row.push(entry.note.unwrap_or_default());
            row.push(recorded.to_rfc3339());
            row.push(changed.to_rfc3339());
            put(row)?;
        }
        let bytes = writer.into_inner().map_err(|e| failed(e.to_string()))?;
        String::from_utf8(bytes).map_err(|e| failed(e.to_string()))
    }

    /// Reads, and tells and copies where the file proves damaged.
    pub(super) fn reading<T>(
        &self,
        doing: &str,
        read: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let read = read(&self.connection).map_err(|e| StoreError::sql(e, &self.path, doing));
        salvage::told(&self.path, read)
    }
}

impl Change<'_> {
    pub(super) fn sql(&self, error: rusqlite::Error) -> StoreError {
        StoreError::sql(error, self.path, self.doing)
    }

    /// As [`JournalStore::record`].
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn record(&self, entry: &Entry, now: DateTime<Utc>) -> Result<EntryId, StoreError> {
        fields::check(entry).map_err(|why| StoreError::BadEntry { why })?;
        let id = self
            .transaction
            .query_row(
                "SELECT coalesce(max(entry), 0) + 1 FROM revision",
                [],
                |row| row.get(0),
            )
            .map(EntryId)
            .map_err(|e| self.sql(e))?;
        self.add(id, "record", entry, now)?;
        Ok(id)
    }

    /// As [`JournalStore::edit`].
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn edit(&self, id: EntryId, entry: &Entry, now: DateTime<Utc>) -> Result<(), StoreError> {
        fields::check(entry).map_err(|why| StoreError::BadEntry { why })?;
        if self.thread(id)?.versions.is_empty() {
            return Err(StoreError::Undone { id });
        }
        self.add(id, "edit", entry, now)
    }

    /// As [`JournalStore::undo`].
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn undo(&self, id: EntryId, now: DateTime<Utc>) -> Result<Undo, StoreError> {
        let mut versions = self.thread(id)?.versions;
        let Some((number, taken)) = versions.pop() else {
            return Err(StoreError::Undone { id });
        };
        self.transaction
            .execute(
                "INSERT INTO revision (entry, act, at, undoes) VALUES (?1, 'undo', ?2, ?3)",
                params![id.0, now.timestamp_millis(), number],
            )
            .map_err(|e| self.sql(e))?;
        Ok(Undo {
            taken,
            left: versions.pop().map(|(_, entry)| entry),
        })
    }

    fn add(
        &self,
        id: EntryId,
        act: &str,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        self.transaction
            .execute(
                "INSERT INTO revision (entry, act, at, kind, date, trees, crop, note, fields)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                params![
                    id.0,
                    act,
                    now.timestamp_millis(),
                    entry.what.kind().word(),
                    entry.date.to_string(),
                    serde_json::Value::from(entry.trees.clone()).to_string(),
                    entry.crop,
                    entry.note,
                    fields::write(&entry.what),
                ],
            )
            .map_err(|e| self.sql(e))?;
        Ok(())
    }

    fn thread(&self, id: EntryId) -> Result<Thread, StoreError> {
        threads(&self.transaction, Some(id))
            .map_err(|e| self.sql(e))?
            .into_values()
            .next()
            .ok_or(StoreError::NoEntry { id })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::journal::{Fact, Noted};

    /// Here because only the open connection can be kept from growing.
    #[test]
    fn a_full_disk_changes_nothing_and_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = JournalStore::open(&folder.path().join(FILE)).unwrap();
        let pages: i64 = store
            .connection
            .query_row("PRAGMA page_count", [], |row| row.get(0))
            .unwrap();
        store
            .connection
            .query_row(&format!("PRAGMA max_page_count = {pages}"), [], |_| Ok(()))
            .unwrap();
        let entry = Noted {
            date: NaiveDate::from_ymd_opt(2025, 4, 9).unwrap(),
            trees: Vec::new(),
            crop: None,
            note: Some("much to say ".repeat(1_000)),
            what: Fact::Note,
        };
        let error = store.record(&entry, DateTime::UNIX_EPOCH).unwrap_err();
        assert!(matches!(error, StoreError::Full { .. }), "{error}");
        assert!(error.to_string().contains("recording an entry"), "{error}");
        let short = Noted {
            note: Some("little".to_owned()),
            ..entry
        };
        assert_eq!(store.load().unwrap(), Journal::default());
        assert_eq!(
            store.record(&short, DateTime::UNIX_EPOCH),
            Ok(EntryId(1)),
            "what still fits is kept"
        );
    }
}
