//! What the keeper saw and did.

use chrono::NaiveDate;

/// Everything noted, in the order of its dates.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Journal {
    /// Growth stages seen.
    pub stages: Vec<StageSeen>,
    /// Chores done or skipped.
    pub chores: Vec<ChoreNoted>,
}

/// A growth stage seen on trees of one crop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageSeen {
    /// The day.
    pub date: NaiveDate,
    /// The crop's id.
    pub crop: String,
    /// The cultivar, if it was seen on that alone.
    pub cultivar: Option<String>,
    /// The stage's trade name in the crop's list.
    pub stage: String,
}

/// A chore done or skipped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChoreNoted {
    /// The day.
    pub date: NaiveDate,
    /// The task's id, such as `prune-pome-apple-2027`.
    pub task: String,
    /// Whether it was done; skipped otherwise.
    pub done: bool,
}

impl Journal {
    /// The journal as it was known at the end of `today`.
    pub fn as_of(&self, today: NaiveDate) -> Journal {
        Journal {
            stages: self
                .stages
                .iter()
                .filter(|seen| seen.date <= today)
                .cloned()
                .collect(),
            chores: self
                .chores
                .iter()
                .filter(|noted| noted.date <= today)
                .cloned()
                .collect(),
        }
    }
}
