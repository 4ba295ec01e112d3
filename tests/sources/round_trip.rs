//! What is written is read again; whatever the bytes, no panic.

use super::options;
use budtide::facts::weather::{Day, Hour};
use budtide::sources::csv_file::read;
use chrono::{NaiveDate, TimeDelta, TimeZone};
use proptest::prelude::*;
use std::fmt::Write as _;

fn text(value: Option<f64>) -> String {
    value.map_or(String::new(), |value| value.to_string())
}

fn tenths(range: std::ops::Range<i32>) -> impl Strategy<Value = Option<f64>> {
    proptest::option::weighted(0.9, range.prop_map(|tenths| f64::from(tenths) / 10.0))
}

fn days() -> impl Strategy<Value = Vec<Day>> {
    let day = (1u64..4, tenths(-400..100), tenths(100..500), tenths(0..800));
    (0i64..60_000, proptest::collection::vec(day, 1..40)).prop_map(|(first, rows)| {
        let mut date = NaiveDate::from_ymd_opt(1900, 1, 1).unwrap() + TimeDelta::days(first);
        rows.into_iter()
            .map(|(step, low_c, high_c, rain_mm)| {
                date += TimeDelta::days(step as i64);
                Day {
                    date,
                    low_c,
                    high_c,
                    rain_mm,
                }
            })
            .collect()
    })
}

fn hours() -> impl Strategy<Value = Vec<Hour>> {
    let hour = (
        1i64..3,
        tenths(-400..400),
        tenths(-400..300),
        tenths(0..1000),
        tenths(0..300),
        tenths(0..400),
    );
    (0i64..500_000, proptest::collection::vec(hour, 1..60)).prop_map(|(first, rows)| {
        let zero = NaiveDate::from_ymd_opt(1975, 1, 1)
            .unwrap()
            .and_hms_opt(0, 0, 0);
        let mut start = zero.unwrap() + TimeDelta::hours(first);
        rows.into_iter()
            .map(
                |(step, temperature_c, dew_point_c, humidity_pct, rain_mm, wind_m_s)| {
                    start += TimeDelta::hours(step);
                    Hour {
                        start,
                        temperature_c,
                        dew_point_c,
                        humidity_pct,
                        rain_mm,
                        wind_m_s,
                    }
                },
            )
            .collect()
    })
}

fn hourly_row(out: &mut String, stamp: &str, hour: &Hour) {
    let _ = writeln!(
        out,
        "{stamp},{},{},{},{},{}",
        text(hour.temperature_c),
        text(hour.dew_point_c),
        text(hour.humidity_pct),
        text(hour.rain_mm),
        text(hour.wind_m_s)
    );
}

const HOURLY: &str = "time,temp_c,dewp_c,rh_pct,rain_mm,wind_m_s\n";

/// A fraction of a humidity that is never above 1 is asked about: told here.
const SURE: (&str, &str) = ("unit.humidity", "%");

proptest! {
    #[test]
    fn days_come_back(days in days(), comma in any::<bool>()) {
        let mut out = if comma { "date;tmin_c;tmax_c;rain_mm\n" } else { "date,tmin_c,tmax_c,rain_mm\n" }.to_owned();
        for day in &days {
            let row = format!("{},{},{},{}", day.date, text(day.low_c), text(day.high_c), text(day.rain_mm));
            let row = if comma { row.replace(',', ";").replace('.', ",") } else { row };
            out.push_str(&row);
            out.push('\n');
        }
        let import = read(out.as_bytes(), "days.csv", &options(&[])).unwrap();
        prop_assert_eq!(&import.daily, &days);
        prop_assert_eq!(import.report.kept, days.len());
        prop_assert_eq!(import.report.rows_dropped() + import.report.values_dropped(), 0);
        let spanned = (days[days.len() - 1].date - days[0].date).num_days() + 1;
        prop_assert_eq!((import.daily.len() + import.report.missing()) as i64, spanned);
    }

    #[test]
    fn hours_come_back_in_standard_time(hours in hours()) {
        let mut out = HOURLY.to_owned();
        for hour in &hours {
            hourly_row(&mut out, &hour.start.format("%Y-%m-%d %H:%M").to_string(), hour);
        }
        let import = read(out.as_bytes(), "hours.csv", &options(&[SURE])).unwrap();
        prop_assert_eq!(import.hourly, hours);
    }

    #[test]
    fn hours_come_back_through_utc_and_civil_time(
        hours in hours(),
        zone in prop_oneof![Just(chrono_tz::America::New_York), Just(chrono_tz::Europe::Berlin)],
        newest_first in any::<bool>(),
    ) {
        // Both zones have kept one standard offset since 1975.
        let standard = if zone == chrono_tz::Europe::Berlin { 1 } else { -5 };
        let (mut utc, mut civil): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
        for hour in &hours {
            let instant = hour.start - TimeDelta::hours(standard);
            let wall = zone.from_utc_datetime(&instant).naive_local();
            let mut row = String::new();
            hourly_row(&mut row, &instant.format("%Y-%m-%dT%H:%M:%SZ").to_string(), hour);
            utc.push(row);
            let mut row = String::new();
            hourly_row(&mut row, &wall.format("%Y-%m-%d %H:%M").to_string(), hour);
            civil.push(row);
        }
        if newest_first {
            utc.reverse();
            civil.reverse();
        }
        let utc = HOURLY.to_owned() + &utc.concat();
        let civil = HOURLY.to_owned() + &civil.concat();
        let name = zone.name();
        let read_utc = read(utc.as_bytes(), "utc.csv", &options(&[SURE, ("zone", name)])).unwrap();
        prop_assert_eq!(&read_utc.hourly, &hours);
        let told = options(&[SURE, ("zone", name), ("clock", "civil")]);
        let read_civil = read(civil.as_bytes(), "civil.csv", &told).unwrap();
        // An hour of the repeated pair that stands alone in the file is taken
        // as daylight time and may so be an hour early: told in the report.
        if read_civil.report.finding(budtide::sources::csv_file::Reason::FallHourOnce).is_none() {
            prop_assert_eq!(&read_civil.hourly, &hours);
        }
    }

    #[test]
    fn any_bytes_give_an_answer(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes, "any", &options(&[]));
        let mut with_header = b"station;time;temp_c;tmax_f;rh;rain_in\n".to_vec();
        with_header.extend(&bytes);
        let _ = read(&with_header, "any", &options(&[("zone", "Europe/Berlin"), ("clock", "civil")]));
    }

    #[test]
    fn any_rows_are_accounted_for(
        rows in proptest::collection::vec("[-0-9:/.,;TZ \"#NAx]{0,24}", 0..40),
        station in any::<bool>(),
    ) {
        let head = if station { "station,date,tmin_c,tmax_c\n" } else { "date,tmin_c,tmax_c\n" };
        let out = head.to_owned() + &rows.join("\n");
        if let Ok(import) = read(out.as_bytes(), "any", &options(&[("dates", "m/d/y")])) {
            let report = &import.report;
            prop_assert_eq!(report.rows, report.kept + report.rows_dropped() + report.other_stations);
            prop_assert_eq!(report.kept, import.daily.len());
            prop_assert!(report.to_string().lines().all(|line| line.chars().count() <= 80));
            // Every line of the file is a row, a comment or blank.
            let lines = out.lines().count() - 1;
            prop_assert_eq!(report.rows + report.comments + report.blank, lines);
        }
    }
}
