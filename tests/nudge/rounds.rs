//! Single rounds on a clock that is set at will: restarts, sleep, clocks that
//! jump, channels that fail, buttons.

use budtide::channels::{Again, Channel, ChannelError, Sending};
use budtide::facts::Facts;
use budtide::facts::weather::{DailyRecord, Day};
use budtide::render::message::{Message, Urgency};
use budtide::service::rehearse::{Recorder, facts_on};
use budtide::service::round::{Answer, Keeper};
use budtide::service::schedule::instant;
use budtide::store::journal::JournalStore;
use chrono::{DateTime, FixedOffset, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::America::Denver;
use futures_lite::future::block_on;
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, LazyLock, Mutex};
use tempfile::TempDir;

static FACTS: LazyLock<Facts> = LazyLock::new(crate::river::champion);
static DAYS: LazyLock<Vec<Day>> = LazyLock::new(|| {
    let daily = FACTS.weather.daily.iter();
    daily.flat_map(DailyRecord::days).collect()
});

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2007, month, day).unwrap()
}

fn at(date: NaiveDate, hour: u32, minute: u32) -> DateTime<Utc> {
    let time = NaiveTime::from_hms_opt(hour, minute, 0).unwrap();
    instant(date.and_time(time), Denver).unwrap()
}

type Caught = Arc<Mutex<Vec<Message>>>;

fn keeper(file: Option<&Path>) -> (Keeper, Caught) {
    let store = match file {
        Some(file) => JournalStore::open(file).unwrap(),
        None => JournalStore::in_memory().unwrap(),
    };
    let (recorder, caught) = Recorder::new("desktop");
    (
        Keeper::new(store, vec![Box::new(recorder)]).unwrap(),
        caught,
    )
}

/// One look and one delivery at an instant.
fn round(keeper: &mut Keeper, now: DateTime<Utc>) {
    let today = now.with_timezone(&Denver).date_naive();
    let facts = facts_on(&FACTS, &DAYS, keeper.store.load().unwrap(), today);
    keeper.look(&facts, now).unwrap();
    block_on(keeper.deliver(&facts.place, now)).unwrap();
}

fn keys(caught: &Caught) -> Vec<String> {
    let caught = caught.lock().unwrap();
    caught.iter().map(|message| message.key.clone()).collect()
}

/// The mornings of a span, one round each.
fn mornings(keeper: &mut Keeper, from: NaiveDate, to: NaiveDate) {
    for date in from.iter_days().take_while(|date| *date <= to) {
        round(keeper, at(date, 7, 0));
    }
}

#[test]
fn a_clock_that_goes_back_an_hour_or_ahead_a_year_repeats_nothing() {
    let (mut keeper, caught) = keeper(None);
    mornings(&mut keeper, day(4, 1), day(4, 4));
    let before = keys(&caught);
    assert!(!before.is_empty());
    round(&mut keeper, at(day(4, 4), 6, 5));
    round(&mut keeper, at(day(4, 4), 8, 0));
    assert_eq!(keys(&caught), before, "an hour back");
    round(&mut keeper, at(day(4, 4), 9, 0) + TimeDelta::days(365));
    round(&mut keeper, at(day(4, 4), 10, 0));
    let after = keys(&caught);
    let unique: BTreeSet<&String> = after.iter().collect();
    assert_eq!(unique.len(), after.len(), "a year ahead and back");
    mornings(&mut keeper, day(4, 5), day(4, 7));
    let after = keys(&caught);
    let unique: BTreeSet<&String> = after.iter().collect();
    assert_eq!(unique.len(), after.len(), "and on");
}

#[test]
fn after_a_week_off_only_what_is_still_true_is_told() {
    let (mut keeper, caught) = keeper(None);
    mornings(&mut keeper, day(4, 1), day(4, 2));
    caught.lock().unwrap().clear();
    round(&mut keeper, at(day(4, 10), 15, 0));
    let caught = caught.lock().unwrap();
    assert!(!caught.is_empty(), "it speaks on the day it wakes");
    let digests = caught.iter().filter(|one| one.urgency == Urgency::Normal);
    assert_eq!(digests.count(), 1, "one digest, not one for each day");
    for message in caught.iter() {
        // The frosts of the days slept through are over: a warning can only
        // be for the night to come.
        if message.urgency == Urgency::High {
            assert!(message.text.contains("11 Apr"), "{}", message.text);
        }
    }
}

#[test]
fn nothing_leaves_in_the_quiet_hours_unless_frost_may() {
    // The night to 4 April 2007 was the first deep one in the record.
    let warned = (1..=12).find(|d| {
        let (mut keeper, caught) = keeper(None);
        round(&mut keeper, at(day(4, *d), 12, 0));
        caught
            .lock()
            .unwrap()
            .iter()
            .any(|one| one.urgency == Urgency::High)
    });
    let date = day(4, warned.expect("a frost in April 2007"));
    let (mut keeper, caught) = keeper(None);
    round(&mut keeper, at(date, 22, 0));
    assert_eq!(keys(&caught).len(), 0, "it is quiet");
    let today = date;
    let mut facts = facts_on(&FACTS, &DAYS, Default::default(), today);
    facts.preferences.frost_at_night = true;
    let (mut keeper, caught) = self::keeper(None);
    keeper.look(&facts, at(date, 22, 0)).unwrap();
    block_on(keeper.deliver(&facts.place, at(date, 22, 0))).unwrap();
    let caught = caught.lock().unwrap();
    assert!(caught.iter().all(|one| one.urgency == Urgency::High));
    assert_eq!(caught.len(), 1, "frost alone, where it may");
}

