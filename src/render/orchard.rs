//! Verdicts, map, junipers and replanting, as text of at most 80 columns.

mod replanting;
mod saying;

pub use replanting::replanting;
pub use saying::Saying;

use super::chart::fit;
use super::page::{capital, head, wrap};
use super::sentence::named;
use crate::facts::Facts;
use crate::facts::register::Tree;
use crate::plan::junipers::{Junipers, Worth};
use crate::plan::pollination;
use crate::plan::verdict::{Finding, Look, TreeVerdict, Verdict};
use crate::season::Season;

/// The verdicts in a table, and what to look at.
pub fn verdicts(facts: &Facts, season: &Season, verdicts: &[TreeVerdict]) -> Vec<String> {
    let mut lines = head(facts, season);
    lines.push(String::new());
    lines.push(format!(
        "{} {} {} {} {} {}",
        fit("tree", 5),
        fit("crop", 14),
        fit("cultivar", 18),
        fit("planted", 7),
        fit("verdict", 8),
        "because"
    ));
    for tree in &facts.register.trees {
        let crop = facts
            .knowledge
            .crop(&tree.crop)
            .map_or(tree.crop.as_str(), |crop| &crop.name);
        let planted = tree
            .planted
            .map_or_else(String::new, |planted| planted.year().to_string());
        let found = verdicts.iter().find(|one| one.tree == tree.id);
        let word = found.map_or(tree.status.word(), |one| one.verdict.word());
        let plants = if tree.count > 1 {
            format!("{} plants", tree.count)
        } else {
            String::new()
        };
        let because = found.and_then(|one| because(facts, one)).unwrap_or(plants);
        lines.push(
            format!(
                "{} {} {} {} {} {}",
                fit(&tree.id, 5),
                fit(crop, 14),
                fit(tree.cultivar.as_deref().unwrap_or("-"), 18),
                fit(&planted, 7),
                fit(word, 8),
                fit(&because, 23).trim_end()
            )
            .trim_end()
            .to_owned(),
        );
    }
    let count = |verdict: Verdict| verdicts.iter().filter(|one| one.verdict == verdict).count();
    lines.push(String::new());
    let parts: Vec<String> = Verdict::ALL
        .iter()
        .map(|(verdict, word)| format!("{} {word}", count(*verdict)))
        .collect();
    lines.push(format!("{}.", capital(&parts.join(", "))));
    let mut looks: Vec<(Look, Vec<&str>)> = Vec::new();
    for one in verdicts.iter().filter(|one| one.verdict != Verdict::Keep) {
        for look in &one.look {
            match looks.iter_mut().find(|(held, _)| held == look) {
                Some((_, trees)) => trees.push(&one.tree),
                None => looks.push((*look, vec![&one.tree])),
            }
        }
    }
    if !looks.is_empty() {
        lines.push("To decide:".to_owned());
        for (look, trees) in looks {
            lines.extend(wrap(
                &format!("{}: {}", Saying::look(look), trees.join(" ")),
                "  ",
                "    ",
            ));
        }
    }
    let junipers: Vec<String> = facts
        .register
        .junipers
        .iter()
        .map(|one| {
            let away = facts.place.units.distance(one.distance_m);
            format!("{} {away}", one.id)
        })
        .collect();
    if !junipers.is_empty() {
        lines.extend(wrap(
            &format!("Junipers: {}. More: budtide junipers.", junipers.join(", ")),
            "",
            "  ",
        ));
    }
    lines.extend(wrap(
        "An estimate from notes and published ratings, not a diagnosis. One in full: budtide \
         trees ID.",
        "",
        "  ",
    ));
    lines
}

