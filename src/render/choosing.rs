//! How a choice of cultivars is said: reasons and unknowns, never a score.

use super::page::{capital, head, wrap};
use super::sentence::named;
use crate::facts::Facts;
use crate::facts::knowledge::{ChillUnit, Rating, SelfFertile, Weighed};
use crate::plan::choose::{Choice, Fit, Ground, Pressure};
use crate::plan::pollination::Pair;
use crate::season::Season;
use crate::season::years::group_index;
use crate::units::plain;

/// Lines of reasons in a list: the three that matter most.
const MOST_REASONS: usize = 3;

fn percent(share: f64) -> String {
    format!("{} %", plain((share * 100.0).round()))
}

/// The list: the ground, then the cultivars, the fittest first.
pub fn list(
    ground: &Ground<'_>,
    season: &Season,
    choices: &[Choice<'_>],
    most: usize,
) -> Vec<String> {
    let facts = ground.facts;
    let mut lines = head(facts, season);
    lines.push(String::new());
    let at = ground
        .spot
        .as_ref()
        .map_or_else(String::new, |(row, spot)| {
            format!(" at row {row}, spot {spot}")
        });
    lines.push(format!(
        "{} for this place{at}: {} on the list",
        capital(&ground.crop.plural),
        choices.len()
    ));
    lines.push(String::new());
    for remark in ground_words(ground) {
        lines.extend(wrap(&remark, "", "  "));
    }
    if choices.is_empty() {
        lines.push(String::new());
        lines.extend(wrap(
            &format!(
                "No cultivar of {} is on the list; what you add in cultivars.toml is judged.",
                ground.crop.name
            ),
            "",
            "  ",
        ));
    }
    let mut title = None;
    let mut number = 0;
    for choice in choices.iter().take(most) {
        if title != Some(choice.fit) {
            lines.push(String::new());
            lines.push(fit_title(choice.fit).to_owned());
            title = Some(choice.fit);
        }
        number += 1;
        let stands = if choice.stands { " (stands here)" } else { "" };
        lines.extend(wrap(
            &format!(
                "{number}. {}{stands}: {}.",
                choice.name,
                brief(ground, choice)
            ),
            "",
            "   ",
        ));
    }
    if choices.len() > most {
        let left: Vec<&Choice<'_>> = choices.iter().skip(most).collect();
        let count = |fit: Fit| left.iter().filter(|one| one.fit == fit).count();
        let parts: Vec<String> = [Fit::Suits, Fit::WithCare, Fit::Poor, Fit::Unfit]
            .into_iter()
            .filter(|fit| count(*fit) > 0)
            .map(|fit| format!("{} {}", count(fit), fit.word()))
            .collect();
        lines.push(String::new());
        lines.extend(wrap(
            &format!(
                "{} more are not shown: {}. `--most {}` shows all.",
                left.len(),
                parts.join(", "),
                choices.len()
            ),
            "",
            "  ",
        ));
    }
    lines.push(String::new());
    lines.extend(foot(ground));
    lines
}

fn fit_title(fit: Fit) -> &'static str {
    match fit {
        Fit::Suits => "Suits: nothing known speaks against it",
        Fit::WithCare => "With care: something to do, or something not known",
        Fit::Poor => "Poor choice: something speaks plainly against it",
        Fit::Unfit => "Not here: too cold by the zone in print",
    }
}

