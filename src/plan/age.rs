//! How old a tree is, in the terms that chores ask for.

use crate::facts::knowledge::{Crop, CropKind};
use crate::facts::register::{Age, Tree};

/// Seasons after planting in which a tree counts as new.
const NEW_SEASONS: i32 = 2;

/// The age of a tree in a season.
///
/// New: in its first two seasons. Young: until the crop's first bearing is
/// due. Old: beyond the span in which a crop usually stays worth its place
/// (common practice: 15 years for stone fruit, 35 for pome fruit; brambles
/// and bushes are renewed cane by cane and never count as old). A tree
/// without a planting date counts as bearing.
pub fn of(tree: &Tree, crop: &Crop, year: i32) -> Age {
    let Some(planted) = tree.planted else {
        return Age::Bearing;
    };
    let seasons = year - planted.year();
    let bears = crop
        .years_to_bear
        .as_ref()
        .map_or(4.0, |(_, most, _)| *most);
    let old = match crop.kind {
        CropKind::Stone => 15,
        CropKind::Pome => 35,
        CropKind::Bramble | CropKind::Bush => i32::MAX,
    };
    if seasons < NEW_SEASONS {
        Age::New
    } else if f64::from(seasons) < bears {
        Age::Young
    } else if seasons > old {
        Age::Old
    } else {
        Age::Bearing
    }
}

/// Whether a tree of this age is meant by a list of ages; an old tree bears,
/// and a new one is young.
pub fn meant(age: Age, ages: &[Age]) -> bool {
    ages.is_empty()
        || ages.contains(&age)
        || (age == Age::Old && ages.contains(&Age::Bearing))
        || (age == Age::New && ages.contains(&Age::Young))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::register::{Planted, Status};

    fn tree(planted: Option<i32>) -> Tree {
        Tree {
            id: "t".into(),
            crop: "peach".into(),
            cultivar: None,
            rootstock: None,
            planted: planted.map(Planted::Year),
            row: None,
            spot: None,
            count: 1,
            status: Status::Healthy,
            notes: None,
        }
    }

    #[test]
    fn ages_of_a_peach() {
        let crop = crate::facts::knowledge::Crop::bare("peach", CropKind::Stone);
        assert_eq!(of(&tree(None), &crop, 2026), Age::Bearing);
        assert_eq!(of(&tree(Some(2026)), &crop, 2026), Age::New);
        assert_eq!(of(&tree(Some(2024)), &crop, 2026), Age::Young);
        assert_eq!(of(&tree(Some(2020)), &crop, 2026), Age::Bearing);
        assert_eq!(of(&tree(Some(2005)), &crop, 2026), Age::Old);
        assert!(meant(Age::Old, &[Age::Bearing]) && !meant(Age::Old, &[Age::Young]));
    }
}
