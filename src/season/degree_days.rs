//! Degree days: the heat of a day above a lower threshold.
//!
//! A figure in print holds only with the method it was made with, so every
//! sum goes through a [`HeatRule`]. All temperatures in °C, all sums in °C
//! days (degrees Fahrenheit times 5/9).
//!
//! Sources: Baskerville & Emin 1969, Ecology 50:514-517 (sine); Sevacherian
//! and others 1977, J. Econ. Entomol. 70:399-402 (triangle); Zalom and others
//! 1983, Univ. California leaflet 21373 (cut-offs and cases); Roltsch and
//! others 1999, Int. J. Biometeorol. 42:169-176.

use crate::facts::knowledge::{Cutoff, DegreeDayMethod, HeatRule};
use crate::facts::weather::{Column, DailyRecord};
use chrono::NaiveDate;
use std::f64::consts::{FRAC_PI_2, PI};
use std::fmt;

/// Why a [`HeatRule`] cannot be used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RuleError {
    /// The upper threshold is not above the lower one, °C.
    UpperNotAbove {
        /// Lower threshold, °C.
        base_c: f64,
        /// Upper threshold, °C.
        upper_c: f64,
    },
    /// A threshold is not a number.
    NotFinite,
}

impl fmt::Display for RuleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RuleError::UpperNotAbove { base_c, upper_c } => write!(
                f,
                "the upper threshold {upper_c} °C is not above the lower threshold {base_c} °C"
            ),
            RuleError::NotFinite => f.write_str("a threshold is not a number"),
        }
    }
}

impl std::error::Error for RuleError {}

/// A rule whose thresholds were checked: the only way to a sum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DegreeDays {
    rule: HeatRule,
}

/// The heat of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayHeat {
    /// °C days.
    pub heat: f64,
    /// A double method had no next low and fell back on the single one.
    pub provisional: bool,
}

/// A sum over days.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeatSum {
    /// °C days.
    pub heat: f64,
    /// Days that went into it.
    pub days: usize,
    /// Days of the span that are not known.
    pub missing: usize,
    /// The last known day was worked out without its next low.
    pub provisional: bool,
}

/// Where heat sums cross a need; see [`DegreeDays::crossing`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// The day on which the need is met.
    pub date: NaiveDate,
    /// Share of that day's heat that was needed, 0 to 0.999999.
    pub part: f64,
    /// Sum through that day, °C days.
    pub heat: f64,
    /// Days on the way that are not known.
    pub missing: usize,
}

impl DegreeDays {
    /// Checks a rule.
    ///
    /// # Errors
    /// [`RuleError`] when a threshold is not a number or the upper one is not
    /// above the lower.
    pub fn by(rule: HeatRule) -> Result<Self, RuleError> {
        if !rule.base_c.is_finite() || rule.upper_c.is_some_and(|upper| !upper.is_finite()) {
            return Err(RuleError::NotFinite);
        }
        match rule.upper_c {
            Some(upper_c) if upper_c <= rule.base_c => Err(RuleError::UpperNotAbove {
                base_c: rule.base_c,
                upper_c,
            }),
            _ => Ok(DegreeDays { rule }),
        }
    }

    /// The rule.
    pub fn rule(&self) -> HeatRule {
        self.rule
    }

    /// The method that is used: a figure whose source tells none is taken by
    /// simple average, and whoever shows it says so.
    pub fn method(&self) -> DegreeDayMethod {
        match self.rule.method {
            DegreeDayMethod::NotStated => DegreeDayMethod::SimpleAverage,
            told => told,
        }
    }

    /// Heat of one day from its extremes, °C; `None` when one is unknown or
    /// not finite. A low above the high is swapped. The double methods need
    /// the next day's low; without it the single method stands in and the day
    /// is provisional.
    pub fn day(&self, low_c: f64, high_c: f64, next_low_c: Option<f64>) -> Option<DayHeat> {
        if !(low_c.is_finite() && high_c.is_finite()) {
            return None;
        }
        let next_low_c = next_low_c.filter(|low| low.is_finite());
        let (low, high) = sorted(low_c, high_c);
        let method = self.method();
        let double = matches!(
            method,
            DegreeDayMethod::DoubleSine | DegreeDayMethod::DoubleTriangle
        );
        let heat = match (double, next_low_c) {
            (true, Some(next)) => {
                let (next_low, next_high) = sorted(next, high);
                0.5 * (self.single(method, low, high) + self.single(method, next_low, next_high))
            }
            _ => self.single(method, low, high),
        };
        // The intermediate cut-off can take off more than there was.
        let heat = heat.max(0.0);
        Some(DayHeat {
            heat,
            provisional: double && next_low_c.is_none(),
        })
    }

