//! The kept weather. Values are invented; what counts is which one stands.

use budtide::facts::weather::{DailyRecord, Day, Forecast, Hour, HourlyRecord};
use budtide::store::StoreError;
use budtide::store::weather::{Origin, WeatherStore};
use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use proptest::prelude::*;
use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;

fn date(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).unwrap()
}

fn hour_of(y: i32, m: u32, d: u32, h: u32) -> NaiveDateTime {
    date(y, m, d).and_hms_opt(h, 0, 0).unwrap()
}

fn day(date: NaiveDate, low: f64, high: f64) -> Day {
    Day {
        date,
        low_c: Some(low),
        high_c: Some(high),
        rain_mm: None,
    }
}

fn hour(start: NaiveDateTime, temperature_c: Option<f64>, dew_point_c: Option<f64>) -> Hour {
    Hour {
        start,
        temperature_c,
        dew_point_c,
        humidity_pct: None,
        rain_mm: None,
        wind_m_s: None,
    }
}

fn at(days: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::days(20_000 + days)
}

fn from(source: &str, days: i64) -> Origin<'_> {
    Origin {
        source,
        issued: at(days),
    }
}

/// Days as a list: a record with gaps equals nothing, not even itself.
fn days_of(record: Option<DailyRecord>) -> Vec<Day> {
    record.map_or_else(Vec::new, |record| record.days().collect())
}

fn hours_of(record: Option<HourlyRecord>) -> Vec<Hour> {
    record.map_or_else(Vec::new, |record| record.hours().collect())
}

fn fresh() -> (TempDir, PathBuf, WeatherStore) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("state").join("weather.sqlite");
    let store = WeatherStore::open(&path).unwrap();
    (folder, path, store)
}

fn forecast(source: &str, issued: NaiveDate, lows: &[f64]) -> Forecast {
    let days: Vec<Day> = lows
        .iter()
        .enumerate()
        .map(|(at, low)| day(issued + Days::new(at as u64), *low, low + 10.0))
        .collect();
    let start = issued.and_hms_opt(0, 0, 0).unwrap();
    Forecast {
        issued,
        daily: DailyRecord::from_days(&days).unwrap(),
        hourly: HourlyRecord::from_hours(&[
            hour(start, Some(4.5), Some(1.25)),
            hour(start + TimeDelta::hours(3), Some(6.0), None),
        ]),
        source: source.to_owned(),
    }
}

#[test]
fn days_and_hours_come_back_after_reopening() {
    let (_folder, path, mut store) = fresh();
    let days = [
        Day {
            date: date(2023, 12, 31),
            low_c: Some(-6.11),
            high_c: Some(3.0),
            rain_mm: Some(1_200.5),
        },
        day(date(2024, 2, 29), 0.0, 9.5),
    ];
    let hours = [
        Hour {
            start: hour_of(2023, 12, 31, 23),
            temperature_c: Some(-6.11),
            dew_point_c: Some(-8.0),
            humidity_pct: Some(86.5),
            rain_mm: Some(0.25),
            wind_m_s: Some(3.33),
        },
        hour(hour_of(2024, 1, 1, 1), Some(-5.5), None),
    ];
    store.put_days(from("own station", 0), &days).unwrap();
    store.put_hours(from("own station", 0), &hours).unwrap();
    drop(store);
    let kept = WeatherStore::open(&path)
        .unwrap()
        .load(date(2024, 6, 1), &[])
        .unwrap();
    assert_eq!(days_of(kept.daily), days_of(DailyRecord::from_days(&days)));
    assert_eq!(
        hours_of(kept.hourly),
        hours_of(HourlyRecord::from_hours(&hours))
    );
    assert_eq!(kept.forecast, None);
}

#[test]
fn a_later_issue_corrects_and_an_earlier_one_does_not() {
    let (_folder, _, mut store) = fresh();
    let on = date(2025, 4, 9);
    store
        .put_days(from("archive", 5), &[day(on, -1.0, 10.0)])
        .unwrap();
    let put = store
        .put_days(from("archive", 6), &[day(on, -2.0, 10.0)])
        .unwrap();
    assert_eq!((put.new, put.corrected, put.same), (0, 1, 1));
    let put = store
        .put_days(from("archive", 4), &[day(on, 7.0, 11.0)])
        .unwrap();
    assert_eq!((put.corrected, put.older), (0, 2));
    // A gap is no correction.
    let unknown = Day {
        date: on,
        low_c: None,
        high_c: None,
        rain_mm: Some(2.0),
    };
    store.put_days(from("archive", 7), &[unknown]).unwrap();
    let kept = store.load(date(2025, 5, 1), &[]).unwrap().daily.unwrap();
    assert_eq!(
        kept.day(on),
        Some(Day {
            rain_mm: Some(2.0),
            ..day(on, -2.0, 10.0)
        })
    );
}

