//! What wakes the service: a moment of the wall clock, a clock that was set or
//! a machine that slept, and files that changed.
//!
//! tokio's sleep counts time awake and is late by a whole suspend. A timer of
//! the system on the wall clock (timerfd with a cancel on clock changes) is
//! right after both; a thread of its own waits for it and for inotify, so
//! that no unsafe code is needed. Nothing is counted on ticks: after each wake
//! all is worked out anew.

use chrono::{DateTime, Utc};
use rustix::event::{PollFd, PollFlags, poll};
use rustix::fs::inotify::{self, CreateFlags, WatchFlags};
use rustix::io::Errno;
use rustix::time::{
    Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, timerfd_create,
    timerfd_settime,
};
use std::io;
use std::mem::MaybeUninit;
use std::os::fd::OwnedFd;
use std::path::Path;
use std::sync::Arc;
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};

/// Why it woke.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wake {
    /// The moment has come.
    Time,
    /// The wall clock was set, or the machine slept.
    Clock,
    /// Something in the keeper's folder changed.
    Settings,
    /// Something that is kept changed: a journal entry, weather brought in.
    Kept,
}

/// Waits for all of it.
#[derive(Debug)]
pub struct Waker {
    timer: Arc<OwnedFd>,
    watch: Arc<OwnedFd>,
    wakes: UnboundedReceiver<Wake>,
    /// Watches of the keeper's folder; the others are of the data.
    settings: Arc<std::sync::Mutex<Vec<i32>>>,
}

impl Waker {
    /// Begins to wait. Nothing is armed or watched yet.
    ///
    /// # Errors
    /// The system has no more files or threads to give.
    pub fn new() -> io::Result<Self> {
        let timer = Arc::new(timerfd_create(
            TimerfdClockId::Realtime,
            TimerfdFlags::CLOEXEC | TimerfdFlags::NONBLOCK,
        )?);
        let watch = Arc::new(inotify::init(CreateFlags::CLOEXEC | CreateFlags::NONBLOCK)?);
        let settings = Arc::default();
        let (sender, wakes) = unbounded_channel();
        let thread = Thread {
            timer: Arc::clone(&timer),
            watch: Arc::clone(&watch),
            settings: Arc::clone(&settings),
            sender,
        };
        std::thread::Builder::new()
            .name("waker".to_owned())
            .stack_size(128 * 1024)
            .spawn(move || thread.run())?;
        Ok(Waker {
            timer,
            watch,
            wakes,
            settings,
        })
    }

    /// Watches the keeper's folder, with the folders of knowledge in it, and
    /// the folder of what is kept. May be called anew: what is watched
    /// already stays so.
    ///
    /// # Errors
    /// A folder cannot be watched; the moment still wakes.
    pub fn watch(&self, config: &Path, data: &Path) -> io::Result<()> {
        let mine = WatchFlags::CLOSE_WRITE
            | WatchFlags::MOVED_TO
            | WatchFlags::MOVED_FROM
            | WatchFlags::DELETE
            | WatchFlags::CREATE
            | WatchFlags::ONLYDIR;
        let mut watched = vec![inotify::add_watch(&*self.watch, config, mine)?];
        for folder in std::fs::read_dir(config)?.flatten() {
            let path = folder.path();
            if path.is_dir() && path != data {
                watched.push(inotify::add_watch(&*self.watch, path, mine)?);
            }
        }
        *self
            .settings
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner) = watched;
        let kept = WatchFlags::MODIFY | WatchFlags::MOVED_TO | WatchFlags::ONLYDIR;
        inotify::add_watch(&*self.watch, data, kept)?;
        Ok(())
    }

    /// Wakes at this moment of the wall clock, never before it, at once if it
    /// has passed.
    ///
    /// # Errors
    /// The system refuses the moment.
    pub fn arm(&self, at: DateTime<Utc>) -> io::Result<()> {
        let zero = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        // A moment of zero would disarm it. To the nanosecond: who wakes within
        // the second before finds nothing due, and would wake again and again.
        let due = Timespec {
            tv_sec: at.timestamp().max(1),
            tv_nsec: at.timestamp_subsec_nanos().min(999_999_999).into(),
        };
        let spec = Itimerspec {
            it_interval: zero,
            it_value: due,
        };
        timerfd_settime(
            &*self.timer,
            TimerfdTimerFlags::ABSTIME | TimerfdTimerFlags::CANCEL_ON_SET,
            &spec,
        )?;
        Ok(())
    }

    /// The next reason to wake. `None` if the waiting thread has ended.
    pub async fn next(&mut self) -> Option<Wake> {
        self.wakes.recv().await
    }

    /// What woke besides since then, taken off the list.
    pub fn more(&mut self) -> Vec<Wake> {
        let mut wakes = Vec::new();
        while let Ok(wake) = self.wakes.try_recv() {
            wakes.push(wake);
        }
        wakes
    }
}

