//! Stamps: how they are written, and what they are in local standard time.

use super::options::DateOrder;
use chrono::{Days, Duration, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone};
use chrono_tz::{OffsetComponents, Tz};

/// Years that a record may touch; a slip of the pen beyond them.
pub(super) const YEARS: std::ops::RangeInclusive<i32> = 1800..=2200;

/// A stamp as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Written {
    /// Day and hour on the clock that was read.
    pub clock: NaiveDateTime,
    /// Seconds east of UTC, if told.
    pub offset: Option<i32>,
    /// Whether an hour was told.
    pub has_hour: bool,
    /// Whether the year had two digits.
    pub short_year: bool,
}

/// Why a stamp cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimeFault {
    /// Nothing is there.
    Missing,
    /// Not a date or time in a known form.
    Unreadable,
    /// A day or hour that does not exist.
    Impossible,
    /// Out of [`YEARS`].
    OutOfYears,
}

/// Reads from the left.
struct Cursor<'t> {
    rest: &'t [u8],
}

impl Cursor<'_> {
    /// Digits, at most `most` of them: value and how many.
    fn digits(&mut self, most: usize) -> Option<(u32, usize)> {
        let count = self
            .rest
            .iter()
            .take(most)
            .take_while(|byte| byte.is_ascii_digit())
            .count();
        let (digits, rest) = self.rest.split_at_checked(count)?;
        self.rest = rest;
        let value = digits
            .iter()
            .fold(0, |sum: u32, byte| sum * 10 + u32::from(byte - b'0'));
        (count > 0).then_some((value, count))
    }

    fn take(&mut self, wanted: impl Fn(u8) -> bool) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        if wanted(*first) {
            self.rest = rest;
            Some(*first)
        } else {
            None
        }
    }

    fn blanks(&mut self) {
        while self.take(|byte| byte == b' ').is_some() {}
    }

    fn word(&mut self) -> String {
        let mut word = String::new();
        while let Some(byte) = self.take(|byte| byte.is_ascii_alphabetic()) {
            word.push(char::from(byte.to_ascii_lowercase()));
        }
        word
    }
}

/// The numbers at the start of a date whose year stands at the end: what the
/// order of day and month is found from.
pub(super) fn year_last(text: &str) -> Option<(u32, u32)> {
    let mut cursor = Cursor {
        rest: text.trim().as_bytes(),
    };
    let (first, count) = cursor.digits(4)?;
    let mark = cursor.take(|byte| matches!(byte, b'/' | b'.' | b'-'))?;
    let (second, _) = cursor.digits(2)?;
    cursor.take(|byte| byte == mark)?;
    (count <= 2).then_some((first, second))
}

/// Reads a stamp: ISO 8601 with `T` or a blank, `20240131`, and with an
/// `order` the forms that end with the year.
pub(super) fn stamp(text: &str, order: Option<DateOrder>) -> Result<Written, TimeFault> {
    let text = text.trim();
    if text.is_empty() {
        return Err(TimeFault::Missing);
    }
    let mut cursor = Cursor {
        rest: text.as_bytes(),
    };
    let (date, short_year) = date(&mut cursor, order)?;
    let mut written = Written {
        short_year,
        ..whole_day(date)
    };
    if cursor.take(|byte| matches!(byte, b'T' | b't')).is_none() {
        cursor.blanks();
    }
    if cursor.rest.is_empty() {
        return Ok(written);
    }
    let (seconds, offset) = clock_time(&mut cursor, false)?;
    written.clock += Duration::seconds(seconds);
    written.offset = offset;
    written.has_hour = true;
    Ok(written)
}

/// Reads a date with its hour in a second text: `13:00`, `1300`, `13`, `1 PM`.
pub(super) fn stamp_and_hour(
    day: &str,
    hour: &str,
    order: Option<DateOrder>,
) -> Result<Written, TimeFault> {
    with_hour(stamp(day, order)?, hour)
}

/// A day without an hour.
pub(super) fn whole_day(date: NaiveDate) -> Written {
    Written {
        clock: date.and_time(NaiveTime::MIN),
        offset: None,
        has_hour: false,
        short_year: false,
    }
}

