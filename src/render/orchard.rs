//! Verdicts, map, junipers and replanting, as text of at most 80 columns.

use super::chart::fit;
use super::page::{capital, head, wrap};
use super::sentence::{Words, named};
use crate::facts::Facts;
use crate::facts::register::{Status, Tree};
use crate::plan::junipers::{Junipers, Worth};
use crate::plan::pollination;
use crate::plan::replacement::{self, Step};
use crate::plan::verdict::{Finding, Here, Look, Sure, TreeVerdict, Verdict, Waiting};
use crate::season::Season;
use crate::units::plain;

/// Words for the verdicts of one orchard.
#[derive(Clone, Copy, Debug)]
pub struct Saying<'f> {
    facts: &'f Facts,
}

impl<'f> Saying<'f> {
    /// Words for the keeper of these facts.
    pub fn new(facts: &'f Facts) -> Self {
        Saying { facts }
    }

    fn disease(&self, id: &str) -> String {
        self.facts
            .knowledge
            .disease(id)
            .map_or_else(|| id.to_owned(), |one| one.name.clone())
    }

    fn length(&self, cm: f64) -> String {
        match self.facts.place.units {
            crate::units::UnitSystem::Us => format!("{} in", plain((cm / 2.54).round())),
            crate::units::UnitSystem::Metric => format!("{} cm", plain(cm.round())),
        }
    }

    /// A finding as a sentence without its stop.
    pub fn finding(&self, finding: &Finding) -> String {
        match finding {
            Finding::Keeper(status) => format!(
                "your register says {}",
                match status {
                    Status::Replace => "to be replaced",
                    other => other.word(),
                }
            ),
            Finding::Weak {
                disease,
                rating,
                here,
            } => format!(
                "the cultivar is {} to {}, {}",
                rating.word(),
                self.disease(disease),
                self.here(here)
            ),
            Finding::Infected {
                disease,
                rating,
                years,
            } => {
                let years: Vec<String> = years
                    .iter()
                    .map(|(year, periods, severe)| match severe {
                        0 => format!("{year} {periods}"),
                        severe => format!("{year} {periods} ({severe} severe)"),
                    })
                    .collect();
                format!(
                    "infection periods of {}, counted from hours, on a cultivar that is {} to it: \
                     {}",
                    self.disease(disease),
                    rating.word(),
                    years.join(", ")
                )
            }
            Finding::Weighed {
                disease,
                ungraded,
                borne,
                bad_years,
            } => {
                let list = |years: &[i32]| -> String {
                    let years: Vec<String> = years.iter().map(i32::to_string).collect();
                    years.join(", ")
                };
                let mut parts = Vec::new();
                if !ungraded.is_empty() {
                    parts.push(format!("noted and not graded in {}", list(ungraded)));
                }
                if !borne.is_empty() {
                    parts.push(format!("not bad on the tree in {}", list(borne)));
                }
                let weight = match *bad_years {
                    more if more > 0.0 => format!("counts for {} bad years more", plain(more)),
                    less if less < 0.0 => format!("takes {} bad years off", plain(-less)),
                    _ => "the two outweigh each other".to_owned(),
                };
                format!(
                    "many infection periods of {}, {}: {weight}",
                    self.disease(disease),
                    parts.join("; ")
                )
            }
            Finding::Strong { disease, rating } => {
                format!("it is {} to {}", rating.word(), self.disease(disease))
            }
            Finding::Unrated { disease } => {
                format!("no rating for {} was found", self.disease(disease))
            }
            Finding::UnknownCultivar => {
                "the cultivar is not noted or in no list: its ratings are unknown".to_owned()
            }
            Finding::NotTheOther { resists, takes } => format!(
                "resistant to {} is not resistant to {}: another fungus",
                self.disease(resists),
                self.disease(takes)
            ),
            Finding::Recorded { what, years } => {
                let years: Vec<String> = years
                    .iter()
                    .map(|(year, worst)| match worst {
                        Some(worst) => format!("{year} {} %", plain((worst * 100.0).round())),
                        None => format!("{year} not graded"),
                    })
                    .collect();
                format!("{} noted: {}", self.disease(what), years.join(", "))
            }
            Finding::AgainstRating { disease, rating } => format!(
                "it is published as {} to {}, yet had it badly: is the name right, and is it that \
                 disease",
                rating.word(),
                self.disease(disease)
            ),
            Finding::NotJunipers { what, rather } => {
                let rather: Vec<String> = rather.iter().map(|id| self.disease(id)).collect();
                let rather = if rather.is_empty() {
                    "have a leaf looked at".to_owned()
                } else {
                    format!("look for {}", rather.join(", "))
                };
                format!(
                    "not the junipers' fault: no juniper rust lives on this crop, whatever \"{}\" \
                     is; {rather}",
                    self.disease(what)
                )
            }
            Finding::Shoots { years, wanted } => {
                let years: Vec<String> = years
                    .iter()
                    .map(|(year, cm)| format!("{year} {}", self.length(*cm)))
                    .collect();
                format!(
                    "shoots grew {}; wanted {} to {}",
                    years.join(", "),
                    self.length(wanted.0),
                    self.length(wanted.1)
                )
            }
            Finding::NoCrop { years, frost } => {
                let all: Vec<String> = years.iter().map(i32::to_string).collect();
                let frost: Vec<String> = frost.iter().map(i32::to_string).collect();
                let blame = if frost.is_empty() {
                    String::new()
                } else {
                    format!(
                        "; frost was noted in {}, no fault of the tree",
                        frost.join(", ")
                    )
                };
                format!("no crop in {}{blame}", all.join(", "))
            }
            Finding::TooYoung { seasons, bears } => format!(
                "{} old: no crop before season {} means nothing",
                named((*seasons).max(0) as u32, "season", "seasons"),
                plain(*bears)
            ),
            Finding::Old { seasons } => format!(
                "{} old, beyond the usual span of its kind; age alone is no fault",
                named((*seasons).max(0) as u32, "season", "seasons")
            ),
            Finding::TooCold {
                coldest,
                of_cultivar,
            } => format!(
                "your zone is {}, and zone {coldest} is the coldest that {}: each hard winter may \
                 hurt it",
                self.facts.place.hardiness,
                if *of_cultivar {
                    "is printed for the cultivar"
                } else {
                    "usually carries its kind"
                }
            ),
            Finding::NoPartner => {
                "no partner for its pollination is known to stand near: a poor crop would be no \
                 fault of the tree"
                    .to_owned()
            }
            Finding::Damage { year, cause, share } => {
                let much = share.map_or_else(String::new, |share| {
                    format!(", {} %", plain((share * 100.0).round()))
                });
                format!("{} damage in {year}{much}", cause.word())
            }
            Finding::NothingNoted => {
                "nothing is noted about the tree itself: what is published or counted here \
                 speaks alone"
                    .to_owned()
            }
        }
    }

