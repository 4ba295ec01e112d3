//! The service as a process: under a real `systemd --user`, and against what
//! may befall it. systemd, root and namespaces are the machine's: where it has
//! them not, a test says so and is skipped.

mod apart;
mod console;
mod faults;
mod life;

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The program under test.
pub(crate) const BUDTIDE: &str = env!("CARGO_BIN_EXE_budtide");

fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/service")
        .join(name)
}

/// A process that is ended with the test, however it ends.
pub(crate) struct Ended(pub(crate) Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Ended {
    /// Sends a signal by name.
    pub(crate) fn signal(&self, name: &str) {
        let number = self.0.id().to_string();
        assert!(
            Command::new("kill")
                .args([name, &number])
                .status()
                .unwrap()
                .success()
        );
    }

    /// Waits for the end, not longer than `most`.
    pub(crate) fn end(&mut self, most: Duration) -> Option<std::process::ExitStatus> {
        let began = Instant::now();
        while began.elapsed() < most {
            if let Some(status) = self.0.try_wait().unwrap() {
                return Some(status);
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        None
    }
}

/// A folder with the demo's files, and with `more` added to `place.toml`.
pub(crate) fn orchard(more: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
    for name in ["place.toml", "register.toml", "journal.toml"] {
        let mut text = std::fs::read_to_string(demo.join(name)).unwrap();
        if name == "place.toml" {
            text.push_str("\n[weather]\nsources = []\n");
            text.push_str(more);
        }
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

/// The service on a folder; its log goes to `log` there.
fn start(folder: &Path, more: &[&str]) -> Ended {
    let log = std::fs::File::options()
        .create(true)
        .append(true)
        .open(folder.join("log"))
        .unwrap();
    Ended(
        Command::new(BUDTIDE)
            .arg("--folder")
            .arg(folder)
            .args(["service", "run"])
            .args(more)
            .env_remove("NOTIFY_SOCKET")
            .env("DBUS_SESSION_BUS_ADDRESS", "unix:path=/nonexistent/bus")
            .stdout(log.try_clone().unwrap())
            .stderr(log)
            .stdin(Stdio::null())
            .spawn()
            .unwrap(),
    )
}

pub(crate) fn log(folder: &Path) -> String {
    std::fs::read_to_string(folder.join("log")).unwrap_or_default()
}

/// Waits until the log holds a text.
pub(crate) fn until_logged(folder: &Path, text: &str) {
    let began = Instant::now();
    while !log(folder).contains(text) {
        assert!(
            began.elapsed() < Duration::from_secs(60),
            "never logged {text:?}:\n{}",
            log(folder)
        );
        std::thread::sleep(Duration::from_millis(50));
    }
}
