//! Thirty years of hours through the models: `cargo bench --bench models`.
//!
//! Prints milliseconds (the best of several runs) and ratios to the first
//! line, which are what compares between machines.

use budtide::facts::knowledge::{Cutoff, DegreeDayMethod, HeatRule};
use budtide::facts::weather::{DailyRecord, HourlyRecord};
use budtide::season::chill::{ChillSums, DynamicModel};
use budtide::season::degree_days::DegreeDays;
use budtide::season::heat::{DegreeHours, HeatCurve};
use budtide::season::wetness::{self, Estimate, WetHours, WetRule};
use budtide::season::{freeze_dates, hourly_curve, screening};
use chrono::NaiveDate;
use std::hint::black_box;
use std::time::Instant;

const HOURS: usize = 262_800;
const DAYS: usize = HOURS / 24;

fn made_weather() -> (DailyRecord, HourlyRecord) {
    let first = NaiveDate::from_ymd_opt(1995, 1, 1).unwrap_or_default();
    let mut daily = DailyRecord::unknown(first, 0);
    let mut state: u64 = 1;
    let mut noise = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / 16_777_216.0 - 0.5
    };
    for day in 0..DAYS {
        let season = (day as f64 / 365.25 * std::f64::consts::TAU).cos();
        let low = 6.0 - 12.0 * season + 9.0 * noise();
        let high = low + 11.0 + 6.0 * noise();
        daily.push(Some(low), Some(high), Some((20.0 * noise() - 5.0).max(0.0)));
    }
    let mut hourly = HourlyRecord::unknown(first.and_hms_opt(0, 0, 0).unwrap_or_default(), HOURS);
    hourly.temperature_c = hourly_curve::hours_of_record(&daily, 39.0);
    for hour in 0..HOURS {
        let humid =
            72.0 + 15.0 * (hour as f64 / 24.0 * std::f64::consts::TAU).cos() + 30.0 * noise();
        hourly
            .humidity_pct
            .set(hour, Some(humid.clamp(15.0, 100.0)));
        let rain = if noise() > 0.45 { 1.0 } else { 0.0 };
        hourly.rain_mm.set(hour, Some(rain));
    }
    (daily, hourly)
}

fn best_ms(runs: u32, mut work: impl FnMut()) -> f64 {
    (0..runs)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let (daily, hourly) = made_weather();
    let hours = &hourly.temperature_c;
    let Ok(rule) = DegreeDays::by(HeatRule {
        method: DegreeDayMethod::SingleSine,
        base_c: 4.5,
        upper_c: Some(30.0),
        cutoff: Cutoff::Horizontal,
    }) else {
        return;
    };
    let rows: Vec<(&str, f64)> = vec![
        (
            "chill portions, step by step",
            best_ms(9, || {
                let mut model = DynamicModel::default();
                for t in hours.iter().flatten() {
                    model.step(t);
                }
                black_box(model.portions());
            }),
        ),
        (
            "degree days, single sine, daily",
            best_ms(9, || {
                black_box(rule.daily(&daily));
            }),
        ),
        (
            "growing degree hours, two cosines",
            best_ms(9, || {
                black_box(DegreeHours::over(hours, 0..HOURS, HeatCurve::Asymcur));
            }),
        ),
        (
            "wet hours and periods",
            best_ms(9, || {
                let wet = WetHours::of(&hourly, &WetRule::default());
                black_box(wetness::periods(&hourly, &wet, Estimate::Likely, 8));
            }),
        ),
    ];
    let together: f64 = rows.iter().map(|row| row.1).sum();
    let further: Vec<(&str, f64)> = vec![
        (
            "all chill units",
            best_ms(9, || {
                black_box(ChillSums::over(hours, 0..HOURS));
            }),
        ),
        (
            "degree days by the hour",
            best_ms(9, || {
                black_box(rule.daily_from_hours(hours));
            }),
        ),
        (
            "hourly curve of the record",
            best_ms(9, || {
                black_box(hourly_curve::hours_of_record(&daily, 39.0));
            }),
        ),
        (
            "screening",
            best_ms(9, || {
                black_box(screening::screen(&daily));
            }),
        ),
        (
            "freeze dates at 32 °F",
            best_ms(9, || {
                black_box(freeze_dates::by_year(
                    &daily,
                    0.0,
                    &freeze_dates::Spans::default(),
                ));
            }),
        ),
    ];
    let unit = rows.first().map_or(1.0, |row| row.1);
    println!("{HOURS} hours, {DAYS} days");
    for (name, ms) in &rows {
        println!("{ms:9.2} ms  {:6.2}  {name}", ms / unit);
    }
    println!(
        "{together:9.2} ms  {:6.2}  these four together",
        together / unit
    );
    for (name, ms) in &further {
        println!("{ms:9.2} ms  {:6.2}  {name}", ms / unit);
    }
}
