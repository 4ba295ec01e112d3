//! Opening a kept file: made whole or not at all, checked, brought up to
//! date, and set aside when it cannot be read.

use super::error::StoreError;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a step waits for another process before it gives up.
pub(super) const PATIENCE: Duration = Duration::from_secs(5);

/// What a file is and how it came to its present layout.
pub(super) struct Layout {
    /// What it is called in messages.
    pub name: &'static str,
    /// One script for each version; the version is their number.
    pub steps: &'static [&'static str],
    /// `FULL` where a commit must outlive a power cut.
    pub synchronous: &'static str,
}

impl Layout {
    /// The newest version.
    pub fn version(&self) -> i64 {
        i64::try_from(self.steps.len()).unwrap_or(i64::MAX)
    }

    /// Opens the file; makes it, and its folder, where there is none.
    ///
    /// A file is made beside its place and moved in when it is complete, so
    /// that an empty file in that place is always a damaged one.
    pub fn open(&self, path: &Path) -> Result<Connection, StoreError> {
        let doing = format!("opening the {}", self.name);
        let there = path
            .try_exists()
            .map_err(|e| StoreError::io(&e, path, &doing))?;
        if !there {
            self.make(path)?;
        }
        self.open_existing(path, &doing)
    }

    fn open_existing(&self, path: &Path, doing: &str) -> Result<Connection, StoreError> {
        match self.open_to_write(path, doing) {
            Err(StoreError::NoAccess { .. } | StoreError::ReadOnly { .. }) if path.is_file() => {
                self.open_to_read(path, doing)
            }
            other => other,
        }
    }

    /// Where nothing can be written, not even the index of the log, a file
    /// without a log can still be read; every change is refused.
    fn open_to_read(&self, path: &Path, doing: &str) -> Result<Connection, StoreError> {
        let read_only = || StoreError::ReadOnly {
            file: path.to_path_buf(),
            doing: doing.to_owned(),
        };
        let [log, _] = companions(path);
        if fs::metadata(log).is_ok_and(|log| log.len() > 0) {
            return Err(read_only());
        }
        let address = address(path).ok_or_else(read_only)?;
        let connection = Connection::open_with_flags(
            address,
            OpenFlags::SQLITE_OPEN_READ_ONLY
                | OpenFlags::SQLITE_OPEN_NO_MUTEX
                | OpenFlags::SQLITE_OPEN_URI,
        )
        .map_err(|e| StoreError::sql(e, path, doing))?;
        self.check(&connection, path, doing)?;
        let version = version(&connection).map_err(|e| StoreError::sql(e, path, doing))?;
        if version < self.version() {
            return Err(read_only());
        }
        Ok(connection)
    }

    /// A file that is in memory alone and gone with its connection.
    pub fn open_in_memory(&self) -> Result<Connection, StoreError> {
        let path = Path::new(":memory:");
        let sql = |e| StoreError::sql(e, path, "keeping things in memory");
        let mut connection = Connection::open_in_memory().map_err(sql)?;
        self.bring_up_to_date(&mut connection, path)?;
        Ok(connection)
    }

    fn open_to_write(&self, path: &Path, doing: &str) -> Result<Connection, StoreError> {
        let mut connection = connect(path).map_err(|e| StoreError::sql(e, path, doing))?;
        self.check(&connection, path, doing)?;
        self.bring_up_to_date(&mut connection, path)?;
        self.settle(&connection)
            .map_err(|e| StoreError::sql(e, path, doing))?;
        Ok(connection)
    }

    fn make(&self, path: &Path) -> Result<(), StoreError> {
        let doing = format!("making the {}", self.name);
        let failed = |e: io::Error| StoreError::io(&e, path, &doing);
        if let Some(folder) = path.parent() {
            make_folder(folder).map_err(failed)?;
        }
        let _alone = alone_in_folder(path);
        if path.exists() {
            return Ok(());
        }
        // A log without its file would be played into the new one.
        move_companions(path, &free_name(path, "left-over")).map_err(failed)?;
        let draft = beside(path, &format!("new-{}", std::process::id()));
        let made = self.make_at(&draft, &doing);
        let moved = made.and_then(|()| move_into_place(&draft, path).map_err(failed));
        let swept = remove_with_companions(&draft);
        moved?;
        swept.map_err(failed)
    }

    /// Moves a damaged file out of the way and says where it is now; `None`
    /// when another process has mended it meanwhile.
    pub fn set_aside_damaged(&self, path: &Path) -> Result<Option<PathBuf>, StoreError> {
        let doing = format!("setting the damaged {} aside", self.name);
        let _alone = alone_in_folder(path);
        match self.open_existing(path, &doing) {
            Err(error) if error.is_damage() => set_aside(path, &doing).map(Some),
            Err(StoreError::NoAccess { .. }) if !path.exists() => Ok(None),
            other => other.map(|_| None),
        }
    }

    /// Makes a complete new file in a place where nothing counts.
    pub fn make_at(&self, draft: &Path, doing: &str) -> Result<(), StoreError> {
        let failed = |e: io::Error| StoreError::io(&e, draft, doing);
        remove_with_companions(draft).map_err(failed)?;
        create_private(draft).map_err(failed)?;
        let mut connection = connect(draft).map_err(|e| StoreError::sql(e, draft, doing))?;
        self.bring_up_to_date(&mut connection, draft)?;
        self.settle(&connection)
            .map_err(|e| StoreError::sql(e, draft, doing))?;
        connection
            .close()
            .map_err(|(_, e)| StoreError::sql(e, draft, doing))
    }