/// What holds for all cultivars of the crop.
pub fn ground_words(ground: &Ground<'_>) -> Vec<String> {
    let facts = ground.facts;
    let units = facts.place.units;
    let years = ground.years;
    let mut said = Vec::new();
    if let (Some(spare), Some((zone, _))) = (ground.zone_spare(), &ground.crop.coldest_zone)
        && spare < 0
    {
        said.push(format!(
            "{} is not for zone {}: zone {zone} is the coldest that usually carries it. Another \
             crop will give more joy here; only a cultivar whose own zone in print reaches down \
             to {} stands a chance.",
            capital(&ground.crop.name),
            facts.place.hardiness,
            facts.place.hardiness.number()
        ));
    }
    let coldest = years.lows.iter().min_by(|a, b| a.low_c.total_cmp(&b.low_c));
    said.push(match (coldest, years.record_zone) {
        (Some(low), Some(zone)) => {
            let differ = if zone.number() < facts.place.hardiness.number() {
                " The record is colder than your zone: believe the record."
            } else {
                ""
            };
            format!(
                "Cold: zone {}; {} of record make zone {zone}, the coldest {} in {}.{differ}",
                facts.place.hardiness,
                named(years.lows.len() as u32, "winter", "winters"),
                units.temperature(low.low_c),
                low.winter
            )
        }
        _ => format!(
            "Cold: zone {}; no winter of record is known.",
            facts.place.hardiness
        ),
    });
    if let (Some(hours), Some(portions)) = (
        years.usual_chill(ChillUnit::Hours),
        years.usual_chill(ChillUnit::Portions),
    ) {
        said.push(format!(
            "Chill: {} hours or {} portions in the middle one of {}.",
            plain(hours.round()),
            plain(portions.round()),
            named(years.winters.len() as u32, "winter", "winters")
        ));
    } else {
        said.push("Chill: no winter of record is known.".to_owned());
    }
    said.push(match years.frost_shares(None) {
        Some((tenth, most)) => format!(
            "Frost on buds and bloom, mid-season kinds: more than a tenth lost in {} of {} \
             springs, more than nine tenths in {}. By modelled bloom; your spot may be colder.",
            plain((tenth * years.springs.len() as f64).round()),
            years.springs.len(),
            plain((most * years.springs.len() as f64).round())
        ),
        None => "Frost in bloom: not known without weather of past springs.".to_owned(),
    });
    if !ground.pressures.is_empty() {
        let parts: Vec<String> = ground
            .pressures
            .iter()
            .map(|one| pressure(facts, one))
            .collect();
        said.push(format!(
            "Diseases, the pressing ones first: {}.",
            parts.join("; ")
        ));
        said.push(if years.hourly_years > 0 {
            format!(
                "Infection periods are counted from {} of hours of this place.",
                named(years.hourly_years as u32, "season", "seasons")
            )
        } else {
            format!(
                "{} known here, so infection is not counted: a middling pressure, as is usual in \
                 the humid east, is assumed. Rain by the day does not tell how long leaves stayed \
                 wet, so it is not used instead.",
                if facts.weather.hourly.is_some() {
                    "No past season's hours, March to July, are"
                } else {
                    "No hours of weather are"
                }
            )
        });
    }
    if let Some(before) = &ground.before {
        said.push(format!(
            "{before} stands or stood at the spot: if it was of the same kind, rest the hole two \
             years, or plant off the old station."
        ));
    }
    said
}

fn pressure(facts: &Facts, one: &Pressure) -> String {
    let mut text = one.name.clone();
    let mut parts = Vec::new();
    if let Some(count) = one.a_season {
        parts.push(format!("{count:.0} infection periods a season"));
    }
    if one.noted > 0 {
        parts.push(format!(
            "noted in {}",
            named(one.noted as u32, "year", "years")
        ));
    }
    match one.juniper_m {
        Some(Some(metres)) => parts.push(format!(
            "junipers from {}{}",
            facts.place.units.distance(metres),
            if metres <= facts.knowledge.judging.of(Weighed::NearJuniper) {
                ", near"
            } else {
                ""
            }
        )),
        Some(None) => parts.push("no juniper in your register, but spores fly far".to_owned()),
        None => {}
    }
    if parts.is_empty() {
        parts.push("not counted".to_owned());
    }
    text.push_str(&format!(" ({})", parts.join(", ")));
    text
}

