//! What does not hang on disease: cold, growth, crops and damage.

use super::{Case, Finding, Look, Verdict, Waiting, is_about_tree};
use crate::facts::journal::DamageCause;
use crate::facts::knowledge::Weighed;
use crate::facts::register::Age;
use crate::plan::{age, pollination};
use chrono::{Datelike, NaiveDate};

impl Case<'_> {
    /// Its zone against the place's: worth a look, however well it stands.
    pub(super) fn cold(&mut self) {
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

    /// Shoots against what is wanted at this age.
    pub(super) fn shoots(&mut self, today: NaiveDate) {
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
    pub(super) fn crops(&mut self, today: NaiveDate) {
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
    pub(super) fn damage(&mut self, today: NaiveDate) {
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
}
