//! A disease: hosts, window, weather, and the figures of its model.

use super::Source;

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
