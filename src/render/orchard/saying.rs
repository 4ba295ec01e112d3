//! Findings on a tree in words.

use crate::facts::Facts;
use crate::facts::register::{Status, Tree};
use crate::plan::verdict::{Finding, Here, Look, Sure, TreeVerdict, Waiting};
use crate::render::sentence::named;
use crate::units::plain;

/// Words for the verdicts of one orchard.
#[derive(Clone, Copy, Debug)]
pub struct Saying<'f> {
    facts: &'f Facts,
}

impl<'f> Saying<'f> {
    /// Words for the keeper of these facts.
    pub fn new(facts: &'f Facts) -> Self {
        Saying { facts }
    }

    fn disease(&self, id: &str) -> String {
        self.facts
            .knowledge
            .disease(id)
            .map_or_else(|| id.to_owned(), |one| one.name.clone())
    }

    fn length(&self, cm: f64) -> String {
        match self.facts.place.units {
            crate::units::UnitSystem::Us => format!("{} in", plain((cm / 2.54).round())),
            crate::units::UnitSystem::Metric => format!("{} cm", plain(cm.round())),
        }
    }

    /// A finding as a sentence without its stop.
    pub fn finding(&self, finding: &Finding) -> String {
        match finding {
            Finding::Keeper(status) => format!(
                "your register says {}",
                match status {
                    Status::Replace => "to be replaced",
                    other => other.word(),
                }
            ),
            Finding::Weak {
                disease,
                rating,
                here,
            } => format!(
                "the cultivar is {} to {}, {}",
                rating.word(),
                self.disease(disease),
                self.here(here)
            ),
            Finding::Infected {
                disease,
                rating,
                years,
            } => {
                let years: Vec<String> = years
                    .iter()
                    .map(|(year, periods, severe)| match severe {
                        0 => format!("{periods} in {year}"),
                        severe => format!("{periods} in {year}, {severe} severe"),
                    })
                    .collect();
                format!(
                    "infection periods of {}, counted from hours, on a cultivar that is {} to it: \
                     {}",
                    self.disease(disease),
                    rating.word(),
                    years.join("; ")
                )
            }
            Finding::Weighed {
                disease,
                ungraded,
                borne,
                bad_years,
            } => {
                let list = |years: &[i32]| -> String {
                    let years: Vec<String> = years.iter().map(i32::to_string).collect();
                    years.join(", ")
                };
                let mut parts = Vec::new();
                if !ungraded.is_empty() {
                    parts.push(format!("noted and not graded in {}", list(ungraded)));
                }
                if !borne.is_empty() {
                    parts.push(format!("not bad on the tree in {}", list(borne)));
                }
                let weight = match *bad_years {
                    more if more > 0.0 => format!("counts for {} bad years more", plain(more)),
                    less if less < 0.0 => format!("takes {} bad years off", plain(-less)),
                    _ => "the two outweigh each other".to_owned(),
                };
                format!(
                    "many infection periods of {}, {}: {weight}",
                    self.disease(disease),
                    parts.join("; ")
                )
            }
            Finding::Strong { disease, rating } => {
                format!("it is {} to {}", rating.word(), self.disease(disease))
            }
            Finding::Unrated { disease } => {
                format!("no rating for {} was found", self.disease(disease))
            }
            Finding::UnknownCultivar => {
                "the cultivar is not noted or in no list: its ratings are unknown".to_owned()
            }
            Finding::NotTheOther { resists, takes } => format!(
                "resistant to {} is not resistant to {}: another fungus",
                self.disease(resists),
                self.disease(takes)
            ),
            Finding::Recorded { what, years } => {
                let years: Vec<String> = years
                    .iter()
                    .map(|(year, worst)| match worst {
                        Some(worst) => format!("{year} {} %", plain((worst * 100.0).round())),
                        None => format!("{year} not graded"),
                    })
                    .collect();
                format!("{} noted: {}", self.disease(what), years.join(", "))
            }
            Finding::AgainstRating { disease, rating } => format!(
                "it is published as {} to {}, yet had it badly: is the name right, and is it that \
                 disease",
                rating.word(),
                self.disease(disease)
            ),
            Finding::NotJunipers { what, rather } => {
                let rather: Vec<String> = rather.iter().map(|id| self.disease(id)).collect();
                let rather = if rather.is_empty() {
                    "have a leaf looked at".to_owned()
                } else {
                    format!("look for {}", rather.join(", "))
                };
                format!(
                    "not the junipers' fault: no juniper rust lives on this crop, whatever \"{}\" \
                     is; {rather}",
                    self.disease(what)
                )
            }
            Finding::Shoots { years, wanted } => {
                let years: Vec<String> = years
                    .iter()
                    .map(|(year, cm)| format!("{year} {}", self.length(*cm)))
                    .collect();
                format!(
                    "shoots grew {}; wanted {} to {}",
                    years.join(", "),
                    self.length(wanted.0),
                    self.length(wanted.1)
                )
            }
            Finding::NoCrop { years, frost } => {
                let all: Vec<String> = years.iter().map(i32::to_string).collect();
                let frost: Vec<String> = frost.iter().map(i32::to_string).collect();
                let blame = if frost.is_empty() {
                    String::new()
                } else {
                    format!(
                        "; frost was noted in {}, no fault of the tree",
                        frost.join(", ")
                    )
                };
                format!("no crop in {}{blame}", all.join(", "))
            }
            Finding::TooYoung { seasons, bears } => format!(
                "{} old: no crop before season {} means nothing",
                named((*seasons).max(0) as u32, "season", "seasons"),
                plain(*bears)
            ),
            Finding::Old { seasons } => format!(
                "{} old, beyond the usual span of its kind; age alone is no fault",
                named((*seasons).max(0) as u32, "season", "seasons")
            ),
            Finding::TooCold {
                coldest,
                of_cultivar,
            } => format!(
                "your zone is {}, and zone {coldest} is the coldest that {}: each hard winter may \
                 hurt it",
                self.facts.place.hardiness,
                if *of_cultivar {
                    "is printed for the cultivar"
                } else {
                    "usually carries its kind"
                }
            ),
            Finding::NoPartner => {
                "no partner for its pollination is known to stand near: a poor crop would be no \
                 fault of the tree"
                    .to_owned()
            }
            Finding::Damage { year, cause, share } => {
                let much = share.map_or_else(String::new, |share| {
                    format!(", {} %", plain((share * 100.0).round()))
                });
                format!("{} damage in {year}{much}", cause.word())
            }
            Finding::NothingNoted => {
                "nothing is noted about the tree itself: what is published or counted here \
                 speaks alone"
                    .to_owned()
            }
        }
    }

