//! `cultivars/<crop>.toml`: what was published about the cultivars of a crop.

mod own; // the keeper's additions and corrections

use super::crops::{coldest_zone, span_within};
use super::known::{Known, Reading, sheet};
use super::shelf::Shelf;
use crate::config::fault::Fault;
use crate::config::reader::Table;
use crate::facts::knowledge::{
    BloomGroup, Cultivar, CultivarRating, Rating, SelfFertile, Source, cultivar_key,
};
use std::collections::HashSet;

/// Whether pollen serves others, in words of the file.
const POLLEN: [(bool, &str); 2] = [(true, "good"), (false, "poor")];

/// Reads the cultivars of the crops named, or of all. Each file is named
/// after its crop; a file for a crop that the user took away is left out.
pub fn read(
    shelf: &Shelf,
    known: &Known,
    crops: Option<&[&str]>,
    faults: &mut Vec<Fault>,
) -> Vec<Cultivar> {
    let mut all = Vec::new();
    for file in shelf.folder("cultivars") {
        let crop = file.stem();
        if file.name == own::FILE {
            continue;
        }
        if crops.is_some_and(|crops| !crops.contains(&crop)) {
            continue;
        }
        if !known.crops.has(crop) {
            if !file.shipped {
                let message = format!(
                    "{} (a file of cultivars bears the id of its crop)",
                    known.crops.unknown(crop)
                );
                faults.push(Fault::whole(&file.name, message));
            }
            continue;
        }
        let reading = Reading { file, known };
        let mut names = HashSet::new();
        sheet(file, faults, |root| {
            for table in root.tables("cultivar") {
                let Some(cultivar) = cultivar(&table, crop, &reading) else {
                    continue;
                };
                for name in std::iter::once(&cultivar.name).chain(&cultivar.also) {
                    if !names.insert(cultivar_key(name)) {
                        table.fault("name", format!("\"{name}\" stands here twice"));
                    }
                }
                all.push(cultivar);
            }
        });
    }
    own::lay_over(shelf, known, crops, &mut all, faults);
    all
}

fn cultivar(table: &Table<'_, '_>, crop: &str, reading: &Reading<'_>) -> Option<Cultivar> {
    let name = table.text("name", "Liberty");
    let also = table.words("also");
    let kind = table.maybe_text("kind");
    let ratings = ratings(table, reading);
    let coldest_zone = coldest_zone(table, reading);
    let chill_hours = table.table("chill").and_then(|inner| {
        let pair = span_within(&inner, "hours", (0.0, 3000.0));
        let source = reading.source(&inner);
        inner.finish();
        let (least, most) = pair?;
        Some((least, most, source?))
    });
    let bloom = sourced(table, "bloom", reading, |inner| {
        inner.choice("group", &BloomGroup::ALL)
    });
    let self_fertile = sourced(table, "self_fertile", reading, |inner| {
        inner.choice("answer", &SelfFertile::ALL)
    });
    let sport_of = sourced(table, "sport_of", reading, |inner| {
        inner.text("cultivar", "Haralson")
    });
    let good_pollen = sourced(table, "pollen", reading, |inner| {
        inner.choice("quality", &POLLEN)
    });
    let s_alleles = sourced(table, "s_alleles", reading, |inner| {
        inner.text("pair", "S3S4")
    });
    let partners = |key| {
        sourced(table, key, reading, |inner| {
            let names = inner.words("cultivars");
            (!names.is_empty()).then_some(names)
        })
    };
    let never_with = partners("never_with");
    let only_with = partners("only_with");
    let ripens = sourced(table, "ripens", reading, |inner| {
        inner.text("when", "mid September")
    });
    let notes = table.maybe_text("notes");
    table.finish();
    Some(Cultivar {
        crop: crop.to_owned(),
        name: name?,
        also,
        kind,
        ratings,
        coldest_zone,
        chill_hours,
        bloom,
        self_fertile,
        sport_of,
        good_pollen,
        s_alleles,
        never_with,
        only_with,
        ripens,
        notes,
    })
}

/// A table of one fact and its source.
fn sourced<T>(
    table: &Table<'_, '_>,
    key: &str,
    reading: &Reading<'_>,
    read: impl FnOnce(&Table<'_, '_>) -> Option<T>,
) -> Option<(T, Source)> {
    let inner = table.table(key)?;
    let fact = read(&inner);
    let source = reading.source(&inner);
    inner.finish();
    Some((fact?, source?))
}

fn ratings(table: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<CultivarRating> {
    let Some(inner) = table.table("ratings") else {
        return Vec::new();
    };
    let mut ratings = Vec::new();
    for key in inner.keys() {
        let Some(row) = inner.table(&key) else {
            continue;
        };
        let disease = reading.key(&inner, &key, &reading.known.diseases);
        let rating = row.choice("rating", &Rating::ALL);
        let published = published(&row, reading);
        let sources_differ = row.flag("sources_differ", false);
        row.finish();
        if let (Some(disease), Some(rating)) = (disease, rating) {
            ratings.push(CultivarRating {
                disease,
                rating,
                published,
                sources_differ,
            });
        }
    }
    ratings
}

/// The ratings as printed, each with the reference that printed it.
fn published(row: &Table<'_, '_>, reading: &Reading<'_>) -> Vec<(String, String)> {
    let pairs = row.pairs("published");
    let own = reading.file.name == own::FILE;
    if own && !row.has("published") {
        let rating = row.maybe_text("rating").unwrap_or_default();
        return vec![(rating, own::SOURCE.to_owned())];
    }
    if pairs.is_empty() {
        let message = "is missing: write what the sources print, such as [[\"HS\", \"WVU-CAR\"]]";
        row.fault("published", message.into());
    }
    pairs
        .into_iter()
        .filter_map(|(printed, reference)| {
            let names = &reading.known.references;
            let reference = reading.id(row, "published", reference, names)?;
            Some((printed.value, reference))
        })
        .collect()
}
