//! The season of a place on one day: everything that the plan hangs on.

mod events; // what happened, or is forecast, that sets a chore off
mod frosts; // the nights that hurt, seen and forecast
pub(crate) mod outlook; // the coming nights against the buds
mod points; // the points of the year that windows hang on
mod stage_dates; // when each group reaches each stage

pub(super) use stage_dates::bloom_evidence;

use crate::facts::Facts;
use crate::facts::knowledge::{Crop, InfectionModel, InsectEvent, Point, ZoneMonths};
use crate::facts::weather::{Hour, HourlyRecord};
use crate::season::evidence::{Evidence, FitNote, FrostNight};
use crate::season::frost_toll::FrostToll;
use crate::season::groups::{self, Group};
use crate::season::infection::Class;
use crate::season::infections::{self, Certainty, InfectionPeriod, PeriodAhead};
use crate::season::insects;
use crate::season::members::Members;
use crate::season::spread::Spread;
use crate::season::stages::Refused;
use crate::season::turning;
use chrono::{Datelike, Days, NaiveDate, TimeDelta};
use std::cell::RefCell;
use std::collections::HashMap;

/// The season of a place as it looks on one day.
#[derive(Clone, Debug)]
pub struct Season {
    /// The day.
    pub today: NaiveDate,
    /// The last day whose weather was seen.
    pub seen_until: Option<NaiveDate>,
    /// Past years that stand in for the coming weather; 0: zone only.
    pub past_years: usize,
    /// The years of bloom that it covers: this one and the next.
    pub years: Vec<i32>,
    /// Trees that bloom together.
    pub groups: Vec<Group>,
    /// Nights that hurt, seen this season and forecast, in their order.
    pub frosts: Vec<FrostNight>,
    /// Infection periods of this season, in their order; empty without hours.
    pub infections: Vec<InfectionPeriod>,
    /// Infection periods to come by the hours of the forecast; `None` where it
    /// has no hours.
    pub infections_ahead: Option<Vec<PeriodAhead>>,
    /// What the keeper should know of how far to trust it.
    pub caveats: Vec<Caveat>,
    /// What this year's frosts did to each group, as far as seen.
    tolls: Vec<Option<FrostToll>>,
    /// Stage dates by year and group.
    stages: Vec<GroupYear>,
    members: Members,
    /// Points of the year worked out before: many chores hang on the same.
    points: RefCell<HashMap<PointKey, Known>>,
    soil: Vec<Vec<f64>>,
    /// Days from full bloom to harvest of each group, least and most.
    harvests: Vec<Option<(f64, f64)>>,
    facts: SeasonFacts,
}

/// A point's number, the group's place in the list, the year.
type PointKey = (u64, Option<usize>, i32);

/// What is known of the points that share a key.
type Known = Vec<(Point, Option<(Spread, Evidence)>)>;

/// What the season keeps of the facts to answer for its points.
#[derive(Clone, Debug)]
struct SeasonFacts {
    crops: Vec<Crop>,
    zone: Option<ZoneMonths>,
    leaf_fall: Option<crate::facts::knowledge::LeafFallRule>,
    hardiness: crate::facts::place::HardinessZone,
    weather: crate::facts::weather::Weather,
    /// Damage that the keeper noted: day and cause.
    damage: Vec<(NaiveDate, crate::facts::journal::DamageCause)>,
    /// First lasting catches that the keeper noted: insect and day.
    biofixes: Vec<(String, NaiveDate)>,
    /// What stands in for a first catch: insect and event.
    reckoned_catches: Vec<(String, InsectEvent)>,
}

/// The stages of one group in one year.
#[derive(Clone, Debug, PartialEq)]
struct GroupYear {
    year: i32,
    group: usize,
    /// In the order of the crop's list.
    spreads: Vec<Option<Spread>>,
    /// Days on which the keeper saw a stage; the mean where several differ.
    seen: Vec<Option<NaiveDate>>,
    /// How many different days were noted of each stage.
    noted: Vec<usize>,
    fit: FitNote,
}

