//! What leaves the house by a channel.

/// A message, ready to be sent on any channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Stable name; the same nudge always has the same, so that a repeat is
    /// known as one. Identifiers of the channels (an e-mail's Message-ID, a
    /// notification's replace id) derive from it.
    pub key: String,
    /// The season's thread that it belongs to, such as `tansy-bend-2026`.
    pub thread: String,
    /// How pressing it is.
    pub urgency: Urgency,
    /// One line: what, for whom, by when.
    pub title: String,
    /// A few lines of plain text: what to do, to which trees, by when, why,
    /// and what to beware of.
    pub text: String,
    /// The same as simple HTML that reads well on a phone.
    pub html: String,
    /// An iCalendar object (RFC 5545) of the windows it tells of.
    pub calendar: Option<String>,
    /// What the keeper may answer at a touch: key and label.
    pub actions: Vec<(String, String)>,
}

/// How pressing a message is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// It can wait until somebody looks.
    Low,
    /// The daily digest.
    Normal,
    /// It cannot wait: frost tonight.
    High,
}
