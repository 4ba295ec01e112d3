//! One service for one data folder.

use std::fmt;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::{Path, PathBuf};

/// The lock's file in the data folder.
pub const FILE: &str = "service.lock";

/// Held as long as the service runs; the system lets go of it when the
/// process ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

/// Why the lock was not had.
#[derive(Debug)]
pub enum LockError {
    /// Another service holds it.
    Held {
        /// The data folder.
        folder: PathBuf,
        /// Its process, if it wrote it down.
        process: Option<u32>,
    },
    /// The file cannot be made or locked.
    Io {
        /// The file.
        file: PathBuf,
        /// Why.
        error: std::io::Error,
    },
}

impl fmt::Display for LockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LockError::Held { folder, process } => {
                write!(f, "the service already runs for {}", folder.display())?;
                if let Some(process) = process {
                    write!(f, " (process {process})")?;
                }
                f.write_str("; `budtide service status` shows it")
            }
            LockError::Io { file, error } => {
                write!(f, "cannot lock {}: {error}", file.display())
            }
        }
    }
}

impl std::error::Error for LockError {}

impl Lock {
    /// Takes the lock of a data folder, and makes the folder if need be.
    ///
    /// # Errors
    /// Another service holds it, or the folder cannot be written.
    pub fn take(folder: &Path) -> Result<Lock, LockError> {
        let path = folder.join(FILE);
        let failed = |error| LockError::Io {
            file: path.clone(),
            error,
        };
        std::fs::create_dir_all(folder).map_err(failed)?;
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let _ = (&mut file).take(32).read_to_string(&mut text);
                return Err(LockError::Held {
                    folder: folder.to_path_buf(),
                    process: text.trim().parse().ok(),
                });
            }
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        // The number only helps whoever is refused: a full disk is no reason
        // not to run.
        let _ = file
            .set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| writeln!(file, "{}", std::process::id()));
        Ok(Lock { _file: file })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_one_is_refused_until_the_first_has_gone() {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("new/data");
        let held = Lock::take(&data).unwrap();
        let refused = Lock::take(&data).unwrap_err().to_string();
        assert_eq!(
            refused,
            format!(
                "the service already runs for {} (process {}); `budtide service status` shows it",
                data.display(),
                std::process::id()
            )
        );
        drop(held);
        Lock::take(&data).unwrap();
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, "").unwrap();
        let refused = Lock::take(&file.join("data")).unwrap_err().to_string();
        assert!(
            refused.starts_with("cannot lock ") && refused.contains("file/data/service.lock"),
            "{refused}"
        );
    }
}
