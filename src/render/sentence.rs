//! The wording: every reason, window and caution is put into words here and
//! nowhere else.

mod frosts;
mod limits;
mod notes;
mod reasons;
mod tasks;

pub use frosts::{crop_left, share_range, shares};
pub use reasons::years_of;

use crate::facts::Facts;
use crate::facts::knowledge::{Source, Standing};
use crate::season::spread::Spread;
use crate::units::UnitSystem;
use chrono::{Datelike, NaiveDate};

/// Puts facts and plans into words for one keeper on one day.
#[derive(Clone, Copy, Debug)]
pub struct Words<'f> {
    facts: &'f Facts,
    today: NaiveDate,
    read: Read,
}

/// When the words are read: what `tomorrow` may mean depends on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Read {
    /// At once, on the day itself.
    AtOnce,
    /// Perhaps a day or two later: a message.
    Later,
    /// Whenever: a calendar, a file for another program.
    AnyTime,
}

impl<'f> Words<'f> {
    /// Words for the keeper of these facts, on this day, to be read at once:
    /// `tomorrow`.
    pub fn new(facts: &'f Facts, today: NaiveDate) -> Self {
        let read = Read::AtOnce;
        Words { facts, today, read }
    }

    /// The same for a message, which may be read later: `tomorrow (Thu 23
    /// Apr)`.
    pub fn in_letters(facts: &'f Facts, today: NaiveDate) -> Self {
        let read = Read::Later;
        Words { facts, today, read }
    }

    /// The same for what is kept, in which every date is whole: `Thu 23 Apr
    /// 2026`.
    pub fn for_files(facts: &'f Facts, today: NaiveDate) -> Self {
        let read = Read::AnyTime;
        Words { facts, today, read }
    }

    /// What they speak of.
    pub(super) fn facts(&self) -> &'f Facts {
        self.facts
    }

    /// The day on which they speak.
    pub(super) fn today(&self) -> NaiveDate {
        self.today
    }

    fn units(&self) -> UnitSystem {
        self.facts.place.units
    }

    /// `22 Apr`, with the year where it is not this year, or where the words
    /// are kept.
    pub fn day(&self, date: NaiveDate) -> String {
        if date.year() == self.today.year() && self.read != Read::AnyTime {
            date.format("%-d %b").to_string()
        } else {
            date.format("%-d %b %Y").to_string()
        }
    }

    /// `Wed 22 Apr`, with the year where [`Words::day`] has it.
    pub fn day_of_week(&self, date: NaiveDate) -> String {
        format!("{} {}", date.format("%a"), self.day(date))
    }

    /// `today`, `tomorrow`, `Wed 22 Apr` within a week, `22 Apr` beyond; a
    /// whole date where the words are not read at once.
    pub fn near_day(&self, date: NaiveDate) -> String {
        let near = match (date - self.today).num_days() {
            _ if self.read == Read::AnyTime => return self.day_of_week(date),
            0 => "today",
            1 => "tomorrow",
            -1 => "yesterday",
            2..=6 => return self.day_of_week(date),
            _ => return self.day(date),
        };
        match self.read {
            Read::AtOnce => near.to_owned(),
            _ => format!("{near} ({})", self.day_of_week(date)),
        }
    }

    /// A date with its spread: `about 22 Apr (15 Apr to 1 May)`; a certain day
    /// alone.
    pub fn spread(&self, spread: Spread) -> String {
        if spread.width_days() <= 1 {
            return self.day(spread.middle);
        }
        format!(
            "about {} ({} to {})",
            self.day(spread.middle),
            self.day(spread.early),
            self.day(spread.late)
        )
    }

    /// Two dates as a span; one date alone.
    pub fn span(&self, from: NaiveDate, to: NaiveDate) -> String {
        if from == to {
            return self.day(to);
        }
        format!("{} to {}", self.day(from), self.day(to))
    }

    /// The same with `today` and names of the next days.
    pub fn near_span(&self, from: NaiveDate, to: NaiveDate) -> String {
        if from == to {
            return self.near_day(to);
        }
        format!("{} to {}", self.near_day(from), self.near_day(to))
    }

    /// A source as a line: its references, and its standing where it is not
    /// simply seen.
    pub fn source(&self, source: &Source) -> String {
        let lines: Vec<&str> = source
            .references
            .iter()
            .map(|id| {
                self.facts
                    .knowledge
                    .reference(id)
                    .map_or(id.as_str(), |known| known.line())
            })
            .collect();
        match (lines.is_empty(), source.standing) {
            (false, Standing::Seen) => lines.join(" | "),
            (false, standing) => format!("{} ({})", lines.join(" | "), standing.word()),
            (true, standing) => standing.word().to_owned(),
        }
    }

    fn crop(&self, id: &str) -> String {
        self.facts
            .knowledge
            .crop(id)
            .map_or_else(|| id.to_owned(), |crop| crop.name.clone())
    }

    fn insect(&self, id: &str) -> String {
        let mut insects = self.facts.knowledge.insects.iter();
        let known = insects.find(|insect| insect.id == id);
        known.map_or_else(|| id.to_owned(), |insect| insect.name.clone())
    }

    fn disease(&self, id: &str) -> String {
        self.facts
            .knowledge
            .disease(id)
            .map_or_else(|| id.replace('-', " "), |one| one.name.clone())
    }

    fn month_day(&self, month: u32, day: u32) -> String {
        NaiveDate::from_ymd_opt(self.today.year(), month, day)
            .map_or_else(String::new, |date| self.day(date))
    }
}

fn past(years: usize) -> String {
    match years {
        0 => "past years".to_owned(),
        n => format!("{n} past years"),
    }
}

/// `apples`, `apples and pears`, `apples, pears and plums`.
fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// `1 apple`, `12 apples`.
pub fn named(count: u32, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// A span of work: `45 min`, `3 h`.
pub fn spent(minutes: f64) -> String {
    if minutes < 90.0 {
        format!("{minutes:.0} min")
    } else {
        format!("{:.0} h", minutes / 60.0)
    }
}
