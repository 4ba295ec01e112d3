//! How well bloom is forecast, and how fast.
//!
//! Reads the open records in the folder named by `BUDTIDE_DATA` (default
//! `../shared/datasets`), see `../shared/reference/datasets.md`; prints that
//! it was skipped where they are missing. `cargo bench --bench bloom_skill`.

use budtide::facts::journal::StageSeen;
use budtide::facts::knowledge::{Crop, CropKind, Source, Stage, Standing};
use budtide::facts::place::HardinessZone;
use budtide::facts::weather::{DailyRecord, Day};
use budtide::season::bloom::{Evidence, Fit, Observation, Sister, Usual, Years};
use budtide::season::ensemble::{Climate, Mixture, Outlook};
use budtide::season::hindcast::{self, ISSUES, Knows, Score, Summary};
use budtide::season::screening::screen;
use budtide::season::season_days::SeasonYear;
use budtide::season::stages::{Reports, season_of};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Stations with their latitude.
const STATIONS: &[(&str, &str, f64)] = &[
    (
        "fetched/daily_klein_altendorf_1958_2022.csv.gz",
        "klein_altendorf_de",
        50.61,
    ),
    (
        "fetched/daily_zaragoza_1973_2022.csv.gz",
        "zaragoza_es",
        41.65,
    ),
    (
        "fetched/daily_washington_dc_dca_1945_2022.csv.gz",
        "washington_dc_dca",
        38.85,
    ),
    (
        "fetched/daily_winchester_va_1982_2020.csv.gz",
        "winchester_va",
        39.19,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "seoul_kr",
        37.57,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "suwon_kr",
        37.27,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "incheon_kr",
        37.48,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "cheongju_kr",
        36.64,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "daejeon_kr",
        36.37,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "jeonju_kr",
        35.82,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "gwangju_kr",
        35.17,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "daegu_kr",
        35.89,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "andong_kr",
        36.57,
    ),
    (
        "registry/daily_korea_10_stations_1972_2024.csv.gz",
        "pohang_kr",
        36.03,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "sapporo_jp",
        43.06,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "aomori_jp",
        40.82,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "morioka_jp",
        39.70,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "akita_jp",
        39.72,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "yamagata_jp",
        38.26,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "sendai_jp",
        38.26,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "fukushima_jp",
        37.76,
    ),
    (
        "registry/daily_japan_8_stations_1976_2025.csv.gz",
        "nagano_jp",
        36.66,
    ),
];

/// The files with observations.
const SEEN: &[&str] = &[
    "fetched/phenology_klein_altendorf.csv",
    "fetched/phenology_zaragoza.csv",
    "fetched/phenology_washington_dc_yoshino.csv",
    "fetched/phenology_apple_golden_delicious_us.csv",
    "registry/phenology_korea_peach_pear_cherry_ume.csv",
    "registry/phenology_japan_cherry_ume.csv",
];

/// The eleven long records: station, species, cultivar, stage.
const ELEVEN: &[(&str, &str, &str, &str)] = &[
    (
        "klein_altendorf_de",
        "apple",
        "Golden Delicious",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "apple",
        "Roter Boskoop",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "apple",
        "Cox Orange",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "pear",
        "Alexander Lucas",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "pear",
        "Conference",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "sweet_cherry",
        "Schneiders",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "sweet_cherry",
        "Regina",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "sweet_cherry",
        "Burlat",
        "flowering_50pct",
    ),
    (
        "klein_altendorf_de",
        "european_plum",
        "Katinka",
        "flowering_50pct",
    ),
    ("zaragoza_es", "sweet_cherry", "Burlat", "flowering_50pct"),
    (
        "washington_dc_dca",
        "yoshino_cherry",
        "Yoshino",
        "peak_bloom_70pct",
    ),
];

/// One cultivar's bloom at one station.
#[derive(Clone)]
struct Record {
    station: String,
    species: String,
    cultivar: String,
    stage: String,
    seen: Vec<Observation>,
}

impl Record {
    fn name(&self) -> String {
        format!("{} {} {}", self.station, self.species, self.cultivar)
    }

    fn evidence(&self) -> Evidence {
        Evidence {
            own: self.seen.clone(),
            ..Evidence::default()
        }
    }
}

fn folder() -> PathBuf {
    std::env::var_os("BUDTIDE_DATA").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/datasets"),
        PathBuf::from,
    )
}

