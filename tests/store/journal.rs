//! The journal. Entries are invented.

use budtide::facts::journal::*;
use budtide::store::journal::{Act, Filter, JournalStore};
use budtide::store::{EntryId, StoreError};
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use proptest::option;
use proptest::prelude::*;
use std::path::PathBuf;
use tempfile::TempDir;

pub fn day(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2025, 4, day).unwrap()
}

pub fn at(minutes: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_744_200_000, 0).unwrap() + TimeDelta::minutes(minutes)
}

pub fn fresh() -> (TempDir, PathBuf, JournalStore) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("state").join("journal.sqlite");
    let store = JournalStore::open(&path).unwrap();
    (folder, path, store)
}

pub fn entry(date: NaiveDate, what: Fact) -> Entry {
    Noted {
        date,
        trees: Vec::new(),
        crop: None,
        note: None,
        what,
    }
}

pub fn note(date: NaiveDate, text: &str) -> Entry {
    Noted {
        note: Some(text.to_owned()),
        ..entry(date, Fact::Note)
    }
}

fn rain(date: NaiveDate, rain_mm: f64) -> Entry {
    entry(date, Fact::Rain(RainRead { rain_mm }))
}

fn spray() -> Entry {
    Noted {
        trees: vec!["apple-1".to_owned(), "apple-2".to_owned()],
        crop: Some("apple".to_owned()),
        note: Some("calm, \"dry\", no bees out".to_owned()),
        ..entry(
            day(9),
            Fact::Spray(Spray {
                materials: vec!["sulfur".to_owned(), "horticultural-oil".to_owned()],
                label: Some("as on the label, no. 12-345".to_owned()),
                rate: Some("3 tbsp in 1 gal".to_owned()),
                wind: Some("2 mph from W".to_owned()),
                start: NaiveTime::from_hms_opt(6, 30, 0),
                end: NaiveTime::from_hms_opt(7, 5, 0),
                reentry: day(10).and_hms_opt(7, 5, 0),
                harvest_from: Some(day(9)),
                ..Spray::default()
            }),
        )
    }
}

#[test]
fn every_kind_comes_back_after_reopening() {
    let (_folder, path, mut store) = fresh();
    let mut stage = entry(
        day(3),
        Fact::Stage(Stage {
            cultivar: Some("Liberty".to_owned()),
            stage: "tight cluster".to_owned(),
        }),
    );
    stage.crop = Some("apple".to_owned());
    let task = "prune-pome-apple-2025".to_owned();
    let entries = [
        stage,
        entry(
            day(4),
            Fact::Done(Work {
                task: task.clone(),
                minutes: Some(90),
            }),
        ),
        entry(day(5), Fact::Skipped(task.clone())),
        entry(
            day(6),
            Fact::Snoozed(Snooze {
                task,
                until: day(12),
            }),
        ),
        spray(),
        entry(
            day(10),
            Fact::Catch(TrapCatch {
                insect: "codling-moth".to_owned(),
                trap: Some("north".to_owned()),
                count: 3,
                biofix: true,
            }),
        ),
        entry(
            day(11),
            Fact::Symptom(Symptom {
                what: "cedar-apple-rust".to_owned(),
                severity: Some(Severity::Grade(2)),
            }),
        ),
        entry(
            day(12),
            Fact::Symptom(Symptom {
                what: "orange spots".to_owned(),
                severity: Some(Severity::Share(0.15)),
            }),
        ),
        entry(day(13), Fact::Shoots(ShootGrowth { length_cm: 32.5 })),
        entry(
            day(14),
            Fact::Harvest(Harvest {
                weight_kg: Some(12.3),
                of_full: Some(0.4),
            }),
        ),
        entry(
            day(15),
            Fact::Damage(Damage {
                cause: DamageCause::Deer,
                share: None,
            }),
        ),
        entry(
            day(16),
            Fact::Buds(BudCount {
                cultivar: None,
                stage: Some("pink".to_owned()),
                live: 31,
                cut: 50,
            }),
        ),
        rain(day(17), 12.7),
        entry(
            day(18),
            Fact::Low(LowRead {
                low_c: -2.2,
                spot: Some("low end of the block".to_owned()),
            }),
        ),
        entry(
            day(19),
            Fact::Planting(Planting {
                cultivar: Some("GoldRush".to_owned()),
                count: 2,
            }),
        ),
        entry(day(20), Fact::Removal(Removal { reason: None })),
        note(day(21), "swallows are back: ä, 梅, \u{1f338}"),
    ];
    for (number, entry) in (1..).zip(&entries) {
        assert_eq!(store.record(entry, at(number)), Ok(EntryId(number)));
    }
    drop(store);
    let store = JournalStore::open(&path).unwrap();
    let listed = store.list(&Filter::default()).unwrap();
    let back: Vec<Entry> = listed.iter().map(|listed| listed.entry.clone()).collect();
    assert_eq!(back, entries);
    assert_eq!(listed[16].recorded, at(17));
    let journal = store.load().unwrap();
    assert_eq!(journal, Journal::from_entries(entries));
    assert_eq!(journal.stages.len(), 1);
    assert_eq!(journal.chores.len(), 2);
    assert_eq!(journal.work[0].what.minutes, Some(90));
    assert_eq!(journal.symptoms.len(), 2);
    let kinds: std::collections::BTreeSet<Kind> =
        back.iter().map(|entry| entry.what.kind()).collect();
    assert_eq!(kinds.len(), Kind::ALL.len(), "every kind was tried");
}

