//! Why a date is what it is: data, no wording.
//!
//! A model that sets a date hands out its evidence; `render::sentence` alone
//! words it.

use super::infections::Certainty;
use super::spread::Spread;
use crate::facts::knowledge::{Advice, HeatRule, HeatStart, Rating, Source};
use crate::facts::place::HardinessZone;
use chrono::{NaiveDate, NaiveDateTime};

/// One reason.
#[derive(Clone, Debug, PartialEq)]
pub enum Evidence {
    /// A stage is worked out from the weather.
    Stage {
        /// The crop's id.
        crop: String,
        /// Trade name of the stage.
        stage: String,
        /// When.
        spread: Spread,
        /// How the bloom estimate was come by.
        fit: FitNote,
    },
    /// The keeper saw a stage.
    StageSeen {
        /// The crop's id.
        crop: String,
        /// Trade name of the stage.
        stage: String,
        /// The day; the mean where several were noted.
        date: NaiveDate,
        /// How many different days were noted, of several cultivars or trees.
        days: usize,
    },
    /// The last freeze of spring.
    SpringFreeze {
        /// °C.
        threshold_c: f64,
        /// When.
        spread: Spread,
        /// Years that it rests on.
        years: usize,
    },
    /// The first freeze of autumn.
    FallFreeze {
        /// °C.
        threshold_c: f64,
        /// When.
        spread: Spread,
        /// Years that it rests on.
        years: usize,
    },
    /// Leaves down.
    LeafFall {
        /// Per cent.
        percent: u8,
        /// When.
        spread: Spread,
        /// Where the rule comes from.
        source: Source,
    },
    /// Soil temperature at 10 cm, worked out from the air.
    Soil {
        /// °C.
        threshold_c: f64,
        /// Rising in spring, or falling in autumn.
        rising: bool,
        /// When.
        spread: Spread,
        /// Years that it rests on.
        years: usize,
    },
    /// A heat sum is reached.
    Heat {
        /// °C days.
        sum: f64,
        /// The rule that the sum was published for.
        rule: HeatRule,
        /// Where it starts.
        start: HeatStart,
        /// When.
        spread: Spread,
    },
    /// A heat sum since the first catch of an insect is reached.
    HeatSinceCatch {
        /// The insect's id.
        insect: String,
        /// °C days.
        sum: f64,
        /// The rule that the sum was published for.
        rule: HeatRule,
        /// The first catch that went on, or when it is reckoned.
        caught: Spread,
        /// Whether the keeper noted it.
        noted: bool,
        /// When the sum is reached.
        spread: Spread,
    },
    /// The expected harvest.
    Harvest {
        /// The crop's id.
        crop: String,
        /// Days from full bloom, least and most.
        days: (f64, f64),
        /// Full bloom.
        bloom: NaiveDate,
    },
    /// The mean low is past its least.
    ColdestPast {
        /// When.
        spread: Spread,
    },
    /// Winter chill received.
    Chill {
        /// Portions.
        portions: f64,
        /// When.
        spread: Spread,
    },
    /// A day of the calendar.
    Calendar {
        /// The day.
        date: NaiveDate,
    },
    /// No weather is known; the zone's handbook months stand in.
    Zone {
        /// The zone.
        zone: HardinessZone,
    },
    /// A night that hurts, or would hurt.
    FrostNight(FrostNight),
    /// The weather service warns of cold in that night.
    Warned {
        /// The service's name for it, such as `Freeze Warning`.
        event: String,
        /// Who issued it.
        office: String,
        /// When it ends, by the clock of the place.
        until: NaiveDateTime,
    },
    /// An infection period.
    Infection {
        /// The disease's id.
        disease: String,
        /// First wet hour's day.
        from: NaiveDate,
        /// Last wet hour's day.
        until: NaiveDate,
        /// Hours wet.
        wet_hours: f64,
        /// Mean temperature over them, °C.
        mean_c: f64,
        /// Whether the severe line was reached.
        severe: bool,
    },
    /// An infection period that the hours of the forecast hold.
    InfectionAhead {
        /// The disease's id.
        disease: String,
        /// Its first wet hour, local standard time.
        from: NaiveDateTime,
        /// Hours wet.
        wet_hours: f64,
        /// Mean temperature over them, °C.
        mean_c: f64,
        /// Whether the severe line would be reached.
        severe: bool,
        /// How far to trust it.
        certainty: Certainty,
    },
    /// Rain on a mild day.
    WarmRain {
        /// The day.
        date: NaiveDate,
        /// mm.
        rain_mm: f64,
    },
    /// Much rain in one day.
    HeavyRain {
        /// The day.
        date: NaiveDate,
        /// mm.
        rain_mm: f64,
    },
    /// Little rain over some days.
    Dry {
        /// The morning on which they were over.
        date: NaiveDate,
        /// mm.
        rain_mm: f64,
        /// Over so many days.
        days: u32,
    },
    /// A winter low.
    WinterLow {
        /// The day.
        date: NaiveDate,
        /// °C.
        low_c: f64,
    },
    /// A plunge of cold.
    ColdPlunge {
        /// The morning.
        date: NaiveDate,
        /// Its low, °C.
        low_c: f64,
        /// The highest of the days before, °C.
        high_c: f64,
    },
    /// Strong wind.
    Gale {
        /// The day.
        date: NaiveDate,
        /// Wind of its windiest hour, m/s.
        wind_m_s: f64,
    },
    /// Damage that the keeper noted.
    DamageNoted {
        /// The day.
        date: NaiveDate,
        /// The word for what did it.
        cause: &'static str,
    },
    /// Trees that take a disease, and those that do not.
    Ratings {
        /// The disease's id.
        disease: String,
        /// Cultivars that need it, with their rating; `None`: unknown.
        need: Vec<(String, Option<Rating>)>,
        /// Cultivars that need none.
        spared: Vec<String>,
        /// Trees that were seen to take what they are rated to resist: by
        /// name and id, with the rating and the seasons.
        despite: Vec<(String, Rating, Vec<i32>)>,
    },
    /// Junipers near by.
    Junipers {
        /// How many.
        count: u32,
        /// The nearest, m.
        nearest_m: f64,
    },
    /// Which planting season suits a crop here.
    Planting {
        /// The crop's id.
        crop: String,
        /// The place's zone.
        zone: HardinessZone,
        /// Fall, after leaf drop.
        fall: Advice,
        /// Early spring, before bud break.
        spring: Advice,
        /// Why, in a sentence.
        why: String,
        /// Where it comes from.
        source: Source,
    },
    /// What speaks against a material, or for another.
    SprayLimit {
        /// The material's id.
        material: String,
        /// What it is.
        limit: SprayLimit,
    },
    /// A tree's state asks for it.
    State {
        /// Ids of the trees.
        trees: Vec<String>,
        /// The state's word.
        state: &'static str,
    },
}

