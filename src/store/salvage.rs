//! A damaged journal: copied, told, and what can still be read brought over
//! into a sound file when the keeper asks for it.

use super::error::StoreError;
use super::file;
use super::journal::LAYOUT;
use super::journal_rows::is_readable;
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Rows looked for where the file no longer says how many there were.
const MOST_ROWS: i64 = 20_000;

/// What came over from a damaged journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Salvaged {
    /// Rows of the journal brought over: records, edits and undos.
    pub rows: usize,
    /// Numbers of rows that could not be read.
    pub lost: Vec<i64>,
    /// Messages of the outbox brought over; what is missing may be said again.
    pub messages: usize,
    /// The damaged file as it was.
    pub copy: PathBuf,
}

/// Copies a journal that proves damaged and says where the copy is; leaves
/// everything else as it is.
pub(super) fn told<T>(path: &Path, result: Result<T, StoreError>) -> Result<T, StoreError> {
    match result {
        Err(StoreError::Damaged { file, why, .. }) => {
            let copy = set_copy_aside(path)?;
            Err(StoreError::JournalDamaged { file, copy, why })
        }
        other => other,
    }
}

/// Copies the file and its log under a name made of what is in them, so that
/// one state of a file is copied once.
fn set_copy_aside(path: &Path) -> Result<PathBuf, StoreError> {
    let doing = "copying the damaged journal";
    let failed = |e: io::Error| StoreError::io(&e, path, doing);
    let [log, _] = file::companions(path);
    let mut sum = flate2::Crc::new();
    sum.update(&fs::read(path).map_err(failed)?);
    if let Ok(bytes) = fs::read(&log) {
        sum.update(&bytes);
    }
    let copy = file::beside(path, &format!("damaged-{:08x}", sum.sum()));
    if !copy.exists() {
        copy_with_log(path, &copy).map_err(failed)?;
    }
    Ok(copy)
}

fn copy_with_log(from: &Path, to: &Path) -> io::Result<()> {
    let ([log, _], [log_copy, _]) = (file::companions(from), file::companions(to));
    file::remove_with_companions(to)?;
    if log.exists() {
        private_copy(&log, &log_copy)?;
    }
    // Under another name until it is complete: the name says that it is.
    let draft = file::beside(to, "draft");
    file::remove_with_companions(&draft)?;
    private_copy(from, &draft)?;
    fs::rename(&draft, to)
}

fn private_copy(from: &Path, to: &Path) -> io::Result<()> {
    file::create_private(to)?;
    let mut target = fs::OpenOptions::new().write(true).open(to)?;
    io::copy(&mut fs::File::open(from)?, &mut target)?;
    target.sync_all()
}

/// Puts a sound journal in the place of a damaged one, with every row that can
/// still be read. The damaged file stays beside it as a copy. To be run while
/// nothing else uses the journal.
///
/// # Errors
/// [`StoreError`]; then the damaged file is still in its place.
pub fn salvage(path: &Path) -> Result<Salvaged, StoreError> {
    let doing = "salvaging the journal";
    let failed = |e: io::Error| StoreError::io(&e, path, doing);
    let copy = set_copy_aside(path)?;
    let sound = file::beside(path, &format!("new-{}", std::process::id()));
    let reading = file::beside(path, &format!("reading-{}", std::process::id()));
    let brought = bring_over(&copy, &reading, &sound, doing);
    let swept = file::remove_with_companions(&reading);
    let salvaged = match brought {
        Ok(salvaged) => salvaged,
        Err(error) => {
            file::remove_with_companions(&sound).map_err(failed)?;
            return Err(error);
        }
    };
    swept.map_err(failed)?;
    // The old log must not be played into the new file; it is in the copy.
    for companion in file::companions(path) {
        match fs::remove_file(companion) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(failed(e)),
            _ => {}
        }
    }
    fs::rename(&sound, path).map_err(failed)?;
    file::sync_folder(path);
    Ok(salvaged)
}

fn bring_over(
    copy: &Path,
    reading: &Path,
    sound: &Path,
    doing: &str,
) -> Result<Salvaged, StoreError> {
    LAYOUT.make_at(sound, doing)?;
    // As it is; then with the first page, which holds the plan of the file,
    // taken from the sound one.
    let mut best: Option<Found> = None;
    for mended in [false, true] {
        copy_with_log(copy, reading).map_err(|e| StoreError::io(&e, reading, doing))?;
        if mended {
            mend_first_page(reading, sound).map_err(|e| StoreError::io(&e, reading, doing))?;
        }
        let found = file::connect(reading)
            .and_then(|old| Found::in_file(&old))
            .unwrap_or_default();
        if best.as_ref().is_none_or(|best| found.rows() > best.rows()) {
            best = Some(found);
        }
        if best.as_ref().is_some_and(Found::is_whole) {
            break;
        }
    }
    let found = best.unwrap_or_default();
    let mut new = file::connect(sound).map_err(|e| StoreError::sql(e, sound, doing))?;
    found
        .put_into(&mut new)
        .map_err(|e| StoreError::sql(e, sound, doing))?;
    new.close()
        .map_err(|(_, e)| StoreError::sql(e, sound, doing))?;
    Ok(Salvaged {
        rows: found.revisions.len(),
        lost: found.lost,
        messages: found.outbox.len(),
        copy: copy.to_path_buf(),
    })
}

