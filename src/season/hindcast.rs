//! The forecasts of past springs, held against what was seen.
//!
//! For each observed year the forecast is issued again as it would have been
//! on a few days, knowing earlier years only (or all but that year), and
//! scored. Every year stands alone, so that a caller may work them out in any
//! order or side by side and get the same numbers.

use super::bloom::{Evidence, Fit, Observation, Years};
use super::ensemble::{Climate, Mixture, Outlook};
use super::season_days::SeasonYear;
use chrono::{Days, NaiveDate};

/// What a forecast may know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Knows {
    /// Weather and observations of earlier years only, as in real use.
    EarlierYears,
    /// Those of all other years.
    OtherYears,
}

/// The day on which a forecast is issued.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Issue {
    /// So many days after day 0 of the season: 31 is 1 February in the north.
    SeasonDay(u32),
    /// So many days before the bloom that was seen.
    BeforeBloom(u32),
}

/// 1 February, 1 March, 1 April (in years without a leap day), 14 and 7 days
/// before bloom.
pub const ISSUES: [Issue; 5] = [
    Issue::SeasonDay(31),
    Issue::SeasonDay(59),
    Issue::SeasonDay(90),
    Issue::BeforeBloom(14),
    Issue::BeforeBloom(7),
];

/// One forecast and what came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    /// The year of the season.
    pub year: i32,
    /// When the forecast was issued.
    pub issue: Issue,
    /// Own observations that it knew.
    pub known: usize,
    /// What came, season day with fraction.
    pub seen: f64,
    /// 10 % date.
    pub p10: f64,
    /// 50 % date.
    pub p50: f64,
    /// 90 % date.
    pub p90: f64,
    /// Continuous ranked probability score, days.
    pub crps: f64,
    /// The same for the dates of the years known, as an ensemble.
    pub reference_crps: f64,
    /// Error of their mean, days.
    pub reference_error: f64,
}

/// Least number of earlier observations for a forecast to be scored.
pub const LEAST_KNOWN: usize = 3;

/// The forecasts of one year; empty when it was not observed, its weather is
/// not known or too little was known before.
///
/// `evidence` holds all observations of the record; those that the forecast
/// must not know are taken out here. An issue day on or after bloom is
/// skipped.
pub fn year(climate: &Climate, evidence: &Evidence, year: i32, knows: Knows) -> Vec<Score> {
    let years = match knows {
        Knows::EarlierYears => Years::Before(year),
        Knows::OtherYears => Years::Except(year),
    };
    let Some(seen) = observed(&evidence.own, year) else {
        return Vec::new();
    };
    let known: Vec<f64> = evidence
        .own
        .iter()
        .filter(|one| one.share == 1.0 && years.hold(one.year))
        .map(|one| one.instant)
        .collect();
    if known.len() < LEAST_KNOWN || climate.candidates.spring(year).is_none() {
        return Vec::new();
    }
    let fit = Fit::new(&climate.candidates, evidence, years);
    let season = SeasonYear::at(year, climate.latitude_deg);
    ISSUES
        .iter()
        .filter_map(|&issue| {
            let today = issue_day(issue, season, seen)?;
            let outlook = Outlook::new(climate, None, year, today, years);
            let bloom = outlook.full_bloom(climate, &fit);
            score(&bloom, outlook.now(), seen, &known).map(|score| Score {
                year,
                issue,
                known: fit.basis.own,
                ..score
            })
        })
        .collect()
}

fn observed(own: &[Observation], year: i32) -> Option<f64> {
    let same: Vec<f64> = own
        .iter()
        .filter(|one| one.year == year && one.share == 1.0)
        .map(|one| one.instant)
        .collect();
    (!same.is_empty()).then(|| same.iter().sum::<f64>() / same.len() as f64)
}

/// The day of issue, if it lies before bloom.
fn issue_day(issue: Issue, season: SeasonYear, seen: f64) -> Option<NaiveDate> {
    let bloom = season.date(seen);
    let day = match issue {
        Issue::SeasonDay(day) => season.date(f64::from(day)),
        Issue::BeforeBloom(days) => bloom.checked_sub_days(Days::new(u64::from(days)))?,
    };
    (day < bloom).then_some(day)
}

fn score(bloom: &Mixture, now: f64, seen: f64, known: &[f64]) -> Option<Score> {
    let open = f64::INFINITY;
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    Some(Score {
        year: 0,
        issue: Issue::BeforeBloom(0),
        known: known.len(),
        seen,
        p10: bloom.between(now, open, 0.1)?,
        p50: bloom.between(now, open, 0.5)?,
        p90: bloom.between(now, open, 0.9)?,
        crps: bloom.crps(now, seen),
        reference_crps: fair_crps(known, seen),
        reference_error: mean - seen,
    })
}

