//! The loop: wait, look, say.
//!
//! [`run`] waits for whatever may change the plan (the time, a clock that was
//! set, a machine that slept, the keeper's files, the journal, a button, a
//! signal) and then makes a round: fetch what is due, gather,
//! plan, say, deliver, and work out when to wake next.

mod fetching; // weather fetched beside the rounds
mod rounds; // gather, plan, say, deliver

use super::console::{Came, Desk, Door, from_settings};
use super::gather::{Folders, GatherError};
use super::lock::{Lock, LockError};
use super::log::Log;
use super::post;
use super::refresh::{Fetcher, Refreshed};
use super::round::Keeper;
use super::tell;
use super::wake::{Wake, Waker};
use crate::channels::desktop::Pressed;
use crate::clock;
use crate::config::fault::Fault;
use crate::config::knowledge::shelf::Shelf;
use crate::config::{self, Settings};
use crate::facts::knowledge::Knowledge;
use crate::store::StoreError;
use crate::store::journal::{self, JournalStore};
use crate::store::weather::{self};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::fmt;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, SystemTime};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::mpsc::UnboundedReceiver;
use tokio::task::JoinHandle;

/// The longest wait, should a wake-up be missed: four an hour.
const CAP: Duration = Duration::from_secs(15 * 60);

/// How long several changes of files are taken together.
const SETTLE: Duration = Duration::from_millis(700);

/// When to try again after a store that could not be written.
const AFTER_TROUBLE: TimeDelta = TimeDelta::minutes(5);

/// A clock before this day is wrong: the program did not exist.
const FIRST_DAY: (i32, u32, u32) = (2026, 11, 1);

/// How the service is run.
#[derive(Clone, Debug)]
pub struct Options {
    /// Where files lie.
    pub folders: Folders,
    /// How much it says of itself.
    pub log: Log,
    /// One round, and then the end.
    pub once: bool,
}

/// Why the service cannot start.
#[derive(Debug)]
pub enum RunError {
    /// The keeper's files have faults, or cannot be read.
    Gather(GatherError),
    /// Another one runs.
    Lock(LockError),
    /// The journal cannot be opened.
    Store(StoreError),
    /// The system refuses a timer, a signal or a thread.
    System(std::io::Error),
}

impl RunError {
    /// Whether only the keeper can mend it, so that starting anew is no use.
    pub fn is_for_the_keeper(&self) -> bool {
        matches!(
            self,
            RunError::Gather(GatherError::Faults(_)) | RunError::Lock(LockError::Held { .. })
        )
    }
}

impl fmt::Display for RunError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RunError::Gather(error) => error.fmt(f),
            RunError::Lock(error) => error.fmt(f),
            RunError::Store(error) => error.fmt(f),
            RunError::System(error) => write!(f, "the system refuses what waiting needs: {error}"),
        }
    }
}

impl std::error::Error for RunError {}

impl From<StoreError> for RunError {
    fn from(error: StoreError) -> Self {
        RunError::Store(error)
    }
}

impl From<std::io::Error> for RunError {
    fn from(error: std::io::Error) -> Self {
        RunError::System(error)
    }
}

