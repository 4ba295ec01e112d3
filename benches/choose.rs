//! Ranking 400 cultivars against 30 years. `cargo bench --bench choose`; the
//! aim is under 100 ms in all. What is counted once for a place and a crop is
//! timed apart from the ranking.

use budtide::plan::choose::{Ground, rank};
use budtide::season::years;
use budtide::service::gather;
use chrono::NaiveDate;
use std::time::{Duration, Instant};

const RUNS: usize = 15;

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn timed(mut work: impl FnMut()) -> Duration {
    work();
    median(
        (0..RUNS)
            .map(|_| {
                let start = Instant::now();
                work();
                start.elapsed()
            })
            .collect(),
    )
}

fn main() {
    let (year, month, day) = gather::DEMO_DAY;
    let today = NaiveDate::from_ymd_opt(year, month, day).unwrap();
    let mut facts = gather::demo(today).unwrap();
    // The apples thrice, under new names: some 430.
    let apples: Vec<_> = facts
        .knowledge
        .cultivars
        .iter()
        .filter(|one| one.crop == "apple")
        .cloned()
        .collect();
    for nth in 1..3 {
        facts.knowledge.cultivars.extend(apples.iter().map(|one| {
            let mut one = one.clone();
            one.name = format!("{} {nth}", one.name);
            one.also.clear();
            one
        }));
    }
    facts.knowledge = facts.knowledge.clone().index();
    let crop = facts.knowledge.crop("apple").unwrap();
    let place = timed(|| {
        std::hint::black_box(years::of(&facts, crop, today));
    });
    println!("{place:>10.1?}  30 years counted for a place and a crop");
    let found = years::of(&facts, crop, today);
    let mut count = 0;
    let ranked = timed(|| {
        let ground = Ground::new(&facts, crop, &found, None, None);
        count = std::hint::black_box(rank(&ground)).len();
    });
    println!("{ranked:>10.1?}  {count} cultivars ranked");
    println!("{:>10.1?}  both (aim under 100 ms for 400)", place + ranked);
}
