//! E-mail against a real mail server (aiosmtpd) with TLS and login on
//! loopback; what arrives is read back by Python's own email package.

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

use budtide::channels::email::{Account, Email, EmailConfig, Encryption};
use budtide::channels::password::{Password, Secret};
use budtide::channels::{Again, Channel, ChannelError, Sent};
use serde_json::Value;

use super::{have, message, moment, on_one_thread, skipped};

pub struct MailServer {
    child: Child,
    commands: ChildStdin,
    answers: BufReader<ChildStdout>,
    ports: HashMap<String, u16>,
    folder: tempfile::TempDir,
}

impl Drop for MailServer {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl MailServer {
    pub fn start() -> Option<Self> {
        if !have(&["openssl", "python3"]) {
            return None;
        }
        let knows = |python: &&str| {
            Command::new(python)
                .args(["-c", "import aiosmtpd"])
                .stderr(Stdio::null())
                .status()
                .is_ok_and(|end| end.success())
        };
        // Debian's package belongs to Debian's own Python.
        let Some(python) = ["python3", "/usr/bin/python3"].into_iter().find(knows) else {
            skipped("python3-aiosmtpd");
            return None;
        };
        let folder = tempfile::tempdir().unwrap();
        let script = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/fixtures/channels/mail_server.py"
        );
        let mut child = Command::new(python)
            .arg(script)
            .arg(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let commands = child.stdin.take().unwrap();
        let mut answers = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        answers.read_line(&mut line).unwrap();
        let ports = serde_json::from_str(&line).expect("the mail server's ports");
        Some(MailServer {
            child,
            commands,
            answers,
            ports,
            folder,
        })
    }

    pub fn ask(&mut self, command: &str) -> Vec<Value> {
        writeln!(self.commands, "{command}").unwrap();
        let mut line = String::new();
        self.answers.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    }

