//! What must hold for any weather, and that nothing panics on what cannot be.

use budtide::facts::knowledge::{Cutoff, DegreeDayMethod, HeatRule, WetnessRow};
use budtide::facts::weather::{Column, DailyRecord, Hour, HourlyRecord};
use budtide::season::chill::{self, ChillSums, DynamicModel};
use budtide::season::degree_days::DegreeDays;
use budtide::season::frost::{self, Critical, NightAhead, Toll};
use budtide::season::heat::{DegreeHours, HeatCurve};
use budtide::season::infection::apple_scab::{self, CountFrom};
use budtide::season::infection::juniper_rust::{self, HornRule};
use budtide::season::infection::wetness_table::WetnessTable;
use budtide::season::wetness::{self, Estimate, WetHours, WetRule};
use budtide::season::{cover, freeze_dates, hourly_curve, screening, soil, sun};
use chrono::{Days, NaiveDate};
use proptest::prelude::*;

fn method() -> impl Strategy<Value = DegreeDayMethod> {
    proptest::sample::select(
        DegreeDayMethod::ALL
            .iter()
            .map(|(method, _)| *method)
            .collect::<Vec<_>>(),
    )
}

fn cutoff() -> impl Strategy<Value = Cutoff> {
    proptest::sample::select(
        Cutoff::ALL
            .iter()
            .map(|(cutoff, _)| *cutoff)
            .collect::<Vec<_>>(),
    )
}

/// Any number at all, the usual ones most often.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => -60.0..60.0f64,
        1 => any::<f64>(),
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::NEG_INFINITY),
    ]
}

fn maybe_number() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![5 => any_number().prop_map(Some), 1 => Just(None)]
}

fn first() -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 1, 1).unwrap()
}

fn daily(days: &[(Option<f64>, Option<f64>, Option<f64>)]) -> DailyRecord {
    let mut record = DailyRecord::unknown(first(), 0);
    for (low, high, rain) in days {
        record.push(*low, *high, *rain);
    }
    record
}

/// Temperature, humidity, dew point, rain.
type AnyHour = (Option<f64>, Option<f64>, Option<f64>, Option<f64>);

fn hourly(hours: &[AnyHour]) -> HourlyRecord {
    let start = first().and_hms_opt(0, 0, 0).unwrap();
    let mut record = HourlyRecord::unknown(start, hours.len());
    for (at, (temperature_c, humidity_pct, dew_point_c, rain_mm)) in hours.iter().enumerate() {
        record.put(Hour {
            start: record.start(at),
            temperature_c: *temperature_c,
            dew_point_c: *dew_point_c,
            humidity_pct: *humidity_pct,
            rain_mm: *rain_mm,
            wind_m_s: None,
        });
    }
    record
}

