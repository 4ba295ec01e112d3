//! The channels that the settings ask for.

use crate::channels::desktop::{Desktop, DesktopConfig, Pressed};
use crate::channels::email::{Account, Email, EmailConfig, Encryption};
use crate::channels::password::{Password, Secret};
use crate::channels::terminal::{Terminal, TerminalConfig};
use crate::channels::{Channel, ChannelError};
use crate::config::delivery::{self, Delivery, PasswordFrom};
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::mpsc::UnboundedReceiver;

/// How long a call on the bus may take.
const BUS_LIMIT: Duration = Duration::from_secs(5);

/// How long one e-mail may take in all.
const MAIL_LIMIT: Duration = Duration::from_secs(60);

/// How long a program may take to print a password.
const PASSWORD_LIMIT: Duration = Duration::from_secs(20);

/// The ways out.
pub struct Post {
    /// Each that is asked for; the log where none is.
    pub channels: Vec<Box<dyn Channel>>,
    /// Where the pressed buttons come out, with a desktop.
    pub presses: Option<UnboundedReceiver<Pressed>>,
    /// Ways that are asked for and cannot be set up.
    pub troubles: Vec<ChannelError>,
}

/// Sets up the channels. Nothing is connected yet.
pub fn open(delivery: &Delivery) -> Post {
    let mut post = Post {
        channels: Vec::new(),
        presses: None,
        troubles: Vec::new(),
    };
    if delivery.desktop {
        let (desktop, presses) = Desktop::new(DesktopConfig {
            program: "budtide".to_owned(),
            entry: None,
            icon: String::new(),
            address: None,
            limit: BUS_LIMIT,
        });
        post.channels.push(Box::new(desktop));
        post.presses = Some(presses);
    }
    if let Some(settings) = &delivery.email {
        match Email::new(email(settings)) {
            Ok(email) => post.channels.push(Box::new(email)),
            Err(error) => post.troubles.push(error),
        }
    }
    if post.channels.is_empty() {
        let config = TerminalConfig {
            to: "the service's log".to_owned(),
            actions: false,
        };
        post.channels
            .push(Box::new(Terminal::new(config, std::io::stdout())));
    }
    post
}

fn email(settings: &delivery::Email) -> EmailConfig {
    let encryption = match settings.encryption {
        delivery::Encryption::Tls => Encryption::Implicit,
        delivery::Encryption::StartTls => Encryption::StartTls,
        delivery::Encryption::None => Encryption::None,
    };
    EmailConfig {
        server: settings.server.clone(),
        port: settings.port.unwrap_or(encryption.usual_port()),
        encryption,
        account: settings.account.as_ref().map(|(user, from)| Account {
            user: user.clone(),
            password: password(from),
        }),
        ca_file: settings.ca_file.clone(),
        from: settings.from.clone(),
        to: settings.to.clone(),
        limit: MAIL_LIMIT,
    }
}

fn password(from: &PasswordFrom) -> Password {
    match from {
        // Where systemd puts it; outside of it the file is missing, and the
        // error names this path.
        PasswordFrom::Credential(name) => Password::Credential(
            std::env::var_os("CREDENTIALS_DIRECTORY")
                .map_or_else(|| PathBuf::from("$CREDENTIALS_DIRECTORY"), PathBuf::from)
                .join(name),
        ),
        PasswordFrom::File(path) => Password::File(path.clone()),
        PasswordFrom::Variable(name) => Password::Environment(name.clone()),
        PasswordFrom::Command(words) => Password::Command {
            words: words.clone(),
            limit: PASSWORD_LIMIT,
        },
        PasswordFrom::Plain(text) => Password::Given(Secret::new(text.clone())),
    }
}