/// What the keeper should know of how far to trust the season.
#[derive(Clone, Debug, PartialEq)]
pub enum Caveat {
    /// No weather is known: zone and handbook months stand in.
    NoWeather,
    /// Fewer past years than a spread should rest on.
    FewYears {
        /// How many.
        years: usize,
    },
    /// The weather record ends before today.
    Stale {
        /// Its last day.
        seen_until: NaiveDate,
    },
    /// The forecast is some days old: it counts for less.
    OldForecast {
        /// The day on which it was issued.
        issued: NaiveDate,
        /// How many days ago.
        days: i64,
    },
    /// The forecast is so old that it is not used: past years stand in.
    ForecastGivenUp {
        /// The day on which it was issued.
        issued: NaiveDate,
    },
    /// A stage in the journal that cannot be, and why.
    Refused(Refused),
    /// An observation of bloom that the weather of its year does not explain.
    OddObservation {
        /// The crop's id.
        crop: String,
        /// The year.
        year: i32,
        /// Days by which it is later than the other years let expect.
        late_days: f64,
    },
    /// Much less winter chill than in any past year.
    LittleChill {
        /// The crop's id.
        crop: String,
        /// Portions expected by 1 March.
        portions: f64,
        /// Least of the past years.
        least: f64,
    },
    /// Full bloom is not reached in a part of the runs.
    MayNotBloom {
        /// The crop's id.
        crop: String,
        /// 0 to 1.
        share: f64,
    },
    /// No usual date and no observation of bloom: the window is wide.
    NoUsualBloom {
        /// The crop's id.
        crop: String,
    },
}

/// Something that happened, or is forecast, and that may set a chore off.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// The day; of what goes on over several its first.
    pub date: NaiveDate,
    /// Its last day.
    pub until: NaiveDate,
    /// Whether it is forecast.
    pub forecast: bool,
    /// What it was.
    pub evidence: Evidence,
}

impl Event {
    /// What happens on one day.
    pub fn on(date: NaiveDate, forecast: bool, evidence: Evidence) -> Self {
        Event {
            date,
            until: date,
            forecast,
            evidence,
        }
    }
}

/// Fewest past years on which a spread is shown without a caveat.
const ENOUGH_YEARS: usize = 10;

/// Days without fresh weather after which the keeper is told.
const STALE_DAYS: u64 = 3;

/// Works out the season of a place as it looks on the morning of `today`.
/// Weather and journal after that are not looked at.
pub fn derive(facts: &Facts, today: NaiveDate) -> Season {
    let weather = facts.weather.as_of(today);
    let members = Members::new(&weather, today);
    let soil = members.records().iter().map(turning::soil_10cm).collect();
    let groups = groups::of(facts);
    let harvests = groups
        .iter()
        .map(|group| groups::days_to_harvest(facts, group))
        .collect();
    let zone = facts
        .knowledge
        .zone(facts.place.hardiness.number())
        .cloned();
    let mut season = Season {
        today,
        seen_until: weather.seen_until(),
        past_years: members.years(),
        years: vec![today.year(), today.year() + 1],
        groups,
        frosts: Vec::new(),
        tolls: Vec::new(),
        infections: Vec::new(),
        infections_ahead: None,
        caveats: Vec::new(),
        stages: Vec::new(),
        members,
        points: RefCell::default(),
        soil,
        harvests,
        facts: SeasonFacts {
            crops: facts.knowledge.crops.clone(),
            zone,
            leaf_fall: facts.knowledge.leaf_fall.clone(),
            hardiness: facts.place.hardiness,
            weather,
            damage: facts
                .journal
                .damage
                .iter()
                .map(|noted| (noted.date, noted.what.cause))
                .collect(),
            biofixes: insects::biofixes(&facts.journal.catches, today),
            reckoned_catches: insects::reckoned_catches(&facts.knowledge.insects),
        },
    };
    let stages = stage_dates::of(facts, &season.facts.weather, &season.groups, today);
    season.stages = stages.groups;
    let nights = frosts::of(facts, &season);
    (season.frosts, season.tolls) = (nights.all, nights.tolls);
    season.infections = infection_periods(facts, &season);
    season.infections_ahead = infections_ahead(facts, &season);
    season.caveats = caveats(facts, &season);
    season
        .caveats
        .extend(stages.refused.into_iter().map(Caveat::Refused));
    for caveat in stages.caveats {
        if !season.caveats.contains(&caveat) {
            season.caveats.push(caveat);
        }
    }
    season.caveats.dedup();
    season
}
/// The infection periods of this year's hours, judged for the register.
fn infection_periods(facts: &Facts, season: &Season) -> Vec<InfectionPeriod> {
    judged(facts, season, &hours_seen(season))
}

