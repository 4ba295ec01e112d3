//! What can go wrong with a kept file, and whether to try again.

use super::journal_id::EntryId;
use rusqlite::ErrorCode;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// A fault of the store. Every one says what was being done, to which file,
/// and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StoreError {
    /// The file cannot be read as what it should be.
    Damaged {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: String,
        /// What SQLite, or we, found wrong.
        why: String,
    },
    /// The journal is damaged. It was copied and left as it is; nothing is
    /// written to it until [`salvage`](super::salvage::salvage) has run.
    JournalDamaged {
        /// The journal.
        file: PathBuf,
        /// The copy of it as it was found.
        copy: PathBuf,
        /// What was found wrong.
        why: String,
    },
    /// The file was written by a newer budtide.
    Newer {
        /// The file.
        file: PathBuf,
        /// The version of its schema.
        found: i64,
        /// The newest version that this program knows.
        known: i64,
    },
    /// The file or its folder cannot be written.
    ReadOnly {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: String,
    },
    /// The disk is full.
    Full {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: String,
    },
    /// Another process holds the file for longer than we wait.
    Locked {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: String,
    },
    /// The file cannot be opened, or its folder cannot be made.
    NoAccess {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: String,
        /// What the system says.
        why: String,
    },
    /// No entry has this id.
    NoEntry {
        /// The id asked for.
        id: EntryId,
    },
    /// The entry is undone already.
    Undone {
        /// Its id.
        id: EntryId,
    },
    /// An entry that cannot stand in a journal.
    BadEntry {
        /// What is missing or wrong.
        why: String,
    },
    /// No message has this key, or it is not in a state that allows the step.
    NoMessage {
        /// The key.
        key: String,
        /// What was being done.
        doing: String,
    },
    /// Anything else that the disk or SQLite reports.
    Other {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: String,
        /// What was reported.
        why: String,
    },
}

impl StoreError {
    /// Whether the same step may succeed a little later without anybody
    /// doing anything.
    pub fn try_again(&self) -> bool {
        matches!(self, StoreError::Locked { .. })
    }

    /// Whether the file itself is unreadable.
    pub fn is_damage(&self) -> bool {
        matches!(
            self,
            StoreError::Damaged { .. } | StoreError::JournalDamaged { .. }
        )
    }

    /// From SQLite.
    pub(super) fn sql(error: rusqlite::Error, file: &Path, doing: &str) -> StoreError {
        let file = file.to_path_buf();
        let doing = doing.to_owned();
        let why = error.to_string();
        match &error {
            rusqlite::Error::SqliteFailure(failure, _) => match failure.code {
                ErrorCode::DatabaseBusy
                | ErrorCode::DatabaseLocked
                | ErrorCode::FileLockingProtocolFailed => StoreError::Locked { file, doing },
                ErrorCode::ReadOnly => StoreError::ReadOnly { file, doing },
                ErrorCode::DiskFull => StoreError::Full { file, doing },
                // A full disk also shows when the index of the write-ahead
                // log cannot grow.
                ErrorCode::SystemIoFailure
                    if failure.extended_code == rusqlite::ffi::SQLITE_IOERR_SHMSIZE =>
                {
                    StoreError::Full { file, doing }
                }
                ErrorCode::CannotOpen | ErrorCode::PermissionDenied => {
                    StoreError::NoAccess { file, doing, why }
                }
                ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => {
                    StoreError::Damaged { file, doing, why }
                }
                _ => StoreError::Other { file, doing, why },
            },
            rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::FromSqlConversionFailure(..) => {
                StoreError::Damaged { file, doing, why }
            }
            _ => StoreError::Other { file, doing, why },
        }
    }

    /// From the file system.
    pub(super) fn io(error: &io::Error, file: &Path, doing: &str) -> StoreError {
        let file = file.to_path_buf();
        let doing = doing.to_owned();
        match error.kind() {
            io::ErrorKind::ReadOnlyFilesystem => StoreError::ReadOnly { file, doing },
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                StoreError::Full { file, doing }
            }
            io::ErrorKind::PermissionDenied
            | io::ErrorKind::NotFound
            | io::ErrorKind::NotADirectory => StoreError::NoAccess {
                file,
                doing,
                why: error.to_string(),
            },
            _ => StoreError::Other {
                file,
                doing,
                why: error.to_string(),
            },
        }
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StoreError::Damaged { file, doing, why } => write!(
                f,
                "{doing}: {} is damaged ({why}); trying again will not help",
                file.display()
            ),
            StoreError::JournalDamaged { file, copy, why } => write!(
                f,
                "the journal {} is damaged ({why}). It was copied to {} and is left as it is; \
                 nothing is written until it is mended: restore a backup in its place, or salvage \
                 the entries that can still be read",
                file.display(),
                copy.display()
            ),
            StoreError::Newer { file, found, known } => write!(
                f,
                "{} was written by a newer budtide (version {found} of its layout, this program \
                 knows up to {known}); use the newer program, the file is left as it is",
                file.display()
            ),
            StoreError::ReadOnly { file, doing } => write!(
                f,
                "{doing}: {} or its folder cannot be written; allow writing there, trying again \
                 will not help",
                file.display()
            ),
            StoreError::Full { file, doing } => write!(
                f,
                "{doing}: no room left on the disk of {}; nothing was changed, make room and do \
                 it again",
                file.display()
            ),
            StoreError::Locked { file, doing } => write!(
                f,
                "{doing}: another process holds {}; nothing was changed, it is worth trying \
                 again in a moment",
                file.display()
            ),
            StoreError::NoAccess { file, doing, why } => write!(
                f,
                "{doing}: {} cannot be opened ({why}); trying again will not help",
                file.display()
            ),
            StoreError::NoEntry { id } => write!(f, "the journal has no entry {id}"),
            StoreError::Undone { id } => write!(f, "entry {id} is undone already"),
            StoreError::BadEntry { why } => write!(f, "not an entry for the journal: {why}"),
            StoreError::NoMessage { key, doing } => {
                write!(f, "{doing}: no such message waits ({key})")
            }
            StoreError::Other { file, doing, why } => {
                write!(f, "{doing}: {}: {why}", file.display())
            }
        }
    }
}

impl std::error::Error for StoreError {}
