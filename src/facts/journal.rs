//! What the keeper saw and did.
//!
//! [`Entry`] is one thing noted, as it is recorded; [`Journal`] holds all of
//! them sorted by kind, as the season and the plan read them.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

/// Everything noted, each kind in the order of its dates.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Journal {
    /// Growth stages seen.
    pub stages: Vec<StageSeen>,
    /// Chores done or skipped.
    pub chores: Vec<ChoreNoted>,
    /// Chores done, with the trees and the time they took.
    pub work: Vec<Noted<Work>>,
    /// Chores put off.
    pub snoozes: Vec<Noted<Snooze>>,
    /// Sprays.
    pub sprays: Vec<Noted<Spray>>,
    /// Catches in traps.
    pub catches: Vec<Noted<TrapCatch>>,
    /// Symptoms seen.
    pub symptoms: Vec<Noted<Symptom>>,
    /// Shoot growth measured.
    pub shoots: Vec<Noted<ShootGrowth>>,
    /// Crops judged or picked.
    pub harvests: Vec<Noted<Harvest>>,
    /// Damage by weather and beasts.
    pub damage: Vec<Noted<Damage>>,
    /// Buds cut and counted after frost.
    pub bud_counts: Vec<Noted<BudCount>>,
    /// The rain gauge.
    pub rain: Vec<Noted<RainRead>>,
    /// Lowest temperatures read on the spot.
    pub lows: Vec<Noted<LowRead>>,
    /// Plantings.
    pub plantings: Vec<Noted<Planting>>,
    /// Removals.
    pub removals: Vec<Noted<Removal>>,
    /// Free notes.
    pub notes: Vec<Noted<()>>,
}

/// A growth stage seen on trees of one crop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageSeen {
    /// The day.
    pub date: NaiveDate,
    /// The crop's id.
    pub crop: String,
    /// The cultivar, if it was seen on that alone.
    pub cultivar: Option<String>,
    /// The stage's trade name in the crop's list.
    pub stage: String,
}

/// A chore done or skipped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChoreNoted {
    /// The day.
    pub date: NaiveDate,
    /// The task's id, such as `prune-pome-apple-2027`.
    pub task: String,
    /// Whether it was done; skipped otherwise.
    pub done: bool,
    /// The trees that it was done to; empty where it is the whole task.
    pub trees: Vec<String>,
}

/// Something noted on a day, about some trees.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted<T> {
    /// The day it was seen or done.
    pub date: NaiveDate,
    /// The trees' ids in the register; empty where it is about none or all.
    pub trees: Vec<String>,
    /// The crop's id, where it is about a crop.
    pub crop: Option<String>,
    /// Whatever the keeper adds.
    pub note: Option<String>,
    /// What was seen or done.
    pub what: T,
}

/// One thing noted, of any kind.
pub type Entry = Noted<Fact>;

/// What can be noted.
#[derive(Clone, Debug, PartialEq)]
pub enum Fact {
    /// A growth stage; needs the crop.
    Stage(Stage),
    /// A chore done.
    Done(Work),
    /// A chore that will not be done this season: the task's id.
    Skipped(String),
    /// A chore put off.
    Snoozed(Snooze),
    /// A spray.
    Spray(Spray),
    /// A catch in a trap.
    Catch(TrapCatch),
    /// A symptom.
    Symptom(Symptom),
    /// Shoot growth.
    Shoots(ShootGrowth),
    /// A crop judged or picked.
    Harvest(Harvest),
    /// Damage.
    Damage(Damage),
    /// Buds cut and counted.
    Buds(BudCount),
    /// The rain gauge.
    Rain(RainRead),
    /// The lowest temperature read on the spot.
    Low(LowRead),
    /// A planting.
    Planting(Planting),
    /// A removal.
    Removal(Removal),
    /// A free note; needs its text.
    Note,
}

/// A kind of entry, without what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Growth stage.
    Stage,
    /// Chore done.
    Done,
    /// Chore skipped.
    Skipped,
    /// Chore put off.
    Snoozed,
    /// Spray.
    Spray,
    /// Trap catch.
    Catch,
    /// Symptom.
    Symptom,
    /// Shoot growth.
    Shoots,
    /// Crop or harvest.
    Harvest,
    /// Damage.
    Damage,
    /// Bud count.
    Buds,
    /// Rain gauge.
    Rain,
    /// Lowest temperature.
    Low,
    /// Planting.
    Planting,
    /// Removal.
    Removal,
    /// Free note.
    Note,
}

