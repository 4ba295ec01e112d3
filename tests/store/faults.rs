//! Faults of disk and company: other processes, kills, damage, locks.

use super::journal::{at, day, fresh, note};
use budtide::store::StoreError;
use budtide::store::journal::{Filter, JournalStore};
use budtide::store::salvage::salvage;
use budtide::store::weather::WeatherStore;
use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The journal that a child of these tests writes to, and how often.
const CHILD: &str = "BUDTIDE_TEST_STORE_CHILD";
const TIMES: &str = "BUDTIDE_TEST_STORE_TIMES";

/// Not a test on its own: the others start it in a process of its own.
#[test]
fn a_writer_for_others() {
    let Some(path) = std::env::var_os(CHILD) else {
        return;
    };
    let times: u32 = std::env::var(TIMES).unwrap().parse().unwrap();
    let mut store = JournalStore::open(Path::new(&path)).unwrap();
    store.set_patience(Duration::from_secs(60)).unwrap();
    for time in 0..times {
        let text = format!("{} wrote {time}", std::process::id());
        let id = store.record(&note(day(3), &text), at(0)).unwrap();
        println!("kept {id} {text}");
    }
}

fn writer(path: &Path, times: u32) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args([
            "store::faults::a_writer_for_others",
            "--exact",
            "--nocapture",
        ])
        .env(CHILD, path)
        .env(TIMES, times.to_string())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Ids and texts of everything in the file.
fn kept(path: &Path) -> BTreeSet<String> {
    let store = JournalStore::open(path).unwrap();
    let listed = store.list(&Filter::default()).unwrap();
    let count = listed.len();
    let kept: BTreeSet<String> = listed
        .into_iter()
        .map(|listed| format!("kept {} {}", listed.id, listed.entry.note.unwrap()))
        .collect();
    assert_eq!(kept.len(), count);
    kept
}

/// What a child said it kept; a line cut off by its end is not counted.
fn said(child: &mut Child, most: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut reader = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    while lines.len() < most && reader.read_line(&mut line).unwrap_or(0) > 0 {
        // The first line may stand behind the harness's own words.
        if let (Some(at), true) = (line.find("kept "), line.ends_with('\n')) {
            lines.push(line[at..].trim_end().to_owned());
        }
        line.clear();
    }
    if lines.len() == most {
        // What follows is read as well, so that the child never waits.
        child.kill().unwrap();
        lines.extend(reader.lines().map_while(Result::ok));
        lines.pop();
    }
    lines
}

#[test]
fn processes_and_threads_at_once_lose_nothing() {
    let (_folder, path, store) = fresh();
    drop(store);
    let mut children = [writer(&path, 150), writer(&path, 150)];
    let threads: Vec<_> = (0..2)
        .map(|thread| {
            let path = path.clone();
            std::thread::spawn(move || {
                let mut store = JournalStore::open(&path).unwrap();
                store.set_patience(Duration::from_secs(60)).unwrap();
                for time in 0..100 {
                    let text = format!("thread {thread} wrote {time}");
                    store.record(&note(day(3), &text), at(0)).unwrap();
                }
            })
        })
        .collect();
    for thread in threads {
        thread.join().unwrap();
    }
    let mut said_by_children = 0;
    let told: Vec<Vec<String>> = children.iter_mut().map(|child| said(child, 999)).collect();
    for child in &mut children {
        assert!(child.wait().unwrap().success());
    }
    let kept = kept(&path);
    for line in told.iter().flatten() {
        assert!(kept.contains(line), "{line}");
        said_by_children += 1;
    }
    assert_eq!((said_by_children, kept.len()), (300, 500));
}

#[test]
fn what_was_kept_outlives_a_kill() {
    let (_folder, path, store) = fresh();
    drop(store);
    let mut promised = Vec::new();
    for round in 0..12 {
        let mut child = writer(&path, 100_000);
        let told = said(&mut child, 3 + round * 2);
        assert!(!child.wait().unwrap().success(), "it was killed");
        promised.extend(told);
        let kept = kept(&path);
        for line in &promised {
            assert!(kept.contains(line), "{line}");
        }
    }
    assert!(promised.len() > 100);
}

#[test]
fn a_kill_while_the_file_is_made_leaves_a_good_file_or_none() {
    let folder = tempfile::tempdir().unwrap();
    for round in 0..24 {
        let path = folder.path().join(format!("{round}.sqlite"));
        let mut child = writer(&path, 1);
        std::thread::sleep(Duration::from_millis(round * 2));
        child.kill().unwrap();
        child.wait().unwrap();
        let store = JournalStore::open(&path).unwrap();
        assert!(store.list(&Filter::default()).unwrap().len() <= 1);
    }
}

