//! Which day inside a window: what the forecast allows, and what forbids it.

use super::calendar::{State, Task};
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, Guard};
use crate::facts::weather::Day;
use crate::season::Season;
use chrono::{Days, NaiveDate};

/// Rain on a day from which it counts as wet, mm.
const WET_MM: f64 = 1.0;

/// Why a task must wait.
#[derive(Clone, Debug, PartialEq)]
pub enum Hold {
    /// Cold at or below the guard's limit is forecast.
    Cold {
        /// The day.
        date: NaiveDate,
        /// Its forecast low, °C.
        low_c: f64,
    },
    /// Rain is forecast.
    Rain {
        /// The day.
        date: NaiveDate,
        /// mm.
        rain_mm: f64,
    },
    /// A hot day is forecast.
    Heat {
        /// The day.
        date: NaiveDate,
        /// Its forecast high, °C.
        high_c: f64,
    },
    /// The crop is in bloom.
    Bloom,
    /// A frost killed buds not long ago.
    FrostDamage {
        /// The morning after it.
        date: NaiveDate,
        /// The day from which the damage shows.
        shows_by: NaiveDate,
    },
}

/// Sets the day and the hold of a task that is open or opens within the
/// forecast; others are left to their best time.
pub fn choose(facts: &Facts, season: &Season, chore: &Chore, task: &mut Task, today: NaiveDate) {
    if !matches!(task.state, State::Open | State::Urgent) {
        return;
    }
    let coming = coming_days(facts, today);
    let closes = task.window.closes.spread.middle;
    // Before its best time an open task may wait; from then on the first day
    // that the guards allow is the day.
    let from = today.max(task.window.best.spread.early);
    for day in coming
        .iter()
        .filter(|day| day.date >= from && day.date <= closes)
    {
        if hold_on(season, chore, task, &coming, day.date).is_none() {
            task.day = Some(day.date);
            break;
        }
    }
    if coming.is_empty() && chore.guards.is_empty() {
        task.day = Some(from.min(closes));
    }
    task.hold = hold_on(season, chore, task, &coming, today);
    if let Some(Hold::FrostDamage { shows_by, .. }) = task.hold
        && shows_by > closes
    {
        // It cannot be done well any more this season.
        task.state = State::Missed;
    }
}

/// What forbids the chore on a day, judged by the forecast.
fn hold_on(
    season: &Season,
    chore: &Chore,
    task: &Task,
    coming: &[Day],
    date: NaiveDate,
) -> Option<Hold> {
    chore.guards.iter().find_map(|guard| match guard {
        Guard::DeepCold { low_c, within_days } | Guard::Freeze { low_c, within_days } => {
            span(coming, date, *within_days).find_map(|day| {
                let low = day.low_c.filter(|low| low <= low_c)?;
                Some(Hold::Cold {
                    date: day.date,
                    low_c: low,
                })
            })
        }
        Guard::Rain { within_days } => span(coming, date, *within_days).find_map(|day| {
            let rain = day.rain_mm.filter(|rain| *rain >= WET_MM)?;
            Some(Hold::Rain {
                date: day.date,
                rain_mm: rain,
            })
        }),
        Guard::Heat { high_c } => span(coming, date, 0).find_map(|day| {
            let high = day.high_c.filter(|high| high >= high_c)?;
            Some(Hold::Heat {
                date: day.date,
                high_c: high,
            })
        }),
        Guard::FrostDamage { share, within_days } => {
            let hurt = season.frost_damage(task.crop.as_deref(), *share, date)?;
            let shows_by = hurt + Days::new(u64::from(*within_days));
            (date < shows_by).then_some(Hold::FrostDamage {
                date: hurt,
                shows_by,
            })
        }
        Guard::Bloom => {
            let crop = task.crop.as_deref();
            season
                .in_bloom(crop, task.season, date)
                .then_some(Hold::Bloom)
        }
    })
}

fn span(coming: &[Day], from: NaiveDate, days: u32) -> impl Iterator<Item = &Day> {
    let until = from + Days::new(u64::from(days));
    coming
        .iter()
        .filter(move |day| day.date >= from && day.date <= until)
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
