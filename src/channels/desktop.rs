//! Messages as notifications on the desktop, by the freedesktop standard.
//!
//! notify-rust describes the notification; it is carried on one lasting bus
//! connection of our own. Two things were found by trying and make that
//! needful: a server may answer a button to the asking connection alone
//! (dunst does), and notify-rust opens a connection for each notification and
//! listens only after it is shown, so that a button pressed at once is lost.
//! Here the listening begins before the first notification.
//!
//! Numbers of notifications count only together with the server's own name on
//! the bus: after a restart of the server they begin anew and may belong to
//! another program.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use chrono::{DateTime, FixedOffset};
use futures_lite::StreamExt;
use notify_rust::{Hint, Notification, Timeout};
use tokio::sync::mpsc::{self, UnboundedReceiver, UnboundedSender};
use tokio::task::JoinHandle;
use zbus::message::{Flags, Type};
use zbus::{Connection, DynamicType, MatchRule, MessageStream, Variant};

use super::bus::{Fault, Kind, explain, silent};
use super::{Channel, ChannelError, Sending, Sent, lines, one_line};
use crate::render::message::{Message, Urgency};

const SERVER: &str = "org.freedesktop.Notifications";
const PATH: &str = "/org/freedesktop/Notifications";
const BUS: &str = "org.freedesktop.DBus";

/// Who speaks, on which bus, and how long a call may take.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DesktopConfig {
    /// The program's name as the desktop shows it.
    pub program: String,
    /// The name of its desktop entry without `.desktop`, if it has one.
    pub entry: Option<String>,
    /// An icon's name or `file://` address; may be empty.
    pub icon: String,
    /// The bus's address. Without one it is the session's own: what
    /// `DBUS_SESSION_BUS_ADDRESS` says, or else the user's bus, which is also
    /// the one that a systemd user service finds.
    pub address: Option<String>,
    /// How long each call on the bus may take.
    pub limit: Duration,
}

/// A button that the keeper pressed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pressed {
    /// The key of the message.
    pub message: String,
    /// The key of the action.
    pub action: String,
}

/// Shows messages on the desktop.
#[derive(Debug)]
pub struct Desktop {
    config: DesktopConfig,
    shown: Arc<Mutex<Shown>>,
    pressed: UnboundedSender<Pressed>,
    link: Option<Link>,
}

/// The connection, its listener, and what is known of the server.
#[derive(Debug)]
struct Link {
    connection: Connection,
    listener: JoinHandle<()>,
    server: Option<Server>,
}

impl Drop for Link {
    fn drop(&mut self) {
        self.listener.abort();
    }
}

/// A running notification server.
#[derive(Clone, Debug)]
struct Server {
    /// Its own name on the bus, which no later server has.
    name: String,
    capabilities: Vec<String>,
}

impl Server {
    fn can(&self, capability: &str) -> bool {
        self.capabilities.iter().any(|known| known == capability)
    }
}

/// What stands on the screen: a server's name and number, and whose message.
#[derive(Debug, Default)]
struct Shown {
    messages: HashMap<(String, u32), String>,
    /// Signals that came while the number of a new notification was on its
    /// way to us.
    early: Vec<(String, Signal)>,
    asking: bool,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Signal {
    Action(u32, String),
    Closed(u32),
}

impl Signal {
    fn number(&self) -> u32 {
        match self {
            Signal::Action(number, _) | Signal::Closed(number) => *number,
        }
    }
}

/// More early signals than can be ours.
const MOST_EARLY: usize = 64;

impl Shown {
    /// The number under which a message stands on the screen of a server.
    fn number(&self, server: &str, key: &str) -> Option<u32> {
        self.messages
            .iter()
            .find(|((name, _), shown)| name == server && *shown == key)
            .map(|((_, number), _)| *number)
    }

    /// Takes in a signal; says which button of which message was pressed.
    fn take(&mut self, server: &str, signal: Signal) -> Option<Pressed> {
        let at = (server.to_owned(), signal.number());
        if !self.messages.contains_key(&at) {
            if self.asking && self.early.len() < MOST_EARLY {
                self.early.push((server.to_owned(), signal));
            }
            return None;
        }
        let message = self.messages.remove(&at)?;
        match signal {
            Signal::Action(_, action) => Some(Pressed { message, action }),
            Signal::Closed(_) => None,
        }
    }

    /// A new notification got its number; says what was pressed meanwhile.
    fn add(&mut self, server: &str, number: u32, key: &str) -> Option<Pressed> {
        self.messages.retain(|_, shown| shown != key);
        self.messages
            .insert((server.to_owned(), number), key.to_owned());
        self.asking = false;
        std::mem::take(&mut self.early)
            .into_iter()
            .filter(|(name, signal)| name == server && signal.number() == number)
            .find_map(|(name, signal)| self.take(&name, signal))
    }
}

impl Desktop {
    /// A channel to the desktop, and where the pressed buttons come out. The
    /// bus is looked for when something is to be shown.
    pub fn new(config: DesktopConfig) -> (Self, UnboundedReceiver<Pressed>) {
        let (pressed, receiver) = mpsc::unbounded_channel();
        let desktop = Desktop {
            config,
            shown: Arc::default(),
            pressed,
            link: None,
        };
        (desktop, receiver)
    }

