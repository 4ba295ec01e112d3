//! `budtide rehearse`: what a year of messages is like.

use super::Output;
use crate::channels::email::{Email, EmailConfig, Encryption};
use crate::facts::Facts;
use crate::render::message::Urgency;
use crate::render::page::wrap;
use crate::render::sentence::named;
use crate::service::rehearse::{self, Hand, Tally, Told};
use chrono::{Datelike, Days, NaiveDate};
use clap::{Args, ValueEnum};
use std::io::{IsTerminal, Write};
use std::time::Duration;

/// Which days, whose hand, in what form.
#[derive(Clone, Debug, Args)]
pub struct Rehearse {
    /// The first day; by default a year before the last one
    #[arg(long, value_name = "DATE", value_parser = super::day)]
    from: Option<NaiveDate>,
    /// The last day; by default the end of this year, or of the weather known
    #[arg(long, value_name = "DATE", value_parser = super::day)]
    to: Option<NaiveDate>,
    /// What you do with what is told
    #[arg(long, value_enum, default_value = "idle")]
    hand: HandArg,
    /// Only a line for each message
    #[arg(long, conflicts_with = "mails")]
    titles: bool,
    /// Each message as the mail that would be sent
    #[arg(long)]
    mails: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum HandArg {
    /// Nothing is ever noted as done: the most messages there can be
    Idle,
    /// Everything is done and noted three days after it is told
    Diligent,
}

/// The last day on which everything is looked at: far enough for any record.
pub fn horizon(today: NaiveDate) -> NaiveDate {
    today.checked_add_days(Days::new(1000)).unwrap_or(today)
}

/// Lives the days; `facts` are those of [`horizon`], with all weather seen.
pub fn run(
    rehearse: &Rehearse,
    facts: &Facts,
    today: NaiveDate,
    as_json: bool,
) -> Result<Output, String> {
    let Some(last) = facts.weather.seen_until() else {
        return Err(
            "a rehearsal needs weather of past days; bring some in with `budtide import FILE`"
                .to_owned(),
        );
    };
    let year_end = NaiveDate::from_ymd_opt(today.year(), 12, 31).unwrap_or(today);
    let to = rehearse.to.unwrap_or(last.min(year_end));
    let from = rehearse.from.unwrap_or_else(|| year_before(to));
    if from > to {
        return Err(format!("the first day, {from}, comes after the last, {to}"));
    }
    if to > last {
        return Err(format!(
            "the weather is known until {last} only; name a day up to that with --to"
        ));
    }
    let hand = match rehearse.hand {
        HandArg::Idle => Hand::Idle,
        HandArg::Diligent => Hand::Diligent,
    };
    let mut told: Vec<Told> = Vec::new();
    let mut progress = Progress::new(from, to);
    rehearse::rehearse_watched(
        facts,
        from,
        to,
        hand,
        |day| progress.at(day),
        |message| told.push(message),
    )
    .map_err(|error| error.to_string())?;
    progress.end();
    let counted: Vec<(NaiveDate, bool)> = told
        .iter()
        .map(|told| {
            let urgent = told.message.urgency == Urgency::High;
            (told.at.date_naive(), urgent)
        })
        .collect();
    let tally = rehearse::tally(&counted, from, to);
    if as_json {
        return json(&told, &tally, from, to).map(Output::Json);
    }
    let mut lines = Vec::new();
    for one in &told {
        lines.extend(if rehearse.mails {
            mail(one)?
        } else {
            page(one, rehearse.titles)
        });
    }
    lines.extend(counts(&tally, from, to));
    Ok(Output::Lines(lines))
}

/// How far a rehearsal has come, in one line of a terminal that is written
/// over; nothing where standard error is none.
struct Progress {
    from: NaiveDate,
    days: i64,
    shown: bool,
    on: bool,
}

impl Progress {
    fn new(from: NaiveDate, to: NaiveDate) -> Self {
        Progress {
            from,
            days: (to - from).num_days() + 1,
            shown: false,
            on: std::io::stderr().is_terminal(),
        }
    }

    fn at(&mut self, day: NaiveDate) {
        if self.on {
            let text = progress_text(self.from, self.days, day);
            // What cannot be shown is not needed.
            let _ = write!(std::io::stderr(), "\r{text}");
            self.shown = true;
        }
    }

