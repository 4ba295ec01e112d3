//! `weather`: what is known, from whom, until when; fetch; compare.

use super::{Common, Output, all, folders};
use crate::clock::Clock;
use crate::config::fault::hint;
use crate::config::{self, Settings};
use crate::facts::weather::{Alert, Day};
use crate::render::page::wrap;
use crate::render::weather::{self as page, Shown, date, moment};
use crate::season::screening::{ReadingHour, reading_hour};
use crate::service::gather::{self, Folders, Look};
use crate::service::refresh::{Fetcher, Manner, Refreshed, Step, Wanted, names_in_order};
use crate::sources::compare::{Comparison, Difference, compare};
use crate::store::weather::{FILE, WeatherStore};
use crate::store::{Coverage, FetchState, SourceSummary};
use crate::units::UnitSystem;
use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, TimeDelta, Utc};
use clap::{Args, Subcommand};
use serde::Serialize;
use std::fmt::Display;
use std::io::{IsTerminal, Write};
use std::ops::ControlFlow;

const EXAMPLES: &str = "\
Examples:
  budtide weather                  what is known, from whom, until when
  budtide weather fetch            ask the services now
  budtide weather compare          how far the sources agree

Where it comes from stands in place.toml, table [weather]; without it the
coordinates are enough. `sources = \"none\"` there keeps budtide off the network.";

/// What of the weather.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct Weather {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Ask the services now, past years included; goes on where it ended
    Fetch,
    /// Hold the sources against each other, day by day
    Compare {
        /// The source that the others are held against; the most trusted if
        /// left out
        first: Option<String>,
        /// Only this other one
        second: Option<String>,
        /// Over how many days back
        #[arg(long, default_value_t = 365, value_parser = clap::value_parser!(u64).range(2..=40_000))]
        days: u64,
    },
}

/// Days shown before and after the day.
const DAYS_BEFORE: u64 = 10;
const DAYS_AFTER: u64 = 10;

/// Gaps that are listed of a source.
const GAPS: usize = 3;

/// Runs the command.
pub fn run(weather: &Weather, common: &Common) -> Result<Output, String> {
    let folders = folders(common)?;
    let settings = config::load(&folders.config).map_err(|faults| all(&faults))?;
    let zone = settings.place.time_zone;
    let clock = common.as_of.map_or(Clock::Wall, Clock::Fixed);
    let now = clock.now(zone);
    match &weather.what {
        Some(What::Fetch) if common.as_of.is_some() => {
            Err("fetch always asks for the weather of now; leave --as-of out".to_owned())
        }
        Some(What::Fetch) => fetch(&settings, &folders, now, common.json),
        Some(What::Compare {
            first,
            second,
            days,
        }) => {
            let today = clock.today(zone);
            let names = [first.as_deref(), second.as_deref()];
            comparison(&settings, &folders, today, names, *days, common.json)
        }
        None => {
            let look = Look {
                today: clock.today(zone),
                now: common.as_of.is_none().then_some(now),
                all_hours: false,
            };
            known(&settings, &folders, look, now, common.json)
        }
    }
}

fn plain(error: impl Display) -> String {
    error.to_string()
}

/// The store, if there is one.
fn kept(folders: &Folders) -> Result<Option<WeatherStore>, String> {
    let file = folders.data.join(FILE);
    if !file.is_file() {
        return Ok(None);
    }
    WeatherStore::open(&file).map(Some).map_err(plain)
}

// ---- what is known ----

#[derive(Debug, Serialize)]
struct KnownView {
    place: String,
    today: NaiveDate,
    seen_until: Option<NaiveDate>,
    forecast: Option<ForecastView>,
    days: Vec<DayView>,
    alerts: Vec<AlertView>,
    sources: Vec<SourceView>,
    hints: Vec<String>,
}

#[derive(Debug, Serialize)]
struct ForecastView {
    source: String,
    issued: NaiveDate,
    days_old: i64,
    until: Option<NaiveDate>,
}

#[derive(Debug, Serialize)]
struct DayView {
    date: NaiveDate,
    forecast: bool,
    low_c: Option<f64>,
    high_c: Option<f64>,
    rain_mm: Option<f64>,
}

