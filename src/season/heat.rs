//! Growing degree hours after the rest is over.
//!
//! Three straight-line readings are in print and differ above 25 °C; which
//! one a figure was made with belongs to the figure. Hourly temperatures in
//! °C, sums in °C hours.

use crate::facts::weather::Column;
use std::f64::consts::{FRAC_PI_2, PI};

/// How an hour's heat follows its temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeatCurve {
    /// Anderson, Richardson & Kesner 1986, Acta Hort. 184:71-78: two cosines
    /// over 4, 25 and 36 °C, stress factor 1.
    Asymcur,
    /// Richardson and others 1975: T - 4.5, held at 20.5 above 25 °C (from
    /// memory).
    HeldAbove25,
    /// The same line, but nothing above 25 °C: another published reading.
    NothingAbove25,
    /// Anderson & Seeley 1992: T - 4, held at 21 above 25, nothing from 36 °C on.
    NothingFrom36,
}

impl HeatCurve {
    /// Degree hours of one hour, °C h. Not a number gives 0.
    #[inline]
    pub fn rate(self, temperature_c: f64) -> f64 {
        let t = temperature_c;
        match self {
            HeatCurve::Asymcur => asymcur(t),
            HeatCurve::HeldAbove25 => line(t, 4.5, 25.0, f64::INFINITY),
            HeatCurve::NothingAbove25 => line(t, 4.5, 25.0, 25.0),
            HeatCurve::NothingFrom36 if t >= 36.0 => 0.0,
            HeatCurve::NothingFrom36 => line(t, 4.0, 25.0, 36.0),
        }
    }
}

fn line(t: f64, base: f64, held_from: f64, nothing_above: f64) -> f64 {
    if t > base && t <= nothing_above {
        t.min(held_from) - base
    } else {
        0.0
    }
}

fn asymcur(t: f64) -> f64 {
    const BASE: f64 = 4.0;
    const BEST: f64 = 25.0;
    const MOST: f64 = 36.0;
    if (BASE..=BEST).contains(&t) {
        let phase = PI * (t - BASE) / (BEST - BASE);
        0.5 * (BEST - BASE) * (1.0 + (PI + phase).cos())
    } else if t > BEST && t <= MOST {
        let phase = FRAC_PI_2 * (t - BEST) / (MOST - BEST);
        (BEST - BASE) * (1.0 + (FRAC_PI_2 + phase).cos())
    } else {
        0.0
    }
}

/// A sum of degree hours.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DegreeHours {
    /// °C hours.
    pub heat: f64,
    /// Hours in the span.
    pub hours: usize,
    /// Hours that are not known; they add nothing.
    pub missing: usize,
}

impl DegreeHours {
    /// Sum over the hours `span` of a column, °C. Hours outside the column
    /// count as missing.
    pub fn over(hours_c: &Column, span: std::ops::Range<usize>, curve: HeatCurve) -> Self {
        let mut sum = DegreeHours::default();
        for hour in span {
            sum.hours += 1;
            match hours_c.get(hour) {
                Some(t) => sum.heat += curve.rate(t),
                None => sum.missing += 1,
            }
        }
        sum
    }
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

    /// reference/algorithms.md 4.2, with its second route: 21 sin²(pi (T-4)/42)
    /// and 21 (1 - sin(pi (T-25)/22)).
    #[test]
    fn the_curves_at_their_corners() {
        let rows = [
            (3.9, 0.0, 0.0),
            (4.0, 0.0, 0.0),
            (10.0, 3.9534, 5.5),
            (14.5, 10.5, 10.0),
            (20.0, 18.1970, 15.5),
            (25.0, 21.0, 20.5),
            (28.0, 12.2763, 20.5),
            (30.5, 6.1508, 20.5),
            (36.0, 0.0, 20.5),
            (36.1, 0.0, 20.5),
        ];
        for (t, asymcur, held) in rows {
            near(HeatCurve::Asymcur.rate(t), asymcur, 6e-5);
            near(HeatCurve::HeldAbove25.rate(t), held, 1e-12);
            let second = if t <= 25.0 {
                21.0 * (PI * (t.max(4.0) - 4.0) / 42.0).sin().powi(2)
            } else {
                21.0 * (1.0 - (PI * (t.min(36.0) - 25.0) / 22.0).sin())
            };
            near(HeatCurve::Asymcur.rate(t), second, 1e-9);
        }
        near(HeatCurve::NothingAbove25.rate(25.1), 0.0, 0.0);
        near(HeatCurve::NothingFrom36.rate(30.0), 21.0, 0.0);
        near(HeatCurve::NothingFrom36.rate(36.0), 0.0, 0.0);
    }

    /// The same section: the integrals over 4..25 and 25..36.
    #[test]
    fn the_areas_under_asymcur() {
        let area = |from: f64, to: f64| {
            let steps = 100_000;
            let step = (to - from) / f64::from(steps);
            (0..steps)
                .map(|n| HeatCurve::Asymcur.rate(from + (f64::from(n) + 0.5) * step) * step)
                .sum::<f64>()
        };
        near(area(4.0, 25.0), 220.5, 1e-4);
        near(area(25.0, 36.0), 83.9408, 1e-4);
    }

    #[test]
    fn unknown_hours_add_nothing() {
        let hours: Column = [Some(25.0), None, Some(f64::NAN)].into_iter().collect();
        let sum = DegreeHours::over(&hours, 0..5, HeatCurve::Asymcur);
        assert_eq!((sum.hours, sum.missing), (5, 4));
        near(sum.heat, 21.0, 1e-12);
        assert_eq!(HeatCurve::HeldAbove25.rate(f64::NAN), 0.0);
    }
}
