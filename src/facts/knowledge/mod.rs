//! What the trade knows: crops, cultivars, diseases, insects, materials,
//! chores, with the reference and the standing of every figure.
//!
//! The shipped knowledge lies in `config/` and is embedded in the program; a
//! file of the same name in the user's folder takes its place. This module
//! only says what there is; `config::knowledge` reads it.

mod chore;
mod crop;
mod cultivar;
mod disease;
mod heat;
mod insect;
mod judging;
mod material;
mod source;
mod timing;

pub use chore::{Chore, ChoreKind, Needs, PlantingSeason};
pub use crop::{
    Advice, BloomOffset, BloomToHarvest, Chill, ChillUnit, CriticalTemperature, Crop, CropKind,
    Habit, PlantingAdvice, Pollination, ShootTarget, Spacing, Stage, Stock,
};
pub use cultivar::{BloomGroup, Cultivar, CultivarRating, Rating, SelfFertile, cultivar_key};
pub use disease::{Disease, Figure, IncidenceRow, InfectionModel, WetnessRow};
pub use heat::{Cutoff, DegreeDayMethod, HeatRule, HeatStart};
pub use insect::{Insect, InsectEvent};
pub use judging::{JudgedFigure, Judging, Weighed, Written};
pub use material::{Material, ReachesBack};
pub use source::{Caution, Lookalike, Reference, Source, Standing};
pub use timing::{After, Anchor, Guard, Point, Trigger};

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
    /// What verdicts and choices weigh.
    pub judging: Judging,
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