#[derive(Debug, Serialize)]
struct AlertView {
    event: String,
    begins: DateTime<Utc>,
    ends: DateTime<Utc>,
    headline: String,
    office: String,
}

#[derive(Debug, Serialize)]
struct CoverageView<T> {
    first: T,
    last: T,
    known: usize,
    gaps: Vec<[T; 2]>,
}

#[derive(Debug, Serialize)]
struct JobView {
    job: String,
    succeeded: Option<DateTime<Utc>>,
    next: Option<DateTime<Utc>>,
    failures: u32,
    error: Option<String>,
}

#[derive(Debug, Serialize)]
struct SourceView {
    name: String,
    credit: Option<String>,
    days: Option<CoverageView<NaiveDate>>,
    hours: Option<CoverageView<NaiveDateTime>>,
    seen_issued: Option<DateTime<Utc>>,
    forecast_issued: Option<DateTime<Utc>>,
    forecast_until: Option<NaiveDate>,
    morning_readings: bool,
    jobs: Vec<JobView>,
}

fn known(
    settings: &Settings,
    folders: &Folders,
    look: Look,
    now: DateTime<Utc>,
    as_json: bool,
) -> Result<Output, String> {
    let today = look.today;
    let fetcher = Fetcher::new(settings, Manner::AtOnce, 0);
    let facts = gather::facts_at(folders, look).map_err(plain)?;
    let weather = &facts.weather;
    let (mut summaries, mut states, mut mornings) = (Vec::new(), Vec::new(), Vec::new());
    let mut order = names_in_order(&settings.weather, &[]);
    if let Some(store) = kept(folders)? {
        order = names_in_order(&settings.weather, &store.names().map_err(plain)?);
        summaries = store.summary().map_err(plain)?;
        states = store.fetch_states().map_err(plain)?;
        for summary in &summaries {
            if is_read_in_the_morning(&store, &summary.source, today)? {
                mornings.push(summary.source.clone());
            }
        }
    }
    for summary in &summaries {
        if !order.contains(&summary.source) {
            order.push(summary.source.clone());
        }
    }
    let days = shown_days(weather, today);
    let hints = hints(settings, &fetcher, &summaries, &states, now);
    if as_json {
        let view = KnownView {
            place: settings.place.name.clone(),
            today,
            seen_until: weather.seen_until(),
            forecast: weather.forecast.as_ref().map(|forecast| ForecastView {
                source: forecast.source.clone(),
                issued: forecast.issued,
                days_old: forecast.days_old(today),
                until: forecast.daily.last(),
            }),
            days: days.iter().map(day_view).collect(),
            alerts: weather.alerts.iter().map(alert_view).collect(),
            sources: order
                .iter()
                .map(|name| source_view(name, &summaries, &states, &mornings))
                .collect(),
            hints,
        };
        return json(&view);
    }
    let zone = settings.place.time_zone;
    let mut lines = vec![format!(
        "{}: the weather, {}",
        settings.place.name,
        today.format("%A %-d %B %Y")
    )];
    let seen = match weather.seen_until() {
        Some(day) => format!("Seen until {}.", date(day)),
        None => "Nothing was seen yet.".to_owned(),
    };
    let coming = match (&weather.forecast, weather.forecast_given_up) {
        (Some(forecast), _) => {
            let age = match forecast.days_old(today) {
                0 => "today".to_owned(),
                1 => "yesterday".to_owned(),
                days => format!("{days} days ago"),
            };
            let until = forecast.daily.last().map(date).unwrap_or_default();
            format!(
                "Forecast by {}, issued {age}, reaching to {until}.",
                forecast.source
            )
        }
        (None, Some(issued)) => format!(
            "The last forecast is of {}: too old to be used. Past years stand in.",
            date(issued)
        ),
        (None, None) => "No forecast is at hand: past years stand in.".to_owned(),
    };
    lines.extend(wrap(&format!("{seen} {coming}"), "", ""));
    if !weather.alerts.is_empty() {
        lines.push(String::new());
        lines.extend(page::alerts(&weather.alerts, zone));
    }
    let chart = page::chart(&days, settings.place.units);
    if !chart.is_empty() {
        lines.push(String::new());
        lines.extend(chart);
    }
    let sources: Vec<page::Source> = order
        .iter()
        .map(|name| {
            let summary = summaries.iter().find(|summary| summary.source == *name);
            let morning = mornings.contains(name);
            page::Source {
                name: name.clone(),
                credit: credit(name),
                kept: kept_sentences(summary, morning, zone),
                fetching: fetching_sentences(name, &states, zone, now),
            }
        })
        .collect();
    if !sources.is_empty() {
        lines.push(String::new());
        lines.push("Sources, the most trusted first".to_owned());
        lines.extend(
            page::sources(&sources)
                .into_iter()
                .map(|line| format!("  {line}")),
        );
    }
    if !hints.is_empty() {
        lines.push(String::new());
        for hint in &hints {
            lines.extend(wrap(hint, "", "  "));
        }
    }
    Ok(Output::Lines(lines))
}

