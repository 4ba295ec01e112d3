//! What the years of a place's record gave to one crop: cold, chill, frost in
//! bloom, infection periods. Counted once for a place and a crop; cultivars
//! are then held against the counts.
//!
//! Bloom of past years is the bloom model's, run on each spring's own weather;
//! its error is not in the counts, so a share of years is an estimate.

use super::bloom::{Fit, Years};
use super::chill::ChillSums;
use super::ensemble::{Climate, Outlook};
use super::freeze_dates::{self, WinterLow};
use super::frost::Toll;
use super::frost_nights::{self, Low};
use super::groups::Group;
use super::hourly_curve;
use super::infection::Class;
use super::infections;
use super::season_days::SeasonYear;
use super::spread::{Basis, Spread};
use super::stages::{self, Reports};
use crate::facts::Facts;
use crate::facts::knowledge::{BloomGroup, ChillUnit, Crop};
use crate::facts::place::HardinessZone;
use crate::facts::weather::{DailyRecord, Hour, HourlyRecord};
use chrono::{Datelike, Days, NaiveDate};

/// Years looked back on at most.
pub const MOST_YEARS: usize = 30;

/// Years of hours looked back on at most; wetness is counted hour by hour.
const MOST_HOURLY_YEARS: usize = 10;

/// Months whose hours a season's infection periods need, from green tip to the
/// end of the spring's infections; and how many hours of them (our judgement).
const MONTHS_OF_A_SEASON: [u32; 5] = [3, 4, 5, 6, 7];
const HOURS_OF_A_SEASON: usize = 150 * 24;

/// What the years gave.
#[derive(Clone, Debug, Default)]
pub struct PlaceYears {
    /// The coldest reading of each winter, oldest first.
    pub lows: Vec<WinterLow>,
    /// Zone of their mean, if there is any.
    pub record_zone: Option<HardinessZone>,
    /// Chill of each winter from October to March (April to September in the
    /// south).
    pub winters: Vec<WinterChill>,
    /// Each spring.
    pub springs: Vec<SpringFrost>,
    /// Infection periods by disease; empty where no hours are known.
    pub infections: Vec<InfectionYears>,
    /// Seasons whose hours were read for them.
    pub hourly_years: usize,
}

/// Chill of one winter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WinterChill {
    /// The year in which it ends.
    pub year: i32,
    /// Hours from 0 to 7.2 °C.
    pub hours: f64,
    /// Utah units.
    pub utah: f64,
    /// Portions of the dynamic model.
    pub portions: f64,
}

impl WinterChill {
    /// In one of the units.
    pub fn in_unit(&self, unit: ChillUnit) -> f64 {
        match unit {
            ChillUnit::Hours => self.hours,
            ChillUnit::Utah => self.utah,
            ChillUnit::Portions => self.portions,
        }
    }
}

/// One spring of a crop: what frost took by bloom group.
#[derive(Clone, Debug, PartialEq)]
pub struct SpringFrost {
    /// The year.
    pub year: i32,
    /// Full bloom of the crop's middle.
    pub bloom: NaiveDate,
    /// Share of buds and blossoms killed in the worst night, for the groups in
    /// the order of [`BloomGroup::ALL`].
    pub kill: [f64; 5],
}

/// Infection periods of one disease over the seasons with hours.
#[derive(Clone, Debug, PartialEq)]
pub struct InfectionYears {
    /// The disease's id.
    pub disease: String,
    /// Periods that infect, a season.
    pub a_season: f64,
    /// Of them the severe ones.
    pub severe: f64,
    /// Year, periods that infect, and of them the severe ones.
    pub by_year: Vec<(i32, usize, usize)>,
}

/// Days by which each bloom group comes before or after the crop's middle (our
/// judgement: five groups over about nine days; see varieties.md section 8).
const GROUP_SHIFT: [f64; 5] = [-4.0, -2.0, 0.0, 2.0, 4.0];

/// Where a bloom group stands in [`SpringFrost::kill`]; the middle where none
/// is known.
pub fn group_index(group: Option<BloomGroup>) -> usize {
    BloomGroup::ALL
        .iter()
        .position(|(one, _)| Some(*one) == group)
        .unwrap_or(2)
}

/// Looks back over the record as it was known before `today`.
pub fn of(facts: &Facts, crop: &Crop, today: NaiveDate) -> PlaceYears {
    let mut found = PlaceYears::default();
    let weather = facts.weather.as_of(today);
    let Some(daily) = &weather.daily else {
        return found;
    };
    let latitude = facts.place.latitude;
    let record = recent(&super::screening::screen(daily).record, today);
    let climate = Climate::new(&record, latitude);
    found.lows = freeze_dates::winter_lows(climate.record());
    found.record_zone =
        freeze_dates::mean_extreme_minimum(&found.lows, i32::MIN..=i32::MAX).map(|mean| mean.1);
    found.winters = winters(climate.record(), latitude);
    let stages = past_stages(facts, crop, &climate, today, &|_| true);
    found.springs = springs(crop, climate.record(), &stages);
    if let Some(hourly) = &weather.hourly {
        infection_years(facts, crop, hourly, climate.record(), &stages, &mut found);
    }
    found
}