/// Why it stirs.
enum Event {
    Fetched(Result<Refreshed, String>),
    Came(Box<Came>),
    Woke(Vec<Wake>),
    Pressed(Pressed),
    Reload,
    Stop(&'static str),
}

/// Runs the service until it is told to stop. Wants a tokio runtime with
/// time, I/O and signals.
///
/// # Errors
/// Why it cannot start. Once it runs, trouble is logged and outlived.
pub async fn run(options: Options) -> Result<(), RunError> {
    let log = options.log;
    let _lock = Lock::take(&options.folders.data).map_err(RunError::Lock)?;
    let mut signals = Signals::new()?;
    let mut waker = Waker::new()?;
    let mut service = Service::open(options)?;
    if service.options.once {
        service.round().await;
        return Ok(());
    }
    service.console = Console::open(&service.settings, &service.options.folders);
    service.watch(&waker);
    // Up as soon as the files are read and the journal is open: the first
    // round may wait for the network.
    tell::ready("looking at the season");
    log.info(
        "started",
        &[
            ("version", &env!("CARGO_PKG_VERSION")),
            ("process", &std::process::id()),
        ],
    );
    let mut event = Event::Woke(vec![Wake::Time]);
    loop {
        let stopped = tokio::select! {
            biased;
            name = signals.stop() => Some(name),
            () = service.answer(event, &waker) => None,
        };
        if let Some(name) = stopped {
            event = Event::Stop(name);
        } else {
            service.fetch();
            if let Err(error) = waker.arm(service.wake()) {
                log.error("cannot set the timer", &[("why", &error)]);
            }
            tell::alive();
            event = wait(
                &mut signals,
                &mut waker,
                &mut service.presses,
                &mut service.fetching,
                &mut service.console,
            )
            .await;
        }
        if let Event::Stop(name) = event {
            tell::stopping();
            service.fetcher.stop();
            service.put_down();
            log.info("stopped", &[("signal", &name)]);
            return Ok(());
        }
    }
}

/// Waits for the next reason to look.
async fn wait(
    signals: &mut Signals,
    waker: &mut Waker,
    presses: &mut Option<UnboundedReceiver<Pressed>>,
    fetching: &mut Option<Fetching>,
    console: &mut Option<Console>,
) -> Event {
    let cap = match tell::watchdog() {
        Some(limit) => CAP.min(limit / 2),
        None => CAP,
    };
    tokio::select! {
        biased;
        _ = signals.terminate.recv() => Event::Stop("TERM"),
        _ = signals.interrupt.recv() => Event::Stop("INT"),
        _ = signals.hangup.recv() => Event::Reload,
        pressed = press(presses) => Event::Pressed(pressed),
        fetched = fetched(fetching) => Event::Fetched(fetched),
        came = came(console) => Event::Came(Box::new(came)),
        wake = waker.next() => {
            let mut wakes: Vec<Wake> = wake.into_iter().collect();
            if wakes.iter().any(|wake| matches!(wake, Wake::Settings | Wake::Kept)) {
                tokio::time::sleep(SETTLE).await;
            }
            wakes.extend(waker.more());
            Event::Woke(wakes)
        }
        () = tokio::time::sleep(cap) => Event::Woke(Vec::new()),
    }
}

/// The next button; never, where there is no desktop.
async fn press(presses: &mut Option<UnboundedReceiver<Pressed>>) -> Pressed {
    if let Some(receiver) = presses
        && let Some(pressed) = receiver.recv().await
    {
        return pressed;
    }
    std::future::pending().await
}

/// A fetch under way, in a thread of its own: the sources wait long and
/// often.
type Fetching = JoinHandle<Result<Refreshed, StoreError>>;

/// What a fetch brought; never, where none is under way.
async fn fetched(fetching: &mut Option<Fetching>) -> Result<Refreshed, String> {
    let Some(handle) = fetching else {
        return std::future::pending().await;
    };
    let ended = handle.await;
    *fetching = None;
    match ended {
        Ok(Ok(refreshed)) => Ok(refreshed),
        Ok(Err(error)) => Err(error.to_string()),
        Err(error) => Err(format!("the fetch broke off: {error}")),
    }
}

/// The keeper's station console: its door, and the desk behind it.
struct Console {
    door: Door,
    desk: Desk,
}

impl Console {
    /// Opens the door, if the settings have one.
    fn open(settings: &Settings, folders: &Folders) -> Option<Self> {
        let choice = settings.weather.console_used()?;
        let file = folders.data.join(weather::FILE);
        let zone = settings.place.time_zone;
        Some(Console {
            door: Door::open(from_settings(choice)),
            desk: Desk::open(&choice.name, zone, &file, clock::now()),
        })
    }
}

/// What came from the console; never, where there is none.
async fn came(console: &mut Option<Console>) -> Came {
    match console {
        Some(console) => console.door.next().await,
        None => std::future::pending().await,
    }
}

struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hangup: Signal,
}

impl Signals {
    fn new() -> std::io::Result<Self> {
        Ok(Signals {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hangup: signal(SignalKind::hangup())?,
        })
    }

    async fn stop(&mut self) -> &'static str {
        tokio::select! {
            _ = self.terminate.recv() => "TERM",
            _ = self.interrupt.recv() => "INT",
        }
    }
}

