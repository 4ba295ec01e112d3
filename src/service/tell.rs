//! What systemd is told, by the protocol of sd_notify(3). Outside systemd
//! nothing is told, and that is no fault.

use sd_notify::NotifyState;
use std::time::Duration;

/// The longest status, bytes: more than a line of `systemctl status` holds.
const STATUS: usize = 200;

fn say(states: &[NotifyState<'_>]) {
    // Whoever does not listen cannot be helped.
    let _ = sd_notify::notify(states);
}

/// It is up.
pub fn ready(status: &str) {
    say(&[NotifyState::Ready, NotifyState::Status(&short(status))]);
}

/// It reads its files anew; [`ready`] ends it.
pub fn reloading() {
    // Since systemd 253 the time must stand beside it.
    match NotifyState::monotonic_usec_now() {
        Ok(now) => say(&[
            NotifyState::Reloading,
            now,
            NotifyState::Status("reading the files anew"),
        ]),
        Err(_) => say(&[NotifyState::Reloading]),
    }
}

/// What it waits for.
pub fn status(text: &str) {
    say(&[NotifyState::Status(&short(text))]);
}

/// It ends.
pub fn stopping() {
    say(&[NotifyState::Stopping, NotifyState::Status("stopping")]);
}

/// It is alive.
pub fn alive() {
    say(&[NotifyState::Watchdog]);
}

/// Within which time systemd wants a sign of life, if it does.
pub fn watchdog() -> Option<Duration> {
    sd_notify::watchdog_enabled()
}

/// On one line, cut where a character begins.
fn short(text: &str) -> String {
    let line: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let mut end = line.len().min(STATUS);
    while !line.is_char_boundary(end) {
        end -= 1;
    }
    line.get(..end).unwrap_or_default().to_owned()
}
