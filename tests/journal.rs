//! The keeper's notes, as they are written in the field: the real binary on a
//! folder of its own, and complete texts.

mod fed;
mod shifted;
mod undone;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

const PLACE: &str = "name = \"Hill Farm\"\nlatitude = 38.9\nlongitude = -78.2\n\
     elevation = \"850 ft\"\ntime_zone = \"America/New_York\"\nhardiness_zone = \"6b\"\n";

const REGISTER: &str = "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\ncultivar = \"Liberty\"\nplanted = 2012\n\n\
     [[tree]]\nid = \"P1\"\ncrop = \"peach\"\ncultivar = \"Redhaven\"\nplanted = 2020-04-11\nrow = \"D\"\n\n\
     [[juniper]]\nid = \"J1\"\nwhere = \"east fence\"\ndistance = \"60 ft\"\n";

fn folder(units: &str) -> TempDir {
    let home = TempDir::new().unwrap();
    fs::write(
        home.path().join("place.toml"),
        format!("{PLACE}units = \"{units}\"\n"),
    )
    .unwrap();
    fs::write(home.path().join("register.toml"), REGISTER).unwrap();
    home
}

fn command_on(day: &str, home: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_budtide"));
    command
        .env_clear()
        .env("HOME", home)
        .args(["--folder", home.to_str().unwrap(), "--as-of", day])
        .args(args)
        .stdin(Stdio::null());
    command
}

/// What a run says: its text, or its error behind `!`.
fn says(home: &Path, args: &[&str]) -> String {
    says_on("2026-04-22", home, args)
}

fn says_on(day: &str, home: &Path, args: &[&str]) -> String {
    let output = command_on(day, home, args).output().unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    if output.status.success() {
        assert_eq!(err, "", "{args:?}");
        out
    } else {
        assert_eq!(
            (out.as_str(), output.status.code()),
            ("", Some(1)),
            "{args:?}: {err}"
        );
        format!("!{err}")
    }
}

/// Every refusal says what is wrong and leaves nothing behind.
#[test]
fn what_cannot_be_is_refused_in_clear_words() {
    let home = folder("us");
    let home = home.path();
    for (args, text) in [
        (
            &["note", "stage", "appel", "full pink"][..],
            "!no crop is called \"appel\"; the nearest is \"apple\"; nothing was noted\n",
        ),
        (
            &["note", "stage", "apple", "full-blom"],
            "!no stage of apple is called \"full-blom\"; the nearest are \"full bloom\", \"full\n  \
             pink\"; nothing was noted\n",
        ),
        (
            &["note", "stage", "apple", "full bloom", "--on", "05-01"],
            "!2026-05-01 is still to come (today is 2026-04-22); nothing was noted\n",
        ),
        (
            &["note", "stage", "apple", "full bloom", "--on", "soon"],
            "!\"soon\" is not a day; write today, yesterday, \"14 Apr\", 04-14 or 2026-04-14\n",
        ),
        (
            &[
                "note",
                "shoots",
                "14in",
                "--tree",
                "P1",
                "--on",
                "2020-04-10",
            ],
            "!P1 was planted in 2020-04-11, after 2020-04-10; nothing was noted\n",
        ),
        (
            &["note", "shoots", "14in", "--tree", "Q9"],
            "!no tree is called \"Q9\"; known are A1, P1; nothing was noted\n",
        ),
        (
            &["note", "stage", "peach", "full bloom", "--tree", "A1"],
            "!A1 is an apple, not a peach; nothing was noted\n",
        ),
        (
            &["note", "low", "28C"],
            "!a low of 28 °C (82 °F)? Did you mean 28 °F (-2.2 °C)? Write 28F, or 28C with\n  \
             --sure; nothing was noted\n",
        ),
        (
            &["note", "low", "cold"],
            "!\"cold\" is no temperature; write 28F or -2C\n",
        ),
        (
            &["note", "buds", "peach", "100/60"],
            "!100 dead of 60 cut cannot be; write dead first, 60/100; nothing was noted\n",
        ),
        (
            &["note", "damage", "hial", "apple", "30%"],
            "!no cause of damage is called \"hial\"; the nearest is \"hail\"; nothing was noted\n",
        ),
        (
            &["note", "damage", "hail", "apple", "130%"],
            "!a share of 130% cannot be: it lies between 0 and 100 %; nothing was noted\n",
        ),
        (
            &["note", "spray", "captn", "--crop", "apple"],
            "!no material is called \"captn\"; the nearest is \"captan\"; nothing was noted\n",
        ),
        (
            &["undo"],
            "!nothing is noted yet, so there is nothing to change\n",
        ),
        (
            &["journal"],
            "Nothing is noted yet. `budtide note --help` shows how.\n",
        ),
    ] {
        assert_eq!(says(home, args), text, "{args:?}");
    }
    assert!(!home.join("data/journal.sqlite").exists());
    // The metric keeper's bare 28 is asked back too.
    let metric = folder("metric");
    assert_eq!(
        says(metric.path(), &["note", "low", "28"]),
        "!a low of 28 °C (82 °F)? Did you mean 28 °F (-2.2 °C)? Write 28F, or 28C with\n  \
         --sure; nothing was noted\n"
    );
    assert!(says(metric.path(), &["note", "low", "28F"]).starts_with("Noted as 1: low of -2.2 °C"));
}

