//! What the session bus's refusals mean, in plain words.

use std::time::Duration;

use zbus::fdo;

use super::{Again, quoted};

/// A cause, and what a further try is worth.
pub(super) struct Fault {
    pub cause: String,
    pub again: Again,
    pub kind: Kind,
}

/// What the sender itself can do about a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// The connection is gone: a new one may help at once.
    Broken,
    /// Nobody has the name that was called.
    Nobody,
    /// Nothing.
    Other,
}

/// The time limit of a call ran out.
pub(super) fn silent(who: &str, limit: Duration) -> Fault {
    Fault {
        cause: format!("{who} did not answer within {} s", limit.as_secs_f32()),
        again: Again::Later,
        kind: Kind::Other,
    }
}

/// What the bus reports.
pub(super) fn explain(error: &zbus::Error) -> Fault {
    let fault = |cause: String, again, kind| Fault { cause, again, kind };
    let said = || quoted(&error.to_string());
    match error {
        zbus::Error::Connection(error, _) => fault(
            format!(
                "there is no session bus ({}); a desktop session brings one",
                quoted(&error.to_string())
            ),
            Again::Later,
            Kind::Other,
        ),
        zbus::Error::InputOutput(error) => fault(
            format!(
                "the connection to the session bus broke ({})",
                quoted(&error.to_string())
            ),
            Again::Later,
            Kind::Broken,
        ),
        zbus::Error::Address(text) => fault(
            format!("the bus address cannot be used ({})", quoted(text)),
            Again::Told,
            Kind::Other,
        ),
        zbus::Error::FDO(error) => explain_reply(error),
        zbus::Error::MethodError(name, text, _) => {
            let said = match text {
                Some(text) => format!("{name}: {text}"),
                None => name.to_string(),
            };
            refused(&quoted(&said))
        }
        _ => fault(
            format!("the bus cannot be used ({})", said()),
            Again::Told,
            Kind::Other,
        ),
    }
}

fn explain_reply(error: &fdo::Error) -> Fault {
    let said = quoted(&error.to_string());
    let (cause, kind) = match error {
        fdo::Error::ServiceUnknown(_) | fdo::Error::NameHasNoOwner(_) => (
            "no notification server runs, and none can be started; a desktop session brings one"
                .to_owned(),
            Kind::Nobody,
        ),
        fdo::Error::NoReply(_) | fdo::Error::Timeout(_) | fdo::Error::TimedOut(_) => (
            format!("the notification server did not answer ({said})"),
            Kind::Other,
        ),
        fdo::Error::Disconnected(_) | fdo::Error::IOError(_) => (
            format!("the connection to the session bus broke ({said})"),
            Kind::Broken,
        ),
        fdo::Error::LimitsExceeded(_) | fdo::Error::NoMemory(_) => (
            format!("the notification server has enough for now ({said})"),
            Kind::Other,
        ),
        _ => return refused(&said),
    };
    Fault {
        cause,
        again: Again::Later,
        kind,
    }
}

/// An error that a server, or the bus in its place, gave as an answer.
fn refused(said: &str) -> Fault {
    // org.freedesktop.DBus.Error.Spawn.*: the bus tried to start the server,
    // which without a screen ends at once.
    let started = said.contains(".Error.Spawn.");
    Fault {
        cause: if started {
            format!("the notification server could not be started ({said})")
        } else {
            format!("the notification server refused ({said})")
        },
        again: if started { Again::Later } else { Again::Told },
        kind: Kind::Other,
    }
}
