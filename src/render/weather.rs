//! The known weather as a page: days as bars, and how each source does.

use super::page::wrap;
use crate::facts::weather::{Alert, Day, OwnRain};
use crate::units::UnitSystem;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

/// Columns of a bar between the coldest and the warmest of the days shown.
const BAR: usize = 40;

/// One day of the chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Its values.
    pub day: Day,
    /// Whether it is forecast.
    pub forecast: bool,
}

/// One source of the page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Source {
    /// Its name.
    pub name: String,
    /// What has to stand where its data are shown, with its link and licence.
    pub credit: Option<String>,
    /// What is kept of it, a sentence each.
    pub kept: Vec<String>,
    /// How the fetching does, a sentence each.
    pub fetching: Vec<String>,
}

/// Days as lines of at most 80 columns: date, low, high, rain, and a bar from
/// low to high, `=` where seen and `-` where forecast.
pub fn chart(days: &[Shown], units: UnitSystem) -> Vec<String> {
    let known = |day: &Day| Some((day.low_c?, day.high_c?));
    let ends: Vec<(f64, f64)> = days.iter().filter_map(|shown| known(&shown.day)).collect();
    let least = ends.iter().map(|(low, _)| *low).reduce(f64::min);
    let most = ends.iter().map(|(_, high)| *high).reduce(f64::max);
    let (Some(least), Some(most)) = (least, most) else {
        return Vec::new();
    };
    let width = (most - least).max(1.0);
    let column = |c: f64| (((c - least) / width) * (BAR - 1) as f64).round() as usize;
    let freezing = (least < 0.0 && most > 0.0).then(|| column(0.0));
    let degree = match units {
        UnitSystem::Us => "°F",
        UnitSystem::Metric => "°C",
    };
    let mut lines = vec![format!("{:12}{:>6}{:>6}{:>9}", "", "low", "high", "rain")];
    if let Some(line) = lines.first_mut() {
        let scale = format!(
            "{} to {}",
            units.temperature(least),
            units.temperature(most)
        );
        line.push_str(&format!("  {scale}"));
    }
    for shown in days {
        let day = shown.day;
        let figure = |c: Option<f64>| {
            c.map_or_else(
                || "?".to_owned(),
                |c| {
                    units
                        .temperature(c)
                        .trim_end_matches(degree)
                        .trim_end()
                        .to_owned()
                },
            )
        };
        let rain = match day.rain_mm {
            None => "?".to_owned(),
            Some(0.0) => String::new(),
            Some(mm) => units.rain(mm),
        };
        let mut bar = vec![' '; BAR];
        if let Some(at) = freezing.and_then(|at| bar.get_mut(at)) {
            *at = ':';
        }
        if let Some((low, high)) = known(&day) {
            let mark = if shown.forecast { '-' } else { '=' };
            let span = column(low)..=column(high).max(column(low));
            if let Some(part) = bar.get_mut(span) {
                part.fill(mark);
            }
        }
        let bar: String = bar.into_iter().collect();
        let line = format!(
            "{:12}{:>6}{:>6}{rain:>9}  {bar}",
            day.date.format("%a %-d %b").to_string(),
            figure(day.low_c),
            figure(day.high_c),
        );
        lines.push(line.trim_end().to_owned());
    }
    let freeze = if freezing.is_some() {
        "   : freezing"
    } else {
        ""
    };
    lines.push(format!("{:12}= seen   - forecast{freeze}", ""));
    lines
}

/// Days whose rain is the keeper's own, with what the record has.
pub fn own_rain(days: &[OwnRain], units: UnitSystem) -> Vec<String> {
    if days.is_empty() {
        return Vec::new();
    }
    let rain = |mm: Option<f64>| match mm {
        None => "nothing".to_owned(),
        Some(0.0) => "none".to_owned(),
        Some(mm) => units.rain(mm),
    };
    let days: Vec<String> = days
        .iter()
        .map(|own| {
            format!(
                "{} {} (the record has {})",
                own.date.format("%-d %b"),
                rain(Some(own.rain_mm)),
                rain(own.record_mm)
            )
        })
        .collect();
    wrap(
        &format!("Rain of your own gauge: {}.", days.join(", ")),
        "",
        "  ",
    )
}

/// The sources below their heading, each with what is kept and how the fetching
/// does.
pub fn sources(sources: &[Source]) -> Vec<String> {
    let mut lines = Vec::new();
    for source in sources {
        lines.extend(wrap(&source.name, "  ", "    "));
        let said = source.kept.iter().chain(&source.fetching);
        for sentence in said.chain(&source.credit) {
            lines.extend(wrap(sentence, "    ", "      "));
        }
    }
    lines
}

/// The warnings that hold.
pub fn alerts(alerts: &[Alert], zone: Tz) -> Vec<String> {
    alerts
        .iter()
        .flat_map(|alert| {
            let text = format!(
                "{} by {}: {} to {}",
                alert.event,
                alert.office,
                moment(alert.begins, zone),
                moment(alert.ends, zone)
            );
            wrap(&text, "", "  ")
        })
        .collect()
}

/// An instant by the clock of the place.
pub fn moment(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone)
        .format("%-d %b %Y %H:%M")
        .to_string()
}

/// A day with its year.
pub fn date(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chart_keeps_to_80_columns_and_marks_what_is_forecast() {
        let first: NaiveDate = "2026-04-20".parse().unwrap();
        let days: Vec<Shown> = first
            .iter_days()
            .zip(-12..12)
            .map(|(date, c)| Shown {
                day: Day {
                    date,
                    low_c: Some(f64::from(c)),
                    high_c: (c != 3).then_some(f64::from(c) + 17.0),
                    rain_mm: Some(12.7),
                },
                forecast: c > 0,
            })
            .collect();
        for units in [UnitSystem::Us, UnitSystem::Metric] {
            let lines = chart(&days, units);
            assert_eq!(lines.len(), days.len() + 2);
            for line in &lines {
                assert!(line.chars().count() <= 80, "{line}");
            }
            assert!(lines[1].contains("===") && !lines[1].contains("---"));
            assert!(lines[24].contains("---"));
            assert!(!lines[16].contains("--"), "an unknown high has no bar");
        }
        assert!(chart(&[], UnitSystem::Us).is_empty());
    }
}
