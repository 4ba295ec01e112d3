//! What a cold night does to flower buds.
//!
//! The tables give the temperatures that kill a tenth and nine tenths of the
//! buds in 30 minutes at the bud; a logistic curve runs through both. They
//! are good to a couple of degrees Fahrenheit for a given cultivar. Nothing is
//! told for a stage outside the published ones. Temperatures in °C, kills as
//! shares from 0 to 1.

use super::normal;
use crate::facts::knowledge::CriticalTemperature;

/// A missing 90 % figure is taken this far below the 10 % one: 3 °F, in K.
const MISSING_90_BELOW_K: f64 = 3.0 / 1.8;

/// Spread of forecast minima by lead, 1 to 6 days, K: an assumption until the
/// place has stored forecasts of its own to compare.
const FORECAST_SPREAD_K: [f64; 6] = [1.5, 1.8, 2.0, 2.3, 2.6, 3.0];

/// The spread of a forecast low so many days after its day of issue, K: an old
/// forecast of the coming night is as unsure as a new one of a later night.
pub fn spread_at(lead_days: i64) -> f64 {
    let at = usize::try_from(lead_days.max(1) - 1).unwrap_or(0);
    let [.., widest] = FORECAST_SPREAD_K;
    FORECAST_SPREAD_K.get(at).copied().unwrap_or(widest)
}

/// Temperatures that kill 10 and 90 % at one stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Critical {
    kill_10_c: f64,
    kill_90_c: f64,
    assumed: bool,
}

impl Critical {
    /// From the two figures; a missing 90 % figure is taken 3 °F below the
    /// other and marked. `None` when they are not finite or when the 90 %
    /// figure is the warmer one, which no table can mean.
    pub fn new(kill_10_c: f64, kill_90_c: Option<f64>) -> Option<Self> {
        let assumed = kill_90_c.is_none();
        let kill_90_c = kill_90_c.unwrap_or(kill_10_c - MISSING_90_BELOW_K);
        (kill_10_c.is_finite() && kill_90_c.is_finite() && kill_10_c >= kill_90_c).then_some(
            Critical {
                kill_10_c,
                kill_90_c,
                assumed,
            },
        )
    }

    /// From a row of the knowledge.
    pub fn from_row(row: &CriticalTemperature) -> Option<Self> {
        Critical::new(row.kill_10_c, row.kill_90_c)
    }

    /// Temperature that kills a tenth, °C.
    pub fn kill_10_c(&self) -> f64 {
        self.kill_10_c
    }

    /// Temperature that kills nine tenths, °C.
    pub fn kill_90_c(&self) -> f64 {
        self.kill_90_c
    }

    /// Whether the 90 % figure is assumed, not published.
    pub fn is_assumed(&self) -> bool {
        self.assumed
    }

    /// Share killed by a night with this lowest temperature at the bud.
    ///
    /// Logistic through both points; a step where they are one. Drawn in to
    /// -60..20 °C; not a number kills nothing.
    pub fn kill(&self, low_c: f64) -> f64 {
        if low_c.is_nan() {
            return 0.0;
        }
        let low_c = low_c.clamp(-60.0, 20.0);
        let width = self.kill_10_c - self.kill_90_c;
        if width <= 0.0 {
            return if low_c <= self.kill_90_c { 1.0 } else { 0.0 };
        }
        let logit = 9f64.ln() * (2.0 * low_c - self.kill_10_c - self.kill_90_c) / width;
        1.0 / (1.0 + logit.exp())
    }

    /// The temperature at which this share is killed, °C; `None` unless
    /// `0 < share < 1`.
    pub fn temperature_for(&self, share: f64) -> Option<f64> {
        (share > 0.0 && share < 1.0).then(|| {
            let middle = 0.5 * (self.kill_10_c + self.kill_90_c);
            let width = self.kill_10_c - self.kill_90_c;
            middle + 0.5 * width * ((1.0 - share) / share).ln() / 9f64.ln()
        })
    }

