//! Tasks as an iCalendar object (RFC 5545), as calendar programs take it.
//!
//! Each task is one event of whole days: the days proposed for it, the first
//! as DTSTART, others as RDATE (3.8.5.2). The window, weeks long, stands in the
//! description. The UID is the task's name, so that a later object replaces
//! all its days at once; its SEQUENCE is the day on which
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
    /// The days proposed for it, in order; without any there is no event.
    pub days: Vec<NaiveDate>,
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
        if let Some((first, others)) = entry.days.split_first() {
            calendar.push(event(name, entry, *first, others, stamp));
        }
    }
    folded(&calendar.to_string())
}

/// Most octets of a content line without its end (RFC 5545, 3.1).
const LINE: usize = 75;

/// The content lines folded anew: the crate gives a last part 76 octets where
/// exactly 75 are left for it, the blank before it not counted.
fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / LINE * 3);
    for line in text.replace("\r\n ", "").split_terminator("\r\n") {
        let mut octets = 0;
        for letter in line.chars() {
            if octets + letter.len_utf8() > LINE {
                out.push_str("\r\n ");
                octets = 1;
            }
            out.push(letter);
            octets += letter.len_utf8();
        }
        out.push_str("\r\n");
    }
    out
}

fn event(
    place: &str,
    entry: &CalendarEntry,
    first: NaiveDate,
    others: &[NaiveDate],
    stamp: DateTime<Utc>,
) -> Event {
    let mut event = Event::with_uid(&uid(place, &entry.uid));
    event
        .timestamp(stamp)
        .summary(&clean(&entry.summary))
        .starts(first)
        .ends(first.checked_add_days(Days::new(1)).unwrap_or(first))
        .sequence(sequence(stamp))
        .status(if entry.cancelled {
            EventStatus::Cancelled
        } else {
            EventStatus::Confirmed
        })
        // The day stays free: an hour among trees is no meeting.
        .add_property("TRANSP", "TRANSPARENT");
    for day in others {
        let mut date = Property::new("RDATE", day.format("%Y%m%d").to_string());
        event.append_multi_property(date.add_parameter("VALUE", "DATE").done());
    }
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