#[test]
fn of_one_call_the_later_value_stands() {
    let (_folder, _, mut store) = fresh();
    let on = date(2025, 4, 9);
    store
        .put_days(from("a", 0), &[day(on, 1.0, 5.0), day(on, 2.0, 6.0)])
        .unwrap();
    let kept = store.load(date(2025, 5, 1), &[]).unwrap().daily.unwrap();
    assert_eq!(kept.day(on), Some(day(on, 2.0, 6.0)));
}

#[test]
fn what_cannot_be_is_left_out_and_counted() {
    let (_folder, _, mut store) = fresh();
    let days = [
        day(date(2025, 4, 9), -999.9, 5.0),
        day(date(9999, 1, 1), 1.0, 2.0),
        day(date(2025, 4, 10), f64::NAN, f64::INFINITY),
    ];
    let put = store.put_days(from("a", 0), &days).unwrap();
    assert_eq!((put.new, put.impossible), (1, 5));
    let kept = store.load(date(2025, 5, 1), &[]).unwrap().daily.unwrap();
    assert_eq!(kept.len(), 1);
    assert_eq!(kept.day(date(2025, 4, 9)).unwrap().low_c, None);
}

#[test]
fn a_forecast_is_never_seen_weather_and_the_seen_is_never_a_forecast() {
    let (_folder, _, mut store) = fresh();
    let issued = date(2025, 4, 8);
    store
        .put_forecast(&forecast("service", issued, &[-3.0, -4.0, 2.0]), at(0))
        .unwrap();
    // Days later, with nothing seen: the forecast's days have passed unseen.
    let kept = store.load(date(2025, 4, 12), &[]).unwrap();
    assert_eq!((kept.daily.clone(), kept.hourly.clone()), (None, None));
    assert_eq!(kept.seen_until(), None);
    store
        .put_days(from("service", 2), &[day(date(2025, 4, 9), -1.0, 8.0)])
        .unwrap();
    let kept = store.load(date(2025, 4, 12), &[]).unwrap();
    let daily = kept.daily.unwrap();
    assert_eq!(daily.len(), 1);
    assert_eq!(daily.day(date(2025, 4, 9)).unwrap().low_c, Some(-1.0));
    let wanted = forecast("service", issued, &[-3.0, -4.0, 2.0]);
    let coming = kept.forecast.unwrap();
    assert_eq!(
        (coming.issued, coming.source),
        (wanted.issued, wanted.source)
    );
    assert_eq!(days_of(Some(coming.daily)), days_of(Some(wanted.daily)));
    assert_eq!(hours_of(coming.hourly), hours_of(wanted.hourly));
}

#[test]
fn the_forecast_that_counts() {
    let (_folder, _, mut store) = fresh();
    let put = |store: &mut WeatherStore, source: &str, day: u32, low: f64, issue: i64| {
        store
            .put_forecast(
                &forecast(source, date(2025, 4, day), &[low, low]),
                at(issue),
            )
            .unwrap()
    };
    assert!(put(&mut store, "a", 8, 1.0, 0));
    assert!(
        put(&mut store, "a", 8, 2.0, 1),
        "a later one of the same day"
    );
    assert!(!put(&mut store, "a", 8, 3.0, 0), "an earlier one stays out");
    assert!(put(&mut store, "b", 9, 4.0, 2));
    assert!(put(&mut store, "b", 12, 5.0, 5));
    let counts = |day: u32| {
        store
            .load(date(2025, 4, day), &["a", "b"])
            .unwrap()
            .forecast
            .map(|forecast| (forecast.source, forecast.daily.at(0).low_c))
    };
    assert_eq!(counts(7), None, "not issued yet");
    assert_eq!(counts(8), Some(("a".to_owned(), Some(2.0))));
    assert_eq!(counts(9), Some(("a".to_owned(), Some(2.0))), "trusted more");
    assert_eq!(counts(12), Some(("b".to_owned(), Some(5.0))), "a is stale");
}

