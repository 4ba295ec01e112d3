//! Rust through the season: infection periods of the trees that take it, what
//! still helps, and when to look.

use super::page::wrap;
use super::sentence::{Words, years_of};
use crate::facts::Facts;
use crate::facts::knowledge::{Disease, Rating};
use crate::facts::register::Tree;
use crate::plan::sprays;
use crate::plan::taking::Taking;
use crate::season::Season;
use crate::season::infection::Class;
use crate::season::infections::InfectionPeriod;
use crate::season::tally::{self, DiseaseTally};
use chrono::{Datelike, NaiveDate, NaiveDateTime, TimeDelta};

/// The diseases that come from junipers.
pub fn rusts(facts: &Facts) -> impl Iterator<Item = &Disease> {
    let diseases = facts.knowledge.diseases.iter();
    diseases.filter(|disease| disease.needs_juniper)
}

/// The standing trees that take a disease by their rating, or that were seen
/// to in spite of it; those of unknown rating count as taking it, and are told
/// apart.
pub fn takers<'f>(
    facts: &'f Facts,
    disease: &Disease,
    today: NaiveDate,
) -> Vec<(&'f Tree, Taking)> {
    let trees = facts.register.trees.iter();
    trees
        .filter(|tree| tree.tended() && disease.hosts.contains(&tree.crop))
        .map(|tree| (tree, Taking::of(facts, tree, &disease.id, today)))
        .filter(|(_, taking)| taking.needs())
        .collect()
}

/// What may still be done about a period at an instant: material's name and
/// the last hour, least and most in print.
pub fn still_helps(
    facts: &Facts,
    period: &InfectionPeriod,
    now: NaiveDateTime,
) -> Vec<(String, NaiveDateTime, NaiveDateTime)> {
    let mut helps = Vec::new();
    for material in &facts.knowledge.materials {
        for back in &material.reaches_back {
            let hours = |hours: f64| {
                let minutes = TimeDelta::minutes((hours * 60.0).round() as i64);
                period.from.checked_add_signed(minutes)
            };
            let ends = hours(back.least_hours).zip(hours(back.most_hours));
            if let Some((least, most)) = ends
                && back.disease == period.disease
                && back.most_hours > 0.0
                && most > now
            {
                helps.push((material.name.clone(), least, most));
            }
        }
    }
    helps
}

/// The rust page.
pub fn page(facts: &Facts, season: &Season) -> Vec<String> {
    let words = Words::new(facts, season.today);
    let mut lines = vec![format!(
        "Juniper rust at {}, looked at on {}",
        facts.place.name,
        words.day(season.today)
    )];
    if facts.register.junipers.is_empty() {
        lines.extend(wrap(
            "No juniper stands in the register: without one near there is no juniper rust to tell of.",
            "",
            "  ",
        ));
        return lines;
    }
    let now = season.today.and_hms_opt(7, 0, 0).unwrap_or_default();
    for disease in rusts(facts) {
        let takers = takers(facts, disease, season.today);
        if takers.is_empty() {
            continue;
        }
        lines.push(String::new());
        lines.push(disease.name.clone());
        let of = |wanted: fn(&Taking) -> bool| -> Vec<&str> {
            let some = takers.iter().filter(|(_, taking)| wanted(taking));
            some.map(|(tree, _)| tree.id.as_str()).collect()
        };
        for (label, ids) in [
            (
                "Trees that take it",
                of(|taking| taking.rating.is_some() && !taking.against_rating()),
            ),
            (
                "No rating is known of",
                of(|taking| taking.rating.is_none()),
            ),
        ] {
            if !ids.is_empty() {
                lines.extend(wrap(&format!("{label}: {}", ids.join(", ")), "  ", "    "));
            }
        }
        for (tree, taking) in takers.iter().filter(|(_, one)| one.against_rating()) {
            let rated = taking.rating.map_or("", Rating::word);
            let years = years_of(&taking.noted);
            let text = format!(
                "{} is rated {rated}, but you noted it there in {years}",
                tree.id
            );
            lines.extend(wrap(&text, "  ", "    "));
        }
        let periods: Vec<&InfectionPeriod> = season
            .infections
            .iter()
            .filter(|period| period.disease == disease.id)
            .collect();
        let coming = ahead(facts, season, disease, &words);
        if periods.is_empty() && !hours_known(facts, season) {
            lines.extend(wrap(
                "Not known: infection is reckoned from hours of weather, and none are known of \
                 this season.",
                "  ",
                "  ",
            ));
        } else if periods.is_empty() {
            lines.push("  No infection period so far this season.".to_owned());
        }
        for period in periods {
            lines.extend(one(facts, period, now, &words));
        }
        lines.extend(coming);
    }
    lines.extend(tallies(facts, season));
    if let (Some(forecast), None) = (&facts.weather.forecast, &season.infections_ahead) {
        lines.push(String::new());
        lines.extend(wrap(
            &format!(
                "Of the days ahead nothing can be told: the forecast by {} has no hours.",
                forecast.source
            ),
            "",
            "  ",
        ));
    }
    lines.push(String::new());
    lines.extend(wrap(
        "Wetness is estimated from rain and damp air unless it is measured. The label decides \
         what may go on, and how often; one that only protects helps before rain, not after. \
         Not a diagnosis.",
        "",
        "",
    ));
    lines
}