    /// The straight-line rule of the FAO estimator (Snyder & Melo-Abreu 2005,
    /// Frost protection, vol. 2), for comparison.
    pub fn kill_straight(&self, low_c: f64) -> f64 {
        let width = self.kill_10_c - self.kill_90_c;
        if width <= 0.0 || low_c.is_nan() {
            return self.kill(low_c);
        }
        (0.1 + 0.8 * (self.kill_10_c - low_c) / width).clamp(0.0, 1.0)
    }

    /// Between two stages: both figures in straight lines by the share of the
    /// way between them that is done, 0 to 1.
    pub fn towards(&self, next: &Critical, share: f64) -> Critical {
        let share = if share.is_nan() {
            0.0
        } else {
            share.clamp(0.0, 1.0)
        };
        Critical {
            kill_10_c: self.kill_10_c + share * (next.kill_10_c - self.kill_10_c),
            kill_90_c: self.kill_90_c + share * (next.kill_90_c - self.kill_90_c),
            assumed: self.assumed || next.assumed,
        }
    }
}

/// The toll of several nights.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Toll {
    /// Worst single night: the same weak buds die each time. This is told.
    pub worst_night: f64,
    /// Were every night's kill independent: an upper bound.
    pub at_most: f64,
}

impl Toll {
    /// From the kill of each night.
    pub fn of(kills: impl IntoIterator<Item = f64>) -> Self {
        let mut left = 1.0;
        let mut worst: f64 = 0.0;
        for kill in kills {
            if kill.is_finite() {
                let kill = kill.clamp(0.0, 1.0);
                left *= 1.0 - kill;
                worst = worst.max(kill);
            }
        }
        Toll {
            worst_night: worst,
            at_most: 1.0 - left,
        }
    }
}

/// What a forecast night may do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NightAhead {
    /// Expected share killed.
    pub expected: f64,
    /// Probability of a tenth or more.
    pub tenth: f64,
    /// Probability of half or more.
    pub half: f64,
}

impl NightAhead {
    /// For a forecast minimum at the bud (°C, the site's offset added) and its
    /// spread (K). `None` when either is not finite or the spread negative.
    pub fn of(critical: &Critical, low_c: f64, spread_k: f64) -> Option<Self> {
        if !(low_c.is_finite() && spread_k.is_finite() && spread_k >= 0.0) {
            return None;
        }
        Some(NightAhead {
            expected: expected_kill(critical, low_c, spread_k),
            tenth: chance_of(critical, low_c, spread_k, 0.1),
            half: chance_of(critical, low_c, spread_k, 0.5),
        })
    }
}

/// Mean kill over a normally spread forecast minimum, by trapezoids of a
/// quarter of a spread out to five spreads: a few quantiles would miss the
/// cold tail, which is what kills on most nights.
pub fn expected_kill(critical: &Critical, low_c: f64, spread_k: f64) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for step in -20..=20 {
        let z = 0.25 * f64::from(step);
        let weight = (-0.5 * z * z).exp();
        sum += weight * critical.kill(low_c + spread_k * z);
        weights += weight;
    }
    sum / weights
}

/// Probability that at least this share is killed.
pub fn chance_of(critical: &Critical, low_c: f64, spread_k: f64, share: f64) -> f64 {
    let Some(limit_c) = critical.temperature_for(share) else {
        return if share <= 0.0 { 1.0 } else { 0.0 };
    };
    if spread_k <= 0.0 {
        return if low_c <= limit_c + 1e-9 { 1.0 } else { 0.0 };
    }
    normal::share_below((limit_c - low_c) / spread_k)
}

/// Share of a full crop that is left, 0 to 1: blossoms left against the share
/// of blossoms that makes a full crop (apple, pear, peach 0.10 to 0.15, cherry
/// well over 0.5; Murray 2011, Utah State Univ. IPM-012-11). Never a reason to
/// say "no loss": the share of blossoms is told beside it.
pub fn crop_left(kill: f64, blossoms_needed: f64) -> f64 {
    let left = (1.0 - kill).clamp(0.0, 1.0);
    if blossoms_needed > 0.0 {
        (left / blossoms_needed).min(1.0)
    } else if left > 0.0 {
        1.0
    } else {
        0.0
    }
}

