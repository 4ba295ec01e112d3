//! A date is a distribution: its 10, 50 and 90 % days and what they rest on.

use chrono::{NaiveDate, TimeDelta};

/// What a date rests on, from the firmest to the weakest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    /// It was seen: by the keeper, or in the measured weather.
    Seen,
    /// This year's weather so far, and the forecast, carry it.
    Forecast,
    /// Past years at this place.
    PastYears,
    /// A rule of the calendar, the same every year.
    Fixed,
    /// Hardiness zone and handbook months; no weather is known.
    ZoneOnly,
}

impl Basis {
    /// Every basis with the word used in output.
    pub const ALL: [(Basis, &'static str); 5] = [
        (Basis::Seen, "seen"),
        (Basis::Forecast, "this year's weather"),
        (Basis::PastYears, "past years"),
        (Basis::Fixed, "calendar"),
        (Basis::ZoneOnly, "zone only"),
    ];

    /// The word used in output.
    pub fn word(self) -> &'static str {
        Basis::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("zone only", |(_, word)| word)
    }
}

/// The 10, 50 and 90 % days of a date; `early <= middle <= late` always.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spread {
    /// One year in ten it comes by this day.
    pub early: NaiveDate,
    /// As often before as after.
    pub middle: NaiveDate,
    /// Nine years in ten it has come by this day.
    pub late: NaiveDate,
    /// What it rests on.
    pub basis: Basis,
}

impl Spread {
    /// Three days in any order.
    pub fn new(early: NaiveDate, middle: NaiveDate, late: NaiveDate, basis: Basis) -> Self {
        let mut days = [early, middle, late];
        days.sort();
        Spread {
            early: days[0],
            middle: days[1],
            late: days[2],
            basis,
        }
    }

    /// A day that is certain.
    pub fn certain(day: NaiveDate, basis: Basis) -> Self {
        Spread {
            early: day,
            middle: day,
            late: day,
            basis,
        }
    }

    /// The 10, 50 and 90 % days of several equally likely ones, by linear
    /// interpolation between the sorted days (sample quantile of type 7).
    /// `None` for no day.
    pub fn of_days(days: &mut [NaiveDate], basis: Basis) -> Option<Self> {
        days.sort();
        days.first()?;
        let at = |share: f64| {
            let place = share * (days.len() - 1) as f64;
            let low = days[place.floor() as usize];
            let high = days[place.ceil() as usize];
            let between = (high - low).num_days() as f64 * place.fract();
            low + TimeDelta::days(between.round() as i64)
        };
        Some(Spread::new(at(0.1), at(0.5), at(0.9), basis))
    }

    /// All three moved by whole days (the shift is rounded).
    pub fn shifted(self, days: f64) -> Self {
        let days = if days.is_finite() {
            days.round().clamp(-4_000.0, 4_000.0) as i64
        } else {
            0
        };
        let step = |day: NaiveDate| day.checked_add_signed(TimeDelta::days(days)).unwrap_or(day);
        Spread {
            early: step(self.early),
            middle: step(self.middle),
            late: step(self.late),
            basis: self.basis,
        }
    }

    /// The later of two, quantile by quantile; the basis of the later middle.
    pub fn later(self, other: Self) -> Self {
        let basis = if other.middle > self.middle {
            other.basis
        } else {
            self.basis
        };
        Spread {
            early: self.early.max(other.early),
            middle: self.middle.max(other.middle),
            late: self.late.max(other.late),
            basis,
        }
    }

    /// The earlier of two, quantile by quantile; the basis of the earlier middle.
    pub fn earlier(self, other: Self) -> Self {
        let basis = if other.middle < self.middle {
            other.basis
        } else {
            self.basis
        };
        Spread {
            early: self.early.min(other.early),
            middle: self.middle.min(other.middle),
            late: self.late.min(other.late),
            basis,
        }
    }

    /// Days from the early to the late day.
    pub fn width_days(self) -> i64 {
        (self.late - self.early).num_days()
    }

    /// The chance that it has come by the end of a day, read linearly between
    /// the three days and to 0 and 1 as far outside them again.
    pub fn chance_by(self, day: NaiveDate) -> f64 {
        let days = |a: NaiveDate, b: NaiveDate| (b - a).num_days() as f64;
        if self.early == self.late {
            return if day >= self.middle { 1.0 } else { 0.0 };
        }
        let points = [
            (
                days(self.middle, self.early) - days(self.early, self.middle) * 0.6 - 1.0,
                0.0,
            ),
            (days(self.middle, self.early), 0.1),
            (0.0, 0.5),
            (days(self.middle, self.late), 0.9),
            (
                days(self.middle, self.late) + days(self.middle, self.late) * 0.6 + 1.0,
                1.0,
            ),
        ];
        let x = days(self.middle, day);
        if x < points[0].0 {
            return 0.0;
        }
        for pair in points.windows(2) {
            let ((x0, p0), (x1, p1)) = (pair[0], pair[1]);
            if x <= x1 {
                return if x1 > x0 {
                    p0 + (p1 - p0) * (x - x0) / (x1 - x0)
                } else {
                    p1
                };
            }
        }
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 4, d).unwrap()
    }

    /// R documentation, `quantile`, type 7: of 1..=11 the 10, 50 and 90 %
    /// points are 2, 6 and 10.
    #[test]
    fn quantiles_of_type_7() {
        let mut days: Vec<NaiveDate> = (1..=11).rev().map(day).collect();
        let spread = Spread::of_days(&mut days, Basis::PastYears).unwrap();
        assert_eq!(
            (spread.early, spread.middle, spread.late),
            (day(2), day(6), day(10))
        );
        assert!(Spread::of_days(&mut [], Basis::PastYears).is_none());
    }

    #[test]
    fn chance_runs_from_none_to_all() {
        let spread = Spread::new(day(5), day(10), day(15), Basis::PastYears);
        assert_eq!(spread.chance_by(day(1)), 0.0);
        assert_eq!(spread.chance_by(day(5)), 0.1);
        assert_eq!(spread.chance_by(day(10)), 0.5);
        assert_eq!(spread.chance_by(day(15)), 0.9);
        assert_eq!(spread.chance_by(day(25)), 1.0);
        let sure = Spread::certain(day(10), Basis::Seen);
        assert_eq!(
            (sure.chance_by(day(9)), sure.chance_by(day(10))),
            (0.0, 1.0)
        );
    }

    #[test]
    fn later_and_earlier_go_by_quantile() {
        let a = Spread::new(day(1), day(10), day(20), Basis::PastYears);
        let b = Spread::new(day(5), day(8), day(9), Basis::Seen);
        assert_eq!(
            a.later(b),
            Spread::new(day(5), day(10), day(20), Basis::PastYears)
        );
        assert_eq!(
            a.earlier(b),
            Spread::new(day(1), day(8), day(9), Basis::Seen)
        );
    }
}
