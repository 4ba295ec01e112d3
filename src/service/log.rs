//! What the service says of itself: one line an event, with its level.
//!
//! Under systemd each line begins with its level as `<3>` to `<7>`, as
//! sd-daemon(3) has it, so that the journal files it rightly. On a terminal
//! the level stands as a word. Fields follow the text as `key=value`.

use std::fmt::Display;
use std::io::Write;

/// How grave an event is, after syslog (RFC 5424).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Something that was to be done was not.
    Error,
    /// It goes on, but somebody ought to look.
    Warning,
    /// The ordinary course.
    Info,
    /// For whoever looks for a fault.
    Debug,
}

impl Level {
    /// Its number in syslog.
    pub fn number(self) -> u8 {
        match self {
            Level::Error => 3,
            Level::Warning => 4,
            Level::Info => 6,
            Level::Debug => 7,
        }
    }

    /// Its word, also for `--log`.
    pub fn word(self) -> &'static str {
        match self {
            Level::Error => "error",
            Level::Warning => "warning",
            Level::Info => "info",
            Level::Debug => "debug",
        }
    }
}

/// Writes down what happens.
#[derive(Clone, Copy, Debug)]
pub struct Log {
    least: Level,
    numbered: bool,
}

impl Log {
    /// A log that leaves out what is below `least`; `numbered` where the
    /// systemd journal reads it.
    pub fn new(least: Level, numbered: bool) -> Self {
        Log { least, numbered }
    }

    /// Writes one event to standard error.
    pub fn write(&self, level: Level, text: &str, fields: &[(&str, &dyn Display)]) {
        if level > self.least {
            return;
        }
        // Nowhere is left to tell of a failure to tell.
        let _ = std::io::stderr().write_all(self.lines(level, text, fields).as_bytes());
    }

    /// The ordinary course.
    pub fn info(&self, text: &str, fields: &[(&str, &dyn Display)]) {
        self.write(Level::Info, text, fields);
    }

    /// Somebody ought to look.
    pub fn warning(&self, text: &str, fields: &[(&str, &dyn Display)]) {
        self.write(Level::Warning, text, fields);
    }

    /// Something was not done.
    pub fn error(&self, text: &str, fields: &[(&str, &dyn Display)]) {
        self.write(Level::Error, text, fields);
    }

    fn lines(&self, level: Level, text: &str, fields: &[(&str, &dyn Display)]) -> String {
        let head = match self.numbered {
            true => format!("<{}>", level.number()),
            false => format!("{}: ", level.word()),
        };
        let mut tail = String::new();
        for (key, value) in fields {
            let value = flat(&value.to_string());
            match value.contains(char::is_whitespace) || value.is_empty() || value.contains('"') {
                true => tail.push_str(&format!(" {key}={value:?}")),
                false => tail.push_str(&format!(" {key}={value}")),
            }
        }
        // Each line of a text of several is one event for the journal.
        let mut lines: Vec<String> = text
            .lines()
            .map(|line| format!("{head}{}", flat(line)))
            .collect();
        if lines.is_empty() {
            lines.push(head);
        }
        if let Some(last) = lines.last_mut() {
            last.push_str(&tail);
        }
        lines.join("\n") + "\n"
    }
}

/// Without characters that steer a terminal or end a line.
fn flat(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_and_fields_as_the_journal_reads_them() {
        let log = Log::new(Level::Info, true);
        assert_eq!(
            log.lines(
                Level::Warning,
                "one\ntwo",
                &[("n", &3), ("why", &"a b\u{1b}[1m")]
            ),
            "<4>one\n<4>two n=3 why=\"a b [1m\"\n"
        );
        let plain = Log::new(Level::Info, false);
        assert_eq!(plain.lines(Level::Error, "no", &[]), "error: no\n");
    }
}
