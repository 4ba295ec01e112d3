//! The plan of replanting.

use crate::facts::Facts;
use crate::plan::replacement::{self, Step};
use crate::render::page::{capital, head, wrap};
use crate::render::sentence::{Words, named};
use crate::season::Season;
use crate::units::plain;

/// How many follow by the keeper's word, and how many are proposed.
fn to_follow(steps: &[Step<'_>]) -> String {
    let proposed = steps.iter().filter(|one| one.decide_by.is_some()).count();
    let trees = |count: usize| named(count as u32, "tree", "trees");
    match (steps.len() - proposed, proposed) {
        (own, 0) => format!("{} to follow", trees(own)),
        (0, more) => format!("{} proposed, none marked yet", trees(more)),
        (own, more) => format!("{} to follow, {more} more proposed", trees(own)),
    }
}

/// The plan of replanting.
pub fn replanting(facts: &Facts, season: &Season, steps: &[Step<'_>]) -> Vec<String> {
    let words = Words::new(facts, season.today);
    let mut lines = head(facts, season);
    lines.push(String::new());
    if steps.is_empty() {
        lines.extend(wrap(
            "No tree is dead, to be replaced or judged so. `budtide trees` judges them; status = \
             \"replace\" in register.toml puts one on this plan.",
            "",
            "  ",
        ));
        return lines;
    }
    lines.extend(wrap(
        &format!(
            "{}; your {} h a week carry {} new a year.",
            to_follow(steps),
            plain(facts.preferences.hours_per_week),
            replacement::a_year(facts)
        ),
        "",
        "  ",
    ));
    let mut year = None;
    for step in steps {
        if year != Some(step.year) {
            lines.push(String::new());
            lines.push(format!("Planting season {}", step.year));
            year = Some(step.year);
        }
        let crop = facts
            .knowledge
            .crop(&step.tree.crop)
            .map_or(step.tree.crop.as_str(), |crop| &crop.name);
        lines.push(format!(
            "  {} {crop} '{}', {}",
            step.tree.id,
            step.tree.cultivar.as_deref().unwrap_or("?"),
            match step.decide_by {
                Some(_) => "proposed: judged replace",
                None => step.tree.status.word(),
            }
        ));
        let span = |(from, to)| match from == to {
            true => format!("on {}", words.day(from)),
            false => format!("{} to {}", words.day(from), words.day(to)),
        };
        let mut part = |label: &str, text: String| {
            lines.extend(wrap(&text, &format!("    {label:<8}"), "            "));
        };
        if let Some(decide_by) = step.decide_by {
            part(
                "Decide:",
                format!(
                    "by {}, when ordering begins. If you agree, write status = \"replace\" at {} \
                     in register.toml: until then nothing of it is on the calendar. Why: budtide \
                     trees {}",
                    words.day(decide_by),
                    step.tree.id,
                    step.tree.id
                ),
            );
        }
        part("Out:", format!("{}, roots and all.", span(step.remove)));
        part(
            "Spot:",
            format!(
                "another kind, or off the old station: at once. {} again in the same hole: not \
                 before {}.",
                capital(crop),
                step.same_kind_from
            ),
        );
        part(
            "Choose:",
            format!("budtide choose {} --at {}", step.tree.crop, step.tree.id),
        );
        part("Order:", format!("{}.", span(step.order)));
        match step.plant {
            Some((from, to, fall)) => {
                let why = step.why.as_deref().unwrap_or_default();
                let when = if fall { "in fall" } else { "in spring" };
                part("Plant:", format!("{}, {when}. {why}", span((from, to))));
            }
            None => part(
                "Plant:",
                "no season for bare roots suits in this zone; ask for a pot.".to_owned(),
            ),
        }
    }
    lines.push(String::new());
    let care: Vec<&str> = replacement::FIRST_YEAR
        .iter()
        .filter_map(|id| facts.knowledge.chore(id))
        .map(|chore| chore.name.as_str())
        .collect();
    lines.extend(wrap(
        &format!(
            "First year: {}. All of it is on the calendar.",
            care.join("; ")
        ),
        "",
        "  ",
    ));
    for id in ["digging", "saw"] {
        if let Some(caution) = facts.knowledge.caution(id) {
            lines.extend(wrap(&caution.short, "Take care: ", "  "));
        }
    }
    lines
}
