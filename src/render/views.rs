//! Parts of the calendar: the coming week, the coming month, one tree, one
//! chore, and the hours of the year.

use super::chart::fit;
use super::page::{self, head, wrap};
use super::sentence::{Words, named, spent, years_of};
use crate::facts::Facts;
use crate::facts::knowledge::{ChoreKind, Rating};
use crate::plan::calendar::{Plan, State, Task};
use crate::plan::days::share_out::{Fit, WeekLoad, week_of};
use crate::plan::taking::Taking;
use crate::season::Season;
use chrono::{Days, NaiveDate};

/// Days of the week that is shown.
const WEEK_DAYS: u64 = 7;

/// Weeks of the month that is shown.
const MONTH_WEEKS: u64 = 5;

/// Most tasks of one tree or chore and of one day that are shown; a register
/// of thousands of trees has few tasks all the same.
const MOST_OPEN: usize = 12;

/// The coming seven days: what is given to each, then what is open besides.
pub fn week(facts: &Facts, season: &Season, plan: &Plan) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = head(facts, season);
    let until = plan.today + Days::new(WEEK_DAYS - 1);
    let mut told: Vec<&str> = Vec::new();
    for date in plan.today.iter_days().take(WEEK_DAYS as usize) {
        let work = on(plan, date, date);
        if work.is_empty() {
            continue;
        }
        let minutes: f64 = work.iter().map(|(_, minutes)| minutes).sum();
        lines.push(String::new());
        lines.push(match spent(minutes) {
            _ if minutes <= 0.0 => date.format("%A %-d %B").to_string(),
            spent => format!("{}, {spent} of work", date.format("%A %-d %B")),
        });
        for (task, minutes) in work {
            lines.extend(entry(task, minutes, words));
            told.push(&task.id);
        }
    }
    if told.is_empty() {
        lines.push(String::new());
        lines.push("Nothing is given to these seven days.".to_owned());
    }
    let open: Vec<&Task> = plan
        .tasks
        .iter()
        .filter(|task| task.window.opens.spread.middle <= until && pending(task))
        .filter(|task| !told.contains(&task.id.as_str()))
        .collect();
    lines.extend(besides(&open, words));
    lines.extend(page::remarks(season, plan, words));
    lines
}

/// The coming weeks, each with its work and hours, and what opens in it.
pub fn month(facts: &Facts, season: &Season, plan: &Plan) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = head(facts, season);
    let monday = week_of(plan.today);
    for week in 0..MONTH_WEEKS {
        let from = (monday + Days::new(week * 7)).max(plan.today);
        let to = monday + Days::new(week * 7 + 6);
        let work = on(plan, from, to);
        let minutes: f64 = work.iter().map(|(_, minutes)| minutes).sum();
        lines.push(String::new());
        let room = plan
            .load
            .iter()
            .find(|load| load.monday == week_of(from))
            .map_or_else(String::new, |load| format!(" of {}", spent(load.room_min)));
        lines.push(format!(
            "{} to {}: {}{room}",
            from.format("%-d %b"),
            to.format("%-d %b"),
            spent(minutes)
        ));
        for (task, minutes) in &work {
            lines.extend(entry(task, *minutes, words));
        }
        let opens: Vec<&Task> = plan
            .tasks
            .iter()
            .filter(|task| (from..=to).contains(&task.window.opens.spread.middle))
            .filter(|task| pending(task) && !work.iter().any(|(done, _)| done.id == task.id))
            .collect();
        for task in opens {
            let text = format!("opens: {}  [{}]", words.say(task), task.id);
            lines.extend(wrap(&text, "  ", "      "));
        }
    }
    lines.extend(page::remarks(season, plan, words));
    lines
}

/// Everything that concerns one tree or juniper over the coming year.
pub fn tree(facts: &Facts, season: &Season, plan: &Plan, id: &str) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = head(facts, season);
    lines.push(String::new());
    lines.extend(wrap(&who(facts, id), "", "  "));
    let resists = resists(facts, id, plan.today);
    if !resists.is_empty() {
        let text = format!(
            "Resists {}: it needs no sprays against them.",
            resists.join(", ")
        );
        lines.extend(wrap(&text, "  ", "  "));
    }
    for text in despite_rating(facts, id, plan.today) {
        lines.extend(wrap(&text, "  ", "  "));
    }
    let tasks: Vec<&Task> = plan
        .tasks
        .iter()
        .filter(|task| task.trees.iter().any(|tree| tree == id))
        .collect();
    lines.extend(by_month(&tasks, plan, words));
    if tasks.is_empty() {
        lines.push("No task of the coming year is for it.".to_owned());
    }
    lines
}

