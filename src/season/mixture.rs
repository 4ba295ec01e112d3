//! A date as a distribution: weighted dates, each dressed with the same
//! normal spread.

use super::normal::share_below;
use std::cmp::Ordering;

/// Spread that the weather to come adds beyond what past springs show, as a
/// share of the days that lie ahead: they are few, and of another climate.
const AHEAD_SHARE: f64 = 0.025;

/// A quantile is found when its place is this near, days ...
const CLOSE_DAYS: f64 = 0.002;

/// ... or its probability.
const CLOSE_SHARE: f64 = 1e-8;

/// Weighted dates, each dressed with the same normal spread.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixture {
    /// Season day and weight, sorted; the weights sum to 1.
    points: Vec<(f64, f64)>,
    /// Standard deviation of the dress, days.
    pub scale_days: f64,
    /// Share of the runs in which the stage was never reached.
    pub never: f64,
}

impl Mixture {
    /// From dates and weights in any order. Dates that lie within a fifth of
    /// a day become one when there are many.
    pub fn new(mut points: Vec<(f64, f64)>, scale_days: f64) -> Self {
        points.retain(|(date, weight)| date.is_finite() && *weight > 0.0);
        points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        if points.len() > 200 && scale_days >= 1.0 {
            points = merged(&points, 0.2);
        }
        let total: f64 = points.iter().map(|(_, weight)| weight).sum();
        points.iter_mut().for_each(|(_, weight)| *weight /= total);
        Mixture {
            points,
            scale_days: scale_days.max(0.0),
            never: 0.0,
        }
    }

    /// Whether there is no date at all.
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// The same distribution, later by `days` and with a spread added.
    pub fn later(&self, days: f64, spread_days: f64) -> Mixture {
        Mixture {
            points: self.points.iter().map(|(d, w)| (d + days, *w)).collect(),
            scale_days: self.scale_days.hypot(spread_days),
            never: self.never,
        }
    }

    /// Adds the spread of the weather that lies between `told`, the end of
    /// what is measured or forecast, and the mean date.
    pub fn seen_from(self, told: f64) -> Mixture {
        let ahead = (self.mean() - told).max(0.0);
        let scale = self.scale_days.hypot(AHEAD_SHARE * ahead);
        self.dressed(scale)
    }

    /// The same dates in another dress.
    pub fn dressed(mut self, scale_days: f64) -> Mixture {
        self.scale_days = scale_days.max(0.0);
        self
    }

    /// The mean date.
    pub fn mean(&self) -> f64 {
        self.points.iter().map(|(date, weight)| date * weight).sum()
    }

    /// Probability that it comes before the instant `u`, among the runs that
    /// get there.
    pub fn cumulative(&self, u: f64) -> f64 {
        let s = self.scale_days;
        if s <= 0.0 {
            let below = self.points.partition_point(|(date, _)| *date <= u);
            return self
                .points
                .iter()
                .take(below)
                .map(|(_, weight)| weight)
                .sum();
        }
        let mut sum = 0.0;
        for (date, weight) in &self.points {
            let z = (u - date) / s;
            if z < -8.0 {
                break;
            }
            sum += if z > 8.0 {
                *weight
            } else {
                weight * share_below(z)
            };
        }
        sum
    }