impl Kind {
    /// Every kind with the word used in files and commands.
    pub const ALL: [(Kind, &'static str); 16] = [
        (Kind::Stage, "stage"),
        (Kind::Done, "done"),
        (Kind::Skipped, "skipped"),
        (Kind::Snoozed, "snoozed"),
        (Kind::Spray, "spray"),
        (Kind::Catch, "catch"),
        (Kind::Symptom, "symptom"),
        (Kind::Shoots, "shoots"),
        (Kind::Harvest, "harvest"),
        (Kind::Damage, "damage"),
        (Kind::Buds, "buds"),
        (Kind::Rain, "rain"),
        (Kind::Low, "low"),
        (Kind::Planting, "planting"),
        (Kind::Removal, "removal"),
        (Kind::Note, "note"),
    ];

    /// The word used in files and commands.
    pub fn word(self) -> &'static str {
        Kind::ALL
            .iter()
            .find(|(kind, _)| *kind == self)
            .map_or("note", |(_, word)| word)
    }

    /// The kind of a word, without regard to case.
    pub fn read(word: &str) -> Option<Self> {
        Kind::ALL
            .iter()
            .find(|(_, known)| known.eq_ignore_ascii_case(word.trim()))
            .map(|(kind, _)| *kind)
    }
}

impl Fact {
    /// Its kind.
    pub fn kind(&self) -> Kind {
        match self {
            Fact::Stage(_) => Kind::Stage,
            Fact::Done(_) => Kind::Done,
            Fact::Skipped(_) => Kind::Skipped,
            Fact::Snoozed(_) => Kind::Snoozed,
            Fact::Spray(_) => Kind::Spray,
            Fact::Catch(_) => Kind::Catch,
            Fact::Symptom(_) => Kind::Symptom,
            Fact::Shoots(_) => Kind::Shoots,
            Fact::Harvest(_) => Kind::Harvest,
            Fact::Damage(_) => Kind::Damage,
            Fact::Buds(_) => Kind::Buds,
            Fact::Rain(_) => Kind::Rain,
            Fact::Low(_) => Kind::Low,
            Fact::Planting(_) => Kind::Planting,
            Fact::Removal(_) => Kind::Removal,
            Fact::Note => Kind::Note,
        }
    }

    /// The task that it is about, for chores.
    pub fn task(&self) -> Option<&str> {
        match self {
            Fact::Done(work) => Some(&work.task),
            Fact::Skipped(task) => Some(task),
            Fact::Snoozed(snooze) => Some(&snooze.task),
            _ => None,
        }
    }
}

/// A growth stage.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stage {
    /// The cultivar, if it was seen on that alone.
    pub cultivar: Option<String>,
    /// The stage's trade name in the crop's list.
    pub stage: String,
}

/// A chore done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Work {
    /// The task's id.
    pub task: String,
    /// How long it took, minutes.
    pub minutes: Option<u32>,
}

/// A chore put off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Snooze {
    /// The task's id.
    pub task: String,
    /// The first day on which it may be brought up again.
    pub until: NaiveDate,
}

/// A spray, with what a spray log is asked for. Texts stand as the keeper
/// gave them; the label is the law.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Spray {
    /// Ids of the materials, by active ingredient.
    pub materials: Vec<String>,
    /// What the label says it is: name and registration number.
    pub label: Option<String>,
    /// Rate.
    pub rate: Option<String>,
    /// How much was put out.
    pub amount: Option<String>,
    /// Area, or how much of the orchard.
    pub area: Option<String>,
    /// What it was for: a disease's or insect's id, or a word.
    pub against: Option<String>,
    /// Who sprayed.
    pub by: Option<String>,
    /// Wind while spraying.
    pub wind: Option<String>,
    /// Begun, civil time.
    pub start: Option<NaiveTime>,
    /// Ended, civil time.
    pub end: Option<NaiveTime>,
    /// Keep out until then, civil time.
    pub reentry: Option<NaiveDateTime>,
    /// No picking before that day.
    pub harvest_from: Option<NaiveDate>,
}

/// A catch in a trap.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrapCatch {
    /// The insect's id.
    pub insect: String,
    /// Which trap.
    pub trap: Option<String>,
    /// How many.
    pub count: u32,
    /// Whether degree days are counted from this day.
    pub biofix: bool,
}

/// A symptom.
#[derive(Clone, Debug, PartialEq)]
pub struct Symptom {
    /// A disease's id, or the keeper's word for it.
    pub what: String,
    /// How bad.
    pub severity: Option<Severity>,
}