    fn here(&self, here: &Here) -> String {
        match here {
            Here::Noted(years) => {
                format!("noted here in {}", named(*years as u32, "year", "years"))
            }
            Here::Counted(count) => format!(
                "with {} counted here",
                named(*count as u32, "infection period", "infection periods")
            ),
            Here::Junipers(metres) => format!(
                "and junipers stand from {} away",
                self.facts.place.units.distance(*metres)
            ),
        }
    }

    /// What would settle an open question.
    pub fn look(look: Look) -> &'static str {
        match look {
            Look::GradeLeaves => {
                "grade leaf spots from 0 to 5 in early summer and before leaf fall"
            }
            Look::MeasureShoots => "measure last year's shoots in late winter",
            Look::NoteCrop => "note each year's crop as a share of a full one",
            Look::CutBuds => "cut some blossoms after a frost: were they alive",
            Look::Bloom => "see at bloom whether another cultivar blooms with it, and bees fly",
            Look::Bark => "look at bark and crown all round: is it girdled, soft or oozing",
            Look::Name => "find out its name: label, receipt, fruit shown to someone who knows",
            Look::Clinic => "take a leaf to the county extension or a plant clinic",
            Look::Lean => "stake it upright in wet soil, and see whether it holds a season",
        }
    }

    pub(super) fn sure(sure: Sure) -> &'static str {
        match sure {
            Sure::Plain => "plain, by your own word",
            Sure::Fair => "fair: several years' notes or published ratings",
            Sure::Little => "little: it may turn when more is noted",
        }
    }

    /// What waiting a year costs.
    pub fn waiting(&self, verdict: &TreeVerdict, tree: &Tree) -> String {
        let bears = self
            .facts
            .knowledge
            .crop(&tree.crop)
            .and_then(|crop| crop.years_to_bear.as_ref())
            .map_or_else(String::new, |(least, most, _)| {
                format!(
                    "; a new one takes {} to {} years to bear",
                    plain(*least),
                    plain(*most)
                )
            });
        match verdict.waiting {
            Waiting::Nothing => {
                format!("a year costs nothing, and its notes make the verdict surer{bears}")
            }
            Waiting::SmallCrop => "a year costs a weak crop, and the trouble may grow".to_owned(),
            Waiting::Spreads => {
                format!("dead wood harbours borers and disease for its neighbours{bears}")
            }
            Waiting::LaterCrop => {
                format!("the new tree bears later by each year of waiting{bears}")
            }
        }
    }
}
