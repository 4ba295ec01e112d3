//! Sunrise, sunset and day length against three astronomical programs, and the
//! hourly curve against an open implementation.

use super::data::{Tally, cell, check_values, number};
use budtide::season::hourly_curve::{CurveDay, hours_of_day};
use budtide::season::sun::{self, Declination, SunTimes};
use chrono::{Datelike, NaiveDate, Timelike};

fn hours(text: &str) -> f64 {
    let time: chrono::NaiveTime = text.parse().unwrap();
    f64::from(time.num_seconds_from_midnight()) / 3600.0
}

/// 143 rows; within a minute of ephem (horizon -0:50 on the disc's centre),
/// two of astral and pvlib.
#[test]
fn sunrise_and_sunset_within_a_minute_of_the_almanac() {
    let mut tally = Tally::default();
    for row in check_values("day_length_sunrise_sunset") {
        let date: NaiveDate = cell(&row, "date").parse().unwrap();
        let SunTimes { rise_h, set_h } = sun::civil(
            date,
            number(&row, "latitude_deg"),
            number(&row, "longitude_deg"),
            number(&row, "utc_offset_h"),
        )
        .unwrap();
        let what = |kind: &str| format!("{} {date} {kind}", cell(&row, "place"));
        for (kind, value, key, minutes) in [
            ("rise", rise_h, "sunrise_lst_ephem", 1.0),
            ("set", set_h, "sunset_lst_ephem", 1.0),
            ("rise astral", rise_h, "sunrise_lst_astral", 2.0),
            ("set astral", set_h, "sunset_lst_astral", 2.0),
        ] {
            tally.row(
                || what(kind),
                value * 60.0,
                hours(cell(&row, key)) * 60.0,
                minutes,
            );
        }
        for (key, minutes) in [
            ("daylength_h_ephem", 1.0),
            ("daylength_h_astral", 2.0),
            ("daylength_h_pvlib_spa", 3.0),
        ] {
            tally.row(
                || what(key),
                (set_h - rise_h) * 60.0,
                number(&row, key) * 60.0,
                minutes,
            );
        }
    }
    tally.done("day_length_sunrise_sunset (minutes)", 143 * 7);
}

/// The day-of-year formulas that the chill models use lie within some six
/// minutes of the almanac.
#[test]
fn plain_day_length_within_six_minutes() {
    let mut tally = Tally::default();
    for row in check_values("day_length_sunrise_sunset") {
        let day = number(&row, "doy") as u32;
        for formula in [Declination::Cbm, Declination::Spencer] {
            let length = sun::solar(number(&row, "latitude_deg"), day, formula).length_h();
            tally.row(
                || format!("{} {day} {formula:?}", cell(&row, "place")),
                length * 60.0,
                number(&row, "daylength_h_ephem") * 60.0,
                6.5,
            );
        }
    }
    tally.done("plain day length (minutes)", 286);
}

/// Turns hours of our curve into those of the open implementation, which
/// leaves out the "+1" in the denominator of the hours before sunrise and so
/// jumps at midnight.
pub fn jump_at_midnight(hours: &mut [f64; 24], before: CurveDay, day: CurveDay) {
    let sunset = 12.0 + 0.5 * before.length_h;
    let sunrise = 12.0 - 0.5 * day.length_h;
    let night = 24.0 - sunset + sunrise;
    let at_sunset = before.low_c
        + (before.high_c - before.low_c)
            * (std::f64::consts::PI * before.length_h / (before.length_h + 4.0)).sin();
    for (hour, value) in hours.iter_mut().enumerate() {
        if (hour as f64) < sunrise {
            *value = at_sunset - (at_sunset - *value) * night.ln_1p() / night.ln();
        }
    }
}

/// 36 days of 24 hours, from sunrise on as they are, before it with the jump
/// of the open implementation.
#[test]
fn every_hour_of_the_linvill_check_values() {
    let mut tally = Tally::default();
    for row in check_values("hourly_from_daily_linvill") {
        let date: NaiveDate = cell(&row, "date").parse().unwrap();
        let latitude = number(&row, "latitude_deg");
        let length =
            |day: NaiveDate| sun::solar(latitude, day.ordinal(), Declination::Cbm).length_h();
        let own = number(&row, "daylength_h");
        let drift = own - length(date);
        // By another declination formula there.
        tally.row(|| format!("day length {date}"), drift, 0.0, 0.006);
        let day = |low, high, date| CurveDay {
            low_c: low,
            high_c: high,
            length_h: length(date),
        };
        let (low, high) = (number(&row, "tmin_c"), number(&row, "tmax_c"));
        let before = day(
            number(&row, "tmin_prev_c"),
            number(&row, "tmax_prev_c"),
            date.pred_opt().unwrap(),
        );
        let today = day(low, high, date);
        let after = day(number(&row, "tmin_next_c"), high, date.succ_opt().unwrap());
        let mut curve = hours_of_day(Some(before), today, Some(after));
        jump_at_midnight(&mut curve, before, today);
        for (hour, value) in curve.iter().enumerate() {
            let wanted = number(&row, &format!("t_h{hour}_c"));
            tally.row(
                || format!("{} {date} {hour} h", cell(&row, "station")),
                *value,
                wanted,
                0.01,
            );
        }
    }
    tally.done("hourly_from_daily_linvill", 36 * 24);
}
