//! The keeper's station console: a door on the local network, and what comes
//! through it folded into hours and kept.
//!
//! [`Door`] listens and hands on [`Came`]; it keeps nothing and tells nobody
//! what stood in an upload beside the weather. [`Desk`] takes each reading
//! into the hour and the day that are not over and keeps them: at the end of
//! an hour, and once a minute what is known of the hour so far, so that a
//! restart loses no rain and at most a minute of temperatures.

mod desk; // readings into the store
mod door; // the sockets
mod upload; // one upload by HTTP

pub use desk::{Desk, Heard, JOB, from_settings};
pub use door::{Door, Hears};

use crate::sources::console::{Reading, Refused};
use chrono::{DateTime, Utc};
use std::net::IpAddr;

/// What came through the door.
#[derive(Clone, Debug, PartialEq)]
pub struct Came {
    /// When.
    pub arrived: DateTime<Utc>,
    /// What.
    pub what: What,
}

/// What may come.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// A reading.
    Reading(Reading),
    /// Something of which nothing is taken.
    Refused(Refused),
    /// Something larger or slower than any upload, or sent elsewhere.
    Strange(&'static str),
    /// Somebody who may not send.
    TurnedAway(IpAddr),
    /// A second sender beside the first.
    Second(IpAddr),
    /// The door cannot be opened; it is tried again.
    Shut(String),
    /// The door is open.
    Open(String),
}
