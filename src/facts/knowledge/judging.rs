//! What verdicts on trees and the choice of cultivars weigh, and how heavily.

use super::Source;

/// One figure of the judging, by the key that it has in `config/judging.toml`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Weighed {
    /// Share of leaves, fruit or shoots from which a year was a bad one.
    BadYear,
    /// Share that a symptom counts for whose severity was not noted.
    Ungraded,
    /// Years looked back on for symptoms, damage and infection.
    YearsBack,
    /// Bad years of a susceptible cultivar after which to replace it.
    ReplaceAfter,
    /// The same where the keeper will not spray.
    ReplaceAfterUnsprayed,
    /// Fewest bad years seen before any counting may say replace.
    ReplaceLeast,
    /// Infection periods that make a season a heavy one.
    HeavySeason,
    /// Bad years that a heavy season counts for, noted but not graded.
    HeavyUngraded,
    /// Bad years that a heavy season takes off, graded and not bad.
    HeavyBorne,
    /// Share of a full crop below which a year had none.
    NoCrop,
    /// Years without a crop, frost aside, after which to treat.
    NoCropYears,
    /// Years until a crop bears of which nothing is printed.
    BearsUnknown,
    /// Years later that a tree on a strong stock bears.
    StrongStockYears,
    /// Distance within which junipers make rust come every wet spring, m.
    NearJuniper,
    /// Distance beyond which a juniper counts for little, m.
    FarJuniper,
    /// Factor on rust within the near distance.
    JuniperNear,
    /// Factor on rust within the far distance.
    JuniperBetween,
    /// Factor on rust beyond it.
    JuniperBeyond,
    /// Factor on a juniper rust against other diseases.
    RustWeight,
    /// Infection periods a season from which pressure is full.
    FullPressure,
    /// Least pressure where periods were counted.
    LeastPressure,
    /// Pressure taken where none were counted.
    UnknownPressure,
    /// Least pressure of a disease that was noted here.
    NotedPressure,
    /// Pressure from which a strong weakness is plain.
    PoorPressure,
    /// Pressure from which a weakness asks for care.
    CarePressure,
    /// Trouble of a very resistant cultivar under full pressure.
    CostVeryResistant,
    /// Trouble of a resistant one.
    CostResistant,
    /// Trouble of a moderate one.
    CostModerate,
    /// Trouble of one that nobody rated.
    CostUnknown,
    /// Trouble of a susceptible one.
    CostSusceptible,
    /// Trouble of a very susceptible one.
    CostVerySusceptible,
    /// Share of winters that may fall below the zone in print.
    WintersColder,
    /// Share of winters whose chill must reach the need.
    ChillEnough,
    /// Share of winters below which chill speaks plainly against it.
    ChillPoor,
    /// Need as a share of the usual chill below which buds wake early.
    ChillLow,
    /// Share of springs that may take nine tenths of the bloom.
    BloomLost,
    /// Trouble of a spring that takes more than a tenth.
    FrostTenth,
    /// Trouble of a spring that takes more than nine tenths.
    FrostMost,
    /// Difference in such springs from which it is told.
    FrostTold,
    /// Trouble of chill that is never met.
    ChillMissed,
    /// Share of winters taken where none is known.
    ChillUnknown,
    /// Trouble of waking early.
    WakesEarly,
    /// Trouble of a missing partner.
    PartnerMissing,
    /// Trouble of a hardiness that nobody printed.
    ZoneUnknown,
    /// Hours a week that carry one new tree a year.
    HoursForOne,
    /// New trees a year at the least.
    NewLeast,
    /// New trees a year at the most.
    NewMost,
    /// Years of rest for the same kind in the same hole.
    RestYears,
    /// The last month in which bare roots go in in spring.
    LastPlantingMonth,
}

/// How a figure is written in the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Written {
    /// A distance with its unit; kept in m.
    Distance,
    /// Per cent, `"50 %"`; kept as a share from 0 to 1.
    Share,
    /// A bare number, least and most.
    Number(f64, f64),
}

