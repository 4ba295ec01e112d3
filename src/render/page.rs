//! What a command shows: paragraphs and lists of at most 80 columns.

use super::chart;
use super::sentence::{Words, named};
use crate::facts::Facts;
use crate::facts::knowledge::{Chore, Material};
use crate::plan::calendar::{Plan, State, Task};
use crate::plan::changes::Change;
use crate::season::{Caveat, Season};
use chrono::Datelike;
use textwrap::Options;

/// Columns of a page.
pub const WIDTH: usize = 80;

/// The head of every page: whose orchard, which day, how much is known.
pub fn head(facts: &Facts, season: &Season) -> Vec<String> {
    let place = &facts.place;
    let trees: u32 = facts
        .register
        .trees
        .iter()
        .filter(|tree| tree.stands())
        .map(|tree| tree.count)
        .sum();
    let mut crops: Vec<&str> = facts
        .register
        .trees
        .iter()
        .map(|tree| tree.crop.as_str())
        .collect();
    crops.sort_unstable();
    crops.dedup();
    let junipers: u32 = facts
        .register
        .junipers
        .iter()
        .map(|juniper| juniper.count)
        .sum();
    let today = season.today;
    let weather = match season.seen_until {
        Some(seen) => format!(
            "Weather seen until {}; {} stand in for what is to come{}.",
            seen.format("%-d %b %Y"),
            named(season.past_years as u32, "past year", "past years"),
            match &facts.weather.forecast {
                Some(forecast) if forecast.issued == today => {
                    ", after a forecast of today".to_owned()
                }
                Some(forecast) => {
                    format!(", after a forecast of {}", forecast.issued.format("%-d %b"))
                }
                None => String::new(),
            }
        ),
        None => "No weather known.".to_owned(),
    };
    let mut lines = vec![format!("{}, {}", place.name, today.format("%A %-d %B %Y"))];
    lines.extend(wrap(
        &format!(
            "Zone {}; {} of {}, {} near. {weather}",
            place.hardiness,
            named(trees, "plant", "plants"),
            named(crops.len() as u32, "crop", "crops"),
            named(junipers, "juniper", "junipers"),
        ),
        "",
        "",
    ));
    lines.extend(super::weather::alerts(
        &facts.weather.alerts,
        place.time_zone,
    ));
    lines
}

/// A blank at which no line breaks: between a figure and its %.
const HELD: char = '\u{a0}';

/// Text wrapped to the page, the first line and the others indented.
pub fn wrap(text: &str, first: &str, rest: &str) -> Vec<String> {
    // Names of tasks hold hyphens and are typed again: no break within a word.
    let options = Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .word_separator(textwrap::WordSeparator::AsciiSpace);
    textwrap::wrap(&text.replace(" %", &format!("{HELD}%")), options)
        .into_iter()
        .map(|line| line.trim_end().replace(HELD, " "))
        .collect()
}

/// How the calendar is laid out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Layout {
    /// One lane a chore.
    Lanes,
    /// One lane a task, for one crop by its id.
    Crop(String),
    /// A list by month.
    List,
}

/// The calendar of the coming year.
pub fn calendar(facts: &Facts, season: &Season, plan: &Plan, layout: &Layout) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = head(facts, season);
    lines.push(String::new());
    let lanes = match layout {
        Layout::Lanes => chart::by_chore(plan, &facts.knowledge),
        Layout::Crop(crop) => chart::of_crop(plan, &facts.knowledge, crop),
        Layout::List => {
            lines.extend(month_list(plan, words));
            Vec::new()
        }
    };
    if !lanes.is_empty() {
        lines.extend(lanes);
        lines.push(String::new());
        lines.push(format!("{} {}", " ".repeat(26), chart::KEY));
    }
    if !matches!(layout, Layout::Crop(_)) {
        lines.extend(remarks(season, plan, words));
    }
    lines
}

