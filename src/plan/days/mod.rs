//! Which day inside a window: what the forecast allows, what forbids it, and
//! how a season's work is shared out over the keeper's hours.

pub mod suitable; // whether a day suits a piece of work

pub mod flow; // work into periods of limited time, as cheaply as can be

pub mod share_out; // a season's work over the keeper's hours

use super::calendar::{State, Task};
use crate::facts::knowledge::{Chore, ChoreKind};
use crate::season::evidence::Evidence;
use crate::season::spread::Spread;
use chrono::{Days, NaiveDate};
pub use suitable::{Prospect, Suits};

/// How long pruning that waited for frost damage to show stays open after
/// that (our judgement).
const AFTER_DAMAGE_SHOWS_DAYS: u64 = 14;

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
    /// It blows too hard all day.
    Wind {
        /// The day.
        date: NaiveDate,
        /// Wind of its calmest working hours, m/s.
        wind_m_s: f64,
    },
    /// None of the materials may be used.
    NoMaterial,
    /// The crop is in bloom.
    Bloom,
    /// A frost that may kill many buds is forecast.
    FrostAhead {
        /// The morning on which it ends.
        date: NaiveDate,
        /// Its forecast low, °C.
        low_c: f64,
    },
    /// A frost killed buds not long ago.
    FrostDamage {
        /// The morning after it.
        date: NaiveDate,
        /// The day from which the damage shows.
        shows_by: NaiveDate,
    },
}

/// Sets the day and the hold of a task that is open; others are left to their
/// best time.
pub fn choose(prospect: &Prospect<'_>, chore: &Chore, task: &mut Task, today: NaiveDate) {
    if !matches!(task.state, State::Open | State::Urgent) {
        return;
    }
    let closes = task.window.closes.spread.middle;
    // Before its best time an open task may wait; from then on the first day
    // that the guards allow is the day.
    let from = today.max(task.window.best.spread.early);
    let until = closes.min(prospect.forecast_until());
    task.day = from
        .iter_days()
        .take_while(|day| *day <= until)
        .find(|day| prospect.hold_on(chore, task, *day).is_none());
    if prospect.forecast_until() < today && chore.guards.is_empty() {
        task.day = Some(from.min(closes));
    }
    task.hold = prospect.hold_on(chore, task, today);
    if let Some(Hold::FrostDamage { date, shows_by }) = task.hold
        && shows_by > closes
    {
        if task.kind == ChoreKind::Pruning {
            // Put off until the damage shows, not given up: the year's crop is
            // set by that cut.
            let later = shows_by + Days::new(AFTER_DAMAGE_SHOWS_DAYS);
            let bound = &mut task.window.closes;
            bound.spread = bound
                .spread
                .later(Spread::certain(later, bound.spread.basis));
            if let Some(night) = prospect.frost_of(task.crop.as_deref(), date) {
                bound.evidence = Evidence::FrostNight(night.clone());
                bound.shift_days = (later - date).num_days() as f64;
            }
        } else {
            // It cannot be done well any more this season.
            task.state = State::Missed;
        }
    }
}
