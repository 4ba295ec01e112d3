//! What is known of the weather, from whom, until when, with which gaps.

use super::super::Output;
use super::{hints, json, kept, plain};
use crate::config::Settings;
use crate::facts::Facts;
use crate::facts::weather::{Alert, Day, OwnRain, Weather};
use crate::render::page::wrap;
use crate::render::weather::{self as page, Shown, date, moment};
use crate::season::screening::{ReadingHour, reading_hour};
use crate::service::console::JOB as UPLOAD;
use crate::service::gather::{self, Folders, Look};
use crate::service::refresh::{Fetcher, Manner, names_in_order};
use crate::sources::csv_file::grouped;
use crate::store::weather::WeatherStore;
use crate::store::{Coverage, FetchState, SourceSummary};
use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, Utc};
use serde::Serialize;

/// Days shown before and after the day.
const DAYS_BEFORE: u64 = 10;
const DAYS_AFTER: u64 = 10;

/// Gaps that are listed of a source.
const GAPS: usize = 3;

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
    /// Whether the rain is from the keeper's own gauge.
    own_rain: bool,
    /// What the record has in its place.
    record_rain_mm: Option<f64>,
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

/// Shows it.
pub(super) fn run(
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
        let sources = order
            .iter()
            .map(|name| source_view(name, &summaries, &states, &mornings))
            .collect();
        return json(&known_view(&facts, today, &days, sources, hints));
    }
    let zone = settings.place.time_zone;
    let mut lines = top(&facts, today, &days);
    let sources: Vec<page::Source> = order
        .iter()
        .map(|name| {
            let summary = summaries.iter().find(|summary| summary.source == *name);
            let morning = mornings.contains(name);
            page::Source {
                name: name.clone(),
                credit: gather::credit(name),
                kept: kept_sentences(summary, morning, zone),
                fetching: fetching_sentences(name, &states, zone, now),
            }
        })
        .collect();
    if !sources.is_empty() {
        lines.push(String::new());
        lines.push("Sources, the most trusted first".to_owned());
        lines.extend(page::sources(&sources));
    }
    if !hints.is_empty() {
        lines.push(String::new());
        for hint in &hints {
            lines.extend(wrap(hint, "", "  "));
        }
    }
    Ok(Output::Lines(lines))
}

/// What is known, as other programs read it.
fn known_view(
    facts: &Facts,
    today: NaiveDate,
    days: &[Shown],
    sources: Vec<SourceView>,
    hints: Vec<String>,
) -> KnownView {
    let weather = &facts.weather;
    KnownView {
        place: facts.place.name.clone(),
        today,
        seen_until: weather.seen_until(),
        forecast: weather.forecast.as_ref().map(|forecast| ForecastView {
            source: forecast.source.clone(),
            issued: forecast.issued,
            days_old: forecast.days_old(today),
            until: forecast.daily.last(),
        }),
        days: days.iter().map(|shown| day_view(weather, shown)).collect(),
        alerts: weather.alerts.iter().map(alert_view).collect(),
        sources,
        hints,
    }
}

/// The head of the page: what is seen and forecast, warnings, and the chart.
fn top(facts: &Facts, today: NaiveDate, days: &[Shown]) -> Vec<String> {
    let weather = &facts.weather;
    let mut lines = vec![format!(
        "{}: the weather, {}",
        facts.place.name,
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
        lines.extend(page::alerts(&weather.alerts, facts.place.time_zone));
    }
    let chart = page::chart(days, facts.place.units);
    if !chart.is_empty() {
        lines.push(String::new());
        lines.extend(chart);
        let shown = |own: &&OwnRain| days.iter().any(|shown| shown.day.date == own.date);
        let own: Vec<OwnRain> = weather.own_rain.iter().filter(shown).copied().collect();
        lines.extend(page::own_rain(&own, facts.place.units));
    }
    lines
}

/// The demo's one record.
pub(super) fn demo(facts: &Facts, today: NaiveDate, as_json: bool) -> Result<Output, String> {
    const NAME: &str = "the demo's own record";
    let weather = &facts.weather;
    let summary = SourceSummary {
        source: NAME.to_owned(),
        days: weather.daily.as_ref().and_then(|daily| {
            let known = daily
                .days()
                .map(|day| (day.date, day.low_c.is_some() && day.high_c.is_some()));
            coverage_of(known)
        }),
        hours: weather.hourly.as_ref().and_then(|hourly| {
            let known = hourly.hours();
            coverage_of(known.map(|hour| (hour.start, hour.temperature_c.is_some())))
        }),
        seen_issued: None,
        forecast: None,
    };
    let days = shown_days(weather, today);
    if as_json {
        let source = source_view(NAME, std::slice::from_ref(&summary), &[], &[]);
        return json(&known_view(facts, today, &days, vec![source], Vec::new()));
    }
    let mut lines = top(facts, today, &days);
    let source = page::Source {
        name: NAME.to_owned(),
        credit: None,
        kept: kept_sentences(Some(&summary), false, facts.place.time_zone),
        fetching: vec!["Invented, as the place is; nothing is ever fetched for it.".to_owned()],
    };
    lines.push(String::new());
    lines.push("Sources, the most trusted first".to_owned());
    lines.extend(page::sources(std::slice::from_ref(&source)));
    Ok(Output::Lines(lines))
}

/// What is known of days or hours in a row, and the gaps between.
fn coverage_of<T: Copy>(row: impl Iterator<Item = (T, bool)>) -> Option<Coverage<T>> {
    let mut found: Option<Coverage<T>> = None;
    let mut gap: Option<(T, T)> = None;
    for (at, known) in row {
        if !known {
            gap = Some((gap.map_or(at, |(first, _)| first), at));
            continue;
        }
        match &mut found {
            None => {
                found = Some(Coverage {
                    first: at,
                    last: at,
                    known: 1,
                    gaps: Vec::new(),
                });
            }
            Some(coverage) => {
                coverage.gaps.extend(gap);
                coverage.last = at;
                coverage.known += 1;
            }
        }
        gap = None;
    }
    found
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
        grouped(coverage.known),
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
        grouped(missing),
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
        let what = match own.iter().all(|state| state.job == UPLOAD) {
            true => "Last upload",
            false => "Last fetched",
        };
        sentences.push(format!("{what} {}{next}.", moment(worked, zone)));
    }
    let failing: Vec<&&FetchState> = own.iter().filter(|state| state.error.is_some()).collect();
    let mut told: Vec<&str> = Vec::new();
    for state in failing {
        let text = state.error.as_deref().unwrap_or("");
        // What was asked for stands before the host; the trouble behind it.
        let trouble = text.split_once(": ").map_or(text, |(_, trouble)| trouble);
        if told.contains(&trouble) {
            continue;
        }
        told.push(trouble);
        let times = match state.failures {
            0 | 1 => String::new(),
            times => format!(" ({times} times in a row)"),
        };
        let tried = state.tried.map_or_else(String::new, |at| moment(at, zone));
        sentences.push(format!("Failed {tried}{times}: {text}."));
    }
    sentences
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

fn day_view(weather: &Weather, shown: &Shown) -> DayView {
    let tenth = |value: f64| (value * 10.0).round() / 10.0;
    let Day {
        date,
        low_c,
        high_c,
        rain_mm,
    } = shown.day;
    let mut own = weather.own_rain.iter();
    let own = own.find(|own| own.date == date && !shown.forecast);
    DayView {
        date,
        own_rain: own.is_some(),
        record_rain_mm: own.and_then(|own| own.record_mm).map(tenth),
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
        credit: gather::credit(name),
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