#[test]
fn many_can_begin_the_same_file() {
    let folder = tempfile::tempdir().unwrap();
    for kind in ["journal", "weather"] {
        let path = folder.path().join(kind);
        let threads: Vec<_> = (0..8)
            .map(|_| {
                let path = path.clone();
                std::thread::spawn(move || match kind {
                    "journal" => JournalStore::open(&path)
                        .and_then(|mut store| store.record(&note(day(3), "x"), at(0)))
                        .map(|_| ()),
                    _ => WeatherStore::open(&path).and_then(|mut store| store.remember("a", "b")),
                })
            })
            .collect();
        for thread in threads {
            thread.join().unwrap().unwrap();
        }
    }
    assert_eq!(kept(&folder.path().join("journal")).len(), 8);
}

fn journal_of(path: &Path, entries: usize) {
    let mut store = JournalStore::open(path).unwrap();
    store
        .change("filling", |change| {
            for number in 0..entries {
                let text = format!("entry {number} {}", "says this ".repeat(30));
                change.record(&note(day(3), &text), at(0))?;
            }
            Ok(())
        })
        .unwrap();
}

/// Opens a damaged journal twice; returns the one copy made of it.
fn refused(path: &Path) -> std::path::PathBuf {
    let before = fs::read(path).unwrap();
    let copies: Vec<_> = (0..2)
        .map(|_| match JournalStore::open(path).unwrap_err() {
            error @ StoreError::JournalDamaged { .. } => {
                assert!(error.is_damage() && !error.try_again());
                assert!(error.to_string().contains("salvage"), "{error}");
                let StoreError::JournalDamaged { copy, .. } = error else {
                    unreachable!()
                };
                copy
            }
            other => panic!("{other}"),
        })
        .collect();
    assert_eq!(copies[0], copies[1], "one copy of one state");
    assert_eq!(fs::read(path).unwrap(), before, "left as it is");
    assert_eq!(fs::read(&copies[0]).unwrap(), before);
    copies[0].clone()
}

#[test]
fn a_damaged_page_costs_the_rows_on_it_and_no_others() {
    let (_folder, path, store) = fresh();
    drop(store);
    journal_of(&path, 300);
    let mut bytes = fs::read(&path).unwrap();
    let row = bytes
        .windows(10)
        .position(|part| part == b"entry 150 ")
        .unwrap();
    let page = row / 4096 * 4096;
    bytes[page..page + 4096].fill(0x5a);
    fs::write(&path, &bytes).unwrap();
    let copy = refused(&path);
    let salvaged = salvage(&path).unwrap();
    assert_eq!(salvaged.copy, copy);
    assert_eq!(salvaged.rows + salvaged.lost.len(), 300);
    assert!(salvaged.lost.contains(&151) && salvaged.lost.len() < 30);
    let kept = kept(&path);
    assert_eq!(kept.len(), salvaged.rows);
    assert!(
        kept.iter()
            .any(|line| line.starts_with("kept 300 entry 299 "))
    );
    assert_eq!(fs::read(&copy).unwrap(), bytes, "the copy stays");
    let names: Vec<_> = fs::read_dir(path.parent().unwrap())
        .unwrap()
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("new-") || name.contains("reading-"))
        .collect();
    assert!(names.is_empty(), "{names:?}");
}

#[test]
fn a_damaged_head_costs_nothing() {
    for harm in [100, 4096] {
        let (_folder, path, store) = fresh();
        drop(store);
        journal_of(&path, 300);
        let mut bytes = fs::read(&path).unwrap();
        bytes[..harm].fill(0);
        fs::write(&path, &bytes).unwrap();
        refused(&path);
        let salvaged = salvage(&path).unwrap();
        assert_eq!(
            (salvaged.rows, salvaged.lost),
            (300, vec![]),
            "{harm} bytes"
        );
        assert_eq!(kept(&path).len(), 300);
    }
}

#[test]
fn an_emptied_journal_is_damage_and_no_new_beginning() {
    let (_folder, path, store) = fresh();
    drop(store);
    journal_of(&path, 3);
    fs::write(&path, b"").unwrap();
    refused(&path);
    let salvaged = salvage(&path).unwrap();
    assert_eq!((salvaged.rows, kept(&path).len()), (0, 0));
}

#[test]
fn an_unreadable_row_is_told_and_salvage_leaves_it_out() {
    let (_folder, path, store) = fresh();
    drop(store);
    journal_of(&path, 5);
    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.execute_batch(
        "DROP TRIGGER revision_stands;
         UPDATE revision SET fields = '{' WHERE number = 2;",
    )
    .unwrap();
    drop(raw);
    let store = JournalStore::open(&path).unwrap();
    let error = store.load().unwrap_err();
    assert!(
        matches!(error, StoreError::JournalDamaged { .. }),
        "{error}"
    );
    drop(store);
    let salvaged = salvage(&path).unwrap();
    assert_eq!((salvaged.rows, salvaged.lost), (4, vec![2]));
    assert_eq!(kept(&path).len(), 4);
}

