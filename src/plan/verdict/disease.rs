//! Disease on one tree: what was noted, what its cultivar takes, and what
//! hours of weather tell of it.

use super::{Case, Finding, Here, Look, MaxOf, Sure, Verdict, Waiting, grade, is_about_tree};
use crate::facts::journal::{Noted, Symptom};
use crate::facts::knowledge::{CropKind, InfectionModel, Rating, Weighed};
use crate::facts::preferences::Sprays;
use crate::plan::choose::nearest_juniper;
use chrono::{Datelike, NaiveDate};

impl Case<'_> {
    /// What was noted of disease over the years.
    pub(super) fn symptoms(&mut self, today: NaiveDate) {
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
    pub(super) fn infections(&mut self) {
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
    pub(super) fn ratings(&mut self) {
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
}