/// How bad a symptom is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Severity {
    /// 0 (none) to 5 (all of it).
    Grade(u8),
    /// Share of leaves, fruit or shoots, 0 to 1.
    Share(f64),
}

/// Growth of this year's shoots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShootGrowth {
    /// Usual length, cm.
    pub length_cm: f64,
}

/// A crop judged on the tree, or picked.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Harvest {
    /// What was picked, kg.
    pub weight_kg: Option<f64>,
    /// The crop as a share of a full one, 0 to 1.
    pub of_full: Option<f64>,
}

/// What did damage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DamageCause {
    /// Frost.
    Frost,
    /// Hail.
    Hail,
    /// Wind.
    Wind,
    /// Ice or snow load.
    Ice,
    /// Deer.
    Deer,
    /// Voles.
    Vole,
    /// Something else; the note says what.
    Other,
}

impl DamageCause {
    /// Every cause with the word used in files and commands.
    pub const ALL: [(DamageCause, &'static str); 7] = [
        (DamageCause::Frost, "frost"),
        (DamageCause::Hail, "hail"),
        (DamageCause::Wind, "wind"),
        (DamageCause::Ice, "ice"),
        (DamageCause::Deer, "deer"),
        (DamageCause::Vole, "vole"),
        (DamageCause::Other, "other"),
    ];

    /// The word used in files and commands.
    pub fn word(self) -> &'static str {
        DamageCause::ALL
            .iter()
            .find(|(cause, _)| *cause == self)
            .map_or("other", |(_, word)| word)
    }

    /// The cause of a word, without regard to case.
    pub fn read(word: &str) -> Option<Self> {
        DamageCause::ALL
            .iter()
            .find(|(_, known)| known.eq_ignore_ascii_case(word.trim()))
            .map(|(cause, _)| *cause)
    }
}

/// Damage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damage {
    /// What did it.
    pub cause: DamageCause,
    /// Share of the buds, fruit, bark or limbs that it is about, 0 to 1.
    pub share: Option<f64>,
}

/// Buds cut open after frost.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BudCount {
    /// The cultivar, if it was one alone.
    pub cultivar: Option<String>,
    /// The stage they were in, if it was noted.
    pub stage: Option<String>,
    /// How many were alive.
    pub live: u32,
    /// How many were cut.
    pub cut: u32,
}

/// A rain gauge read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RainRead {
    /// Rain, mm.
    pub rain_mm: f64,
}

/// The lowest temperature of the night before, read at the trees.
#[derive(Clone, Debug, PartialEq)]
pub struct LowRead {
    /// °C.
    pub low_c: f64,
    /// Where it was read.
    pub spot: Option<String>,
}

/// A planting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Planting {
    /// The cultivar.
    pub cultivar: Option<String>,
    /// How many.
    pub count: u32,
}

/// A removal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Removal {
    /// Why.
    pub reason: Option<String>,
}

impl<T> Noted<T> {
    /// The same note about something else.
    fn with<U>(self, what: impl FnOnce(T) -> U) -> Noted<U> {
        Noted {
            date: self.date,
            trees: self.trees,
            crop: self.crop,
            note: self.note,
            what: what(self.what),
        }
    }
}

impl Journal {
    /// A journal of entries in any order; of one day, in the order given.
    ///
    /// A stage without a crop says nothing and is left out.
    pub fn from_entries(entries: impl IntoIterator<Item = Entry>) -> Self {
        let mut entries: Vec<Entry> = entries.into_iter().collect();
        entries.sort_by_key(|entry| entry.date);
        let mut journal = Journal::default();
        for entry in entries {
            journal.add(entry);
        }
        journal
    }

    fn add(&mut self, entry: Entry) {
        let date = entry.date;
        let header = Noted {
            date,
            trees: entry.trees,
            crop: entry.crop,
            note: entry.note,
            what: (),
        };
        match entry.what {
            Fact::Stage(Stage { cultivar, stage }) => {
                self.stages.extend(header.crop.map(|crop| StageSeen {
                    date,
                    crop,
                    cultivar,
                    stage,
                }));
            }
            Fact::Done(work) => {
                self.chores.push(ChoreNoted {
                    date,
                    task: work.task.clone(),
                    done: true,
                    trees: header.trees.clone(),
                });
                self.work.push(header.with(|()| work));
            }
            Fact::Skipped(task) => self.chores.push(ChoreNoted {
                date,
                task,
                done: false,
                trees: header.trees,
            }),
            Fact::Snoozed(snooze) => self.snoozes.push(header.with(|()| snooze)),
            Fact::Spray(spray) => self.sprays.push(header.with(|()| spray)),
            Fact::Catch(caught) => self.catches.push(header.with(|()| caught)),
            Fact::Symptom(symptom) => self.symptoms.push(header.with(|()| symptom)),
            Fact::Shoots(shoots) => self.shoots.push(header.with(|()| shoots)),
            Fact::Harvest(harvest) => self.harvests.push(header.with(|()| harvest)),
            Fact::Damage(damage) => self.damage.push(header.with(|()| damage)),
            Fact::Buds(count) => self.bud_counts.push(header.with(|()| count)),
            Fact::Rain(read) => self.rain.push(header.with(|()| read)),
            Fact::Low(read) => self.lows.push(header.with(|()| read)),
            Fact::Planting(planting) => self.plantings.push(header.with(|()| planting)),
            Fact::Removal(removal) => self.removals.push(header.with(|()| removal)),
            Fact::Note => self.notes.push(header),
        }
    }

