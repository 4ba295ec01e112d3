//! When a chore is done: points of the year, events, and weather that forbids it.

use super::{HeatRule, HeatStart};
use crate::facts::journal::DamageCause;

/// A point of the year that a window hangs on, and a shift from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Anchor {
    /// What it hangs on.
    pub point: Point,
    /// Days to add; negative is before.
    pub shift_days: f64,
}

/// The points of the year.
#[derive(Clone, Debug, PartialEq)]
pub enum Point {
    /// A day of the calendar: month, day; years before the season's bloom year.
    Calendar {
        /// Month, 1 to 12.
        month: u32,
        /// Day of the month.
        day: u32,
        /// 0: the bloom year; 1: the year before.
        years_before: u8,
    },
    /// A growth stage; of the task's own crop, or of the crop named.
    Stage {
        /// Trade name in the crop's list.
        stage: String,
        /// A crop id, or `None` for the task's own.
        crop: Option<String>,
    },
    /// A share of leaves down, 50 or 90 %.
    LeafFall {
        /// Per cent.
        percent: u8,
        /// 0: the autumn after bloom; 1: the autumn before.
        years_before: u8,
    },
    /// The last freeze of spring at or below a temperature.
    SpringFreeze {
        /// °C.
        threshold_c: f64,
    },
    /// The first freeze of autumn at or below a temperature.
    FallFreeze {
        /// °C.
        threshold_c: f64,
        /// 0: the autumn after bloom; 1: the autumn before.
        years_before: u8,
    },
    /// Soil at 10 cm rises through a temperature for good in spring.
    SoilWarms {
        /// °C.
        threshold_c: f64,
    },
    /// Soil at 10 cm falls through a temperature for good in autumn.
    SoilCools {
        /// °C.
        threshold_c: f64,
        /// 0: the autumn after bloom; 1: the autumn before.
        years_before: u8,
    },
    /// A heat sum since a stage of the task's crop or a day of the year.
    Heat {
        /// °C days.
        sum: f64,
        /// The rule that the sum was published for.
        rule: HeatRule,
        /// Where it starts.
        start: HeatStart,
    },
    /// The expected harvest of the task's trees: its first or its last day.
    Harvest {
        /// Whether the last harvest is meant; the first otherwise.
        last: bool,
    },
    /// The coldest part of the winter is usually over.
    ColdestPast,
    /// Winter chill received, in portions.
    ChillReached {
        /// Portions.
        portions: f64,
    },
}

/// What must have happened for a chore to be wanted, and how long it then
/// stays so. The chore's `opens` and `closes` say in which part of the year
/// the event counts.
#[derive(Clone, Debug, PartialEq)]
pub struct After {
    /// The event.
    pub trigger: Trigger,
    /// Days from the event to the opening of the window.
    pub opens_days: f64,
    /// Days from the event to the best day.
    pub best_days: f64,
    /// Days from the event to the close.
    pub closes_days: f64,
}

/// What can set a chore off.
#[derive(Clone, Debug, PartialEq)]
pub enum Trigger {
    /// A frost that may have killed at least this share of blossoms.
    FrostKill {
        /// 0 to 1.
        share: f64,
    },
    /// A frost of at least this kill is forecast.
    FrostAhead {
        /// 0 to 1.
        share: f64,
    },
    /// An infection period of a disease.
    Infection {
        /// The disease's id.
        disease: String,
    },
    /// An infection period of a disease by the hours of the forecast.
    InfectionAhead {
        /// The disease's id.
        disease: String,
    },
    /// Rain of at least this in one day, with a day at least this warm.
    WarmRain {
        /// mm.
        rain_mm: f64,
        /// Mean of the day, °C.
        mean_c: f64,
    },
    /// Rain of at least this in one day.
    HeavyRain {
        /// mm.
        rain_mm: f64,
    },
    /// Less rain than this over a week.
    Dry {
        /// mm.
        rain_mm: f64,
        /// Days over which it is summed.
        days: u32,
    },
    /// A winter low at or below a temperature.
    HardWinter {
        /// °C.
        low_c: f64,
    },
    /// A plunge in winter: so far below the highs of the two days before, to a
    /// low at or below a temperature.
    ColdPlunge {
        /// K.
        drop_k: f64,
        /// °C.
        low_c: f64,
    },
    /// An hour with at least so much wind.
    Gale {
        /// m/s.
        wind_m_s: f64,
    },
    /// Damage that the keeper noted.
    DamageNoted {
        /// What did it.
        cause: DamageCause,
    },
}

/// Weather that forbids a chore.
#[derive(Clone, Debug, PartialEq)]
pub enum Guard {
    /// A low at or below this is forecast within so many days.
    DeepCold {
        /// °C.
        low_c: f64,
        /// Days ahead.
        within_days: u32,
    },
    /// Freezing within so many days after the work.
    Freeze {
        /// °C.
        low_c: f64,
        /// Days ahead.
        within_days: u32,
    },
    /// The crop is in bloom.
    Bloom,
    /// Frost killed at least this share of its buds within so many days past:
    /// what is dead does not show yet.
    FrostDamage {
        /// 0 to 1.
        share: f64,
        /// Days back.
        within_days: u32,
    },
    /// Rain within so many days.
    Rain {
        /// Days ahead.
        within_days: u32,
    },
    /// A day hotter than this.
    Heat {
        /// °C.
        high_c: f64,
    },
}
