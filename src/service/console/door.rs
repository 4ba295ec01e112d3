//! The sockets: uploads by HTTP, broadcasts by UDP.

use super::{Came, What, upload};
use crate::config::weather::{Way, is_near};
use crate::sources::console::{Form, Refused, on_time, read_broadcast};
use chrono::{DateTime, TimeDelta, Utc};
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::{TcpListener, UdpSocket};
use tokio::sync::Semaphore;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::task::JoinHandle;

/// Readings that wait while the service makes a round.
const WAITING: usize = 64;

/// Uploads at a time.
const AT_ONCE: usize = 16;

/// An upload that is not done by then is slower than any console.
const LIMIT: Duration = Duration::from_secs(10);

/// The next try to open the door: soon after a reload, then each minute.
const SOON: Duration = Duration::from_secs(1);
const LATER: Duration = Duration::from_secs(60);

/// A datagram is smaller.
const DATAGRAM: usize = 4_096;

/// After so long without a word of the first sender another one is heard: its
/// address may have changed. Minutes.
const FIRST_SENDER_MIN: i64 = 10;

/// Who is heard, and how.
#[derive(Clone)]
pub struct Hears {
    /// Where and by which way.
    pub way: Way,
    /// Who may send; any address of the local network where empty.
    pub from: Vec<IpAddr>,
    /// What the keeper said of the console.
    pub form: Form,
    /// The time of arrival.
    pub clock: Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>,
    /// How long an upload may take, unless ten seconds.
    pub limit: Option<Duration>,
}

/// A door that is open, or tried again and again.
#[derive(Debug)]
pub struct Door {
    came: Receiver<Came>,
    task: JoinHandle<()>,
}

impl Door {
    /// Opens it within a tokio runtime. It closes when this is dropped.
    pub fn open(hears: Hears) -> Self {
        let (sender, came) = channel(WAITING);
        let ear = Arc::new(Ear {
            hears,
            sender,
            first: Mutex::new(None),
        });
        Door {
            came,
            task: tokio::spawn(ear.stand()),
        }
    }

    /// What comes next; never, once it cannot be any more.
    pub async fn next(&mut self) -> Came {
        match self.came.recv().await {
            Some(came) => came,
            None => std::future::pending().await,
        }
    }
}

impl Door {
    /// What came and was not asked for yet.
    pub fn rest(&mut self) -> Vec<Came> {
        let mut rest = Vec::new();
        while let Ok(came) = self.came.try_recv() {
            rest.push(came);
        }
        rest
    }
}

impl Drop for Door {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// What the sockets share.
pub(super) struct Ear {
    hears: Hears,
    sender: Sender<Came>,
    /// The sender that is heard, and when it last was.
    first: Mutex<Option<(IpAddr, DateTime<Utc>)>>,
}

impl Ear {
    /// Opens the socket and stays; where it cannot be opened, tries again.
    async fn stand(self: Arc<Self>) {
        let mut tried = 0_u32;
        loop {
            let failed = match &self.hears.way {
                Way::Upload { listen, .. } => match TcpListener::bind(listen).await {
                    Ok(listener) => self.uploads(&listener).await,
                    Err(error) => error,
                },
                Way::Broadcast(at) => match UdpSocket::bind(at).await {
                    Ok(socket) => self.broadcasts(&socket).await,
                    Err(error) => error,
                },
            };
            tried = tried.saturating_add(1);
            if tried > 1 {
                let why = format!("{}: {failed}", self.address());
                self.put(What::Shut(why)).await;
            }
            tokio::time::sleep(if tried > 1 { LATER } else { SOON }).await;
        }
    }

    fn address(&self) -> SocketAddr {
        match &self.hears.way {
            Way::Upload { listen, .. } => *listen,
            Way::Broadcast(at) => *at,
        }
    }

