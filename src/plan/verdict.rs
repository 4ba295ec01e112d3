//! Keep, watch, treat or replace: the verdict on a tree, with its evidence.
//!
//! Never "replace" on one bad year, on a rating alone or on what is not known:
//! then the verdict is to watch, with what to look at. A tree that the keeper
//! has called dead or to be replaced is taken at that word.

mod disease;
mod growth;

use super::choose::nearest_juniper;
use crate::facts::Facts;
use crate::facts::journal::{DamageCause, Noted, Severity};
use crate::facts::knowledge::{Crop, Cultivar, Judging, Rating, Weighed};
use crate::facts::register::{Status, Tree};
use crate::season::tally::SeasonCount;
use chrono::{Datelike, NaiveDate};

/// What to do with a tree, mildest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Nothing to do but the year's work.
    Keep,
    /// Look closer before deciding.
    Watch,
    /// Worth curing.
    Treat,
    /// Its place is better given to another.
    Replace,
}

impl Verdict {
    /// Every verdict with the word used in output.
    pub const ALL: [(Verdict, &'static str); 4] = [
        (Verdict::Keep, "keep"),
        (Verdict::Watch, "watch"),
        (Verdict::Treat, "treat"),
        (Verdict::Replace, "replace"),
    ];

    /// The word used in output.
    pub fn word(self) -> &'static str {
        Verdict::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("watch", |(_, word)| word)
    }
}

/// How sure a verdict is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sure {
    /// Plain to see, or the keeper's own word.
    Plain,
    /// It rests on several years of notes, or on a published rating.
    Fair,
    /// Little is noted or published: it may turn.
    Little,
}

/// One thing that a verdict rests on.
#[derive(Clone, Debug, PartialEq)]
pub enum Finding {
    /// The keeper's own word in the register.
    Keeper(Status),
    /// The cultivar takes a disease that occurs here.
    Weak {
        /// The disease's id.
        disease: String,
        /// How readily.
        rating: Rating,
        /// Why the disease is taken to occur here.
        here: Here,
    },
    /// Infection periods, counted from hours, of a disease that the cultivar
    /// takes.
    Infected {
        /// The disease's id.
        disease: String,
        /// How readily it takes it.
        rating: Rating,
        /// Year, periods, and of them the severe ones; the oldest first.
        years: Vec<(i32, usize, usize)>,
    },
    /// What heavy seasons of infection say of the years noted.
    Weighed {
        /// The disease's id.
        disease: String,
        /// Heavy seasons in which it was noted, but not graded.
        ungraded: Vec<i32>,
        /// Heavy seasons in which it was graded and stayed below bad.
        borne: Vec<i32>,
        /// Bad years that they add, or take off.
        bad_years: f64,
    },
    /// The cultivar resists a disease that occurs here.
    Strong {
        /// The disease's id.
        disease: String,
        /// How well.
        rating: Rating,
    },
    /// Nobody rated the cultivar, or no cultivar is noted.
    Unrated {
        /// The disease's id.
        disease: String,
    },
    /// The cultivar is in no list.
    UnknownCultivar,
    /// Resistant to one disease, and taken for resistant to another.
    NotTheOther {
        /// Resisted.
        resists: String,
        /// Not resisted.
        takes: String,
    },
    /// A symptom noted over years, with the worst of each.
    Recorded {
        /// The disease's id, or the keeper's word.
        what: String,
        /// Year and worst severity, 0 to 1; `None`: not judged.
        years: Vec<(i32, Option<f64>)>,
    },
    /// A resistant cultivar had it badly: name or diagnosis may be wrong.
    AgainstRating {
        /// The disease's id.
        disease: String,
        /// The published rating.
        rating: Rating,
    },
    /// Rust or leaf spots on a crop that no juniper rust lives on.
    NotJunipers {
        /// What was noted.
        what: String,
        /// Diseases of this crop that look like it, by id.
        rather: Vec<String>,
    },
    /// Shoots measured against what is wanted.
    Shoots {
        /// Year and length, cm.
        years: Vec<(i32, f64)>,
        /// Wanted, cm.
        wanted: (f64, f64),
    },
    /// Years without a crop, the last ones in a row, at an age that bears.
    NoCrop {
        /// The years.
        years: Vec<i32>,
        /// Of them those in which frost damage was noted.
        frost: Vec<i32>,
    },
    /// Too young to bear: no crop means nothing yet.
    TooYoung {
        /// Seasons since planting.
        seasons: i32,
        /// Seasons until the crop usually bears.
        bears: f64,
    },
    /// Beyond the span in which the crop usually stays worth its place.
    Old {
        /// Seasons since planting.
        seasons: i32,
    },
    /// The zone is colder than any that is printed for it.
    TooCold {
        /// The coldest zone in print.
        coldest: u8,
        /// Whether that is the cultivar's own, not the crop's.
        of_cultivar: bool,
    },
    /// A partner for its pollination is missing.
    NoPartner,
    /// Damage noted.
    Damage {
        /// The year.
        year: i32,
        /// What did it.
        cause: DamageCause,
        /// Share of what it is about.
        share: Option<f64>,
    },
    /// Nothing is noted about it at all.
    NothingNoted,
}

