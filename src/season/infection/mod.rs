//! Infection periods: whether a wet period was long and warm enough.
//!
//! The formulas take their figures as arguments; the figures live in the
//! knowledge. An answer of "none" is an estimate, above all where wetness is
//! estimated and not measured. An infection once reached is not undone by
//! what follows: the running mean over the wet hours is read hour by hour
//! (our judgement; the tables' own reading, the mean over the whole period,
//! is its last step).

pub mod wetness_table; // hours of wetness by temperature

pub mod juniper_rust; // horns wetted, then the table

pub mod quince_rust; // the severe line, and 48 warm wet hours

pub mod apple_scab; // daylight, the table, ascospores

pub mod fire_blight; // heat, wetness and warmth on open bloom

pub mod brown_rot; // share of blossoms blighted

pub mod other; // general form, black rot, sooty blotch

use crate::facts::weather::HourlyRecord;
use crate::season::wetness::{Estimate, WetHours};
use chrono::{Days, NaiveDate};
use wetness_table::WetnessTable;

/// How bad a period was.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// Too short or out of the temperatures.
    #[default]
    None,
    /// Near the line, or over it only if the leaves were wetter than likely.
    Possible,
    /// Long enough for a light infection.
    Infection,
    /// Long enough for a severe one.
    Severe,
}

/// Share of the hours needed from which a period is near the line.
pub const NEAR: f64 = 0.8;

/// Slack of the comparison, h: stored temperatures are rounded to 24 bits, and
/// a need of 6 hours must not become 6.000003.
const HOUR_SLACK: f64 = 1e-3;

/// What came of one wet period.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Outcome {
    /// The class reached.
    pub class: Class,
    /// Wet hours that counted.
    pub counted_hours: usize,
    /// Their mean temperature, °C.
    pub counted_mean_c: Option<f64>,
    /// Hours a light infection needs at that mean; `None`: none there.
    pub light_hours: Option<f64>,
    /// Hours a severe infection needs at that mean; `None`: none there.
    pub severe_hours: Option<f64>,
    /// Index of the hour in which the light line was reached.
    pub reached_at: Option<usize>,
    /// The period may go on: so far.
    pub open: bool,
}

/// Adds wet hours one by one and keeps the worst class reached.
#[derive(Debug)]
struct Counter<'a> {
    table: &'a WetnessTable,
    sum_c: f64,
    outcome: Outcome,
}

impl<'a> Counter<'a> {
    fn new(table: &'a WetnessTable, open: bool) -> Self {
        Counter {
            table,
            sum_c: 0.0,
            outcome: Outcome {
                open,
                ..Outcome::default()
            },
        }
    }

    fn add(&mut self, hour: usize, temperature_c: f64) {
        let one = &mut self.outcome;
        one.counted_hours += 1;
        self.sum_c += temperature_c;
        let mean = self.sum_c / one.counted_hours as f64;
        one.counted_mean_c = Some(mean);
        one.light_hours = self.table.light_hours(mean);
        one.severe_hours = self.table.severe_hours(mean);
        let class = class_of(one.counted_hours as f64, one.light_hours, one.severe_hours);
        if class >= Class::Infection {
            one.reached_at.get_or_insert(hour);
            one.class = one.class.max(class);
        } else if one.class < Class::Infection {
            // "Near" is no infection: it holds for the period as it stands.
            one.class = class;
        }
    }
}

/// The class of a number of wet hours against the hours needed: below 0.8 of
/// the light line none, then possible, from the line on infection, severe from
/// the severe line on (reference/algorithms.md 9.7). `None` for a need means
/// that there is none at this temperature.
pub fn class_of(wet_hours: f64, light_hours: Option<f64>, severe_hours: Option<f64>) -> Class {
    let reaches = |need: Option<f64>| need.is_some_and(|need| wet_hours >= need - HOUR_SLACK);
    if reaches(severe_hours) {
        Class::Severe
    } else if reaches(light_hours) {
        Class::Infection
    } else if reaches(light_hours.map(|need| NEAR * need)) {
        Class::Possible
    } else {
        Class::None
    }
}

/// How far the class hangs on the estimate of wetness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WetConfidence {
    /// The low and the high estimate say the same.
    Sure,
    /// The line falls between them.
    Between,
}

/// The class to tell from the outcomes of the low, the likely and the high
/// estimate of wetness: an infection that only the high one reaches is
/// possible.
pub fn weigh(low: Class, likely: Class, high: Class) -> (Class, WetConfidence) {
    let confidence = if low == high {
        WetConfidence::Sure
    } else {
        WetConfidence::Between
    };
    let told = if likely >= Class::Infection {
        likely
    } else if high >= Class::Infection {
        Class::Possible
    } else {
        likely
    };
    (told, confidence)
}

/// The days on which symptoms may show: least and most days after infection.
/// `None` when a lag is not finite or the calendar ends.
pub fn symptoms(infected: NaiveDate, lag_days: (f64, f64)) -> Option<(NaiveDate, NaiveDate)> {
    let after = |days: f64| {
        (days.is_finite() && (0.0..40_000.0).contains(&days))
            .then(|| infected.checked_add_days(Days::new(days.round() as u64)))
            .flatten()
    };
    Some((after(lag_days.0)?, after(lag_days.1)?))
}

/// The wet hours of a span with their temperatures; hours whose temperature
/// is unknown are passed over.
fn wet_temperatures<'a>(
    record: &'a HourlyRecord,
    wet: &'a WetHours,
    estimate: Estimate,
    span: std::ops::RangeInclusive<usize>,
) -> impl Iterator<Item = (usize, f64)> + 'a {
    span.filter(move |&hour| wet.is_wet(hour, estimate))
        .filter_map(|hour| Some((hour, record.temperature_c.get(hour)?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// reference/algorithms.md 9.7.
    #[test]
    fn classes_by_the_share_of_hours() {
        let class = |hours| class_of(hours, Some(10.0), Some(15.0));
        assert_eq!(class(7.9), Class::None);
        assert_eq!(class(8.0), Class::Possible);
        assert_eq!(class(10.0), Class::Infection);
        assert_eq!(class(15.0), Class::Severe);
        assert_eq!(class_of(99.0, None, None), Class::None);
        assert_eq!(class(f64::NAN), Class::None);
    }

    #[test]
    fn only_the_high_estimate_makes_it_possible() {
        use Class::*;
        assert_eq!(
            weigh(None, None, Infection),
            (Possible, WetConfidence::Between)
        );
        assert_eq!(weigh(Severe, Severe, Severe), (Severe, WetConfidence::Sure));
        assert_eq!(
            weigh(None, Infection, Severe),
            (Infection, WetConfidence::Between)
        );
    }

    /// model_check_values fb-05: 10 May, symptoms 21 May 2013 (Virginia Tech).
    #[test]
    fn lag_to_symptoms() {
        let day = |d| NaiveDate::from_ymd_opt(2013, 5, d).unwrap();
        assert_eq!(symptoms(day(10), (11.0, 11.0)), Some((day(21), day(21))));
        assert_eq!(symptoms(day(10), (f64::NAN, 1.0)), None);
        assert_eq!(symptoms(NaiveDate::MAX, (1.0, 2.0)), None);
    }
}
