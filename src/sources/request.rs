//! What to ask for, and what must not be told of it.

use super::address::Address;
use super::error::{Fault, Why};

/// What to ask for.
#[derive(Clone, Debug)]
pub struct Request {
    /// What it is for, such as `fetching the forecast`.
    pub doing: String,
    /// Where.
    pub address: Address,
    /// The `Accept` header.
    pub accept: &'static str,
    /// Instead of the client's own name.
    pub user_agent: Option<String>,
    /// Whether to keep the reply and next time ask only for a newer one.
    pub keep: bool,
    /// Texts that must not show up in a message.
    pub secrets: Secrets,
}

/// Texts that must not show up in a message; shown, they are their number.
#[derive(Clone, Default, PartialEq, Eq)]
pub struct Secrets(pub(super) Vec<String>);

impl std::fmt::Debug for Secrets {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Secrets({})", self.0.len())
    }
}

impl Request {
    /// A plain request.
    pub fn new(doing: impl Into<String>, address: Address) -> Self {
        Request {
            doing: doing.into(),
            address,
            accept: "application/json",
            user_agent: None,
            keep: false,
            secrets: Secrets::default(),
        }
    }

    /// The same with a text that must not show up in a message.
    #[must_use]
    pub fn hiding(mut self, secret: &str) -> Self {
        if !secret.is_empty() {
            self.secrets.0.push(secret.to_owned());
        }
        self
    }
}

/// Takes secrets out of what a service said: it may repeat the request.
pub(super) fn hide(mut fault: Fault, secrets: &Secrets) -> Fault {
    let text = match &mut fault.why {
        Why::Status { said, .. } => said,
        Why::Address(text)
        | Why::Connection(text)
        | Why::Certificate(text)
        | Why::Tls(text)
        | Why::Redirect(text)
        | Why::Unreadable(text)
        | Why::Place(text)
        | Why::Setting(text)
        | Why::File(text) => text,
        Why::NoHost | Why::Slow(_) | Why::TooLarge { .. } | Why::WebPage => return fault,
    };
    for secret in &secrets.0 {
        *text = text.replace(secret.as_str(), "***");
    }
    fault
}
