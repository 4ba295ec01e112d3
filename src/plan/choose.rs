//! Which cultivars of a crop suit a place and a spot.
//!
//! Each is held against the place's cold, chill, frost, diseases and pollen
//! parents. The order is by what rules out first, then by trouble expected;
//! what it rests on and what is not known go with every line. The weights are
//! our judgement, stand in `config/judging.toml` and order the list; they are never
//! shown as a score.

use super::pollination::{self, Outlook};
use crate::facts::Facts;
use crate::facts::knowledge::{
    BloomGroup, Chill, ChillUnit, Crop, Cultivar, Disease, Judging, Rating, Spacing, Weighed,
    cultivar_key,
};
use crate::season::years::PlaceYears;

/// Most that the list names as missing partners.
const MOST_PARTNERS: usize = 4;

/// A disease as it presses here on one crop.
#[derive(Clone, Debug, PartialEq)]
pub struct Pressure {
    /// The disease's id.
    pub disease: String,
    /// Its name.
    pub name: String,
    /// Infection periods in a usual season, counted from hours; `None`: not
    /// counted, so a middling pressure is assumed.
    pub a_season: Option<f64>,
    /// Seasons in which it was noted here.
    pub noted: usize,
    /// For a rust of junipers: metres to the nearest, `None` if none is known.
    pub juniper_m: Option<Option<f64>>,
    /// 0 (absent) to 1 (every year).
    pub weight: f64,
}

/// What there is to know of a crop at a place; made once for all cultivars.
#[derive(Clone, Debug)]
pub struct Ground<'f> {
    /// The facts.
    pub facts: &'f Facts,
    /// The crop.
    pub crop: &'f Crop,
    /// What the years gave.
    pub years: &'f PlaceYears,
    /// Diseases that some cultivar was rated for, the pressing ones first.
    pub pressures: Vec<Pressure>,
    /// Row and place in it, if a spot is asked for.
    pub spot: Option<(String, u32)>,
    /// What stands or stood at the spot.
    pub before: Option<String>,
    /// Ripening days of the cultivars of the crop that stand here.
    ripening: Vec<(String, f64)>,
}

/// How far a cultivar suits, worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    /// Nothing known speaks against it.
    Suits,
    /// It suits with care: something will have to be done, or is not known.
    WithCare,
    /// Something speaks plainly against it.
    Poor,
    /// The place cannot carry it.
    Unfit,
}

impl Fit {
    /// The word used in output.
    pub fn word(self) -> &'static str {
        match self {
            Fit::Suits => "suits",
            Fit::WithCare => "with care",
            Fit::Poor => "poor choice",
            Fit::Unfit => "not here",
        }
    }
}

/// Cold against what the cultivar or its crop stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Cold {
    /// The coldest zone in print for it.
    pub coldest_zone: Option<u8>,
    /// Whether that is the cultivar's own, not the crop's.
    pub of_cultivar: bool,
    /// Zones to spare; below 0 the place is too cold.
    pub spare: Option<i16>,
    /// Winters of the record that fell below the low of that zone, of all.
    pub colder: Option<(usize, usize)>,
}

/// Chill against what is needed.
#[derive(Clone, Debug, PartialEq)]
pub struct ChillFit {
    /// The need, least and most, in its own unit.
    pub need: (f64, f64),
    /// The unit.
    pub unit: ChillUnit,
    /// Whether that is the cultivar's own, not the crop's.
    pub of_cultivar: bool,
    /// Share of winters that reach the least of the need.
    pub met: Option<f64>,
    /// Chill of the middle winter in that unit.
    pub usual: Option<f64>,
    /// So little is needed that warm spells in winter start the buds.
    pub wakes_early: bool,
}

/// One cultivar against one disease.
#[derive(Clone, Debug, PartialEq)]
pub struct Against {
    /// Place in [`Ground::pressures`].
    pub pressure: usize,
    /// Normalised; `None`: nobody rated it.
    pub rating: Option<Rating>,
    /// As printed, with reference.
    pub published: Vec<(String, String)>,
    /// Whether the sources disagree.
    pub sources_differ: bool,
}

