//! `2026-07-15T12:00:00+00:00/P1DT6H`: an instant and how long from there,
//! its end not included (ISO 8601).

use super::super::hours::in_our_time;
use chrono::{DateTime, TimeDelta, Utc};

/// The longest that an interval of a week's forecast may be.
const LONGEST_HOURS: i64 = 16 * 24;

/// A span of time, its end not included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Interval {
    pub begin: DateTime<Utc>,
    pub end: DateTime<Utc>,
}

impl Interval {
    /// Reads start and duration, duration and end, or start and end.
    pub(super) fn read(text: &str) -> Option<Self> {
        let (first, second) = text.trim().split_once('/')?;
        let (begin, end) = match (duration(first), duration(second)) {
            (None, Some(length)) => {
                let begin = instant(first)?;
                (begin, begin.checked_add_signed(length)?)
            }
            (Some(length), None) => {
                let end = instant(second)?;
                (end.checked_sub_signed(length)?, end)
            }
            _ => (instant(first)?, instant(second)?),
        };
        let length = end - begin;
        (length > TimeDelta::zero() && length.num_hours() <= LONGEST_HOURS)
            .then_some(Interval { begin, end })
    }

    /// The full hours that begin in it.
    pub(super) fn hours(&self) -> impl Iterator<Item = DateTime<Utc>> + use<> {
        let first = (self.begin.timestamp() + 3_599).div_euclid(3_600);
        let end = (self.end.timestamp() + 3_599).div_euclid(3_600);
        (first..end).filter_map(|hour| DateTime::from_timestamp(hour * 3_600, 0))
    }

    /// How long it is, in hours.
    pub(super) fn length_h(&self) -> f64 {
        (self.end - self.begin).num_seconds() as f64 / 3_600.0
    }
}

/// An instant with its offset.
pub(super) fn instant(text: &str) -> Option<DateTime<Utc>> {
    let text = text.trim();
    DateTime::parse_from_rfc3339(text)
        .or_else(|_| DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M%:z"))
        .ok()
        .and_then(|instant| in_our_time(instant.to_utc()))
}

/// Weeks, days, hours, minutes and seconds; months and years have no length.
fn duration(text: &str) -> Option<TimeDelta> {
    let mut seconds: i64 = 0;
    let mut number = String::new();
    let mut in_time = false;
    let mut any = false;
    for c in text.trim().strip_prefix('P')?.chars() {
        match c {
            '0'..='9' => number.push(c),
            'T' if !in_time && number.is_empty() => in_time = true,
            _ => {
                let unit = match (c, in_time) {
                    ('W', false) => 7 * 86_400,
                    ('D', false) => 86_400,
                    ('H', true) => 3_600,
                    ('M', true) => 60,
                    ('S', true) => 1,
                    _ => return None,
                };
                let count: i64 = number.parse().ok()?;
                seconds = seconds.checked_add(count.checked_mul(unit)?)?;
                number.clear();
                any = true;
            }
        }
    }
    if !any || !number.is_empty() {
        return None;
    }
    TimeDelta::try_seconds(seconds)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_durations_that_occur() {
        for (text, hours) in [
            ("PT1H", 1),
            ("PT15H", 15),
            ("P1DT6H", 30),
            ("P7DT13H", 181),
            ("P7D", 168),
            ("P1W", 168),
            ("PT90M", 2),
        ] {
            let text = format!("2026-07-15T12:00:00+00:00/{text}");
            let interval = Interval::read(&text).unwrap();
            assert_eq!(interval.hours().count(), hours, "{text}");
            assert_eq!(interval.hours().next(), Some(interval.begin));
        }
        let both = "2026-07-15T12:00:00Z/2026-07-15T15:00:00-01:00";
        assert_eq!(Interval::read(both).unwrap().length_h(), 4.0);
        for wrong in [
            "",
            "2026-07-15T12:00:00+00:00",
            "2026-07-15T12:00:00+00:00/",
            "2026-07-15T12:00:00+00:00/P1M",
            "2026-07-15T12:00:00+00:00/PT",
            "2026-07-15T12:00:00+00:00/P",
            "2026-07-15T12:00:00+00:00/PT0H",
            "2026-07-15T12:00:00+00:00/PT-1H",
            "2026-07-15T12:00:00+00:00/PT99999999999999999999H",
            "2026-07-15T12:00:00+00:00/P9999D",
            "2026-07-15T12:00:00/PT1H",
        ] {
            assert_eq!(Interval::read(wrong), None, "{wrong}");
        }
    }
}