#[test]
fn done_is_noted_and_ends_it() {
    let (mut keeper, caught) = keeper(None);
    let mut single = None;
    for date in day(1, 1).iter_days().take(120) {
        round(&mut keeper, at(date, 7, 0));
        let found = caught
            .lock()
            .unwrap()
            .iter()
            .rev()
            .find(|one| {
                one.urgency == Urgency::Normal && one.actions.iter().any(|(key, _)| key == "done")
            })
            .cloned();
        if found.is_some() {
            single = found.map(|message| (date, message));
            break;
        }
    }
    let (date, message) = single.expect("a message about one chore");
    let tasks = keeper.tasks_of(&message.key).unwrap();
    assert!(!tasks.is_empty());
    let now = at(date, 9, 0);
    let facts = facts_on(&FACTS, &DAYS, Default::default(), date);
    let answer = keeper.pressed(&facts, &message.key, "why", now).unwrap();
    assert_eq!(answer, Answer::Explained);
    block_on(keeper.deliver(&facts.place, now)).unwrap();
    let why = caught.lock().unwrap().last().cloned().unwrap();
    assert!(why.text.contains("Opens:"), "{}", why.text);
    let answer = keeper.pressed(&facts, &message.key, "done", now).unwrap();
    assert!(matches!(answer, Answer::Noted(_)));
    assert_eq!(
        keeper.pressed(&facts, "nonsense", "done", now).unwrap(),
        Answer::Unknown
    );
    assert_eq!(
        keeper
            .pressed(&facts, &message.key, "explode", now)
            .unwrap(),
        Answer::Unknown
    );
    let noted = keeper.store.load().unwrap();
    assert!(
        tasks
            .iter()
            .all(|task| noted.chores.iter().any(|one| one.task == *task && one.done))
    );
    caught.lock().unwrap().clear();
    mornings(
        &mut keeper,
        date + TimeDelta::days(1),
        date + TimeDelta::days(25),
    );
    for later in caught.lock().unwrap().iter() {
        for task in keeper.tasks_of(&later.key).unwrap() {
            assert!(!tasks.contains(&task), "{}: {}", task, later.title);
        }
    }
}

/// A channel that fails until it is told to work.
struct Shaky {
    works: Arc<Mutex<bool>>,
    caught: Caught,
}

impl Channel for Shaky {
    fn name(&self) -> &'static str {
        "e-mail"
    }

    fn send<'a>(&'a mut self, message: &'a Message, _: DateTime<FixedOffset>) -> Sending<'a> {
        let works = *self.works.lock().unwrap();
        let result = if works {
            self.caught.lock().unwrap().push(message.clone());
            Ok(budtide::channels::Sent {
                to: "here".to_owned(),
                id: message.key.clone(),
                without: None,
            })
        } else {
            Err(ChannelError {
                doing: "sending".to_owned(),
                to: "there".to_owned(),
                cause: "connection refused".to_owned(),
                again: Again::Later,
            })
        };
        Box::pin(async move { result })
    }
}

#[test]
fn what_failed_for_three_days_is_told_when_the_way_is_open_again() {
    let works = Arc::new(Mutex::new(false));
    let caught: Caught = Arc::default();
    let shaky = Shaky {
        works: Arc::clone(&works),
        caught: Arc::clone(&caught),
    };
    let store = JournalStore::in_memory().unwrap();
    let mut keeper = Keeper::new(store, vec![Box::new(shaky)]).unwrap();
    for hour in 0..72 {
        round(&mut keeper, at(day(1, 10), 7, 0) + TimeDelta::hours(hour));
    }
    assert!(caught.lock().unwrap().is_empty());
    *works.lock().unwrap() = true;
    for hour in 72..97 {
        round(&mut keeper, at(day(1, 10), 7, 0) + TimeDelta::hours(hour));
    }
    let caught = caught.lock().unwrap();
    let text: String = caught.iter().map(|one| one.text.as_str()).collect();
    assert!(text.contains("Not sent by e-mail"), "{text}");
    assert!(text.contains("connection refused"), "{text}");
    assert!(
        text.contains("Open now"),
        "what is still true is told: {text}"
    );
    // Told of once: not again the day after.
    assert_eq!(
        caught
            .iter()
            .filter(|one| one.text.contains("Not sent"))
            .count(),
        1
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3, ..ProptestConfig::default() })]

    /// Whenever the service is restarted, and even if a crash lost the answer
    /// of a channel, the same messages come.
    #[test]
    fn restarts_change_nothing(stops in proptest::collection::btree_set(0_u64..16, 1..6)) {
        static WHOLE: LazyLock<Vec<String>> = LazyLock::new(|| {
            let (mut keeper, caught) = keeper(None);
            mornings(&mut keeper, day(4, 1), day(4, 16));
            keys(&caught)
        });
        let folder = TempDir::new().unwrap();
        let file = folder.path().join("journal.sqlite");
        let mut got = Vec::new();
        let (mut running, mut caught) = keeper(Some(&file));
        for (number, date) in day(4, 1).iter_days().take(16).enumerate() {
            if stops.contains(&(number as u64)) {
                got.extend(keys(&caught));
                drop(running);
                (running, caught) = keeper(Some(&file));
            }
            round(&mut running, at(date, 7, 0));
        }
        got.extend(keys(&caught));
        prop_assert_eq!(&got, &*WHOLE);
    }
}
