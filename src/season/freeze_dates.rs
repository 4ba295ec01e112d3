//! Last freeze of spring, first of autumn, and the hardiness zone.
//!
//! A zone is no frost date: Klein-Altendorf is zone 8a and freezes after
//! 22 April in half of its years. Dates come from the place's own record.

use super::normal;
use crate::facts::place::HardinessZone;
use crate::facts::weather::DailyRecord;
use crate::units::f_to_c;
use chrono::{Datelike, NaiveDate};

/// The thresholds in use, °F: 36, 32, 28, 24, 20, 16.
pub const THRESHOLDS_F: [f64; 6] = [36.0, 32.0, 28.0, 24.0, 20.0, 16.0];

/// Fewest years with a freeze from which a distribution is told.
pub const FEWEST_FREEZES: usize = 5;

/// Whether a low counts as a freeze at a threshold, both °C.
///
/// Readings in whole °F are stored in tenths of °C: 28 °F is kept as -2.2,
/// which is 28.04 °F. So 0.05 °C of grace is given, except at thresholds that
/// are whole tenths themselves, such as 0 °C.
pub fn is_freeze(low_c: f64, threshold_c: f64) -> bool {
    let tenths = threshold_c * 10.0;
    let grace = if (tenths - tenths.round()).abs() < 1e-6 {
        0.0
    } else {
        0.05
    };
    // 1e-5 °C is the rounding of stored values.
    low_c <= threshold_c + grace + 1e-5
}

/// A day of the year: month, day.
pub type MonthDay = (u32, u32);

/// Between which days freezes are looked for, and which days must be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spans {
    /// Spring: from, to.
    pub spring: (MonthDay, MonthDay),
    /// Autumn: from, to.
    pub autumn: (MonthDay, MonthDay),
    /// Days of spring that must be known.
    pub spring_watched: (MonthDay, MonthDay),
    /// Days of autumn that must be known.
    pub autumn_watched: (MonthDay, MonthDay),
    /// Most of the watched days that may be unknown.
    pub most_missing: usize,
}

impl Default for Spans {
    /// Halves of the calendar year, five unknown days at most from February to
    /// June and from July to November; for the northern hemisphere.
    fn default() -> Self {
        Spans {
            spring: ((1, 1), (6, 30)),
            autumn: ((7, 1), (12, 31)),
            spring_watched: ((2, 1), (6, 30)),
            autumn_watched: ((7, 1), (11, 30)),
            most_missing: 5,
        }
    }
}

/// One year's freezes at a threshold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FreezeYear {
    /// The calendar year.
    pub year: i32,
    /// Last freeze of spring, if there was one.
    pub last_spring: Option<NaiveDate>,
    /// First freeze of autumn, if there was one.
    pub first_autumn: Option<NaiveDate>,
    /// Unknown days among those watched in spring.
    pub missing_spring: usize,
    /// Unknown days among those watched in autumn.
    pub missing_autumn: usize,
    /// Whether spring has few enough unknown days.
    pub spring_usable: bool,
    /// Whether autumn has few enough unknown days.
    pub autumn_usable: bool,
}

impl FreezeYear {
    /// Days strictly between the two freezes, if both were seen in usable
    /// halves.
    pub fn freeze_free_days(&self) -> Option<i64> {
        let between = self.first_autumn? - self.last_spring?;
        (self.spring_usable && self.autumn_usable).then(|| between.num_days() - 1)
    }
}

/// Freezes of every calendar year that the record touches, at a threshold in
/// °C. Empty when the threshold is not a number.
pub fn by_year(record: &DailyRecord, threshold_c: f64, spans: &Spans) -> Vec<FreezeYear> {
    if record.is_empty() || !threshold_c.is_finite() {
        return Vec::new();
    }
    record
        .years()
        .filter_map(|year| {
            let (spring_from, spring_to) = in_year(year, spans.spring)?;
            let (autumn_from, autumn_to) = in_year(year, spans.autumn)?;
            let freezes = |date: &NaiveDate| {
                record
                    .day(*date)
                    .and_then(|day| day.low_c)
                    .is_some_and(|low| is_freeze(low, threshold_c))
            };
            let missing_spring = unknown_days(record, in_year(year, spans.spring_watched)?);
            let missing_autumn = unknown_days(record, in_year(year, spans.autumn_watched)?);
            Some(FreezeYear {
                year,
                last_spring: days(spring_from, spring_to).filter(freezes).last(),
                first_autumn: days(autumn_from, autumn_to).find(freezes),
                missing_spring,
                missing_autumn,
                spring_usable: missing_spring <= spans.most_missing,
                autumn_usable: missing_autumn <= spans.most_missing,
            })
        })
        .collect()
}

