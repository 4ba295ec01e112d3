//! What came back, and what a status or an odd body means.

use super::error::{Again, Fault, Why};
use chrono::{DateTime, Utc};
use flate2::read::MultiGzDecoder;
use std::io::Read;
use std::sync::Arc;
use std::time::Duration;

/// What came back, whatever its status.
#[derive(Clone, Debug)]
pub struct Reply {
    /// The HTTP status; 200 also where the kept reply is still good.
    pub status: u16,
    /// The body, unpacked.
    pub body: Arc<Vec<u8>>,
    /// The media type without its parameters, lower case.
    pub media: String,
    /// When the other side says that it answered.
    pub date: Option<DateTime<Utc>>,
    /// When what it sent was last changed, if it says so.
    pub modified: Option<DateTime<Utc>>,
    /// What it asks to wait before the next try.
    pub retry_after: Option<Duration>,
    /// Whether the body was kept from an earlier reply.
    pub kept: bool,
}

impl Reply {
    /// The body if the status is good.
    ///
    /// # Errors
    /// [`Why::Status`], to be tried again after 408, 425, 429 and 5xx.
    pub fn good(&self) -> Result<&[u8], Fault> {
        if (200..300).contains(&self.status) {
            return Ok(&self.body);
        }
        Err(self.refused(String::new()))
    }

    /// The fault of a status that is not good, with what was said.
    pub fn refused(&self, said: String) -> Fault {
        let again = match self.status {
            408 | 425 | 429 | 500 | 502..=504 | 507 | 509.. => Again::Soon(self.retry_after),
            _ => Again::Never,
        };
        let why = Why::Status {
            code: self.status,
            said: clean(&said),
        };
        Fault { why, again }
    }

    /// What kind of text stands there instead of JSON: a web page comes from
    /// captive portals and from machines before the service.
    pub fn not_json(&self, error: &serde_json::Error) -> Fault {
        let start = self.body.iter().find(|byte| !byte.is_ascii_whitespace());
        match start {
            None => Fault::broken("it is empty"),
            Some(b'<') => Fault::soon(Why::WebPage),
            Some(_) if error.is_eof() => Fault::broken("it was cut short"),
            Some(_) => Fault::broken(format!(
                "it is not the JSON that was expected, line {} column {}",
                error.line(),
                error.column()
            )),
        }
    }
}

/// Unpacks gzip up to a limit.
///
/// # Errors
/// [`Why::TooLarge`] beyond it, [`Why::Unreadable`] if it is damaged.
pub fn gunzip(packed: &[u8], limit: u64) -> Result<Vec<u8>, Fault> {
    let mut body = Vec::new();
    MultiGzDecoder::new(packed)
        .take(limit.saturating_add(1))
        .read_to_end(&mut body)
        .map_err(|_| Fault::broken("its packing is damaged or cut short"))?;
    if body.len() as u64 > limit {
        return Err(Fault::later(Why::TooLarge {
            limit,
            unpacked: true,
        }));
    }
    Ok(body)
}

/// A text of somebody else, fit for a message: one line, cut short.
pub(super) fn clean(text: &str) -> String {
    const MOST: usize = 200;
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || c.is_control())
        .collect();
    let line = words
        .into_iter()
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ");
    if line.chars().count() <= MOST {
        return line;
    }
    let mut cut: String = line.chars().take(MOST).collect();
    cut.push_str(" ...");
    cut
}
