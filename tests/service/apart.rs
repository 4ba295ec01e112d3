//! A look in a process of its own: what it is asked and answers.

use super::{BUDTIDE, orchard};
use budtide::service::apart::{Question, Reply};
use budtide::service::round::{Answer, Keeper, Troubles};
use budtide::store::journal::{self, JournalStore};
use chrono::{TimeZone, Utc};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn asked(text: &str) -> Output {
    let mut child = Command::new(BUDTIDE)
        .args(["service", "look"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    input.write_all(text.as_bytes()).unwrap();
    drop(input);
    child.wait_with_output().unwrap()
}

fn replied(question: &Question) -> Reply {
    let output = asked(&serde_json::to_string(question).unwrap());
    assert!(output.status.success(), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn question(folder: &Path) -> Question {
    Question {
        config: folder.to_owned(),
        data: folder.to_owned(),
        // Eight in the morning there, after the digest's hour.
        now: Utc.with_ymd_and_hms(2026, 3, 2, 15, 0, 0).unwrap(),
        ways: vec!["terminal".to_owned()],
        troubles: Troubles::from([(
            "weather".to_owned(),
            ("The weather cannot be had.".to_owned(), false),
        )]),
        pressed: None,
    }
}

#[test]
fn it_leaves_the_messages_in_the_outbox_and_says_when_to_look_again() {
    let folder = orchard("");
    let question = question(folder.path());
    let Reply::Looked(next, troubles) = replied(&question) else {
        panic!("no look");
    };
    assert!(next.wake > question.now, "{next:?}");
    assert!(next.status.starts_with("next: "), "{next:?}");
    // The digest told of the trouble, and the next one will not.
    assert!(troubles["weather"].1, "{troubles:?}");
    let store = JournalStore::open(&folder.path().join(journal::FILE)).unwrap();
    let due = store.due(question.now).unwrap();
    assert_eq!(due.len(), 1, "{due:?}");
    assert!(
        due[0]
            .message
            .payload
            .contains("The weather cannot be had.")
    );
    // Asked anew it has nothing more to say.
    let Reply::Looked(_, _) = replied(&question) else {
        panic!("no look");
    };
    assert_eq!(store.due(question.now).unwrap().len(), 1);

    // A button of that message.
    let keeper = Keeper::beside(store, Vec::new(), Troubles::new());
    let message = due[0].message.key.clone();
    let tasks = keeper.tasks_of(&message).unwrap();
    let pressed = Question {
        pressed: Some((message, "done".to_owned())),
        ..question.clone()
    };
    let Reply::Pressed(answer) = replied(&pressed) else {
        panic!("no answer");
    };
    assert_eq!(answer, Answer::Noted(format!("done: {}", tasks.join(", "))));
    let unknown = Question {
        pressed: Some(("nobody/knows".to_owned(), "done".to_owned())),
        ..question
    };
    assert_eq!(replied(&unknown), Reply::Pressed(Answer::Unknown));
}

#[test]
fn files_with_faults_and_a_broken_store_are_answers() {
    let folder = orchard("");
    let asked_of = question(folder.path());
    std::fs::write(folder.path().join("register.toml"), "tree = 1\n").unwrap();
    assert_eq!(replied(&asked_of), Reply::Faults);

    let folder = orchard("");
    std::fs::create_dir(folder.path().join(journal::FILE)).unwrap();
    let Reply::Trouble(text) = replied(&question(folder.path())) else {
        panic!("no trouble");
    };
    assert!(text.contains(journal::FILE), "{text}");
}

#[test]
fn anybody_else_is_told_whom_it_is_for() {
    let output = asked("what is due?\n");
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.starts_with("the service asks this for itself: expected value at line 1 column 1"),
        "{said}"
    );
}