/// A night's minimum from the temperature and the dew point two hours after
/// sunset, learnt from past frost nights of the place: FAO's two steps, the
/// minimum on the temperature, then the rest on the dew point (Snyder &
/// Melo-Abreu 2005, vol. 1). Clear, calm nights only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NightMinimum {
    slope: f64,
    intercept_c: f64,
    dew_slope: f64,
    dew_intercept_c: f64,
}

impl NightMinimum {
    /// Fits past nights: (temperature, dew point, minimum), all °C. `None` with
    /// fewer than three nights or without any spread in them.
    pub fn fit(nights: &[(f64, f64, f64)]) -> Option<Self> {
        if nights.len() < 3 {
            return None;
        }
        let (slope, intercept_c) = line(nights.iter().map(|(t, _, low)| (*t, *low)))?;
        let (dew_slope, dew_intercept_c) = line(
            nights
                .iter()
                .map(|(t, dew, low)| (*dew, low - slope * t - intercept_c)),
        )?;
        Some(NightMinimum {
            slope,
            intercept_c,
            dew_slope,
            dew_intercept_c,
        })
    }

    /// The minimum to expect, °C.
    pub fn expect_c(&self, temperature_c: f64, dew_point_c: f64) -> f64 {
        self.slope * temperature_c
            + self.intercept_c
            + self.dew_slope * dew_point_c
            + self.dew_intercept_c
    }
}

