//! What the trade knows: crops, cultivars, diseases, insects, materials,
//! chores, with the reference and the standing of every figure.
//!
//! The shipped knowledge lies in `config/` and is embedded in the program; a
//! file of the same name in the user's folder takes its place. This module
//! only says what there is; `config::knowledge` reads it.

use super::journal::DamageCause;
use super::register::{Age, Status};
use crate::units::UnitSystem;
use std::collections::HashMap;

/// All of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Knowledge {
    /// Crops by id.
    pub crops: Vec<Crop>,
    /// Cultivars of all crops.
    pub cultivars: Vec<Cultivar>,
    /// Diseases by id.
    pub diseases: Vec<Disease>,
    /// Insects and mites by id.
    pub insects: Vec<Insect>,
    /// Protection materials by active ingredient.
    pub materials: Vec<Material>,
    /// The year's work.
    pub chores: Vec<Chore>,
    /// Where figures come from.
    pub references: Vec<Reference>,
    /// What to beware of.
    pub cautions: Vec<Caution>,
    /// What is mistaken for what.
    pub lookalikes: Vec<Lookalike>,
    /// What is known of a zone without any weather.
    pub zones: Vec<ZoneMonths>,
    /// When leaves fall, counted from the first hard freeze of autumn.
    pub leaf_fall: Option<LeafFallRule>,
    /// Places in `cultivars` by crop and name, see [`Knowledge::index`].
    pub by_name: HashMap<(String, String), usize>,
}

/// Handbook days of a whole hardiness zone: month and day, year in, year out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ZoneMonths {
    /// The whole zone.
    pub zone: u8,
    /// Last 32 °F freeze of spring.
    pub last_freeze: (u32, u32),
    /// First 32 °F freeze of autumn.
    pub first_freeze: (u32, u32),
    /// Full bloom of apple.
    pub apple_bloom: (u32, u32),
    /// Soil at 10 cm warm enough to plant.
    pub soil_warms: (u32, u32),
    /// Nine leaves in ten down.
    pub leaf_fall: (u32, u32),
    /// Days either way in which nearly all years and places lie.
    pub spread_days: u32,
    /// Where it comes from.
    pub source: Source,
}

/// When leaves fall.
#[derive(Clone, Debug, PartialEq)]
pub struct LeafFallRule {
    /// The freeze that it is counted from, °C.
    pub threshold_c: f64,
    /// Days from that freeze to half of the leaves down.
    pub half_days: f64,
    /// Days to nine tenths down.
    pub most_days: f64,
    /// Where it comes from.
    pub source: Source,
}

impl Knowledge {
    /// A crop by its id.
    pub fn crop(&self, id: &str) -> Option<&Crop> {
        self.crops.iter().find(|crop| crop.id == id)
    }

    /// A cultivar of a crop by its name or a synonym, without regard to case.
    pub fn cultivar(&self, crop: &str, name: &str) -> Option<&Cultivar> {
        let place = (crop.to_owned(), cultivar_key(name));
        match self.by_name.get(&place) {
            Some(&index) => self.cultivars.get(index),
            None if !self.by_name.is_empty() => None,
            None => self
                .cultivars
                .iter()
                .find(|cultivar| cultivar.crop == crop && cultivar.is_called(name)),
        }
    }

    /// The same knowledge with an index of its cultivars, so that a large
    /// register is looked up quickly. Of two that share a name the first
    /// stands.
    pub fn index(mut self) -> Self {
        self.by_name.clear();
        for (index, cultivar) in self.cultivars.iter().enumerate() {
            for name in std::iter::once(&cultivar.name).chain(&cultivar.also) {
                let place = (cultivar.crop.clone(), cultivar_key(name));
                self.by_name.entry(place).or_insert(index);
            }
        }
        self
    }

    /// A disease by its id.
    pub fn disease(&self, id: &str) -> Option<&Disease> {
        self.diseases.iter().find(|disease| disease.id == id)
    }

    /// A chore by its id.
    pub fn chore(&self, id: &str) -> Option<&Chore> {
        self.chores.iter().find(|chore| chore.id == id)
    }

    /// A reference by its id.
    pub fn reference(&self, id: &str) -> Option<&Reference> {
        self.references.iter().find(|reference| reference.id == id)
    }