    /// One day by the single method that belongs to `method`; `low <= high`.
    fn single(&self, method: DegreeDayMethod, low: f64, high: f64) -> f64 {
        let base = self.rule.base_c;
        match method {
            DegreeDayMethod::SimpleAverage | DegreeDayMethod::NotStated => {
                self.rate(0.5 * (low + high))
            }
            DegreeDayMethod::ClampedAverage => {
                let clamp = |value: f64| {
                    let value = value.max(base);
                    self.rule.upper_c.map_or(value, |upper| value.min(upper))
                };
                0.5 * (clamp(low) + clamp(high)) - base
            }
            DegreeDayMethod::SingleSine | DegreeDayMethod::DoubleSine => {
                self.cut(low, high, sine_excess, sine_time_above)
            }
            DegreeDayMethod::SingleTriangle | DegreeDayMethod::DoubleTriangle => {
                self.cut(low, high, triangle_excess, triangle_time_above)
            }
        }
    }

    /// The cut-off applied to a curve with its mean excess and time above a
    /// threshold; may be below 0.
    fn cut(
        &self,
        low: f64,
        high: f64,
        excess: fn(f64, f64, f64) -> f64,
        time_above: fn(f64, f64, f64) -> f64,
    ) -> f64 {
        let base = self.rule.base_c;
        let above_base = excess(low, high, base);
        let Some(upper) = self.rule.upper_c else {
            return above_base;
        };
        let above_upper = excess(low, high, upper);
        match self.rule.cutoff {
            Cutoff::Horizontal => above_base - above_upper,
            Cutoff::Intermediate => above_base - 2.0 * above_upper,
            Cutoff::Vertical => {
                let lost = (upper - base) * time_above(low, high, upper);
                above_base - above_upper - lost
            }
        }
    }

    /// The rate at one temperature, °C above the base with the cut-off
    /// applied; 0 below the base. Not a number in, not a number out.
    pub fn rate(&self, temperature_c: f64) -> f64 {
        let base = self.rule.base_c;
        let over = temperature_c - base;
        if over <= 0.0 {
            return 0.0;
        }
        match self.rule.upper_c {
            Some(upper) if temperature_c > upper => match self.rule.cutoff {
                Cutoff::Horizontal => upper - base,
                Cutoff::Intermediate => (2.0 * upper - base - temperature_c).max(0.0),
                Cutoff::Vertical => 0.0,
            },
            _ => over,
        }
    }

    /// Heat of a day from its hours, °C, unknown ones NaN. A day counts with
    /// at least 20 of 24 hours known and no gap over 3 h; gaps are filled by
    /// straight lines, at the ends by the nearest hour. `None` otherwise.
    pub fn hours(&self, hours_c: &[f64]) -> Option<f64> {
        const MOST_GAP: usize = 3;
        let len = hours_c.len();
        let known = hours_c.iter().filter(|value| value.is_finite()).count();
        if known == 0 || known * 24 < len * 20 {
            return None;
        }
        let mut sum = 0.0;
        let mut before: Option<(usize, f64)> = None;
        for (hour, &here) in hours_c.iter().enumerate() {
            if !here.is_finite() {
                continue;
            }
            let gap = before.map_or(hour, |(at, _)| hour - at - 1);
            if gap > MOST_GAP {
                return None;
            }
            let start = before.map_or(here, |(_, value)| value);
            for step in 1..=gap {
                let share = step as f64 / (gap + 1) as f64;
                sum += self.rate(start + share * (here - start));
            }
            sum += self.rate(here);
            before = Some((hour, here));
        }
        let (last, value) = before?;
        let gap = len - last - 1;
        if gap > MOST_GAP {
            return None;
        }
        Some((sum + gap as f64 * self.rate(value)) / len as f64)
    }