fn weather(folder: &Path, file: &str, station: &str) -> Option<DailyRecord> {
    let packed = std::fs::File::open(folder.join(file)).ok()?;
    let mut rows = csv::Reader::from_reader(flate2::read::GzDecoder::new(packed));
    let head = rows.headers().ok()?.clone();
    let at = |name: &str| head.iter().position(|one| one == name);
    let (name, date, low, high) = (at("station")?, at("date")?, at("tmin_c")?, at("tmax_c")?);
    let days: Vec<Day> = rows
        .records()
        .flatten()
        .filter(|row| row.get(name) == Some(station))
        .filter_map(|row| {
            Some(Day {
                date: row.get(date)?.parse().ok()?,
                low_c: row.get(low)?.parse().ok(),
                high_c: row.get(high)?.parse().ok(),
                rain_mm: None,
            })
        })
        .collect();
    DailyRecord::from_days(&days)
}

fn records(folder: &Path) -> Vec<Record> {
    let mut all: BTreeMap<(String, String, String, String), Vec<Observation>> = BTreeMap::new();
    for file in SEEN {
        let Ok(mut rows) = csv::Reader::from_path(folder.join(file)) else {
            continue;
        };
        let Ok(head) = rows.headers().cloned() else {
            continue;
        };
        for row in rows.records().flatten() {
            let get = |name: &str| {
                head.iter()
                    .position(|one| one == name)
                    .and_then(|at| row.get(at))
                    .unwrap_or("")
                    .to_owned()
            };
            if get("suspect") == "1" || get("year_certain") == "0" {
                continue;
            }
            let Ok(date) = get("date").parse::<NaiveDate>() else {
                continue;
            };
            let Ok(year) = get("year").parse::<i32>() else {
                continue;
            };
            let season = SeasonYear {
                year,
                southern: false,
            };
            all.entry((
                get("weather_station"),
                get("species"),
                get("cultivar"),
                get("stage"),
            ))
            .or_default()
            .push(Observation {
                year,
                instant: season.day(date) as f64 + 0.5,
                share: 1.0,
            });
        }
    }
    all.into_iter()
        .map(|((station, species, cultivar, stage), seen)| Record {
            station,
            species,
            cultivar,
            stage,
            seen,
        })
        .collect()
}

fn rms(errors: &[f64]) -> f64 {
    (errors.iter().map(|e| e * e).sum::<f64>() / errors.len().max(1) as f64).sqrt()
}

/// Works through items on two threads, results in the order of the items.
fn side_by_side<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let half = items.len().div_ceil(2);
    let (left, right) = items.split_at(half);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| right.iter().map(&work).collect::<Vec<R>>());
        let mut all: Vec<R> = left.iter().map(&work).collect();
        all.extend(other.join().unwrap());
        all
    })
}

fn years(record: &Record) -> Vec<i32> {
    let mut years: Vec<i32> = record.seen.iter().map(|seen| seen.year).collect();
    years.sort_unstable();
    years.dedup();
    years
}

/// Leave-one-out errors with the whole spring's weather.
fn left_out(climate: &Climate, record: &Record) -> Vec<f64> {
    side_by_side(&years(record), |&year| {
        hindcast::left_out_error(climate, &record.evidence(), year)
    })
    .into_iter()
    .flatten()
    .collect()
}

/// Usual date off by -4 to 4 days and a few own observations of other years,
/// spread over the record: the error, and whether the 10-90 % window with
/// the whole spring known holds what came.
fn with_little(
    climate: &Climate,
    record: &Record,
    observed: usize,
    others: &[&Record],
) -> Vec<(f64, bool)> {
    let years: Vec<i32> = years(record)
        .into_iter()
        .filter(|year| climate.candidates.spring(*year).is_some())
        .collect();
    let n = years.len();
    let mean = record.seen.iter().map(|seen| seen.instant).sum::<f64>() / record.seen.len() as f64;
    let cases: Vec<(usize, usize)> = (0..n).flat_map(|i| (0..3).map(move |k| (i, k))).collect();
    side_by_side(&cases, |&(i, k)| {
        let target = *years.get(i)?;
        let chosen: Vec<i32> = (0..observed)
            .filter_map(|part| {
                years
                    .get((i + 1 + k + part * (n - 1) / observed) % n)
                    .copied()
            })
            .filter(|year| *year != target)
            .collect();
        let evidence = Evidence {
            usual: Some(Usual {
                instant: mean + ((i * 3 + k) % 9) as f64 - 4.0,
                spread_days: 5.0,
                from_other_crop: false,
            }),
            own: record
                .seen
                .iter()
                .copied()
                .filter(|seen| chosen.contains(&seen.year))
                .collect(),
            sisters: others
                .iter()
                .map(|other| Sister {
                    later_days: 0.0,
                    seen: other.seen.clone(),
                })
                .collect(),
        };
        let fit = Fit::new(&climate.candidates, &evidence, Years::Except(target));
        let came: Vec<f64> = record
            .seen
            .iter()
            .filter(|seen| seen.year == target)
            .map(|seen| seen.instant)
            .collect();
        let came = came.iter().sum::<f64>() / came.len() as f64;
        let spring = climate.candidates.spring(target)?;
        let dates = fit
            .weights
            .iter()
            .zip(&spring.dates)
            .map(|(weight, &date)| (f64::from(date) - fit.drift(target), *weight))
            .collect();
        let window = Mixture::new(dates, fit.scale_days);
        let held = window.quantile(0.1)? <= came && came <= window.quantile(0.9)?;
        Some((fit.date(spring) - came, held))
    })
    .into_iter()
    .flatten()
    .collect()
}