/// What speaks against a material for the days that are meant.
#[derive(Clone, Debug, PartialEq)]
pub enum SprayLimit {
    /// Its days to harvest reach into the expected harvest.
    Harvest {
        /// The last day for it.
        until: NaiveDate,
        /// Days to harvest, the longest in print here.
        days: f64,
        /// The earliest day of the expected harvest.
        harvest: NaiveDate,
    },
    /// Its group has been used as often as is thought wise in a season.
    UsedUp {
        /// Sprays noted.
        uses: u32,
        /// Most in a season.
        most: u32,
    },
    /// Oil was, or is to be, sprayed near it.
    Oil {
        /// The day of the oil.
        oil: NaiveDate,
        /// Days to keep between them.
        gap: f64,
    },
    /// It burns in heat that is forecast.
    Heat {
        /// The day.
        date: NaiveDate,
        /// Its forecast high, °C.
        high_c: f64,
        /// The limit, °C.
        limit_c: f64,
    },
    /// It harms bees or their brood, and the crop is in bloom.
    Bloom,
    /// Its group was the last one used: take another one if you can.
    Rotate {
        /// The code of the group.
        code: String,
        /// The day on which it was used.
        date: NaiveDate,
    },
}

/// How a bloom estimate was come by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct FitNote {
    /// Own observations of bloom that it learned from.
    pub observations: usize,
    /// Whether the keeper's usual date was used.
    pub usual_date: bool,
    /// Whether a usual date of another crop was carried over.
    pub borrowed: bool,
    /// Whether the zone's usual bloom had to stand in for a usual date.
    pub by_zone: bool,
    /// Past years of weather that stood in for the coming weather.
    pub years: usize,
}

/// One night against the flower buds of one crop.
#[derive(Clone, Debug, PartialEq)]
pub struct FrostNight {
    /// The morning on which it ended.
    pub date: NaiveDate,
    /// Its low at the trees, °C, seen or forecast.
    pub low_c: f64,
    /// The part of it that is the place's own difference from the station, K;
    /// 0 where none is known, or where the low was read at the trees.
    pub site_k: f64,
    /// Whether it is forecast.
    pub forecast: bool,
    /// The crop's id.
    pub crop: String,
    /// The stage the crop was in.
    pub stage: String,
    /// The temperature that kills a tenth then, °C.
    pub kill_10_c: f64,
    /// The temperature that kills nine tenths, °C, if published.
    pub kill_90_c: Option<f64>,
    /// Share killed: of a night seen the best estimate, of one forecast the
    /// mean over the spread of its low.
    pub kill: f64,
    /// Least, over the stages that the buds may be in; of a night forecast
    /// over eight of ten lows too.
    pub kill_least: f64,
    /// Most, likewise.
    pub kill_most: f64,
    /// Chance that a tenth of the buds or more die; 0 or 1 of a night seen.
    pub tenth: f64,
    /// Whether the low was read by the keeper at the trees.
    pub at_the_trees: bool,
    /// Buds dead and buds cut, once the keeper has counted: then the share
    /// killed is a fact.
    pub counted: Option<(u32, u32)>,
}

/// Chance of a tenth of the buds or more from which a night ahead is told;
/// reference/algorithms.md 13.4.
const FEARED_CHANCE: f64 = 0.3;

/// Least share killed of a night that is told, ahead or over (our judgement).
pub const TOLD_SHARE: f64 = 0.05;

/// Nights no further apart than this are of one cold spell (our choice).
pub const NIGHTS_APART: i64 = 3;

/// Whether a night ahead is told: it may well take a tenth.
pub fn is_feared(tenth: f64, kill: f64) -> bool {
    tenth >= FEARED_CHANCE && kill >= TOLD_SHARE
}

impl FrostNight {
    /// Whether a night ahead is told.
    pub fn is_feared(&self) -> bool {
        is_feared(self.tenth, self.kill)
    }

    /// Whether a night is told, ahead or over.
    pub fn is_told(&self) -> bool {
        match self.forecast {
            true => self.is_feared(),
            false => self.kill >= TOLD_SHARE,
        }
    }
}
