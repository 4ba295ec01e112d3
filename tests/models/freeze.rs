//! Freeze dates, their statistics, hardiness zones; and what the records say
//! about their hour of reading.

use super::data::{self, Row, Tally, cell, check_values, maybe, number};
use budtide::facts::place::HardinessZone;
use budtide::facts::weather::DailyRecord;
use budtide::season::freeze_dates::{
    self, FreezeOdds, FreezeYear, Reading, Season, Spans, linear_quantile,
};
use budtide::season::screening::{self, ReadingHour};
use chrono::{Datelike, NaiveDate};

fn by_station(rows: &[Row], mut take: impl FnMut(&DailyRecord, &[&Row])) {
    let mut stations: Vec<&str> = rows.iter().map(|row| cell(row, "station")).collect();
    stations.sort_unstable();
    stations.dedup();
    for station in stations {
        let Some(record) = data::daily(station) else {
            continue;
        };
        let own: Vec<&Row> = rows
            .iter()
            .filter(|row| cell(row, "station") == station)
            .collect();
        take(&record, &own);
    }
}

fn years(record: &DailyRecord, threshold_f: f64) -> Vec<FreezeYear> {
    freeze_dates::by_year(
        record,
        freeze_dates::threshold_c(threshold_f),
        &Spans::default(),
    )
}

/// 1,116 years: every date, and whether the year is usable. Last spring dates
/// were checked there against an open climate library.
#[test]
fn every_freeze_of_the_check_values() {
    let rows = check_values("freeze_dates_by_year");
    let mut checked = 0;
    by_station(&rows, |record, rows| {
        let mut kept: Option<(String, Vec<FreezeYear>)> = None;
        for row in rows {
            let threshold = cell(row, "threshold_f");
            if kept.as_ref().is_none_or(|(one, _)| one != threshold) {
                kept = Some((
                    threshold.to_owned(),
                    years(record, number(row, "threshold_f")),
                ));
            }
            let all = &kept.as_ref().unwrap().1;
            let year = number(row, "year") as i32;
            let one = all.iter().find(|one| one.year == year).unwrap();
            let shown = |date: Option<NaiveDate>| date.map_or(String::new(), |d| d.to_string());
            let what = format!(
                "{} {year} {}",
                cell(row, "station"),
                cell(row, "threshold_f")
            );
            assert_eq!(shown(one.last_spring), cell(row, "last_spring"), "{what}");
            assert_eq!(shown(one.first_autumn), cell(row, "first_autumn"), "{what}");
            let flag = |usable: bool| if usable { "1" } else { "0" };
            assert_eq!(
                flag(one.spring_usable),
                cell(row, "usable_spring"),
                "{what}"
            );
            assert_eq!(
                flag(one.autumn_usable),
                cell(row, "usable_autumn"),
                "{what}"
            );
            assert_eq!(
                one.missing_spring as f64,
                number(row, "missing_feb1_jun30"),
                "{what}"
            );
            if let (Some(free), Some(wanted)) =
                (one.freeze_free_days(), maybe(row, "freeze_free_days"))
            {
                assert_eq!(free as f64, wanted, "{what}");
            }
            checked += 1;
        }
    });
    println!("freeze_dates_by_year: {checked} rows");
    assert!(checked >= 111);
}

/// 24 rows of quantiles, by plain linear sample quantiles as the file says.
#[test]
fn every_freeze_statistic_of_the_check_values() {
    let mut tally = Tally::default();
    by_station(&check_values("freeze_statistics"), |record, rows| {
        for row in rows {
            let span = number(row, "first_year") as i32..=number(row, "last_year") as i32;
            let mut all: Vec<FreezeYear> = years(record, number(row, "threshold_f"));
            all.retain(|year| span.contains(&year.year));
            let spring = FreezeOdds::of(&all, Season::Spring);
            let autumn = FreezeOdds::of(&all, Season::Autumn);
            let mut free: Vec<f64> = all
                .iter()
                .filter_map(|year| year.freeze_free_days().map(|days| days as f64))
                .collect();
            free.sort_by(f64::total_cmp);
            let what = |key: &str| {
                format!(
                    "{} {} {key}",
                    cell(row, "station"),
                    cell(row, "threshold_f")
                )
            };
            tally.row(
                || what("n_spring"),
                spring.freezes() as f64,
                number(row, "n_spring"),
                0.0,
            );
            tally.row(
                || what("n_autumn"),
                autumn.freezes() as f64,
                number(row, "n_autumn"),
                0.0,
            );
            for (values, name, shares) in [
                (spring.days(), "spring_doy", &[10, 25, 50, 75, 90][..]),
                (autumn.days(), "autumn_doy", &[10, 50, 90]),
                (&free, "freeze_free_days", &[10, 50, 90]),
            ] {
                for share in shares {
                    let key = format!("{name}_p{share}");
                    let value = linear_quantile(values, f64::from(*share) / 100.0).unwrap();
                    // One decimal is printed.
                    tally.row(|| what(&key), value, number(row, &key), 0.051);
                }
            }
        }
    });
    tally.done("freeze_statistics", 39);
}