#[test]
fn undo_and_edit_add_rows_and_the_history_shows_them() {
    let (_folder, _, mut store) = fresh();
    let id = store.record(&rain(day(3), 1.0), at(0)).unwrap();
    store.edit(id, &rain(day(3), 2.0), at(1)).unwrap();
    store.edit(id, &rain(day(4), 3.0), at(2)).unwrap();
    let undo = store.undo(id, at(3)).unwrap();
    assert_eq!(
        (undo.taken, undo.left),
        (rain(day(4), 3.0), Some(rain(day(3), 2.0)))
    );
    let history: Vec<Act> = store
        .history(id)
        .unwrap()
        .into_iter()
        .map(|revision| revision.act)
        .collect();
    assert_eq!(
        history,
        [
            Act::Recorded(rain(day(3), 1.0)),
            Act::Edited(rain(day(3), 2.0)),
            Act::Edited(rain(day(4), 3.0)),
            Act::Undone,
        ]
    );
    let listed = store.list(&Filter::default()).unwrap();
    assert_eq!((listed[0].recorded, listed[0].changed), (at(0), at(3)));
    assert_eq!((listed[0].id, listed[0].revisions), (id, 4));
    store.undo(id, at(4)).unwrap();
    assert_eq!(store.undo(id, at(5)).unwrap().left, None);
    assert_eq!(store.undo(id, at(6)), Err(StoreError::Undone { id }));
    let again = store.edit(id, &rain(day(3), 2.0), at(7));
    assert_eq!(again, Err(StoreError::Undone { id }));
    assert_eq!(store.load().unwrap(), Journal::default());
    let undone = store
        .list(&Filter {
            undone: true,
            ..Filter::default()
        })
        .unwrap();
    assert_eq!(undone[0].entry, rain(day(3), 1.0));
    let next = store.record(&rain(day(5), 1.0), at(8)).unwrap();
    assert_eq!(next, EntryId(2), "no id is used twice");
    assert_eq!(
        store.history(EntryId(7)),
        Err(StoreError::NoEntry { id: EntryId(7) })
    );
}

#[test]
fn the_file_itself_refuses_to_forget() {
    let (_folder, path, mut store) = fresh();
    store.record(&rain(day(3), 1.0), at(0)).unwrap();
    let raw = rusqlite::Connection::open(&path).unwrap();
    for step in [
        "UPDATE revision SET date = '2020-01-01'",
        "DELETE FROM revision",
    ] {
        let error = raw.execute(step, []).unwrap_err();
        assert!(error.to_string().contains("only added to"), "{error}");
    }
}

#[test]
fn what_cannot_be_is_refused_with_the_reason() {
    let (_folder, _, mut store) = fresh();
    let stage = Fact::Stage(Stage {
        cultivar: None,
        stage: "pink".to_owned(),
    });
    let buds = |live, cut| {
        Fact::Buds(BudCount {
            cultivar: None,
            stage: None,
            live,
            cut,
        })
    };
    let severity = |severity| {
        Fact::Symptom(Symptom {
            what: "rust".to_owned(),
            severity: Some(severity),
        })
    };
    let low = |low_c| Fact::Low(LowRead { low_c, spot: None });
    for (what, word) in [
        (stage, "crop"),
        (Fact::Spray(Spray::default()), "material"),
        (Fact::Skipped(" ".to_owned()), "task"),
        (buds(9, 8), "9 live buds of 8"),
        (buds(0, 0), "at least one"),
        (severity(Severity::Grade(6)), "0 to 5"),
        (severity(Severity::Share(1.5)), "between 0 and 1"),
        (severity(Severity::Share(f64::NAN)), "between 0 and 1"),
        (low(90.0), "cannot be"),
        (low(f64::NAN), "cannot be"),
        (Fact::Rain(RainRead { rain_mm: -1.0 }), "cannot be"),
        (Fact::Note, "text"),
    ] {
        let error = store.record(&entry(day(3), what), at(0)).unwrap_err();
        assert!(error.to_string().contains(word), "{error}");
    }
    assert_eq!(store.load().unwrap(), Journal::default());
}