/// Least-squares line through points: slope and intercept.
fn line(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<(f64, f64)> {
    let n = points.clone().count() as f64;
    let mean_x = points.clone().map(|(x, _)| x).sum::<f64>() / n;
    let mean_y = points.clone().map(|(_, y)| y).sum::<f64>() / n;
    let xx: f64 = points.clone().map(|(x, _)| (x - mean_x).powi(2)).sum();
    let xy: f64 = points.map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
    let slope = xy / xx;
    slope
        .is_finite()
        .then_some((slope, mean_y - slope * mean_x))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::f_to_c;

    fn critical_f(kill_10: f64, kill_90: f64) -> Critical {
        Critical::new(f_to_c(kill_10), Some(f_to_c(kill_90))).unwrap()
    }

    fn near(value: f64, wanted: f64, within: f64) {
        assert!(
            (value - wanted).abs() <= within,
            "{value} instead of {wanted}"
        );
    }

    /// reference/algorithms.md 8, apple full bloom 28/25 °F (Washington State
    /// tables as carried by Michigan State).
    #[test]
    fn kill_of_apple_in_full_bloom() {
        let bloom = critical_f(28.0, 25.0);
        for (f, kill) in [
            (32.0, 0.000_32),
            (30.0, 0.005_90),
            (28.0, 0.1),
            (26.5, 0.5),
            (25.0, 0.9),
            (23.0, 0.994_10),
            (20.0, 0.999_93),
        ] {
            near(bloom.kill(f_to_c(f)), kill, 6e-6);
        }
        let toll = Toll::of([28.0, 26.5, 29.0].map(|f| bloom.kill(f_to_c(f))));
        near(toll.worst_night, 0.5, 1e-9);
        near(toll.at_most, 0.561_27, 6e-6);
        near(crop_left(0.94, 0.12), 0.5, 1e-9);
        near(crop_left(0.5, 0.12), 1.0, 1e-9);
        near(crop_left(0.6, 0.5), 0.8, 1e-9);
    }

    /// reference/frost.md 3: the straight line of the FAO estimator beside the
    /// logistic.
    #[test]
    fn straight_line_beside_the_logistic() {
        let bloom = critical_f(28.0, 25.0);
        for (f, straight, logistic) in [
            (29.0, 0.0, 0.025),
            (28.0, 0.1, 0.1),
            (27.0, 0.367, 0.325),
            (26.5, 0.5, 0.5),
            (26.0, 0.633, 0.675),
            (25.0, 0.9, 0.9),
            (24.0, 1.0, 0.975),
        ] {
            near(bloom.kill_straight(f_to_c(f)), straight, 6e-4);
            near(bloom.kill(f_to_c(f)), logistic, 6e-4);
        }
        let green_tip = critical_f(18.0, 10.0);
        near(green_tip.kill_straight(f_to_c(15.0)), 0.4, 1e-9);
        near(green_tip.kill(f_to_c(15.0)), 0.366, 6e-4);
        let two = |kill: f64| Toll::of([kill, kill]).at_most;
        near(two(bloom.kill_straight(f_to_c(27.0))), 0.599, 6e-4);
        near(two(bloom.kill(f_to_c(27.0))), 0.544, 6e-4);
    }

    /// reference/algorithms.md 7, the coming nights, apple in full bloom.
    #[test]
    fn nights_ahead() {
        let bloom = critical_f(28.0, 25.0);
        for (low_f, spread_f, expected, half, tenth) in [
            (28.0, 2.0, 0.2601, 0.2266, 0.5),
            (32.0, 2.0, 0.0102, 0.0030, 0.0228),
            (26.5, 0.0, 0.5, 1.0, 1.0),
            (30.0, 4.0, 0.2015, 0.1908, 0.3085),
        ] {
            let night = NightAhead::of(&bloom, f_to_c(low_f), spread_f / 1.8).unwrap();
            near(night.half, half, 6e-5);
            near(night.tenth, tenth, 6e-5);
            // The last row is 0.201419 by fine integration; printed 0.2015.
            near(night.expected, expected, 1e-4);
        }
        assert_eq!(NightAhead::of(&bloom, f64::NAN, 1.0), None);
        assert_eq!(NightAhead::of(&bloom, 0.0, -1.0), None);
    }

    #[test]
    fn a_missing_or_impossible_figure() {
        let apricot = Critical::new(f_to_c(15.0), None).unwrap();
        assert!(apricot.is_assumed());
        near(apricot.kill(f_to_c(12.0)), 0.9, 1e-9);
        assert_eq!(Critical::new(-4.0, Some(-2.0)), None);
        assert_eq!(Critical::new(f64::NAN, None), None);
        let step = Critical::new(-2.0, Some(-2.0)).unwrap();
        assert_eq!((step.kill(-1.9), step.kill(-2.0)), (0.0, 1.0));
        assert_eq!(step.kill(f64::NAN), 0.0);
        assert!(step.temperature_for(1.0).is_none());
    }

    #[test]
    fn between_two_stages() {
        let (half_inch, bloom) = (critical_f(23.0, 15.0), critical_f(28.0, 25.0));
        let at = |share| half_inch.towards(&bloom, share);
        near(at(0.0).kill_10_c(), f_to_c(23.0), 1e-9);
        near(at(0.5).kill_10_c(), f_to_c(25.5), 1e-9);
        near(at(0.5).kill_90_c(), f_to_c(20.0), 1e-9);
        near(at(1.4).kill_10_c(), f_to_c(28.0), 1e-9);
        near(at(f64::NAN).kill_10_c(), f_to_c(23.0), 1e-9);
    }

    /// FAO 2005 worked example as recomputed in reference/frost.md 3: -0.7409.
    #[test]
    fn night_minimum_of_the_fao_example() {
        let t0 = [3.2, 0.8, 0.2, 2.6, 4.4, 5.2, 2.7, 1.2, 4.5, 5.6];
        let dew = [-4.2, -8.8, -6.5, -6.2, -6.1, 2.6, -0.7, -1.7, -1.2, 0.1];
        let low = [-3.1, -5.0, -6.3, -5.4, -4.0, -2.5, -4.8, -5.0, -4.4, -3.3];
        let nights: Vec<(f64, f64, f64)> = (0..10).map(|n| (t0[n], dew[n], low[n])).collect();
        let fitted = NightMinimum::fit(&nights).unwrap();
        near(fitted.slope, 0.502_81, 6e-6);
        near(fitted.intercept_c, -5.908_55, 6e-6);
        near(fitted.expect_c(10.0, 2.0), -0.740_9, 6e-5);
        assert_eq!(NightMinimum::fit(&nights[..2]), None);
        assert_eq!(NightMinimum::fit(&[(1.0, 1.0, 1.0); 5]), None);
    }
}
