//! A whole plan: cold (the `calendar` command from start to exit) and warm
//! (season and plan in one process), for 50 trees and for 5,000. Run with
//! `cargo bench --bench plan`; compare the ratios, the machine is noisy.

use budtide::facts::Facts;
use budtide::service::gather;
use budtide::{plan, season};
use chrono::NaiveDate;
use std::process::{Command, Stdio};
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

fn with_trees(facts: &Facts, count: usize) -> Facts {
    let mut facts = facts.clone();
    let trees = facts.register.trees.clone();
    facts.register.trees = (0..count)
        .map(|index| {
            let mut tree = trees[index % trees.len()].clone();
            tree.id = format!("T{index}");
            tree
        })
        .collect();
    facts
}

fn main() {
    let (year, month, day) = gather::DEMO_DAY;
    let today = NaiveDate::from_ymd_opt(year, month, day).unwrap();
    let facts = gather::demo(today).unwrap();
    let cold = timed(|| {
        let status = Command::new(env!("CARGO_BIN_EXE_budtide"))
            .args(["demo", "calendar"])
            .stdout(Stdio::null())
            .status()
            .unwrap();
        assert!(status.success());
    });
    println!("{cold:>10.1?}  cold: `demo calendar` from start to exit (aim under 50 ms)");
    let gathered = timed(|| {
        std::hint::black_box(gather::demo(today).unwrap());
    });
    println!("{gathered:>10.1?}  of it: files, knowledge and weather read");
    let season = season::derive(&facts, today);
    std::hint::black_box(plan::make(&facts, &season, today));
    let alone = timed(|| {
        std::hint::black_box(plan::make(&facts, &season, today));
    });
    println!("{alone:>10.1?}  the plan alone, its points known (aim under 5 ms)");
    let mut idle = facts.clone();
    idle.preferences.hours_per_week = 0.0;
    let unshared = timed(|| {
        std::hint::black_box(plan::make(&idle, &season, today));
    });
    println!("{unshared:>10.1?}  of it without sharing out the hours");
    let mut first = Duration::ZERO;
    for count in [50, 5_000] {
        let facts = with_trees(&facts, count);
        let warm = timed(|| {
            let season = season::derive(&facts, today);
            std::hint::black_box(plan::make(&facts, &season, today));
        });
        if first.is_zero() {
            first = warm;
        }
        let ratio = warm.as_secs_f64() / first.as_secs_f64();
        println!("{warm:>10.1?}  warm: season and plan of {count} trees, x {ratio:.2}");
    }
}
