//! When a job is due again.

use crate::facts::place::Place;
use crate::sources::SourceError;
use chrono::{DateTime, NaiveDate, TimeDelta, TimeZone, Utc};
use chrono_tz::OffsetComponents;

/// What is asked of a source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Job {
    /// The coming days.
    Forecast,
    /// Warnings of cold.
    Alerts,
    /// Today's hours so far, and yesterday.
    Now,
    /// The last days again: they are revised.
    Settle,
    /// Past years.
    History,
    /// Files that grow.
    Files,
}

impl Job {
    /// Its name in the store.
    pub fn word(self) -> &'static str {
        match self {
            Job::Forecast => "forecast",
            Job::Alerts => "alerts",
            Job::Now => "now",
            Job::Settle => "settle",
            Job::History => "history",
            Job::Files => "files",
        }
    }

    /// Its name for the keeper.
    pub fn plain(self) -> &'static str {
        match self {
            Job::Forecast => "the forecast",
            Job::Alerts => "warnings of frost",
            Job::Now => "the hours of today",
            Job::Settle => "the last days",
            Job::History => "past years",
            Job::Files => "new rows of the station's files",
        }
    }

    /// Whether it is asked for when due only, even if the keeper wants all:
    /// what it brings does not change from one hour to the next.
    pub(super) fn is_rare(self) -> bool {
        matches!(self, Job::History | Job::Settle)
    }
}

/// A forecast low from which warnings are asked for every hour, °C (our
/// choice: above the critical temperatures of open blossom by three).
pub(super) const COLD_C: f64 = 3.0;

/// The pause after a success. `share` from 0 to 1 spreads installations.
pub(super) fn pause(job: Job, every_hours: u32, cold: bool, share: f64) -> TimeDelta {
    let every = TimeDelta::hours(i64::from(every_hours.clamp(1, 24)));
    let base = match job {
        Job::Files => return TimeDelta::minutes(5),
        Job::Alerts if cold => TimeDelta::hours(1),
        Job::Forecast | Job::Alerts | Job::Now => every,
        Job::Settle => TimeDelta::hours(24),
        Job::History => TimeDelta::days(7),
    };
    base + spread(base, share)
}

/// Up to a twentieth more.
fn spread(base: TimeDelta, share: f64) -> TimeDelta {
    let extra = base.num_seconds() as f64 * 0.05 * share.clamp(0.0, 1.0);
    TimeDelta::seconds(extra as i64)
}

/// The pause after a failure: a quarter of an hour, doubled each time up to
/// six hours; never shorter than what the service asked for. What will not
/// mend by itself is tried once a day.
pub(super) fn pause_after_failure(error: &SourceError, failures: u32, share: f64) -> TimeDelta {
    const LONGEST: TimeDelta = TimeDelta::hours(6);
    let base = match error {
        SourceError::Never(_) => TimeDelta::hours(24),
        _ => {
            let doubled = 15_i64.saturating_mul(1 << failures.saturating_sub(1).min(8));
            TimeDelta::minutes(doubled).min(LONGEST)
        }
    };
    // Of any length a service may ask, a day is the most that is believed.
    let asked = error
        .failure()
        .and_then(|failure| failure.after)
        .and_then(|after| TimeDelta::from_std(after).ok())
        .map_or(TimeDelta::zero(), |after| after.min(TimeDelta::hours(24)));
    base.max(asked) + spread(base, share)
}

/// A share from 0 to 1 out of a seed and an instant.
pub(super) fn share(seed: u64, now: DateTime<Utc>) -> f64 {
    let mut mixed = seed ^ now.timestamp().unsigned_abs().rotate_left(32);
    mixed = mixed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    mixed ^= mixed >> 31;
    (mixed % 1_000) as f64 / 1_000.0
}

/// The day at the place in local standard time.
pub(super) fn local_day(place: &Place, now: DateTime<Utc>) -> NaiveDate {
    let utc = now.naive_utc();
    let offset = place.time_zone.offset_from_utc_datetime(&utc);
    utc.checked_add_signed(offset.base_utc_offset())
        .unwrap_or(utc)
        .date()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sources::{Failure, Why};
    use std::time::Duration;

    fn failure(after: Option<Duration>) -> Failure {
        Failure {
            doing: "asking".to_owned(),
            whom: "api.example.org".to_owned(),
            why: Why::NoHost,
            tries: 4,
            after,
        }
    }

    #[test]
    fn pauses_grow_to_six_hours_and_heed_the_service() {
        let minutes = |failures| {
            pause_after_failure(&SourceError::Later(failure(None)), failures, 0.0).num_minutes()
        };
        assert_eq!(
            [1, 2, 3, 4, 5, 6, 400].map(minutes),
            [15, 30, 60, 120, 240, 360, 360]
        );
        let asked = failure(Some(Duration::from_secs(7_200)));
        let pause = pause_after_failure(&SourceError::Later(asked), 1, 0.0);
        assert_eq!(pause.num_minutes(), 120);
        let forever = failure(Some(Duration::from_secs(u64::MAX)));
        let pause = pause_after_failure(&SourceError::Later(forever), 1, 1.0);
        assert!(pause.num_hours() <= 25);
        let never = pause_after_failure(&SourceError::Never(failure(None)), 1, 0.0);
        assert_eq!(never.num_hours(), 24);
    }

    #[test]
    fn installations_do_not_ask_in_step() {
        let now = DateTime::UNIX_EPOCH;
        let shares: Vec<f64> = (0..50).map(|seed| share(seed, now)).collect();
        assert!(shares.iter().all(|share| (0.0..=1.0).contains(share)));
        let mut sorted = shares.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.dedup();
        assert!(sorted.len() > 40, "{sorted:?}");
        assert!(pause(Job::Forecast, 3, false, 1.0) > pause(Job::Forecast, 3, false, 0.0));
        assert_eq!(pause(Job::Alerts, 3, true, 0.0).num_hours(), 1);
    }
}
