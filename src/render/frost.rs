//! The coming nights in words: what matters, what can be done and what not.

use super::page::{capital, wrap};
use super::sentence::{Words, crop_left, named, share_range, shares};
use crate::facts::Facts;
use crate::facts::knowledge::CropKind;
use crate::facts::register::Tree;
use crate::plan::Plan;
use crate::plan::calendar::State;
use crate::season::evidence::{Evidence, FrostNight};
use crate::season::frost_nights::EIGHT_OF_TEN;
use crate::season::frost_toll::FrostToll;
use crate::season::{Alarm, Group, NightOutlook, Season, site_offset};
use chrono::{Datelike, Days, NaiveDate};

/// Crops whose kill is expected below this are left out of a night's table.
const SHOWN: f64 = 0.005;

/// What is done on the morning after.
const AFTERWARDS: &str = "Note the low you read: `budtide note low 27F --spot D`. Once buds have \
     warmed for some hours, cut a hundred: a dead pistil is brown or black, a live one green to \
     cream. `budtide note buds peach 60/100` says dead of cut.";

/// Years from planting in which a tree is small enough for a cover.
const SMALL_YEARS: i32 = 3;

/// Words of a note that tell of cold ground.
const COLD_WORDS: [&str; 6] = [
    "low spot",
    "hollow",
    "frost",
    "cold pool",
    "cold air",
    "dip",
];

/// The frost page: tonight and the coming nights.
pub fn page(facts: &Facts, season: &Season) -> Vec<String> {
    let words = Words::new(facts, season.today);
    let mut lines = vec![format!(
        "Frost at {}, looked at on {}",
        facts.place.name,
        words.day(season.today)
    )];
    let Some(nights) = season.frost_outlook(facts) else {
        lines.extend(wrap(
            "There is no forecast to look at, so nothing can be said of the coming nights. \
             `budtide note low 28F` after a cold one says what it did.",
            "",
            "  ",
        ));
        lines.extend(past(facts, season));
        lines.extend(super::page::credits(facts));
        return lines;
    };
    match site_offset(facts) {
        Some((offset, mornings)) => lines.extend(wrap(
            &format!(
                "Your own thermometer: on the colder of {} your trees were {} {} than the \
                 station; that is counted in.",
                named(
                    u32::try_from(mornings).unwrap_or(u32::MAX),
                    "morning",
                    "mornings"
                ),
                step(facts, offset.abs()),
                if offset < 0.0 { "colder" } else { "warmer" }
            ),
            "",
            "  ",
        )),
        None => lines.extend(wrap(
            "Lows are forecast for a shelter. Buds in a hollow on a clear, calm night can be \
             some degrees colder: note your own with `budtide note low`.",
            "",
            "  ",
        )),
    }
    let alarming: Vec<&NightOutlook> = nights
        .iter()
        .filter(|night| night.alarm > Alarm::Clear)
        .collect();
    lines.push(String::new());
    lines.push("Nights".to_owned());
    for night in &nights {
        lines.push(format!(
            "  to {:<7} low {:>7} ({} to {})  {}",
            words.day(night.date),
            facts.place.units.temperature(night.low_c),
            facts
                .place
                .units
                .temperature(night.low_c - EIGHT_OF_TEN * night.spread_k),
            facts
                .place
                .units
                .temperature(night.low_c + EIGHT_OF_TEN * night.spread_k),
            match night.alarm {
                // Too late to act on: its own part says what to do.
                Alarm::Act | Alarm::Severe if night.date == season.today => "this morning",
                alarm => alarm_word(alarm),
            }
        ));
    }
    if alarming.is_empty() {
        lines.push(String::new());
        lines.extend(wrap(&all_clear(facts, &nights, &words), "", "  "));
        lines.extend(past(facts, season));
        lines.extend(super::page::credits(facts));
        return lines;
    }
    for night in &alarming {
        lines.push(String::new());
        lines.extend(table(facts, night, &words));
    }
    let act = |night: &&&NightOutlook| night.alarm >= Alarm::Act;
    if alarming
        .iter()
        .filter(act)
        .any(|night| night.date > season.today)
    {
        lines.extend(what_to_do(facts, season.today));
    } else if alarming.iter().any(|night| night.alarm >= Alarm::Act) {
        lines.push(String::new());
        lines.push("This morning".to_owned());
        lines.extend(wrap(AFTERWARDS, "  - ", "    "));
    }
    lines.extend(past(facts, season));
    lines.extend(super::page::credits(facts));
    lines
}

