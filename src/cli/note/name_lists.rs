//! Everything that has a name: crops, trees, insects, materials.

use super::names::Named;
use crate::facts::Facts;

/// Crops with their other names; those of the register first.
pub fn crops(facts: &Facts) -> Vec<Named> {
    let mut crops: Vec<Named> = facts
        .knowledge
        .crops
        .iter()
        .map(|crop| {
            let names = [&crop.name, &crop.plural].into_iter().chain(&crop.also);
            (crop.id.clone(), names.cloned().collect())
        })
        .collect();
    crops.sort_by_key(|(id, _)| !facts.register.trees.iter().any(|tree| tree.crop == *id));
    crops
}

/// Trees of the register by their ids.
pub fn trees(facts: &Facts) -> Vec<Named> {
    let trees = facts.register.trees.iter();
    trees.map(|tree| (tree.id.clone(), Vec::new())).collect()
}

/// Junipers of the register.
pub fn junipers(facts: &Facts) -> Vec<Named> {
    let junipers = facts.register.junipers.iter();
    junipers
        .map(|juniper| (juniper.id.clone(), Vec::new()))
        .collect()
}

/// Insects by id and name.
pub fn insects(facts: &Facts) -> Vec<Named> {
    let insects = facts.knowledge.insects.iter();
    insects
        .map(|insect| (insect.id.clone(), vec![insect.name.clone()]))
        .collect()
}

/// Materials by id and active ingredient.
pub fn materials(facts: &Facts) -> Vec<Named> {
    let materials = facts.knowledge.materials.iter();
    materials
        .map(|material| (material.id.clone(), vec![material.name.clone()]))
        .collect()
}