/// The weightiest finding in a few words, for a column of 23.
fn because(facts: &Facts, verdict: &TreeVerdict) -> Option<String> {
    let short = |id: &str| {
        facts
            .knowledge
            .disease(id)
            .map_or_else(|| id.to_owned(), |one| one.name.clone())
    };
    let text = |finding: &Finding| match finding {
        Finding::Keeper(status) if status.word() == verdict.verdict.word() => {
            Some("marked so".to_owned())
        }
        Finding::Keeper(status) => Some(format!("marked {}", status.word())),
        Finding::Recorded { what, years } => Some(format!("{}, {} yr", short(what), years.len())),
        Finding::NotJunipers { .. } => Some("spots, not the junipers".to_owned()),
        Finding::AgainstRating { .. } => Some("ill despite its rating".to_owned()),
        Finding::NoCrop { years, .. } => Some(format!("no crop, {} yr", years.len())),
        Finding::NoPartner => Some("no partner in bloom".to_owned()),
        Finding::TooCold { .. } => Some("zone too cold for it".to_owned()),
        Finding::Damage { cause, year, .. } => Some(format!("{} {year}", cause.word())),
        Finding::Shoots { years, wanted } => years
            .last()
            .filter(|(_, cm)| *cm < wanted.0 || *cm > wanted.1)
            .map(|(_, cm)| {
                let how = if *cm < wanted.0 { "short" } else { "long" };
                format!("{how} shoots")
            }),
        Finding::Weak { disease, .. } => Some(format!("takes {}", short(disease))),
        Finding::Old { .. } => Some("beyond its usual span".to_owned()),
        _ => None,
    };
    if verdict.verdict == Verdict::Keep {
        return None;
    }
    verdict.evidence.iter().find_map(text)
}

/// One tree in full.
pub fn tree(
    facts: &Facts,
    season: &Season,
    tree: &Tree,
    verdict: Option<&TreeVerdict>,
) -> Vec<String> {
    let mut lines = head(facts, season);
    let saying = Saying::new(facts);
    let crop = facts
        .knowledge
        .crop(&tree.crop)
        .map_or(tree.crop.as_str(), |crop| &crop.name);
    lines.push(String::new());
    lines.push(format!(
        "{}: {crop} '{}'{}",
        tree.id,
        tree.cultivar.as_deref().unwrap_or("cultivar not noted"),
        verdict.map_or_else(String::new, |one| format!(", {}", one.verdict.word()))
    ));
    let mut part = |label: &str, text: &str| {
        lines.extend(wrap(text, &format!("{label:<13}"), "             "));
    };
    let stands = [
        tree.row.as_ref().map(|row| format!("row {row}")),
        tree.spot.map(|spot| format!("spot {spot}")),
        tree.rootstock.as_ref().map(|stock| format!("on {stock}")),
        tree.planted
            .map(|planted| format!("planted {}", planted.year())),
        (tree.count > 1).then(|| named(tree.count, "plant", "plants")),
        Some(tree.status.word().to_owned()),
    ];
    let stands: Vec<String> = stands.into_iter().flatten().collect();
    part("Stands:", &format!("{}.", stands.join(", ")));
    if let Some(notes) = &tree.notes {
        part("Your note:", notes);
    }
    let Some(verdict) = verdict else {
        part("Verdict:", "none: it is out, and kept for the record.");
        return lines;
    };
    part("How sure:", &format!("{}.", Saying::sure(verdict.sure)));
    for (at, finding) in verdict.evidence.iter().enumerate() {
        let text = format!("{}.", capital(&saying.finding(finding)));
        part(if at == 0 { "Evidence:" } else { "" }, &text);
    }
    for (at, look) in verdict.look.iter().enumerate() {
        let text = format!("{}.", capital(Saying::look(*look)));
        part(if at == 0 { "To decide:" } else { "" }, &text);
    }
    part(
        "To wait:",
        &format!("{}.", capital(&saying.waiting(verdict, tree))),
    );
    if verdict.verdict == Verdict::Replace && tree.tended() {
        part(
            "Next:",
            "If you agree, write status = \"replace\" in register.toml: the calendar then plans \
             ordering and planting. `budtide replanting` proposes when, and by when to decide.",
        );
    }
    if tree.tended() {
        let outlook = pollination::of_tree(facts, tree);
        let serving: Vec<&str> = outlook
            .partners
            .iter()
            .filter(|one| one.pair.may_serve() && one.near)
            .map(|one| one.tree.as_str())
            .collect();
        part(
            "Partners:",
            &match (outlook.need.self_fertile, serving.is_empty()) {
                (Some(crate::facts::knowledge::SelfFertile::Yes), _) => {
                    "sets with its own pollen.".to_owned()
                }
                (_, false) => format!(
                    "{} (the nearest of each cultivar, by what is published; distances \
                     reckoned from rows and spots).",
                    serving.join(" ")
                ),
                (_, true) if outlook.open() => {
                    "not known: nothing is published on it or on what stands near.".to_owned()
                }
                (_, true) => "none known near.".to_owned(),
            },
        );
    }
    if let Some(caution) = facts.knowledge.caution("not-a-diagnosis") {
        part("Take care:", &caution.short);
    }
    lines
}

