//! What a reading of the rain gauge stands for.

use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Journal};
use chrono::NaiveDate;

/// In whose place a reading stands, in texts of their own.
pub fn meant(facts: &Facts, entry: &Entry, today: NaiveDate) -> Vec<String> {
    if !matches!(entry.what, Fact::Rain(_)) {
        return Vec::new();
    }
    let units = facts.place.units;
    let mut then = facts.clone();
    then.journal = then.journal.with(Journal::from_entries([entry.clone()]));
    then.heed_notes(today);
    let own = then.weather.own_rain.iter();
    let Some(own) = own.rev().find(|own| own.date == entry.date) else {
        return vec![
            "No weather record is known for that day: it is kept, and counts once there is one."
                .to_owned(),
        ];
    };
    let mut texts = vec![match own.record_mm {
        Some(mm) => format!(
            "It stands in the place of the record's rain of that day ({}).",
            units.rain(mm)
        ),
        None => "The record has no rain of that day: yours stands alone.".to_owned(),
    }];
    let earlier = facts.journal.rain.iter();
    let same = earlier.filter(|read| read.date == entry.date);
    if same.clone().next().is_some() {
        let how = if same.clone().any(|read| read.trees == entry.trees) {
            "With what was noted of that day before it adds up to"
        } else {
            "The mean of the gauges of that day is"
        };
        texts.push(format!(
            "{} {}. If one was to set the other right, take that back with `budtide undo NUMBER`.",
            how,
            units.rain(own.rain_mm)
        ));
    }
    texts
}
