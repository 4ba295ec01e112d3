//! Apple scab: hours of wetness by temperature, counted from daylight where
//! few spores fly at night, and the share of ascospores that is mature.

use super::wetness_table::WetnessTable;
use super::{Counter, Outcome, wet_temperatures};
use crate::facts::weather::HourlyRecord;
use crate::season::normal;
use crate::season::wetness::{Estimate, WetHours, WetPeriod};
use chrono::Timelike;

/// From when the hours of a period count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CountFrom {
    /// From the first rain: dirty orchards (over 1 % of leaves infected at the
    /// last leaf fall), and always after the primary season.
    Rain,
    /// Rain that starts in the dark counts from daylight, because nearly all
    /// ascospores fly by day (MacHardy & Gadoury 1989).
    Daylight {
        /// First hour of daylight, local standard time (7).
        from_hour: u32,
        /// First hour of the dark (19).
        dark_from_hour: u32,
    },
}

/// Judges one wet period (joined over dry breaks of less than 8 hours). A
/// period without rain lets no spores fly. For conidia pass a table with their
/// hours: the ascospores' and 2.5 more (MacHardy & Gadoury 1989).
pub fn judge(
    record: &HourlyRecord,
    wet: &WetHours,
    estimate: Estimate,
    period: &WetPeriod,
    table: &WetnessTable,
    count_from: CountFrom,
) -> Outcome {
    let mut counter = Counter::new(table, period.open);
    let rain_at = (period.first..=period.last).find(|&hour| wet.rained(hour));
    if let Some(rain_at) = rain_at {
        let start = first_counted(record, rain_at, count_from);
        for (hour, temperature_c) in wet_temperatures(record, wet, estimate, start..=period.last) {
            counter.add(hour, temperature_c);
        }
    }
    counter.outcome
}

/// The hour from which a period counts whose rain began at `rain_at`.
fn first_counted(record: &HourlyRecord, rain_at: usize, count_from: CountFrom) -> usize {
    let CountFrom::Daylight {
        from_hour,
        dark_from_hour,
    } = count_from
    else {
        return rain_at;
    };
    let hour = record.start(rain_at).hour();
    if hour >= dark_from_hour {
        rain_at + (24 + from_hour).saturating_sub(hour) as usize
    } else {
        rain_at + from_hour.saturating_sub(hour) as usize
    }
}

/// Ripening of ascospores: the probit of the mature share is a straight line
/// in degree days above 0 °C from the first mature spores (Gadoury & MacHardy
/// 1982; the form was read, the constants are from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Maturity {
    /// Probit at no heat (2.51).
    pub intercept: f64,
    /// Probits per °C day (0.010).
    pub slope: f64,
    /// Rainless days in a row after which heat no longer counts (7; Stensvand
    /// and others 2005).
    pub rainless_days: u32,
}

impl Maturity {
    /// Mature share, 0 to 1, at a heat sum in °C days.
    pub fn share(&self, heat: f64) -> f64 {
        normal::share_below(self.intercept + self.slope * heat - 5.0)
    }

    /// Heat at which a share is mature, °C days; `None` unless `0 < share < 1`
    /// and heat ripens.
    pub fn heat_for(&self, share: f64) -> Option<f64> {
        let z = normal::quantile(share)?;
        (self.slope > 0.0).then(|| (z + 5.0 - self.intercept) / self.slope)
    }
}

/// The heat that counts for ripening, day by day.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ripening {
    heat: f64,
    rainless: u32,
}

impl Ripening {
    /// Heat counted so far, °C days.
    pub fn heat(&self) -> f64 {
        self.heat
    }

