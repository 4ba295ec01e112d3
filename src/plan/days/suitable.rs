//! Whether a day suits a piece of work: by the forecast as far as it reaches,
//! beyond it by the share of past years in which such a day suited.

use super::Hold;
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, ChoreKind, Guard};
use crate::facts::weather::{DailyRecord, Day, HourlyRecord};
use crate::plan::calendar::Task;
use crate::season::Season;
use crate::season::evidence::FrostNight;
use chrono::{Datelike, Days, NaiveDate, NaiveTime, TimeDelta};
use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

/// Rain on a day from which it counts as wet, mm.
const WET_MM: f64 = 1.0;

/// Past years that are looked at, at most.
const MOST_YEARS: i32 = 30;

/// Days either way of a calendar day that count as that day.
const AROUND_DAYS: usize = 5;

/// Wind above which nobody sprays, m/s: 10 mph, the upper end of most labels
/// (common practice; sources run from 8 to 10 mph).
const SPRAY_WIND_M_S: f64 = 4.5;

/// Wind above which a ladder stays down, m/s (common practice).
const LADDER_WIND_M_S: f64 = 9.0;

/// Share of buds that a night ahead may kill from which cutting and feeding
/// wait for it (our judgement).
const AHEAD_SHARE: f64 = 0.25;

/// Days after a frost by which its buds can be counted (reference/frost.md 4).
const COUNT_DAYS: Days = Days::new(3);

/// Hours in a row that make a working day of it.
const RUN_HOURS: usize = 2;

/// Working hours of daylight, standard time: from and until.
const DAYLIGHT: (u32, u32) = (7, 19);

/// Days that suit where no past weather is known: of work that rain forbids,
/// and of other work (our judgement: it rains on a third of days in the humid
/// east of North America).
const UNKNOWN_SHARE: (f64, f64) = (0.6, 0.9);

/// How a day suits a piece of work.
#[derive(Clone, Debug, PartialEq)]
pub struct Suits {
    /// The chance that it suits, 0 to 1; within the forecast it is 0 or 1.
    pub chance: f64,
    /// Whether the forecast reaches that day.
    pub forecast: bool,
    /// What forbids it, if something known does.
    pub hold: Option<Hold>,
}

impl Suits {
    fn sure(hold: Option<Hold>) -> Self {
        Suits {
            chance: f64::from(u8::from(hold.is_none())),
            forecast: true,
            hold,
        }
    }

    /// More likely than not.
    pub fn likely(&self) -> bool {
        self.chance >= 0.5
    }
}

/// A guard on the weather of a day, as a key: what it looks at, its limit in
/// hundredths, and days ahead.
type WeatherKey = Vec<(u8, i64, u32)>;

/// Shares of past years by day of the year, 0 to 365.
type Shares = Rc<Vec<f32>>;

/// Blooms of a year: crop, first and last day.
type Blooms = Vec<(String, NaiveDate, NaiveDate)>;

/// The coming days of a place against the work that is wanted.
#[derive(Debug)]
pub struct Prospect<'f> {
    facts: &'f Facts,
    season: &'f Season,
    today: NaiveDate,
    coming: Vec<Day>,
    past: RefCell<HashMap<WeatherKey, Option<Shares>>>,
    blooms: RefCell<HashMap<i32, Rc<Blooms>>>,
}

impl<'f> Prospect<'f> {
    /// The days from `today` on.
    pub fn new(facts: &'f Facts, season: &'f Season, today: NaiveDate) -> Self {
        Prospect {
            facts,
            season,
            today,
            coming: coming_days(facts, today),
            past: RefCell::default(),
            blooms: RefCell::default(),
        }
    }

    /// The last day of the forecast; yesterday where there is none.
    pub fn forecast_until(&self) -> NaiveDate {
        let last = self.coming.last().map(|day| day.date);
        last.unwrap_or(self.today - Days::new(1))
    }

