//! Winter chill from hourly temperatures, in the three units of the trade.
//!
//! A requirement given in one unit stays in that unit: the ratio of chill
//! hours to portions ranges from 0 to 34 over the world (Luedeling & Brown
//! 2011, Int. J. Biometeorol.). Hours are summed from a start that the caller
//! chooses: 1 August for portions, so that the start does not matter,
//! 1 October for chill hours (common practice).

use crate::facts::weather::Column;

/// Stored temperatures are rounded to 24 bits; a class bound such as 2.4 °C
/// would fall a hair above itself without this.
const BOUND_SLACK_C: f64 = 1e-5;

/// Chill hours from 0 to 7.2 °C (32 to 45 °F), both bounds included: 1 or 0.
/// Bennett 1949; Weinberger 1950.
pub fn hour_0_to_7_2(temperature_c: f64) -> f64 {
    f64::from(u8::from(
        (-BOUND_SLACK_C..=7.2 + BOUND_SLACK_C).contains(&temperature_c),
    ))
}

/// Chill hours at or below 7.2 °C (45 °F): 1 or 0.
pub fn hour_below_7_2(temperature_c: f64) -> f64 {
    f64::from(u8::from(temperature_c <= 7.2 + BOUND_SLACK_C))
}

/// Utah units of an hour, classes closed on the right. Richardson, Seeley &
/// Walker 1974, HortScience 9:331-332. Not a number gives 0.
pub fn utah_unit(temperature_c: f64) -> f64 {
    let t = temperature_c - BOUND_SLACK_C;
    if t <= 1.4 {
        0.0
    } else if t <= 2.4 {
        0.5
    } else if t <= 9.1 {
        1.0
    } else if t <= 12.4 {
        0.5
    } else if t <= 15.9 {
        0.0
    } else if t <= 18.0 {
        -0.5
    } else if t > 18.0 {
        -1.0
    } else {
        0.0
    }
}

/// Utah units without the losses, hour by hour.
pub fn positive_utah_unit(temperature_c: f64) -> f64 {
    utah_unit(temperature_c).max(0.0)
}

// The dynamic model. Fishman, Erez & Couvillon 1987, J. Theor. Biol.
// 124:473-483 and 126:309-321; Erez and others 1990, Acta Hort. 276:165-174.
const E0: f64 = 4_153.5;
const E1: f64 = 12_888.8;
const A0: f64 = 139_500.0;
const A1: f64 = 2.567e18;
const SLOPE: f64 = 1.6;
const TF: f64 = 277.0;
/// Not 273.15: the constants were fitted with 273.
const KELVIN: f64 = 273.0;

/// What one hour at a temperature does to the intermediate product of the
/// dynamic model: it relaxes to `settled`, keeping the share `kept` of the
/// distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HourAt {
    settled: f64,
    kept: f64,
    kelvin: f64,
}

impl HourAt {
    /// For a temperature in °C; drawn in to -60..60. Not a number counts as
    /// an hour that changes nothing.
    pub fn new(temperature_c: f64) -> Self {
        if temperature_c.is_nan() {
            return HourAt {
                settled: 0.0,
                kept: 1.0,
                kelvin: 0.0,
            };
        }
        let kelvin = temperature_c.clamp(-60.0, 60.0) + KELVIN;
        let inverse = 1.0 / kelvin;
        HourAt {
            settled: A0 / A1 * ((E1 - E0) * inverse).exp(),
            kept: (-A1 * (-E1 * inverse).exp()).exp(),
            kelvin,
        }
    }

    /// Where the intermediate product would settle.
    pub fn settled(&self) -> f64 {
        self.settled
    }

    /// Share of the intermediate that a conversion takes, 0 to 1.
    pub fn converted_share(&self) -> f64 {
        if self.kelvin <= 0.0 {
            return 0.0;
        }
        1.0 / (1.0 + (-SLOPE * TF * (self.kelvin - TF) / self.kelvin).exp())
    }
}

/// The state of the dynamic model: small, cheap to copy and to step, so that
/// a forecast can go on from what was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DynamicModel {
    intermediate: f64,
    portions: f64,
}

impl DynamicModel {
    /// Chill portions so far.
    pub fn portions(&self) -> f64 {
        self.portions
    }

    /// The intermediate product, which warmth can undo.
    pub fn intermediate(&self) -> f64 {
        self.intermediate
    }

    /// One hour at a temperature, °C. Returns what it added to the portions.
    /// An unknown hour (not a number) changes nothing.
    #[inline]
    pub fn step(&mut self, temperature_c: f64) -> f64 {
        self.step_at(&HourAt::new(temperature_c))
    }

