//! One way out to the network: blocking HTTP with limits on everything.
//!
//! A request has time limits, is tried again with growing pauses, takes no
//! reply beyond a size, follows few redirects and none from https to http.
//! Errors name the host and nothing else of an address. The caller runs it
//! where blocking is no harm.

use super::address::Address;
use super::error::{Again, Fault, SourceError, Why};
use super::kept::{Kept, reply, text};
use super::patience::{Jitter, Patience};
use super::reply::clean;
pub use super::reply::{Reply, gunzip};
use super::request::hide;
pub use super::request::{Request, Secrets};
use super::stop::Stop;
use std::io::{self, Read};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant};
use ureq::config::Config;
use ureq::http::{HeaderMap, header};
use ureq::tls::{Certificate, RootCerts, TlsConfig, TlsProvider};
use ureq::{Agent, Proxy};

/// Redirects that are followed for one request.
const REDIRECTS: usize = 4;

/// How a client behaves. The default suits the known services.
#[derive(Clone, Debug)]
pub struct Settings {
    /// What the program calls itself.
    pub user_agent: String,
    /// Most for a connection, its encryption included.
    pub connect: Duration,
    /// Most for a whole request with all its redirects and its reply.
    pub whole: Duration,
    /// Most bytes of a reply as sent.
    pub bytes: u64,
    /// Most bytes of a reply unpacked.
    pub unpacked: u64,
    /// How often to try and how long to wait between.
    pub patience: Patience,
    /// Which proxy stands before the network; none before this machine itself.
    pub proxy: ProxyChoice,
    /// Whose certificates are trusted.
    pub trust: Trust,
    /// Seed of the jitter.
    pub seed: u64,
    /// Set by the caller to end all waiting.
    pub stop: Stop,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            user_agent: concat!("budtide/", env!("CARGO_PKG_VERSION")).to_owned(),
            connect: Duration::from_secs(10),
            whole: Duration::from_secs(60),
            bytes: 16 << 20,
            unpacked: 32 << 20,
            patience: Patience::BACKGROUND,
            proxy: ProxyChoice::Environment,
            trust: Trust::System,
            seed: 0,
            stop: Stop::default(),
        }
    }
}

/// Which proxy to use.
#[derive(Clone, PartialEq, Eq)]
pub enum ProxyChoice {
    /// What `ALL_PROXY`, `HTTPS_PROXY`, `HTTP_PROXY` and `NO_PROXY` say.
    Environment,
    /// None.
    None,
    /// This one, such as `http://proxy.example.org:3128`.
    Address(String),
}

impl std::fmt::Debug for ProxyChoice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // An address may hold a password.
        f.write_str(match self {
            ProxyChoice::Environment => "Environment",
            ProxyChoice::None => "None",
            ProxyChoice::Address(_) => "Address(..)",
        })
    }
}

/// Whose certificates are trusted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trust {
    /// The system's, or those of the file that `SSL_CERT_FILE` names.
    System,
    /// Those of this text in PEM form alone.
    Only(Vec<u8>),
}

/// How much went over the wire.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Requests, redirects included.
    pub requests: u64,
    /// Bytes of bodies as sent.
    pub bytes: u64,
    /// Bytes of bodies unpacked.
    pub unpacked: u64,
}

/// The client. One is enough for all sources.
pub struct Client {
    settings: Settings,
    agent: OnceLock<Agent>,
    jitter: Mutex<Jitter>,
    kept: Mutex<Kept>,
    requests: AtomicU64,
    bytes: AtomicU64,
    unpacked: AtomicU64,
}

impl std::fmt::Debug for Client {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // What is kept has addresses with keys.
        f.debug_struct("Client")
            .field("settings", &self.settings)
            .field("traffic", &self.traffic())
            .finish_non_exhaustive()
    }
}

impl Client {
    /// A client that behaves as the settings say. Reads nothing yet.
    pub fn new(settings: Settings) -> Self {
        Client {
            jitter: Mutex::new(Jitter::new(settings.seed)),
            settings,
            agent: OnceLock::new(),
            kept: Mutex::default(),
            requests: AtomicU64::new(0),
            bytes: AtomicU64::new(0),
            unpacked: AtomicU64::new(0),
        }
    }

    /// What went over the wire so far.
    pub fn traffic(&self) -> Traffic {
        Traffic {
            requests: self.requests.load(Ordering::Relaxed),
            bytes: self.bytes.load(Ordering::Relaxed),
            unpacked: self.unpacked.load(Ordering::Relaxed),
        }
    }

