//! How long the kept weather takes to load and how much disk it takes.
//!
//! `cargo bench --bench store` prints the figures of invented hours; nothing
//! is asserted.

use budtide::facts::weather::{Day, Hour};
use budtide::store::weather::{Origin, WeatherStore};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use std::time::{Duration, Instant};

const YEARS: i32 = 30;

fn main() {
    let folder = tempfile::tempdir().expect("a folder to measure in");
    let first = NaiveDate::from_ymd_opt(1996, 1, 1).expect("a day");
    let end = NaiveDate::from_ymd_opt(1996 + YEARS, 1, 1).expect("a day");
    let hours: Vec<Hour> = (0..(end - first).num_hours())
        .map(|at| hour(first, at))
        .collect();
    let days: Vec<Day> = (0..(end - first).num_days())
        .map(|at| Day {
            date: first + Days::new(at.unsigned_abs()),
            low_c: Some(noise(at) * 20.0 - 5.0),
            high_c: Some(noise(at) * 20.0 + 6.0),
            rain_mm: Some(noise(at + 1) * 8.0),
        })
        .collect();
    for sources in 1..=3_i64 {
        let path = folder.path().join(format!("{sources}.sqlite"));
        let mut store = WeatherStore::open(&path).expect("a new file");
        let began = Instant::now();
        for source in 0..sources {
            let origin = origin(source);
            store.put_hours(origin, &hours).expect("hours kept");
            store.put_days(origin, &days).expect("days kept");
        }
        let put = began.elapsed();
        drop(store);
        let opened = timed(|| {
            WeatherStore::open(&path).expect("an open file");
        });
        let store = WeatherStore::open(&path).expect("an open file");
        let loaded = timed(|| {
            let weather = store.load(end, &["source 0"]).expect("weather");
            assert_eq!(weather.hourly.map(|hourly| hourly.len()), Some(hours.len()));
        });
        let summed = timed(|| {
            store.summary().expect("a summary");
        });
        let mut store = store;
        let refreshed = timed(|| {
            let tail = &hours[hours.len() - 240..];
            store.put_hours(origin(0), tail).expect("hours kept");
        });
        let size = std::fs::metadata(&path).map_or(0, |data| data.len());
        println!(
            "{sources} source(s), {YEARS} years, 5 hourly and 3 daily columns: \
             {:.2} MiB, put {put:.0?}, open {opened}, load {loaded}, \
             summary {summed}, ten days put again {refreshed}",
            size as f64 / 1_048_576.0
        );
    }
}

fn origin(source: i64) -> Origin<'static> {
    Origin {
        source: ["source 0", "source 1", "source 2"][source as usize % 3],
        issued: DateTime::<Utc>::UNIX_EPOCH + TimeDelta::days(20_000),
    }
}

/// The middle and the least of some runs.
fn timed(mut run: impl FnMut()) -> String {
    let mut times: Vec<Duration> = (0..21)
        .map(|_| {
            let began = Instant::now();
            run();
            began.elapsed()
        })
        .collect();
    times.sort();
    format!("{:.1?} (least {:.1?})", times[times.len() / 2], times[0])
}

fn hour(first: NaiveDate, at: i64) -> Hour {
    let temperature = noise(at) * 40.0 - 12.0;
    Hour {
        start: first.and_time(chrono::NaiveTime::MIN) + TimeDelta::hours(at),
        temperature_c: Some(temperature),
        dew_point_c: Some(temperature - 10.0 * noise(at + 7)),
        humidity_pct: Some(100.0 * noise(at + 11)),
        rain_mm: Some((noise(at + 13) - 0.9).max(0.0) * 20.0),
        wind_m_s: Some(12.0 * noise(at + 17)),
    }
}

/// Something between 0 and 1 that does not pack well by luck.
fn noise(at: i64) -> f64 {
    let mixed = (at as u64)
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .rotate_left(31)
        .wrapping_mul(0xD6E8_FEB8_6659_FD93);
    (mixed >> 11) as f64 / (1_u64 << 53) as f64
}