#[test]
fn the_list_can_be_narrowed() {
    let (_folder, _, mut store) = fresh();
    let task = "prune-pome-apple-2025";
    store.record(&spray(), at(0)).unwrap();
    store.record(&rain(day(2), 1.0), at(1)).unwrap();
    store
        .record(&entry(day(4), Fact::Skipped(task.to_owned())), at(2))
        .unwrap();
    let ids = |filter: Filter| -> Vec<i64> {
        let listed = store.list(&filter).unwrap();
        listed.into_iter().map(|listed| listed.id.0).collect()
    };
    assert_eq!(ids(Filter::default()), [2, 3, 1], "in the order of dates");
    assert_eq!(
        ids(Filter {
            kinds: vec![Kind::Spray, Kind::Rain],
            ..Filter::default()
        }),
        [2, 1]
    );
    assert_eq!(
        ids(Filter {
            from: Some(day(3)),
            to: Some(day(4)),
            ..Filter::default()
        }),
        [3]
    );
    assert_eq!(
        ids(Filter {
            tree: Some("apple-2".to_owned()),
            crop: Some("apple".to_owned()),
            ..Filter::default()
        }),
        [1]
    );
    assert_eq!(
        ids(Filter {
            task: Some(task.to_owned()),
            ..Filter::default()
        }),
        [3]
    );
    assert_eq!(store.latest().unwrap().unwrap().id, EntryId(3));
}

#[test]
fn the_spray_log_as_csv() {
    let (_folder, _, mut store) = fresh();
    store.record(&spray(), at(0)).unwrap();
    store.record(&rain(day(2), 1.0), at(1)).unwrap();
    let text = store.export_csv(Kind::Spray).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head: Vec<String> = reader
        .headers()
        .unwrap()
        .iter()
        .map(str::to_owned)
        .collect();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 1);
    let cell = |name: &str| {
        let at = head.iter().position(|head| head == name).unwrap();
        rows[0].get(at).unwrap().to_owned()
    };
    assert_eq!(cell("id"), "1");
    assert_eq!(cell("date"), "2025-04-09");
    assert_eq!(cell("trees"), "apple-1; apple-2");
    assert_eq!(cell("materials"), "sulfur; horticultural-oil");
    assert_eq!(cell("rate"), "3 tbsp in 1 gal");
    assert_eq!(cell("start"), "06:30:00");
    assert_eq!(cell("reentry"), "2025-04-10T07:05:00");
    assert_eq!(cell("harvest_from"), "2025-04-09");
    assert_eq!(cell("note"), "calm, \"dry\", no bees out");
    assert_eq!(cell("recorded"), at(0).to_rfc3339());
    for (kind, word) in Kind::ALL {
        let text = store.export_csv(kind).unwrap();
        assert!(text.starts_with("id,date,crop,trees,"), "{word}: {text}");
    }
}

#[test]
fn ids_are_read_as_they_are_written() {
    assert_eq!(" #12 ".parse(), Ok(EntryId(12)));
    assert_eq!(EntryId(12).to_string(), "12");
    assert!("twelve".parse::<EntryId>().is_err());
}

#[test]
fn version_1_is_brought_up_to_date() {
    let (_folder, path, mut store) = fresh();
    store.record(&spray(), at(0)).unwrap();
    drop(store);
    // Version 1 had the entries alone.
    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.execute_batch("DROP TABLE outbox; DROP TABLE memory; PRAGMA user_version = 1;")
        .unwrap();
    drop(raw);
    let mut store = JournalStore::open(&path).unwrap();
    assert_eq!(store.list(&Filter::default()).unwrap()[0].entry, spray());
    assert_eq!(store.due(at(0)).unwrap(), []);
    assert_eq!(store.record(&rain(day(2), 1.0), at(1)), Ok(EntryId(2)));
}

