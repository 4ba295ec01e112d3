//! `import`: a weather file into the kept weather.

use super::answer::{Output, Refusal};
use super::{Common, folders};
use crate::clock::Clock;
use crate::config;
use crate::render::page;
use crate::sources::csv_file::{self, Effect, Kind, Options, Report, days_from_hours, grouped};
use crate::store::weather::{FILE, Origin, Put, WeatherStore};
use chrono::NaiveDateTime;
use clap::Args;
use serde_json::{Value, json};
use std::fs;
use std::path::PathBuf;

const EXAMPLES: &str = "\
Examples:
  budtide import days.csv.gz
  budtide import station.csv --set unit.temperature=F --set unit.rain=in
  budtide import hours.csv --set clock=civil --set column.low=\"T min\"
  budtide import airports.csv --set station=KEWR --dry-run";

/// What is brought in, and how it is read.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct Import {
    /// The file
    file: PathBuf,
    /// Tell what the file does not: station, zone, clock, stamps, dates,
    /// separator, column.FIELD or unit.FIELD (fields: low, high, temperature,
    /// dew_point, humidity, rain, wind)
    #[arg(long = "set", value_name = "KEY=VALUE")]
    settings: Vec<String>,
    /// The name under which its weather is kept
    #[arg(long, default_value = "import")]
    source: String,
    /// Read and report, but keep nothing
    #[arg(long)]
    dry_run: bool,
    /// List every line that was not taken as it stands
    #[arg(long)]
    all: bool,
}

/// Reads the file, says what was found, and keeps it.
pub fn run(import: &Import, common: &Common) -> Result<Output, Refusal> {
    let folders = folders(common)?;
    let place = config::load(&folders.config)
        .map_err(|faults| Refusal::of_files(faults, ""))?
        .place;
    let today = common
        .as_of
        .unwrap_or_else(|| Clock::Wall.today(place.time_zone));
    let mut options = Options {
        zone: Some(place.time_zone),
        today: Some(today),
        ..Options::default()
    };
    for setting in &import.settings {
        let (key, value) = setting
            .split_once('=')
            .ok_or_else(|| format!("--set {setting} has no value; write --set KEY=VALUE"))?;
        options.set(key, value)?;
    }
    let read = csv_file::read_path(&import.file, &options).map_err(|error| error.to_string())?;
    let mut lines: Vec<String> = read.report.to_string().lines().map(str::to_owned).collect();
    if import.all {
        lines.extend(read.report.all_lines().lines().map(str::to_owned));
    }
    if import.dry_run {
        lines.push("Nothing was kept: this was a dry run.".to_owned());
        let value = document(&import.source, &read.report, None);
        return Ok(Output::Both { lines, value });
    }
    fs::create_dir_all(&folders.data).map_err(|error| {
        format!(
            "the folder {} cannot be made: {error}",
            folders.data.display()
        )
    })?;
    let path = folders.data.join(FILE);
    let mut store = WeatherStore::open(&path).map_err(|error| error.to_string())?;
    if let Some(aside) = store.set_aside() {
        lines.extend(page::wrap(
            &format!(
                "The weather kept before was damaged and lies now in {}; bring its files in again.",
                aside.display()
            ),
            "",
            "",
        ));
    }
    let issued = Clock::Wall.now(place.time_zone);
    let origin = Origin {
        source: &import.source,
        issued,
    };
    let days = if read.daily.is_empty() {
        days_from_hours(&read.hourly)
    } else {
        read.daily.clone()
    };
    let hours = store
        .put_hours(origin, &read.hourly)
        .map_err(|error| error.to_string())?;
    let days = store
        .put_days(origin, &days)
        .map_err(|error| error.to_string())?;
    let value = document(&import.source, &read.report, Some((days, hours)));
    let what = if read.hourly.is_empty() {
        kept(days, "days")
    } else {
        kept(hours, "hours")
    };
    lines.push(String::new());
    lines.extend(page::wrap(
        &format!("Kept as \"{}\": {what}.", import.source),
        "",
        "  ",
    ));
    Ok(Output::Both { lines, value })
}

/// What was read and what was kept, for a program; `kept` is days and hours.
fn document(source: &str, report: &Report, kept: Option<(Put, Put)>) -> Value {
    let counts = |put: Put| {
        json!({
            "new": put.new, "corrected": put.corrected, "same": put.same,
            "older": put.older, "impossible": put.impossible,
        })
    };
    let time = |time: NaiveDateTime| match report.kind {
        Kind::Daily => time.date().to_string(),
        Kind::Hourly => time.format("%Y-%m-%d %H:%M").to_string(),
    };
    let columns: Vec<Value> = report
        .columns
        .iter()
        .map(|column| {
            json!({
                "header": column.header, "field": column.field.label(), "unit": column.unit,
                "known": column.known, "unknown": column.unknown,
            })
        })
        .collect();
    let findings: Vec<Value> = report
        .findings
        .iter()
        .map(|finding| {
            let effect = match finding.reason.effect() {
                Effect::RowDropped => "row dropped",
                Effect::ValueDropped => "value dropped",
                Effect::Changed => "changed",
                Effect::Told => "noticed",
            };
            json!({"what": finding.title(), "effect": effect, "lines": finding.lines})
        })
        .collect();
    json!({
        "file": report.file,
        "source": source,
        "rows_of": match report.kind { Kind::Daily => "days", Kind::Hourly => "hours" },
        "from": report.span.map(|(from, _)| time(from)),
        "to": report.span.map(|(_, to)| time(to)),
        "rows": report.rows,
        "rows_kept": report.kept,
        "rows_dropped": report.rows_dropped(),
        "missing": report.missing(),
        "columns": columns,
        "not_used": report.unused,
        "findings": findings,
        "notes": report.notes,
        "kept": kept.map(|(days, hours)| json!({"days": counts(days), "hours": counts(hours)})),
    })
}

/// What became of the values, in words.
fn kept(put: Put, noun: &str) -> String {
    let parts: Vec<String> = [
        (put.new, "new"),
        (put.corrected, "corrected"),
        (put.same, "known already"),
        (put.older, "older than what is kept, left out"),
        (put.impossible, "impossible, left out"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, word)| format!("{} {word}", grouped(count)))
    .collect();
    match parts.is_empty() {
        true => format!("no values of {noun}"),
        false => format!("values of {noun}: {}", parts.join(", ")),
    }
}
