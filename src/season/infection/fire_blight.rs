//! Fire blight on open bloom: blossoms, heat, wetness and warmth must meet on
//! one day. Three of four is "one shower or one spray away".
//!
//! Figures and their standing: reference/fire_blight_thresholds.csv
//! (Massachusetts fruit growers' notes 2003 on the Maryland model; Yoder,
//! Virginia Tech; some from memory).

use super::Class;
use crate::facts::weather::rain_reaches;
use crate::facts::weather::{Column, DailyRecord};
use crate::season::degree_days::{RuleError, sine_excess};
use chrono::{Days, NaiveDate};

/// The figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlightRule {
    /// Temperature above which degree hours count, °C (65 °F).
    pub heat_base_c: f64,
    /// Degree hours needed, °C h (198 °F h).
    pub heat_needed: f64,
    /// Temperature above which blossoms age, °C (40 °F).
    pub age_base_c: f64,
    /// Heat that a blossom lives, °C days (80 °F days for apple).
    pub age_limit: f64,
    /// Mean of the day needed, °C (60 °F).
    pub mean_needed_c: f64,
    /// Rain of the day that wets, mm (0.01 in).
    pub rain_same_day_mm: f64,
    /// Rain of the day before that wets, mm (0.10 in).
    pub rain_day_before_mm: f64,
}

/// What one day of bloom brought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlightDay {
    /// The day.
    pub date: NaiveDate,
    /// Degree hours within the life of the oldest open blossom, °C h.
    pub degree_hours: f64,
    /// Heat enough.
    pub heat: bool,
    /// Rain, dew or a spray wetted the bloom; `None` where that is unknown.
    pub wet: Option<bool>,
    /// The day was warm enough on the mean.
    pub warm: bool,
    /// Mean of the day, °C, if known.
    pub mean_c: Option<f64>,
}

impl BlightDay {
    /// Infection with heat, wetness and warmth on open bloom; possible when
    /// only the wetness is missing or unknown, or when one other is missing.
    pub fn class(&self) -> Class {
        let met = [self.heat, self.wet == Some(true), self.warm];
        match met.iter().filter(|one| **one).count() {
            3 => Class::Infection,
            2 => Class::Possible,
            _ => Class::None,
        }
    }

    /// Only wetness is missing: say so before anything else is sprayed on open
    /// bloom.
    pub fn lacks_only_wetness(&self) -> bool {
        self.heat && self.warm && self.wet != Some(true)
    }
}

/// Degree hours of one temperature, °C h.
pub fn degree_hours_of(temperature_c: f64, base_c: f64) -> f64 {
    (temperature_c - base_c).max(0.0)
}

/// One day's weather for the model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BloomDay {
    /// The day.
    pub date: NaiveDate,
    /// Degree hours above the base, °C h, if known.
    pub degree_hours: Option<f64>,
    /// Heat above the base of blossom age, °C days, if known.
    pub age_heat: Option<f64>,
    /// Mean temperature, °C, if known.
    pub mean_c: Option<f64>,
    /// Rain, mm, if known.
    pub rain_mm: Option<f64>,
    /// Dew or a spray wetted the bloom.
    pub wetted: bool,
}

/// Gathers days of open bloom from hours (a column that begins at midnight of
/// the record's first day, °C) where 20 of 24 are known, else from a sine
/// through the day's extremes.
pub fn bloom_days(
    daily: &DailyRecord,
    hours_c: Option<&Column>,
    from: NaiveDate,
    to: NaiveDate,
    rule: &BlightRule,
) -> Vec<BloomDay> {
    from.iter_days()
        .take(366)
        .take_while(|date| *date <= to)
        .map(|date| {
            let index = daily.index(date);
            let day = daily.day(date);
            let hours: Vec<f64> = match (hours_c, index) {
                (Some(hours), Some(index)) => (index * 24..index * 24 + 24)
                    .filter_map(|hour| hours.get(hour))
                    .collect(),
                _ => Vec::new(),
            };
            let extremes = day
                .and_then(|day| Some((day.low_c?, day.high_c?)))
                .map(|(low, high)| (low.min(high), low.max(high)));
            let by_sine = |base: f64| extremes.map(|(low, high)| sine_excess(low, high, base));
            let (degree_hours, mean_c) = if hours.len() >= 20 {
                let share = 24.0 / hours.len() as f64;
                let sum: f64 = hours
                    .iter()
                    .map(|t| degree_hours_of(*t, rule.heat_base_c))
                    .sum();
                let mean = hours.iter().sum::<f64>() / hours.len() as f64;
                (Some(sum * share), Some(mean))
            } else {
                (
                    by_sine(rule.heat_base_c).map(|excess| 24.0 * excess),
                    extremes.map(|(low, high)| 0.5 * (low + high)),
                )
            };
            BloomDay {
                date,
                degree_hours,
                age_heat: by_sine(rule.age_base_c),
                mean_c,
                rain_mm: day.and_then(|day| day.rain_mm),
                wetted: false,
            }
        })
        .collect()
}

