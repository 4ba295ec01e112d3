//! The shipped knowledge and its reader.
//!
//! The CSV files in `tests/fixtures/` are copies of the project's reference
//! tables, which were made from the sources named in each of their rows; the
//! shipped files are held against them row by row.

use budtide::config::knowledge::{load, load_for};
use budtide::facts::knowledge::{
    BloomGroup, Crop, CropKind, DegreeDayMethod, HeatStart, InfectionModel, Knowledge, Rating,
    SelfFertile, Source, Standing,
};
use budtide::units::{Quantity, c_to_f, f_to_c};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The shipped knowledge, or all its faults.
fn shipped() -> Knowledge {
    match load(None) {
        Ok(knowledge) => knowledge,
        Err(faults) => {
            let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
            panic!("{}", lines.join("\n"));
        }
    }
}

/// The rows of a fixture, each by the names of its columns.
fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = root().join("tests/fixtures").join(name);
    let mut reader = csv::Reader::from_path(path).unwrap();
    let rows: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    rows
}

/// A user's folder with these files.
fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    folder
}

/// The faults of the knowledge with a user's files over it, as they are shown.
fn faults(files: &[(&str, &str)]) -> String {
    let folder = folder(files);
    let found = load(Some(folder.path())).expect_err("the files should have faults");
    let lines: Vec<String> = found.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

/// Every file of knowledge that is shipped: name and text.
fn files() -> Vec<(String, String)> {
    let config = root().join("config");
    let mut files = Vec::new();
    let mut add = |name: String, path: &Path| files.push((name, fs::read_to_string(path).unwrap()));
    for single in ["references.toml", "cautions.toml", "zones.toml"] {
        add(single.to_owned(), &config.join(single));
    }
    for inside in ["crops", "cultivars", "diseases", "insects", "materials"] {
        for entry in fs::read_dir(config.join(inside)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            add(format!("{inside}/{name}"), &path);
        }
    }
    files
}

#[test]
fn the_shipped_files_have_no_fault() {
    let knowledge = shipped();
    assert_eq!(knowledge.crops.len(), 11);
    assert_eq!(knowledge.cultivars.len(), 411);
    assert_eq!(knowledge.cautions.len(), 12);
    assert!(knowledge.references.len() > 400);
    assert_eq!(knowledge.diseases.len(), 23);
    assert_eq!(knowledge.insects.len(), 17);
    assert_eq!(knowledge.materials.len(), 24);
}

#[test]
fn the_folder_and_the_program_hold_the_same_files() {
    let knowledge = shipped();
    let named = |folder: &str| -> BTreeSet<String> {
        files()
            .into_iter()
            .filter_map(|(name, _)| {
                let inside = name.strip_prefix(folder)?.strip_prefix('/')?;
                Some(inside.strip_suffix(".toml")?.to_owned())
            })
            .collect()
    };
    let crops: BTreeSet<String> = knowledge.crops.iter().map(|c| c.id.clone()).collect();
    assert_eq!(crops, named("crops"));
    let diseases: BTreeSet<String> = knowledge.diseases.iter().map(|d| d.id.clone()).collect();
    assert_eq!(diseases, named("diseases"));
    let insects: BTreeSet<String> = knowledge.insects.iter().map(|i| i.id.clone()).collect();
    assert_eq!(insects, named("insects"));
    let materials: BTreeSet<String> = knowledge.materials.iter().map(|m| m.id.clone()).collect();
    assert_eq!(materials, named("materials"));
}

// ---- every figure says where it comes from

/// Takes every `standing` out of a text; how many there were.
fn without_standing(text: &str) -> (String, usize) {
    let mut kept = String::new();
    let mut count = 0;
    for line in text.lines() {
        let Some(at) = line
            .find("standing = \"")
            .filter(|_| !line.starts_with('#'))
        else {
            kept.push_str(line);
            kept.push('\n');
            continue;
        };
        count += 1;
        let end = at + "standing = \"".len();
        let end = end + line[end..].find('"').unwrap() + 1;
        kept.push_str(line[..at].trim_end_matches(", "));
        kept.push_str(&line[end..]);
        kept.push('\n');
    }
    (kept, count)
}

#[test]
fn a_figure_without_its_standing_is_a_fault() {
    let mut expected = 0;
    let mut broken = Vec::new();
    for (name, text) in files() {
        let (text, count) = without_standing(&text);
        expected += count;
        broken.push((name, text));
    }
    assert!(expected > 900, "{expected}");
    let list: Vec<(&str, &str)> = broken
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()))
        .collect();
    let folder = folder(&list);
    let found = load(Some(folder.path())).unwrap_err();
    let missing = found
        .iter()
        .filter(|fault| fault.key.ends_with("standing") && fault.message.contains("is missing"))
        .count();
    assert_eq!(missing, expected);
}