    /// The handbook days of a zone, or of the nearest zone that has any.
    pub fn zone(&self, number: u8) -> Option<&ZoneMonths> {
        self.zones
            .iter()
            .min_by_key(|months| months.zone.abs_diff(number))
    }

    /// A caution by its id.
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.cautions.iter().find(|caution| caution.id == id)
    }
}

/// How well a figure is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Read in the source named.
    Seen,
    /// Worked out from a figure or an open record that was read.
    Computed,
    /// Usual among growers; no single source.
    CommonPractice,
    /// A reading or pairing of our own, where sources are silent.
    Judgement,
    /// Remembered, not looked up: it may inform, it never alone triggers a spray.
    FromMemory,
}

impl Standing {
    /// Every standing with the word used in files.
    pub const ALL: [(Standing, &'static str); 5] = [
        (Standing::Seen, "seen"),
        (Standing::Computed, "computed"),
        (Standing::CommonPractice, "common practice"),
        (Standing::Judgement, "our judgement"),
        (Standing::FromMemory, "from memory"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        Standing::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("from memory", |(_, word)| word)
    }
}

/// Where a figure comes from and how well it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// Ids in `references.toml`; empty only for common practice, our own
    /// judgement and what is remembered.
    pub references: Vec<String>,
    /// How well it is known.
    pub standing: Standing,
}

/// A publication, record or page that a figure was taken from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    /// Short key, such as `wsu-eb0913`.
    pub id: String,
    /// Author, year, title, publisher: enough to find it.
    pub text: String,
}

/// What to beware of, shown wherever it applies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Short key, such as `ladder`.
    pub id: String,
    /// A few words for a message.
    pub short: String,
    /// The whole of it.
    pub text: String,
    /// Where it comes from.
    pub source: Source,
}

/// What a symptom may be, and how to tell it from others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lookalike {
    /// Short key, such as `peach-rust`.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Crop ids on which it is met.
    pub crops: Vec<String>,
    /// Words by which a keeper may call it.
    pub words: Vec<String>,
    /// Whether it is told before the others: it sets a common mistake right.
    pub first: bool,
    /// What it looks like.
    pub look: String,
    /// How to tell it from others.
    pub tell: String,
    /// What to do.
    pub act: String,
    /// Where it comes from.
    pub source: Source,
}

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

/// When a cultivar blooms within its crop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BloomGroup {
    /// Before most of the crop.
    Early,
    /// Between early and mid.
    EarlyMid,
    /// With most of the crop.
    Mid,
    /// Between mid and late.
    MidLate,
    /// After most of the crop.
    Late,
}

