//! When the service may speak, and when it looks: digest, quiet hours, the
//! look before the night. Civil times of the place; see
//! [`crate::facts::schedule`] for the days on which the clocks change.

use crate::facts::preferences::Preferences;
pub use crate::facts::schedule::{Schedule, instant};
use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;

/// How long before the quiet hours the last look for frost is taken.
const EVENING_MINUTES: i64 = 60;

/// The longest sleep between two looks, hours; 13.6.
const LONGEST_HOURS: i64 = 6;

/// The end of the quiet hours that an instant lies in; `None` outside them.
/// They may run over midnight; equal bounds mean none.
pub fn quiet_until(
    (from, until): (NaiveTime, NaiveTime),
    at: DateTime<Utc>,
    zone: Tz,
) -> Option<DateTime<Utc>> {
    let local = at.with_timezone(&zone).naive_local();
    let time = local.time();
    let over_midnight = from > until;
    let within = if over_midnight {
        time >= from || time < until
    } else {
        time >= from && time < until
    };
    if from == until || !within {
        return None;
    }
    let day = if over_midnight && time >= from {
        local.date().checked_add_days(Days::new(1))?
    } else {
        local.date()
    };
    // In a repeated hour the end may already have passed by the first.
    instant(day.and_time(until), zone).map(|end| end.max(at))
}

/// The first instant from `at` on at which something may be said.
pub fn allowed(preferences: &Preferences, at: DateTime<Utc>, zone: Tz) -> DateTime<Utc> {
    quiet_until(preferences.quiet, at, zone).unwrap_or(at)
}

/// When to look again: the next digest, the look before the quiet hours, or
/// six hours on, whichever comes first.
pub fn next_look(preferences: &Preferences, now: DateTime<Utc>, zone: Tz) -> DateTime<Utc> {
    let latest = now
        .checked_add_signed(TimeDelta::hours(LONGEST_HOURS))
        .unwrap_or(now);
    let digest = preferences.digest_at.next(now, zone);
    let (from, until) = preferences.quiet;
    let evening = (from != until)
        .then(|| Schedule::Daily(from - TimeDelta::minutes(EVENING_MINUTES)).next(now, zone))
        .flatten();
    [digest, evening]
        .into_iter()
        .flatten()
        .fold(latest, DateTime::min)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::New_York;

    fn local(text: &str) -> DateTime<Utc> {
        instant(text.parse().unwrap(), New_York).unwrap()
    }

    fn quiet(at: &str) -> Option<DateTime<Utc>> {
        let time = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0).unwrap();
        quiet_until((time(22, 0), time(6, 30)), local(at), New_York)
    }

    /// reference/algorithms.md 13.7, quiet 22:00-06:30, worked out there by
    /// hand.
    #[test]
    fn quiet_hours_over_midnight() {
        assert_eq!(
            quiet("2026-04-20T23:10:00"),
            Some(local("2026-04-21T06:30:00"))
        );
        assert_eq!(quiet("2026-04-20T06:30:00"), None);
        assert_eq!(quiet("2026-04-20T21:59:00"), None);
        assert_eq!(
            quiet("2026-04-20T22:00:00"),
            Some(local("2026-04-21T06:30:00"))
        );
        assert_eq!(
            quiet("2026-04-20T03:00:00"),
            Some(local("2026-04-20T06:30:00"))
        );
    }

    #[test]
    fn quiet_hours_over_the_change_of_the_clocks() {
        assert_eq!(
            quiet("2026-03-07T23:00:00"),
            Some(local("2026-03-08T06:30:00"))
        );
        assert_eq!(
            quiet("2026-11-01T01:30:00"),
            Some(local("2026-11-01T06:30:00"))
        );
    }

    #[test]
    fn equal_bounds_are_no_quiet() {
        let seven = NaiveTime::from_hms_opt(7, 0, 0).unwrap();
        assert_eq!(
            quiet_until((seven, seven), local("2026-04-20T07:00:00"), New_York),
            None
        );
    }

    #[test]
    fn a_look_comes_before_the_night_and_at_the_digest() {
        let usual = Preferences::default();
        let next = |at: &str| next_look(&usual, local(at), New_York);
        assert_eq!(next("2026-04-20T18:00:00"), local("2026-04-20T20:30:00"));
        assert_eq!(next("2026-04-20T05:00:00"), local("2026-04-20T07:00:00"));
        assert_eq!(next("2026-04-20T08:00:00"), local("2026-04-20T14:00:00"));
    }
}