/// A cultivar in a line or two: its strengths and weaknesses, what is not
/// known, its bloom and partner.
fn brief(ground: &Ground<'_>, choice: &Choice<'_>) -> String {
    let judging = &ground.facts.knowledge.judging;
    let named_for = |keep: &dyn Fn(Option<Rating>) -> bool| -> Vec<&str> {
        choice
            .diseases
            .iter()
            .filter(|one| keep(one.rating))
            .filter_map(|one| ground.pressures.get(one.pressure))
            .map(|one| one.name.as_str())
            .collect()
    };
    let strong = named_for(&|rating| rating.is_some_and(|one| one <= Rating::Resistant));
    let weak = named_for(&|rating| rating.is_some_and(|one| one >= Rating::Susceptible));
    let unknown = named_for(&|rating| rating.is_none());
    let mut parts = Vec::new();
    if !weak.is_empty() {
        parts.push(format!("takes {}", weak.join(", ")));
    }
    if !strong.is_empty() {
        parts.push(format!("resists {}", strong.join(", ")));
    }
    if !unknown.is_empty() && !ground.pressures.is_empty() {
        parts.push(if unknown.len() == ground.pressures.len() {
            "no rating found for any disease here".to_owned()
        } else if unknown.len() > MOST_REASONS {
            format!(
                "no rating for {} of {}",
                unknown.len(),
                ground.pressures.len()
            )
        } else {
            format!("no rating for {}", unknown.join(", "))
        });
    }
    if let Some(text) = cold_short(choice) {
        parts.push(text);
    }
    if let Some(chill) = &choice.chill {
        match chill.met {
            Some(met) if met < judging.of(Weighed::ChillEnough) && chill.of_cultivar => {
                parts.push(format!("chill met in {} of winters", percent(met)));
            }
            _ if chill.wakes_early => {
                parts.push("needs little chill and may wake in a warm spell".to_owned());
            }
            _ => {}
        }
    }
    if choice.bloom.is_some()
        && let (Some(own), Some(usual)) = (choice.frost, ground.years.frost_shares(None))
        && (own.0 - usual.0).abs() >= judging.of(Weighed::FrostTold)
    {
        let than = if own.0 < usual.0 { "less" } else { "more" };
        parts.push(format!(
            "{than} frost than mid kinds, {} of springs",
            percent(own.0)
        ));
    }
    if choice.pollination.gap() {
        parts.push("no partner for it here".to_owned());
    } else if choice.pollination.need.self_fertile.is_none() {
        parts.push("whether it needs a partner is not known".to_owned());
    }
    if parts.is_empty() {
        parts.push("nothing is published that speaks for or against it".to_owned());
    }
    parts.join("; ")
}

fn cold_short(choice: &Choice<'_>) -> Option<String> {
    let zone = choice.cold.coldest_zone?;
    match choice.cold.spare {
        Some(spare) if spare < 0 => Some(format!("hardy to zone {zone} only")),
        Some(0) if choice.cold.of_cultivar => Some(format!("at its coldest zone, {zone}")),
        _ => None,
    }
}

fn foot(ground: &Ground<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    let room: Vec<String> = ground
        .spacing()
        .iter()
        .map(|one| {
            let units = ground.facts.place.units;
            format!(
                "{} to {} on {}",
                units.distance(one.in_row_m.0),
                units.distance(one.in_row_m.1),
                one.on
            )
        })
        .collect();
    if !room.is_empty() {
        lines.extend(wrap(
            &format!("Room in the row: {}.", room.join("; ")),
            "",
            "  ",
        ));
    }
    lines.extend(wrap(
        "The order is our weighing of all this, not a measurement; ratings vary from place to \
         place. No rating found does not mean resistant. One in full: add --cultivar NAME.",
        "",
        "  ",
    ));
    lines
}