/// The days around today: seen before it, forecast from it on.
fn shown_days(weather: &crate::facts::weather::Weather, today: NaiveDate) -> Vec<Shown> {
    let seen = weather.daily.iter().flat_map(|daily| daily.days());
    let from = today
        .checked_sub_days(Days::new(DAYS_BEFORE))
        .unwrap_or(today);
    let mut days: Vec<Shown> = seen
        .filter(|day| day.date >= from && day.date < today)
        .map(|day| Shown {
            day,
            forecast: false,
        })
        .collect();
    let after = days
        .iter()
        .rfind(|shown| shown.day.low_c.is_some())
        .map_or(today, |shown| shown.day.date);
    let until = today
        .checked_add_days(Days::new(DAYS_AFTER))
        .unwrap_or(today);
    let coming = weather
        .forecast
        .iter()
        .flat_map(|forecast| forecast.daily.days())
        .filter(|day| day.date > after && day.date < until)
        .map(|day| Shown {
            day,
            forecast: true,
        });
    days.retain(|shown| shown.day.date <= after);
    days.extend(coming);
    days
}

/// What is kept of one source.
fn kept_sentences(
    summary: Option<&SourceSummary>,
    morning: bool,
    zone: chrono_tz::Tz,
) -> Vec<String> {
    let Some(summary) = summary else {
        return vec!["Nothing is kept of it yet.".to_owned()];
    };
    let mut sentences = Vec::new();
    if let Some(days) = &summary.days {
        let whole = (days.last - days.first).num_days() + 1;
        sentences.push(coverage(days, whole, "days", |day| date(*day)));
    }
    if let Some(hours) = &summary.hours {
        let whole = (hours.last - hours.first).num_hours() + 1;
        let text = |hour: &NaiveDateTime| hour.format("%-d %b %Y %H:00").to_string();
        sentences.push(coverage(hours, whole, "hours", text));
    }
    if let Some(forecast) = &summary.forecast {
        sentences.push(format!(
            "Forecast of {}, until {}.",
            moment(forecast.issued, zone),
            date(forecast.last)
        ));
    }
    if morning {
        sentences.push(
            "Its thermometer seems to be read in the morning: the high written on a date is \
             mostly that of the day before."
                .to_owned(),
        );
    }
    sentences
}

fn coverage<T>(
    coverage: &Coverage<T>,
    whole: i64,
    noun: &str,
    text: impl Fn(&T) -> String,
) -> String {
    let mut sentence = format!(
        "{} {noun} from {} to {}",
        thousands(coverage.known),
        text(&coverage.first),
        text(&coverage.last)
    );
    let missing = usize::try_from(whole)
        .unwrap_or(0)
        .saturating_sub(coverage.known);
    if missing == 0 {
        sentence.push_str(", no gap.");
        return sentence;
    }
    let gaps: Vec<String> = coverage
        .gaps
        .iter()
        .rev()
        .take(GAPS)
        .map(|(first, last)| match (text(first), text(last)) {
            (first, last) if first == last => first,
            (first, last) => format!("{first} to {last}"),
        })
        .collect();
    let more = coverage.gaps.len().saturating_sub(GAPS);
    let more = match more {
        0 => String::new(),
        more => format!(" and {more} earlier"),
    };
    sentence.push_str(&format!(
        "; {} missing: {}{more}.",
        thousands(missing),
        gaps.join(", ")
    ));
    sentence
}