impl Weighed {
    /// Every figure with its key and how it is written.
    pub const ALL: [(Weighed, &'static str, Written); 49] = {
        use Weighed::*;
        use Written::*;
        [
            (BadYear, "bad_year", Share),
            (Ungraded, "ungraded", Share),
            (YearsBack, "years_back", Number(1.0, 30.0)),
            (ReplaceAfter, "replace_after", Number(2.0, 20.0)),
            (
                ReplaceAfterUnsprayed,
                "replace_after_unsprayed",
                Number(2.0, 20.0),
            ),
            (ReplaceLeast, "replace_least", Number(2.0, 20.0)),
            (HeavySeason, "heavy_season", Number(1.0, 100.0)),
            (HeavyUngraded, "heavy_ungraded", Number(0.0, 1.0)),
            (HeavyBorne, "heavy_borne", Number(0.0, 1.0)),
            (NoCrop, "no_crop", Share),
            (NoCropYears, "no_crop_years", Number(1.0, 20.0)),
            (BearsUnknown, "bears_unknown", Number(1.0, 20.0)),
            (StrongStockYears, "strong_stock", Number(0.0, 10.0)),
            (NearJuniper, "near_juniper", Distance),
            (FarJuniper, "far_juniper", Distance),
            (JuniperNear, "juniper_near", Number(0.0, 3.0)),
            (JuniperBetween, "juniper_between", Number(0.0, 3.0)),
            (JuniperBeyond, "juniper_beyond", Number(0.0, 3.0)),
            (RustWeight, "rust_weight", Number(0.0, 3.0)),
            (FullPressure, "full_pressure", Number(1.0, 100.0)),
            (LeastPressure, "least_pressure", Number(0.0, 1.0)),
            (UnknownPressure, "unknown_pressure", Number(0.0, 1.0)),
            (NotedPressure, "noted_pressure", Number(0.0, 1.0)),
            (PoorPressure, "poor_pressure", Number(0.0, 1.0)),
            (CarePressure, "care_pressure", Number(0.0, 1.0)),
            (CostVeryResistant, "very_resistant", Number(0.0, 10.0)),
            (CostResistant, "resistant", Number(0.0, 10.0)),
            (CostModerate, "moderate", Number(0.0, 10.0)),
            (CostUnknown, "unknown", Number(0.0, 10.0)),
            (CostSusceptible, "susceptible", Number(0.0, 10.0)),
            (CostVerySusceptible, "very_susceptible", Number(0.0, 10.0)),
            (WintersColder, "winters_colder", Share),
            (ChillEnough, "chill_enough", Share),
            (ChillPoor, "chill_poor", Share),
            (ChillLow, "chill_low", Share),
            (BloomLost, "bloom_lost", Share),
            (FrostTenth, "frost_tenth", Number(0.0, 10.0)),
            (FrostMost, "frost_most", Number(0.0, 10.0)),
            (FrostTold, "frost_told", Share),
            (ChillMissed, "chill_missed", Number(0.0, 10.0)),
            (ChillUnknown, "chill_unknown", Share),
            (WakesEarly, "wakes_early", Number(0.0, 10.0)),
            (PartnerMissing, "partner_missing", Number(0.0, 10.0)),
            (ZoneUnknown, "zone_unknown", Number(0.0, 10.0)),
            (HoursForOne, "hours_for_one", Number(0.5, 40.0)),
            (NewLeast, "new_least", Number(1.0, 100.0)),
            (NewMost, "new_most", Number(1.0, 100.0)),
            (RestYears, "rest_years", Number(0.0, 30.0)),
            (LastPlantingMonth, "last_planting_month", Number(1.0, 12.0)),
        ]
    };
}

/// All of them, as read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judging {
    /// Each figure once.
    pub figures: Vec<JudgedFigure>,
    /// Rootstocks that bear late, as [`super::cultivar_key`] writes them.
    pub strong_stocks: Vec<String>,
}

/// One figure of the judging.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedFigure {
    /// Which.
    pub weighed: Weighed,
    /// Its value: m, a share from 0 to 1, or a bare number.
    pub value: f64,
    /// What it is for, in a sentence.
    pub say: String,
    /// Where it comes from.
    pub source: Source,
}

impl Judging {
    /// The value of a figure; 0 where no knowledge was read at all.
    pub fn of(&self, weighed: Weighed) -> f64 {
        let mut figures = self.figures.iter();
        figures
            .find(|one| one.weighed == weighed)
            .map_or(0.0, |one| one.value)
    }

    /// The same as a whole number of years, trees or periods.
    pub fn whole(&self, weighed: Weighed) -> i32 {
        self.of(weighed).round().clamp(0.0, 1000.0) as i32
    }

    /// Whether a rootstock is one that bears late.
    pub fn is_strong(&self, rootstock: &str) -> bool {
        let key = super::cultivar_key(rootstock);
        self.strong_stocks.iter().any(|one| key.contains(one))
    }
}
