//! A cultivar and what was published about it; whatever is unknown stays so.

use super::Source;

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
    /// The cultivar that it is a sport of: the same in all but looks.
    pub sport_of: Option<(String, Source)>,
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

    /// The name that pollen goes by: a sport is its parent there.
    pub fn pollen_name(&self) -> &str {
        self.sport_of
            .as_ref()
            .map_or(&self.name, |(parent, _)| parent)
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