/// A cultivar held against a place.
#[derive(Clone, Debug)]
pub struct Choice<'f> {
    /// The name in print, or as it was asked for.
    pub name: String,
    /// `None` where no list has it: all its ratings are unknown.
    pub cultivar: Option<&'f Cultivar>,
    /// How far it suits.
    pub fit: Fit,
    /// Cold.
    pub cold: Cold,
    /// Chill; `None` where nothing is published.
    pub chill: Option<ChillFit>,
    /// Its bloom group.
    pub bloom: Option<BloomGroup>,
    /// Shares of springs with more than 10 and 90 % of the buds killed.
    pub frost: Option<(f64, f64)>,
    /// Diseases, in the order of [`Ground::pressures`].
    pub diseases: Vec<Against>,
    /// Pollination with what blooms here.
    pub pollination: Outlook,
    /// Partners to plant with it, where one is missing.
    pub add: Vec<String>,
    /// The same cultivar stands here already.
    pub stands: bool,
    /// A day of the year at which it ripens, from its source's words.
    pub ripens_day: Option<f64>,
    /// The cultivar of the crop here that ripens nearest, days from it.
    pub ripens_near: Option<(String, f64)>,
    /// Trouble expected; orders the list.
    trouble: f64,
}

impl Choice<'_> {
    /// How many of the diseases that press here nobody rated it for.
    pub fn unrated(&self) -> usize {
        self.diseases
            .iter()
            .filter(|one| one.rating.is_none())
            .count()
    }
}

impl<'f> Ground<'f> {
    /// What there is to know of a crop at a place and a spot. `before` is what
    /// stands or stood there.
    pub fn new(
        facts: &'f Facts,
        crop: &'f Crop,
        years: &'f PlaceYears,
        spot: Option<(String, u32)>,
        before: Option<String>,
    ) -> Self {
        let mut pressures: Vec<Pressure> = facts
            .knowledge
            .diseases
            .iter()
            .filter(|disease| disease.hosts.contains(&crop.id))
            .filter(|disease| rated(facts, crop, &disease.id))
            .map(|disease| pressure(facts, years, crop, disease))
            .collect();
        pressures.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let ripening = facts
            .register
            .trees
            .iter()
            .filter(|tree| tree.crop == crop.id && tree.tended())
            .filter_map(|tree| {
                let known = facts
                    .knowledge
                    .cultivar(&crop.id, tree.cultivar.as_deref()?)?;
                Some((known.name.clone(), ripens_day(known)?))
            })
            .collect();
        Ground {
            facts,
            crop,
            years,
            pressures,
            spot,
            before,
            ripening,
        }
    }

    /// Whether the zone carries the crop: zones to spare; `None`: unknown.
    pub fn zone_spare(&self) -> Option<i16> {
        let (coldest, _) = self.crop.coldest_zone.as_ref()?;
        Some(i16::from(self.facts.place.hardiness.number()) - i16::from(*coldest))
    }

    /// Room in the row, by rootstock.
    pub fn spacing(&self) -> &'f [Spacing] {
        &self.crop.habit.spacing
    }
}

fn rated(facts: &Facts, crop: &Crop, disease: &str) -> bool {
    let mut cultivars = facts.knowledge.cultivars.iter();
    cultivars.any(|one| one.crop == crop.id && one.rating(disease).is_some())
}

/// Metres to the nearest juniper of the register.
pub fn nearest_juniper(facts: &Facts) -> Option<f64> {
    let junipers = facts.register.junipers.iter();
    junipers.map(|one| one.distance_m).reduce(f64::min)
}