/// A day and the hour that another text tells.
pub(super) fn with_hour(mut written: Written, hour: &str) -> Result<Written, TimeFault> {
    let hour = hour.trim();
    if hour.is_empty() {
        return Err(TimeFault::Missing);
    }
    let midnight = written.clock.date().and_time(NaiveTime::MIN);
    let mut cursor = Cursor {
        rest: hour.as_bytes(),
    };
    let (seconds, offset) = clock_time(&mut cursor, true)?;
    written.clock = midnight + Duration::seconds(seconds);
    written.offset = offset.or(written.offset);
    written.has_hour = true;
    Ok(written)
}

fn date(cursor: &mut Cursor, order: Option<DateOrder>) -> Result<(NaiveDate, bool), TimeFault> {
    let unreadable = TimeFault::Unreadable;
    let (first, count) = cursor.digits(8).ok_or(unreadable)?;
    if count == 8 {
        return Ok((day(first / 10_000, first / 100 % 100, first % 100)?, false));
    }
    let mark = cursor
        .take(|byte| matches!(byte, b'-' | b'/' | b'.' | b' '))
        .ok_or(unreadable)?;
    if count == 4 {
        let (month, _) = cursor.digits(2).ok_or(unreadable)?;
        cursor.take(|byte| byte == mark).ok_or(unreadable)?;
        let (of_month, _) = cursor.digits(2).ok_or(unreadable)?;
        return Ok((day(first, month, of_month)?, false));
    }
    if count > 2 {
        return Err(unreadable);
    }
    let word = cursor.word();
    let (of_month, month) = if word.is_empty() {
        let (second, _) = cursor.digits(2).ok_or(unreadable)?;
        match order.ok_or(unreadable)? {
            DateOrder::MonthFirst => (second, first),
            DateOrder::DayFirst => (first, second),
        }
    } else {
        (first, month_named(&word).ok_or(unreadable)?)
    };
    cursor.take(|byte| byte == mark).ok_or(unreadable)?;
    let (year, digits) = cursor.digits(4).ok_or(unreadable)?;
    match digits {
        4 => Ok((day(year, month, of_month)?, false)),
        // Weather written with two digits of the year is of 1970 to 2069.
        2 => {
            let century = if year < 70 { 2000 } else { 1900 };
            Ok((day(century + year, month, of_month)?, true))
        }
        _ => Err(unreadable),
    }
}

/// The month, 1 to 12, whose English name begins so, in small letters; three
/// letters at least.
pub fn month_named(word: &str) -> Option<u32> {
    const MONTHS: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let at = MONTHS
        .iter()
        .position(|name| word.len() >= 3 && name.starts_with(word))?;
    u32::try_from(at + 1).ok()
}

/// A day that exists and lies in [`YEARS`].
pub(super) fn day(year: u32, month: u32, of_month: u32) -> Result<NaiveDate, TimeFault> {
    let year = i32::try_from(year).map_err(|_| TimeFault::OutOfYears)?;
    if !YEARS.contains(&year) {
        return Err(TimeFault::OutOfYears);
    }
    NaiveDate::from_ymd_opt(year, month, of_month).ok_or(TimeFault::Impossible)
}

/// Seconds from midnight, to 24:00, and the offset if told.
fn clock_time(cursor: &mut Cursor, bare_hour: bool) -> Result<(i64, Option<i32>), TimeFault> {
    let unreadable = TimeFault::Unreadable;
    let (value, count) = cursor.digits(6).ok_or(unreadable)?;
    let (mut hour, mut minute, mut second) = (value, 0, 0);
    match count {
        1 | 2 => {
            if cursor.take(|byte| byte == b':').is_some() {
                (minute, _) = cursor.digits(2).ok_or(unreadable)?;
                if cursor.take(|byte| byte == b':').is_some() {
                    (second, _) = cursor.digits(2).ok_or(unreadable)?;
                    if cursor.take(|byte| matches!(byte, b'.' | b',')).is_some() {
                        cursor.digits(9).ok_or(unreadable)?;
                    }
                }
            } else if bare_hour && cursor.take(|byte| byte == b'.').is_some() {
                // A spreadsheet's "13.0".
                if cursor.digits(3).ok_or(unreadable)?.0 != 0 {
                    return Err(unreadable);
                }
            }
        }
        3 | 4 => (hour, minute) = (value / 100, value % 100),
        6 => (hour, minute, second) = (value / 10_000, value / 100 % 100, value % 100),
        _ => return Err(unreadable),
    }
    cursor.blanks();
    if let Some(half) = cursor.take(|byte| matches!(byte, b'A' | b'a' | b'P' | b'p')) {
        cursor
            .take(|byte| matches!(byte, b'M' | b'm'))
            .ok_or(unreadable)?;
        if !(1..=12).contains(&hour) {
            return Err(TimeFault::Impossible);
        }
        hour = hour % 12
            + if half.eq_ignore_ascii_case(&b'p') {
                12
            } else {
                0
            };
    }
    cursor.blanks();
    let offset = offset(cursor)?;
    let at_the_end = hour == 24 && minute == 0 && second == 0;
    if (hour > 23 && !at_the_end) || minute > 59 || second > 60 {
        return Err(TimeFault::Impossible);
    }
    let seconds = i64::from(hour * 3600 + minute * 60 + second.min(59));
    Ok((seconds, offset))
}