/// Why a disease is taken to occur here.
#[derive(Clone, Debug, PartialEq)]
pub enum Here {
    /// Noted in the journal on any tree, in so many years.
    Noted(usize),
    /// Infection periods counted this season and in earlier ones.
    Counted(usize),
    /// Junipers stand so near, m.
    Junipers(f64),
}

/// What would settle an open question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Grade the leaves in early summer and before leaf fall.
    GradeLeaves,
    /// Measure shoots in late winter.
    MeasureShoots,
    /// Note the crop as a share of a full one.
    NoteCrop,
    /// Cut blossoms after frost.
    CutBuds,
    /// Look for a partner in bloom.
    Bloom,
    /// Bark and crown all round.
    Bark,
    /// Find out what cultivar it is.
    Name,
    /// Have a leaf looked at.
    Clinic,
    /// Lean and roots after staking.
    Lean,
}

/// What waiting a year costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Waiting {
    /// Nothing; a year's notes are gained.
    Nothing,
    /// A year of small crop.
    SmallCrop,
    /// Disease goes to the neighbours meanwhile.
    Spreads,
    /// One more year until the new tree bears.
    LaterCrop,
}

/// The verdict on one tree.
#[derive(Clone, Debug, PartialEq)]
pub struct TreeVerdict {
    /// The tree's id.
    pub tree: String,
    /// The verdict.
    pub verdict: Verdict,
    /// How sure.
    pub sure: Sure,
    /// What it rests on, the weightiest first.
    pub evidence: Vec<Finding>,
    /// What to look at to decide.
    pub look: Vec<Look>,
    /// What waiting a year costs.
    pub waiting: Waiting,
}

/// Whether an entry is about a crop's trees, by its crop or its trees.
pub fn is_about<T>(facts: &Facts, noted: &Noted<T>, crop: &str) -> bool {
    if let Some(own) = &noted.crop {
        return own == crop;
    }
    let mut trees = facts.register.trees.iter();
    trees.any(|tree| tree.crop == crop && noted.trees.contains(&tree.id))
}

/// Whether an entry is about one tree: it names it, or it names no tree but
/// its crop.
fn is_about_tree<T>(noted: &Noted<T>, tree: &Tree) -> bool {
    if noted.trees.is_empty() {
        return noted.crop.as_deref() == Some(&tree.crop);
    }
    noted
        .trees
        .iter()
        .any(|id| id.eq_ignore_ascii_case(&tree.id))
}

/// A severity as a share from 0 to 1; one that was not judged counts as
/// slight.
pub fn grade(judging: &Judging, severity: Option<Severity>) -> f64 {
    match severity {
        Some(Severity::Grade(grade)) => f64::from(grade.min(5)) / 5.0,
        Some(Severity::Share(share)) if share.is_finite() => share.clamp(0.0, 1.0),
        _ => judging.of(Weighed::Ungraded),
    }
}

/// What stands and how to judge it.
struct Case<'f> {
    facts: &'f Facts,
    tree: &'f Tree,
    crop: &'f Crop,
    cultivar: Option<&'f Cultivar>,
    counts: &'f [SeasonCount],
    year: i32,
    verdict: Verdict,
    sure: Sure,
    evidence: Vec<Finding>,
    look: Vec<Look>,
    waiting: Waiting,
}

/// The verdicts on all trees that stand, in the order of the register.
/// `counts` are the infection periods of this season and of earlier ones.
pub fn all(facts: &Facts, counts: &[SeasonCount], today: NaiveDate) -> Vec<TreeVerdict> {
    facts
        .register
        .trees
        .iter()
        .filter(|tree| tree.stands())
        .filter_map(|tree| of(facts, tree, counts, today))
        .collect()
}