/// Every task under the month in which it opens; what is open now first.
fn month_list(plan: &Plan, words: Words<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    let mut heading = String::new();
    for task in plan.tasks.iter().filter(|task| task.state != State::Missed) {
        let opens = task.window.opens.spread.middle;
        let title = if opens <= plan.today {
            "Open now".to_owned()
        } else {
            opens.format("%B %Y").to_string()
        };
        if title != heading {
            if !heading.is_empty() {
                lines.push(String::new());
            }
            lines.push(title.clone());
            heading = title;
        }
        lines.extend(entry(task, words));
    }
    lines
}

/// A task in two lines: what, and when with its name.
fn entry(task: &Task, words: Words<'_>) -> Vec<String> {
    let mut lines = wrap(&words.say(task), "  ", "    ");
    lines.extend(wrap(
        &format!("{}  [{}]", words.when(task), task.id),
        "      ",
        "      ",
    ));
    lines
}

/// Notes and caveats at the foot of a page.
pub(super) fn remarks(season: &Season, plan: &Plan, words: Words<'_>) -> Vec<String> {
    let notes = plan.notes.iter().map(|note| words.note(note));
    let caveats = season.caveats.iter().map(|caveat| words.caveat(caveat));
    let all: Vec<String> = notes.chain(caveats).collect();
    let mut lines = Vec::new();
    if !all.is_empty() {
        lines.push(String::new());
        for remark in all {
            lines.extend(wrap(&remark, "Note: ", "      "));
        }
    }
    lines.extend(credits(words.facts()));
    lines
}

/// Whose weather it is, at the foot of a page that shows what follows from it.
pub(super) fn credits(facts: &Facts) -> Vec<String> {
    let credits = &facts.weather.credits;
    if credits.is_empty() {
        return Vec::new();
    }
    let mut lines = vec![String::new()];
    lines.extend(credits.iter().flat_map(|credit| wrap(credit, "", "  ")));
    lines
}

/// What is to be done today: everything open, with why and what to beware of.
pub fn today(facts: &Facts, season: &Season, plan: &Plan) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = head(facts, season);
    lines.extend(super::frost::this_morning(facts, season, plan));
    let now: Vec<&Task> = plan
        .tasks
        .iter()
        .filter(|task| task.state == State::Urgent)
        .collect();
    let open: Vec<&Task> = plan
        .tasks
        .iter()
        .filter(|task| task.state == State::Open)
        .collect();
    if now.is_empty() && open.is_empty() {
        lines.push(String::new());
        lines.push("Nothing is due. Enjoy the trees.".to_owned());
    }
    for (title, tasks) in [("Cannot wait", &now), ("Open now", &open)] {
        if tasks.is_empty() {
            continue;
        }
        lines.push(String::new());
        lines.push(title.to_owned());
        for task in tasks {
            lines.push(String::new());
            lines.extend(brief(task, words));
        }
    }
    lines.extend(cautions(facts, now.iter().chain(&open).copied()));
    let next = plan.tasks.iter().find(|task| task.state == State::Coming);
    if let Some(task) = next {
        lines.push(String::new());
        lines.extend(wrap(
            &format!("Next: {}, {}.", words.say(task), words.when(task)),
            "",
            "      ",
        ));
    }
    lines.extend(remarks(season, plan, words));
    lines.push(String::new());
    lines.push("More of any of them: budtide why NAME (the name in brackets).".to_owned());
    lines
}

/// A task in a paragraph: what, when, which trees, why, what to beware of.
fn brief(task: &Task, words: Words<'_>) -> Vec<String> {
    let mut lines = wrap(&format!("{}  [{}]", words.say(task), task.id), "* ", "  ");
    lines.extend(wrap(&words.when(task), "  When: ", "        "));
    if let Some(hold) = &task.hold {
        lines.extend(wrap(&words.hold(hold), "  ", "  "));
    }
    if !task.trees.is_empty() {
        lines.extend(wrap(&words.ids(&[task]), "  Trees: ", "         "));
    }
    if let Some(why) = words.why(task) {
        lines.extend(wrap(&capital(&why), "  Why: ", "       "));
    }
    if !task.cautions.is_empty() {
        lines.extend(wrap(
            &task.cautions.join(", "),
            "  Take care: ",
            "             ",
        ));
    }
    lines
}