/// The hours of this year that were seen.
fn hours_seen(season: &Season) -> Vec<Hour> {
    let hourly = season.facts.weather.hourly.iter();
    let hours = hourly.flat_map(HourlyRecord::hours);
    let year = season.today.year();
    hours.filter(|hour| hour.start.year() >= year).collect()
}

fn judged(facts: &Facts, season: &Season, hours: &[Hour]) -> Vec<InfectionPeriod> {
    let year = season.today.year();
    let Some(hours) = HourlyRecord::from_hours(hours) else {
        return Vec::new();
    };
    let hosts: Vec<infections::Host<'_>> = season
        .groups
        .iter()
        .enumerate()
        .filter_map(|(index, group)| {
            let crop = season.crop(&group.crop)?;
            Some((crop, season.group_year(year, index)?.spreads.as_slice()))
        })
        .collect();
    let junipers = !facts.register.junipers.is_empty();
    let daily = season.facts.weather.daily.as_ref();
    infections::of_season(&facts.knowledge.diseases, &hosts, junipers, &hours, daily)
}

/// The infection periods that the forecast's hours hold behind those seen: of
/// diseases judged by wetness, those that would infect and were not enough for
/// it before.
fn infections_ahead(facts: &Facts, season: &Season) -> Option<Vec<PeriodAhead>> {
    let forecast = season.facts.weather.forecast.as_ref()?;
    let coming = forecast.hourly.as_ref()?;
    let mut hours = hours_seen(season);
    let midnight = season.today.and_time(chrono::NaiveTime::MIN);
    let last = hours.last().map(|hour| hour.start);
    let from = last.map_or(midnight, |last| midnight.max(last + TimeDelta::hours(1)));
    hours.extend(coming.hours().filter(|hour| hour.start >= from));
    let wet = |id: &str| {
        let known = facts.knowledge.disease(id);
        known.is_some_and(|disease| disease.model != InfectionModel::FireBlight)
    };
    let seen = |period: &InfectionPeriod| {
        let mut before = season.infections.iter();
        before.any(|one| {
            one.disease == period.disease
                && one.from == period.from
                && one.class >= Class::Infection
        })
    };
    let ahead = judged(facts, season, &hours).into_iter().filter(|period| {
        period.until >= from
            && period.class >= Class::Infection
            && wet(&period.disease)
            && !seen(period)
    });
    let ahead = ahead.map(|period| {
        let lead = (period.from.date().max(season.today) - forecast.issued).num_days();
        let certainty = Certainty::of(lead, period.sure);
        PeriodAhead { period, certainty }
    });
    Some(ahead.collect())
}

fn caveats(facts: &Facts, season: &Season) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    match season.past_years {
        0 => caveats.push(Caveat::NoWeather),
        years if years < ENOUGH_YEARS => caveats.push(Caveat::FewYears { years }),
        _ => {}
    }
    if let Some(seen_until) = season.seen_until
        && seen_until + Days::new(STALE_DAYS) < season.today
    {
        caveats.push(Caveat::Stale { seen_until });
    }
    let weather = &season.facts.weather;
    if let Some(forecast) = &weather.forecast
        && forecast.days_old(season.today) > 1
    {
        caveats.push(Caveat::OldForecast {
            issued: forecast.issued,
            days: forecast.days_old(season.today),
        });
    }
    if let Some(issued) = facts
        .weather
        .forecast_given_up
        .or(weather.forecast_given_up)
    {
        caveats.push(Caveat::ForecastGivenUp { issued });
    }
    for group in &season.groups {
        let known = facts
            .place
            .usual_bloom
            .iter()
            .any(|usual| usual.crop == group.crop)
            || facts
                .journal
                .stages
                .iter()
                .any(|seen| seen.crop == group.crop);
        let caveat = Caveat::NoUsualBloom {
            crop: group.crop.clone(),
        };
        if !known && !caveats.contains(&caveat) {
            caveats.push(caveat);
        }
    }
    caveats
}

