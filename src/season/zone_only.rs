//! The year without any weather: the hardiness zone's handbook days. Wide, and
//! marked so.

use super::spread::{Basis, Spread};
use crate::facts::knowledge::ZoneMonths;
use chrono::NaiveDate;

/// A handbook day of a year as a spread.
pub fn month_day(zone: &ZoneMonths, month_day: (u32, u32), year: i32) -> Option<Spread> {
    let (month, day) = month_day;
    let middle = NaiveDate::from_ymd_opt(year, month, day)
        .or_else(|| NaiveDate::from_ymd_opt(year, month, day.saturating_sub(1)))?;
    Some(around(middle, f64::from(zone.spread_days)))
}

/// A day and so many days either way.
fn around(middle: NaiveDate, days: f64) -> Spread {
    let whole = Spread::certain(middle, Basis::ZoneOnly);
    Spread::new(
        whole.shifted(-days).middle,
        middle,
        whole.shifted(days).middle,
        Basis::ZoneOnly,
    )
}
