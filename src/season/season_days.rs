//! The days of one season and the heat that they bring.
//!
//! Days are counted in *season days*: day 0 is 1 January north of the equator
//! and 1 July south of it, the season is named by the year in which its
//! bloom falls. A season day with a fraction is an instant: "seen on day d"
//! is `d + 0.5`.

use super::chill::{DynamicModel, HourAt};
use super::degree_days::sine_excess;
use super::hourly_curve::each_day;
use crate::facts::weather::DailyRecord;
use chrono::{Datelike, Days, NaiveDate, TimeDelta};
use std::ops::Range;

/// Days of the season before its day 0: 1 August to 31 December.
pub const DAYS_BEFORE: usize = 153;

/// Days from day 0 on that are looked at: to early August.
pub const DAYS_AFTER: usize = 215;

/// All days of a season.
pub const SPAN: usize = DAYS_BEFORE + DAYS_AFTER;

/// Days from day 0 on that must be known for a season to count.
const DAYS_NEEDED: usize = 150;

/// Gaps of at most this many days are bridged by straight lines.
const GAP_BRIDGED: usize = 5;

/// The growing season of one year at one side of the equator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SeasonYear {
    /// The year in which bloom falls.
    pub year: i32,
    /// South of the equator, where day 0 is 1 July.
    pub southern: bool,
}

impl SeasonYear {
    /// The season of `year` at a latitude in degrees, north positive.
    pub fn at(year: i32, latitude_deg: f64) -> Self {
        SeasonYear {
            year,
            southern: latitude_deg < 0.0,
        }
    }

    /// Day 0.
    pub fn start(self) -> NaiveDate {
        let month = if self.southern { 7 } else { 1 };
        NaiveDate::from_ymd_opt(self.year, month, 1).unwrap_or_default()
    }

    /// The season day on which a date falls.
    pub fn day(self, date: NaiveDate) -> i64 {
        (date - self.start()).num_days()
    }

    /// The date of an instant, its day of the calendar.
    pub fn date(self, instant: f64) -> NaiveDate {
        let days = if instant.is_finite() {
            instant.floor().clamp(-400.0, 800.0) as i64
        } else {
            0
        };
        self.start()
            .checked_add_signed(TimeDelta::days(days))
            .unwrap_or_default()
    }

    /// The growing season that a day falls into: the calendar year north of
    /// the equator, July to June south of it, named by the year in which its
    /// bloom falls. Half a year of winter before the buds move, and the
    /// harvest after them, lie in one season.
    pub fn running(date: NaiveDate, latitude_deg: f64) -> Self {
        let southern = latitude_deg < 0.0;
        let before = southern && date.month() < 7;
        SeasonYear {
            year: date.year() - i32::from(before),
            southern,
        }
    }

    /// The season that a date belongs to: of its calendar year in the north;
    /// in the south of the year that began before the last 1 February.
    pub fn of(date: NaiveDate, southern: bool) -> Self {
        let year = if southern && date.month() == 1 {
            date.year() - 1
        } else {
            date.year()
        };
        SeasonYear { year, southern }
    }
}

/// A way of counting the heat of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heat {
    /// Degree days by single sine above a base, no upper threshold.
    DegreeDays {
        /// °C.
        base_c: f64,
    },
    /// Growth that rises by the same factor with every degree: the mean of
    /// `exp(rate (T - 10))` over a day's sine, times 5.
    Exponential {
        /// Per °C.
        rate: f64,
    },
    /// Degree days that count the more the more chill was received:
    /// weight `1 / (1 + exp(-s yc (y - yc) / y))` for `y` portions.
    ChillWeighted {
        /// °C.
        base_c: f64,
        /// Portions at which a half counts, `yc`.
        portions: f64,
        /// Sharpness of the change, `s`.
        sharpness: f64,
    },
}

