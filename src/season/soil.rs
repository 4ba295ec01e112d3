//! Soil: how warm at a depth, how wet, and whether it can be worked.

use crate::facts::place::Soil;
use crate::facts::weather::DailyRecord;

/// Days before the first wanted one with which the soil model starts.
pub const LEAD_DAYS: usize = 60;

/// Share of the distance to the surface temperature that the soil moves in a
/// day, at a depth (cm) under a green area index (bare ground 0).
///
/// Kätterer & Andrén 2009, Acta Agric. Scand. B 59:77-86.
pub fn daily_share(depth_cm: f64, green_area_index: f64) -> f64 {
    0.24 * (-0.017 * depth_cm).exp() * (-0.15 * green_area_index).exp()
}

/// Surface temperature that the soil follows, °C, from the day's mean air
/// temperature. Under 5 cm of snow and more it is 0 (common practice).
///
/// The factor above zero on bare ground, 1.116, is an empirical fit for
/// cold-temperate sites: with an own reading carry its offset.
pub fn surface_c(mean_air_c: f64, green_area_index: f64, snow_cm: f64) -> f64 {
    if snow_cm >= 5.0 {
        0.0
    } else if mean_air_c < 0.0 {
        0.20 * mean_air_c
    } else {
        mean_air_c * (0.95 + 0.05 * (-0.4 * (0.8 * green_area_index - 3.0)).exp())
    }
}

/// One day of the soil model: the new temperature at the depth, °C.
pub fn step_c(soil_c: f64, mean_air_c: f64, depth_cm: f64, green_area_index: f64) -> f64 {
    let surface = surface_c(mean_air_c, green_area_index, 0.0);
    soil_c + (surface - soil_c) * daily_share(depth_cm, green_area_index)
}

/// Soil temperature at the end of each day of a record, °C, at a depth (cm) in
/// bare ground. It starts from the mean of the first week's known days; an
/// unknown day leaves the soil as it was. `None` until the first known day.
pub fn temperatures_c(record: &DailyRecord, depth_cm: f64) -> Vec<Option<f64>> {
    let mean = |index: usize| Some(0.5 * (record.low_c.get(index)? + record.high_c.get(index)?));
    let share = daily_share(depth_cm, 0.0);
    let mut soil: Option<f64> = None;
    (0..record.len())
        .map(|index| {
            if let Some(air) = mean(index) {
                let before = soil.unwrap_or_else(|| {
                    let week: Vec<f64> = (index..index + 7).filter_map(mean).collect();
                    week.iter().sum::<f64>() / week.len().max(1) as f64
                });
                soil = Some(before + (surface_c(air, 0.0, 0.0) - before) * share);
            }
            soil
        })
        .collect()
}

