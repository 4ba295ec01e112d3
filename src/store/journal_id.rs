//! The short number of a journal entry.

use std::fmt;
use std::str::FromStr;

/// The id of an entry: 1 for the first one ever recorded, counting up. It
/// stays with the entry through edits and is never used again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EntryId(pub i64);

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl FromStr for EntryId {
    type Err = std::num::ParseIntError;

    /// Reads `12` and `#12`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let text = text.trim();
        text.strip_prefix('#').unwrap_or(text).parse().map(EntryId)
    }
}
