//! The tables `[desktop]` and `[email]` of `place.toml`: by which ways
//! messages leave.

use super::reader::Table;
use std::fmt;
use std::ops::Range;
use std::path::PathBuf;

/// By which ways messages leave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivery {
    /// As notifications on the desktop.
    pub desktop: bool,
    /// By e-mail.
    pub email: Option<Email>,
}

impl Default for Delivery {
    fn default() -> Self {
        Delivery {
            desktop: true,
            email: None,
        }
    }
}

/// How mail is handed over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Email {
    /// The mail server's name.
    pub server: String,
    /// Its port; `None` is the usual one of the encryption.
    pub port: Option<u16>,
    /// When TLS begins.
    pub encryption: Encryption,
    /// The user's name at the server and where the password is.
    pub account: Option<(String, PasswordFrom)>,
    /// A file of certificates that are trusted in place of the system's.
    pub ca_file: Option<PathBuf>,
    /// Who the mail is from.
    pub from: String,
    /// To whom it goes; at least one.
    pub to: Vec<String>,
}

/// When TLS begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encryption {
    /// At once.
    Tls,
    /// After the command STARTTLS, and never without it.
    StartTls,
    /// Never: for a relay on this same machine, without a password.
    None,
}

/// Words of the file for [`Encryption`].
const ENCRYPTIONS: [(Encryption, &str); 3] = [
    (Encryption::Tls, "tls"),
    (Encryption::StartTls, "starttls"),
    (Encryption::None, "none"),
];

/// Where the password is.
#[derive(Clone, PartialEq, Eq)]
pub enum PasswordFrom {
    /// A systemd credential, by name.
    Credential(String),
    /// A file that the owner alone may read.
    File(PathBuf),
    /// An environment variable.
    Variable(String),
    /// A program with its arguments.
    Command(Vec<String>),
    /// In plain view in the settings.
    Plain(String),
}

impl fmt::Debug for PasswordFrom {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PasswordFrom::Credential(name) => f.debug_tuple("Credential").field(name).finish(),
            PasswordFrom::File(path) => f.debug_tuple("File").field(path).finish(),
            PasswordFrom::Variable(name) => f.debug_tuple("Variable").field(name).finish(),
            // Its arguments may hold a secret.
            PasswordFrom::Command(_) => f.write_str("Command(hidden)"),
            PasswordFrom::Plain(_) => f.write_str("Plain(hidden)"),
        }
    }
}

/// The keys that say where a password is.
const PASSWORD_KEYS: [&str; 5] = [
    "password_credential",
    "password_file",
    "password_variable",
    "password_command",
    "password",
];

/// Something that works but ought to be mended: where, and what.
pub(super) type Warned = (Range<usize>, String, String);

/// Reads both tables from the root of `place.toml`.
pub(super) fn read(root: &Table<'_, '_>, warned: &mut Vec<Warned>) -> Delivery {
    let desktop = root.table("desktop").is_none_or(|table| {
        let show = table.flag("show", true);
        table.finish();
        show
    });
    let email = root.table("email").and_then(|table| {
        let email = email(&table, warned);
        table.finish();
        email
    });
    Delivery { desktop, email }
}

fn email(table: &Table<'_, '_>, warned: &mut Vec<Warned>) -> Option<Email> {
    let server = table.text("server", "mail.example.org");
    let port = table
        .maybe_whole("port", 1, 65_535)
        .and_then(|port| u16::try_from(port).ok());
    let encryption = table
        .maybe_choice("encryption", &ENCRYPTIONS)
        .unwrap_or(match port {
            Some(587) => Encryption::StartTls,
            _ => Encryption::Tls,
        });
    let user = table.maybe_text("user");
    let password = password(table, warned);
    let ca_file = table
        .maybe_text("ca_file")
        .and_then(|text| path(table, "ca_file", &text));
    let from = table.text("from", "Orchard <jo@example.org>");
    if let Some(from) = &from {
        address(table, "from", table.key_span("from"), from);
    }
    let to = to(table);
    let account = match (user, password) {
        (Some(user), Some(password)) => {
            if encryption == Encryption::None {
                table.fault(
                    "encryption",
                    "is \"none\", and a password would be sent for all to read; write \"tls\" or \
                     \"starttls\", or leave user and password out"
                        .to_owned(),
                );
            }
            Some((user, password))
        }
        (None, None) => None,
        (Some(_), None) => {
            if !PASSWORD_KEYS.iter().any(|key| table.has(key)) {
                table.fault(
                    "user",
                    "has no password; add one of password_file, password_credential, \
                     password_variable or password_command"
                        .to_owned(),
                );
            }
            None
        }
        (None, Some(_)) => {
            table.fault(
                "user",
                "is missing beside the password; write it as user = \"jo\"".to_owned(),
            );
            None
        }
    };
    Some(Email {
        server: server?,
        port,
        encryption,
        account,
        ca_file,
        from: from?,
        to,
    })
}