    /// Heat of every whole day in a column of hours that begins at midnight,
    /// °C; see [`DegreeDays::hours`].
    pub fn daily_from_hours(&self, hours_c: &Column) -> Vec<Option<f64>> {
        let mut day = [f64::NAN; 24];
        (0..hours_c.len() / 24)
            .map(|index| {
                for (hour, slot) in day.iter_mut().enumerate() {
                    *slot = hours_c.get(index * 24 + hour).unwrap_or(f64::NAN);
                }
                self.hours(&day)
            })
            .collect()
    }

    /// Heat of each day of a record; `None` where the day is not known.
    pub fn daily(&self, record: &DailyRecord) -> Vec<Option<f64>> {
        (0..record.len())
            .map(|index| self.day_of(record, index).map(|day| day.heat))
            .collect()
    }

    /// Heat of the day at an index of a record.
    pub fn day_of(&self, record: &DailyRecord, index: usize) -> Option<DayHeat> {
        self.day(
            record.low_c.get(index)?,
            record.high_c.get(index)?,
            record.low_c.get(index + 1),
        )
    }

    /// Sum over the days `from..=to`. Days outside the record count as
    /// missing; an empty span gives an empty sum.
    pub fn sum(&self, record: &DailyRecord, from: NaiveDate, to: NaiveDate) -> HeatSum {
        let mut sum = HeatSum::default();
        for (_, index) in span(record, from, to) {
            match index.and_then(|index| self.day_of(record, index)) {
                Some(day) => {
                    sum.heat += day.heat;
                    sum.days += 1;
                    sum.provisional = day.provisional;
                }
                None => sum.missing += 1,
            }
        }
        sum
    }

    /// The first day, from `from` on, through which the sum reaches `need`
    /// (°C days). A need of 0 or less is met at once; a need that the record
    /// never reaches gives `None`, as does a need that is not a number.
    ///
    /// Unknown days add nothing and are counted, so a crossing behind them may
    /// be late.
    pub fn crossing(&self, record: &DailyRecord, from: NaiveDate, need: f64) -> Option<Crossing> {
        if need.is_nan() {
            return None;
        }
        if need <= 0.0 {
            return Some(Crossing {
                date: from,
                part: 0.0,
                heat: 0.0,
                missing: 0,
            });
        }
        let (mut heat, mut missing) = (0.0, 0);
        for (date, index) in span(record, from, record.last()?) {
            match index.and_then(|index| self.day_of(record, index)) {
                Some(day) if heat + day.heat >= need => {
                    return Some(Crossing {
                        date,
                        part: ((need - heat) / day.heat).clamp(0.0, 0.999_999),
                        heat: heat + day.heat,
                        missing,
                    });
                }
                Some(day) => heat += day.heat,
                None => missing += 1,
            }
        }
        None
    }
}

/// The days `from..=to` with their index in the record. The span is cut to
/// one century, so that a slip in a date cannot hold the program up.
fn span(
    record: &DailyRecord,
    from: NaiveDate,
    to: NaiveDate,
) -> impl Iterator<Item = (NaiveDate, Option<usize>)> + '_ {
    from.iter_days()
        .take(36_525)
        .take_while(move |date| *date <= to)
        .map(|date| (date, record.index(date)))
}

fn sorted(a: f64, b: f64) -> (f64, f64) {
    if a > b { (b, a) } else { (a, b) }
}

/// Mean excess over a threshold of a full sine through low and high, °C
/// (`low_c <= high_c`). Baskerville & Emin 1969.
pub fn sine_excess(low_c: f64, high_c: f64, threshold_c: f64) -> f64 {
    if threshold_c >= high_c {
        return 0.0;
    }
    let mean = 0.5 * (low_c + high_c);
    if threshold_c <= low_c {
        return mean - threshold_c;
    }
    let half_range = 0.5 * (high_c - low_c);
    let sin = ((threshold_c - mean) / half_range).clamp(-1.0, 1.0);
    let phase = sin.asin();
    let cos = (1.0 - sin * sin).max(0.0).sqrt();
    ((mean - threshold_c) * (FRAC_PI_2 - phase) + half_range * cos) / PI
}

