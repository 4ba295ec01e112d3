//! How long a protectant still covers: days, rain, new leaves.
//!
//! The label's interval, its limits between sprays, in a season, to harvest
//! and to re-entry go before everything here; so do local rules and a licensed
//! adviser. No insecticide on open bloom.

use crate::facts::weather::rain_reaches;
use crate::units::f_to_c;
use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};

const INCH_MM: f64 = 25.4;

/// Days of cover left, from days since the spray, the interval in days and the
/// rain since it dried (mm): under an inch changes nothing, from one to two
/// inches halves the days left, more ends it (Kansas State Univ.). Not a
/// number gives 0.
pub fn days_left(days_since: f64, interval_days: f64, rain_mm: f64) -> f64 {
    if rain_mm.is_nan() || !rain_reaches(2.0 * INCH_MM, rain_mm) {
        return 0.0;
    }
    let left = (interval_days - days_since).max(0.0);
    let left = if left.is_nan() { 0.0 } else { left };
    if rain_reaches(rain_mm, INCH_MM) {
        0.5 * left
    } else {
        left
    }
}

/// Share of the residue that rain left, for a picture: half per inch.
pub fn residue(rain_mm: f64) -> f64 {
    0.5f64.powf(rain_mm.max(0.0) / INCH_MM)
}

/// Whether to renew by rain and age: two inches on any spray, or one on a spray
/// seven days old (Missouri 2019; Ontario 2020 has an inch take half, two
/// most). Stricter at exactly two inches than [`days_left`]: sources differ.
pub fn rain_calls_for_renewal(days_since: f64, rain_mm: f64) -> bool {
    rain_reaches(rain_mm, 2.0 * INCH_MM) || (days_since >= 7.0 && rain_reaches(rain_mm, INCH_MM))
}

/// Rain within two hours of the end of spraying voids the cover (Ontario: most
/// of it gone).
pub fn is_voided(rain_within_two_hours_mm: f64) -> bool {
    rain_within_two_hours_mm > 0.0
}

/// The cover of one spray followed day by day, so that rain halves what was
/// left on the day it fell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cover {
    applied: NaiveDate,
    days: f64,
    until_day: f64,
    rain_mm: f64,
    halved: bool,
}

impl Cover {
    /// A spray on a day with an interval in days (the shorter of the label's
    /// and the season's, see [`growth_limit_days`]).
    pub fn of(applied: NaiveDate, interval_days: f64) -> Self {
        let days = if interval_days.is_finite() {
            interval_days.clamp(0.0, 400.0)
        } else {
            0.0
        };
        Cover {
            applied,
            days: 0.0,
            until_day: days,
            rain_mm: 0.0,
            halved: false,
        }
    }

    /// One more day with its rain, mm; the first is the day of the spray, with
    /// the rain since it dried. Unknown rain counts as none.
    pub fn day(&mut self, rain_mm: Option<f64>) {
        self.rain_mm += rain_mm.filter(|mm| mm.is_finite()).unwrap_or(0.0).max(0.0);
        if !rain_reaches(2.0 * INCH_MM, self.rain_mm) {
            self.until_day = self.until_day.min(self.days);
        } else if !self.halved && rain_reaches(self.rain_mm, INCH_MM) {
            self.halved = true;
            let left = (self.until_day - self.days).max(0.0);
            self.until_day = self.until_day.min(self.days + 0.5 * left);
        }
        self.days += 1.0;
    }

    /// Rain since the spray dried, mm.
    pub fn rain_mm(&self) -> f64 {
        self.rain_mm
    }

    /// The day on which the cover is at an end.
    pub fn ends(&self) -> NaiveDate {
        self.applied
            .checked_add_days(Days::new(self.until_day.max(0.0).floor() as u64))
            .unwrap_or(NaiveDate::MAX)
    }
}

/// Longest interval that new leaves allow, days: seven from green tip to two
/// weeks after petal fall, then 14 (common practice; no constant for the leaf
/// rate was found).
pub fn growth_limit_days(shoots_grow_fast: bool) -> f64 {
    if shoots_grow_fast { 7.0 } else { 14.0 }
}

/// When the next spray is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NextSpray {
    /// From this instant on.
    At(NaiveDateTime),
    /// Cover ends before the label allows another spray; from this day on.
    OnlyFrom(NaiveDate),
    /// The season's number of sprays is used up.
    NoMore,
}

/// What the label allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LabelLimits {
    /// Least days between sprays.
    pub between_days: u32,
    /// Sprays that are left in the season, if the label limits them.
    pub left_in_season: Option<u32>,
}

