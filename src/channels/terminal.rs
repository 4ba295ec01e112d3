//! Messages as plain text on a terminal, in a file or in the log.

use std::io::Write;

use chrono::{DateTime, FixedOffset};

use super::{Again, Channel, ChannelError, Sending, Sent, lines, one_line};
use crate::render::message::{Message, Urgency};

/// How messages are written down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TerminalConfig {
    /// What it is written to, in words: `the terminal`, a file's name.
    pub to: String,
    /// Whether the answers that a message offers are named.
    pub actions: bool,
}

/// Writes messages to anything that takes text.
#[derive(Debug)]
pub struct Terminal<W> {
    config: TerminalConfig,
    out: W,
}

impl<W: Write + Send> Terminal<W> {
    /// A channel that writes to `out`.
    pub fn new(config: TerminalConfig, out: W) -> Self {
        Terminal { config, out }
    }

    /// Gives back what it wrote to.
    pub fn into_inner(self) -> W {
        self.out
    }

    fn write(
        &mut self,
        message: &Message,
        written: DateTime<FixedOffset>,
    ) -> Result<Sent, ChannelError> {
        let text = page(message, written, self.config.actions);
        self.out
            .write_all(text.as_bytes())
            .and_then(|()| self.out.flush())
            .map_err(|error| ChannelError {
                doing: format!("writing \"{}\"", one_line(&message.title)),
                to: format!("to {}", self.config.to),
                cause: error.to_string(),
                again: match error.kind() {
                    // The reader went away, and will not come back.
                    std::io::ErrorKind::BrokenPipe => Again::Never,
                    _ => Again::Later,
                },
            })?;
        Ok(Sent {
            to: self.config.to.clone(),
            id: message.key.clone(),
            without: None,
        })
    }
}

impl<W: Write + Send> Channel for Terminal<W> {
    fn name(&self) -> &'static str {
        "terminal"
    }

    fn send<'a>(&'a mut self, message: &'a Message, written: DateTime<FixedOffset>) -> Sending<'a> {
        let sent = self.write(message, written);
        Box::pin(async move { sent })
    }
}

/// The message as it is written: time and title, then the text set in.
fn page(message: &Message, written: DateTime<FixedOffset>, actions: bool) -> String {
    let mut page = format!("{}  ", written.format("%a %Y-%m-%d %H:%M"));
    if message.urgency == Urgency::High {
        page.push_str("URGENT  ");
    }
    page.push_str(&one_line(&message.title));
    page.push('\n');
    for line in lines(&message.text).lines() {
        if !line.trim().is_empty() {
            page.push_str("    ");
            page.push_str(line.trim_end());
        }
        page.push('\n');
    }
    if actions && !message.actions.is_empty() {
        let labels: Vec<String> = message
            .actions
            .iter()
            .map(|(_, label)| format!("[{}]", one_line(label)))
            .collect();
        page.push_str("    ");
        page.push_str(&labels.join(" "));
        page.push('\n');
    }
    page.push('\n');
    page
}