#[test]
fn notes_stand_are_changed_and_taken_back() {
    let home = folder("us");
    let home = home.path();
    let said = says(
        home,
        &["note", "stage", "Apples", "full pink", "--on", "yesterday"],
    );
    assert!(
        said.starts_with("Noted as 1: apple in full pink, 2026-04-21.\n"),
        "{said}"
    );
    assert!(
        said.ends_with("`budtide undo 1` takes it back.\n"),
        "{said}"
    );
    assert_eq!(
        says(
            home,
            &["note", "stage", "apple", "full pink", "--on", "04-21"]
        ),
        "!this stands already, as number 1: apple in full pink; nothing was noted\n"
    );
    assert_eq!(
        says(home, &["note", "stage", "apple", "green tip"]),
        "!full pink is a later stage than green tip, and was noted for 2026-04-21: stages\n  \
         do not go backwards. If that note is wrong, `budtide journal --kind stage`\n  \
         shows its number, and `budtide undo NUMBER` takes it back; nothing was noted\n"
    );
    let spray = says(
        home,
        &[
            "note",
            "spray",
            "captan,myclobutanil",
            "--tree",
            "A1",
            "--rate",
            "3 lb/100 gal",
            "--against",
            "cedar-apple-rust",
            "--wind",
            "4 mph W",
            "--at-time",
            "18:30",
            "--until",
            "19:15",
            "--by",
            "J. Doe",
        ],
    );
    // What follows tells of bees, while something blooms.
    let head = "Noted as 2: sprayed captan and myclobutanil on apple [A1], 2026-04-22.\n\
         Keep people and animals out until 23 Apr 19:15.\n\
         No picking before 6 May 2026.\n\
         The re-entry interval is from the list (captan: 24 hours (US, New England); 2 to\n  \
         24 days by task (Canada)).\n\
         The days to harvest is from the list (myclobutanil: 14 days on apple (Canada;\n  \
         the same in the US from memory)).\n\
         The label of the product in your hand decides both.\n\
         captan noted 22 Apr: oil within 14 days burns leaves.\n";
    assert!(spray.starts_with(head), "{spray}");
    assert!(
        spray.ends_with("\n`budtide undo 2` takes it back.\n"),
        "{spray}"
    );
    assert_eq!(
        says(home, &["journal", "sprays"]),
        "Spray log, Hill Farm\n\n2026-04-22  number 2\n  \
         time               18:30 to 19:15\n  crop               apple\n  \
         trees              A1\n  active ingredient  captan (FRAC M04), myclobutanil (FRAC 3)\n  \
         label              not noted\n  rate               3 lb/100 gal\n  \
         amount             not noted\n  area               not noted\n  \
         against            cedar-apple-rust\n  wind               4 mph W\n  \
         applicator         J. Doe\n  no entry before    2026-04-23 19:15\n  \
         no picking before  2026-05-06\n  note               not noted\n  \
         recorded           2026-04-22 07:00\n"
    );
    assert!(
        says(
            home,
            &["edit", "2", "--set", "amount=2 gal", "--say", "leaves dry"]
        )
        .starts_with("Number 2 now says:\n")
    );
    assert_eq!(
        says(home, &["edit", "2", "--set", "colour=red"]),
        "!a note of spray has no field \"colour\"; it has materials, label, rate, amount,\n  \
         area, against, by, wind, start, end, reentry, harvest_from; nothing was\n  \
         changed\n"
    );
    let csv = says(home, &["journal", "--kind", "spray", "--csv"]);
    assert!(csv.contains("2 gal") && csv.lines().count() == 2, "{csv}");
    assert!(says(home, &["undo"]).starts_with("Taken back, number 2: sprayed"));
    assert!(says(home, &["journal", "sprays"]).contains("amount             not noted"));
    assert!(says(home, &["journal", "2"]).contains("taken back"));
    assert_eq!(says(home, &["undo", "7"]), "!the journal has no entry 7\n");
}

