//! One round of the service: look at the facts, say what is due, deliver it.
//!
//! [`Keeper::look`] derives season, plan and nudges anew and puts what is to
//! be said into the outbox, with the note of what was said, in one
//! transaction. [`Keeper::deliver`] hands what is due to the channels.
//! [`Keeper::pressed`] takes the answer of a notification's button. None of
//! them reads a clock.

use super::payload::{Memory, Parcel};
use super::schedule;
use crate::channels::{Again, Channel};
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Kind as Noted, Snooze, Work};
use crate::facts::place::Place;
use crate::plan::calendar::State;
use crate::plan::nudge::{self, About, Digest, Kind, Nudge};
use crate::plan::{self, Plan};
use crate::render::message::{self, Letter, Line};
use crate::render::sentence::Words;
use crate::render::{nudge as words, page};
use crate::season::{self, Caveat, Season};
use crate::store::StoreError;
use crate::store::journal::{Change, Filter, JournalStore};
use crate::store::outbox::{Message as Waiting, Outgoing, State as Sent};
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use std::collections::BTreeMap;

/// Under which name the store keeps what was told.
const SAID: &str = "said";

/// Under which name the store keeps the digest that was looked at last.
const LOOKED: &str = "digest";

/// Priorities: the higher the sooner.
const AT_ONCE: i64 = 10;
const ASKED: i64 = 5;
const DAILY: i64 = 0;

/// A digest that was missed is not made up for when the next one is as near
/// as this, hours.
const NEAR_DIGEST_HOURS: i64 = 6;

/// The hour of the morning until which a frost warning is of use.
const FROST_ENDS: u32 = 8;

/// How long an answer to `why` is of use, hours.
const ASKED_HOURS: i64 = 12;

/// What is kept between rounds, and the ways by which messages leave.
pub struct Keeper {
    /// Journal and outbox.
    pub store: JournalStore,
    /// The ways out; each message leaves by every one.
    pub channels: Vec<Box<dyn Channel>>,
    /// Trouble outside, by what it is about, and whether it was told.
    troubles: BTreeMap<String, (String, bool)>,
}

/// When to look again, and how things stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Next {
    /// Look again then, if nothing else calls before.
    pub wake: DateTime<Utc>,
    /// One line: `next: prune 12 apples, opens in 4 days`.
    pub status: String,
}

/// What a delivery came to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Delivered {
    /// How many messages left.
    pub sent: usize,
    /// What went wrong, a line each, for the log.
    pub troubles: Vec<String>,
    /// When the next message is due, or of no use any more.
    pub next: Option<DateTime<Utc>>,
}

/// What became of a pressed button.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Noted in the journal: a line for the log. Gather and look anew.
    Noted(String),
    /// A longer text is in the outbox: deliver.
    Explained,
    /// It cannot be done; the reason for the log.
    Refused(String),
    /// The message or the button is not known (any more).
    Unknown,
}

