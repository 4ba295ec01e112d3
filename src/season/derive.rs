//! The season of a place on one day: everything that the plan hangs on.

use super::bloom::{self, Fit, Years};
use super::ensemble::{Climate, Outlook};
use super::evidence::{Evidence, FitNote, FrostNight};
use super::frost_nights;
use super::groups::{self, Group};
use super::infection::Class;
use super::infections::{self, InfectionPeriod};
use super::members::Members;
use super::screening;
use super::spread::{Basis, Spread};
use super::stages::{self, Refused, Reports, StageDates};
use super::turning;
use super::zone_only;
use crate::facts::Facts;
use crate::facts::journal::StageSeen;
use crate::facts::knowledge::{
    Crop, HeatRule, HeatStart, Point, Trigger, ZoneMonths, cultivar_key,
};
use crate::facts::weather::{DailyRecord, Hour, HourlyRecord, Weather};
use chrono::{Datelike, Days, NaiveDate};

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
    /// What the keeper should know of how far to trust it.
    pub caveats: Vec<Caveat>,
    /// Stage dates by year and group.
    stages: Vec<GroupYear>,
    members: Members,
    soil: Vec<Vec<f64>>,
    /// Days from full bloom to harvest of each group, least and most.
    harvests: Vec<Option<(f64, f64)>>,
    facts: SeasonFacts,
}

/// What the season keeps of the facts to answer for its points.
#[derive(Clone, Debug)]
struct SeasonFacts {
    crops: Vec<Crop>,
    zone: Option<ZoneMonths>,
    leaf_fall: Option<crate::facts::knowledge::LeafFallRule>,
    hardiness: crate::facts::place::HardinessZone,
    weather: crate::facts::weather::Weather,
}

/// The stages of one group in one year.
#[derive(Clone, Debug, PartialEq)]
struct GroupYear {
    year: i32,
    group: usize,
    /// In the order of the crop's list.
    spreads: Vec<Option<Spread>>,
    /// Days on which the keeper saw a stage.
    seen: Vec<Option<NaiveDate>>,
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
    /// A stage in the journal that cannot be, and why.
    Refused(Refused),
    /// No usual date and no observation of bloom: the window is wide.
    NoUsualBloom {
        /// The crop's id.
        crop: String,
    },
}

/// Something that happened, or is forecast, and that may set a chore off.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// The day.
    pub date: NaiveDate,
    /// Whether it is forecast.
    pub forecast: bool,
    /// What it was.
    pub evidence: Evidence,
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
        infections: Vec::new(),
        caveats: Vec::new(),
        stages: Vec::new(),
        members,
        soil,
        harvests,
        facts: SeasonFacts {
            crops: facts.knowledge.crops.clone(),
            zone,
            leaf_fall: facts.knowledge.leaf_fall.clone(),
            hardiness: facts.place.hardiness,
            weather,
        },
    };
    let stages = stage_dates(facts, &season.facts.weather, &season.groups, today);
    season.stages = stages.groups;
    season.frosts = frosts(&season);
    season.infections = infection_periods(facts, &season);
    season.caveats = caveats(facts, &season);
    season
        .caveats
        .extend(stages.refused.into_iter().map(Caveat::Refused));
    season.caveats.dedup();
    season
}

/// The stages of every group in every year that the season covers. The table
/// of candidates is worked out once for all of them.
fn stage_dates(facts: &Facts, weather: &Weather, groups: &[Group], today: NaiveDate) -> Stages {
    let latitude = facts.place.latitude;
    let climate = match &weather.daily {
        Some(daily) => Climate::new(&screening::screen(daily).record, latitude),
        None => Climate::unknown(latitude),
    };
    let fits: Vec<Fit> = groups
        .iter()
        .map(|group| {
            Fit::new(
                &climate.candidates,
                &bloom_evidence(facts, &climate, group),
                Years::All,
            )
        })
        .collect();
    let mut stages = Stages::default();
    for year in [today.year(), today.year() + 1] {
        let forecast = weather.forecast.as_ref();
        let outlook = Outlook::new(&climate, forecast, year, today, Years::Before(today.year()));
        for (index, (group, fit)) in groups.iter().zip(&fits).enumerate() {
            let Some(crop) = facts.knowledge.crop(&group.crop) else {
                continue;
            };
            let seen = reports(facts, group, year);
            let reports = Reports {
                seen: &seen,
                watched: !seen.is_empty(),
            };
            let zone = facts.place.hardiness;
            let dates = stages::season_of(crop, &climate, &outlook, fit, zone, reports);
            stages.refused.extend(dates.refused.iter().cloned());
            let basis = &fit.basis;
            let fit = FitNote {
                observations: basis.own + basis.sisters,
                usual_date: basis.usual.is_some_and(|usual| !usual.from_other_crop),
                borrowed: basis.usual.is_some_and(|usual| usual.from_other_crop),
                years: outlook.members(),
            };
            stages
                .groups
                .push(group_year(crop, year, index, &dates, fit));
        }
    }
    stages
}

