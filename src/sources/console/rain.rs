//! Counters and spans of rain.

use super::{Count, Odd, Rain};
use chrono::{NaiveDateTime, TimeDelta, Timelike};
use serde::{Deserialize, Serialize};

/// A gap up to this is filled by a straight line, hours (reference:
/// weather-sources 4.2).
const LONGEST_GAP_H: i64 = 2;

/// A counter that stood still for longer may have stood in the cellar (our
/// choice).
const LONGEST_STILL_DAYS: i64 = 31;

/// More rain cannot fall in a minute, or in all between two readings, mm
/// (from memory: in an hour 305 mm fell once, in a minute seldom 10).
const MOST_A_MINUTE: f64 = 10.0;
const MOST: f64 = 305.0;

/// A counter as it stood at the reading before.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Counter {
    pub at: NaiveDateTime,
    pub count: Count,
    pub mm: f64,
}

/// Rain that fell between two moments of local standard time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fell {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
    pub mm: f64,
    /// Whether its hours are known, not its day alone.
    pub by_hour: bool,
}

/// What fell in an hour or a day, and in how much of it that is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Sum {
    pub mm: f64,
    pub seconds: f64,
}

impl Sum {
    /// Adds a part.
    pub fn add(&mut self, mm: f64, seconds: f64) {
        self.mm += mm;
        self.seconds += seconds;
    }

    /// The rain, where at most a share of the seconds is unknown.
    pub fn known(&self, of: f64) -> Option<f64> {
        // A share of 11 in 12: 55 minutes of an hour (our choice).
        (self.seconds >= of * 11.0 / 12.0).then_some(self.mm)
    }
}

/// What a reading says of the rain before it.
pub(super) fn fell(
    rain: Rain,
    at: NaiveDateTime,
    before: &mut Option<Counter>,
    odd: &mut Vec<Odd>,
) -> Option<Fell> {
    let (count, mm) = match rain {
        Rain::Unknown => return None,
        Rain::Past { minutes, mm } => {
            let from = at.checked_sub_signed(TimeDelta::seconds((minutes * 60.0) as i64))?;
            return Some(Fell {
                from,
                to: at,
                mm,
                by_hour: true,
            });
        }
        Rain::Counter { count, mm } => (count, mm),
    };
    let known = before.replace(Counter { at, count, mm })?;
    if known.count != count || known.at >= at {
        return None;
    }
    let gap = at - known.at;
    // What falls was set back and began from nought.
    let set_back = mm < known.mm;
    let grown = if set_back { mm } else { mm - known.mm };
    let minutes = (gap.num_seconds() as f64 / 60.0).max(1.0);
    if grown > (minutes * MOST_A_MINUTE).min(MOST) {
        odd.push(Odd::Deluge { mm: grown });
        return None;
    }
    let fell = |by_hour| {
        Some(Fell {
            from: known.at,
            to: at,
            mm: grown,
            by_hour,
        })
    };
    if gap <= TimeDelta::hours(LONGEST_GAP_H) {
        return fell(true);
    }
    if set_back || gap > TimeDelta::days(LONGEST_STILL_DAYS) {
        return None;
    }
    // A counter of the day is set back at midnight by the clock of the wall,
    // which is 23:00 of standard time in summer.
    let same_day = known.at.date() == at.date() && (count != Count::Day || at.hour() < 23);
    match (grown == 0.0, same_day) {
        (true, true) => fell(true),
        (true, false) if count != Count::Day => fell(true),
        (false, true) => fell(false),
        _ => None,
    }
}

impl Fell {
    /// Its parts from one border to the next.
    pub fn parts(
        &self,
        floor: impl Fn(NaiveDateTime) -> NaiveDateTime,
        step: TimeDelta,
        mut put: impl FnMut(NaiveDateTime, f64, f64),
    ) {
        let whole = (self.to - self.from).num_seconds() as f64;
        if whole <= 0.0 {
            return;
        }
        let mut begin = self.from;
        while begin < self.to {
            let start = floor(begin);
            let Some(end) = start.checked_add_signed(step) else {
                return;
            };
            let end = end.min(self.to);
            let seconds = (end - begin).num_seconds() as f64;
            put(start, self.mm * seconds / whole, seconds);
            begin = end;
        }
    }
}
