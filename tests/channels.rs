//! The channels against real parts: a bus and two notification servers under
//! a screen of their own, a mail server with TLS and login on loopback.
//!
//! `tests/real-parts` installs them. Where one is missing its tests say so
//! and are skipped; with `BUDTIDE_REAL_PARTS=required` they fail instead.

use std::future::Future;
use std::process::Command;

use budtide::channels::terminal::{Terminal, TerminalConfig};
use budtide::channels::{Again, Channel};
use budtide::render::message::{Message, Urgency};
use chrono::{DateTime, FixedOffset};

mod desktop;
pub mod email;
mod password;
mod pressed;

/// Says whether all of these programs are there.
fn have(programs: &[&str]) -> bool {
    let missing: Vec<&str> = programs
        .iter()
        .copied()
        .filter(|program| {
            !Command::new("sh")
                .args(["-c", "command -v \"$0\" >/dev/null", program])
                .status()
                .is_ok_and(|end| end.success())
        })
        .collect();
    missing.is_empty() || skipped(&missing.join(", "))
}

/// A real part is missing.
fn skipped(what: &str) -> bool {
    assert!(
        std::env::var("BUDTIDE_REAL_PARTS").as_deref() != Ok("required"),
        "{what}: not there, and real parts are required"
    );
    eprintln!("skipped: {what} not installed (tests/real-parts does it)");
    false
}

/// Runs on one thread, as the service does.
fn on_one_thread<T>(task: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(task)
}

fn moment() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2026-05-07T17:30:00-04:00").unwrap()
}

fn message(key: &str, title: &str, text: &str) -> Message {
    Message {
        key: key.to_owned(),
        thread: "tansy-bend-2026".to_owned(),
        urgency: Urgency::Normal,
        title: title.to_owned(),
        text: text.to_owned(),
        html: "<p>as text</p>".to_owned(),
        calendar: None,
        actions: vec![
            ("done".to_owned(), "Done".to_owned()),
            ("tomorrow".to_owned(), "Tomorrow".to_owned()),
        ],
    }
}

#[test]
fn the_terminal_gets_time_title_and_text() {
    let config = TerminalConfig {
        to: "the terminal".to_owned(),
        actions: true,
    };
    let mut terminal = Terminal::new(config, Vec::new());
    let mut frost = message(
        "frost",
        "Frost\ttonight\u{1b}[2J",
        "Cover the apricots.\n\nWhy: -3 °C\u{7}.\n",
    );
    frost.urgency = Urgency::High;
    let sent = on_one_thread(terminal.send(&frost, moment())).unwrap();
    assert_eq!(sent.to, "the terminal");
    assert_eq!(
        String::from_utf8(terminal.into_inner()).unwrap(),
        "Thu 2026-05-07 17:30  URGENT  Frost tonight [2J\n\
         \u{20}   Cover the apricots.\n\
         \n\
         \u{20}   Why: -3 °C.\n\
         \u{20}   [Done] [Tomorrow]\n\
         \n"
    );
}

#[test]
fn a_terminal_that_takes_nothing_is_told() {
    let config = TerminalConfig {
        to: "/dev/full".to_owned(),
        actions: false,
    };
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let error = on_one_thread(
        Terminal::new(config, full).send(&message("a", "Prune the pears", ""), moment()),
    )
    .unwrap_err();
    assert_eq!(error.again, Again::Later);
    assert_eq!(
        error.to_string(),
        "writing \"Prune the pears\", to /dev/full: No space left on device (os error 28); \
         it can be tried again later"
    );
}
