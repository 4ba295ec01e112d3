//! Trees that bloom together: one crop, and one cultivar or bloom group of it
//! where something sets them apart. Work goes by group, not by tree.

use crate::facts::Facts;
use crate::facts::knowledge::{BloomGroup, cultivar_key};

/// Trees that bloom together.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The crop's id.
    pub crop: String,
    /// The cultivar, where the keeper gave it a date of its own.
    pub cultivar: Option<String>,
    /// When it blooms within the crop, if that is published.
    pub bloom: Option<BloomGroup>,
    /// Indices into the register.
    pub trees: Vec<usize>,
}

impl Group {
    /// `early` or `late`, for a task's name; `None` for the crop's middle.
    pub fn label(&self) -> Option<&'static str> {
        match self.bloom {
            Some(BloomGroup::Early | BloomGroup::EarlyMid) => Some("early"),
            Some(BloomGroup::Late | BloomGroup::MidLate) => Some("late"),
            _ => None,
        }
    }
}

/// The groups of the register in the order in which their crops first stand
/// there, together with the crops that are only wanted.
pub fn of(facts: &Facts) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (index, tree) in facts.register.trees.iter().enumerate() {
        if !tree.stands() {
            continue;
        }
        let (cultivar, bloom) = traits(facts, &tree.crop, tree.cultivar.as_deref());
        let known = groups.iter_mut().find(|group| {
            group.crop == tree.crop && group.cultivar == cultivar && group.bloom == bloom
        });
        match known {
            Some(group) => group.trees.push(index),
            None => groups.push(Group {
                crop: tree.crop.clone(),
                cultivar,
                bloom,
                trees: vec![index],
            }),
        }
    }
    for wish in &facts.register.wanted {
        if !groups.iter().any(|group| group.crop == wish.crop) {
            groups.push(Group {
                crop: wish.crop.clone(),
                cultivar: None,
                bloom: None,
                trees: Vec::new(),
            });
        }
    }
    groups
}

/// Days from full bloom to harvest over the trees of a group, least and most:
/// those published for their cultivars, and the crop's usual span for a tree
/// whose cultivar has none; `None` where nothing is published.
pub fn days_to_harvest(facts: &Facts, group: &Group) -> Option<(f64, f64)> {
    let crop = facts.knowledge.crop(&group.crop)?;
    let rows = |cultivar: Option<&str>| {
        let key = cultivar.map(cultivar_key);
        let rows = crop.harvest.iter();
        rows.filter(|row| row.cultivar.as_deref().map(cultivar_key) == key)
            .map(|row| (row.least_days, row.most_days))
            .collect::<Vec<_>>()
    };
    let usual = rows(None);
    let mut spans = Vec::new();
    for index in &group.trees {
        let own = rows(facts.cultivar_of(Some(index)));
        spans.extend(if own.is_empty() { usual.clone() } else { own });
    }
    if spans.is_empty() {
        spans = usual;
    }
    let least = spans.iter().map(|span| span.0).reduce(f64::min)?;
    let most = spans.iter().map(|span| span.1).reduce(f64::max)?;
    Some((least, most))
}

/// What sets a tree apart within its crop: a date of its own in `place.toml`
/// or a published bloom group.
fn traits(
    facts: &Facts,
    crop: &str,
    cultivar: Option<&str>,
) -> (Option<String>, Option<BloomGroup>) {
    let Some(name) = cultivar else {
        return (None, None);
    };
    let known = facts.knowledge.cultivar(crop, name);
    let own_date = facts.place.usual_bloom.iter().any(|usual| {
        usual.crop == crop
            && usual.cultivar.as_deref().is_some_and(|other| {
                other.eq_ignore_ascii_case(name)
                    || known.is_some_and(|known| known.is_called(other))
            })
    });
    // The middle of a crop is where an unknown cultivar is put as well.
    let bloom = known
        .and_then(|known| known.bloom.as_ref())
        .map(|(group, _)| *group)
        .filter(|group| *group != BloomGroup::Mid);
    (own_date.then(|| name.to_owned()), bloom)
}
