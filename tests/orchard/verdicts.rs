//! Keep, watch, treat, replace; junipers; replanting. The orchard is invented:
//! these are the rules of the issue, not measurements.

use super::{demo, today};
use budtide::facts::Facts;
use budtide::facts::journal::{Noted, Severity, Symptom};
use budtide::facts::register::Status;
use budtide::plan::junipers::{self, Worth};
use budtide::plan::replacement;
use budtide::plan::verdict::{self, Finding, TreeVerdict, Verdict};
use budtide::season::tally::{self, SeasonCount};
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

fn counted(year: i32, periods: usize) -> SeasonCount {
    SeasonCount {
        crop: "apple".into(),
        disease: "cedar-apple-rust".into(),
        year,
        periods,
        severe: 0,
    }
}

fn judged(facts: &Facts, id: &str, counts: &[SeasonCount]) -> TreeVerdict {
    let mut trees = facts.register.trees.iter();
    let tree = trees.find(|tree| tree.id == id).unwrap();
    verdict::of(facts, tree, counts, today()).unwrap()
}

/// The rule and its weights are ours: `config/judging.toml`.
#[test]
fn heavy_seasons_weigh_on_years_that_were_noted() {
    let heavy = [counted(2024, 6), counted(2025, 6)];
    let weighed = |found: &TreeVerdict| {
        found.evidence.iter().find_map(|one| match one {
            Finding::Weighed { bad_years, .. } => Some(*bad_years),
            _ => None,
        })
    };
    // Three bad years replace; one season that it came through makes it two
    // and a half.
    let mut facts = blank();
    note(&mut facts, "A2", "cedar-apple-rust", &[2022, 2023, 2024], 4);
    note(&mut facts, "A2", "cedar-apple-rust", &[2025], 1);
    assert_eq!(of(&facts, "A2").verdict, Verdict::Replace);
    let found = judged(&facts, "A2", &heavy);
    assert_eq!(found.verdict, Verdict::Treat);
    assert_eq!(weighed(&found), Some(-0.5));
    // Two bad years, and two noted without a grade in heavy seasons.
    let mut facts = blank();
    note(&mut facts, "A2", "cedar-apple-rust", &[2022, 2023], 4);
    note(&mut facts, "A2", "cedar-apple-rust", &[2024, 2025], 4);
    for noted in &mut facts.journal.symptoms {
        if noted.date > NaiveDate::from_ymd_opt(2024, 1, 1).unwrap() {
            noted.what.severity = None;
        }
    }
    assert_eq!(of(&facts, "A2").verdict, Verdict::Treat);
    let found = judged(&facts, "A2", &heavy);
    assert_eq!(found.verdict, Verdict::Replace);
    assert_eq!(weighed(&found), Some(1.0));
    // Seasons of which nothing was noted say nothing, however heavy, and one
    // bad year stays one.
    let mut facts = blank();
    note(&mut facts, "A2", "cedar-apple-rust", &[2022], 5);
    let all: Vec<_> = (2022..=2026).map(|year| counted(year, 20)).collect();
    let found = judged(&facts, "A2", &all);
    assert!(found.verdict < Verdict::Replace && weighed(&found).is_none());
    let told = found.evidence.iter().any(|one| {
        matches!(one, Finding::Infected { years, .. }
            if years.len() == 5 && years.contains(&(2026, 20, 0)))
    });
    assert!(told, "{:?}", found.evidence);
    // A cultivar that resists it is not told of them.
    let told = |one: &Finding| matches!(one, Finding::Infected { .. });
    assert!(!judged(&blank(), "A5", &all).evidence.iter().any(told));
}