    fn check(&self, connection: &Connection, path: &Path, doing: &str) -> Result<(), StoreError> {
        let sql = |e| StoreError::sql(e, path, doing);
        let found = version(connection).map_err(sql)?;
        let damaged = |why: String| StoreError::Damaged {
            file: path.to_path_buf(),
            doing: doing.to_owned(),
            why,
        };
        if found > self.version() {
            return Err(StoreError::Newer {
                file: path.to_path_buf(),
                found,
                known: self.version(),
            });
        }
        if found < 1 {
            return Err(damaged(format!(
                "it is empty or no {} of budtide",
                self.name
            )));
        }
        let word: String = connection
            .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
            .map_err(sql)?;
        if word == "ok" {
            Ok(())
        } else {
            Err(damaged(word))
        }
    }

    fn bring_up_to_date(&self, connection: &mut Connection, path: &Path) -> Result<(), StoreError> {
        let doing = format!("bringing the {} up to date", self.name);
        let sql = |e| StoreError::sql(e, path, &doing);
        if version(connection).map_err(sql)? >= self.version() {
            return Ok(());
        }
        let change = connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(sql)?;
        // Another process may have done it while this one waited.
        let from = usize::try_from(version(&change).map_err(sql)?).unwrap_or(0);
        for step in self.steps.iter().skip(from) {
            change.execute_batch(step).map_err(sql)?;
        }
        change
            .pragma_update(None, "user_version", self.version())
            .map_err(sql)?;
        change.commit().map_err(sql)
    }

    fn settle(&self, connection: &Connection) -> rusqlite::Result<()> {
        let mode: String = connection.query_row("PRAGMA journal_mode", [], |row| row.get(0))?;
        if mode != "wal" {
            // Where the file system cannot share memory it stays as it is.
            connection.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
        }
        connection.pragma_update(None, "synchronous", self.synchronous)?;
        connection.pragma_update(None, "foreign_keys", true)
    }
}

/// Opens a file that exists, with the usual patience.
pub(super) fn connect(path: &Path) -> rusqlite::Result<Connection> {
    let connection = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    connection.busy_timeout(PATIENCE)?;
    Ok(connection)
}

/// The file's address, as SQLite wants it to be told that nobody writes.
fn address(path: &Path) -> Option<String> {
    let mut address = "file:".to_owned();
    for byte in path.to_str()?.bytes() {
        match byte {
            b'/' | b'.' | b'-' | b'_' => address.push(char::from(byte)),
            _ if byte.is_ascii_alphanumeric() => address.push(char::from(byte)),
            _ => address.push_str(&format!("%{byte:02X}")),
        }
    }
    address.push_str("?immutable=1");
    Some(address)
}

/// The version of the layout, 0 in a file without one.
pub(super) fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

/// The path with a suffix.
pub(super) fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".");
    name.push(suffix);
    PathBuf::from(name)
}

/// Keeps other processes from making or moving files in the same folder as
/// long as it is held; nothing where the system has no such lock.
fn alone_in_folder(path: &Path) -> Option<fs::File> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let folder = fs::File::open(folder).ok()?;
    folder.lock().ok()?;
    Some(folder)
}

/// Moves a file that cannot be read out of the way and says where it is now.
pub(super) fn set_aside(path: &Path, doing: &str) -> Result<PathBuf, StoreError> {
    let failed = |e: io::Error| StoreError::io(&e, path, doing);
    let to = free_name(path, "damaged");
    fs::rename(path, &to).map_err(failed)?;
    move_companions(path, &to).map_err(failed)?;
    Ok(to)
}

/// The write-ahead log and its index, which belong to the file.
pub(super) fn companions(path: &Path) -> [PathBuf; 2] {
    ["-wal", "-shm"].map(|end| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        PathBuf::from(name)
    })
}

/// The first name `path.suffix-1`, `-2`, ... that is not taken.
fn free_name(path: &Path, suffix: &str) -> PathBuf {
    let mut number = 1_u32;
    loop {
        let name = beside(path, &format!("{suffix}-{number}"));
        let taken = name.exists() || companions(&name).iter().any(|other| other.exists());
        if !taken || number == u32::MAX {
            return name;
        }
        number += 1;
    }
}

fn move_companions(path: &Path, to: &Path) -> io::Result<()> {
    for (from, to) in companions(path).iter().zip(companions(to)) {
        match fs::rename(from, to) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    Ok(())
}

/// Removes a file and what belongs to it, if they are there.
pub(super) fn remove_with_companions(path: &Path) -> io::Result<()> {
    let [log, index] = companions(path);
    for file in [path, &log, &index] {
        match fs::remove_file(file) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    Ok(())
}

/// Moves a draft into a place that is still free; leaves what another process
/// put there first.
fn move_into_place(draft: &Path, path: &Path) -> io::Result<()> {
    match fs::hard_link(draft, path) {
        Ok(()) => {}
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => return Ok(()),
        // Some file systems have no links.
        Err(_) if !path.exists() => fs::rename(draft, path)?,
        Err(_) => return Ok(()),
    }
    sync_folder(path);
    Ok(())
}

/// Makes a new name in a folder outlive a power cut, where the system can.
pub(super) fn sync_folder(path: &Path) {
    if let Some(folder) = path.parent().and_then(|folder| fs::File::open(folder).ok()) {
        // A file system that cannot has nothing better to offer.
        let _ = folder.sync_all();
    }
}

/// An empty file that only its owner may read; SQLite gives its log the same
/// rights.
pub(super) fn create_private(path: &Path) -> io::Result<()> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    options.open(path).map(|_| ())
}

fn make_folder(folder: &Path) -> io::Result<()> {
    if folder.as_os_str().is_empty() || folder.is_dir() {
        return Ok(());
    }
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(0o700);
    }
    builder.create(folder)
}
