//! A year in seconds: the same looks and deliveries on a clock that is given,
//! with weather that is given, and every message caught at its time.

use super::gather::DEMO_FORECAST_DAYS;
use super::round::Keeper;
use crate::channels::{Channel, Sending, Sent};
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Journal, Work};
use crate::facts::weather::{DailyRecord, Day, Forecast};
use crate::render::message::Message;
use crate::store::StoreError;
use crate::store::journal::JournalStore;
use chrono::{DateTime, Days, FixedOffset, NaiveDate, NaiveTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

/// What the keeper of a rehearsal does with what is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Hand {
    /// Nothing: every message of the year comes.
    #[default]
    Idle,
    /// Does each thing within some days of being told, and notes it.
    Diligent,
}

/// Days after which a diligent keeper has done what was told.
const DONE_AFTER_DAYS: u64 = 3;

/// One message as it left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// When it left, in the time of the place.
    pub at: DateTime<FixedOffset>,
    /// What it was.
    pub message: Message,
}

/// Lives the days from `from` to `to` with the facts given: their weather is
/// what really comes, and each morning's forecast is the week that follows in
/// it. `say` gets each message at its time.
///
/// # Errors
/// [`StoreError`] of the store in memory.
pub fn rehearse(
    facts: &Facts,
    from: NaiveDate,
    to: NaiveDate,
    hand: Hand,
    say: impl FnMut(Told),
) -> Result<(), StoreError> {
    rehearse_watched(facts, from, to, hand, |_| {}, say)
}

/// The same; `watch` gets each day before it is lived.
///
/// # Errors
/// [`StoreError`] of the store in memory.
pub fn rehearse_watched(
    facts: &Facts,
    from: NaiveDate,
    to: NaiveDate,
    hand: Hand,
    mut watch: impl FnMut(NaiveDate),
    say: impl FnMut(Told),
) -> Result<(), StoreError> {
    let (recorder, caught) = Recorder::new("rehearsal");
    let keeper = Keeper::new(JournalStore::in_memory()?, vec![Box::new(recorder)])?;
    let mut stage = Stage {
        facts,
        all: days(facts),
        keeper,
        caught,
        hand,
        told: BTreeMap::new(),
        say,
    };
    let zone = facts.place.time_zone;
    let when = &facts.preferences.digest_at;
    let begin = |date: NaiveDate| super::schedule::instant(date.and_time(NaiveTime::MIN), zone);
    let (Some(mut now), Some(end)) = (begin(from), to.succ_opt().and_then(begin)) else {
        return Ok(());
    };
    loop {
        // Between two digests nothing is learnt here: each day's weather comes
        // at once. What waits for the end of the quiet hours is delivered.
        let digest = when.next(now, zone).filter(|at| *at < end);
        let due = stage.keeper.store.next_due()?;
        let due = due.filter(|at| *at > now && *at < end && digest.is_none_or(|d| *at < d));
        match (due, digest) {
            (Some(at), _) => {
                now = at;
                stage.deliver(now)?;
            }
            (None, Some(at)) => {
                now = at;
                watch(now.with_timezone(&zone).date_naive());
                stage.look(now)?;
                stage.deliver(now)?;
            }
            (None, None) => return Ok(()),
        }
    }
}

/// All days whose weather is given, seen and forecast.
fn days(facts: &Facts) -> Vec<Day> {
    let seen = facts.weather.daily.iter();
    seen.flat_map(DailyRecord::days).collect()
}

/// The facts as they would have been known on the morning of a day.
pub fn facts_on(facts: &Facts, all: &[Day], noted: Journal, today: NaiveDate) -> Facts {
    let mut known = facts.clone();
    known.weather.forecast = None;
    known.weather = known.weather.as_of(today);
    let until = today
        .checked_add_days(Days::new(DEMO_FORECAST_DAYS))
        .unwrap_or(today);
    let coming: Vec<Day> = all
        .iter()
        .filter(|day| day.date >= today && day.date < until)
        .copied()
        .collect();
    known.weather.forecast = DailyRecord::from_days(&coming).map(|daily| Forecast {
        issued: today,
        daily,
        hourly: None,
        source: "the record itself".to_owned(),
    });
    known.journal = known.journal.as_of(today);
    known.heed_notes(today);
    known.journal.chores.extend(noted.chores);
    known.journal.snoozes.extend(noted.snoozes);
    known
}

struct Stage<'f, F> {
    facts: &'f Facts,
    all: Vec<Day>,
    keeper: Keeper,
    caught: Arc<Mutex<Vec<Message>>>,
    hand: Hand,
    /// Tasks told, with the day on which a diligent keeper has done them.
    told: BTreeMap<String, NaiveDate>,
    say: F,
}