proptest! {
    #[test]
    fn a_warmer_day_never_lowers_a_sum_without_cut_off(
        method in method(), base in -5.0..15.0f64, low in -30.0..30.0f64, range in 0.0..30.0f64,
        next in -30.0..30.0f64, warmer in 0.0..20.0f64, which in 0..4u8,
    ) {
        let rule = DegreeDays::by(HeatRule {
            method, base_c: base, upper_c: None, cutoff: Cutoff::Horizontal,
        }).unwrap();
        let heat = |low, high, next| rule.day(low, high, Some(next)).unwrap().heat;
        let before = heat(low, low + range, next);
        let after = match which {
            0 => heat((low + warmer).min(low + range), low + range, next),
            1 => heat(low, low + range + warmer, next),
            2 => heat(low, low + range, next + warmer),
            _ => heat(low + warmer, low + range + warmer, next + warmer),
        };
        prop_assert!(after >= before - 1e-9, "{before} {after}");
        prop_assert!(before >= 0.0);
    }

    #[test]
    fn no_cut_off_gives_more_than_none(
        method in method(), cutoff in cutoff(), base in -5.0..15.0f64, width in 0.1..30.0f64,
        low in -30.0..40.0f64, range in 0.0..30.0f64, next in proptest::option::of(-30.0..40.0f64),
    ) {
        let rule = |upper_c| DegreeDays::by(HeatRule { method, base_c: base, upper_c, cutoff })
            .unwrap().day(low, low + range, next).unwrap().heat;
        prop_assert!(rule(Some(base + width)) <= rule(None) + 1e-9
            || method == DegreeDayMethod::ClampedAverage);
        prop_assert!(rule(Some(base + width)) >= 0.0);
        prop_assert!(rule(Some(base + width)) <= width + 1e-9);
    }

    #[test]
    fn fahrenheit_and_celsius_give_one_result(
        method in method(), cutoff in cutoff(), low in -20..90i32, range in 0..50i32,
        next in -20..90i32, base in 32..60i32, width in 1..50i32,
    ) {
        // The formulas know no unit: worked in °F they give 1.8 times the sum.
        let heat = |to: fn(f64) -> f64| DegreeDays::by(HeatRule {
            method,
            base_c: to(f64::from(base)),
            upper_c: Some(to(f64::from(base + width))),
            cutoff,
        }).unwrap()
            .day(to(f64::from(low)), to(f64::from(low + range)), Some(to(f64::from(next))))
            .unwrap().heat;
        let celsius = heat(budtide::units::f_to_c);
        let fahrenheit = heat(|f| f);
        prop_assert!((fahrenheit - 1.8 * celsius).abs() < 1e-6, "{fahrenheit} {celsius}");
    }

    #[test]
    fn parts_of_a_span_add_up(
        method in method(),
        days in proptest::collection::vec((-10.0..15.0f64, 0.0..20.0f64), 2..60),
        cut in 0..60usize,
    ) {
        let days: Vec<_> = days.iter()
            .map(|(low, range)| (Some(*low), Some(low + range), None)).collect();
        let record = daily(&days);
        let rule = DegreeDays::by(HeatRule {
            method, base_c: 4.0, upper_c: Some(25.0), cutoff: Cutoff::Horizontal,
        }).unwrap();
        let last = record.last().unwrap();
        let middle = first() + Days::new((cut % days.len()) as u64);
        let whole = rule.sum(&record, first(), last);
        let one = rule.sum(&record, first(), middle);
        let two = rule.sum(&record, middle + Days::new(1), last);
        prop_assert!((whole.heat - one.heat - two.heat).abs() < 1e-9);
        prop_assert_eq!(whole.days, one.days + two.days);

        let hours = hourly_curve::hours_of_record(&record, 39.0);
        let cut = cut.min(hours.len());
        for curve in [HeatCurve::Asymcur, HeatCurve::HeldAbove25] {
            let sum = |span| DegreeHours::over(&hours, span, curve).heat;
            prop_assert!((sum(0..hours.len()) - sum(0..cut) - sum(cut..hours.len())).abs() < 1e-6);
        }
        let mut model = DynamicModel::default();
        hours.iter().flatten().for_each(|t| { model.step(t); });
        let chill = ChillSums::over(&hours, 0..hours.len());
        prop_assert!((model.portions() - chill.portions).abs() < 1e-12);
    }

    #[test]
    fn hours_stay_between_the_extremes_around_them(
        days in proptest::collection::vec((-20.0..20.0f64, 0.5..25.0f64), 3),
        latitude in -60.0..60.0f64,
    ) {
        let days: Vec<_> = days.iter()
            .map(|(low, range)| (Some(*low), Some(low + range), None)).collect();
        let record = daily(&days);
        let least = days.iter().filter_map(|d| d.0).fold(f64::INFINITY, f64::min);
        let most = days.iter().filter_map(|d| d.1).fold(f64::NEG_INFINITY, f64::max);
        let hours = hourly_curve::hours_of_record(&record, latitude);
        prop_assert_eq!(hours.known(), 72);
        for t in hours.iter().flatten() {
            prop_assert!(t >= least - 1e-4 && t <= most + 1e-4);
        }
    }

    #[test]
    fn a_colder_night_never_kills_less(
        ten in -12.0..-1.0f64, width in 0.0..10.0f64, low in -25.0..5.0f64, colder in 0.0..10.0f64,
        spread in 0.0..5.0f64,
    ) {
        let critical = Critical::new(ten, Some(ten - width)).unwrap();
        prop_assert!(critical.kill(low - colder) >= critical.kill(low) - 1e-12);
        let night = |low| NightAhead::of(&critical, low, spread).unwrap();
        prop_assert!(night(low - colder).expected >= night(low).expected - 1e-9);
        prop_assert!(night(low).tenth >= night(low).half - 1e-9);
        let toll = Toll::of([critical.kill(low), critical.kill(low - colder)]);
        prop_assert!(toll.worst_night <= toll.at_most + 1e-12);
    }

    #[test]
    fn the_estimates_of_wetness_are_ordered(
        hours in proptest::collection::vec((-5.0..35.0f64, 40.0..100.0f64, 0.0..1.0f64), 1..80),
        gap in 0..12usize,
    ) {
        let hours: Vec<_> = hours.iter()
            .map(|(t, rh, wet)| (Some(*t), Some(*rh), None, Some(if *wet > 0.9 { 1.0 } else { 0.0 })))
            .collect();
        let record = hourly(&hours);
        let wet = WetHours::of(&record, &WetRule::default());
        for hour in 0..record.len() {
            let is = |estimate| wet.is_wet(hour, estimate);
            prop_assert!(!is(Estimate::Low) || is(Estimate::Likely));
            prop_assert!(!is(Estimate::Likely) || is(Estimate::High));
        }
        for estimate in [Estimate::Low, Estimate::Likely, Estimate::High] {
            let periods = wetness::periods(&record, &wet, estimate, gap);
            let joined: usize = periods.iter().map(|period| period.wet_hours).sum();
            prop_assert_eq!(joined, wet.count(0..record.len(), estimate));
            for pair in periods.windows(2) {
                prop_assert!(pair[1].first - pair[0].last > gap.max(1));
            }
        }
    }

    #[test]
    fn nothing_panics_on_days_that_cannot_be(
        days in proptest::collection::vec((maybe_number(), maybe_number(), maybe_number()), 0..40),
        latitude in prop_oneof![Just(90.0), Just(-90.0), Just(0.0), any_number()],
        method in method(), cutoff in cutoff(), base in any_number(), upper in maybe_number(),
        need in any_number(), shift in -50..90i64,
    ) {
        let record = daily(&days);
        let from = first() + chrono::TimeDelta::days(shift);
        let screened = screening::screen(&record);
        prop_assert_eq!(screened.record.len(), record.len());
        for day in screened.record.days() {
            if let (Some(low), Some(high)) = (day.low_c, day.high_c) {
                prop_assert!(low <= high);
            }
        }
        screened.has_gap_in(from, first());
        screening::reading_hour(&record);
        screening::highs_one_day_back(&record);
        if let Ok(rule) = DegreeDays::by(HeatRule { method, base_c: base, upper_c: upper, cutoff }) {
            let sum = rule.sum(&record, from, first() + Days::new(60));
            prop_assert!(sum.heat >= 0.0);
            rule.crossing(&record, from, need);
            rule.crossing(&record, NaiveDate::MIN, need);
            rule.sum(&record, NaiveDate::MAX, NaiveDate::MAX);
            rule.daily(&record);
        }
        let hours = hourly_curve::hours_of_record(&record, latitude);
        prop_assert_eq!(hours.len(), record.len() * 24);
        let chill = ChillSums::over(&hours, 0..hours.len() + 5);
        prop_assert!(chill.portions.is_finite() && chill.portions >= 0.0);
        chill::utah_start(&hours);
        chill::portions_by_hour(&hours);
        sun::civil(from, latitude, need, base);
        sun::solar(latitude, 400, sun::Declination::Spencer);
        let years = freeze_dates::by_year(&record, need, &freeze_dates::Spans::default());
        freeze_dates::FreezeOdds::of(&years, freeze_dates::Season::Spring).day(need);
        freeze_dates::winter_lows(&record);
        soil::temperatures_c(&record, need);
        soil::rain_indices_mm(&record);
        let mut spray = cover::Cover::of(from, need);
        record.rain_mm.iter().for_each(|mm| spray.day(mm));
        spray.ends();
        cover::days_left(need, base, latitude);
    }

    #[test]
    fn nothing_panics_on_hours_that_cannot_be(
        hours in proptest::collection::vec(
            (maybe_number(), maybe_number(), maybe_number(), maybe_number()), 0..60),
        gap in 0..20usize, figures in proptest::array::uniform6(any_number()), count in 0..9usize,
    ) {
        let record = hourly(&hours);
        let [a, b, c, d, e, f] = figures;
        let rule = WetRule {
            rain_above_mm: a, humid_pct: b, humid_high_pct: c, dew_starts_k: d, dew_ends_k: e,
            frozen_at_c: f,
        };
        let table = WetnessTable::new([(4.0, 12.0, None), (20.0, 3.0, Some(4.0))]).unwrap();
        let horns = HornRule {
            warm_hours: count, warm_c: (a, b), cool_hours: count, cool_c: (c, d), ready_hours: gap,
        };
        for rule in [rule, WetRule::default()] {
            let wet = WetHours::of(&record, &rule);
            for estimate in [Estimate::Low, Estimate::Likely, Estimate::High] {
                for period in wetness::periods(&record, &wet, estimate, gap) {
                    juniper_rust::judge(&record, &wet, estimate, &period, &table, &horns);
                    for from in [CountFrom::Rain, CountFrom::Daylight {
                        from_hour: count as u32, dark_from_hour: 19,
                    }] {
                        apple_scab::judge(&record, &wet, estimate, &period, &table, from);
                    }
                }
            }
        }
        WetnessTable::from_rows(&[] as &[WetnessRow]);
        WetnessTable::new([(a, b, Some(c)), (d, e, None)]);
        wetness::dew_point_c(a, b);
        wetness::humidity_pct(a, b);
        wetness::tree_is_wet(a, b, c, d);
        if let Some(critical) = Critical::new(a, Some(b)) {
            prop_assert!((0.0..=1.0).contains(&critical.kill(c)));
            NightAhead::of(&critical, d, e);
            critical.towards(&critical, c);
            critical.temperature_for(e);
        }
        frost::crop_left(a, b);
        let column: Column = hours.iter().map(|hour| hour.0).collect();
        if let Ok(rule) = DegreeDays::by(HeatRule {
            method: DegreeDayMethod::SingleSine, base_c: 5.0, upper_c: None,
            cutoff: Cutoff::Horizontal,
        }) {
            rule.daily_from_hours(&column);
        }
    }
}
