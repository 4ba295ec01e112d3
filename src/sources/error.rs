//! Why weather could not be had, and whether to try again.

use std::fmt;
use std::time::Duration;

/// A source that gave nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceError {
    /// It may work later, unchanged.
    Later(Failure),
    /// It will not work until something is changed: a setting, the place, or
    /// this program.
    Never(Failure),
    /// The source does not have this kind of weather at all.
    NotOffered {
        /// The source's name.
        source: String,
        /// What was asked for, such as `a forecast`.
        what: &'static str,
    },
    /// The program was told to stop while it waited, or the caller had enough.
    Stopped,
}

/// What was being done, with whom, and why it failed. Holds no address beyond
/// the host, no coordinates and no key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// What was being done, such as `fetching the forecast`.
    pub doing: String,
    /// The host or the file.
    pub whom: String,
    /// Why it failed.
    pub why: Why,
    /// How often it was tried.
    pub tries: u32,
    /// How long to wait at least before the next try, if the source said so.
    pub after: Option<Duration>,
}

/// Why something failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// The address is none, or one that is not used.
    Address(String),
    /// No machine of that name is known; also when there is no network.
    NoHost,
    /// No connection, or it broke.
    Connection(String),
    /// Not done within this time.
    Slow(Duration),
    /// The certificate is not trusted.
    Certificate(String),
    /// Encryption failed otherwise.
    Tls(String),
    /// The reply is larger than allowed.
    TooLarge {
        /// The limit, bytes.
        limit: u64,
        /// Whether it was passed on unpacking.
        unpacked: bool,
    },
    /// A redirect that is not followed.
    Redirect(String),
    /// The service answered with an error.
    Status {
        /// The HTTP status.
        code: u16,
        /// What the service said, cut short; may be empty.
        said: String,
    },
    /// The reply is not what was asked for.
    Unreadable(String),
    /// A web page came in place of data: from a log-in page, or from a machine
    /// before the service.
    WebPage,
    /// The service does not know the place.
    Place(String),
    /// A setting is missing or wrong.
    Setting(String),
    /// A file cannot be read.
    File(String),
}

/// A failed try and what to do about it: what a reader of replies hands back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Why it failed.
    pub why: Why,
    /// Whether to try again.
    pub again: Again,
}

/// Whether and when to try again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Again {
    /// In a moment, or after this time.
    Soon(Option<Duration>),
    /// Not in this call; some time later.
    Later(Option<Duration>),
    /// Not unchanged.
    Never,
}

impl Fault {
    /// A passing fault: try again in a moment.
    pub fn soon(why: Why) -> Self {
        Fault {
            why,
            again: Again::Soon(None),
        }
    }

    /// A fault that may pass, but not in this call.
    pub fn later(why: Why) -> Self {
        Fault {
            why,
            again: Again::Later(None),
        }
    }

    /// A fault that does not pass by itself.
    pub fn never(why: Why) -> Self {
        Fault {
            why,
            again: Again::Never,
        }
    }

    /// A reply that is broken: it may have been cut short, so try again.
    pub fn broken(what: impl Into<String>) -> Self {
        Fault::soon(Why::Unreadable(what.into()))
    }

    /// A whole reply in a form that this program does not know.
    pub fn unknown_form(what: impl Into<String>) -> Self {
        Fault::never(Why::Unreadable(what.into()))
    }

    /// The error to hand out after `tries` tries.
    pub fn into_error(self, doing: &str, whom: &str, tries: u32) -> SourceError {
        let failure = |after| Failure {
            doing: doing.to_owned(),
            whom: whom.to_owned(),
            why: self.why.clone(),
            tries,
            after,
        };
        match self.again {
            Again::Soon(after) | Again::Later(after) => SourceError::Later(failure(after)),
            Again::Never => SourceError::Never(failure(None)),
        }
    }
}

impl SourceError {
    /// Whether it may work later, unchanged.
    pub fn again(&self) -> bool {
        matches!(self, SourceError::Later(_))
    }

