//! Where the sun stands: declination, day length, sunrise and sunset.
//!
//! Two plain formulas by day of year serve the hourly curve and the chill
//! models, which stay in solar time. [`civil`] follows the almanac's
//! low-precision sun for a date and a place, for whatever is told to a person.

use chrono::{Datelike, NaiveDate};
use std::f64::consts::PI;

/// Depression of the sun's centre at sunrise: upper limb with refraction, °.
pub const UPPER_LIMB_DEG: f64 = 0.8333;

/// A formula for the declination by day of year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Declination {
    /// Forsythe and others 1995, Ecol. Modelling 80:87-95.
    #[default]
    Cbm,
    /// Spencer 1971, Search 2(5):172.
    Spencer,
}

impl Declination {
    /// Declination in radians; `day_of_year` 1 to 366.
    pub fn radians(self, day_of_year: u32) -> f64 {
        let day = f64::from(day_of_year);
        match self {
            Declination::Cbm => {
                let theta =
                    0.216_310_8 + 2.0 * (0.967_139_6 * (0.008_60 * (day - 186.0)).tan()).atan();
                (0.397_95 * theta.cos()).asin()
            }
            Declination::Spencer => {
                let g = 2.0 * PI * (day - 1.0) / 365.0;
                0.006_918 - 0.399_912 * g.cos() + 0.070_257 * g.sin() - 0.006_758 * (2.0 * g).cos()
                    + 0.000_907 * (2.0 * g).sin()
                    - 0.002_697 * (3.0 * g).cos()
                    + 0.001_48 * (3.0 * g).sin()
            }
        }
    }
}

/// Sunrise and sunset of a day, hours since midnight in the time that the
/// maker says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunTimes {
    /// Sunrise, h.
    pub rise_h: f64,
    /// Sunset, h.
    pub set_h: f64,
}

impl SunTimes {
    /// Day length, h.
    pub fn length_h(&self) -> f64 {
        self.set_h - self.rise_h
    }
}

/// Day length in hours, 0 to 24, for a declination. Latitudes beyond ±90° and
/// the poles themselves are drawn in to 89.9999°.
///
/// `horizon_deg` is [`UPPER_LIMB_DEG`], or 0 for the sun's centre without
/// refraction.
pub fn day_length_h(latitude_deg: f64, declination_rad: f64, horizon_deg: f64) -> f64 {
    24.0 / PI * half_day_rad(latitude_deg, declination_rad, horizon_deg)
}

/// Hour angle of sunset, 0 to pi.
fn half_day_rad(latitude_deg: f64, declination_rad: f64, horizon_deg: f64) -> f64 {
    let latitude = latitude_deg.clamp(-89.999_9, 89.999_9).to_radians();
    let c = (horizon_deg.to_radians().sin() + latitude.sin() * declination_rad.sin())
        / (latitude.cos() * declination_rad.cos());
    if c.is_nan() {
        return PI / 2.0;
    }
    PI - c.clamp(-1.0, 1.0).acos()
}

/// Sunrise and sunset in solar time (noon at 12), upper limb with refraction.
///
/// Within some 5 minutes of the almanac at 40° N.
pub fn solar(latitude_deg: f64, day_of_year: u32, formula: Declination) -> SunTimes {
    let length = day_length_h(latitude_deg, formula.radians(day_of_year), UPPER_LIMB_DEG);
    SunTimes {
        rise_h: 12.0 - 0.5 * length,
        set_h: 12.0 + 0.5 * length,
    }
}

/// Equation of time in minutes: how far solar time is ahead of mean time.
/// Spencer 1971 with the factor in use at NOAA; good to about half a minute.
pub fn equation_of_time_min(day_of_year: u32) -> f64 {
    let g = 2.0 * PI * (f64::from(day_of_year) - 1.0) / 365.0;
    229.18
        * (0.000_075 + 0.001_868 * g.cos()
            - 0.032_077 * g.sin()
            - 0.014_615 * (2.0 * g).cos()
            - 0.040_849 * (2.0 * g).sin())
}

/// Hours to add to solar time for civil time at a longitude (east positive)
/// in a zone `utc_offset_h` ahead of UTC.
pub fn solar_to_civil_h(day_of_year: u32, longitude_deg: f64, utc_offset_h: f64) -> f64 {
    utc_offset_h - longitude_deg / 15.0 - equation_of_time_min(day_of_year) / 60.0
}

