//! What is seen in one look, and how long a message of it is of use.

use super::super::payload::Parcel;
use super::super::schedule;
use crate::facts::Facts;
use crate::plan::nudge::{About, Nudge};
use crate::plan::{self, Plan};
use crate::render::message::Letter;
use crate::render::nudge as words;
use crate::season::{self, Season};
use crate::store::outbox::Outgoing;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;

/// Priorities: the higher the sooner.
const AT_ONCE: i64 = 10;
pub(super) const ASKED: i64 = 5;
const DAILY: i64 = 0;

/// The hour of the morning until which a frost warning is of use.
const FROST_ENDS: u32 = 8;

/// What is seen in one look.
pub(super) struct Seen<'a> {
    pub facts: &'a Facts,
    pub season: &'a Season,
    pub plan: &'a Plan,
    pub now: DateTime<Utc>,
}

/// From when and until when a message is of use.
#[derive(Clone, Copy)]
pub(super) struct Span {
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
    pub priority: i64,
}

impl Span {
    pub(super) fn outgoing(self, key: String, parcel: &Parcel) -> Outgoing {
        let about = match parcel.tasks().as_slice() {
            [one] => one.clone(),
            _ => String::new(),
        };
        Outgoing {
            key,
            not_before: self.from,
            expires_at: self.until,
            priority: self.priority,
            about,
            payload: parcel.write(),
        }
    }
}

impl Seen<'_> {
    pub(super) fn zone(&self) -> Tz {
        self.facts.place.time_zone
    }

    /// A letter of the place and the day, with nothing in it yet.
    pub(super) fn blank(&self) -> Letter {
        let name = &self.facts.place.name;
        let words: Vec<String> = name
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        let year = self.plan.today.format("%Y");
        Letter {
            thread: format!("{}-{year}", words.join("-")),
            place: name.clone(),
            day: self.plan.today.format("%a %-d %b").to_string(),
            ..Letter::default()
        }
    }

    pub(super) fn urgent(&self, nudge: &Nudge) -> Letter {
        let line = words::line(self.facts, self.plan.today, std::slice::from_ref(nudge));
        Letter {
            urgent: true,
            lines: vec![line],
            credits: self.facts.weather.credits.clone(),
            stamp: Some(self.now),
            ..self.blank()
        }
    }

    /// An urgent message waits for nothing but the quiet hours, which only
    /// frost may break, and only where the keeper allowed it.
    pub(super) fn urgent_span(&self, nudge: &Nudge) -> Span {
        let preferences = &self.facts.preferences;
        let frost = matches!(nudge.about, About::Frost(_));
        let at_night = frost && preferences.frost_at_night;
        let from = if at_night {
            self.now
        } else {
            schedule::allowed(preferences, self.now, self.zone())
        };
        let morning = NaiveTime::from_hms_opt(FROST_ENDS, 0, 0).unwrap_or_default();
        let last = if frost {
            nudge.told.until.and_time(morning)
        } else {
            let after = nudge.told.until.checked_add_days(Days::new(1));
            after.unwrap_or(nudge.told.until).and_time(NaiveTime::MIN)
        };
        let until = schedule::instant(last, self.zone()).unwrap_or(self.now);
        Span {
            from,
            until,
            priority: AT_ONCE,
        }
    }

    /// A digest is of use until the next one.
    pub(super) fn digest_span(&self) -> Span {
        let preferences = &self.facts.preferences;
        let from = schedule::allowed(preferences, self.now, self.zone());
        let next = preferences.digest_at.next(self.now, self.zone());
        let day = self.now + TimeDelta::hours(20);
        Span {
            from,
            until: next
                .map_or(day, |next| next.max(day))
                .max(from + TimeDelta::hours(1)),
            priority: DAILY,
        }
    }

    /// The plan as it was on an earlier day, as far as the facts still know.
    pub(super) fn plan_of(&self, day: NaiveDate) -> Plan {
        let mut facts = self.facts.clone();
        facts.weather = facts.weather.as_of(day);
        facts.journal = facts.journal.as_of(day);
        plan::make(&facts, &season::derive(&facts, day), day)
    }
}
