//! The desktop against real notification servers (dunst, xfce4-notifyd) on a
//! bus and a screen of their own, and against servers that misbehave in ways
//! in which no real one can be made to.

use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use budtide::channels::desktop::{Desktop, DesktopConfig, Pressed};
use budtide::channels::{Again, Channel};
use budtide::render::message::{Message, Urgency};
use futures_lite::StreamExt;
use tokio::sync::mpsc::UnboundedReceiver;
use tokio::time::{sleep, timeout};
use zbus::message::Type;
use zbus::{Connection, MessageStream};

use super::{have, message, moment, on_one_thread, skipped};

const NAME: &str = "org.freedesktop.Notifications";
const PATH: &str = "/org/freedesktop/Notifications";
const PATIENCE: Duration = Duration::from_secs(10);

/// Ends a program by its own handle when the test ends, however it ends.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Ended {
    fn signal(&self, name: &str) {
        let number = self.0.id().to_string();
        assert!(
            Command::new("kill")
                .args([name, &number])
                .status()
                .unwrap()
                .success()
        );
    }
}

/// A bus without service folders, in a folder of its own.
pub(super) struct Bus {
    daemon: Ended,
    address: String,
    folder: tempfile::TempDir,
}

fn start_bus(address: &str) -> Ended {
    let config = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/fixtures/channels/session.conf"
    );
    let mut child = Command::new("dbus-daemon")
        .args(["--nofork", "--print-address=1"])
        .arg(format!("--config-file={config}"))
        .arg(format!("--address={address}"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut line).unwrap();
    assert!(line.starts_with("unix:"), "dbus-daemon said {line:?}");
    Ended(child)
}

impl Bus {
    fn start() -> Option<Self> {
        if !have(&["dbus-daemon"]) {
            return None;
        }
        let folder = tempfile::tempdir().unwrap();
        let address = format!("unix:path={}/bus", folder.path().display());
        Some(Bus {
            daemon: start_bus(&address),
            address,
            folder,
        })
    }

    fn desktop(&self) -> (Desktop, UnboundedReceiver<Pressed>) {
        desktop_at(&self.address)
    }

    async fn connect(&self) -> Connection {
        zbus::connection::Builder::address(self.address.as_str())
            .build()
            .await
            .unwrap()
    }

    /// Waits until a server has the name.
    pub(super) async fn served(&self) {
        let bus = self.connect().await;
        for _ in 0..500 {
            let has: bool = bus
                .call_method(
                    Some("org.freedesktop.DBus"),
                    "/org/freedesktop/DBus",
                    Some("org.freedesktop.DBus"),
                    "NameHasOwner",
                    &NAME,
                )
                .await
                .unwrap()
                .body()
                .deserialize()
                .unwrap();
            if has {
                return;
            }
            sleep(Duration::from_millis(20)).await;
        }
        panic!("no notification server came up");
    }
}

fn desktop_at(address: &str) -> (Desktop, UnboundedReceiver<Pressed>) {
    Desktop::new(DesktopConfig {
        program: "budtide".to_owned(),
        entry: Some("budtide".to_owned()),
        icon: String::new(),
        address: Some(address.to_owned()),
        limit: Duration::from_millis(1500),
    })
}

/// A bus, a screen and a notification server.
pub(super) struct Stage {
    server: Ended,
    kind: &'static str,
    display: String,
    _screen: Ended,
    pub(super) bus: Bus,
}