/// One cultivar in full.
pub fn one(
    ground: &Ground<'_>,
    season: &Season,
    choice: &Choice<'_>,
    near: &[String],
) -> Vec<String> {
    let facts = ground.facts;
    let units = facts.place.units;
    let mut lines = head(facts, season);
    lines.push(String::new());
    lines.push(format!(
        "{}, {}: {}",
        choice.name,
        ground.crop.name,
        choice.fit.word()
    ));
    let mut part = |label: &str, text: String| {
        lines.extend(wrap(&text, &format!("{label:<12}"), "            "));
    };
    if choice.cultivar.is_none() {
        let meant = if near.is_empty() {
            String::new()
        } else {
            format!(" Did you mean {}?", near.join(" or "))
        };
        part(
            "Unknown:",
            format!(
                "no list here has it, so all its ratings are taken as unknown.{meant} What you \
                 know of it can stand in cultivars.toml."
            ),
        );
    }
    part("Cold:", cold(choice, ground));
    part("Chill:", chill(choice));
    part("Bloom:", bloom(choice, ground));
    for (at, one) in choice.diseases.iter().enumerate() {
        let Some(pressure) = ground.pressures.get(one.pressure) else {
            continue;
        };
        let rating = one.rating.map_or_else(
            || "no rating found".to_owned(),
            |rating| {
                let printed: Vec<String> = one
                    .published
                    .iter()
                    .map(|(text, source)| format!("\"{text}\" {source}"))
                    .collect();
                let differ = if one.sources_differ {
                    "; the sources differ, the worse is taken"
                } else {
                    ""
                };
                format!("{} ({}{differ})", rating.word(), printed.join(", "))
            },
        );
        part(
            if at == 0 { "Diseases:" } else { "" },
            format!("{}: {rating}.", pressure.name),
        );
    }
    if ground.crop.id == "apple" || ground.crop.id == "pear" {
        part(
            "",
            "Hawthorn rust: rated for no cultivar; each rust is its own, and scab is another matter."
                .to_owned(),
        );
    }
    for (at, text) in pollination(choice, facts).into_iter().enumerate() {
        part(if at == 0 { "Pollen:" } else { "" }, text);
    }
    part("Ripens:", ripens(choice));
    if let Some(notes) = choice.cultivar.and_then(|one| one.notes.as_ref()) {
        part("Notes:", notes.clone());
    }
    let room: Vec<String> = ground
        .spacing()
        .iter()
        .map(|one| {
            format!(
                "{} to {} on {}",
                units.distance(one.in_row_m.0),
                units.distance(one.in_row_m.1),
                one.on
            )
        })
        .collect();
    if !room.is_empty() {
        part("Room:", format!("{}.", room.join("; ")));
    }
    lines
}

fn cold(choice: &Choice<'_>, ground: &Ground<'_>) -> String {
    let Some(zone) = choice.cold.coldest_zone else {
        return "no zone is in print for it nor for its crop.".to_owned();
    };
    let whose = if choice.cold.of_cultivar {
        "in print for it"
    } else {
        "of its crop; none is in print for the cultivar"
    };
    let spare = match choice.cold.spare {
        Some(spare) if spare < 0 => format!(
            "this place, zone {}, is too cold",
            ground.facts.place.hardiness
        ),
        Some(0) => "this place is just that".to_owned(),
        _ => format!("this place is zone {}", ground.facts.place.hardiness),
    };
    let record = choice.cold.colder.map_or_else(String::new, |(below, all)| {
        format!("; {below} of {all} winters of record went below the low of zone {zone}")
    });
    format!("coldest zone {zone} ({whose}); {spare}{record}.")
}

fn chill(choice: &Choice<'_>) -> String {
    let Some(chill) = &choice.chill else {
        return "no need is published.".to_owned();
    };
    let (least, most) = chill.need;
    let need = if (most - least).abs() < 0.5 {
        plain(least.round())
    } else {
        format!("{} to {}", plain(least.round()), plain(most.round()))
    };
    let whose = if chill.of_cultivar {
        "published for it"
    } else {
        "the range of its crop; none is published for it"
    };
    let met = chill.met.map_or_else(
        || "whether winters here give it is not known".to_owned(),
        |met| format!("met in {} of winters here", percent(met)),
    );
    let early = if chill.wakes_early {
        "; that is little for this place, so a warm spell in winter may start its buds early"
    } else {
        ""
    };
    format!(
        "needs {need} {} ({whose}); {met}{early}.",
        chill.unit.word()
    )
}