impl BloomGroup {
    /// Every group with the word used in files.
    pub const ALL: [(BloomGroup, &'static str); 5] = [
        (BloomGroup::Early, "early"),
        (BloomGroup::EarlyMid, "early-mid"),
        (BloomGroup::Mid, "mid"),
        (BloomGroup::MidLate, "mid-late"),
        (BloomGroup::Late, "late"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        BloomGroup::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("mid", |(_, word)| word)
    }
}

/// How readily a cultivar takes a disease.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rating {
    /// No control needed.
    VeryResistant,
    /// Control only under high pressure.
    Resistant,
    /// In between.
    Moderate,
    /// Control usually needed where the disease is common.
    Susceptible,
    /// Control always needed there.
    VerySusceptible,
}

impl Rating {
    /// Every rating with the word used in files.
    pub const ALL: [(Rating, &'static str); 5] = [
        (Rating::VeryResistant, "very resistant"),
        (Rating::Resistant, "resistant"),
        (Rating::Moderate, "moderate"),
        (Rating::Susceptible, "susceptible"),
        (Rating::VerySusceptible, "very susceptible"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        Rating::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("moderate", |(_, word)| word)
    }
}

/// A cultivar and what was published about it. Whatever is `None` is unknown
/// and stays so.
#[derive(Clone, Debug, PartialEq)]
pub struct Cultivar {
    /// The crop's id.
    pub crop: String,
    /// The name in print.
    pub name: String,
    /// Other names.
    pub also: Vec<String>,
    /// Kind within the crop, such as `European` or `nectarine`.
    pub kind: Option<String>,
    /// Ratings per disease: one entry per disease that a source rated.
    pub ratings: Vec<CultivarRating>,
    /// The coldest whole zone in print; no source read prints a warmest one.
    pub coldest_zone: Option<(u8, Source)>,
    /// Chill hours in print.
    pub chill_hours: Option<(f64, f64, Source)>,
    /// When it blooms within the crop.
    pub bloom: Option<(BloomGroup, Source)>,
    /// `yes`, `no` or `partly`.
    pub self_fertile: Option<(SelfFertile, Source)>,
    /// Whether its pollen serves others; `false` for triploids and the like.
    pub good_pollen: Option<(bool, Source)>,
    /// Incompatibility alleles (sweet cherry), such as `S3S4`.
    pub s_alleles: Option<(String, Source)>,
    /// Partners that do not serve it, and that it does not serve.
    pub never_with: Option<(Vec<String>, Source)>,
    /// The only partners that are known to serve it.
    pub only_with: Option<(Vec<String>, Source)>,
    /// When it ripens, in the source's words cut short.
    pub ripens: Option<(String, Source)>,
    /// Anything else worth telling.
    pub notes: Option<String>,
}

impl Cultivar {
    /// Whether this is the cultivar's name or a synonym; case, quotes and
    /// hyphens do not matter.
    pub fn is_called(&self, name: &str) -> bool {
        let key = cultivar_key(name);
        cultivar_key(&self.name) == key || self.also.iter().any(|also| cultivar_key(also) == key)
    }

    /// The rating for a disease, if any source gave one.
    pub fn rating(&self, disease: &str) -> Option<&CultivarRating> {
        self.ratings.iter().find(|rating| rating.disease == disease)
    }
}

/// A cultivar name without case, quotes, hyphens and blanks, for comparing.
pub fn cultivar_key(name: &str) -> String {
    name.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

/// Whether a cultivar sets fruit with its own pollen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SelfFertile {
    /// It does.
    Yes,
    /// Somewhat; a partner helps.
    Partly,
    /// It does not.
    No,
}

impl SelfFertile {
    /// Every answer with the word used in files.
    pub const ALL: [(SelfFertile, &'static str); 3] = [
        (SelfFertile::Yes, "yes"),
        (SelfFertile::Partly, "partly"),
        (SelfFertile::No, "no"),
    ];
}

/// One cultivar against one disease.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CultivarRating {
    /// The disease's id.
    pub disease: String,
    /// The common scale.
    pub rating: Rating,
    /// As printed: rating and reference id of every source.
    pub published: Vec<(String, String)>,
    /// Whether the sources disagree.
    pub sources_differ: bool,
}

/// How a disease is judged from the weather.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InfectionModel {
    /// Juniper rust on apple: horns wetted, then hours of wetness by temperature.
    JuniperRust,
    /// Quince rust on pome fruit in bloom.
    QuinceRust,
    /// Apple scab: hours of wetness by temperature.
    AppleScab,
    /// Fire blight: heat, wetness and warmth on open bloom.
    FireBlight,
    /// Brown rot of stone-fruit blossom.
    BrownRotBlossom,
    /// No model: the window of stages alone.
    WindowOnly,
}

impl InfectionModel {
    /// Every model with the word used in files.
    pub const ALL: [(InfectionModel, &'static str); 6] = [
        (InfectionModel::JuniperRust, "juniper rust"),
        (InfectionModel::QuinceRust, "quince rust"),
        (InfectionModel::AppleScab, "apple scab"),
        (InfectionModel::FireBlight, "fire blight"),
        (InfectionModel::BrownRotBlossom, "brown rot blossom"),
        (InfectionModel::WindowOnly, "window only"),
    ];
}

/// A disease: hosts, window, weather, what shows when.
#[derive(Clone, Debug, PartialEq)]
pub struct Disease {
    /// Short key, such as `cedar-apple-rust`; equals the file's name.
    pub id: String,
    /// Trade name.
    pub name: String,
    /// Scientific name of what causes it.
    pub latin: String,
    /// Crop ids that take it.
    pub hosts: Vec<String>,
    /// Whether it needs a juniper as its other host.
    pub needs_juniper: bool,
    /// How it is judged.
    pub model: InfectionModel,
    /// First stage at risk (trade name in the host's list), if told.
    pub from_stage: Option<String>,
    /// Last stage at risk.
    pub to_stage: Option<String>,
    /// Days beyond that stage.
    pub days_beyond: f64,
    /// What weather it takes, in words of our own.
    pub weather: String,
    /// Days from infection to symptoms: least and most.
    pub lag_days: Option<(f64, f64)>,
    /// What helps, least first, in words of our own.
    pub action: String,
    /// What it looks like, and what it is mistaken for.
    pub look: String,
    /// Where it comes from.
    pub source: Source,
    /// Rows of a wetness table, for the models that have one.
    pub wetness: Vec<WetnessRow>,
    /// Share of blossoms blighted by temperature and wet hours, for brown rot.
    pub incidence: Vec<IncidenceRow>,
    /// Further figures of its model by name.
    pub figures: Vec<Figure>,
}

impl Disease {
    /// A figure of its model by name.
    pub fn figure(&self, name: &str) -> Option<&Figure> {
        self.figures.iter().find(|figure| figure.name == name)
    }
}

/// A named figure of a model, such as the degree hours that fire blight needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What it is, in a few words; unique within its disease.
    pub name: String,
    /// The value in `unit`.
    pub value: f64,
    /// `°C`, `°C d`, `°C h`, `mm`, `h`, `d`, `%`, or empty for a constant.
    pub unit: &'static str,
    /// Where it comes from.
    pub source: Source,
}

/// Blossoms blighted after a wetting, from a trial.
#[derive(Clone, Debug, PartialEq)]
pub struct IncidenceRow {
    /// Mean temperature over the wet hours, °C.
    pub temperature_c: f64,
    /// Hours of wetness.
    pub wet_hours: f64,
    /// Share of blossoms blighted, least and most, 0 to 1.
    pub share: (f64, f64),
    /// Where it comes from.
    pub source: Source,
}

/// One row of a wetness table: hours of wetness that infect at a mean
/// temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct WetnessRow {
    /// Mean temperature over the wet hours, °C.
    pub temperature_c: f64,
    /// Hours to a light infection.
    pub light_hours: f64,
    /// Hours to a severe infection; `None`: none at this temperature.
    pub severe_hours: Option<f64>,
    /// Where it comes from.
    pub source: Source,
}

/// How degree days are worked out; part of every figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DegreeDayMethod {
    /// `max(0, (low + high) / 2 - base)`.
    SimpleAverage,
    /// The same with both extremes clamped to base and upper threshold.
    ClampedAverage,
    /// Sine through low and high.
    SingleSine,
    /// Half sines from low to high and high to the next low.
    DoubleSine,
    /// Straight lines from low to high and back.
    SingleTriangle,
    /// Straight half lines, the second to the next low.
    DoubleTriangle,
    /// Not told in the source.
    NotStated,
}

