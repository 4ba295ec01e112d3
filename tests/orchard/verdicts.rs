//! Keep, watch, treat, replace; junipers; replanting. The orchard is invented:
//! these are the rules of the issue, not measurements.

use super::{demo, today};
use budtide::facts::Facts;
use budtide::facts::journal::{Noted, Severity, Symptom};
use budtide::facts::register::Status;
use budtide::plan::junipers::{self, Worth};
use budtide::plan::replacement;
use budtide::plan::verdict::{self, Finding, TreeVerdict, Verdict};
use chrono::NaiveDate;

fn of(facts: &Facts, id: &str) -> TreeVerdict {
    let mut trees = facts.register.trees.iter();
    let tree = trees.find(|tree| tree.id == id).unwrap();
    verdict::of(facts, tree, &[], today()).unwrap()
}

fn note(facts: &mut Facts, tree: &str, what: &str, years: &[i32], grade: u8) {
    for year in years {
        facts.journal.symptoms.push(Noted {
            date: NaiveDate::from_ymd_opt(*year, 7, 1).unwrap(),
            trees: vec![tree.to_owned()],
            crop: None,
            note: None,
            what: Symptom {
                what: what.to_owned(),
                severity: Some(Severity::Grade(grade)),
            },
        });
    }
}

/// The demo without a word of its journal.
fn blank() -> Facts {
    let mut facts = demo();
    facts.journal = Default::default();
    for tree in &mut facts.register.trees {
        tree.status = Status::Healthy;
    }
    facts
}

#[test]
fn one_bad_year_or_an_unknown_rating_never_replaces() {
    for crop in ["A1", "A2", "B1", "B5", "C1", "D2", "E5", "F1"] {
        let mut facts = blank();
        for disease in ["cedar-apple-rust", "fire-blight", "bacterial-spot", "rust"] {
            note(&mut facts, crop, disease, &[2025], 5);
        }
        assert!(of(&facts, crop).verdict < Verdict::Replace, "{crop}");
    }
    // Nobody rated it: not even after five years.
    let mut facts = blank();
    note(
        &mut facts,
        "B5",
        "cedar-apple-rust",
        &[2022, 2023, 2024, 2025],
        5,
    );
    let found = of(&facts, "B5");
    assert!(found.verdict < Verdict::Replace);
    assert!(!found.look.is_empty());
    // A rating alone makes it worth a look, no more.
    let found = of(&blank(), "B1");
    assert_eq!(found.verdict, Verdict::Watch);
    assert!(!found.look.is_empty());
}

#[test]
fn years_of_rust_on_a_susceptible_tree_replace_it() {
    let mut facts = blank();
    note(&mut facts, "A2", "cedar-apple-rust", &[2024, 2025], 4);
    assert_eq!(of(&facts, "A2").verdict, Verdict::Treat);
    note(&mut facts, "A2", "cedar-apple-rust", &[2023], 4);
    assert_eq!(of(&facts, "A2").verdict, Verdict::Replace);
    // The same on a resistant one puts name and diagnosis in doubt.
    let mut facts = blank();
    note(&mut facts, "A5", "cedar-apple-rust", &[2023, 2024, 2025], 4);
    let found = of(&facts, "A5");
    assert!(found.verdict < Verdict::Replace);
    let doubted = |one: &Finding| matches!(one, Finding::AgainstRating { .. });
    assert!(found.evidence.iter().any(doubted));
}

#[test]
fn a_stone_fruit_tree_is_not_blamed_on_junipers() {
    for what in ["cedar-apple-rust", "rust", "orange leaf spots"] {
        for id in ["D1", "E1", "F1", "F4"] {
            let mut facts = blank();
            note(&mut facts, id, what, &[2023, 2024, 2025], 5);
            let found = of(&facts, id);
            let cleared = |one: &Finding| {
                matches!(one, Finding::NotJunipers { rather, .. }
                    if rather.iter().all(|id| !id.contains("apple-rust")))
            };
            assert!(found.evidence.iter().any(cleared), "{id} {what}");
            let blamed = |one: &Finding| matches!(one, Finding::Weak { disease, .. } if disease.contains("apple-rust"));
            assert!(!found.evidence.iter().any(blamed), "{id} {what}");
        }
    }
    let mut facts = blank();
    note(&mut facts, "A2", "rust", &[2025], 3);
    let cleared = |one: &Finding| matches!(one, Finding::NotJunipers { .. });
    assert!(!of(&facts, "A2").evidence.iter().any(cleared));
}

#[test]
fn the_demo_has_one_of_each() {
    let facts = demo();
    let all = verdict::all(&facts, &[], today());
    for (verdict, word) in Verdict::ALL {
        assert!(all.iter().any(|one| one.verdict == verdict), "{word}");
    }
    let has = |keep: &dyn Fn(&Finding) -> bool| all.iter().any(|one| one.evidence.iter().any(keep));
    assert!(has(&|one| matches!(one, Finding::NotJunipers { .. })));
    assert!(has(&|one| matches!(one, Finding::AgainstRating { .. })));
    assert!(has(&|one| matches!(one, Finding::NotTheOther { .. })));
    assert!(has(&|one| matches!(one, Finding::NoCrop { .. })));
    assert!(has(&|one| matches!(one, Finding::Shoots { .. })));
    assert!(has(&|one| matches!(one, Finding::Damage { .. })));
    assert!(has(&|one| matches!(one, Finding::UnknownCultivar)));
    assert!(has(&|one| matches!(one, Finding::TooYoung { .. })));
}

#[test]
fn a_neighbours_juniper_is_never_cut_and_white_cedar_is_no_host() {
    let mut facts = demo();
    let found = junipers::of(&facts, today());
    for one in &found.junipers {
        assert_eq!(one.worth == Worth::NotYours, !one.juniper.removable);
    }
    assert!(!found.junipers[0].galls.is_empty());
    assert!(found.own_near > 0 && found.others > 0);
    facts.register.junipers[0].place = "white cedar hedge".into();
    let found = junipers::of(&facts, today());
    let hedge = found.junipers.iter().find(|one| one.juniper.id == "J1");
    assert_eq!(hedge.unwrap().worth, Worth::NoHost);
}

#[test]
fn many_that_leave_are_spread_over_years_in_plan_and_calendar() {
    let mut facts = demo();
    for tree in &mut facts.register.trees {
        if tree.crop == "apple" {
            tree.status = Status::Replace;
        }
    }
    facts.preferences.hours_per_week = 4.0;
    let season = budtide::season::derive(&facts, today());
    let plan = budtide::plan::make(&facts, &season, today());
    let steps = replacement::steps(&facts, &plan, &[], today());
    assert_eq!(steps.len(), 16);
    for year in 2027..=2034 {
        assert_eq!(
            steps.iter().filter(|one| one.year == year).count(),
            2,
            "{year}"
        );
    }
    for step in &steps {
        assert!(step.order.0 <= step.order.1 && step.remove.0 <= step.remove.1);
        let (from, to, _) = step.plant.unwrap();
        assert!(step.order.0 < from && from <= to);
        assert_eq!(
            step.same_kind_from,
            step.year + replacement::rest_years(&facts)
        );
    }
    let ordered: Vec<&String> = plan
        .tasks
        .iter()
        .filter(|task| task.chore == "order-stock" && task.season == 2027)
        .flat_map(|task| &task.trees)
        .filter(|id| facts.register.trees.iter().any(|tree| tree.id == **id))
        .collect();
    assert_eq!(ordered.len(), 2, "{ordered:?}");
}
