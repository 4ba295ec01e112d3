//! What is meant by a word: crops, stages, trees, junipers, symptoms, tasks.

use super::entry::Desk;
use super::names::{self, Named};
use super::{name_lists, tasks};
use crate::plan::calendar::Task;
use crate::plan::event_id;
use chrono::NaiveDate;

impl Desk<'_> {
    /// A crop by any of its names; a tree's name stands for its crop.
    pub fn crop(&self, word: &str) -> Result<String, String> {
        let tree = self.facts.register.trees.iter();
        let mut tree = tree.filter(|tree| tree.id.eq_ignore_ascii_case(word));
        if let Some(tree) = tree.next() {
            return Ok(tree.crop.clone());
        }
        names::find(word, "crop", &name_lists::crops(self.facts), self.keeper)
    }

    /// A crop that is said of trees: "cherry" of a tree that is a sweet cherry
    /// needs no question.
    pub(super) fn crop_of(&self, word: &str, trees: &[String]) -> Result<String, String> {
        let crops = name_lists::crops(self.facts);
        let known = &self.facts.register.trees;
        let mut said = trees.iter().map(|name| {
            let tree = known
                .iter()
                .find(|t| t.id.eq_ignore_ascii_case(name.trim()));
            tree.map(|tree| &tree.crop)
        });
        if names::exact(word, &crops).is_none()
            && let Some(Some(crop)) = said.next()
            && said.all(|other| other == Some(crop))
            && names::near(word, &crops).contains(crop)
        {
            return Ok(crop.clone());
        }
        self.crop(word)
    }

    pub(super) fn stage(&self, crop: &str, word: &str) -> Result<String, String> {
        let known = self.facts.knowledge.crop(crop);
        let stages: Vec<Named> = known
            .iter()
            .flat_map(|crop| &crop.stages)
            .map(|stage| (stage.name.clone(), stage.also.clone()))
            .collect();
        let name = known.map_or(crop, |crop| &crop.name);
        let what = format!("stage of {name}");
        if names::exact(word, &stages).is_none() && names::near(word, &stages).is_empty() {
            let all: Vec<&str> = stages.iter().map(|(name, _)| name.as_str()).collect();
            return Err(format!(
                "no {what} is called \"{word}\"; the stages of {name} are {}; nothing was noted",
                all.join(", ")
            ));
        }
        names::find(word, &what, &stages, self.keeper)
    }

    /// Trees of the register, each once.
    pub fn trees(&self, words: &[String], crop: Option<&str>) -> Result<Vec<String>, String> {
        let known = name_lists::trees(self.facts);
        let mut trees: Vec<String> = Vec::new();
        for word in words
            .iter()
            .map(|word| word.trim())
            .filter(|w| !w.is_empty())
        {
            let id = names::find(word, "tree", &known, self.keeper)?;
            let tree = self.facts.register.trees.iter().find(|tree| tree.id == id);
            if let (Some(tree), Some(crop)) = (tree, crop)
                && tree.crop != crop
            {
                return Err(format!(
                    "{id} is {}, not {}; nothing was noted",
                    article(&tree.crop),
                    article(crop)
                ));
            }
            if !trees.contains(&id) {
                trees.push(id);
            }
        }
        Ok(trees)
    }

    /// The junipers meant by a word, "juniper" or the name of one, and by
    /// names besides; `None` where the word is about no juniper.
    pub(super) fn junipers(
        &self,
        word: &str,
        names: &[String],
    ) -> Result<Option<Vec<String>>, String> {
        let known = &self.facts.register.junipers;
        let one = known
            .iter()
            .find(|one| one.id.eq_ignore_ascii_case(word.trim()));
        let kind = word.trim().to_lowercase();
        let general = matches!(
            kind.as_str(),
            "juniper" | "junipers" | "cedar" | "cedars" | "redcedar" | "red cedar"
        );
        if one.is_none() && !general {
            return Ok(None);
        }
        let among: Vec<Named> = known.iter().map(|j| (j.id.clone(), Vec::new())).collect();
        let mut ids: Vec<String> = one.map(|one| one.id.clone()).into_iter().collect();
        for name in names
            .iter()
            .map(|name| name.trim())
            .filter(|name| !name.is_empty())
        {
            let id = names::find(name, "juniper of the register", &among, self.keeper)?;
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
        match (ids.is_empty(), known.as_slice()) {
            (false, _) => Ok(Some(ids)),
            (true, [one]) => Ok(Some(vec![one.id.clone()])),
            (true, []) => Err(
                "the register has no juniper; write it there, or note it in \
                 words: budtide note text \"horns on the juniper\"; nothing was noted"
                    .to_owned(),
            ),
            (true, many) => {
                let ids: Vec<&str> = many.iter().map(|one| one.id.as_str()).collect();
                Err(format!(
                    "which juniper? Add --tree with one of {}; nothing was noted",
                    ids.join(", ")
                ))
            }
        }
    }

    /// A disease's id where the word is its name, or the keeper's word.
    pub(super) fn symptom(&self, crop: &str, word: &str) -> String {
        let stone = self
            .facts
            .knowledge
            .crop(crop)
            .is_some_and(|crop| crop.kind == crate::facts::knowledge::CropKind::Pome);
        // On a host of juniper rust, "rust" is the one that is told apart by leaf spots.
        if stone && matches!(word.trim().to_lowercase().as_str(), "rust" | "juniper rust") {
            return "cedar-apple-rust".to_owned();
        }
        let diseases: Vec<Named> = self
            .facts
            .knowledge
            .diseases
            .iter()
            .filter(|disease| disease.hosts.iter().any(|host| host == crop))
            .map(|disease| (disease.id.clone(), vec![disease.name.clone()]))
            .collect();
        names::exact(word, &diseases).unwrap_or_else(|| word.trim().to_owned())
    }

    /// A task of the calendar by its name or a clear part of it.
    pub(super) fn task(&self, word: &str, date: NaiveDate) -> Result<Task, String> {
        let mut tasks = (self.plan)(self.today).tasks;
        if date < self.today && !tasks.iter().any(|task| task.id == word) {
            tasks.extend((self.plan)(date).tasks);
        }
        let mut ids: Vec<String> = tasks.iter().map(|task| task.id.clone()).collect();
        ids.sort();
        ids.dedup();
        let id = match tasks::fitting(word, &ids).as_slice() {
            [one] => one.clone(),
            // A name out of an older message, whose event's day has shifted since.
            [] => match event_id::find(&tasks, &word.trim().to_lowercase()) {
                Some(task) => task.id.clone(),
                None => {
                    let ids: Vec<Named> = ids.into_iter().map(|id| (id, Vec::new())).collect();
                    names::find(word, "task on the calendar", &ids, self.keeper)?
                }
            },
            many => return Err(format!("{}. Nothing was noted", tasks::several(word, many))),
        };
        // The task as it stands today goes before that of the day noted.
        let found = tasks.into_iter().find(|task| task.id == id);
        found.ok_or_else(|| format!("no task is called \"{word}\"; nothing was noted"))
    }
}

/// A crop with its article.
pub(super) fn article(crop: &str) -> String {
    let name = crop.replace('-', " ");
    let an = name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {name}", if an { "an" } else { "a" })
}
