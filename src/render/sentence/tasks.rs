//! A task in words: what to do, to which trees, when.

use super::{Words, listed, named};
use crate::facts::knowledge::{ChoreKind, Crop};
use crate::plan::calendar::{State, Task};
use crate::plan::replacement;
use std::borrow::Cow;
use std::collections::HashSet;

/// A way to word the trees of a task.
type Way<'f> = fn(&Words<'f>, &Task) -> String;

/// Most ids that are named before a count takes their place.
const MOST_IDS: usize = 8;

impl<'f> Words<'f> {
    /// When a task is to be done, as it looks today.
    pub fn when(&self, task: &Task) -> String {
        let window = &task.window;
        let closes = self.near_day(window.closes.spread.middle);
        match task.state {
            State::Done => "done".to_owned(),
            State::Skipped => "skipped this season".to_owned(),
            State::Missed => format!("closed {}", self.near_day(window.closes.spread.middle)),
            State::Urgent | State::Open => match (task.day, &task.hold) {
                _ if window.closes.spread.middle == self.today => self.near_day(self.today),
                (Some(day), _) if day == self.today => {
                    format!("{}; open until {closes}", self.near_day(day))
                }
                (Some(day), _) => format!("best {}; open until {closes}", self.near_day(day)),
                (None, Some(_)) => format!("wait; open until {closes}"),
                (None, None) => format!(
                    "open until {closes}, best {}",
                    self.near_day(window.best.spread.middle.max(self.today))
                ),
            },
            State::Coming => {
                self.near_span(window.opens.spread.middle, window.closes.spread.middle)
            }
        }
    }

    /// The opening line of a task: what to do, to which trees.
    pub fn say(&self, task: &Task) -> String {
        let Some(chore) = self.facts.knowledge.chore(&task.chore) else {
            return task.id.clone();
        };
        self.filled(&chore.say, &[task]) + self.spot(task)
    }

    /// A chore's opener with the trees of its tasks, each said once:
    /// `{trees}` as `3 plums`, `{plants}` as `3 plum trees`, `{fruit}` as `the
    /// plums (3 trees)`.
    pub fn filled(&self, say: &str, tasks: &[&Task]) -> String {
        let joined = joined(tasks);
        let mut text = say.to_owned();
        let ways: [(&str, Way<'f>); 3] = [
            ("{trees}", Self::trees),
            ("{plants}", Self::plants),
            ("{fruit}", Self::fruit),
        ];
        for (mark, way) in ways {
            if !say.contains(mark) {
                continue;
            }
            let mut said: Vec<String> = Vec::new();
            for words in joined.iter().map(|task| way(self, task)) {
                if !said.contains(&words) {
                    said.push(words);
                }
            }
            let said: Vec<&str> = said.iter().map(String::as_str).collect();
            text = text.replace(mark, &listed(&said));
        }
        text
    }

    /// The plants of a task, where their fruit bears the same name: `3 plum
    /// trees`.
    fn plants(&self, task: &Task) -> String {
        let Some(crop) = self.crop_of(task) else {
            return self.trees(task);
        };
        let group = task.group.as_ref();
        let group = group.map_or_else(String::new, |group| format!("{group} "));
        let name = format!("{group}{} {}", crop.name, crop.plant);
        named(task.plants, &name, &plural(&name))
    }

    /// The fruit of a task's plants: `the plums (3 trees)`.
    fn fruit(&self, task: &Task) -> String {
        let Some(crop) = self.crop_of(task) else {
            return self.trees(task);
        };
        let group = task.group.as_ref();
        let group = group.map_or_else(String::new, |group| format!("{group} "));
        let plants = named(task.plants, &crop.plant, &plural(&crop.plant));
        format!("the {group}{} ({plants})", crop.plural)
    }

    fn crop_of(&self, task: &Task) -> Option<&'f Crop> {
        let crop = task.crop.as_deref();
        crop.and_then(|crop| self.facts.knowledge.crop(crop))
    }