fn in_year(year: i32, span: (MonthDay, MonthDay)) -> Option<(NaiveDate, NaiveDate)> {
    let date = |(month, day)| NaiveDate::from_ymd_opt(year, month, day);
    Some((date(span.0)?, date(span.1)?))
}

fn days(from: NaiveDate, to: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    from.iter_days()
        .take(366)
        .take_while(move |date| *date <= to)
}

fn unknown_days(record: &DailyRecord, (from, to): (NaiveDate, NaiveDate)) -> usize {
    days(from, to)
        .filter(|date| record.day(*date).and_then(|day| day.low_c).is_none())
        .count()
}

/// Which freeze of the year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Season {
    /// The last freeze of spring: the odds are of a later one.
    Spring,
    /// The first freeze of autumn: the odds are of an earlier one.
    Autumn,
}

/// How a date is read from the years.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reading {
    /// Sorted dates at plotting positions i/(n+1).
    Empirical,
    /// Normal curve through mean and standard deviation.
    Normal,
    /// Share of years with a freeze, and a normal curve over those.
    Mixed,
}

/// A date read from the years, as a day of the year with its part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OddsDay {
    /// Day of the year, 1 January is 1.
    pub day_of_year: f64,
    /// Which reading gave it.
    pub reading: Reading,
    /// Beyond the sorted dates: the extreme stands in.
    pub beyond_the_years: bool,
}

/// The distribution of one freeze date over the years.
#[derive(Clone, Debug, PartialEq)]
pub struct FreezeOdds {
    season: Season,
    /// Usable years.
    years: usize,
    /// Days of the year of the freezes, sorted.
    days: Vec<f64>,
    mean: f64,
    sd: f64,
}

impl FreezeOdds {
    /// From the usable years.
    pub fn of(years: &[FreezeYear], season: Season) -> Self {
        let usable: Vec<Option<NaiveDate>> = years
            .iter()
            .filter_map(|year| match season {
                Season::Spring => year.spring_usable.then_some(year.last_spring),
                Season::Autumn => year.autumn_usable.then_some(year.first_autumn),
            })
            .collect();
        let days = usable
            .iter()
            .flatten()
            .map(|date| f64::from(date.ordinal()))
            .collect();
        FreezeOdds::from_days(season, usable.len(), days)
    }

    /// From days of the year and the number of usable years (at least as many
    /// as there are days).
    pub fn from_days(season: Season, years: usize, mut days: Vec<f64>) -> Self {
        days.retain(|day| day.is_finite());
        days.sort_by(f64::total_cmp);
        let n = days.len() as f64;
        let mean = days.iter().sum::<f64>() / n;
        let squares: f64 = days.iter().map(|day| (day - mean).powi(2)).sum();
        FreezeOdds {
            season,
            years: years.max(days.len()),
            mean,
            sd: (squares / (n - 1.0)).sqrt(),
            days,
        }
    }

    /// From a published mean and standard deviation (days) and the share of
    /// years that freeze at all.
    pub fn published(season: Season, mean: f64, sd: f64, freezing_share: f64) -> Published {
        Published {
            season,
            mean,
            sd,
            freezing_share,
        }
    }

    /// Usable years.
    pub fn years(&self) -> usize {
        self.years
    }

    /// Years with such a freeze.
    pub fn freezes(&self) -> usize {
        self.days.len()
    }

    /// Share of years with such a freeze; `None` without a usable year.
    pub fn freezing_share(&self) -> Option<f64> {
        (self.years > 0).then(|| self.days.len() as f64 / self.years as f64)
    }

    /// Mean day of the year, and standard deviation with n - 1, over the years
    /// that freeze. `None` with fewer than two.
    pub fn mean_and_sd(&self) -> Option<(f64, f64)> {
        (self.days.len() >= 2).then_some((self.mean, self.sd))
    }

    /// The days of the year, sorted.
    pub fn days(&self) -> &[f64] {
        &self.days
    }

    /// The day after which (spring) or before which (autumn) a freeze comes
    /// with probability `p`: mixed when some years do not freeze, normal below
    /// 30 years, empirical from 30 on. `None` with fewer than
    /// [`FEWEST_FREEZES`] freezes, or when `p` is not reached at all.
    pub fn day(&self, p: f64) -> Option<OddsDay> {
        let share = self.freezing_share()?;
        let reading = if share < 1.0 {
            Reading::Mixed
        } else if self.days.len() < 30 {
            Reading::Normal
        } else {
            Reading::Empirical
        };
        self.day_by(p, reading)
    }

