//! A crop: its stages, cold, chill, harvest, planting and how it is grown.

use super::{SelfFertile, Source};
use crate::units::UnitSystem;

/// A family of crops that share their stages' logic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CropKind {
    /// Apple, pear, quince: hosts of juniper rusts.
    Pome,
    /// Peach, plum, cherry, apricot.
    Stone,
    /// Raspberry, blackberry.
    Bramble,
    /// Blueberry and other bushes.
    Bush,
}

impl CropKind {
    /// Every kind with the word used in files.
    pub const ALL: [(CropKind, &'static str); 4] = [
        (CropKind::Pome, "pome"),
        (CropKind::Stone, "stone"),
        (CropKind::Bramble, "bramble"),
        (CropKind::Bush, "bush"),
    ];
}

/// A crop and its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Crop {
    /// Short key, such as `tart-cherry`; equals the file's name.
    pub id: String,
    /// Singular in plain words: `tart cherry`.
    pub name: String,
    /// Plural: `tart cherries`.
    pub plural: String,
    /// What one plant is called: `tree`, `bush`, `plant`.
    pub plant: String,
    /// Other names under which the register may call it.
    pub also: Vec<String>,
    /// Scientific name.
    pub latin: String,
    /// Its family.
    pub kind: CropKind,
    /// Growth stages in their order.
    pub stages: Vec<Stage>,
    /// Critical temperatures by stage.
    pub critical: Vec<CriticalTemperature>,
    /// Share of blossoms that makes a full crop, least and most.
    pub blossoms_needed: Option<(f64, f64, Source)>,
    /// Ranges of winter chill.
    pub chill: Vec<Chill>,
    /// Full bloom against 'Golden Delicious' apple in the same year.
    pub bloom_offset: Option<BloomOffset>,
    /// Days from full bloom to harvest.
    pub harvest: Vec<BloomToHarvest>,
    /// When to plant, by zone and kind of stock.
    pub planting: Vec<PlantingAdvice>,
    /// Years from planting to the first crop: least and most.
    pub years_to_bear: Option<(f64, f64, Source)>,
    /// The coldest hardiness zone (whole number) that usually carries it.
    pub coldest_zone: Option<(u8, Source)>,
    /// How it is grown: partners, room, wanted growth.
    pub habit: Habit,
}

/// How a crop is grown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Habit {
    /// Whether it needs a partner in bloom, where no cultivar says otherwise.
    pub pollination: Option<Pollination>,
    /// Room in the row by rootstock or training.
    pub spacing: Vec<Spacing>,
    /// Growth of a year's shoots that is wanted.
    pub shoots: Vec<ShootTarget>,
}

/// What holds for the pollination of a crop as a class.
#[derive(Clone, Debug, PartialEq)]
pub struct Pollination {
    /// Whether it sets with its own pollen.
    pub self_fertile: SelfFertile,
    /// How near a partner must stand, m.
    pub within_m: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Room in the row.
#[derive(Clone, Debug, PartialEq)]
pub struct Spacing {
    /// Rootstocks or training, in a few words.
    pub on: String,
    /// Least and most distance in the row, m.
    pub in_row_m: (f64, f64),
    /// Where it comes from.
    pub source: Source,
}

/// Growth of a year's shoots that is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct ShootTarget {
    /// For bearing trees; for young ones otherwise.
    pub bearing: bool,
    /// Least and most, cm.
    pub length_cm: (f64, f64),
    /// Where it comes from.
    pub source: Source,
}

impl Crop {
    /// Whether it is called so: by its id, its name, plural or another name.
    pub fn is_called(&self, word: &str) -> bool {
        [&self.id, &self.name, &self.plural]
            .into_iter()
            .chain(&self.also)
            .any(|name| name.eq_ignore_ascii_case(word))
    }

    /// A crop of which nothing but its name and family is known.
    pub fn bare(id: &str, kind: CropKind) -> Self {
        Crop {
            id: id.to_owned(),
            name: id.replace('-', " "),
            plural: format!("{}s", id.replace('-', " ")),
            plant: "tree".to_owned(),
            also: Vec::new(),
            latin: String::new(),
            kind,
            stages: Vec::new(),
            critical: Vec::new(),
            blossoms_needed: None,
            chill: Vec::new(),
            bloom_offset: None,
            harvest: Vec::new(),
            planting: Vec::new(),
            years_to_bear: None,
            coldest_zone: None,
            habit: Habit::default(),
        }
    }

