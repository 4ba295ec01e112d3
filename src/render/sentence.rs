//! The wording: every reason, window and caution is put into words here and
//! nowhere else.

use crate::facts::Facts;
use crate::facts::knowledge::{Advice, ChoreKind, Crop, HeatStart, Rating, Source, Standing};
use crate::facts::preferences::Sprays;
use crate::plan::calendar::{Note, State, Task};
use crate::plan::changes::{Change, What};
use crate::plan::days::Hold;
use crate::plan::replacement;
use crate::plan::window::{Bound, Window};
use crate::season::Caveat;
use crate::season::evidence::{Evidence, FitNote, FrostNight, SprayLimit};
use crate::season::spread::{Basis, Spread};
use crate::season::stages::Refusal;
use crate::units::{UnitSystem, plain};
use chrono::{Datelike, NaiveDate};

/// A way to word the trees of a task.
type Way<'f> = fn(&Words<'f>, &Task) -> String;

/// Most ids that are named before a count takes their place.
const MOST_IDS: usize = 8;

/// Puts facts and plans into words for one keeper on one day.
#[derive(Clone, Copy, Debug)]
pub struct Words<'f> {
    facts: &'f Facts,
    today: NaiveDate,
}

impl<'f> Words<'f> {
    /// Words for the keeper of these facts, on this day.
    pub fn new(facts: &'f Facts, today: NaiveDate) -> Self {
        Words { facts, today }
    }

    fn units(&self) -> UnitSystem {
        self.facts.place.units
    }

    /// `22 Apr`, with the year where it is not this year.
    pub fn day(&self, date: NaiveDate) -> String {
        if date.year() == self.today.year() {
            date.format("%-d %b").to_string()
        } else {
            date.format("%-d %b %Y").to_string()
        }
    }

    /// `today`, `tomorrow`, `Wed 22 Apr` within a week, `22 Apr` beyond.
    pub fn near_day(&self, date: NaiveDate) -> String {
        match (date - self.today).num_days() {
            0 => "today".to_owned(),
            1 => "tomorrow".to_owned(),
            -1 => "yesterday".to_owned(),
            2..=6 => date.format("%a %-d %b").to_string(),
            _ => self.day(date),
        }
    }

    /// A date with its spread: `about 22 Apr (15 Apr to 1 May)`; a certain day
    /// alone.
    pub fn spread(&self, spread: Spread) -> String {
        if spread.width_days() <= 1 {
            return self.day(spread.middle);
        }
        format!(
            "about {} ({} to {})",
            self.day(spread.middle),
            self.day(spread.early),
            self.day(spread.late)
        )
    }

