use super::super::{Count, Rain};
use super::*;
use chrono_tz::America::New_York;
use chrono_tz::UTC;

fn at(text: &str) -> DateTime<Utc> {
    DateTime::parse_from_rfc3339(text).unwrap().to_utc()
}

fn reading(at: DateTime<Utc>, c: f64, rain: Rain) -> Reading {
    Reading {
        at,
        temperature_c: Some(c),
        sure_of_unit: false,
        humidity_pct: Some(70.0),
        wind_m_s: Some(1.0),
        rain,
        odd: Vec::new(),
    }
}

fn year(mm: f64) -> Rain {
    Rain::Counter {
        count: Count::Year,
        mm,
    }
}

fn none(_: NaiveDateTime) -> Option<f64> {
    None
}

/// All that readings come to, each hour put together.
#[derive(Default)]
struct All {
    hours: BTreeMap<NaiveDateTime, Hour>,
    days: Vec<Day>,
    odd: Vec<Odd>,
}

impl All {
    fn take(&mut self, taken: Taken) {
        for hour in taken.hours {
            let known = self.hours.entry(hour.start).or_insert(hour);
            known.temperature_c = known.temperature_c.or(hour.temperature_c);
            known.rain_mm = known.rain_mm.or(hour.rain_mm);
        }
        self.days.extend(taken.days);
        self.odd.extend(taken.odd);
    }

    fn hour(&self, start: &str) -> Hour {
        self.hours[&start.parse::<NaiveDateTime>().unwrap()]
    }
}

/// Readings every `step` seconds, each made by `of` from the seconds passed.
fn run(
    fold: &mut Fold,
    zone: Tz,
    from: &str,
    seconds: i64,
    step: usize,
    of: impl Fn(i64) -> (f64, Rain),
) -> All {
    let mut all = All::default();
    for second in (0..=seconds).step_by(step) {
        let (c, rain) = of(second);
        let reading = reading(at(from) + TimeDelta::seconds(second), c, rain);
        all.take(fold.take(&reading, zone, &none));
    }
    all
}

#[test]
fn readings_every_16_seconds_become_a_day() {
    let mut fold = Fold::default();
    // A day from midnight: 0 °C rising by 1 °C an hour, 0.6 mm of rain an hour.
    let of = |s: i64| (s as f64 / 3_600.0, year(100.0 + s as f64 / 6_000.0));
    let all = run(&mut fold, UTC, "2026-04-20T00:00:00Z", 86_416, 16, of);
    assert_eq!(all.hours.len(), 25);
    for (index, hour) in all.hours.values().take(24).enumerate() {
        let c = hour.temperature_c.unwrap();
        assert!((c - index as f64).abs() < 0.003, "{index}: {c}");
        assert!((hour.rain_mm.unwrap() - 0.6).abs() < 1e-6, "{index}");
    }
    let [day] = all.days.as_slice() else {
        panic!("{:?}", all.days);
    };
    assert_eq!(day.low_c, Some(0.0));
    assert!((day.high_c.unwrap() - 24.0).abs() < 0.01, "{day:?}");
    assert!((day.rain_mm.unwrap() - 14.4).abs() < 1e-6, "{day:?}");
    assert!(all.odd.is_empty(), "{:?}", all.odd);
}

#[test]
fn hours_and_days_are_those_of_standard_time() {
    // 20 April at the place: midnight of standard time is 05:00 UTC.
    let mut fold = Fold::default();
    let of = |s: i64| (5.0 + (s % 7) as f64, year(1.0));
    let all = run(&mut fold, New_York, "2026-04-20T04:30:00Z", 90_000, 60, of);
    let starts: Vec<&NaiveDateTime> = all.hours.keys().collect();
    assert_eq!(starts[0].to_string(), "2026-04-19 23:00:00");
    assert_eq!(all.days.len(), 1, "the first half hour is no day");
    assert_eq!(all.days[0].date.to_string(), "2026-04-20");
    // The change of clocks in spring neither drops nor doubles an hour.
    let mut fold = Fold::default();
    let all = run(
        &mut fold,
        New_York,
        "2026-03-08T05:00:00Z",
        8 * 3_600,
        60,
        of,
    );
    assert_eq!(all.hours.len(), 9);
}

