//! The right tree in the right place: choosing, pollination, verdicts,
//! junipers, replanting, and the keeper's own cultivars.

mod choosing;
mod own;
mod partners;
mod verdicts;

use budtide::facts::Facts;
use budtide::service::gather;
use chrono::NaiveDate;
use std::sync::LazyLock;

fn today() -> NaiveDate {
    let (year, month, day) = gather::DEMO_DAY;
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

/// The demo's facts: an invented orchard, to be altered by a test.
fn demo() -> Facts {
    static DEMO: LazyLock<Facts> = LazyLock::new(|| gather::demo(today()).unwrap());
    DEMO.clone()
}