    /// When a task is to be done, as it looks today.
    pub fn when(&self, task: &Task) -> String {
        let window = &task.window;
        let closes = self.near_day(window.closes.spread.middle);
        match task.state {
            State::Done => "done".to_owned(),
            State::Skipped => "skipped this season".to_owned(),
            State::Missed => format!("closed {}", self.near_day(window.closes.spread.middle)),
            State::Urgent | State::Open => match (task.day, &task.hold) {
                _ if window.closes.spread.middle == self.today => "today".to_owned(),
                (Some(day), _) if day == self.today => format!("today; open until {closes}"),
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

    /// Two dates as a span; one date alone.
    pub fn span(&self, from: NaiveDate, to: NaiveDate) -> String {
        if from == to {
            return self.day(to);
        }
        format!("{} to {}", self.day(from), self.day(to))
    }

    /// The same with `today` and names of the next days.
    pub fn near_span(&self, from: NaiveDate, to: NaiveDate) -> String {
        if from == to {
            return self.near_day(to);
        }
        format!("{} to {}", self.near_day(from), self.near_day(to))
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
            for words in tasks.iter().map(|task| way(self, task)) {
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

    /// The ids of a task's trees, or a count where they are many.
    pub fn ids(&self, task: &Task) -> String {
        if task.trees.len() <= MOST_IDS {
            return task.trees.join(" ");
        }
        let first = task.trees[..MOST_IDS - 1].join(" ");
        format!("{first} and {} more", task.trees.len() - (MOST_IDS - 1))
    }

    /// Why a bound of a window lies where it does.
    pub fn bound(&self, bound: &Bound) -> String {
        let shift = bound.shift_days.round();
        let days = |n: f64| named(n.abs() as u32, "day", "days");
        let reason = self.reason(&bound.evidence);
        if matches!(bound.evidence, Evidence::Calendar { .. }) || shift == 0.0 {
            return reason;
        }
        let side = if shift < 0.0 { "before" } else { "after" };
        format!("{} {side}: {reason}", days(shift))
    }

    /// A reason in a sentence without its full stop.
    pub fn reason(&self, evidence: &Evidence) -> String {
        let units = self.units();
        match evidence {
            Evidence::Stage {
                crop,
                stage,
                spread,
                fit,
            } => format!(
                "{} reaches {stage} {}{}",
                self.crop(crop),
                self.spread(*spread),
                self.fit(*fit, spread.basis)
            ),
            Evidence::StageSeen {
                crop,
                stage,
                date,
                days,
            } => match days {
                0 | 1 => format!(
                    "you saw {stage} on {} on {}",
                    self.crop(crop),
                    self.day(*date)
                ),
                days => format!(
                    "you saw {stage} on {} about {}, the middle of the {days} days that you noted",
                    self.crop(crop),
                    self.day(*date)
                ),
            },
            Evidence::SpringFreeze {
                threshold_c,
                spread,
                years,
            } => format!(
                "the last low of {} or less in spring comes {} ({})",
                units.temperature(*threshold_c),
                self.spread(*spread),
                past(*years)
            ),
            Evidence::FallFreeze {
                threshold_c,
                spread,
                years,
            } => format!(
                "the first low of {} or less in fall comes {} ({})",
                units.temperature(*threshold_c),
                self.spread(*spread),
                past(*years)
            ),
            Evidence::LeafFall {
                percent,
                spread,
                source,
            } => format!(
                "{} of the leaves are down {}, counted from the first hard freeze ({})",
                if *percent >= 75 {
                    "nine tenths"
                } else {
                    "half"
                },
                self.spread(*spread),
                source.standing.word()
            ),
            Evidence::Soil {
                threshold_c,
                rising,
                spread,
                years,
            } => format!(
                "soil at 4 in {} {} for good {}, worked out from the air ({})",
                if *rising {
                    "warms through"
                } else {
                    "cools through"
                },
                units.temperature(*threshold_c),
                self.spread(*spread),
                past(*years)
            ),
            Evidence::Heat {
                sum,
                rule,
                start,
                spread,
            } => format!(
                "{} above {} ({}) since {} are reached {}",
                units.degree_days(*sum),
                units.temperature(rule.base_c),
                rule.method.word(),
                match start {
                    HeatStart::Calendar(month, day) => self.month_day(*month, *day),
                    HeatStart::Stage(stage) => stage.clone(),
                    HeatStart::Biofix(event) => event.clone(),
                },
                self.spread(*spread)
            ),
            Evidence::Harvest { crop, days, bloom } => format!(
                "{} ripens {} to {} days after full bloom on {}",
                self.crop(crop),
                plain(days.0.round()),
                plain(days.1.round()),
                self.day(*bloom)
            ),
            Evidence::ColdestPast { spread } => {
                format!(
                    "the coldest time of the winter is over {}",
                    self.spread(*spread)
                )
            }
            Evidence::Chill { portions, spread } => {
                format!(
                    "{} chill portions are received {}",
                    plain(*portions),
                    self.spread(*spread)
                )
            }
            Evidence::Calendar { date } => format!("a date of the calendar, {}", self.day(*date)),
            Evidence::Zone { zone } => {
                format!("no weather is known here yet, so this is what zone {zone} usually brings")
            }
            Evidence::FrostNight(night) => self.frost(night),
            Evidence::Infection {
                disease,
                from,
                until,
                wet_hours,
                mean_c,
                severe,
            } => format!(
                "{}: leaves wet for {} hours at {} {}{}",
                self.disease(disease),
                plain(wet_hours.round()),
                units.temperature(*mean_c),
                if from == until {
                    format!("on {}", self.day(*from))
                } else {
                    format!("from {} to {}", self.day(*from), self.day(*until))
                },
                if *severe {
                    ", enough for a severe infection"
                } else {
                    ", enough to infect"
                }
            ),
            Evidence::WarmRain { date, rain_mm } => {
                format!(
                    "{} of rain fell on a mild day, {}",
                    units.rain(*rain_mm),
                    self.day(*date)
                )
            }
            Evidence::HeavyRain { date, rain_mm } => {
                format!(
                    "{} of rain fell on {}",
                    units.rain(*rain_mm),
                    self.day(*date)
                )
            }
            Evidence::Dry {
                date,
                rain_mm,
                days,
            } => {
                format!(
                    "only {} of rain fell in the {days} days to {}",
                    units.rain(*rain_mm),
                    self.day(*date)
                )
            }
            Evidence::WinterLow { date, low_c } => {
                format!(
                    "it fell to {} on {}",
                    units.temperature(*low_c),
                    self.day(*date)
                )
            }
            Evidence::ColdPlunge {
                date,
                low_c,
                high_c,
            } => format!(
                "it fell from {} to {} within two days, on {}",
                units.temperature(*high_c),
                units.temperature(*low_c),
                self.day(*date)
            ),
            Evidence::Gale { date, wind_m_s } => format!(
                "wind of {} was measured on {}",
                units.wind(*wind_m_s),
                self.day(*date)
            ),
            Evidence::DamageNoted { date, cause } => {
                format!("you noted damage by {cause} on {}", self.day(*date))
            }
            Evidence::Ratings {
                disease,
                need,
                spared,
            } => self.ratings(disease, need, spared),
            Evidence::Junipers { count, nearest_m } => format!(
                "{} near, the nearest {} away",
                match count {
                    1 => "a juniper stands".to_owned(),
                    n => format!("{n} junipers stand"),
                },
                units.distance(*nearest_m)
            ),
            Evidence::Planting {
                zone,
                fall,
                spring,
                why,
                ..
            } => format!(
                "in zone {zone} fall is {} and early spring {}: {why}",
                advice(*fall),
                advice(*spring)
            ),
            Evidence::SprayLimit { material, limit } => self.spray_limit(material, limit),
            Evidence::State { trees, state } => {
                format!(
                    "{} {} marked {state}",
                    trees.join(", "),
                    if trees.len() == 1 { "is" } else { "are" }
                )
            }
        }
    }

    /// The reason that is told where there is room for one: what sets the task
    /// off or chooses its trees; else what the chore is for. What a spray may
    /// not be is no reason for it.
    pub fn why(&self, task: &Task) -> Option<String> {
        let told: Vec<Evidence> = task
            .reasons
            .iter()
            .filter(|reason| !matches!(reason, Evidence::SprayLimit { .. }))
            .cloned()
            .collect();
        self.reasons(&told).into_iter().next().or_else(|| {
            let chore = self.facts.knowledge.chore(&task.chore)?;
            Some(chore.why.clone()).filter(|why| !why.is_empty())
        })
    }

    /// The reasons of a task, each as a sentence without its full stop; nights
    /// of frost of several crops are put together.
    pub fn reasons(&self, reasons: &[Evidence]) -> Vec<String> {
        let nights: Vec<&FrostNight> = reasons
            .iter()
            .filter_map(|reason| match reason {
                Evidence::FrostNight(night) => Some(night),
                _ => None,
            })
            .collect();
        if nights.len() < 2 {
            return reasons.iter().map(|reason| self.reason(reason)).collect();
        }
        let rest = reasons
            .iter()
            .filter(|reason| !matches!(reason, Evidence::FrostNight(_)));
        std::iter::once(self.frosts(&nights))
            .chain(rest.map(|reason| self.reason(reason)))
            .collect()
    }

    /// Several crops in one frost: the low, and the share killed of each.
    fn frosts(&self, nights: &[&FrostNight]) -> String {
        let Some(coldest) = nights
            .iter()
            .copied()
            .min_by(|a, b| a.low_c.total_cmp(&b.low_c))
        else {
            return String::new();
        };
        let mut shares: Vec<(String, &FrostNight)> = Vec::new();
        for night in nights.iter().copied() {
            let crop = self.crop(&night.crop);
            match shares.iter_mut().find(|(known, _)| *known == crop) {
                Some((_, held)) if night.kill > held.kill => *held = night,
                Some(_) => {}
                None => shares.push((crop, night)),
            }
        }
        shares.sort_by(|a, b| b.1.kill.total_cmp(&a.1.kill));
        let list: Vec<String> = shares
            .iter()
            .map(|(crop, night)| {
                format!(
                    "{crop} in {} {:.0} %",
                    night.stage,
                    (night.kill * 100.0).round()
                )
            })
            .collect();
        format!(
            "{}; flower buds likely killed: {}",
            self.low(coldest),
            list.join(", ")
        )
    }

    /// The low of a night, seen or forecast.
    fn low(&self, night: &FrostNight) -> String {
        let low = self.units().temperature(night.low_c);
        match (night.forecast, night.date == self.today) {
            (true, true) => format!("a low of {low} is forecast for this morning"),
            (true, _) => {
                format!(
                    "a low of {low} is forecast for the night to {}",
                    self.near_day(night.date)
                )
            }
            (false, true) => format!("last night fell to {low}"),
            (false, false) => format!("the night to {} fell to {low}", self.near_day(night.date)),
        }
    }

    fn frost(&self, night: &FrostNight) -> String {
        format!(
            "{}; on {} in {} that kills {} of the flower buds (a tenth die at {})",
            self.low(night),
            self.crop(&night.crop),
            night.stage,
            share_range(night),
            self.units().temperature(night.kill_10_c)
        )
    }

    fn ratings(
        &self,
        disease: &str,
        need: &[(String, Option<Rating>)],
        spared: &[String],
    ) -> String {
        let known: Vec<String> = need
            .iter()
            .filter_map(|(name, rating)| Some(format!("{name} ({})", (*rating)?.word())))
            .collect();
        let unknown: Vec<&str> = need
            .iter()
            .filter(|(_, rating)| rating.is_none())
            .map(|(name, _)| name.as_str())
            .collect();
        let mut parts = Vec::new();
        if !known.is_empty() {
            parts.push(known.join(", "));
        }
        if !unknown.is_empty() {
            parts.push(format!("no rating is known for {}", unknown.join(", ")));
        }
        if !spared.is_empty() {
            let verb = match spared.len() {
                1 => "resists it and needs none",
                _ => "resist it and need none",
            };
            parts.push(format!("{} {verb}", spared.join(", ")));
        }
        format!("{}: {}", self.disease(disease), parts.join("; "))
    }

    fn fit(&self, fit: FitNote, basis: Basis) -> String {
        let rests = match basis {
            Basis::Seen => "seen".to_owned(),
            Basis::ZoneOnly if fit.usual_date => "your usual date, no weather known".to_owned(),
            Basis::ZoneOnly => "zone only".to_owned(),
            Basis::Fixed => "calendar".to_owned(),
            Basis::Forecast => "from this year's weather".to_owned(),
            Basis::PastYears => past(fit.years),
        };
        let learnt = match (fit.observations, fit.usual_date, fit.borrowed) {
            (0, _, _) if basis == Basis::ZoneOnly => String::new(),
            (0, _, _) if fit.by_zone => ", set by the usual bloom of the zone".to_owned(),
            (0, true, _) => ", set by your usual date of bloom".to_owned(),
            (0, false, true) => ", set by the usual date of another crop".to_owned(),
            (0, false, false) => ", without a date of your own yet".to_owned(),
            (n, _, _) => format!(
                ", learnt from {} of yours",
                named(n as u32, "bloom", "blooms")
            ),
        };
        format!(" ({rests}{learnt})")
    }

    /// Why a task must wait.
    pub fn hold(&self, hold: &Hold) -> String {
        let units = self.units();
        match hold {
            Hold::Cold { date, low_c } => format!(
                "Wait: {} is forecast for {}",
                units.temperature(*low_c),
                self.near_day(*date)
            ),
            Hold::Rain { date, rain_mm } => {
                format!(
                    "Wait: {} of rain is forecast for {}",
                    units.rain(*rain_mm),
                    self.near_day(*date)
                )
            }
            Hold::Heat { date, high_c } => format!(
                "Wait: {} is forecast for {}",
                units.temperature(*high_c),
                self.near_day(*date)
            ),
            Hold::Wind { date, wind_m_s } => format!(
                "Wait: wind of {} is forecast for {}, even in its calmest hours",
                units.wind(*wind_m_s),
                self.near_day(*date)
            ),
            Hold::NoMaterial => {
                "Leave it: none of the materials known here may be used now, see the reasons"
                    .to_owned()
            }
            Hold::Bloom => "Wait: the trees are in bloom".to_owned(),
            Hold::FrostDamage { date, shows_by } => format!(
                "Wait until about {}: what the frost of {} killed shows only when live shoots break",
                self.day(*shows_by),
                self.day(*date)
            ),
        }
    }

    /// What speaks against a material.
    fn spray_limit(&self, material: &str, limit: &SprayLimit) -> String {
        let materials = self.facts.knowledge.materials.iter();
        let known = materials.into_iter().find(|one| one.id == material);
        let name = known.map_or(material, |one| one.name.as_str());
        let units = self.units();
        match limit {
            SprayLimit::Harvest {
                until,
                days,
                harvest,
            } => format!(
                "{name} only until {}: picking may begin about {}, and up to {} days are asked for in between",
                self.day(*until),
                self.day(*harvest),
                plain(*days)
            ),
            SprayLimit::UsedUp { uses, most } => format!(
                "no {name}: its group was sprayed {} this year, and {} are enough, or nothing works any more",
                named(*uses, "time", "times"),
                plain(f64::from(*most))
            ),
            SprayLimit::Oil { oil, gap } => format!(
                "no {name} within {} days of oil, which is on {}: together they burn leaves",
                plain(*gap),
                self.day(*oil)
            ),
            SprayLimit::Heat {
                date,
                high_c,
                limit_c,
            } => format!(
                "no {name} now: it burns above {}, and {} is forecast for {}",
                units.temperature(*limit_c),
                units.temperature(*high_c),
                self.near_day(*date)
            ),
            SprayLimit::Bloom => {
                format!("no {name} while trees here bloom: it harms bees or their brood")
            }
            SprayLimit::Rotate { code, date } => format!(
                "{name} last: its group ({code}) was used on {}; take turns, or nothing works any more",
                self.day(*date)
            ),
        }
    }

    /// What does not fit into the keeper's hours, where, and what would help.
    fn too_much(
        &self,
        hours: f64,
        (wanted, left_over): (f64, f64),
        tasks: &[(String, f64)],
        weeks: &[(NaiveDate, f64)],
        relief: Option<NaiveDate>,
    ) -> String {
        let mut worst: Vec<&(NaiveDate, f64)> = weeks.iter().collect();
        worst.sort_by(|a, b| b.1.total_cmp(&a.1));
        worst.truncate(3);
        worst.sort_by_key(|week| week.0);
        let worst: Vec<String> = worst
            .iter()
            .map(|(monday, minutes)| format!("{} ({})", self.day(*monday), spent(*minutes)))
            .collect();
        let first: Vec<String> = tasks
            .iter()
            .take(3)
            .map(|(task, minutes)| format!("{task} ({})", spent(*minutes)))
            .collect();
        let more = tasks.len().saturating_sub(first.len());
        let more = match more {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        let mut text = format!(
            "{} h a week do not hold it all: of {} over the year {} find no place, most in the weeks from {}. Left undone: {}{more}.",
            plain(hours),
            spent(wanted),
            spent(left_over),
            worst.join(", "),
            first.join(", "),
        );
        if let Some(monday) = relief {
            text.push_str(&format!(
                " An hour more in the week from {} would help most.",
                self.day(monday)
            ));
        }
        text
    }

    /// A note of the plan.
    pub fn note(&self, note: &Note) -> String {
        match note {
            Note::SpraysLeftOut { tasks, wish } => format!(
                "{} left out, since place.toml says sprays = \"{}\".",
                named(*tasks as u32, "spray is", "sprays are"),
                match wish {
                    Sprays::None => "none",
                    Sprays::Organic => "organic",
                    Sprays::Any => "any",
                }
            ),
            Note::Unplanted { crop } => {
                format!("No season suits planting {} here.", self.crop(crop))
            }
            Note::TooMuch {
                hours_per_week,
                wanted_min,
                left_over_min,
                tasks,
                weeks,
                relief,
            } => self.too_much(
                *hours_per_week,
                (*wanted_min, *left_over_min),
                tasks,
                weeks,
                *relief,
            ),
            Note::CropLost { crop, left, night } => format!(
                "The frost of {} has left about {} % of a crop on {}: work that only a fuller crop needs is off the list, thinning first.",
                self.day(night.date),
                plain((left * 100.0).round()),
                self.crop(crop)
            ),
        }
    }

    /// How far to trust the season.
    pub fn caveat(&self, caveat: &Caveat) -> String {
        match caveat {
            Caveat::NoWeather => format!(
                "No weather is known here yet: every date is what zone {} usually brings, wide and marked \"zone only\". Bring a weather file in with `budtide import FILE`.",
                self.facts.place.hardiness
            ),
            Caveat::FewYears { years } => format!(
                "Only {} of weather are known; ten make a fair spread.",
                named(*years as u32, "past year", "past years")
            ),
            Caveat::Stale { seen_until } => {
                format!("The weather is known until {} only.", self.day(*seen_until))
            }
            Caveat::OldForecast { issued, days } => format!(
                "The forecast is {} old, of {}: it counts for less, and dates are wider.",
                named(u32::try_from(*days).unwrap_or(0), "day", "days"),
                self.day(*issued)
            ),
            Caveat::ForecastGivenUp { issued } => format!(
                "There is no fresh forecast; that of {} is too old to be used, and past years stand in for the coming days. `budtide weather` says what is wrong.",
                self.day(*issued)
            ),
            Caveat::Refused(refused) => format!(
                "Your note of {} on {}, {}, is left out: {}.",
                refused.report.stage,
                self.crop(&refused.report.crop),
                self.day(refused.report.date),
                match &refused.why {
                    Refusal::UnknownStage => "the crop has no such stage".to_owned(),
                    Refusal::InTheFuture => "that day is still to come".to_owned(),
                    Refusal::AfterLaterStage { stage, date } => {
                        format!(
                            "{stage}, which comes later, was seen before it on {}",
                            self.day(*date)
                        )
                    }
                    Refusal::FarFromForecast { expected } => format!(
                        "it is expected about {}, so the date may be a slip",
                        self.day(*expected)
                    ),
                }
            ),
            Caveat::OddObservation {
                crop,
                year,
                late_days,
            } => format!(
                "{}: your bloom of {year} lies {} {} what the weather of that year let expect; is the date right?",
                self.crop(crop),
                named(late_days.abs().round() as u32, "day", "days"),
                if *late_days < 0.0 { "before" } else { "after" }
            ),
            Caveat::LittleChill {
                crop,
                portions,
                least,
            } => format!(
                "{}: the winter brings some {} chill portions, less than any of the past years ({} at least); how it blooms after that is not known, and dates are wide.",
                self.crop(crop),
                plain(portions.round()),
                plain(least.round())
            ),
            Caveat::MayNotBloom { crop, share } => format!(
                "{}: full bloom was not reached in {} % of the runs.",
                self.crop(crop),
                plain((share * 100.0).round())
            ),
            Caveat::NoUsualBloom { crop } => format!(
                "{}: no usual date of full bloom is given, so its stages are wide. Write one into place.toml.",
                self.crop(crop)
            ),
        }
    }

    /// One difference between two calendars.
    pub fn change(&self, change: &Change, title: &str) -> String {
        let because: String = self
            .reasons(&change.because)
            .iter()
            .take(1)
            .map(|reason| {
                format!(
                    "
  because {reason}"
                )
            })
            .collect();
        let what = match &change.what {
            What::Added { opens, closes } => format!("new: {}", self.span(*opens, *closes)),
            What::Dropped => "no longer needed".to_owned(),
            What::Moved { opens, closes } => format!(
                "moved: {}, was {}",
                self.span(opens.1, closes.1),
                self.span(opens.0, closes.0)
            ),
        };
        format!("{title}\n  {what}{because}")
    }

    /// How sure a window is, and what would change it.
    pub fn sureness(&self, window: &Window) -> String {
        let (opens, closes) = (window.opens.spread, window.closes.spread);
        // The bound that is least settled is the one to speak of.
        let (what, bound) = if opens.width_days() >= closes.width_days() {
            ("opening", opens)
        } else {
            ("close", closes)
        };
        let span = format!("{} to {}", self.day(bound.early), self.day(bound.late));
        match bound.basis {
            _ if bound.width_days() == 0 => "Settled: nothing in it is forecast.".to_owned(),
            Basis::Seen | Basis::Forecast => format!(
                "Worked out from this year's weather so far; the {what} may still fall anywhere from {span}. A growth stage that you note moves it at once."
            ),
            Basis::PastYears => format!(
                "In eight years of ten the {what} falls from {span}. The weather to come and the stages that you note will narrow it."
            ),
            Basis::Fixed => "A date of the calendar; your own habit is as good.".to_owned(),
            Basis::ZoneOnly => {
                "A guess from the zone; the weather of the place will narrow it.".to_owned()
            }
        }
    }

    /// A source as a line: its references, and its standing where it is not
    /// simply seen.
    pub fn source(&self, source: &Source) -> String {
        let lines: Vec<&str> = source
            .references
            .iter()
            .map(|id| {
                self.facts
                    .knowledge
                    .reference(id)
                    .map_or(id.as_str(), |known| known.line())
            })
            .collect();
        match (lines.is_empty(), source.standing) {
            (false, Standing::Seen) => lines.join(" | "),
            (false, standing) => format!("{} ({})", lines.join(" | "), standing.word()),
            (true, standing) => standing.word().to_owned(),
        }
    }

    fn crop(&self, id: &str) -> String {
        self.facts
            .knowledge
            .crop(id)
            .map_or_else(|| id.to_owned(), |crop| crop.name.clone())
    }

    fn disease(&self, id: &str) -> String {
        self.facts
            .knowledge
            .disease(id)
            .map_or_else(|| id.replace('-', " "), |one| one.name.clone())
    }

    fn month_day(&self, month: u32, day: u32) -> String {
        NaiveDate::from_ymd_opt(self.today.year(), month, day)
            .map_or_else(String::new, |date| self.day(date))
    }
}

fn past(years: usize) -> String {
    match years {
        0 => "past years".to_owned(),
        n => format!("{n} past years"),
    }
}

fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::Best => "the time to plant",
        Advice::Possible => "possible",
        Advice::Unwise => "unwise",
    }
}

/// `apples`, `apples and pears`, `apples, pears and plums`.
fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// `trees`, `bushes`.
fn plural(word: &str) -> String {
    let end = if word.ends_with("sh") { "es" } else { "s" };
    format!("{word}{end}")
}

/// `1 apple`, `12 apples`.
pub fn named(count: u32, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// `about 80 %`, `20 to 95 %`: the share killed with its bounds where they
/// differ much.
pub fn share_range(night: &FrostNight) -> String {
    let percent = |share: f64| (share * 100.0).round();
    let (least, most) = (percent(night.kill_least), percent(night.kill_most));
    if most - least >= 15.0 {
        format!(
            "{} to {} %, likely {} %,",
            plain(least),
            plain(most),
            plain(percent(night.kill))
        )
    } else {
        format!("about {} %", plain(percent(night.kill)))
    }
}

/// A span of work: `45 min`, `3 h`.
pub fn spent(minutes: f64) -> String {
    if minutes < 90.0 {
        format!("{minutes:.0} min")
    } else {
        format!("{:.0} h", minutes / 60.0)
    }
}
