//! Who pollinates whom: compatible, in bloom together, near enough.
//!
//! What a cultivar says of itself goes before what holds for its crop. What no
//! source says stays unknown and is told, never taken as a yes.

use crate::facts::Facts;
use crate::facts::knowledge::{BloomGroup, Cultivar, Knowledge, SelfFertile, Source, cultivar_key};
use crate::facts::register::Tree;
use crate::season::usual::group_difference;
use std::collections::HashMap;

/// Bloom groups whose middles lie so many days apart or less overlap: the same
/// group and its neighbours of a scale of three (varieties.md section 8, our
/// proposal; about four days for cherries).
const OVERLAP_DAYS: f64 = 4.0;

/// Taken for one spot in the row and for the way to the next row, m, where
/// the register gives no distance: 15 and 20 ft (our judgement).
pub const ASSUMED_SPOT_M: (f64, f64) = (4.57, 6.10);

/// What a cultivar asks of its neighbours.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    /// Whether it sets with its own pollen; `None`: no source says.
    pub self_fertile: Option<SelfFertile>,
    /// Whether the answer is the cultivar's own, not the crop's.
    pub of_cultivar: bool,
    /// How many partners it takes: two where its own pollen serves nobody.
    pub partners: usize,
    /// How near, m.
    pub within_m: f64,
    /// Where the answer comes from.
    pub source: Option<Source>,
}

/// Why a pollen parent does not serve, or what is not known of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pair {
    /// Compatible, and in bloom together.
    Serves,
    /// Compatible as far as known; when one of them blooms is not known.
    BloomUnknown,
    /// Nothing is known of one of them.
    Unknown,
    /// The same cultivar, or a sport of it.
    Same,
    /// Both share both S-alleles.
    SameAlleles,
    /// Its pollen serves nobody.
    PoorPollen,
    /// A source says that the two do not serve each other.
    Never,
    /// A source names its partners, and this is none of them.
    NotNamed,
    /// They are not in bloom together.
    Apart,
}

impl Pair {
    /// Whether one may count on it, bloom dates unknown included.
    pub fn may_serve(self) -> bool {
        matches!(self, Pair::Serves | Pair::BloomUnknown)
    }
}

/// A tree of the register as a pollen parent.
#[derive(Clone, Debug, PartialEq)]
pub struct Partner {
    /// The tree's id.
    pub tree: String,
    /// Its cultivar.
    pub cultivar: String,
    /// Whether it serves.
    pub pair: Pair,
    /// How far it stands, m, reckoned from rows and spots; `None`: unknown.
    pub distance_m: Option<f64>,
    /// Whether that is near enough; unknown distances count as near.
    pub near: bool,
}

/// How a cultivar fares with what blooms here.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// What it asks.
    pub need: Need,
    /// Of each cultivar of its crop the nearest tree, those that serve first;
    /// trees of no known cultivar count as one.
    pub partners: Vec<Partner>,
}

impl Outlook {
    /// Different cultivars near by that may serve.
    pub fn serving(&self) -> usize {
        let mut names: Vec<String> = self
            .partners
            .iter()
            .filter(|partner| partner.pair.may_serve() && partner.near)
            .map(|partner| cultivar_key(&partner.cultivar))
            .collect();
        names.sort();
        names.dedup();
        names.len()
    }

    /// Whether a partner that it cannot do without is missing; not where a
    /// tree stands near of which nothing is known.
    pub fn gap(&self) -> bool {
        match self.need.self_fertile {
            Some(SelfFertile::Yes | SelfFertile::Partly) => false,
            Some(SelfFertile::No) => self.serving() < self.need.partners && !self.open(),
            None => false,
        }
    }

    /// Whether something near by may serve, for all that is known of it.
    pub fn open(&self) -> bool {
        self.partners
            .iter()
            .any(|partner| partner.pair == Pair::Unknown && partner.near)
    }
}