impl DegreeDayMethod {
    /// Every method with the word used in files.
    pub const ALL: [(DegreeDayMethod, &'static str); 7] = [
        (DegreeDayMethod::SimpleAverage, "simple average"),
        (DegreeDayMethod::ClampedAverage, "clamped average"),
        (DegreeDayMethod::SingleSine, "single sine"),
        (DegreeDayMethod::DoubleSine, "double sine"),
        (DegreeDayMethod::SingleTriangle, "single triangle"),
        (DegreeDayMethod::DoubleTriangle, "double triangle"),
        (DegreeDayMethod::NotStated, "not stated"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        DegreeDayMethod::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("not stated", |(_, w)| w)
    }
}

/// What happens above the upper threshold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Cutoff {
    /// The rate stays what it was there.
    #[default]
    Horizontal,
    /// The rate falls as fast as it rose.
    Intermediate,
    /// Nothing above it counts.
    Vertical,
}

impl Cutoff {
    /// Every cut-off with the word used in files.
    pub const ALL: [(Cutoff, &'static str); 3] = [
        (Cutoff::Horizontal, "horizontal"),
        (Cutoff::Intermediate, "intermediate"),
        (Cutoff::Vertical, "vertical"),
    ];
}

/// How a heat sum is worked out: method, base, upper threshold, cut-off. °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeatRule {
    /// The method it was published for.
    pub method: DegreeDayMethod,
    /// Lower threshold, °C.
    pub base_c: f64,
    /// Upper threshold, °C, if there is one.
    pub upper_c: Option<f64>,
    /// What happens above the upper threshold.
    pub cutoff: Cutoff,
}

/// Where a heat sum starts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HeatStart {
    /// A day of the calendar year: month and day.
    Calendar(u32, u32),
    /// A growth stage of the host crop, by trade name.
    Stage(String),
    /// The first sustained catch, or another event of the same insect.
    Biofix(String),
}

