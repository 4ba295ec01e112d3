//! All stages of a crop in one season, as windows.
//!
//! Stages up to fruit set hang on full bloom by their share of its heat, the
//! later ones by days. A stage that the keeper saw is a fact: later ones are
//! counted from it by the heat in between, earlier ones are over. Reports
//! that cannot be are refused, with the reason.

use super::bloom::Fit;
use super::candidates::Rule;
use super::ensemble::{Climate, DRAWN, FEW_MEMBERS, Mixture, Outlook, Runs};
use super::reports::report_of;
pub use super::reports::{
    Refusal, Refused, Reports, full_bloom, observations, sisters, sort_reports,
};
use super::season_days::{DAYS_BEFORE, SeasonYear, crossing};
use super::spread::Basis;
use crate::facts::knowledge::Crop;
use crate::facts::place::HardinessZone;
use chrono::NaiveDate;

/// A stage before bloom that was not seen is shown at least this wide, days.
const LEAST_WIDTH_DAYS: f64 = 7.0;

/// Residual scale over the shortest stretch after an anchor, days.
const ANCHOR_SCALE_DAYS: f64 = 2.0;

/// Share of the time between anchor and stage that is added to it.
const ANCHOR_SHARE: f64 = 0.25;

/// Beyond this probability of having passed unseen, the keeper is asked.
const ASK_BEYOND: f64 = 0.95;

/// Standard deviation between the 10 and 90 % points of a normal, inverse.
const PER_80_PERCENT: f64 = 1.0 / 2.5631;

/// A report so many days outside the 10 to 90 % window is refused.
const FAR_DAYS: f64 = 45.0;

/// Spread added to a stage before bloom for its published share of the heat,
/// days per unit of share that is lacking. Our judgement: the sums of green
/// tip vary by some 5 days between seasons, those of full bloom by 3.5.
const SHARE_SPREAD_DAYS: f64 = 5.0;

/// Spread of bloom between years where nothing else is known, days: twelve
/// open series have 6 to 11.
const YEARS_SPREAD_DAYS: f64 = 9.0;

/// The window of one stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageDate {
    /// Place in the crop's list of stages.
    pub stage: usize,
    /// The stage has come by this day with a chance of one in ten.
    pub p10: NaiveDate,
    /// With an even chance.
    pub p50: NaiveDate,
    /// With a chance of nine in ten.
    pub p90: NaiveDate,
    /// What they rest on.
    pub basis: Basis,
    /// Share of the runs in which it never came this season; worth telling
    /// above 0.05.
    pub never: f64,
    /// The chance that it has passed without a report is above 95 %: ask.
    pub ask: bool,
}

/// What a reader of stage dates ought to know.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StageCaveat {
    /// The crop has no stage with the heat of full bloom in its list.
    NoFullBloom,
    /// Fewer than ten past years stand for the days to come: only the middle
    /// date is worth showing.
    FewMembers {
        /// How many.
        members: usize,
    },
    /// Full bloom is not reached in this share of the runs.
    MayNotBloom {
        /// 0 to 1.
        share: f64,
    },
    /// Less chill by day 59 (1 March) than nine tenths of the least of past
    /// years: nothing
    /// is known about bloom after such a winter; windows are wider.
    LittleChill {
        /// Portions expected.
        portions: f64,
        /// Least of the past years.
        least: f64,
    },
    /// No weather and no usual date: the zone alone gave the date.
    ZoneAlone,
}

/// The stages of one crop or cultivar in one season.
#[derive(Clone, Debug, PartialEq)]
pub struct StageDates {
    /// The year of the season.
    pub year: i32,
    /// Windows of the stages that can be dated, in their order.
    pub stages: Vec<StageDate>,
    /// Reports that cannot be.
    pub refused: Vec<Refused>,
    /// What to beware of.
    pub caveats: Vec<StageCaveat>,
}

impl StageDates {
    /// The window of a stage by its place in the crop's list.
    pub fn get(&self, stage: usize) -> Option<&StageDate> {
        self.stages.iter().find(|date| date.stage == stage)
    }

    /// The latest stage that the keeper saw.
    pub fn latest_seen(&self) -> Option<&StageDate> {
        self.stages
            .iter()
            .rev()
            .find(|date| date.basis == Basis::Seen)
    }
}