    /// The same for an hour whose exponentials are known already.
    #[inline]
    pub fn step_at(&mut self, hour: &HourAt) -> f64 {
        self.intermediate = hour.settled - (hour.settled - self.intermediate) * hour.kept;
        if self.intermediate < 1.0 {
            return 0.0;
        }
        let share = hour.converted_share();
        let added = self.intermediate * share;
        self.portions += added;
        self.intermediate *= 1.0 - share;
        added
    }
}

/// All units over a span of hours.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ChillSums {
    /// Hours from 0 to 7.2 °C.
    pub hours_0_to_7_2: f64,
    /// Hours at or below 7.2 °C.
    pub hours_below_7_2: f64,
    /// Utah units with their losses.
    pub utah: f64,
    /// Utah units without the losses, hour by hour.
    pub positive_utah: f64,
    /// Utah units summed by the day and floored at 0 each day (Linsley-Noakes,
    /// Louw & Allan 1995, from memory). Days are blocks of 24 hours from the
    /// first one.
    pub daily_positive_utah: f64,
    /// Portions of the dynamic model.
    pub portions: f64,
    /// Hours in the span.
    pub hours: usize,
    /// Hours that are not known.
    pub missing: usize,
}

impl ChillSums {
    /// Sums over the hours `span` of a column, °C. Hours outside the column
    /// count as missing.
    pub fn over(hours_c: &Column, span: std::ops::Range<usize>) -> Self {
        let mut sums = ChillSums::default();
        let mut model = DynamicModel::default();
        let mut day = 0.0;
        for (nth, hour) in span.enumerate() {
            if nth % 24 == 0 {
                sums.daily_positive_utah += f64::max(day, 0.0);
                day = 0.0;
            }
            sums.hours += 1;
            let Some(t) = hours_c.get(hour) else {
                sums.missing += 1;
                continue;
            };
            sums.hours_0_to_7_2 += hour_0_to_7_2(t);
            sums.hours_below_7_2 += hour_below_7_2(t);
            let utah = utah_unit(t);
            sums.utah += utah;
            sums.positive_utah += utah.max(0.0);
            day += utah;
            model.step(t);
        }
        sums.daily_positive_utah += day.max(0.0);
        sums.portions = model.portions();
        sums
    }

    /// More than 5 % of the hours are unknown: the sums are "at least".
    pub fn is_at_least(&self) -> bool {
        self.missing * 20 > self.hours
    }
}

/// Portions at the end of each hour of a column, from its first hour on.
/// Unknown hours change nothing.
pub fn portions_by_hour(hours_c: &Column) -> Vec<f64> {
    let mut model = DynamicModel::default();
    (0..hours_c.len())
        .map(|hour| {
            if let Some(t) = hours_c.get(hour) {
                model.step(t);
            }
            model.portions()
        })
        .collect()
}

