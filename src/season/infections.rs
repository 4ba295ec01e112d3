//! The infection periods of a season: every disease of the register's crops
//! judged on the hours of this year, inside the stages at which it infects.
//!
//! The figures come from `config/diseases/`; a figure that is missing there
//! leaves its disease unjudged.

use super::frost_nights::Stages;
use super::infection::apple_scab::{self, CountFrom};
use super::infection::brown_rot::{self, IncidenceTable};
use super::infection::fire_blight::{self, BlightRule};
use super::infection::juniper_rust::{self, HornRule, RustOutcome};
use super::infection::quince_rust::{self, QuinceRule};
use super::infection::wetness_table::WetnessTable;
use super::infection::{Class, WetConfidence, symptoms, weigh};
use super::wetness::{Estimate, WetHours, WetPeriod, WetRule, periods};
use crate::facts::knowledge::{Crop, Disease, InfectionModel};
use crate::facts::weather::{DailyRecord, HourlyRecord};
use chrono::{Days, NaiveDate, NaiveDateTime};

/// One infection period of one disease.
#[derive(Clone, Debug, PartialEq)]
pub struct InfectionPeriod {
    /// The disease's id.
    pub disease: String,
    /// Its first wet hour, local standard time.
    pub from: NaiveDateTime,
    /// Its last wet hour.
    pub until: NaiveDateTime,
    /// Wet hours in it.
    pub wet_hours: f64,
    /// Mean temperature over them, °C.
    pub mean_c: Option<f64>,
    /// How bad it was.
    pub class: Class,
    /// Whether the class hangs on the estimate of wetness.
    pub sure: bool,
    /// It may still go on.
    pub open: bool,
    /// Days between which symptoms may show.
    pub symptoms: Option<(NaiveDate, NaiveDate)>,
}

/// How far a period that is forecast may be trusted. The words and bounds are
/// our judgement: no score of forecast wetness is known to us.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Certainty {
    /// By today or tomorrow, and however wetness is estimated.
    Likely,
    /// Within three days.
    Possible,
    /// Later, or it hangs on the estimate of wetness.
    Unsure,
}

impl Certainty {
    /// Of a period so many days after the forecast was issued; `sure` where it
    /// does not hang on the estimate of wetness.
    pub fn of(lead_days: i64, sure: bool) -> Self {
        match (lead_days, sure) {
            (..=1, true) => Certainty::Likely,
            (..=1, false) | (2..=3, true) => Certainty::Possible,
            _ => Certainty::Unsure,
        }
    }

    /// The word used in output.
    pub fn word(self) -> &'static str {
        match self {
            Certainty::Likely => "likely",
            Certainty::Possible => "possible",
            Certainty::Unsure => "unsure",
        }
    }
}

/// An infection period that the hours of a forecast hold.
#[derive(Clone, Debug, PartialEq)]
pub struct PeriodAhead {
    /// The period; its wet hours may have begun to be seen.
    pub period: InfectionPeriod,
    /// How far to trust it.
    pub certainty: Certainty,
}

/// A host crop and its stages in the season.
pub type Host<'s> = (&'s Crop, &'s Stages);

/// The readings of wetness that are weighed against each other.
const ESTIMATES: [Estimate; 3] = [Estimate::Low, Estimate::Likely, Estimate::High];