/// What a cultivar of a crop asks of its neighbours.
pub fn need(knowledge: &Knowledge, crop: &str, cultivar: Option<&Cultivar>) -> Need {
    let class = knowledge
        .crop(crop)
        .and_then(|crop| crop.habit.pollination.as_ref());
    let own = cultivar.and_then(|cultivar| cultivar.self_fertile.as_ref());
    let poor = cultivar.is_some_and(|one| matches!(one.good_pollen, Some((false, _))));
    let source = own
        .map(|(_, source)| source.clone())
        .or_else(|| class.map(|class| class.source.clone()));
    Need {
        self_fertile: own
            .map(|(answer, _)| *answer)
            .or_else(|| class.map(|class| class.self_fertile)),
        of_cultivar: own.is_some(),
        partners: if poor { 2 } else { 1 },
        within_m: class.map_or(30.48, |class| class.within_m),
        source,
    }
}

/// Whether `donor` can pollinate `of`.
pub fn pair(of: &Cultivar, donor: &Cultivar) -> Pair {
    if of.crop != donor.crop {
        return Pair::Never;
    }
    let sport = |one: &Cultivar, other: &Cultivar| other.is_called(one.pollen_name());
    if sport(of, donor)
        || sport(donor, of)
        || cultivar_key(of.pollen_name()) == cultivar_key(donor.pollen_name())
    {
        return Pair::Same;
    }
    if matches!(donor.good_pollen, Some((false, _))) {
        return Pair::PoorPollen;
    }
    let named = |list: &Option<(Vec<String>, Source)>, one: &Cultivar| {
        list.as_ref()
            .map(|(names, _)| names.iter().any(|name| one.is_called(name)))
    };
    if named(&of.never_with, donor) == Some(true) || named(&donor.never_with, of) == Some(true) {
        return Pair::Never;
    }
    if named(&of.only_with, donor) == Some(false) {
        return Pair::NotNamed;
    }
    if let (Some((mine, _)), Some((theirs, _))) = (&of.s_alleles, &donor.s_alleles)
        && alleles_fail(mine, theirs)
    {
        return Pair::SameAlleles;
    }
    // A mixed row: hybrids of American plums do not go with Japanese ones.
    if hybrid(of) != hybrid(donor) && of.only_with.is_none() {
        return Pair::Unknown;
    }
    match (&of.bloom, &donor.bloom) {
        (Some((a, _)), Some((b, _))) if overlap(*a, *b) => Pair::Serves,
        (Some(_), Some(_)) => Pair::Apart,
        _ if named(&of.only_with, donor) == Some(true) => Pair::Serves,
        _ => Pair::BloomUnknown,
    }
}

/// Whether two bloom groups are out together.
pub fn overlap(one: BloomGroup, other: BloomGroup) -> bool {
    group_difference(Some(one), Some(other)).abs() <= OVERLAP_DAYS
}

fn hybrid(cultivar: &Cultivar) -> bool {
    cultivar
        .kind
        .as_deref()
        .is_some_and(|kind| kind.starts_with("hybrid"))
}

/// Whether pollen of one S-genotype fails on another: every allele of the
/// pollen is met by the same in the style. Pollen with S4' always grows.
/// Both are written as in `S3S4'`; what cannot be read does not fail.
pub fn alleles_fail(style: &str, pollen: &str) -> bool {
    let style = alleles(style);
    let pollen = alleles(pollen);
    if style.len() != 2 || pollen.len() != 2 {
        return false;
    }
    let bare = |allele: &str| allele.trim_end_matches('\'').to_owned();
    pollen.iter().all(|allele| {
        !allele.ends_with('\'') && style.iter().any(|other| bare(other) == bare(allele))
    })
}

fn alleles(genotype: &str) -> Vec<String> {
    genotype
        .replace('\u{2019}', "'")
        .split(['S', 's'])
        .map(|allele| allele.trim().to_owned())
        .filter(|allele| !allele.is_empty())
        .collect()
}

