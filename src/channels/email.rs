//! Messages by e-mail, handed to the keeper's own mail server.
//!
//! The connection is encrypted before anything is said on it, or nothing is
//! sent: a password never leaves in the clear. Each mail has a connection of
//! its own; a few in a week do not need more.

use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, FixedOffset};
use lettre::message::Mailbox;
use lettre::transport::smtp::authentication::{Credentials, Mechanism};
use lettre::transport::smtp::client::{
    AsyncSmtpConnection, Certificate, CertificateStore, TlsParameters,
};
use lettre::transport::smtp::extension::ClientId;
use tokio::time::{Instant, timeout_at};

use super::letter::{letter, message_id};
use super::password::Password;
use super::smtp::{Fault, Step, explain, too_slow};
use super::{Again, Channel, ChannelError, Sending, Sent, one_line};
use crate::render::message::Message;

/// Which server, whose account, from whom and to whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EmailConfig {
    /// The server's name, as its certificate has it.
    pub server: String,
    /// Its port; see [`Encryption::usual_port`].
    pub port: u16,
    /// When TLS begins.
    pub encryption: Encryption,
    /// User and password, if the server wants them.
    pub account: Option<Account>,
    /// A file of certificates (PEM) that are trusted in place of the system's.
    pub ca_file: Option<PathBuf>,
    /// Who the mail is from: `jo@example.org` or `Orchard <jo@example.org>`.
    pub from: String,
    /// To whom it goes, written alike; at least one.
    pub to: Vec<String>,
    /// How long one send may take in all.
    pub limit: Duration,
}

/// The account at the mail server.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// The user's name there.
    pub user: String,
    /// Where the password is.
    pub password: Password,
}

/// When TLS begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encryption {
    /// At once (RFC 8314 prefers it), usually port 465.
    Implicit,
    /// After the command STARTTLS, usually port 587; without it nothing is
    /// sent.
    StartTls,
    /// Never: for a relay on this same machine, and never with a password.
    None,
}

impl Encryption {
    /// The port on which servers usually offer it.
    pub fn usual_port(self) -> u16 {
        match self {
            Encryption::Implicit => 465,
            Encryption::StartTls => 587,
            Encryption::None => 25,
        }
    }
}

/// How long the farewell after a delivered mail may take.
const FAREWELL: Duration = Duration::from_secs(2);

/// Sends messages by e-mail.
#[derive(Clone, Debug)]
pub struct Email {
    config: EmailConfig,
    from: Mailbox,
    to: Vec<Mailbox>,
}

impl Email {
    /// A channel with checked addresses. Server, password and certificates are
    /// looked at when something is sent.
    ///
    /// # Errors
    /// [`Again::Told`] if an address is none, nobody is addressed, or a
    /// password would have to go unencrypted.
    pub fn new(config: EmailConfig) -> Result<Self, ChannelError> {
        let told = |cause: String| ChannelError {
            doing: "setting up e-mail".to_owned(),
            to: format!("through {}:{}", config.server, config.port),
            cause,
            again: Again::Told,
        };
        let read = |address: &String| {
            address
                .parse::<Mailbox>()
                .map_err(|_| told(format!("\"{}\" is no address", one_line(address))))
        };
        let from = read(&config.from)?;
        let to = config.to.iter().map(read).collect::<Result<Vec<_>, _>>()?;
        if to.is_empty() {
            return Err(told("nobody is named to send to".to_owned()));
        }
        if config.encryption == Encryption::None && config.account.is_some() {
            return Err(told(
                "a password is never sent without TLS: choose STARTTLS or TLS from the start"
                    .to_owned(),
            ));
        }
        Ok(Email { config, from, to })
    }

    /// The Message-ID that a message has or will have.
    pub fn message_id(&self, message: &Message) -> String {
        message_id(message, &self.from)
    }

    /// The mail as it would be handed over, headers and all.
    ///
    /// # Errors
    /// [`Again::Never`] if no mail can be made of the message.
    pub fn mail(
        &self,
        message: &Message,
        written: DateTime<FixedOffset>,
    ) -> Result<Vec<u8>, ChannelError> {
        self.letter(message, written)
            .map(|letter| letter.formatted())
    }

    fn letter(
        &self,
        message: &Message,
        written: DateTime<FixedOffset>,
    ) -> Result<lettre::Message, ChannelError> {
        letter(message, written, &self.from, &self.to).map_err(|cause| {
            let fault = Fault {
                cause: format!("no mail can be made of it ({cause})"),
                again: Again::Never,
            };
            self.error(message, fault)
        })
    }

    fn error(&self, message: &Message, fault: Fault) -> ChannelError {
        ChannelError {
            doing: format!("sending \"{}\" by e-mail", one_line(&message.title)),
            to: self.route(),
            cause: fault.cause,
            again: fault.again,
        }
    }

    fn route(&self) -> String {
        let to: Vec<String> = self.to.iter().map(|to| to.email.to_string()).collect();
        format!(
            "to {} through {}:{}",
            to.join(", "),
            self.config.server,
            self.config.port
        )
    }

