//! How a heat sum is worked out and where it starts.

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
    /// The first sustained catch of the year, in its source's words.
    Biofix(String),
    /// A catch of a later flight or brood, in its source's words.
    LaterBiofix(String),
    /// The first catch that goes on of an insect, by its id: noted by the
    /// keeper, or reckoned.
    Catch(String),
}
