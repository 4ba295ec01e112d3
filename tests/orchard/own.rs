//! The keeper's own `cultivars.toml`.

use budtide::config::knowledge::load;
use budtide::facts::knowledge::{Rating, Weighed};
use std::fs;
use tempfile::TempDir;

fn with(text: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("cultivars.toml"), text).unwrap();
    folder
}

fn faults(text: &str) -> String {
    let folder = with(text);
    let found = load(Some(folder.path())).expect_err("the file should have faults");
    let lines: Vec<String> = found.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

#[test]
fn own_cultivars_add_and_correct_and_leave_the_rest() {
    let folder = with(
        "[[cultivar]]\ncrop = \"apple\"\nname = \"Hewe's Crab\"\n\
         ratings.cedar-apple-rust = { rating = \"moderate\" }\n\n\
         [[cultivar]]\ncrop = \"apple\"\nname = \"gold rush\"\n\
         ratings.fire-blight = { rating = \"resistant\" }\n",
    );
    let knowledge = load(Some(folder.path())).unwrap();
    let crab = knowledge.cultivar("apple", "Hewe's Crab").unwrap();
    let rust = crab.rating("cedar-apple-rust").unwrap();
    assert_eq!(rust.rating, Rating::Moderate);
    assert_eq!(rust.published, [("moderate".to_owned(), "own".to_owned())]);
    let gold = knowledge.cultivar("apple", "GoldRush").unwrap();
    assert_eq!(
        gold.rating("fire-blight").unwrap().rating,
        Rating::Resistant
    );
    let shipped = load(None).unwrap();
    let before = shipped.cultivar("apple", "GoldRush").unwrap();
    assert_eq!(gold.rating("apple-scab"), before.rating("apple-scab"));
    assert_eq!(knowledge.cultivars.len(), shipped.cultivars.len() + 1);
}

#[test]
fn contradictory_own_ratings_are_a_fault_that_names_both() {
    let said = faults(
        "[[cultivar]]\ncrop = \"apple\"\nname = \"Delicious\"\n\
         ratings.apple-scab = { rating = \"resistant\" }\n\n\
         [[cultivar]]\ncrop = \"apple\"\nname = \"Red Delicious\"\n\
         ratings.apple-scab = { rating = \"susceptible\" }\n",
    );
    assert!(
        said.starts_with("cultivars.toml:9:1: cultivar[2].ratings:"),
        "{said}"
    );
    assert!(
        said.contains("susceptible to apple-scab here, but resistant in cultivar[1]"),
        "{said}"
    );
    assert!(said.contains("keep one of the two"), "{said}");
}

/// What is weighed stands in a file: another figure is another verdict.
#[test]
fn the_weights_are_read_from_their_file() {
    let shipped = load(None).unwrap();
    assert_eq!(shipped.judging.figures.len(), Weighed::ALL.len());
    assert!(shipped.judging.is_strong("MM.111") && !shipped.judging.is_strong("M.9"));
    let text = fs::read_to_string("config/judging.toml").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("judging.toml");
    fs::write(&file, text.replace("\"300 ft\"", "\"500 ft\"")).unwrap();
    let judging = load(Some(folder.path())).unwrap().judging;
    assert!((judging.of(Weighed::NearJuniper) - 152.4).abs() < 1e-9);
    let said = |text: &str| {
        fs::write(&file, text).unwrap();
        let found = load(Some(folder.path())).expect_err("the file should have faults");
        found
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("\n")
    };
    let found = said(&text.replace("[heavy_season]", "[heavy_seasons]"));
    assert!(found.contains("heavy_season: is missing"), "{found}");
    let found = said(&text.replace("\"300 ft\"", "300"));
    assert!(
        found.contains("near_juniper.value: 300 has no unit"),
        "{found}"
    );
    assert!(said("# nothing\n").contains("cannot be taken away"));
}

#[test]
fn a_wrong_crop_disease_or_word_names_the_nearest() {
    let said = faults("[[cultivar]]\ncrop = \"appel\"\nname = \"Liberty\"\n");
    assert!(said.contains("\"apple\""), "{said}");
    let said = faults(
        "[[cultivar]]\ncrop = \"apple\"\nname = \"Liberty\"\n\
         ratings.aple-scab = { rating = \"resistent\" }\n",
    );
    assert!(
        said.contains("apple-scab") && said.contains("\"resistant\""),
        "{said}"
    );
    let said = faults("[[cultivar]]\nname = \"Liberty\"\n");
    assert!(said.contains("crop"), "{said}");
}