fn offset(cursor: &mut Cursor) -> Result<Option<i32>, TimeFault> {
    let unreadable = TimeFault::Unreadable;
    if cursor.rest.is_empty() {
        return Ok(None);
    }
    let Some(sign) = cursor.take(|byte| matches!(byte, b'+' | b'-')) else {
        return match cursor.word().as_str() {
            "z" | "utc" | "gmt" if cursor.rest.is_empty() => Ok(Some(0)),
            _ => Err(unreadable),
        };
    };
    let (value, count) = cursor.digits(4).ok_or(unreadable)?;
    let (hours, minutes) = match count {
        2 if cursor.take(|byte| byte == b':').is_some() => {
            (value, cursor.digits(2).ok_or(unreadable)?.0)
        }
        2 => (value, 0),
        4 => (value / 100, value % 100),
        _ => return Err(unreadable),
    };
    if !cursor.rest.is_empty() {
        return Err(unreadable);
    }
    if hours > 15 || minutes > 59 {
        return Err(TimeFault::Impossible);
    }
    let seconds = i32::try_from(hours * 3600 + minutes * 60).map_err(|_| unreadable)?;
    Ok(Some(if sign == b'-' { -seconds } else { seconds }))
}

/// A civil time as instants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Instants {
    /// In UTC.
    One(NaiveDateTime),
    /// The hour that comes twice in fall: daylight time first. In UTC.
    Two(NaiveDateTime, NaiveDateTime),
    /// In the hour that spring skips.
    None,
}

/// The instants that a civil clock shows this time.
pub(super) fn civil(zone: Tz, clock: NaiveDateTime) -> Instants {
    let utc = |offset: i32| clock - Duration::seconds(i64::from(offset));
    match zone.offset_from_local_datetime(&clock) {
        chrono::LocalResult::Single(one) => Instants::One(utc(one.fix().local_minus_utc())),
        chrono::LocalResult::Ambiguous(first, second) => Instants::Two(
            utc(first.fix().local_minus_utc()),
            utc(second.fix().local_minus_utc()),
        ),
        chrono::LocalResult::None => Instants::None,
    }
}

/// Local standard time of an instant: the zone's offset of that date without
/// daylight time.
pub(super) fn standard(zone: Tz, utc: NaiveDateTime) -> NaiveDateTime {
    utc + zone.offset_from_utc_datetime(&utc).base_utc_offset()
}

/// The start of an hour, earlier or same.
pub(super) fn hour_floor(time: NaiveDateTime) -> NaiveDateTime {
    let seconds = time.and_utc().timestamp().rem_euclid(3600);
    time - Duration::seconds(seconds)
}

/// The nearest hour; half past goes to the next.
pub(super) fn hour_nearest(time: NaiveDateTime) -> NaiveDateTime {
    hour_floor(time + Duration::minutes(30))
}

