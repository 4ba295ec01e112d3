//! Delivery: what is due leaves by the channels.

use super::super::payload::Parcel;
use super::Keeper;
use crate::channels::Again;
use crate::facts::journal::Kind as Noted;
use crate::facts::place::Place;
use crate::render::message;
use crate::store::StoreError;
use crate::store::journal::{Change, Filter};
use crate::store::outbox::Message as Waiting;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;

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

impl Keeper {
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

    /// Tasks that the kept journal says are done or skipped, and since when.
    fn done(&self) -> Result<Vec<(String, DateTime<Utc>)>, StoreError> {
        let filter = Filter {
            kinds: vec![Noted::Done, Noted::Skipped],
            ..Filter::default()
        };
        let listed = self.store.list(&filter)?;
        // Done for some of its trees alone, a task is still to be told of.
        Ok(listed
            .iter()
            .filter(|listed| listed.entry.trees.is_empty())
            .filter_map(|listed| {
                let task = listed.entry.what.task()?;
                Some((task.to_owned(), listed.recorded))
            })
            .collect())
    }

    async fn send(
        &mut self,
        waiting: &Waiting,
        done: &[(String, DateTime<Utc>)],
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
        // What was noted before the message was written did not end it: a chore
        // that comes again is told again.
        let since: Vec<&str> = done
            .iter()
            .filter(|(_, noted)| *noted > waiting.queued_at)
            .map(|(task, _)| task.as_str())
            .collect();
        let Some(letter) = parcel.letter(key, &since) else {
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
