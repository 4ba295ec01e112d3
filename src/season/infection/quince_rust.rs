//! Quince rust on pome fruit: two grades, because sources differ.
//!
//! Severe years had more than 48 wet hours above 50 °F between tight cluster
//! and petal fall (Cornell); Virginia Tech called infections after ordinary
//! wets of 14 to 22 hours at 60 to 62 °F with blossoms open. So: possible from
//! the severe line of cedar-apple rust, severe at 48 hours. Whether blossoms
//! are at risk is judged by the caller.

use super::Class;
use super::juniper_rust::RustOutcome;
use crate::facts::weather::HourlyRecord;
use crate::season::wetness::{Estimate, WetHours};

/// The figures of the severe grade.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct QuinceRule {
    /// Warm wet hours that make a severe case (48).
    pub serious_hours: usize,
    /// Temperature above which a wet hour is warm, °C (50 °F).
    pub warm_above_c: f64,
}

/// Wet hours above the rule's temperature in a span of hours, such as those of
/// one period, or of the window of blossoms at risk so far.
pub fn warm_wet_hours(
    record: &HourlyRecord,
    wet: &WetHours,
    estimate: Estimate,
    span: std::ops::RangeInclusive<usize>,
    rule: &QuinceRule,
) -> usize {
    super::wet_temperatures(record, wet, estimate, span)
        .filter(|(_, temperature_c)| *temperature_c > rule.warm_above_c)
        .count()
}

/// The grade of one wet period: from what it was for cedar-apple rust, and
/// from the warm wet hours of the window of blossoms at risk so far.
pub fn judge(rust: &RustOutcome, warm_wet_hours: usize, rule: &QuinceRule) -> Class {
    match rust.outcome.class {
        Class::None | Class::Possible => Class::None,
        _ if warm_wet_hours > rule.serious_hours => Class::Severe,
        Class::Severe => Class::Possible,
        _ => Class::None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::juniper_rust::{self, tests as rust};
    use super::super::wetness_table::tests::rust as table;
    use super::*;
    use crate::season::wetness::{WetRule, periods};
    use crate::units::f_to_c;

    fn grade(hours: usize, f: f64) -> Class {
        let rule = QuinceRule {
            serious_hours: 48,
            warm_above_c: f_to_c(50.0),
        };
        let record = rust::hours(&[(hours, true, f)]);
        let wet = WetHours::of(&record, &WetRule::default());
        let period = periods(&record, &wet, Estimate::Low, 8)[0];
        let outcome = juniper_rust::judge(
            &record,
            &wet,
            Estimate::Low,
            &period,
            &table(),
            &rust::horns(),
        );
        let warm = warm_wet_hours(
            &record,
            &wet,
            Estimate::Low,
            period.first..=period.last,
            &rule,
        );
        judge(&outcome, warm, &rule)
    }

    /// Virginia Tech 2019: 22 h at 60 °F and 14 h at 62 °F with blossoms open;
    /// Cornell: more than 48 h above 50 °F.
    #[test]
    fn ordinary_wets_are_possible_and_two_days_severe() {
        assert_eq!(grade(22, 60.0), Class::Possible);
        assert_eq!(grade(14, 62.0), Class::Possible);
        assert_eq!(grade(7, 61.0), Class::None);
        assert_eq!(grade(48, 60.0), Class::Possible);
        assert_eq!(grade(49, 60.0), Class::Severe);
        assert_eq!(grade(60, 45.0), Class::None);
    }
}