/// Whether a value of a file is a figure: a number, or a number with a unit.
fn is_figure(value: &toml::Value) -> bool {
    let quantity = |text: &str| {
        [
            Quantity::Temperature,
            Quantity::DegreeDays,
            Quantity::Hours,
            Quantity::Days,
            Quantity::Rain,
        ]
        .iter()
        .any(|quantity| quantity.read(text).is_ok())
    };
    match value {
        toml::Value::Integer(_) | toml::Value::Float(_) => true,
        toml::Value::String(text) => quantity(text),
        toml::Value::Array(list) => !list.is_empty() && list.iter().all(is_figure),
        _ => false,
    }
}

/// The tables that hold figures but neither a standing nor ratings in print.
fn unsourced(path: &str, table: &toml::Table, found: &mut Vec<String>) {
    let figures = table.values().any(is_figure);
    if figures && !table.contains_key("standing") && !table.contains_key("published") {
        found.push(path.to_owned());
    }
    for (key, value) in table {
        match value {
            toml::Value::Table(inner) => unsourced(&format!("{path}: {key}"), inner, found),
            toml::Value::Array(list) => {
                for (index, item) in list.iter().enumerate() {
                    if let toml::Value::Table(inner) = item {
                        unsourced(&format!("{path}: {key}[{}]", index + 1), inner, found);
                    }
                }
            }
            _ => {}
        }
    }
}

