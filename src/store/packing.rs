//! Values of one calendar year in two bytes each.
//!
//! Temperatures and wind are kept to a hundredth, humidity to a tenth, rain
//! to a hundredth of a millimetre below 300 mm and to a tenth from there on. A
//! value that is not known has a mark of its own, never a zero.

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};

/// The mark of a value that is not known.
pub(super) const UNKNOWN: i16 = i16::MIN;

/// The years that can be kept.
const YEARS: std::ops::RangeInclusive<i32> = 1700..=2500;

/// What is kept, one packed column for each calendar year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Series {
    DayLow = 0,
    DayHigh = 1,
    DayRain = 2,
    Temperature = 10,
    DewPoint = 11,
    Humidity = 12,
    Rain = 13,
    Wind = 14,
}

impl Series {
    pub const DAILY: [Series; 3] = [Series::DayLow, Series::DayHigh, Series::DayRain];
    pub const HOURLY: [Series; 5] = [
        Series::Temperature,
        Series::DewPoint,
        Series::Humidity,
        Series::Rain,
        Series::Wind,
    ];

    /// The number in the file.
    pub fn code(self) -> i64 {
        self as i64
    }

    /// Steps in one unit.
    fn steps(self) -> f64 {
        if self == Series::Humidity {
            10.0
        } else {
            100.0
        }
    }

    /// What a value of this series can be, in its unit.
    fn bounds(self) -> (f64, f64) {
        match self {
            Series::DayLow | Series::DayHigh | Series::Temperature | Series::DewPoint => {
                (-100.0, 100.0)
            }
            Series::DayRain | Series::Rain => (0.0, 2_000.0),
            Series::Humidity => (0.0, 110.0),
            Series::Wind => (0.0, 200.0),
        }
    }

    /// A value packed; `None` when it cannot be one.
    pub fn pack(self, value: f64) -> Option<i16> {
        let (least, most) = self.bounds();
        if !(least..=most).contains(&value) {
            return None;
        }
        if value >= COARSE_FROM {
            let tenths = ((value - COARSE_FROM) * 10.0).round();
            return Some(-1 - tenths as i16);
        }
        Some((value * self.steps()).round() as i16)
    }

    /// The value of a code.
    pub fn unpack(self, code: i16) -> Option<f64> {
        match code {
            UNKNOWN => None,
            code if code < 0 && matches!(self, Series::Rain | Series::DayRain) => {
                Some(COARSE_FROM + f64::from(-1 - i32::from(code)) / 10.0)
            }
            code => Some(f64::from(code) / self.steps()),
        }
    }
}

/// Rain from here on is kept in tenths; nothing else reaches it.
const COARSE_FROM: f64 = 300.0;

/// Codes as bytes, without unknown ones at the end.
pub(super) fn to_bytes(codes: &[i16]) -> Vec<u8> {
    let known = codes
        .iter()
        .rposition(|&code| code != UNKNOWN)
        .map_or(0, |at| at + 1);
    codes
        .iter()
        .take(known)
        .flat_map(|code| code.to_le_bytes())
        .collect()
}

/// Bytes as codes.
pub(super) fn from_bytes(bytes: &[u8]) -> impl Iterator<Item = i16> + '_ {
    let (pairs, _) = bytes.as_chunks::<2>();
    pairs.iter().map(|pair| i16::from_le_bytes(*pair))
}

/// A sum over the bytes that shows a flipped bit, which SQLite does not.
pub(super) fn checksum(parts: &[&[u8]]) -> i64 {
    let mut sum = flate2::Crc::new();
    for part in parts {
        sum.update(part);
    }
    i64::from(sum.sum())
}

/// When each value was issued, as runs of (how many, seconds since 1970).
pub(super) fn runs_to_bytes(issued: &[i64]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for run in issued.chunk_by(|a, b| a == b) {
        let len = u16::try_from(run.len()).unwrap_or(u16::MAX);
        bytes.extend(len.to_le_bytes());
        bytes.extend(run.first().copied().unwrap_or(0).to_le_bytes());
    }
    bytes
}

/// The runs of [`runs_to_bytes`].
pub(super) fn runs(bytes: &[u8]) -> impl Iterator<Item = (usize, i64)> + '_ {
    let (runs, _) = bytes.as_chunks::<10>();
    runs.iter().map(|run| {
        let [a, b, rest @ ..] = *run;
        (
            usize::from(u16::from_le_bytes([a, b])),
            i64::from_le_bytes(rest),
        )
    })
}

/// The year and the place in it of a day.
pub(super) fn day_slot(date: NaiveDate) -> Option<(i32, usize)> {
    let slot = usize::try_from(date.ordinal0()).ok()?;
    YEARS.contains(&date.year()).then_some((date.year(), slot))
}

/// The year and the place in it of an hour; minutes are cut off.
pub(super) fn hour_slot(start: NaiveDateTime) -> Option<(i32, usize)> {
    use chrono::Timelike;
    let (year, day) = day_slot(start.date())?;
    Some((year, day * 24 + usize::try_from(start.hour()).ok()?))
}

/// The first of January; years out of bounds give the first one kept.
pub(super) fn new_year(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(NaiveDate::MIN)
}

/// Days of a calendar year.
pub(super) fn days_of(year: i32) -> usize {
    if new_year(year).leap_year() { 366 } else { 365 }
}

/// The start of an hour counted from the beginning of a year.
pub(super) fn hour_at(year: i32, slot: usize) -> NaiveDateTime {
    let span = i64::try_from(slot).ok().and_then(TimeDelta::try_hours);
    span.and_then(|span| {
        new_year(year)
            .and_time(NaiveTime::MIN)
            .checked_add_signed(span)
    })
    .unwrap_or(NaiveDateTime::MAX)
}

/// An instant from whole seconds since 1970.
pub(super) fn instant(seconds: i64) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp(seconds, 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_comes_back_within_half_a_step() {
        for series in Series::DAILY.into_iter().chain(Series::HOURLY) {
            let (least, most) = series.bounds();
            let half = 0.5 / series.steps() + 1e-9;
            for step in 0..=20_000_u32 {
                let value = least + (most - least) * f64::from(step) / 20_000.0;
                let back = series.unpack(series.pack(value).unwrap()).unwrap();
                let slack = if value >= COARSE_FROM { 0.0501 } else { half };
                assert!((back - value).abs() <= slack, "{series:?} {value} {back}");
            }
            assert_eq!(series.pack(most + 1.0), None);
            assert_eq!(series.pack(least - 1.0), None);
            assert_eq!(series.pack(f64::NAN), None);
        }
    }

    #[test]
    fn runs_come_back() {
        let issued = [5, 5, 5, 0, 7, 7, -1];
        let back: Vec<i64> = runs(&runs_to_bytes(&issued))
            .flat_map(|(len, at)| std::iter::repeat_n(at, len))
            .collect();
        assert_eq!(back, issued);
    }

    #[test]
    fn unknown_ends_are_cut_and_gaps_stay() {
        let bytes = to_bytes(&[1, UNKNOWN, -3, UNKNOWN]);
        let back: Vec<i16> = from_bytes(&bytes).collect();
        assert_eq!(back, [1, UNKNOWN, -3]);
    }
}