    async fn show(&mut self, message: &Message) -> Result<Sent, ChannelError> {
        let mut shown = self.try_to_show(message).await;
        // The bus may have gone and come again since the last message.
        if shown
            .as_ref()
            .is_err_and(|fault| fault.kind == Kind::Broken)
        {
            self.link = None;
            shown = self.try_to_show(message).await;
        }
        shown.map_err(|fault| {
            if fault.kind == Kind::Broken {
                self.link = None;
            }
            ChannelError {
                doing: format!("showing \"{}\"", one_line(&message.title)),
                to: match &self.config.address {
                    Some(address) => format!("on the desktop at {address}"),
                    None => "on the desktop".to_owned(),
                },
                cause: fault.cause,
                again: fault.again,
            }
        })
    }

    async fn try_to_show(&mut self, message: &Message) -> Result<Sent, Fault> {
        let limit = self.config.limit;
        if self
            .link
            .as_ref()
            .is_some_and(|link| link.listener.is_finished())
        {
            self.link = None;
        }
        let link = match self.link.take() {
            Some(link) => link,
            None => self.connect().await?,
        };
        let link = self.link.insert(link);
        let server = link.server(limit).await?;
        let replaced = {
            let mut shown = lock(&self.shown);
            shown.asking = true;
            shown.early.clear();
            shown.number(&server.name, &message.key).unwrap_or(0)
        };
        let asked = notify(link, limit, &self.config, &server, replaced, message).await;
        let number = match asked {
            Ok(number) => number,
            Err(fault) => {
                lock(&self.shown).asking = false;
                return Err(fault);
            }
        };
        let at_once = lock(&self.shown).add(&server.name, number, &message.key);
        if let Some(pressed) = at_once {
            close(&link.connection, &server.name, number).await;
            let _ = self.pressed.send(pressed);
        }
        let without = (!message.actions.is_empty() && !server.can("actions"))
            .then(|| "buttons: this desktop shows none".to_owned());
        Ok(Sent {
            to: "the desktop".to_owned(),
            id: number.to_string(),
            without,
        })
    }

    /// Connects and begins to listen.
    async fn connect(&self) -> Result<Link, Fault> {
        let builder = match &self.config.address {
            Some(address) => zbus::connection::Builder::address(address.as_str()),
            None => zbus::connection::Builder::session(),
        };
        let connect = async {
            let connection = builder.build().await?;
            let rule = MatchRule::builder()
                .msg_type(Type::Signal)
                .interface(SERVER)
                .build()?;
            let signals = MessageStream::for_match_rule(rule, &connection, None).await?;
            Ok((connection, signals))
        };
        let (connection, signals) = match tokio::time::timeout(self.config.limit, connect).await {
            Err(_) => return Err(silent("the session bus", self.config.limit)),
            Ok(Err(error)) => return Err(explain(&error)),
            Ok(Ok(both)) => both,
        };
        let listener = tokio::spawn(listen(
            signals,
            connection.clone(),
            Arc::clone(&self.shown),
            self.pressed.clone(),
        ));
        Ok(Link {
            connection,
            listener,
            server: None,
        })
    }
}

impl Channel for Desktop {
    fn name(&self) -> &'static str {
        "desktop"
    }

    fn send<'a>(&'a mut self, message: &'a Message, _: DateTime<FixedOffset>) -> Sending<'a> {
        Box::pin(self.show(message))
    }
}

impl Link {
    /// A call under a time limit.
    async fn call(
        &self,
        limit: Duration,
        to: &str,
        path: &str,
        interface: &str,
        method: &str,
        body: &(impl serde::Serialize + DynamicType),
    ) -> Result<zbus::Message, Fault> {
        let call = self
            .connection
            .call_method(Some(to), path, Some(interface), method, body);
        match tokio::time::timeout(limit, call).await {
            Err(_) if to == BUS => Err(silent("the session bus", limit)),
            Err(_) => Err(silent("the notification server", limit)),
            Ok(Err(error)) => Err(explain(&error)),
            Ok(Ok(reply)) => Ok(reply),
        }
    }

