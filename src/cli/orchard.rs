//! `choose`, `trees`, `map`, `junipers` and `replanting`.

use super::{Output, json, show};
use crate::config::fault::hint;
use crate::facts::Facts;
use crate::facts::knowledge::cultivar_key;
use crate::facts::register::Tree;
use crate::plan::Plan;
use crate::plan::choose::{self, Choice, Ground};
use crate::plan::junipers;
use crate::plan::pollination;
use crate::plan::replacement::{self, Step};
use crate::plan::verdict::{self, TreeVerdict, Verdict};
use crate::render::{choosing, orchard, page};
use crate::season::{self, Season, tally, years};
use chrono::NaiveDate;
use clap::Args;
use serde_json::{Value, json};

/// Which cultivars of a crop suit the place
#[derive(Clone, Debug, Args)]
pub struct Choose {
    /// The crop, such as apple or sweet-cherry
    crop: String,
    /// Where: the id of a tree that stands or stood there, or row:spot as B:2
    #[arg(long, value_name = "SPOT")]
    at: Option<String>,
    /// One cultivar, in full
    #[arg(long, value_name = "NAME")]
    cultivar: Option<String>,
    /// How many to show
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = super::note::whole::<usize>)]
    most: usize,
}

/// Ranks the cultivars of a crop, or tells of one in full.
pub fn choose(
    asked: &Choose,
    facts: &Facts,
    today: NaiveDate,
    as_json: bool,
) -> Result<Output, String> {
    let id = show::known_crop(facts, &asked.crop)?;
    let Some(crop) = facts.knowledge.crop(&id) else {
        return Err(format!("no crop named \"{}\"", asked.crop));
    };
    let (spot, before) = match &asked.at {
        Some(at) => place_of(facts, at)?,
        None => (None, None),
    };
    let years = years::of(facts, crop, today);
    let ground = Ground::new(facts, crop, &years, spot, before);
    let season = season::derive(facts, today);
    if let Some(name) = &asked.cultivar {
        if cultivar_key(name).is_empty() {
            return Err(
                "a cultivar needs a name: write it as --cultivar Liberty, with quotes if it has \
                 blanks"
                    .to_owned(),
            );
        }
        let choice = choose::one(&ground, name);
        let near = nearest(facts, &id, name, choice.cultivar.is_none());
        if as_json {
            let mut value = choice_view(&ground, &choice);
            value["nearest_names"] = json!(near);
            return text(&value);
        }
        return Ok(Output::Lines(choosing::one(
            &ground, &season, &choice, &near,
        )));
    }
    let choices = choose::rank(&ground);
    if as_json {
        return text(&json!({
            "crop": id,
            "zone": facts.place.hardiness.to_string(),
            "zones_to_spare": ground.zone_spare(),
            "winters": years.winters.len(),
            "springs": years.springs.len(),
            "seasons_of_hours": years.hourly_years,
            "ground": choosing::ground_words(&ground),
            "choices": choices
                .iter()
                .map(|choice| choice_view(&ground, choice))
                .collect::<Vec<_>>(),
        }));
    }
    Ok(Output::Lines(choosing::list(
        &ground, &season, &choices, asked.most,
    )))
}

/// Row and place in it, and the tree that stands or stood there.
type Spot = (Option<(String, u32)>, Option<String>);

/// A spot by the id of a tree or as row and place in it.
fn place_of(facts: &Facts, at: &str) -> Result<Spot, String> {
    let trees = &facts.register.trees;
    if let Some(tree) = trees.iter().find(|tree| tree.id.eq_ignore_ascii_case(at)) {
        let spot = tree.row.clone().zip(tree.spot);
        return Ok((spot, Some(tree.id.clone())));
    }
    let parts = at.rsplit_once([':', ' ']);
    let known = parts.and_then(|(row, spot)| {
        let spot: u32 = spot.trim().parse().ok()?;
        let mut rows = trees.iter().filter_map(|tree| tree.row.as_deref());
        let row = rows.find(|known| known.eq_ignore_ascii_case(row.trim()))?;
        Some((row.to_owned(), spot))
    });
    let Some((row, spot)) = known else {
        let ids: Vec<&str> = trees.iter().map(|tree| tree.id.as_str()).collect();
        let message = format!(
            "no tree and no spot \"{at}\" in register.toml{}; write a tree's id, or a row of the \
             register and a number as B:2",
            hint(at, &ids)
        );
        return Err(page::wrap(&message, "", "  ").join("\n"));
    };
    let before = trees
        .iter()
        .find(|tree| tree.row.as_deref() == Some(row.as_str()) && tree.spot == Some(spot))
        .map(|tree| tree.id.clone());
    Ok((Some((row, spot)), before))
}

