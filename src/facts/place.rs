//! Where the orchard stands.

use crate::units::UnitSystem;
use chrono::{NaiveDate, Offset, TimeZone};
use chrono_tz::Tz;
use std::fmt;

/// The place and what is known of it without any weather.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// What the keeper calls it.
    pub name: String,
    /// Degrees, north positive.
    pub latitude: f64,
    /// Degrees, east positive.
    pub longitude: f64,
    /// Metres above sea level.
    pub elevation_m: Option<f64>,
    /// Civil time of the place.
    pub time_zone: Tz,
    /// Hardiness zone in half steps.
    pub hardiness: HardinessZone,
    /// Which units the keeper reads.
    pub units: UnitSystem,
    /// Two-letter country code (ISO 3166-1); labels and rules differ by country.
    pub country: String,
    /// What the soil is like; decides how long rain keeps it unworkable.
    pub soil: Soil,
    /// Full bloom in a usual year, as the keeper remembers it.
    pub usual_bloom: Vec<UsualBloom>,
}

/// Why coordinates and a time zone cannot both be right.
#[derive(Clone, Debug, PartialEq)]
pub enum Misplaced {
    /// The sun is hours away from the clock.
    Longitude {
        /// By how much, hours.
        hours: f64,
        /// What would put it right.
        likely: Option<Likely>,
    },
    /// Summer time of the other half of the earth.
    Latitude,
}

/// What was likely meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Likely {
    /// The longitude with the other sign.
    OtherSign,
    /// Latitude and longitude have changed places.
    Swapped,
}

/// Hours between sun and clock that no time zone has in its standard time
/// (western China, the widest, comes to 3.1; by the IANA zone data).
const NO_ZONE_HOURS: f64 = 3.5;

/// Hours from which the other sign is looked at: Galicia, at 1.6, is right.
const DOUBT_HOURS: f64 = 1.75;

/// How much nearer the other sign must come, hours.
const NEARER_HOURS: f64 = 1.0;

/// Whether coordinates can lie in a time zone, by the zone's clocks in a year:
/// 15 degrees of longitude are an hour of sun, and clocks go ahead in the
/// summer of their own half of the earth.
pub fn misplaced(latitude: f64, longitude: f64, zone: Tz, year: i32) -> Option<Misplaced> {
    let hours = |month: u32| {
        let noon = NaiveDate::from_ymd_opt(year, month, 1)?.and_hms_opt(12, 0, 0)?;
        let offset = zone.offset_from_utc_datetime(&noon).fix();
        Some(f64::from(offset.local_minus_utc()) / 3_600.0)
    };
    let (january, july) = (hours(1)?, hours(7)?);
    let standard = january.min(july);
    let away = |longitude: f64| {
        let apart = (longitude / 15.0 - standard).rem_euclid(24.0);
        apart.min(24.0 - apart)
    };
    let hours = away(longitude);
    let (turned, swapped) = (away(-longitude), away(latitude));
    let likely = if longitude.abs() <= 90.0 && swapped <= DOUBT_HOURS && turned > DOUBT_HOURS {
        Some(Likely::Swapped)
    } else {
        (turned < hours - NEARER_HOURS).then_some(Likely::OtherSign)
    };
    if hours > NO_ZONE_HOURS || (hours > DOUBT_HOURS && likely == Some(Likely::OtherSign)) {
        return Some(Misplaced::Longitude { hours, likely });
    }
    let north = july - january;
    (north * latitude < 0.0 && latitude.abs() > 1.0).then_some(Misplaced::Latitude)
}

/// When a crop, or one cultivar of it, is in full bloom in a usual year.
#[derive(Clone, Debug, PartialEq)]
pub struct UsualBloom {
    /// The crop's id.
    pub crop: String,
    /// One cultivar of it, if the date is for that alone.
    pub cultivar: Option<String>,
    /// Month, 1 to 12.
    pub month: u32,
    /// Day of the month.
    pub day: u32,
    /// Whether the keeper is sure of it to a few days.
    pub sure: bool,
}

/// A soil by how it takes rain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Soil {
    /// Drains in a day or two.
    Sand,
    /// In between.
    #[default]
    Loam,
    /// Stays wet for long.
    Clay,
}

/// A plant hardiness zone in half steps of 5 °F of the mean annual extreme
/// minimum: `1a` begins at -60 °F, `13b` ends at 70 °F.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct HardinessZone {
    /// Half steps above 1a: 0 is 1a, 25 is 13b.
    steps: u8,
}

impl HardinessZone {
    /// Reads `7a`, `10B`.
    pub fn read(text: &str) -> Option<Self> {
        let text = text.trim().to_ascii_lowercase();
        let half = match text.chars().last()? {
            'a' => 0,
            'b' => 1,
            _ => return None,
        };
        let number: u8 = text[..text.len() - 1].parse().ok()?;
        (1..=13).contains(&number).then(|| HardinessZone {
            steps: (number - 1) * 2 + half,
        })
    }

