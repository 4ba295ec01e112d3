//! Chill and growing degree hours against three open implementations.

use super::data::{self, Row, Tally, cell, check_values, number};
use super::sun_and_hours::jump_at_midnight;
use budtide::facts::weather::{Column, DailyRecord, HourlyRecord};
use budtide::season::chill::{self, ChillSums};
use budtide::season::heat::{DegreeHours, HeatCurve};
use budtide::season::hourly_curve::{self, CurveDay};
use budtide::season::sun;
use chrono::{Datelike, NaiveDate, NaiveDateTime};

fn at(row: &Row, key: &str) -> NaiveDateTime {
    NaiveDateTime::parse_from_str(cell(row, key), "%Y-%m-%dT%H:%M").unwrap()
}

/// 95 temperatures: every rate.
#[test]
fn every_rate_of_the_check_values() {
    let mut tally = Tally::default();
    for row in check_values("hourly_response_by_temperature") {
        let t = number(&row, "temp_c");
        for (key, value, within) in [
            ("gdh_asymcur_c", HeatCurve::Asymcur.rate(t), 1e-4),
            ("gdh_richardson_c", HeatCurve::HeldAbove25.rate(t), 1e-9),
            (
                "gdh_linear_4_25_36_c",
                HeatCurve::NothingFrom36.rate(t),
                1e-9,
            ),
            ("utah_unit", chill::utah_unit(t), 0.0),
            ("chill_hour_0_7p2", chill::hour_0_to_7_2(t), 0.0),
            ("chill_hour_le_45f", chill::hour_below_7_2(t), 0.0),
        ] {
            tally.row(|| format!("{key} at {t}"), value, number(&row, key), within);
        }
    }
    tally.done("hourly_response_by_temperature", 95 * 6);
}

fn hours_of(row: &Row) -> Option<HourlyRecord> {
    let file = cell(row, "input_file");
    let record = if cell(row, "case").contains("TMYwinter") {
        data::typical_winter(file)?
    } else {
        data::hourly(file, cell(row, "station"))?
    };
    Some(data::filled_hours(&record))
}

/// 82 running totals at month ends over hourly records: chill hours and Utah
/// exact, portions within 1.1 on the way and 0.05 at the end, heat 0.01 %.
#[test]
fn every_hourly_total_of_the_check_values() {
    let (mut exact, mut portions, mut heat) =
        (Tally::default(), Tally::default(), Tally::default());
    let rows = check_values("chill_and_gdh_from_hourly");
    let mut kept: Option<(String, Option<HourlyRecord>)> = None;
    for (nth, row) in rows.iter().enumerate() {
        let case = cell(row, "case").to_owned();
        if kept.as_ref().is_none_or(|(one, _)| *one != case) {
            kept = Some((case.clone(), hours_of(row)));
        }
        let Some((_, Some(record))) = &kept else {
            continue;
        };
        let from = record.index(at(row, "start_lst")).unwrap();
        let to = record.index(at(row, "end_lst")).unwrap() + 1;
        assert_eq!(to - from, number(row, "hours") as usize, "{case}");
        let sums = ChillSums::over(&record.temperature_c, from..to);
        assert_eq!(sums.missing, 0, "{case}");
        let what = || format!("{case} to {}", cell(row, "end_lst"));
        for (value, key) in [
            (sums.hours_0_to_7_2, "chill_hours_0_to_7p2c"),
            (sums.hours_below_7_2, "chill_hours_le_7p2c"),
            (sums.utah, "utah_units"),
        ] {
            exact.row(|| format!("{} {key}", what()), value, number(row, key), 0.0);
        }
        let last = rows
            .get(nth + 1)
            .is_none_or(|next| cell(next, "case") != case);
        let within = if last { 0.05 } else { 1.1 };
        for key in ["chill_portions", "chill_portions_numpy"] {
            portions.row(what, sums.portions, number(row, key), within);
        }
        for (curve, key) in [
            (HeatCurve::Asymcur, "gdh_asymcur_c"),
            (HeatCurve::HeldAbove25, "gdh_richardson_4p5_25c"),
            (HeatCurve::NothingFrom36, "gdh_linear_4_25_36c"),
        ] {
            let sum = DegreeHours::over(&record.temperature_c, from..to, curve).heat;
            let wanted = number(row, key);
            heat.row(
                || format!("{} {key}", what()),
                sum,
                wanted,
                // 0.01 %, and two decimals are printed.
                1e-4 * wanted + 0.006,
            );
        }
    }
    exact.done("chill hours and Utah units from hours", 27);
    portions.done("chill portions from hours", 18);
    heat.done("growing degree hours", 27);
}