/// Judges the diseases on the hours given (this season's alone), for the hosts
/// that stand in the register. Periods that infect nothing are left out.
pub fn of_season(
    diseases: &[Disease],
    hosts: &[Host<'_>],
    junipers: bool,
    hours: &HourlyRecord,
    days: Option<&DailyRecord>,
) -> Vec<InfectionPeriod> {
    let wet = WetHours::of(hours, &WetRule::default());
    let mut found = Vec::new();
    for disease in diseases {
        if disease.needs_juniper && !junipers {
            continue;
        }
        let Some(window) = window(disease, hosts) else {
            continue;
        };
        let judged = match disease.model {
            InfectionModel::FireBlight => blight(disease, hosts, hours, days, window),
            InfectionModel::WindowOnly => Vec::new(),
            _ => by_wetness(disease, hours, &wet, window),
        };
        found.extend(judged);
    }
    found.sort_by(|a, b| (a.from, &a.disease).cmp(&(b.from, &b.disease)));
    found
}

/// The days between which a disease infects any of its hosts: from the early
/// day of its first stage to the late day of its last, and so many days on.
fn window(disease: &Disease, hosts: &[Host<'_>]) -> Option<(NaiveDate, NaiveDate)> {
    let mut span: Option<(NaiveDate, NaiveDate)> = None;
    for (crop, stages) in hosts
        .iter()
        .filter(|(crop, _)| disease.hosts.contains(&crop.id))
    {
        let day = |name: &Option<String>| {
            let index = crop.stage(name.as_deref()?)?;
            stages.get(index).copied().flatten()
        };
        let (Some(from), Some(to)) = (day(&disease.from_stage), day(&disease.to_stage)) else {
            continue;
        };
        let to = to.late + Days::new(disease.days_beyond.max(0.0) as u64);
        span = Some(match span {
            None => (from.early, to),
            Some((a, b)) => (a.min(from.early), b.max(to)),
        });
    }
    span
}

/// A figure of a disease by its name in `config/diseases/`.
fn figure(disease: &Disease, name: &str) -> Option<f64> {
    disease.figure(name).map(|figure| figure.value)
}

/// The diseases that are judged wet period by wet period.
fn by_wetness(
    disease: &Disease,
    hours: &HourlyRecord,
    wet: &WetHours,
    window: (NaiveDate, NaiveDate),
) -> Vec<InfectionPeriod> {
    let gap = figure(disease, "dry hours that end a wet period").map_or(8, |gap| gap as usize);
    let Some(judge) = Judge::of(disease) else {
        return Vec::new();
    };
    let readings: Vec<Vec<WetPeriod>> = ESTIMATES
        .iter()
        .map(|estimate| periods(hours, wet, *estimate, gap))
        .collect();
    let [low, likely, high] = &readings[..] else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut warm_wet = 0;
    // The high reading holds every period of the others.
    for period in high {
        let date = hours.start(period.last).date();
        if hours.start(period.first).date() < window.0 || date > window.1 {
            continue;
        }
        warm_wet += judge.warm_wet_hours(hours, wet, period);
        let class = |estimate: Estimate, all: &[WetPeriod]| {
            let inside = all
                .iter()
                .filter(|one| one.first >= period.first && one.last <= period.last);
            inside
                .map(|one| judge.class(hours, wet, estimate, one, warm_wet))
                .max()
                .unwrap_or_default()
        };
        let (class, confidence) = weigh(
            class(Estimate::Low, low),
            class(Estimate::Likely, likely),
            judge.class(hours, wet, Estimate::High, period, warm_wet),
        );
        if class >= Class::Possible {
            found.push(InfectionPeriod {
                disease: disease.id.clone(),
                from: hours.start(period.first),
                until: hours.start(period.last),
                wet_hours: period.wet_hours as f64,
                mean_c: period.mean_c,
                class,
                sure: confidence == WetConfidence::Sure,
                open: period.open,
                symptoms: disease.lag_days.and_then(|lag| symptoms(date, lag)),
            });
        }
    }
    found
}

/// How the wet periods of one disease are judged, with its figures.
enum Judge {
    Rust(WetnessTable, HornRule),
    Quince(WetnessTable, HornRule, QuinceRule),
    Scab(WetnessTable, CountFrom),
    BrownRot(IncidenceTable),
}

impl Judge {
    /// `None` where the knowledge lacks a figure, or the model needs no wet
    /// period.
    fn of(disease: &Disease) -> Option<Judge> {
        let table = || WetnessTable::from_rows(&disease.wetness);
        match disease.model {
            InfectionModel::JuniperRust => Some(Judge::Rust(table()?, horns(disease)?)),
            InfectionModel::QuinceRust => {
                let rule = QuinceRule {
                    serious_hours: figure(disease, "wet hours of a serious infection")? as usize,
                    warm_above_c: figure(disease, "coldest for a serious infection")?,
                };
                Some(Judge::Quince(table()?, horns(disease)?, rule))
            }
            InfectionModel::AppleScab => {
                let from = figure(disease, "hour of the day from which night rain counts")?;
                // The dark begins twelve hours after that hour.
                let from_hour = from as u32;
                let night = CountFrom::Daylight {
                    from_hour,
                    dark_from_hour: from_hour + 12,
                };
                Some(Judge::Scab(table()?, night))
            }
            InfectionModel::BrownRotBlossom => incidence(disease).map(Judge::BrownRot),
            InfectionModel::FireBlight | InfectionModel::WindowOnly => None,
        }
    }

    /// Wet hours warm enough to count towards a serious quince rust.
    fn warm_wet_hours(&self, hours: &HourlyRecord, wet: &WetHours, period: &WetPeriod) -> usize {
        let Judge::Quince(_, _, rule) = self else {
            return 0;
        };
        let span = period.first..=period.last;
        quince_rust::warm_wet_hours(hours, wet, Estimate::Likely, span, rule)
    }

    fn class(
        &self,
        hours: &HourlyRecord,
        wet: &WetHours,
        estimate: Estimate,
        period: &WetPeriod,
        warm_wet: usize,
    ) -> Class {
        let rust = |table: &WetnessTable, horns: &HornRule| -> RustOutcome {
            juniper_rust::judge(hours, wet, estimate, period, table, horns)
        };
        match self {
            Judge::Rust(table, horns) => rust(table, horns).outcome.class,
            Judge::Quince(table, horns, rule) => {
                quince_rust::judge(&rust(table, horns), warm_wet, rule)
            }
            Judge::Scab(table, from) => {
                apple_scab::judge(hours, wet, estimate, period, table, *from).class
            }
            Judge::BrownRot(table) => period
                .mean_c
                .and_then(|mean| table.read(mean, period.wet_hours as f64))
                .map_or(Class::None, |found| {
                    let class = brown_rot::class_of(found.share);
                    // Outside the trial's temperatures and hours: no more than possible.
                    if found.at_the_edge {
                        class.min(Class::Possible)
                    } else {
                        class
                    }
                }),
        }
    }
}

/// The wetting that the horns on junipers need. Where a disease tells no cool
/// band, there is none.
fn horns(disease: &Disease) -> Option<HornRule> {
    let warm = figure(disease, "spore delay")?;
    let coldest = figure(disease, "spore delay, coldest")?;
    let warmest = figure(disease, "spore delay, warmest")?;
    let ready = figure(disease, "horns stay ready after a wetting").unwrap_or(0.0);
    Some(HornRule {
        warm_hours: warm as usize,
        warm_c: (coldest, warmest),
        cool_hours: figure(disease, "spore delay when cool").unwrap_or(warm) as usize,
        cool_c: (
            figure(disease, "no spores below").unwrap_or(coldest),
            coldest,
        ),
        ready_hours: ready as usize,
    })
}

/// The grid of a trial; the middle of a printed range stands for it.
fn incidence(disease: &Disease) -> Option<IncidenceTable> {
    let sorted = |values: Vec<f64>| {
        let mut values = values;
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let rows = &disease.incidence;
    let temperatures = sorted(rows.iter().map(|row| row.temperature_c).collect());
    let hours = sorted(rows.iter().map(|row| row.wet_hours).collect());
    let at = |temperature: f64, hour: f64| {
        rows.iter()
            .find(|row| row.temperature_c == temperature && row.wet_hours == hour)
            .map(|row| f64::midpoint(row.share.0, row.share.1))
    };
    let shares: Option<Vec<Vec<f64>>> = temperatures
        .iter()
        .map(|&temperature| hours.iter().map(|&hour| at(temperature, hour)).collect())
        .collect();
    IncidenceTable::new(temperatures, hours, shares?)
}

/// Fire blight: every day of open bloom with heat, wetness and warmth.
fn blight(
    disease: &Disease,
    hosts: &[Host<'_>],
    hours: &HourlyRecord,
    days: Option<&DailyRecord>,
    window: (NaiveDate, NaiveDate),
) -> Vec<InfectionPeriod> {
    let Some((rule, days)) = blight_rule(disease).zip(days) else {
        return Vec::new();
    };
    let Some(bloom) = open_bloom(disease, hosts) else {
        return Vec::new();
    };
    let from = bloom.0.max(window.0);
    let last = hours.start(hours.len().saturating_sub(1)).date();
    let to = bloom.1.min(window.1).min(last);
    let gathered = fire_blight::bloom_days(days, None, from, to, &rule);
    fire_blight::judge(&gathered, &rule)
        .into_iter()
        .filter(|day| day.class() >= Class::Infection)
        .map(|day| {
            let midnight = day.date.and_time(chrono::NaiveTime::MIN);
            InfectionPeriod {
                disease: disease.id.clone(),
                from: midnight,
                until: midnight,
                wet_hours: 0.0,
                mean_c: day.mean_c,
                class: day.class(),
                sure: false,
                open: false,
                symptoms: disease.lag_days.and_then(|lag| symptoms(day.date, lag)),
            }
        })
        .collect()
}

/// First bloom to petal fall of the hosts, on their likely days.
fn open_bloom(disease: &Disease, hosts: &[Host<'_>]) -> Option<(NaiveDate, NaiveDate)> {
    let spans = hosts
        .iter()
        .filter(|(crop, _)| disease.hosts.contains(&crop.id))
        .filter_map(|(crop, stages)| {
            let day = |name: &str| stages.get(crop.stage(name)?).copied().flatten();
            Some((day("first bloom")?.middle, day("petal fall")?.middle))
        });
    spans.reduce(|(a, b), (c, d)| (a.min(c), b.max(d)))
}

fn blight_rule(disease: &Disease) -> Option<BlightRule> {
    Some(BlightRule {
        heat_base_c: figure(disease, "degree hours, base")?,
        heat_needed: figure(disease, "degree hours needed")?,
        age_base_c: figure(disease, "blossom age, base")?,
        age_limit: figure(disease, "blossom age limit, apple")?,
        mean_needed_c: figure(disease, "mean of the day needed")?,
        rain_same_day_mm: figure(disease, "rain of the day that wets")?,
        rain_day_before_mm: figure(disease, "rain of the day before that wets")?,
    })
}

#[cfg(test)]
mod tests {
    use super::Certainty;

    #[test]
    fn a_forecast_is_believed_less_the_farther_it_reaches() {
        for (lead_days, sure, certainty) in [
            (0, true, Certainty::Likely),
            (1, true, Certainty::Likely),
            (1, false, Certainty::Possible),
            (2, true, Certainty::Possible),
            (3, true, Certainty::Possible),
            (2, false, Certainty::Unsure),
            (4, true, Certainty::Unsure),
        ] {
            let found = Certainty::of(lead_days, sure);
            assert_eq!(found, certainty, "{lead_days} {sure}");
        }
    }
}