#[test]
fn today_is_not_a_seen_day_but_its_hours_are() {
    let (_folder, _, mut store) = fresh();
    let today = date(2025, 4, 9);
    let days = [day(date(2025, 4, 8), 1.0, 5.0), day(today, 2.0, 6.0)];
    let hours = [
        hour(hour_of(2025, 4, 9, 5), Some(2.0), None),
        hour(hour_of(2025, 4, 10, 0), Some(9.0), None),
    ];
    store.put_days(from("a", 0), &days).unwrap();
    store.put_hours(from("a", 0), &hours).unwrap();
    let kept = store.load(today, &[]).unwrap();
    assert_eq!(kept.daily.as_ref().unwrap().last(), Some(date(2025, 4, 8)));
    assert_eq!(kept.hourly.unwrap().len(), 1);
    assert_eq!(store.load(date(2020, 1, 1), &[]).unwrap().daily, None);
}

#[test]
fn hours_can_be_had_from_a_day_on() {
    let (_folder, _, mut store) = fresh();
    let starts = [
        hour_of(2023, 5, 1, 0),
        hour_of(2025, 4, 1, 23),
        hour_of(2025, 4, 2, 0),
    ];
    let hours = starts.map(|start| hour(start, Some(1.0), None));
    store.put_hours(from("a", 0), &hours).unwrap();
    let old = [day(date(1990, 1, 1), 1.0, 5.0)];
    store.put_days(from("a", 0), &old).unwrap();
    let kept = store
        .load_recent(date(2025, 5, 1), &[], date(2025, 4, 2))
        .unwrap();
    assert_eq!(hours_of(kept.hourly), hours[2..]);
    assert_eq!(days_of(kept.daily), old);
}

#[test]
fn both_extremes_come_from_one_source() {
    let (_folder, _, mut store) = fresh();
    let low_only = Day {
        high_c: None,
        ..day(date(2025, 4, 9), 3.0, 0.0)
    };
    let lone = Day {
        rain_mm: Some(5.0),
        ..Day {
            date: date(2025, 4, 10),
            ..low_only
        }
    };
    store.put_days(from("own", 0), &[low_only, lone]).unwrap();
    let archive = Day {
        rain_mm: Some(4.0),
        ..day(date(2025, 4, 9), 1.0, 2.0)
    };
    store.put_days(from("archive", 0), &[archive]).unwrap();
    let kept = store
        .load(date(2025, 5, 1), &["own", "archive"])
        .unwrap()
        .daily
        .unwrap();
    assert_eq!(
        kept.day(date(2025, 4, 9)),
        Some(archive),
        "never a low of 3 °C beside a high of 2 °C"
    );
    assert_eq!(kept.day(date(2025, 4, 10)), Some(lone), "better than none");
    let own = store.load_one(date(2025, 5, 1), "own").unwrap();
    assert_eq!(days_of(own.daily), [low_only, lone]);
    let none = store.load_one(date(2025, 5, 1), "nobody").unwrap();
    assert_eq!(none.daily, None);
}

#[test]
fn moisture_of_another_source_fits_the_temperature() {
    let (_folder, _, mut store) = fresh();
    let start = hour_of(2025, 4, 9, 6);
    let next = start + TimeDelta::hours(1);
    let own = [
        hour(start, Some(2.0), None),
        hour(next, Some(4.0), Some(3.0)),
    ];
    let archive = [
        Hour {
            humidity_pct: Some(70.0),
            wind_m_s: Some(1.5),
            ..hour(start, Some(6.0), Some(3.5))
        },
        hour(next, Some(6.0), Some(-3.5)),
    ];
    store.put_hours(from("archive", 9), &archive).unwrap();
    store.put_hours(from("own", 0), &own).unwrap();
    let kept = store
        .load(date(2025, 5, 1), &["own"])
        .unwrap()
        .hourly
        .unwrap();
    assert_eq!(
        kept.at(0),
        Hour {
            wind_m_s: Some(1.5),
            ..hour(start, Some(2.0), Some(2.0))
        }
    );
    assert_eq!(kept.at(1), own[1]);
}