#[test]
fn every_table_with_a_figure_has_a_standing() {
    let mut found = Vec::new();
    for (name, text) in files() {
        let table: toml::Table = toml::from_str(&text).unwrap();
        unsourced(&name, &table, &mut found);
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
    // The checker sees a table that lacks it.
    let bare: toml::Table = toml::from_str("[[critical]]\nkill_10 = \"28 °F\"\n").unwrap();
    unsourced("bare", &bare, &mut found);
    assert_eq!(found, ["bare: critical[1]"]);
}

/// All sources of the knowledge that the types hold.
fn sources(knowledge: &Knowledge) -> Vec<&Source> {
    let mut all: Vec<&Source> = Vec::new();
    for crop in &knowledge.crops {
        for stage in &crop.stages {
            all.push(&stage.source);
            all.extend(stage.heat_share.iter().map(|(_, source)| source));
            all.extend(stage.days_after_bloom.iter().map(|(_, _, source)| source));
        }
        all.extend(crop.critical.iter().map(|row| &row.source));
        all.extend(crop.blossoms_needed.iter().map(|(_, _, source)| source));
        all.extend(crop.chill.iter().map(|row| &row.source));
        all.extend(crop.bloom_offset.iter().map(|row| &row.source));
        all.extend(crop.harvest.iter().map(|row| &row.source));
        all.extend(crop.planting.iter().map(|row| &row.source));
        all.extend(crop.years_to_bear.iter().map(|(_, _, source)| source));
        all.extend(crop.coldest_zone.iter().map(|(_, source)| source));
    }
    for cultivar in &knowledge.cultivars {
        all.extend(cultivar.coldest_zone.iter().map(|(_, source)| source));
        all.extend(cultivar.chill_hours.iter().map(|(_, _, source)| source));
        all.extend(cultivar.bloom.iter().map(|(_, source)| source));
        all.extend(cultivar.self_fertile.iter().map(|(_, source)| source));
        all.extend(cultivar.good_pollen.iter().map(|(_, source)| source));
        all.extend(cultivar.s_alleles.iter().map(|(_, source)| source));
        all.extend(cultivar.ripens.iter().map(|(_, source)| source));
    }
    for disease in &knowledge.diseases {
        all.push(&disease.source);
        all.extend(disease.wetness.iter().map(|row| &row.source));
        all.extend(disease.incidence.iter().map(|row| &row.source));
        all.extend(disease.figures.iter().map(|row| &row.source));
    }
    for insect in &knowledge.insects {
        all.extend(insect.events.iter().map(|row| &row.source));
    }
    for material in &knowledge.materials {
        all.push(&material.source);
        all.extend(material.reaches_back.iter().map(|row| &row.source));
    }
    all.extend(knowledge.cautions.iter().map(|row| &row.source));
    all
}

#[test]
fn what_was_seen_names_a_known_reference() {
    let knowledge = shipped();
    let all = sources(&knowledge);
    assert!(all.len() > 900, "{}", all.len());
    for source in all {
        if matches!(source.standing, Standing::Seen | Standing::Computed) {
            assert!(!source.references.is_empty(), "{source:?}");
        }
        for reference in &source.references {
            assert!(knowledge.reference(reference).is_some(), "{reference}");
        }
    }
}

#[test]
fn what_is_remembered_never_reaches_back_as_seen() {
    // Design, rule 5: a figure from memory never alone triggers a spray; so
    // the hours after infection carry a standing of their own.
    let knowledge = shipped();
    let myclobutanil = knowledge.materials.iter().find(|m| m.id == "myclobutanil");
    let rust = &myclobutanil.unwrap().reaches_back[0];
    assert_eq!(rust.disease, "cedar-apple-rust");
    assert_eq!((rust.least_hours, rust.most_hours), (72.0, 96.0));
    assert_eq!(rust.source.standing, Standing::FromMemory);
}

// ---- ratings and what else is known of cultivars

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
    assert!(rated > 500, "{rated}");
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

// ---- crops

/// Crops of `frost_critical.csv` by our ids.
const FROST_CROPS: [(&str, &str); 8] = [
    ("apple", "apple"),
    ("pear", "pear"),
    ("peach", "peach"),
    ("apricot", "apricot"),
    ("european-plum", "European plum / prune"),
    ("sweet-cherry", "sweet cherry"),
    ("tart-cherry", "tart cherry"),
    ("blueberry", "highbush blueberry"),
];

/// Our name of a stage that the table words in its own way.
fn stage_name(printed: &str) -> &str {
    match printed {
        "white tip (late pink)" => "white tip",
        other => other,
    }
}

fn assert_row(crop: &Crop, row: &BTreeMap<String, String>, ten: &str, ninety: Option<&str>) {
    let place = format!("{}, {}", crop.id, row["stage"]);
    let at = crop.stage(stage_name(&row["stage"])).expect(&place);
    let kept = crop
        .critical
        .iter()
        .find(|one| one.stage == crop.stages[at].name)
        .expect(&place);
    let ten: f64 = row[ten].parse().unwrap();
    assert!((c_to_f(kept.kill_10_c) - ten).abs() < 1e-9, "{place}");
    let ninety: Option<f64> = ninety.and_then(|key| row[key].parse().ok());
    match (kept.kill_90_c, ninety) {
        (Some(kept), Some(printed)) => assert!((c_to_f(kept) - printed).abs() < 1e-9, "{place}"),
        (kept, printed) => assert_eq!(kept, printed, "{place}"),
    }
}

#[test]
fn critical_temperatures_are_those_of_the_tables() {
    // WSU bulletins by way of Michigan State, Colorado State for tart cherry,
    // Purdue for blueberry: the source stands in each row. The second set for
    // peach (MIRANDA2005, Spain, stage labels assumed) is not shipped.
    let knowledge = shipped();
    let rows = rows("frost_critical.csv");
    for (id, printed) in FROST_CROPS {
        let crop = knowledge.crop(id).unwrap();
        let own: Vec<_> = rows
            .iter()
            .filter(|row| row["kind"] == "spring" && row["crop"] == printed)
            .filter(|row| row["source"] != "MIRANDA2005")
            .collect();
        assert_eq!(own.len(), crop.critical.len(), "{id}");
        for row in &own {
            assert_row(crop, row, "t10_f", Some("t90_f"));
        }
    }
    // No table of its own: the rows of European plum but for side white,
    // which Japanese plum does not show, marked as our judgement.
    let japanese = knowledge.crop("japanese-plum").unwrap();
    let european: Vec<_> = rows
        .iter()
        .filter(|row| row["kind"] == "spring" && row["crop"] == "European plum / prune")
        .filter(|row| row["stage"] != "side white")
        .collect();
    assert_eq!(japanese.critical.len(), european.len());
    for row in european {
        assert_row(japanese, row, "t10_f", Some("t90_f"));
    }
    for row in &japanese.critical {
        assert_eq!(row.source.standing, Standing::Judgement);
    }
    // Single values stand in the column of 90 % there and are kept as the
    // temperature where loss begins.
    let raspberry = knowledge.crop("raspberry").unwrap();
    let single = |crop: &str| -> Vec<BTreeMap<String, String>> {
        rows.iter()
            .filter(|row| row["kind"] == "spring-single" && row["crop"] == crop)
            .cloned()
            .collect()
    };
    assert_eq!(raspberry.critical.len(), 4);
    for row in single("red raspberry") {
        assert_row(raspberry, &row, "t90_f", None);
    }
    let blackberry = knowledge.crop("blackberry").unwrap();
    assert_eq!(blackberry.critical.len(), 1);
    assert!((c_to_f(blackberry.critical[0].kill_10_c) - 28.0).abs() < 1e-9);
    assert_eq!(single("blackberry")[0]["t90_f"], "28");
}

#[test]
fn stages_go_forward() {
    let knowledge = shipped();
    let code = |bbch: &str| bbch.split('-').next().unwrap().parse::<u32>().unwrap();
    for crop in &knowledge.crops {
        let codes: Vec<u32> = crop.stages.iter().map(|stage| code(&stage.bbch)).collect();
        assert!(codes.is_sorted(), "{}: {codes:?}", crop.id);
        let shares: Vec<f64> = crop
            .stages
            .iter()
            .filter_map(|stage| stage.heat_share.as_ref().map(|(share, _)| *share))
            .collect();
        assert!(shares.is_sorted_by(|a, b| a < b), "{}: {shares:?}", crop.id);
        let bloom = crop.stage("full bloom").unwrap();
        assert_eq!(crop.stages[bloom].heat_share.as_ref().unwrap().0, 1.0);
        let days: Vec<f64> = crop
            .stages
            .iter()
            .filter_map(|stage| stage.days_after_bloom.as_ref().map(|(least, _, _)| *least))
            .collect();
        assert!(days.is_sorted(), "{}: {days:?}", crop.id);
        for name in ["first bloom", "petal fall", "harvest"] {
            assert!(crop.stage(name).is_some(), "{} has no {name}", crop.id);
        }
    }
}

#[test]
fn shares_follow_from_the_sums() {
    // Apple before bloom: midpoints of the remembered Cornell sums for
    // McIntosh (tight cluster 190-255, full bloom 355-440 F-days). Apple petal
    // fall: open record of Klein-Altendorf, Golden Delicious 514 of 408.
    // Nectarine Big Top: 2557 and 9457 of 5518 (Miranda and others 2013).
    let knowledge = shipped();
    let share = |crop: &str, stage: &str| {
        let crop = knowledge.crop(crop).unwrap();
        let at = crop.stage(stage).unwrap();
        crop.stages[at].heat_share.clone().unwrap()
    };
    let near = |a: f64, b: f64, within: f64| assert!((a - b).abs() < within, "{a} {b}");
    near(share("apple", "tight cluster").0, 222.5 / 397.5, 0.001);
    near(share("apple", "petal fall").0, 514.0 / 408.0, 0.02);
    near(share("peach", "pink").0, 2557.0 / 5518.0, 0.001);
    near(share("peach", "shuck split").0, 9457.0 / 5518.0, 0.001);
    assert_eq!(
        share("apple", "tight cluster").1.standing,
        Standing::FromMemory
    );
    assert_eq!(share("apple", "petal fall").1.standing, Standing::Computed);
}

#[test]
fn crops_bloom_in_the_order_of_the_trade() {
    // phenology: apricot, Japanese plum and peach before European plum, pear
    // and sweet cherry; tart cherry between sweet cherry and apple.
    let knowledge = shipped();
    let days = |id: &str| {
        knowledge
            .crop(id)
            .unwrap()
            .bloom_offset
            .as_ref()
            .unwrap()
            .days
    };
    for early in ["apricot", "japanese-plum", "peach"] {
        for later in ["european-plum", "pear", "sweet-cherry"] {
            assert!(days(early) < days(later), "{early} {later}");
        }
    }
    assert!(days("sweet-cherry") < days("tart-cherry"));
    assert!(days("tart-cherry") < days("apple"));
}

#[test]
fn planting_advice_covers_zones_three_to_ten() {
    use budtide::facts::knowledge::{Advice, Stock};
    let knowledge = shipped();
    for crop in &knowledge.crops {
        for stock in [Stock::BareRoot, Stock::Container] {
            for zone in 3..=10 {
                let rows: Vec<_> = crop
                    .planting
                    .iter()
                    .filter(|row| row.stock == stock && (row.zones.0..=row.zones.1).contains(&zone))
                    .collect();
                assert_eq!(rows.len(), 1, "{}, zone {zone}", crop.id);
                // Bulletin 2411 of Maine: no fall planting in the cold zones.
                if zone <= 5 && stock == Stock::BareRoot {
                    assert_eq!(rows[0].fall, Advice::Unwise, "{}", crop.id);
                }
                assert!(rows[0].fall == Advice::Best || rows[0].spring == Advice::Best);
            }
        }
    }
}

// ---- diseases, insects, materials

#[test]
fn juniper_rusts_live_on_the_apple_tribe_only() {
    let knowledge = shipped();
    let rusts: Vec<_> = knowledge
        .diseases
        .iter()
        .filter(|d| d.needs_juniper)
        .collect();
    assert_eq!(rusts.len(), 4);
    for rust in rusts {
        assert!(!rust.hosts.is_empty());
        for host in &rust.hosts {
            assert_eq!(
                knowledge.crop(host).unwrap().kind,
                CropKind::Pome,
                "{}",
                rust.id
            );
        }
    }
    let peach_rust = knowledge.disease("peach-rust").unwrap();
    assert!(!peach_rust.needs_juniper);
    let found = faults(&[(
        "diseases/odd-rust.toml",
        "name = \"odd rust\"\nlatin = \"Gymnosporangium\"\nhosts = [\"apple\", \"peach\"]\n\
         needs_juniper = true\nmodel = \"window only\"\nweather = \"wet\"\naction = \"none\"\n\
         look = \"odd\"\nstanding = \"from memory\"\n",
    )]);
    assert_eq!(
        found,
        "diseases/odd-rust.toml:3:9: hosts: juniper rusts live on the apple tribe only, and peach is not of it\n\
         \u{20}   3 | hosts = [\"apple\", \"peach\"]\n\
         \u{20}     |         ^^^^^^^^^^^^^^^^^^"
    );
}

#[test]
fn captan_fails_on_every_juniper_rust() {
    let knowledge = shipped();
    let captan = knowledge
        .materials
        .iter()
        .find(|m| m.id == "captan")
        .unwrap();
    for rust in knowledge.diseases.iter().filter(|d| d.needs_juniper) {
        assert!(captan.fails_on.contains(&rust.id), "{}", rust.id);
        assert!(!captan.controls.contains(&rust.id), "{}", rust.id);
    }
}

#[test]
fn wetness_tables_are_those_of_the_sources() {
    // Aldwinckle, Pearson and Seem 1980 for rust (most rows remembered, and
    // marked so); West Virginia University after MacHardy and Gadoury for scab.
    let knowledge = shipped();
    let rust = knowledge.disease("cedar-apple-rust").unwrap();
    let printed = rows("rust_infection_hours.csv");
    let printed: Vec<_> = printed
        .iter()
        .filter(|row| !row["hours_light"].is_empty())
        .collect();
    assert_eq!(rust.wetness.len(), printed.len());
    for (kept, row) in rust.wetness.iter().zip(&printed) {
        assert_eq!(kept.temperature_c, row["temp_c"].parse::<f64>().unwrap());
        assert_eq!(kept.light_hours, row["hours_light"].parse::<f64>().unwrap());
        assert_eq!(kept.severe_hours, row["hours_severe"].parse::<f64>().ok());
        if row["status"] == "from memory" {
            assert_eq!(kept.source.standing, Standing::FromMemory);
        }
    }
    let scab = knowledge.disease("apple-scab").unwrap();
    let printed = rows("scab_infection_hours.csv");
    assert_eq!(scab.wetness.len(), printed.len());
    for (kept, row) in scab.wetness.iter().zip(&printed) {
        let fahrenheit: f64 = row["temp_f"].parse().unwrap();
        assert!((kept.temperature_c - f_to_c(fahrenheit)).abs() < 1e-9);
        assert_eq!(
            kept.light_hours,
            row["hours_ascospore"].parse::<f64>().unwrap()
        );
    }
    // The tables that models of weather need are there.
    for disease in &knowledge.diseases {
        let table = matches!(
            disease.model,
            InfectionModel::JuniperRust | InfectionModel::QuinceRust | InfectionModel::AppleScab
        );
        assert!(!table || !disease.wetness.is_empty(), "{}", disease.id);
    }
}

#[test]
fn brown_rot_blossom_is_the_trial_of_1989() {
    // Wilcox 1989, Phytopathology 79:530 (abstract).
    let knowledge = shipped();
    let kept = &knowledge.disease("brown-rot").unwrap().incidence;
    let printed = rows("brown_rot_blossom_incidence.csv");
    assert_eq!(kept.len(), printed.len());
    for (kept, row) in kept.iter().zip(&printed) {
        assert_eq!(kept.temperature_c, row["temp_c"].parse::<f64>().unwrap());
        assert_eq!(kept.wet_hours, row["wet_hours"].parse::<f64>().unwrap());
        if let Ok(percent) = row["blighted_blossoms_pct"].parse::<f64>() {
            assert_eq!(kept.share, (percent / 100.0, percent / 100.0));
        }
    }
}

#[test]
fn fire_blight_figures_are_read_in_si() {
    // 198 F degree hours above 65 F = 110 C degree hours above 18.3 C; 80 F
    // degree days = 44.4 C (Massachusetts notes 2003, C values computed).
    let knowledge = shipped();
    let blight = knowledge.disease("fire-blight").unwrap();
    let figure = |name: &str| {
        let figure = blight.figure(name).unwrap();
        (figure.value, figure.unit, figure.source.standing)
    };
    let (value, unit, standing) = figure("degree hours needed");
    assert!((value - 110.0).abs() < 1e-9 && unit == "°C h" && standing == Standing::Seen);
    let (value, unit, _) = figure("blossom age limit, apple");
    assert!((value - 44.444).abs() < 1e-3 && unit == "°C d");
    let (value, unit, standing) = figure("symptoms after");
    assert!((value - 57.222).abs() < 1e-3 && unit == "°C d");
    assert_eq!(standing, Standing::FromMemory);
    assert!((figure("degree hours, base").0 - 18.333).abs() < 1e-3);
}

#[test]
fn insect_sums_keep_base_method_and_start() {
    let knowledge = shipped();
    let insect = |id: &str| knowledge.insects.iter().find(|i| i.id == id).unwrap();
    // Jones, Doerr and Brunner 2008: 96 C-days above 10 C from 1 January.
    let moth = &insect("codling-moth").events[0];
    assert_eq!(moth.heat, Some((96.0, 96.0)));
    assert_eq!((moth.rule.base_c, moth.rule.upper_c), (10.0, Some(31.1)));
    assert_eq!(moth.start, HeatStart::Calendar(1, 1));
    // University of Vermont 2008: 308 F-days above 50 F from petal fall.
    let curculio = &insect("plum-curculio").events[0];
    assert_eq!(curculio.heat, Some((308.0 / 1.8, 308.0 / 1.8)));
    assert_eq!(curculio.rule.method, DegreeDayMethod::SimpleAverage);
    assert_eq!(curculio.start, HeatStart::Stage("petal fall".into()));
    // Every row that tells sum, base and start is there with both.
    let mut kept: Vec<(i64, i64)> = knowledge
        .insects
        .iter()
        .flat_map(|insect| &insect.events)
        .filter_map(|event| {
            let (least, _) = event.heat?;
            Some((
                (least * 1.8).round() as i64,
                c_to_f(event.rule.base_c).round() as i64,
            ))
        })
        .collect();
    for row in &rows("insect_degree_days.csv") {
        let usable = !row["start"].starts_with("not stated")
            && !row["pest"].starts_with("bud stage")
            && !row["event"].starts_with("earlier value");
        let sum = row["dd_f"].parse::<f64>().ok().filter(|_| usable);
        let (Some(sum), Ok(base)) = (sum, row["base_f"].parse::<f64>()) else {
            continue;
        };
        // Sums printed in C were turned and rounded in the table.
        let at = kept.iter().position(|(kept_sum, kept_base)| {
            (*kept_sum - sum as i64).abs() <= 1 && (*kept_base - base as i64).abs() <= 1
        });
        let at = at.unwrap_or_else(|| panic!("{}: {}", row["pest"], row["event"]));
        kept.swap_remove(at);
    }
    assert!(kept.is_empty(), "{kept:?}");
}

#[test]
fn cautions_of_every_kind_are_there() {
    let knowledge = shipped();
    for id in [
        "label",
        "protective-gear",
        "bees",
        "drift",
        "mixes",
        "ladder",
        "saw",
        "digging",
        "burning",
        "food",
        "weather",
        "not-a-diagnosis",
    ] {
        let caution = knowledge.caution(id).unwrap();
        assert!(caution.short.chars().count() < 110, "{id}");
    }
}

// ---- the page for whoever adds a file

/// Every key of a table and of the tables in it; what stands under `ratings`
/// is named after diseases and is left out.
fn keys(table: &toml::Table, found: &mut BTreeSet<String>) {
    for (key, value) in table {
        found.insert(key.clone());
        match value {
            toml::Value::Table(inner) if key == "ratings" => {
                for rating in inner.values().filter_map(toml::Value::as_table) {
                    keys(rating, found);
                }
            }
            toml::Value::Table(inner) => keys(inner, found),
            toml::Value::Array(list) => {
                for inner in list.iter().filter_map(toml::Value::as_table) {
                    keys(inner, found);
                }
            }
            _ => {}
        }
    }
}

#[test]
fn the_page_tells_every_key() {
    let page = fs::read_to_string(root().join("config/README.md")).unwrap();
    let words: BTreeSet<&str> = page
        .split(|c: char| !(c.is_alphanumeric() || c == '_'))
        .collect();
    let mut found = BTreeSet::new();
    for (_, text) in files() {
        keys(&toml::from_str(&text).unwrap(), &mut found);
    }
    assert!(found.len() > 60, "{}", found.len());
    let untold: Vec<_> = found
        .iter()
        .filter(|key| !words.contains(key.as_str()))
        .collect();
    assert!(untold.is_empty(), "{untold:?}");
    for (_, word) in Standing::ALL {
        assert!(page.contains(&format!("| `{word}` |")), "{word}");
    }
}

// ---- the user's files

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
