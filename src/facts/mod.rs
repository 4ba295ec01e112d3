//! WHAT IS KNOWN: plain data, no rules.
//!
//! Everything that the season and the plan are derived from: the place, the
//! register of trees, the weather of the place, what the keeper saw and did,
//! what the keeper wants, and the knowledge of the trade. Nothing here
//! decides anything; [`noted`] puts notes in the place of what they set right.

pub mod journal;
pub mod knowledge;
pub mod noted;
pub mod place;
pub mod preferences;
pub mod register;
pub mod schedule;
pub mod weather;

use journal::Journal;
use knowledge::Knowledge;
use place::Place;
use preferences::Preferences;
use register::Register;
use weather::Weather;

/// All that is known on one day: the only input of the season and the plan
/// besides the day itself.
#[derive(Clone, Debug)]
pub struct Facts {
    /// Where the orchard stands.
    pub place: Place,
    /// What grows there, with the plantings and removals of the journal.
    pub register: Register,
    /// What grows there by the register's file alone.
    pub filed: Register,
    /// The weather of the place: seen, and forecast.
    pub weather: Weather,
    /// What the keeper saw and did.
    pub journal: Journal,
    /// What the keeper wants and will not have.
    pub preferences: Preferences,
    /// What the trade knows.
    pub knowledge: Knowledge,
}

impl Facts {
    /// The cultivar of a tree by its place in the register.
    pub fn cultivar_of(&self, index: Option<&usize>) -> Option<&str> {
        self.register.trees.get(*index?)?.cultivar.as_deref()
    }
}