    /// The same by a chosen reading.
    pub fn day_by(&self, p: f64, reading: Reading) -> Option<OddsDay> {
        if self.days.len() < FEWEST_FREEZES || !(p > 0.0 && p < 1.0) {
            return None;
        }
        let plain = |day_of_year| OddsDay {
            day_of_year,
            reading,
            beyond_the_years: false,
        };
        let curve = |share| FreezeOdds::published(self.season, self.mean, self.sd, share).day(p);
        match reading {
            Reading::Empirical => {
                let below = match self.season {
                    Season::Spring => 1.0 - p,
                    Season::Autumn => p,
                };
                let (day_of_year, beyond_the_years) = plotting_position(&self.days, below)?;
                Some(OddsDay {
                    day_of_year,
                    reading,
                    beyond_the_years,
                })
            }
            Reading::Normal => curve(1.0).map(plain),
            Reading::Mixed => curve(self.freezing_share()?).map(plain),
        }
    }
}

/// Mean, spread and share of freezing years as a table prints them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Published {
    season: Season,
    mean: f64,
    sd: f64,
    freezing_share: f64,
}

impl Published {
    /// Day of the year after which (spring) or before which (autumn) a freeze
    /// comes with probability `p`; `None` when freezes are not that common.
    ///
    /// Thom & Shaw 1958, Mon. Weather Rev. 86:257-270, with Thom's mixture for
    /// years without a freeze.
    pub fn day(&self, p: f64) -> Option<f64> {
        if !(self.mean.is_finite() && self.sd.is_finite()) || p >= self.freezing_share {
            return None;
        }
        let among_freezing = p / self.freezing_share;
        let below = match self.season {
            Season::Spring => 1.0 - among_freezing,
            Season::Autumn => among_freezing,
        };
        Some(self.mean + self.sd * normal::quantile(below)?)
    }

    /// The odds of a freeze after (spring) or before (autumn) a day of the
    /// year, 0 to 1.
    pub fn odds(&self, day_of_year: f64) -> f64 {
        let z = (day_of_year - self.mean) / self.sd;
        self.freezing_share
            * match self.season {
                Season::Spring => normal::share_below(-z),
                Season::Autumn => normal::share_below(z),
            }
    }
}

/// Value at plotting positions i/(n+1), straight lines between; beyond the
/// ends the extreme, marked. `sorted` must be sorted.
pub fn plotting_position(sorted: &[f64], share: f64) -> Option<(f64, bool)> {
    let position = share * (sorted.len() as f64 + 1.0) - 1.0;
    let last = sorted.len().checked_sub(1)?;
    if position.is_nan() {
        return None;
    }
    if position < 0.0 {
        return Some((*sorted.first()?, true));
    }
    if position > last as f64 {
        return Some((*sorted.last()?, true));
    }
    Some((between(sorted, position)?, false))
}

/// Plain sample quantile: straight lines between the first value (share 0) and
/// the last (share 1). `sorted` must be sorted; `None` when it is empty.
pub fn linear_quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)? as f64;
    if share.is_nan() {
        return None;
    }
    between(sorted, share.clamp(0.0, 1.0) * last)
}

fn between(sorted: &[f64], position: f64) -> Option<f64> {
    let at = position.floor().max(0.0) as usize;
    let low = sorted.get(at)?;
    let high = sorted.get(at + 1).unwrap_or(low);
    Some(low + (position - at as f64) * (high - low))
}

/// The coldest reading of one winter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WinterLow {
    /// July to June, named by the year of its June.
    pub winter: i32,
    /// Lowest temperature, °C.
    pub low_c: f64,
    /// The day of it.
    pub date: NaiveDate,
}

/// The coldest reading of every winter (July to June, so that one cold spell
/// is not counted twice) with at least 350 known lows.
pub fn winter_lows(record: &DailyRecord) -> Vec<WinterLow> {
    let mut winters: Vec<(WinterLow, usize)> = Vec::new();
    for (index, low) in record.low_c.iter().enumerate() {
        let Some(low_c) = low else { continue };
        let date = record.date(index);
        let winter = date.year() + i32::from(date.month() >= 7);
        match winters.last_mut() {
            Some((one, known)) if one.winter == winter => {
                *known += 1;
                if low_c < one.low_c {
                    (one.low_c, one.date) = (low_c, date);
                }
            }
            _ => winters.push((
                WinterLow {
                    winter,
                    low_c,
                    date,
                },
                1,
            )),
        }
    }
    winters
        .into_iter()
        .filter(|(_, known)| *known >= 350)
        .map(|(winter, _)| winter)
        .collect()
}