/// All stages of all groups, and the reports that could not be.
#[derive(Debug, Default)]
struct Stages {
    groups: Vec<GroupYear>,
    refused: Vec<Refused>,
}

/// What is known of a group's bloom: the usual date, its own blooms, and those
/// of other cultivars of the crop.
fn bloom_evidence(facts: &Facts, climate: &Climate, group: &Group) -> bloom::Evidence {
    let cultivar = group
        .cultivar
        .as_deref()
        .or_else(|| facts.cultivar_of(group.trees.first()));
    let mut evidence = bloom::Evidence {
        usual: bloom::usual_date(&facts.place, &facts.knowledge, &group.crop, cultivar),
        ..bloom::Evidence::default()
    };
    let Some(crop) = facts.knowledge.crop(&group.crop) else {
        return evidence;
    };
    let (own, sisters): (Vec<StageSeen>, Vec<StageSeen>) = facts
        .journal
        .stages
        .iter()
        .filter(|seen| seen.crop == group.crop)
        .cloned()
        .partition(|seen| concerns(facts, group, seen));
    let of = |seen: &[StageSeen]| stages::observations(crop, climate.southern(), i32::MAX, seen);
    evidence.own = of(&own);
    evidence.sisters = of(&sisters);
    evidence
}

/// Stages that the keeper saw on a group in a year.
fn reports(facts: &Facts, group: &Group, year: i32) -> Vec<StageSeen> {
    let seen = facts.journal.stages.iter();
    seen.filter(|seen| seen.crop == group.crop && seen.date.year() == year)
        .filter(|seen| concerns(facts, group, seen))
        .cloned()
        .collect()
}

/// Whether a report is about a group: it names no cultivar and the group has
/// none of its own, or it names one of the group's.
fn concerns(facts: &Facts, group: &Group, seen: &StageSeen) -> bool {
    let Some(name) = &seen.cultivar else {
        return group.cultivar.is_none();
    };
    let key = cultivar_key(name);
    group.trees.iter().any(|index| {
        facts
            .cultivar_of(Some(index))
            .is_some_and(|other| cultivar_key(other) == key)
    })
}

fn group_year(crop: &Crop, year: i32, group: usize, dates: &StageDates, fit: FitNote) -> GroupYear {
    let mut spreads = vec![None; crop.stages.len()];
    let mut seen = vec![None; crop.stages.len()];
    for date in &dates.stages {
        if let Some(slot) = spreads.get_mut(date.stage) {
            *slot = Some(Spread::new(date.p10, date.p50, date.p90, date.basis));
        }
        if date.basis == Basis::Seen
            && let Some(slot) = seen.get_mut(date.stage)
        {
            *slot = Some(date.p50);
        }
    }
    GroupYear {
        year,
        group,
        spreads,
        seen,
        fit,
    }
}

/// Nights of this season that were worth a word, and those forecast.
fn frosts(season: &Season) -> Vec<FrostNight> {
    let mut nights = Vec::new();
    let weather = &season.facts.weather;
    let Some(from) = NaiveDate::from_ymd_opt(season.today.year(), 1, 1) else {
        return nights;
    };
    let before = season.today - Days::new(1);
    for (index, group) in season.groups.iter().enumerate() {
        let Some(crop) = season.facts.crops.iter().find(|crop| crop.id == group.crop) else {
            continue;
        };
        let Some(stages) = season.group_year(season.today.year(), index) else {
            continue;
        };
        let mut add = |record, from, to, forecast| {
            nights.extend(frost_nights::nights(
                crop,
                &stages.spreads,
                record,
                from,
                to,
                forecast,
            ));
        };
        if let Some(daily) = &weather.daily {
            add(daily, from, before, false);
        }
        if let Some(forecast) = &weather.forecast {
            add(&forecast.daily, season.today, NaiveDate::MAX, true);
        }
    }
    nights.sort_by(|a: &FrostNight, b| (a.date, &a.crop).cmp(&(b.date, &b.crop)));
    nights.dedup_by(|a, b| a.date == b.date && a.crop == b.crop && a.stage == b.stage);
    nights
}