/// What is noted and taken back leaves plan, season and journal as they were.
#[test]
fn noting_and_undoing_leaves_everything_equal() {
    let home = folder("us");
    let home = home.path();
    let plan = || says(home, &["calendar", "--json"]);
    let stages = || says(home, &["stages", "--json"]);
    let before = (plan(), stages());
    let listed: serde_json::Value = serde_json::from_str(&before.0).unwrap();
    let task = listed["tasks"][0]["id"].as_str().unwrap().to_owned();
    let mut moved = 0;
    for args in [
        &["note", "stage", "apple", "full bloom", "--on", "04-20"][..],
        &["note", "low", "24F", "--spot", "D"],
        &["note", "buds", "peach", "60/100"],
        &["note", "removal", "P1", "borers"],
        &["note", "rain", "0.4in"],
        &["skip", &task],
    ] {
        let said = says(home, args);
        assert!(said.starts_with("Noted as"), "{args:?}: {said}");
        moved += usize::from(plan() != before.0);
        says(home, &["undo"]);
        assert_eq!((plan(), stages()), before, "{args:?}");
    }
    assert!(moved >= 2, "a note moves the calendar: {moved}");
    assert_eq!(says(home, &["journal", "--json"]), "[]\n");
}

const THREE_TREES: &str = "[[tree]]\nid = \"A1\"\ncrop = \"apple\"\nplanted = 2010\n\n\
     [[tree]]\nid = \"A2\"\ncrop = \"apple\"\nplanted = 2010\n\n\
     [[tree]]\nid = \"A3\"\ncrop = \"apple\"\nplanted = 2010\n\n\
     [[tree]]\nid = \"P1\"\ncrop = \"peach\"\nplanted = 2020\n\n\
     [[juniper]]\nid = \"J1\"\nwhere = \"east fence\"\ndistance = \"60 ft\"\n";

/// A task is done tree by tree, with its share of plants and minutes.
#[test]
fn a_task_is_done_to_some_of_its_trees() {
    let home = folder("us");
    let home = home.path();
    fs::write(home.join("register.toml"), THREE_TREES).unwrap();
    let tasks = || {
        let plan = says(home, &["calendar", "--json"]);
        let plan: serde_json::Value = serde_json::from_str(&plan).unwrap();
        plan["tasks"].as_array().unwrap().clone()
    };
    let whole = serde_json::json!(["A1", "A2", "A3"]);
    let before = tasks()
        .into_iter()
        .find(|task| {
            let coming = task["state"] == "coming";
            coming && task["trees"] == whole && task["minutes"].is_array()
        })
        .unwrap();
    let id = before["id"].as_str().unwrap().to_owned();
    let now = || {
        tasks()
            .into_iter()
            .find(|task| task["id"] == id.as_str())
            .unwrap()
    };
    assert_eq!(
        says(home, &["done", &id, "--tree", "P1"]).replace("\n ", ""),
        format!("!P1 is not in {id} (A1 A2 A3); nothing was noted\n")
    );
    let said = says(home, &["done", &id, "--tree", "A1"]);
    assert!(said.contains("Still to do: A2, A3."), "{said}");
    let after = now();
    assert_eq!(after["trees"], serde_json::json!(["A2", "A3"]));
    assert_eq!(
        (after["plants"].as_u64(), &after["state"]),
        (Some(2), &before["state"])
    );
    let most = |task: &serde_json::Value| task["minutes"][1].as_f64().unwrap();
    let share = most(&after) / most(&before);
    // Two of three, or all of what takes as long for one tree as for three.
    assert!((share - 2.0 / 3.0).abs() < 1e-9 || share == 1.0, "{share}");
    says(home, &["done", &id, "--tree", "A2,A3"]);
    assert_eq!(now()["state"], "done");
    says(home, &["undo"]);
    says(home, &["undo"]);
    assert_eq!(now(), before);
    // Put off for one tree; and a note about the wrong tree is set right.
    let said = says(home, &["snooze", &id, "9d", "--tree", "A2"]);
    assert!(said.contains(&format!("{id} [A2]")), "{said}");
    assert!(said.contains("Not put off: A1, A3."), "{said}");
    let refused = says(home, &["snooze", &id, "--tree", "P1"]).replace("\n ", "");
    assert!(refused.starts_with("!P1 is not in "), "{refused}");
    let edited = says(home, &["edit", "3", "--tree", "A3"]);
    assert!(edited.contains("trees: A3, before A2"), "{edited}");
    assert!(says(home, &["edit", "3", "--tree", "P1"]).starts_with("!P1 is not in"));
    assert_eq!(now(), before, "what is put off is still to be done");
    says(home, &["done", &id]);
    assert!(says(home, &["snooze", &id]).contains("done already"));
}