/// What could be read.
#[derive(Default)]
struct Found {
    revisions: Vec<Vec<Value>>,
    lost: Vec<i64>,
    outbox: Vec<Vec<Value>>,
    memory: Vec<Vec<Value>>,
}

impl Found {
    fn in_file(old: &Connection) -> rusqlite::Result<Found> {
        let mut found = Found::default();
        let last = last_row(old, "revision");
        for number in 1..=last.unwrap_or(MOST_ROWS) {
            let row = old.query_row(
                "SELECT * FROM revision WHERE number = ?1",
                [number],
                |row| {
                    if is_readable_revision(row) {
                        (0..11).map(|column| row.get(column)).collect()
                    } else {
                        Err(rusqlite::Error::InvalidQuery)
                    }
                },
            );
            match row {
                Ok(row) => found.revisions.push(row),
                Err(rusqlite::Error::QueryReturnedNoRows) if last.is_none() => {}
                Err(_) => found.lost.push(number),
            }
        }
        found.outbox = all_readable(old, "outbox", 12);
        found.memory = all_readable(old, "memory", 2);
        Ok(found)
    }

    fn rows(&self) -> usize {
        self.revisions.len() + self.outbox.len() + self.memory.len()
    }

    fn is_whole(&self) -> bool {
        self.lost.is_empty() && !self.revisions.is_empty()
    }

    fn put_into(&self, new: &mut Connection) -> rusqlite::Result<()> {
        // A row may point at one that is lost.
        new.pragma_update(None, "foreign_keys", false)?;
        let change = new.transaction()?;
        for (table, rows) in [
            ("revision", &self.revisions),
            ("outbox", &self.outbox),
            ("memory", &self.memory),
        ] {
            for row in rows {
                let places = vec!["?"; row.len()].join(", ");
                change.execute(
                    &format!("INSERT OR IGNORE INTO {table} VALUES ({places})"),
                    params_from_iter(row),
                )?;
            }
        }
        change.commit()
    }
}

/// The journal reads its rows with the number of the entry after the row's.
fn is_readable_revision(row: &rusqlite::Row<'_>) -> bool {
    row.get::<_, i64>(1).is_ok() && is_readable(row)
}

fn last_row(old: &Connection, table: &str) -> Option<i64> {
    let at_the_end = old.query_row(
        &format!("SELECT rowid FROM {table} ORDER BY rowid DESC LIMIT 1"),
        [],
        |row| row.get(0),
    );
    let counted = old.query_row(
        "SELECT seq FROM sqlite_sequence WHERE name = ?1",
        [table],
        |row| row.get(0),
    );
    at_the_end.ok().max(counted.ok())
}

fn all_readable(old: &Connection, table: &str, columns: usize) -> Vec<Vec<Value>> {
    let query = format!("SELECT * FROM {table} WHERE rowid = ?1");
    (1..=last_row(old, table).unwrap_or(MOST_ROWS))
        .filter_map(|number| {
            old.query_row(&query, [number], |row| {
                (0..columns).map(|column| row.get(column)).collect()
            })
            .ok()
        })
        .collect()
}

/// Gives a file the first page of a sound one of the same layout.
fn mend_first_page(damaged: &Path, sound: &Path) -> io::Result<()> {
    const PAGE: usize = 4096;
    let mut bytes = fs::read(damaged)?;
    let first = fs::read(sound)?;
    let pages = u32::try_from(bytes.len() / PAGE).unwrap_or(u32::MAX);
    for (to, from) in bytes.iter_mut().zip(first.iter().take(PAGE)) {
        *to = *from;
    }
    // Size in pages, then no free pages.
    let fields = pages.to_be_bytes().into_iter().chain([0; 8]);
    for (to, from) in bytes.iter_mut().skip(28).take(12).zip(fields) {
        *to = from;
    }
    fs::write(damaged, bytes)?;
    // Its log would write the old page back.
    let [log, index] = file::companions(damaged);
    for companion in [log, index] {
        match fs::remove_file(companion) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    Ok(())
}
