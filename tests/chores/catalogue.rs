//! The chores as they stand in the files: texts, cautions, materials, and that
//! the whole of the year's work is there.

use super::orchard::shipped;
use budtide::facts::knowledge::{Chore, ChoreKind, Guard, Knowledge};
use std::collections::BTreeSet;

/// The work of a year in a small mixed orchard, by the numbers of the
/// project's reference (`chores.md`), and the files that hold it.
const COVERAGE: [(&str, &[&str]); 46] = [
    ("C01", &["order-stock"]),
    ("C02", &["plant-spring", "plant-fall", "plant-winter"]),
    ("C03", &["plant-container-spring", "plant-container-fall"]),
    ("C04", &["receive-spring", "receive-fall"]),
    ("C05", &["labels", "year-notes"]),
    ("C06", &["straighten", "ties-spring", "ties-fall"]),
    ("C07", &["whitewash"]),
    ("C08", &["guards-fall", "guards-thaw"]),
    ("C09", &["mulch"]),
    ("C10", &["prune-pome"]),
    ("C11", &["prune-stone"]),
    ("C12", &["prune-sweet-cherry", "prune-stone"]),
    ("C13", &["train-young", "spread-limbs"]),
    ("C14", &["renovate-old", "renovate-summer"]),
    ("C15", &["fell-dead", "replant-plan"]),
    (
        "C16",
        &[
            "blight-winter",
            "blight-strikes",
            "blight-copper",
            "blight-bloom",
        ],
    ),
    ("C17", &["black-knot", "black-knot-cover"]),
    ("C18", &["mummies-fall", "mummies-spring"]),
    ("C19", &["gall-removal", "gall-look"]),
    ("C20", &["oil-dormant", "oil-delayed"]),
    ("C21", &["leaf-curl-fall", "leaf-curl-late"]),
    ("C22", &["bloom-bees", "mow-before-bloom"]),
    (
        "C23",
        &["frost-ready", "frost-tonight", "frost-check", "frost-after"],
    ),
    ("C24", &["thin-pome"]),
    ("C25", &["thin-stone"]),
    (
        "C26",
        &["water-new", "water-bearing", "water-berries", "water-late"],
    ),
    ("C27", &["measure-growth", "feed-spring"]),
    ("C28", &["prune-apple-summer"]),
    ("C29", &["leaf-check"]),
    (
        "C30",
        &[
            "trap-maggot",
            "trap-maggot-tend",
            "trap-codling",
            "trap-fruit-moth",
            "trap-cherry-fly",
            "trap-swd",
            "curculio-watch",
        ],
    ),
    ("C31", &["net-cherry", "net-berries", "nets-off"]),
    ("C32", &["bag-apples", "unbag-apples"]),
    ("C33", &["prop-limbs"]),
    ("C34", &["starch-apple", "harvest-apple"]),
    ("C35", &["harvest-pear"]),
    ("C36", &["harvest-peach", "harvest-plum", "harvest-cherry"]),
    ("C37", &["harvest-bramble", "harvest-blueberry"]),
    ("C38", &["leaf-litter-fall", "leaf-litter-spring"]),
    ("C39", &["fall-cleanup", "mound-berries"]),
    (
        "C40",
        &["calibrate-sprayer", "sprayer-drain", "tools-winter"],
    ),
    ("C41", &["soil-test"]),
    (
        "C42",
        &[
            "bramble-after-harvest",
            "raspberry-winter",
            "blackberry-winter",
            "blackberry-tip",
            "orange-rust",
        ],
    ),
    ("C43", &["blueberry-prune", "blueberry-feed", "mummy-berry"]),
    ("C44", &["storm-walk", "hail-walk", "wind-walk"]),
    (
        "C45",
        &[
            "hard-winter-peach",
            "hard-winter-tree",
            "hard-winter-berries",
            "cold-plunge",
        ],
    ),
    ("C46", &["monthly-walk"]),
];

#[test]
fn the_whole_year_is_there() {
    let knowledge = shipped();
    for (number, ids) in COVERAGE {
        for id in ids {
            assert!(knowledge.chore(id).is_some(), "{number}: no chore {id}");
        }
    }
}

#[test]
fn every_chore_says_what_it_must() {
    let knowledge = shipped();
    let mut lanes = BTreeSet::new();
    for chore in &knowledge.chores {
        let id = &chore.id;
        for (key, text) in [
            ("name", &chore.name),
            ("lane", &chore.lane),
            ("say", &chore.say),
            ("why", &chore.why),
            ("how", &chore.how),
        ] {
            assert!(!text.trim().is_empty(), "{id}: {key} is empty");
        }
        assert!(chore.lane.chars().count() <= 26, "{id}: long lane");
        assert!(lanes.insert(&chore.lane), "{id}: lane stands twice");
        let about_trees = !chore.needs.crops.is_empty() || chore.needs.on_junipers;
        let marked = ["{trees}", "{plants}", "{fruit}"].map(|mark| chore.say.contains(mark));
        assert_eq!(marked.contains(&true), about_trees, "{id}: say");
        assert!(!chore.say.ends_with('.'), "{id}: say is no sentence");
        for text in [&chore.why, &chore.how] {
            assert!(text.ends_with('.') || text.ends_with('?'), "{id}: {text}");
        }
        let cut = matches!(chore.kind, ChoreKind::Spray | ChoreKind::Pruning);
        let (early, late) = (!chore.too_early.is_empty(), !chore.too_late.is_empty());
        assert!(
            (early && late) || (!cut && (early || late)),
            "{id}: what comes of too early, of too late?"
        );
        assert!((1..=5).contains(&chore.worth), "{id}");
    }
}

