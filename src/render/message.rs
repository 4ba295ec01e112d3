//! What leaves the house by a channel, and how it is put together.

use super::icalendar::{self, CalendarEntry};
use chrono::{DateTime, Utc};

/// A message, ready to be sent on any channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Stable name; the same nudge always has the same, so that a repeat is
    /// known as one. Identifiers of the channels (an e-mail's Message-ID, a
    /// notification's replace id) derive from it.
    pub key: String,
    /// The season's thread that it belongs to, such as `tansy-bend-2026`.
    pub thread: String,
    /// How pressing it is.
    pub urgency: Urgency,
    /// One line: what, for whom, by when.
    pub title: String,
    /// A few lines of plain text: what to do, to which trees, by when, why,
    /// and what to beware of.
    pub text: String,
    /// The same as simple HTML that reads well on a phone.
    pub html: String,
    /// An iCalendar object (RFC 5545) of the windows it tells of.
    pub calendar: Option<String>,
    /// What the keeper may answer at a touch: key and label.
    pub actions: Vec<(String, String)>,
}

/// How pressing a message is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// It can wait until somebody looks.
    Low,
    /// The daily digest.
    Normal,
    /// It cannot wait: frost tonight.
    High,
}

/// One line of a digest: a chore, for all its trees, in parts that a channel
/// may show or leave out. Texts are plain, without a full stop at their end
/// where they are no sentence.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line {
    /// What sort of word it is: `Last call`, `Open now`.
    pub label: String,
    /// What to do, to which trees.
    pub heading: String,
    /// By when.
    pub when: String,
    /// What must be waited for; may be empty.
    pub hold: String,
    /// Ids of the trees; may be empty.
    pub trees: String,
    /// Why; may be empty.
    pub why: String,
    /// Further lines, each a sentence.
    pub details: Vec<String>,
    /// What to beware of, each a sentence.
    pub cautions: Vec<String>,
    /// Ids of the tasks; empty where it is about none.
    pub tasks: Vec<String>,
    /// Windows for a calendar.
    pub windows: Vec<CalendarEntry>,
}

/// What a message is made of.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Letter {
    /// The message's key.
    pub key: String,
    /// The season's thread.
    pub thread: String,
    /// The place's name.
    pub place: String,
    /// The day it speaks on, such as `Wed 22 Apr`.
    pub day: String,
    /// Whether it cannot wait.
    pub urgent: bool,
    /// The lines.
    pub lines: Vec<Line>,
    /// How many more things there is no line for.
    pub more: usize,
    /// Remarks at the foot: trouble with the weather or with delivery.
    pub remarks: Vec<String>,
    /// Whose weather it rests on, below everything.
    pub credits: Vec<String>,
    /// When it was written, as an iCalendar stamp needs it.
    pub stamp: Option<DateTime<Utc>>,
}

/// Most characters of a title; what a phone shows of a subject.
const TITLE: usize = 70;

/// The message of a letter. A `brief` one is for a notification: headings
/// alone where there are several.
pub fn message(letter: &Letter, brief: bool) -> Message {
    let single = match letter.lines.as_slice() {
        [line] if letter.more == 0 => Some(line),
        _ => None,
    };
    let entries: Vec<CalendarEntry> = letter
        .lines
        .iter()
        .flat_map(|line| line.windows.iter().cloned())
        .collect();
    let calendar = letter
        .stamp
        .filter(|_| !entries.is_empty())
        .map(|stamp| icalendar::publish(&letter.place, &entries, stamp));
    Message {
        key: letter.key.clone(),
        thread: letter.thread.clone(),
        urgency: if letter.urgent {
            Urgency::High
        } else {
            Urgency::Normal
        },
        title: title(letter),
        text: if brief && single.is_none() {
            headings(letter)
        } else {
            text(letter)
        },
        html: html(letter),
        calendar,
        actions: actions(single),
    }
}

/// The answers that a message offers.
fn actions(single: Option<&Line>) -> Vec<(String, String)> {
    let action = |key: &str, label: &str| (key.to_owned(), label.to_owned());
    match single {
        Some(line) if !line.tasks.is_empty() => vec![
            action("done", "Done"),
            action("tomorrow", "Tomorrow"),
            action("why", "Why"),
        ],
        _ => vec![action("why", "Why")],
    }
}

fn title(letter: &Letter) -> String {
    let Some(first) = letter.lines.first() else {
        return format!("{}, {}", letter.place, letter.day);
    };
    let rest = letter.lines.len() - 1 + letter.more;
    let label = match first.label.as_str() {
        "" => String::new(),
        label => format!("{label}: "),
    };
    let more = match rest {
        0 => String::new(),
        n => format!(", and {n} more"),
    };
    let room = TITLE.saturating_sub(more.chars().count());
    format!(
        "{}{more}",
        short(&format!("{label}{}", first.heading), room)
    )
}

/// A text cut at a word so that it has no more than `most` characters.
fn short(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut kept = String::new();
    for word in text.split_whitespace() {
        let longer = kept.chars().count() + word.chars().count() + 1;
        if longer + 3 > most {
            break;
        }
        if !kept.is_empty() {
            kept.push(' ');
        }
        kept.push_str(word);
    }
    format!("{}...", kept.trim_end_matches([',', ':', ';']))
}

/// The headings of a digest, for a notification.
fn headings(letter: &Letter) -> String {
    let mut lines: Vec<String> = letter
        .lines
        .iter()
        .map(|line| match line.label.as_str() {
            "" => line.heading.clone(),
            label => format!("{label}: {}", line.heading),
        })
        .collect();
    lines.extend(more(letter));
    lines.extend(feet(letter).cloned());
    lines.join("\n")
}