    /// The server that runs now, or is started by the asking, and what it can.
    async fn server(&mut self, limit: Duration) -> Result<Server, Fault> {
        let owner = self
            .call(
                limit,
                BUS,
                "/org/freedesktop/DBus",
                BUS,
                "GetNameOwner",
                &SERVER,
            )
            .await;
        let owner = match owner {
            Ok(reply) => reply.body().deserialize::<String>().ok(),
            // The next call starts it, where the bus knows how.
            Err(fault) if fault.kind == Kind::Nobody => None,
            Err(fault) => return Err(fault),
        };
        if let (Some(owner), Some(known)) = (&owner, &self.server)
            && *owner == known.name
        {
            return Ok(known.clone());
        }
        let reply = self
            .call(limit, SERVER, PATH, SERVER, "GetCapabilities", &())
            .await?;
        let capabilities = reply
            .body()
            .deserialize::<Vec<String>>()
            .map_err(|error| explain(&error))?;
        let name = match reply.header().sender() {
            Some(sender) => sender.to_string(),
            None => owner.unwrap_or_else(|| SERVER.to_owned()),
        };
        let server = Server { name, capabilities };
        self.server = Some(server.clone());
        Ok(server)
    }
}

/// Asks the server to show the message; its number there.
async fn notify(
    link: &Link,
    limit: Duration,
    config: &DesktopConfig,
    server: &Server,
    replaced: u32,
    message: &Message,
) -> Result<u32, Fault> {
    let notification = describe(config, server, message);
    let mut hints: HashMap<&str, Variant<'_>> = notification.hints.iter().map(Into::into).collect();
    if server.can("x-dunst-stack-tag") {
        // It replaces even what an earlier run of ours has shown.
        hints.insert("x-dunst-stack-tag", Variant::from(message.key.as_str()));
    }
    let body = (
        notification.appname.as_str(),
        replaced,
        notification.icon.as_str(),
        notification.summary.as_str(),
        notification.body.as_str(),
        &notification.actions,
        hints,
        i32::from(notification.timeout),
    );
    let reply = link
        .call(limit, &server.name, PATH, SERVER, "Notify", &body)
        .await?;
    reply
        .body()
        .deserialize::<u32>()
        .map_err(|error| explain(&error))
}

/// The notification as the standard has it, within what the server can show.
fn describe(config: &DesktopConfig, server: &Server, message: &Message) -> Notification {
    let mut notification = Notification::new();
    notification
        .appname(&config.program)
        .icon(&config.icon)
        .summary(&one_line(&message.title))
        .urgency(match message.urgency {
            Urgency::Low => notify_rust::Urgency::Low,
            Urgency::Normal => notify_rust::Urgency::Normal,
            Urgency::High => notify_rust::Urgency::Critical,
        })
        .timeout(match message.urgency {
            Urgency::High => Timeout::Never,
            Urgency::Low | Urgency::Normal => Timeout::Default,
        });
    if let Some(entry) = &config.entry {
        notification.hint(Hint::DesktopEntry(entry.clone()));
    }
    if server.can("body") {
        let text = lines(&message.text);
        let text = text.trim();
        if server.can("body-markup") {
            notification.body(&escaped(text));
        } else {
            notification.body(text);
        }
    }
    if server.can("actions") {
        for (key, label) in &message.actions {
            notification.action(&one_line(key), &one_line(label));
        }
    }
    notification
}

/// Plain text for a server that reads markup.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// Listens until the bus goes.
async fn listen(
    mut signals: MessageStream,
    connection: Connection,
    shown: Arc<Mutex<Shown>>,
    pressed: UnboundedSender<Pressed>,
) {
    // One stream for both signals: a press and the closing that follows it
    // must not overtake each other.
    while let Some(Ok(message)) = signals.next().await {
        let header = message.header();
        let (Some(sender), Some(member)) = (header.sender(), header.member()) else {
            continue;
        };
        let body = message.body();
        let signal = match member.as_str() {
            "ActionInvoked" => body
                .deserialize::<(u32, String)>()
                .map(|(number, action)| Signal::Action(number, action)),
            "NotificationClosed" => body
                .deserialize::<(u32, u32)>()
                .map(|(number, _)| Signal::Closed(number)),
            _ => continue,
        };
        let Ok(signal) = signal else { continue };
        let number = signal.number();
        let done = lock(&shown).take(sender, signal);
        if let Some(done) = done {
            // First: a message that answers the press must not be closed.
            close(&connection, sender, number).await;
            let _ = pressed.send(done);
        }
    }
}

/// Takes a notification off the screen; some servers leave it there after a
/// button was pressed. Nobody waits for the answer.
async fn close(connection: &Connection, server: &str, number: u32) {
    let call = zbus::Message::method_call(PATH, "CloseNotification")
        .destination(server)
        .interface(SERVER)
        .with_flags(Flags::NO_REPLY_EXPECTED)
        .build(&number);
    if let Ok(call) = call {
        let _ = connection.send(&call).await;
    }
}

/// A panic elsewhere does not make the list unusable.
fn lock(shown: &Mutex<Shown>) -> MutexGuard<'_, Shown> {
    shown.lock().unwrap_or_else(PoisonError::into_inner)
}