/// 343 winters of hours made from daily extremes, 1 October on. The open
/// implementation's night curve jumps at midnight; hours with that jump give
/// its totals, and ours, without it, stay near them.
#[test]
fn every_winter_of_the_check_values() {
    let mut same = [(); 5].map(|()| Tally::default());
    let mut ours = [(); 5].map(|()| Tally::default());
    let rows = check_values("chill_from_daily_by_winter");
    let mut kept: Option<(String, Option<Hours>)> = None;
    for row in &rows {
        let station = cell(row, "station").to_owned();
        if kept.as_ref().is_none_or(|(one, _)| *one != station) {
            let hours = data::daily(&station)
                .map(|record| Hours::of(&data::filled(&record), number(row, "latitude_deg")));
            kept = Some((station.clone(), hours));
        }
        let Some((_, Some(hours))) = &kept else {
            continue;
        };
        let year: i32 = cell(row, "winter")
            .split('-')
            .next()
            .unwrap()
            .parse()
            .unwrap();
        // Chill hours and Utah units flip by the hour at a bound; measured.
        for (curve, tallies, within) in [
            (&hours.jumping, &mut same, [6.0, 3.0, 1.1, 1.1, 1e-3]),
            (&hours.smooth, &mut ours, [33.0, 23.0, 2.3, 2.3, 7e-3]),
        ] {
            let totals = hours.totals(curve, year);
            for (nth, key) in [
                "ch_oct1_mar31",
                "utah_oct1_mar31",
                "cp_oct1_mar31",
                "cp_oct1_jan31",
                "gdh_asymcur_feb1_apr30",
            ]
            .into_iter()
            .enumerate()
            {
                let wanted = number(row, key);
                // Heat by its ratio.
                let (value, wanted) = if nth == 4 {
                    (totals[nth] / wanted, 1.0)
                } else {
                    (totals[nth], wanted)
                };
                tallies[nth].row(
                    || format!("{station} {year} {key}"),
                    value,
                    wanted,
                    within[nth],
                );
            }
        }
    }
    for (tallies, name) in [(same, "with the jump"), (ours, "smooth")] {
        for (tally, what) in tallies.into_iter().zip([
            "chill hours",
            "Utah units",
            "portions to March",
            "portions to January",
            "heat (ratio)",
        ]) {
            tally.done(&format!("343 winters, {name}: {what}"), 36);
        }
    }
}

/// A record's hours by our curve and by the one that jumps at midnight.
struct Hours {
    first: NaiveDate,
    smooth: Column,
    jumping: Column,
}

impl Hours {
    fn of(record: &DailyRecord, latitude_deg: f64) -> Self {
        let smooth = hourly_curve::hours_of_record(record, latitude_deg);
        let day = |index: usize| {
            let length_h = sun::solar(
                latitude_deg,
                record.date(index).ordinal(),
                sun::Declination::Cbm,
            )
            .length_h();
            Some(CurveDay {
                low_c: record.low_c.get(index)?,
                high_c: record.high_c.get(index)?,
                length_h,
            })
        };
        let mut jumping = Column::default();
        for index in 0..record.len() {
            let mut hours = [f64::NAN; 24];
            for (hour, slot) in hours.iter_mut().enumerate() {
                *slot = smooth.get(index * 24 + hour).unwrap_or(f64::NAN);
            }
            if let Some(today) = day(index) {
                let before = index.checked_sub(1).and_then(day).unwrap_or(today);
                jump_at_midnight(&mut hours, before, today);
            }
            hours.iter().for_each(|t| jumping.push(Some(*t)));
        }
        Hours {
            first: record.first(),
            smooth,
            jumping,
        }
    }

    fn totals(&self, curve: &Column, year: i32) -> [f64; 5] {
        let hour = |y: i32, m: u32, d: u32| {
            let date = NaiveDate::from_ymd_opt(y, m, d).unwrap();
            24 * usize::try_from((date - self.first).num_days()).unwrap()
        };
        let october = hour(year, 10, 1);
        let winter = ChillSums::over(curve, october..hour(year + 1, 4, 1));
        let january = ChillSums::over(curve, october..hour(year + 1, 2, 1));
        let spring = DegreeHours::over(
            curve,
            hour(year + 1, 2, 1)..hour(year + 1, 5, 1),
            HeatCurve::Asymcur,
        );
        [
            winter.hours_0_to_7_2,
            winter.utah,
            winter.portions,
            january.portions,
            spring.heat,
        ]
    }
}