impl Season {
    fn group_year(&self, year: i32, group: usize) -> Option<&GroupYear> {
        self.stages
            .iter()
            .find(|stages| stages.year == year && stages.group == group)
    }

    fn crop(&self, id: &str) -> Option<&Crop> {
        self.facts.crops.iter().find(|crop| crop.id == id)
    }

    /// The index of a group.
    fn index_of(&self, group: &Group) -> Option<usize> {
        // Nearly always one of ours: its place in memory tells.
        let own = self.groups.iter().position(|one| std::ptr::eq(one, group));
        own.or_else(|| self.groups.iter().position(|one| one == group))
    }

    /// A group of a crop; of another crop of the same family where the
    /// register has none of it.
    fn group_for(&self, crop: &str) -> Option<&Group> {
        let kind = self.crop(crop)?.kind;
        self.groups
            .iter()
            .find(|group| group.crop == crop)
            .or_else(|| {
                self.groups.iter().find(|group| {
                    self.crop(&group.crop)
                        .is_some_and(|other| other.kind == kind)
                })
            })
    }

    /// All stages of a group in a year: trade name, BBCH code, when, and the
    /// day on which the keeper saw it.
    pub fn stage_list(
        &self,
        group: &Group,
        year: i32,
    ) -> Vec<(&str, &str, Option<Spread>, Option<NaiveDate>)> {
        let crop = self.crop(&group.crop);
        let stages = self
            .index_of(group)
            .and_then(|index| self.group_year(year, index));
        let Some((crop, stages)) = crop.zip(stages) else {
            return Vec::new();
        };
        crop.stages
            .iter()
            .enumerate()
            .map(|(index, stage)| {
                let spread = stages.spreads.get(index).copied().flatten();
                let seen = stages.seen.get(index).copied().flatten();
                (stage.name.as_str(), stage.bbch.as_str(), spread, seen)
            })
            .collect()
    }

    /// How many different days were noted of a stage of a group in a year.
    pub fn days_noted(&self, group: &Group, year: i32, name: &str) -> usize {
        let index = self.crop(&group.crop).and_then(|crop| crop.stage(name));
        let stages = self
            .index_of(group)
            .and_then(|index| self.group_year(year, index));
        let noted = index.and_then(|index| stages?.noted.get(index).copied());
        noted.unwrap_or(0)
    }

    /// When a group reaches a stage, by its trade name, and why.
    pub fn stage(&self, group: &Group, year: i32, name: &str) -> Option<(Spread, Evidence)> {
        let crop = self.crop(&group.crop)?;
        let index = crop.stage(name)?;
        let stages = self.group_year(year, self.index_of(group)?)?;
        let spread = stages.spreads.get(index).copied().flatten()?;
        let crop = group.crop.clone();
        let stage = name.to_owned();
        Some((
            spread,
            match stages.seen.get(index).copied().flatten() {
                Some(date) => Evidence::StageSeen {
                    crop,
                    stage,
                    date,
                    days: stages.noted.get(index).copied().unwrap_or(1),
                },
                None => Evidence::Stage {
                    crop,
                    stage,
                    spread,
                    fit: stages.fit,
                },
            },
        ))
    }

    /// Whether a crop, or any crop where none is named, is likely in bloom on
    /// a day: from the early day of first bloom to the late day of petal fall.
    pub fn in_bloom(&self, crop: Option<&str>, year: i32, date: NaiveDate) -> bool {
        self.groups
            .iter()
            .filter(|group| crop.is_none_or(|crop| group.crop == crop))
            .any(|group| {
                let from = self.stage(group, year, "first bloom");
                let to = self.stage(group, year, "petal fall");
                from.zip(to)
                    .is_some_and(|((from, _), (to, _))| (from.early..=to.late).contains(&date))
            })
    }

    /// The critical temperatures of a crop, for whoever shows them.
    pub fn critical(&self, crop: &str) -> &[crate::facts::knowledge::CriticalTemperature] {
        self.crop(crop).map_or(&[], |crop| &crop.critical)
    }
}