/// What stands between two rounds.
struct Service {
    options: Options,
    /// What the files say, without the knowledge: it is most of what would
    /// lie in memory all day, and is read from the shelf for each look.
    settings: Settings,
    shelf: Shelf,
    /// Whether the files have faults since, so that these are not what they
    /// say any more.
    stale: bool,
    keeper: Keeper,
    presses: Option<UnboundedReceiver<Pressed>>,
    /// The sources of weather.
    fetcher: Arc<Fetcher>,
    /// A fetch under way.
    fetching: Option<Fetching>,
    /// The keeper's station console.
    console: Option<Console>,
    /// How many warnings of cold held after the last fetch.
    alerts: usize,
    /// When to fetch again; `None` where nothing is ever fetched.
    fetch_at: Option<DateTime<Utc>>,
    /// When to look again.
    next: DateTime<Utc>,
    /// What is waited for.
    status: String,
    /// How what is kept stood after the last round.
    kept: Kept,
}

/// How the kept files stand: a change by somebody else shows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Kept {
    journal: Option<i64>,
    weather: Vec<Option<(u64, SystemTime)>>,
}

impl Service {
    fn open(options: Options) -> Result<Self, RunError> {
        let (settings, shelf) = read(&options.folders.config)
            .map_err(|faults| RunError::Gather(GatherError::Faults(faults)))?;
        let store = JournalStore::open(&options.folders.data.join(journal::FILE))?;
        let post = post::open(&settings.delivery);
        for trouble in &post.troubles {
            options.log.error(&trouble.to_string(), &[]);
        }
        warn(options.log, &settings.warnings);
        let fetcher = fetching::fetcher(&settings, options.log);
        Ok(Service {
            fetch_at: (!fetcher.is_idle()).then(clock::now),
            fetcher,
            fetching: None,
            alerts: 0,
            console: None,
            keeper: Keeper::new(store, post.channels)?,
            options,
            settings,
            shelf,
            stale: false,
            presses: post.presses,
            next: clock::now(),
            status: String::new(),
            kept: Kept::default(),
        })
    }

    fn watch(&self, waker: &Waker) {
        let Folders { config, data } = &self.options.folders;
        if let Err(error) = waker.watch(config, data) {
            self.options.log.warning(
                "cannot watch the folders; changes are seen within a quarter of an hour",
                &[("why", &error)],
            );
        }
    }

    /// When to wake: for the next look or the next fetch.
    fn wake(&self) -> DateTime<Utc> {
        match self.fetch_at {
            Some(at) if self.fetching.is_none() => at.min(self.next),
            _ => self.next,
        }
    }

    /// Answers what it woke for.
    async fn answer(&mut self, event: Event, waker: &Waker) {
        match event {
            Event::Reload => {
                tell::reloading();
                self.reload(waker);
                self.round().await;
                tell::ready(&self.status);
            }
            Event::Pressed(pressed) => self.pressed(&pressed).await,
            Event::Fetched(fetched) => {
                if self.fetched(fetched) {
                    self.round().await;
                } else {
                    self.kept = self.kept_now();
                }
            }
            Event::Came(came) => self.came(*came).await,
            Event::Woke(wakes) => self.woke(&wakes, waker).await,
            Event::Stop(_) => {}
        }
    }

    /// Takes down what the station console sent; an hour that is over is looked
    /// at.
    async fn came(&mut self, came: Came) {
        let log = self.options.log;
        let now = came.arrived;
        // By a clock that is wrong no reading belongs anywhere.
        if now.date_naive() < first_day() {
            return;
        }
        let before = self.kept_now();
        let Some(console) = &mut self.console else {
            return;
        };
        let heard = console.desk.take(came);
        let trouble = console.desk.trouble(now);
        self.keeper.trouble("console", trouble);
        match heard {
            Ok(heard) => {
                for warning in &heard.warnings {
                    log.warning(warning, &[]);
                }
                if let Some(remark) = &heard.remark {
                    log.info(remark, &[]);
                }
                if heard.finished {
                    self.round().await;
                } else if before == self.kept {
                    // What is known of the hour so far changes no plan.
                    self.kept = self.kept_now();
                }
            }
            Err(error) => log.error(&error.to_string(), &[]),
        }
    }

