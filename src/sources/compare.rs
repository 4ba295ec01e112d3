//! Two sources about the same days: how far they agree.

use super::Span;
use crate::facts::weather::{DailyRecord, Day};
use chrono::{NaiveDate, TimeDelta};

/// How far two sources agree. Differences are second less first.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The days that both span.
    pub span: Span,
    /// Of lows, °C.
    pub low: Difference,
    /// Of highs, °C.
    pub high: Difference,
    /// Of rain, mm.
    pub rain: Difference,
    /// Sums of rain over the days on which both know it, mm.
    pub rain_sums_mm: (f64, f64),
    /// Days on which one has 1 mm or more and the other has none.
    pub wet_against_dry: usize,
    /// The second's highs agree best with the first's when dated so many days
    /// earlier: 1 where its thermometer is read in the morning, -1 where that of
    /// the first is.
    pub highs_late_by: i64,
}

/// Differences of one quantity.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Difference {
    /// Days on which both know it.
    pub days: usize,
    /// Their mean.
    pub mean: f64,
    /// The mean of their sizes.
    pub mean_size: f64,
    /// The day on which they differ most, with the first's and the second's
    /// value.
    pub most: Option<(NaiveDate, f64, f64)>,
}

/// Days that a shift of the highs needs to be told (our choice).
const DAYS_FOR_SHIFT: usize = 30;

/// How much better the shifted highs must agree, as a share (our choice).
const BETTER: f64 = 0.8;

/// Compares two records over the days that both span. `None` where they share
/// none.
pub fn compare(first: &DailyRecord, second: &DailyRecord) -> Option<Comparison> {
    let span = Span {
        first: first.first().max(second.first()),
        last: first.last()?.min(second.last()?),
    };
    if span.is_empty() {
        return None;
    }
    let dates = || span.first.iter_days().take(span.days() as usize);
    let of = |pick: fn(&Day) -> Option<f64>, late: i64| {
        let mut difference = Difference::default();
        for date in dates() {
            let one = first.day(date).as_ref().and_then(pick);
            let later = date.checked_add_signed(TimeDelta::days(late));
            let other = later.and_then(|date| second.day(date));
            if let (Some(a), Some(b)) = (one, other.as_ref().and_then(pick)) {
                difference.add(date, a, b);
            }
        }
        difference.finish();
        difference
    };
    let mut rain_sums_mm = (0.0, 0.0);
    let mut wet_against_dry = 0;
    for date in dates() {
        let rain = |record: &DailyRecord| record.day(date)?.rain_mm;
        if let (Some(a), Some(b)) = (rain(first), rain(second)) {
            rain_sums_mm.0 += a;
            rain_sums_mm.1 += b;
            wet_against_dry += usize::from(a.max(b) >= 1.0 && a.min(b) <= 0.0);
        }
    }
    let high = of(|day| day.high_c, 0);
    let late = |days: i64| {
        let shifted = of(|day| day.high_c, days);
        shifted.days >= DAYS_FOR_SHIFT && shifted.mean_size < BETTER * high.mean_size
    };
    Some(Comparison {
        span,
        low: of(|day| day.low_c, 0),
        high,
        rain: of(|day| day.rain_mm, 0),
        rain_sums_mm,
        wet_against_dry,
        highs_late_by: [1, -1].into_iter().find(|days| late(*days)).unwrap_or(0),
    })
}

impl Difference {
    fn add(&mut self, date: NaiveDate, a: f64, b: f64) {
        self.days += 1;
        self.mean += b - a;
        self.mean_size += (b - a).abs();
        if self
            .most
            .is_none_or(|(_, x, y)| (b - a).abs() > (y - x).abs())
        {
            self.most = Some((date, a, b));
        }
    }

    fn finish(&mut self) {
        if self.days > 0 {
            self.mean /= self.days as f64;
            self.mean_size /= self.days as f64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(first: &str, highs: &[f64]) -> DailyRecord {
        let mut record = DailyRecord::unknown(first.parse().unwrap(), 0);
        for high in highs {
            record.push(Some(high - 10.0), Some(*high), Some(0.0));
        }
        record
    }

    #[test]
    fn a_mean_a_size_and_the_worst_day() {
        let first = record("2024-04-01", &[10.0, 20.0, 15.0, 12.0]);
        let second = record("2024-04-02", &[21.0, 12.0, 12.0, 9.0]);
        let found = compare(&first, &second).unwrap();
        assert_eq!(found.span.days(), 3);
        assert_eq!(found.high.days, 3);
        assert!((found.high.mean - (1.0 - 3.0 + 0.0) / 3.0).abs() < 1e-6);
        assert!((found.high.mean_size - 4.0 / 3.0).abs() < 1e-6);
        let worst = "2024-04-03".parse().unwrap();
        assert_eq!(found.high.most, Some((worst, 15.0, 12.0)));
        assert_eq!(found.highs_late_by, 0, "three days tell no shift");
        assert!(compare(&first, &record("2025-01-01", &[1.0])).is_none());
    }

    #[test]
    fn highs_that_are_dated_a_day_late_are_found() {
        let highs: Vec<f64> = (0..60).map(|day| 15.0 + f64::from(day * 7 % 11)).collect();
        let first = record("2024-04-01", &highs);
        let late = record("2024-04-02", &highs);
        assert_eq!(compare(&first, &late).unwrap().highs_late_by, 1);
        assert_eq!(compare(&late, &first).unwrap().highs_late_by, -1);
        assert_eq!(compare(&first, &first).unwrap().highs_late_by, 0);
    }

    #[test]
    fn rain_on_one_side_only_is_counted() {
        let mut first = record("2024-04-01", &[10.0, 10.0]);
        let second = first.clone();
        first.rain_mm.set(0, Some(8.0));
        first.rain_mm.set(1, Some(0.4));
        let found = compare(&first, &second).unwrap();
        assert_eq!(found.wet_against_dry, 1, "0.4 mm is no disagreement");
        assert!((found.rain_sums_mm.0 - 8.4).abs() < 1e-5);
    }
}
