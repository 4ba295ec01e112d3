//! What grows there: the trees, and the junipers that carry rust.

use super::knowledge::Stock;
use chrono::NaiveDate;

/// The register of trees and junipers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Register {
    /// Trees and plantings, in the order of the file.
    pub trees: Vec<Tree>,
    /// Junipers near by, on the holding or beyond.
    pub junipers: Vec<Juniper>,
    /// What the keeper means to plant.
    pub wanted: Vec<Wanted>,
}

/// A planting that the keeper intends.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// The crop's id.
    pub crop: String,
    /// Cultivar, if it is chosen.
    pub cultivar: Option<String>,
    /// How many.
    pub count: u32,
    /// How it will come.
    pub stock: Stock,
}

/// One tree, or several alike that are kept as one.
#[derive(Clone, Debug, PartialEq)]
pub struct Tree {
    /// Short name, unique in the register.
    pub id: String,
    /// The crop's id in the shipped knowledge.
    pub crop: String,
    /// Cultivar as the keeper writes it.
    pub cultivar: Option<String>,
    /// Rootstock as the keeper writes it.
    pub rootstock: Option<String>,
    /// When it was planted.
    pub planted: Option<Planted>,
    /// Row in the orchard.
    pub row: Option<String>,
    /// Spot in the row.
    pub spot: Option<u32>,
    /// How many plants stand behind this entry.
    pub count: u32,
    /// How it does.
    pub status: Status,
    /// Whatever the keeper wants to remember.
    pub notes: Option<String>,
}

/// A planting date as well as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Planted {
    /// Only the year.
    Year(i32),
    /// The day.
    Day(NaiveDate),
}

impl Planted {
    /// The year in either case.
    pub fn year(self) -> i32 {
        use chrono::Datelike;
        match self {
            Planted::Year(year) => year,
            Planted::Day(day) => day.year(),
        }
    }
}

/// How a tree does, in the keeper's eyes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Status {
    /// Nothing to remark.
    #[default]
    Healthy,
    /// Ill or weak.
    Ailing,
    /// Leaning or blown over.
    Leaning,
    /// Bark or limbs wounded.
    Wounded,
    /// Dead but standing.
    Dead,
    /// To be taken out and replaced.
    Replace,
    /// Taken out already; kept for the record.
    Removed,
}

impl Status {
    /// Every status with the word used in files.
    pub const ALL: [(Status, &'static str); 7] = [
        (Status::Healthy, "healthy"),
        (Status::Ailing, "ailing"),
        (Status::Leaning, "leaning"),
        (Status::Wounded, "wounded"),
        (Status::Dead, "dead"),
        (Status::Replace, "replace"),
        (Status::Removed, "removed"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        Status::ALL
            .iter()
            .find(|(status, _)| *status == self)
            .map_or("healthy", |(_, word)| word)
    }
}

/// How old a tree is, in the terms that chores ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Age {
    /// In its first two seasons.
    New,
    /// Not yet bearing.
    Young,
    /// Bearing.
    Bearing,
    /// Old enough to be renovated or let go.
    Old,
}

impl Age {
    /// Every age with the word used in files.
    pub const ALL: [(Age, &'static str); 4] = [
        (Age::New, "new"),
        (Age::Young, "young"),
        (Age::Bearing, "bearing"),
        (Age::Old, "old"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        Age::ALL
            .iter()
            .find(|(age, _)| *age == self)
            .map_or("bearing", |(_, word)| word)
    }
}

impl Tree {
    /// Whether the tree still stands.
    pub fn stands(&self) -> bool {
        self.status != Status::Removed
    }

    /// Whether the tree is alive and meant to stay.
    pub fn tended(&self) -> bool {
        !matches!(
            self.status,
            Status::Removed | Status::Dead | Status::Replace
        )
    }
}

impl Juniper {
    /// Whether it is known to be the keeper's to cut. What is not known is
    /// left alone.
    pub fn is_own(&self) -> bool {
        self.removable == Some(true)
    }
}

/// A juniper that may carry rust.
#[derive(Clone, Debug, PartialEq)]
pub struct Juniper {
    /// Short name, unique in the register.
    pub id: String,
    /// Where it stands, in the keeper's words.
    pub place: String,
    /// Distance to the nearest apple or pear, m.
    pub distance_m: f64,
    /// Whether the keeper may cut it; `None` where nobody said so.
    pub removable: Option<bool>,
    /// How many stand there.
    pub count: u32,
    /// Whatever the keeper wants to remember.
    pub notes: Option<String>,
}
