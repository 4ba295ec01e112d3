//! The command as its user runs it: the real binary in a clean environment.
//!
//! The demo is invented, so its pages are held by golden files in
//! `tests/fixtures/cli/`: a change of wording or of a date is to be seen. With
//! `BUDTIDE_WRITE_EXPECTED=1` they are written anew; read the difference.

use std::collections::HashMap;
use std::fs;
use std::io::Read;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::{LazyLock, Mutex};
use tempfile::TempDir;

const PLACE: &str = "name = \"Hill Farm\"\nlatitude = 38.9\nlongitude = -78.2\n\
     elevation = \"850 ft\"\ntime_zone = \"America/New_York\"\nhardiness_zone = \"6b\"\n";

const REGISTER: &str = "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\ncultivar = \"Liberty\"\nplanted = 2012\n\n\
     [[tree]]\nid = \"C1\"\ncrop = \"pear\"\nplanted = 2015\n\n\
     [[juniper]]\nid = \"J1\"\nwhere = \"east fence\"\ndistance = \"60 ft\"\n";

/// The command with no variable of ours, and `home` as everybody's folder.
fn command(home: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_budtide"));
    command
        .env_clear()
        .env("HOME", home)
        .env("XDG_CONFIG_HOME", home.join("config"))
        .env("XDG_DATA_HOME", home.join("data"))
        .env("XDG_STATE_HOME", home.join("state"))
        .env("XDG_CACHE_HOME", home.join("cache"))
        .env("XDG_RUNTIME_DIR", home.join("run"))
        .current_dir(home)
        .args(args)
        .stdin(Stdio::null());
    command
}

/// What a run gave.
#[derive(Clone)]
struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

impl From<Output> for Ran {
    fn from(output: Output) -> Self {
        Ran {
            code: output.status.code(),
            out: String::from_utf8(output.stdout).expect("the output is UTF-8"),
            err: String::from_utf8(output.stderr).expect("the errors are UTF-8"),
        }
    }
}

fn run(home: &Path, args: &[&str]) -> Ran {
    command(home, args).output().unwrap().into()
}

/// What the demo prints; each page is made once for all tests.
fn demo(args: &[&str]) -> String {
    static PAGES: LazyLock<Mutex<HashMap<Vec<String>, String>>> = LazyLock::new(Mutex::default);
    let key: Vec<String> = args.iter().map(|arg| (*arg).to_owned()).collect();
    if let Some(page) = PAGES.lock().unwrap().get(&key) {
        return page.clone();
    }
    let home = TempDir::new().unwrap();
    let ran = run(home.path(), &[&["demo"], args].concat());
    assert_eq!(ran.code, Some(0), "{args:?}: {}", ran.err);
    assert_eq!(ran.err, "", "{args:?}");
    let kept: Vec<_> = fs::read_dir(home.path()).unwrap().collect();
    assert!(kept.is_empty(), "the demo left files behind: {kept:?}");
    PAGES.lock().unwrap().insert(key, ran.out.clone());
    ran.out
}

/// A page is plain text of at most 80 characters a line.
fn plain_page(text: &str) {
    assert!(!text.trim().is_empty());
    assert!(text.ends_with('\n'));
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "over 80 columns: {line}");
        assert_eq!(line.trim_end(), line, "blanks at the end: {line:?}");
        assert!(!line.contains(char::is_control), "{line:?}");
    }
}

fn expect(name: &str, got: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures/cli")
        .join(format!("{name}.txt"));
    if std::env::var_os("BUDTIDE_WRITE_EXPECTED").is_some() {
        fs::write(&path, got).unwrap();
    }
    let wanted = fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(got, wanted, "{}", path.display());
}

/// A folder of the keeper's with these files in it.
fn folder(place: &str, register: &str) -> TempDir {
    let home = TempDir::new().unwrap();
    let own = home.path().join("config/budtide");
    fs::create_dir_all(&own).unwrap();
    fs::write(own.join("place.toml"), place).unwrap();
    fs::write(own.join("register.toml"), register).unwrap();
    home
}