#[test]
fn the_summary_names_gaps_and_freshness() {
    let (_folder, _, mut store) = fresh();
    let days = [
        day(date(2023, 12, 30), 1.0, 2.0),
        day(date(2023, 12, 31), 1.0, 2.0),
        day(date(2024, 1, 3), 1.0, 2.0),
        day(date(2024, 1, 5), 1.0, 2.0),
    ];
    store.put_days(from("a", 3), &days).unwrap();
    store
        .put_hours(
            from("a", 4),
            &[hour(hour_of(2024, 3, 1, 7), Some(1.0), None)],
        )
        .unwrap();
    store
        .put_forecast(&forecast("b", date(2024, 3, 1), &[1.0, 2.0]), at(5))
        .unwrap();
    let summary = store.summary().unwrap();
    assert_eq!(summary.len(), 2);
    let days = summary[0].days.clone().unwrap();
    assert_eq!(
        (days.first, days.last),
        (date(2023, 12, 30), date(2024, 1, 5))
    );
    assert_eq!(days.known, 4);
    assert_eq!(
        days.gaps,
        [
            (date(2024, 1, 1), date(2024, 1, 2)),
            (date(2024, 1, 4), date(2024, 1, 4))
        ]
    );
    let hours = summary[0].hours.clone().unwrap();
    assert_eq!((hours.first, hours.known), (hour_of(2024, 3, 1, 7), 1));
    assert_eq!(summary[0].seen_issued, Some(at(4)));
    assert_eq!(
        (summary[1].days.clone(), summary[1].seen_issued),
        (None, None)
    );
    let coming = summary[1].forecast.unwrap();
    assert_eq!((coming.issued, coming.last), (at(5), date(2024, 3, 2)));
}

#[test]
fn every_source_can_be_asked_about_a_day_and_an_hour() {
    let (_folder, _, mut store) = fresh();
    let on = date(2025, 4, 9);
    store.put_days(from("b", 1), &[day(on, 1.0, 5.0)]).unwrap();
    store.put_days(from("a", 2), &[day(on, 2.0, 6.0)]).unwrap();
    store
        .put_forecast(&forecast("c", on, &[-3.0]), at(3))
        .unwrap();
    let said: Vec<_> = store
        .said_of_day(on)
        .unwrap()
        .into_iter()
        .map(|said| (said.source, said.seen, said.issued, said.value.low_c))
        .collect();
    assert_eq!(
        said,
        [
            ("a".to_owned(), true, Some(at(2)), Some(2.0)),
            ("b".to_owned(), true, Some(at(1)), Some(1.0)),
            ("c".to_owned(), false, Some(at(3)), Some(-3.0)),
        ]
    );
    let said = store.said_of_hour(hour_of(2025, 4, 9, 3)).unwrap();
    assert_eq!(said.len(), 1);
    assert_eq!(said[0].value.temperature_c, Some(6.0));
}

#[test]
fn forgetting_a_source_takes_all_of_it() {
    let (_folder, _, mut store) = fresh();
    let on = date(2025, 4, 9);
    store.put_days(from("a", 0), &[day(on, 1.0, 5.0)]).unwrap();
    store.put_days(from("b", 0), &[day(on, 2.0, 6.0)]).unwrap();
    store
        .put_forecast(&forecast("a", on, &[-3.0]), at(0))
        .unwrap();
    assert!(store.forget("a").unwrap());
    assert!(!store.forget("a").unwrap());
    let kept = store.load(date(2025, 5, 1), &["a"]).unwrap();
    assert_eq!(kept.daily.unwrap().day(on), Some(day(on, 2.0, 6.0)));
    assert_eq!(kept.forecast, None);
}

#[test]
fn a_note_on_the_fetching_is_kept() {
    let (_folder, path, mut store) = fresh();
    assert_eq!(store.recall("archive until").unwrap(), None);
    store.remember("archive until", "2025-04-01").unwrap();
    store.remember("archive until", "2025-04-09").unwrap();
    drop(store);
    let store = WeatherStore::open(&path).unwrap();
    assert_eq!(
        store.recall("archive until").unwrap().as_deref(),
        Some("2025-04-09")
    );
}

#[test]
fn a_damaged_file_is_set_aside_and_begun_again() {
    for harm in [
        b"not a database, but long enough to look like one".as_slice(),
        b"",
    ] {
        let (_folder, path, store) = fresh();
        drop(store);
        fs::write(&path, harm).unwrap();
        let store = WeatherStore::open(&path).unwrap();
        let aside = store.set_aside().unwrap().to_path_buf();
        assert_eq!(fs::read(&aside).unwrap(), harm);
        assert_eq!(store.load(date(2025, 5, 1), &[]).unwrap().daily, None);
        drop(store);
        assert_eq!(WeatherStore::open(&path).unwrap().set_aside(), None);
        fs::write(&path, harm).unwrap();
        let again = WeatherStore::open(&path).unwrap();
        assert_ne!(again.set_aside().unwrap(), aside, "no copy is overwritten");
    }
}

