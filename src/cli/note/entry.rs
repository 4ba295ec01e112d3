//! From the words of a command to an entry of the journal: names found,
//! figures checked, what cannot be refused.

use super::grammar::{Keep, Seen, Where};
use super::measures::{self, Amount};
use super::names::{self, Keeper, Named};
use super::{day, name_lists};
use crate::facts::Facts;
use crate::facts::journal::{
    BudCount, Damage, DamageCause, Entry, Fact, Harvest, LowRead, Noted, RainRead, ShootGrowth,
    Snooze, Stage, Symptom, TrapCatch, Work,
};
use crate::plan::Plan;
use crate::plan::calendar::{State, Task};
use chrono::{Days, NaiveDate};

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