/// The hour after which Utah units start to count: the one with the most
/// negative running sum (Richardson and others 1974, from memory). The first
/// hour when the sum never falls below 0.
pub fn utah_start(hours_c: &Column) -> usize {
    let (mut sum, mut least, mut start) = (0.0, 0.0, 0);
    for (hour, value) in hours_c.iter().enumerate() {
        sum += value.map_or(0.0, utah_unit);
        if sum < least {
            (least, start) = (sum, hour + 1);
        }
    }
    start
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(spells: &[(usize, f64)]) -> (DynamicModel, Vec<usize>) {
        let mut model = DynamicModel::default();
        let mut converted = Vec::new();
        let mut hour = 0;
        for &(hours, temperature) in spells {
            for _ in 0..hours {
                hour += 1;
                if model.step(temperature) > 0.0 {
                    converted.push(hour);
                }
            }
        }
        (model, converted)
    }

    fn near(value: f64, wanted: f64, within: f64) {
        assert!(
            (value - wanted).abs() <= within,
            "{value} instead of {wanted}"
        );
    }

    /// reference/algorithms.md 3.4; Runge-Kutta on the model's equation agrees
    /// there to 1e-6.
    #[test]
    fn portions_of_the_reference_spells() {
        type Spell<'a> = (&'a [(usize, f64)], f64, f64, Option<&'a [usize]>);
        let spells: [Spell; 7] = [
            (&[(30, 6.0)], 0.980512, 0.087244, Some(&[29])),
            (&[(40, 6.0)], 0.980512, 0.498269, Some(&[29])),
            (&[(40, 0.0)], 0.011600, 1.166630, None),
            (
                &[(20, 6.0), (4, 24.0), (20, 6.0)],
                0.979434,
                0.087200,
                Some(&[43]),
            ),
            (
                &[(29, 6.0), (4, 24.0), (20, 6.0)],
                0.980512,
                0.936387,
                Some(&[29]),
            ),
            (&[(48, 15.0)], 0.0, 0.799686, Some(&[])),
            (
                &[
                    (16, 6.0),
                    (8, 14.0),
                    (16, 6.0),
                    (8, 14.0),
                    (16, 6.0),
                    (8, 14.0),
                    (16, 6.0),
                    (8, 14.0),
                    (16, 6.0),
                    (8, 14.0),
                ],
                2.938105,
                0.726146,
                Some(&[33, 62, 99]),
            ),
        ];
        for (spell, portions, left, hours) in spells {
            let (model, converted) = run(spell);
            near(model.portions(), portions, 1e-6);
            near(model.intermediate(), left, 1e-6);
            if let Some(hours) = hours {
                assert_eq!(converted, hours, "{spell:?}");
            }
        }
        for (temperature, wanted) in [
            (6.0, 83.0625),
            (0.0, 12.4831),
            (12.0, 61.0038),
            (-3.0, 0.1364),
            (13.0, 0.0),
        ] {
            near(run(&[(2400, temperature)]).0.portions(), wanted, 6e-5);
        }
    }

    /// The same section: where the intermediate settles, what is converted.
    #[test]
    fn settled_and_converted_shares() {
        for (t, wanted) in [
            (-5.0, 7.7753),
            (0.0, 4.2801),
            (4.0, 2.6964),
            (6.0, 2.1509),
            (8.0, 1.7212),
            (10.0, 1.3817),
            (12.0, 1.1126),
            (13.0, 0.9996),
            (14.0, 0.8986),
            (16.0, 0.7280),
        ] {
            near(HourAt::new(t).settled(), wanted, 6e-5);
        }
        for (t, wanted) in [
            (-5.0, 0.0),
            (0.0, 0.001511),
            (4.0, 0.5),
            (6.0, 0.959962),
            (10.0, 0.999917),
        ] {
            near(HourAt::new(t).converted_share(), wanted, 6e-7);
        }
    }

    /// The same section: both units at the class bounds, also as stored.
    #[test]
    fn utah_and_chill_hours_at_their_bounds() {
        let rows = [
            (-1.0, 0.0, 0.0),
            (0.0, 0.0, 1.0),
            (1.4, 0.0, 1.0),
            (1.41, 0.5, 1.0),
            (2.4, 0.5, 1.0),
            (2.5, 1.0, 1.0),
            (7.2, 1.0, 1.0),
            (7.21, 1.0, 0.0),
            (9.1, 1.0, 0.0),
            (9.2, 0.5, 0.0),
            (12.4, 0.5, 0.0),
            (12.5, 0.0, 0.0),
            (15.9, 0.0, 0.0),
            (16.0, -0.5, 0.0),
            (18.0, -0.5, 0.0),
            (18.1, -1.0, 0.0),
        ];
        for (t, utah, hour) in rows {
            let stored: Column = [Some(t)].into_iter().collect();
            for t in [t, stored.get(0).unwrap()] {
                assert_eq!(utah_unit(t), utah, "{t}");
                assert_eq!(hour_0_to_7_2(t), hour, "{t}");
                assert_eq!(hour_below_7_2(t), f64::from(u8::from(t < 7.205)), "{t}");
            }
        }
        assert_eq!(utah_unit(f64::NAN), 0.0);
    }

    /// The same section: 6 h at 3, 6 h at 10, 12 h at 20 °C.
    #[test]
    fn the_three_readings_of_positive_units() {
        let day: Column = [(6, 3.0), (6, 10.0), (12, 20.0)]
            .iter()
            .flat_map(|&(n, t)| std::iter::repeat_n(Some(t), n))
            .collect();
        let sums = ChillSums::over(&day, 0..24);
        assert_eq!(
            (sums.utah, sums.positive_utah, sums.daily_positive_utah),
            (-3.0, 9.0, 0.0)
        );
        assert_eq!(utah_start(&day), 24);
    }

    #[test]
    fn unknown_hours_change_nothing_and_are_counted() {
        let mut hours: Column = std::iter::repeat_n(Some(6.0), 30).collect();
        let whole = ChillSums::over(&hours, 0..30);
        hours.push(None);
        hours.push(None);
        let gaps = ChillSums::over(&hours, 0..40);
        assert_eq!(gaps.portions, whole.portions);
        assert_eq!(gaps.missing, 10);
        assert!(gaps.is_at_least() && !whole.is_at_least());
        let mut model = DynamicModel::default();
        model.step(6.0);
        let before = model;
        model.step(f64::NAN);
        assert_eq!(model, before);
        assert!(model.step(f64::INFINITY).is_finite());
    }
}