/// Days of an invented weather, 2019-01-01 to 2025-12-31: a sine of the year.
fn days() -> String {
    use chrono::{Datelike, NaiveDate};
    let first = NaiveDate::from_ymd_opt(2019, 1, 1).unwrap();
    let mut text = "date,tmin_f,tmax_f,rain_in\n".to_owned();
    for day in first.iter_days().take_while(|day| day.year() < 2026) {
        let turn = f64::from(day.ordinal0()) / 365.25 * std::f64::consts::TAU;
        let mean = 53.0 - 22.0 * (turn - 0.3).cos() + f64::from(day.day() % 7);
        let rain = if day.day() % 5 == 0 { 0.3 } else { 0.0 };
        text.push_str(&format!(
            "{day},{:.0},{:.0},{rain}\n",
            mean - 11.0,
            mean + 11.0
        ));
    }
    text
}

// --- the demo's pages ---

#[test]
fn the_demo_opens_with_its_calendar() {
    let page = demo(&[]);
    plain_page(&page);
    assert_eq!(page, demo(&["calendar"]));
    expect("demo", &page);
}

#[test]
fn the_demo_of_today() {
    let page = demo(&["today"]);
    plain_page(&page);
    expect("demo_today", &page);
}

#[test]
fn the_demo_of_what_changed() {
    let page = demo(&["changes", "2026-04-20"]);
    plain_page(&page);
    expect("demo_changes_2026-04-20", &page);
    plain_page(&demo(&["changes", "2026-04-22"]));
}

#[test]
fn why_the_rust_cover() {
    let page = demo(&["why", "rust-cover-apple-2026"]);
    plain_page(&page);
    expect("demo_why_rust-cover-apple-2026", &page);
}

/// Each page of a spray names its caution, and each page its name and source.
#[test]
fn why_of_other_tasks() {
    for name in [
        "prune-pome-apple-2027",
        "frost-check-2026-apr21",
        "trap-codling-2026",
        "gall-removal-2027",
        "harvest-apple-apple-2026",
    ] {
        let page = demo(&["why", name]);
        plain_page(&page);
        assert!(page.contains(&format!("[{name}]")), "{page}");
        for head in ["When:", "Opens:", "Closes:", "How sure:", "How:"] {
            assert!(
                page.lines().any(|line| line.starts_with(head)),
                "{head}\n{page}"
            );
        }
    }
    let spray = demo(&["why", "scab-cover-apple-2026"]);
    plain_page(&spray);
    assert!(
        spray.contains("The label of the product in hand is the law"),
        "{spray}"
    );
}

#[test]
fn the_list_names_every_task_once_and_why_knows_it() {
    let page = demo(&["calendar", "--list"]);
    plain_page(&page);
    let json = json_of(&["calendar", "--json"]);
    let tasks = json["tasks"].as_array().unwrap();
    assert!(tasks.len() > 50);
    for task in tasks {
        let name = format!("[{}]", task["id"].as_str().unwrap());
        // What was missed is past helping: the list leaves it out.
        let times = usize::from(task["state"] != "missed");
        assert_eq!(page.matches(&name).count(), times, "{name}");
    }
}

#[test]
fn the_calendar_of_one_crop() {
    let page = demo(&["calendar", "--crop", "apple"]);
    plain_page(&page);
    assert!(page.contains("Rust cover"));
    assert!(!page.contains("Pick pears"));
    assert_eq!(page, demo(&["calendar", "--crop", "crabapple"]));
}

#[test]
fn parts_of_the_calendar() {
    for part in [
        &["--week"][..],
        &["--month"],
        &["--hours"],
        &["--tree", "a1"],
        &["--tree", "J1"],
        &["--chore", "prune-pome"],
        &["--chore", "whitewash"],
        &["--list"],
    ] {
        let mut args = vec!["calendar"];
        args.extend(part);
        plain_page(&demo(&args));
    }
    assert!(demo(&["calendar", "--tree", "A1"]).contains("York Imperial"));
    assert!(demo(&["calendar", "--hours"]).contains("week from"));
    let all = json_of(&["calendar", "--json"]);
    let tree = json_of(&["calendar", "--tree", "A1", "--json"]);
    let tasks = |plan: &serde_json::Value| plan["tasks"].as_array().unwrap().clone();
    assert!(tasks(&tree).len() < tasks(&all).len());
    for task in tasks(&tree) {
        let trees = task["trees"].as_array().unwrap();
        assert!(trees.iter().any(|id| id == "A1"), "{task}");
    }
    let chore = json_of(&["calendar", "--chore", "prune-pome", "--json"]);
    assert!(!tasks(&chore).is_empty());
    assert!(
        tasks(&chore)
            .iter()
            .all(|task| task["chore"] == "prune-pome")
    );
    let home = TempDir::new().unwrap();
    for (args, code, said) in [
        (&["--tree", "A99"][..], 1, "no tree or juniper \"A99\""),
        (&["--chore", "oil"], 1, "name one of them: oil-delayed"),
        (&["--chore", "prune-pone"], 1, "did you mean \"prune-pome\""),
        (&["--week", "--list"], 2, "two forms of the calendar"),
    ] {
        let ran = run(home.path(), &[&["demo", "calendar"], args].concat());
        assert_eq!(ran.code, Some(code), "{args:?}");
        assert!(ran.err.contains(said), "{args:?}: {}", ran.err);
    }
}