/// Sunrise and sunset in civil time, hours since local midnight; upper limb
/// with refraction, sea-level horizon. `None` where the sun does not rise or
/// does not set on that day, or where an input is not finite.
///
/// The Astronomical Almanac's low-precision formula (0.01° for 1950 to 2050),
/// worked out once more at each event: within a minute of the almanac below
/// the polar circles.
pub fn civil(
    date: NaiveDate,
    latitude_deg: f64,
    longitude_deg: f64,
    utc_offset_h: f64,
) -> Option<SunTimes> {
    if !(latitude_deg.is_finite() && longitude_deg.is_finite() && utc_offset_h.is_finite()) {
        return None;
    }
    // Days from the epoch J2000.0 (1 January 2000, 12:00) to local midnight.
    let midnight = f64::from(date.num_days_from_ce()) - 730_120.5 - utc_offset_h / 24.0;
    let event = |sign: f64| {
        let mut hour = 12.0 + sign * 6.0;
        for _ in 0..3 {
            let (declination, equation_h) = almanac_sun(midnight + hour / 24.0);
            let half = half_day_rad(latitude_deg, declination, UPPER_LIMB_DEG) * 12.0 / PI;
            if half <= 0.0 || half >= 12.0 {
                return None;
            }
            let noon = 12.0 + utc_offset_h - longitude_deg / 15.0 - equation_h;
            hour = noon + sign * half;
        }
        Some(hour)
    };
    Some(SunTimes {
        rise_h: event(-1.0)?,
        set_h: event(1.0)?,
    })
}

/// Declination (radians) and equation of time (hours) at an instant, days
/// from J2000.0.
fn almanac_sun(days: f64) -> (f64, f64) {
    let mean_longitude = (280.460 + 0.985_647_4 * days).rem_euclid(360.0);
    let anomaly = (357.528 + 0.985_600_3 * days).to_radians();
    let longitude =
        (mean_longitude + 1.915 * anomaly.sin() + 0.020 * (2.0 * anomaly).sin()).to_radians();
    let obliquity = (23.439 - 0.000_000_4 * days).to_radians();
    let declination = (obliquity.sin() * longitude.sin()).asin();
    let ascension = (obliquity.cos() * longitude.sin())
        .atan2(longitude.cos())
        .to_degrees();
    let difference = (mean_longitude - ascension + 180.0).rem_euclid(360.0) - 180.0;
    (declination, difference / 15.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// reference/algorithms.md 2.1, all columns that are formulas.
    #[test]
    fn day_length_by_both_formulas() {
        let rows = [
            (40.0, 1, 9.3757, 9.3777, 9.2076),
            (40.0, 80, 12.1358, 12.1377, 11.9908),
            (40.0, 172, 15.0160, 15.0168, 14.8455),
            (40.0, 355, 9.3242, 9.3273, 9.1552),
            (0.0, 80, 12.1111, 12.1111, 12.0),
            (50.61, 100, 13.4348, 13.4356, 13.2554),
            (66.0, 172, 24.0, 24.0, 22.2581),
            (70.0, 355, 0.0, 0.0, 0.0),
            (-35.0, 172, 9.7975, 9.7969, 9.6428),
        ];
        for (latitude, day, cbm, spencer, centre) in rows {
            let length = |formula: Declination, horizon| {
                day_length_h(latitude, formula.radians(day), horizon)
            };
            for (value, wanted) in [
                (length(Declination::Cbm, UPPER_LIMB_DEG), cbm),
                (length(Declination::Spencer, UPPER_LIMB_DEG), spencer),
                (length(Declination::Cbm, 0.0), centre),
            ] {
                assert!(
                    (value - wanted).abs() < 6e-5,
                    "{latitude} {day}: {value} {wanted}"
                );
            }
        }
    }

    /// US Naval Observatory style almanac values for Washington DC are within
    /// a minute; the table of `tests/models` holds 143 of them.
    #[test]
    fn poles_and_nonsense_do_not_panic() {
        for latitude in [90.0, -90.0, 400.0, f64::NAN, f64::INFINITY] {
            let times = solar(latitude, 172, Declination::Cbm);
            assert!((0.0..=24.0).contains(&times.length_h()), "{latitude}");
        }
        let date = NaiveDate::from_ymd_opt(2025, 6, 21).unwrap();
        assert_eq!(civil(date, 89.0, 0.0, 0.0), None, "the sun does not set");
        assert_eq!(civil(date, f64::NAN, 0.0, 0.0), None);
        assert!(civil(NaiveDate::MAX, 40.0, -75.0, -5.0).is_some());
    }

    /// NOAA: 11 February has about -14.2, 3 November +16.5 minutes.
    #[test]
    fn equation_of_time_has_its_extremes() {
        assert!((equation_of_time_min(42) + 14.2).abs() < 0.6);
        assert!((equation_of_time_min(307) - 16.5).abs() < 0.6);
        let civil_noon = 12.0 + solar_to_civil_h(42, -75.0, -5.0);
        assert!((civil_noon - (12.0 + 14.2 / 60.0)).abs() < 0.02);
    }
}