/// Share of the day above a threshold on the same sine, 0 to 1.
pub fn sine_time_above(low_c: f64, high_c: f64, threshold_c: f64) -> f64 {
    if threshold_c >= high_c {
        return 0.0;
    }
    if threshold_c <= low_c {
        return 1.0;
    }
    let mean = 0.5 * (low_c + high_c);
    let half_range = 0.5 * (high_c - low_c);
    let sin = ((threshold_c - mean) / half_range).clamp(-1.0, 1.0);
    (FRAC_PI_2 - sin.asin()) / PI
}

/// Mean excess over a threshold of straight lines from low to high and back,
/// °C (`low_c <= high_c`). Sevacherian and others 1977.
pub fn triangle_excess(low_c: f64, high_c: f64, threshold_c: f64) -> f64 {
    if threshold_c >= high_c {
        return 0.0;
    }
    if threshold_c <= low_c {
        return 0.5 * (low_c + high_c) - threshold_c;
    }
    let over = high_c - threshold_c;
    0.5 * over * over / (high_c - low_c)
}

/// Share of the day above a threshold on the same lines, 0 to 1.
pub fn triangle_time_above(low_c: f64, high_c: f64, threshold_c: f64) -> f64 {
    if threshold_c >= high_c {
        return 0.0;
    }
    if threshold_c <= low_c {
        return 1.0;
    }
    (high_c - threshold_c) / (high_c - low_c)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::weather::Day;

    fn rule(method: DegreeDayMethod, base: f64, upper: Option<f64>, cutoff: Cutoff) -> DegreeDays {
        DegreeDays::by(HeatRule {
            method,
            base_c: base,
            upper_c: upper,
            cutoff,
        })
        .unwrap()
    }

    fn heat(rule: DegreeDays, low: f64, high: f64, next: Option<f64>) -> f64 {
        rule.day(low, high, next).unwrap().heat
    }

    fn near(value: f64, wanted: f64, within: f64) {
        assert!(
            (value - wanted).abs() <= within,
            "{value} instead of {wanted}"
        );
    }

    /// reference/algorithms.md 1.5: L = 10, U = 30; two routes agree there.
    #[test]
    fn six_cases_and_their_edges() {
        use Cutoff::*;
        use DegreeDayMethod::*;
        #[rustfmt::skip]
        let rows = [
            (2.0, 8.0, 0.0, 0.0, [0.0; 4], [0.0; 4]),
            (32.0, 38.0, 25.0, 20.0, [25.0, 20.0, 15.0, 0.0], [25.0, 20.0, 15.0, 0.0]),
            (12.0, 28.0, 10.0, 10.0, [10.0; 4], [10.0; 4]),
            (5.0, 20.0, 2.5, 5.0, [3.7712; 4], [3.3333; 4]),
            (15.0, 35.0, 15.0, 12.5, [15.0, 13.9100, 12.8200, 7.2434], [15.0, 14.375, 13.75, 9.375]),
            (5.0, 35.0, 10.0, 10.0, [10.8816, 10.0, 9.1184, 4.6456], [10.4167, 10.0, 9.5833, 6.6667]),
            (10.0, 30.0, 10.0, 10.0, [10.0; 4], [10.0; 4]),
            (15.0, 15.0, 5.0, 5.0, [5.0; 4], [5.0; 4]),
            (10.0, 10.0, 0.0, 0.0, [0.0; 4], [0.0; 4]),
            (5.0, 10.0, 0.0, 0.0, [0.0; 4], [0.0; 4]),
            (28.0, 60.0, 34.0, 19.0, [34.0, 19.7864, 5.5729, 3.0037], [34.0, 19.9375, 5.875, 1.1875]),
        ];
        for (low, high, average, clamped, sine, triangle) in rows {
            let plain = rule(SimpleAverage, 10.0, None, Horizontal);
            near(heat(plain, low, high, None), average, 1e-9);
            let corrected = rule(ClampedAverage, 10.0, Some(30.0), Horizontal);
            near(heat(corrected, low, high, None), clamped, 1e-9);
            for (method, wanted) in [(SingleSine, sine), (SingleTriangle, triangle)] {
                let none = rule(method, 10.0, None, Horizontal);
                near(heat(none, low, high, None), wanted[0], 5e-5);
                for (cutoff, wanted) in [Horizontal, Intermediate, Vertical]
                    .into_iter()
                    .zip(&wanted[1..])
                {
                    let cut = rule(method, 10.0, Some(30.0), cutoff);
                    near(heat(cut, low, high, None), *wanted, 5e-5);
                }
            }
        }
    }

    /// reference/algorithms.md after the table of 1.6.
    #[test]
    fn double_methods_look_at_the_next_low() {
        use DegreeDayMethod::*;
        let sine = rule(DoubleSine, 10.0, Some(30.0), Cutoff::Horizontal);
        near(heat(sine, 5.0, 20.0, Some(12.0)), 4.8856, 5e-5);
        let triangle = rule(DoubleTriangle, 10.0, Some(30.0), Cutoff::Horizontal);
        near(heat(triangle, 5.0, 20.0, Some(12.0)), 4.6667, 5e-5);
        let last = sine.day(5.0, 20.0, None).unwrap();
        assert!(last.provisional, "no next low");
        near(last.heat, 3.7712, 5e-5);
        // The next low above today's high: the pair is sorted.
        let first_half = heat(sine, 5.0, 11.0, Some(5.0));
        near(
            heat(sine, 5.0, 11.0, Some(12.0)),
            0.5 * (first_half + 1.5),
            1e-12,
        );
    }

    #[test]
    fn a_bad_rule_and_a_bad_day_are_told_apart() {
        let rule = |base_c, upper_c| {
            DegreeDays::by(HeatRule {
                method: DegreeDayMethod::SingleSine,
                base_c,
                upper_c,
                cutoff: Cutoff::Horizontal,
            })
        };
        assert!(matches!(
            rule(10.0, Some(10.0)),
            Err(RuleError::UpperNotAbove { .. })
        ));
        assert_eq!(rule(f64::NAN, None), Err(RuleError::NotFinite));
        let sine = rule(10.0, None).unwrap();
        assert_eq!(sine.day(f64::NAN, 20.0, None), None);
        assert_eq!(sine.day(5.0, f64::INFINITY, None), None);
        near(heat(sine, 20.0, 5.0, None), 3.7712, 5e-5);
    }

    /// reference/algorithms.md 2.3 gives the hours, 1.7 their sum at base 10.
    #[test]
    fn hours_of_a_day_of_5_to_20_degrees() {
        let hours = [
            6.334, 6.022, 5.750, 5.508, 5.290, 5.092, 6.397, 9.116, 11.695, 14.046, 16.090, 17.756,
            18.988, 19.745, 20.000, 19.745, 18.988, 17.756, 16.090, 13.951, 12.485, 11.521, 10.801,
            10.227,
        ];
        let plain = rule(DegreeDayMethod::SingleSine, 10.0, None, Cutoff::Horizontal);
        let whole = plain.hours(&hours).unwrap();
        near(
            whole,
            hours.iter().map(|t: &f64| (t - 10.0).max(0.0)).sum::<f64>() / 24.0,
            1e-12,
        );
        let mut gaps = hours;
        gaps[12] = f64::NAN;
        near(plain.hours(&gaps).unwrap(), whole, 0.02);
        for hour in [9, 10, 11] {
            gaps[hour] = f64::NAN;
        }
        assert_eq!(plain.hours(&gaps), None, "four hours in a row");
        assert_eq!(plain.hours(&[]), None);
    }

    /// reference/algorithms.md 5.1: 5 °C days a day from day 41 on.
    #[test]
    fn crossing_of_a_need() {
        let first = NaiveDate::from_ymd_opt(2025, 2, 10).unwrap();
        let days: Vec<Day> = (0..80)
            .map(|n| Day {
                date: first + chrono::Days::new(n),
                low_c: Some(15.0),
                high_c: Some(15.0),
                rain_mm: None,
            })
            .collect();
        let record = DailyRecord::from_days(&days).unwrap();
        let plain = rule(DegreeDayMethod::SingleSine, 10.0, None, Cutoff::Horizontal);
        let day_of = |need| {
            plain
                .crossing(&record, first, need)
                .map(|c| ((c.date - first).num_days() + 41, c.part))
        };
        assert_eq!(day_of(300.0), Some((100, 0.999_999)));
        let (day, part) = day_of(298.0).unwrap();
        assert_eq!(day, 100);
        near(part, 0.6, 1e-9);
        assert_eq!(day_of(0.0), Some((41, 0.0)));
        assert_eq!(day_of(1e9), None);
        assert_eq!(day_of(f64::NAN), None);
    }
}