    fn end(&self) {
        if self.shown {
            let blank = progress_text(self.from, self.days, self.from).len() + 2;
            let _ = write!(std::io::stderr(), "\r{:blank$}\r", "");
        }
    }
}

/// `2026-04-22, day 112 of 365`.
fn progress_text(from: NaiveDate, days: i64, day: NaiveDate) -> String {
    format!("{day}, day {} of {days}", (day - from).num_days() + 1)
}

/// The first day of the year that ends with a day.
fn year_before(to: NaiveDate) -> NaiveDate {
    to.with_year(to.year() - 1)
        .or_else(|| to.checked_sub_days(Days::new(366)))
        .and_then(|day| day.succ_opt())
        .unwrap_or(to)
}

fn page(told: &Told, titles: bool) -> Vec<String> {
    let message = &told.message;
    let mut head = told.at.format("%a %Y-%m-%d %H:%M  ").to_string();
    if message.urgency == Urgency::High {
        head.push_str("URGENT  ");
    }
    let mut lines = wrap(&message.title, &head, "    ");
    if titles {
        return lines;
    }
    for line in message.text.lines() {
        if line.is_empty() {
            lines.push(String::new());
        } else {
            lines.extend(wrap(line, "    ", "    "));
        }
    }
    lines.push(String::new());
    lines
}

fn mail(told: &Told) -> Result<Vec<String>, String> {
    let config = EmailConfig {
        server: "localhost".to_owned(),
        port: Encryption::Implicit.usual_port(),
        encryption: Encryption::Implicit,
        account: None,
        ca_file: None,
        from: "Orchard <orchard@example.org>".to_owned(),
        to: vec!["keeper@example.org".to_owned()],
        limit: Duration::from_secs(1),
    };
    let mail = Email::new(config)
        .and_then(|email| email.mail(&told.message, told.at))
        .map_err(|error| error.to_string())?;
    let text = String::from_utf8_lossy(&mail).into_owned();
    Ok(text
        .lines()
        .map(str::to_owned)
        .chain([String::new()])
        .collect())
}

fn counts(tally: &Tally, from: NaiveDate, to: NaiveDate) -> Vec<String> {
    let days = ((to - from).num_days() + 1).max(1);
    let per_week = tally.messages as f64 / (days as f64 / 7.0);
    let mut lines = vec![format!(
        "{from} to {to}: {} in {}, {per_week:.1} a week; {} of them urgent.",
        named(tally.messages as u32, "message", "messages"),
        named(tally.weeks as u32, "week", "weeks"),
        tally.urgent
    )];
    if let Some((week, count)) = tally.fullest {
        lines.push(format!("The fullest week, from {week}, had {count}."));
    }
    for (count, weeks) in tally.by_count.iter().enumerate() {
        if *weeks > 0 {
            let word = if *weeks == 1 { "week" } else { "weeks" };
            lines.push(format!("  {weeks:3} {word} with {count}"));
        }
    }
    lines
}

fn json(told: &[Told], tally: &Tally, from: NaiveDate, to: NaiveDate) -> Result<String, String> {
    let messages: Vec<serde_json::Value> = told
        .iter()
        .map(|told| {
            let message = &told.message;
            serde_json::json!({
                "at": told.at.to_rfc3339(),
                "key": message.key,
                "urgent": message.urgency == Urgency::High,
                "title": message.title,
                "text": message.text,
                "html": message.html,
                "calendar": message.calendar,
                "actions": message.actions.iter().map(|(key, _)| key).collect::<Vec<_>>(),
            })
        })
        .collect();
    let value = serde_json::json!({
        "from": from.to_string(),
        "to": to.to_string(),
        "messages": messages,
        "weeks": tally.weeks,
        "urgent": tally.urgent,
        "fullest_week": tally.fullest.map(|(week, count)| {
            serde_json::json!({ "from": week.to_string(), "messages": count })
        }),
        "weeks_by_count": tally.by_count,
    });
    serde_json::to_string_pretty(&value).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn progress_is_told_by_the_day() {
        let day = |month, day| NaiveDate::from_ymd_opt(2026, month, day).unwrap_or_default();
        assert_eq!(
            progress_text(day(1, 1), 365, day(4, 22)),
            "2026-04-22, day 112 of 365"
        );
    }
}