/// The next spray wanted: at the end of the cover or an hour before a forecast
/// infection period begins that the cover no longer reaches, never before the
/// label allows it.
pub fn next_spray(
    cover: &Cover,
    forecast_infection: Option<NaiveDateTime>,
    label: &LabelLimits,
) -> NextSpray {
    if label.left_in_season == Some(0) {
        return NextSpray::NoMore;
    }
    let ends = cover.ends().and_time(chrono::NaiveTime::MIN);
    let wanted = forecast_infection
        .and_then(|start| start.checked_sub_signed(TimeDelta::hours(1)))
        .map_or(ends, |before| before.min(ends));
    let allowed = cover
        .applied
        .checked_add_days(Days::new(u64::from(label.between_days)))
        .unwrap_or(NaiveDate::MAX);
    if wanted.date() < allowed {
        NextSpray::OnlyFrom(allowed)
    } else {
        NextSpray::At(wanted)
    }
}

/// Temperature above which sulfur burns, °C: 80 °F on one label sheet, 85 to
/// 90 °F in practice; the cautious end. The label in hand decides.
pub fn sulfur_burns_above_c() -> f64 {
    f_to_c(80.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2025, 5, d).unwrap()
    }

    /// reference/algorithms.md 11 (Kansas State Univ.) and rf-03.
    #[test]
    fn days_left_of_the_reference() {
        for (since, inches, left) in [
            (3.0, 0.0, 7.0),
            (3.0, 0.99, 7.0),
            (3.0, 1.0, 3.5),
            (3.0, 2.0, 3.5),
            (3.0, 2.01, 0.0),
            (10.0, 0.2, 0.0),
            (12.0, 0.0, 0.0),
            (2.0, 1.5, 4.0),
        ] {
            assert_eq!(
                days_left(since, 10.0, inches * 25.4),
                left,
                "{since} {inches}"
            );
        }
        assert_eq!(days_left(f64::NAN, 10.0, 0.0), 0.0);
        for (inches, share) in [
            (0.0, 1.0),
            (0.99, 0.5035),
            (1.0, 0.5),
            (2.0, 0.25),
            (2.01, 0.2483),
            (0.2, 0.8706),
        ] {
            assert!((residue(inches * 25.4) - share).abs() < 6e-5);
        }
    }

    /// model_check_values rf-01 and rf-02.
    #[test]
    fn rain_that_calls_for_renewal() {
        assert!(rain_calls_for_renewal(8.0, 25.4));
        assert!(rain_calls_for_renewal(1.0, 50.8));
        assert!(!rain_calls_for_renewal(6.0, 25.4));
        assert!(!rain_calls_for_renewal(8.0, f64::NAN));
    }

    #[test]
    fn rain_halves_what_was_left_on_its_day() {
        let mut cover = Cover::of(date(1), 10.0);
        assert_eq!(cover.ends(), date(11));
        cover.day(Some(0.0));
        cover.day(None);
        cover.day(Some(30.0));
        assert_eq!(cover.ends(), date(7), "8 days left on day 2 become 4");
        cover.day(Some(1.0));
        assert_eq!(cover.ends(), date(7), "halved once");
        cover.day(Some(25.0));
        assert_eq!(cover.ends(), date(5), "over two inches ends it");
        assert_eq!(Cover::of(date(1), f64::NAN).ends(), date(1));
        assert_eq!(Cover::of(NaiveDate::MAX, 10.0).ends(), NaiveDate::MAX);
    }

    #[test]
    fn the_label_goes_before_the_wish() {
        let cover = Cover::of(date(1), 10.0);
        let label = LabelLimits {
            between_days: 7,
            left_in_season: Some(2),
        };
        let rain = |d| date(d).and_hms_opt(18, 0, 0);
        assert_eq!(
            next_spray(&cover, None, &label),
            NextSpray::At(date(11).and_time(chrono::NaiveTime::MIN))
        );
        assert_eq!(
            next_spray(&cover, rain(9), &label),
            NextSpray::At(date(9).and_hms_opt(17, 0, 0).unwrap())
        );
        assert_eq!(
            next_spray(&cover, rain(4), &label),
            NextSpray::OnlyFrom(date(8))
        );
        let used_up = LabelLimits {
            left_in_season: Some(0),
            ..label
        };
        assert_eq!(next_spray(&cover, None, &used_up), NextSpray::NoMore);
    }
}
