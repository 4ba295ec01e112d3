//! iCalendar objects against `fixtures/check_values/ics_text_escape_fold.csv`,
//! computed with the independent Python package icalendar 7.3.2, and the
//! rules of RFC 5545.

use budtide::render::icalendar::{CalendarEntry, publish};
use chrono::{DateTime, NaiveDate, Utc};
use std::path::PathBuf;

fn stamp(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn day(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 2, day).unwrap()
}

fn entry(summary: &str) -> CalendarEntry {
    CalendarEntry {
        uid: "prune-pome-apple-2027".to_owned(),
        summary: summary.to_owned(),
        description: String::new(),
        days: vec![day(27), day(28)],
        cancelled: false,
    }
}

/// What Python's `unicode_escape` wrote.
fn unescaped(text: &str) -> String {
    let mut out = String::new();
    let mut chars = text.chars();
    while let Some(c) = chars.next() {
        if c != '\\' {
            out.push(c);
            continue;
        }
        let digits = match chars.next().unwrap() {
            'n' => {
                out.push('\n');
                continue;
            }
            'r' => {
                out.push('\r');
                continue;
            }
            't' => {
                out.push('\t');
                continue;
            }
            'x' => 2,
            'u' => 4,
            'U' => 8,
            other => {
                out.push(other);
                continue;
            }
        };
        let code: String = chars.by_ref().take(digits).collect();
        out.push(char::from_u32(u32::from_str_radix(&code, 16).unwrap()).unwrap());
    }
    out
}

fn unfolded(text: &str) -> String {
    text.replace("\r\n ", "").replace("\r\n\t", "")
}

#[test]
fn texts_are_escaped_and_folded() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/check_values/ics_text_escape_fold.csv");
    let mut rows = csv::Reader::from_path(path).unwrap();
    let mut count = 0;
    for row in rows.records() {
        let row = row.unwrap();
        let (text, line) = (unescaped(&row[0]), unescaped(&row[1]));
        // A control character has no place in a content line: we leave it out.
        if text.contains('\t') {
            continue;
        }
        let object = publish("Tansy Bend", &[entry(&text)], stamp("2026-04-22T11:00:00Z"));
        let whole = unfolded(&object);
        let ours = whole
            .split("\r\n")
            .find(|line| line.starts_with("SUMMARY:"));
        assert_eq!(
            ours,
            Some(unfolded(&line).trim_end_matches("\r\n")),
            "{text:?}"
        );
        for line in object.split("\r\n") {
            assert!(line.len() <= 75, "{} octets: {line}", line.len());
        }
        count += 1;
    }
    assert!(count > 10, "only {count} rows");
}

/// RFC 5545, 3.1: no line over 75 octets, whatever the length of its text.
#[test]
fn a_line_of_any_length_is_folded_in_time() {
    for length in 0..240 {
        for letter in ["a", "\u{e9}", ", "] {
            let text = format!("{}x", letter.repeat(length));
            let object = publish("x", &[entry(&text)], stamp("2026-04-22T11:00:00Z"));
            assert!(object.ends_with("END:VCALENDAR\r\n"));
            for line in object.split("\r\n") {
                assert!(line.len() <= 75, "{} octets: {line}", line.len());
            }
            let wanted = format!("SUMMARY:{}\r\n", text.replace(',', "\\,"));
            assert!(unfolded(&object).contains(&wanted), "{object}");
        }
    }
}

#[test]
fn the_proposed_days_are_one_event_of_whole_days() {
    let object = publish(
        "Tansy, Bend",
        &[entry("Prune")],
        stamp("2026-04-22T11:00:00Z"),
    );
    let lines: Vec<&str> = object.split("\r\n").collect();
    for line in [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "METHOD:PUBLISH",
        "BEGIN:VEVENT",
        "UID:prune-pome-apple-2027.tansy-bend@budtide",
        "DTSTAMP:20260422T110000Z",
        "DTSTART;VALUE=DATE:20270227",
        // The end is the first day after it (3.6.1).
        "DTEND;VALUE=DATE:20270228",
        // The other days of the same event (3.8.5.2).
        "RDATE;VALUE=DATE:20270228",
        "STATUS:CONFIRMED",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
        "END:VCALENDAR",
    ] {
        assert!(lines.contains(&line), "{line} is not in\n{object}");
    }
    assert!(
        object.contains("X-WR-CALNAME:Tansy\\, Bend\r\n"),
        "{object}"
    );
    assert_eq!(object.matches("DTSTAMP").count(), 1);
}