fn forecasts(climate: &Climate, record: &Record, knows: Knows) -> Vec<Score> {
    side_by_side(&years(record), |&year| {
        hindcast::year(climate, &record.evidence(), year, knows)
    })
    .concat()
}

fn table(title: &str, scores: &[Score]) {
    println!("\n{title}");
    println!(
        "{:>16} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}",
        "issued", "n", "rmse", "|med|", "bias", "in %", "width", "crps", "ref", "ref rmse"
    );
    for issue in ISSUES {
        let some = Summary::of(scores.iter().filter(|score| score.issue == issue));
        println!(
            "{:>16} {:>5} {:>6.2} {:>6.2} {:>6.2} {:>6.1} {:>6.1} {:>6.2} {:>6.2} {:>6.2}",
            format!("{issue:?}"),
            some.forecasts,
            some.rmse,
            some.median_error,
            some.bias,
            100.0 * some.coverage,
            some.width,
            some.crps,
            some.reference_crps,
            some.reference_rmse
        );
    }
}

fn main() {
    let folder = folder();
    let records = records(&folder);
    if records.is_empty() {
        println!("skipped: no records in {}", folder.display());
        return;
    }
    let clock = Instant::now();
    let climates: BTreeMap<&str, Climate> = side_by_side(STATIONS, |(file, station, latitude)| {
        weather(&folder, file, station)
            .map(|record| (*station, Climate::new(&screen(&record).record, *latitude)))
    })
    .into_iter()
    .flatten()
    .collect();
    println!(
        "{} climates in {:.1} s",
        climates.len(),
        clock.elapsed().as_secs_f64()
    );
    let is = |record: &Record, one: &(&str, &str, &str, &str)| {
        record.station == one.0
            && record.species == one.1
            && record.cultivar == one.2
            && record.stage == one.3
    };
    let eleven: Vec<&Record> = ELEVEN
        .iter()
        .filter_map(|one| records.iter().find(|record| is(record, one)))
        .collect();
    let group = |test: &dyn Fn(&Record) -> bool| -> Vec<&Record> {
        records
            .iter()
            .filter(|record| climates.contains_key(record.station.as_str()) && test(record))
            .collect()
    };
    let korea = group(&|r| {
        r.station.ends_with("_kr")
            && r.stage == "full_bloom"
            && (r.species == "peach" || r.species == "pear")
    });
    let japan =
        group(&|r| r.station.ends_with("_jp") && r.stage == "full_bloom" && r.species == "cherry");
    let winchester = group(&|r| r.station == "winchester_va");
    let altendorf = group(&|r| {
        r.station == "klein_altendorf_de" && r.stage == "flowering_50pct" && r.seen.len() >= 10
    });
    let zaragoza = group(&|r| r.station == "zaragoza_es" && r.seen.len() >= 10);

    println!("\nleave one out, whole spring known: RMSE, bias (days)");
    let mut few = Vec::new();
    for record in &eleven {
        let Some(climate) = climates.get(record.station.as_str()) else {
            continue;
        };
        let errors = left_out(climate, record);
        let bias = errors.iter().sum::<f64>() / errors.len().max(1) as f64;
        let little: Vec<(f64, f64)> = [0, 1, 3, 5]
            .iter()
            .map(|&observed| {
                let cases = with_little(climate, record, observed, &[]);
                let errors: Vec<f64> = cases.iter().map(|(error, _)| *error).collect();
                let held = cases.iter().filter(|(_, held)| *held).count();
                (
                    rms(&errors),
                    100.0 * held as f64 / cases.len().max(1) as f64,
                )
            })
            .collect();
        println!(
            "{:<52} {:>3} {:>5.2} {:>5.2}  usual date and 0, 1, 3, 5 observations: {:.1?}",
            record.name(),
            errors.len(),
            rms(&errors),
            bias,
            little
        );
        few.push((rms(&errors), little));
    }
    let n = few.len() as f64;
    println!(
        "mean of the eleven: {:.2}",
        few.iter().map(|(all, _)| all).sum::<f64>() / n
    );
    for (at, observed) in [0, 1, 3, 5].iter().enumerate() {
        println!(
            "usual date and {observed} observations: {:.2} d, window holds {:.0} %",
            few.iter().map(|(_, little)| little[at].0).sum::<f64>() / n,
            few.iter().map(|(_, little)| little[at].1).sum::<f64>() / n
        );
    }
    with_sisters(&climates, &records, &eleven);
    anchored(&climates, &records, &altendorf);
    for (name, some) in [
        ("Korea peach, pear", &korea),
        ("Japan cherry", &japan),
        ("Winchester apple", &winchester),
        ("Klein-Altendorf all", &altendorf),
        ("Zaragoza all", &zaragoza),
    ] {
        let each: Vec<f64> = some
            .iter()
            .map(|record| rms(&left_out(&climates[record.station.as_str()], record)))
            .collect();
        println!(
            "{name}: {} records, mean RMSE {:.2}",
            each.len(),
            each.iter().sum::<f64>() / each.len() as f64
        );
    }
    println!("[{:.1} s]", clock.elapsed().as_secs_f64());
    for knows in [Knows::EarlierYears, Knows::OtherYears] {
        let mut pooled = Vec::new();
        for (name, some) in [("eleven", &eleven), ("Korea", &korea), ("Japan", &japan)] {
            let scores: Vec<Score> = some
                .iter()
                .flat_map(|record| forecasts(&climates[record.station.as_str()], record, knows))
                .collect();
            table(&format!("{name}, {knows:?}"), &scores);
            pooled.extend(scores);
        }
        table(&format!("pooled, {knows:?}"), &pooled);
        println!("[{:.1} s]", clock.elapsed().as_secs_f64());
    }
    timing(&climates, &eleven);
}