/// How a cultivar at a spot fares with what stands in the register. `spot` is
/// a row and a place in it; `except` a tree that is left out (itself).
pub fn outlook(
    facts: &Facts,
    crop: &str,
    cultivar: Option<&Cultivar>,
    spot: Option<(&str, u32)>,
    except: Option<&str>,
) -> Outlook {
    let need = need(&facts.knowledge, crop, cultivar);
    let rows = Rows::of(facts);
    let mut places: HashMap<Option<&str>, usize> = HashMap::new();
    let mut partners: Vec<Partner> = Vec::new();
    let others = facts
        .register
        .trees
        .iter()
        .filter(|tree| tree.crop == crop && tree.tended() && Some(tree.id.as_str()) != except);
    for tree in others {
        let distance_m = spot.and_then(|spot| rows.distance(spot, tree));
        let near = distance_m.is_none_or(|metres| metres <= need.within_m);
        let name = tree.cultivar.as_deref();
        if let Some(known) = places.get(&name).and_then(|&at| partners.get_mut(at)) {
            // An unknown distance may be the nearest of all.
            let nearer = match (distance_m, known.distance_m) {
                (Some(here), Some(there)) => here < there,
                (here, there) => here.is_none() && there.is_some_and(|m| m > need.within_m),
            };
            if nearer {
                known.tree.clone_from(&tree.id);
                (known.distance_m, known.near) = (distance_m, near);
            }
            continue;
        }
        let donor = name.and_then(|name| facts.knowledge.cultivar(crop, name));
        places.insert(name, partners.len());
        partners.push(Partner {
            tree: tree.id.clone(),
            cultivar: name.unwrap_or(&tree.id).to_owned(),
            pair: match (cultivar, donor) {
                (Some(of), Some(donor)) => pair(of, donor),
                _ => Pair::Unknown,
            },
            distance_m,
            near,
        });
    }
    partners.sort_by_key(|partner| (!partner.pair.may_serve(), !partner.near));
    Outlook { need, partners }
}

/// How a tree of the register fares.
pub fn of_tree(facts: &Facts, tree: &Tree) -> Outlook {
    let known = tree
        .cultivar
        .as_deref()
        .and_then(|name| facts.knowledge.cultivar(&tree.crop, name));
    let spot = tree.row.as_deref().zip(tree.spot);
    outlook(facts, &tree.crop, known, spot, Some(&tree.id))
}

/// The rows of a register by their name in small letters, and their order:
/// they stand in that of the register.
struct Rows(HashMap<String, usize>);

impl Rows {
    fn of(facts: &Facts) -> Self {
        let mut rows = HashMap::new();
        let mut last = None;
        for row in facts
            .register
            .trees
            .iter()
            .filter_map(|tree| tree.row.as_deref())
        {
            if last == Some(row) {
                continue;
            }
            last = Some(row);
            let next = rows.len();
            rows.entry(row.to_ascii_lowercase()).or_insert(next);
        }
        Rows(rows)
    }

    /// Metres from a spot to a tree, reckoned from rows and spots.
    fn distance(&self, (row, spot): (&str, u32), tree: &Tree) -> Option<f64> {
        let theirs = tree.row.as_deref()?;
        let across = if row == theirs {
            0
        } else {
            let at = |row: &str| self.0.get(&row.to_ascii_lowercase()).copied();
            at(row)?.abs_diff(at(theirs)?)
        };
        let along = f64::from(spot.abs_diff(tree.spot?)) * ASSUMED_SPOT_M.0;
        Some((across as f64 * ASSUMED_SPOT_M.1).hypot(along))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Schuster 2020: one line of the table does not pollinate itself, another
    /// does; S4' sets with all.
    #[test]
    fn alleles_meet_or_do_not() {
        assert!(alleles_fail("S3S4", "S3S4"));
        assert!(!alleles_fail("S3S4", "S1S3"));
        assert!(!alleles_fail("S3S4", "S3S4'"));
        assert!(alleles_fail("S3S4'", "S3S4"));
        assert!(!alleles_fail("S3S4", "S4S13"));
        assert!(!alleles_fail("S3S4", "unknown"));
        assert!(!alleles_fail("", ""));
    }
}