    /// Another journal added to this one: of one day, its entries stand
    /// behind those already here.
    #[must_use]
    pub fn with(mut self, more: Journal) -> Journal {
        fn add<T>(held: &mut Vec<T>, more: Vec<T>, date: impl Fn(&T) -> NaiveDate) {
            held.extend(more);
            held.sort_by_key(date);
        }
        fn join<T>(held: &mut Vec<Noted<T>>, more: Vec<Noted<T>>) {
            add(held, more, |noted| noted.date);
        }
        add(&mut self.stages, more.stages, |seen| seen.date);
        add(&mut self.chores, more.chores, |noted| noted.date);
        join(&mut self.work, more.work);
        join(&mut self.snoozes, more.snoozes);
        join(&mut self.sprays, more.sprays);
        join(&mut self.catches, more.catches);
        join(&mut self.symptoms, more.symptoms);
        join(&mut self.shoots, more.shoots);
        join(&mut self.harvests, more.harvests);
        join(&mut self.damage, more.damage);
        join(&mut self.bud_counts, more.bud_counts);
        join(&mut self.rain, more.rain);
        join(&mut self.lows, more.lows);
        join(&mut self.plantings, more.plantings);
        join(&mut self.removals, more.removals);
        join(&mut self.notes, more.notes);
        self
    }

    /// The journal as it was known at the end of `today`.
    pub fn as_of(&self, today: NaiveDate) -> Journal {
        let mut known = self.clone();
        known.stages.retain(|seen| seen.date <= today);
        known.chores.retain(|noted| noted.date <= today);
        until(&mut known.work, today);
        until(&mut known.snoozes, today);
        until(&mut known.sprays, today);
        until(&mut known.catches, today);
        until(&mut known.symptoms, today);
        until(&mut known.shoots, today);
        until(&mut known.harvests, today);
        until(&mut known.damage, today);
        until(&mut known.bud_counts, today);
        until(&mut known.rain, today);
        until(&mut known.lows, today);
        until(&mut known.plantings, today);
        until(&mut known.removals, today);
        until(&mut known.notes, today);
        known
    }
}

fn until<T>(noted: &mut Vec<Noted<T>>, today: NaiveDate) {
    noted.retain(|noted| noted.date <= today);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2025, 4, day).unwrap()
    }

    fn entry(date: NaiveDate, what: Fact) -> Entry {
        Noted {
            date,
            trees: Vec::new(),
            crop: None,
            note: None,
            what,
        }
    }

    #[test]
    fn entries_go_to_their_kinds_in_the_order_of_dates() {
        let journal = Journal::from_entries([
            entry(day(9), Fact::Rain(RainRead { rain_mm: 4.0 })),
            entry(day(3), Fact::Rain(RainRead { rain_mm: 7.0 })),
            entry(day(5), Fact::Skipped("prune-2025".to_owned())),
        ]);
        let rain: Vec<f64> = journal.rain.iter().map(|read| read.what.rain_mm).collect();
        assert_eq!(rain, [7.0, 4.0]);
        assert_eq!(journal.chores.len(), 1);
        let known = journal.as_of(day(4));
        assert_eq!((known.rain.len(), known.chores.len()), (1, 0));
    }

    #[test]
    fn every_kind_and_cause_has_its_word() {
        for (kind, word) in Kind::ALL {
            assert_eq!((kind.word(), Kind::read(word)), (word, Some(kind)));
        }
        for (cause, word) in DamageCause::ALL {
            assert_eq!((cause.word(), DamageCause::read(word)), (word, Some(cause)));
        }
        assert_eq!(Kind::read("harvesst"), None);
    }
}
