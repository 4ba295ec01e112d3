//! What a catch in a trap means: from when heat is counted for its insect.

use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Journal, TrapCatch};
use crate::render::sentence::Words;
use crate::season::{self, insects};
use chrono::{Datelike, NaiveDate};

/// Most coming events of an insect that are told.
const TOLD: usize = 3;

/// What a catch means for the count of its insect, in texts of their own.
pub fn meant(facts: &Facts, entry: &Entry, today: NaiveDate) -> Vec<String> {
    let Fact::Catch(caught) = &entry.what else {
        return Vec::new();
    };
    let mut insects = facts.knowledge.insects.iter();
    let Some(insect) = insects.find(|insect| insect.id == caught.insect) else {
        return Vec::new();
    };
    let mut then = facts.clone();
    then.journal = then.journal.with(Journal::from_entries([entry.clone()]));
    let before = start(facts, caught, entry.date, today);
    let now = start(&then, caught, entry.date, today);
    let season = season::derive(&then, today);
    let words = Words::new(facts, today);
    let name = &insect.name;
    let Some(date) = now else {
        let mut text = if caught.count == 0 {
            format!("No catch of {name} has gone on yet.")
        } else {
            format!(
                "One catch is no start yet: with moths in the trap again at the next look, \
                 within {} days, heat for {name} is counted from the first of the two; \
                 --biofix says so at once.",
                insects::SUSTAINED_DAYS
            )
        };
        if let Some((reckoned, false)) = season.first_catch(&insect.id, entry.date.year()) {
            text.push_str(&format!(
                " Until then the first is reckoned {}.",
                words.spread(reckoned)
            ));
        }
        return vec![text];
    };
    let day = words.day(date);
    let mut texts = vec![if before == now {
        format!("Heat for {name} is counted from {day}, as before.")
    } else {
        format!("Heat for {name} is now counted from {day}, the first catch that goes on.")
    }];
    let coming = season.counted_from_catch(insect, date.year());
    let coming: Vec<String> = coming
        .iter()
        .filter(|(_, spread)| spread.late >= today)
        .take(TOLD)
        .map(|(event, spread)| format!("{} {}", event.event, words.spread(*spread)))
        .collect();
    if !coming.is_empty() {
        texts.push(format!("By that count: {}.", coming.join("; ")));
    }
    texts
}

/// The day from which heat is counted for an insect in the year of a catch.
fn start(
    facts: &Facts,
    caught: &TrapCatch,
    date: NaiveDate,
    today: NaiveDate,
) -> Option<NaiveDate> {
    insects::biofixes(&facts.journal.catches, today)
        .into_iter()
        .find(|(insect, first)| *insect == caught.insect && first.year() == date.year())
        .map(|(_, first)| first)
}