/// All tasks of one chore over the coming year, with its purpose.
pub fn chore(facts: &Facts, season: &Season, plan: &Plan, id: &str) -> Vec<String> {
    let words = Words::new(facts, plan.today);
    let mut lines = head(facts, season);
    lines.push(String::new());
    if let Some(chore) = facts.knowledge.chore(id) {
        lines.push(chore.name.clone());
        lines.extend(wrap(&chore.why, "  ", "  "));
        let first: Vec<&str> = chore
            .comes_after
            .iter()
            .filter_map(|id| facts.knowledge.chore(id))
            .map(|chore| chore.name.as_str())
            .collect();
        if !first.is_empty() {
            let text = format!("Comes after: {}.", first.join("; "));
            lines.extend(wrap(&text, "  ", "  "));
        }
    }
    let tasks: Vec<&Task> = plan.tasks.iter().filter(|task| task.chore == id).collect();
    lines.extend(by_month(&tasks, plan, words));
    if tasks.is_empty() {
        lines.push(String::new());
        lines.extend(wrap(
            "It is not on the calendar of the coming year: nothing here needs it, or nothing has called for it yet.",
            "",
            "",
        ));
    }
    lines
}

/// The hours of the year, week by week: wanted at the best time, given, and
/// what found no place.
pub fn hours(facts: &Facts, season: &Season, plan: &Plan) -> Vec<String> {
    let mut lines = head(facts, season);
    lines.push(String::new());
    if plan.load.is_empty() {
        lines.extend(wrap(
            "Nothing is shared out: place.toml gives no hours (hours_per_week).",
            "",
            "",
        ));
        return lines;
    }
    lines.push(format!(
        "{} {:>8} {:>8} {:>8} {:>8}",
        fit("week from", 12),
        "you have",
        "at best",
        "given",
        "no place"
    ));
    for week in &plan.load {
        let mut line = format!(
            "{} {:>8} {:>8} {:>8} {:>8}",
            fit(&week.monday.format("%-d %b %Y").to_string(), 12),
            hour(week.room_min),
            hour(week.wanted_min),
            hour(week.given_min),
            hour(week.left_over_min)
        );
        line.push_str(&format!("  {}", bar(week.given_min)));
        lines.push(line.trim_end().to_owned());
    }
    let sum = |of: fn(&WeekLoad) -> f64| hour(plan.load.iter().map(of).sum());
    lines.push(format!(
        "{} {:>8} {:>8} {:>8} {:>8}",
        fit("all", 12),
        sum(|week| week.room_min),
        sum(|week| week.wanted_min),
        sum(|week| week.given_min),
        sum(|week| week.left_over_min)
    ));
    let room = facts.preferences.hours_per_week * 60.0;
    let over = |of: fn(&WeekLoad) -> f64| {
        let weeks = plan.load.iter().filter(|week| of(week) > room + 0.5);
        named(weeks.count() as u32, "week", "weeks")
    };
    lines.push(String::new());
    lines.extend(wrap(
        &format!(
            "In hours. \"At best\" is every task at its best time, \"given\" is what the calendar proposes. Above {}: {} at best, {} as given. One # is an hour.",
            spent(room),
            over(|week| week.wanted_min),
            over(|week| week.given_min)
        ),
        "",
        "",
    ));
    lines.extend(page::remarks(season, plan, Words::new(facts, plan.today)));
    lines
}

fn hour(minutes: f64) -> String {
    if minutes <= 0.0 {
        "-".to_owned()
    } else {
        format!("{:.1}", minutes / 60.0)
    }
}

fn bar(minutes: f64) -> String {
    "#".repeat((minutes / 60.0).round().clamp(0.0, 30.0) as usize)
}

fn pending(task: &Task) -> bool {
    matches!(task.state, State::Urgent | State::Open | State::Coming)
}

/// The work that is given to a span of days, the worthiest first; a task
/// without a length counts on its day.
fn on(plan: &Plan, from: NaiveDate, to: NaiveDate) -> Vec<(&Task, f64)> {
    let span = from..=to;
    let mut work: Vec<(&Task, f64)> = plan
        .tasks
        .iter()
        .filter(|task| pending(task))
        .filter_map(|task| {
            let days = task.fit.days.iter();
            let inside = days.filter(|(day, _)| span.contains(day));
            let minutes: Vec<f64> = inside.map(|(_, minutes)| *minutes).collect();
            let by_day = task.fit == Fit::default()
                && task.state != State::Coming
                && task.day.is_some_and(|day| span.contains(&day));
            (by_day || !minutes.is_empty()).then(|| (task, minutes.iter().sum()))
        })
        .collect();
    work.sort_by_key(|(task, _)| (task.state, 5 - task.worth.min(5)));
    work
}

/// A task in two lines: what and how long, and until when, with its name.
fn entry(task: &Task, minutes: f64, words: Words<'_>) -> Vec<String> {
    let long = if minutes > 0.0 {
        format!(", {}", spent(minutes))
    } else {
        String::new()
    };
    let mut lines = wrap(&format!("{}{long}", words.say(task)), "  ", "    ");
    let closes = words.near_day(task.window.closes.spread.middle);
    lines.extend(wrap(
        &format!("until {closes}  [{}]", task.id),
        "      ",
        "      ",
    ));
    lines
}