#[test]
fn a_flipped_bit_in_a_value_is_found_and_rebuilding_helps() {
    let (_folder, path, mut store) = fresh();
    let days: Vec<Day> = (0..300)
        .map(|at| day(date(2024, 1, 1) + Days::new(at), 12.34, 23.45))
        .collect();
    store.put_days(from("a", 0), &days).unwrap();
    drop(store);
    let mut bytes = fs::read(&path).unwrap();
    let low = 1_234_i16.to_le_bytes();
    let spot = bytes
        .windows(6)
        .position(|part| part == [low, low, low].concat())
        .unwrap();
    bytes[spot + 100] ^= 0x10;
    fs::write(&path, bytes).unwrap();
    let store = WeatherStore::open(&path).unwrap();
    assert_eq!(store.set_aside(), None);
    let error = store.load(date(2025, 5, 1), &[]).unwrap_err();
    assert!(error.is_damage() && !error.try_again(), "{error}");
    let store = store.rebuild().unwrap();
    assert!(store.set_aside().unwrap().exists());
    assert_eq!(store.load(date(2025, 5, 1), &[]).unwrap().daily, None);
}

#[test]
fn a_newer_layout_is_refused_and_left_alone() {
    let (_folder, path, store) = fresh();
    drop(store);
    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.pragma_update(None, "user_version", 99).unwrap();
    drop(raw);
    let before = fs::read(&path).unwrap();
    let error = WeatherStore::open(&path).unwrap_err();
    assert!(
        matches!(error, StoreError::Newer { found: 99, .. }),
        "{error}"
    );
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn version_1_is_brought_up_to_date() {
    let (_folder, path, mut store) = fresh();
    let on = date(2025, 4, 9);
    store.put_days(from("a", 0), &[day(on, 1.0, 5.0)]).unwrap();
    drop(store);
    // Version 1 had everything but the notes, and what fetching remembers.
    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.execute_batch(
        "DROP TABLE note; DROP TABLE fetching; DROP TABLE alert; PRAGMA user_version = 1;",
    )
    .unwrap();
    drop(raw);
    let mut store = WeatherStore::open(&path).unwrap();
    store.remember("a", "b").unwrap();
    let kept = store.load(date(2025, 5, 1), &[]).unwrap();
    assert_eq!(kept.daily.unwrap().day(on), Some(day(on, 1.0, 5.0)));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever is put in comes back to half a hundredth, and nothing else.
    #[test]
    fn what_goes_in_comes_out(
        days in prop::collection::vec(
            (0_u64..2_000, prop::option::of(-40.0..40.0_f64), prop::option::of(0.0..300.0_f64)),
            1..60,
        )
    ) {
        let (_folder, _, mut store) = fresh();
        let first = date(2019, 6, 1);
        let days: Vec<Day> = days
            .into_iter()
            .map(|(at, low, rain_mm)| Day {
                date: first + Days::new(at),
                low_c: low,
                high_c: low.map(|low| low + 5.0),
                rain_mm,
            })
            .collect();
        store.put_days(from("a", 0), &days).unwrap();
        // What the store promises, said in the plainest way: values one by one.
        let mut wanted = std::collections::BTreeMap::new();
        for day in &days {
            let slot: &mut [Option<f64>; 3] = wanted.entry(day.date).or_default();
            for (slot, value) in slot.iter_mut().zip([day.low_c, day.high_c, day.rain_mm]) {
                *slot = value.or(*slot);
            }
        }
        let known = wanted.values().flatten().flatten().count();
        let kept = store.load(date(2030, 1, 1), &[]).unwrap().daily;
        let found: usize = kept.iter().map(|kept| {
            kept.low_c.known() + kept.high_c.known() + kept.rain_mm.known()
        }).sum();
        prop_assert_eq!(found, known);
        for (date, values) in wanted {
            let Some(day) = kept.as_ref().and_then(|kept| kept.day(date)) else {
                prop_assert_eq!(values, [None; 3]);
                continue;
            };
            for (found, value) in [day.low_c, day.high_c, day.rain_mm].iter().zip(values) {
                prop_assert_eq!(found.is_some(), value.is_some());
                if let (Some(found), Some(value)) = (found, value) {
                    prop_assert!((found - value).abs() < 0.005_1, "{} {}", found, value);
                }
            }
        }
    }
}