    /// The position of a stage by its trade name or another name, without
    /// regard to case.
    pub fn stage(&self, name: &str) -> Option<usize> {
        let wanted = name.trim();
        self.stages.iter().position(|stage| {
            stage.name.eq_ignore_ascii_case(wanted)
                || stage
                    .also
                    .iter()
                    .any(|also| also.eq_ignore_ascii_case(wanted))
        })
    }
}

/// A growth stage.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Trade name.
    pub name: String,
    /// Other names in use.
    pub also: Vec<String>,
    /// BBCH code or span, as text: `55-56`.
    pub bbch: String,
    /// Where name and code come from.
    pub source: Source,
    /// Heat from the start of counting to this stage as a share of the heat to
    /// full bloom; full bloom is 1.
    pub heat_share: Option<(f64, Source)>,
    /// Days after full bloom, for stages that heat shares do not cover.
    pub days_after_bloom: Option<(f64, f64, Source)>,
}

/// Temperatures that kill a tenth and nine tenths of the flower buds in half
/// an hour, at one stage. °C.
#[derive(Clone, Debug, PartialEq)]
pub struct CriticalTemperature {
    /// Trade name of the stage in the crop's list.
    pub stage: String,
    /// 10 % killed.
    pub kill_10_c: f64,
    /// 90 % killed; `None` where the source gives none.
    pub kill_90_c: Option<f64>,
    /// Where it comes from.
    pub source: Source,
}

/// The unit that a chill figure was published in; never converted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChillUnit {
    /// Hours from 0 to 7.2 °C, or below 7.2 °C.
    Hours,
    /// Utah units.
    Utah,
    /// Chill portions of the dynamic model.
    Portions,
}

impl ChillUnit {
    /// Every unit with the word used in files.
    pub const ALL: [(ChillUnit, &'static str); 3] = [
        (ChillUnit::Hours, "hours"),
        (ChillUnit::Utah, "utah units"),
        (ChillUnit::Portions, "portions"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        ChillUnit::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("hours", |(_, word)| word)
    }
}

/// A range of winter chill that a crop or one cultivar of it needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Chill {
    /// The cultivar, or `None` for the crop's usual range.
    pub cultivar: Option<String>,
    /// Least.
    pub least: f64,
    /// Most.
    pub most: f64,
    /// In which unit.
    pub unit: ChillUnit,
    /// Where it comes from.
    pub source: Source,
}

/// Full bloom against 'Golden Delicious' apple in the same year, in days;
/// negative is earlier.
#[derive(Clone, Debug, PartialEq)]
pub struct BloomOffset {
    /// Days.
    pub days: f64,
    /// Spread between years and cultivars, days.
    pub spread_days: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Days from full bloom to harvest.
#[derive(Clone, Debug, PartialEq)]
pub struct BloomToHarvest {
    /// The cultivar or group, or `None` for the crop.
    pub cultivar: Option<String>,
    /// Least.
    pub least_days: f64,
    /// Most.
    pub most_days: f64,
    /// Where it comes from.
    pub source: Source,
}

/// How planting stock comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stock {
    /// Dug while dormant, without soil.
    BareRoot,
    /// Grown in a pot, or balled.
    Container,
}

impl Stock {
    /// Every kind with the word used in files.
    pub const ALL: [(Stock, &'static str); 2] = [
        (Stock::BareRoot, "bare-root"),
        (Stock::Container, "container"),
    ];
}

/// Whether a planting season suits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advice {
    /// The season to choose.
    Best,
    /// Possible with care.
    Possible,
    /// Better not.
    Unwise,
}

impl Advice {
    /// Every advice with the word used in files.
    pub const ALL: [(Advice, &'static str); 3] = [
        (Advice::Best, "best"),
        (Advice::Possible, "possible"),
        (Advice::Unwise, "unwise"),
    ];
}

/// When to plant a crop in a span of zones.
#[derive(Clone, Debug, PartialEq)]
pub struct PlantingAdvice {
    /// Whole zones from and to, both included.
    pub zones: (u8, u8),
    /// Kind of stock.
    pub stock: Stock,
    /// Fall, after leaf drop.
    pub fall: Advice,
    /// Early spring, before bud break.
    pub spring: Advice,
    /// Why, in a sentence.
    pub why: String,
    /// Where it comes from.
    pub source: Source,
}

impl CriticalTemperature {
    /// Both temperatures in the user's units, for a message.
    pub fn shown(&self, units: UnitSystem) -> String {
        let ten = units.temperature(self.kill_10_c);
        match self.kill_90_c {
            Some(ninety) => format!("{ten} (10 % killed), {} (90 %)", units.temperature(ninety)),
            None => format!("{ten} (10 % killed)"),
        }
    }
}
