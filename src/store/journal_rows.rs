//! The rows of the journal, put together to entries.

use super::entry_fields as fields;
use super::journal::{Act, Listed, Revision};
use super::journal_id::EntryId;
use crate::facts::journal::{Entry, Kind, Noted};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, Row};
use std::collections::BTreeMap;

/// The rows of one entry, put together.
#[derive(Default)]
pub(super) struct Thread {
    pub history: Vec<Revision>,
    /// Versions that are not undone, with the numbers of their rows.
    pub versions: Vec<(i64, Entry)>,
    /// The version undone last.
    gone: Option<Entry>,
}

impl Thread {
    /// The entry as it stands, or as it last stood where those undone are
    /// wanted; `None` when it is of the other sort.
    pub fn listed(mut self, id: EntryId, undone: bool) -> Option<Listed> {
        let standing = self.versions.pop().map(|(_, entry)| entry);
        if standing.is_some() == undone {
            return None;
        }
        Some(Listed {
            id,
            recorded: self.history.first()?.at,
            changed: self.history.last()?.at,
            revisions: self.history.len(),
            entry: standing.or(self.gone)?,
        })
    }
}

/// All entries, or one, from their rows.
pub(super) fn threads(
    connection: &Connection,
    only: Option<EntryId>,
) -> rusqlite::Result<BTreeMap<i64, Thread>> {
    let mut statement = connection.prepare(
        "SELECT number, entry, act, at, undoes, kind, date, trees, crop, note, fields
         FROM revision WHERE ?1 IS NULL OR entry = ?1 ORDER BY number",
    )?;
    let mut rows = statement.query([only.map(|id| id.0)])?;
    let mut threads: BTreeMap<i64, Thread> = BTreeMap::new();
    while let Some(row) = rows.next()? {
        let number: i64 = row.get(0)?;
        let thread = threads.entry(row.get(1)?).or_default();
        let at = instant(row, 3)?;
        let act: String = row.get(2)?;
        let act = if act == "undo" {
            let undoes: i64 = row.get(4)?;
            if let Some(at) = thread.versions.iter().position(|(n, _)| *n == undoes) {
                thread.gone = Some(thread.versions.remove(at).1);
            }
            Act::Undone
        } else {
            let entry = entry(row)?;
            thread.versions.push((number, entry.clone()));
            if act == "edit" {
                Act::Edited(entry)
            } else {
                Act::Recorded(entry)
            }
        };
        thread.history.push(Revision { at, act });
    }
    Ok(threads)
}

/// The entry of a row.
fn entry(row: &Row<'_>) -> rusqlite::Result<Entry> {
    let unreadable = |column: usize, why: String| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, why.into())
    };
    let word: String = row.get(5)?;
    let kind = Kind::read(&word).ok_or_else(|| unreadable(5, format!("no kind \"{word}\"")))?;
    let date: String = row.get(6)?;
    let trees: String = row.get(7)?;
    let body: String = row.get(10)?;
    Ok(Noted {
        date: date
            .parse()
            .map_err(|_| unreadable(6, format!("no date \"{date}\"")))?,
        trees: serde_json::from_str(&trees).map_err(|e| unreadable(7, e.to_string()))?,
        crop: row.get(8)?,
        note: row.get(9)?,
        what: fields::read(kind, &body).map_err(|why| unreadable(10, why))?,
    })
}

/// Whether a row can be read as a revision.
pub(super) fn is_readable(row: &Row<'_>) -> bool {
    let act: rusqlite::Result<String> = row.get(2);
    instant(row, 3).is_ok()
        && match act.as_deref() {
            Ok("undo") => row.get::<_, i64>(4).is_ok(),
            Ok("record" | "edit") => entry(row).is_ok(),
            _ => false,
        }
}

/// An instant kept in milliseconds since 1970.
pub(super) fn instant(row: &Row<'_>, column: usize) -> rusqlite::Result<DateTime<Utc>> {
    let at: i64 = row.get(column)?;
    DateTime::from_timestamp_millis(at).ok_or(rusqlite::Error::IntegralValueOutOfRange(column, at))
}
