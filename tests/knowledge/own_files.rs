//! The user's files over the shipped ones.

use super::{faults, folder, root, shipped};
use budtide::config::knowledge::{load, load_for};
use budtide::facts::knowledge::Knowledge;
use std::fs;

/// A crop with one fault of every kind that crosses lines.
const QUINCE: &str = r#"name = "quince"
plural = "quinces"
plant = "tree"
latin = "Cydonia oblonga"
kind = "pom"

[[stage]]
name = "bud burst"
bbch = "53"
standing = "from memory"
heat = { share = 0.5, standing = "from memory" }

[[stage]]
name = "first bloom"
bbch = "60"
standing = "from memory"
heat = { share = 0.4, standing = "from memory" }

[[stage]]
name = "full bloom"
bbch = "65"
standing = "from memory"
heat = { share = 0.9, standing = "from memory" }

[[critical]]
stage = "full blom"
kill_10 = "28 °F"
reference = "WSU-MSX"
standing = "seen"

[[critical]]
stage = "full bloom"
kill_10 = "-28 °F"
kill_90 = "-24"
standing = "seen"

[[critical]]
stage = "first bloom"
kill_10 = "24 °F"
kill_90 = "28 °F"

[bloom_offset]
days = "four"
spred = 3
standing = "remembered"
"#;

#[test]
fn every_fault_of_a_crop_is_told_with_its_place() {
    let expected = r#"crops/quince.toml:5:8: kind: "pom" is not known here; did you mean "pome"?
    5 | kind = "pom"
      |        ^^^^^
crops/quince.toml:17:8: stage[2].heat: shares of heat grow along the list, and bud burst before it has 0.5 already
   17 | heat = { share = 0.4, standing = "from memory" }
      |        ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
crops/quince.toml:23:8: stage[3].heat: the share of full bloom is 1, not 0.9
   23 | heat = { share = 0.9, standing = "from memory" }
      |        ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
crops/quince.toml:26:9: critical[1].stage: no stage named "full blom"; did you mean "full bloom"?
   26 | stage = "full blom"
      |         ^^^^^^^^^^^
crops/quince.toml:28:13: critical[1].reference: no reference named "WSU-MSX"; did you mean "WSU-MSU"?
   28 | reference = "WSU-MSX"
      |             ^^^^^^^^^
crops/quince.toml:31:1: critical[2].reference: is missing: what is seen needs one
   31 | [[critical]]
      | ^^^^^^^^^^^^
crops/quince.toml:33:11: critical[2].kill_10: -28 °F cannot be: 10 % of spring buds die between 14 and 32 °F
   33 | kill_10 = "-28 °F"
      |           ^^^^^^^^
crops/quince.toml:34:11: critical[2].kill_90: "-24" has no unit; write temperature as "28 °F"
   34 | kill_90 = "-24"
      |           ^^^^^
crops/quince.toml:37:1: critical[3].standing: is missing; write it as standing = "seen"
   37 | [[critical]]
      | ^^^^^^^^^^^^
crops/quince.toml:38:9: critical[3].stage: stands out of the order of the stages, or twice
   38 | stage = "first bloom"
      |         ^^^^^^^^^^^^^
crops/quince.toml:40:11: critical[3].kill_90: should be colder than kill_10: it takes more cold to kill 90 %
   40 | kill_90 = "28 °F"
      |           ^^^^^^^
crops/quince.toml:42:1: bloom_offset.spread: is missing; write it as spread = 0.5
   42 | [bloom_offset]
      | ^^^^^^^^^^^^^^
crops/quince.toml:43:8: bloom_offset.days: should be a number without quotes, not a text
   43 | days = "four"
      |        ^^^^^^
crops/quince.toml:44:1: bloom_offset.spred: no such key; did you mean "spread"?
   44 | spred = 3
      | ^^^^^
crops/quince.toml:45:12: bloom_offset.standing: "remembered" is not known here; known are seen, computed, common practice, our judgement, from memory
   45 | standing = "remembered"
      |            ^^^^^^^^^^^^"#;
    assert_eq!(faults(&[("crops/quince.toml", QUINCE)]), expected);
}