    /// The zone that a mean annual extreme minimum falls in; the lower bound
    /// belongs to the zone. Colder than 1a counts as 1a, warmer than 13b as 13b.
    pub fn from_extreme_minimum_f(fahrenheit: f64) -> Self {
        let steps = ((fahrenheit + 60.0) / 5.0).floor().clamp(0.0, 25.0);
        HardinessZone { steps: steps as u8 }
    }

    /// The whole zone, 1 to 13.
    pub fn number(self) -> u8 {
        self.steps / 2 + 1
    }

    /// Lower bound of the mean annual extreme minimum, °F.
    pub fn low_f(self) -> f64 {
        -60.0 + 5.0 * f64::from(self.steps)
    }

    /// Upper bound, °F.
    pub fn high_f(self) -> f64 {
        self.low_f() + 5.0
    }

    /// Half steps above 1a.
    pub fn steps(self) -> u8 {
        self.steps
    }
}

impl fmt::Display for HardinessZone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}{}",
            self.number(),
            if self.steps.is_multiple_of(2) {
                'a'
            } else {
                'b'
            }
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice among growers of the central states: zone 7b is 5 to 10 °F.
    #[test]
    fn zone_7b_is_5_to_10_fahrenheit() {
        let zone = HardinessZone::read("7b").unwrap();
        assert_eq!((zone.low_f(), zone.high_f()), (5.0, 10.0));
        assert_eq!(HardinessZone::from_extreme_minimum_f(5.0), zone);
        assert_eq!(HardinessZone::from_extreme_minimum_f(9.99), zone);
        assert_eq!(
            HardinessZone::from_extreme_minimum_f(10.0).to_string(),
            "8a"
        );
    }

    /// Coordinates of towns to a degree or so (from memory) against the IANA
    /// zone data: every one is right as it stands, and wrong with the other
    /// sign wherever the sun can tell.
    #[test]
    fn a_place_lies_in_its_time_zone() {
        use chrono_tz::{Africa, America, Asia, Atlantic, Australia, Europe, Pacific};
        for (latitude, longitude, zone) in [
            (40.7, -74.0, America::New_York),
            (44.0, -103.2, America::Denver),
            (64.5, -165.4, America::Nome),
            (60.7, -135.1, America::Whitehorse),
            (52.0, -176.6, America::Adak),
            (-33.4, -70.7, America::Santiago),
            (-53.2, -70.9, America::Punta_Arenas),
            (64.1, -21.9, Atlantic::Reykjavik),
            (43.4, -8.4, Europe::Madrid),
            (53.3, -6.3, Europe::Dublin),
            (52.5, 13.4, Europe::Berlin),
            (-33.9, 18.4, Africa::Johannesburg),
            (39.5, 76.0, Asia::Shanghai),
            (35.7, 139.7, Asia::Tokyo),
            (-42.9, 147.3, Australia::Hobart),
            (-45.0, 169.0, Pacific::Auckland),
            (1.9, -157.5, Pacific::Kiritimati),
        ] {
            let of = |latitude, longitude| misplaced(latitude, longitude, zone, 2026);
            assert_eq!(of(latitude, longitude), None, "{zone}");
            // Near Greenwich and near the date line both signs may be right.
            if (30.0..150.0).contains(&f64::abs(longitude)) {
                let wrong = of(latitude, -longitude);
                let likely = match wrong {
                    Some(Misplaced::Longitude { likely, .. }) => likely,
                    _ => None,
                };
                assert_eq!(likely, Some(Likely::OtherSign), "{zone}");
            }
        }
        let other = misplaced(52.5, -13.4, Europe::Berlin, 2026);
        assert!(matches!(other, Some(Misplaced::Longitude { .. })));
        assert_eq!(
            misplaced(-44.0, -103.2, America::Denver, 2026),
            Some(Misplaced::Latitude)
        );
        assert_eq!(
            misplaced(42.9, 147.3, Australia::Hobart, 2026),
            Some(Misplaced::Latitude)
        );
        assert!(matches!(
            misplaced(-79.0, 39.4, America::New_York, 2026),
            Some(Misplaced::Longitude {
                likely: Some(_),
                ..
            })
        ));
    }

    /// US Department of Agriculture 2023: 1a begins at -60 °F, 13b ends at 70 °F.
    #[test]
    fn the_ends_of_the_scale() {
        assert_eq!(HardinessZone::read("1a").unwrap().low_f(), -60.0);
        assert_eq!(HardinessZone::read("13b").unwrap().high_f(), 70.0);
        for wrong in ["", "7", "7c", "0a", "14a", "a", "seven a", "７a"] {
            assert_eq!(HardinessZone::read(wrong), None, "{wrong}");
        }
    }
}