#[cfg(unix)]
#[test]
fn only_the_owner_may_read_it() {
    use std::os::unix::fs::PermissionsExt;
    let (_folder, path, mut store) = fresh();
    store.record(&rain(day(2), 1.0), at(1)).unwrap();
    let folder = path.parent().unwrap();
    let mut seen = 0;
    for file in std::fs::read_dir(folder).unwrap() {
        let file = file.unwrap();
        let mode = file.metadata().unwrap().permissions().mode() & 0o777;
        assert_eq!(mode, 0o600, "{:?}", file.file_name());
        seen += 1;
    }
    assert_eq!(seen, 3, "the file, its log and the log's index");
    let mode = folder.metadata().unwrap().permissions().mode() & 0o777;
    assert_eq!(mode, 0o700);
}

fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-z]{1,12}",
        "\\PC{1,30}x",
        Just("a;b,\"c\"\n=d".to_owned())
    ]
}

fn facts() -> impl Strategy<Value = Fact> {
    let share = 0.0..=1.0_f64;
    let dates = || (0_u64..3_000).prop_map(|days| day(1) + Days::new(days));
    prop_oneof![
        (words(), option::of(any::<u32>()))
            .prop_map(|(task, minutes)| Fact::Done(Work { task, minutes })),
        words().prop_map(Fact::Skipped),
        (words(), dates()).prop_map(|(task, until)| Fact::Snoozed(Snooze { task, until })),
        (
            prop::collection::vec(words(), 1..4),
            option::of(words()),
            option::of((0_u32..86_400, dates())),
        )
            .prop_map(|(materials, rate, end)| {
                let end =
                    end.map(|(s, day)| (NaiveTime::from_num_seconds_from_midnight_opt(s, 0), day));
                Fact::Spray(Spray {
                    materials,
                    wind: rate.clone(),
                    rate,
                    start: end.and_then(|(time, _)| time),
                    reentry: end.and_then(|(time, day)| Some(day.and_time(time?))),
                    harvest_from: end.map(|(_, day)| day),
                    ..Spray::default()
                })
            }),
        (words(), any::<u32>(), any::<bool>()).prop_map(|(insect, count, biofix)| {
            Fact::Catch(TrapCatch {
                insect,
                trap: None,
                count,
                biofix,
            })
        }),
        (words(), option::of(share.clone())).prop_map(|(what, part)| Fact::Symptom(Symptom {
            what,
            severity: part.map(Severity::Share),
        })),
        (0.0..200.0_f64).prop_map(|length_cm| Fact::Shoots(ShootGrowth { length_cm })),
        (option::of(0.0..5_000.0_f64), option::of(share))
            .prop_map(|(weight_kg, of_full)| Fact::Harvest(Harvest { weight_kg, of_full })),
        (0_u32..60, 1_u32..60).prop_map(|(live, more)| Fact::Buds(BudCount {
            cultivar: None,
            stage: None,
            live,
            cut: live + more,
        })),
        (-40.0..45.0_f64).prop_map(|low_c| Fact::Low(LowRead { low_c, spot: None })),
    ]
}

fn entries() -> impl Strategy<Value = Entry> {
    (
        0_u64..3_000,
        prop::collection::vec(words(), 0..3),
        option::of(words()),
        option::of(words()),
        facts(),
    )
        .prop_map(|(days, trees, crop, note, what)| Noted {
            date: day(1) + Days::new(days),
            trees,
            crop,
            note,
            what,
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Recording and then undoing leaves the journal as it was, to the last
    /// bit; so does editing and undoing the edit.
    #[test]
    fn undo_leaves_the_journal_equal(
        kept in prop::collection::vec(entries(), 0..6),
        passing in entries(),
    ) {
        let (_folder, _, mut store) = fresh();
        for entry in &kept {
            store.record(entry, at(0)).unwrap();
        }
        let before = store.load().unwrap();
        prop_assert_eq!(&before, &Journal::from_entries(kept.clone()));
        let id = store.record(&passing, at(1)).unwrap();
        let mut all = kept.clone();
        all.push(passing.clone());
        prop_assert_eq!(store.load().unwrap(), Journal::from_entries(all));
        let undo = store.undo(id, at(2)).unwrap();
        prop_assert_eq!(undo.taken, passing.clone());
        prop_assert_eq!(&store.load().unwrap(), &before);
        if !kept.is_empty() {
            store.edit(EntryId(1), &passing, at(3)).unwrap();
            store.undo(EntryId(1), at(4)).unwrap();
            prop_assert_eq!(&store.load().unwrap(), &before);
        }
    }
}
