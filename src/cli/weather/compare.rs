//! The sources held against each other.

use super::super::Output;
use super::{json, kept, plain};
use crate::config::Settings;
use crate::config::fault::hint;
use crate::facts::weather::Day;
use crate::render::page::wrap;
use crate::render::weather::date;
use crate::service::gather::{self, Folders};
use crate::service::refresh::names_in_order;
use crate::sources::compare::{Comparison, Difference, compare};
use crate::units::UnitSystem;
use chrono::{Days, NaiveDate};
use serde::Serialize;

#[derive(Debug, Serialize)]
struct ComparedView {
    first: String,
    second: String,
    from: NaiveDate,
    until: NaiveDate,
    low: DifferenceView,
    high: DifferenceView,
    rain: DifferenceView,
    rain_sums_mm: [f64; 2],
    wet_against_dry_days: usize,
    highs_late_by_days: i64,
}

#[derive(Debug, Serialize)]
struct DifferenceView {
    days: usize,
    mean: f64,
    mean_size: f64,
    worst_day: Option<NaiveDate>,
    worst: Option<[f64; 2]>,
}

/// Compares them.
pub(super) fn run(
    settings: &Settings,
    folders: &Folders,
    today: NaiveDate,
    wanted: [Option<&str>; 2],
    days: u64,
    as_json: bool,
) -> Result<Output, String> {
    let Some(store) = kept(folders)? else {
        return Err(
            "no weather is kept yet; `budtide weather fetch` or `budtide import FILE` comes first"
                .to_owned(),
        );
    };
    let kept = store.names().map_err(plain)?;
    let mut names = names_in_order(&settings.weather, &kept);
    names.extend(
        kept.iter()
            .filter(|name| !names.contains(name))
            .cloned()
            .collect::<Vec<_>>(),
    );
    names.retain(|name| kept.contains(name));
    if names.is_empty() {
        return Err(
            "no weather is kept yet; `budtide weather fetch` or `budtide import FILE` comes first"
                .to_owned(),
        );
    }
    let named = |word: &str| {
        let found = names
            .iter()
            .find(|name| name.eq_ignore_ascii_case(word))
            .cloned();
        found.ok_or_else(|| {
            let known: Vec<&str> = names.iter().map(String::as_str).collect();
            format!("no source named \"{word}\" is kept{}", hint(word, &known))
        })
    };
    let first = match wanted[0] {
        Some(word) => named(word)?,
        None => names.first().cloned().unwrap_or_default(),
    };
    let others: Vec<String> = match wanted[1] {
        Some(word) => vec![named(word)?],
        None => names
            .iter()
            .filter(|name| **name != first)
            .cloned()
            .collect(),
    };
    if others.is_empty() || others.contains(&first) {
        return Err(match names.first() {
            Some(only) if names.len() == 1 => {
                format!("only one source is kept, {only}: there is nothing to hold against it")
            }
            _ => "name two different sources".to_owned(),
        });
    }
    let from = today.checked_sub_days(Days::new(days)).unwrap_or(today);
    let record = |name: &str| -> Result<_, String> {
        let weather = store.load_one(today, name).map_err(plain)?;
        let days: Vec<Day> = weather
            .daily
            .iter()
            .flat_map(|daily| daily.days())
            .filter(|day| day.date >= from)
            .collect();
        Ok(crate::facts::weather::DailyRecord::from_days(&days))
    };
    let one = record(&first)?;
    let (mut lines, mut views) = (Vec::new(), Vec::new());
    lines.push(format!("{first}, and how others differ from it"));
    for name in &others {
        let other = record(name)?;
        lines.push(String::new());
        let found = one
            .as_ref()
            .zip(other.as_ref())
            .and_then(|(one, other)| compare(one, other));
        let Some(found) = found else {
            lines.extend(wrap(
                &format!("{name}: no day of the last {days} is known by both."),
                "",
                "  ",
            ));
            continue;
        };
        lines.extend(compared(&first, name, &found, settings.place.units));
        views.push(compared_view(&first, name, &found));
    }
    if as_json {
        return json(&views);
    }
    let credits: Vec<String> = std::iter::once(&first)
        .chain(&others)
        .filter_map(|name| gather::credit(name))
        .collect();
    if !credits.is_empty() {
        lines.push(String::new());
        lines.extend(credits.iter().flat_map(|credit| wrap(credit, "", "  ")));
    }
    Ok(Output::Lines(lines))
}

fn compared(first: &str, name: &str, found: &Comparison, units: UnitSystem) -> Vec<String> {
    let mut lines = vec![format!(
        "{name}, {} to {}",
        date(found.span.first),
        date(found.span.last)
    )];
    for (what, difference) in [("lows", &found.low), ("highs", &found.high)] {
        if difference.days == 0 {
            lines.push(format!("  {what}: no day is known by both"));
            continue;
        }
        let step = |c: f64| match units {
            UnitSystem::Us => format!("{:.1} °F", c * 1.8),
            UnitSystem::Metric => format!("{c:.1} °C"),
        };
        let by = step(difference.mean.abs());
        let by = match difference.mean {
            _ if by == step(0.0) => "the same".to_owned(),
            mean if mean > 0.0 => format!("{by} warmer"),
            _ => format!("{by} colder"),
        };
        let mut text = format!(
            "{what}: {by} on the mean of {} days, {} apart from day to day",
            difference.days,
            step(difference.mean_size)
        );
        if let Some((day, a, b)) = difference.most {
            text.push_str(&format!(
                "; most on {}: {} against {}",
                date(day),
                units.temperature(b),
                units.temperature(a)
            ));
        }
        lines.extend(wrap(&text, "  ", "    "));
    }
    if found.rain.days > 0 {
        let text = format!(
            "rain: {} against {} altogether; {} days wet in one and dry in the other",
            units.rain(found.rain_sums_mm.1),
            units.rain(found.rain_sums_mm.0),
            found.wet_against_dry
        );
        lines.extend(wrap(&text, "  ", "    "));
    }
    if found.highs_late_by != 0 {
        let whose = match found.highs_late_by > 0 {
            true => "Its highs agree".to_owned(),
            false => format!("The highs of {first} agree"),
        };
        let text = format!(
            "{whose} better when dated a day earlier: that thermometer seems to be read in the \
             morning."
        );
        lines.extend(wrap(&text, "  ", "    "));
    }
    lines
}

fn compared_view(first: &str, second: &str, found: &Comparison) -> ComparedView {
    let hundredth = |value: f64| (value * 100.0).round() / 100.0;
    let of = |difference: &Difference| DifferenceView {
        days: difference.days,
        mean: hundredth(difference.mean),
        mean_size: hundredth(difference.mean_size),
        worst_day: difference.most.map(|(day, ..)| day),
        worst: difference
            .most
            .map(|(_, a, b)| [hundredth(a), hundredth(b)]),
    };
    ComparedView {
        first: first.to_owned(),
        second: second.to_owned(),
        from: found.span.first,
        until: found.span.last,
        low: of(&found.low),
        high: of(&found.high),
        rain: of(&found.rain),
        rain_sums_mm: [
            hundredth(found.rain_sums_mm.0),
            hundredth(found.rain_sums_mm.1),
        ],
        wet_against_dry_days: found.wet_against_dry,
        highs_late_by_days: found.highs_late_by,
    }
}