/// A stage with its day, as a season day.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Anchor {
    stage: usize,
    instant: f64,
    date: NaiveDate,
}

/// All stages of a crop in the season of an outlook, seen from its day.
///
/// `zone` serves only where there is neither weather nor a usual date.
pub fn season_of(
    crop: &Crop,
    climate: &Climate,
    outlook: &Outlook,
    fit: &Fit,
    zone: HardinessZone,
    reports: Reports<'_>,
) -> StageDates {
    let season = outlook.season;
    let (kept, refused) = sort_reports(crop, season, outlook.today, reports.seen);
    let mut dates = StageDates {
        year: season.year,
        stages: Vec::new(),
        refused,
        caveats: Vec::new(),
    };
    let Some(bloom) = full_bloom(crop) else {
        dates.caveats.push(StageCaveat::NoFullBloom);
        return dates;
    };
    let rules = fit.draw(&climate.candidates, DRAWN);
    let from_weather = !rules.is_empty() && outlook.members() > 0;
    let source = if from_weather {
        if outlook.members() < FEW_MEMBERS && !outlook.is_over() {
            dates.caveats.push(StageCaveat::FewMembers {
                members: outlook.members(),
            });
        }
        Source::Weather {
            runs: outlook.run(rules),
            scale_days: fit.scale_days * outlook.widening(),
            drift_days: fit.drift(season.year),
            told: outlook.told_until(),
        }
    } else {
        if fit.basis.usual.is_none() {
            dates.caveats.push(StageCaveat::ZoneAlone);
        }
        Source::Usual(usual_bloom(crop, fit, zone, season.southern))
    };
    if let Some((portions, least)) = outlook.short_of_chill().filter(|_| from_weather) {
        dates
            .caveats
            .push(StageCaveat::LittleChill { portions, least });
    }
    let mut anchors: Vec<Anchor> = Vec::new();
    for (stage, date) in kept {
        let instant = season.day(date) as f64 + 0.5;
        match source.far(crop, bloom, stage, instant) {
            Some(expected) => dates.refused.push(Refused {
                report: report_of(crop, stage, date),
                why: Refusal::FarFromForecast {
                    expected: season.date(expected),
                },
            }),
            None => anchors.push(Anchor {
                stage,
                date,
                instant,
            }),
        }
    }
    for (stage, known) in crop.stages.iter().enumerate() {
        if let Some(anchor) = anchors.iter().find(|anchor| anchor.stage == stage) {
            dates.stages.push(StageDate {
                stage,
                p10: anchor.date,
                p50: anchor.date,
                p90: anchor.date,
                basis: Basis::Seen,
                never: 0.0,
                ask: false,
            });
            continue;
        }
        let before = anchors.iter().rev().find(|anchor| anchor.stage < stage);
        let after = anchors.iter().find(|anchor| anchor.stage > stage);
        let share = known.heat_share.as_ref().map(|(share, _)| *share);
        let share = share.or((stage == bloom).then_some(1.0));
        let delay = known.days_after_bloom.as_ref().map(|(a, b, _)| (*a, *b));
        let Some(mixture) = source.stage(crop, bloom, share, delay, before) else {
            continue;
        };
        let window = Window {
            after: before.map(|anchor| anchor.instant),
            before: after.map(|anchor| anchor.instant),
            now: reports.watched.then(|| outlook.now()),
            wide: stage < bloom,
        };
        if let Some(date) = window.of(&mixture, stage, season, outlook, from_weather) {
            dates.stages.push(date);
        }
    }
    if let Some(full) = dates.get(bloom).filter(|full| full.never > 0.05) {
        dates
            .caveats
            .push(StageCaveat::MayNotBloom { share: full.never });
    }
    in_order(&mut dates.stages);
    dates
}

/// Where dates come from.
enum Source {
    Weather {
        runs: Runs,
        scale_days: f64,
        drift_days: f64,
        told: f64,
    },
    Usual(Mixture),
}