/// How hard a disease presses on a crop here.
fn pressure(facts: &Facts, years: &PlaceYears, crop: &Crop, disease: &Disease) -> Pressure {
    let a_season = match disease.model {
        crate::facts::knowledge::InfectionModel::WindowOnly => None,
        _ => years.a_season(&disease.id),
    };
    let mut seasons: Vec<i32> = facts
        .journal
        .symptoms
        .iter()
        .filter(|noted| noted.what.what == disease.id)
        .filter(|noted| super::verdict::is_about(facts, noted, &crop.id))
        .filter(|noted| super::verdict::grade(&facts.knowledge.judging, noted.what.severity) > 0.0)
        .map(|noted| chrono::Datelike::year(&noted.date))
        .collect();
    seasons.sort_unstable();
    seasons.dedup();
    let judging = &facts.knowledge.judging;
    let mut weight = a_season.map_or(judging.of(Weighed::UnknownPressure), |count| {
        let full = judging.of(Weighed::FullPressure).max(1.0);
        (count / full).clamp(judging.of(Weighed::LeastPressure), 1.0)
    });
    let juniper_m = disease.needs_juniper.then(|| nearest_juniper(facts));
    if let Some(nearest) = juniper_m {
        weight *= judging.of(match nearest {
            Some(metres) if metres <= judging.of(Weighed::NearJuniper) => Weighed::JuniperNear,
            Some(metres) if metres <= judging.of(Weighed::FarJuniper) => Weighed::JuniperBetween,
            _ => Weighed::JuniperBeyond,
        });
    }
    if !seasons.is_empty() {
        weight = weight.max(judging.of(Weighed::NotedPressure));
    }
    let rust = juniper_m.map_or(1.0, |_| judging.of(Weighed::RustWeight));
    Pressure {
        disease: disease.id.clone(),
        name: disease.name.clone(),
        a_season,
        noted: seasons.len(),
        juniper_m,
        weight: weight.min(1.0) * rust,
    }
}

/// What a rating costs under full pressure. Unknown stands between moderate
/// and susceptible: better than a known weakness, worse than known strength.
fn cost(judging: &Judging, rating: Option<Rating>) -> f64 {
    judging.of(match rating {
        Some(Rating::VeryResistant) => Weighed::CostVeryResistant,
        Some(Rating::Resistant) => Weighed::CostResistant,
        Some(Rating::Moderate) => Weighed::CostModerate,
        None => Weighed::CostUnknown,
        Some(Rating::Susceptible) => Weighed::CostSusceptible,
        Some(Rating::VerySusceptible) => Weighed::CostVerySusceptible,
    })
}

/// All cultivars of the crop, the fittest first.
pub fn rank<'f>(ground: &Ground<'f>) -> Vec<Choice<'f>> {
    let mut choices: Vec<Choice<'f>> = ground
        .facts
        .knowledge
        .cultivars
        .iter()
        .filter(|one| one.crop == ground.crop.id)
        .map(|one| judge(ground, &one.name, Some(one)))
        .collect();
    choices.sort_by(|a, b| {
        (a.fit, a.trouble)
            .partial_cmp(&(b.fit, b.trouble))
            .unwrap_or(std::cmp::Ordering::Equal)
            .then_with(|| a.name.cmp(&b.name))
    });
    choices
}

/// One cultivar by name; of one that no list has, all ratings are unknown.
pub fn one<'f>(ground: &Ground<'f>, name: &str) -> Choice<'f> {
    let known = ground.facts.knowledge.cultivar(&ground.crop.id, name);
    let name = known.map_or(name, |known| &known.name);
    judge(ground, name, known)
}

fn judge<'f>(ground: &Ground<'f>, name: &str, cultivar: Option<&'f Cultivar>) -> Choice<'f> {
    let facts = ground.facts;
    let cold = cold(ground, cultivar);
    let chill = chill(ground, cultivar);
    let bloom = cultivar.and_then(|one| one.bloom.as_ref().map(|(group, _)| *group));
    let frost = ground.years.frost_shares(bloom);
    let diseases: Vec<Against> = ground
        .pressures
        .iter()
        .enumerate()
        .map(|(pressure, one)| against(pressure, &one.disease, cultivar))
        .collect();
    let spot = ground.spot.as_ref().map(|(row, at)| (row.as_str(), *at));
    let pollination = pollination::outlook(
        facts,
        &ground.crop.id,
        cultivar,
        spot,
        ground.before.as_deref(),
    );
    let stands = pollination
        .partners
        .iter()
        .any(|partner| cultivar_key(&partner.cultivar) == cultivar_key(name));
    let ripens_day = cultivar.and_then(ripens_day);
    let ripens_near = ripens_day.and_then(|day| {
        let others = ground.ripening.iter();
        others
            .map(|(other, its)| (other.clone(), day - its))
            .min_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    });
    let mut choice = Choice {
        name: name.to_owned(),
        cultivar,
        fit: Fit::Suits,
        cold,
        chill,
        bloom,
        frost,
        diseases,
        pollination,
        add: Vec::new(),
        stands,
        ripens_day,
        ripens_near,
        trouble: 0.0,
    };
    if choice.pollination.gap() {
        choice.add = cultivar.map_or_else(Vec::new, |one| to_add(facts, one));
    }
    choice.fit = fit(ground, &choice);
    choice.trouble = trouble(ground, &choice);
    choice
}

