//! What was told before: the memory that keeps the program from repeating
//! itself. It is data; the store keeps it.

use super::{Kind, Task, key};
use chrono::NaiveDate;

/// What a nudge is about, by names that do not shift.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Subject {
    /// The chore's id, or a name of ours such as `frost-night`.
    pub chore: String,
    /// The crop's id, if it is for one.
    pub crop: Option<String>,
    /// `early`, `late` or a cultivar, where groups of one crop are apart.
    pub group: Option<String>,
    /// The season's year of bloom; for something else its own name.
    pub season: String,
}

impl Subject {
    /// The subject of a task. Occurrences of an event share it.
    pub fn of(task: &Task) -> Self {
        Subject {
            chore: task.chore.clone(),
            crop: task.crop.clone(),
            group: task.group.clone(),
            season: task.season.to_string(),
        }
    }

    /// The subject of a night that is spoken of. The night itself is what it
    /// is about: frost in another night is another matter.
    pub fn named(name: &str, night: NaiveDate) -> Self {
        Subject {
            chore: name.to_owned(),
            crop: None,
            group: None,
            season: night.to_string(),
        }
    }

    /// The instance's id, as the key takes it.
    pub fn instance(&self) -> String {
        let parts = [
            Some(&self.chore),
            self.crop.as_ref(),
            self.group.as_ref(),
            Some(&self.season),
        ];
        let parts: Vec<&str> = parts.into_iter().flatten().map(String::as_str).collect();
        parts.join("/")
    }

    /// Whether both speak of the same trees or one of a part of the other's:
    /// groups of a crop part and join again as the weather comes.
    pub fn meets(&self, other: &Subject) -> bool {
        self.chore == other.chore
            && self.season == other.season
            && (self.crop == other.crop || self.crop.is_none() || other.crop.is_none())
            && (self.group == other.group || self.group.is_none() || other.group.is_none())
    }
}

/// One thing that was told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Its key.
    pub key: String,
    /// What sort of word it was.
    pub kind: Kind,
    /// What it was about.
    pub subject: Subject,
    /// Its number within the kind.
    pub sequence: u32,
    /// The local day on which it was told.
    pub on: NaiveDate,
    /// The opening, or the day of the event, as it was told.
    pub from: NaiveDate,
    /// The close as it was told.
    pub until: NaiveDate,
}

impl Told {
    /// Something told on a day, with its key.
    pub fn new(
        kind: Kind,
        subject: Subject,
        sequence: u32,
        on: NaiveDate,
        (from, until): (NaiveDate, NaiveDate),
    ) -> Self {
        Told {
            key: key(&subject.instance(), kind, sequence),
            kind,
            subject,
            sequence,
            on,
            from,
            until,
        }
    }
}

/// All that was told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// In the order in which it was told.
    pub told: Vec<Told>,
}

impl Said {
    /// What was told of a subject.
    pub fn of<'s>(&'s self, subject: &'s Subject) -> impl Iterator<Item = &'s Told> {
        self.told
            .iter()
            .filter(move |told| told.subject.meets(subject))
    }

    /// Days since anything was told; `None` if nothing ever was. A clock that
    /// went back makes it nought.
    pub fn silence_days(&self, today: NaiveDate) -> Option<i64> {
        let last = self.told.iter().map(|told| told.on).max()?;
        Some((today - last).num_days().max(0))
    }
}