/// One address or a list of them.
fn to(table: &Table<'_, '_>) -> Vec<String> {
    if !table.has("to") {
        table.fault(
            "to",
            "is missing; write it as to = \"jo@example.org\"".to_owned(),
        );
        return Vec::new();
    }
    if table.is_text("to") {
        return table
            .text_at("to")
            .into_iter()
            .filter(|at| address(table, "to", at.span.clone(), &at.value))
            .map(|at| at.value)
            .collect();
    }
    let texts = table.texts("to");
    if texts.is_empty() {
        table.fault(
            "to",
            "names nobody; write it as to = [\"jo@example.org\"]".to_owned(),
        );
    }
    texts
        .into_iter()
        .filter(|at| address(table, "to", at.span.clone(), &at.value))
        .map(|at| at.value)
        .collect()
}

/// Whether a text can be an address, `jo@example.org` or
/// `Jo <jo@example.org>`; a fault if not. The channel parses it in full.
fn address(table: &Table<'_, '_>, key: &str, span: Range<usize>, text: &str) -> bool {
    let bare = match text.split_once('<') {
        Some((_, rest)) => rest.strip_suffix('>').unwrap_or(""),
        None => text,
    };
    let fits = bare.split_once('@').is_some_and(|(local, domain)| {
        let sound = |part: &str| {
            !part.is_empty()
                && !part
                    .chars()
                    .any(|c| c.is_whitespace() || c.is_control() || "<>,;@".contains(c))
        };
        sound(local) && sound(domain) && !domain.starts_with('.') && !domain.ends_with('.')
    });
    if !fits {
        table.fault_at(
            span,
            key,
            format!("\"{text}\" is no e-mail address; write it as \"jo@example.org\""),
        );
    }
    fits
}

/// Where the password is: exactly one of the keys.
fn password(table: &Table<'_, '_>, warned: &mut Vec<Warned>) -> Option<PasswordFrom> {
    let given: Vec<&str> = PASSWORD_KEYS
        .into_iter()
        .filter(|key| table.has(key))
        .collect();
    if let [first, second, ..] = given[..] {
        table.fault(
            second,
            format!("stands beside {first}; keep one of the two"),
        );
    }
    let credential = table.maybe_text("password_credential").filter(|name| {
        let sound = !name.contains('/') && name != "." && name != "..";
        if !sound {
            table.fault(
                "password_credential",
                format!("\"{name}\" is no name of a credential; it has no slashes"),
            );
        }
        sound
    });
    let file = table
        .maybe_text("password_file")
        .and_then(|text| path(table, "password_file", &text));
    let variable = table.maybe_text("password_variable");
    let command = table.words("password_command");
    if table.has("password_command") && command.first().is_none_or(String::is_empty) {
        table.fault(
            "password_command",
            "names no program; write it as password_command = [\"program\", \"argument\"]"
                .to_owned(),
        );
    }
    let plain = table.text_at("password");
    if let Some(at) = &plain {
        warned.push((
            at.span.clone(),
            "email.password".to_owned(),
            "anyone who can read this file can read the password; put it into a file of its own \
             (chmod 600) and name that as password_file"
                .to_owned(),
        ));
    }
    let command = (!command.is_empty()).then_some(command);
    credential
        .map(PasswordFrom::Credential)
        .or(file.map(PasswordFrom::File))
        .or(variable.map(PasswordFrom::Variable))
        .or(command.map(PasswordFrom::Command))
        .or(plain.map(|at| PasswordFrom::Plain(at.value)))
}

/// A path; one that begins with `~/` lies in the home folder.
fn path(table: &Table<'_, '_>, key: &str, text: &str) -> Option<PathBuf> {
    let path = match text.strip_prefix("~/") {
        Some(rest) => std::env::home_dir()
            .filter(|home| !home.as_os_str().is_empty())
            .map(|home| home.join(rest)),
        None => Some(PathBuf::from(text)),
    };
    match path {
        Some(path) if path.is_absolute() => Some(path),
        _ => {
            table.fault(
                key,
                format!(
                    "\"{text}\" does not say from where; write the whole path, from / or from ~/"
                ),
            );
            None
        }
    }
}