/// Judges every day of open bloom; `days` are consecutive from first bloom to
/// the last open blossom. Heat counts only as far back as the oldest open
/// blossom lives.
pub fn judge(days: &[BloomDay], rule: &BlightRule) -> Vec<BlightDay> {
    days.iter()
        .enumerate()
        .map(|(at, day)| {
            let degree_hours = living_heat(days.get(..=at).unwrap_or(&[]), rule);
            let rain_before = at
                .checked_sub(1)
                .and_then(|before| days.get(before))
                .and_then(|before| before.rain_mm);
            BlightDay {
                date: day.date,
                degree_hours,
                heat: degree_hours >= rule.heat_needed - 1e-6,
                wet: is_wetted(day, rain_before, rule),
                warm: day
                    .mean_c
                    .is_some_and(|mean| mean >= rule.mean_needed_c - 1e-6),
                mean_c: day.mean_c,
            }
        })
        .collect()
}

/// Degree hours of the days back from the last one as long as the blossoms
/// that were open then still live.
fn living_heat(days: &[BloomDay], rule: &BlightRule) -> f64 {
    let (mut heat, mut age) = (0.0, 0.0);
    for day in days.iter().rev() {
        heat += day.degree_hours.unwrap_or(0.0);
        age += day.age_heat.unwrap_or(0.0);
        if age >= rule.age_limit {
            break;
        }
    }
    heat
}

fn is_wetted(day: &BloomDay, rain_before: Option<f64>, rule: &BlightRule) -> Option<bool> {
    let reaches = |rain: Option<f64>, need: f64| rain.map(|mm| rain_reaches(mm, need));
    match (
        day.wetted,
        reaches(day.rain_mm, rule.rain_same_day_mm),
        reaches(rain_before, rule.rain_day_before_mm),
    ) {
        (true, _, _) | (_, Some(true), _) | (_, _, Some(true)) => Some(true),
        (_, None, _) => None,
        _ => Some(false),
    }
}

/// The day on which symptoms show: heat above a base since the day after the
/// infection (103 °F days above 55 °F, from memory). `None` when the record
/// ends before.
///
/// # Errors
/// [`RuleError`] when the base is not a number.
pub fn symptoms_on(
    daily: &DailyRecord,
    infected: NaiveDate,
    base_c: f64,
    heat: f64,
) -> Result<Option<NaiveDate>, RuleError> {
    use crate::facts::knowledge::{Cutoff, DegreeDayMethod, HeatRule};
    let rule = crate::season::degree_days::DegreeDays::by(HeatRule {
        method: DegreeDayMethod::SimpleAverage,
        base_c,
        upper_c: None,
        cutoff: Cutoff::Horizontal,
    })?;
    Ok(infected
        .checked_add_days(Days::new(1))
        .and_then(|from| rule.crossing(daily, from, heat))
        .map(|crossing| crossing.date))
}