#[test]
fn cautions_stand_where_they_must() {
    let knowledge = shipped();
    for chore in &knowledge.chores {
        let has = |caution: &str| chore.cautions.iter().any(|id| id == caution);
        let need = |caution: &str| assert!(has(caution), "{}: no caution {caution}", chore.id);
        let tools: Vec<&str> = chore
            .tools
            .iter()
            .flat_map(|tool| tool.split_whitespace())
            .collect();
        let says = |words: &[&str]| {
            let how = format!(" {} ", chore.how.to_lowercase());
            words.iter().any(|word| how.contains(word))
        };
        match chore.kind {
            ChoreKind::Spray => {
                need("label");
                need("protective-gear");
                assert!(has("bees") || has("drift"), "{}: bees or drift", chore.id);
            }
            ChoreKind::Pruning => assert!(
                has("ladder") || has("saw") || has("weather"),
                "{}: pruning without a caution",
                chore.id
            ),
            ChoreKind::Harvest => need("food"),
            ChoreKind::Planting if says(&[" hole", " dig", "trench"]) => need("digging"),
            _ => {}
        }
        if tools.contains(&"ladder") && chore.kind != ChoreKind::Harvest {
            need("ladder");
        }
        if tools.contains(&"saw") {
            need("saw");
        }
        if chore.kind != ChoreKind::Spray && says(&[" burn", "burn "]) {
            need("burning");
        }
        if says(&["drops", "fallen fruit"]) && chore.kind == ChoreKind::Sanitation {
            need("food");
        }
    }
}

#[test]
fn sprays_name_what_helps_and_nothing_that_fails() {
    let knowledge = shipped();
    let sprays = knowledge.chores.iter();
    for chore in sprays.filter(|chore| chore.kind == ChoreKind::Spray) {
        assert!(!chore.materials.is_empty(), "{}: no material", chore.id);
        let materials: Vec<_> = knowledge
            .materials
            .iter()
            .filter(|material| chore.materials.contains(&material.id))
            .collect();
        if let Some(disease) = &chore.needs.susceptible_to {
            for material in &materials {
                assert!(
                    !material.fails_on.contains(disease),
                    "{}: {} does nothing against {disease}",
                    chore.id,
                    material.id
                );
            }
            assert!(
                materials.iter().any(|one| one.controls.contains(disease)),
                "{}: nothing controls {disease}",
                chore.id
            );
        }
        let kills = materials
            .iter()
            .any(|material| material.kind.starts_with("insecticide"));
        let guarded = chore
            .guards
            .iter()
            .any(|guard| matches!(guard, Guard::Bloom));
        assert!(
            !kills || guarded,
            "{}: insecticide without in_bloom",
            chore.id
        );
    }
    // Captan is never offered against a juniper rust.
    for chore in &knowledge.chores {
        let rust = chore
            .needs
            .susceptible_to
            .as_deref()
            .is_some_and(|disease| {
                knowledge
                    .disease(disease)
                    .is_some_and(|one| one.needs_juniper)
            });
        assert!(!rust || !chore.materials.iter().any(|id| id == "captan"));
    }
}

/// Words with a capital that are no names of products: places of the trade,
/// groups, days.
const CAPITALS: [&str; 9] = [
    "FRAC",
    "Labor",
    "Day",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
];

/// More of them: fruit and people, and January.
const MORE_CAPITALS: [&str; 8] = [
    "Bosc", "Asian", "European", "Japanese", "January", "Growers", "I", "Carbaryl",
];

/// A brand would be a word with a capital inside a sentence.
#[test]
fn no_word_looks_like_a_brand() {
    let knowledge = shipped();
    for chore in &knowledge.chores {
        for text in texts(chore) {
            assert!(!text.contains(['®', '™']), "{}: {text}", chore.id);
            let mut sentence_begins = true;
            for word in text.split_whitespace() {
                let bare: String = word.chars().filter(|c| c.is_alphabetic()).collect();
                let capital = bare.chars().next().is_some_and(char::is_uppercase);
                let known = CAPITALS.contains(&bare.as_str())
                    || MORE_CAPITALS.contains(&bare.as_str())
                    || bare == "F";
                assert!(
                    !capital || sentence_begins || known,
                    "{}: is \"{bare}\" a brand? {text}",
                    chore.id
                );
                sentence_begins = word.ends_with(['.', ':', '?', ')']);
            }
        }
    }
}

fn texts(chore: &Chore) -> impl Iterator<Item = &str> {
    [
        &chore.name,
        &chore.say,
        &chore.good_day,
        &chore.why,
        &chore.how,
        &chore.too_early,
        &chore.too_late,
    ]
    .into_iter()
    .map(String::as_str)
    .chain(chore.tools.iter().map(String::as_str))
}

/// What comes first in `comes_after` opens first where both are for one crop;
/// a ring would leave the keeper without a first step.
#[test]
fn the_order_of_chores_has_no_ring() {
    let knowledge = shipped();
    for chore in &knowledge.chores {
        let mut seen = BTreeSet::new();
        let mut next: Vec<&str> = chore.comes_after.iter().map(String::as_str).collect();
        while let Some(id) = next.pop() {
            assert_ne!(id, chore.id, "a ring through {}", chore.id);
            if seen.insert(id) {
                next.extend(before(&knowledge, id));
            }
        }
    }
}

fn before<'k>(knowledge: &'k Knowledge, id: &str) -> Vec<&'k str> {
    let chore = knowledge.chore(id);
    chore.map_or_else(Vec::new, |chore| {
        chore.comes_after.iter().map(String::as_str).collect()
    })
}
