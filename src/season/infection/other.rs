//! Formulas for diseases without a table of their own.

/// Hours of wetness by the general form of Magarey, Sutton & Thayer 2005,
/// Phytopathology 95:92-100 (the power form partly from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GeneralInfection {
    /// Coldest temperature of infection, °C.
    pub least_c: f64,
    /// Best temperature, °C.
    pub best_c: f64,
    /// Warmest temperature, °C.
    pub most_c: f64,
    /// Wet hours at the best temperature.
    pub least_hours: f64,
    /// Most wet hours that are ever needed.
    pub most_hours: f64,
}

impl GeneralInfection {
    /// Wet hours needed at a mean temperature, °C; `None` at and beyond the
    /// coldest and the warmest, or when the temperatures do not rise.
    pub fn hours(&self, mean_c: f64) -> Option<f64> {
        if !(self.least_c < self.best_c
            && self.best_c < self.most_c
            && mean_c > self.least_c
            && mean_c < self.most_c)
        {
            return None;
        }
        let below = self.best_c - self.least_c;
        let above = self.most_c - self.best_c;
        let response = ((self.most_c - mean_c) / above)
            * ((mean_c - self.least_c) / below).powf(below / above);
        let hours = (self.least_hours / response).min(self.most_hours);
        hours.is_finite().then_some(hours)
    }
}

/// Black rot of apple (frogeye), Arauz & Sutton 1989, Phytopathology
/// 79:440-444: wet hours by temperature, 8 to 32 °C. The type of the abstract
/// is damaged; the fruit formula gives 28 h at 8 °C where the text says 38.
pub mod black_rot {
    fn within(mean_c: f64, hours: f64) -> Option<f64> {
        (8.0..=32.0).contains(&mean_c).then_some(hours)
    }

    /// Light infection of leaves.
    pub fn leaf_light_hours(mean_c: f64) -> Option<f64> {
        within(mean_c, 3_527.7 / (mean_c * mean_c))
    }

    /// Severe infection of leaves.
    pub fn leaf_severe_hours(mean_c: f64) -> Option<f64> {
        within(
            mean_c,
            116.0 - 5_380.7 / mean_c + 70_257.5 / (mean_c * mean_c),
        )
    }

    /// Light infection of fruit.
    pub fn fruit_hours(mean_c: f64) -> Option<f64> {
        within(mean_c, 14.8 - 265.2 / mean_c + 2_988.4 / (mean_c * mean_c))
    }
}

/// Sooty blotch and flyspeck: wet hours of periods of at least `least_hours`
/// (4) from a first day on; symptoms at a mean of 273 h (209 to 310), act at
/// 200 to 250 (Brown & Sutton 1995, Plant Disease 79:1165).
pub fn sooty_blotch_hours(
    periods: &[crate::season::wetness::WetPeriod],
    from_hour: usize,
    least_hours: usize,
) -> usize {
    periods
        .iter()
        .filter(|period| period.first >= from_hour && period.wet_hours >= least_hours)
        .map(|period| period.wet_hours)
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::wetness::WetPeriod;

    /// model_check_values gi-01.
    #[test]
    fn general_form() {
        let general = GeneralInfection {
            least_c: 7.0,
            best_c: 18.0,
            most_c: 30.0,
            least_hours: 10.0,
            most_hours: 42.0,
        };
        for (t, hours) in [(18.0, 10.0), (10.0, 19.7), (25.0, 15.3), (28.0, 33.2)] {
            assert!((general.hours(t).unwrap() - hours).abs() < 0.06, "{t}");
        }
        assert_eq!(general.hours(7.0), None);
        assert_eq!(general.hours(30.0), None);
        assert_eq!(general.hours(f64::NAN), None);
        assert_eq!(general.hours(7.01), Some(42.0));
    }

    /// model_check_values bl-01 to bl-03.
    #[test]
    fn black_rot_of_the_paper() {
        assert!((black_rot::leaf_light_hours(26.6).unwrap() - 4.99).abs() < 0.005);
        assert!((black_rot::leaf_severe_hours(26.6).unwrap() - 13.0).abs() < 0.05);
        assert!((black_rot::fruit_hours(22.0).unwrap() - 8.9).abs() < 0.05);
        assert_eq!(black_rot::fruit_hours(5.0), None);
    }

    #[test]
    fn short_periods_do_not_count_for_sooty_blotch() {
        let period = |first, wet_hours| WetPeriod {
            first,
            last: first + wet_hours,
            wet_hours,
            mean_c: None,
            rain_mm: 0.0,
            unknown_hours: 0,
            open: false,
        };
        let all = [period(0, 9), period(20, 3), period(40, 12), period(80, 4)];
        assert_eq!(sooty_blotch_hours(&all, 10, 4), 16);
        assert_eq!(sooty_blotch_hours(&[], 0, 4), 0);
    }
}