impl Keeper {
    /// A keeper of a store and its channels. What a crash left between a
    /// channel and its answer is taken up.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn new(
        mut store: JournalStore,
        channels: Vec<Box<dyn Channel>>,
    ) -> Result<Self, StoreError> {
        store.change("taking up what was being sent", |change| change.take_up())?;
        Ok(Keeper {
            store,
            channels,
            troubles: BTreeMap::new(),
        })
    }

    /// Tells of trouble outside (a weather source that fails) in the next
    /// digest, once while it lasts; `None` ends it.
    pub fn trouble(&mut self, what: &str, text: Option<String>) {
        match text {
            None => {
                self.troubles.remove(what);
            }
            Some(text) => {
                let held = self.troubles.entry(what.to_owned());
                held.or_insert((String::new(), false)).0 = text;
            }
        }
    }

    /// Looks at the facts as they stand and queues what is due: what cannot
    /// wait at once, the rest once a day.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing was queued or noted.
    pub fn look(&mut self, facts: &Facts, now: DateTime<Utc>) -> Result<Next, StoreError> {
        let zone = facts.place.time_zone;
        let today = now.with_timezone(&zone).date_naive();
        let season = season::derive(facts, today);
        let plan = plan::make(facts, &season, today);
        let seen = Seen {
            facts,
            season: &season,
            plan: &plan,
            now,
        };
        self.settle(&plan, now)?;
        self.say(&seen)?;
        let mut wake = schedule::next_look(&facts.preferences, now, zone);
        if let Some(due) = self.store.next_due()?.filter(|due| *due > now) {
            wake = wake.min(due);
        }
        Ok(Next {
            wake,
            status: words::next(facts, &plan),
        })
    }

    /// Clears away what nobody needs to be told any more, and forgets what was
    /// told by messages that never left.
    fn settle(&mut self, plan: &Plan, now: DateTime<Utc>) -> Result<(), StoreError> {
        if self.store.next_due()?.is_some() {
            let over = |state| matches!(state, State::Done | State::Skipped);
            self.store.change("clearing the outbox", |change| {
                for task in plan.tasks.iter().filter(|task| over(task.state)) {
                    change.cancel(&task.id, now)?;
                }
                change.drop_expired(now)?;
                Ok(())
            })?;
        }
        let mut memory = Memory::read(self.store.recall(SAID)?);
        let mut lost = false;
        for dropped in self.store.dropped_untold()? {
            let Some(parcel) = Parcel::read(&dropped.message.payload) else {
                continue;
            };
            let mut told = false;
            for key in &parcel.siblings {
                let sibling = self.store.message(key)?;
                told |= sibling.is_some_and(|one| one.state != Sent::Dropped);
            }
            if !told {
                lost |= memory.forget(&parcel.base);
            }
        }
        if lost {
            let text = memory.write(plan.today);
            self.store.change("forgetting what never left", |change| {
                change.remember(SAID, &text)
            })?;
        }
        Ok(())
    }

    /// Queues what is due and notes it as said, together or not at all.
    fn say(&mut self, seen: &Seen<'_>) -> Result<(), StoreError> {
        let mut memory = Memory::read(self.store.recall(SAID)?);
        let mut outgoing: Vec<Outgoing> = Vec::new();
        for nudge in nudge::urgent(seen.facts, seen.season, seen.plan, &memory.said()) {
            let base = nudge.told.key.clone();
            memory.tell(&nudge.told, &base);
            outgoing.extend(self.posted(seen.urgent(&nudge), &base, seen.urgent_span(&nudge)));
        }
        let occurrence = self.digest_to_make(seen)?;
        let mut troubles_told = false;
        if occurrence.is_some() {
            let said = memory.said();
            let before = nudge::frost_to_tell(seen.plan, &said)
                .and_then(|night| night.checked_sub_days(Days::new(1)))
                .map(|day| seen.plan_of(day));
            let digest = nudge::digest(seen.facts, seen.season, seen.plan, before.as_ref(), &said);
            let (mut letter, tells) = self.letter(seen, &digest)?;
            if !letter.lines.is_empty() || !letter.remarks.is_empty() {
                let base = format!("digest/{}", seen.plan.today);
                for told in digest.told() {
                    memory.tell(told, &base);
                }
                letter.stamp = Some(seen.now);
                let span = seen.digest_span();
                let posted = self.posted(letter, &base, span);
                outgoing.extend(posted.into_iter().map(|message| told_by(message, &tells)));
                troubles_told = true;
            }
        }
        if outgoing.is_empty() && occurrence.is_none() {
            return Ok(());
        }
        let text = memory.write(seen.plan.today);
        self.store.change("noting what is to be said", |change| {
            for message in &outgoing {
                change.queue(message, seen.now)?;
            }
            change.remember(SAID, &text)?;
            if let Some(occurrence) = occurrence {
                change.remember(LOOKED, &occurrence.to_rfc3339())?;
            }
            Ok(())
        })?;
        if troubles_told {
            self.troubles
                .values_mut()
                .for_each(|(_, told)| *told = true);
        }
        Ok(())
    }

    /// The time of the digest that is to be made now, if one is.
    fn digest_to_make(&self, seen: &Seen<'_>) -> Result<Option<DateTime<Utc>>, StoreError> {
        let zone = seen.zone();
        let when = &seen.facts.preferences.digest_at;
        let Some(last) = when.last(seen.now, zone) else {
            return Ok(None);
        };
        let looked = self
            .store
            .recall(LOOKED)?
            .and_then(|text| DateTime::parse_from_rfc3339(&text).ok())
            .map(|at| at.with_timezone(&Utc))
            // A clock that had run ahead left a time that is still to come.
            .filter(|at| *at <= seen.now);
        if looked.is_some_and(|looked| looked >= last) {
            return Ok(None);
        }
        let today = last.with_timezone(&zone).date_naive() == seen.plan.today;
        let near = when
            .next(seen.now, zone)
            .is_some_and(|next| next - seen.now <= TimeDelta::hours(NEAR_DIGEST_HOURS));
        Ok((today || !near).then_some(last))
    }

    /// A digest as a letter, with the keys of the lost messages it tells of.
    fn letter(
        &self,
        seen: &Seen<'_>,
        digest: &Digest,
    ) -> Result<(Letter, Vec<String>), StoreError> {
        let mut letter = seen.blank();
        let today = seen.plan.today;
        letter.lines = digest
            .lines
            .iter()
            .map(|nudges| words::line(seen.facts, today, nudges))
            .collect();
        letter.more = digest.more.len();
        let mut tells = Vec::new();
        for dropped in self.store.dropped_untold()? {
            let Some(parcel) = Parcel::read(&dropped.message.payload) else {
                continue;
            };
            letter.remarks.push(format!(
                "Not sent by {}: {} ({}).",
                parcel.channel,
                parcel.heading(),
                dropped.last_error.as_deref().unwrap_or("its time passed")
            ));
            tells.push(dropped.message.key);
        }
        for (text, told) in self.troubles.values() {
            if !told {
                letter.remarks.push(text.clone());
            }
        }
        // Old weather is told beside other news; it is never news by itself
        // where a source's trouble was not.
        if !letter.lines.is_empty() {
            let words = Words::new(seen.facts, today);
            let stale = seen
                .season
                .caveats
                .iter()
                .filter(|caveat| matches!(caveat, Caveat::Stale { .. }));
            letter
                .remarks
                .extend(stale.map(|caveat| words.caveat(caveat)));
            letter
                .remarks
                .extend_from_slice(&seen.facts.weather.credits);
        }
        Ok((letter, tells))
    }

    /// A letter put up for every channel.
    fn posted(&self, letter: Letter, base: &str, span: Span) -> Vec<Outgoing> {
        let names: Vec<&str> = self.channels.iter().map(|channel| channel.name()).collect();
        let key = |name: &str| nudge::key(&format!("{base}/{name}"), Kind::Opening, 0);
        let siblings: Vec<String> = names.iter().map(|name| key(name)).collect();
        names
            .iter()
            .map(|name| {
                let mut parcel = Parcel::put_up(&letter);
                parcel.base = base.to_owned();
                parcel.channel = (*name).to_owned();
                parcel.siblings.clone_from(&siblings);
                span.outgoing(key(name), &parcel)
            })
            .collect()
    }

    /// Hands what is due to the channels: noted as sent after it left, tried
    /// again later when it failed, dropped when it is stale.
    ///
    /// # Errors
    /// [`StoreError`] alone; a channel's failure is noted and told.
    pub async fn deliver(
        &mut self,
        place: &Place,
        now: DateTime<Utc>,
    ) -> Result<Delivered, StoreError> {
        let mut delivered = Delivered::default();
        let due = self.store.due(now)?;
        if !due.is_empty() {
            let done = self.done()?;
            for waiting in due {
                self.send(&waiting, &done, place.time_zone, now, &mut delivered)
                    .await?;
            }
        }
        delivered.next = self.store.next_due()?;
        Ok(delivered)
    }

    /// Tasks that the kept journal says are done or skipped.
    fn done(&self) -> Result<Vec<String>, StoreError> {
        let filter = Filter {
            kinds: vec![Noted::Done, Noted::Skipped],
            ..Filter::default()
        };
        let listed = self.store.list(&filter)?;
        // Done for some of its trees alone, a task is still to be told of.
        Ok(listed
            .iter()
            .filter(|listed| listed.entry.trees.is_empty())
            .filter_map(|listed| listed.entry.what.task().map(str::to_owned))
            .collect())
    }

    async fn send(
        &mut self,
        waiting: &Waiting,
        done: &[String],
        zone: Tz,
        now: DateTime<Utc>,
        delivered: &mut Delivered,
    ) -> Result<(), StoreError> {
        let key = &waiting.message.key;
        let Some(parcel) = Parcel::read(&waiting.message.payload) else {
            return self.drop(key, "it cannot be read any more", now, true);
        };
        let channel = self
            .channels
            .iter_mut()
            .find(|channel| channel.name() == parcel.channel);
        let Some(channel) = channel else {
            let why = format!("{} is not set up any more", parcel.channel);
            return self.drop(key, &why, now, false);
        };
        let Some(letter) = parcel.letter(key, done) else {
            return self.drop(key, "no longer needed", now, true);
        };
        let brief = channel.name() == "desktop" && !parcel.whole;
        let mut message = message::message(&letter, brief);
        if parcel.whole {
            // It is the answer; there is nothing more to ask.
            message.actions.retain(|(action, _)| action != "why");
        }
        let written = waiting.queued_at.with_timezone(&zone).fixed_offset();
        self.store
            .change("marking a message as being sent", |change| {
                change.sending(key)
            })?;
        match channel.send(&message, written).await {
            Ok(_) => {
                delivered.sent += 1;
                self.store.change("noting a message as sent", |change| {
                    change.sent(key, now)?;
                    tell(change, &parcel.tells, now)
                })
            }
            Err(error) => {
                delivered.troubles.push(error.to_string());
                let why = error.cause.clone();
                self.store.change("noting a failure", |change| {
                    match error.again {
                        Again::Never => change.refused(key, &why),
                        // Mended meanwhile, it may still be in time.
                        Again::Later | Again::Told => change.failed(key, &why, now).map(drop),
                    }
                })
            }
        }
    }

    /// Drops a message; quietly where nobody needs to be told.
    fn drop(
        &mut self,
        key: &str,
        why: &str,
        now: DateTime<Utc>,
        quietly: bool,
    ) -> Result<(), StoreError> {
        self.store.change("dropping a message", |change| {
            change.refused(key, why)?;
            if quietly {
                change.told(key, now)?;
            }
            Ok(())
        })
    }

    /// The tasks that a message tells of.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn tasks_of(&self, key: &str) -> Result<Vec<String>, StoreError> {
        let waiting = self.store.message(key)?;
        let parcel = waiting.and_then(|waiting| Parcel::read(&waiting.message.payload));
        Ok(parcel.map(|parcel| parcel.tasks()).unwrap_or_default())
    }

    /// Takes the answer of a button: `done`, `tomorrow` or `why`, to the
    /// message with that key.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing was noted.
    pub fn pressed(
        &mut self,
        facts: &Facts,
        message: &str,
        action: &str,
        now: DateTime<Utc>,
    ) -> Result<Answer, StoreError> {
        let Some(waiting) = self.store.message(message)? else {
            return Ok(Answer::Unknown);
        };
        let Some(parcel) = Parcel::read(&waiting.message.payload) else {
            return Ok(Answer::Unknown);
        };
        let today = now.with_timezone(&facts.place.time_zone).date_naive();
        let tomorrow = today.checked_add_days(Days::new(1)).unwrap_or(today);
        let tasks = parcel.tasks();
        match action {
            "done" if !tasks.is_empty() => {
                self.note(&tasks, today, now, |task| {
                    Fact::Done(Work {
                        task,
                        minutes: None,
                    })
                })?;
                Ok(Answer::Noted(format!("done: {}", tasks.join(", "))))
            }
            "tomorrow" if !tasks.is_empty() => {
                let plan = plan::make(facts, &season::derive(facts, today), today);
                let late = |id: &String| {
                    let task = plan.tasks.iter().find(|task| task.id == *id);
                    task.is_none_or(|task| nudge::latest_snooze(task) < tomorrow)
                };
                if tasks.iter().all(late) {
                    return Ok(Answer::Refused(format!(
                        "{} cannot be put off: the window closes before",
                        tasks.join(", ")
                    )));
                }
                self.note(&tasks, today, now, |task| {
                    Fact::Snoozed(Snooze {
                        task,
                        until: tomorrow,
                    })
                })?;
                Ok(Answer::Noted(format!(
                    "put off until {tomorrow}: {}",
                    tasks.join(", ")
                )))
            }
            "why" => {
                self.explain(facts, &parcel, message, today, now)?;
                Ok(Answer::Explained)
            }
            _ => Ok(Answer::Unknown),
        }
    }

    /// Notes the same of several tasks, and drops what waits about those that
    /// are done.
    fn note(
        &mut self,
        tasks: &[String],
        today: NaiveDate,
        now: DateTime<Utc>,
        fact: impl Fn(String) -> Fact,
    ) -> Result<(), StoreError> {
        self.store.change("noting the answer", |change| {
            for task in tasks {
                let what = fact(task.clone());
                if matches!(what, Fact::Done(_)) {
                    change.cancel(task, now)?;
                }
                let entry = Entry {
                    date: today,
                    trees: Vec::new(),
                    crop: None,
                    note: None,
                    what,
                };
                change.record(&entry, now)?;
            }
            Ok(())
        })
    }

    /// Queues the long text of a message on the channel it was asked from.
    fn explain(
        &mut self,
        facts: &Facts,
        parcel: &Parcel,
        key: &str,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let season = season::derive(facts, today);
        let plan = plan::make(facts, &season, today);
        let seen = Seen {
            facts,
            season: &season,
            plan: &plan,
            now,
        };
        let mut letter = seen.blank();
        let known = parcel
            .tasks()
            .into_iter()
            .filter_map(|id| plan.tasks.iter().find(|task| task.id == id));
        letter.lines = known
            .take(nudge::MOST_LINES)
            .map(|task| Line {
                heading: Words::new(facts, today).say(task),
                details: page::why(facts, &season, &plan, task)
                    .into_iter()
                    .skip_while(|line| !line.is_empty())
                    .filter(|line| !line.is_empty())
                    .collect(),
                ..Line::default()
            })
            .collect();
        if letter.lines.is_empty()
            && let Some(old) = parcel.letter(key, &[])
        {
            letter.lines = old.lines;
        }
        let mut answer = Parcel::put_up(&letter);
        answer.base = format!("why/{key}/{}", now.timestamp_millis());
        answer.channel.clone_from(&parcel.channel);
        answer.whole = true;
        let span = Span {
            from: now,
            until: now + TimeDelta::hours(ASKED_HOURS),
            priority: ASKED,
        };
        let message = span.outgoing(nudge::key(&answer.base, Kind::Opening, 0), &answer);
        self.store.change("answering a question", |change| {
            change.queue(&message, now).map(drop)
        })
    }
}