    async fn deliver(
        &self,
        message: &Message,
        written: DateTime<FixedOffset>,
    ) -> Result<Sent, ChannelError> {
        let letter = self.letter(message, written)?;
        match self.hand_over(&letter).await {
            Ok(()) => Ok(Sent {
                to: self.route(),
                id: self.message_id(message),
                without: None,
            }),
            Err(fault) => Err(self.error(message, fault)),
        }
    }

    /// Password, connection, TLS, login, mail: one time limit over all.
    async fn hand_over(&self, letter: &lettre::Message) -> Result<(), Fault> {
        let end = Instant::now() + self.config.limit;
        let account = match &self.config.account {
            None => None,
            Some(account) => {
                let password = timeout_at(end, account.password.read())
                    .await
                    .map_err(|_| self.late(Step::Password))?
                    .map_err(Fault::told)?;
                Some((account.user.as_str(), password))
            }
        };
        let done = self
            .converse(
                end,
                letter,
                account
                    .as_ref()
                    .map(|(user, secret)| (*user, secret.expose())),
            )
            .await;
        done.map_err(|mut fault| {
            // A server may repeat what it was told.
            if let Some((_, secret)) = &account {
                fault.cause = fault.cause.replace(secret.expose(), "(the password)");
            }
            fault
        })
    }

    async fn converse(
        &self,
        end: Instant,
        letter: &lettre::Message,
        account: Option<(&str, &str)>,
    ) -> Result<(), Fault> {
        let hello = ClientId::default();
        let implicit = self.config.encryption == Encryption::Implicit;
        let tls = match self.config.encryption {
            Encryption::None => None,
            _ => Some(self.tls()?),
        };
        let first = if implicit { tls.clone() } else { None };
        let address = (self.config.server.as_str(), self.config.port);
        // A part of the whole for each of the server's addresses: a dead one must
        // leave time for the next.
        let connect = AsyncSmtpConnection::connect_tokio1(
            address,
            Some(self.config.limit / 3),
            &hello,
            first,
            None,
        );
        let mut server = self.step(end, Step::Connecting, connect).await?;

        if let (Some(tls), false) = (tls, implicit) {
            if !server.can_starttls() {
                return Err(Fault::told(
                    "the server does not offer STARTTLS, and unencrypted nothing is sent; if this \
                     port begins with TLS (usually 465), the settings must say so",
                ));
            }
            self.step(end, Step::Encrypting, server.starttls(tls, &hello))
                .await?;
        }
        if let Some((user, password)) = account {
            let credentials = Credentials::new(user.to_owned(), password.to_owned());
            let login = server.auth(&[Mechanism::Plain, Mechanism::Login], &credentials);
            self.step(end, Step::LoggingIn, login).await?;
        }
        let mail = letter.formatted();
        self.step(
            end,
            Step::HandingOver,
            server.send(letter.envelope(), &mail),
        )
        .await?;
        // The mail is taken; how the farewell goes does not matter.
        let _ = tokio::time::timeout(FAREWELL, server.quit()).await;
        Ok(())
    }

    /// One step of the talk with the server, under the common time limit.
    async fn step<T>(
        &self,
        end: Instant,
        step: Step,
        doing: impl Future<Output = Result<T, lettre::transport::smtp::Error>>,
    ) -> Result<T, Fault> {
        match timeout_at(end, doing).await {
            Err(_) => Err(self.late(step)),
            Ok(Err(error)) => {
                let user = self.config.account.as_ref().map_or("", |own| &own.user);
                Err(explain(step, &self.config.server, user, &error))
            }
            Ok(Ok(done)) => Ok(done),
        }
    }

    fn late(&self, step: Step) -> Fault {
        let implicit = self.config.encryption == Encryption::Implicit;
        too_slow(step, self.config.limit.as_secs_f32(), implicit)
    }

    /// Whom to trust: the own CA file alone, or else the system's.
    fn tls(&self) -> Result<TlsParameters, Fault> {
        let mut builder = TlsParameters::builder(self.config.server.clone());
        if let Some(path) = &self.config.ca_file {
            let shown = path.display();
            let pem = std::fs::read(path).map_err(|error| {
                Fault::told(format!("cannot read the CA file {shown}: {error}"))
            })?;
            let no_certificate = || {
                Fault::told(format!(
                    "the CA file {shown} holds no certificate in PEM form"
                ))
            };
            if !String::from_utf8_lossy(&pem).contains("BEGIN CERTIFICATE") {
                return Err(no_certificate());
            }
            let certificate = Certificate::from_pem(&pem).map_err(|_| no_certificate())?;
            builder = builder
                .certificate_store(CertificateStore::None)
                .add_root_certificate(certificate);
        }
        builder
            .build()
            .map_err(|error| Fault::told(format!("cannot prepare TLS ({error})")))
    }
}

impl Channel for Email {
    fn name(&self) -> &'static str {
        "e-mail"
    }

    fn send<'a>(&'a mut self, message: &'a Message, written: DateTime<FixedOffset>) -> Sending<'a> {
        Box::pin(self.deliver(message, written))
    }
}
