//! The only reader of the wall clock; or a fixed day.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

/// Where "now" comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// The clock of the machine.
    Wall,
    /// A day given by the user: its morning, all the time.
    Fixed(NaiveDate),
}

/// The instant, by the clock of the machine.
pub fn now() -> DateTime<Utc> {
    Utc::now()
}

impl Clock {
    /// The local calendar day at a place.
    pub fn today(self, zone: Tz) -> NaiveDate {
        match self {
            Clock::Wall => Utc::now().with_timezone(&zone).date_naive(),
            Clock::Fixed(day) => day,
        }
    }

    /// The instant; seven in the morning at the place where the day is fixed.
    pub fn now(self, zone: Tz) -> DateTime<Utc> {
        match self {
            Clock::Wall => Utc::now(),
            Clock::Fixed(day) => {
                let morning = chrono::NaiveTime::from_hms_opt(7, 0, 0).unwrap_or_default();
                day.and_time(morning)
                    .and_local_timezone(zone)
                    .earliest()
                    .map_or_else(Utc::now, |instant| instant.with_timezone(&Utc))
            }
        }
    }
}