fn bloom(choice: &Choice<'_>, ground: &Ground<'_>) -> String {
    let group = choice.bloom.map_or(
        "when within its crop is not published, taken as the middle".to_owned(),
        |group| format!("{} within its crop", group.word()),
    );
    let at = group_index(choice.bloom);
    let Some((tenth, most)) = choice.frost else {
        return format!("{group}; frost in past springs is not known.");
    };
    let worst = ground
        .years
        .springs
        .iter()
        .filter_map(|spring| Some((spring.year, *spring.kill.get(at)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let worst = worst
        .filter(|(_, kill)| *kill > 0.1)
        .map_or_else(String::new, |(year, kill)| {
            format!(", the worst {year} with {}", percent(kill))
        });
    format!(
        "{group}; frost took more than a tenth of buds or bloom in {} of springs, more than nine \
         tenths in {}{worst}.",
        percent(tenth),
        percent(most)
    )
}

fn pollination(choice: &Choice<'_>, facts: &Facts) -> Vec<String> {
    let outlook = &choice.pollination;
    let whose = if outlook.need.of_cultivar {
        ""
    } else {
        " (as its crop; nothing is published for the cultivar)"
    };
    let mut said = vec![match outlook.need.self_fertile {
        Some(SelfFertile::Yes) => format!("sets with its own pollen{whose}."),
        Some(SelfFertile::Partly) => {
            format!("sets a light crop alone; a partner helps{whose}.")
        }
        Some(SelfFertile::No) if outlook.need.partners > 1 => format!(
            "its own pollen serves nobody: it takes two other cultivars that also serve each other{whose}."
        ),
        Some(SelfFertile::No) => format!("needs another cultivar in bloom with it{whose}."),
        None => "whether it needs a partner is not known.".to_owned(),
    }];
    if outlook.need.self_fertile == Some(SelfFertile::Yes) {
        return said;
    }
    for (title, keep) in [
        (
            "Serve it",
            (|pair| pair == Pair::Serves) as fn(Pair) -> bool,
        ),
        ("May serve it, bloom not published", |pair| {
            pair == Pair::BloomUnknown
        }),
    ] {
        let trees: Vec<String> = outlook
            .partners
            .iter()
            .filter(|partner| keep(partner.pair))
            .map(|partner| {
                let far = match partner.distance_m {
                    Some(metres) if !partner.near => {
                        format!(", too far at about {}", facts.place.units.distance(metres))
                    }
                    _ => String::new(),
                };
                format!("{} ({}{far})", partner.cultivar, partner.tree)
            })
            .collect();
        if !trees.is_empty() {
            said.push(format!("{title}: {}.", trees.join(", ")));
        }
    }
    let not: Vec<String> = outlook
        .partners
        .iter()
        .filter_map(|partner| Some(format!("{} ({})", partner.cultivar, why_not(partner.pair)?)))
        .collect();
    if !not.is_empty() {
        said.push(format!("Do not: {}.", not.join(", ")));
    }
    if outlook.gap() {
        said.push(if choice.add.is_empty() {
            "No partner stands here, and the list knows none.".to_owned()
        } else {
            format!(
                "No partner stands within {}: plant one of {} with it.",
                facts.place.units.distance(outlook.need.within_m),
                choice.add.join(", ")
            )
        });
    }
    said
}

/// Why a tree does not serve, in a few words.
pub fn why_not(pair: Pair) -> Option<&'static str> {
    match pair {
        Pair::Serves | Pair::BloomUnknown | Pair::Unknown => None,
        Pair::Same => Some("the same"),
        Pair::SameAlleles => Some("same S-alleles"),
        Pair::PoorPollen => Some("no useful pollen"),
        Pair::Never => Some("do not serve each other"),
        Pair::NotNamed => Some("not among the partners named for it"),
        Pair::Apart => Some("blooms at another time"),
    }
}

fn ripens(choice: &Choice<'_>) -> String {
    let Some((when, _)) = choice.cultivar.and_then(|one| one.ripens.as_ref()) else {
        return "not published.".to_owned();
    };
    let near = choice
        .ripens_near
        .as_ref()
        .filter(|_| choice.ripens_day.is_some())
        .map_or_else(String::new, |(other, days)| {
            let days = days.round();
            if days.abs() < 8.0 {
                format!("; about with your {other}")
            } else if days > 0.0 {
                format!(
                    "; some {} days after your {other}, the nearest here",
                    plain(days)
                )
            } else {
                format!(
                    "; some {} days before your {other}, the nearest here",
                    plain(-days)
                )
            }
        });
    format!("{when}{near}. Dates shift with place and year.")
}