    pub fn config(&self, server: &str) -> EmailConfig {
        let encryption = match server {
            "starttls" | "plain" | "silent" | "drip" | "busy" | "web" => Encryption::StartTls,
            "relay" => Encryption::None,
            _ => Encryption::Implicit,
        };
        EmailConfig {
            server: "localhost".to_owned(),
            port: self.ports[server],
            encryption,
            account: (server != "relay").then(|| Account {
                user: "grower".to_owned(),
                password: Password::Given(Secret::new("secret pass".to_owned())),
            }),
            ca_file: Some(self.folder.path().join("ours.pem")),
            from: "Jürgen's Orchard <budtide@example.org>".to_owned(),
            to: vec!["jo@example.org".to_owned()],
            limit: Duration::from_secs(10),
        }
    }
}

fn send(config: EmailConfig) -> Result<Sent, ChannelError> {
    send_message(
        config,
        &message("frost-apricot-2026", "Frost tonight", "Cover."),
    )
}

fn send_message(
    config: EmailConfig,
    message: &budtide::render::message::Message,
) -> Result<Sent, ChannelError> {
    on_one_thread(async {
        let mut email = Email::new(config)?;
        // Twice the longest limit that is set here: it must not hang.
        let sent = tokio::time::timeout(Duration::from_secs(20), email.send(message, moment()));
        sent.await.expect("it hangs")
    })
}

const CALENDAR: &str = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//budtide//EN\r\n\
    METHOD:PUBLISH\r\nBEGIN:VEVENT\r\nUID:frost@example.org\r\nDTSTAMP:20260507T213000Z\r\n\
    DTSTART;VALUE=DATE:20260508\r\nSUMMARY:Cover the apricots at −3 °C\r\nEND:VEVENT\r\n\
    END:VCALENDAR\r\n";

#[test]
fn a_mail_arrives_whole_by_both_kinds_of_tls() {
    let Some(mut server) = MailServer::start() else {
        return;
    };
    let mut frost = message(
        "frost-apricot-2026",
        "Frost tonight −3 °C\r\nBcc: all@example.org: cover 🍑",
        &format!(
            "Cover the apricots.\n.\nWhy: {}\n\0From here on é.\n",
            "long ".repeat(400)
        ),
    );
    frost.urgency = budtide::render::message::Urgency::High;
    frost.html =
        "<!doctype html><html><body><p>Cover the <b>apricots</b> at −3&nbsp;°C</p></body></html>"
            .to_owned();
    frost.calendar = Some(CALENDAR.to_owned());
    let other = message("prune-pear-2026", "Prune the pears", "Now.");

    let first = send_message(server.config("starttls"), &frost).unwrap();
    let again = send_message(server.config("implicit"), &frost).unwrap();
    let second = send_message(server.config("relay"), &other).unwrap();
    assert_eq!(first.id, again.id);
    assert_ne!(first.id, second.id);
    assert_eq!(
        first.to,
        format!(
            "to jo@example.org through localhost:{}",
            server.ports["starttls"]
        )
    );

    let mails = server.ask("mails");
    assert_eq!(mails.len(), 3);
    for mail in &mails[..2] {
        let header = |name: &str| mail["headers"][name].as_str().unwrap_or("none").to_owned();
        assert_eq!(mail["from"], "budtide@example.org");
        assert_eq!(mail["to"], serde_json::json!(["jo@example.org"]));
        assert_eq!(header("from"), "Jürgen's Orchard <budtide@example.org>");
        assert_eq!(header("to"), "jo@example.org");
        assert_eq!(
            header("subject"),
            "Frost tonight −3 °C Bcc: all@example.org: cover 🍑"
        );
        assert_eq!(header("bcc"), "none");
        // The keeper's 17:30 -0400.
        assert_eq!(header("date"), "Thu, 07 May 2026 21:30:00 +0000");
        assert_eq!(header("message-id"), first.id);
        assert_eq!(header("auto-submitted"), "auto-generated");
        assert_eq!(header("importance"), "high");
        assert_eq!(header("references"), header("in-reply-to"));
        assert!(header("references").ends_with(".thread@example.org>"));
        let mut names: Vec<&str> = mail["names"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(Value::as_str)
            .collect();
        let all = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), all, "a header stands twice: {names:?}");

        let part = |at: usize, what: usize| mail["parts"][at][what].clone();
        let kinds: Vec<Value> = (0..5).map(|at| part(at, 0)).collect();
        assert_eq!(
            kinds,
            [
                "multipart/mixed",
                "multipart/alternative",
                "text/plain",
                "text/html",
                "text/calendar"
            ]
        );
        for at in 0..5 {
            assert_eq!(part(at, 3), serde_json::json!([]), "defects in part {at}");
        }
        let read = |at: usize| part(at, 1).as_str().unwrap().replace("\r\n", "\n");
        assert_eq!(read(2).trim_end(), frost.text.replace('\0', "").trim_end());
        assert_eq!(read(3).trim_end(), frost.html);
        assert_eq!(read(4), CALENDAR.replace("\r\n", "\n"));
        assert_eq!(part(4, 2), "budtide.ics");
        assert_eq!(mail["method"], "PUBLISH");
        // RFC 5322, 2.1.1: no line over 998; and all of it 7-bit.
        assert!(mail["longest"].as_u64().unwrap() <= 78);
        assert_eq!(mail["ascii"], true);
    }
    // A mail without a calendar has no mixed part; the thread is the same.
    assert_eq!(mails[2]["parts"][0][0], "multipart/alternative");
    assert_eq!(
        mails[2]["headers"]["references"],
        mails[0]["headers"]["references"]
    );
    assert_eq!(
        server.ask("logins"),
        [
            serde_json::json!(["starttls", "grower", true]),
            serde_json::json!(["implicit", "grower", true])
        ]
    );
}

