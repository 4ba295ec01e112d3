//! The outbox. The steps after a failure are those of
//! reference/algorithms.md 13.3.

use super::journal::{at, day, entry, fresh};
use budtide::facts::journal::{Fact, Journal};
use budtide::store::StoreError;
use budtide::store::journal::JournalStore;
use budtide::store::outbox::{AfterFailure, Outgoing, State};

fn outgoing(key: &str, not_before: i64, expires_at: i64) -> Outgoing {
    Outgoing {
        key: key.to_owned(),
        not_before: at(not_before),
        expires_at: at(expires_at),
        priority: 0,
        about: "prune-pome-apple-2025".to_owned(),
        payload: format!("{{\"say\":\"{key}\"}}"),
    }
}

fn queue(store: &mut JournalStore, message: &Outgoing) -> bool {
    store
        .change("putting a message in", |change| {
            change.queue(message, at(0))
        })
        .unwrap()
}

fn due(store: &JournalStore, now: i64) -> Vec<String> {
    let due = store.due(at(now)).unwrap();
    due.into_iter().map(|due| due.message.key).collect()
}

#[test]
fn a_key_is_said_once() {
    let (_folder, path, mut store) = fresh();
    assert!(queue(&mut store, &outgoing("a", 5, 600)));
    assert!(!queue(&mut store, &outgoing("a", 1, 900)));
    assert_eq!(due(&store, 4), [""; 0]);
    assert_eq!(store.next_due().unwrap(), Some(at(5)));
    assert_eq!(due(&store, 5), ["a"]);
    store
        .change("sending", |change| {
            change.sending("a")?;
            change.sent("a", at(6))
        })
        .unwrap();
    drop(store);
    let mut store = JournalStore::open(&path).unwrap();
    assert!(!queue(&mut store, &outgoing("a", 1, 900)), "even when sent");
    assert_eq!(due(&store, 7), [""; 0]);
    assert_eq!(store.next_due().unwrap(), None);
    let sent = store.message("a").unwrap().unwrap();
    assert_eq!((sent.state, sent.attempts), (State::Sent, 1));
    assert_eq!((sent.queued_at, sent.sent_at), (at(0), Some(at(6))));
    assert_eq!(sent.message, outgoing("a", 5, 600));
    assert_eq!(store.sent_since(at(6)).unwrap().len(), 1);
    assert_eq!(store.sent_since(at(7)).unwrap().len(), 0);
}

#[test]
fn the_most_pressing_goes_first() {
    let (_folder, _, mut store) = fresh();
    queue(&mut store, &outgoing("late", 3, 600));
    queue(&mut store, &outgoing("early", 1, 600));
    let frost = Outgoing {
        priority: 9,
        ..outgoing("frost", 4, 600)
    };
    queue(&mut store, &frost);
    assert_eq!(due(&store, 5), ["frost", "early", "late"]);
}

#[test]
fn failures_are_tried_again_until_stale() {
    let (_folder, _, mut store) = fresh();
    let days = 24 * 60;
    queue(&mut store, &outgoing("a", 0, 2 * days));
    let mut now = 0;
    let mut waits = Vec::new();
    loop {
        assert_eq!(due(&store, now), ["a"], "due at {now}");
        let after = store
            .change("sending", |change| {
                change.sending("a")?;
                change.failed("a", "450 try later", at(now))
            })
            .unwrap();
        match after {
            AfterFailure::Again(next) => {
                let next = (next - at(0)).num_minutes();
                assert_eq!(due(&store, next - 1), [""; 0]);
                waits.push(next - now);
                now = next;
            }
            AfterFailure::Dropped => break,
        }
    }
    assert_eq!(
        waits,
        [1, 5, 15, 60, 240, 360, 360, 360, 360, 360, 360, 360]
    );
    let untold = store.dropped_untold().unwrap();
    assert_eq!(untold.len(), 1);
    assert_eq!(untold[0].last_error.as_deref(), Some("450 try later"));
    store
        .change("telling", |change| change.told("a", at(now)))
        .unwrap();
    assert_eq!(store.dropped_untold().unwrap(), []);
    assert!(!queue(&mut store, &outgoing("a", 0, 9 * days)));
}

