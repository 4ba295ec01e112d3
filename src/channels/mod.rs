//! How a message leaves the house: one trait, one file for each way.
//!
//! A channel is given a [`Message`] and the moment at which it was written,
//! and says where it went or why it did not. It keeps no queue and never
//! tries twice by itself: what to try again, and when, is the service's
//! business, and [`Again`] tells it what a further try is worth.
//!
//! The channels wait on a tokio runtime with time and I/O enabled; one thread
//! is enough.

use std::fmt;
use std::future::Future;
use std::pin::Pin;

use chrono::{DateTime, FixedOffset};

use crate::render::message::Message;

mod bus;
pub mod desktop;
pub mod email;
mod letter;
pub mod password;
mod smtp;
pub mod terminal;

/// A send under way.
pub type Sending<'a> = Pin<Box<dyn Future<Output = Result<Sent, ChannelError>> + Send + 'a>>;

/// A way by which messages leave.
pub trait Channel: Send {
    /// Its name in messages and settings, such as `e-mail`.
    fn name(&self) -> &'static str;

    /// Sends one message. `written` is when it was first put down, in the
    /// place's own time: a repeat of the same message gives the same moment,
    /// so that an e-mail keeps its date.
    ///
    /// It never waits without end: each channel's settings hold a time limit.
    ///
    /// # Errors
    /// What was being done, to what, what went wrong, and whether trying
    /// again can help.
    fn send<'a>(&'a mut self, message: &'a Message, written: DateTime<FixedOffset>) -> Sending<'a>;
}

/// A message that left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sent {
    /// Who took it, in words.
    pub to: String,
    /// Its name over there: a Message-ID, a notification's number.
    pub id: String,
    /// What did not go along, in words, such as buttons that the server
    /// cannot show.
    pub without: Option<String>,
}

/// A message that did not leave, or of which it is not known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChannelError {
    /// What was being done: `sending "Frost tonight" by e-mail`.
    pub doing: String,
    /// To what: an address and a server, a bus.
    pub to: String,
    /// What went wrong, in plain words.
    pub cause: String,
    /// Whether trying again can help.
    pub again: Again,
}

/// What a further try is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Again {
    /// It may pass by itself (no network, a server put it off): try later.
    Later,
    /// This message can never go this way; others may.
    Never,
    /// Somebody must mend something first (a password, a certificate, an
    /// address): tell the keeper by another way.
    Told,
}

impl fmt::Display for ChannelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let outlook = match self.again {
            Again::Later => "it can be tried again later",
            Again::Never => "trying this message again will not help",
            Again::Told => "trying again will not help until this is mended",
        };
        write!(f, "{}, {}: {}; {outlook}", self.doing, self.to, self.cause)
    }
}

impl std::error::Error for ChannelError {}

/// A text on one line, without control characters.
fn one_line(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A text without control characters other than line ends and tabs: none of
/// them may steer a terminal or end a string on the bus.
fn lines(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control() || *c == '\n' || *c == '\t')
        .collect()
}

/// What another program said, on one line and not endless.
fn quoted(text: &str) -> String {
    const MOST: usize = 300;
    let line = one_line(text);
    if line.chars().count() <= MOST {
        line
    } else {
        line.chars().take(MOST).chain("...".chars()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_says_what_to_what_why_and_what_next() {
        let error = ChannelError {
            doing: "sending \"Frost tonight\" by e-mail".to_owned(),
            to: "to jo@example.org through localhost:587".to_owned(),
            cause: "nothing listens there (connection refused)".to_owned(),
            again: Again::Later,
        };
        assert_eq!(
            error.to_string(),
            "sending \"Frost tonight\" by e-mail, to jo@example.org through localhost:587: \
             nothing listens there (connection refused); it can be tried again later"
        );
    }

    #[test]
    fn control_characters_go() {
        assert_eq!(one_line("a\r\nBcc: b\u{7}\tc"), "a Bcc: b c");
        assert_eq!(lines("a\r\n\u{1b}[31mb\0\n"), "a\n[31mb\n");
        assert_eq!(quoted(&"x".repeat(400)).chars().count(), 303);
    }
}
