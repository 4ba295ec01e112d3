//! Replies that are kept, to ask only for newer ones (RFC 9110, 13).

use super::error::Fault;
use super::patience::{http_date, retry_after};
use super::reply::Reply;
use std::sync::Arc;
use ureq::http::{HeaderMap, header};

/// Bytes of replies that are kept.
const MOST_BYTES: usize = 8 << 20;

/// Kept replies, the oldest first.
#[derive(Default)]
pub(super) struct Kept(Vec<One>);

/// A reply with what it takes to ask whether it still holds.
struct One {
    address: String,
    etag: Option<String>,
    modified: Option<String>,
    body: Arc<Vec<u8>>,
    media: String,
}

impl Kept {
    /// The headers that ask for a newer reply only.
    pub(super) fn conditions(&self, address: &str) -> Vec<(header::HeaderName, String)> {
        let known = self.0.iter().find(|known| known.address == address);
        let etag = known.and_then(|known| known.etag.clone());
        let modified = known.and_then(|known| known.modified.clone());
        [
            (header::IF_NONE_MATCH, etag),
            (header::IF_MODIFIED_SINCE, modified),
        ]
        .into_iter()
        .filter_map(|(name, value)| Some((name, value?)))
        .collect()
    }

    /// The reply that the other side says still holds.
    pub(super) fn still_good(&self, address: &str, headers: &HeaderMap) -> Result<Reply, Fault> {
        let Some(known) = self.0.iter().find(|known| known.address == address) else {
            return Err(Fault::broken("it says \"not modified\" to a first request"));
        };
        let mut reply = reply(200, headers, known.body.clone(), true);
        reply.media.clone_from(&known.media);
        let modified = known.modified.as_deref().and_then(http_date);
        reply.modified = reply.modified.or(modified);
        Ok(reply)
    }

    /// Keeps a reply if it can be asked for again conditionally; the oldest
    /// make room.
    pub(super) fn keep(&mut self, address: &str, headers: &HeaderMap, reply: &Reply) {
        self.forget(address);
        let etag = text(headers, header::ETAG);
        let modified = text(headers, header::LAST_MODIFIED);
        if (etag.is_none() && modified.is_none()) || reply.body.len() > MOST_BYTES {
            return;
        }
        self.0.push(One {
            address: address.to_owned(),
            etag,
            modified,
            body: reply.body.clone(),
            media: reply.media.clone(),
        });
        let mut sum: usize = self.0.iter().map(|known| known.body.len()).sum();
        while sum > MOST_BYTES && !self.0.is_empty() {
            sum -= self.0.remove(0).body.len();
        }
    }

    /// Forgets a reply, such as one that could not be read.
    pub(super) fn forget(&mut self, address: &str) {
        self.0.retain(|known| known.address != address);
    }
}

/// A reply from its parts.
pub(super) fn reply(status: u16, headers: &HeaderMap, body: Arc<Vec<u8>>, kept: bool) -> Reply {
    let date = text(headers, header::DATE).as_deref().and_then(http_date);
    let media = text(headers, header::CONTENT_TYPE).unwrap_or_default();
    Reply {
        status,
        body,
        media: media
            .split(';')
            .next()
            .unwrap_or("")
            .trim()
            .to_ascii_lowercase(),
        date,
        modified: text(headers, header::LAST_MODIFIED)
            .as_deref()
            .and_then(http_date),
        retry_after: text(headers, header::RETRY_AFTER).and_then(|asked| retry_after(&asked, date)),
        kept,
    }
}

/// A header as text.
pub(super) fn text(headers: &HeaderMap, name: header::HeaderName) -> Option<String> {
    headers
        .get(name)
        .and_then(|value| value.to_str().ok())
        .map(str::to_owned)
}
