//! A protection material by active ingredient; never a brand.

use super::Source;

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