/// reference/algorithms.md 7: Champion, Nebraska, 37 years, p .9/.5/.1.
#[test]
fn champion_by_both_readings() {
    let record = data::daily("champion_ne").unwrap();
    let odds = |f| FreezeOdds::of(&years(&record, f), Season::Spring);
    let near = |value: f64, wanted: f64| assert!((value - wanted).abs() < 0.06, "{value} {wanted}");
    for (threshold_f, reading, wanted) in [
        (32.0, Reading::Normal, [113.7, 129.6, 145.6]),
        (32.0, Reading::Empirical, [115.2, 130.0, 147.0]),
        (28.0, Reading::Normal, [102.7, 117.5, 132.3]),
    ] {
        for (p, wanted) in [0.9, 0.5, 0.1].into_iter().zip(wanted) {
            let day = odds(threshold_f).day_by(p, reading).unwrap();
            near(day.day_of_year, wanted);
        }
    }
}

fn day(m: u32, d: u32) -> f64 {
    f64::from(NaiveDate::from_ymd_opt(2025, m, d).unwrap().ordinal())
}

/// USDA NASS Illinois 1997 (Illinois State Water Survey): 3 in 4, 1 in 2, 1 in
/// 4, 1 in 10, 1 in 20, to the day.
#[test]
fn illinois_tables() {
    let odds = [0.75, 0.5, 0.25, 0.1, 0.05];
    let spring = |mean, sd, wanted: [f64; 5]| {
        let published = FreezeOdds::published(Season::Spring, mean, sd, 1.0);
        for (p, wanted) in odds.into_iter().zip(wanted) {
            let read = published.day(p).unwrap();
            assert!((read - wanted).abs() <= 1.0, "{p}: {read} {wanted}");
        }
    };
    let north_west = [day(4, 21), day(4, 30), day(5, 9), day(5, 17), day(5, 22)];
    spring(day(4, 30), 13.3, north_west);
    let south_west = [day(4, 2), day(4, 11), day(4, 20), day(4, 28), day(5, 3)];
    spring(day(4, 11), 13.3, south_west);
    let autumn = FreezeOdds::published(Season::Autumn, day(10, 8), 12.7, 1.0);
    for (p, wanted) in
        odds.into_iter()
            .zip([day(10, 17), day(10, 8), day(9, 29), day(9, 22), day(9, 17)])
    {
        let read = autumn.day(p).unwrap();
        assert!((read - wanted).abs() <= 1.0, "{p}: {read} {wanted}");
    }
}