/// How the fetching of one source does.
fn fetching_sentences(
    name: &str,
    states: &[FetchState],
    zone: chrono_tz::Tz,
    now: DateTime<Utc>,
) -> Vec<String> {
    let own: Vec<&FetchState> = states.iter().filter(|state| state.source == name).collect();
    let mut sentences = Vec::new();
    let worked = own.iter().filter_map(|state| state.succeeded).max();
    let next = own.iter().filter_map(|state| state.next).min();
    if let Some(worked) = worked {
        let next = match next {
            Some(next) if next > now => format!("; next {}", moment(next, zone)),
            Some(_) => "; the next is due".to_owned(),
            None => String::new(),
        };
        sentences.push(format!("Last fetched {}{next}.", moment(worked, zone)));
    }
    let failing: Vec<&&FetchState> = own.iter().filter(|state| state.error.is_some()).collect();
    let mut told: Vec<&str> = Vec::new();
    for state in failing {
        let text = state.error.as_deref().unwrap_or("");
        if told.contains(&text) {
            continue;
        }
        told.push(text);
        let times = match state.failures {
            0 | 1 => String::new(),
            times => format!(" ({times} times in a row)"),
        };
        let tried = state.tried.map_or_else(String::new, |at| moment(at, zone));
        sentences.push(format!("Failed {tried}{times}: {text}."));
    }
    sentences
}

/// What the keeper may do about what is missing.
fn hints(
    settings: &Settings,
    fetcher: &Fetcher,
    summaries: &[SourceSummary],
    states: &[FetchState],
    now: DateTime<Utc>,
) -> Vec<String> {
    let mut hints = Vec::new();
    let weather = &settings.weather;
    if fetcher.is_idle() && fetcher.unasked().is_empty() {
        hints.push(
            "No source is set: place.toml says sources = \"none\". Bring files in with \
             `budtide import FILE`, or take that line out to let budtide fetch."
                .to_owned(),
        );
    } else if !fetcher.is_idle() && states.is_empty() {
        let names = names_in_order(weather, &[]).join(", ");
        let what = if summaries.is_empty() {
            "Nothing was fetched yet"
        } else {
            "Nothing was fetched yet; what is known was brought in from files"
        };
        hints.push(format!(
            "{what}. `budtide weather fetch` asks now, the service does it by itself: {names}."
        ));
    }
    for unasked in fetcher.unasked() {
        let word = unasked.service.word();
        hints.push(format!("\"{word}\" is not asked: {}.", unasked.why));
    }
    let overdue = states
        .iter()
        .filter(|state| state.job == "forecast")
        .filter_map(|state| state.succeeded)
        .max()
        .is_some_and(|last| now - last > TimeDelta::hours(36));
    if overdue {
        hints.push(
            "No forecast came for more than a day. Is there a network, and does the service run? \
             `budtide weather fetch` tries now."
                .to_owned(),
        );
    }
    hints
}

/// Whether the record itself, or what came with it, says so.
fn is_read_in_the_morning(
    store: &WeatherStore,
    name: &str,
    today: NaiveDate,
) -> Result<bool, String> {
    // What services give by the hour has days from midnight to midnight.
    if [crate::sources::open_meteo::NAME, crate::sources::nws::NAME].contains(&name) {
        return Ok(false);
    }
    if store
        .recall(&format!("morning {name}"))
        .map_err(plain)?
        .is_some()
    {
        return Ok(true);
    }
    let weather = store.load_one(today, name).map_err(plain)?;
    if weather.hourly.is_some() {
        return Ok(false);
    }
    let opinion = weather.daily.as_ref().and_then(reading_hour);
    Ok(opinion.is_some_and(|opinion| opinion.hour == ReadingHour::Morning))
}

/// What has to stand where data of a source are shown.
fn credit(name: &str) -> Option<String> {
    let credit = crate::sources::credit_of(name)?;
    Some(format!(
        "{} ({}), {}.",
        credit.text, credit.link, credit.licence
    ))
}

fn day_view(shown: &Shown) -> DayView {
    let tenth = |value: f64| (value * 10.0).round() / 10.0;
    let Day {
        date,
        low_c,
        high_c,
        rain_mm,
    } = shown.day;
    DayView {
        date,
        forecast: shown.forecast,
        low_c: low_c.map(tenth),
        high_c: high_c.map(tenth),
        rain_mm: rain_mm.map(tenth),
    }
}