fn step(facts: &Facts, kelvin: f64) -> String {
    match facts.place.units {
        crate::units::UnitSystem::Us => format!("{:.0} °F", kelvin * 1.8),
        crate::units::UnitSystem::Metric => format!("{kelvin:.1} °C"),
    }
}

fn alarm_word(alarm: Alarm) -> &'static str {
    match alarm {
        Alarm::Clear => "no harm",
        Alarm::Watch => "look again",
        Alarm::Act => "act by day",
        Alarm::Severe => "severe",
    }
}

fn all_clear(facts: &Facts, nights: &[NightOutlook], words: &Words<'_>) -> String {
    let last = nights
        .last()
        .map_or_else(String::new, |night| words.day(night.date));
    let standing = nights.first().is_some_and(|night| !night.crops.is_empty());
    if standing {
        format!("All clear: no night until {last} is forecast to come near what your buds bear.")
    } else {
        format!(
            "All clear: until {last} no crop at {} stands at a stage for which a spring \
             temperature is published. What winter cold does is told by its own task.",
            facts.place.name
        )
    }
}

fn table(facts: &Facts, night: &NightOutlook, words: &Words<'_>) -> Vec<String> {
    let units = facts.place.units;
    let degrees = |c: f64| units.temperature(c);
    let mut lines = vec![format!("Night to {}", words.day(night.date))];
    if let Some(hours) = night.hours_below_freezing.filter(|hours| *hours > 0) {
        lines.push(format!(
            "  About {} at or below freezing, coldest near sunrise.",
            named(hours, "hour", "hours")
        ));
    }
    lines.push(format!(
        "  {:<15} {:<16} {:>23}  {}",
        "", "", "a tenth, half, 9/10 die", "die: likely (span)"
    ));
    let mut safe = 0;
    for crop in &night.crops {
        if crop.kill < SHOWN && crop.kill_span.1 < 0.05 {
            safe += 1;
            continue;
        }
        let name = facts
            .knowledge
            .crop(&crop.crop)
            .map_or(crop.crop.as_str(), |c| &c.name);
        let (tenth, half, most) = crop.kills_c;
        let percent = |share: f64| format!("{:.0}", share * 100.0);
        let (fewest, highest) = (percent(crop.kill_span.0), percent(crop.kill_span.1));
        let span = if fewest == highest {
            String::new()
        } else {
            format!(" ({fewest} to {highest} %)")
        };
        lines.push(
            format!(
                "  {:<15} {:<16} {:>7} {:>7} {:>7}  {:>3} %{span}",
                super::chart::fit(name, 15),
                super::chart::fit(&crop.stage, 16),
                degrees(tenth),
                degrees(half),
                degrees(most),
                percent(crop.kill)
            )
            .trim_end()
            .to_owned(),
        );
        match &crop.stages {
            (Some(back), on) if back == on => {}
            (Some(back), on) => lines.push(format!("    it may be anywhere from {back} to {on}")),
            (None, on) if *on == crop.stage => {
                lines.push("    it may not be that far yet".to_owned());
            }
            (None, on) => lines.push(format!("    it may not be that far yet, or in {on}")),
        }
    }
    if safe > 0 {
        lines.push(format!(
            "  {} in no danger.",
            named(safe, "other crop is", "other crops are")
        ));
    }
    lines
}

