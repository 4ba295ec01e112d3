//! A station console and the service as a process.

use super::{BUDTIDE, Ended, log, orchard, start, until_logged};
use budtide::store::weather::WeatherStore;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

const SECRET: &str = "THESECRETKEY";

/// An orchard whose place names a console, and the port.
fn with_console() -> (tempfile::TempDir, u16) {
    let folder = orchard("");
    // Free a moment ago.
    let free = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = free.local_addr().unwrap().port();
    let place = folder.path().join("place.toml");
    let text = std::fs::read_to_string(&place).unwrap().replace(
        "sources = []",
        &format!("sources = [\"console\"]\n[weather.console]\nlisten = \"127.0.0.1:{port}\""),
    );
    std::fs::write(&place, text).unwrap();
    (folder, port)
}

fn upload(port: u16, form: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    write!(
        stream,
        "POST /weather HTTP/1.1\r\nHost: budtide\r\nContent-Length: {}\r\n\r\n{form}",
        form.len()
    )
    .unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

fn weather(folder: &Path) -> String {
    let output = Command::new(BUDTIDE)
        .arg("--folder")
        .arg(folder)
        .arg("weather")
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn stop(mut service: Ended) {
    service.signal("-TERM");
    let ended = service.end(Duration::from_secs(30)).unwrap();
    assert!(ended.success(), "{ended}");
}

/// Every file below a folder, as bytes.
fn all_bytes(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(all_bytes(&path));
        } else {
            all.push((path.display().to_string(), std::fs::read(&path).unwrap()));
        }
    }
    all
}

#[test]
fn uploads_are_heard_kept_over_a_restart_and_no_secret_stays() {
    let (folder, port) = with_console();
    let folder = folder.path();
    assert!(weather(folder).contains("Nothing came from the station console yet"));
    let service = start(folder, &[]);
    until_logged(folder, "listens for the station console on 127.0.0.1:");
    let form = |celsius: f64| {
        format!(
            "PASSKEY={SECRET}&dateutc=now&tempf={:.1}&humidity=65&windspeedmph=2.2\
             &yearlyrainin=3.909",
            celsius * 1.8 + 32.0
        )
    };
    let refused = upload(port, &format!("PASSKEY={SECRET}&dateutc={SECRET}&tempf=50"));
    assert!(refused.starts_with("HTTP/1.1 400"), "{refused}");
    until_logged(folder, "its time cannot be read");
    let answer = upload(port, &form(7.0));
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    stop(service);
    let kept = |folder: &Path| {
        let files = all_bytes(folder);
        let (name, _) = files
            .iter()
            .find(|(name, _)| name.ends_with("weather.sqlite"))
            .unwrap();
        let store = WeatherStore::open(Path::new(name)).unwrap();
        store.recall("upload station console").unwrap().unwrap()
    };
    let first = kept(folder);
    assert!(first.contains("\"low_c\":7.0"), "{first}");

    let page = weather(folder);
    assert!(page.contains("station console"), "{page}");
    assert!(page.contains("Last upload"), "{page}");

    // Another run goes on in the hour that the first began.
    let service = start(folder, &[]);
    let began = Instant::now();
    while log(folder).matches("listens for").count() < 2 {
        assert!(began.elapsed() < Duration::from_secs(60), "{}", log(folder));
        std::thread::sleep(Duration::from_millis(50));
    }
    let answer = upload(port, &form(9.0));
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    stop(service);
    let second = kept(folder);
    assert!(
        second.contains("\"low_c\":7.0") && second.contains("\"high_c\":9.0"),
        "{second}"
    );
    for (name, bytes) in all_bytes(folder) {
        let found = bytes
            .windows(SECRET.len())
            .any(|window| window == SECRET.as_bytes());
        assert!(!found, "{name} holds the secret");
    }
}
