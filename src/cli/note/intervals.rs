//! From when a sprayed place may be entered and its fruit picked: figures of
//! the list, as printed, read on the safe side. The label decides.

use crate::facts::knowledge::{Crop, CropKind, Material};

/// An interval and the text that it was read from.
#[derive(Clone, Debug, PartialEq)]
pub struct Interval {
    /// Hours, or days.
    pub length: f64,
    /// The material's name and the text as the list has it.
    pub from: String,
}

/// Hours before anybody may enter again: the longest of all materials.
/// `None` where the list has no figure for one of them.
pub fn reentry_hours(materials: &[&Material], country: &str) -> Option<Interval> {
    longest(materials, |material| {
        let clauses = of_country(&material.re_entry, country);
        let hours = clauses.iter().flat_map(|clause| {
            numbers(clause).into_iter().map(|(value, unit)| {
                if unit.starts_with("day") {
                    value * 24.0
                } else {
                    value
                }
            })
        });
        let length = hours.reduce(f64::max)?;
        Some((length, material.re_entry.clone()))
    })
}

/// Days before a crop may be picked: the longest of all materials, of the
/// figures for this crop where there are any, of all figures otherwise.
pub fn harvest_days(
    materials: &[&Material],
    crop: Option<&Crop>,
    country: &str,
) -> Option<Interval> {
    longest(materials, |material| {
        let clauses = of_country(&material.days_to_harvest, country);
        let named: Vec<&&str> = clauses
            .iter()
            .filter(|clause| crop.is_some_and(|crop| names(clause, crop)))
            .collect();
        let days = |clauses: &[&str]| {
            let all = clauses.iter().flat_map(|clause| numbers(clause));
            all.map(|(value, _)| value).reduce(f64::max)
        };
        let own: Vec<&str> = named.into_iter().copied().collect();
        let length = if own.is_empty() {
            days(&clauses)?
        } else {
            days(&own)?
        };
        Some((length, material.days_to_harvest.clone()))
    })
}

fn longest(
    materials: &[&Material],
    of: impl Fn(&Material) -> Option<(f64, String)>,
) -> Option<Interval> {
    let mut longest: Option<Interval> = None;
    for material in materials {
        let (length, text) = of(material)?;
        if longest.as_ref().is_none_or(|held| length > held.length) {
            longest = Some(Interval {
                length,
                from: format!("{}: {text}", material.name),
            });
        }
    }
    longest
}

/// The parts of a text that hold in a country; those that name another are
/// left out, unless nothing remains.
fn of_country<'t>(text: &'t str, country: &str) -> Vec<&'t str> {
    let clauses: Vec<&str> = text.split([';', ',']).map(str::trim).collect();
    let foreign = |clause: &str| match country {
        "CA" => clause.contains("US") && !clause.contains("Canada"),
        "US" => clause.contains("Canada") && !clause.contains("US"),
        _ => false,
    };
    let own: Vec<&str> = clauses
        .iter()
        .copied()
        .filter(|clause| !foreign(clause))
        .collect();
    if own.iter().any(|clause| !numbers(clause).is_empty()) {
        own
    } else {
        clauses
    }
}

/// Whether a text speaks of a crop, by its name or its family's.
fn names(clause: &str, crop: &Crop) -> bool {
    let clause = clause.to_lowercase();
    let last = crop.name.rsplit(' ').next().unwrap_or(&crop.name);
    let family = match crop.kind {
        CropKind::Stone => "stone fruit",
        CropKind::Bramble => "bramble",
        CropKind::Bush | CropKind::Pome => last,
    };
    let berry = matches!(crop.kind, CropKind::Bramble | CropKind::Bush) && clause.contains("berr");
    clause.contains(last) || clause.contains(family) || berry
}

/// The numbers of a text with the word behind each; of `12-72` both.
fn numbers(text: &str) -> Vec<(f64, String)> {
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || matches!(c, '-' | '(' | ')'))
        .filter(|word| !word.is_empty())
        .collect();
    let unit_after = |at: usize| {
        words
            .iter()
            .skip(at)
            .find(|word| word.starts_with("day") || word.starts_with("hour"))
            .map_or(String::new(), |word| (*word).to_owned())
    };
    words
        .iter()
        .enumerate()
        .filter_map(|(at, word)| Some((word.parse::<f64>().ok()?, unit_after(at))))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::knowledge;

    /// The texts are those of `config/materials/`, which name their sources.
    #[test]
    fn the_longest_interval_of_the_list_counts() {
        let known = knowledge::load(None).unwrap();
        let material = |id: &str| known.materials.iter().find(|one| one.id == id).unwrap();
        let hours = |ids: &[&str], country| {
            let materials: Vec<_> = ids.iter().map(|id| material(id)).collect();
            reentry_hours(&materials, country).map(|found| found.length)
        };
        assert_eq!(hours(&["captan"], "US"), Some(24.0));
        assert_eq!(hours(&["captan"], "CA"), Some(24.0 * 24.0));
        assert_eq!(hours(&["sulfur", "spinosad"], "US"), Some(24.0));
        assert_eq!(
            hours(&["copper"], "US"),
            Some(48.0),
            "of 24 to 48 hours the longer"
        );
        let days = |id: &str, crop: &str| {
            let crop = known.crop(crop).unwrap();
            harvest_days(&[material(id)], Some(crop), "US").map(|found| found.length)
        };
        assert_eq!(days("captan", "apple"), Some(0.0));
        assert_eq!(days("mancozeb", "apple"), Some(77.0));
        assert_eq!(days("myclobutanil", "apple"), Some(14.0));
        assert_eq!(days("carbaryl", "peach"), Some(3.0));
        assert_eq!(days("oxytetracycline", "peach"), Some(21.0));
        assert_eq!(days("malathion", "sweet-cherry"), Some(3.0));
        assert_eq!(days("copper", "apple"), None, "the list sends to the label");
    }
}