impl<F: FnMut(Told)> Stage<'_, F> {
    fn look(&mut self, now: DateTime<Utc>) -> Result<(), StoreError> {
        let zone = self.facts.place.time_zone;
        let today = now.with_timezone(&zone).date_naive();
        self.work(today, now)?;
        let noted = self.keeper.store.load()?;
        let facts = facts_on(self.facts, &self.all, noted, today);
        self.keeper.look(&facts, now).map(drop)
    }

    /// What a diligent keeper has done by today is noted.
    fn work(&mut self, today: NaiveDate, now: DateTime<Utc>) -> Result<(), StoreError> {
        let ready: Vec<String> = self
            .told
            .iter()
            .filter(|(_, day)| **day <= today)
            .map(|(task, _)| task.clone())
            .collect();
        for task in ready {
            self.told.remove(&task);
            let what = Fact::Done(Work {
                task,
                minutes: None,
            });
            let entry = Entry {
                date: today,
                trees: Vec::new(),
                crop: None,
                note: None,
                what,
            };
            self.keeper.store.record(&entry, now)?;
        }
        Ok(())
    }

    fn deliver(&mut self, now: DateTime<Utc>) -> Result<(), StoreError> {
        let place = &self.facts.place;
        futures_lite::future::block_on(self.keeper.deliver(place, now))?;
        let at = now.with_timezone(&place.time_zone).fixed_offset();
        let messages = self
            .caught
            .lock()
            .map(|mut caught| std::mem::take(&mut *caught))
            .unwrap_or_default();
        for message in messages {
            if self.hand == Hand::Diligent {
                let done = at
                    .date_naive()
                    .checked_add_days(Days::new(DONE_AFTER_DAYS))
                    .unwrap_or(NaiveDate::MAX);
                for task in self.keeper.tasks_of(&message.key)? {
                    self.told.entry(task).or_insert(done);
                }
            }
            (self.say)(Told { at, message });
        }
        Ok(())
    }
}

/// A channel that catches messages.
pub struct Recorder {
    name: &'static str,
    caught: Arc<Mutex<Vec<Message>>>,
}

impl Recorder {
    /// A recorder, and where the messages come out.
    pub fn new(name: &'static str) -> (Self, Arc<Mutex<Vec<Message>>>) {
        let caught = Arc::new(Mutex::new(Vec::new()));
        let recorder = Recorder {
            name,
            caught: Arc::clone(&caught),
        };
        (recorder, caught)
    }
}

impl Channel for Recorder {
    fn name(&self) -> &'static str {
        self.name
    }

    fn send<'a>(&'a mut self, message: &'a Message, _: DateTime<FixedOffset>) -> Sending<'a> {
        if let Ok(mut caught) = self.caught.lock() {
            caught.push(message.clone());
        }
        let sent = Sent {
            to: self.name.to_owned(),
            id: message.key.clone(),
            without: None,
        };
        Box::pin(async move { Ok(sent) })
    }
}

/// How many messages came in each week.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// Messages in all.
    pub messages: usize,
    /// Of them those that could not wait.
    pub urgent: usize,
    /// Weeks in all, empty ones too.
    pub weeks: usize,
    /// The Monday of the fullest week and its count.
    pub fullest: Option<(NaiveDate, usize)>,
    /// How many weeks had that many messages: index is the count.
    pub by_count: Vec<usize>,
}

/// Counts messages by week, Monday to Sunday.
pub fn tally(told: &[(NaiveDate, bool)], from: NaiveDate, to: NaiveDate) -> Tally {
    let monday = |date: NaiveDate| date.week(chrono::Weekday::Mon).first_day();
    let mut weeks: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    let mut week = monday(from);
    while week <= to {
        weeks.insert(week, 0);
        week += TimeDelta::days(7);
    }
    for (date, _) in told {
        *weeks.entry(monday(*date)).or_default() += 1;
    }
    let most = weeks.values().copied().max().unwrap_or(0);
    let mut by_count = vec![0; most + 1];
    for count in weeks.values() {
        if let Some(held) = by_count.get_mut(*count) {
            *held += 1;
        }
    }
    Tally {
        messages: told.len(),
        urgent: told.iter().filter(|(_, urgent)| *urgent).count(),
        weeks: weeks.len(),
        fullest: weeks
            .iter()
            .max_by_key(|(_, count)| **count)
            .map(|(week, count)| (*week, *count)),
        by_count,
    }
}