fn alert_view(alert: &Alert) -> AlertView {
    AlertView {
        event: alert.event.clone(),
        begins: alert.begins,
        ends: alert.ends,
        headline: alert.headline.clone(),
        office: alert.office.clone(),
    }
}

fn source_view(
    name: &str,
    summaries: &[SourceSummary],
    states: &[FetchState],
    mornings: &[String],
) -> SourceView {
    let summary = summaries.iter().find(|summary| summary.source == name);
    let forecast = summary.and_then(|summary| summary.forecast);
    SourceView {
        name: name.to_owned(),
        credit: credit(name),
        days: summary.and_then(|summary| summary.days.as_ref().map(coverage_view)),
        hours: summary.and_then(|summary| summary.hours.as_ref().map(coverage_view)),
        seen_issued: summary.and_then(|summary| summary.seen_issued),
        forecast_issued: forecast.map(|forecast| forecast.issued),
        forecast_until: forecast.map(|forecast| forecast.last),
        morning_readings: mornings.iter().any(|known| known == name),
        jobs: states
            .iter()
            .filter(|state| state.source == name)
            .map(|state| JobView {
                job: state.job.clone(),
                succeeded: state.succeeded,
                next: state.next,
                failures: state.failures,
                error: state.error.clone(),
            })
            .collect(),
    }
}

fn coverage_view<T: Copy>(coverage: &Coverage<T>) -> CoverageView<T> {
    CoverageView {
        first: coverage.first,
        last: coverage.last,
        known: coverage.known,
        gaps: coverage.gaps.iter().map(|(a, b)| [*a, *b]).collect(),
    }
}

fn json<T: Serialize>(view: &T) -> Result<Output, String> {
    serde_json::to_string_pretty(view)
        .map(Output::Json)
        .map_err(|error| format!("no JSON can be made: {error}"))
}

// ---- fetch ----

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

fn fetch(
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
        thousands(done.new_days),
        thousands(done.new_hours)
    );
    if done.corrected > 0 {
        text.push_str(&format!(", {} corrected", thousands(done.corrected)));
    }
    if done.left > 0 {
        text.push_str(&format!(
            ", {} left out as impossible or doubted by the source",
            thousands(done.left)
        ));
    }
    text.push_str(if done.forecast {
        "; a new forecast."
    } else {
        "; no new forecast."
    });
    text.push_str(&format!(
        " {} requests, {} KiB.",
        requests,
        thousands(usize::try_from(bytes / 1024).unwrap_or(0))
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

// ---- compare ----

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

fn comparison(
    settings: &Settings,
    folders: &Folders,
    today: NaiveDate,
    wanted: [Option<&str>; 2],
    days: u64,
    as_json: bool,
) -> Result<Output, String> {
    let Some(store) = kept(folders)? else {
        return Err(
            "nothing is kept yet; `budtide weather fetch` or `budtide import FILE` comes first"
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
        lines.extend(compared(name, &found, settings.place.units));
        views.push(compared_view(&first, name, &found));
    }
    if as_json {
        return json(&views);
    }
    Ok(Output::Lines(lines))
}

fn compared(name: &str, found: &Comparison, units: UnitSystem) -> Vec<String> {
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
        let warmer = if difference.mean >= 0.0 {
            "warmer"
        } else {
            "colder"
        };
        let mut text = format!(
            "{what}: {} {warmer} on the mean of {} days, {} apart",
            step(difference.mean.abs()),
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
            "rain: {} against {} in all; {} days wet in one and dry in the other",
            units.rain(found.rain_sums_mm.1),
            units.rain(found.rain_sums_mm.0),
            found.wet_against_dry
        );
        lines.extend(wrap(&text, "  ", "    "));
    }
    if found.highs_late_by > 0 {
        lines.extend(wrap(
            "Its highs agree better when dated a day earlier: its thermometer seems to be read in \
             the morning.",
            "  ",
            "    ",
        ));
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

/// `12,345`.
fn thousands(number: usize) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at) % 3 == 0 {
            out.push(',');
        }
        out.push(digit);
    }
    out
}
