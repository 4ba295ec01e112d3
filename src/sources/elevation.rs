//! From the height of a station to that of the orchard.
//!
//! Air is colder higher up by 0.65 °C in 100 m on the mean of the free
//! atmosphere (ISO 2533, standard atmosphere; standing: from memory). It
//! holds for means and for windy days. On clear still nights cold air sinks
//! and the slope can turn round: a low that is corrected upwards hides frost.
//! So lows are only ever corrected downwards (our judgement), and the figure,
//! being from memory, must not alone decide on anything.

use super::Part;
use crate::facts::weather::{Day, Hour};

/// °C in a metre of height (ISO 2533; standing: from memory).
pub const LAPSE_C_PER_M: f64 = 0.006_5;

/// Smaller differences than this are not corrected, m (our judgement: less
/// than a thermometer's error).
pub const LEAST_M: f64 = 30.0;

/// Beyond this a station says too little about the place, m (our judgement).
pub const MOST_M: f64 = 1_000.0;

/// What was added to temperatures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// Height of the place above the station, m.
    pub height_m: f64,
    /// What was added to highs and hours by day, °C.
    pub added_c: f64,
    /// What was added to lows, °C: never above nought.
    pub added_to_lows_c: f64,
    /// Whether the heights differ by more than a correction can bridge; then
    /// nothing was added.
    pub too_far: bool,
}

/// The correction from one height to another; `None` where none is due.
pub fn correction(from_m: f64, to_m: f64) -> Option<Correction> {
    let height_m = to_m - from_m;
    if !height_m.is_finite() || height_m.abs() < LEAST_M {
        return None;
    }
    let too_far = height_m.abs() > MOST_M;
    let added_c = if too_far {
        0.0
    } else {
        -LAPSE_C_PER_M * height_m
    };
    Some(Correction {
        height_m,
        added_c,
        added_to_lows_c: added_c.min(0.0),
        too_far,
    })
}

/// Corrects a part to the height of the place, where both heights are known.
/// Hours get the same as their day's highs; dew points move along, so that
/// the humidity stays.
pub fn correct(part: &mut Part, place_m: Option<f64>) -> Option<Correction> {
    let correction = correction(part.elevation_m?, place_m?)?;
    for day in &mut part.days {
        correct_day(day, correction);
    }
    for hour in &mut part.hours {
        correct_hour(hour, correction);
    }
    Some(correction)
}

fn correct_day(day: &mut Day, correction: Correction) {
    day.low_c = day.low_c.map(|c| c + correction.added_to_lows_c);
    // A high never falls below the low by that.
    day.high_c = day
        .high_c
        .map(|c| c + correction.added_c)
        .map(|c| day.low_c.map_or(c, |low| c.max(low)));
}

/// Hours are corrected downwards only, as lows are: nobody knows which of
/// them are the still ones.
fn correct_hour(hour: &mut Hour, correction: Correction) {
    hour.temperature_c = hour.temperature_c.map(|c| c + correction.added_to_lows_c);
    hour.dew_point_c = hour.dew_point_c.map(|c| c + correction.added_to_lows_c);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 2533: 15.0 °C at sea level, 8.5 °C at 1,000 m.
    #[test]
    fn a_thousand_metres_are_six_and_a_half_degrees() {
        let up = correction(0.0, 1_000.0).unwrap();
        assert_eq!((up.added_c, up.added_to_lows_c), (-6.5, -6.5));
        let down = correction(1_000.0, 0.0).unwrap();
        assert_eq!((down.added_c, down.added_to_lows_c), (6.5, 0.0));
        assert_eq!(correction(100.0, 120.0), None);
        assert!(correction(0.0, 2_000.0).unwrap().too_far);
        assert_eq!(correction(f64::NAN, 0.0), None);
    }
}