/// Mean annual extreme minimum (°C), its hardiness zone and the number of
/// winters, over the winters named in `years`. `None` without a winter.
///
/// Zones are bands of 10 °F from -60 °F, halves of 5 °F (US Department of
/// Agriculture 2023); the map itself adds spatial modelling.
pub fn mean_extreme_minimum(
    winters: &[WinterLow],
    years: std::ops::RangeInclusive<i32>,
) -> Option<(f64, HardinessZone, usize)> {
    let lows: Vec<f64> = winters
        .iter()
        .filter(|winter| years.contains(&winter.winter))
        .map(|winter| winter.low_c)
        .collect();
    if lows.is_empty() {
        return None;
    }
    let mean_c = lows.iter().sum::<f64>() / lows.len() as f64;
    let zone = HardinessZone::from_extreme_minimum_f(mean_c * 1.8 + 32.0);
    Some((mean_c, zone, lows.len()))
}

/// A threshold of [`THRESHOLDS_F`] in °C.
pub fn threshold_c(fahrenheit: f64) -> f64 {
    f_to_c(fahrenheit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, wanted: f64, within: f64) {
        assert!(
            (value - wanted).abs() <= within,
            "{value} instead of {wanted}"
        );
    }

    /// reference/algorithms.md 7: mean 100, sd 10.
    #[test]
    fn mixed_distribution_of_the_reference() {
        let day = |q, p| FreezeOdds::published(Season::Spring, 100.0, 10.0, q).day(p);
        near(day(1.0, 0.1).unwrap(), 112.816, 6e-4);
        near(day(1.0, 0.5).unwrap(), 100.0, 1e-9);
        near(day(0.8, 0.1).unwrap(), 111.503, 6e-4);
        near(day(0.8, 0.5).unwrap(), 96.814, 6e-4);
        assert_eq!(day(0.8, 0.9), None);
        assert_eq!(day(0.0, 0.1), None);
    }

    /// The same section, and 6.4 for the plain sample quantile.
    #[test]
    fn quantiles_of_the_reference() {
        let sorted = [85.0, 92.0, 95.0, 99.0, 101.0, 104.0, 110.0, 113.0, 120.0];
        let odds = FreezeOdds::from_days(Season::Spring, 9, sorted.to_vec());
        near(
            odds.day_by(0.5, Reading::Empirical).unwrap().day_of_year,
            101.0,
            1e-9,
        );
        near(
            odds.day_by(0.1, Reading::Empirical).unwrap().day_of_year,
            120.0,
            1e-9,
        );
        assert!(
            odds.day_by(0.05, Reading::Empirical)
                .unwrap()
                .beyond_the_years
        );
        let sample = [
            96.2, 101.0, 103.4, 104.9, 107.7, 108.0, 110.3, 112.2, 115.0, 121.6,
        ];
        for (p, wanted) in [(0.1, 100.52), (0.5, 107.85), (0.9, 115.66)] {
            near(linear_quantile(&sample, p).unwrap(), wanted, 1e-9);
        }
        assert_eq!(linear_quantile(&[], 0.5), None);
        assert_eq!(plotting_position(&[], 0.5), None);
        assert_eq!(odds.day(f64::NAN), None);
    }

    #[test]
    fn whole_fahrenheit_in_tenths_is_met() {
        assert!(is_freeze(-2.2, threshold_c(28.0)), "28 °F is kept as -2.2");
        assert!(!is_freeze(-1.7, threshold_c(28.0)), "29 °F");
        assert!(is_freeze(-4.4, threshold_c(24.0)));
        assert!(is_freeze(0.0, threshold_c(32.0)));
        assert!(!is_freeze(0.03, threshold_c(32.0)));
        assert!(!is_freeze(f64::NAN, 0.0));
    }

    #[test]
    fn a_year_with_a_gap_is_left_out() {
        let first = NaiveDate::from_ymd_opt(2023, 1, 1).unwrap();
        let mut record = DailyRecord::unknown(first, 0);
        for day in 0..730 {
            let cold = !(100..300).contains(&(day % 365));
            record.push(Some(if cold { -5.0 } else { 5.0 }), Some(10.0), None);
        }
        for day in 40..46 {
            record.low_c.set(day, None);
        }
        let years = by_year(&record, 0.0, &Spans::default());
        assert_eq!(years.len(), 2);
        assert!(!years[0].spring_usable && years[1].spring_usable);
        assert_eq!(years[1].last_spring.unwrap().ordinal(), 100);
        assert_eq!(years[0].freeze_free_days(), None);
        assert_eq!(FreezeOdds::of(&years, Season::Spring).years(), 1);
        assert!(by_year(&DailyRecord::unknown(first, 0), 0.0, &Spans::default()).is_empty());
        assert_eq!(FreezeOdds::of(&[], Season::Autumn).day(0.5), None);
    }
}