#[test]
fn counters_set_back_at_midnight_and_at_new_year() {
    for (count, low) in [(Count::Day, 5.0), (Count::Year, 900.0)] {
        let mut fold = Fold::default();
        // Half a millimetre falls before and after midnight.
        let of = |s: i64| {
            let fell = s as f64 / 7_200.0;
            let mm = if s < 3_600 { low + fell } else { fell - 0.5 };
            (3.0 + fell, Rain::Counter { count, mm })
        };
        let all = run(&mut fold, UTC, "2025-12-31T23:00:00Z", 7_200, 16, of);
        let before = all.hour("2025-12-31T23:00:00").rain_mm.unwrap();
        let after = all.hour("2026-01-01T00:00:00").rain_mm.unwrap();
        assert!((before - 0.5).abs() < 0.01, "{count:?} {before}");
        assert!((after - 0.5).abs() < 0.01, "{count:?} {after}");
        assert!(all.odd.is_empty(), "{:?}", all.odd);
    }
}

#[test]
fn a_doubled_a_late_and_a_wrongly_early_reading() {
    let mut fold = Fold::default();
    let first = reading(at("2026-04-20T10:00:00Z"), 5.0, year(1.0));
    assert!(fold.take(&first, UTC, &none).fresh);
    let before = fold.clone();
    assert_eq!(fold.take(&first, UTC, &none), Taken::default());
    let late = reading(at("2026-04-20T09:59:00Z"), 9.0, year(9.0));
    assert_eq!(fold.take(&late, UTC, &none), Taken::default());
    assert_eq!(fold, before);
    // A clock that had run ahead by years is not waited for.
    let mut fold = Fold::default();
    let ahead = reading(at("2031-04-20T10:00:00Z"), 5.0, year(1.0));
    fold.take(&ahead, UTC, &none);
    assert!(fold.take(&first, UTC, &none).fresh);
    assert_eq!(fold.last(), Some(first.at));
}

#[test]
fn a_gap_of_rain_is_shared_out_or_left_unknown() {
    let rain = |gap_minutes: i64, grown: f64, count: Count| {
        let mut fold = Fold::default();
        let of = |mm: f64| move |s: i64| (5.0 + (s % 5) as f64, Rain::Counter { count, mm });
        let mut all = run(&mut fold, UTC, "2026-04-20T08:00:00Z", 3_540, 60, of(1.0));
        let later = at("2026-04-20T08:59:00Z") + TimeDelta::minutes(gap_minutes);
        let more = run(
            &mut fold,
            UTC,
            &later.to_rfc3339(),
            2 * 3_600,
            60,
            of(1.0 + grown),
        );
        all.take(Taken {
            hours: more.hours.into_values().collect(),
            ..Taken::default()
        });
        let known: Vec<Option<f64>> = all.hours.values().map(|hour| hour.rain_mm).collect();
        (known, fold.days.values().next().unwrap().rain.mm)
    };
    let (hours, day) = rain(90, 3.0, Count::Day);
    let sum: f64 = hours.iter().flatten().sum();
    assert!(
        (sum - 3.0).abs() < 1e-6 && (day - 3.0).abs() < 1e-6,
        "{hours:?}"
    );
    // In five hours it fell at some time: the day has it, no hour.
    let (hours, day) = rain(300, 3.0, Count::Year);
    assert_eq!(hours.iter().flatten().sum::<f64>(), 0.0, "{hours:?}");
    assert!((day - 3.0).abs() < 1e-6);
    // A counter that stood still says that nothing fell.
    let (hours, _) = rain(300, 0.0, Count::Year);
    let dry = hours.iter().filter(|mm| **mm == Some(0.0)).count();
    assert!(dry >= 6, "{hours:?}");
}

#[test]
fn more_rain_than_ever_fell_is_left_out() {
    let mut fold = Fold::default();
    let start = at("2026-04-20T10:00:00Z");
    fold.take(&reading(start, 5.0, year(100.0)), UTC, &none);
    // The keeper set the counter a little lower: no year began.
    let second = reading(start + TimeDelta::seconds(16), 5.1, year(98.0));
    let odd = fold.take(&second, UTC, &none).odd;
    assert_eq!(odd, [Odd::Deluge { mm: 98.0 }]);
    let third = reading(start + TimeDelta::seconds(32), 5.2, year(98.2));
    assert!(fold.take(&third, UTC, &none).odd.is_empty());
    assert!(fold.rain.values().all(|sum| (sum.mm - 0.2).abs() < 1e-9));
}