/// Crop, tree and chore narrow every form of the calendar, and each other.
#[test]
fn filters_of_the_calendar_go_together() {
    let ids = |args: &[&str]| -> Vec<String> {
        let plan = json_of(&[&["calendar", "--json"], args].concat());
        let tasks = plan["tasks"].as_array().unwrap().clone();
        tasks
            .iter()
            .filter(|task| task["state"] != "missed")
            .map(|task| task["id"].as_str().unwrap().to_owned())
            .collect()
    };
    for filter in [
        &["--crop", "apple"][..],
        &["--crop", "apple", "--tree", "A1"],
        &["--tree", "A1", "--chore", "prune-pome"],
    ] {
        let own = ids(filter);
        assert!(!own.is_empty(), "{filter:?}");
        assert!(own.len() < ids(&[]).len());
        let list = demo(&[&["calendar", "--list"], filter].concat());
        plain_page(&list);
        assert!(list.contains("Only "), "{list}");
        for id in ids(&[]) {
            let shown = list.contains(&format!("[{id}]"));
            assert_eq!(shown, own.contains(&id), "{filter:?}: {id}");
        }
        let file = demo(&[&["calendar", "--icalendar"], filter].concat());
        assert!(file.matches("BEGIN:VEVENT").count() <= own.len());
        for form in ["--week", "--month"] {
            plain_page(&demo(&[&["calendar", form], filter].concat()));
        }
    }
    let both = demo(&["calendar", "--crop", "peach", "--tree", "A1"]);
    assert!(
        both.contains("No task of the coming year is for that."),
        "{both}"
    );
}

#[test]
fn the_stages_and_the_trees() {
    let stages = demo(&["stages"]);
    plain_page(&stages);
    assert!(stages.contains("full bloom"));
    let trees = demo(&["trees"]);
    plain_page(&trees);
    assert!(trees.contains("York Imperial"));
    assert!(trees.contains("J5"));
}

#[test]
fn the_demo_on_other_days() {
    for day in ["1990-01-01", "9999-12-31"] {
        let page = demo(&["today", "--as-of", day]);
        plain_page(&page);
        assert!(page.contains("Tansy Bend"), "{page}");
    }
    let april = demo(&["--as-of", "2026-04-20"]);
    plain_page(&april);
    assert!(
        april.starts_with("Tansy Bend, Monday 20 April 2026"),
        "{april}"
    );
}

// --- JSON ---

fn json_of(args: &[&str]) -> serde_json::Value {
    let text = demo(args);
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{args:?}: {error}"))
}

fn keys(value: &serde_json::Value) -> Vec<&str> {
    let mut keys: Vec<&str> = value
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    keys.sort_unstable();
    keys
}

const TASK: [&str; 21] = [
    "best",
    "cautions",
    "chore",
    "closes",
    "crop",
    "day",
    "days",
    "id",
    "kind",
    "materials",
    "minutes",
    "no_place_minutes",
    "opens",
    "plants",
    "reasons",
    "say",
    "season",
    "state",
    "trees",
    "wait",
    "worth",
];

