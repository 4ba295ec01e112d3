//! One round of the service: look at the facts, say what is due, deliver it.
//!
//! [`Keeper::look`] derives season, plan and nudges anew and puts what is to
//! be said into the outbox, with the note of what was said, in one
//! transaction. [`Keeper::deliver`] hands what is due to the channels.
//! [`Keeper::pressed`] takes the answer of a notification's button. None of
//! them reads a clock.

mod answer; // of a notification's button
mod deliver;
mod seen; // what is seen in one look, and how long it is of use

pub use answer::Answer;
pub use deliver::Delivered;

use super::payload::{Memory, Parcel};
use super::schedule;
use crate::channels::Channel;
use crate::facts::Facts;
use crate::plan::calendar::State;
use crate::plan::nudge::{self, Digest, Kind};
use crate::plan::{self, Plan};
use crate::render::message::Letter;
use crate::render::nudge as words;
use crate::render::sentence::Words;
use crate::season::{self, Caveat};
use crate::store::StoreError;
use crate::store::journal::JournalStore;
use crate::store::outbox::{Outgoing, State as Sent};
use chrono::{DateTime, Days, TimeDelta, Utc};
use seen::{Seen, Span};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Under which name the store keeps what was told.
const SAID: &str = "said";

/// Under which name the store keeps the digest that was looked at last.
const LOOKED: &str = "digest";

/// A digest that was missed is not made up for when the next one is as near
/// as this, hours.
const NEAR_DIGEST_HOURS: i64 = 6;

/// What is kept between rounds, and the ways by which messages leave.
pub struct Keeper {
    /// Journal and outbox.
    pub store: JournalStore,
    /// The ways out; each message leaves by every one.
    channels: Vec<Box<dyn Channel>>,
    /// Their names.
    ways: Vec<String>,
    troubles: Troubles,
}

/// Trouble outside, by what it is about, and whether it was told.
pub type Troubles = BTreeMap<String, (String, bool)>;

/// When to look again, and how things stand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Next {
    /// Look again then, if nothing else calls before.
    pub wake: DateTime<Utc>,
    /// One line: `next: prune 12 apples, opens in 4 days`.
    pub status: String,
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
        let mut keeper = Keeper::beside(store, Vec::new(), Troubles::new());
        keeper.leave_by(channels);
        Ok(keeper)
    }

    /// A keeper that looks and notes for another one, which sends: it knows
    /// only the names of the ways out.
    pub fn beside(store: JournalStore, ways: Vec<String>, troubles: Troubles) -> Self {
        Keeper {
            store,
            channels: Vec::new(),
            ways,
            troubles,
        }
    }

    /// Messages leave by these from now on.
    pub fn leave_by(&mut self, channels: Vec<Box<dyn Channel>>) {
        self.ways = channels
            .iter()
            .map(|channel| channel.name().to_owned())
            .collect();
        self.channels = channels;
    }

    /// The names of the ways out.
    pub fn ways(&self) -> &[String] {
        &self.ways
    }

    /// The trouble outside that lasts.
    pub fn troubles(&self) -> &Troubles {
        &self.troubles
    }

    /// Takes over what a keeper beside this one told of the trouble it was
    /// given.
    pub fn take_troubles(&mut self, troubles: Troubles) {
        self.troubles = troubles;
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
            letter.credits.clone_from(&seen.facts.weather.credits);
        }
        Ok((letter, tells))
    }

    /// A letter put up for every channel.
    fn posted(&self, letter: Letter, base: &str, span: Span) -> Vec<Outgoing> {
        let key = |name: &str| nudge::key(&format!("{base}/{name}"), Kind::Opening, 0);
        let siblings: Vec<String> = self.ways.iter().map(|name| key(name)).collect();
        self.ways
            .iter()
            .map(|name| {
                let mut parcel = Parcel::put_up(&letter);
                parcel.base = base.to_owned();
                parcel.channel.clone_from(name);
                parcel.siblings.clone_from(&siblings);
                span.outgoing(key(name), &parcel)
            })
            .collect()
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