    fn here(&self, here: &Here) -> String {
        match here {
            Here::Noted(years) => {
                format!("noted here in {}", named(*years as u32, "year", "years"))
            }
            Here::Counted(count) => format!(
                "with {} counted here",
                named(*count as u32, "infection period", "infection periods")
            ),
            Here::Junipers(metres) => format!(
                "and junipers stand from {} away",
                self.facts.place.units.distance(*metres)
            ),
        }
    }

    /// What would settle an open question.
    pub fn look(look: Look) -> &'static str {
        match look {
            Look::GradeLeaves => {
                "grade leaf spots from 0 to 5 in early summer and before leaf fall"
            }
            Look::MeasureShoots => "measure last year's shoots in late winter",
            Look::NoteCrop => "note each year's crop as a share of a full one",
            Look::CutBuds => "cut some blossoms after a frost: were they alive",
            Look::Bloom => "see at bloom whether another cultivar blooms with it, and bees fly",
            Look::Bark => "look at bark and crown all round: is it girdled, soft or oozing",
            Look::Name => "find out its name: label, receipt, fruit shown to someone who knows",
            Look::Clinic => "take a leaf to the county extension or a plant clinic",
            Look::Lean => "stake it upright in wet soil, and see whether it holds a season",
        }
    }

    fn sure(sure: Sure) -> &'static str {
        match sure {
            Sure::Plain => "plain, by your own word",
            Sure::Fair => "fair: several years' notes or published ratings",
            Sure::Little => "little: it may turn when more is noted",
        }
    }

    /// What waiting a year costs.
    pub fn waiting(&self, verdict: &TreeVerdict, tree: &Tree) -> String {
        let bears = self
            .facts
            .knowledge
            .crop(&tree.crop)
            .and_then(|crop| crop.years_to_bear.as_ref())
            .map_or_else(String::new, |(least, most, _)| {
                format!(
                    "; a new one takes {} to {} years to bear",
                    plain(*least),
                    plain(*most)
                )
            });
        match verdict.waiting {
            Waiting::Nothing => {
                format!("a year costs nothing, and its notes make the verdict surer{bears}")
            }
            Waiting::SmallCrop => "a year costs a weak crop, and the trouble may grow".to_owned(),
            Waiting::Spreads => {
                format!("dead wood harbours borers and disease for its neighbours{bears}")
            }
            Waiting::LaterCrop => {
                format!("the new tree bears later by each year of waiting{bears}")
            }
        }
    }
}

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
                    "{} (by what is published; distances reckoned from rows and spots).",
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