fn one(
    facts: &Facts,
    period: &InfectionPeriod,
    now: NaiveDateTime,
    words: &Words<'_>,
) -> Vec<String> {
    let units = facts.place.units;
    let kind = match period.class {
        Class::Severe => "severe infection",
        Class::Infection => "infection",
        _ => "possible infection",
    };
    let mean = period.mean_c.map_or_else(String::new, |mean| {
        format!(" at {}", units.temperature(mean))
    });
    let mut text = format!(
        "{} {} to {} {}: {kind}, wet {:.0} hours{mean}{}",
        words.day(period.from.date()),
        period.from.format("%H:%M"),
        words.day(period.until.date()),
        period.until.format("%H:%M"),
        period.wet_hours,
        if period.open { ", may still go on" } else { "" }
    );
    if !period.sure {
        text.push_str("; hangs on the estimate of wetness");
    }
    let mut lines = wrap(&text, "  ", "    ");
    if period.class < Class::Infection {
        return lines;
    }
    for (name, least, most) in still_helps(facts, period, now) {
        let until = |at: NaiveDateTime| format!("{} {}", words.day(at.date()), at.format("%H:%M"));
        let text = if least <= now || least == most {
            format!("{name} may still help until {}", until(most))
        } else {
            format!(
                "{name} still helps until {}, perhaps until {}",
                until(least),
                until(most)
            )
        };
        lines.extend(wrap(&text, "    ", "      "));
    }
    if let Some((from, to)) = period.symptoms {
        let verb = if to < now.date() {
            "Spots were due"
        } else {
            "Look for spots"
        };
        lines.push(if from == to {
            format!("    {verb} on {}.", words.day(from))
        } else {
            format!("    {verb} from {} to {}.", words.day(from), words.day(to))
        });
    }
    lines
}

/// The infection periods of a disease that the forecast holds, and which trees
/// a cover would have to reach before.
fn ahead(facts: &Facts, season: &Season, disease: &Disease, words: &Words<'_>) -> Vec<String> {
    let units = facts.place.units;
    let coming = season.infections_ahead.iter().flatten();
    let mut lines = Vec::new();
    for coming in coming.filter(|coming| coming.period.disease == disease.id) {
        let period = &coming.period;
        let mean = period.mean_c.map_or_else(String::new, |mean| {
            format!(" at {}", units.temperature(mean))
        });
        let text = format!(
            "Ahead, {} to {}: {}, wet {:.0} hours{mean} by the forecast; {}",
            words.moment(period.from),
            words.moment(period.until),
            match period.class {
                Class::Severe => "severe infection",
                _ => "infection",
            },
            period.wet_hours,
            words.certainty(coming.certainty)
        );
        lines.extend(wrap(&text, "  ", "    "));
        let begins = period.from.date();
        let (open, covered): (Vec<&Tree>, Vec<&Tree>) = takers(facts, disease, season.today)
            .into_iter()
            .map(|(tree, _)| tree)
            .partition(|tree| {
                sprays::covered(facts, &tree.id, Some(&tree.crop), &disease.id, begins).is_none()
            });
        let list = |trees: &[&Tree]| {
            let ids: Vec<&str> = trees.iter().map(|tree| tree.id.as_str()).collect();
            ids.join(", ")
        };
        let text = match (open.is_empty(), covered.is_empty()) {
            (true, _) => "All that take it are covered by then.".to_owned(),
            (false, true) => format!("To cover before it: {}.", list(&open)),
            (false, false) => format!(
                "To cover before it: {}. Covered by then: {}.",
                list(&open),
                list(&covered)
            ),
        };
        lines.extend(wrap(&text, "    ", "      "));
    }
    lines
}

fn tallies(facts: &Facts, season: &Season) -> Vec<String> {
    let mut lines = Vec::new();
    for tree in facts.register.trees.iter().filter(|tree| tree.tended()) {
        let rust = |one: &DiseaseTally| rusts(facts).any(|disease| disease.id == one.disease);
        let found = tally::tally(facts, season, tree);
        for one in found.iter().filter(|one| rust(one) && !one.seen.is_empty()) {
            let name = facts
                .knowledge
                .disease(&one.disease)
                .map_or("", |known| &known.name);
            let worst = one.worst.map_or_else(
                || "seen, how bad was not noted".to_owned(),
                |worst| format!("at worst {:.0} %", worst * 100.0),
            );
            lines.push(format!(
                "  {} {name}: {} infection periods, {worst}",
                tree.id,
                one.periods.len()
            ));
        }
    }
    if !lines.is_empty() {
        lines.insert(0, "Seen on your trees this season".to_owned());
        lines.insert(0, String::new());
    }
    lines
}

/// Whether any hour of this season's weather is known.
fn hours_known(facts: &Facts, season: &Season) -> bool {
    facts.weather.hourly.as_ref().is_some_and(|hourly| {
        hourly
            .hours()
            .any(|hour| hour.start.year() == season.today.year())
    })
}