impl Heat {
    /// The heat of a day from its extremes (°C, low not above high) and the
    /// chill received by its start (portions).
    pub fn of_day(self, low_c: f64, high_c: f64, portions: f64) -> f64 {
        match self {
            Heat::DegreeDays { base_c } => sine_excess(low_c, high_c, base_c),
            Heat::Exponential { rate } => exponential_heat(low_c, high_c, rate),
            Heat::ChillWeighted {
                base_c,
                portions: needed,
                sharpness,
            } => sine_excess(low_c, high_c, base_c) * chill_weight(portions, needed, sharpness),
        }
    }
}

/// Mean of `exp(rate (T - 10))` over a full sine through low and high, times
/// 5: `5 exp(rate (m - 10)) I0(rate a)` with mean m, half range a and the
/// modified Bessel function I0 (the sine's mean in closed form).
pub fn exponential_heat(low_c: f64, high_c: f64, rate: f64) -> f64 {
    let mean = 0.5 * (low_c + high_c);
    let half_range = 0.5 * (high_c - low_c).max(0.0);
    5.0 * (rate * (mean - 10.0)).exp() * bessel_i0(rate * half_range)
}

/// I0 by its power series, good for the small arguments met here.
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..30 {
        term *= quarter / f64::from(k * k);
        sum += term;
        if term < 1e-12 * sum {
            break;
        }
    }
    sum
}

/// The weight of heat after `portions` of chill; Luedeling and others 2021,
/// Agric. For. Meteorol. 307:108491 [citation from memory], equation read in
/// the authors' open code.
pub fn chill_weight(portions: f64, needed: f64, sharpness: f64) -> f64 {
    if portions <= 0.0 {
        return 0.0;
    }
    let exponent = sharpness * needed * (portions - needed) / portions;
    if exponent >= 17.0 {
        1.0
    } else if exponent <= -20.0 {
        0.0
    } else {
        1.0 / (1.0 + (-exponent).exp())
    }
}

/// The days of one season: extremes and the chill received by each morning.
#[derive(Clone, Debug, PartialEq)]
pub struct SeasonDays {
    /// Lowest temperatures, °C; NaN where not known.
    pub low_c: Vec<f64>,
    /// Highest temperatures, °C; NaN where not known.
    pub high_c: Vec<f64>,
    /// Chill portions since the season's first day, by the morning of each.
    pub portions: Vec<f64>,
}

impl SeasonDays {
    /// Cuts a season out of a record; `None` where they do not meet.
    pub fn of(record: &DailyRecord, chill: &DailyChill, season: SeasonYear) -> Option<Self> {
        let first = season
            .start()
            .checked_sub_days(Days::new(DAYS_BEFORE as u64))?;
        let offset = (first - record.first()).num_days();
        let mut days = SeasonDays {
            low_c: Vec::with_capacity(SPAN),
            high_c: Vec::with_capacity(SPAN),
            portions: Vec::with_capacity(SPAN),
        };
        let mut sum = 0.0;
        let mut known = false;
        for day in 0..SPAN as i64 {
            let index = usize::try_from(offset + day).ok();
            let low = index.and_then(|index| record.low_c.get(index));
            let high = index.and_then(|index| record.high_c.get(index));
            let (low, high) = match (low, high) {
                (Some(low), Some(high)) => (low.min(high), low.max(high)),
                _ => (f64::NAN, f64::NAN),
            };
            known |= low.is_finite();
            days.low_c.push(low);
            days.high_c.push(high);
            days.portions.push(sum);
            sum += chill.on(index, || first + TimeDelta::days(day));
        }
        known.then_some(days)
    }

    /// Whether days 0 to 149 are all known.
    pub fn complete(&self) -> bool {
        self.low_c
            .iter()
            .skip(DAYS_BEFORE)
            .take(DAYS_NEEDED)
            .all(|low| low.is_finite())
    }

    /// Running sum of a kind of heat through each day; unknown days add
    /// nothing.
    pub fn running(&self, heat: Heat) -> Vec<f64> {
        let mut sums = Vec::with_capacity(SPAN);
        self.run_on(heat, 0..SPAN, &mut sums);
        sums
    }

    /// Degree days of each day above a base, °C; none on unknown days.
    pub fn excess(&self, base_c: f64) -> Vec<f64> {
        let days = self.low_c.iter().zip(&self.high_c);
        days.map(|(&low, &high)| {
            if low.is_finite() && high.is_finite() {
                sine_excess(low, high, base_c)
            } else {
                0.0
            }
        })
        .collect()
    }