/// The day after, for `today` checks.
pub(super) fn day_after(date: NaiveDate) -> NaiveDate {
    date.checked_add_days(Days::new(1)).unwrap_or(date)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(y: i32, mo: u32, d: u32, h: u32, mi: u32) -> NaiveDateTime {
        NaiveDate::from_ymd_opt(y, mo, d)
            .unwrap()
            .and_hms_opt(h, mi, 0)
            .unwrap()
    }

    #[test]
    fn stamps_in_many_forms() {
        let us = Some(DateOrder::MonthFirst);
        let eu = Some(DateOrder::DayFirst);
        for (text, order, clock, offset) in [
            ("2024-03-10T05:00:00Z", None, at(2024, 3, 10, 5, 0), Some(0)),
            ("2024-03-10 05:00", None, at(2024, 3, 10, 5, 0), None),
            (
                "2024-03-10T05:00:00.000-05:00",
                None,
                at(2024, 3, 10, 5, 0),
                Some(-18_000),
            ),
            (
                "2024-03-10 05:30:00+0530",
                None,
                at(2024, 3, 10, 5, 30),
                Some(19_800),
            ),
            ("2024-03-10 24:00", None, at(2024, 3, 11, 0, 0), None),
            ("2024-12-31T24:00:00", None, at(2025, 1, 1, 0, 0), None),
            ("20240310", None, at(2024, 3, 10, 0, 0), None),
            ("20240310T0530", None, at(2024, 3, 10, 5, 30), None),
            ("2024/3/1 7:05", None, at(2024, 3, 1, 7, 5), None),
            ("3/1/2024 12:30 AM", us, at(2024, 3, 1, 0, 30), None),
            ("3/1/24 12:30pm", us, at(2024, 3, 1, 12, 30), None),
            ("1.3.2024 07:00", eu, at(2024, 3, 1, 7, 0), None),
            ("05-Jan-1999", None, at(1999, 1, 5, 0, 0), None),
            ("5 January 1999", None, at(1999, 1, 5, 0, 0), None),
            ("2024-03-10 05:00 UTC", None, at(2024, 3, 10, 5, 0), Some(0)),
        ] {
            let written = stamp(text, order).unwrap_or_else(|fault| panic!("{text}: {fault:?}"));
            assert_eq!((written.clock, written.offset), (clock, offset), "{text}");
        }
        let both = stamp_and_hour("2024-03-10", "2400", None).unwrap();
        assert_eq!(both.clock, at(2024, 3, 11, 0, 0));
        let both = stamp_and_hour("2024-03-10", "7", None).unwrap();
        assert_eq!(both.clock, at(2024, 3, 10, 7, 0));
    }

    #[test]
    fn wrong_stamps_say_why() {
        use TimeFault::{Impossible, Missing, OutOfYears, Unreadable};
        for (text, fault) in [
            ("", Missing),
            ("  ", Missing),
            ("2023-02-30", Impossible),
            ("2023-13-01", Impossible),
            ("2023-02-03 25:00", Impossible),
            ("2023-02-03 24:01", Impossible),
            ("2023-02-03 13:00 PM", Impossible),
            ("0000-01-01", OutOfYears),
            ("9999-01-01", OutOfYears),
            ("1/2/2024", Unreadable),
            ("yesterday", Unreadable),
            ("2024-01-01 05:00 EST", Unreadable),
            ("2024-01-01 05:00Zebra", Unreadable),
            ("2024-01", Unreadable),
            ("12345", Unreadable),
            ("2024-01-01x", Unreadable),
            ("é", Unreadable),
        ] {
            assert_eq!(stamp(text, None), Err(fault), "{text}");
        }
    }

    /// Clocks of the United States went forward on 10 March 2024 at 2:00 and
    /// back on 3 November at 2:00 (Energy Policy Act of 2005: second Sunday
    /// in March, first in November).
    #[test]
    fn civil_days_of_new_york() {
        let zone = chrono_tz::America::New_York;
        assert_eq!(civil(zone, at(2024, 3, 10, 2, 30)), Instants::None);
        assert_eq!(
            civil(zone, at(2024, 3, 10, 3, 0)),
            Instants::One(at(2024, 3, 10, 7, 0))
        );
        assert_eq!(
            civil(zone, at(2024, 11, 3, 1, 0)),
            Instants::Two(at(2024, 11, 3, 5, 0), at(2024, 11, 3, 6, 0))
        );
        assert_eq!(standard(zone, at(2024, 7, 1, 12, 0)), at(2024, 7, 1, 7, 0));
        assert_eq!(standard(zone, at(2024, 1, 1, 12, 0)), at(2024, 1, 1, 7, 0));
    }

    #[test]
    fn nearest_hours() {
        assert_eq!(hour_nearest(at(2024, 1, 1, 0, 51)), at(2024, 1, 1, 1, 0));
        assert_eq!(hour_nearest(at(2024, 1, 1, 0, 29)), at(2024, 1, 1, 0, 0));
        assert_eq!(hour_floor(at(1960, 1, 1, 0, 59)), at(1960, 1, 1, 0, 0));
    }
}