#[test]
fn ids_that_lead_nowhere_are_told_with_the_nearest() {
    let files = [
        (
            "cultivars/apple.toml",
            "[[cultivar]]\nname = \"Home Red\"\nratings.cedar-aple-rust = { rating = \"resistant\", published = [[\"R\", \"WVU-CAR\"]] }\n\
             \n[[cultivar]]\nname = \"home-red\"\nratings.apple-scab = { rating = \"so-so\", published = [[\"R\", \"WVU-CRA\"], [\"S\"]] }\n",
        ),
        (
            "materials/soap.toml",
            "name = \"soap\"\nkind = \"insecticide\"\ncode = \"IRAC UNM\"\ncontrols_insects = [\"codling-mth\"]\n\
             controls_diseases = [\"fire-blight\"]\nfails_on = [\"fire-blight\"]\nstanding = \"from memory\"\n",
        ),
        ("cultivars/appel.toml", "[[cultivar]]\nname = \"X\"\n"),
        ("insects/wasp.toml", "name = \"wasp\nlatin = \"Vespula\"\n"),
    ];
    let expected = r#"insects/wasp.toml:1:13: not readable as TOML: invalid basic string, expected `"`
    1 | name = "wasp
      |             ^
materials/soap.toml:4:21: controls_insects: no insect named "codling-mth"; did you mean "codling-moth"?
    4 | controls_insects = ["codling-mth"]
      |                     ^^^^^^^^^^^^^
materials/soap.toml:6:12: fails_on: "fire-blight" stands under controls as well
    6 | fails_on = ["fire-blight"]
      |            ^^^^^^^^^^^^^^^
cultivars/appel.toml: no crop named "appel"; did you mean "apple"? (a file of cultivars bears the id of its crop)
cultivars/apple.toml:3:9: cultivar[1].ratings.cedar-aple-rust: no disease named "cedar-aple-rust"; did you mean "cedar-apple-rust"?
    3 | ratings.cedar-aple-rust = { rating = "resistant", published = [["R", "WVU-CAR"]] }
      |         ^^^^^^^^^^^^^^^
cultivars/apple.toml:6:8: cultivar[2].name: "home-red" stands here twice
    6 | name = "home-red"
      |        ^^^^^^^^^^
cultivars/apple.toml:7:33: cultivar[2].ratings.apple-scab.rating: "so-so" is not known here; known are very resistant, resistant, moderate, susceptible, very susceptible
    7 | ratings.apple-scab = { rating = "so-so", published = [["R", "WVU-CRA"], ["S"]] }
      |                                 ^^^^^^^
cultivars/apple.toml:7:61: cultivar[2].ratings.apple-scab.published: no reference named "WVU-CRA"; did you mean "WVU-CAR"?
    7 | ratings.apple-scab = { rating = "so-so", published = [["R", "WVU-CRA"], ["S"]] }
      |                                                             ^^^^^^^^^
cultivars/apple.toml:7:73: cultivar[2].ratings.apple-scab.published: should be a pair of texts, such as ["HS", "WVU-CAR"]
    7 | ratings.apple-scab = { rating = "so-so", published = [["R", "WVU-CRA"], ["S"]] }
      |                                                                         ^^^^^"#;
    assert_eq!(faults(&files), expected);
}

#[test]
fn a_users_file_takes_the_place_of_the_shipped_one() {
    let own = "[[cultivar]]\nname = \"Home Red\"\n";
    let folder = folder(&[
        ("cultivars/apple.toml", own),
        (
            "references/own.toml",
            "[[reference]]\nid = \"OWN\"\ntext = \"Our own notes\"\n",
        ),
        ("crops/notes.txt", "not read"),
    ]);
    let knowledge = load(Some(folder.path())).unwrap();
    let apples: Vec<_> = knowledge
        .cultivars
        .iter()
        .filter(|c| c.crop == "apple")
        .collect();
    assert_eq!(apples.len(), 1);
    assert_eq!(apples[0].name, "Home Red");
    assert!(knowledge.cultivar("pear", "Bartlett").is_some());
    assert!(knowledge.reference("OWN").is_some());
    assert!(knowledge.reference("WSU-MSU").is_some());
    assert_eq!(knowledge.crops.len(), 11);
}

