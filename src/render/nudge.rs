//! Nudges in words: from what is due to the lines of a message.

use super::icalendar::CalendarEntry;
use super::message::Line;
use super::page::capital;
use super::sentence::{Words, crop_left, named, share_range};
use crate::facts::Facts;
use crate::plan::calendar::{Plan, State, Task};
use crate::plan::changes::{Change, What};
use crate::plan::nudge::{About, Kind, Lost, Nudge};
use crate::season::evidence::FrostNight;
use crate::season::warned;
use chrono::NaiveDate;

/// Most changes of a new calendar that are named.
const MOST_CHANGES: usize = 8;

/// Most crops that the heading of a frost names.
const MOST_CROPS: usize = 3;

/// Most things named in a line that gathers several chores.
const MOST_NAMED: usize = 5;

/// The label of a kind of nudge, as it stands before the heading.
pub fn label(kind: Kind) -> &'static str {
    match kind {
        Kind::Urgent => "Now",
        Kind::Replan => "New calendar",
        Kind::LastCall => "Last call",
        Kind::BestDay => "Good day",
        Kind::AllClear => "No frost",
        Kind::Opening => "Open now",
        Kind::Moved => "Moved",
        Kind::Ready => "Have ready",
        Kind::Over => "Over",
    }
}

/// One line for nudges of one kind: of one chore, or gathered.
pub fn line(facts: &Facts, today: NaiveDate, nudges: &[Nudge]) -> Line {
    let words = Words::in_letters(facts, today);
    let Some(first) = nudges.first() else {
        return Line::default();
    };
    match &first.about {
        About::Frost(nights) => frost(facts, words, nights),
        About::AllClear { date, low_c } => Line {
            label: label(Kind::AllClear).to_owned(),
            heading: format!(
                "The frost warned of for {} did not come",
                words.near_day(*date)
            ),
            when: String::new(),
            why: format!(
                "The low was {}; covers can come off when it is warm",
                facts.place.units.temperature(*low_c)
            ),
            ..Line::default()
        },
        About::Replan { lost, changes } => {
            let mut line = replan(facts, words, lost);
            let told = changed(facts, words, changes);
            let more = told.len().saturating_sub(MOST_CHANGES);
            line.details.extend(told.into_iter().take(MOST_CHANGES));
            if more > 0 {
                line.details
                    .push(format!("{more} more changes; `budtide changes` shows them"));
            }
            line.windows = changes
                .iter()
                .map(|(change, task)| {
                    let mut entry = entry(facts, today, task);
                    entry.cancelled = change.what == What::Dropped;
                    entry
                })
                .collect();
            line
        }
        About::Task(_) => {
            let tasks: Vec<&Task> = nudges.iter().filter_map(Nudge::task).collect();
            match first.kind {
                Kind::Ready => ready(facts, words, &tasks),
                Kind::Over => over(facts, words, &tasks),
                kind => {
                    let mut line = chore(facts, words, kind, &tasks);
                    if nudges.iter().all(Nudge::is_said_again) {
                        line.label = "Last day".to_owned();
                    }
                    line
                }
            }
        }
    }
}

/// One chore for the trees of one or several crops.
fn chore(facts: &Facts, words: Words<'_>, kind: Kind, tasks: &[&Task]) -> Line {
    let Some(first) = tasks
        .iter()
        .min_by_key(|task| task.window.closes.spread.middle)
    else {
        return Line::default();
    };
    let known = facts.knowledge.chore(&first.chore);
    let heading = known.map_or_else(
        || words.say(first),
        |chore| words.filled(&chore.say, tasks) + words.spot(first),
    );
    let why = words.why(first);
    let mut cautions: Vec<String> = Vec::new();
    for id in tasks.iter().flat_map(|task| &task.cautions) {
        if let Some(caution) = facts.knowledge.caution(id)
            && !cautions.contains(&caution.short)
        {
            cautions.push(caution.short.clone());
        }
    }
    let mut details = Vec::new();
    if kind == Kind::Opening
        && let Some(day) = known.map(|chore| chore.good_day.as_str())
        && !day.is_empty()
        && day != "any"
        && first
            .day
            .is_none_or(|day| day > first.window.opens.spread.middle)
    {
        details.push(format!("A good day is {day}"));
    }
    if let Some((least, most)) = total_minutes(tasks) {
        details.push(format!("Takes about {}", time(least, most)));
    }
    let materials = materials(facts, tasks);
    if !materials.is_empty() {
        details.push(format!(
            "What may be used, where the label allows it: {materials}"
        ));
    }
    Line {
        label: label(kind).to_owned(),
        heading,
        when: match kind {
            Kind::Moved => moved(words, first),
            _ => words.when(first),
        },
        hold: first
            .hold
            .as_ref()
            .filter(|_| {
                first
                    .day
                    .is_none_or(|day| day > first.window.opens.spread.middle)
            })
            .map(|hold| words.hold(hold))
            .unwrap_or_default(),
        trees: words.ids(tasks),
        why: why
            .or_else(|| known.map(|chore| chore.why.clone()))
            .map(|why| capital(&why))
            .unwrap_or_default(),
        details,
        cautions,
        tasks: tasks.iter().map(|task| task.id.clone()).collect(),
        windows: tasks
            .iter()
            .map(|task| entry(facts, words.today(), task))
            .collect(),
    }
}