    /// Where successors do not go: into the hole of their own kind.
    pub fn spot(&self, task: &Task) -> &'static str {
        let planted = task.chore.starts_with("plant-") && task.kind == ChoreKind::Planting;
        if planted && replacement::rests(self.facts, &task.trees) {
            "; not in the hole of the old one"
        } else {
            ""
        }
    }

    /// The trees of a task in a few words: `12 apples`, `the peach C3`.
    pub fn trees(&self, task: &Task) -> String {
        let junipers = task.trees.iter().any(|id| {
            self.facts
                .register
                .junipers
                .iter()
                .any(|juniper| juniper.id == *id)
        });
        if junipers {
            return named(task.plants, "juniper", "junipers");
        }
        match task
            .crop
            .as_deref()
            .and_then(|crop| self.facts.knowledge.crop(crop))
        {
            Some(crop) => {
                let few = named(task.plants, &crop.name, &crop.plural);
                match &task.group {
                    Some(group) => few.replacen(' ', &format!(" {group} "), 1),
                    None => few,
                }
            }
            None if !task.trees.is_empty() => self.crops_of(task),
            None => "the orchard".to_owned(),
        }
    }

    /// The crops that the trees of a task belong to: `apples, pears and 3 other
    /// crops`.
    fn crops_of(&self, task: &Task) -> String {
        let register = &self.facts.register;
        let mut plurals: Vec<&str> = Vec::new();
        for tree in register
            .trees
            .iter()
            .filter(|tree| task.trees.contains(&tree.id))
        {
            let crop = self.facts.knowledge.crop(&tree.crop);
            let plural = crop.map_or(tree.crop.as_str(), |crop| crop.plural.as_str());
            if !plurals.contains(&plural) {
                plurals.push(plural);
            }
        }
        for wish in &register.wanted {
            let cultivar = wish.cultivar.as_deref().unwrap_or("new");
            let crop = self.facts.knowledge.crop(&wish.crop);
            let plural = crop.map_or(wish.crop.as_str(), |crop| crop.plural.as_str());
            let meant = format!("{cultivar} {}", wish.crop);
            if task.trees.contains(&meant) && !plurals.contains(&plural) {
                plurals.push(plural);
            }
        }
        match plurals.len() {
            0 => named(task.plants, "plant", "plants"),
            1..=4 => listed(&plurals),
            n => format!("{} and {} other crops", plurals[..3].join(", "), n - 3),
        }
    }

    /// The ids of the trees of tasks, each once, or a count where they are many.
    pub fn ids(&self, tasks: &[&Task]) -> String {
        let mut ids: Vec<&str> = Vec::new();
        let mut known = HashSet::new();
        let all = tasks.iter().flat_map(|task| &task.trees);
        ids.extend(all.map(String::as_str).filter(|id| known.insert(*id)));
        if ids.len() <= MOST_IDS {
            return ids.join(" ");
        }
        let first = ids[..MOST_IDS - 1].join(" ");
        format!("{first} and {} more", ids.len() - (MOST_IDS - 1))
    }
}

/// Tasks as they are worded: those of no single crop are one, so that each of
/// their crops is named once.
fn joined<'t>(tasks: &[&'t Task]) -> Vec<Cow<'t, Task>> {
    let mut joined: Vec<Cow<'t, Task>> = Vec::new();
    for task in tasks {
        let several = task.crop.is_none() && !task.trees.is_empty();
        let held = joined
            .iter_mut()
            .find(|held| several && held.crop.is_none() && !held.trees.is_empty());
        match held {
            Some(held) => {
                let held = held.to_mut();
                held.plants = held.plants.saturating_add(task.plants);
                held.trees.extend(task.trees.iter().cloned());
            }
            None => joined.push(Cow::Borrowed(*task)),
        }
    }
    joined
}

/// `trees`, `bushes`.
fn plural(word: &str) -> String {
    let end = if word.ends_with("sh") { "es" } else { "s" };
    format!("{word}{end}")
}