#[test]
fn broadcasts_sum_up_and_do_not_overlap() {
    let mut fold = Fold::default();
    let of = |_: i64| {
        let rain = Rain::Past {
            minutes: 1.0,
            mm: 0.05,
        };
        (9.0, rain)
    };
    let all = run(&mut fold, UTC, "2026-04-20T09:00:00Z", 7_200, 60, of);
    let mm = all.hour("2026-04-20T09:00:00").rain_mm.unwrap();
    assert!((mm - 3.0).abs() < 1e-6, "{mm}");
}

#[test]
fn a_night_without_readings_has_no_low() {
    let mut fold = Fold::default();
    let of = |s: i64| (5.0 + (s % 7) as f64, year(1.0));
    let mut all = run(&mut fold, UTC, "2026-04-20T00:00:00Z", 2 * 3_600, 300, of);
    let more = run(&mut fold, UTC, "2026-04-20T06:00:00Z", 19 * 3_600, 300, of);
    all.days.extend(more.days);
    assert_eq!(all.days.len(), 1, "{:?}", all.days);
    assert_eq!((all.days[0].low_c, all.days[0].high_c), (None, None));
    assert_eq!(all.days[0].rain_mm, Some(0.0), "the counter stood still");
}

#[test]
fn a_leap_goes_and_a_sensor_that_stands_still_is_told() {
    let mut fold = Fold::default();
    let of = |s: i64| {
        (
            if s == 600 { 40.0 } else { 5.0 + (s % 7) as f64 },
            year(1.0),
        )
    };
    let all = run(&mut fold, UTC, "2026-04-20T00:00:00Z", 1_200, 60, of);
    assert_eq!(all.odd.len(), 1, "{:?}", all.odd);
    assert_eq!(all.odd[0].kind(), "leap");
    let mut fold = Fold::default();
    let of = |_: i64| (5.0, year(1.0));
    let all = run(&mut fold, UTC, "2026-04-20T00:00:00Z", 13 * 3_600, 300, of);
    assert_eq!(
        all.odd[0],
        Odd::Stuck {
            at_c: 5.0,
            hours: 12
        }
    );
    assert_eq!(all.hour("2026-04-20T12:00:00").temperature_c, Some(5.0));
    assert_eq!(all.hours.values().last().unwrap().temperature_c, None);
}

#[test]
fn celsius_under_the_name_of_fahrenheit_is_left_out() {
    let mut fold = Fold::default();
    let mut all = All::default();
    for minute in (0..26 * 60).step_by(10) {
        let c = crate::units::f_to_c(20.0 + f64::from(minute % 70) / 70.0);
        let mut reading = reading(
            at("2026-08-17T00:00:00Z") + TimeDelta::minutes(i64::from(minute)),
            c,
            year(1.0),
        );
        reading.sure_of_unit = false;
        all.take(fold.take(&reading, UTC, &|_| Some(22.0)));
    }
    assert!(all.hours.values().all(|hour| hour.temperature_c.is_none()));
    assert_eq!(all.days[0].low_c, None, "no frost in August");
    assert_eq!(all.odd[0].kind(), "looks like °C");
}

#[test]
fn a_fold_that_was_written_down_goes_on_in_the_middle_of_an_hour() {
    let of = |s: i64| (s as f64 / 3_600.0, year(100.0 + s as f64 / 6_000.0));
    let mut whole = Fold::default();
    let wanted = run(&mut whole, UTC, "2026-04-20T00:00:00Z", 90_000, 16, of);
    let mut fold = Fold::default();
    let mut all = All::default();
    for second in (0..=90_000).step_by(16) {
        let (c, rain) = of(second);
        let start = at("2026-04-20T00:00:00Z") + TimeDelta::seconds(second);
        all.take(fold.take(&reading(start, c, rain), UTC, &none));
        if second % 1_600 == 0 {
            fold = Fold::read(&fold.write()).unwrap();
        }
    }
    assert_eq!((all.hours, all.days), (wanted.hours, wanted.days));
    assert_eq!(Fold::read("no fold"), None);
}