fn cold(ground: &Ground<'_>, cultivar: Option<&Cultivar>) -> Cold {
    let own = cultivar.and_then(|one| one.coldest_zone.as_ref());
    let zone = own
        .or(ground.crop.coldest_zone.as_ref())
        .map(|(zone, _)| *zone);
    let place = i16::from(ground.facts.place.hardiness.number());
    let colder = zone.filter(|_| !ground.years.lows.is_empty()).map(|zone| {
        let low_c = crate::units::f_to_c(-60.0 + 10.0 * (f64::from(zone) - 1.0));
        let lows = &ground.years.lows;
        let below = lows.iter().filter(|winter| winter.low_c < low_c - 0.05);
        (below.count(), lows.len())
    });
    Cold {
        coldest_zone: zone,
        of_cultivar: own.is_some(),
        spare: zone.map(|zone| place - i16::from(zone)),
        colder,
    }
}

fn chill(ground: &Ground<'_>, cultivar: Option<&Cultivar>) -> Option<ChillFit> {
    let own = cultivar.and_then(|one| {
        let rows = ground.crop.chill.iter().filter(|row| {
            row.cultivar
                .as_deref()
                .is_some_and(|name| one.is_called(name))
        });
        // Portions hold from place to place; hours do less so.
        let row = rows.min_by_key(|row| match row.unit {
            ChillUnit::Portions => 0,
            ChillUnit::Utah => 1,
            ChillUnit::Hours => 2,
        });
        row.map(|row: &Chill| (row.least, row.most, row.unit))
            .or_else(|| {
                let hours = one.chill_hours.as_ref()?;
                Some((hours.0, hours.1, ChillUnit::Hours))
            })
    });
    let class = || {
        let row = ground
            .crop
            .chill
            .iter()
            .find(|row| row.cultivar.is_none())?;
        Some((row.least, row.most, row.unit))
    };
    let (least, most, unit) = own.or_else(class)?;
    let usual = ground.years.usual_chill(unit);
    let low = ground.facts.knowledge.judging.of(Weighed::ChillLow);
    Some(ChillFit {
        need: (least, most),
        unit,
        of_cultivar: own.is_some(),
        met: ground.years.chill_met(least, unit),
        usual,
        wakes_early: own.is_some() && usual.is_some_and(|usual| most < low * usual),
    })
}

fn against(pressure: usize, disease: &str, cultivar: Option<&Cultivar>) -> Against {
    let found = cultivar.and_then(|one| one.rating(disease));
    Against {
        pressure,
        rating: found.map(|one| one.rating),
        published: found.map_or_else(Vec::new, |one| one.published.clone()),
        sources_differ: found.is_some_and(|one| one.sources_differ),
    }
}

/// Partners that serve it, those with the fewest known weaknesses first.
fn to_add(facts: &Facts, of: &Cultivar) -> Vec<String> {
    let mut found: Vec<(usize, &str)> = facts
        .knowledge
        .cultivars
        .iter()
        .filter(|donor| donor.crop == of.crop)
        .filter_map(|donor| {
            let pair = pollination::pair(of, donor);
            let weak = donor
                .ratings
                .iter()
                .filter(|one| one.rating >= Rating::Susceptible)
                .count();
            let known = usize::from(pair != pollination::Pair::Serves) * 100;
            pair.may_serve().then_some((
                known + weak * 10 + 9usize.saturating_sub(donor.ratings.len()),
                donor.name.as_str(),
            ))
        })
        .collect();
    found.sort_unstable();
    found.truncate(MOST_PARTNERS);
    found.into_iter().map(|(_, name)| name.to_owned()).collect()
}