/// The last years of a record.
fn recent(record: &DailyRecord, today: NaiveDate) -> DailyRecord {
    let years = MOST_YEARS as i32 + 1;
    let from = NaiveDate::from_ymd_opt(today.year() - years, 7, 1).unwrap_or(NaiveDate::MIN);
    let days: Vec<_> = record.days().filter(|day| day.date >= from).collect();
    DailyRecord::from_days(&days).unwrap_or_else(|| record.clone())
}

/// Chill of every winter whose days are all but known.
pub fn winters(record: &DailyRecord, latitude_deg: f64) -> Vec<WinterChill> {
    let hours = hourly_curve::hours_of_record(record, latitude_deg);
    let first = record.date(0);
    let (from, to) = if latitude_deg < 0.0 { (4, 10) } else { (10, 4) };
    let mut found = Vec::new();
    for year in record.years() {
        let begins = NaiveDate::from_ymd_opt(year - i32::from(from > to), from, 1);
        let ends = NaiveDate::from_ymd_opt(year, to, 1);
        let (Some(begins), Some(ends)) = (begins, ends) else {
            continue;
        };
        let hour = |date: NaiveDate| usize::try_from((date - first).num_days() * 24).ok();
        let (Some(begins), Some(ends)) = (hour(begins), hour(ends)) else {
            continue;
        };
        let sums = ChillSums::over(&hours, begins..ends);
        if !sums.is_at_least() {
            found.push(WinterChill {
                year,
                hours: sums.hours_0_to_7_2,
                utah: sums.utah,
                portions: sums.portions,
            });
        }
    }
    found
}

/// The stages of a crop in each past spring, by the bloom model.
type PastStages = Vec<(i32, Vec<Option<Spread>>)>;

fn past_stages(
    facts: &Facts,
    crop: &Crop,
    climate: &Climate,
    today: NaiveDate,
    wanted: &dyn Fn(i32) -> bool,
) -> PastStages {
    let group = Group {
        crop: crop.id.clone(),
        cultivar: None,
        bloom: None,
        trees: Vec::new(),
    };
    let evidence = super::derive::bloom_evidence(facts, climate, &group);
    let fit = Fit::new(&climate.candidates, &evidence, Years::All);
    let mut found = Vec::new();
    for spring in climate.candidates.springs() {
        let season = SeasonYear::at(spring.year, climate.latitude_deg);
        let after = season.date(250.0);
        if after >= today || !wanted(spring.year) {
            continue;
        }
        let outlook = Outlook::new(climate, None, spring.year, after, Years::All);
        let reports = Reports {
            seen: &[],
            watched: false,
        };
        let zone = facts.place.hardiness;
        let dates = stages::season_of(crop, climate, &outlook, &fit, zone, reports);
        let mut days = vec![None; crop.stages.len()];
        for date in &dates.stages {
            if let Some(slot) = days.get_mut(date.stage) {
                *slot = Some(Spread::certain(date.p50, Basis::PastYears));
            }
        }
        found.push((spring.year, days));
    }
    found
}

fn springs(crop: &Crop, record: &DailyRecord, past: &PastStages) -> Vec<SpringFrost> {
    let Some(full) = stages::full_bloom(crop) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for (year, days) in past {
        let Some(bloom) = days.get(full).copied().flatten() else {
            continue;
        };
        let from = bloom.middle - Days::new(60);
        let to = bloom.middle + Days::new(45);
        let nights: Vec<_> = record
            .days()
            .filter(|day| day.date >= from && day.date <= to)
            .filter(|day| day.low_c.is_some_and(|low| low < 0.5))
            .collect();
        let kill = GROUP_SHIFT.map(|shift| {
            let moved: Vec<Option<Spread>> = days
                .iter()
                .map(|day| day.map(|day| day.shifted(shift)))
                .collect();
            let kills = nights
                .iter()
                .filter_map(|day| frost_nights::night(crop, &moved, *day, Low::Seen(0.0)))
                .map(|night| night.kill);
            Toll::of(kills).worst_night
        });
        found.push(SpringFrost {
            year: *year,
            bloom: bloom.middle,
            kill,
        });
    }
    found
}

/// Whether the hours of a year cover its season of infection. South of the
/// equator spring falls into other months: any hours count there.
fn is_full_season(hourly: &HourlyRecord, latitude_deg: f64, year: i32) -> bool {
    let known = hourly
        .hours()
        .filter(|hour| hour.start.date().year() == year && hour.temperature_c.is_some())
        .filter(|hour| {
            latitude_deg < 0.0 || MONTHS_OF_A_SEASON.contains(&hour.start.date().month())
        });
    known.count() >= HOURS_OF_A_SEASON
}