/// Names that an unknown one may have meant, the likeliest first.
fn nearest(facts: &Facts, crop: &str, name: &str, unknown: bool) -> Vec<String> {
    if !unknown {
        return Vec::new();
    }
    let key = cultivar_key(name);
    let mut found: Vec<(f64, &str)> = facts
        .knowledge
        .cultivars
        .iter()
        .filter(|one| one.crop == crop)
        .map(|one| {
            let names = std::iter::once(&one.name).chain(&one.also);
            let like = names
                .map(|other| strsim::jaro_winkler(&key, &cultivar_key(other)))
                .fold(0.0, f64::max);
            (like, one.name.as_str())
        })
        .filter(|(like, _)| *like > 0.85)
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(3);
    found.into_iter().map(|(_, name)| name.to_owned()).collect()
}

fn choice_view(ground: &Ground<'_>, choice: &Choice<'_>) -> Value {
    let diseases: Vec<Value> = choice
        .diseases
        .iter()
        .filter_map(|one| {
            let pressure = ground.pressures.get(one.pressure)?;
            Some(json!({
                "disease": pressure.disease,
                "rating": one.rating.map(crate::facts::knowledge::Rating::word),
                "published": one.published,
                "sources_differ": one.sources_differ,
                "infection_periods_a_season": pressure.a_season,
                "years_noted_here": pressure.noted,
                "nearest_juniper_m": pressure.juniper_m.flatten().map(f64::round),
            }))
        })
        .collect();
    let partners: Vec<Value> = choice
        .pollination
        .partners
        .iter()
        .map(|one| {
            json!({
                "tree": one.tree,
                "cultivar": one.cultivar,
                "serves": one.pair.may_serve(),
                "why_not": choosing::why_not(one.pair),
                "bloom_unknown": one.pair == pollination::Pair::BloomUnknown,
                "distance_m": one.distance_m.map(f64::round),
                "near": one.near,
            })
        })
        .collect();
    json!({
        "cultivar": choice.name,
        "known": choice.cultivar.is_some(),
        "fit": choice.fit.word(),
        "stands_here": choice.stands,
        "coldest_zone": choice.cold.coldest_zone,
        "coldest_zone_is_its_own": choice.cold.of_cultivar,
        "zones_to_spare": choice.cold.spare,
        "winters_colder": choice.cold.colder.map(|(below, all)| [below, all]),
        "chill": choice.chill.as_ref().map(|chill| json!({
            "least": chill.need.0,
            "most": chill.need.1,
            "unit": chill.unit.word(),
            "is_its_own": chill.of_cultivar,
            "share_of_winters_met": chill.met,
            "wakes_early": chill.wakes_early,
        })),
        "bloom": choice.bloom.map(crate::facts::knowledge::BloomGroup::word),
        "springs_with_over_a_tenth_killed": choice.frost.map(|frost| frost.0),
        "springs_with_over_nine_tenths_killed": choice.frost.map(|frost| frost.1),
        "diseases": diseases,
        "unrated_diseases": choice.unrated(),
        "partners": partners,
        "partner_missing": choice.pollination.gap(),
        "partners_to_add": choice.add,
        "ripens": choice.cultivar.and_then(|one| one.ripens.as_ref()).map(|(when, _)| when),
    })
}

fn text(value: &Value) -> Result<Output, String> {
    serde_json::to_string_pretty(value)
        .map(Output::Json)
        .map_err(|error| format!("no JSON can be made: {error}"))
}

/// The verdicts on all trees that stand.
fn verdicts(facts: &Facts, season: &Season, today: NaiveDate) -> Vec<TreeVerdict> {
    verdict::all(facts, &tally::counts(facts, season), today)
}

fn verdict_view(facts: &Facts, tree: &Tree, one: &TreeVerdict) -> Value {
    let saying = orchard::Saying::new(facts);
    json!({
        "verdict": one.verdict.word(),
        "sure": match one.sure {
            verdict::Sure::Plain => "plain",
            verdict::Sure::Fair => "fair",
            verdict::Sure::Little => "little",
        },
        "evidence": one.evidence.iter().map(|it| saying.finding(it)).collect::<Vec<_>>(),
        "to_decide": one.look.iter().map(|it| orchard::Saying::look(*it)).collect::<Vec<_>>(),
        "cost_of_waiting": saying.waiting(one, tree),
        "partner_missing": tree.tended() && pollination::of_tree(facts, tree).gap(),
    })
}