/// Remarks, then credits.
fn feet(letter: &Letter) -> impl Iterator<Item = &String> {
    letter.remarks.iter().chain(&letter.credits)
}

fn more(letter: &Letter) -> Option<String> {
    match letter.more {
        0 => None,
        1 => Some("1 more thing is open; `budtide today` shows it.".to_owned()),
        n => Some(format!(
            "{n} more things are open; `budtide today` shows them."
        )),
    }
}

/// The parts of a line in the order in which they are read, with their names.
fn parts(line: &Line) -> Vec<(&'static str, &str)> {
    let mut told: Vec<(&'static str, &str)> = [
        ("When", &line.when),
        ("", &line.hold),
        ("Trees", &line.trees),
        ("Why", &line.why),
    ]
    .into_iter()
    .filter(|(_, text)| !text.is_empty())
    .map(|(name, text)| (name, text.as_str()))
    .collect();
    told.extend(line.details.iter().map(|text| ("", text.as_str())));
    told
}

/// Each caution of the lines, once.
fn cautions(letter: &Letter) -> Vec<&str> {
    let mut told: Vec<&str> = Vec::new();
    for caution in letter.lines.iter().flat_map(|line| &line.cautions) {
        if !told.contains(&caution.as_str()) {
            told.push(caution);
        }
    }
    told
}

/// The last line of every message.
const FOOT: &str = "Done it? Press Done, or: budtide done NAME. More: budtide why NAME.";

fn text(letter: &Letter) -> String {
    let mut text = String::new();
    for line in &letter.lines {
        if !text.is_empty() {
            text.push('\n');
        }
        if !line.label.is_empty() {
            text.push_str(&line.label);
            text.push_str(": ");
        }
        text.push_str(&line.heading);
        text.push('\n');
        for (name, part) in parts(line) {
            if !name.is_empty() {
                text.push_str(name);
                text.push_str(": ");
            }
            text.push_str(part);
            text.push('\n');
        }
        if !line.tasks.is_empty() {
            text.push_str(&format!("[{}]\n", line.tasks.join(" ")));
        }
    }
    for (at, caution) in cautions(letter).into_iter().enumerate() {
        if at == 0 {
            text.push_str("\nTake care:\n");
        }
        text.push_str("- ");
        text.push_str(caution);
        text.push('\n');
    }
    for line in more(letter).iter().chain(feet(letter)) {
        text.push('\n');
        text.push_str(line);
        text.push('\n');
    }
    if letter.lines.iter().any(|line| !line.tasks.is_empty()) {
        text.push('\n');
        text.push_str(FOOT);
        text.push('\n');
    }
    text
}

/// The same as HTML: one column, no picture, nothing fetched, letters of a
/// size that is read at arm's length, colours that hold in a dark reader.
fn html(letter: &Letter) -> String {
    let mut html = String::from(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <meta name=\"color-scheme\" content=\"light dark\"><title>",
    );
    html.push_str(&escaped(&title(letter)));
    html.push_str(
        "</title></head>\n<body style=\"margin:0 auto;max-width:34em;padding:16px;\
         font-family:sans-serif;font-size:17px;line-height:1.45\">\n",
    );
    html.push_str(&format!(
        "<p style=\"margin:0 0 16px\">{}, {}</p>\n",
        escaped(&letter.place),
        escaped(&letter.day)
    ));
    for line in &letter.lines {
        html.push_str(
            "<div style=\"margin:0 0 16px;padding:0 0 0 12px;border-left:4px solid #6b8e5a\">\n",
        );
        if !line.label.is_empty() {
            html.push_str(&format!(
                "<p style=\"margin:0\">{}</p>\n",
                escaped(&line.label)
            ));
        }
        html.push_str(&format!(
            "<h2 style=\"margin:0 0 4px;font-size:19px\">{}</h2>\n",
            escaped(&line.heading)
        ));
        for (name, part) in parts(line) {
            let name = match name {
                "" => String::new(),
                name => format!("<b>{name}:</b> "),
            };
            html.push_str(&format!(
                "<p style=\"margin:0 0 4px;overflow-wrap:anywhere\">{name}{}</p>\n",
                escaped(part)
            ));
        }
        if !line.tasks.is_empty() {
            html.push_str(&format!(
                "<p style=\"margin:0;font-size:14px;overflow-wrap:anywhere\">{}</p>\n",
                escaped(&line.tasks.join(" "))
            ));
        }
        html.push_str("</div>\n");
    }
    let cautions = cautions(letter);
    if !cautions.is_empty() {
        html.push_str("<h3 style=\"margin:0 0 4px;font-size:17px\">Take care</h3>\n<ul style=\"margin:0 0 16px;padding-left:20px\">\n");
        for caution in cautions {
            html.push_str(&format!("<li>{}</li>\n", escaped(caution)));
        }
        html.push_str("</ul>\n");
    }
    for line in more(letter).iter().chain(feet(letter)) {
        html.push_str(&format!("<p>{}</p>\n", escaped(line)));
    }
    if letter.lines.iter().any(|line| !line.tasks.is_empty()) {
        html.push_str(&format!(
            "<p style=\"font-size:14px\">{}</p>\n",
            escaped(FOOT)
        ));
    }
    html.push_str("</body></html>\n");
    html
}

/// A text as HTML shows it.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            c => safe.push(c),
        }
    }
    safe
}