    /// Whether the keeper should hear of it even if it is the first time:
    /// waiting alone will hardly mend it.
    pub fn tell(&self) -> bool {
        match self {
            SourceError::Never(_) => true,
            SourceError::Later(failure) => matches!(failure.why, Why::Certificate(_)),
            SourceError::NotOffered { .. } | SourceError::Stopped => false,
        }
    }

    /// What failed, with whom and why.
    pub fn failure(&self) -> Option<&Failure> {
        match self {
            SourceError::Later(failure) | SourceError::Never(failure) => Some(failure),
            SourceError::NotOffered { .. } | SourceError::Stopped => None,
        }
    }
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::Address(what) => write!(f, "the address cannot be used: {what}"),
            Why::NoHost => write!(f, "the host was not found; is there a network?"),
            Why::Connection(what) => write!(f, "no connection: {what}"),
            Why::Slow(limit) => write!(f, "not done within {}", span(*limit)),
            Why::Certificate(what) => write!(f, "its certificate is not trusted: {what}"),
            Why::Tls(what) => write!(f, "no encrypted connection: {what}"),
            Why::TooLarge { limit, unpacked } => {
                let how = if *unpacked { " unpacked" } else { "" };
                write!(f, "the reply is larger than {} MiB{how}", limit >> 20)
            }
            Why::Redirect(what) => write!(f, "a redirect was not followed: {what}"),
            Why::Status { code, said } if said.is_empty() => write!(f, "it answered {code}"),
            Why::Status { code, said } => write!(f, "it answered {code}: {said}"),
            Why::Unreadable(what) => write!(f, "the reply cannot be used: {what}"),
            Why::WebPage => write!(f, "the reply cannot be used: it is a web page, not data"),
            Why::Place(what) => write!(f, "the place is not known there: {what}"),
            Why::Setting(what) => write!(f, "{what}"),
            Why::File(what) => write!(f, "{what}"),
        }
    }
}

impl fmt::Display for SourceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (failure, later) = match self {
            SourceError::Later(failure) => (failure, true),
            SourceError::Never(failure) => (failure, false),
            SourceError::NotOffered { source, what } => {
                return write!(f, "{source} has no {what}");
            }
            SourceError::Stopped => return write!(f, "stopped before it was done"),
        };
        write!(f, "{}, {}: {}", failure.doing, failure.whom, failure.why)?;
        if failure.tries > 1 {
            write!(f, " ({} tries)", failure.tries)?;
        }
        match (later, failure.after) {
            (true, Some(after)) => write!(f, "; to be tried again after {}", span(after)),
            (true, None) => write!(f, "; to be tried again later"),
            (false, _) => write!(f, "; something has to be changed first"),
        }
    }
}

impl std::error::Error for SourceError {}

/// A time span in the largest unit that suits it.
fn span(time: Duration) -> String {
    let seconds = time.as_secs_f64();
    if seconds < 1.0 {
        format!("{} ms", time.as_millis())
    } else if seconds < 120.0 {
        format!("{} s", seconds.ceil())
    } else if seconds < 7_200.0 {
        format!("{} min", (seconds / 60.0).ceil())
    } else {
        format!("{} h", (seconds / 3_600.0).ceil())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failure_says_what_with_whom_and_whether_again() {
        let fault = Fault {
            why: Why::Status {
                code: 429,
                said: "too many requests".to_owned(),
            },
            again: Again::Soon(Some(Duration::from_secs(300))),
        };
        let error = fault.into_error("fetching the forecast", "api.example.org", 3);
        assert_eq!(
            error.to_string(),
            "fetching the forecast, api.example.org: it answered 429: too many requests \
             (3 tries); to be tried again after 5 min"
        );
        assert!(error.again() && !error.tell());
        let error = Fault::never(Why::Setting("no contact is set".to_owned())).into_error(
            "asking for alerts",
            "api.example.org",
            1,
        );
        assert_eq!(
            error.to_string(),
            "asking for alerts, api.example.org: no contact is set; \
             something has to be changed first"
        );
        assert!(!error.again() && error.tell());
    }
}
