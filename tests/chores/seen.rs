//! What the keeper saw on a tree weighs more than the rating of its cultivar.

use super::orchard::shipped;
use budtide::config::{journal, place, register};
use budtide::facts::Facts;
use budtide::facts::weather::Weather;
use budtide::plan::calendar::Plan;
use budtide::plan::junipers;
use budtide::plan::taking::Taking;
use budtide::render::sentence::Words;
use budtide::render::{rust, views};
use budtide::{plan, season};
use chrono::NaiveDate;

/// Two 'Liberty' apples near a juniper, rated to resist rust (varieties.md),
/// and one 'Golden Delicious', rated to take it.
const REGISTER: &str = "[[tree]]\nid = \"L1\"\ncrop = \"apple\"\ncultivar = \"Liberty\"\n\
    [[tree]]\nid = \"L2\"\ncrop = \"apple\"\ncultivar = \"Liberty\"\n\
    [[tree]]\nid = \"G1\"\ncrop = \"apple\"\ncultivar = \"Golden Delicious\"\n\
    [[juniper]]\nid = \"J1\"\nwhere = \"fence\"\ndistance = \"60 ft\"\nremovable = true\n";

fn facts(notes: &str) -> Facts {
    let knowledge = shipped();
    let text = "name = \"Rust Hill\"\nlatitude = 39.2\nlongitude = -78.2\n\
                time_zone = \"America/New_York\"\nhardiness_zone = \"7a\"\n\
                units = \"us\"\ncountry = \"US\"\n";
    let (place, preferences) = place::read("place.toml", text, &knowledge.crops).unwrap();
    let register = register::read("register.toml", REGISTER, &knowledge.crops).unwrap();
    let journal = journal::read("journal.toml", notes, &knowledge.crops).unwrap();
    Facts {
        place,
        filed: register.clone(),
        register,
        weather: Weather::default(),
        journal,
        preferences,
        knowledge,
    }
}

fn rust(day: &str, trees: &str, severity: &str) -> String {
    format!("[[symptom]]\ndate = \"{day}\"\n{trees}what = \"cedar-apple-rust\"\n{severity}")
}

fn planned(facts: &Facts) -> Plan {
    let today = today();
    plan::make(facts, &season::derive(facts, today), today)
}

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 9, 1).unwrap()
}

/// The trees of the coming rust cover, and its reasons in words.
fn cover(facts: &Facts) -> (Vec<String>, String) {
    let plan = planned(facts);
    let task = plan.tasks.iter().find(|task| task.chore == "rust-cover");
    let task = task.expect("a rust cover for next spring");
    let words = Words::new(facts, plan.today);
    (task.trees.clone(), words.reasons(&task.reasons).join(" / "))
}

#[test]
fn rust_seen_on_a_resistant_tree_is_covered_and_told() {
    let seen = rust("2025-06-10", "trees = [\"L1\"]\n", "grade = 3\n")
        + &rust("2026-06-12", "trees = [\"l1\"]\n", "");
    let (trees, why) = cover(&facts(&seen));
    assert_eq!(trees, ["L1", "G1"]);
    assert!(
        why.contains("Liberty L1 is rated ") && why.contains("noted it there in 2025 and 2026"),
        "{why}"
    );
    assert!(
        why.contains("Liberty resists it and needs none"),
        "L2: {why}"
    );
}

#[test]
fn what_was_not_seen_on_the_tree_itself_overrules_nothing() {
    for (notes, why) in [
        (String::new(), "nothing noted"),
        (
            rust("2026-06-12", "crop = \"apple\"\n", "grade = 4\n"),
            "on the apples, one of them takes it",
        ),
        (
            rust("2026-06-12", "trees = [\"L1\"]\n", "grade = 0\n"),
            "looked at, and none there",
        ),
        (
            rust("2012-06-12", "trees = [\"L1\"]\n", "grade = 4\n"),
            "long ago",
        ),
        (
            rust("2026-09-12", "trees = [\"L1\"]\n", "grade = 4\n"),
            "still to come",
        ),
    ] {
        assert_eq!(cover(&facts(&notes)).0, ["G1"], "{why}");
    }
}

#[test]
fn every_page_says_the_same() {
    let seen = rust("2026-06-12", "trees = [\"L1\"]\n", "grade = 3\n");
    let facts = facts(&seen);
    let season = season::derive(&facts, today());
    let plan = plan::make(&facts, &season, today());
    let page = |id| views::tree(&facts, &season, &plan, id).join(" ");
    let (ill, well) = (page("L1"), page("L2"));
    let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        squeezed(&ill).contains("resistant to cedar-apple rust, but you noted it there in 2026"),
        "{ill}"
    );
    assert!(
        well.contains("Resists") && well.contains("cedar-apple rust"),
        "{well}"
    );
    let lines = rust::page(&facts, &season).join("\n");
    // The other rusts name L2 too: no rating of it is known for them.
    let from = lines.find("\ncedar-apple rust\n").unwrap();
    let own = &lines[from..lines.find("\ncedar-hawthorn rust\n").unwrap()];
    assert!(
        own.contains("L1 is rated") && !own.contains("L2"),
        "{lines}"
    );
    assert!(
        junipers::of(&facts, today())
            .suffering
            .contains(&"L1".to_owned())
    );
    let tree = &facts.register.trees[0];
    assert!(Taking::of(&facts, tree, "cedar-apple-rust", today()).against_rating());
    assert!(!Taking::of(&facts, tree, "apple-scab", today()).needs());
}