/// The register with verdicts, or one tree in full.
pub fn trees(
    facts: &Facts,
    season: &Season,
    id: Option<&str>,
    as_json: bool,
) -> Result<Output, String> {
    let found = verdicts(facts, season, season.today);
    let of = |tree: &Tree| found.iter().find(|one| one.tree == tree.id);
    let only = id.map(|id| known_tree(facts, id)).transpose()?;
    if as_json {
        let mut value: Value = serde_json::from_str(&json::trees(facts)?)
            .map_err(|error| format!("no JSON can be made: {error}"))?;
        if let Some(list) = value["trees"].as_array_mut() {
            for (view, tree) in list.iter_mut().zip(&facts.register.trees) {
                view["verdict"] =
                    of(tree).map_or(Value::Null, |one| verdict_view(facts, tree, one));
            }
            if let Some(tree) = only {
                let at = facts
                    .register
                    .trees
                    .iter()
                    .position(|one| one.id == tree.id);
                let one = at.and_then(|at| list.get(at)).cloned();
                return text(&one.unwrap_or(Value::Null));
            }
        }
        return text(&value);
    }
    Ok(Output::Lines(match only {
        Some(tree) => orchard::tree(facts, season, tree, of(tree)),
        None => orchard::verdicts(facts, season, &found),
    }))
}

fn known_tree<'f>(facts: &'f Facts, id: &str) -> Result<&'f Tree, String> {
    let trees = &facts.register.trees;
    let found = trees.iter().find(|tree| tree.id.eq_ignore_ascii_case(id));
    found.ok_or_else(|| {
        let ids: Vec<&str> = trees.iter().map(|tree| tree.id.as_str()).collect();
        let juniper = facts
            .register
            .junipers
            .iter()
            .any(|one| one.id.eq_ignore_ascii_case(id));
        let message = if juniper {
            format!("\"{id}\" is a juniper: `budtide junipers` tells of it")
        } else {
            format!(
                "no tree \"{id}\" in register.toml{}; `budtide trees` lists them",
                hint(id, &ids)
            )
        };
        page::wrap(&message, "", "  ").join("\n")
    })
}

/// The orchard by rows and spots.
pub fn map(facts: &Facts, season: &Season, as_json: bool) -> Result<Output, String> {
    let found = verdicts(facts, season, season.today);
    if !as_json {
        return Ok(Output::Lines(orchard::map(facts, season, &found)));
    }
    let spots: Vec<Value> = facts
        .register
        .trees
        .iter()
        .map(|tree| {
            json!({
                "row": tree.row,
                "spot": tree.spot,
                "tree": tree.id,
                "crop": tree.crop,
                "verdict": found
                    .iter()
                    .find(|one| one.tree == tree.id)
                    .map(|one| one.verdict.word()),
                "partner_missing": tree.tended() && pollination::of_tree(facts, tree).gap(),
            })
        })
        .collect();
    text(&json!({ "spots": spots }))
}

/// The junipers, and whether cutting is worth it.
pub fn junipers(facts: &Facts, season: &Season, as_json: bool) -> Result<Output, String> {
    let found = junipers::of(facts, season.today);
    if !as_json {
        return Ok(Output::Lines(orchard::junipers(facts, season, &found)));
    }
    let standing: Vec<Value> = found
        .junipers
        .iter()
        .map(|one| {
            json!({
                "id": one.juniper.id,
                "place": one.juniper.place,
                "distance_m": one.juniper.distance_m.round(),
                "count": one.juniper.count,
                "removable": one.juniper.removable,
                "seen": one.galls.iter().map(|(year, what)| json!({
                    "year": year,
                    "what": what,
                })).collect::<Vec<_>>(),
                "worth": orchard::worth(one.worth),
            })
        })
        .collect();
    text(&json!({
        "junipers": standing,
        "own_within_300_ft": found.own_near,
        "others_within_two_miles": found.others,
        "susceptible_trees": found.suffering,
        "unrated_trees": found.unrated,
    }))
}

/// What comes out when, and what follows.
pub fn replanting(
    facts: &Facts,
    season: &Season,
    plan: &Plan,
    as_json: bool,
) -> Result<Output, String> {
    let found = verdicts(facts, season, season.today);
    let judged: Vec<&str> = found
        .iter()
        .filter(|one| one.verdict == Verdict::Replace)
        .map(|one| one.tree.as_str())
        .collect();
    let steps = replacement::steps(facts, plan, &judged, season.today);
    if !as_json {
        return Ok(Output::Lines(orchard::replanting(facts, season, &steps)));
    }
    let view = |step: &Step<'_>| {
        json!({
            "tree": step.tree.id,
            "crop": step.tree.crop,
            "season": step.year,
            "proposed": step.decide_by.is_some(),
            "decide_by": step.decide_by,
            "out": [step.remove.0, step.remove.1],
            "order": [step.order.0, step.order.1],
            "plant": step.plant.map(|(from, to, _)| [from, to]),
            "in_fall": step.plant.map(|(_, _, fall)| fall),
            "same_kind_in_the_hole_from": step.same_kind_from,
            "why": step.why,
        })
    };
    text(&json!({
        "new_trees_a_year": replacement::a_year(facts),
        "steps": steps.iter().map(view).collect::<Vec<_>>(),
    }))
}