impl Source {
    /// The expected instant of a stage, when a report lies so far outside its
    /// window that a slip in the date is likelier.
    fn far(&self, crop: &Crop, bloom: usize, stage: usize, instant: f64) -> Option<f64> {
        let known = crop.stages.get(stage)?;
        let share = known.heat_share.as_ref().map(|(share, _)| *share);
        let share = share.or((stage == bloom).then_some(1.0));
        let delay = known.days_after_bloom.as_ref().map(|(a, b, _)| (*a, *b));
        let mixture = self.stage(crop, bloom, share, delay, None)?;
        let early = mixture.quantile(0.1)? - FAR_DAYS;
        let late = mixture.quantile(0.9)? + FAR_DAYS;
        let expected = mixture.quantile(0.5)?;
        (!(early..=late).contains(&instant)).then_some(expected)
    }

    /// The distribution of a stage, counted from an anchor where there is one.
    fn stage(
        &self,
        crop: &Crop,
        bloom: usize,
        share: Option<f64>,
        delay: Option<(f64, f64)>,
        anchor: Option<&Anchor>,
    ) -> Option<Mixture> {
        let share_of = |stage: usize| {
            if stage == bloom {
                return Some(1.0);
            }
            let known = crop.stages.get(stage)?;
            known.heat_share.as_ref().map(|(share, _)| *share)
        };
        if let Some(share) = share {
            let from = anchor.and_then(|anchor| Some((anchor, share_of(anchor.stage)?)));
            return Some(self.by_heat(share, from));
        }
        // Days after full bloom, or after an anchor with days of its own.
        let (least, most) = delay?;
        let (days, spread) = (0.5 * (least + most), (most - least).abs() * PER_80_PERCENT);
        let anchored = anchor.and_then(|anchor| {
            let there = crop.stages.get(anchor.stage)?;
            let (a, b, _) = there.days_after_bloom.as_ref()?;
            Some((anchor, 0.5 * (a + b)))
        });
        if let Some((anchor, passed)) = anchored {
            let left = (days - passed).max(0.0);
            let spread = spread.min(ANCHOR_SCALE_DAYS.hypot(ANCHOR_SHARE * left));
            return Some(Mixture::new(vec![(anchor.instant + left, 1.0)], spread));
        }
        let from = anchor.and_then(|anchor| Some((anchor, share_of(anchor.stage)?)));
        if let Some((anchor, _)) = from.filter(|(_, share)| *share >= 1.0)
            && anchor.stage == bloom
        {
            return Some(Mixture::new(vec![(anchor.instant + days, 1.0)], spread));
        }
        Some(
            self.by_heat(1.0, from.filter(|(_, share)| *share < 1.0))
                .later(days, spread),
        )
    }

    fn by_heat(&self, share: f64, from: Option<(&Anchor, f64)>) -> Mixture {
        match self {
            Source::Weather {
                runs,
                scale_days,
                drift_days,
                told,
            } => match from {
                None => runs
                    .mixture(*scale_days, |rule, running| {
                        crossing(running, rule.track.start, rule.need * share)
                    })
                    .later(-drift_days, SHARE_SPREAD_DAYS * (1.0 - share).max(0.0))
                    .seen_from(*told),
                Some((anchor, passed)) => {
                    let left = (share - passed).max(0.0);
                    let mixture = runs.mixture(1.0, |rule, running| {
                        onward(rule, running, anchor.instant, left)
                    });
                    let between = (mixture.mean() - anchor.instant).max(0.0);
                    let scale = ANCHOR_SCALE_DAYS.hypot(ANCHOR_SHARE * between);
                    // What the rules say without the anchor still counts, the
                    // less the further apart the two are.
                    let plain = runs.mixture(1.0, |rule, running| {
                        crossing(running, rule.track.start, rule.need * share)
                    });
                    let apart = plain.mean() - drift_days - mixture.mean();
                    let (a, b) = (scale.powi(2), scale_days.powi(2) + apart.powi(2));
                    let trust = b / (a + b);
                    runs.mixture((a * b / (a + b)).sqrt(), |rule, running| {
                        let onward = onward(rule, running, anchor.instant, left)?;
                        let plain = crossing(running, rule.track.start, rule.need * share)
                            .map_or(onward, |date| date - drift_days);
                        Some((trust * onward + (1.0 - trust) * plain).max(anchor.instant))
                    })
                }
            },
            // Without weather, spring runs at a rough pace: the last tenth of
            // the heat to full bloom takes some three days.
            Source::Usual(bloom) => match from {
                None => bloom.later(30.0 * (share - 1.0), 10.0 * (1.0 - share).abs()),
                Some((anchor, passed)) => {
                    let days = 30.0 * (share - passed).max(0.0);
                    let scale = ANCHOR_SCALE_DAYS.hypot(0.5 * days);
                    Mixture::new(vec![(anchor.instant + days, 1.0)], scale)
                }
            },
        }
    }
}

