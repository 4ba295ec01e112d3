//! The loop: wait, look, say.
//!
//! [`run`] waits for whatever may change the plan (the time, a clock that was
//! set, a machine that slept, the keeper's files, the journal, a button, a
//! signal) and then makes a round: fetch what is due, gather,
//! plan, say, deliver, and work out when to wake next.

use super::apart::{self, Question, Reply, Unanswered};
use super::console::{Came, Desk, Door, from_settings};
use super::gather::{self, Folders, GatherError, Look};
use super::lock::{Lock, LockError};
use super::log::Log;
use super::post;
use super::refresh::{Fetcher, Manner, Refreshed, Wanted};
use super::round::{Answer, Keeper, Next};
use super::tell;
use super::wake::{Wake, Waker};
use crate::channels::desktop::Pressed;
use crate::clock;
use crate::config::fault::Fault;
use crate::config::knowledge::shelf::Shelf;
use crate::config::{self, Settings, knowledge};
use crate::facts::Facts;
use crate::facts::knowledge::Knowledge;
use crate::store::StoreError;
use crate::store::journal::{self, JournalStore};
use crate::store::weather::{self, WeatherStore};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::fmt;
use std::ops::ControlFlow;
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
        let fetcher = fetcher(&settings, options.log);
        Ok(Service {
            fetch_at: (!fetcher.is_idle()).then(clock::now),
            fetcher,
            fetching: None,
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

    /// Begins a fetch if one is due and none is under way.
    fn fetch(&mut self) {
        let now = clock::now();
        if self.fetching.is_some()
            || now.date_naive() < first_day()
            || self.fetch_at.is_none_or(|at| now < at)
        {
            return;
        }
        let fetcher = Arc::clone(&self.fetcher);
        let file = self.options.folders.data.join(weather::FILE);
        self.fetching = Some(tokio::task::spawn_blocking(move || {
            let mut store = WeatherStore::open(&file)?;
            fetcher.round(&mut store, now, Wanted::Due, &mut |_| {
                ControlFlow::Continue(())
            })
        }));
    }

    /// Takes in what a fetch brought.
    fn fetched(&mut self, fetched: Result<Refreshed, String>) {
        let log = self.options.log;
        let soonest = clock::now() + AFTER_TROUBLE;
        match fetched {
            Ok(refreshed) => {
                for fault in &refreshed.faults {
                    log.warning(
                        &fault.text,
                        &[
                            ("source", &fault.source),
                            ("again", &fault.next.format("%Y-%m-%dT%H:%M:%SZ")),
                        ],
                    );
                }
                if let Some(file) = &refreshed.set_aside {
                    log.warning(
                        "the kept weather was damaged and is fetched anew",
                        &[("aside", &file.display())],
                    );
                }
                log.info(
                    "weather fetched",
                    &[
                        ("days", &refreshed.new_days),
                        ("hours", &refreshed.new_hours),
                        ("corrected", &refreshed.corrected),
                        ("forecast", &refreshed.forecast),
                    ],
                );
                let told: Vec<&str> = refreshed
                    .faults
                    .iter()
                    .filter(|fault| fault.tell)
                    .map(|fault| fault.text.as_str())
                    .collect();
                self.keeper
                    .trouble("weather", (!told.is_empty()).then(|| told.join(" ")));
                // Never at once again, whatever the sources say. One that was
                // broken off served settings that are gone: the new ones ask.
                let at_once = clock::now() + TimeDelta::seconds(30);
                self.fetch_at = match refreshed.stopped {
                    true => Some(at_once),
                    false => refreshed.next_due.map(|at| at.max(at_once)),
                };
            }
            Err(error) => {
                log.error(&error, &[]);
                self.fetch_at = Some(soonest);
            }
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
                self.fetched(fetched);
                self.round().await;
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
                    self.fetcher = fetcher(&settings, log);
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

    /// One round: gather, plan, say, deliver. Trouble is logged, and tried
    /// again in a while.
    async fn round(&mut self) {
        let now = clock::now();
        if now.date_naive() < first_day() {
            self.options.log.error(
                "the clock of this machine is wrong: nothing is sent until it is set",
                &[("clock", &now.format("%Y-%m-%d %H:%M"))],
            );
            self.next = now + AFTER_TROUBLE;
            return;
        }
        let console = self.console.as_ref();
        if let Some(silence) = console.and_then(|console| console.desk.trouble(now)) {
            self.keeper.trouble("console", Some(silence));
        }
        match self.look(now).await {
            Ok(()) => {}
            Err(error) => {
                self.options.log.error(&error.to_string(), &[]);
                self.next = now + AFTER_TROUBLE;
                self.status = "trouble; the log tells it; tried again in 5 minutes".to_owned();
            }
        }
        self.kept = self.kept_now();
        tell::status(&self.status);
    }

    async fn look(&mut self, now: DateTime<Utc>) -> Result<(), GatherError> {
        let began = std::time::Instant::now();
        let next = self.next_look(now).await?;
        let took = began.elapsed().as_millis();
        self.deliver(now, next.wake).await?;
        self.status = next.status;
        self.options.log.write(
            super::log::Level::Debug,
            "looked",
            &[
                ("ms", &took),
                ("next", &self.next.format("%Y-%m-%dT%H:%M:%SZ")),
            ],
        );
        Ok(())
    }

    /// Looks, in a process of its own where it can.
    async fn next_look(&mut self, now: DateTime<Utc>) -> Result<Next, GatherError> {
        match self.apart(now, None).await? {
            Some(Reply::Looked(next, troubles)) => {
                self.keeper.take_troubles(troubles);
                Ok(next)
            }
            Some(other) => Err(odd(&other)),
            None => {
                let facts = self.facts(now)?;
                Ok(self.keeper.look(&facts, now)?)
            }
        }
    }

    /// Asks a process of its own; `None` where the look must be here: by
    /// files that are not there any more, or where none can be started.
    async fn apart(
        &self,
        now: DateTime<Utc>,
        pressed: Option<&Pressed>,
    ) -> Result<Option<Reply>, GatherError> {
        if self.stale || self.options.once {
            return Ok(None);
        }
        let question = Question {
            config: self.options.folders.config.clone(),
            data: self.options.folders.data.clone(),
            now,
            ways: self.keeper.ways().to_vec(),
            troubles: self.keeper.troubles().clone(),
            pressed: pressed.map(|pressed| (pressed.message.clone(), pressed.action.clone())),
        };
        match apart::ask(&question).await {
            Ok(Reply::Faults) => Ok(None),
            Ok(Reply::Trouble(text)) => Err(GatherError::Weather(text)),
            Ok(reply) => Ok(Some(reply)),
            Err(error @ Unanswered::Unstarted(_)) => {
                self.options.log.warning(&error.to_string(), &[]);
                Ok(None)
            }
            Err(error) => Err(GatherError::Weather(error.to_string())),
        }
    }

    async fn deliver(&mut self, now: DateTime<Utc>, wake: DateTime<Utc>) -> Result<(), StoreError> {
        let delivered = self.keeper.deliver(&self.settings.place, now).await?;
        for trouble in &delivered.troubles {
            self.options.log.warning(trouble, &[]);
        }
        if delivered.sent > 0 {
            self.options
                .log
                .info("sent", &[("messages", &delivered.sent)]);
        }
        // Never at once again: what is due now was just tried.
        let soonest = now + TimeDelta::seconds(5);
        self.next = delivered
            .next
            .map_or(wake, |due| due.min(wake))
            .max(soonest);
        Ok(())
    }

    async fn pressed(&mut self, pressed: &Pressed) {
        let log = self.options.log;
        let now = clock::now();
        match self.answer_to(pressed, now).await {
            Ok(Answer::Noted(line)) => {
                log.info(&line, &[]);
                self.round().await;
            }
            Ok(Answer::Explained) => {
                if let Err(error) = self.deliver(now, self.next).await {
                    log.error(&error.to_string(), &[]);
                }
            }
            Ok(Answer::Refused(why)) => log.warning(&why, &[]),
            Ok(Answer::Unknown) => {
                log.warning(
                    "a button of a message that is not known any more",
                    &[("action", &pressed.action)],
                );
            }
            Err(error) => log.error(&error.to_string(), &[]),
        }
    }

    async fn answer_to(
        &mut self,
        pressed: &Pressed,
        now: DateTime<Utc>,
    ) -> Result<Answer, GatherError> {
        match self.apart(now, Some(pressed)).await? {
            Some(Reply::Pressed(answer)) => Ok(answer),
            Some(other) => Err(odd(&other)),
            None => {
                let facts = self.facts(now)?;
                let (message, action) = (&pressed.message, &pressed.action);
                Ok(self.keeper.pressed(&facts, message, action, now)?)
            }
        }
    }

    /// The facts as they stand at this moment.
    fn facts(&self, now: DateTime<Utc>) -> Result<Facts, GatherError> {
        let zone = self.settings.place.time_zone;
        let look = Look {
            now: Some(now),
            ..Look::morning(now.with_timezone(&zone).date_naive())
        };
        let settings = Settings {
            knowledge: knowledge::on(&self.shelf, None).map_err(GatherError::Faults)?,
            ..self.settings.clone()
        };
        gather::facts_of(settings, &self.options.folders, look)
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

/// The sources that the settings name; the log tells of those that cannot be
/// asked.
fn fetcher(settings: &Settings, log: Log) -> Arc<Fetcher> {
    let fetcher = Fetcher::new(settings, Manner::Background, u64::from(std::process::id()));
    for unasked in fetcher.unasked().iter().filter(|unasked| unasked.fault) {
        log.warning(&unasked.why, &[]);
    }
    Arc::new(fetcher)
}

/// An answer to another question.
fn odd(reply: &Reply) -> GatherError {
    GatherError::Weather(format!(
        "a look gave an answer that was not asked for: {reply:?}"
    ))
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
