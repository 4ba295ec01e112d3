//! From the words of a command to an entry of the journal: names found,
//! figures checked, what cannot be refused.

use super::grammar::{Keep, Seen, SprayArgs, Where};
use super::intervals::{self, Interval};
use super::measures::{self, Amount};
use super::names::{self, Keeper, Named};
use super::{day, name_lists, tasks};
use crate::config::fault::nearest;
use crate::facts::Facts;
use crate::facts::journal::{
    BudCount, Damage, DamageCause, Entry, Fact, Harvest, LowRead, Noted, RainRead, ShootGrowth,
    Snooze, Spray, Stage, Symptom, TrapCatch, Work,
};
use crate::facts::knowledge::{Material, cultivar_key};
use crate::facts::register::Planted;
use crate::plan::calendar::{State, Task};
use crate::plan::{Plan, event_id};
use crate::units::Quantity;
use chrono::{Datelike, Days, NaiveDate, NaiveTime, TimeDelta};

/// What an entry is made with: the facts of the day, and who may be asked.
pub struct Desk<'f> {
    /// What is known today.
    pub facts: &'f Facts,
    /// The day.
    pub today: NaiveDate,
    /// Who may be asked.
    pub keeper: Keeper,
    /// Makes the calendar of a day, for the names of its tasks.
    pub plan: &'f dyn Fn(NaiveDate) -> Plan,
}

/// An entry, and what the keeper is told besides.
pub struct Made {
    /// The entry.
    pub entry: Entry,
    /// Lines to say.
    pub told: Vec<String>,
}