#[test]
fn the_sequence_rises_and_what_is_dropped_is_cancelled() {
    let sequence = |at: &str| {
        let mut gone = entry("Prune");
        gone.cancelled = true;
        let object = publish("x", &[gone], stamp(at));
        assert!(object.contains("STATUS:CANCELLED"));
        let line = object
            .split("\r\n")
            .find(|line| line.starts_with("SEQUENCE:"));
        line.unwrap()["SEQUENCE:".len()..].parse::<u32>().unwrap()
    };
    let first = sequence("2026-04-22T11:00:00Z");
    assert_eq!(first, sequence("2026-04-22T23:59:00Z"));
    assert!(first < sequence("2026-04-23T00:00:00Z"));
}

/// The demo's calendar as the command writes it, read by the independent
/// Python package icalendar; skipped where that is not installed, unless
/// `BUDTIDE_REAL_PARTS=required`.
#[test]
fn an_independent_parser_reads_the_demo() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let knows = |python: &&str| {
        Command::new(python)
            .args(["-c", "import icalendar"])
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|status| status.success())
    };
    // Debian's package belongs to Debian's own Python.
    let python = ["python3", "/usr/bin/python3"].into_iter().find(knows);
    let Some(python) = python else {
        let required = std::env::var("BUDTIDE_REAL_PARTS").is_ok_and(|value| value == "required");
        assert!(!required, "the Python package icalendar is missing");
        eprintln!("skipped: no Python package icalendar");
        return;
    };
    let written = Command::new(env!("CARGO_BIN_EXE_budtide"))
        .args(["demo", "calendar", "--icalendar"])
        .output()
        .unwrap();
    assert!(written.status.success());
    let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/nudge/read_ics.py");
    let mut reader = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    reader
        .stdin
        .take()
        .unwrap()
        .write_all(&written.stdout)
        .unwrap();
    let read = reader.wait_with_output().unwrap();
    assert!(read.status.success(), "the parser refused it");
    let text = String::from_utf8(read.stdout).unwrap();
    let events = String::from_utf8(written.stdout)
        .unwrap()
        .matches("BEGIN:VEVENT")
        .count();
    assert_eq!(text.lines().count(), events);
    assert!(events > 50, "only {events} events");
    // Each stands on its proposed days, as the calendar itself has them.
    let plan = Command::new(env!("CARGO_BIN_EXE_budtide"))
        .args(["demo", "calendar", "--json"])
        .output()
        .unwrap();
    let plan: serde_json::Value = serde_json::from_slice(&plan.stdout).unwrap();
    let mut several = 0;
    for line in text.lines() {
        let (days, uid) = line.split_once('\t').unwrap();
        let id = uid.split('.').next().unwrap();
        let tasks = plan["tasks"].as_array().unwrap();
        let task = tasks.iter().find(|task| task["id"] == id).unwrap();
        let given: Vec<&str> = task["days"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|day| day["day"].as_str())
            .collect();
        if !given.is_empty() {
            assert_eq!(days, given.join(" "), "{id}");
        } else if let Some(day) = task["day"].as_str() {
            assert_eq!(days, day, "{id}");
        } else {
            assert_eq!(days.len(), 10, "{id}: one day, {days}");
        }
        several += usize::from(given.len() > 1);
    }
    assert!(several > 5, "only {several} events of several days");
}

/// What is kept names its days: a file is read on any day.
#[test]
fn no_export_speaks_of_tomorrow() {
    use std::process::Command;
    for args in [
        &["calendar", "--icalendar"][..],
        &["calendar", "--json"],
        &["today", "--json"],
        &["changes", "2026-04-20", "--json"],
        &[
            "rehearse",
            "--from",
            "2026-04-01",
            "--to",
            "2026-04-10",
            "--json",
        ],
    ] {
        let ran = Command::new(env!("CARGO_BIN_EXE_budtide"))
            .arg("demo")
            .args(args)
            .output()
            .unwrap();
        assert!(ran.status.success(), "{args:?}");
        let text = unfolded(&String::from_utf8(ran.stdout).unwrap());
        for word in [
            "tomorrow",
            "yesterday",
            "until today",
            "best today",
            " in 4 days",
        ] {
            for (at, _) in text.match_indices(word) {
                // A message says both: `tomorrow (Thu 23 Apr)`.
                let rest = &text[at + word.len()..];
                let day = rest.strip_prefix(" (").unwrap_or_default();
                let weekdays = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
                let around = &text[at.saturating_sub(40)..(at + 40).min(text.len())];
                let button = rest.starts_with('"');
                assert!(
                    button || weekdays.iter().any(|name| day.starts_with(name)),
                    "{args:?}: {around}"
                );
            }
        }
    }
}
