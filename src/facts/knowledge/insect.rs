//! An insect or mite and its events by degree days.

use super::{HeatRule, HeatStart, Source};

/// An insect or mite and its events by degree days.
#[derive(Clone, Debug, PartialEq)]
pub struct Insect {
    /// Short key, such as `codling-moth`; equals the file's name.
    pub id: String,
    /// Trade name.
    pub name: String,
    /// Scientific name.
    pub latin: String,
    /// Crop ids that it hurts.
    pub hosts: Vec<String>,
    /// What to look for and do, in words of our own.
    pub look: String,
    /// Its events.
    pub events: Vec<InsectEvent>,
}

/// One event of an insect's year.
#[derive(Clone, Debug, PartialEq)]
pub struct InsectEvent {
    /// What happens, in a few words.
    pub event: String,
    /// The crop it was published for, if told.
    pub crop: Option<String>,
    /// Heat sum, least and most, °C days; `None` where only a window is known.
    pub heat: Option<(f64, f64)>,
    /// The rule that the sum was published for; it says nothing where there is
    /// no sum.
    pub rule: HeatRule,
    /// Where the sum starts; without a sum, when the event itself begins.
    pub start: HeatStart,
    /// Whether it stands in for the first catch where none is noted.
    pub reckons_catch: bool,
    /// Where it comes from.
    pub source: Source,
}