    /// Asks, hands every reply to `read`, and tries again as its faults say.
    ///
    /// # Errors
    /// [`SourceError`] of the last try.
    pub fn fetch<T>(
        &self,
        request: &Request,
        mut read: impl FnMut(&Reply) -> Result<T, Fault>,
    ) -> Result<T, SourceError> {
        let host = request.address.host().to_owned();
        let patience = self.settings.patience;
        let mut tries = 0;
        loop {
            if self.stopped() {
                return Err(SourceError::Stopped);
            }
            tries += 1;
            let fault = match self.once(request).and_then(|reply| {
                let got = read(&reply);
                if got.is_err() && reply.kept {
                    lock(&self.kept).forget(request.address.text());
                }
                got
            }) {
                Ok(got) => return Ok(got),
                Err(fault) => hide(fault, &request.secrets),
            };
            let Again::Soon(asked) = fault.again else {
                return Err(fault.into_error(&request.doing, &host, tries));
            };
            let share = lock(&self.jitter).share();
            match patience.pause(tries, asked, share) {
                Some(pause) if tries < patience.tries => self.sleep(pause)?,
                _ => return Err(fault.into_error(&request.doing, &host, tries)),
            }
        }
    }

    /// Waits, unless told to stop.
    ///
    /// # Errors
    /// [`SourceError::Stopped`] when told to stop.
    pub fn sleep(&self, pause: Duration) -> Result<(), SourceError> {
        match self.settings.stop.wait(pause) {
            true => Err(SourceError::Stopped),
            false => Ok(()),
        }
    }

    fn stopped(&self) -> bool {
        self.settings.stop.is_set()
    }

    /// One try, redirects included.
    fn once(&self, request: &Request) -> Result<Reply, Fault> {
        let start = Instant::now();
        let mut address = request.address.clone();
        for _ in 0..=REDIRECTS {
            let left = self.settings.whole.saturating_sub(start.elapsed());
            if left.is_zero() {
                return Err(Fault::soon(Why::Slow(self.settings.whole)));
            }
            match self.hop(request, &address, left)? {
                Hop::Reply(reply) => return Ok(reply),
                Hop::Redirect(location) => address = address.redirect(&location)?,
            }
        }
        Err(Fault::later(Why::Redirect(format!(
            "more than {REDIRECTS} in a row"
        ))))
    }

    /// One request and its reply.
    fn hop(&self, request: &Request, address: &Address, left: Duration) -> Result<Hop, Fault> {
        let fail = |error: ureq::Error| self.fault(error);
        let agent = self.agent()?;
        let user_agent = request
            .user_agent
            .as_ref()
            .unwrap_or(&self.settings.user_agent);
        let mut call = agent
            .get(address.text())
            .header(header::USER_AGENT, user_agent)
            .header(header::ACCEPT, request.accept)
            .header(header::ACCEPT_ENCODING, "gzip");
        if request.keep {
            for (name, value) in lock(&self.kept).conditions(address.text()) {
                call = call.header(name, value);
            }
        }
        let mut call = call
            .config()
            .timeout_global(Some(left))
            .timeout_connect(Some(self.settings.connect.min(left)));
        if address.is_loopback() {
            call = call.proxy(None);
        }
        self.requests.fetch_add(1, Ordering::Relaxed);
        let mut response = call.build().call().map_err(fail)?;
        let status = response.status().as_u16();
        let headers = response.headers().clone();
        if matches!(status, 301 | 302 | 303 | 307 | 308) {
            let location = text(&headers, header::LOCATION).unwrap_or_default();
            return Ok(Hop::Redirect(location));
        }
        if status == 304 {
            let kept = lock(&self.kept).still_good(address.text(), &headers);
            return kept.map(Hop::Reply);
        }
        let packed = self.take(response.body_mut().as_reader())?;
        self.bytes.fetch_add(packed.len() as u64, Ordering::Relaxed);
        let body = Arc::new(self.unpack(packed, &headers)?);
        self.unpacked
            .fetch_add(body.len() as u64, Ordering::Relaxed);
        let reply = reply(status, &headers, body, false);
        if request.keep && status == 200 {
            lock(&self.kept).keep(address.text(), &headers, &reply);
        }
        Ok(Hop::Reply(reply))
    }

    /// Reads a body up to the limit.
    fn take(&self, reader: impl Read) -> Result<Vec<u8>, Fault> {
        let limit = self.settings.bytes;
        let mut body = Vec::new();
        reader
            .take(limit.saturating_add(1))
            .read_to_end(&mut body)
            .map_err(|error| self.fault(ureq::Error::from(error)))?;
        if body.len() as u64 > limit {
            return Err(Fault::later(Why::TooLarge {
                limit,
                unpacked: false,
            }));
        }
        Ok(body)
    }