struct Thread {
    timer: Arc<OwnedFd>,
    watch: Arc<OwnedFd>,
    settings: Arc<std::sync::Mutex<Vec<i32>>>,
    sender: UnboundedSender<Wake>,
}

impl Thread {
    /// Until nobody listens any more; the thread ends with the process.
    fn run(self) {
        while !self.sender.is_closed() {
            let mut waited = [
                PollFd::new(&*self.timer, PollFlags::IN),
                PollFd::new(&*self.watch, PollFlags::IN),
            ];
            match poll(&mut waited, None) {
                Ok(_) | Err(Errno::INTR) => {}
                Err(_) => return,
            }
            let ready = |at: usize, of: &[PollFd<'_>; 2]| !of[at].revents().is_empty();
            let (timer, watch) = (ready(0, &waited), ready(1, &waited));
            if timer && let Some(wake) = self.timer() {
                let _ = self.sender.send(wake);
            }
            if watch {
                for wake in self.files() {
                    let _ = self.sender.send(wake);
                }
            }
        }
    }

    fn timer(&self) -> Option<Wake> {
        let mut count = [0u8; 8];
        match rustix::io::read(&*self.timer, &mut count) {
            Ok(_) => Some(Wake::Time),
            Err(Errno::CANCELED) => Some(Wake::Clock),
            // Armed anew between the poll and the read.
            Err(_) => None,
        }
    }

    /// At most one wake of each sort for all that changed.
    fn files(&self) -> Vec<Wake> {
        let mut buffer = [const { MaybeUninit::<u8>::uninit() }; 4096];
        let mut reader = inotify::Reader::new(&*self.watch, &mut buffer);
        let mut wakes = Vec::new();
        while let Ok(event) = reader.next() {
            let settings = self
                .settings
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
                .contains(&event.wd());
            let name = event
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default();
            let wake = match settings {
                true if is_setting(&name) => Wake::Settings,
                false if is_kept(&name) => Wake::Kept,
                _ => continue,
            };
            if !wakes.contains(&wake) {
                wakes.push(wake);
            }
        }
        wakes
    }
}

/// Not the drafts and locks that editors leave.
fn is_setting(name: &str) -> bool {
    name.ends_with(".toml") && !name.starts_with('.') && !name.starts_with('#')
}

/// The kept files and their logs; not their indexes, which a reader writes.
fn is_kept(name: &str) -> bool {
    [".sqlite", ".sqlite-wal"]
        .iter()
        .any(|end| name.ends_with(end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn wait(waker: &mut Waker, least: Duration) -> Option<Wake> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build()
            .unwrap();
        runtime
            .block_on(async { tokio::time::timeout(least, waker.next()).await })
            .ok()
            .flatten()
    }

    #[test]
    fn a_moment_that_has_passed_wakes_at_once() {
        let mut waker = Waker::new().unwrap();
        waker.arm(Utc::now() - chrono::TimeDelta::hours(1)).unwrap();
        assert_eq!(wait(&mut waker, Duration::from_secs(20)), Some(Wake::Time));
    }

    #[test]
    fn nobody_wakes_before_the_moment() {
        let mut waker = Waker::new().unwrap();
        for at in [350, 700, 950] {
            let at = Utc::now() + chrono::TimeDelta::milliseconds(at);
            waker.arm(at).unwrap();
            assert_eq!(wait(&mut waker, Duration::from_secs(20)), Some(Wake::Time));
            assert!(Utc::now() >= at, "woken before {at}");
        }
    }

    #[test]
    fn changed_files_wake_and_drafts_do_not() {
        let config = tempfile::tempdir().unwrap();
        let data = config.path().join("data");
        let crops = config.path().join("crops");
        std::fs::create_dir(&data).unwrap();
        std::fs::create_dir(&crops).unwrap();
        let mut waker = Waker::new().unwrap();
        waker.watch(config.path(), &data).unwrap();
        std::fs::write(config.path().join(".place.toml.swp"), "x").unwrap();
        std::fs::write(data.join("service.lock"), "x").unwrap();
        assert_eq!(wait(&mut waker, Duration::from_millis(200)), None);
        std::fs::write(crops.join("apple.toml"), "x").unwrap();
        let long = Duration::from_secs(20);
        assert_eq!(wait(&mut waker, long), Some(Wake::Settings));
        waker.more();
        std::fs::write(data.join("journal.sqlite-wal"), "x").unwrap();
        loop {
            match wait(&mut waker, long) {
                Some(Wake::Kept) => break,
                Some(_) => {}
                None => panic!("a changed journal did not wake"),
            }
        }
    }
}
