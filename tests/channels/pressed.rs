//! A button from the screen to the journal: the service as a process of its
//! own, a real notification server, and a hand that presses.

use super::desktop::Stage;
use crate::service::{BUDTIDE, Ended, log, orchard, until_logged};
use chrono::{TimeDelta, Utc};
use chrono_tz::America::New_York;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// One chore that is open on every day of the year, so that the digest of any
/// day has one line, and its buttons.
const CHORE: &str = r#"name = "A look at the ties"
lane = "Look at ties"
say = "Look at the ties of {trees}"
kind = "care"
worth = 4
good_day = "any"
tools = []
why = "A tie that is tight grows in."
how = "Loosen what is tight."
too_early = "Never."
too_late = "The bark has grown over it."
cautions = []
standing = "from memory"

[for]
crops = ["apple"]

[[opens]]
date = "01-01"

[[best]]
date = "12-31"

[[closes]]
date = "12-31"

[minutes]
in_all = [5, 10]
standing = "from memory"
"#;

/// The demo's trees with that chore alone; the digest was due some minutes
/// ago, and no hour is quiet.
fn one_chore() -> tempfile::TempDir {
    let due = (Utc::now() - TimeDelta::minutes(3)).with_timezone(&New_York);
    let home = orchard("");
    let path = home.path().join("place.toml");
    let place = fs::read_to_string(&path).unwrap();
    let kept: Vec<&str> = place
        .lines()
        .filter(|line| {
            ![
                "digest_at",
                "quiet_from",
                "quiet_until",
                "silent_chores",
                "show",
            ]
            .iter()
            .any(|key| line.trim_start().starts_with(key))
        })
        .collect();
    let nudges = format!(
        "[nudges]\ndigest_at = \"{}\"\nquiet_from = \"00:00\"\nquiet_until = \"00:00\"",
        due.format("%H:%M")
    );
    let place = kept.join("\n").replace("[nudges]", &nudges);
    assert!(place.contains("digest_at"), "{place}");
    fs::write(&path, place).unwrap();
    let own = home.path().join("chores");
    fs::create_dir_all(&own).unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/chores");
    for chore in fs::read_dir(shipped).unwrap() {
        fs::write(own.join(chore.unwrap().file_name()), "").unwrap();
    }
    fs::write(own.join("look-at-ties.toml"), CHORE).unwrap();
    home
}

/// The journal as the command tells it.
fn journal(home: &Path) -> serde_json::Value {
    let output = Command::new(BUDTIDE)
        .arg("--folder")
        .arg(home)
        .args(["journal", "--json"])
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn done_on_the_screen_is_done_in_the_journal() {
    let Some(stage) = Stage::start("dunst") else {
        return;
    };
    super::on_one_thread(stage.bus.served());
    let home = one_chore();
    let out = fs::File::create(home.path().join("log")).unwrap();
    let mut service = Ended(
        stage
            .program(BUDTIDE)
            .arg("--folder")
            .arg(home.path())
            .args(["service", "run"])
            .env_remove("NOTIFY_SOCKET")
            .stdout(out.try_clone().unwrap())
            .stderr(out)
            .stdin(Stdio::null())
            .spawn()
            .unwrap(),
    );
    until_logged(home.path(), "sent");
    let shown = || {
        let began = Instant::now();
        while stage.displayed() != "1" && began.elapsed() < Duration::from_secs(10) {
            std::thread::sleep(Duration::from_millis(50));
        }
        stage.displayed()
    };
    assert_eq!(shown(), "1", "{}", log(home.path()));
    stage.picture("desktop-service.png");
    assert_eq!(journal(home.path()).as_array().map(Vec::len), Some(0));

    stage.picks("#Done (");
    stage.tool(&["dunstctl", "context"]);
    until_logged(home.path(), "done: look-at-ties");
    let noted = journal(home.path());
    let noted = noted.as_array().unwrap();
    assert!(!noted.is_empty());
    let today = Utc::now().with_timezone(&New_York).date_naive();
    for entry in noted {
        assert_eq!(entry["kind"], "done", "{entry}");
        let task = entry["fields"]["task"].as_str().unwrap();
        assert!(task.starts_with("look-at-ties-apple"), "{entry}");
        let date: chrono::NaiveDate = entry["date"].as_str().unwrap().parse().unwrap();
        assert!((today - date).num_days().abs() <= 1, "{entry}");
    }
    // What is done leaves the screen, and the service lives on.
    let began = Instant::now();
    while stage.displayed() != "0" && began.elapsed() < Duration::from_secs(10) {
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(stage.displayed(), "0");
    service.signal("-TERM");
    let ended = service.end(Duration::from_secs(20));
    assert!(ended.is_some_and(|status| status.success()));
}
