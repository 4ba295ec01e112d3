//! Dew points and wet hours against open libraries.

use super::data::{self, Tally, cell, check_values, maybe, number};
use budtide::facts::weather::HourlyRecord;
use budtide::season::wetness::{self, Estimate, WetHours, WetRule};
use chrono::Datelike;

/// 160 rows: 0.05 °C of the other formulas above 0 °C, 0.15 below (over water).
#[test]
fn every_dew_point_of_the_check_values() {
    let mut tally = Tally::default();
    for row in check_values("dew_point_vapour_pressure") {
        let (t, rh) = (number(&row, "temp_c"), number(&row, "rh_pct"));
        let dew = wetness::dew_point_c(t, rh).unwrap();
        let within = if dew > 0.0 { 0.05 } else { 0.15 };
        let what = || format!("{t} °C {rh} %");
        tally.row(what, dew, number(&row, "dewp_magnus_alduchov_c"), 0.001);
        tally.row(what, dew, number(&row, "dewp_metpy_c"), within);
        tally.row(what, dew, number(&row, "dewp_fao56_c"), within);
        // Below 0.5 °C that library works over ice.
        if dew > 0.5 {
            tally.row(what, dew, number(&row, "dewp_psychrolib_c"), within);
        }
        let back = wetness::humidity_pct(t, dew).unwrap();
        tally.row(what, back, rh.min(100.0), 1e-6);
        if let Some(reported) = maybe(&row, "dewp_reported_c") {
            tally.row(
                what,
                wetness::humidity_pct(t, reported).unwrap(),
                number(&row, "rh_from_reported_dewp_pct").min(100.0),
                0.006,
            );
        }
    }
    tally.done("dew_point_vapour_pressure", 160 * 5);
}

/// 85 months: rain or 90 %, frozen hours included as the file has them.
#[test]
fn every_month_of_wet_hours() {
    let mut tally = Tally::default();
    let rows = check_values("wet_hours_by_month");
    let mut kept: Option<(String, Option<HourlyRecord>)> = None;
    for row in &rows {
        let (file, station) = (cell(row, "input_file"), cell(row, "station"));
        let key = format!("{file} {station}");
        if kept.as_ref().is_none_or(|(one, _)| *one != key) {
            let record = if file.contains("tmy3") {
                data::typical_year(file)
            } else {
                data::hourly(file, station)
            };
            kept = Some((key.clone(), record));
        }
        let Some((_, Some(record))) = &kept else {
            continue;
        };
        let wet = WetHours::of(
            record,
            &WetRule {
                frozen_at_c: f64::NEG_INFINITY,
                ..WetRule::default()
            },
        );
        let month = cell(row, "month_lst");
        let in_month = |hour: usize| {
            let start = record.start(hour);
            format!("{:04}-{:02}", start.year(), start.month()) == month
        };
        let hours: Vec<usize> = (0..record.len()).filter(|hour| in_month(*hour)).collect();
        let humidity = |hour: usize| {
            record.humidity_pct.get(hour).or_else(|| {
                wetness::humidity_pct(
                    record.temperature_c.get(hour)?,
                    record.dew_point_c.get(hour)?,
                )
            })
        };
        let count =
            |test: &dyn Fn(usize) -> bool| hours.iter().filter(|hour| test(**hour)).count() as f64;
        let what = |name: &str| format!("{key} {month} {name}");
        tally.row(
            || what("hours_wet_rain_or_rh90"),
            count(&|hour| wet.is_wet(hour, Estimate::Low)),
            number(row, "hours_wet_rain_or_rh90"),
            0.0,
        );
        tally.row(
            || what("hours_precip_gt_0"),
            count(&|hour| wet.rained(hour)),
            number(row, "hours_precip_gt_0"),
            0.0,
        );
        for (name, least) in [("hours_rh_ge_90", 90.0), ("hours_rh_ge_85", 85.0)] {
            tally.row(
                || what(name),
                count(&|hour| humidity(hour).is_some_and(|rh| rh >= least)),
                number(row, name),
                0.0,
            );
        }
        tally.row(
            || what("hours_rh_ge_85 flag"),
            count(&|hour| wet.is_humid(hour)),
            number(row, "hours_rh_ge_85"),
            0.0,
        );
        if !file.contains("tmy3") {
            tally.row(
                || what("hours_dpd_le_2c"),
                count(&|hour| {
                    let (t, dew) = (record.temperature_c.get(hour), record.dew_point_c.get(hour));
                    t.zip(dew).is_some_and(|(t, dew)| t - dew <= 2.0 + 1e-5)
                }),
                number(row, "hours_dpd_le_2c"),
                0.0,
            );
        }
        tally.row(
            || what("precip_mm"),
            hours
                .iter()
                .filter_map(|hour| record.rain_mm.get(*hour))
                .sum(),
            number(row, "precip_mm"),
            0.051,
        );
    }
    tally.done("wet_hours_by_month", 60);
}