impl Stage {
    pub(super) fn start(kind: &'static str) -> Option<Self> {
        if !have(&["dbus-daemon", "Xvfb", "xdotool", "import"]) {
            return None;
        }
        program(kind)?;
        let bus = Bus::start()?;
        let mut screen = Command::new("Xvfb")
            .args(["-displayfd", "1", "-screen", "0", "1024x768x24"])
            .args(["-nolisten", "tcp"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        // The one line is all that it ever writes.
        BufReader::new(screen.stdout.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        let display = format!(":{}", line.trim());
        let server = start_server(kind, &bus, &display);
        Some(Stage {
            server,
            kind,
            display,
            _screen: Ended(screen),
            bus,
        })
    }

    fn restart(&mut self) {
        self.server = start_server(self.kind, &self.bus, &self.display);
    }

    /// A tool of the desktop, at this bus and screen.
    pub(super) fn tool(&self, words: &[&str]) -> String {
        let out = at(&self.bus, &self.display, words[0])
            .args(&words[1..])
            .output()
            .unwrap();
        assert!(out.status.success(), "{words:?}: {out:?}");
        String::from_utf8(out.stdout).unwrap().trim().to_owned()
    }

    /// A program at this bus and screen.
    pub(super) fn program(&self, path: &str) -> Command {
        at(&self.bus, &self.display, path)
    }

    /// What the hand picks next from dunst's menu of actions.
    pub(super) fn picks(&self, text: &str) {
        let picker = self.bus.folder.path().join("picker");
        fs::write(picker, format!("#!/bin/sh\ngrep -m 1 '{text}'\n")).unwrap();
    }

    pub(super) fn displayed(&self) -> String {
        self.tool(&["dunstctl", "count", "displayed"])
    }

    fn click(&self, x: u32, y: u32) {
        let (x, y) = (x.to_string(), y.to_string());
        self.tool(&["xdotool", "mousemove", &x, &y, "click", "1"]);
    }

    /// Saves a picture of the screen under the target folder.
    pub(super) fn picture(&self, name: &str) {
        let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
        self.tool(&["import", "-window", "root", path.to_str().unwrap()]);
        assert!(fs::metadata(&path).unwrap().len() > 1000);
    }
}

fn at(bus: &Bus, display: &str, program: &str) -> Command {
    let mut command = Command::new(program);
    command
        .env("DBUS_SESSION_BUS_ADDRESS", &bus.address)
        .env("DISPLAY", display)
        .env("HOME", bus.folder.path())
        .env("XDG_CONFIG_HOME", bus.folder.path())
        .env("XDG_CACHE_HOME", bus.folder.path())
        .env("XDG_RUNTIME_DIR", bus.folder.path())
        .stdin(Stdio::null());
    command
}

/// Where a notification server is.
fn program(kind: &str) -> Option<String> {
    if kind == "dunst" {
        return have(&["dunst", "dunstctl"]).then(|| kind.to_owned());
    }
    // It stands in a folder of the machine's architecture.
    let found = fs::read_dir("/usr/lib").ok().and_then(|folders| {
        folders
            .flatten()
            .map(|folder| folder.path().join("xfce4/notifyd/xfce4-notifyd"))
            .find(|path| path.exists())
    });
    if found.is_none() {
        skipped(kind);
    }
    found.map(|path| path.display().to_string())
}

fn start_server(kind: &str, bus: &Bus, display: &str) -> Ended {
    let mut command = at(bus, display, &program(kind).unwrap());
    if kind == "dunst" {
        let folder = bus.folder.path();
        let (config, picker) = (folder.join("dunstrc"), folder.join("picker"));
        // The hand that picks from its menu of actions.
        fs::write(&picker, "#!/bin/sh\ngrep -m 1 '#Tomorrow (Frost'\n").unwrap();
        fs::set_permissions(&picker, std::os::unix::fs::PermissionsExt::from_mode(0o700)).unwrap();
        let settings = format!(
            "[global]\nfollow = none\nidle_threshold = 0\nmarkup = full\nwidth = 420\n\
             format = \"<b>%s</b>\\n%b\"\ndmenu = {}\n\
             mouse_left_click = do_action, close_current\nmouse_right_click = close_current\n\
             [urgency_low]\ntimeout = 0\n[urgency_normal]\ntimeout = 0\n\
             [urgency_critical]\ntimeout = 0\n",
            picker.display()
        );
        fs::write(&config, settings).unwrap();
        command.arg("-conf").arg(config);
    }
    let log = File::create(bus.folder.path().join("server.log")).unwrap();
    Ended(command.stdout(Stdio::null()).stderr(log).spawn().unwrap())
}

fn frost(text: &str) -> Message {
    let mut frost = message("frost-apricot-2026", "Frost < −2 °C & wind", text);
    frost.urgency = Urgency::High;
    frost
}

/// Waits for the next press.
async fn next(pressed: &mut UnboundedReceiver<Pressed>) -> (String, String) {
    let next = timeout(PATIENCE, pressed.recv()).await;
    let next = next.expect("no button came").unwrap();
    (next.message, next.action)
}

async fn until(mut holds: impl FnMut() -> bool) -> bool {
    for _ in 0..200 {
        if holds() {
            return true;
        }
        sleep(Duration::from_millis(20)).await;
    }
    false
}

#[test]
fn without_a_bus_it_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let address = format!("unix:path={}/none", folder.path().display());
    let (mut desktop, _pressed) = desktop_at(&address);
    let error = on_one_thread(desktop.send(&frost("Cover."), moment())).unwrap_err();
    assert_eq!(error.again, Again::Later);
    assert_eq!(
        error.to_string(),
        format!(
            "showing \"Frost < −2 °C & wind\", on the desktop at {address}: there is no session \
             bus (No such file or directory (os error 2)); a desktop session brings one; \
             it can be tried again later"
        )
    );
    let (mut desktop, _pressed) = desktop_at("nonsense");
    let error = on_one_thread(desktop.send(&frost("Cover."), moment())).unwrap_err();
    assert_eq!(error.again, Again::Told);
    assert!(
        error.cause.starts_with("the bus address cannot be used"),
        "{error}"
    );
}

#[test]
fn without_a_server_it_says_so_and_finds_a_later_one() {
    let Some(bus) = Bus::start() else { return };
    on_one_thread(async {
        let (mut desktop, _pressed) = bus.desktop();
        let error = desktop.send(&frost("Cover."), moment()).await.unwrap_err();
        assert_eq!(error.again, Again::Later);
        assert_eq!(
            error.cause,
            "no notification server runs, and none can be started; a desktop session brings one"
        );
        let _server = FakeServer::start(&bus, Manner::Plain).await;
        assert!(desktop.send(&frost("Cover."), moment()).await.is_ok());
    });
}

#[test]
fn dunst_shows_replaces_and_answers() {
    let Some(stage) = Stage::start("dunst") else {
        return;
    };
    on_one_thread(async {
        stage.bus.served().await;
        let (mut desktop, mut pressed) = stage.bus.desktop();
        let text = "Cover the apricots & keep <b>water</b> near.\nWhy: −3 °C seen at 5 a.m.";
        let first = desktop.send(&frost(text), moment()).await.unwrap();
        assert_eq!(first.without, None);
        assert!(until(|| stage.displayed() == "1").await);

        // The same message again replaces; another stands beside it.
        let second = desktop
            .send(&frost(&text.replace("5 a.m.", "6 a.m.")), moment())
            .await
            .unwrap();
        assert_eq!(second.id, first.id);
        let prune = message("prune-pear-2026", "Prune the pears", "Now & here.");
        let other = desktop.send(&prune, moment()).await.unwrap();
        assert_ne!(other.id, first.id);
        assert!(until(|| stage.displayed() == "2").await);
        stage.picture("desktop-dunst.png");

        stage.tool(&["dunstctl", "context"]);
        assert_eq!(
            next(&mut pressed).await,
            ("frost-apricot-2026".to_owned(), "tomorrow".to_owned())
        );
        // dunst leaves it standing; we take it away.
        assert!(until(|| stage.displayed() == "1").await);

        // A left click on what is left, with one action alone.
        let mut one = prune.clone();
        one.actions.truncate(1);
        desktop.send(&one, moment()).await.unwrap();
        assert!(until(|| stage.displayed() == "1").await);
        sleep(Duration::from_millis(300)).await;
        stage.click(900, 60);
        assert_eq!(
            next(&mut pressed).await,
            ("prune-pear-2026".to_owned(), "done".to_owned())
        );
        assert!(until(|| stage.displayed() == "0").await);

        // What was pressed is gone: the same message is shown anew.
        let anew = desktop.send(&frost(text), moment()).await.unwrap();
        assert_ne!(anew.id, first.id);
        stage.tool(&["dunstctl", "close-all"]);
        assert!(pressed.try_recv().is_err(), "a closing is no press");

        // dunst's own record: the markup signs arrived as plain text.
        let history: serde_json::Value =
            serde_json::from_str(&stage.tool(&["dunstctl", "history"])).unwrap();
        let kept = history["data"][0]
            .as_array()
            .unwrap()
            .iter()
            .find(|kept| kept["id"]["data"] == anew.id.parse::<u64>().unwrap())
            .unwrap();
        assert_eq!(kept["appname"]["data"], "budtide");
        assert_eq!(kept["summary"]["data"], "Frost < −2 °C & wind");
        assert_eq!(
            kept["body"]["data"],
            text.replace('&', "&amp;")
                .replace('<', "&lt;")
                .replace('>', "&gt;")
        );
    });
}

#[test]
fn xfce_shows_buttons_that_can_be_pressed() {
    let Some(stage) = Stage::start("xfce4-notifyd") else {
        return;
    };
    on_one_thread(async {
        stage.bus.served().await;
        let (mut desktop, mut pressed) = stage.bus.desktop();
        let sent = desktop
            .send(&frost("Cover the <apricots> & wait."), moment())
            .await
            .unwrap();
        assert_eq!(sent.without, None);
        sleep(Duration::from_millis(700)).await;
        stage.picture("desktop-xfce.png");
        // The right one of the two buttons. How high it stands depends on the
        // fonts, and a click beside it dismisses: so it is shown anew.
        let mut got = None;
        for y in [88, 96, 80, 104, 112, 120] {
            stage.click(950, y);
            if let Ok(press) = timeout(Duration::from_millis(1500), pressed.recv()).await {
                got = press;
                break;
            }
            desktop.send(&frost("Cover them."), moment()).await.unwrap();
            sleep(Duration::from_millis(700)).await;
        }
        let got = got.expect("no button found");
        assert_eq!(
            (got.message.as_str(), got.action.as_str()),
            ("frost-apricot-2026", "tomorrow")
        );
    });
}

#[test]
fn a_stopped_server_blocks_nothing() {
    let Some(stage) = Stage::start("dunst") else {
        return;
    };
    on_one_thread(async {
        stage.bus.served().await;
        for known in [false, true] {
            let (mut desktop, _pressed) = stage.bus.desktop();
            if known {
                // Its capabilities are known then, and Notify itself is silent.
                desktop.send(&frost("Cover."), moment()).await.unwrap();
            }
            stage.server.signal("-STOP");
            let error = timeout(PATIENCE, desktop.send(&frost("Cover."), moment()))
                .await
                .expect("it blocked")
                .unwrap_err();
            assert_eq!(error.again, Again::Later);
            assert_eq!(
                error.cause,
                "the notification server did not answer within 1.5 s"
            );
            stage.server.signal("-CONT");
            desktop.send(&frost("Cover."), moment()).await.unwrap();
            // What came through late after all does not stand twice.
            assert!(until(|| stage.displayed() == "1").await);
        }
    });
}

#[test]
fn it_outlives_the_server_and_the_bus() {
    let Some(mut stage) = Stage::start("dunst") else {
        return;
    };
    on_one_thread(async {
        stage.bus.served().await;
        let (mut desktop, mut pressed) = stage.bus.desktop();
        desktop.send(&frost("Cover."), moment()).await.unwrap();

        // A new server: its numbers are not the old one's.
        let _ = stage.server.0.kill();
        let _ = stage.server.0.wait();
        let error = desktop.send(&frost("Cover."), moment()).await.unwrap_err();
        assert!(
            error.cause.starts_with("no notification server runs"),
            "{error}"
        );
        stage.restart();
        stage.bus.served().await;
        desktop.send(&frost("Cover."), moment()).await.unwrap();
        stage.tool(&["dunstctl", "context"]);
        assert_eq!(next(&mut pressed).await.1, "tomorrow");

        // A new bus at the same address.
        let _ = stage.server.0.kill();
        let _ = stage.server.0.wait();
        let address = stage.bus.address.clone();
        let path = stage.bus.folder.path().join("bus");
        let _ = stage.bus.daemon.0.kill();
        let _ = stage.bus.daemon.0.wait();
        let error = desktop.send(&frost("Cover."), moment()).await.unwrap_err();
        assert_eq!(error.again, Again::Later);
        assert!(error.cause.contains("session bus"), "{error}");
        let _ = fs::remove_file(path);
        stage.bus.daemon = start_bus(&address);
        stage.restart();
        stage.bus.served().await;
        desktop.send(&frost("Cover."), moment()).await.unwrap();
        stage.tool(&["dunstctl", "context"]);
        assert_eq!(next(&mut pressed).await.1, "tomorrow");
    });
}

#[test]
fn a_stopped_bus_blocks_nothing() {
    let Some(bus) = Bus::start() else { return };
    on_one_thread(async {
        let _server = FakeServer::start(&bus, Manner::Plain).await;
        let (mut known, _pressed) = bus.desktop();
        known.send(&frost("Cover."), moment()).await.unwrap();
        let (fresh, _pressed) = bus.desktop();
        bus.daemon.signal("-STOP");
        for mut desktop in [known, fresh] {
            let error = timeout(PATIENCE, desktop.send(&frost("Cover."), moment()))
                .await
                .expect("it blocked")
                .unwrap_err();
            assert_eq!(error.again, Again::Later);
            assert_eq!(error.cause, "the session bus did not answer within 1.5 s");
        }
        bus.daemon.signal("-CONT");
    });
}

/// How a made-up server behaves.
#[derive(Clone, Copy, PartialEq)]
enum Manner {
    /// No markup, no buttons.
    Plain,
    /// A button counts as pressed before the number has been told.
    PressedBefore,
    /// The same, right after the number.
    PressedAfter,
    /// Refuses everything.
    Refusing,
}

/// A server of our own on a real bus, for what the real ones cannot be made
/// to do. It keeps what it was asked: the number to replace, text and buttons.
struct FakeServer {
    asked: UnboundedReceiver<(u32, String)>,
    connection: Connection,
    task: tokio::task::JoinHandle<()>,
}

impl Drop for FakeServer {
    fn drop(&mut self) {
        self.task.abort();
    }
}

type NotifyBody = (
    String,
    u32,
    String,
    String,
    String,
    Vec<String>,
    std::collections::HashMap<String, zbus::OwnedVariant>,
    i32,
);

impl FakeServer {
    async fn start(bus: &Bus, manner: Manner) -> Self {
        let connection = bus.connect().await;
        connection.request_name(NAME).await.unwrap();
        let (sender, asked) = tokio::sync::mpsc::unbounded_channel();
        let mut calls = MessageStream::from(&connection);
        let own = connection.clone();
        let task = tokio::spawn(async move {
            let mut number = 0;
            while let Some(Ok(call)) = calls.next().await {
                let header = call.header();
                if header.message_type() != Type::MethodCall {
                    continue;
                }
                match header.member().map(|member| member.as_str()) {
                    Some("GetCapabilities") => {
                        let can = match manner {
                            Manner::Plain => vec!["body"],
                            _ => vec!["body", "body-markup", "actions"],
                        };
                        own.reply(&header, &can).await.unwrap();
                    }
                    Some("Notify") if manner == Manner::Refusing => {
                        own.reply_error(
                            &header,
                            "org.freedesktop.DBus.Error.InvalidArgs",
                            &"too many words",
                        )
                        .await
                        .unwrap();
                    }
                    Some("Notify") => {
                        let body: NotifyBody = call.body().deserialize().unwrap();
                        let _ = sender.send((body.1, format!("{} | {:?}", body.4, body.5)));
                        number += 1;
                        if manner == Manner::PressedBefore {
                            press(&own, number).await;
                        }
                        own.reply(&header, &number).await.unwrap();
                        if manner == Manner::PressedAfter {
                            press(&own, number).await;
                        }
                    }
                    _ => {}
                }
            }
        });
        FakeServer {
            asked,
            connection,
            task,
        }
    }
}

/// A press, and the closing that follows it.
async fn press(connection: &Connection, number: u32) {
    let none: Option<&str> = None;
    connection
        .emit_signal(none, PATH, NAME, "ActionInvoked", &(number, "done"))
        .await
        .unwrap();
    connection
        .emit_signal(none, PATH, NAME, "NotificationClosed", &(number, 2_u32))
        .await
        .unwrap();
}

#[test]
fn a_button_pressed_at_once_is_not_lost() {
    let Some(bus) = Bus::start() else { return };
    for manner in [Manner::PressedBefore, Manner::PressedAfter] {
        on_one_thread(async {
            let _server = FakeServer::start(&bus, manner).await;
            let (mut desktop, mut pressed) = bus.desktop();
            for round in 0..20 {
                let key = format!("frost-{round}");
                desktop
                    .send(&message(&key, "Frost", "Cover."), moment())
                    .await
                    .unwrap();
                assert_eq!(next(&mut pressed).await, (key, "done".to_owned()));
            }
            assert!(pressed.try_recv().is_err());
        });
    }
}

#[test]
fn a_server_without_markup_and_buttons_gets_neither() {
    let Some(bus) = Bus::start() else { return };
    on_one_thread(async {
        let mut server = FakeServer::start(&bus, Manner::Plain).await;
        let (mut desktop, mut pressed) = bus.desktop();
        let sent = desktop
            .send(&frost("a < b & c\0\u{1b}"), moment())
            .await
            .unwrap();
        assert_eq!(
            sent.without.as_deref(),
            Some("buttons: this desktop shows none")
        );
        assert_eq!(
            server.asked.recv().await.unwrap(),
            (0, "a < b & c | []".to_owned())
        );

        // Neither another program's notification nor another program's word
        // counts as a press.
        press(&server.connection, 4711).await;
        press(&bus.connect().await, 1).await;
        desktop.send(&frost("a"), moment()).await.unwrap();
        assert!(pressed.try_recv().is_err());
        assert_eq!(server.asked.recv().await.unwrap().0, 1);

        // The number 1 of a new server is somebody else's.
        server.connection.release_name(NAME).await.unwrap();
        let mut new = FakeServer::start(&bus, Manner::PressedAfter).await;
        desktop.send(&frost("a < b"), moment()).await.unwrap();
        assert_eq!(
            new.asked.recv().await.unwrap(),
            (
                0,
                "a &lt; b | [\"done\", \"Done\", \"tomorrow\", \"Tomorrow\"]".to_owned()
            )
        );
        assert_eq!(next(&mut pressed).await.1, "done");
    });
}

#[test]
fn a_refusal_is_told() {
    let Some(bus) = Bus::start() else { return };
    on_one_thread(async {
        let _server = FakeServer::start(&bus, Manner::Refusing).await;
        let (mut desktop, _pressed) = bus.desktop();
        let error = desktop.send(&frost("a"), moment()).await.unwrap_err();
        assert_eq!(error.again, Again::Told);
        assert_eq!(
            error.cause,
            "the notification server refused \
             (org.freedesktop.DBus.Error.InvalidArgs: too many words)"
        );
    });
}