    async fn uploads(self: &Arc<Self>, listener: &TcpListener) -> io::Error {
        let at = match listener.local_addr() {
            Ok(at) => at,
            Err(error) => return error,
        };
        self.put(What::Open(at.to_string())).await;
        let places = Arc::new(Semaphore::new(AT_ONCE));
        loop {
            let (stream, from) = match listener.accept().await {
                Ok(accepted) => accepted,
                // No files left, or the caller is gone: a moment later it may
                // be better.
                Err(_) => {
                    tokio::time::sleep(SOON).await;
                    continue;
                }
            };
            if !self.lets_in(from.ip()) {
                self.try_put(What::TurnedAway(from.ip()));
                continue;
            }
            // Beyond that it is no console.
            let Ok(place) = Arc::clone(&places).try_acquire_owned() else {
                continue;
            };
            let ear = Arc::clone(self);
            let limit = self.hears.limit.unwrap_or(LIMIT);
            tokio::spawn(async move {
                let done = tokio::time::timeout(limit, upload::serve(stream, from.ip(), &ear));
                if done.await.is_err() {
                    ear.try_put(What::Strange("it was not done in time"));
                }
                drop(place);
            });
        }
    }

    async fn broadcasts(&self, socket: &UdpSocket) -> io::Error {
        let at = match socket.local_addr() {
            Ok(at) => at,
            Err(error) => return error,
        };
        self.put(What::Open(at.to_string())).await;
        let mut buffer = vec![0; DATAGRAM];
        loop {
            let (length, from) = match socket.recv_from(&mut buffer).await {
                Ok(received) => received,
                Err(_) => {
                    tokio::time::sleep(SOON).await;
                    continue;
                }
            };
            if !self.lets_in(from.ip()) {
                self.try_put(What::TurnedAway(from.ip()));
                continue;
            }
            match read_broadcast(buffer.get(..length).unwrap_or_default()) {
                Ok(readings) if readings.is_empty() => {}
                Ok(_) if !self.is_first(from.ip()) => {
                    self.try_put(What::Second(from.ip()));
                }
                Ok(readings) => {
                    for reading in readings {
                        self.try_put(match on_time(&reading, (self.hears.clock)()) {
                            Ok(()) => What::Reading(reading),
                            Err(refused) => What::Refused(refused),
                        });
                    }
                }
                Err(refused) => {
                    self.try_put(What::Refused(refused));
                }
            }
        }
    }

    fn lets_in(&self, from: IpAddr) -> bool {
        let from = from.to_canonical();
        match self.hears.from.as_slice() {
            [] => is_near(from),
            named => named.contains(&from),
        }
    }

    /// Whether it is the sender that is heard: readings of two stations must
    /// not be mixed.
    pub fn is_first(&self, from: IpAddr) -> bool {
        let now = (self.hears.clock)();
        let mut first = self.first.lock().unwrap_or_else(PoisonError::into_inner);
        let other = first.is_some_and(|(known, at)| {
            known != from && (now - at).abs() < TimeDelta::minutes(FIRST_SENDER_MIN)
        });
        if !other {
            *first = Some((from, now));
        }
        !other
    }

    pub fn path(&self) -> &str {
        match &self.hears.way {
            Way::Upload { path, .. } => path,
            Way::Broadcast(_) => "",
        }
    }

    pub fn form(&self) -> &Form {
        &self.hears.form
    }

    pub fn now(&self) -> DateTime<Utc> {
        (self.hears.clock)()
    }

    async fn put(&self, what: What) {
        let arrived = self.now();
        // Nobody listens any more: the task ends with its door.
        let _ = self.sender.send(Came { arrived, what }).await;
    }

    /// Hands on what came; `false` where too much waits already.
    pub fn try_put(&self, what: What) -> bool {
        let arrived = self.now();
        self.sender.try_send(Came { arrived, what }).is_ok()
    }

    /// Hands on that nothing is taken, and why.
    pub fn refuse(&self, refused: Refused) {
        self.try_put(What::Refused(refused));
    }
}
