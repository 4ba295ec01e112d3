//! What the keeper wants, and will not have.

use super::schedule::Schedule;
use chrono::NaiveTime;

/// Wishes that shape the plan and the nudges.
#[derive(Clone, Debug, PartialEq)]
pub struct Preferences {
    /// How far the keeper goes with sprays.
    pub sprays: Sprays,
    /// Hours a week for the orchard.
    pub hours_per_week: f64,
    /// When the digest goes out, local civil time.
    pub digest_at: Schedule,
    /// Start and end of the hours without messages, local civil time; equal
    /// times mean none.
    pub quiet: (NaiveTime, NaiveTime),
    /// Whether frost may be told inside the quiet hours.
    pub frost_at_night: bool,
    /// Chores that the keeper does not want to hear of, by id.
    pub silent_chores: Vec<String>,
}

/// How far the keeper goes with sprays.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Sprays {
    /// Whatever the label and local law allow.
    #[default]
    Any,
    /// Only materials allowed in organic growing.
    Organic,
    /// No spray at all.
    None,
}

impl Default for Preferences {
    fn default() -> Self {
        let at = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0).unwrap_or(NaiveTime::MIN);
        Preferences {
            sprays: Sprays::Any,
            hours_per_week: 6.0,
            digest_at: Schedule::Daily(at(7, 0)),
            quiet: (at(21, 30), at(6, 30)),
            frost_at_night: false,
            silent_chores: Vec::new(),
        }
    }
}