/// The junipers, and whether cutting is worth it.
pub fn junipers(facts: &Facts, season: &Season, found: &Junipers<'_>) -> Vec<String> {
    let units = facts.place.units;
    let mut lines = head(facts, season);
    lines.push(String::new());
    if found.junipers.is_empty() {
        lines.extend(wrap(
            "No juniper stands in your register. Eastern red cedar is one. Spores fly for miles, \
             so rust may come all the same; note the ones you see as [[juniper]].",
            "",
            "  ",
        ));
        return lines;
    }
    for one in &found.junipers {
        let juniper = one.juniper;
        lines.extend(wrap(
            &format!(
                "{} {}: {}, {} away",
                juniper.id,
                named(juniper.count, "juniper", "junipers"),
                juniper.place,
                units.distance(juniper.distance_m)
            ),
            "",
            "   ",
        ));
        if let Some(notes) = &juniper.notes {
            lines.extend(wrap(notes, "   Your note: ", "   "));
        }
        let seen: Vec<String> = one
            .galls
            .iter()
            .map(|(year, what)| format!("{what} ({year})"))
            .collect();
        let seen = if seen.is_empty() {
            "nothing noted; look the day after warm rain in spring".to_owned()
        } else {
            seen.join(", ")
        };
        lines.extend(wrap(&seen, "   Galls: ", "   "));
        lines.extend(wrap(worth(one.worth), "   Worth it? ", "   "));
    }
    lines.push(String::new());
    let mut said = Vec::new();
    if found.own_near > 0 {
        said.push(format!(
            "Taking out your own {} within 300 ft lowers the dose on the trees beside them. It \
             does not end rust: {} that you may not cut within two miles, and spores fly for miles.",
            found.own_near,
            match found.others {
                0 => "others may stand".to_owned(),
                1 => "1 stands".to_owned(),
                many => format!("{many} stand"),
            }
        ));
    } else if found.others > 0 {
        said.push(
            "None that you may cut stands near. What others own is theirs: what helps is \
             resistant cultivars, and protection in the weeks that count."
                .to_owned(),
        );
    }
    if !found.suffering.is_empty() {
        said.push(format!(
            "Rated susceptible to a juniper rust here: {}.",
            found.suffering.join(" ")
        ));
    }
    if !found.unrated.is_empty() {
        said.push(format!(
            "No rust rating was found for {}.",
            found.unrated.join(" ")
        ));
    }
    said.push(
        "Northern white cedar (Thuja) is no juniper and carries no juniper rust. Peach, plum, \
         cherry, berries take none either. The surest cure is a resistant tree."
            .to_owned(),
    );
    for text in said {
        lines.extend(wrap(&text, "", "  "));
    }
    for id in ["saw", "burning"] {
        if found.own_near > 0
            && let Some(caution) = facts.knowledge.caution(id)
        {
            lines.extend(wrap(&caution.short, "Take care: ", "  "));
        }
    }
    lines
}

/// What is worth doing about a juniper.
pub fn worth(worth: Worth) -> &'static str {
    match worth {
        Worth::CutOrClip => {
            "Take the galls off each winter; taking it out saves that work and lowers the dose."
        }
        Worth::Clip => "Taking the galls off each winter is; felling it would change little.",
        Worth::TooFar => "No: too far for clipping to tell.",
        Worth::NotSaid => {
            "May you cut it? Write removable = true or false beside it in register.toml; until \
             then it is left alone."
        }
        Worth::NotYours => "Not yours: leave it, and choose trees that resist.",
        Worth::NoHost => "No: white cedar carries no juniper rust.",
    }
}