/// Error of the date that the fit gives with the whole spring's weather, the
/// year itself left out of the fit; days, late is positive.
pub fn left_out_error(climate: &Climate, evidence: &Evidence, year: i32) -> Option<f64> {
    let seen = observed(&evidence.own, year)?;
    let spring = climate.candidates.spring(year)?;
    let fit = Fit::new(&climate.candidates, evidence, Years::Except(year));
    Some(fit.date(spring) - seen)
}

/// Scores of many forecasts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Summary {
    /// How many.
    pub forecasts: usize,
    /// Root mean square error of the 50 % date, days.
    pub rmse: f64,
    /// Median absolute error of it, days.
    pub median_error: f64,
    /// Mean of it, days; late is positive.
    pub bias: f64,
    /// Share of bloom dates between the 10 and 90 % dates.
    pub coverage: f64,
    /// Mean width of the window, days.
    pub width: f64,
    /// Mean score, days.
    pub crps: f64,
    /// Mean score of the dates of the years known, days.
    pub reference_crps: f64,
    /// Root mean square error of their mean date, days.
    pub reference_rmse: f64,
}

impl Summary {
    /// Sums up scores; all zero without any.
    pub fn of<'a>(scores: impl IntoIterator<Item = &'a Score>) -> Self {
        let scores: Vec<&Score> = scores.into_iter().collect();
        let n = scores.len() as f64;
        if scores.is_empty() {
            return Summary::default();
        }
        let mean = |value: &dyn Fn(&Score) -> f64| {
            scores.iter().map(|score| value(score)).sum::<f64>() / n
        };
        let mut errors: Vec<f64> = scores
            .iter()
            .map(|score| (score.p50 - score.seen).abs())
            .collect();
        errors.sort_by(f64::total_cmp);
        let middle = errors.len() / 2;
        let upper = errors.get(middle).copied().unwrap_or(0.0);
        let lower = errors.get((errors.len() - 1) / 2).copied().unwrap_or(upper);
        Summary {
            forecasts: scores.len(),
            rmse: mean(&|score| (score.p50 - score.seen).powi(2)).sqrt(),
            median_error: 0.5 * (lower + upper),
            bias: mean(&|score| score.p50 - score.seen),
            coverage: mean(&|score| {
                f64::from(u8::from(score.p10 <= score.seen && score.seen <= score.p90))
            }),
            width: mean(&|score| score.p90 - score.p10),
            crps: mean(&|score| score.crps),
            reference_crps: mean(&|score| score.reference_crps),
            reference_rmse: mean(&|score| score.reference_error.powi(2)).sqrt(),
        }
    }

    /// Share of the reference's score that the forecast saves; 1 is perfect,
    /// 0 no better than the mean date.
    pub fn skill(&self) -> f64 {
        if self.reference_crps > 0.0 {
            1.0 - self.crps / self.reference_crps
        } else {
            0.0
        }
    }
}

/// Fair continuous ranked probability score of an ensemble: mean |e - x|
/// less half the mean |e - e'| over distinct pairs. Hersbach 2000, Weather
/// and Forecasting 15:559-570; Ferro, Richardson & Weigel 2008, Meteorol.
/// Appl. 0 without members.
pub fn fair_crps(members: &[f64], came: f64) -> f64 {
    let m = members.len() as f64;
    if members.is_empty() {
        return 0.0;
    }
    let miss = members.iter().map(|e| (e - came).abs()).sum::<f64>() / m;
    if members.len() < 2 {
        return miss;
    }
    let pairs: f64 = members
        .iter()
        .flat_map(|a| members.iter().map(move |b| (a - b).abs()))
        .sum();
    miss - pairs / (2.0 * m * (m - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Algorithms 6.5.
    #[test]
    fn fair_scores() {
        assert!((fair_crps(&[1.0, 2.0, 4.0], 3.0) - 0.333_333).abs() < 1e-6);
        assert_eq!(fair_crps(&[5.0], 3.0), 2.0);
        assert_eq!(fair_crps(&[2.0, 2.0, 2.0], 2.0), 0.0);
        assert!((fair_crps(&[100.0, 105.0, 110.0, 120.0], 90.0) - 13.333_333).abs() < 1e-5);
        assert_eq!(fair_crps(&[], 1.0), 0.0);
    }

    /// A normal distribution's score at its mean is s (sqrt 2 - 1)/sqrt pi.
    #[test]
    fn the_score_of_a_dress_alone() {
        let bloom = Mixture::new(vec![(100.0, 1.0)], 4.0);
        let wanted = 4.0 * (2.0f64.sqrt() - 1.0) / std::f64::consts::PI.sqrt();
        let got = bloom.crps(f64::NEG_INFINITY, 100.0);
        assert!((got - wanted).abs() < 0.01, "{got} {wanted}");
    }
}