/// The infection periods of this year's hours, judged for the register.
fn infection_periods(facts: &Facts, season: &Season) -> Vec<InfectionPeriod> {
    let weather = &season.facts.weather;
    let Some(hourly) = &weather.hourly else {
        return Vec::new();
    };
    let year = season.today.year();
    let Some(from) = NaiveDate::from_ymd_opt(year, 1, 1) else {
        return Vec::new();
    };
    let hours: Vec<Hour> = hourly
        .hours()
        .filter(|hour| hour.start.date() >= from)
        .collect();
    let Some(hours) = HourlyRecord::from_hours(&hours) else {
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
    let daily = weather.daily.as_ref();
    infections::of_season(&facts.knowledge.diseases, &hosts, junipers, &hours, daily)
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
        self.groups.iter().position(|one| one == group)
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
                Some(date) => Evidence::StageSeen { crop, stage, date },
                None => Evidence::Stage {
                    crop,
                    stage,
                    spread,
                    fit: stages.fit,
                },
            },
        ))
    }

    /// A point of the year for a group in the season named by its year of
    /// bloom, and why; `None` where it is not known or does not come.
    pub fn point(&self, point: &Point, group: &Group, year: i32) -> Option<(Spread, Evidence)> {
        match point {
            Point::Calendar {
                month,
                day,
                years_before,
            } => {
                let year = year - i32::from(*years_before);
                let date = NaiveDate::from_ymd_opt(year, *month, *day)
                    .or_else(|| NaiveDate::from_ymd_opt(year, *month, day.saturating_sub(1)))?;
                Some((
                    Spread::certain(date, Basis::Fixed),
                    Evidence::Calendar { date },
                ))
            }
            Point::Stage { stage, crop } => match crop {
                None => self.stage(group, year, stage),
                Some(crop) => self.stage(self.group_for(crop)?, year, stage),
            },
            Point::LeafFall {
                percent,
                years_before,
            } => self.leaf_fall(*percent, year - i32::from(*years_before)),
            Point::SpringFreeze { threshold_c } => self.spring_freeze(*threshold_c, year),
            Point::FallFreeze {
                threshold_c,
                years_before,
            } => self.fall_freeze(*threshold_c, year - i32::from(*years_before)),
            Point::SoilWarms { threshold_c } => self.soil(*threshold_c, true, year),
            Point::SoilCools {
                threshold_c,
                years_before,
            } => self.soil(*threshold_c, false, year - i32::from(*years_before)),
            Point::Heat { sum, rule, start } => self.heat(group, *sum, *rule, start, year),
            Point::Harvest { last } => self.harvest(group, year, *last),
            Point::ColdestPast => self.coldest(year),
            Point::ChillReached { .. } => None,
        }
    }

    /// The last freeze of spring at or below a temperature.
    pub fn spring_freeze(&self, threshold_c: f64, year: i32) -> Option<(Spread, Evidence)> {
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            // Handbooks give 32 °F; each degree below comes some 2 days sooner.
            let spread = zone_only::month_day(zone, zone.last_freeze, year)?
                .shifted(threshold_c.min(0.0) * ZONE_DAYS_PER_DEGREE);
            return Some((spread, self.zone_evidence()));
        }
        let spread = self
            .members
            .spread(|record| turning::last_spring_freeze(record, year, threshold_c))?;
        let evidence = Evidence::SpringFreeze {
            threshold_c,
            spread,
            years: self.past_years,
        };
        Some((spread, evidence))
    }

    /// The first freeze of autumn at or below a temperature.
    pub fn fall_freeze(&self, threshold_c: f64, year: i32) -> Option<(Spread, Evidence)> {
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            let spread = zone_only::month_day(zone, zone.first_freeze, year)?
                .shifted(-threshold_c.min(0.0) * ZONE_DAYS_PER_DEGREE);
            return Some((spread, self.zone_evidence()));
        }
        let spread = self
            .members
            .spread(|record| turning::first_fall_freeze(record, year, threshold_c))?;
        let evidence = Evidence::FallFreeze {
            threshold_c,
            spread,
            years: self.past_years,
        };
        Some((spread, evidence))
    }

    /// Half or nine tenths of the leaves down.
    pub fn leaf_fall(&self, percent: u8, year: i32) -> Option<(Spread, Evidence)> {
        let rule = self.facts.leaf_fall.as_ref()?;
        let days = if percent >= 75 {
            rule.most_days
        } else {
            rule.half_days
        };
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            let spread =
                zone_only::month_day(zone, zone.leaf_fall, year)?.shifted(days - rule.most_days);
            return Some((spread, self.zone_evidence()));
        }
        let spread = self
            .members
            .spread(|record| turning::first_fall_freeze(record, year, rule.threshold_c))?
            .shifted(days);
        let source = rule.source.clone();
        Some((
            spread,
            Evidence::LeafFall {
                percent,
                spread,
                source,
            },
        ))
    }

    /// The soil at 10 cm rises (spring) or falls (autumn) through a
    /// temperature for good.
    pub fn soil(&self, threshold_c: f64, rising: bool, year: i32) -> Option<(Spread, Evidence)> {
        if self.past_years == 0 {
            let zone = self.facts.zone.as_ref()?;
            let spread = if rising {
                zone_only::month_day(zone, zone.soil_warms, year)?
            } else {
                zone_only::month_day(zone, zone.leaf_fall, year)?.shifted(ZONE_SOIL_LAG_DAYS)
            };
            return Some((spread, self.zone_evidence()));
        }
        let crossing = if rising {
            turning::soil_warms
        } else {
            turning::soil_cools
        };
        let records = self.members.records();
        let spread = self.members.spread(|record| {
            let index = records.iter().position(|one| std::ptr::eq(one, record))?;
            crossing(record, self.soil.get(index)?, year, threshold_c)
        })?;
        let years = self.past_years;
        Some((
            spread,
            Evidence::Soil {
                threshold_c,
                rising,
                spread,
                years,
            },
        ))
    }

    /// The time after which the mean low rises again.
    fn coldest(&self, year: i32) -> Option<(Spread, Evidence)> {
        let middle = match turning::coldest_day(&self.members, year) {
            Some(day) => day,
            None => NaiveDate::from_ymd_opt(year, 1, 25)?,
        };
        let basis = if self.past_years == 0 {
            Basis::ZoneOnly
        } else {
            Basis::PastYears
        };
        let day = Spread::certain(middle, basis);
        let spread = Spread::new(
            day.shifted(-COLDEST_HALF_WIDTH_DAYS).middle,
            middle,
            day.shifted(COLDEST_HALF_WIDTH_DAYS).middle,
            basis,
        );
        Some((spread, Evidence::ColdestPast { spread }))
    }

    fn heat(
        &self,
        group: &Group,
        sum: f64,
        rule: HeatRule,
        start: &HeatStart,
        year: i32,
    ) -> Option<(Spread, Evidence)> {
        let from = match start {
            HeatStart::Calendar(month, day) => {
                Spread::certain(NaiveDate::from_ymd_opt(year, *month, *day)?, Basis::Fixed)
            }
            HeatStart::Stage(stage) => self.stage(group, year, stage)?.0,
            HeatStart::Biofix(_) => return None,
        };
        let spread = turning::heat_reached(&self.members, rule, from, sum)?;
        Some((
            spread,
            Evidence::Heat {
                sum,
                rule,
                start: start.clone(),
                spread,
            },
        ))
    }

    /// The first or the last harvest of a group.
    fn harvest(&self, group: &Group, year: i32, last: bool) -> Option<(Spread, Evidence)> {
        let (bloom, _) = self.stage(group, year, "full bloom")?;
        let index = self.index_of(group)?;
        let (least, most) = self.harvests.get(index).copied().flatten()?;
        let days = if last { most } else { least };
        let crop = group.crop.clone();
        let evidence = Evidence::Harvest {
            crop,
            days: (least, most),
            bloom: bloom.middle,
        };
        Some((bloom.shifted(days), evidence))
    }

    fn zone_evidence(&self) -> Evidence {
        Evidence::Zone {
            zone: self.facts.hardiness,
        }
    }

    /// The share of a full crop that this season's frosts have left on a
    /// group, 0 to 1: the worst night decides, since the buds that die in a
    /// mild night are the same weak ones as in a hard one.
    pub fn crop_left(&self, group: &Group, year: i32) -> f64 {
        let Some(crop) = self.crop(&group.crop) else {
            return 1.0;
        };
        let Some((least, most, _)) = &crop.blossoms_needed else {
            return 1.0;
        };
        let worst = self
            .worst_night(&group.crop, year)
            .map_or(0.0, |night| night.kill);
        ((1.0 - worst) / f64::midpoint(*least, *most)).clamp(0.0, 1.0)
    }

    /// The night of a year that killed most of a crop's buds.
    pub fn worst_night(&self, crop: &str, year: i32) -> Option<&FrostNight> {
        self.frosts
            .iter()
            .filter(|night| !night.forecast && night.crop == crop && night.date.year() == year)
            .max_by(|a, b| a.kill.total_cmp(&b.kill))
    }

    /// The last night before a day that killed at least a share of the buds of
    /// a crop (of any crop where none is named) in the same year.
    pub fn frost_damage(
        &self,
        crop: Option<&str>,
        share: f64,
        before: NaiveDate,
    ) -> Option<NaiveDate> {
        self.frosts
            .iter()
            .filter(|night| !night.forecast && night.kill >= share)
            .filter(|night| crop.is_none_or(|crop| night.crop == crop))
            .filter(|night| night.date <= before && night.date.year() == before.year())
            .map(|night| night.date)
            .max()
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

    /// What happened, or is forecast, that may set a chore off, in its order.
    pub fn events(&self, trigger: &Trigger, group: &Group, year: i32) -> Vec<Event> {
        if let Trigger::HardWinter { low_c } = trigger {
            return self.winter_lows(*low_c, year);
        }
        if year != self.today.year() {
            return Vec::new();
        }
        match trigger {
            Trigger::FrostKill { share } => self.frost_events(group, *share, false),
            Trigger::FrostAhead { share } => self.frost_events(group, *share, true),
            Trigger::Infection { disease } => self.infection_events(disease),
            Trigger::WarmRain { rain_mm, mean_c } => self.warm_rains(*rain_mm, *mean_c),
            Trigger::HeavyRain { rain_mm } => self.heavy_rains(*rain_mm),
            Trigger::Dry { rain_mm, days } => self.dry_spells(*rain_mm, *days),
            Trigger::HardWinter { .. } => Vec::new(),
        }
    }

    fn frost_events(&self, group: &Group, share: f64, forecast: bool) -> Vec<Event> {
        let mut events: Vec<Event> = Vec::new();
        for night in self.frosts.iter().filter(|night| night.crop == group.crop) {
            if night.forecast != forecast || night.kill < share {
                continue;
            }
            // Nights in a row are one event: the worst of them tells.
            let evidence = Evidence::FrostNight(night.clone());
            match events.last_mut() {
                Some(last) if (night.date - last.date).num_days() <= 3 => {
                    if let Evidence::FrostNight(held) = &last.evidence
                        && night.kill > held.kill
                    {
                        *last = Event {
                            date: last.date,
                            forecast,
                            evidence,
                        };
                    }
                }
                _ => events.push(Event {
                    date: night.date,
                    forecast,
                    evidence,
                }),
            }
        }
        events
    }

    /// Infection periods of a disease that have ended or go on, possible ones
    /// left out.
    fn infection_events(&self, disease: &str) -> Vec<Event> {
        self.infections
            .iter()
            .filter(|period| period.disease == disease && period.class >= Class::Infection)
            .filter_map(|period| {
                let evidence = Evidence::Infection {
                    disease: period.disease.clone(),
                    from: period.from.date(),
                    until: period.until.date(),
                    wet_hours: period.wet_hours,
                    mean_c: period.mean_c?,
                    severe: period.class == Class::Severe,
                };
                Some(Event {
                    date: period.until.date(),
                    forecast: false,
                    evidence,
                })
            })
            .collect()
    }

    fn warm_rains(&self, least_mm: f64, mean_c: f64) -> Vec<Event> {
        let Some(daily) = &self.facts.weather.daily else {
            return Vec::new();
        };
        let year = self.today.year();
        daily
            .days()
            .filter(|day| day.date.year() == year)
            .filter_map(|day| {
                let rain = day.rain_mm.filter(|rain| *rain >= least_mm)?;
                let mean = f64::midpoint(day.low_c?, day.high_c?);
                (mean >= mean_c).then_some(Event {
                    date: day.date,
                    forecast: false,
                    evidence: Evidence::WarmRain {
                        date: day.date,
                        rain_mm: rain,
                    },
                })
            })
            .collect()
    }

    /// Days of this year with much rain; days in a row are one event.
    fn heavy_rains(&self, least_mm: f64) -> Vec<Event> {
        let mut events: Vec<Event> = Vec::new();
        let daily = self.facts.weather.daily.iter();
        for day in daily.flat_map(DailyRecord::days) {
            let Some(rain_mm) = day.rain_mm.filter(|rain| *rain >= least_mm) else {
                continue;
            };
            let follows = events
                .last()
                .is_some_and(|last| (day.date - last.date).num_days() <= 2);
            if day.date.year() == self.today.year() && !follows {
                let date = day.date;
                events.push(Event {
                    date,
                    forecast: false,
                    evidence: Evidence::HeavyRain { date, rain_mm },
                });
            }
        }
        events
    }

    /// Dry spells of this year: the mornings on which too little rain had
    /// fallen over the days before, each at least as many days after the last
    /// one, so that a spell that goes on calls again.
    fn dry_spells(&self, least_mm: f64, days: u32) -> Vec<Event> {
        let Some(daily) = &self.facts.weather.daily else {
            return Vec::new();
        };
        let Some(first) = NaiveDate::from_ymd_opt(self.today.year(), 1, 1) else {
            return Vec::new();
        };
        let mut events: Vec<Event> = Vec::new();
        for date in first.iter_days().take_while(|date| *date <= self.today) {
            let fresh = events
                .last()
                .is_none_or(|last| (date - last.date).num_days() >= i64::from(days));
            if !fresh {
                continue;
            }
            let rain = (1..=u64::from(days))
                .map(|back| daily.day(date - Days::new(back))?.rain_mm)
                .sum::<Option<f64>>();
            if let Some(rain_mm) = rain.filter(|rain| *rain < least_mm) {
                let evidence = Evidence::Dry {
                    date,
                    rain_mm,
                    days,
                };
                events.push(Event {
                    date,
                    forecast: false,
                    evidence,
                });
            }
        }
        events
    }

    /// The first night of the winter before a season that was cold enough;
    /// colder ones after it change nothing.
    fn winter_lows(&self, limit_c: f64, year: i32) -> Vec<Event> {
        let Some(daily) = &self.facts.weather.daily else {
            return Vec::new();
        };
        let winter = NaiveDate::from_ymd_opt(year - 1, 11, 1)
            .zip(NaiveDate::from_ymd_opt(year, 3, 31))
            .map(|(from, to)| from..=to);
        let Some(winter) = winter else {
            return Vec::new();
        };
        let cold = daily
            .days()
            .filter(|day| winter.contains(&day.date))
            .find_map(|day| Some((day.date, day.low_c.filter(|low| *low <= limit_c)?)));
        let event = cold.map(|(date, low_c)| Event {
            date,
            forecast: false,
            evidence: Evidence::WinterLow { date, low_c },
        });
        event.into_iter().collect()
    }

    /// The critical temperatures of a crop, for whoever shows them.
    pub fn critical(&self, crop: &str) -> &[crate::facts::knowledge::CriticalTemperature] {
        self.crop(crop).map_or(&[], |crop| &crop.critical)
    }
}

/// Days by which a zone's handbook date of a freeze shifts for each °C below
/// freezing (our judgement: some 10 days from 32 to 28 °F).
const ZONE_DAYS_PER_DEGREE: f64 = 4.5;

/// Days from leaf fall to cold soil where only the zone is known.
const ZONE_SOIL_LAG_DAYS: f64 = 14.0;

/// Half the width of the coldest time, days.
const COLDEST_HALF_WIDTH_DAYS: f64 = 10.0;