    /// The instant before which it comes with probability `p`; `None` when
    /// there is no date.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        self.between(f64::NEG_INFINITY, f64::INFINITY, p)
    }

    /// The same, given that it comes after `from` and before `to`. When next
    /// to no probability is left there, the nearest end.
    pub fn between(&self, from: f64, to: f64, p: f64) -> Option<f64> {
        let (first, _) = self.points.first()?;
        let (last, _) = self.points.last()?;
        let reach = 9.0 * self.scale_days + 0.01;
        let below = if from.is_finite() {
            self.cumulative(from)
        } else {
            0.0
        };
        let above = if to.is_finite() {
            self.cumulative(to)
        } else {
            1.0
        };
        let low = (first - reach).max(from);
        let high = (last + reach).min(to);
        if above - below < 1e-9 {
            return Some(if below > 0.5 { from } else { to });
        }
        let wanted = below + p.clamp(0.0, 1.0) * (above - below);
        let (mut low, mut high) = (low.min(high), high.max(low));
        // The chord between the ends finds the place in some six steps; an end
        // that stands still has its miss halved, so the other one moves too.
        let (mut below_by, mut above_by) = (below - wanted, above - wanted);
        let mut last = Ordering::Equal;
        for _ in 0..60 {
            if high - low <= CLOSE_DAYS {
                break;
            }
            let chord = high - above_by * (high - low) / (above_by - below_by);
            // Undressed dates make steps, of which a chord knows nothing.
            let inside = self.scale_days > 0.0 && chord > low && chord < high;
            let at = if inside { chord } else { 0.5 * (low + high) };
            let miss = self.cumulative(at) - wanted;
            if miss.abs() < CLOSE_SHARE {
                return Some(at);
            }
            if miss > 0.0 {
                (high, above_by) = (at, miss);
                if last == Ordering::Greater {
                    below_by *= 0.5;
                }
                last = Ordering::Greater;
            } else {
                (low, below_by) = (at, miss);
                if last == Ordering::Less {
                    above_by *= 0.5;
                }
                last = Ordering::Less;
            }
        }
        Some(0.5 * (low + high))
    }

    /// Continuous ranked probability score of the distribution after `from`,
    /// when the stage came at `came`: the integral of the squared distance
    /// between its distribution function and the step at `came`, in steps of
    /// a quarter day. 0 when there is no date.
    pub fn crps(&self, from: f64, came: f64) -> f64 {
        const STEP: f64 = 0.25;
        let (Some((first, _)), Some((last, _))) = (self.points.first(), self.points.last()) else {
            return 0.0;
        };
        let reach = 6.0 * self.scale_days + STEP;
        let low = (first - reach).max(from).min(came);
        let high = (last + reach).max(came + STEP).max(low + STEP);
        let below = if from.is_finite() {
            self.cumulative(from)
        } else {
            0.0
        };
        let left = (1.0 - below).max(1e-9);
        let steps = ((high - low) / STEP).ceil().min(4000.0) as usize;
        (0..steps)
            .map(|step| {
                let u = low + (step as f64 + 0.5) * STEP;
                let passed = ((self.cumulative(u) - below) / left).clamp(0.0, 1.0);
                let step = if u >= came { 1.0 } else { 0.0 };
                (passed - step).powi(2) * STEP
            })
            .sum()
    }
}

/// Neighbours within `reach` made one at their weighted mean.
fn merged(points: &[(f64, f64)], reach: f64) -> Vec<(f64, f64)> {
    let mut merged: Vec<(f64, f64)> = Vec::new();
    let mut start = f64::NEG_INFINITY;
    for &(date, weight) in points {
        match merged.last_mut() {
            Some((mean, sum)) if date - start < reach => {
                *mean += (date - *mean) * weight / (*sum + weight);
                *sum += weight;
            }
            _ => {
                start = date;
                merged.push((date, weight));
            }
        }
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Algorithms 6.4: worked by two routes.
    #[test]
    fn quantiles_of_a_dressed_mixture() {
        let points = vec![(100.0, 0.2), (104.0, 0.5), (110.0, 0.3)];
        let mixture = Mixture::new(points.clone(), 3.0);
        for (p, wanted) in [(0.1, 99.0518), (0.5, 104.7495), (0.9, 111.3881)] {
            assert!((mixture.quantile(p).unwrap() - wanted).abs() < 0.002);
        }
        for (p, wanted) in [(0.1, 103.7800), (0.5, 107.1775), (0.9, 112.4143)] {
            let got = mixture.between(103.0, f64::INFINITY, p).unwrap();
            assert!((got - wanted).abs() < 0.002, "{got} {wanted}");
        }
        let bare = Mixture::new(points, 0.0);
        for (p, wanted) in [(0.1, 100.0), (0.5, 104.0), (0.9, 110.0)] {
            assert!((bare.quantile(p).unwrap() - wanted).abs() < 0.01);
        }
        assert_eq!(Mixture::new(vec![], 3.0).quantile(0.5), None);
    }

    #[test]
    fn merging_keeps_mean_and_quantiles() {
        let points: Vec<(f64, f64)> = (0..600)
            .map(|k| (100.0 + f64::from(k * 37 % 600) / 30.0, 1.0))
            .collect();
        let many = Mixture::new(points.clone(), 3.0);
        assert!(many.points.len() < 120);
        let exact = Mixture {
            points: points.iter().map(|(d, _)| (*d, 1.0 / 600.0)).collect(),
            scale_days: 3.0,
            never: 0.0,
        };
        assert!((many.mean() - exact.mean()).abs() < 1e-9);
        for u in [100.0, 107.0, 118.0] {
            assert!((many.cumulative(u) - exact.cumulative(u)).abs() < 0.01);
        }
    }
}