/// University of Delaware after Moyer 1970: dates for 10, 33, 50, 67, 90 %.
#[test]
fn delaware_tables() {
    let odds = [0.10, 0.33, 0.50, 0.67, 0.90];
    let mut farthest: f64 = 0.0;
    let mut check = |season, mean, sd, wanted: [f64; 5]| {
        let published = FreezeOdds::published(season, mean, sd, 1.0);
        for (p, wanted) in odds.into_iter().zip(wanted) {
            let read = published.day(p).unwrap();
            farthest = farthest.max((read - wanted).abs());
            assert!((read - wanted).abs() <= 1.5, "{p}: {read} {wanted}");
        }
    };
    let spring_32 = [day(5, 10), day(4, 30), day(4, 25), day(4, 20), day(4, 10)];
    check(Season::Spring, day(4, 25), 11.7, spring_32);
    let spring_24 = [day(4, 9), day(4, 1), day(3, 27), day(3, 22), day(3, 14)];
    check(Season::Spring, day(3, 27), 10.1, spring_24);
    let spring_16 = [day(3, 13), day(3, 3), day(2, 25), day(2, 19), day(2, 9)];
    check(Season::Spring, day(2, 25), 12.5, spring_16);
    let autumn_32 = [
        day(10, 2),
        day(10, 11),
        day(10, 16),
        day(10, 21),
        day(10, 30),
    ];
    check(Season::Autumn, day(10, 16), 10.9, autumn_32);
    // No spread is printed for the next two: the distance of the 10 and 90 %
    // dates gives it.
    let sd = |early: f64, late: f64| (late - early) / (2.0 * 1.281_55);
    let autumn_24 = [
        day(11, 1),
        day(11, 9),
        day(11, 14),
        day(11, 19),
        day(11, 27),
    ];
    check(
        Season::Autumn,
        day(11, 14),
        sd(autumn_24[0], autumn_24[4]),
        autumn_24,
    );
    let autumn_16 = [
        day(11, 28),
        day(12, 6),
        day(12, 10),
        day(12, 14),
        day(12, 22),
    ];
    check(
        Season::Autumn,
        day(12, 10),
        sd(autumn_16[0], autumn_16[4]),
        autumn_16,
    );
    println!("Delaware: farthest off {farthest:.2} days");
}

/// reference/frost.md 5b, Klein-Altendorf 1991-2020, printed day by day there.
#[test]
fn klein_altendorf_as_printed() {
    let spring = [
        117, 125, 99, 122, 111, 106, 113, 108, 107, 99, 111, 102, 136, 103, 132, 97, 111, 109, 91,
        125, 125, 138, 145, 124, 122, 111, 130, 96, 135, 127,
    ];
    let autumn = [
        303, 285, 291, 290, 308, 319, 294, 311, 290, 352, 308, 280, 287, 284, 319, 306, 293, 303,
        287, 284, 289, 284, 315, 328, 274, 285, 311, 272, 302, 310,
    ];
    let odds = |season, days: &[i32]| {
        FreezeOdds::from_days(season, 30, days.iter().map(|d| f64::from(*d)).collect())
    };
    let spring = odds(Season::Spring, &spring);
    let autumn = odds(Season::Autumn, &autumn);
    let near = |value: f64, wanted: f64, within: f64| {
        assert!((value - wanted).abs() <= within, "{value} {wanted}");
    };
    let (mean, sd) = spring.mean_and_sd().unwrap();
    near(mean, 115.90, 0.006);
    near(sd, 14.11, 0.006);
    let (mean, sd) = autumn.mean_and_sd().unwrap();
    near(mean, 298.80, 0.006);
    near(sd, 17.44, 0.006);
    for (p, wanted) in [(0.1, day(5, 14)), (0.5, day(4, 26)), (0.9, day(4, 8))] {
        near(
            spring.day_by(p, Reading::Normal).unwrap().day_of_year,
            wanted,
            0.6,
        );
    }
    for (p, wanted) in [(0.1, day(10, 3)), (0.5, day(10, 26)), (0.9, day(11, 17))] {
        near(
            autumn.day_by(p, Reading::Normal).unwrap().day_of_year,
            wanted,
            0.6,
        );
    }
    for (share, wanted) in [(0.9, day(5, 15)), (0.5, day(4, 22)), (0.1, day(4, 9))] {
        near(linear_quantile(spring.days(), share).unwrap(), wanted, 0.6);
    }
    // Mixed, 20 °F in spring: 27 of 30 years; 24 °F in autumn: 25 of 30.
    let mixed = FreezeOdds::published(Season::Spring, 43.0, 24.24, 0.9);
    near(mixed.day(0.1).unwrap(), day(3, 14), 0.6);
    near(mixed.day(0.5).unwrap(), day(2, 9), 0.6);
    assert_eq!(mixed.day(0.9), None);
    let mixed = FreezeOdds::published(Season::Autumn, 335.52, 19.55, 25.0 / 30.0);
    near(mixed.day(0.1).unwrap(), day(11, 9), 0.6);
    near(mixed.day(0.5).unwrap(), day(12, 6), 0.6);
    assert_eq!(mixed.day(0.9), None);
    for (mean, sd, wanted) in [
        (130.93, 18.41, [day(6, 4), day(5, 11), day(4, 17)]),
        (86.33, 21.81, [day(4, 24), day(3, 27), day(2, 27)]),
    ] {
        let published = FreezeOdds::published(Season::Spring, mean, sd, 1.0);
        for (p, wanted) in [0.1, 0.5, 0.9].into_iter().zip(wanted) {
            near(published.day(p).unwrap(), wanted, 0.6);
        }
    }
}