/// Until when streptomycin is of use after hail, frost or storm where cankers
/// or strikes are near: the label and local advice come first (24 hours, New
/// England Apple Pest Management Guide 1996-97).
pub fn trauma_deadline(
    struck: chrono::NaiveDateTime,
    within_hours: u32,
) -> Option<chrono::NaiveDateTime> {
    struck.checked_add_signed(chrono::TimeDelta::hours(i64::from(within_hours)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::f_to_c;

    fn rule() -> BlightRule {
        BlightRule {
            heat_base_c: f_to_c(65.0),
            heat_needed: 198.0 / 1.8,
            age_base_c: f_to_c(40.0),
            age_limit: 80.0 / 1.8,
            mean_needed_c: f_to_c(60.0),
            rain_same_day_mm: 0.254,
            rain_day_before_mm: 2.54,
        }
    }

    fn day(d: u32, degree_hours_f: f64, mean_f: f64, rain_mm: f64) -> BloomDay {
        BloomDay {
            date: NaiveDate::from_ymd_opt(2016, 4, d).unwrap(),
            degree_hours: Some(degree_hours_f / 1.8),
            age_heat: Some((mean_f - 40.0) / 1.8),
            mean_c: Some(f_to_c(mean_f)),
            rain_mm: Some(rain_mm),
            wetted: false,
        }
    }

    /// model_check_values fb-01 and fb-02.
    #[test]
    fn degree_hours_of_the_definition() {
        let sum = |hours: &[(usize, f64)]| -> f64 {
            hours
                .iter()
                .map(|(n, f)| *n as f64 * degree_hours_of(f_to_c(*f), f_to_c(65.0)))
                .sum::<f64>()
                * 1.8
        };
        assert!((sum(&[(10, 80.0), (8, 71.0), (6, 60.0)]) - 198.0).abs() < 1e-9);
        assert!((sum(&[(24, 73.0)]) - 192.0).abs() < 1e-9);
        let met = judge(&[day(10, 198.0, 65.0, 5.0)], &rule());
        assert!(met[0].heat);
        assert!(!judge(&[day(10, 192.0, 65.0, 5.0)], &rule())[0].heat);
    }

    /// model_check_values fb-03 and fb-04 (Yoder 2016).
    #[test]
    fn one_of_the_four_missing() {
        let cool = judge(&[day(10, 198.0, 59.0, 5.0)], &rule())[0];
        assert_eq!(cool.class(), Class::Possible);
        let dry = judge(&[day(10, 198.0, 60.0, 0.0)], &rule())[0];
        assert_eq!(dry.class(), Class::Possible);
        assert!(dry.lacks_only_wetness());
        let mut sprayed = day(10, 198.0, 60.0, 0.0);
        sprayed.wetted = true;
        assert_eq!(judge(&[sprayed], &rule())[0].class(), Class::Infection);
        let mut unknown = day(10, 198.0, 60.0, 0.0);
        unknown.rain_mm = None;
        assert_eq!(judge(&[unknown], &rule())[0].wet, None);
    }

    #[test]
    fn heat_older_than_the_blossoms_is_forgotten() {
        // 25 °F days of age a day: the fourth day back is over 80.
        let days: Vec<BloomDay> = (1..=8).map(|d| day(d, 60.0, 65.0, 0.0)).collect();
        let judged = judge(&days, &rule());
        assert!((judged[0].degree_hours * 1.8 - 60.0).abs() < 1e-9);
        assert!((judged[7].degree_hours * 1.8 - 240.0).abs() < 1e-9);
        // Rain of 0.10 in the day before wets; 0.05 in does not.
        let mut wet = days.clone();
        wet[6].rain_mm = Some(2.54);
        assert_eq!(judge(&wet, &rule())[7].class(), Class::Infection);
        wet[6].rain_mm = Some(1.27);
        assert_eq!(judge(&wet, &rule())[7].class(), Class::Possible);
        assert!(judge(&[], &rule()).is_empty());
    }

    #[test]
    fn days_from_hours_or_extremes_and_symptoms() {
        let first = NaiveDate::from_ymd_opt(2016, 4, 1).unwrap();
        let mut daily = DailyRecord::unknown(first, 0);
        for _ in 0..30 {
            daily.push(Some(15.0), Some(25.0), Some(0.0));
        }
        let hours: Column = std::iter::repeat_n(Some(20.0), 24 * 15).collect();
        let days = bloom_days(&daily, Some(&hours), first, first + Days::new(20), &rule());
        let steady = 24.0 * (20.0 - f_to_c(65.0));
        assert!((days[0].degree_hours.unwrap() - steady).abs() < 1e-5);
        assert!(days[20].degree_hours.unwrap() > steady, "by the sine");
        // 103 °F days above 55 °F at 68 °F mean: eight days of 13.
        let on = symptoms_on(&daily, first, f_to_c(55.0), 103.0 / 1.8).unwrap();
        assert_eq!(on, Some(first + Days::new(8)));
        assert!(symptoms_on(&daily, first, f64::NAN, 1.0).is_err());
    }
}
