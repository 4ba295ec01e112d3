//! Ratings, and what else is known of cultivars.

use super::{rows, shipped};
use budtide::facts::knowledge::{BloomGroup, Rating, SelfFertile, Source};
use std::collections::BTreeMap;

/// Columns of `varieties.csv` and the disease each stands for.
const RATED: [(&str, &str); 11] = [
    ("cedar_apple_rust", "cedar-apple-rust"),
    ("quince_rust", "quince-rust"),
    ("apple_scab", "apple-scab"),
    ("fire_blight", "fire-blight"),
    ("powdery_mildew", "powdery-mildew"),
    ("bacterial_spot", "bacterial-spot"),
    ("brown_rot", "brown-rot"),
    ("leaf_curl", "peach-leaf-curl"),
    ("black_knot", "black-knot"),
    ("cherry_leaf_spot", "cherry-leaf-spot"),
    ("bacterial_canker", "bacterial-canker"),
];

fn crop_of(row: &BTreeMap<String, String>) -> &str {
    match (row["crop"].as_str(), row["type"].as_str()) {
        ("plum", "European") => "european-plum",
        ("plum", _) => "japanese-plum",
        ("cherry", "sweet") => "sweet-cherry",
        ("cherry", _) => "tart-cherry",
        (crop, _) => crop,
    }
}

#[test]
fn ratings_round_trip_as_printed() {
    let knowledge = shipped();
    let rows = rows("varieties.csv");
    assert_eq!(rows.len(), knowledge.cultivars.len());
    let mut rated = 0;
    let mut printed_ratings = 0;
    for row in &rows {
        let name = &row["cultivar"];
        let cultivar = knowledge
            .cultivars
            .iter()
            .find(|c| c.crop == crop_of(row) && c.name == *name)
            .unwrap_or_else(|| panic!("{name} is missing"));
        let mut count = 0;
        for (column, disease) in RATED {
            let printed = &row[&format!("{column}_published")];
            let Some(rating) = cultivar.rating(disease) else {
                assert_eq!(printed, "", "{name}, {disease}");
                assert_eq!(row[&format!("{column}_normalised")], "unknown");
                continue;
            };
            count += 1;
            printed_ratings += rating.published.len();
            let published: Vec<String> = rating
                .published
                .iter()
                .map(|(text, source)| format!("{text} @{source}"))
                .collect();
            assert_eq!(published.join(" | "), *printed, "{name}, {disease}");
            assert_eq!(
                rating.rating.word().replace(' ', "_"),
                row[&format!("{column}_normalised")],
                "{name}, {disease}"
            );
            let differ = row["sources_differ"].split(';').any(|one| one == column);
            assert_eq!(rating.sources_differ, differ, "{name}, {disease}");
        }
        assert_eq!(cultivar.ratings.len(), count, "{name}");
        rated += count;
    }
    // What the table itself holds. varieties.md says 417 cultivars and 644
    // ratings; the rows are 411, with 633 printed ratings in 511 cells.
    assert_eq!((rows.len(), rated, printed_ratings), (411, 511, 633));
}

#[test]
fn unknown_cells_stay_unknown() {
    let knowledge = shipped();
    for row in &rows("varieties.csv") {
        let name = row["cultivar"].as_str();
        let cultivar = knowledge.cultivar(crop_of(row), name).unwrap();
        let words = |key: &str| row[key].as_str();
        assert_eq!(
            cultivar.bloom.as_ref().map_or("unknown", |(g, _)| g.word()),
            words("bloom_group"),
            "{name}"
        );
        let fertile = cultivar.self_fertile.as_ref().map(|(answer, _)| *answer);
        let expected = match words("self_fertile") {
            "" => None,
            "no" => Some(SelfFertile::No),
            "yes" | "yes (as a class)" => Some(SelfFertile::Yes),
            _ => Some(SelfFertile::Partly),
        };
        assert_eq!(fertile, expected, "{name}");
        assert_eq!(
            cultivar.good_pollen.as_ref().map(|(good, _)| *good),
            (!words("pollen").is_empty()).then_some(false),
            "{name}"
        );
        let text = |fact: &Option<(String, Source)>| {
            fact.as_ref()
                .map_or(String::new(), |(text, _)| text.clone())
        };
        assert_eq!(text(&cultivar.s_alleles), words("s_genotype"), "{name}");
        assert_eq!(text(&cultivar.ripens), words("ripening"), "{name}");
        assert_eq!(
            cultivar.chill_hours.as_ref().map(|(hours, _, _)| *hours),
            words("chill_hours").parse().ok(),
            "{name}"
        );
        assert_eq!(
            cultivar.coldest_zone.as_ref().map(|(zone, _)| *zone),
            words("zone_min").parse().ok(),
            "{name}"
        );
    }
}

#[test]
fn cultivars_are_found_by_synonym() {
    let knowledge = shipped();
    let name = |crop: &str, name: &str| knowledge.cultivar(crop, name).unwrap().name.clone();
    assert_eq!(name("apple", "red delicious"), "Delicious");
    assert_eq!(name("apple", "gold rush"), "GoldRush");
    assert_eq!(name("apple", "Co-op 39"), "CrimsonCrisp");
    assert_eq!(name("pear", "Baldwin"), "Baldwin (pear)");
    let bloom = &knowledge.cultivar("sweet-cherry", "Burlat").unwrap().bloom;
    assert!(bloom.as_ref().unwrap().0 <= BloomGroup::Mid);
}

#[test]
fn common_practice_about_rust_holds() {
    // Tables of West Virginia University and eXtension Apples (WVU-CAR):
    // 'Delicious' VR, 'Arkansas Black' R, 'Golden Delicious' HS.
    let knowledge = shipped();
    let rust = |name: &str, disease: &str| {
        let cultivar = knowledge.cultivar("apple", name).unwrap();
        cultivar.rating(disease).map(|rating| rating.rating)
    };
    assert!(rust("Delicious", "cedar-apple-rust").unwrap() <= Rating::Resistant);
    assert!(rust("Arkansas Black", "cedar-apple-rust").unwrap() <= Rating::Resistant);
    assert!(rust("Golden Delicious", "cedar-apple-rust").unwrap() >= Rating::Susceptible);
    // Resistance is kept per rust: 'Liberty' and 'Macfree' take quince rust.
    assert!(rust("Liberty", "cedar-apple-rust").unwrap() <= Rating::Resistant);
    assert!(rust("Liberty", "quince-rust").unwrap() >= Rating::Susceptible);
    // Nobody rated 'Delicious' for quince rust in a table: unknown it stays.
    assert_eq!(rust("Delicious", "quince-rust"), None);
}