/// Each caution that the tasks of a page call for, once.
fn cautions<'t>(facts: &Facts, tasks: impl Iterator<Item = &'t Task>) -> Vec<String> {
    let mut ids: Vec<&str> = Vec::new();
    for id in tasks.flat_map(|task| &task.cautions) {
        if !ids.contains(&id.as_str()) {
            ids.push(id);
        }
    }
    let mut lines = Vec::new();
    for caution in ids.into_iter().filter_map(|id| facts.knowledge.caution(id)) {
        let label = format!("  {}: ", caution.id);
        lines.extend(wrap(&caution.short, &label, "      "));
    }
    if !lines.is_empty() {
        lines.insert(0, "Take care".to_owned());
        lines.insert(0, String::new());
    }
    lines
}

/// All there is to say of one task.
pub fn why(facts: &Facts, season: &Season, plan: &Plan, task: &Task) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = wrap(&words.say(task), "", "  ");
    lines.push(format!("[{}]", task.id));
    lines.push(String::new());
    lines.extend(wrap(&words.when(task), "When:      ", "           "));
    if let Some(hold) = &task.hold {
        lines.extend(wrap(&words.hold(hold), "           ", "           "));
    }
    if !task.trees.is_empty() {
        lines.extend(wrap(&task.trees.join(" "), "Trees:     ", "           "));
    }
    let window = &task.window;
    for (label, bound) in [
        ("Opens:     ", &window.opens),
        ("Best:      ", &window.best),
        ("Closes:    ", &window.closes),
    ] {
        let text = format!("{}; {}.", words.spread(bound.spread), words.bound(bound));
        lines.extend(wrap(&text, label, "           "));
    }
    lines.extend(wrap(&words.sureness(window), "How sure:  ", "           "));
    for (at, reason) in words.reasons(&task.reasons).iter().enumerate() {
        let label = if at == 0 {
            "Because:   "
        } else {
            "           "
        };
        lines.extend(wrap(&format!("{}.", capital(reason)), label, "           "));
    }
    for caveat in season.caveats.iter().filter(|caveat| about(caveat, task)) {
        let text = words.caveat(caveat);
        lines.extend(wrap(&text, "Mind:      ", "           "));
    }
    if let Some(chore) = facts.knowledge.chore(&task.chore) {
        lines.extend(method(facts, task, chore, words));
    }
    lines
}

/// Whether a caveat bears on a task: one of the season as a whole, or of the
/// task's crop.
fn about(caveat: &Caveat, task: &Task) -> bool {
    let crop = match caveat {
        Caveat::NoWeather
        | Caveat::FewYears { .. }
        | Caveat::Stale { .. }
        | Caveat::OldForecast { .. }
        | Caveat::ForecastGivenUp { .. } => return true,
        Caveat::Refused(refused) => &refused.report.crop,
        Caveat::OddObservation { crop, .. }
        | Caveat::LittleChill { crop, .. }
        | Caveat::MayNotBloom { crop, .. }
        | Caveat::NoUsualBloom { crop } => crop,
    };
    task.crop.as_ref() == Some(crop)
}

/// How a chore is done, what with, what goes wrong, and where it is from.
fn method(facts: &Facts, task: &Task, chore: &Chore, words: Words<'_>) -> Vec<String> {
    let indent = "           ";
    let mut lines = vec![String::new()];
    let mut part = |label: &str, text: &str| {
        if !text.is_empty() {
            lines.extend(wrap(text, label, indent));
        }
    };
    part("What for:  ", &chore.why);
    part("How:       ", &chore.how);
    part("Good day:  ", &chore.good_day);
    part("Tools:     ", &chore.tools.join(", "));
    part("Too early: ", &chore.too_early);
    part("Too late:  ", &chore.too_late);
    if let Some((least, most)) = task.minutes {
        part(
            "Time:      ",
            &format!("{} in all, roughly", minutes(least, most)),
        );
    }
    for (at, id) in task.materials.iter().enumerate() {
        if let Some(material) = facts.knowledge.materials.iter().find(|one| one.id == *id) {
            part(
                if at == 0 { "Materials: " } else { indent },
                &material_line(material),
            );
        }
    }
    for (at, id) in task.cautions.iter().enumerate() {
        if let Some(caution) = facts.knowledge.caution(id) {
            part(if at == 0 { "Take care: " } else { indent }, &caution.text);
        }
    }
    part("From:      ", &words.source(&chore.source));
    lines
}

