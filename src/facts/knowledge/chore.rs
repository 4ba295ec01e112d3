//! A piece of the year's work, and which trees it is for.

use super::{After, Anchor, Guard, Source, Stock};
use crate::facts::register::{Age, Status};

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
