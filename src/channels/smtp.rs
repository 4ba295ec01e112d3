//! What a mail server's refusals mean, in plain words.

use std::error::Error as _;
use std::io;

use lettre::transport::smtp::Error;
use lettre::transport::smtp::response::Severity;
use rustls::CertificateError;

use super::{Again, quoted};

/// What is being done with the server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// Fetching the password.
    Password,
    /// Looking up the name, connecting, the first greeting.
    Connecting,
    /// Going over to TLS after STARTTLS.
    Encrypting,
    /// Handing over user and password.
    LoggingIn,
    /// Handing over the mail.
    HandingOver,
}

impl Step {
    fn words(self) -> &'static str {
        match self {
            Step::Password => "fetching the password",
            Step::Connecting => "connecting",
            Step::Encrypting => "going over to TLS",
            Step::LoggingIn => "logging in",
            Step::HandingOver => "handing over the mail",
        }
    }
}

/// A cause in plain words, and what a further try is worth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Fault {
    pub cause: String,
    pub again: Again,
}

impl Fault {
    pub fn later(cause: impl Into<String>) -> Self {
        Fault {
            cause: cause.into(),
            again: Again::Later,
        }
    }

    pub fn told(cause: impl Into<String>) -> Self {
        Fault {
            cause: cause.into(),
            again: Again::Told,
        }
    }
}

/// A mail of which nobody knows whether it was taken.
const UNCERTAIN: &str = "it may have arrived all the same; another try bears the same Message-ID";

/// The time limit ran out.
pub(super) fn too_slow(step: Step, seconds: f32, implicit_tls: bool) -> Fault {
    let mut cause = format!("no end within {seconds} s while {}", step.words());
    match step {
        // A server that begins with TLS waits for the client to speak first.
        Step::Connecting if !implicit_tls => {
            cause
                .push_str("; if this port begins with TLS (usually 465), the settings must say so");
        }
        Step::HandingOver => {
            cause.push_str("; ");
            cause.push_str(UNCERTAIN);
        }
        _ => {}
    }
    Fault::later(cause)
}

/// What lettre reports, explained.
pub(super) fn explain(step: Step, server: &str, user: &str, error: &Error) -> Fault {
    if let Some(code) = error.status() {
        let said = match error.source() {
            Some(text) => quoted(&format!("{code} {text}")),
            None => code.to_string(),
        };
        if code.severity == Severity::TransientNegativeCompletion {
            return Fault::later(format!(
                "the server put it off while {} ({said})",
                step.words()
            ));
        }
        return Fault::told(match step {
            Step::LoggingIn => {
                format!("the server refused the user {user} or the password ({said})")
            }
            Step::HandingOver => format!("the server refused the mail ({said})"),
            _ => format!("the server refused while {} ({said})", step.words()),
        });
    }
    let (tls, io) = causes(error);
    if let Some(tls) = tls {
        return Fault::told(explain_tls(server, &tls));
    }
    if let Some((kind, text)) = io {
        return explain_io(step, server, kind, &text);
    }
    let text = quoted(&match error.source() {
        Some(source) => source.to_string(),
        None => error.to_string(),
    });
    if error.is_client() {
        if step == Step::LoggingIn {
            return Fault::told(
                "the server takes no password here (it offers neither PLAIN nor LOGIN)",
            );
        }
        return Fault::told(text);
    }
    if text.contains("incomplete") {
        return broken(step, "the server closed the connection");
    }
    if error.is_response() {
        // The reader of replies says "error NAME at: TEXT".
        let said = text
            .split_once(" at: ")
            .map_or(text.as_str(), |(_, said)| said);
        return Fault::told(format!(
            "what answers there does not speak as a mail server does ({said})"
        ));
    }
    Fault::later(format!("{} failed ({text})", step.words()))
}

/// The TLS error and the I/O error at the root of it, as far as there are any:
/// lettre wraps both, and its own marks do not tell them apart.
fn causes(error: &Error) -> (Option<rustls::Error>, Option<(io::ErrorKind, String)>) {
    let mut tls = None;
    let mut io = None;
    let mut next = error.source();
    while let Some(source) = next {
        if let Some(found) = source.downcast_ref::<rustls::Error>() {
            tls = Some(found.clone());
        }
        if let Some(found) = source.downcast_ref::<io::Error>() {
            if let Some(inner) = found
                .get_ref()
                .and_then(|inner| inner.downcast_ref::<rustls::Error>())
            {
                tls = Some(inner.clone());
            }
            io = Some((found.kind(), quoted(&found.to_string())));
        }
        next = source.source();
    }
    (tls, io)
}

fn explain_io(step: Step, server: &str, kind: io::ErrorKind, text: &str) -> Fault {
    match kind {
        io::ErrorKind::ConnectionRefused => {
            Fault::later("nothing listens there (connection refused)")
        }
        io::ErrorKind::UnexpectedEof
        | io::ErrorKind::ConnectionReset
        | io::ErrorKind::ConnectionAborted
        | io::ErrorKind::BrokenPipe => broken(step, "the connection broke"),
        _ if text.contains("lookup address") => Fault::later(format!(
            "the name {server} was not found: there is no network, or the name is wrong ({text})"
        )),
        _ => broken(step, &format!("the network failed ({text})")),
    }
}

fn broken(step: Step, what: &str) -> Fault {
    let mut cause = format!("{what} while {}", step.words());
    if step == Step::HandingOver {
        cause.push_str("; ");
        cause.push_str(UNCERTAIN);
    }
    Fault::later(cause)
}

fn explain_tls(server: &str, error: &rustls::Error) -> String {
    match error {
        rustls::Error::InvalidCertificate(fault) => explain_certificate(server, fault),
        rustls::Error::InvalidMessage(_) => "this port does not begin with TLS; it may want \
             STARTTLS (usually port 587), and then the settings must say so"
            .to_owned(),
        rustls::Error::AlertReceived(alert) => {
            format!("the server broke off the TLS greeting ({alert:?})")
        }
        other => format!("TLS failed ({})", quoted(&other.to_string())),
    }
}

fn explain_certificate(server: &str, fault: &CertificateError) -> String {
    match fault {
        CertificateError::UnknownIssuer => format!(
            "the certificate of {server} is signed by nobody whom this machine trusts; if the \
             server has an authority of its own, name that authority's file as CA file"
        ),
        CertificateError::NotValidForName => {
            format!("the certificate is not for the name {server}: check the server's name")
        }
        CertificateError::NotValidForNameContext { presented, .. } => format!(
            "the certificate is not for the name {server} but for {}: check the server's name",
            quoted(&names(presented))
        ),
        CertificateError::Expired | CertificateError::ExpiredContext { .. } => {
            format!("the certificate of {server} has expired, or this machine's clock is wrong")
        }
        CertificateError::NotValidYet | CertificateError::NotValidYetContext { .. } => format!(
            "the certificate of {server} is not valid yet, or this machine's clock is wrong"
        ),
        other => format!(
            "the certificate of {server} is not accepted ({})",
            quoted(&other.to_string())
        ),
    }
}

/// The names in a certificate, out of the form that rustls gives them:
/// `DnsName("mail.example.net")`.
fn names(presented: &[String]) -> String {
    let bare: Vec<&str> = presented
        .iter()
        .map(|name| name.split('"').nth(1).unwrap_or(name))
        .collect();
    bare.join(", ")
}
