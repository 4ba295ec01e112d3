//! Where a password comes from, and how it is kept from being seen.
//!
//! It is read at each use and kept no longer than the use, so that a changed
//! one works without a restart. It never appears in a `Debug` text or in an
//! error.

use std::fmt;
use std::io::Read;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt};

use super::quoted;

/// A password. Its `Debug` text hides it, and it has no `Display`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Wraps a password.
    pub fn new(password: String) -> Self {
        Secret(password)
    }

    /// The password itself, for the one who must hand it over.
    pub fn expose(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(hidden)")
    }
}

/// Where the password is. Only the first line counts, without its line end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Password {
    /// A systemd credential: the file's full path under
    /// `$CREDENTIALS_DIRECTORY`. The service manager guards that folder, so
    /// owner and mode are not looked at.
    Credential(PathBuf),
    /// A file that its owner alone may read (mode 0600 or 0400) and that
    /// belongs to whoever runs the program.
    File(PathBuf),
    /// The name of an environment variable.
    Environment(String),
    /// A program and its arguments, run without a shell; what it prints is
    /// the password.
    Command {
        /// Program and arguments.
        words: Vec<String>,
        /// How long it may take; it is ended when the time is up.
        limit: Duration,
    },
    /// The password as it stood in the settings. The reader of the settings
    /// warns of it.
    Given(Secret),
}

/// More than any password: what is read of a file or of a program's output.
const MOST_BYTES: u64 = 64 * 1024;

impl Password {
    /// Fetches the password.
    ///
    /// # Errors
    /// In plain words, why there is none and how to mend it. It needs
    /// mending: nothing here passes by itself.
    pub async fn read(&self) -> Result<Secret, String> {
        match self {
            Password::Credential(path) => first_line(
                &file(path, false)?,
                &format!("the credential {}", path.display()),
            ),
            Password::File(path) => first_line(
                &file(path, true)?,
                &format!("the password file {}", path.display()),
            ),
            Password::Environment(name) => match std::env::var(name) {
                Ok(text) => first_line(text.as_bytes(), &format!("the variable {name}")),
                Err(std::env::VarError::NotPresent) => {
                    Err(format!("the environment variable {name} is not set"))
                }
                Err(std::env::VarError::NotUnicode(_)) => {
                    Err(format!("the environment variable {name} is not UTF-8 text"))
                }
            },
            Password::Command { words, limit } => command(words, *limit).await,
            Password::Given(secret) => first_line(secret.expose().as_bytes(), "the password"),
        }
    }
}

/// Reads a file, and looks at who may read it if that is asked for.
fn file(path: &Path, guarded: bool) -> Result<Vec<u8>, String> {
    let shown = path.display();
    let unreadable = |error: std::io::Error| format!("cannot read {shown}: {error}");
    // A pipe or a device would block the open.
    if !std::fs::metadata(path).map_err(unreadable)?.is_file() {
        return Err(format!("{shown} is not a file"));
    }
    let file = std::fs::File::open(path).map_err(unreadable)?;
    if guarded {
        let facts = file.metadata().map_err(unreadable)?;
        let mode = facts.mode() & 0o7777;
        if mode & 0o077 != 0 {
            return Err(format!(
                "{shown} can be read by others (mode {mode:04o}): run `chmod 600 {shown}`"
            ));
        }
        let own = rustix::process::geteuid().as_raw();
        if facts.uid() != own {
            return Err(format!(
                "{shown} belongs to user {}, not to user {own}, who runs this",
                facts.uid()
            ));
        }
    }
    let mut bytes = Vec::new();
    file.take(MOST_BYTES)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    Ok(bytes)
}

/// The first line of what was read.
fn first_line(bytes: &[u8], from: &str) -> Result<Secret, String> {
    let line = bytes.split(|byte| *byte == b'\n').next().unwrap_or(&[]);
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    if line.is_empty() {
        return Err(format!("{from} is empty"));
    }
    match std::str::from_utf8(line) {
        Ok(text) => Ok(Secret::new(text.to_owned())),
        Err(_) => Err(format!("{from} is not UTF-8 text")),
    }
}

/// Runs the program that knows the password.
async fn command(words: &[String], limit: Duration) -> Result<Secret, String> {
    let Some((program, arguments)) = words.split_first() else {
        return Err("the password command is empty".to_owned());
    };
    let mut child = tokio::process::Command::new(program)
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .kill_on_drop(true)
        .spawn()
        .map_err(|error| format!("cannot run the password command `{program}`: {error}"))?;
    let (out, err) = (child.stdout.take(), child.stderr.take());
    let run = async {
        // One after the other would stall a program that fills the second.
        let (printed, complaint) = futures_lite::future::zip(all_of(out), all_of(err)).await;
        (printed, complaint, child.wait().await)
    };
    let Ok((printed, complaint, end)) = tokio::time::timeout(limit, run).await else {
        return Err(format!(
            "the password command `{program}` did not end within {} s",
            limit.as_secs_f32()
        ));
    };
    let end = end.map_err(|error| format!("the password command `{program}`: {error}"))?;
    if !end.success() {
        let mut cause = format!("the password command `{program}` failed ({end})");
        let complaint = String::from_utf8_lossy(&complaint).into_owned();
        if let Some(line) = complaint.lines().find(|line| !line.trim().is_empty()) {
            cause.push_str(": ");
            cause.push_str(&quoted(line));
        }
        return Err(cause);
    }
    first_line(
        &printed,
        &format!("what the password command `{program}` printed"),
    )
}

/// What a pipe gives; of more than the limit the rest is thrown away. A broken
/// pipe counts as ended.
async fn all_of(pipe: Option<impl AsyncRead + Unpin>) -> Vec<u8> {
    let mut bytes = Vec::new();
    if let Some(mut pipe) = pipe {
        let _ = (&mut pipe).take(MOST_BYTES).read_to_end(&mut bytes).await;
        let _ = tokio::io::copy(&mut pipe, &mut tokio::io::sink()).await;
    }
    bytes
}