impl Desk<'_> {
    /// The entry of a command.
    ///
    /// # Errors
    /// What cannot be, and how to mend it; nothing was noted.
    pub fn entry(&self, keep: &Keep) -> Result<Made, String> {
        let made = match keep {
            Keep::Done { task, minutes, at } => {
                let date = self.date(at)?;
                let task = self.task(task, date)?;
                let work = Work {
                    task: task.id.clone(),
                    minutes: *minutes,
                };
                let entry = self.about(&task, at, Fact::Done(work))?;
                let told = left_of(&task, &entry.trees, "Still to do");
                Made { entry, told }
            }
            Keep::Skip { task, at } => {
                let task = self.task(task, self.date(at)?)?;
                self.about(&task, at, Fact::Skipped(task.id.clone()))?
                    .into()
            }
            Keep::Snooze { task, until, at } => {
                let date = self.date(at)?;
                let until = self.until(until, date)?;
                let task = self.task(task, date)?;
                let mut told = put_off(&task, until)?;
                let snooze = Snooze {
                    task: task.id.clone(),
                    until,
                };
                let entry = self.about(&task, at, Fact::Snoozed(snooze))?;
                told.extend(left_of(&task, &entry.trees, "Not put off"));
                Made { entry, told }
            }
            Keep::Note { what } => self.seen(what)?,
        };
        self.check(&made.entry)?;
        Ok(made)
    }

    fn seen(&self, seen: &Seen) -> Result<Made, String> {
        let units = self.facts.place.units;
        let entry = match seen {
            Seen::Stage {
                crop,
                stage,
                cultivar,
                at,
            } => {
                let crop = self.crop_of(crop, &at.tree)?;
                let stage = self.stage(&crop, stage)?;
                let told = self.unknown_cultivar(&crop, cultivar.as_deref());
                let cultivar = cultivar.clone();
                let stage = Fact::Stage(Stage { cultivar, stage });
                let entry = self.header(at, Some(crop), stage)?;
                return Ok(Made { entry, told });
            }
            Seen::Low {
                low,
                spot,
                sure,
                at,
            } => {
                let known = self.known_low(self.date(at)?);
                let low_c = if *sure {
                    measures::sure_low(low, units)?
                } else {
                    measures::low(low, units, known, self.keeper)?
                };
                let told = self.unknown_row(spot.as_deref(), at);
                let spot = spot.clone();
                let entry = self.header(at, None, Fact::Low(LowRead { low_c, spot }))?;
                return Ok(Made { entry, told });
            }
            Seen::Buds {
                crop,
                count,
                cultivar,
                at,
            } => {
                let crop = self.crop_of(crop, &at.tree)?;
                let (dead, cut) = measures::dead_of(count)?;
                let told = self.unknown_cultivar(&crop, cultivar.as_deref());
                let count = BudCount {
                    cultivar: cultivar.clone(),
                    stage: None,
                    live: cut - dead,
                    cut,
                };
                let entry = self.header(at, Some(crop), Fact::Buds(count))?;
                return Ok(Made { entry, told });
            }
            Seen::Spray(spray) => return self.spray(spray),
            Seen::Catch {
                insect,
                count,
                trap,
                biofix,
                at,
            } => {
                let insect = names::find(
                    insect,
                    "insect",
                    &name_lists::insects(self.facts),
                    self.keeper,
                )?;
                let caught = TrapCatch {
                    insect,
                    trap: trap.clone(),
                    count: *count,
                    biofix: *biofix,
                };
                self.header(at, None, Fact::Catch(caught))?
            }
            Seen::Symptom {
                crop,
                what,
                severity,
                at,
            } => {
                let severity = severity.as_deref().map(measures::severity).transpose()?;
                if let Some(trees) = self.junipers(crop, &at.tree)? {
                    let what = what.trim().to_owned();
                    let entry = Noted {
                        date: self.date(at)?,
                        trees,
                        crop: None,
                        note: at.say.clone().filter(|text| !text.trim().is_empty()),
                        what: Fact::Symptom(Symptom { what, severity }),
                    };
                    let told = vec![JUNIPER_KEPT.to_owned()];
                    return Ok(Made { entry, told });
                }
                let crop = self.crop_of(crop, &at.tree)?;
                let what = self.symptom(&crop, what);
                self.header(at, Some(crop), Fact::Symptom(Symptom { what, severity }))?
            }
            Seen::Shoots { length, at } => {
                let length_cm = measures::length(length, units)?;
                self.header(at, None, Fact::Shoots(ShootGrowth { length_cm }))?
            }
            Seen::Harvest { crop, amount, at } => {
                let crop = self.crop_of(crop, &at.tree)?;
                let harvest = match measures::amount(amount, units)? {
                    Amount::Weight(kg) => Harvest {
                        weight_kg: Some(kg),
                        of_full: None,
                    },
                    Amount::Share(share) => Harvest {
                        weight_kg: None,
                        of_full: Some(share),
                    },
                };
                self.header(at, Some(crop), Fact::Harvest(harvest))?
            }
            Seen::Damage {
                cause,
                crop,
                share,
                at,
            } => {
                let causes: Vec<Named> = DamageCause::ALL
                    .iter()
                    .map(|(_, word)| ((*word).to_owned(), Vec::new()))
                    .collect();
                let word = names::find(cause, "cause of damage", &causes, self.keeper)?;
                let cause = DamageCause::read(&word).unwrap_or(DamageCause::Other);
                let crop = crop
                    .as_deref()
                    .map(|crop| self.crop_of(crop, &at.tree))
                    .transpose()?;
                let share = share.as_deref().map(measures::share).transpose()?;
                self.header(at, crop, Fact::Damage(Damage { cause, share }))?
            }
            Seen::Rain { rain, at } => {
                let rain_mm = measures::rain(rain, units, self.keeper)?;
                self.header(at, None, Fact::Rain(RainRead { rain_mm }))?
            }
            Seen::Planting {
                crop,
                cultivar,
                count,
                row,
                at,
            } => return self.planting((crop, cultivar.as_deref()), *count, row.as_deref(), at),
            Seen::Removal { which, why, at } => return self.removal(which, why.as_deref(), at),
            Seen::Text { text, at } => {
                let mut at = at.clone();
                at.say = Some(text.clone());
                self.header(&at, None, Fact::Note)?
            }
        };
        Ok(entry.into())
    }

    /// The header of an entry: day, trees, crop, note.
    pub(super) fn header(
        &self,
        at: &Where,
        crop: Option<String>,
        what: Fact,
    ) -> Result<Entry, String> {
        Ok(Noted {
            date: self.date(at)?,
            trees: self.trees(&at.tree, crop.as_deref())?,
            crop,
            note: at.say.clone().filter(|text| !text.trim().is_empty()),
            what,
        })
    }

    /// The entry about a task, or about some trees or junipers of it.
    fn about(&self, task: &Task, at: &Where, what: Fact) -> Result<Entry, String> {
        let trees = self.trees_of(task, &at.tree)?;
        let at = Where {
            tree: Vec::new(),
            ..at.clone()
        };
        let entry = self.header(&at, None, what)?;
        Ok(Entry { trees, ..entry })
    }

    /// Trees of a task by its name, as far as the calendar still has it.
    pub fn trees_of_named(&self, id: &str, words: &[String]) -> Result<Vec<String>, String> {
        let plan = (self.plan)(self.today);
        match plan.tasks.iter().find(|task| task.id == id) {
            Some(task) => self.trees_of(task, words),
            None => self.trees(words, None),
        }
    }

    /// Trees or junipers of a task, each once; others are refused.
    fn trees_of(&self, task: &Task, words: &[String]) -> Result<Vec<String>, String> {
        let own: Vec<Named> = task
            .trees
            .iter()
            .map(|id| (id.clone(), Vec::new()))
            .collect();
        let mut trees: Vec<String> = Vec::new();
        for word in words {
            let found = match names::exact(word, &own) {
                Some(id) => vec![id],
                None => self.trees(std::slice::from_ref(word), None)?,
            };
            for id in found {
                if !task.trees.is_empty() && !task.trees.contains(&id) {
                    return Err(format!(
                        "{id} is not in {} ({}); nothing was noted",
                        task.id,
                        task.trees.join(" ")
                    ));
                }
                if !trees.contains(&id) {
                    trees.push(id);
                }
            }
        }
        Ok(trees)
    }

    /// The day of a note; never one ahead.
    pub fn date(&self, at: &Where) -> Result<NaiveDate, String> {
        let date = day::read(at.on.as_deref().unwrap_or("today"), self.today)?;
        if date > self.today {
            return Err(format!(
                "{date} is still to come (today is {}); nothing was noted",
                self.today
            ));
        }
        Ok(date)
    }

    fn until(&self, text: &str, from: NaiveDate) -> Result<NaiveDate, String> {
        let days = text
            .trim()
            .strip_suffix('d')
            .and_then(|days| days.parse::<u64>().ok());
        let until = match days {
            Some(days) if days <= 366 => from + Days::new(days),
            Some(_) => return Err("put off for a year at most; nothing was noted".to_owned()),
            None => day::read(text, self.today)
                .map_err(|_| format!("\"{text}\" is not understood; write 5d, or a day, 04-20"))?,
        };
        if until <= from {
            return Err(format!(
                "{until} is not after {from}: a task is put off until a later day; nothing was noted"
            ));
        }
        Ok(until)
    }

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
    fn crop_of(&self, word: &str, trees: &[String]) -> Result<String, String> {
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

    fn stage(&self, crop: &str, word: &str) -> Result<String, String> {
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
    fn junipers(&self, word: &str, names: &[String]) -> Result<Option<Vec<String>>, String> {
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
    fn symptom(&self, crop: &str, word: &str) -> String {
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
    fn task(&self, word: &str, date: NaiveDate) -> Result<Task, String> {
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

    fn spray(&self, args: &SprayArgs) -> Result<Made, String> {
        let known = name_lists::materials(self.facts);
        let mut materials: Vec<String> = Vec::new();
        for word in args.materials.iter().filter(|word| !word.trim().is_empty()) {
            materials.push(names::find(word, "material", &known, self.keeper)?);
        }
        if materials.is_empty() {
            return Err("a spray needs its material, such as captan; nothing was noted".to_owned());
        }
        let crop = args
            .crop
            .as_deref()
            .map(|crop| self.crop_of(crop, &args.at.tree))
            .transpose()?;
        let start = args.at_time.as_deref().map(time).transpose()?;
        let end = args.until.as_deref().map(time).transpose()?;
        if let (Some(start), Some(end)) = (start, end)
            && end < start
        {
            return Err(format!(
                "a spray from {} until {} cannot be; nothing was noted",
                start.format("%H:%M"),
                end.format("%H:%M")
            ));
        }
        let date = self.date(&args.at)?;
        let trees = self.trees(&args.at.tree, crop.as_deref())?;
        let crop = crop.or_else(|| {
            let of = |id: &String| {
                let trees = &self.facts.register.trees;
                trees
                    .iter()
                    .find(|tree| tree.id == *id)
                    .map(|tree| tree.crop.clone())
            };
            let crops: Vec<String> = trees.iter().filter_map(of).collect();
            let first = crops.first()?.clone();
            crops.iter().all(|crop| *crop == first).then_some(first)
        });
        let mut told = Vec::new();
        let (reentry_h, harvest_d) =
            self.intervals(args, &materials, crop.as_deref(), &mut told)?;
        let from = date.and_time(end.or(start).unwrap_or(END_OF_DAY));
        let reentry = reentry_h.and_then(|hours| {
            from.checked_add_signed(TimeDelta::minutes((hours * 60.0).round() as i64))
        });
        let harvest_from =
            harvest_d.and_then(|days| date.checked_add_days(Days::new(days.ceil() as u64)));
        if let Some(reentry) = reentry {
            let unsure = if end.or(start).is_none() {
                " (no time was given, so from midnight)"
            } else {
                ""
            };
            told.insert(
                0,
                format!(
                    "Keep people and animals out until {}{unsure}.",
                    reentry.format("%-d %b %H:%M")
                ),
            );
        }
        if let Some(first) = harvest_from {
            told.insert(
                usize::from(reentry.is_some()),
                format!("No picking before {}.", first.format("%-d %b %Y")),
            );
        }
        told.push("The label of the product in your hand decides both.".to_owned());
        let spray = Spray {
            materials,
            label: args.label.clone(),
            rate: args.rate.clone(),
            amount: args.amount.clone(),
            area: args.area.clone(),
            against: args.against.clone(),
            by: args.by.clone(),
            wind: args.wind.clone(),
            start,
            end,
            reentry,
            harvest_from,
        };
        let entry = Noted {
            date,
            trees,
            crop,
            note: args.at.say.clone(),
            what: Fact::Spray(spray),
        };
        Ok(Made { entry, told })
    }

    /// Hours to re-entry and days to harvest: from the keeper's label, or
    /// the longest of the list.
    fn intervals(
        &self,
        args: &SprayArgs,
        ids: &[String],
        crop: Option<&str>,
        told: &mut Vec<String>,
    ) -> Result<(Option<f64>, Option<f64>), String> {
        let range = |value: Option<f64>, most: f64, what: &str| match value {
            Some(value) if !(0.0..=most).contains(&value) => Err(format!(
                "{what} of {value} cannot be: it lies between 0 and {most}; nothing was noted"
            )),
            value => Ok(value),
        };
        let hours = range(args.reentry, 1_440.0, "re-entry in hours")?;
        let days = range(args.harvest, 400.0, "days to harvest")?;
        let knowledge = &self.facts.knowledge;
        let materials: Vec<&Material> = ids
            .iter()
            .filter_map(|id| {
                knowledge
                    .materials
                    .iter()
                    .find(|material| material.id == *id)
            })
            .collect();
        let country = &self.facts.place.country;
        let crop = crop.and_then(|crop| knowledge.crop(crop));
        let mut take = |own: Option<f64>, listed: Option<Interval>, what: &str, flag: &str| match (
            own, listed,
        ) {
            (Some(own), Some(listed)) if own < listed.length => {
                told.push(format!(
                    "Your {what} is shorter than in the list here ({}): look at the label again.",
                    listed.from
                ));
                Some(own)
            }
            (Some(own), _) => Some(own),
            (None, Some(listed)) => {
                told.push(format!("The {what} is from the list ({}).", listed.from));
                Some(listed.length)
            }
            (None, None) => {
                told.push(format!(
                    "No {what} is in the list: read the label and note the spray with {flag}."
                ));
                None
            }
        };
        let reentry = intervals::reentry_hours(&materials, country);
        let harvest = intervals::harvest_days(&materials, crop, country);
        Ok((
            take(hours, reentry, "re-entry interval", "--reentry HOURS"),
            take(days, harvest, "days to harvest", "--harvest DAYS"),
        ))
    }

    /// That neither a list nor the register has a cultivar, and the nearest.
    pub(super) fn unknown_cultivar(&self, crop: &str, cultivar: Option<&str>) -> Vec<String> {
        let Some(name) = cultivar else {
            return Vec::new();
        };
        let knowledge = &self.facts.knowledge;
        let own = self.facts.register.trees.iter();
        let own: Vec<&str> = own
            .filter(|tree| tree.crop == crop)
            .filter_map(|tree| tree.cultivar.as_deref())
            .collect();
        let key = cultivar_key(name);
        if knowledge.cultivar(crop, name).is_some()
            || own.iter().any(|own| cultivar_key(own) == key)
        {
            return Vec::new();
        }
        let listed = knowledge.cultivars.iter();
        let listed = listed.filter(|known| known.crop == crop);
        let near = nearest(
            name,
            own.into_iter()
                .chain(listed.map(|known| known.name.as_str())),
        );
        let meant = near.map_or_else(String::new, |near| format!("; did you mean '{near}'?"));
        let stop = if meant.is_empty() { "." } else { "" };
        vec![format!(
            "No list here has '{name}' of {}{meant}{stop} It is kept all the same.",
            super::said::crop_name(self.facts, crop)
        )]
    }

    /// That a spot is no row of the register, so that a low stands for all
    /// trees; nothing where trees are named.
    fn unknown_row(&self, spot: Option<&str>, at: &Where) -> Vec<String> {
        let trees = self.facts.register.trees.iter();
        let mut rows: Vec<&str> = trees.filter_map(|tree| tree.row.as_deref()).collect();
        rows.sort_unstable();
        rows.dedup();
        let known = |spot: &str| rows.iter().any(|row| row.eq_ignore_ascii_case(spot.trim()));
        let Some(spot) = spot.filter(|spot| at.tree.is_empty() && !known(spot)) else {
            return Vec::new();
        };
        let rows = if rows.is_empty() {
            "the register names no rows".to_owned()
        } else {
            format!("its rows are {}", rows.join(", "))
        };
        vec![format!(
            "\"{spot}\" is no row of the register ({rows}): the low is taken for all trees. \
             Name the trees with --tree, if it was read at some alone."
        )]
    }

    fn known_low(&self, date: NaiveDate) -> Option<f64> {
        let weather = &self.facts.weather;
        let seen = weather.daily.as_ref().and_then(|daily| daily.day(date));
        let ahead = weather.forecast.as_ref();
        seen.or_else(|| ahead.and_then(|forecast| forecast.daily.day(date)))?
            .low_c
    }

    /// What an entry may not be, whatever made it: before its tree was
    /// planted, or a stage against its order.
    ///
    /// # Errors
    /// What cannot be; nothing was noted.
    pub fn check(&self, entry: &Entry) -> Result<(), String> {
        if entry.date > self.today {
            return Err(format!(
                "{} is still to come (today is {}); nothing was noted",
                entry.date, self.today
            ));
        }
        if let Fact::Low(low) = &entry.what {
            let checked = Quantity::Temperature.check(low.low_c);
            checked.map_err(|error| format!("{error}; nothing was noted"))?;
        }
        let planting = matches!(entry.what, Fact::Planting(_));
        for id in &entry.trees {
            let tree = self.facts.register.trees.iter().find(|tree| tree.id == *id);
            let planted = tree.and_then(|tree| tree.planted);
            let before = planted.is_some_and(|planted| match planted {
                Planted::Day(day) => entry.date < day,
                Planted::Year(year) => entry.date.year() < year,
            });
            if before && !planting {
                let when = match planted {
                    Some(Planted::Day(day)) => day.to_string(),
                    Some(Planted::Year(year)) => year.to_string(),
                    None => String::new(),
                };
                return Err(format!(
                    "{id} was planted in {when}, after {}; nothing was noted",
                    entry.date
                ));
            }
        }
        match (&entry.what, &entry.crop) {
            (Fact::Stage(stage), Some(crop)) => self.in_order(entry.date, crop, stage),
            _ => Ok(()),
        }
    }

    fn in_order(&self, date: NaiveDate, crop: &str, stage: &Stage) -> Result<(), String> {
        let Some(known) = self.facts.knowledge.crop(crop) else {
            return Ok(());
        };
        let place = known.stage(&stage.stage);
        for seen in &self.facts.journal.stages {
            let same = seen.crop == crop
                && seen.cultivar == stage.cultivar
                && seen.date.year() == date.year();
            if !same {
                continue;
            }
            let other = known.stage(&seen.stage);
            let backwards =
                (other > place && seen.date < date) || (other < place && seen.date > date);
            if place.is_some() && other > place && seen.date == date {
                let doubt = format!(
                    "{} is a later stage than {}, and was noted for the same day",
                    seen.stage, stage.stage
                );
                match self.keeper.yes(&format!("{doubt}: note it all the same?")) {
                    Some(true) => continue,
                    Some(false) => return Err("nothing was noted".to_owned()),
                    None => {
                        return Err(format!(
                            "{doubt}: stages do not go backwards. If that note is wrong, \
                             `budtide journal --kind stage` shows its number, and `budtide undo \
                             NUMBER` takes it back; nothing was noted"
                        ));
                    }
                }
            }
            if other.is_some() && place.is_some() && backwards {
                let later = if other > place {
                    "a later"
                } else {
                    "an earlier"
                };
                return Err(format!(
                    "{} is {later} stage than {}, and was noted for {}: stages do not go \
                     backwards. If that note is wrong, `budtide journal --kind stage` shows its \
                     number, and `budtide undo NUMBER` takes it back; nothing was noted",
                    seen.stage, stage.stage, seen.date
                ));
            }
        }
        Ok(())
    }
}

impl From<Entry> for Made {
    fn from(entry: Entry) -> Self {
        Made {
            entry,
            told: Vec::new(),
        }
    }
}

/// Said after a symptom of a juniper.
const JUNIPER_KEPT: &str = "`budtide junipers` shows it beside that juniper; no date moves by it.";

/// Where no time of a spray was given, its day's end counts.
const END_OF_DAY: NaiveTime = match NaiveTime::from_hms_opt(23, 59, 59) {
    Some(time) => time,
    None => NaiveTime::MIN,
};

/// The trees of a task that are left when a note is about some of them.
fn left_of(task: &Task, done: &[String], word: &str) -> Vec<String> {
    let left: Vec<&str> = task
        .trees
        .iter()
        .filter(|id| !done.contains(id))
        .map(String::as_str)
        .collect();
    if done.is_empty() || left.is_empty() {
        return Vec::new();
    }
    vec![format!("{word}: {}.", left.join(", "))]
}

/// What is said of a task put off: it must be pending, and its window should
/// not be over by then.
fn put_off(task: &Task, until: NaiveDate) -> Result<Vec<String>, String> {
    if matches!(task.state, State::Done | State::Skipped | State::Missed) {
        return Err(format!(
            "{} is {} already, so it cannot be put off; nothing was noted",
            task.id,
            task.state.word()
        ));
    }
    let closes = task.window.closes.spread.middle;
    if until <= closes {
        return Ok(Vec::new());
    }
    Ok(vec![format!(
        "Its window closes about {}, before that day: if it should be done at all, do it before, \
         or put it off for less.",
        closes.format("%-d %b %Y")
    )])
}

/// A crop with its article.
pub(super) fn article(crop: &str) -> String {
    let name = crop.replace('-', " ");
    let an = name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {name}", if an { "an" } else { "a" })
}

fn time(text: &str) -> Result<NaiveTime, String> {
    let text = text.trim();
    let forms = ["%H:%M", "%H.%M", "%I:%M%p", "%I:%M %p"];
    forms
        .iter()
        .find_map(|form| NaiveTime::parse_from_str(text, form).ok())
        .ok_or_else(|| format!("\"{text}\" is no time; write 18:30; nothing was noted"))
}