/// Infection periods of crops in the earlier years of which the hours of a
/// season are known, by crop; empty without them. Looks back as [`of`] does.
pub fn infections_before(
    facts: &Facts,
    crops: &[&Crop],
    today: NaiveDate,
) -> Vec<(String, Vec<InfectionYears>)> {
    let weather = facts.weather.as_of(today);
    let (Some(daily), Some(hourly)) = (&weather.daily, &weather.hourly) else {
        return Vec::new();
    };
    let latitude = facts.place.latitude;
    let from = hourly
        .hours()
        .next()
        .map_or(i32::MAX, |hour| hour.start.date().year());
    let full: Vec<i32> = (from..today.year())
        .filter(|year| is_full_season(hourly, latitude, *year))
        .collect();
    if full.is_empty() {
        return Vec::new();
    }
    let record = recent(&super::screening::screen(daily).record, today);
    let climate = Climate::new(&record, latitude);
    let mut found = Vec::new();
    for crop in crops {
        let stages = past_stages(facts, crop, &climate, today, &|year| full.contains(&year));
        let mut years = PlaceYears::default();
        infection_years(facts, crop, hourly, climate.record(), &stages, &mut years);
        found.push((crop.id.clone(), years.infections));
    }
    found
}

fn infection_years(
    facts: &Facts,
    crop: &Crop,
    hourly: &HourlyRecord,
    daily: &DailyRecord,
    past: &PastStages,
    found: &mut PlaceYears,
) {
    let mut counts: Vec<InfectionYears> = Vec::new();
    for (year, days) in past.iter().rev() {
        if found.hourly_years == MOST_HOURLY_YEARS {
            break;
        }
        if !is_full_season(hourly, facts.place.latitude, *year) {
            continue;
        }
        let hours: Vec<Hour> = hourly
            .hours()
            .filter(|hour| hour.start.date().year() == *year)
            .collect();
        let Some(hours) = HourlyRecord::from_hours(&hours) else {
            continue;
        };
        found.hourly_years += 1;
        let hosts = [(crop, days.as_slice())];
        let diseases = &facts.knowledge.diseases;
        for period in infections::of_season(diseases, &hosts, true, &hours, Some(daily)) {
            let at = match counts.iter().position(|one| one.disease == period.disease) {
                Some(at) => at,
                None => {
                    counts.push(InfectionYears {
                        disease: period.disease.clone(),
                        a_season: 0.0,
                        severe: 0.0,
                        by_year: Vec::new(),
                    });
                    counts.len() - 1
                }
            };
            if let Some(count) = counts.get_mut(at) {
                if count.by_year.last().is_none_or(|one| one.0 != *year) {
                    count.by_year.push((*year, 0, 0));
                }
                if let Some((_, periods, severe)) = count.by_year.last_mut() {
                    *periods += usize::from(period.class >= Class::Infection);
                    *severe += usize::from(period.class >= Class::Severe);
                }
            }
        }
    }
    if found.hourly_years > 0 {
        let years = found.hourly_years as f64;
        for count in &mut counts {
            let sum = |of: fn(&(i32, usize, usize)) -> usize| -> usize {
                count.by_year.iter().map(of).sum()
            };
            count.a_season = sum(|one| one.1) as f64 / years;
            count.severe = sum(|one| one.2) as f64 / years;
        }
    }
    found.infections = counts;
}

impl PlaceYears {
    /// Shares of springs with more than a tenth and more than nine tenths
    /// killed, for a bloom group; `None` without a spring.
    pub fn frost_shares(&self, group: Option<BloomGroup>) -> Option<(f64, f64)> {
        let at = group_index(group);
        let share = |over: f64| {
            let hit = self
                .springs
                .iter()
                .filter(|spring| spring.kill.get(at).is_some_and(|kill| *kill > over))
                .count();
            hit as f64 / self.springs.len() as f64
        };
        (!self.springs.is_empty()).then(|| (share(0.1), share(0.9)))
    }

    /// Share of winters that gave at least so much chill; `None` without one.
    pub fn chill_met(&self, need: f64, unit: ChillUnit) -> Option<f64> {
        let met = self
            .winters
            .iter()
            .filter(|winter| winter.in_unit(unit) >= need)
            .count();
        (!self.winters.is_empty()).then(|| met as f64 / self.winters.len() as f64)
    }

    /// Chill of the middle winter; `None` without one.
    pub fn usual_chill(&self, unit: ChillUnit) -> Option<f64> {
        let mut all: Vec<f64> = self.winters.iter().map(|one| one.in_unit(unit)).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied()
    }

    /// Infection periods a season of a disease; `None` without hours.
    pub fn a_season(&self, disease: &str) -> Option<f64> {
        (self.hourly_years > 0).then(|| {
            self.infections
                .iter()
                .find(|one| one.disease == disease)
                .map_or(0.0, |one| one.a_season)
        })
    }
}
