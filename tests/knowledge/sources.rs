//! Every figure says where it comes from.

use super::{files, folder, shipped};
use budtide::config::knowledge::load;
use budtide::facts::knowledge::{Knowledge, Source, Standing};
use budtide::units::Quantity;

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