#[test]
fn json_has_its_keys() {
    let plan = json_of(&["calendar", "--json"]);
    assert_eq!(
        keys(&plan),
        [
            "caveats",
            "notes",
            "past_years",
            "place",
            "tasks",
            "today",
            "until",
            "weather_credits",
            "weather_seen_until",
            "weeks"
        ]
    );
    assert_eq!(plan, json_of(&["today", "--json"]));
    let task = json_of(&["why", "rust-cover-apple-2026", "--json"]);
    assert_eq!(keys(&task), TASK);
    assert_eq!(keys(&plan["tasks"][0]), TASK);
    assert_eq!(
        keys(&task["opens"]),
        ["basis", "because", "p10", "p50", "p90"]
    );
    let trees = json_of(&["trees", "--json"]);
    assert_eq!(keys(&trees), ["junipers", "trees"]);
    let stages = json_of(&["stages", "--json"]);
    assert_eq!(keys(&stages[0]), ["crop", "cultivar", "stages", "year"]);
    let changes = json_of(&["changes", "2026-04-20", "--json"]);
    assert_eq!(
        keys(&changes[0]),
        [
            "because",
            "closes",
            "closes_before",
            "opens",
            "opens_before",
            "say",
            "task",
            "what"
        ]
    );
}

// --- the command line ---