/// What can be done before dark, what cannot, and where to look.
fn what_to_do(facts: &Facts, today: NaiveDate) -> Vec<String> {
    let small: Vec<&str> = trees(facts)
        .filter(|tree| is_small(facts, tree, today))
        .map(|tree| tree.id.as_str())
        .collect();
    let mut lines = vec![String::new(), "Today, in daylight".to_owned()];
    let mut say = |text: String| lines.extend(wrap(&text, "  - ", "    "));
    if !small.is_empty() {
        let shown: Vec<&str> = small.iter().take(12).copied().collect();
        let more = if small.len() > shown.len() {
            " and more"
        } else {
            ""
        };
        say(format!(
            "Cover what is small enough, down to the ground, not gathered at the trunk: {}{more}. Off again in the morning.",
            shown.join(", ")
        ));
    }
    say(
        "Water dry ground so that the sun warms it; mow short; take mulch off bare soil."
            .to_owned(),
    );
    say("Hang a thermometer at bud height in the lowest spot.".to_owned());
    say("A sprinkler only if it can run all night: it starts while the wet bulb is still above the figure for a tenth and stops when it is above it again; never in wind. Begun late or broken off it does more harm than none.".to_owned());
    lines.push("What cannot be done".to_owned());
    let mut say = |text: &str| lines.extend(wrap(text, "  - ", "    "));
    say("Grown trees cannot be covered; on a windy frost nothing but covers helps.");
    say(
        "No spray is known to harden buds. Light no fire without the permit that your place asks for; no ladder in the dark.",
    );
    let cold: Vec<String> = cold_spots(facts);
    lines.push("Where the cold lies".to_owned());
    let text = if cold.is_empty() {
        "The register names no cold spot. Cold air flows like water: to the lowest row, and up to any hedge or bank across the slope.".to_owned()
    } else {
        cold.join("; ")
    };
    lines.extend(wrap(&text, "  - ", "    "));
    lines.push("Tomorrow".to_owned());
    lines.extend(wrap(AFTERWARDS, "  - ", "    "));
    lines
}

fn trees(facts: &Facts) -> impl Iterator<Item = &Tree> {
    facts.register.trees.iter().filter(|tree| tree.tended())
}

fn is_small(facts: &Facts, tree: &Tree, today: NaiveDate) -> bool {
    let kind = facts.knowledge.crop(&tree.crop).map(|crop| crop.kind);
    let young = tree
        .planted
        .is_some_and(|planted| today.year() - planted.year() <= SMALL_YEARS);
    young || matches!(kind, Some(CropKind::Bush | CropKind::Bramble))
}

/// Cold spots: what the register's notes say, and where the keeper read less
/// than elsewhere on the same morning.
fn cold_spots(facts: &Facts) -> Vec<String> {
    let mut spots: Vec<String> = Vec::new();
    for tree in trees(facts) {
        let note = tree.notes.as_deref().unwrap_or_default();
        let low = note.to_lowercase();
        if COLD_WORDS.iter().any(|word| low.contains(word)) {
            spots.push(format!("{}: {}", tree.id, note.trim_end_matches('.')));
        }
    }
    let lows = &facts.journal.lows;
    for read in lows {
        let Some(spot) = &read.what.spot else {
            continue;
        };
        let elsewhere = lows
            .iter()
            .filter(|other| other.date == read.date && other.what.spot.as_ref() != Some(spot))
            .map(|other| other.what.low_c)
            .reduce(f64::min);
        if elsewhere.is_some_and(|other| read.what.low_c < other - 0.5) {
            let text = format!("{spot}: you read it colder than the rest");
            if !spots.contains(&text) {
                spots.push(text);
            }
        }
    }
    spots
}

/// The chore of the count after a frost.
const COUNT_CHORE: &str = "frost-check";