#[test]
fn galls_are_noted_on_a_juniper() {
    let home = folder("us");
    let home = home.path();
    let said = says(
        home,
        &["note", "symptom", "juniper", "horns", "--tree", "J1"],
    );
    assert!(
        said.starts_with("Noted as 1: horns on juniper [J1], 2026-04-22.\n"),
        "{said}"
    );
    let said = says(home, &["note", "symptom", "j1", "galls", "3"]);
    assert!(
        said.starts_with("Noted as 2: galls on juniper, 3 of 5 [J1]"),
        "{said}"
    );
    assert!(says(home, &["junipers"]).contains("horns"));
}

#[test]
fn an_edit_and_a_history_show_the_fields() {
    let home = folder("us");
    let home = home.path();
    says(
        home,
        &[
            "note", "spray", "captan", "--crop", "apple", "--rate", "3 lb",
        ],
    );
    let edited = says(home, &["edit", "1", "--set", "rate=2 lb"]);
    assert!(edited.contains("  rate: 2 lb, before 3 lb\n"), "{edited}");
    let history = says(home, &["journal", "1"]);
    assert!(history.contains("rate: 3 lb\n"), "{history}");
    assert!(history.contains("rate: 2 lb, before 3 lb\n"), "{history}");
    // Oil near captan is told; so is a stage gone back on one day.
    let oil = says(
        home,
        &["note", "spray", "horticultural-oil", "--crop", "apple"],
    );
    assert!(
        oil.contains("captan was noted for 22 Apr: oil needs 14 days from it."),
        "{oil}"
    );
    assert!(says(home, &["note", "spray", "oil"]).contains("\"horticultural-oil\""));
    says(home, &["note", "stage", "apple", "full pink"]);
    let back = says(home, &["note", "stage", "apple", "green tip"]);
    assert!(back.contains("noted for the same"), "{back}");
    let shed = says(home, &["note", "low", "24F", "--spot", "shed"]);
    assert!(
        shed.contains("\"shed\" is no row of the register (its rows are D)"),
        "{shed}"
    );
}