/// An insect or mite and its events by degree days.
#[derive(Clone, Debug, PartialEq)]
pub struct Insect {
    /// Short key, such as `codling-moth`; equals the file's name.
    pub id: String,
    /// Trade name.
    pub name: String,
    /// Scientific name.
    pub latin: String,
    /// Crop ids that it hurts.
    pub hosts: Vec<String>,
    /// What to look for and do, in words of our own.
    pub look: String,
    /// Its events.
    pub events: Vec<InsectEvent>,
}

/// One event of an insect's year.
#[derive(Clone, Debug, PartialEq)]
pub struct InsectEvent {
    /// What happens, in a few words.
    pub event: String,
    /// The crop it was published for, if told.
    pub crop: Option<String>,
    /// Heat sum, least and most, °C days; `None` where only a window is known.
    pub heat: Option<(f64, f64)>,
    /// The rule that the sum was published for; it says nothing where there is
    /// no sum.
    pub rule: HeatRule,
    /// Where the sum starts; without a sum, when the event itself begins.
    pub start: HeatStart,
    /// Where it comes from.
    pub source: Source,
}

/// A protection material by active ingredient; never a brand.
#[derive(Clone, Debug, PartialEq)]
pub struct Material {
    /// Short key; equals the file's name.
    pub id: String,
    /// The active ingredient.
    pub name: String,
    /// `fungicide`, `insecticide`, `bactericide`, `oil`.
    pub kind: String,
    /// FRAC or IRAC code, such as `FRAC M04`.
    pub code: String,
    /// Whether organic rules commonly allow it.
    pub organic: bool,
    /// Disease and insect ids that it works on.
    pub controls: Vec<String>,
    /// Disease ids on which it does nothing or little.
    pub fails_on: Vec<String>,
    /// How long after an infection it still helps.
    pub reaches_back: Vec<ReachesBack>,
    /// Days to harvest, in the source's words.
    pub days_to_harvest: String,
    /// The longest of them in print here, days, where a figure is given.
    pub longest_to_harvest: Option<f64>,
    /// Days to keep from oil, the longest in print.
    pub oil_gap_days: Option<f64>,
    /// The high above which it burns, °C, the cautious end.
    pub hot_above_c: Option<f64>,
    /// Sprays of its group in a season that are thought wise at most.
    pub most_sprays: Option<u32>,
    /// Re-entry, in the source's words.
    pub re_entry: String,
    /// Most applications, in the source's words.
    pub most_uses: String,
    /// What it burns or clashes with.
    pub burns: String,
    /// What it does to bees.
    pub bees: String,
    /// Where it comes from.
    pub source: Source,
}

/// How long after the start of an infection a material still stops it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReachesBack {
    /// The disease's id.
    pub disease: String,
    /// Hours, least in print; 0: not at all.
    pub least_hours: f64,
    /// Hours, most in print.
    pub most_hours: f64,
    /// Where it comes from.
    pub source: Source,
}

/// What sort of work a chore is; decides its cautions and its place in a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ChoreKind {
    /// Against frost, storm and cold.
    Protection,
    /// Cutting living wood.
    Pruning,
    /// Taking out what carries disease.
    Sanitation,
    /// Anything sprayed.
    Spray,
    /// Planting and what belongs to it.
    Planting,
    /// Buying, ordering, borrowing.
    Ordering,
    /// Thinning, feeding, watering, training.
    Care,
    /// Looking and counting.
    Watch,
    /// Picking.
    Harvest,
    /// Writing down.
    Records,
}