    /// Unpacks a body as its headers say.
    fn unpack(&self, packed: Vec<u8>, headers: &HeaderMap) -> Result<Vec<u8>, Fault> {
        let coding = text(headers, header::CONTENT_ENCODING).unwrap_or_default();
        match coding.trim().to_ascii_lowercase().as_str() {
            "" | "identity" => Ok(packed),
            "gzip" | "x-gzip" => gunzip(&packed, self.settings.unpacked),
            other => Err(Fault::later(Why::Unreadable(format!(
                "it is packed by \"{}\", which was not asked for",
                clean(other)
            )))),
        }
    }

    /// What a failure of the network means.
    fn fault(&self, error: ureq::Error) -> Fault {
        match error {
            ureq::Error::Timeout(ureq::Timeout::Connect) => {
                Fault::soon(Why::Slow(self.settings.connect))
            }
            ureq::Error::Timeout(_) => Fault::soon(Why::Slow(self.settings.whole)),
            ureq::Error::HostNotFound => Fault::soon(Why::NoHost),
            ureq::Error::Rustls(error) => encryption(&error),
            ureq::Error::Tls(what) => Fault::later(Why::Tls(what.to_owned())),
            ureq::Error::BadUri(_) | ureq::Error::Http(_) => {
                Fault::never(Why::Address("it is not written as one".to_owned()))
            }
            ureq::Error::InvalidProxyUrl => Fault::never(Why::Setting(
                "the proxy's address cannot be used".to_owned(),
            )),
            ureq::Error::Protocol(error) => Fault::soon(Why::Connection(clean(&error.to_string()))),
            ureq::Error::Io(error) => broken_connection(&error),
            other => Fault::soon(Why::Connection(clean(&other.to_string()))),
        }
    }

    /// The agent, made at the first request: reading the system's
    /// certificates takes some milliseconds.
    fn agent(&self) -> Result<&Agent, Fault> {
        if let Some(agent) = self.agent.get() {
            return Ok(agent);
        }
        let made = self.make_agent()?;
        Ok(self.agent.get_or_init(|| made))
    }

    fn make_agent(&self) -> Result<Agent, Fault> {
        let proxy = match &self.settings.proxy {
            ProxyChoice::Environment => Proxy::try_from_env(),
            ProxyChoice::None => None,
            ProxyChoice::Address(address) => Some(Proxy::new(address).map_err(|_| {
                Fault::never(Why::Setting(
                    "the proxy's address cannot be used".to_owned(),
                ))
            })?),
        };
        let tls = TlsConfig::builder()
            .provider(TlsProvider::Rustls)
            .unversioned_rustls_crypto_provider(Arc::new(rustls::crypto::ring::default_provider()))
            .root_certs(RootCerts::new_with_certs(&self.certificates()?))
            .build();
        let config = Config::builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .max_redirects_will_error(false)
            .proxy(proxy)
            .tls_config(tls)
            .max_idle_connections(4)
            .max_idle_connections_per_host(2)
            .max_idle_age(Duration::from_secs(15))
            .max_response_header_size(64 << 10)
            .build();
        Ok(config.new_agent())
    }

    fn certificates(&self) -> Result<Vec<Certificate<'static>>, Fault> {
        match &self.settings.trust {
            // Single certificates that cannot be read are left out: with none
            // at all every https request fails as not trusted, and says so.
            Trust::System => Ok(rustls_native_certs::load_native_certs()
                .certs
                .iter()
                .map(|der| Certificate::from_der(der).to_owned())
                .collect()),
            Trust::Only(pem) => {
                let mut certificates = Vec::new();
                for item in ureq::tls::parse_pem(pem) {
                    match item {
                        Ok(ureq::tls::PemItem::Certificate(certificate)) => {
                            certificates.push(certificate);
                        }
                        Ok(_) => {}
                        Err(_) => {
                            return Err(Fault::never(Why::Setting(
                                "the trusted certificates are not in PEM form".to_owned(),
                            )));
                        }
                    }
                }
                Ok(certificates)
            }
        }
    }
}

enum Hop {
    Reply(Reply),
    Redirect(String),
}

fn encryption(error: &rustls::Error) -> Fault {
    match error {
        rustls::Error::InvalidCertificate(what) => {
            Fault::later(Why::Certificate(clean(&what.to_string())))
        }
        other => Fault::later(Why::Tls(clean(&other.to_string()))),
    }
}

fn broken_connection(error: &io::Error) -> Fault {
    if let Some(inner) = error
        .get_ref()
        .and_then(|inner| inner.downcast_ref::<rustls::Error>())
    {
        return encryption(inner);
    }
    Fault::soon(Why::Connection(clean(&error.to_string())))
}

/// A lock whose holder panicked still holds plain data.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