#[test]
fn the_outbox_is_salvaged_too() {
    let (_folder, path, mut store) = fresh();
    store
        .change("filling", |change| {
            change.queue(
                &budtide::store::outbox::Outgoing {
                    key: "a".to_owned(),
                    not_before: at(0),
                    expires_at: at(9),
                    priority: 0,
                    about: String::new(),
                    payload: "say".to_owned(),
                },
                at(0),
            )?;
            change.remember("plan", "7")
        })
        .unwrap();
    drop(store);
    journal_of(&path, 5);
    let mut bytes = fs::read(&path).unwrap();
    bytes[..100].fill(0);
    fs::write(&path, &bytes).unwrap();
    assert_eq!(salvage(&path).unwrap().messages, 1);
    let store = JournalStore::open(&path).unwrap();
    assert_eq!(store.due(at(1)).unwrap().len(), 1);
    assert_eq!(store.recall("plan").unwrap().as_deref(), Some("7"));
}

#[test]
fn a_newer_journal_is_refused_and_left_alone() {
    let (_folder, path, store) = fresh();
    drop(store);
    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.pragma_update(None, "user_version", 99).unwrap();
    drop(raw);
    let before = fs::read(&path).unwrap();
    let error = JournalStore::open(&path).unwrap_err();
    assert!(
        matches!(error, StoreError::Newer { found: 99, .. }),
        "{error}"
    );
    assert!(error.to_string().contains("newer budtide"), "{error}");
    assert_eq!(fs::read(&path).unwrap(), before);
    assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
}

#[test]
fn a_held_file_is_told_and_worth_another_try() {
    let (_folder, path, mut store) = fresh();
    store.set_patience(Duration::from_millis(20)).unwrap();
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error = store.record(&note(day(3), "x"), at(0)).unwrap_err();
    assert!(matches!(error, StoreError::Locked { .. }), "{error}");
    assert!(error.try_again());
    assert!(error.to_string().contains("recording an entry"), "{error}");
    assert_eq!(store.load().unwrap().notes.len(), 0, "reading goes on");
    other.execute_batch("COMMIT").unwrap();
    assert!(store.record(&note(day(3), "x"), at(0)).is_ok());
}

#[test]
fn a_place_that_cannot_be_written_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a file");
    fs::write(&file, "no folder").unwrap();
    for path in [
        file.join("journal.sqlite"),
        Path::new("/proc/budtide/journal.sqlite").to_path_buf(),
    ] {
        for error in [
            JournalStore::open(&path).unwrap_err(),
            WeatherStore::open(&path).unwrap_err(),
        ] {
            assert!(matches!(error, StoreError::NoAccess { .. }), "{error:?}");
            assert!(!error.try_again());
            let text = error.to_string();
            let doing = text.starts_with("making the ") || text.starts_with("opening the ");
            assert!(doing, "{text}");
        }
    }
}

#[cfg(unix)]
#[test]
fn a_folder_without_the_right_to_write_is_told() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path().join("home");
    fs::create_dir(&home).unwrap();
    fs::set_permissions(&home, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(home.join("probe"), "x").is_ok() {
        println!("skipped: this user may write everywhere");
        return;
    }
    let path = home.join("journal.sqlite");
    let error = JournalStore::open(&path).unwrap_err();
    assert!(matches!(error, StoreError::NoAccess { .. }), "{error:?}");
    fs::set_permissions(&home, fs::Permissions::from_mode(0o755)).unwrap();
    journal_of(&path, 1);
    fs::set_permissions(&home, fs::Permissions::from_mode(0o555)).unwrap();
    readable_but_not_writable(&path);
    fs::set_permissions(&home, fs::Permissions::from_mode(0o755)).unwrap();
}

/// What was kept is read, a new entry is refused in so many words.
fn readable_but_not_writable(path: &Path) {
    let mut store = JournalStore::open(path).unwrap();
    assert_eq!(store.load().unwrap().notes.len(), 1);
    let error = store.record(&note(day(3), "x"), at(0)).unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly { .. }), "{error:?}");
    assert!(!error.try_again());
}

/// The folder of a read-only mount, with a journal of one note and a name that
/// needs care: mounted by hand where the tests run as root.
#[test]
fn a_read_only_mount_can_be_read() {
    let Some(folder) = std::env::var_os("BUDTIDE_TEST_STORE_READ_ONLY") else {
        println!("skipped: BUDTIDE_TEST_STORE_READ_ONLY names no folder");
        return;
    };
    let folder = Path::new(&folder);
    readable_but_not_writable(&folder.join("a %20?#ü journal.sqlite"));
    let error = JournalStore::open(&folder.join("new").join("journal.sqlite")).unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly { .. }), "{error:?}");
}