/// What is open besides, worthiest first, in one line each.
fn besides(open: &[&Task], words: Words<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    if open.is_empty() {
        return lines;
    }
    let mut open = open.to_vec();
    open.sort_by_key(|task| 5 - task.worth.min(5));
    lines.push(String::new());
    lines.push("Open besides, given to other days or to none".to_owned());
    for task in open.iter().take(MOST_OPEN) {
        let when = match (&task.hold, task.fit.days.first()) {
            (Some(hold), None) => words.hold(hold),
            (_, Some((day, _))) => format!("given to {}", words.near_day(*day)),
            (None, None) if task.fit.left_over_min > 0.0 => "no time is left for it".to_owned(),
            (None, None) => words.when(task),
        };
        let text = format!("{}: {when}  [{}]", words.say(task), task.id);
        lines.extend(wrap(&text, "  ", "    "));
    }
    if open.len() > MOST_OPEN {
        let more = open.len() - MOST_OPEN;
        lines.push(format!("  and {more} more: budtide calendar --list"));
    }
    lines
}

/// Tasks under the month of their day, or of their opening.
fn by_month(tasks: &[&Task], plan: &Plan, words: Words<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    let mut heading = String::new();
    for task in tasks.iter().filter(|task| task.state != State::Missed) {
        let opens = task.window.opens.spread.middle;
        let title = if opens <= plan.today {
            "Open now".to_owned()
        } else {
            opens.format("%B %Y").to_string()
        };
        if title != heading {
            lines.push(String::new());
            lines.push(title.clone());
            heading = title;
        }
        lines.extend(wrap(&words.say(task), "  ", "    "));
        let mut when = words.when(task);
        if let Some((day, _)) = task.fit.days.first().filter(|_| pending(task)) {
            let turns = task.fit.days.len();
            when.push_str(&format!("; given to {}", words.near_day(*day)));
            if turns > 1 {
                when.push_str(&format!(
                    " and {} more",
                    named(turns as u32 - 1, "day", "days")
                ));
            }
        } else if task.fit.left_over_min > 0.0 {
            when.push_str("; no time is left for it");
        }
        lines.extend(wrap(&format!("{when}  [{}]", task.id), "      ", "      "));
    }
    lines
}

/// The diseases that the sprays of the catalogue are for and that a tree
/// resists, by name.
fn resists(facts: &Facts, id: &str, today: NaiveDate) -> Vec<String> {
    let takings = takings(facts, id, today).into_iter();
    takings
        .filter(|(_, taking)| !taking.needs())
        .map(|(name, _)| name)
        .collect()
}

/// What a tree was seen to take in spite of its cultivar's rating, in words.
fn despite_rating(facts: &Facts, id: &str, today: NaiveDate) -> Vec<String> {
    let takings = takings(facts, id, today).into_iter();
    takings
        .filter(|(_, taking)| taking.against_rating())
        .map(|(name, taking)| {
            format!(
                "Rated {} to {name}, but you noted it there in {}: it is looked after like one \
                 that takes it.",
                taking.rating.map_or("", Rating::word),
                years_of(&taking.noted)
            )
        })
        .collect()
}

/// How a tree stands to the diseases that the sprays of the catalogue are for,
/// by their names.
fn takings(facts: &Facts, id: &str, today: NaiveDate) -> Vec<(String, Taking)> {
    let mut found: Vec<(String, Taking)> = Vec::new();
    let Some(tree) = facts.register.trees.iter().find(|tree| tree.id == id) else {
        return found;
    };
    let sprays =
        facts.knowledge.chores.iter().filter(|chore| {
            chore.kind == ChoreKind::Spray && chore.needs.crops.contains(&tree.crop)
        });
    for disease in sprays.filter_map(|chore| chore.needs.susceptible_to.as_deref()) {
        let known = facts.knowledge.disease(disease);
        let name = known
            .map_or(disease, |known| known.name.as_str())
            .to_lowercase();
        if !found.iter().any(|(one, _)| *one == name) {
            found.push((name, Taking::of(facts, tree, disease, today)));
        }
    }
    found
}

/// A tree or a juniper in a line.
fn who(facts: &Facts, id: &str) -> String {
    let register = &facts.register;
    if let Some(tree) = register.trees.iter().find(|tree| tree.id == id) {
        let crop = facts.knowledge.crop(&tree.crop);
        let name = crop.map_or(tree.crop.as_str(), |crop| &crop.name);
        let mut text = format!("{id}: {name}");
        if let Some(cultivar) = &tree.cultivar {
            text.push_str(&format!(" '{cultivar}'"));
        }
        if let Some(rootstock) = &tree.rootstock {
            text.push_str(&format!(" on {rootstock}"));
        }
        if let Some(planted) = tree.planted {
            text.push_str(&format!(", planted {}", planted.year()));
        }
        if tree.count > 1 {
            text.push_str(&format!(", {} plants", tree.count));
        }
        text.push_str(&format!(", {}", tree.status.word()));
        return text;
    }
    match register.junipers.iter().find(|one| one.id == id) {
        Some(juniper) => format!(
            "{id}: {}, {}",
            named(juniper.count, "juniper", "junipers"),
            juniper.place
        ),
        None => id.to_owned(),
    }
}