/// What is seen in one look.
struct Seen<'a> {
    facts: &'a Facts,
    season: &'a Season,
    plan: &'a Plan,
    now: DateTime<Utc>,
}

/// From when and until when a message is of use.
#[derive(Clone, Copy)]
struct Span {
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    priority: i64,
}

impl Span {
    fn outgoing(self, key: String, parcel: &Parcel) -> Outgoing {
        let about = match parcel.tasks().as_slice() {
            [one] => one.clone(),
            _ => String::new(),
        };
        Outgoing {
            key,
            not_before: self.from,
            expires_at: self.until,
            priority: self.priority,
            about,
            payload: parcel.write(),
        }
    }
}

impl Seen<'_> {
    fn zone(&self) -> Tz {
        self.facts.place.time_zone
    }

    /// A letter of the place and the day, with nothing in it yet.
    fn blank(&self) -> Letter {
        let name = &self.facts.place.name;
        let words: Vec<String> = name
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        let year = self.plan.today.format("%Y");
        Letter {
            thread: format!("{}-{year}", words.join("-")),
            place: name.clone(),
            day: self.plan.today.format("%a %-d %b").to_string(),
            ..Letter::default()
        }
    }

    fn urgent(&self, nudge: &Nudge) -> Letter {
        let line = words::line(self.facts, self.plan.today, std::slice::from_ref(nudge));
        Letter {
            urgent: true,
            lines: vec![line],
            remarks: self.facts.weather.credits.clone(),
            stamp: Some(self.now),
            ..self.blank()
        }
    }

    /// An urgent message waits for nothing but the quiet hours, which only
    /// frost may break, and only where the keeper allowed it.
    fn urgent_span(&self, nudge: &Nudge) -> Span {
        let preferences = &self.facts.preferences;
        let frost = matches!(nudge.about, About::Frost(_));
        let at_night = frost && preferences.frost_at_night;
        let from = if at_night {
            self.now
        } else {
            schedule::allowed(preferences, self.now, self.zone())
        };
        let morning = NaiveTime::from_hms_opt(FROST_ENDS, 0, 0).unwrap_or_default();
        let last = if frost {
            nudge.told.until.and_time(morning)
        } else {
            let after = nudge.told.until.checked_add_days(Days::new(1));
            after.unwrap_or(nudge.told.until).and_time(NaiveTime::MIN)
        };
        let until = schedule::instant(last, self.zone()).unwrap_or(self.now);
        Span {
            from,
            until,
            priority: AT_ONCE,
        }
    }

    /// A digest is of use until the next one.
    fn digest_span(&self) -> Span {
        let preferences = &self.facts.preferences;
        let from = schedule::allowed(preferences, self.now, self.zone());
        let next = preferences.digest_at.next(self.now, self.zone());
        let day = self.now + TimeDelta::hours(20);
        Span {
            from,
            until: next
                .map_or(day, |next| next.max(day))
                .max(from + TimeDelta::hours(1)),
            priority: DAILY,
        }
    }

    /// The plan as it was on an earlier day, as far as the facts still know.
    fn plan_of(&self, day: NaiveDate) -> Plan {
        let mut facts = self.facts.clone();
        facts.weather = facts.weather.as_of(day);
        facts.journal = facts.journal.as_of(day);
        plan::make(&facts, &season::derive(&facts, day), day)
    }
}

/// The message as one that tells of lost ones.
fn told_by(message: Outgoing, tells: &[String]) -> Outgoing {
    match Parcel::read(&message.payload) {
        Some(mut parcel) if !tells.is_empty() => {
            parcel.tells = tells.to_vec();
            Outgoing {
                payload: parcel.write(),
                ..message
            }
        }
        _ => message,
    }
}

/// Notes that lost messages were told of.
fn tell(change: &Change<'_>, tells: &[String], now: DateTime<Utc>) -> Result<(), StoreError> {
    for key in tells {
        match change.told(key, now) {
            Err(StoreError::NoMessage { .. }) | Ok(()) => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}