fn fit(ground: &Ground<'_>, choice: &Choice<'_>) -> Fit {
    let judging = &ground.facts.knowledge.judging;
    let mut fit = Fit::Suits;
    let mut at_least = |one: Fit| fit = fit.max(one);
    match choice.cold.spare {
        Some(spare) if spare < 0 => at_least(Fit::Unfit),
        Some(_) => {}
        None => at_least(Fit::WithCare),
    }
    if let Some((below, all)) = choice.cold.colder
        && below as f64 > judging.of(Weighed::WintersColder) * all as f64
    {
        at_least(Fit::Poor);
    }
    if let Some(chill) = &choice.chill {
        match chill.met {
            Some(met) if chill.of_cultivar && met < judging.of(Weighed::ChillPoor) => {
                at_least(Fit::Poor);
            }
            Some(met) if met < judging.of(Weighed::ChillEnough) => at_least(Fit::WithCare),
            _ => {}
        }
        if chill.wakes_early {
            at_least(Fit::WithCare);
        }
    }
    let lost = judging.of(Weighed::BloomLost);
    if choice.frost.is_some_and(|(_, most)| most > lost) {
        at_least(Fit::WithCare);
    }
    let (poor, care) = (
        judging.of(Weighed::PoorPressure),
        judging.of(Weighed::CarePressure),
    );
    for one in &choice.diseases {
        let Some(pressure) = ground.pressures.get(one.pressure) else {
            continue;
        };
        match one.rating {
            Some(Rating::VerySusceptible) if pressure.weight >= poor => at_least(Fit::Poor),
            Some(Rating::Susceptible | Rating::VerySusceptible) if pressure.weight >= care => {
                at_least(Fit::WithCare);
            }
            None if pressure.weight >= poor => at_least(Fit::WithCare),
            _ => {}
        }
    }
    if choice.cultivar.is_none() || choice.pollination.gap() {
        at_least(Fit::WithCare);
    }
    fit
}

fn trouble(ground: &Ground<'_>, choice: &Choice<'_>) -> f64 {
    let judging = &ground.facts.knowledge.judging;
    let mut trouble = 0.0;
    for one in &choice.diseases {
        let weight = ground.pressures.get(one.pressure).map_or(0.0, |p| p.weight);
        trouble += weight * cost(judging, one.rating);
    }
    if let Some((tenth, most)) = choice.frost {
        trouble += judging.of(Weighed::FrostTenth) * tenth + judging.of(Weighed::FrostMost) * most;
    }
    if let Some(chill) = &choice.chill {
        let met = chill.met.unwrap_or(judging.of(Weighed::ChillUnknown));
        trouble += judging.of(Weighed::ChillMissed) * (1.0 - met);
        if chill.wakes_early {
            trouble += judging.of(Weighed::WakesEarly);
        }
    }
    if choice.pollination.gap() {
        trouble += judging.of(Weighed::PartnerMissing);
    }
    // A place too cold for the list is ordered by how far it misses.
    trouble
        + choice
            .cold
            .spare
            .map_or(judging.of(Weighed::ZoneUnknown), |spare| {
                f64::from((-spare).max(0))
            })
}

/// A day of the year from a source's words on ripening, such as `mid Aug
/// (Iowa)` or `27 Jul`; of several dates the first.
pub fn ripens_day(cultivar: &Cultivar) -> Option<f64> {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let text = cultivar.ripens.as_ref()?.0.to_lowercase();
    let words: Vec<&str> = text
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    let (at, month) = words.iter().enumerate().find_map(|(at, word)| {
        let month = MONTHS.iter().position(|month| word.starts_with(month))?;
        Some((at, month))
    })?;
    let before = at.checked_sub(1).and_then(|at| words.get(at));
    let after = words.get(at + 1);
    let day_of = |word: Option<&&str>| {
        let day = word?.parse::<f64>().ok()?;
        (1.0..=31.0).contains(&day).then_some(day)
    };
    let day = match before.copied() {
        Some("early") => 5.0,
        Some("mid") => 15.0,
        Some("late") => 25.0,
        _ => day_of(before).or_else(|| day_of(after)).unwrap_or(15.0),
    };
    Some(month as f64 * 30.4 + day)
}