/// Usual date, few own observations and those of the other cultivars.
fn with_sisters(climates: &BTreeMap<&str, Climate>, records: &[Record], eleven: &[&Record]) {
    println!("\nusual date and 0 or 3 own observations, without and with other cultivars: RMSE");
    for record in eleven {
        let others: Vec<&Record> = records
            .iter()
            .filter(|other| {
                other.station == record.station
                    && other.species == record.species
                    && other.stage == record.stage
                    && other.cultivar != record.cultivar
            })
            .collect();
        let Some(climate) = climates.get(record.station.as_str()) else {
            continue;
        };
        if others.is_empty() {
            continue;
        }
        let error = |observed, others: &[&Record]| {
            let cases = with_little(climate, record, observed, others);
            rms(&cases.iter().map(|(error, _)| *error).collect::<Vec<f64>>())
        };
        println!(
            "{:<52} {:>2} others: {:.2} -> {:.2}, {:.2} -> {:.2}",
            record.name(),
            others.len(),
            error(0, &[]),
            error(0, &others),
            error(3, &[]),
            error(3, &others)
        );
    }
}

/// First bloom (5 %) seen: how well full bloom (50 %) follows from it, all
/// other years known, the weather to come not.
fn anchored(climates: &BTreeMap<&str, Climate>, records: &[Record], altendorf: &[&Record]) {
    println!(
        "\nfull bloom two days after first bloom, RMSE: first bloom not told, told; window, days; holds, %"
    );
    let crop = two_stages();
    for record in altendorf {
        let Some(first) = records.iter().find(|first| {
            first.station == record.station
                && first.species == record.species
                && first.cultivar == record.cultivar
                && first.stage == "flowering_05pct"
        }) else {
            continue;
        };
        let climate = &climates[record.station.as_str()];
        let both: Vec<(i32, f64, f64)> = record
            .seen
            .iter()
            .filter_map(|full| {
                let first = first.seen.iter().find(|first| first.year == full.year)?;
                Some((full.year, first.instant, full.instant))
            })
            .filter(|(_, first, full)| full - first >= 3.0)
            .collect();
        let results: Vec<(f64, f64, f64, bool)> = side_by_side(&both, |&(year, first, full)| {
            climate.candidates.spring(year)?;
            let season = SeasonYear {
                year,
                southern: false,
            };
            let fit = Fit::new(&climate.candidates, &record.evidence(), Years::Except(year));
            let today = season.date(first + 2.0);
            let outlook = Outlook::new(climate, None, year, today, Years::Except(year));
            let seen = [StageSeen {
                date: season.date(first),
                crop: crop.id.clone(),
                cultivar: None,
                stage: "first bloom".to_owned(),
            }];
            let window = |seen: &[StageSeen]| {
                let zone = HardinessZone::read("7a")?;
                let reports = Reports {
                    seen,
                    watched: true,
                };
                let dates = season_of(&crop, climate, &outlook, &fit, zone, reports);
                dates.get(1).copied()
            };
            let (without, with) = (window(&[])?, window(&seen)?);
            let day = |date: NaiveDate| season.day(date) as f64 + 0.5;
            Some((
                day(without.p50) - full,
                day(with.p50) - full,
                day(with.p90) - day(with.p10),
                day(with.p10) <= full && full <= day(with.p90),
            ))
        })
        .into_iter()
        .flatten()
        .collect();
        let n = results.len() as f64;
        let square = |value: fn(&(f64, f64, f64, bool)) -> f64| {
            (results.iter().map(|one| value(one).powi(2)).sum::<f64>() / n).sqrt()
        };
        println!(
            "{:<52} {:>3}  {:.2}  {:.2}  {:.1}  {:.0}",
            record.name(),
            results.len(),
            square(|one| one.0),
            square(|one| one.1),
            results.iter().map(|one| one.2).sum::<f64>() / n,
            100.0 * results.iter().filter(|one| one.3).count() as f64 / n
        );
    }
}