    /// Goes on with running sums over a span of days.
    pub fn run_on(&self, heat: Heat, span: Range<usize>, sums: &mut Vec<f64>) {
        let mut sum = sums.last().copied().unwrap_or(0.0);
        let days = self.low_c.iter().zip(&self.high_c).zip(&self.portions);
        for ((&low, &high), &portions) in days.skip(span.start).take(span.len()) {
            if low.is_finite() && high.is_finite() {
                sum += heat.of_day(low, high, portions);
            }
            sums.push(sum);
        }
    }
}

/// The instant at which a running sum, counted from a season day on, reaches
/// a need; `None` if it never does. A need of nothing is met at the start.
///
/// `running` holds the sum through each day of the season, see
/// [`SeasonDays::running`].
pub fn crossing(running: &[f64], start: i32, need: f64) -> Option<f64> {
    let first = usize::try_from(start + DAYS_BEFORE as i32).ok()?;
    if need <= 0.0 {
        return Some(f64::from(start));
    }
    let before = match first.checked_sub(1) {
        Some(index) => *running.get(index)?,
        None => 0.0,
    };
    let target = before + need;
    let rest = running.get(first..)?;
    let index = rest.partition_point(|&sum| sum < target);
    let here = *rest.get(index)?;
    let last = match index.checked_sub(1) {
        Some(previous) => *rest.get(previous)?,
        None => before,
    };
    let part = ((target - last) / (here - last)).clamp(0.0, 0.999_999);
    Some(f64::from(start) + index as f64 + part)
}

/// The record with short gaps bridged by straight lines; longer ones stay.
pub fn bridged(record: &DailyRecord) -> DailyRecord {
    let mut filled = record.clone();
    for column in [&mut filled.low_c, &mut filled.high_c] {
        let mut last: Option<(usize, f64)> = None;
        for index in 0..column.len() {
            let Some(here) = column.get(index) else {
                continue;
            };
            if let Some((from, value)) = last {
                let gap = index - from - 1;
                if (1..=GAP_BRIDGED).contains(&gap) {
                    for step in 1..=gap {
                        let share = step as f64 / (gap + 1) as f64;
                        column.set(from + step, Some(value + share * (here - value)));
                    }
                }
            }
            last = Some((index, here));
        }
    }
    filled
}

/// Chill portions gained on each day, by the dynamic model on the hourly
/// curve; where the record is silent, what its other years gained on that
/// day of the year.
#[derive(Clone, Debug)]
pub struct DailyChill {
    gained: Vec<Option<f32>>,
    usual: Vec<f64>,
}

impl DailyChill {
    /// Works through a record at a latitude, degrees north.
    pub fn new(record: &DailyRecord, latitude_deg: f64) -> Self {
        let mut model = DynamicModel::default();
        let mut gained = Vec::with_capacity(record.len());
        let mut sums = vec![(0.0, 0.0f64); 366];
        let mut date = record.first();
        each_day(record, latitude_deg, |hours| {
            gained.push(hours.map(|hours| {
                let before = model.portions();
                for &hour in hours {
                    model.step_at(&HourAt::new(hour));
                }
                let gain = model.portions() - before;
                if let Some(slot) = sums.get_mut(date.ordinal0() as usize) {
                    *slot = (slot.0 + gain, slot.1 + 1.0);
                }
                gain as f32
            }));
            date = date.succ_opt().unwrap_or(date);
        });
        let usual = sums
            .iter()
            .map(|(sum, days)| if *days > 0.0 { sum / days } else { 0.0 })
            .collect();
        DailyChill { gained, usual }
    }

    /// Portions gained on a day that is `index` in the record, if it is.
    fn on(&self, index: Option<usize>, date: impl FnOnce() -> NaiveDate) -> f64 {
        index
            .and_then(|index| self.gained.get(index).copied().flatten())
            .map_or_else(
                || {
                    let day = date().ordinal0() as usize;
                    self.usual.get(day).copied().unwrap_or(0.0)
                },
                f64::from,
            )
    }

