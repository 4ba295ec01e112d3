//! `cultivars.toml`: what the keeper adds to the cultivars, or corrects.
//!
//! A table names its crop and its cultivar. Facts that it gives take the place
//! of the shipped ones, disease by disease; all others stay as they are.

use super::{Known, Reading, Shelf, Table, cultivar, cultivar_key, sheet};
use crate::config::fault::Fault;
use crate::facts::knowledge::{Cultivar, Rating};
use std::collections::HashMap;

/// The file's name in the user's folder.
pub const FILE: &str = "cultivars.toml";

/// Stands where a published rating names its reference.
pub const SOURCE: &str = "own";

/// A rating of the keeper's own: crop, cultivar, disease.
type Rated = (String, String, String);

/// Lays the keeper's cultivars over those that were read.
pub fn lay_over(
    shelf: &Shelf,
    known: &Known,
    crops: Option<&[&str]>,
    all: &mut Vec<Cultivar>,
    faults: &mut Vec<Fault>,
) {
    let Some(file) = shelf.folder("cultivars").find(|file| file.name == FILE) else {
        return;
    };
    let reading = Reading { file, known };
    let mut rated: HashMap<Rated, (Rating, String)> = HashMap::new();
    sheet(file, faults, |root| {
        for table in root.tables("cultivar") {
            let Some(at) = table.required_text_at("crop", "apple") else {
                table.finish();
                continue;
            };
            let Some(crop) = reading.id(&table, "crop", at, &known.crops) else {
                continue;
            };
            let Some(given) = cultivar(&table, &crop, &reading) else {
                continue;
            };
            if crops.is_some_and(|crops| !crops.contains(&crop.as_str())) {
                continue;
            }
            let held = all
                .iter_mut()
                .find(|held| held.crop == crop && held.is_called(&given.name));
            let name = held.as_ref().map_or(&given.name, |held| &held.name);
            contradictions(&table, &crop, &cultivar_key(name), &given, &mut rated);
            match held {
                Some(held) => correct(held, given),
                None => all.push(given),
            }
        }
    });
}

/// A cultivar may stand in several tables, also under several names; two
/// ratings for one disease must then be the same.
fn contradictions(
    table: &Table<'_, '_>,
    crop: &str,
    name: &str,
    given: &Cultivar,
    rated: &mut HashMap<Rated, (Rating, String)>,
) {
    for one in &given.ratings {
        let place = (crop.to_owned(), name.to_owned(), one.disease.clone());
        match rated.get(&place) {
            Some((other, path)) if *other != one.rating => table.fault(
                "ratings",
                format!(
                    "\"{}\" is {} to {} here, but {} in {path}; keep one of the two",
                    given.name,
                    one.rating.word(),
                    one.disease,
                    other.word()
                ),
            ),
            Some(_) => {}
            None => {
                rated.insert(place, (one.rating, table.path().to_owned()));
            }
        }
    }
}

/// What the keeper gives goes before what was shipped.
fn correct(held: &mut Cultivar, given: Cultivar) {
    for rating in given.ratings {
        held.ratings.retain(|one| one.disease != rating.disease);
        held.ratings.push(rating);
    }
    let new: Vec<String> = given
        .also
        .into_iter()
        .filter(|name| !held.is_called(name))
        .collect();
    held.also.extend(new);
    held.kind = given.kind.or_else(|| held.kind.take());
    held.coldest_zone = given.coldest_zone.or_else(|| held.coldest_zone.take());
    held.chill_hours = given.chill_hours.or_else(|| held.chill_hours.take());
    held.bloom = given.bloom.or_else(|| held.bloom.take());
    held.self_fertile = given.self_fertile.or_else(|| held.self_fertile.take());
    held.sport_of = given.sport_of.or_else(|| held.sport_of.take());
    held.good_pollen = given.good_pollen.or_else(|| held.good_pollen.take());
    held.s_alleles = given.s_alleles.or_else(|| held.s_alleles.take());
    held.never_with = given.never_with.or_else(|| held.never_with.take());
    held.only_with = given.only_with.or_else(|| held.only_with.take());
    held.ripens = given.ripens.or_else(|| held.ripens.take());
    held.notes = given.notes.or_else(|| held.notes.take());
}