/// A crop with first and full bloom alone; 0.88 is the mean ratio of their
/// heat in the table of the project's reference (phenology 2b).
fn two_stages() -> Crop {
    let source = Source {
        references: Vec::new(),
        standing: Standing::Computed,
    };
    let stage = |name: &str, share: f64| Stage {
        name: name.to_owned(),
        also: Vec::new(),
        bbch: String::new(),
        source: source.clone(),
        heat_share: Some((share, source.clone())),
        days_after_bloom: None,
    };
    Crop {
        id: "test".to_owned(),
        name: "test".to_owned(),
        plural: "tests".to_owned(),
        plant: "tree".to_owned(),
        also: Vec::new(),
        latin: String::new(),
        kind: CropKind::Pome,
        stages: vec![stage("first bloom", 0.88), stage("full bloom", 1.0)],
        critical: Vec::new(),
        blossoms_needed: None,
        chill: Vec::new(),
        bloom_offset: None,
        harvest: Vec::new(),
        planting: Vec::new(),
        years_to_bear: None,
        coldest_zone: None,
        habit: Default::default(),
    }
}

fn timing(climates: &BTreeMap<&str, Climate>, eleven: &[&Record]) {
    println!();
    for record in eleven.iter().take(1) {
        let climate = &climates[record.station.as_str()];
        let clock = Instant::now();
        let again = Climate::new(climate.record(), climate.latitude_deg);
        println!(
            "climate and table of {} springs: {:.1} ms",
            again.candidates.springs().len(),
            1e3 * clock.elapsed().as_secs_f64()
        );
        let clock = Instant::now();
        let fit = Fit::new(&climate.candidates, &record.evidence(), Years::Before(2018));
        let fitted = 1e3 * clock.elapsed().as_secs_f64();
        let today = NaiveDate::from_ymd_opt(2018, 3, 1).unwrap();
        let clock = Instant::now();
        let outlook = Outlook::new(climate, None, 2018, today, Years::Before(2018));
        let put = 1e3 * clock.elapsed().as_secs_f64();
        let clock = Instant::now();
        let bloom = outlook.full_bloom(climate, &fit);
        let window = (
            bloom.quantile(0.1),
            bloom.quantile(0.5),
            bloom.quantile(0.9),
        );
        println!(
            "one cultivar, 1 March: weights {fitted:.1} ms, {} members {put:.1} ms, window {:.1} ms {window:?}",
            outlook.members(),
            1e3 * clock.elapsed().as_secs_f64()
        );
        let clock = Instant::now();
        let scores = forecasts(climate, record, Knows::EarlierYears);
        println!(
            "hindcast of {} forecasts: {:.2} s",
            scores.len(),
            clock.elapsed().as_secs_f64()
        );
    }
}