/// The morning after: what the night that ended today did, or may have done
/// while only its forecast is known, and what to do about it. Empty after a
/// night that hurt nothing.
pub fn this_morning(facts: &Facts, season: &Season, plan: &Plan) -> Vec<String> {
    let of_today = season
        .frosts
        .iter()
        .filter(|night| night.date == season.today && night.is_told());
    let nights: Vec<Evidence> = of_today.cloned().map(Evidence::FrostNight).collect();
    let Some(Evidence::FrostNight(first)) = nights.first() else {
        return Vec::new();
    };
    let words = Words::new(facts, season.today);
    let mut lines = vec![String::new(), "This morning, after the frost".to_owned()];
    let mut say = |text: &str| lines.extend(wrap(text, "  - ", "    "));
    for reason in words.reasons(&nights) {
        say(&format!("{}.", capital(&reason)));
    }
    if first.forecast {
        say("Read your thermometer at the trees: `budtide note low 27F` goes before any forecast.");
    }
    say("Take covers off once it is warm. Leave the trees alone: what is dead does not show yet.");
    let count = plan.tasks.iter().find(|task| {
        task.chore == COUNT_CHORE
            && matches!(task.state, State::Coming | State::Open | State::Urgent)
    });
    let day = count.map_or(season.today + Days::new(1), |task| {
        task.day.unwrap_or(task.window.best.spread.middle)
    });
    let name = count.map_or_else(String::new, |task| format!(" [{}]", task.id));
    say(&format!(
        "Count live buds from {} on, once they have thawed and browned{name}.",
        words.near_day(day.max(season.today + Days::new(1)))
    ));
    lines
}

/// Most nights of a crop that are told one by one.
const MOST_NIGHTS: usize = 4;

/// What this year's frosts have done so far, crop by crop and night by night.
fn past(facts: &Facts, season: &Season) -> Vec<String> {
    let words = Words::new(facts, season.today);
    let mut tolls: Vec<(&Group, &FrostToll)> = Vec::new();
    for group in &season.groups {
        let Some(toll) = season.toll_of(group) else {
            continue;
        };
        // Of several groups of a crop the one that was hit hardest speaks.
        match tolls.iter_mut().find(|(held, _)| held.crop == group.crop) {
            Some(held) if toll.kill > held.1.kill => *held = (group, toll),
            Some(_) => {}
            None => tolls.push((group, toll)),
        }
    }
    if tolls.is_empty() {
        return Vec::new();
    }
    tolls.sort_by(|a, b| b.1.kill.total_cmp(&a.1.kill));
    let mut lines = vec![String::new(), "This spring so far".to_owned()];
    for (group, toll) in tolls {
        let crop = facts.knowledge.crop(&group.crop);
        let name = crop.map_or(group.crop.as_str(), |crop| &crop.name);
        let killed = match toll.counted() {
            Some((dead, cut)) => format!("you counted {dead} dead of {cut} buds"),
            None => format!(
                "{} of the flower buds dead",
                shares(toll.kill, (toll.kill_least, toll.kill_most))
            ),
        };
        let left = match crop.and_then(|crop| crop.blossoms_needed.as_ref()) {
            Some(_) => {
                let (least, left, most) = season.crop_left_span(group, season.today.year());
                format!("; {} left", crop_left(left, (least, most)))
            }
            None => String::new(),
        };
        lines.extend(wrap(&format!("{name}: {killed}{left}"), "  ", "    "));
        let mut nights: Vec<&FrostNight> = toll.nights().iter().collect();
        nights.sort_by(|a, b| b.kill.total_cmp(&a.kill));
        let more = nights.len().saturating_sub(MOST_NIGHTS);
        nights.truncate(MOST_NIGHTS);
        nights.sort_by_key(|night| night.date);
        for night in nights {
            lines.extend(wrap(&one_night(facts, night, words), "    ", "      "));
        }
        if more > 0 {
            lines.push(format!(
                "    and {}",
                named(more as u32, "milder one", "milder ones")
            ));
        }
    }
    lines
}

/// A night seen, in a line.
fn one_night(facts: &Facts, night: &FrostNight, words: Words<'_>) -> String {
    let low = facts.place.units.temperature(night.low_c);
    let whose = if night.at_the_trees {
        " at your trees"
    } else {
        ""
    };
    format!(
        "{}, {low}{whose} in {}: {}",
        words.day(night.date),
        night.stage,
        share_range(night).trim_end_matches(',')
    )
}