/// The instant at which a share of a rule's need has been added since an
/// anchor.
fn onward(rule: &Rule, running: &[f64], anchor: f64, share: f64) -> Option<f64> {
    let day = (anchor.floor() + DAYS_BEFORE as f64).max(0.0) as usize;
    let part = anchor - anchor.floor();
    let through = *running.get(day)?;
    let before = day
        .checked_sub(1)
        .and_then(|day| running.get(day))
        .copied()
        .unwrap_or(0.0);
    let so_far = before + part * (through - before);
    let target = so_far + rule.need * share;
    // Counted from the span's first day, the running sum itself is crossed.
    crossing(running, -(DAYS_BEFORE as i32), target).map(|date| date.max(anchor))
}

/// Bounds that a window must keep.
struct Window {
    after: Option<f64>,
    before: Option<f64>,
    now: Option<f64>,
    wide: bool,
}

impl Window {
    fn of(
        &self,
        mixture: &Mixture,
        stage: usize,
        season: SeasonYear,
        outlook: &Outlook,
        from_weather: bool,
    ) -> Option<StageDate> {
        let passed = mixture.cumulative(outlook.now());
        let ask = passed > ASK_BEYOND && self.before.is_none();
        let mut from = self.after.unwrap_or(f64::NEG_INFINITY);
        let to = self.before.unwrap_or(f64::INFINITY);
        if let Some(now) = self.now.filter(|_| !ask && self.before.is_none()) {
            from = from.max(now);
        }
        let mut p10 = mixture.between(from, to, 0.1)?;
        let mut p50 = mixture.between(from, to, 0.5)?;
        let mut p90 = mixture.between(from, to, 0.9)?;
        if self.wide && self.before.is_none() {
            let lacking = LEAST_WIDTH_DAYS - (p90 - p10);
            if lacking > 0.0 {
                p10 = (p10 - 0.5 * lacking).max(from);
                p90 = p10 + LEAST_WIDTH_DAYS;
                p50 = p50.clamp(p10, p90);
            }
        }
        let basis = if !from_weather {
            Basis::ZoneOnly
        } else if outlook.told_until() >= p50 - TELLS_DAYS {
            Basis::Forecast
        } else {
            Basis::PastYears
        };
        Some(StageDate {
            stage,
            p10: season.date(p10),
            p50: season.date(p50),
            p90: season.date(p90),
            basis,
            never: mixture.never,
            ask,
        })
    }
}

/// This season's weather tells about a stage from so many days before it on.
const TELLS_DAYS: f64 = 75.0;

/// Without weather: the usual date, or what the zone gives.
fn usual_bloom(crop: &Crop, fit: &Fit, zone: HardinessZone, southern: bool) -> Mixture {
    let (instant, spread) = match fit.basis.usual {
        Some(usual) => (usual.instant, usual.spread_days),
        None => {
            // 'Golden Delicious' about 23 April in zone 7a and some 5 days
            // later with each colder half zone: our judgement, after
            // Winchester (7a, day 114), Hudson Valley (6b, 123) and State
            // College (day 123).
            let offset = crop.bloom_offset.as_ref();
            let days = offset.map_or(0.0, |offset| offset.days);
            let seven_a = 12.0;
            let half_zones = seven_a - f64::from(zone.steps());
            let instant = 113.0 + 4.5 * half_zones.clamp(-8.0, 8.0) + days;
            (instant + if southern { 3.0 } else { 0.0 }, 14.0)
        }
    };
    Mixture::new(vec![(instant, 1.0)], spread.hypot(YEARS_SPREAD_DAYS))
}

/// Keeps windows in the order of their stages.
fn in_order(stages: &mut [StageDate]) {
    let mut last: Option<StageDate> = None;
    for date in stages {
        if let Some(last) = last.filter(|_| date.basis != Basis::Seen) {
            date.p10 = date.p10.max(last.p10);
            date.p50 = date.p50.max(last.p50).max(date.p10);
            date.p90 = date.p90.max(last.p90).max(date.p50);
        }
        last = Some(*date);
    }
}