/// Width of a cell of the map.
const CELL: usize = 9;

/// Cells in a line of the map.
const CELLS: usize = 8;

/// The orchard by rows and spots: crop and verdict in words, `?` where a
/// partner is missing.
pub fn map(facts: &Facts, season: &Season, verdicts: &[TreeVerdict]) -> Vec<String> {
    let mut lines = head(facts, season);
    let mut rows: Vec<&str> = Vec::new();
    let trees = &facts.register.trees;
    for row in trees.iter().filter_map(|tree| tree.row.as_deref()) {
        if !rows.contains(&row) {
            rows.push(row);
        }
    }
    let gaps: Vec<&Tree> = trees
        .iter()
        .filter(|tree| tree.tended() && pollination::of_tree(facts, tree).gap())
        .collect();
    let gap = |tree: &Tree| gaps.iter().any(|one| one.id == tree.id);
    for row in rows {
        let mut standing: Vec<&Tree> = trees
            .iter()
            .filter(|tree| tree.row.as_deref() == Some(row))
            .collect();
        standing.sort_by_key(|tree| tree.spot.unwrap_or(u32::MAX));
        lines.push(String::new());
        lines.push(format!("Row {row}"));
        for part in standing.chunks(CELLS) {
            let line = |cell: &dyn Fn(&Tree) -> String| {
                let cells: Vec<String> = part.iter().map(|tree| fit(&cell(tree), CELL)).collect();
                format!(" {}", cells.join(" ").trim_end())
                    .trim_end()
                    .to_owned()
            };
            lines.push(line(&|tree| {
                let mark = if gap(tree) { " ?" } else { "" };
                format!("{}{mark}", tree.id)
            }));
            lines.push(line(&|tree| short_crop(facts, &tree.crop)));
            lines.push(line(&|tree| {
                verdicts
                    .iter()
                    .find(|one| one.tree == tree.id)
                    .map_or(tree.status.word(), |one| one.verdict.word())
                    .to_owned()
            }));
        }
    }
    let loose: Vec<&str> = trees
        .iter()
        .filter(|tree| tree.row.is_none())
        .map(|tree| tree.id.as_str())
        .collect();
    lines.push(String::new());
    if !loose.is_empty() {
        lines.extend(wrap(
            &format!("Without a row in the register: {}.", loose.join(" ")),
            "",
            "  ",
        ));
    }
    if gaps.is_empty() {
        lines.push("Every tree that needs a partner has one, as far as is published.".to_owned());
    } else {
        lines.push("? No partner for its pollination is known to stand near:".to_owned());
        for tree in &gaps {
            lines.extend(wrap(&gap_words(facts, tree), "  ", "    "));
        }
    }
    lines
}

fn short_crop(facts: &Facts, id: &str) -> String {
    let name = facts
        .knowledge
        .crop(id)
        .map_or_else(|| id.to_owned(), |crop| crop.name.clone());
    // "European plum" does not fit: what matters of it is the last word.
    match name.rsplit_once(' ') {
        Some((first, last)) if name.chars().count() > CELL => {
            let initial: String = first.chars().take(1).collect();
            format!("{initial}. {last}")
        }
        _ => name,
    }
}

/// Why a tree lacks a partner.
pub fn gap_words(facts: &Facts, tree: &Tree) -> String {
    let outlook = pollination::of_tree(facts, tree);
    let mut reasons: Vec<String> = Vec::new();
    for partner in &outlook.partners {
        let why = match super::choosing::why_not(partner.pair) {
            Some(why) => why,
            None if partner.pair == pollination::Pair::Unknown => "not known",
            None if !partner.near => "too far",
            None if outlook.need.partners > 1 => "serves, but it takes two",
            None => continue,
        };
        reasons.push(format!("{} {why}", partner.tree));
    }
    if reasons.is_empty() {
        reasons.push("it is the only one of its crop".to_owned());
    }
    reasons.truncate(4);
    format!(
        "{} '{}': {}",
        tree.id,
        tree.cultivar.as_deref().unwrap_or("?"),
        reasons.join("; ")
    )
}
