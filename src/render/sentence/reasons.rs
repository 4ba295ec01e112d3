//! Reasons in words: why a window lies where it does, why these trees.

use super::{Words, named, past};
use crate::facts::knowledge::{Advice, HeatStart, Rating};
use crate::plan::calendar::Task;
use crate::plan::window::Bound;
use crate::season::evidence::{Evidence, FitNote, FrostNight};
use crate::season::infections::Certainty;
use crate::season::spread::Basis;
use crate::units::plain;
use chrono::NaiveDateTime;

impl Words<'_> {
    /// Why a bound of a window lies where it does.
    pub fn bound(&self, bound: &Bound) -> String {
        let shift = bound.shift_days.round();
        let days = |n: f64| named(n.abs() as u32, "day", "days");
        let reason = self.reason(&bound.evidence);
        if matches!(bound.evidence, Evidence::Calendar { .. }) || shift == 0.0 {
            return reason;
        }
        let side = if shift < 0.0 { "before" } else { "after" };
        format!("{} {side}: {reason}", days(shift))
    }

    /// How far an infection that is forecast may be trusted.
    pub fn certainty(&self, certainty: Certainty) -> &'static str {
        match certainty {
            Certainty::Likely => "that is likely",
            Certainty::Possible => "that may come",
            Certainty::Unsure => "that is far from sure yet",
        }
    }

    /// A day with its hour, local standard time.
    pub fn moment(&self, at: NaiveDateTime) -> String {
        format!("{} {}", self.day(at.date()), at.format("%H:%M"))
    }

    /// A reason in a sentence without its full stop.
    pub fn reason(&self, evidence: &Evidence) -> String {
        let units = self.units();
        match evidence {
            Evidence::Stage {
                crop,
                stage,
                spread,
                fit,
            } => format!(
                "{} reaches {stage} {}{}",
                self.crop(crop),
                self.spread(*spread),
                self.fit(*fit, spread.basis)
            ),
            Evidence::StageSeen {
                crop,
                stage,
                date,
                days,
            } => match days {
                0 | 1 => format!(
                    "you saw {stage} on {} on {}",
                    self.crop(crop),
                    self.day(*date)
                ),
                days => format!(
                    "you saw {stage} on {} about {}, the middle of the {days} days that you noted",
                    self.crop(crop),
                    self.day(*date)
                ),
            },
            Evidence::SpringFreeze {
                threshold_c,
                spread,
                years,
            } => format!(
                "the last low of {} or less in spring comes {} ({})",
                units.temperature(*threshold_c),
                self.spread(*spread),
                past(*years)
            ),
            Evidence::FallFreeze {
                threshold_c,
                spread,
                years,
            } => format!(
                "the first low of {} or less in fall comes {} ({})",
                units.temperature(*threshold_c),
                self.spread(*spread),
                past(*years)
            ),
            Evidence::LeafFall {
                percent,
                spread,
                source,
            } => format!(
                "{} of the leaves are down {}, counted from the first hard freeze ({})",
                if *percent >= 75 {
                    "nine tenths"
                } else {
                    "half"
                },
                self.spread(*spread),
                source.standing.word()
            ),
            Evidence::Soil {
                threshold_c,
                rising,
                spread,
                years,
            } => format!(
                "soil at 4 in {} {} for good {}, worked out from the air ({})",
                if *rising {
                    "warms through"
                } else {
                    "cools through"
                },
                units.temperature(*threshold_c),
                self.spread(*spread),
                past(*years)
            ),
            Evidence::Heat {
                sum,
                rule,
                start,
                spread,
            } => format!(
                "{} above {} ({}) since {} are reached {}",
                units.degree_days(*sum),
                units.temperature(rule.base_c),
                rule.method.word(),
                match start {
                    HeatStart::Calendar(month, day) => self.month_day(*month, *day),
                    HeatStart::Stage(stage) => stage.clone(),
                    HeatStart::Biofix(catch) | HeatStart::LaterBiofix(catch) => catch.clone(),
                    HeatStart::Catch(insect) => self.insect(insect),
                },
                self.spread(*spread)
            ),
            Evidence::HeatSinceCatch {
                insect,
                sum,
                rule,
                caught,
                noted,
                spread,
            } => {
                let since = if *noted {
                    format!("you noted the first catch on {}", self.day(caught.middle))
                } else {
                    format!(
                        "no catch is noted, so the first is reckoned {}",
                        self.spread(*caught)
                    )
                };
                format!(
                    "{} above {} ({}) since the first {} ({since}) are reached {}",
                    units.degree_days(*sum),
                    units.temperature(rule.base_c),
                    rule.method.word(),
                    self.insect(insect),
                    self.spread(*spread)
                )
            }
            Evidence::Harvest { crop, days, bloom } => format!(
                "{} ripens {} to {} days after full bloom on {}",
                self.crop(crop),
                plain(days.0.round()),
                plain(days.1.round()),
                self.day(*bloom)
            ),
            Evidence::ColdestPast { spread } => {
                format!(
                    "the coldest time of the winter is over {}",
                    self.spread(*spread)
                )
            }
            Evidence::Chill { portions, spread } => {
                format!(
                    "{} chill portions are received {}",
                    plain(*portions),
                    self.spread(*spread)
                )
            }
            Evidence::Calendar { date } => format!("a date of the calendar, {}", self.day(*date)),
            Evidence::Zone { zone } => {
                format!("no weather is known here yet, so this is what zone {zone} usually brings")
            }
            Evidence::FrostNight(night) => self.frost(night),
            Evidence::Warned {
                event,
                office,
                until,
            } => self.warned(event, office, *until),
            Evidence::Infection {
                disease,
                from,
                until,
                wet_hours,
                mean_c,
                severe,
            } => format!(
                "{}: leaves wet for {} hours at {} {}{}",
                self.disease(disease),
                plain(wet_hours.round()),
                units.temperature(*mean_c),
                if from == until {
                    format!("on {}", self.day(*from))
                } else {
                    format!("from {} to {}", self.day(*from), self.day(*until))
                },
                if *severe {
                    ", enough for a severe infection"
                } else {
                    ", enough to infect"
                }
            ),
            Evidence::InfectionAhead {
                disease,
                from,
                wet_hours,
                mean_c,
                severe,
                certainty,
            } => format!(
                "{}: by the forecast leaves are wet for {} hours at {} from {} on, enough {}; {}",
                self.disease(disease),
                plain(wet_hours.round()),
                units.temperature(*mean_c),
                self.moment(*from),
                if *severe {
                    "for a severe infection"
                } else {
                    "to infect"
                },
                self.certainty(*certainty)
            ),
            Evidence::WarmRain { date, rain_mm } => {
                format!(
                    "{} of rain fell on a mild day, {}",
                    units.rain(*rain_mm),
                    self.day(*date)
                )
            }
            Evidence::HeavyRain { date, rain_mm } => {
                format!(
                    "{} of rain fell on {}",
                    units.rain(*rain_mm),
                    self.day(*date)
                )
            }
            Evidence::Dry {
                date,
                rain_mm,
                days,
            } => {
                format!(
                    "only {} of rain fell in the {days} days to {}",
                    units.rain(*rain_mm),
                    self.day(*date)
                )
            }
            Evidence::WinterLow { date, low_c } => {
                format!(
                    "it fell to {} on {}",
                    units.temperature(*low_c),
                    self.day(*date)
                )
            }
            Evidence::ColdPlunge {
                date,
                low_c,
                high_c,
            } => format!(
                "it fell from {} to {} within two days, on {}",
                units.temperature(*high_c),
                units.temperature(*low_c),
                self.day(*date)
            ),
            Evidence::Gale { date, wind_m_s } => format!(
                "wind of {} was measured on {}",
                units.wind(*wind_m_s),
                self.day(*date)
            ),
            Evidence::DamageNoted { date, cause } => {
                format!("you noted damage by {cause} on {}", self.day(*date))
            }
            Evidence::Ratings {
                disease,
                need,
                spared,
                despite,
            } => self.ratings(disease, need, spared, despite),
            Evidence::Junipers { count, nearest_m } => format!(
                "{} near, the nearest {} away",
                match count {
                    1 => "a juniper stands".to_owned(),
                    n => format!("{n} junipers stand"),
                },
                units.distance(*nearest_m)
            ),
            Evidence::Planting {
                zone,
                fall,
                spring,
                why,
                ..
            } => format!(
                "in zone {zone} fall is {} and early spring {}: {}",
                advice(*fall),
                advice(*spring),
                why.trim_end_matches('.')
            ),
            Evidence::SprayLimit { material, limit } => self.spray_limit(material, limit),
            Evidence::State { trees, state } => {
                format!(
                    "{} {} marked {state}",
                    trees.join(", "),
                    if trees.len() == 1 { "is" } else { "are" }
                )
            }
        }
    }

    /// The reason that is told where there is room for one: what sets the task
    /// off or chooses its trees; else what the chore is for. What a spray may
    /// not be is no reason for it.
    pub fn why(&self, task: &Task) -> Option<String> {
        let told: Vec<Evidence> = task
            .reasons
            .iter()
            .filter(|reason| !matches!(reason, Evidence::SprayLimit { .. }))
            .cloned()
            .collect();
        self.reasons(&told).into_iter().next().or_else(|| {
            let chore = self.facts.knowledge.chore(&task.chore)?;
            Some(chore.why.clone()).filter(|why| !why.is_empty())
        })
    }

    /// The reasons of a task, each as a sentence without its full stop; nights
    /// of frost of several crops are put together.
    pub fn reasons(&self, reasons: &[Evidence]) -> Vec<String> {
        let nights: Vec<&FrostNight> = reasons
            .iter()
            .filter_map(|reason| match reason {
                Evidence::FrostNight(night) => Some(night),
                _ => None,
            })
            .collect();
        if nights.len() < 2 {
            return reasons.iter().map(|reason| self.reason(reason)).collect();
        }
        let rest = reasons
            .iter()
            .filter(|reason| !matches!(reason, Evidence::FrostNight(_)));
        std::iter::once(self.frosts(&nights))
            .chain(rest.map(|reason| self.reason(reason)))
            .collect()
    }

    fn ratings(
        &self,
        disease: &str,
        need: &[(String, Option<Rating>)],
        spared: &[String],
        despite: &[(String, Rating, Vec<i32>)],
    ) -> String {
        let known: Vec<String> = need
            .iter()
            .filter_map(|(name, rating)| Some(format!("{name} ({})", (*rating)?.word())))
            .collect();
        let unknown: Vec<&str> = need
            .iter()
            .filter(|(_, rating)| rating.is_none())
            .map(|(name, _)| name.as_str())
            .collect();
        let mut parts = Vec::new();
        if !known.is_empty() {
            parts.push(known.join(", "));
        }
        // What was seen weighs more than a rating, and is told so.
        for (name, rating, years) in despite {
            parts.push(format!(
                "{name} is rated {}, but you noted it there in {}",
                rating.word(),
                years_of(years)
            ));
        }
        if !unknown.is_empty() {
            parts.push(format!("no rating is known for {}", unknown.join(", ")));
        }
        if !spared.is_empty() {
            let verb = match spared.len() {
                1 => "resists it and needs none",
                _ => "resist it and need none",
            };
            parts.push(format!("{} {verb}", spared.join(", ")));
        }
        format!("{}: {}", self.disease(disease), parts.join("; "))
    }

    fn fit(&self, fit: FitNote, basis: Basis) -> String {
        let rests = match basis {
            Basis::Seen => "seen".to_owned(),
            Basis::ZoneOnly if fit.usual_date => "your usual date, no weather known".to_owned(),
            Basis::ZoneOnly => "zone only".to_owned(),
            Basis::Fixed => "calendar".to_owned(),
            Basis::Forecast => "from this year's weather".to_owned(),
            Basis::PastYears => past(fit.years),
        };
        let learnt = match (fit.observations, fit.usual_date, fit.borrowed) {
            (0, _, _) if basis == Basis::ZoneOnly => String::new(),
            (0, _, _) if fit.by_zone => ", set by the usual bloom of the zone".to_owned(),
            (0, true, _) => ", set by your usual date of bloom".to_owned(),
            (0, false, true) => ", set by the usual date of another crop".to_owned(),
            (0, false, false) => ", without a date of your own yet".to_owned(),
            (n, _, _) => format!(
                ", learnt from {} of yours",
                named(n as u32, "bloom", "blooms")
            ),
        };
        format!(" ({rests}{learnt})")
    }
}

/// Years in a row of words: `2025 and 2026`.
pub fn years_of(years: &[i32]) -> String {
    let words: Vec<String> = years.iter().map(i32::to_string).collect();
    match words.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::Best => "the time to plant",
        Advice::Possible => "possible",
        Advice::Unwise => "unwise",
    }
}
