//! `--json`: one document from every command, and one from every error.

use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

const PLACE: &str = "name = \"Hill Farm\"\nlatitude = 38.9\nlongitude = -78.2\n\
     time_zone = \"America/New_York\"\nhardiness_zone = \"6b\"\n";

const REGISTER: &str = "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\ncultivar = \"Libertty\"\n\n\
     [[juniper]]\nid = \"J1\"\nwhere = \"east fence\"\ndistance = \"60 ft\"\n";

/// Code, standard output, standard error.
fn run(home: &Path, args: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_budtide"))
        .env_clear()
        .env("HOME", home)
        .env("XDG_CONFIG_HOME", home.join("config"))
        .env("XDG_DATA_HOME", home.join("data"))
        .current_dir(home)
        .args(args)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// The one document that a command prints.
fn answer(home: &Path, args: &[&str]) -> Value {
    let (code, out, err) = run(home, &[args, &["--json"]].concat());
    assert_eq!((code, err.as_str()), (Some(0), ""), "{args:?}: {out}");
    serde_json::from_str(&out).unwrap_or_else(|error| panic!("{args:?}: {error}\n{out}"))
}

/// The one document of an error; its code and text are those without JSON.
fn refusal(home: &Path, args: &[&str]) -> Value {
    let (plain, _, said) = run(home, args);
    let (code, out, err) = run(home, &[args, &["--json"]].concat());
    assert_eq!((code, out.as_str()), (plain, ""), "{args:?}");
    let document: Value =
        serde_json::from_str(&err).unwrap_or_else(|error| panic!("{args:?}: {error}\n{err}"));
    let error = document["error"].clone();
    assert_eq!(error["exit_code"].as_i64(), code.map(i64::from), "{args:?}");
    // The line on usage names the options that were given.
    let text = error["text"].as_str().unwrap().replace(" --json", "");
    assert_eq!(text, said.trim_end(), "{args:?}");
    error
}

fn orchard() -> TempDir {
    let home = TempDir::new().unwrap();
    let own = home.path().join("config/budtide");
    fs::create_dir_all(&own).unwrap();
    fs::write(own.join("place.toml"), PLACE).unwrap();
    fs::write(own.join("register.toml"), REGISTER).unwrap();
    home
}

#[test]
fn notes_and_what_is_done_with_them() {
    let home = orchard();
    let home = home.path();
    let at = |args: &[&str]| answer(home, &[args, &["--as-of", "2026-04-22"]].concat());

    let low = at(&["note", "low", "27F"]);
    assert_eq!(low["noted"]["number"], 1, "{low}");
    assert_eq!(low["noted"]["kind"], "low");
    assert_eq!(low["noted"]["date"], "2026-04-22");
    let low_c = low["noted"]["fields"]["low_c"].as_f64().unwrap();
    assert!((low_c + 2.777_8).abs() < 1e-3, "{low}");
    let said = low["said"].as_array().unwrap();
    assert!(
        !said.is_empty() && said.iter().all(Value::is_string),
        "{low}"
    );

    let plan = answer(home, &["calendar", "--as-of", "2026-04-22"]);
    let tasks = plan["tasks"].as_array().unwrap();
    let coming = |state: &str| {
        let mut tasks = tasks.iter().filter(|task| task["state"] == state);
        tasks.next().unwrap()["id"].as_str().unwrap().to_owned()
    };
    let (open, later) = (coming("open"), coming("coming"));
    let done = at(&["done", &open, "--minutes", "30"]);
    assert_eq!(done["noted"]["fields"]["task"], open.as_str(), "{done}");
    let snoozed = at(&["snooze", &later, "5d"]);
    assert_eq!(snoozed["noted"]["kind"], "snoozed", "{snoozed}");
    let skipped = at(&["skip", &later]);
    assert_eq!(skipped["noted"]["fields"]["task"], later.as_str());

    let edited = at(&["edit", "2", "--set", "minutes=40"]);
    assert_eq!(edited["before"]["fields"]["minutes"], 30.0, "{edited}");
    assert_eq!(edited["after"]["fields"]["minutes"], 40.0);
    let undone = at(&["undo", "2"]);
    assert_eq!(undone["taken_back"]["fields"]["minutes"], 40.0, "{undone}");
    assert_eq!(undone["says_again"]["fields"]["minutes"], 30.0);
    assert_eq!(at(&["journal"]).as_array().unwrap().len(), 4);
    let csv = at(&["journal", "--csv"]);
    assert!(csv["text"].as_str().unwrap().starts_with("number,date"));

    let demo = answer(home, &["demo", "note", "low", "27F"]);
    assert!(demo["noted"].is_null(), "{demo}");
    assert_eq!(demo["would_note"]["kind"], "low");
}

#[test]
fn files_written_read_and_checked() {
    let home = TempDir::new().unwrap();
    let home = home.path();
    let set_up = answer(
        home,
        &[
            "setup",
            "--latitude=39.4",
            "--longitude=-79.0",
            "--hardiness-zone=6b",
            "--time-zone=America/New_York",
            "--tree=3 apple York Imperial",
        ],
    );
    assert_eq!(set_up["trees"], 3, "{set_up}");
    for path in set_up["written"].as_array().unwrap() {
        assert!(Path::new(path.as_str().unwrap()).is_file(), "{path}");
    }
    let checked = answer(home, &["check"]);
    assert_eq!(checked["in_order"], true, "{checked}");
    assert_eq!(checked["entries"], 3);
    assert!(checked["weather_seen_until"].is_null());

    let rows = "date,tmin_f,tmax_f\n2025-04-01,40,60\n2025-04-03,x,61\n";
    fs::write(home.join("days.csv"), rows).unwrap();
    let dry = answer(home, &["import", "days.csv", "--dry-run"]);
    assert!(dry["kept"].is_null(), "{dry}");
    let read = answer(home, &["import", "days.csv"]);
    assert_eq!(read["rows"], 2, "{read}");
    assert_eq!((&read["from"], &read["to"]), (&dry["from"], &dry["to"]));
    assert_eq!(read["from"], "2025-04-01");
    assert_eq!(read["missing"], 1);
    assert!(read["kept"]["days"]["new"].as_u64().unwrap() > 0);
    assert_eq!(read["findings"][0]["lines"][0], 3, "{read}");

    let installed = answer(home, &["manual", "--install"]);
    assert_eq!(installed["written"].as_array().unwrap().len(), 4);
    let manual = answer(home, &["manual"]);
    assert!(manual["text"].as_str().unwrap().contains(".TH"));
    let unit = answer(home, &["service", "install", "--dry-run"]);
    assert_eq!(unit["written"], false, "{unit}");
    assert!(unit["unit_text"].as_str().unwrap().contains("ExecStart="));
    let removed = answer(home, &["service", "remove"]);
    assert_eq!(removed["removed"], false, "{removed}");
    assert_eq!(answer(home, &["service", "status"])["installed"], false);
}

/// Whatever a command answers in words is a document too.
#[test]
fn no_command_of_the_demo_answers_in_bare_text() {
    let home = TempDir::new().unwrap();
    for args in [
        &["calendar", "--week"][..],
        &["calendar", "--hours"],
        &["calendar", "--icalendar"],
        &["today"],
        &["frost"],
        &["rust"],
        &["stages"],
        &["trees", "A1"],
        &["map"],
        &["junipers"],
        &["replanting"],
        &["choose", "pear"],
        &["ask", "peach", "leaf spots"],
        &["weather"],
        &["measure", "chill"],
        &["note", "low", "27F"],
    ] {
        answer(home.path(), &[&["demo"], args].concat());
    }
    for args in [&["--help"][..], &["--version"], &["import", "--help"]] {
        let page = answer(home.path(), args);
        assert!(page["text"].as_str().unwrap().contains("budtide"));
    }
}

#[test]
fn errors_are_documents_on_standard_error() {
    let home = orchard();
    let home = home.path();
    for (args, code) in [
        (&["calender"][..], 2),
        (&["why"], 2),
        (&["changes", "soon"], 2),
        (&["calendar", "--week", "--list"], 2),
        (&["calendar", "--crop", "appel"], 1),
        (&["why", "nothing-2026"], 1),
        (&["note", "low", "cold"], 1),
        (&["undo"], 1),
        (&["edit", "1", "--say", "x"], 1),
        (&["import", "nowhere.csv"], 1),
        (&["setup", "--latitude", "39"], 1),
        (&["demo", "weather", "fetch"], 1),
        (&["rehearse"], 1),
    ] {
        let error = refusal(home, args);
        assert_eq!(error["exit_code"], code, "{args:?}: {error}");
        assert_eq!(error["faults"], Value::Array(Vec::new()), "{args:?}");
    }
    let (code, _, err) = run(home, &["service", "run", "--once", "--json"]);
    assert_eq!(code, Some(1), "{err}");
}

#[test]
fn faults_of_files_are_told_one_by_one() {
    let home = orchard();
    let place = home.path().join("config/budtide/place.toml");
    fs::write(&place, PLACE.replace("6b", "7c").replace("38.9", "389")).unwrap();
    for args in [&["check"][..], &["calendar"], &["note", "low", "27F"]] {
        let error = refusal(home.path(), args);
        let faults = error["faults"].as_array().unwrap();
        assert_eq!(faults.len(), 2, "{args:?}: {error}");
        let zone = faults.iter().find(|one| one["key"] == "hardiness_zone");
        let zone = zone.unwrap();
        assert_eq!((&zone["line"], &zone["column"]), (&5.into(), &18.into()));
        assert!(zone["text"].as_str().unwrap().starts_with("no zone \"7c\""));
        assert!(zone["file"].as_str().unwrap().ends_with("place.toml"));
    }
}