/// An active ingredient with what the label will ask: never a brand or rate.
fn material_line(material: &Material) -> String {
    let mut text = format!("{} ({})", material.name, material.code);
    for (label, value) in [
        ("days to harvest", &material.days_to_harvest),
        ("re-entry", &material.re_entry),
        ("most uses", &material.most_uses),
        ("burns", &material.burns),
        ("bees", &material.bees),
    ] {
        if !value.is_empty() {
            text.push_str(&format!("; {label}: {}", value.trim_end_matches('.')));
        }
    }
    text.push_str(". The label of the product in your hand decides.");
    text
}

/// `45 to 90 min`, `3 to 8 h`.
fn minutes(least: f64, most: f64) -> String {
    if most < 120.0 {
        format!("{least:.0} to {most:.0} min")
    } else {
        format!(
            "{:.0} to {:.0} h",
            (least / 60.0).floor().max(1.0),
            (most / 60.0).ceil()
        )
    }
}

/// The differences between two calendars.
pub fn changes(facts: &Facts, before: &Plan, after: &Plan, changes: &[Change]) -> Vec<String> {
    let words = Words::new(facts, after.today);
    let mut lines = vec![format!(
        "What changed from {} to {}",
        words.day(before.today),
        words.day(after.today)
    )];
    if changes.is_empty() {
        lines.push("Nothing that moves by three days or more.".to_owned());
    }
    for change in changes {
        let task = [after, before]
            .iter()
            .find_map(|plan| plan.tasks.iter().find(|task| task.id == change.task));
        let title = task.map_or_else(|| change.task.clone(), |task| words.say(task));
        lines.push(String::new());
        for line in words.change(change, &title).lines() {
            let indent = if line.starts_with("  ") { "  " } else { "" };
            lines.extend(wrap(line.trim_start(), indent, "    "));
        }
    }
    lines
}

/// The growth stages of this season, crop by crop.
pub fn stages(facts: &Facts, season: &Season) -> Vec<String> {
    let words = Words::new(facts, season.today);
    let mut lines = head(facts, season);
    for group in &season.groups {
        let Some(crop) = facts.knowledge.crop(&group.crop) else {
            continue;
        };
        let title = match (&group.cultivar, group.label()) {
            (Some(cultivar), _) => format!("{} '{cultivar}'", crop.name),
            (None, Some(label)) => format!("{} {}", label, crop.plural),
            (None, None) => crop.plural.clone(),
        };
        lines.push(String::new());
        lines.push(format!("{}, {}", capital(&title), season.today.year()));
        for (name, bbch, spread, seen) in season.stage_list(group, season.today.year()) {
            let when = match (spread, seen) {
                (_, Some(date)) => match season.days_noted(group, season.today.year(), name) {
                    0 | 1 => format!("seen {}", words.day(date)),
                    days => format!("seen about {} ({days} days noted)", words.day(date)),
                },
                (Some(spread), None) => words.spread(spread),
                (None, None) => continue,
            };
            lines.push(format!(
                "  {} {} {when}",
                chart::fit(name, 28),
                chart::fit(bbch, 6)
            ));
        }
    }
    let caveats: Vec<String> = season
        .caveats
        .iter()
        .map(|caveat| words.caveat(caveat))
        .collect();
    if !caveats.is_empty() {
        lines.push(String::new());
        for caveat in caveats {
            lines.extend(wrap(&caveat, "Note: ", "      "));
        }
    }
    lines
}

/// The text with its first letter large.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}