fn moved(words: Words<'_>, task: &Task) -> String {
    match task.state {
        State::Coming => format!(
            "not yet after all: {}",
            words.near_span(
                task.window.opens.spread.middle,
                task.window.closes.spread.middle
            )
        ),
        _ => format!("sooner than told: {}", words.when(task)),
    }
}

/// Things to have at hand, several chores in one line.
fn ready(facts: &Facts, words: Words<'_>, tasks: &[&Task]) -> Line {
    let mut details: Vec<String> = Vec::new();
    let mut chores: Vec<&str> = Vec::new();
    for task in tasks {
        if chores.contains(&task.chore.as_str()) {
            continue;
        }
        chores.push(&task.chore);
        let opens = words.near_day(task.window.opens.spread.middle);
        let name = facts
            .knowledge
            .chore(&task.chore)
            .map_or(task.chore.as_str(), |chore| chore.name.as_str());
        let materials = materials(facts, &[task]);
        details.push(if materials.is_empty() {
            format!("{name}: about {opens}")
        } else {
            format!("{name}, about {opens}: {materials}")
        });
    }
    let more = details.len().saturating_sub(MOST_NAMED);
    details.truncate(MOST_NAMED);
    if more > 0 {
        details.push(format!("and {more} more"));
    }
    let heading = match details.as_slice() {
        [one] => {
            let one = one.clone();
            details.clear();
            one
        }
        _ => "what the coming weeks need".to_owned(),
    };
    Line {
        label: label(Kind::Ready).to_owned(),
        heading,
        details,
        ..Line::default()
    }
}

