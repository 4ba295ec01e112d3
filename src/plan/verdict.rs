//! Keep, watch, treat or replace: the verdict on a tree, with its evidence.
//!
//! Never "replace" on one bad year, on a rating alone or on what is not known:
//! then the verdict is to watch, with what to look at. A tree that the keeper
//! has called dead or to be replaced is taken at that word.

use super::age;
use super::choose::nearest_juniper;
use super::pollination;
use crate::facts::Facts;
use crate::facts::journal::{DamageCause, Noted, Severity, Symptom};
use crate::facts::knowledge::{Crop, CropKind, Cultivar, InfectionModel, Judging, Rating, Weighed};
use crate::facts::preferences::Sprays;
use crate::facts::register::{Age, Status, Tree};
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

    /// What was noted of disease over the years.
    fn symptoms(&mut self, today: NaiveDate) {
        let judging = &self.facts.knowledge.judging;
        let since = self.since();
        let mut whats: Vec<&str> = Vec::new();
        let symptoms: Vec<&Noted<Symptom>> = self
            .facts
            .journal
            .symptoms
            .iter()
            .filter(|noted| noted.date <= today && noted.date.year() > since)
            .filter(|noted| is_about_tree(noted, self.tree))
            .collect();
        for noted in &symptoms {
            if !whats.contains(&noted.what.what.as_str()) {
                whats.push(&noted.what.what);
            }
        }
        for what in whats {
            let mut years: Vec<(i32, Option<f64>)> = Vec::new();
            for noted in symptoms.iter().filter(|noted| noted.what.what == what) {
                let worst = noted.what.severity.map(|one| grade(judging, Some(one)));
                let year = noted.date.year();
                match years.iter_mut().find(|(one, _)| *one == year) {
                    Some((_, held)) => *held = held.max_of(worst),
                    None => years.push((year, worst)),
                }
            }
            years.retain(|(_, worst)| worst.is_none_or(|worst| worst > 0.0));
            if !years.is_empty() {
                self.symptom(what, years);
            }
        }
    }

    /// One disease noted over years.
    fn symptom(&mut self, what: &str, years: Vec<(i32, Option<f64>)>) {
        let limit = self.weigh(Weighed::BadYear);
        let bad = years
            .iter()
            .filter(|(_, worst)| worst.is_some_and(|worst| worst >= limit))
            .count();
        let judged = years.iter().any(|(_, worst)| worst.is_some());
        let weather = self.heavy_seasons(what, &years);
        self.evidence.push(Finding::Recorded {
            what: what.to_owned(),
            years,
        });
        if let Some(rather) = self.not_junipers(what) {
            self.evidence.push(Finding::NotJunipers {
                what: what.to_owned(),
                rather,
            });
            self.at_least(Verdict::Watch, Waiting::Nothing);
            self.ask(Look::Clinic);
        }
        if !judged {
            self.ask(Look::GradeLeaves);
        }
        let rating = self.rating(what);
        if bad > 0
            && let Some(rating) = rating
            && rating <= Rating::Resistant
        {
            self.evidence.push(Finding::AgainstRating {
                disease: what.to_owned(),
                rating,
            });
            self.at_least(Verdict::Watch, Waiting::Nothing);
            self.sure = self.sure.max(Sure::Little);
            self.ask(Look::Clinic);
            self.ask(Look::Name);
            return;
        }
        let weak = rating.is_some_and(|rating| rating >= Rating::Susceptible);
        let after = self.weigh(match self.facts.preferences.sprays {
            Sprays::None => Weighed::ReplaceAfterUnsprayed,
            _ => Weighed::ReplaceAfter,
        });
        let mut counted = bad as f64;
        if weak && let Some(Finding::Weighed { bad_years, .. }) = &weather {
            counted += bad_years;
            self.evidence.extend(weather);
        }
        // Unknown weakness never replaces, nor do fewer bad years seen.
        let least = self.weigh(Weighed::ReplaceLeast);
        let replace = weak && bad as f64 >= least && counted >= after;
        match bad {
            0 => self.at_least(Verdict::Watch, Waiting::Nothing),
            _ if replace => self.at_least(Verdict::Replace, Waiting::LaterCrop),
            _ if weak => self.at_least(Verdict::Treat, Waiting::SmallCrop),
            1 => self.at_least(Verdict::Watch, Waiting::Nothing),
            _ => {
                self.at_least(Verdict::Treat, Waiting::SmallCrop);
                self.ask(Look::Clinic);
            }
        }
        if bad == 1 {
            self.ask(Look::GradeLeaves);
        }
    }

    /// Its zone against the place's: worth a look, however well it stands.
    fn cold(&mut self) {
        let own = self.cultivar.and_then(|one| one.coldest_zone.as_ref());
        let Some((coldest, _)) = own.or(self.crop.coldest_zone.as_ref()) else {
            return;
        };
        if self.facts.place.hardiness.number() < *coldest {
            self.evidence.push(Finding::TooCold {
                coldest: *coldest,
                of_cultivar: own.is_some(),
            });
            self.at_least(Verdict::Watch, Waiting::Nothing);
            self.ask(Look::Bark);
        }
    }

    /// The years in which hours tell of a disease, the oldest first.
    fn counted(&self, disease: &str) -> Vec<(i32, usize, usize)> {
        let since = self.since();
        let mut years: Vec<(i32, usize, usize)> = self
            .counts
            .iter()
            .filter(|one| one.disease == disease && one.crop == self.crop.id && one.year > since)
            .map(|one| (one.year, one.periods, one.severe))
            .collect();
        years.sort_unstable();
        years
    }

    /// Infection periods of the diseases that the cultivar takes.
    fn infections(&mut self) {
        for disease in &self.facts.knowledge.diseases {
            let taken = self.rating(&disease.id);
            let Some(rating) = taken.filter(|rating| *rating >= Rating::Moderate) else {
                continue;
            };
            let years = self.counted(&disease.id);
            if !years.iter().any(|(_, periods, _)| *periods > 0) {
                continue;
            }
            let heavy = self.weigh(Weighed::HeavySeason);
            let now = years.iter().find(|(year, ..)| *year == self.year);
            if rating >= Rating::Susceptible && now.is_some_and(|one| one.1 as f64 >= heavy) {
                self.at_least(Verdict::Watch, Waiting::SmallCrop);
                self.ask(Look::GradeLeaves);
            }
            self.evidence.push(Finding::Infected {
                disease: disease.id.clone(),
                rating,
                years,
            });
        }
    }

    /// What heavy seasons say of the years noted: a note without a grade was
    /// likelier bad, and a tree that came through without a bad year bears
    /// more than its rating says. Seasons of which nothing was noted say
    /// nothing.
    fn heavy_seasons(&self, disease: &str, noted: &[(i32, Option<f64>)]) -> Option<Finding> {
        let heavy = self.weigh(Weighed::HeavySeason);
        let limit = self.weigh(Weighed::BadYear);
        let (mut ungraded, mut borne) = (Vec::new(), Vec::new());
        for (year, periods, _) in self.counted(disease) {
            let found = noted.iter().find(|(one, _)| *one == year);
            match found.map(|(_, worst)| *worst) {
                _ if (periods as f64) < heavy => {}
                Some(None) => ungraded.push(year),
                Some(Some(worst)) if worst < limit => borne.push(year),
                _ => {}
            }
        }
        let bad_years = ungraded.len() as f64 * self.weigh(Weighed::HeavyUngraded)
            - borne.len() as f64 * self.weigh(Weighed::HeavyBorne);
        (!ungraded.is_empty() || !borne.is_empty()).then(|| Finding::Weighed {
            disease: disease.to_owned(),
            ungraded,
            borne,
            bad_years,
        })
    }

    /// For rust and leaf spots on a crop that no juniper rust lives on: what
    /// it may be rather.
    fn not_junipers(&self, what: &str) -> Option<Vec<String>> {
        let diseases = &self.facts.knowledge.diseases;
        let word = what.to_lowercase();
        let named = diseases.iter().find(|disease| disease.id == what);
        let suspected = match named {
            Some(disease) => disease.needs_juniper,
            None => ["rust", "spot", "cedar", "juniper"]
                .iter()
                .any(|one| word.contains(one)),
        };
        let hosts = diseases
            .iter()
            .any(|disease| disease.needs_juniper && disease.hosts.contains(&self.crop.id));
        (suspected && !hosts).then(|| {
            diseases
                .iter()
                .filter(|one| one.hosts.contains(&self.crop.id))
                .filter(|one| {
                    ["spot", "rust", "canker", "shot"]
                        .iter()
                        .any(|word| one.id.contains(word))
                })
                .map(|one| one.id.clone())
                .collect()
        })
    }

    /// The cultivar against the diseases that occur here.
    fn ratings(&mut self) {
        if self.crop.kind == CropKind::Bush || self.crop.kind == CropKind::Bramble {
            return;
        }
        if self.cultivar.is_none() {
            self.evidence.push(Finding::UnknownCultivar);
            self.sure = self.sure.max(Sure::Little);
            self.ask(Look::Name);
            return;
        }
        let mut weak: Vec<String> = Vec::new();
        let mut strong: Vec<String> = Vec::new();
        for disease in &self.facts.knowledge.diseases {
            if !disease.hosts.contains(&self.crop.id) {
                continue;
            }
            let Some(here) = self.here(&disease.id, disease.needs_juniper) else {
                continue;
            };
            // Nobody rates for a disease that none of its cultivars has a
            // rating for: nothing is said then.
            let some = self.facts.knowledge.cultivars.iter();
            let rated = some
                .filter(|one| one.crop == self.crop.id)
                .any(|one| one.rating(&disease.id).is_some());
            match self.rating(&disease.id) {
                Some(rating) if rating >= Rating::Susceptible => {
                    weak.push(disease.id.clone());
                    self.evidence.push(Finding::Weak {
                        disease: disease.id.clone(),
                        rating,
                        here,
                    });
                }
                Some(rating) if rating <= Rating::Resistant => {
                    strong.push(disease.id.clone());
                    self.evidence.push(Finding::Strong {
                        disease: disease.id.clone(),
                        rating,
                    });
                }
                Some(_) => {}
                None if rated && disease.model != InfectionModel::WindowOnly => {
                    self.evidence.push(Finding::Unrated {
                        disease: disease.id.clone(),
                    });
                    if self.evidence.len() == 1 {
                        self.sure = self.sure.max(Sure::Little);
                    }
                }
                None => {}
            }
        }
        if !weak.is_empty() {
            self.at_least(Verdict::Watch, Waiting::Nothing);
            self.ask(Look::GradeLeaves);
        }
        let scab = self
            .rating("apple-scab")
            .is_some_and(|one| one <= Rating::Resistant);
        if scab {
            for takes in weak.iter().filter(|one| one.ends_with("rust")) {
                self.evidence.push(Finding::NotTheOther {
                    resists: "apple-scab".to_owned(),
                    takes: takes.clone(),
                });
            }
        }
    }

    /// Why a disease is taken to occur here, if it is.
    fn here(&self, disease: &str, juniper: bool) -> Option<Here> {
        let mut years: Vec<i32> = self
            .facts
            .journal
            .symptoms
            .iter()
            .filter(|noted| noted.what.what == disease)
            .map(|noted| noted.date.year())
            .collect();
        years.sort_unstable();
        years.dedup();
        if !years.is_empty() {
            return Some(Here::Noted(years.len()));
        }
        if juniper {
            let nearest = nearest_juniper(self.facts)?;
            return (nearest <= self.weigh(Weighed::FarJuniper)).then_some(Here::Junipers(nearest));
        }
        let counted = self.counted(disease).iter().map(|one| one.1).sum();
        (counted > 0).then_some(Here::Counted(counted))
    }

    /// Shoots against what is wanted at this age.
    fn shoots(&mut self, today: NaiveDate) {
        let bearing = matches!(
            age::of(self.tree, self.crop, self.year),
            Age::Bearing | Age::Old
        );
        let target = self.crop.habit.shoots.iter();
        let Some(wanted) = target
            .clone()
            .find(|one| one.bearing == bearing)
            .map(|one| one.length_cm)
        else {
            return;
        };
        let mut years: Vec<(i32, f64)> = self
            .facts
            .journal
            .shoots
            .iter()
            .filter(|noted| noted.date <= today && noted.date.year() > self.since())
            .filter(|noted| is_about_tree(noted, self.tree))
            .map(|noted| (noted.date.year(), noted.what.length_cm))
            .collect();
        years.dedup_by_key(|(year, _)| *year);
        if years.is_empty() {
            return;
        }
        let weak = years.iter().filter(|(_, cm)| *cm < wanted.0).count();
        let last = years.last().map_or(0.0, |(_, cm)| *cm);
        self.evidence.push(Finding::Shoots { years, wanted });
        if weak >= 2 && last < wanted.0 {
            self.at_least(Verdict::Treat, Waiting::SmallCrop);
        } else if last < wanted.0 || last > wanted.1 {
            self.at_least(Verdict::Watch, Waiting::Nothing);
            self.ask(Look::MeasureShoots);
        }
    }

    /// Crops for its age, and its partner.
    fn crops(&mut self, today: NaiveDate) {
        let gap = pollination::of_tree(self.facts, self.tree).gap() && self.tree.tended();
        if gap {
            self.evidence.push(Finding::NoPartner);
            self.at_least(Verdict::Watch, Waiting::SmallCrop);
            self.ask(Look::Bloom);
        }
        let Some(planted) = self.tree.planted else {
            return;
        };
        let seasons = self.year - planted.year();
        let bears = self.bears();
        let none = self.years_without(today);
        if none.is_empty() {
            if age::of(self.tree, self.crop, self.year) == Age::Old {
                self.evidence.push(Finding::Old { seasons });
                self.at_least(Verdict::Watch, Waiting::Nothing);
            }
            return;
        }
        if f64::from(seasons) <= bears {
            self.evidence.push(Finding::TooYoung { seasons, bears });
            return;
        }
        let frost: Vec<i32> = none
            .iter()
            .copied()
            .filter(|year| self.frosted(*year))
            .collect();
        let blameless = frost.len();
        let count = none.len();
        self.evidence.push(Finding::NoCrop { years: none, frost });
        self.ask(Look::NoteCrop);
        if gap {
            self.at_least(Verdict::Treat, Waiting::SmallCrop);
        } else if (count - blameless) as f64 >= self.weigh(Weighed::NoCropYears) {
            self.at_least(Verdict::Treat, Waiting::SmallCrop);
            self.ask(Look::Bloom);
            self.ask(Look::CutBuds);
        } else {
            self.at_least(Verdict::Watch, Waiting::SmallCrop);
            self.ask(Look::CutBuds);
        }
    }

    /// Seasons until it usually bears; strong rootstocks take longer.
    fn bears(&self) -> f64 {
        let judging = &self.facts.knowledge.judging;
        let most = self
            .crop
            .years_to_bear
            .as_ref()
            .map_or(judging.of(Weighed::BearsUnknown), |years| years.1);
        let stock = self.tree.rootstock.as_deref().unwrap_or_default();
        if judging.is_strong(stock) {
            most + judging.of(Weighed::StrongStockYears)
        } else {
            most
        }
    }

    /// The years without a crop, newest run first, that the journal tells of.
    fn years_without(&self, today: NaiveDate) -> Vec<i32> {
        let least = self.weigh(Weighed::NoCrop);
        let mut years: Vec<(i32, bool)> = Vec::new();
        for noted in &self.facts.journal.harvests {
            if noted.date > today || !is_about_tree(noted, self.tree) {
                continue;
            }
            let none = match (noted.what.of_full, noted.what.weight_kg) {
                (Some(share), _) => share < least,
                (None, Some(weight)) => weight <= 0.0,
                (None, None) => false,
            };
            match years
                .iter_mut()
                .find(|(year, _)| *year == noted.date.year())
            {
                Some((_, held)) => *held = *held && none,
                None => years.push((noted.date.year(), none)),
            }
        }
        years.sort_unstable();
        let mut run: Vec<i32> = years
            .iter()
            .rev()
            .take_while(|(_, none)| *none)
            .map(|(year, _)| *year)
            .collect();
        run.reverse();
        run
    }

    fn frosted(&self, year: i32) -> bool {
        self.facts.journal.damage.iter().any(|noted| {
            noted.what.cause == DamageCause::Frost
                && noted.date.year() == year
                && (noted.trees.is_empty() || is_about_tree(noted, self.tree))
        })
    }

    /// Damage of the last years.
    fn damage(&mut self, today: NaiveDate) {
        let limit = self.weigh(Weighed::BadYear);
        let noted: Vec<_> = self
            .facts
            .journal
            .damage
            .iter()
            .filter(|noted| noted.date <= today && noted.date.year() > self.since())
            .filter(|noted| is_about_tree(noted, self.tree))
            .collect();
        for one in noted {
            let cause = one.what.cause;
            self.evidence.push(Finding::Damage {
                year: one.date.year(),
                cause,
                share: one.what.share,
            });
            if cause == DamageCause::Frost {
                continue;
            }
            let much = one.what.share.is_none_or(|share| share >= limit);
            if much {
                self.at_least(Verdict::Treat, Waiting::SmallCrop);
                self.ask(Look::Bark);
            } else if one.date.year() >= self.year - 1 {
                self.at_least(Verdict::Watch, Waiting::Nothing);
            }
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