/// The demo's hours are of 2026: this season's while it lasts, an earlier
/// season's a year on.
#[test]
fn the_tally_counts_this_season_and_those_before() {
    for (year, month) in [(2026, 12), (2027, 2)] {
        let day = NaiveDate::from_ymd_opt(year, month, 20).unwrap();
        let facts = budtide::service::gather::demo(day).unwrap();
        let season = budtide::season::derive(&facts, day);
        let counts = tally::counts(&facts, &season);
        let rust: Vec<_> = counts
            .iter()
            .filter(|one| one.crop == "apple" && one.disease == "cedar-apple-rust")
            .collect();
        assert_eq!(rust.len(), 1, "{counts:?}");
        assert_eq!(rust[0].year, 2026);
        assert!(rust[0].periods >= 4, "{rust:?}");
        assert!(counts.iter().all(|one| one.severe <= one.periods));
    }
}

/// A1 is judged so and not marked so; the keeper is told by when to decide.
#[test]
fn a_tree_judged_replace_is_proposed_until_the_register_says_so() {
    let facts = demo();
    let season = budtide::season::derive(&facts, today());
    let plan = budtide::plan::make(&facts, &season, today());
    let steps = replacement::steps(&facts, &plan, &["A1", "B2"], today());
    let step = steps.iter().find(|one| one.tree.id == "A1").unwrap();
    assert_eq!(step.decide_by, Some(step.order.0));
    assert!(step.order.0 > today() && step.order.0 <= step.order.1);
    let marked = steps.iter().find(|one| one.tree.id == "B2").unwrap();
    assert_eq!(marked.decide_by, None);
    let said = budtide::render::orchard::replanting(&facts, &season, &steps).join("\n");
    assert!(
        said.contains("A1 apple 'York Imperial', proposed: judged replace"),
        "{said}"
    );
    assert!(said.contains("status ="), "{said}");
}

/// Early in April the spring's planting is over for a tree that still stands:
/// calendar and plan name the same season, and so they do in March.
#[test]
fn calendar_and_replanting_name_one_season() {
    for (month, day, first) in [(3, 10, 2026), (4, 2, 2027), (11, 20, 2027)] {
        let today = NaiveDate::from_ymd_opt(2026, month, day).unwrap();
        let facts = budtide::service::gather::demo(today).unwrap();
        let season = budtide::season::derive(&facts, today);
        let plan = budtide::plan::make(&facts, &season, today);
        let steps = replacement::steps(&facts, &plan, &[], today);
        assert!(steps.len() >= 2);
        for step in &steps {
            assert_eq!(step.year, first, "{today}: {}", step.tree.id);
            for task in plan
                .tasks
                .iter()
                .filter(|task| task.trees.contains(&step.tree.id))
            {
                if ["plant-spring", "plant-winter", "order-stock"].contains(&task.chore.as_str()) {
                    assert!(task.season >= step.year, "{today}: {}", task.id);
                }
            }
        }
    }
}

#[test]
fn a_zone_too_cold_is_a_reason_to_watch() {
    let mut facts = blank();
    assert!(
        !of(&facts, "D4")
            .evidence
            .iter()
            .any(|one| matches!(one, Finding::TooCold { .. }))
    );
    facts.place.hardiness = budtide::facts::place::HardinessZone::read("3b").unwrap();
    let found = of(&facts, "D4");
    assert!(
        found
            .evidence
            .iter()
            .any(|one| matches!(one, Finding::TooCold { .. }))
    );
    assert_eq!(found.verdict, Verdict::Watch);
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
        assert_eq!(one.worth == Worth::NotYours, !one.juniper.is_own());
    }
    assert!(!found.junipers[0].galls.is_empty());
    assert!(found.own_near > 0 && found.others > 0);
    facts.register.junipers[0].place = "white cedar hedge".into();
    let found = junipers::of(&facts, today());
    let hedge = found.junipers.iter().find(|one| one.juniper.id == "J1");
    assert_eq!(hedge.unwrap().worth, Worth::NoHost);
    // What nobody said is neither the keeper's nor a neighbour's, and is left
    // alone until it is said.
    facts.register.junipers[1].removable = None;
    let found = junipers::of(&facts, today());
    let open = found.junipers.iter().find(|one| one.juniper.id == "J2");
    assert_eq!(open.unwrap().worth, Worth::NotSaid);
    assert_eq!(found.own_near, 0);
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
