//! Degrees of another kind than the field says.

use super::Odd;
use crate::units::c_to_f;
use serde::{Deserialize, Serialize};

/// Farther than this from the forecast of the hour, a temperature does not fit
/// it, K (our choice: cold pockets and bad forecasts stay below it mostly).
const FAR_K: f64 = 8.0;

/// Hours that fitted after which a console is trusted.
const TRUSTED: u8 = 3;

/// Holds the hours of a console that says °F against what was forecast: a
/// capture held °C under that name (reference: weather-sources 4.2). From
/// freezing on the two lie 17 K and more apart.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Trial {
    fitted: u8,
    doubted: bool,
}

impl Trial {
    /// Judges a temperature that was read as °F against the forecast of its
    /// hour; both °C.
    pub fn judge(&mut self, read_c: f64, forecast_c: f64) -> Option<Odd> {
        let number = c_to_f(read_c);
        let (away, other) = ((read_c - forecast_c).abs(), (number - forecast_c).abs());
        if away <= FAR_K && away < other {
            self.fitted = self.fitted.saturating_add(1);
            self.doubted = false;
        } else if away > FAR_K && other <= FAR_K && self.fitted < TRUSTED {
            self.doubted = true;
            return Some(Odd::LooksCelsius {
                value: number,
                forecast_c,
            });
        }
        None
    }

    /// Whether its temperatures are to be left out.
    pub fn is_doubted(&self) -> bool {
        self.doubted
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::f_to_c;

    #[test]
    fn degrees_of_the_other_kind_are_found_from_freezing_on() {
        for celsius in [0.0, 15.0, 35.0] {
            for forecast in [celsius - 6.0, celsius, celsius + 6.0] {
                let mut trial = Trial::default();
                let odd = trial.judge(f_to_c(celsius), forecast);
                assert!(odd.is_some() && trial.is_doubted(), "{celsius} {forecast}");
                let mut right = Trial::default();
                assert_eq!(right.judge(celsius, forecast), None);
                assert!(!right.is_doubted());
            }
        }
    }

    #[test]
    fn a_console_that_fitted_is_trusted_through_a_wrong_forecast() {
        let mut trial = Trial::default();
        for _ in 0..TRUSTED {
            trial.judge(5.0, 6.0);
        }
        assert_eq!(trial.judge(f_to_c(18.0), 18.0), None);
        assert!(!trial.is_doubted());
        let mut far = Trial::default();
        assert_eq!(far.judge(5.0, 30.0), None, "neither kind fits: no word");
        // On a cold day either may be right: it is not trusted by that.
        far.judge(f_to_c(-12.0), -18.0);
        assert_eq!(far, Trial::default());
    }
}