#[test]
fn a_refusal_is_final_and_told() {
    let (_folder, _, mut store) = fresh();
    queue(&mut store, &outgoing("a", 0, 600));
    store
        .change("sending", |change| {
            change.sending("a")?;
            change.refused("a", "550 no such mailbox")
        })
        .unwrap();
    assert_eq!(due(&store, 1), [""; 0]);
    assert_eq!(store.dropped_untold().unwrap().len(), 1);
}

#[test]
fn what_expired_unsent_is_dropped_and_told() {
    let (_folder, _, mut store) = fresh();
    queue(&mut store, &outgoing("a", 0, 10));
    queue(&mut store, &outgoing("b", 0, 11));
    assert_eq!(due(&store, 10), ["b"], "no stale message is due");
    let dropped = store
        .change("clearing", |change| change.drop_expired(at(10)))
        .unwrap();
    assert_eq!(dropped, 1);
    let untold = store.dropped_untold().unwrap();
    assert_eq!(untold[0].message.key, "a");
    assert!(untold[0].last_error.is_some());
}

#[test]
fn what_a_crash_left_is_taken_up_again() {
    let (_folder, path, mut store) = fresh();
    queue(&mut store, &outgoing("a", 0, 600));
    store
        .change("sending", |change| change.sending("a"))
        .unwrap();
    drop(store);
    let mut store = JournalStore::open(&path).unwrap();
    assert_eq!(due(&store, 1), [""; 0], "it may be on its way");
    let taken = store.change("starting", |change| change.take_up()).unwrap();
    assert_eq!(taken, 1);
    assert_eq!(due(&store, 1), ["a"]);
}

#[test]
fn a_chore_done_cancels_what_waits_about_it() {
    let (_folder, _, mut store) = fresh();
    queue(&mut store, &outgoing("a", 0, 600));
    let other = Outgoing {
        about: String::new(),
        ..outgoing("b", 0, 600)
    };
    queue(&mut store, &other);
    let task = "prune-pome-apple-2025";
    store
        .change("noting a chore", |change| {
            change.record(&entry(day(3), Fact::Skipped(task.to_owned())), at(1))?;
            change.cancel(task, at(1))?;
            change.cancel("", at(1))
        })
        .unwrap();
    assert_eq!(due(&store, 1), ["b"]);
    assert_eq!(store.dropped_untold().unwrap(), [], "nobody need be told");
    assert_eq!(store.load().unwrap().chores.len(), 1);
}

#[test]
fn journal_and_outbox_change_together_or_not_at_all() {
    let (_folder, _, mut store) = fresh();
    let failed: Result<(), StoreError> = store.change("noting a chore", |change| {
        change.record(&entry(day(3), Fact::Skipped("a".to_owned())), at(1))?;
        change.queue(&outgoing("a", 0, 600), at(1))?;
        change.remember("plan", "1")?;
        change.sending("no such key")
    });
    let error = failed.unwrap_err();
    assert!(error.to_string().starts_with("noting a chore"), "{error}");
    assert_eq!(store.load().unwrap(), Journal::default());
    assert_eq!(store.message("a").unwrap(), None);
    assert_eq!(store.recall("plan").unwrap(), None);
}

#[test]
fn steps_out_of_turn_are_refused() {
    let (_folder, _, mut store) = fresh();
    queue(&mut store, &outgoing("a", 0, 600));
    let mut refused = |step: fn(&budtide::store::journal::Change<'_>) -> Result<(), StoreError>| {
        let error = store.change("sending", step).unwrap_err();
        assert!(matches!(error, StoreError::NoMessage { .. }), "{error}");
    };
    refused(|change| change.failed("a", "not even tried", at(1)).map(|_| ()));
    refused(|change| change.told("a", at(1)));
    refused(|change| {
        change.sending("a")?;
        change.sending("a")
    });
    refused(|change| change.sent("b", at(1)));
}

#[test]
fn the_service_remembers() {
    let (_folder, path, mut store) = fresh();
    store
        .change("remembering", |change| {
            change.remember("plan", "1")?;
            change.remember("plan", "2")?;
            assert_eq!(change.recall("plan")?.as_deref(), Some("2"));
            Ok(())
        })
        .unwrap();
    drop(store);
    let store = JournalStore::open(&path).unwrap();
    assert_eq!(store.recall("plan").unwrap().as_deref(), Some("2"));
    assert_eq!(store.recall("other").unwrap(), None);
}
