//! What was noted about the work of an event holds when a revised record
//! shifts the event by some days, and goes to no other event.

use budtide::facts::Facts;
use budtide::facts::journal::{Entry, Fact, Journal, Snooze, Work};
use budtide::facts::weather::Day;
use budtide::plan::{self, Plan, State, Task, changes};
use budtide::season;
use budtide::service::gather;
use chrono::{Days, NaiveDate};
use proptest::prelude::*;
use std::sync::LazyLock;

fn june(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 6, day).unwrap()
}

/// The demo with few trees, one of them new.
static FEW: LazyLock<Facts> = LazyLock::new(|| {
    let mut facts = gather::demo(june(30)).unwrap();
    facts.filed.trees.truncate(3);
    facts.filed.wanted.clear();
    facts.filed.trees[0].planted = Some(budtide::facts::register::Planted::Year(2026));
    facts.journal = Journal::default();
    facts.weather.hourly = None;
    facts
});

/// The facts on a day when it rained but on the days given, an inch and a
/// half each.
fn rained(on: &[NaiveDate], noted: &[Entry], today: NaiveDate) -> Facts {
    let mut facts = FEW.clone();
    let daily = facts.weather.daily.as_mut().unwrap();
    for date in june(1).pred_opt().unwrap().iter_days().take(31) {
        let mut day: Day = daily.day(date).unwrap_or(Day {
            date,
            low_c: Some(12.0),
            high_c: Some(25.0),
            rain_mm: None,
        });
        day.rain_mm = Some(if on.contains(&date) { 38.1 } else { 0.0 });
        daily.put(day);
    }
    facts.weather = facts.weather.as_of(today);
    facts.weather.forecast = None;
    facts.journal = Journal::from_entries(noted.iter().cloned());
    facts.heed_notes(today);
    facts
}

fn plan_of(facts: &Facts, today: NaiveDate) -> Plan {
    plan::make(facts, &season::derive(facts, today), today)
}

fn water(plan: &Plan) -> Vec<&Task> {
    let tasks = plan.tasks.iter();
    tasks.filter(|task| task.chore == "water-new").collect()
}

fn noted(date: NaiveDate, what: Fact) -> Entry {
    Entry {
        date,
        trees: Vec::new(),
        crop: None,
        note: None,
        what,
    }
}

fn done(task: &str, date: NaiveDate) -> Entry {
    let task = task.to_owned();
    noted(
        date,
        Fact::Done(Work {
            task,
            minutes: None,
        }),
    )
}

#[test]
fn what_is_done_stays_done_when_the_spell_shifts() {
    let today = june(11);
    let first = plan_of(&rained(&[june(1)], &[], today), today);
    let [task] = water(&first)[..] else {
        panic!("{:?}", water(&first))
    };
    assert_eq!(
        (task.id.as_str(), task.state),
        ("water-new-2026-jun9", State::Urgent)
    );
    let marks = [done(&task.id, june(10))];
    for (rain, state) in [
        (june(1), Some(State::Done)),
        (june(2), Some(State::Done)),
        (june(3), Some(State::Done)),
        // A spell of its own, noticed after the work.
        (june(6), None),
    ] {
        let plan = plan_of(&rained(&[rain], &marks, today), today);
        let states: Vec<State> = water(&plan).iter().map(|task| task.state).collect();
        assert_eq!(states, state.into_iter().collect::<Vec<_>>(), "{rain}");
    }
    // The next call of the same spell is not done by that.
    let later = june(18);
    for (rain, id) in [
        (june(1), "water-new-2026-jun16"),
        (june(3), "water-new-2026-jun18"),
    ] {
        let plan = plan_of(&rained(&[rain], &marks, later), later);
        let open: Vec<&str> = water(&plan)
            .iter()
            .filter(|task| task.state == State::Urgent)
            .map(|task| task.id.as_str())
            .collect();
        assert_eq!(open, [id], "{rain}");
    }
    // A snooze sticks as well; and the names of an older version.
    let until = june(14);
    for id in ["water-new-2026-jun9", "water-new-2026-1"] {
        let task = id.to_owned();
        let snooze = noted(june(10), Fact::Snoozed(Snooze { task, until }));
        let plan = plan_of(&rained(&[june(2)], &[snooze], today), today);
        assert_eq!(water(&plan)[0].id, id);
        let plan = plan_of(&rained(&[june(2)], &[done(id, june(10))], today), today);
        assert_eq!(water(&plan)[0].state, State::Done, "{id}");
    }
}

/// A spell that shifts by less than three days is no news.
#[test]
fn a_shifted_event_is_no_change_of_the_calendar() {
    let today = june(11);
    let plan = |rain| plan_of(&rained(&[rain], &[], today), today);
    let of = |found: Vec<changes::Change>| {
        let ids = found.into_iter().map(|change| change.task);
        ids.filter(|id| id.starts_with("water-new"))
            .collect::<Vec<_>>()
    };
    let (one, two) = (plan(june(1)), plan(june(2)));
    assert_ne!(water(&one)[0].id, water(&two)[0].id);
    assert_eq!(of(changes::changes(&one, &two)), Vec::<String>::new());
    let three = plan(june(6));
    assert_eq!(of(changes::changes(&one, &three)).len(), 1);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Any June, any task of a dry spell done, any rain shifted by up to two
    /// days: no watering of that spell is called for anew, and no spell that
    /// began more than three days from it counts as done.
    #[test]
    fn marks_stick_to_their_event(
        rains in proptest::collection::btree_set(1..26_u32, 1..4),
        which in any::<prop::sample::Index>(),
        shifts in proptest::collection::vec(0..=2_u64, 4),
    ) {
        let today = june(28);
        let on: Vec<NaiveDate> = rains.iter().map(|day| june(*day)).collect();
        let shifted: Vec<NaiveDate> = on.iter().zip(&shifts)
            .map(|(date, days)| *date + Days::new(*days)).collect();
        // The spell as it looked on the day on which it was noticed.
        let season_of = |facts: &Facts| season::derive(facts, today);
        let facts = rained(&on, &[], today);
        let dry = budtide::facts::knowledge::Trigger::Dry { rain_mm: 25.4, days: 7 };
        let season = season_of(&facts);
        let events: Vec<NaiveDate> = season.events(&dry, &season.groups[0], 2026).iter()
            .map(|event| event.date).filter(|date| *date >= june(8)).collect();
        prop_assume!(!events.is_empty());
        let event = *which.get(&events);
        let id = format!("water-new-2026-{}", event.format("%b%-d").to_string().to_lowercase());
        let marks = [done(&id, event)];
        let revised = rained(&shifted, &marks, today);
        let plan = plan_of(&revised, today);
        for task in water(&plan) {
            let opens = task.window.opens.spread.middle;
            let apart = (opens - event).num_days().abs();
            if task.state == State::Done {
                prop_assert!(apart <= 6, "{} done for {id}", task.id);
            }
            if apart <= 2 {
                prop_assert_eq!(task.state, State::Done, "{} against {}", &task.id, &id);
            }
        }
    }
}
