//! Where the orchard stands.

use crate::units::UnitSystem;
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