    /// The night of a morning that killed most of a crop's buds, of any crop
    /// where none is named.
    pub(super) fn frost_of(&self, crop: Option<&str>, morning: NaiveDate) -> Option<&FrostNight> {
        let nights = self.season.frosts.iter();
        nights
            .filter(|night| night.date == morning && crop.is_none_or(|crop| night.crop == crop))
            .max_by(|a, b| a.kill.total_cmp(&b.kill))
    }

    /// Whether a day suits a task of the plan: its chore's guards, the trees'
    /// bloom and frost damage, rain and wind for sprays, wind for ladders.
    /// The task's window is not looked at.
    pub fn suits(&self, task: &Task, date: NaiveDate) -> Suits {
        let Some(chore) = self.facts.knowledge.chore(&task.chore) else {
            return Suits::sure(None);
        };
        self.suits_chore(chore, task, date)
    }

    /// The same where the chore is at hand.
    pub fn suits_chore(&self, chore: &Chore, task: &Task, date: NaiveDate) -> Suits {
        self.judge(chore, task).on(date)
    }

    /// What is needed to judge many days for one task.
    pub fn judge<'p>(&'p self, chore: &'p Chore, task: &'p Task) -> Judge<'p, 'f> {
        let guards = weather_guards(chore);
        let past = if guards.is_empty() {
            Past::Free
        } else {
            self.past_of(&guards)
        };
        Judge {
            prospect: self,
            plants: chore.guards.iter().any(|guard| key_of(guard).is_none()),
            chore,
            task,
            guards,
            past,
        }
    }

    /// What forbids a task on a day, as far as it is known.
    pub fn hold_on(&self, chore: &Chore, task: &Task, date: NaiveDate) -> Option<Hold> {
        self.suits_chore(chore, task, date).hold
    }

    /// The chance that at least `least` suitable days are left to a task from
    /// a day on, until the middle of its window's end. Days are taken as
    /// independent of each other, which flatters a little.
    pub fn enough(&self, task: &Task, from: NaiveDate, least: usize) -> f64 {
        let opens = task.window.opens.spread.middle;
        let closes = task.window.closes.spread.middle;
        let first = from.max(opens).max(self.today);
        let Some(chore) = self.facts.knowledge.chore(&task.chore) else {
            return 0.0;
        };
        let judge = self.judge(chore, task);
        let chances: Vec<f64> = first
            .iter_days()
            .take_while(|day| *day <= closes)
            .take(366)
            .map(|day| judge.on(day).chance)
            .collect();
        chance_of_at_least(&chances, least)
    }

    /// The hotter of a day and the next, where the forecast tells it, °C.
    pub fn hottest(&self, date: NaiveDate) -> Option<(NaiveDate, f64)> {
        let until = date + Days::new(1);
        self.coming
            .iter()
            .filter(|day| day.date >= date && day.date <= until)
            .filter_map(|day| Some((day.date, day.high_c?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Bloom and frost damage, which the season tells.
    fn plants_forbid(&self, chore: &Chore, task: &Task, date: NaiveDate) -> Option<Hold> {
        chore.guards.iter().find_map(|guard| match guard {
            Guard::Bloom => self
                .in_bloom(task.crop.as_deref(), task.season, date)
                .then_some(Hold::Bloom),
            Guard::FrostDamage { share, within_days } => {
                let crop = task.crop.as_deref();
                let ahead = self.season.frost_ahead(crop, share.min(AHEAD_SHARE));
                if let Some((first, _)) = ahead.filter(|(_, last)| date <= last.date + COUNT_DAYS) {
                    return Some(Hold::FrostAhead {
                        date: first.date,
                        low_c: first.low_c,
                    });
                }
                let hurt = self.season.frost_damage(crop, *share, date)?;
                let shows_by = hurt + Days::new(u64::from(*within_days));
                (date < shows_by).then_some(Hold::FrostDamage {
                    date: hurt,
                    shows_by,
                })
            }
            _ => None,
        })
    }

    /// As [`Season::in_bloom`], worked out once a year.
    fn in_bloom(&self, crop: Option<&str>, year: i32, date: NaiveDate) -> bool {
        let blooms = Rc::clone(self.blooms.borrow_mut().entry(year).or_insert_with(|| {
            let span = |group| {
                let (from, _) = self.season.stage(group, year, "first bloom")?;
                let (to, _) = self.season.stage(group, year, "petal fall")?;
                Some((group.crop.clone(), from.early, to.late))
            };
            Rc::new(self.season.groups.iter().filter_map(span).collect())
        }));
        blooms
            .iter()
            .filter(|(known, _, _)| crop.is_none_or(|crop| crop == known))
            .any(|(_, from, to)| (*from..=*to).contains(&date))
    }

    /// Too much wind all day, where the forecast tells hours.
    fn wind(&self, chore: &Chore, date: NaiveDate) -> Option<Hold> {
        let most = wind_limit(chore)?;
        let hourly = self.facts.weather.forecast.as_ref()?.hourly.as_ref()?;
        let least = calmest_run(hourly, date)?;
        (least > most).then_some(Hold::Wind {
            date,
            wind_m_s: least,
        })
    }

    /// The shares of past years for these guards, worked out once.
    fn past_of(&self, guards: &[Guard]) -> Past {
        let key: WeatherKey = guards.iter().filter_map(key_of).collect();
        let mut past = self.past.borrow_mut();
        let shares = past
            .entry(key)
            .or_insert_with(|| self.shares(guards).map(Rc::new));
        let rain = |guard: &Guard| matches!(guard, Guard::Rain { .. });
        match shares {
            Some(shares) => Past::Known(Rc::clone(shares)),
            None if guards.iter().any(rain) => Past::Guess(UNKNOWN_SHARE.0),
            None => Past::Guess(UNKNOWN_SHARE.1),
        }
    }

    /// By day of the year: the share of past days, five either way, on which
    /// no guard forbade the work. `None` with less than two years.
    fn shares(&self, guards: &[Guard]) -> Option<Vec<f32>> {
        let daily = self.facts.weather.daily.as_ref()?;
        let last = daily.last()?.min(self.today - Days::new(1));
        let oldest = NaiveDate::from_ymd_opt(last.year() - MOST_YEARS, 1, 1)?;
        let first = daily.first().max(oldest);
        if (last - first).num_days() < 730 {
            return None;
        }
        let (from, to) = (daily.index(first)?, daily.index(last)?);
        // Counted by day of the year: days that suited, and days known.
        let mut counts = [(0.0_f32, 0.0_f32); 366];
        let ahead = guards.iter().map(days_ahead).max().unwrap_or(0);
        let mut ordinal = first.ordinal0() as usize;
        let mut year = first.year();
        for index in from..=to.saturating_sub(ahead) {
            if let Some(suited) = past_suits(guards, daily, index)
                && let Some(count) = counts.get_mut(ordinal)
            {
                count.0 += f32::from(u8::from(suited));
                count.1 += 1.0;
            }
            ordinal += 1;
            if ordinal >= days_of(year) {
                (ordinal, year) = (0, year + 1);
            }
        }
        let around = |day: usize| {
            let (suited, known) = (0..=2 * AROUND_DAYS).fold((0.0, 0.0), |sum, step| {
                let at = (day + 366 + step - AROUND_DAYS) % 366;
                (sum.0 + counts[at].0, sum.1 + counts[at].1)
            });
            if known > 0.0 { suited / known } else { 1.0 }
        };
        Some((0..366).map(around).collect())
    }
}

/// Days beyond the forecast.
#[derive(Clone, Debug)]
enum Past {
    /// Nothing in the weather forbids the work.
    Free,
    /// The share of past years that suited, by day of the year.
    Known(Shares),
    /// No past weather is known.
    Guess(f64),
}

/// Judges days for one task.
#[derive(Clone, Debug)]
pub struct Judge<'p, 'f> {
    prospect: &'p Prospect<'f>,
    chore: &'p Chore,
    task: &'p Task,
    /// Whether bloom or frost damage may forbid it.
    plants: bool,
    guards: Vec<Guard>,
    past: Past,
}

impl Judge<'_, '_> {
    /// How a day suits.
    pub fn on(&self, date: NaiveDate) -> Suits {
        let prospect = self.prospect;
        let forecast = date <= prospect.forecast_until();
        if self.plants
            && let Some(hold) = prospect.plants_forbid(self.chore, self.task, date)
        {
            return Suits {
                chance: 0.0,
                forecast,
                hold: Some(hold),
            };
        }
        if forecast {
            let guards = self.guards.iter();
            let guard = guards
                .filter_map(|guard| forbids(guard, &prospect.coming, date))
                .next();
            return Suits::sure(guard.or_else(|| prospect.wind(self.chore, date)));
        }
        let chance = match &self.past {
            Past::Free => 1.0,
            Past::Known(shares) => shares
                .get(date.ordinal0() as usize)
                .map_or(1.0, |share| f64::from(*share)),
            Past::Guess(share) => *share,
        };
        Suits {
            chance,
            forecast: false,
            hold: None,
        }
    }
}

fn days_of(year: i32) -> usize {
    let leap = NaiveDate::from_ymd_opt(year, 2, 29).is_some();
    if leap { 366 } else { 365 }
}

/// The guards on the weather: the chore's own, and dry leaves for a spray.
fn weather_guards(chore: &Chore) -> Vec<Guard> {
    let mut guards: Vec<Guard> = chore
        .guards
        .iter()
        .filter(|guard| key_of(guard).is_some())
        .cloned()
        .collect();
    let rain = guards
        .iter()
        .any(|guard| matches!(guard, Guard::Rain { .. }));
    if chore.kind == ChoreKind::Spray && !rain {
        guards.push(Guard::Rain { within_days: 0 });
    }
    guards
}

/// A guard on the weather as a key; `None` for one on the plants.
fn key_of(guard: &Guard) -> Option<(u8, i64, u32)> {
    let hundredths = |value: &f64| (value * 100.0).round() as i64;
    match guard {
        Guard::DeepCold { low_c, within_days } | Guard::Freeze { low_c, within_days } => {
            Some((0, hundredths(low_c), *within_days))
        }
        Guard::Rain { within_days } => Some((1, 0, *within_days)),
        Guard::Heat { high_c } => Some((2, hundredths(high_c), 0)),
        Guard::Bloom | Guard::FrostDamage { .. } => None,
    }
}

fn days_ahead(guard: &Guard) -> usize {
    key_of(guard).map_or(0, |(_, _, ahead)| ahead as usize)
}

/// Whether a past day suited; `None` where its weather is not known.
fn past_suits(guards: &[Guard], daily: &DailyRecord, index: usize) -> Option<bool> {
    for guard in guards {
        let span = index..=index + days_ahead(guard);
        let column = match guard {
            Guard::Rain { .. } => &daily.rain_mm,
            Guard::Heat { .. } => &daily.high_c,
            _ => &daily.low_c,
        };
        for at in span {
            let value = column.get(at)?;
            let forbidden = match guard {
                Guard::DeepCold { low_c, .. } | Guard::Freeze { low_c, .. } => value <= *low_c,
                Guard::Rain { .. } => value >= WET_MM,
                Guard::Heat { high_c } => value >= *high_c,
                Guard::Bloom | Guard::FrostDamage { .. } => false,
            };
            if forbidden {
                return Some(false);
            }
        }
    }
    Some(true)
}

/// What a guard forbids on a day of the forecast.
fn forbids(guard: &Guard, coming: &[Day], date: NaiveDate) -> Option<Hold> {
    let until = date + Days::new(days_ahead(guard) as u64);
    let mut span = coming
        .iter()
        .filter(|day| day.date >= date && day.date <= until);
    span.find_map(|day| match guard {
        Guard::DeepCold { low_c, .. } | Guard::Freeze { low_c, .. } => {
            let low = day.low_c.filter(|low| low <= low_c)?;
            Some(Hold::Cold {
                date: day.date,
                low_c: low,
            })
        }
        Guard::Rain { .. } => {
            let rain = day.rain_mm.filter(|rain| *rain >= WET_MM)?;
            Some(Hold::Rain {
                date: day.date,
                rain_mm: rain,
            })
        }
        Guard::Heat { high_c } => {
            let high = day.high_c.filter(|high| high >= high_c)?;
            Some(Hold::Heat {
                date: day.date,
                high_c: high,
            })
        }
        Guard::Bloom | Guard::FrostDamage { .. } => None,
    })
}

/// The most wind that a chore bears, m/s, if it minds wind.
fn wind_limit(chore: &Chore) -> Option<f64> {
    if chore.kind == ChoreKind::Spray {
        return Some(SPRAY_WIND_M_S);
    }
    let ladder = chore.cautions.iter().any(|caution| caution == "ladder");
    ladder.then_some(LADDER_WIND_M_S)
}

/// The wind of the calmest working run of a day, m/s; `None` where its hours
/// are not known.
fn calmest_run(hourly: &HourlyRecord, date: NaiveDate) -> Option<f64> {
    let first = date.and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(DAYLIGHT.0));
    let first = hourly.index(first)?;
    let hours = (DAYLIGHT.1 - DAYLIGHT.0) as usize;
    (first..first + hours - RUN_HOURS + 1)
        .filter_map(|start| {
            (start..start + RUN_HOURS)
                .map(|hour| hourly.wind_m_s.get(hour))
                .try_fold(0.0_f64, |most, wind| Some(most.max(wind?)))
        })
        .reduce(f64::min)
}

/// The chance that at least `least` of independent days suit, by the
/// recurrence over the count (Poisson binomial).
pub fn chance_of_at_least(chances: &[f64], least: usize) -> f64 {
    if least == 0 {
        return 1.0;
    }
    if chances.len() < least {
        return 0.0;
    }
    // The last place gathers `least` and more.
    let mut counts = vec![0.0; least + 1];
    counts[0] = 1.0;
    for &chance in chances {
        let chance = if chance.is_finite() {
            chance.clamp(0.0, 1.0)
        } else {
            0.0
        };
        counts[least] += counts[least - 1] * chance;
        for count in (1..least).rev() {
            counts[count] = counts[count] * (1.0 - chance) + counts[count - 1] * chance;
        }
        counts[0] *= 1.0 - chance;
    }
    counts[least].clamp(0.0, 1.0)
}

/// The forecast days from today on.
fn coming_days(facts: &Facts, today: NaiveDate) -> Vec<Day> {
    let Some(forecast) = &facts.weather.forecast else {
        return Vec::new();
    };
    forecast
        .daily
        .days()
        .filter(|day| day.date >= today)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// reference/algorithms.md 12.7.
    #[test]
    fn chances_of_the_reference() {
        let chances = [0.4, 0.5, 0.7, 0.2];
        assert!((chance_of_at_least(&chances, 1) - 0.928).abs() < 1e-12);
        assert!((chance_of_at_least(&chances, 2) - 0.622).abs() < 1e-12);
        let expected: f64 = (1..=4).map(|n| chance_of_at_least(&chances, n)).sum();
        assert!((expected - 1.8).abs() < 1e-12);
        assert_eq!(chance_of_at_least(&[], 1), 0.0);
        assert_eq!(chance_of_at_least(&[], 0), 1.0);
        assert_eq!(chance_of_at_least(&[f64::NAN, 1.0], 1), 1.0);
    }

    proptest! {
        /// Every outcome of the days counted out.
        #[test]
        fn chances_as_counted_out(chances in prop::collection::vec(0.0..=1.0f64, 0..9), least in 0usize..10) {
            let mut total = 0.0;
            for outcome in 0..1u32 << chances.len() {
                if outcome.count_ones() as usize >= least {
                    total += chances.iter().enumerate().map(|(day, chance)| {
                        if outcome >> day & 1 == 1 { *chance } else { 1.0 - chance }
                    }).product::<f64>();
                }
            }
            prop_assert!((chance_of_at_least(&chances, least) - total).abs() < 1e-9);
        }
    }
}