/// One line a fault: the server, what is changed in the settings, what a
/// further try is worth, and the whole cause.
#[test]
fn each_refusal_is_told_in_full() {
    let Some(mut server) = MailServer::start() else {
        return;
    };
    fn user(config: &mut EmailConfig, user: &str, password: &str) {
        config.account = Some(Account {
            user: user.to_owned(),
            password: Password::Given(Secret::new(password.to_owned())),
        });
    }
    type Change = fn(&mut EmailConfig);
    let short: Change = |config| config.limit = Duration::from_millis(1200);
    let cases: &[(&str, Change, Again, &str)] = &[
        (
            "starttls",
            |config| user(config, "grower", "wrong word"),
            Again::Told,
            "the server refused the user grower or the password \
             (535 5.7.8 Authentication credentials invalid)",
        ),
        (
            "implicit",
            |config| user(config, "echo", "wrong word"),
            Again::Told,
            "the server refused the user echo or the password (535 no (the password))",
        ),
        (
            "implicit",
            |config| config.account = None,
            Again::Told,
            "the server refused the mail (530 5.7.0 Authentication required)",
        ),
        (
            "refused",
            |_| (),
            Again::Later,
            "nothing listens there (connection refused)",
        ),
        (
            "implicit",
            // Longer than a label may be: refused before anybody is asked.
            |config| config.server = "x".repeat(64),
            Again::Later,
            "the name xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx was not \
             found: there is no network, or the name is wrong (failed to lookup address \
             information: Name or service not known)",
        ),
        (
            "implicit",
            |config| config.to = vec!["grey@example.org".to_owned()],
            Again::Later,
            "the server put it off while handing over the mail \
             (450 4.7.1 greylisted, come back later)",
        ),
        (
            "starttls",
            |config| config.to = vec!["nobody@example.org".to_owned()],
            Again::Told,
            "the server refused the mail (550 5.1.1 no such mailbox)",
        ),
        (
            "busy",
            |_| (),
            Again::Later,
            "the server put it off while connecting (421 4.3.2 too many connections)",
        ),
        (
            "silent",
            short,
            Again::Later,
            "no end within 1.2 s while connecting; if this port begins with TLS (usually 465), \
             the settings must say so",
        ),
        (
            "drip",
            short,
            Again::Later,
            "no end within 1.2 s while connecting; if this port begins with TLS (usually 465), \
             the settings must say so",
        ),
        (
            "slow",
            short,
            Again::Later,
            "no end within 1.2 s while handing over the mail; it may have arrived all the same; \
             another try bears the same Message-ID",
        ),
        (
            "cut",
            |_| (),
            Again::Later,
            "the connection broke while handing over the mail; it may have arrived all the same; \
             another try bears the same Message-ID",
        ),
        (
            "untrusted",
            |_| (),
            Again::Told,
            "the certificate of localhost is signed by nobody whom this machine trusts; if the \
             server has an authority of its own, name that authority's file as CA file",
        ),
        (
            "implicit",
            // The system's own store does not know our authority.
            |config| config.ca_file = None,
            Again::Told,
            "the certificate of localhost is signed by nobody whom this machine trusts; if the \
             server has an authority of its own, name that authority's file as CA file",
        ),
        (
            "wrong",
            |_| (),
            Again::Told,
            "the certificate is not for the name localhost but for mail.example.net: \
             check the server's name",
        ),
        (
            "expired",
            |_| (),
            Again::Told,
            "the certificate of localhost has expired, or this machine's clock is wrong",
        ),
        (
            "plain",
            |_| (),
            Again::Told,
            "the server does not offer STARTTLS, and unencrypted nothing is sent; if this port \
             begins with TLS (usually 465), the settings must say so",
        ),
        (
            "starttls",
            |config| config.encryption = Encryption::Implicit,
            Again::Told,
            "this port does not begin with TLS; it may want STARTTLS (usually port 587), and then \
             the settings must say so",
        ),
        (
            "implicit",
            |config| {
                config.encryption = Encryption::StartTls;
                config.limit = Duration::from_millis(1200);
            },
            Again::Later,
            "no end within 1.2 s while connecting; if this port begins with TLS (usually 465), \
             the settings must say so",
        ),
        (
            "noauth",
            |_| (),
            Again::Told,
            "the server takes no password here (it offers neither PLAIN nor LOGIN)",
        ),
        (
            "web",
            |_| (),
            Again::Told,
            "what answers there does not speak as a mail server does \
             (HTTP/1.1 400 Bad Request)",
        ),
        (
            "implicit",
            |config| config.ca_file = Some(PathBuf::from("/nowhere/ca.pem")),
            Again::Told,
            "cannot read the CA file /nowhere/ca.pem: No such file or directory (os error 2)",
        ),
        (
            "implicit",
            |config| config.ca_file = Some(PathBuf::from("/dev/null")),
            Again::Told,
            "the CA file /dev/null holds no certificate in PEM form",
        ),
        (
            "implicit",
            |config| {
                config.account = Some(Account {
                    user: "grower".to_owned(),
                    password: Password::Environment("BUDTIDE_NO_SUCH".to_owned()),
                });
            },
            Again::Told,
            "the environment variable BUDTIDE_NO_SUCH is not set",
        ),
    ];
    let mut wrong = Vec::new();
    for (name, change, again, cause) in cases {
        let mut config = server.config(name);
        change(&mut config);
        let route = format!(
            "to {} through {}:{}",
            config.to[0], config.server, config.port
        );
        let outlook = match again {
            Again::Later => "it can be tried again later",
            Again::Never => "trying this message again will not help",
            Again::Told => "trying again will not help until this is mended",
        };
        let expected = format!("sending \"Frost tonight\" by e-mail, {route}: {cause}; {outlook}");
        let said = match send(config) {
            Ok(sent) => format!("sent: {sent:?}"),
            Err(error) => error.to_string(),
        };
        if said != expected {
            wrong.push(format!("{name}\n  expected {expected}\n  said     {said}"));
        }
        assert!(!said.contains("secret pass") && !said.contains("wrong word"));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    // The server without STARTTLS never saw a password.
    let logins = server.ask("logins");
    assert!(logins.iter().all(|login| login[0] != "plain"), "{logins:?}");
    // The two of which the sender could not know had arrived, with one name.
    let mails = server.ask("mails");
    assert_eq!(mails.len(), 2);
    assert_eq!(
        mails[0]["headers"]["message-id"],
        mails[1]["headers"]["message-id"]
    );
}

#[test]
fn faulty_settings_are_told_at_once() {
    let config = EmailConfig {
        server: "localhost".to_owned(),
        port: 25,
        encryption: Encryption::StartTls,
        account: Some(Account {
            user: "grower".to_owned(),
            password: Password::Given(Secret::new("secret pass".to_owned())),
        }),
        ca_file: None,
        from: "budtide@example.org".to_owned(),
        to: vec!["jo@example.org".to_owned()],
        limit: Duration::from_secs(1),
    };
    assert!(!format!("{config:?}").contains("secret"));
    assert!(Email::new(config.clone()).is_ok());
    let told = |change: fn(&mut EmailConfig)| {
        let mut config = config.clone();
        change(&mut config);
        let error = Email::new(config).unwrap_err();
        assert_eq!(error.again, Again::Told);
        error.to_string()
    };
    assert_eq!(
        told(|config| config.encryption = Encryption::None),
        "setting up e-mail, through localhost:25: a password is never sent without TLS: choose \
         STARTTLS or TLS from the start; trying again will not help until this is mended"
    );
    assert_eq!(
        told(|config| config.to.clear()),
        "setting up e-mail, through localhost:25: nobody is named to send to; \
         trying again will not help until this is mended"
    );
    assert_eq!(
        told(|config| config.to = vec!["jo at example".to_owned()]),
        "setting up e-mail, through localhost:25: \"jo at example\" is no address; \
         trying again will not help until this is mended"
    );
}
