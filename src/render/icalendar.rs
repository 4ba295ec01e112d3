//! Windows as an iCalendar object (RFC 5545), as calendar programs take it.
//!
//! Each task is one all-day event over its window. Its UID is the task's
//! name, so that a later object replaces it; its SEQUENCE is the day on which
//! the object was made, counted from 2020, so that it only ever rises. What is
//! no longer needed is sent as CANCELLED. There is no alarm: the service
//! itself reminds, and a calendar that rang as well would say it twice.

use chrono::{DateTime, Days, NaiveDate, Utc};
use icalendar::{Calendar, Component, Event, EventLike, EventStatus, Property};

/// One event of the calendar.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CalendarEntry {
    /// The task's name.
    pub uid: String,
    /// What to do, to which trees.
    pub summary: String,
    /// When and why, some lines.
    pub description: String,
    /// The first day of the window.
    pub from: NaiveDate,
    /// The last one.
    pub until: NaiveDate,
    /// The task is no longer needed.
    pub cancelled: bool,
}

/// Who made the object (RFC 5545, 3.7.3).
const PRODUCT: &str = "-//budtide//budtide//EN";

/// The end of every UID; RFC 7986 wants them to be the same for ever.
const DOMAIN: &str = "budtide";

/// An object that publishes the entries; `stamp` is when it was made.
pub fn publish(name: &str, entries: &[CalendarEntry], stamp: DateTime<Utc>) -> String {
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", PRODUCT))
        .append_property(Property::new("CALSCALE", "GREGORIAN"))
        .append_property(Property::new("METHOD", "PUBLISH"))
        .append_property(Property::new("X-WR-CALNAME", clean(name)));
    for entry in entries {
        calendar.push(event(name, entry, stamp));
    }
    calendar.to_string()
}

fn event(place: &str, entry: &CalendarEntry, stamp: DateTime<Utc>) -> Event {
    let mut event = Event::with_uid(&uid(place, &entry.uid));
    event
        .timestamp(stamp)
        .summary(&clean(&entry.summary))
        .starts(entry.from)
        .ends(
            entry
                .until
                .max(entry.from)
                .checked_add_days(Days::new(1))
                .unwrap_or(entry.until),
        )
        .sequence(sequence(stamp))
        .status(if entry.cancelled {
            EventStatus::Cancelled
        } else {
            EventStatus::Confirmed
        })
        // The day stays free: a window of three weeks is no meeting.
        .add_property("TRANSP", "TRANSPARENT");
    if !entry.description.is_empty() {
        event.description(&clean(&entry.description));
    }
    event.done()
}

/// A UID of the task at the place: letters, digits and hyphens.
fn uid(place: &str, task: &str) -> String {
    let plain = |text: &str| -> String {
        let text = text.to_lowercase();
        let words = text.split(|c: char| !c.is_alphanumeric());
        let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
        words.join("-")
    };
    format!("{}.{}@{DOMAIN}", plain(task), plain(place))
}

/// Days since 2020: rises with every later object and is the same for all of
/// one day.
fn sequence(stamp: DateTime<Utc>) -> u32 {
    let days = NaiveDate::from_ymd_opt(2020, 1, 1)
        .map_or(0, |first| (stamp.date_naive() - first).num_days());
    u32::try_from(days).unwrap_or(0)
}

/// A text without control characters but for line ends: they have no place in
/// a content line.
fn clean(text: &str) -> String {
    text.replace("\r\n", "\n")
        .chars()
        .filter(|c| !c.is_control() || *c == '\n')
        .collect()
}