#[test]
fn help_is_a_page_too() {
    let home = TempDir::new().unwrap();
    for args in [
        &["--help"][..],
        &["-h"],
        &["help"],
        &["help", "import"],
        &["demo", "--help"],
        &["demo", "help", "why"],
        &["calendar", "--help"],
        &["today", "--help"],
        &["why", "--help"],
        &["trees", "--help"],
        &["stages", "--help"],
        &["changes", "--help"],
        &["import", "--help"],
        &["check", "--help"],
    ] {
        let ran = run(home.path(), args);
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{args:?}");
        plain_page(&ran.out);
        assert!(ran.out.contains("Usage: budtide"), "{args:?}");
    }
    let version = run(home.path(), &["--version"]).out;
    assert_eq!(
        version.trim(),
        concat!("budtide ", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn a_command_line_that_is_not_understood() {
    let home = TempDir::new().unwrap();
    for (args, wanted) in [
        (&["calender"][..], "'calendar'"),
        (&["frobnicate"], "'frobnicate'"),
        (&[], "Usage: budtide"),
        (&["why"], "<NAME>"),
        (&["changes"], "<SINCE>"),
        (&["changes", "soon"], "write it as 2026-03-01"),
        (
            &["today", "--as-of", "2026-02-30"],
            "write it as 2026-03-01",
        ),
        (&["today", "--as-of", ""], "--as-of"),
        (&["today", "--folder"], "--folder"),
        (
            &["calendar", "--list", "--week"],
            "--list and --week are two forms of the calendar",
        ),
        (
            &["demo", "calendar", "--hours", "--crop", "apple"],
            "leave out --crop",
        ),
        (&["demo", "check"], "'check'"),
        (&["calendar", "--jsn"], "'--json'"),
    ] {
        let ran = run(home.path(), args);
        assert_eq!(ran.code, Some(2), "{args:?}: {}", ran.err);
        assert!(ran.err.contains(wanted), "{args:?}: {}", ran.err);
        assert_eq!(ran.out, "", "{args:?}");
    }
}

#[test]
fn an_unknown_task_or_crop() {
    let home = TempDir::new().unwrap();
    let ran = run(home.path(), &["demo", "why", "rust-cover-aple-2026"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""));
    plain_page(&ran.err);
    assert!(
        ran.err.contains("mean \"rust-cover-apple-2026\"?"),
        "{}",
        ran.err
    );
    let ran = run(home.path(), &["demo", "calendar", "--crop", "appel"]);
    assert_eq!(ran.code, Some(1));
    assert_eq!(
        ran.err,
        "no crop named \"appel\"; did you mean \"apple\"?\n"
    );
    let ran = run(home.path(), &["demo", "calendar", "--crop", ""]);
    assert_eq!(ran.code, Some(1));
    plain_page(&ran.err);
}

// --- to whom it is written ---

#[test]
fn what_is_no_terminal_gets_no_colour() {
    let home = TempDir::new().unwrap();
    for (variable, value) in [
        ("NO_COLOR", "1"),
        ("TERM", "xterm-256color"),
        ("COLORTERM", "truecolor"),
    ] {
        let output = command(home.path(), &["demo", "trees"])
            .env(variable, value)
            .output()
            .unwrap();
        assert!(output.status.success());
        assert!(!output.stdout.contains(&0x1b), "{variable}={value}");
    }
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let home = TempDir::new().unwrap();
    let mut child = command(home.path(), &["demo", "calendar", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut err = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut err)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert_eq!(err, "");
}

// --- the keeper's own folder ---

#[test]
fn check_of_files_in_order() {
    let home = folder(PLACE, REGISTER);
    let ran = run(home.path(), &["check"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    assert!(ran.out.contains("in order"), "{}", ran.out);
    assert!(ran.out.contains("Hill Farm: 2 trees"), "{}", ran.out);
    assert!(ran.out.contains("No weather is known yet"), "{}", ran.out);
    assert!(!home.path().join("data").exists(), "check keeps nothing");
}

#[test]
fn check_of_files_with_faults() {
    let home = folder(
        &PLACE.replace("6b", "7c"),
        &REGISTER.replace("apple", "appel"),
    );
    for args in [
        &["check"][..],
        &["calendar"],
        &["today", "--as-of", "2026-03-01"],
    ] {
        let ran = run(home.path(), args);
        assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""), "{args:?}");
        assert!(
            ran.err
                .contains("place.toml:6:18: hardiness_zone: no zone \"7c\""),
            "{}",
            ran.err
        );
        assert!(
            ran.err
                .contains("register.toml:3:8: tree[1].crop: no crop named \"appel\""),
            "{}",
            ran.err
        );
        assert_eq!(
            ran.err.contains("2 faults in "),
            args == ["check"],
            "{}",
            ran.err
        );
    }
}

#[test]
fn a_folder_that_is_not_there() {
    let home = TempDir::new().unwrap();
    let missing = home.path().join("nowhere");
    let missing = missing.to_str().unwrap();
    for args in [&["check"][..], &["calendar"], &["trees", "--json"]] {
        let ran = run(home.path(), &[args, &["--folder", missing]].concat());
        assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""), "{args:?}");
        assert!(
            ran.err
                .contains(&format!("place.toml: there is no such file in {missing}")),
            "{}",
            ran.err
        );
        assert!(ran.err.contains("and no register.toml"), "{}", ran.err);
    }
    assert!(!Path::new(missing).exists(), "looking makes no folder");
}

#[test]
fn days_brought_in_change_the_calendar() {
    let home = folder(PLACE, REGISTER);
    let own = home.path().join("config/budtide");
    let own = own.to_str().unwrap();
    let file = home.path().join("days.csv");
    fs::write(&file, days()).unwrap();
    let import = |args: &[&str]| {
        let all = [&["import", "days.csv", "--as-of", "2026-01-01"], args].concat();
        let ran = run(home.path(), &all);
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
        plain_page(&ran.out);
        ran.out
    };
    let before = bloom(home.path());
    assert!(import(&["--dry-run"]).contains("Nothing was kept"));
    assert!(!home.path().join("data").exists());
    assert!(import(&[]).contains("2557 new") || import(&[]).contains("known already"));
    assert!(import(&[]).contains("known already"));
    assert_ne!(bloom(home.path()), before, "the weather is not used");
    let checked = run(home.path(), &["check", "--as-of", "2026-01-01"]).out;
    assert!(
        checked.contains("Weather is known until 2025-12-31"),
        "{checked}"
    );
    for args in [&["calendar"][..], &["today"], &["stages"], &["trees"]] {
        let ran = run(home.path(), &[args, &["--as-of", "2026-01-01"]].concat());
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
        plain_page(&ran.out);
    }
    // By --folder, data lie beside the files; those of the home stay apart.
    let ran = run(home.path(), &["check", "--folder", own]);
    assert!(ran.out.contains("No weather is known yet"), "{}", ran.out);
}

/// When apple is in full bloom, as JSON.
fn bloom(home: &Path) -> serde_json::Value {
    let ran = run(home, &["stages", "--json", "--as-of", "2026-01-01"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    let groups: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let mut groups = groups.as_array().unwrap().iter();
    let apple = groups.find(|group| group["crop"] == "apple").unwrap();
    let mut stages = apple["stages"].as_array().unwrap().iter();
    let stage = stages.find(|stage| stage["stage"] == "full bloom").unwrap();
    stage["when"].clone()
}

#[test]
fn faults_of_an_import() {
    let home = folder(PLACE, REGISTER);
    fs::write(home.path().join("bad.csv"), "when,what\nnow,cold\n").unwrap();
    for (args, wanted) in [
        (&["import", "nowhere.csv"][..], "nowhere.csv"),
        (&["import", "bad.csv"], "bad.csv"),
        (
            &["import", "bad.csv", "--set", "unit.low"],
            "write --set KEY=VALUE",
        ),
        (&["import", "bad.csv", "--set", "unit.lo=F"], "unit.lo"),
    ] {
        let ran = run(home.path(), args);
        assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""), "{args:?}");
        assert!(ran.err.contains(wanted), "{args:?}: {}", ran.err);
    }
}

/// A file where the data folder should be refuses to whoever runs the test;
/// a folder's permission bits would not refuse root.
#[test]
fn weather_that_cannot_be_kept() {
    let home = folder(PLACE, REGISTER);
    fs::write(home.path().join("data"), "no folder").unwrap();
    fs::write(home.path().join("days.csv"), days()).unwrap();
    let ran = run(home.path(), &["import", "days.csv"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""));
    let data = home.path().join("data/budtide").display().to_string();
    assert!(
        ran.err
            .starts_with(&format!("the folder {data} cannot be made: ")),
        "{}",
        ran.err
    );
}

/// A data folder without leave to write, as a guest of the machine meets it.
#[cfg(unix)]
#[test]
fn a_data_folder_that_may_only_be_read() {
    use std::os::unix::fs::PermissionsExt;
    let home = folder(PLACE, REGISTER);
    let data = home.path().join("data/budtide");
    fs::create_dir_all(&data).unwrap();
    fs::write(home.path().join("days.csv"), days()).unwrap();
    fs::set_permissions(&data, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(data.join("probe"), "").is_ok() {
        eprintln!("skipped: this user may write anywhere");
        return;
    }
    let ran = run(home.path(), &["import", "days.csv"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""));
    assert!(ran.err.contains(&data.display().to_string()), "{}", ran.err);
}

/// Weather kept in a file that is none: the text names the file, and no panic.
#[test]
fn a_planting_far_ahead_is_a_fault_with_place_and_mend() {
    let home = folder(PLACE, &REGISTER.replace("planted = 2012", "planted = 2103"));
    for args in [&["check"][..], &["trees"], &["choose", "apple"]] {
        let ran = run(home.path(), args);
        assert_eq!(ran.code, Some(1), "{args:?}");
        let told = "register.toml:5:11: tree[1].planted: 2103 is still to come";
        assert!(ran.err.contains(told), "{args:?}: {}", ran.err);
        assert!(ran.err.contains("[[wanted]]"), "{}", ran.err);
    }
}

#[test]
fn check_hints_at_cultivars_and_at_crops_too_tender() {
    let register = REGISTER
        .replace("Liberty", "Libertty")
        .replace("pear", "peach");
    let home = folder(&PLACE.replace("6b", "3b"), &register);
    let ran = run(home.path(), &["check"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let said = ran.out.replace("\n  ", " ");
    assert!(
        said.contains("register.toml, A1: 'Libertty' (apple) is in no list"),
        "{said}"
    );
    assert!(said.contains("Did you mean 'Liberty'?"), "{said}");
    assert!(
        said.contains("register.toml, C1: peach in zone 3b, but zone"),
        "{said}"
    );
}

#[test]
fn kept_weather_that_is_damaged() {
    let home = folder(PLACE, REGISTER);
    let data = home.path().join("data/budtide");
    fs::create_dir_all(&data).unwrap();
    let file = data.join(budtide::store::weather::FILE);
    fs::write(&file, "this is no weather").unwrap();
    let ran = run(home.path(), &["calendar", "--as-of", "2026-01-01"]);
    assert!(ran.code == Some(0) || ran.code == Some(1), "{}", ran.err);
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
}

#[test]
fn the_demo_shows_its_weather() {
    let page = demo(&["weather"]);
    plain_page(&page);
    expect("demo_weather", &page);
    let home = TempDir::new().unwrap();
    let ran = run(home.path(), &["demo", "weather", "fetch"]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    assert!(ran.err.contains("nothing to fetch"), "{}", ran.err);
}