    /// Portions of a usual winter, from the season's first day to its day 90;
    /// 100 where nothing is known.
    pub(super) fn of_a_winter(&self, southern: bool) -> f64 {
        let season = SeasonYear {
            year: 2001,
            southern,
        };
        let sum: f64 = (-(DAYS_BEFORE as i64)..90)
            .map(|day| self.on(None, || season.date(day as f64)))
            .sum();
        if sum > 1.0 { sum } else { 100.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Algorithms 5.1: 5 a day from day 41, met at the end of day 100 or
    /// within it.
    #[test]
    fn crossings() {
        let running: Vec<f64> = (0..SPAN)
            .map(|index| (index as f64 - DAYS_BEFORE as f64 - 40.0).max(0.0) * 5.0)
            .collect();
        let cross = |need| crossing(&running, 41, need);
        assert!((cross(300.0).unwrap() - 100.999_999).abs() < 1e-9);
        assert!((cross(298.0).unwrap() - 100.6).abs() < 1e-9);
        assert_eq!(cross(0.0), Some(41.0));
        assert_eq!(cross(1e9), None);
        assert_eq!(crossing(&running, i32::MIN / 2, 5.0), None);
    }

    /// Algorithms 5.2: yc 40, s1 0.5.
    #[test]
    fn weights_by_chill() {
        for (y, wanted) in [
            (0.0, 0.0),
            (20.0, 0.0),
            (38.0, 0.258_720),
            (40.0, 0.5),
            (42.0, 0.721_594),
            (60.0, 0.998_729),
        ] {
            let got = chill_weight(y, 40.0, 0.5);
            assert!((got - wanted).abs() < 5e-5, "{y}: {got} {wanted}");
        }
    }

    /// Abramowitz & Stegun 1964, table 9.8: I0(1) = 1.2660658778,
    /// I0(2) = 2.2795853023; and the mean over the sine by midpoints.
    #[test]
    fn exponential_heat_is_the_mean_over_the_sine() {
        assert!((bessel_i0(1.0) - 1.266_065_877_8).abs() < 1e-9);
        assert!((bessel_i0(2.0) - 2.279_585_302_3).abs() < 1e-9);
        let (low, high, rate) = (-3.0, 14.0, 0.12);
        let steps = 10_000;
        let mean = (0..steps)
            .map(|k| {
                let phase = (k as f64 + 0.5) / steps as f64 * std::f64::consts::TAU;
                let t = 0.5 * (low + high) + 0.5 * (high - low) * phase.sin();
                5.0 * f64::exp(rate * (t - 10.0))
            })
            .sum::<f64>()
            / steps as f64;
        assert!((exponential_heat(low, high, rate) - mean).abs() < 1e-6);
    }

    #[test]
    fn seasons_by_the_side_of_the_equator() {
        let date = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).unwrap();
        let north = SeasonYear::at(2024, 40.0);
        assert_eq!(north.day(date(2024, 3, 1)), 60, "a leap year");
        assert_eq!(north.date(60.9), date(2024, 3, 1));
        let south = SeasonYear::at(2024, -35.0);
        assert_eq!(south.day(date(2024, 9, 28)), 89);
        assert_eq!(SeasonYear::of(date(2025, 1, 15), true), south);
        assert_eq!(SeasonYear::of(date(2024, 9, 28), true), south);
        assert_eq!(north.date(f64::NAN), date(2024, 1, 1));
    }

    #[test]
    fn short_gaps_are_bridged_and_long_ones_stay() {
        let first = NaiveDate::from_ymd_opt(2023, 1, 1).unwrap();
        let mut record = DailyRecord::unknown(first, 20);
        for (index, low) in [(0, 0.0), (6, 6.0), (13, 0.0)] {
            record.low_c.set(index, Some(low));
        }
        let filled = bridged(&record);
        assert_eq!(filled.low_c.get(3), Some(3.0));
        assert_eq!(filled.low_c.get(9), None, "six days are too many");
    }
}
