//! A message as a mail: headers, text, HTML and calendar.

use chrono::{DateTime, FixedOffset};
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MultiPart};

use super::{lines, one_line};
use crate::render::message::{Message, Urgency};

/// Builds the mail. The same message and moment give the same mail but for
/// the boundary between its parts.
pub(super) fn letter(
    message: &Message,
    written: DateTime<FixedOffset>,
    from: &Mailbox,
    to: &[Mailbox],
) -> Result<lettre::Message, String> {
    let root = thread_id(message, from);
    let mut builder = lettre::Message::builder()
        .from(from.clone())
        .subject(one_line(&message.title))
        .date(written.into())
        .message_id(Some(message_id(message, from)))
        .in_reply_to(root.clone())
        .references(root)
        // RFC 3834: no holiday reply wanted.
        .raw_header(header("Auto-Submitted", "auto-generated"));
    if message.urgency == Urgency::High {
        builder = builder.raw_header(header("Importance", "high"));
    }
    for mailbox in to {
        builder = builder.to(mailbox.clone());
    }
    let both = MultiPart::alternative_plain_html(lines(&message.text), message.html.clone());
    let parts = match &message.calendar {
        None => both,
        Some(calendar) => {
            let kind = ContentType::parse(&calendar_type(calendar))
                .map_err(|error| format!("the calendar part: {error}"))?;
            MultiPart::mixed()
                .multipart(both)
                .singlepart(Attachment::new("budtide.ics".to_owned()).body(calendar.clone(), kind))
        }
    };
    builder.multipart(parts).map_err(|error| error.to_string())
}

fn header(name: &'static str, value: &str) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value.to_owned())
}

/// The message's Message-ID: the same key from the same sender always has the
/// same. The sender counts, since many keepers share a mail domain.
pub(super) fn message_id(message: &Message, from: &Mailbox) -> String {
    identifier("message", &message.key, from)
}

/// The Message-ID of a root that no mail bears, to which all of one season
/// answer: mail programs gather them in one thread.
fn thread_id(message: &Message, from: &Mailbox) -> String {
    identifier("thread", &message.thread, from)
}

fn identifier(kind: &str, name: &str, from: &Mailbox) -> String {
    let domain = from.email.domain();
    let domain = if domain.is_ascii() {
        domain
    } else {
        "localhost"
    };
    let whole = format!("{} {name}", from.email);
    format!("<{:032x}.{kind}@{domain}>", fnv1a_128(whole.as_bytes()))
}

/// The hash FNV-1a of 128 bits, of Fowler, Noll and Vo: stable across versions
/// and machines, which the standard library's hash does not promise. It only
/// has to keep our own keys apart.
fn fnv1a_128(bytes: &[u8]) -> u128 {
    const OFFSET: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
    const PRIME: u128 = 0x0000_0000_0100_0000_0000_0000_0000_013b;
    bytes.iter().fold(OFFSET, |hash, byte| {
        (hash ^ u128::from(*byte)).wrapping_mul(PRIME)
    })
}

/// The type of the calendar part. Its method must be that of the object
/// itself, or be left away (RFC 6047, 2.4).
fn calendar_type(calendar: &str) -> String {
    let method = calendar.lines().find_map(|line| {
        let (name, value) = line.split_once(':')?;
        let value = value.trim();
        (name.eq_ignore_ascii_case("METHOD")
            && !value.is_empty()
            && value.chars().all(|c| c.is_ascii_alphabetic()))
        .then_some(value)
    });
    match method {
        Some(method) => format!("text/calendar; charset=utf-8; method={method}"),
        None => "text/calendar; charset=utf-8".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the values that the hash's authors publish with it.
    #[test]
    fn the_hash_is_fnv1a() {
        assert_eq!(fnv1a_128(b""), 0x6c62272e07bb014262b821756295c58d);
        assert_eq!(fnv1a_128(b"a"), 0xd228cb696f1a8caf78912b704e4a8964);
        assert_eq!(fnv1a_128(b"foobar"), 0x343e1662793c64bf6f0d3597ba446f18);
    }

    #[test]
    fn names_differ_by_sender_and_kind_and_stay() {
        let [jo, ann] = ["jo@example.org", "Ann <ann@example.org>"]
            .map(|address| address.parse::<Mailbox>().unwrap());
        let id = identifier("message", "frost-apricot-2026", &jo);
        // Once given, it must never change: it is on servers.
        assert_eq!(id, "<66b0e8cf508bb07f6d314d3dc6ec815e.message@example.org>");
        assert_ne!(id, identifier("message", "frost-apricot-2026", &ann));
        assert_ne!(id, identifier("thread", "frost-apricot-2026", &jo));
    }

    #[test]
    fn the_calendar_part_says_its_own_method() {
        assert_eq!(
            calendar_type("BEGIN:VCALENDAR\r\nMETHOD:PUBLISH\r\n"),
            "text/calendar; charset=utf-8; method=PUBLISH"
        );
        assert_eq!(
            calendar_type("BEGIN:VCALENDAR\r\nMETHOD:a;b\r\n"),
            "text/calendar; charset=utf-8"
        );
    }
}