impl ChoreKind {
    /// Every kind with the word used in files.
    pub const ALL: [(ChoreKind, &'static str); 10] = [
        (ChoreKind::Protection, "protection"),
        (ChoreKind::Pruning, "pruning"),
        (ChoreKind::Sanitation, "sanitation"),
        (ChoreKind::Spray, "spray"),
        (ChoreKind::Planting, "planting"),
        (ChoreKind::Ordering, "ordering"),
        (ChoreKind::Care, "care"),
        (ChoreKind::Watch, "watch"),
        (ChoreKind::Harvest, "harvest"),
        (ChoreKind::Records, "records"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        ChoreKind::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("care", |(_, word)| word)
    }
}

/// A piece of the year's work: for which trees, when, why, how, and what to
/// beware of.
#[derive(Clone, Debug, PartialEq)]
pub struct Chore {
    /// Short key; equals the file's name.
    pub id: String,
    /// Heading: `Dormant pruning of apple and pear`.
    pub name: String,
    /// A few words for a lane of the chart, at most 26 letters.
    pub lane: String,
    /// Opener of a message; `{trees}` becomes the trees: `Prune {trees}`;
    /// `{plants}` says `3 plum trees`, `{fruit}` `the plums (3 trees)`.
    pub say: String,
    /// What sort of work it is.
    pub kind: ChoreKind,
    /// How much is lost by missing it, 1 to 5.
    pub worth: u8,
    /// Which trees it is for.
    pub needs: Needs,
    /// The latest of these opens the window.
    pub opens: Vec<Anchor>,
    /// The best time; where missing, the middle of the window.
    pub best: Vec<Anchor>,
    /// The earliest of these closes it.
    pub closes: Vec<Anchor>,
    /// What must have happened for it to be wanted at all.
    pub after: Option<After>,
    /// Weather in which it must not be done.
    pub guards: Vec<Guard>,
    /// What a good day needs, in words.
    pub good_day: String,
    /// Days before the opening in which to buy or borrow.
    pub lead_days: f64,
    /// Days after which it comes again within its window.
    pub every_days: Option<f64>,
    /// Rough minutes: least, most; per plant and turn, of a harvest per plant
    /// and season.
    pub minutes: Option<(f64, f64, Source)>,
    /// Whether the minutes are for the whole of it, however many plants.
    pub minutes_in_all: bool,
    /// What to have at hand.
    pub tools: Vec<String>,
    /// Why it is done, in a sentence.
    pub why: String,
    /// How it is done, in a few sentences.
    pub how: String,
    /// What comes of doing it too early.
    pub too_early: String,
    /// What comes of doing it too late.
    pub too_late: String,
    /// Ids of active ingredients that may be considered, for sprays.
    pub materials: Vec<String>,
    /// Ids in `cautions.toml`.
    pub cautions: Vec<String>,
    /// Chores that come before it, by id.
    pub comes_after: Vec<String>,
    /// Where it comes from.
    pub source: Source,
}

/// Which trees, and under which circumstances, a chore is for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Needs {
    /// Crop ids; empty means the chore is not about a crop (tools, soil).
    pub crops: Vec<String>,
    /// Whether each crop gets a task of its own.
    pub per_crop: bool,
    /// Ages; empty means all.
    pub ages: Vec<Age>,
    /// States; empty means all that are tended.
    pub states: Vec<Status>,
    /// A disease id: only cultivars that are susceptible or unknown to it.
    pub susceptible_to: Option<String>,
    /// Junipers within this distance, m; the chore needs one.
    pub juniper_within_m: Option<f64>,
    /// Whether the chore is done on the junipers themselves.
    pub on_junipers: bool,
    /// Only where a planting is intended (a tree to be replaced stands, or a
    /// planting was entered).
    pub planting: Option<Stock>,
    /// Whole zones from and to.
    pub zones: Option<(u8, u8)>,
    /// Planting advice for the season of the window, if it matters.
    pub season: Option<PlantingSeason>,
    /// Share of a full crop, 0 to 1, that must be left for it to be worth doing:
    /// it is dropped where frost has left less.
    pub crop_left: f64,
}

/// The two planting seasons.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlantingSeason {
    /// After leaf drop.
    Fall,
    /// Before bud break.
    Spring,
}

impl PlantingSeason {
    /// Both with the word used in files.
    pub const ALL: [(PlantingSeason, &'static str); 2] = [
        (PlantingSeason::Fall, "fall"),
        (PlantingSeason::Spring, "spring"),
    ];
}

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

impl Reference {
    /// The reference as a line of text.
    pub fn line(&self) -> &str {
        &self.text
    }
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