/// 16 rows: mean annual extreme minimum, zone, number of winters.
#[test]
fn every_hardiness_zone_of_the_check_values() {
    let mut tally = Tally::default();
    by_station(
        &check_values("annual_extreme_minimum_and_zone"),
        |record, rows| {
            let winters = freeze_dates::winter_lows(record);
            for row in rows {
                let span = if cell(row, "period_winters") == "all" {
                    i32::MIN..=i32::MAX
                } else {
                    1991..=2020
                };
                let (mean_c, zone, count) =
                    freeze_dates::mean_extreme_minimum(&winters, span).unwrap();
                let what = || format!("{} {}", cell(row, "station"), cell(row, "period_winters"));
                tally.row(
                    what,
                    mean_c,
                    number(row, "mean_annual_extreme_min_c"),
                    0.006,
                );
                tally.row(what, count as f64, number(row, "n_winters"), 0.0);
                assert_eq!(
                    zone.to_string(),
                    cell(row, "usda_zone_by_10f_and_5f_bands"),
                    "{}",
                    what()
                );
            }
        },
    );
    tally.done("annual_extreme_minimum_and_zone", 4);
}

/// US Department of Agriculture 2023: the bands.
#[test]
fn every_band_of_the_zone_table() {
    for row in check_values("hardiness_zones") {
        let zone = HardinessZone::read(cell(&row, "zone")).unwrap();
        assert_eq!(zone.low_f(), number(&row, "low_f"));
        assert_eq!(zone.high_f(), number(&row, "high_f"));
        assert_eq!(HardinessZone::from_extreme_minimum_f(zone.low_f()), zone);
    }
}

/// Three stations are known to be read in the morning (correlation of their
/// highs with a neighbour's a day later); the others are not.
#[test]
fn the_hour_of_reading() {
    for (station, wanted) in [
        ("champion_ne", ReadingHour::SameDay),
        ("washington_dc_dca", ReadingHour::SameDay),
        ("klein_altendorf_de", ReadingHour::SameDay),
        ("brussels_be", ReadingHour::SameDay),
        ("zaragoza_es", ReadingHour::SameDay),
        ("suwon_kr", ReadingHour::SameDay),
        ("sapporo_jp", ReadingHour::SameDay),
        ("nagano_jp", ReadingHour::SameDay),
        ("winchester_va", ReadingHour::Morning),
        ("hudson_valley_ny", ReadingHour::Morning),
    ] {
        if let Some(record) = data::daily(station) {
            let opinion = screening::reading_hour(&record).unwrap();
            println!("{station}: {opinion:?}");
            assert_eq!(opinion.hour, wanted, "{station}");
        }
    }
}

/// The screening on real records: what it drops is little, and the April 2007
/// freeze at Champion (-10.5 °C after a warm March) is not among it.
#[test]
fn screening_keeps_what_happened() {
    let record = data::daily("champion_ne").unwrap();
    let screened = screening::screen(&record);
    assert!(screened.findings.len() < 30, "{}", screened.findings.len());
    let april_2007 = NaiveDate::from_ymd_opt(2007, 4, 4)
        .unwrap()
        .iter_days()
        .take(6)
        .filter_map(|date| screened.record.day(date)?.low_c)
        .fold(f64::INFINITY, f64::min);
    assert!((april_2007 + 10.5).abs() < 0.1, "{april_2007}");
    if let Some(record) = data::daily("washington_dc_dca") {
        let screened = screening::screen(&record);
        let mean = |record: &DailyRecord| {
            FreezeOdds::of(&years(record, 32.0), Season::Spring)
                .mean_and_sd()
                .unwrap()
                .0
        };
        println!(
            "Washington: {} findings, mean last freeze day {:.1}, screened {:.1}",
            screened.findings.len(),
            mean(&record),
            mean(&screened.record)
        );
    }
}