/// The other way, without constants: the mean of the last eleven days' air
/// temperature, shorter at the start (Zheng, Hunt & Running 1993, Clim. Res.
/// 2:183-191, from memory). Unknown days are left out.
pub fn running_mean_c(mean_air_c: &[f64]) -> Vec<Option<f64>> {
    (0..mean_air_c.len())
        .map(|day| {
            let window = mean_air_c.get(day.saturating_sub(10)..=day)?;
            let known: Vec<f64> = window.iter().copied().filter(|t| t.is_finite()).collect();
            (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
        })
        .collect()
}

/// Share of the rain index that is left the day after.
pub const RAIN_KEPT: f64 = 0.85;

/// Rain index at the end of a day, mm: what is left of yesterday's and today's
/// rain (Kohler & Linsley 1951, from memory; 0.85).
pub fn rain_index_mm(yesterday_mm: f64, rain_mm: f64) -> f64 {
    RAIN_KEPT * yesterday_mm + rain_mm
}

/// Rain index of each day of a record, mm; unknown rain counts as none.
pub fn rain_indices_mm(record: &DailyRecord) -> Vec<f64> {
    let mut index = 0.0;
    record
        .rain_mm
        .iter()
        .map(|rain| {
            index = rain_index_mm(index, rain.unwrap_or(0.0).max(0.0));
            index
        })
        .collect()
}

/// Rain index below which a soil can be worked, mm (common practice).
pub fn workable_below_mm(soil: Soil) -> f64 {
    match soil {
        Soil::Clay => 10.0,
        Soil::Loam => 15.0,
        Soil::Sand => 25.0,
    }
}

/// Whether the soil can be worked: above 2 °C, dry enough for its kind, less
/// than 2 mm of rain today (common practice). Not a number says no. The hand
/// decides: a handful that makes a shiny ball is too wet.
pub fn is_workable(soil: Soil, soil_c: f64, rain_index_mm: f64, rain_today_mm: f64) -> bool {
    soil_c > 2.0 && rain_index_mm < workable_below_mm(soil) && rain_today_mm < 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn near(value: f64, wanted: f64, within: f64) {
        assert!(
            (value - wanted).abs() <= within,
            "{value} instead of {wanted}"
        );
    }

    fn run(start: f64, days: &[(usize, f64)], depth: f64, green: f64) -> f64 {
        days.iter()
            .flat_map(|&(n, t)| std::iter::repeat_n(t, n))
            .fold(start, |soil, air| step_c(soil, air, depth, green))
    }

    /// reference/algorithms.md 10.1.
    #[test]
    fn soil_follows_the_air() {
        near(daily_share(10.0, 0.0), 0.202_48, 6e-6);
        near(
            0.5f64.ln() / (1.0 - daily_share(10.0, 0.0)).ln(),
            3.06,
            6e-3,
        );
        near(surface_c(1.0, 0.0, 0.0), 1.116_01, 6e-6);
        near(run(5.0, &[(60, 5.0)], 10.0, 0.0), 5.5800, 6e-5);
        near(run(0.0, &[(3, 0.0), (7, 10.0)], 10.0, 0.0), 8.8699, 6e-5);
        near(run(-10.0, &[(30, -10.0)], 10.0, 0.0), -2.0090, 6e-5);
        near(run(10.0, &[(30, 10.0)], 20.0, 3.0), 10.1314, 6e-5);
        near(
            0.5f64.ln() / (1.0 - daily_share(20.0, 3.0)).ln(),
            6.01,
            6e-3,
        );
        assert_eq!(surface_c(-8.0, 0.0, 5.0), 0.0);
    }

    /// The same section: 1..15 gives 10 on day 15 and 2 on day 3.
    #[test]
    fn running_mean_of_eleven_days() {
        let air: Vec<f64> = (1..=15).map(f64::from).collect();
        let mean = running_mean_c(&air);
        assert_eq!(mean[14], Some(10.0));
        assert_eq!(mean[2], Some(2.0));
        assert_eq!(running_mean_c(&[f64::NAN]), [None]);
        assert!(running_mean_c(&[]).is_empty());
    }

    /// reference/algorithms.md 10.2: 20 0 0 5 0 0 0.
    #[test]
    fn rain_index_of_the_reference() {
        let first = NaiveDate::from_ymd_opt(2025, 3, 1).unwrap();
        let mut record = DailyRecord::unknown(first, 0);
        for mm in [20.0, 0.0, 0.0, 5.0, 0.0, 0.0, 0.0] {
            record.push(Some(4.0), Some(8.0), Some(mm));
        }
        let index = rain_indices_mm(&record);
        near(index[6], 10.6136, 6e-5);
        assert!(!is_workable(Soil::Clay, 8.0, index[6], 0.0));
        assert!(is_workable(Soil::Loam, 8.0, index[6], 0.0));
        assert!(!is_workable(Soil::Sand, 1.9, 0.0, 0.0));
        assert!(!is_workable(Soil::Sand, f64::NAN, 0.0, 0.0));
        let soil = temperatures_c(&record, 10.0);
        near(soil[0].unwrap(), 6.0 + 0.116_01 * 6.0 * 0.202_48, 1e-3);
        record.low_c.set(0, None);
        assert_eq!(temperatures_c(&record, 10.0)[0], None);
    }
}