/// The verdict on one tree; `None` for a crop that is not known.
pub fn of(
    facts: &Facts,
    tree: &Tree,
    counts: &[SeasonCount],
    today: NaiveDate,
) -> Option<TreeVerdict> {
    let crop = facts.knowledge.crop(&tree.crop)?;
    let name = tree.cultivar.as_deref();
    let mut case = Case {
        facts,
        tree,
        crop,
        cultivar: name.and_then(|name| facts.knowledge.cultivar(&tree.crop, name)),
        counts,
        year: today.year(),
        verdict: Verdict::Keep,
        sure: Sure::Fair,
        evidence: Vec::new(),
        look: Vec::new(),
        waiting: Waiting::Nothing,
    };
    case.keeper();
    case.cold();
    case.infections();
    case.symptoms(today);
    case.ratings();
    case.shoots(today);
    case.crops(today);
    case.damage(today);
    Some(case.close())
}

impl Case<'_> {
    fn at_least(&mut self, verdict: Verdict, waiting: Waiting) {
        if verdict > self.verdict {
            self.verdict = verdict;
            self.waiting = waiting;
        }
    }

    fn ask(&mut self, look: Look) {
        if !self.look.contains(&look) {
            self.look.push(look);
        }
    }

    fn weigh(&self, weighed: Weighed) -> f64 {
        self.facts.knowledge.judging.of(weighed)
    }

    /// The year after which journal and hours are looked at.
    fn since(&self) -> i32 {
        self.year - self.facts.knowledge.judging.whole(Weighed::YearsBack)
    }

    fn rating(&self, disease: &str) -> Option<Rating> {
        Some(self.cultivar?.rating(disease)?.rating)
    }

    /// What the keeper says in the register.
    fn keeper(&mut self) {
        let status = self.tree.status;
        if status != Status::Healthy {
            self.evidence.push(Finding::Keeper(status));
        }
        match status {
            Status::Dead => {
                self.at_least(Verdict::Replace, Waiting::Spreads);
                self.sure = Sure::Plain;
            }
            Status::Replace => {
                self.at_least(Verdict::Replace, Waiting::LaterCrop);
                self.sure = Sure::Plain;
            }
            Status::Leaning => {
                self.at_least(Verdict::Treat, Waiting::SmallCrop);
                self.ask(Look::Lean);
            }
            Status::Wounded => {
                self.at_least(Verdict::Treat, Waiting::SmallCrop);
                self.ask(Look::Bark);
            }
            Status::Ailing => self.at_least(Verdict::Watch, Waiting::Nothing),
            Status::Healthy | Status::Removed => {}
        }
    }

    fn close(mut self) -> TreeVerdict {
        let noted = self.evidence.iter().any(|one| {
            matches!(
                one,
                Finding::Keeper(_)
                    | Finding::Recorded { .. }
                    | Finding::Shoots { .. }
                    | Finding::NoCrop { .. }
                    | Finding::Damage { .. }
            )
        });
        if !noted && self.verdict < Verdict::Replace {
            self.evidence.push(Finding::NothingNoted);
            self.sure = self.sure.max(Sure::Little);
        }
        if self.verdict == Verdict::Watch && self.look.is_empty() {
            self.look.push(Look::GradeLeaves);
            self.look.push(Look::MeasureShoots);
        }
        self.evidence.sort_by_key(order);
        TreeVerdict {
            tree: self.tree.id.clone(),
            verdict: self.verdict,
            sure: self.sure,
            evidence: self.evidence,
            look: self.look,
            waiting: self.waiting,
        }
    }
}

/// What is seen goes before what is published, that before what is unknown.
fn order(finding: &Finding) -> u8 {
    match finding {
        Finding::Keeper(_) => 0,
        Finding::NotJunipers { .. } | Finding::AgainstRating { .. } => 1,
        Finding::Recorded { .. } => 2,
        Finding::Weighed { .. } => 3,
        Finding::NoPartner | Finding::NoCrop { .. } | Finding::TooCold { .. } => 4,
        Finding::Damage { .. } | Finding::Shoots { .. } => 5,
        Finding::Infected { .. } => 6,
        Finding::Weak { .. } | Finding::NotTheOther { .. } => 7,
        Finding::Strong { .. } => 8,
        Finding::Old { .. } | Finding::TooYoung { .. } => 9,
        Finding::UnknownCultivar | Finding::Unrated { .. } | Finding::NothingNoted => 10,
    }
}

/// Whether junipers stand so near that rust comes every wet spring.
pub fn junipers_near(facts: &Facts) -> bool {
    let near = facts.knowledge.judging.of(Weighed::NearJuniper);
    nearest_juniper(facts).is_some_and(|metres| metres <= near)
}

/// The greater of two severities, either of which may not have been judged.
trait MaxOf {
    fn max_of(self, other: Self) -> Self;
}

impl MaxOf for Option<f64> {
    fn max_of(self, other: Self) -> Self {
        match (self, other) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (one, other) => one.or(other),
        }
    }
}
