//! Trees planted and taken out: names for the new ones, what is refused.

use super::entry::{Desk, Made};
use super::grammar::Where;
use super::meant::article;
use super::{name_lists, names};
use crate::facts::journal::{Entry, Fact, Planting, Removal};
use crate::facts::knowledge::CropKind;
use crate::facts::noted::parts_of;
use crate::facts::register::Tree;

/// Most trees of one planting that get a name each; more stand under one (our
/// choice: a line of names that can still be read).
const MOST_NAMES: u32 = 24;

impl Desk<'_> {
    /// A planting: with the names given, or the next free ones of the row.
    pub(super) fn planting(
        &self,
        (crop, cultivar): (&str, Option<&str>),
        count: Option<u32>,
        row: Option<&str>,
        at: &Where,
    ) -> Result<Made, String> {
        let crop = self.crop(crop)?;
        if count == Some(0) {
            return Err("a planting of none cannot be; nothing was noted".to_owned());
        }
        let mut told = self.unknown_cultivar(&crop, cultivar);
        let trees = if at.tree.is_empty() {
            self.free_names(&crop, row, count.unwrap_or(1))
        } else {
            self.new_names(&at.tree, &crop)?
        };
        let names = u32::try_from(trees.len()).unwrap_or(u32::MAX);
        let count = count.unwrap_or(names);
        if names > 1 && names != count {
            return Err(format!(
                "{names} names for {count} plants cannot be: give one name for all, or one \
                 each; nothing was noted"
            ));
        }
        let known = |id: &&String| self.tree(id).is_some();
        let (old, new): (Vec<&String>, Vec<&String>) = trees.iter().partition(known);
        let list = |ids: &[&String]| {
            let ids: Vec<&str> = ids.iter().map(|id| id.as_str()).collect();
            ids.join(", ")
        };
        if !new.is_empty() {
            told.push(format!(
                "In the register from that day on: {}. Another name: `budtide edit NUMBER --tree \
                 NAME`; rootstock and the like: write it into register.toml under that name.",
                list(&new)
            ));
        }
        if !old.is_empty() {
            told.push(format!(
                "{} stands in the register already: what is written there counts.",
                list(&old)
            ));
        }
        let planting = Planting {
            cultivar: cultivar.map(str::to_owned),
            count,
        };
        let nowhere = Where {
            tree: Vec::new(),
            ..at.clone()
        };
        let entry = self.header(&nowhere, Some(crop), Fact::Planting(planting))?;
        let entry = Entry { trees, ..entry };
        Ok(Made { entry, told })
    }

    /// A removal of trees, or of junipers.
    pub(super) fn removal(
        &self,
        which: &str,
        why: Option<&str>,
        at: &Where,
    ) -> Result<Made, String> {
        let words: Vec<String> = at.tree.iter().cloned().chain([which.to_owned()]).collect();
        let trees = self.trees_or_junipers(&words)?;
        for id in &trees {
            if self.tree(id).is_some_and(|tree| !tree.stands()) {
                return Err(format!("{id} is out already; nothing was noted"));
            }
        }
        let reason = why.map(str::to_owned);
        let nowhere = Where {
            tree: Vec::new(),
            ..at.clone()
        };
        let entry = self.header(&nowhere, None, Fact::Removal(Removal { reason }))?;
        Ok(Entry { trees, ..entry }.into())
    }

    /// Trees or junipers of the register, each once.
    pub(super) fn trees_or_junipers(&self, words: &[String]) -> Result<Vec<String>, String> {
        let junipers = name_lists::junipers(self.facts);
        let mut found: Vec<String> = Vec::new();
        for word in words {
            let ids = match names::exact(word, &junipers) {
                Some(id) => vec![id],
                None => self.trees(std::slice::from_ref(word), None)?,
            };
            for id in ids {
                if !found.contains(&id) {
                    found.push(id);
                }
            }
        }
        Ok(found)
    }

    /// Junipers of the register, each once.
    pub(super) fn juniper_names(&self, words: &[String]) -> Result<Vec<String>, String> {
        let junipers = name_lists::junipers(self.facts);
        let mut found: Vec<String> = Vec::new();
        for word in words {
            let id = names::find(word, "juniper of the register", &junipers, self.keeper)?;
            if !found.contains(&id) {
                found.push(id);
            }
        }
        Ok(found)
    }

    fn tree(&self, id: &str) -> Option<&Tree> {
        let mut trees = self.facts.register.trees.iter();
        trees.find(|tree| tree.id.eq_ignore_ascii_case(id))
    }

    /// Names that the keeper gives to what was planted: new ones, or those of
    /// trees that the register has already.
    pub(super) fn new_names(&self, words: &[String], crop: &str) -> Result<Vec<String>, String> {
        let mut found: Vec<String> = Vec::new();
        let words = words.iter().map(|word| word.trim());
        for word in words.filter(|word| !word.is_empty()) {
            let juniper = &self.facts.register.junipers;
            if juniper.iter().any(|one| one.id.eq_ignore_ascii_case(word)) {
                return Err(format!("{word} is a juniper; nothing was noted"));
            }
            let id = match self.tree(word) {
                Some(tree) if !tree.stands() => {
                    let free = self.free_names(crop, tree.row.as_deref(), 1);
                    return Err(format!(
                        "{} was taken out and keeps its name in the record: give the new tree \
                         one of its own, such as {}; nothing was noted",
                        tree.id,
                        free.join("")
                    ));
                }
                Some(tree) if tree.crop != crop => {
                    return Err(format!(
                        "{} is {}, not {}; nothing was noted",
                        tree.id,
                        article(&tree.crop),
                        article(crop)
                    ));
                }
                Some(tree) => tree.id.clone(),
                None => word.to_owned(),
            };
            if !found.iter().any(|known| known.eq_ignore_ascii_case(&id)) {
                found.push(id);
            }
        }
        Ok(found)
    }

    /// The next free names in a row, or where most of the crop stands: a name
    /// each for trees, one for all canes and bushes.
    fn free_names(&self, crop: &str, row: Option<&str>, count: u32) -> Vec<String> {
        let trees = &self.facts.register.trees;
        let letters = self.letters(crop, row);
        let junipers = self
            .facts
            .register
            .junipers
            .iter()
            .map(|juniper| &juniper.id);
        let taken = trees.iter().map(|tree| &tree.id).chain(junipers);
        let last = taken
            .filter_map(|id| parts_of(id))
            .filter(|(own, _)| own.eq_ignore_ascii_case(&letters))
            .map(|(_, number)| number)
            .max()
            .unwrap_or(0);
        let kind = self.facts.knowledge.crop(crop).map(|crop| crop.kind);
        let each = matches!(kind, Some(CropKind::Pome | CropKind::Stone)) && count <= MOST_NAMES;
        let names = if each { count } else { 1 };
        (1..=names)
            .map(|step| format!("{letters}{}", last.saturating_add(step)))
            .collect()
    }

    /// The letters that names in a row begin with; those of most trees of the
    /// crop where no row is said; the crop's first letter where there is none.
    fn letters(&self, crop: &str, row: Option<&str>) -> String {
        let trees = self.facts.register.trees.iter();
        let kin: Vec<&str> = trees
            .filter(|tree| match row {
                Some(row) => {
                    let own = tree.row.as_deref();
                    own.is_some_and(|own| own.eq_ignore_ascii_case(row.trim()))
                }
                None => tree.crop == crop,
            })
            .filter_map(|tree| parts_of(&tree.id).map(|(letters, _)| letters))
            .collect();
        let count = |letters: &str| kin.iter().filter(|own| **own == letters).count();
        let most = kin.iter().max_by_key(|letters| count(letters));
        match (most, row) {
            (Some(letters), _) => (*letters).to_owned(),
            (None, Some(row)) => row.trim().to_owned(),
            (None, None) => crop.chars().take(1).flat_map(char::to_uppercase).collect(),
        }
    }
}
