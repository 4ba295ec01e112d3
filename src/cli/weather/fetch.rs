//! Asking the services now.

use super::super::Output;
use super::{hints, json, plain};
use crate::config::Settings;
use crate::render::page::wrap;
use crate::render::weather::moment;
use crate::service::gather::Folders;
use crate::service::refresh::{Fetcher, Manner, Refreshed, Step, Wanted};
use crate::sources::csv_file::grouped;
use crate::store::weather::{FILE, WeatherStore};
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::io::{IsTerminal, Write};
use std::ops::ControlFlow;

#[derive(Debug, Serialize)]
struct FetchedView {
    new_days: usize,
    new_hours: usize,
    corrected: usize,
    left_out: usize,
    forecast: bool,
    alerts: usize,
    requests: u64,
    bytes: u64,
    faults: Vec<FaultView>,
}

#[derive(Debug, Serialize)]
struct FaultView {
    source: String,
    job: &'static str,
    text: String,
    next: DateTime<Utc>,
}

/// Fetches, with a bar on a terminal.
pub(super) fn run(
    settings: &Settings,
    folders: &Folders,
    now: DateTime<Utc>,
    as_json: bool,
) -> Result<Output, String> {
    let fetcher = Fetcher::new(settings, Manner::AtOnce, now.timestamp().unsigned_abs());
    if fetcher.is_idle() {
        let hints = hints(settings, &fetcher, &[], &[], now);
        let text: Vec<String> = hints.iter().flat_map(|hint| wrap(hint, "", "  ")).collect();
        return Err(text.join("\n"));
    }
    std::fs::create_dir_all(&folders.data)
        .map_err(|error| format!("making {}: {error}", folders.data.display()))?;
    let mut store = WeatherStore::open(&folders.data.join(FILE)).map_err(plain)?;
    let mut bar = Bar::new();
    let done = fetcher.round(&mut store, now, Wanted::All, &mut |step| {
        bar.step(step);
        ControlFlow::Continue(())
    });
    bar.end();
    let done = done.map_err(plain)?;
    let traffic = fetcher.traffic();
    if as_json {
        return json(&FetchedView {
            new_days: done.new_days,
            new_hours: done.new_hours,
            corrected: done.corrected,
            left_out: done.left,
            forecast: done.forecast,
            alerts: done.alerts,
            requests: traffic.requests,
            bytes: traffic.bytes,
            faults: done
                .faults
                .iter()
                .map(|fault| FaultView {
                    source: fault.source.clone(),
                    job: fault.job.word(),
                    text: fault.text.clone(),
                    next: fault.next,
                })
                .collect(),
        });
    }
    let lines = fetched(settings, &fetcher, &done, traffic.requests, traffic.bytes);
    let nothing = done.new_days + done.new_hours + done.corrected == 0 && !done.forecast;
    if nothing && !done.faults.is_empty() {
        return Err(lines.join("\n"));
    }
    Ok(Output::Lines(lines))
}

fn fetched(
    settings: &Settings,
    fetcher: &Fetcher,
    done: &Refreshed,
    requests: u64,
    bytes: u64,
) -> Vec<String> {
    let zone = settings.place.time_zone;
    let mut lines = Vec::new();
    if let Some(aside) = &done.set_aside {
        let text = format!(
            "The kept weather was damaged; it was put aside as {}, and all is fetched anew.",
            aside.display()
        );
        lines.extend(wrap(&text, "", "  "));
    }
    if done.moved {
        lines.extend(wrap(
            "The place has changed: what the services had said of the old one was forgotten.",
            "",
            "  ",
        ));
    }
    let mut text = format!(
        "{} new values of days, {} of hours",
        grouped(done.new_days),
        grouped(done.new_hours)
    );
    if done.corrected > 0 {
        text.push_str(&format!(", {} corrected", grouped(done.corrected)));
    }
    if done.left > 0 {
        text.push_str(&format!(
            ", {} left out as impossible or doubted by the source",
            grouped(done.left)
        ));
    }
    text.push_str(if done.forecast {
        "; a new forecast."
    } else {
        "; no new forecast."
    });
    text.push_str(&format!(
        " {requests} request{}, {} KiB.",
        if requests == 1 { "" } else { "s" },
        grouped(usize::try_from(bytes / 1024).unwrap_or(0))
    ));
    lines.extend(wrap(&text, "", "  "));
    if done.alerts > 0 {
        lines.push(match done.alerts {
            1 => "1 warning of cold holds.".to_owned(),
            count => format!("{count} warnings of cold hold."),
        });
    }
    for fault in &done.faults {
        let text = format!(
            "{}, {}: {}. Next try {}.",
            fault.source,
            fault.job.plain(),
            fault.text,
            moment(fault.next, zone)
        );
        lines.extend(wrap(&text, "", "  "));
    }
    if !done.faults.is_empty() {
        lines.push("What is kept already stays in use.".to_owned());
    }
    for unasked in fetcher.unasked() {
        let text = format!(
            "\"{}\" is not asked: {}.",
            unasked.service.word(),
            unasked.why
        );
        lines.extend(wrap(&text, "", "  "));
    }
    lines
}

/// A bar on a terminal, plain lines elsewhere; on the error output, so that
/// what is printed stays clean.
struct Bar {
    terminal: bool,
    drawn: bool,
}

impl Bar {
    fn new() -> Self {
        Bar {
            terminal: std::io::stderr().is_terminal(),
            drawn: false,
        }
    }

    fn step(&mut self, step: &Step<'_>) {
        let year = step
            .span
            .filter(|_| step.of > 1)
            .map_or_else(String::new, |span| format!(" {}", span.first.format("%Y")));
        let text = format!("{}: {}{year}", step.source, step.job.plain());
        let mut out = std::io::stderr().lock();
        // A bar that cannot be drawn is no reason to stop.
        let _ = if self.terminal {
            self.drawn = true;
            write!(out, "\r{:<78}", bar(&text, step.done, step.of)).and_then(|()| out.flush())
        } else if step.of > 1 {
            writeln!(out, "{text} ({} of {})", step.done + 1, step.of)
        } else {
            writeln!(out, "{text}")
        };
    }

    fn end(&mut self) {
        if self.drawn {
            let mut out = std::io::stderr().lock();
            let _ = write!(out, "\r{:78}\r", "").and_then(|()| out.flush());
        }
    }
}

/// `[=====     ] 5/31 Open-Meteo: past years 2021`.
fn bar(text: &str, done: usize, of: usize) -> String {
    const WIDTH: usize = 20;
    let filled = (done * WIDTH).checked_div(of).unwrap_or(0).min(WIDTH);
    let line = format!(
        "[{}{}] {done}/{of} {text}",
        "=".repeat(filled),
        " ".repeat(WIDTH - filled)
    );
    line.chars().take(78).collect()
}