    /// Keeps what the console sent of the hour that is not over.
    fn put_down(&mut self) {
        let Some(console) = &mut self.console else {
            return;
        };
        let rest = console.door.rest();
        let rest = rest
            .into_iter()
            .filter(|came| came.arrived.date_naive() >= first_day());
        let mut kept = rest
            .map(|came| console.desk.take(came).map(drop))
            .collect::<Vec<_>>();
        kept.push(console.desk.save(clock::now()));
        for error in kept.into_iter().filter_map(Result::err) {
            self.options.log.error(&error.to_string(), &[]);
        }
    }

    async fn woke(&mut self, wakes: &[Wake], waker: &Waker) {
        if wakes.contains(&Wake::Clock) {
            self.options
                .log
                .info("the clock was set, or the machine slept", &[]);
        }
        if wakes.contains(&Wake::Settings) {
            self.reload(waker);
        }
        let looked_for = wakes
            .iter()
            .any(|wake| matches!(wake, Wake::Clock | Wake::Settings));
        if looked_for || clock::now() >= self.next || self.kept_now() != self.kept {
            self.round().await;
        }
    }

    /// Reads the keeper's files anew; with faults the old ones stay in use.
    fn reload(&mut self, waker: &Waker) {
        let log = self.options.log;
        match read(&self.options.folders.config) {
            Ok((settings, shelf)) => {
                if settings.delivery != self.settings.delivery {
                    let post = post::open(&settings.delivery);
                    for trouble in &post.troubles {
                        log.error(&trouble.to_string(), &[]);
                    }
                    self.keeper.leave_by(post.channels);
                    self.presses = post.presses;
                }
                warn(log, &settings.warnings);
                if settings.place != self.settings.place
                    || settings.weather != self.settings.weather
                {
                    self.fetcher.stop();
                    self.fetcher = fetching::fetcher(&settings, log);
                    self.fetch_at = (!self.fetcher.is_idle()).then(clock::now);
                    self.put_down();
                    self.console = Console::open(&settings, &self.options.folders);
                    self.keeper.trouble("console", None);
                }
                (self.settings, self.shelf) = (settings, shelf);
                self.stale = false;
                self.keeper.trouble("settings", None);
                self.watch(waker);
                log.info("read the files anew", &[]);
            }
            Err(faults) => {
                self.stale = true;
                let found: Vec<String> = faults.iter().map(head).collect();
                for line in &found {
                    log.error(line, &[]);
                }
                log.error(
                    "the files have faults: those read before stay in use",
                    &[("faults", &found.len())],
                );
                self.keeper.trouble(
                    "settings",
                    Some(format!(
                        "Your files have faults, so the ones read before stay in use: {}. \
                         `budtide check` shows them all.",
                        found.first().map(String::as_str).unwrap_or_default()
                    )),
                );
            }
        }
    }

    fn kept_now(&self) -> Kept {
        let data = &self.options.folders.data;
        let stand = |path: &Path| {
            let facts = std::fs::metadata(path).ok()?;
            Some((facts.len(), facts.modified().ok()?))
        };
        let log = format!("{}-wal", weather::FILE);
        Kept {
            journal: self.keeper.store.version_elsewhere().ok(),
            weather: vec![stand(&data.join(weather::FILE)), stand(&data.join(log))],
        }
    }
}

/// Reads the keeper's files: what they say, and those of knowledge as they
/// stand.
fn read(folder: &Path) -> Result<(Settings, Shelf), Vec<Fault>> {
    let shelf = Shelf::open(Some(folder));
    let mut settings = config::load_with(folder, &shelf)?;
    settings.knowledge = Knowledge::default();
    Ok((settings, shelf))
}

fn first_day() -> NaiveDate {
    let (year, month, day) = FIRST_DAY;
    NaiveDate::from_ymd_opt(year, month, day).unwrap_or_default()
}

fn warn(log: Log, warnings: &[Fault]) {
    for warning in warnings {
        log.warning(&head(warning), &[]);
    }
}

/// A fault without its line, which may hold a secret: the log is read by
/// others.
fn head(fault: &Fault) -> String {
    fault.clone().unseen().to_string()
}
