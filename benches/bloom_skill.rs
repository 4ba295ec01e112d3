//! How well bloom is forecast, and how fast.
//!
//! Reads the open records in the folder named by `BUDTIDE_DATA` (default
//! `../shared/datasets`), see `../shared/reference/datasets.md`; prints that
//! it was skipped where they are missing. `cargo bench --bench bloom_skill`.

use budtide::facts::weather::{DailyRecord, Day};
use budtide::season::bloom::{Evidence, Fit, Observation, Usual, Years};
use budtide::season::candidates::SeasonYear;
use budtide::season::ensemble::{Climate, Outlook};
use budtide::season::hindcast::{self, ISSUES, Knows, Score, Summary};
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

/// Usual date off by -4, 0 or 4 days and three own observations of other
/// years, spread over the record.
fn with_little(climate: &Climate, record: &Record) -> Vec<f64> {
    let years: Vec<i32> = years(record)
        .into_iter()
        .filter(|year| climate.candidates.spring(*year).is_some())
        .collect();
    let n = years.len();
    let mean = record.seen.iter().map(|seen| seen.instant).sum::<f64>() / record.seen.len() as f64;
    let cases: Vec<(usize, usize)> = (0..n).flat_map(|i| (0..3).map(move |k| (i, k))).collect();
    side_by_side(&cases, |&(i, k)| {
        let target = *years.get(i)?;
        let chosen: Vec<i32> = (0..3)
            .filter_map(|part| years.get((i + 1 + k + part * (n - 1) / 3) % n).copied())
            .filter(|year| *year != target)
            .collect();
        let evidence = Evidence {
            usual: Some(Usual {
                instant: mean + [-4.0, 0.0, 4.0][(i + k) % 3],
                spread_days: 5.0,
                from_other_crop: false,
            }),
            own: record
                .seen
                .iter()
                .copied()
                .filter(|seen| chosen.contains(&seen.year))
                .collect(),
            sisters: Vec::new(),
        };
        let fit = Fit::new(&climate.candidates, &evidence, Years::Except(target));
        let came: Vec<f64> = record
            .seen
            .iter()
            .filter(|seen| seen.year == target)
            .map(|seen| seen.instant)
            .collect();
        let came = came.iter().sum::<f64>() / came.len() as f64;
        Some(fit.date(climate.candidates.spring(target)?) - came)
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
            .map(|record| (*station, Climate::new(&screened(record), *latitude)))
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
        let little = rms(&with_little(climate, record));
        println!(
            "{:<55} {:>3} {:>5.2} {:>5.2}   usual + 3: {:>5.2}",
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
        "mean of the eleven: {:.2}; usual date and three observations: {:.2}",
        few.iter().map(|x| x.0).sum::<f64>() / n,
        few.iter().map(|x| x.1).sum::<f64>() / n
    );
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

fn screened(record: DailyRecord) -> DailyRecord {
    record
}