/// Two people at once, twenty notes each of several kinds: every note stands,
/// each under a number of its own.
#[test]
fn two_people_at_once_lose_nothing() {
    const EACH: usize = 20;
    let home = folder("us");
    let home = home.path();
    let person = |name: &'static str| {
        let home = home.to_owned();
        std::thread::spawn(move || {
            for at in 1..=EACH {
                let text = format!("{name} {at}");
                let said = match at % 3 {
                    0 => says(&home, &["note", "rain", "0.1in", "--say", &text]),
                    1 => says(&home, &["note", "text", &text]),
                    _ => says(
                        &home,
                        &["note", "shoots", "9in", "--tree", "A1", "--say", &text],
                    ),
                };
                assert!(said.starts_with("Noted as "), "{said}");
            }
        })
    };
    let people = [person("north gate"), person("south gate")];
    people.into_iter().for_each(|one| one.join().unwrap());
    let listed = says(home, &["journal", "--json"]);
    let listed: serde_json::Value = serde_json::from_str(&listed).unwrap();
    let listed = listed.as_array().unwrap();
    let mut numbers: Vec<u64> = listed
        .iter()
        .map(|one| one["number"].as_u64().unwrap())
        .collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=2 * EACH as u64).collect::<Vec<_>>());
    for name in ["north gate", "south gate"] {
        for at in 1..=EACH {
            let text = format!("{name} {at}");
            let held = listed.iter().filter(|one| one["note"] == text.as_str());
            assert_eq!(held.count(), 1, "{text}");
        }
    }
}

/// At a terminal the keeper is asked back, and the answer is taken. The
/// terminal is that of `script` (util-linux); without it the test is skipped.
#[cfg(unix)]
#[test]
fn a_doubtful_low_is_asked_back_at_a_terminal() {
    use std::io::Write;
    let answered = |home: &Path, answer: &str| -> Option<(String, Option<i32>)> {
        let run = format!(
            "'{}' --folder '{}' --as-of 2026-04-22 note low 28",
            env!("CARGO_BIN_EXE_budtide"),
            home.display()
        );
        let child = Command::new("script")
            .args(["-qec", &run, "/dev/null"])
            .env_clear()
            .env("HOME", home)
            .env("PATH", "/usr/bin:/bin")
            .env("SHELL", "/bin/sh")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn();
        let mut child = child.ok()?;
        child.stdin.take()?.write_all(answer.as_bytes()).ok()?;
        let output = child.wait_with_output().ok()?;
        let text = String::from_utf8_lossy(&output.stdout).replace('\r', "");
        Some((text, output.status.code()))
    };
    let home = folder("metric");
    let home = home.path();
    let Some((text, code)) = answered(home, "n\n") else {
        eprintln!("skipped: no `script` of util-linux here");
        return;
    };
    let question = "a low of 28 °C (82 °F)? Did you mean 28 °F (-2.2 °C)? [y/N]";
    assert!(
        text.contains(question) && text.contains("nothing was noted"),
        "{text}"
    );
    assert_eq!(code, Some(1), "{text}");
    assert!(!home.join("data/journal.sqlite").exists());
    let (text, code) = answered(home, "y\n").unwrap();
    assert!(text.contains(question), "{text}");
    assert!(text.contains("Noted as 1: low of -2.2 °C"), "{text}");
    assert_eq!(code, Some(0), "{text}");
    let listed = says(home, &["journal", "--json"]);
    let listed: serde_json::Value = serde_json::from_str(&listed).unwrap();
    let low = listed[0]["fields"]["low_c"].as_f64().unwrap();
    assert!((low + 2.222).abs() < 0.01, "{low}");
}

#[test]
fn rust_on_a_peach_is_set_right() {
    let home = folder("us");
    let said = says(
        home.path(),
        &["note", "symptom", "peach", "rust", "2", "--tree", "P1"],
    );
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "They do not live on stone fruit",
        "Peach and plum rust",
        "Bacterial spot",
        "To make sure: Turn the leaf over",
        "What helps: Cut no juniper",
        "This is not a diagnosis",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let asked = says(home.path(), &["ask", "apple", "rust"]);
    assert!(
        asked.contains("Cedar-apple rust") && !asked.contains("stone fruit"),
        "{asked}"
    );
    assert!(
        asked.lines().all(|line| line.chars().count() <= 80),
        "{asked}"
    );
}

#[test]
fn the_demo_keeps_nothing_and_says_so() {
    let home = TempDir::new().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_budtide"));
    let output = command
        .env_clear()
        .env("HOME", home.path())
        .args(["demo", "note", "low", "22F", "--spot", "D"])
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(
        text.starts_with("Would be noted: low of 22 °F (-5.6 °C) at D"),
        "{text}"
    );
    assert!(
        text.contains("The demo keeps no journal: nothing was noted."),
        "{text}"
    );
    assert!(
        text.contains("peach in "),
        "the kill of row D is told: {text}"
    );
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 0);
}