/// What has closed without a word, in one line.
fn over(facts: &Facts, words: Words<'_>, tasks: &[&Task]) -> Line {
    let mut names: Vec<String> = Vec::new();
    for task in tasks {
        let name = facts
            .knowledge
            .chore(&task.chore)
            .map_or_else(|| words.say(task), |chore| chore.lane.clone());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let more = names.len().saturating_sub(MOST_NAMED);
    names.truncate(MOST_NAMED);
    if more > 0 {
        names.push(format!("{more} more"));
    }
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    Line {
        label: label(Kind::Over).to_owned(),
        heading: format!("The time has passed for: {}", listed(&names)),
        details: vec!["If it was done, note it: budtide done NAME".to_owned()],
        tasks: tasks.iter().map(|task| task.id.clone()).collect(),
        ..Line::default()
    }
}

/// Frost in the coming night.
fn frost(facts: &Facts, words: Words<'_>, nights: &[FrostNight]) -> Line {
    let units = facts.place.units;
    let lowest = nights
        .iter()
        .map(|night| night.low_c)
        .fold(f64::NAN, f64::min);
    let crop = |id: &str| {
        let crop = facts.knowledge.crop(id);
        crop.map_or_else(|| id.to_owned(), |crop| crop.plural.clone())
    };
    let hit = once(nights.iter().map(|night| crop(&night.crop)));
    let mut hit: Vec<&str> = hit.iter().map(String::as_str).collect();
    let others = format!("{} other crops", hit.len().saturating_sub(MOST_CROPS - 1));
    if hit.len() > MOST_CROPS {
        hit.truncate(MOST_CROPS - 1);
        hit.push(&others);
    }
    let chore = facts.knowledge.chore("frost-tonight");
    let mut cautions = Vec::new();
    for id in chore.iter().flat_map(|chore| &chore.cautions) {
        if let Some(caution) = facts.knowledge.caution(id) {
            cautions.push(caution.short.clone());
        }
    }
    // Crops that fare alike stand in one line.
    let mut shares: Vec<(String, Vec<String>)> = Vec::new();
    for night in nights {
        let share = share_range(night).trim_end_matches(',').to_owned();
        let who = format!("{} ({})", crop(&night.crop), night.stage);
        match shares.iter_mut().find(|(held, _)| *held == share) {
            Some((_, crops)) => crops.push(who),
            None => shares.push((share, vec![who])),
        }
    }
    let kills = shares.into_iter().map(|(share, crops)| {
        let crops: Vec<&str> = crops.iter().map(String::as_str).collect();
        capital(&format!(
            "{share} of the buds may die on {}",
            listed(&crops)
        ))
    });
    let warned = nights.first().and_then(|night| {
        let (alerts, zone) = (&facts.weather.alerts, facts.place.time_zone);
        warned::of_night(alerts, night.date, zone)
    });
    let warned = warned.map(|reason| capital(&words.reason(&reason)) + ".");
    Line {
        label: String::new(),
        heading: format!(
            "Frost tonight, {}: {}",
            units.temperature(lowest),
            listed(&hit)
        ),
        when: format!(
            "before dusk {}; the low comes towards the morning of {}",
            words.near_day(words.today()),
            nights.first().map_or_else(String::new, |night| night
                .date
                .format("%a %-d %b")
                .to_string())
        ),
        why: String::new(),
        details: chore
            .map(|chore| chore.how.clone())
            .into_iter()
            .chain(warned)
            .chain(kills)
            .collect(),
        cautions,
        windows: nights
            .first()
            .map(|night| CalendarEntry {
                uid: format!("frost-{}", night.date),
                summary: format!("Frost, {}", units.temperature(lowest)),
                description: String::new(),
                days: vec![night.date],
                cancelled: false,
            })
            .into_iter()
            .collect(),
        ..Line::default()
    }
}

/// What a killing frost has left, crop by crop.
fn replan(facts: &Facts, words: Words<'_>, lost: &[Lost]) -> Line {
    let units = facts.place.units;
    let crop = |id: &str| {
        let crop = facts.knowledge.crop(id);
        crop.map_or_else(|| id.to_owned(), |crop| crop.plural.clone())
    };
    let lines = lost.iter().map(|lost| {
        let worst = lost.toll.worst();
        let after = match lost.toll.counted() {
            Some((dead, cut)) => format!("{dead} dead of {cut} buds counted"),
            None => format!(
                "{} in the night to {}, at {}",
                units.temperature(worst.low_c),
                words.near_day(worst.date),
                worst.stage
            ),
        };
        format!(
            "{}: {} left after {after}",
            capital(&crop(&lost.crop)),
            crop_left(lost.left, lost.span)
        )
    });
    let frosts = lost.first().map_or_else(
        || "the frost of this spring has".to_owned(),
        |lost| words.spring_frosts(&lost.toll),
    );
    let all_counted = lost.iter().all(|lost| lost.toll.counted().is_some());
    Line {
        label: label(Kind::Replan).to_owned(),
        heading: format!("{} taken fruit, and work changes", capital(&frosts)),
        when: match all_counted {
            true => String::new(),
            false => "count live buds first: the figures are worked out from the low, not seen"
                .to_owned(),
        },
        details: lines.collect(),
        ..Line::default()
    }
}

/// The changes of a calendar, chore by chore.
fn changed(facts: &Facts, words: Words<'_>, changes: &[(Change, Task)]) -> Vec<String> {
    let sort = |what: &What| match what {
        What::Added { .. } => "New",
        What::Moved { .. } => "Moved",
        What::Dropped => "No longer needed",
    };
    let mut groups: Vec<(&str, &What, Vec<&Task>)> = Vec::new();
    for (change, task) in changes {
        let same = groups.iter_mut().find(|(word, _, tasks)| {
            *word == sort(&change.what) && tasks.iter().any(|held| held.chore == task.chore)
        });
        match same {
            Some((_, _, tasks)) => tasks.push(task),
            None => groups.push((sort(&change.what), &change.what, vec![task])),
        }
    }
    // What need not be done any more is the best of the news.
    groups.sort_by_key(|(_, what, _)| match what {
        What::Dropped => 0,
        What::Added { .. } => 1,
        What::Moved { .. } => 2,
    });
    groups
        .into_iter()
        .map(|(word, what, tasks)| {
            let trees = once(tasks.iter().map(|task| words.trees(task)));
            let trees: Vec<&str> = trees.iter().map(String::as_str).collect();
            let name = tasks
                .first()
                .and_then(|task| facts.knowledge.chore(&task.chore))
                .map_or("", |chore| chore.name.as_str());
            let trees = listed(&trees);
            match what {
                What::Added { opens, closes } => format!(
                    "{word}: {name} ({trees}), {}",
                    words.near_span(*opens, *closes)
                ),
                What::Dropped => format!("{word}: {name} ({trees})"),
                What::Moved { opens, closes } => format!(
                    "{word}: {name} ({trees}), now {}",
                    words.near_span(opens.1, closes.1)
                ),
            }
        })
        .collect()
}

/// A task as an entry of a calendar: its proposed days, and the window in
/// words that hold on any day.
pub fn entry(facts: &Facts, today: NaiveDate, task: &Task) -> CalendarEntry {
    let words = Words::for_files(facts, today);
    let window = &task.window;
    let mut description = format!(
        "Open {}",
        words.span(window.opens.spread.middle, window.closes.spread.middle)
    );
    if let Some(hold) = &task.hold {
        description.push_str(&format!("\n{}", capital(&words.hold(hold))));
    }
    if task.fit.left_over_min > 0.0 && task.fit.days.is_empty() {
        description.push_str("\nNo time of yours is left for it; this is its best day");
    }
    if let Some((least, most)) = task.minutes {
        description.push_str(&format!("\nTakes about {}", time(least, most)));
    }
    if !task.trees.is_empty() {
        description.push_str(&format!("\nTrees: {}", words.ids(&[task])));
    }
    if let Some(why) = words.why(task) {
        description.push_str(&format!("\nWhy: {}", capital(&why)));
    }
    description.push_str(&format!("\nMore: budtide why {}", task.id));
    CalendarEntry {
        uid: task.id.clone(),
        summary: words.say(task),
        description,
        days: proposed(task, today),
        cancelled: false,
    }
}

/// The days proposed for a task: those of the keeper's hours that it was
/// given, the day that the forecast allows, or its best day in the window.
fn proposed(task: &Task, today: NaiveDate) -> Vec<NaiveDate> {
    if !task.fit.days.is_empty() {
        return task.fit.days.iter().map(|(day, _)| *day).collect();
    }
    let window = &task.window;
    let best = window.best.spread.middle.max(window.opens.spread.middle);
    let best = best.min(window.closes.spread.middle).max(today);
    vec![task.day.unwrap_or(best)]
}

/// The whole calendar as entries: all that is still to be done.
pub fn entries(facts: &Facts, plan: &Plan) -> Vec<CalendarEntry> {
    plan.tasks
        .iter()
        .filter(|task| matches!(task.state, State::Urgent | State::Open | State::Coming))
        .map(|task| entry(facts, plan.today, task))
        .collect()
}

/// One line on what comes next, for a status display.
pub fn next(facts: &Facts, plan: &Plan) -> String {
    let words = Words::new(facts, plan.today);
    let open = plan
        .tasks
        .iter()
        .filter(|task| matches!(task.state, State::Urgent | State::Open))
        .count();
    let next = plan
        .tasks
        .iter()
        .filter(|task| task.state == State::Coming)
        .min_by_key(|task| task.window.opens.spread.middle);
    let open = match open {
        0 => String::new(),
        n => format!("; {n} open"),
    };
    match next {
        Some(task) => {
            // It stands for as long as nothing changes, so it names the day.
            let when = words.day_of_week(task.window.opens.spread.middle);
            let say = words.say(task);
            let mut letters = say.chars();
            let low = letters
                .next()
                .map(|c| c.to_lowercase().collect::<String>() + letters.as_str())
                .unwrap_or_default();
            format!("next: {low}, opens {when}{open}")
        }
        None => format!("nothing is coming up{open}"),
    }
}

fn materials(facts: &Facts, tasks: &[&Task]) -> String {
    let mut names: Vec<&str> = Vec::new();
    for id in tasks.iter().flat_map(|task| &task.materials) {
        let known = facts.knowledge.materials.iter().find(|one| one.id == *id);
        let name = known.map_or(id.as_str(), |material| material.name.as_str());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let more = names.len().saturating_sub(MOST_NAMED);
    names.truncate(MOST_NAMED);
    let mut text = names.join(", ");
    if more > 0 {
        text.push_str(&format!(" and {more} more"));
    }
    text
}

fn total_minutes(tasks: &[&Task]) -> Option<(f64, f64)> {
    let all: Option<Vec<(f64, f64)>> = tasks.iter().map(|task| task.minutes).collect();
    let all = all?;
    (!all.is_empty()).then(|| {
        all.iter()
            .fold((0.0, 0.0), |(a, b), (least, most)| (a + least, b + most))
    })
}

/// `45 min to 2 h`, roughly.
fn time(least: f64, most: f64) -> String {
    if most < 90.0 {
        let step = if most > 10.0 { 5.0 } else { 1.0 };
        let most = ((most / step).round() * step).max(1.0);
        return named(most as u32, "minute", "minutes");
    }
    let hours = |minutes: f64| (minutes / 60.0).round().max(1.0);
    let (least, most) = (hours(least), hours(most));
    if least == most {
        named(most as u32, "hour", "hours")
    } else {
        format!("{least:.0} to {most:.0} hours")
    }
}

/// Each word once, in the order of its first coming.
fn once(words: impl Iterator<Item = String>) -> Vec<String> {
    let mut kept: Vec<String> = Vec::new();
    for word in words {
        if !kept.contains(&word) {
            kept.push(word);
        }
    }
    kept
}

fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
