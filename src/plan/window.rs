//! When a window opens, is best and closes: the anchors of a chore set on the
//! season of a place.

use crate::facts::knowledge::{Anchor, Chore};
use crate::season::evidence::Evidence;
use crate::season::spread::Spread;
use crate::season::{Group, Season};
use chrono::TimeDelta;

/// One bound of a window: when, and what it hangs on.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// The day as a distribution.
    pub spread: Spread,
    /// What it hangs on.
    pub evidence: Evidence,
    /// Days that were added to that.
    pub shift_days: f64,
}

/// When to do something.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// From when it may be done.
    pub opens: Bound,
    /// The best time for it.
    pub best: Bound,
    /// By when it must be done.
    pub closes: Bound,
}

/// The window of a chore for a group of trees in the season that is named by
/// its year of bloom. `None` where the season has no such window: an anchor
/// is unknown here, or the window would close before it opens.
pub fn of(chore: &Chore, season: &Season, group: &Group, year: i32) -> Option<Window> {
    let opens = joined(&chore.opens, season, group, year, Spread::later)?;
    let mut closes = joined(&chore.closes, season, group, year, Spread::earlier)?;
    if closes.spread.middle < opens.spread.middle {
        return None;
    }
    closes.spread = closes.spread.later(opens.spread);
    let best = match joined(&chore.best, season, group, year, Spread::later) {
        Some(best) => clamped(best, &opens, &closes),
        None => middle(&opens, &closes),
    };
    Some(Window {
        opens,
        best,
        closes,
    })
}

/// All anchors of a bound joined to one: the latest opens, the earliest
/// closes.
fn joined(
    anchors: &[Anchor],
    season: &Season,
    group: &Group,
    year: i32,
    join: fn(Spread, Spread) -> Spread,
) -> Option<Bound> {
    let mut bound: Option<Bound> = None;
    for anchor in anchors {
        let (spread, evidence) = season.point(&anchor.point, group, year)?;
        let next = Bound {
            spread: spread.shifted(anchor.shift_days),
            evidence,
            shift_days: anchor.shift_days,
        };
        bound = Some(match bound {
            None => next,
            Some(held) => {
                let spread = join(held.spread, next.spread);
                // The one that sets the middle is the reason that is told.
                let mut telling = if spread.middle == held.spread.middle {
                    held
                } else {
                    next
                };
                telling.spread = spread;
                telling
            }
        });
    }
    bound
}

/// A best time that lies within the window, quantile by quantile.
fn clamped(best: Bound, opens: &Bound, closes: &Bound) -> Bound {
    let spread = best.spread.later(opens.spread).earlier(closes.spread);
    Bound { spread, ..best }
}

/// The middle of a window, where no best time is known.
fn middle(opens: &Bound, closes: &Bound) -> Bound {
    let half = |from: chrono::NaiveDate, to: chrono::NaiveDate| {
        from + TimeDelta::days((to - from).num_days() / 2)
    };
    let (a, b) = (opens.spread, closes.spread);
    Bound {
        spread: Spread::new(
            half(a.early, b.early),
            half(a.middle, b.middle),
            half(a.late, b.late),
            a.basis.max(b.basis),
        ),
        evidence: opens.evidence.clone(),
        shift_days: opens.shift_days,
    }
}