#[test]
fn an_empty_file_takes_the_shipped_one_away() {
    let folder = folder(&[
        ("crops/apricot.toml", ""),
        ("diseases/black-knot.toml", "# never seen here\n"),
        ("crops/tart-cherry.toml", ""),
        ("diseases/no-such.toml", ""),
    ]);
    let knowledge = load(Some(folder.path())).unwrap();
    assert!(knowledge.crop("apricot").is_none());
    assert!(knowledge.disease("black-knot").is_none());
    // What still named it is read without it.
    let whole = shipped();
    assert_eq!(whole.disease("brown-rot").unwrap().hosts.len(), 6);
    assert_eq!(knowledge.disease("brown-rot").unwrap().hosts.len(), 4);
    // An event that was published for tart cherry does not become everyone's.
    let curculio = |all: &Knowledge| {
        let found = all.insects.iter().find(|one| one.id == "plum-curculio");
        found.unwrap().events.len()
    };
    assert_eq!(curculio(&knowledge), curculio(&whole) - 1);
    let plum = knowledge.cultivar("japanese-plum", "AU-Rosa").unwrap();
    assert!(plum.rating("black-knot").is_none());
    assert!(plum.rating("bacterial-spot").is_some());
    for material in &knowledge.materials {
        assert!(!material.controls.iter().any(|id| id == "black-knot"));
    }
}

#[test]
fn a_users_file_may_not_name_what_the_user_took_away() {
    let found = faults(&[
        ("crops/apricot.toml", ""),
        (
            "insects/wasp.toml",
            "name = \"wasp\"\nlatin = \"Vespula\"\nhosts = [\"apricot\"]\nlook = \"Ripe fruit\"\n",
        ),
    ]);
    assert_eq!(
        found,
        "insects/wasp.toml:3:10: hosts: no crop named \"apricot\"; known are apple, blackberry, blueberry, \
         european-plum, japanese-plum, peach, pear, raspberry, sweet-cherry, tart-cherry\n\
         \u{20}   3 | hosts = [\"apricot\"]\n\
         \u{20}     |          ^^^^^^^^^"
    );
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(24))]

    /// Whatever a hand or a disk does to a file, it is told and nothing falls over.
    #[test]
    fn a_damaged_file_is_told(which in 0_usize..8, at in 0.0_f64..1.0, cut in 1_usize..40, with in ".{0,6}") {
        let names = [
            "crops/apple.toml",
            "crops/blueberry.toml",
            "cultivars/pear.toml",
            "diseases/fire-blight.toml",
            "insects/codling-moth.toml",
            "materials/captan.toml",
            "cautions.toml",
            "zones.toml",
        ];
        let text = fs::read_to_string(root().join("config").join(names[which])).unwrap();
        let mut chars: Vec<char> = text.chars().collect();
        let start = ((chars.len() as f64) * at) as usize;
        let end = (start + cut).min(chars.len());
        chars.splice(start..end, with.chars());
        let broken: String = chars.into_iter().collect();
        let folder = folder(&[(names[which], &broken)]);
        if let Err(found) = load(Some(folder.path())) {
            proptest::prop_assert!(!found.is_empty());
            for fault in found {
                proptest::prop_assert!(!fault.to_string().is_empty());
            }
        }
    }
}

#[test]
fn cultivars_can_be_read_for_some_crops_only() {
    let some = load_for(None, Some(&["peach", "pear"])).unwrap();
    assert_eq!(some.cultivars.len(), 94 + 46);
    assert_eq!(some.crops.len(), 11);
}