    /// One day with its heat above 0 °C (°C days) and its rain (mm). From the
    /// eighth rainless day in a row on nothing is added until it rains. A day
    /// whose rain is unknown neither counts as rainless nor ends a dry spell.
    pub fn day(&mut self, heat: f64, rain_mm: Option<f64>, maturity: &Maturity) {
        match rain_mm {
            Some(mm) if mm > 0.0 => self.rainless = 0,
            Some(_) => self.rainless = self.rainless.saturating_add(1),
            None => {}
        }
        if self.rainless <= maturity.rainless_days && heat.is_finite() {
            self.heat += heat.max(0.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Class;
    use super::super::juniper_rust::tests::hours;
    use super::super::wetness_table::tests::scab;
    use super::*;
    use crate::season::wetness::{WetRule, periods};

    const BY_DAY: CountFrom = CountFrom::Daylight {
        from_hour: 7,
        dark_from_hour: 19,
    };

    fn judge_all(runs: &[(usize, bool, f64)], from: CountFrom) -> Vec<Outcome> {
        let record = hours(runs);
        let wet = WetHours::of(&record, &WetRule::default());
        periods(&record, &wet, Estimate::Low, 8)
            .iter()
            .map(|period| judge(&record, &wet, Estimate::Low, period, &scab(), from))
            .collect()
    }

    /// model_check_values scab-01 to scab-04 (West Virginia Univ. 2014, 2015).
    #[test]
    fn the_calls_of_west_virginia() {
        let rain = CountFrom::Rain;
        assert!(judge_all(&[(14, true, 41.0)], rain)[0].class < Class::Infection);
        let second = judge_all(&[(27, true, 41.8)], rain)[0];
        assert_eq!(second.class, Class::Infection);
        assert!((second.light_hours.unwrap() - 19.8).abs() < 1e-4);
        assert_eq!(
            judge_all(&[(15, true, 53.8)], rain)[0].class,
            Class::Infection
        );
        let broken = judge_all(&[(4, true, 66.0), (5, false, 66.0), (3, true, 56.0)], rain);
        assert_eq!(broken.len(), 1, "several dry hours do not part them");
        assert_eq!(broken[0].class, Class::Infection);
        assert_eq!(broken[0].counted_hours, 7);
    }

    /// model_check_values car-01: 7 h at 61 °F in the night was no scab.
    #[test]
    fn rain_in_the_night_counts_from_daylight() {
        // The record begins at midnight: rain from 20:00 to 03:00.
        let night = [(20, false, 61.0), (7, true, 61.0), (12, false, 61.0)];
        assert_eq!(judge_all(&night, BY_DAY)[0].class, Class::None);
        assert_eq!(
            judge_all(&night, CountFrom::Rain)[0].class,
            Class::Infection
        );
        // Rain at 03:00 that lasts to 14:00 counts from 07:00.
        let morning = judge_all(&[(3, false, 61.0), (11, true, 61.0)], BY_DAY)[0];
        assert_eq!(morning.counted_hours, 7);
        // By day it counts from the rain.
        let day = judge_all(&[(9, false, 61.0), (6, true, 61.0)], BY_DAY)[0];
        assert_eq!((day.counted_hours, day.class), (6, Class::Infection));
    }

    fn maturity() -> Maturity {
        Maturity {
            intercept: 2.51,
            slope: 0.010,
            rainless_days: 7,
        }
    }

    /// model_check_values mat-01 to mat-04.
    #[test]
    fn ripening_of_ascospores() {
        for (heat, share) in [(249.0, 0.5), (413.5, 0.95), (84.5, 0.05)] {
            assert!((maturity().share(heat) - share).abs() < 5e-4, "{heat}");
            assert!((maturity().heat_for(share).unwrap() - heat).abs() < 0.1);
        }
        let mut ripening = Ripening::default();
        ripening.day(10.0, Some(3.0), &maturity());
        for _ in 0..10 {
            ripening.day(10.0, Some(0.0), &maturity());
        }
        assert_eq!(
            ripening.heat(),
            80.0,
            "the eighth rainless day adds nothing"
        );
        ripening.day(10.0, Some(1.0), &maturity());
        assert_eq!(ripening.heat(), 90.0);
        ripening.day(f64::NAN, None, &maturity());
        assert_eq!(ripening.heat(), 90.0);
    }
}
