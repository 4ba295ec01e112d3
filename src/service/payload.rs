//! Messages and what was told as text for the store.

use crate::plan::nudge::{Kind, Said, Subject, Told};
use crate::render::icalendar::CalendarEntry;
use crate::render::message::{Letter, Line};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// A message as it lies in the outbox: what it is made of, so that what was
/// done meanwhile can be left out.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(super) struct Parcel {
    /// The name that its siblings on other channels share.
    pub base: String,
    /// The channel it leaves by.
    pub channel: String,
    /// The keys of all siblings, its own among them.
    pub siblings: Vec<String>,
    /// Keys of dropped messages that this one tells of.
    pub tells: Vec<String>,
    /// Whether the whole text is wanted even by a brief channel.
    pub whole: bool,
    thread: String,
    place: String,
    day: String,
    urgent: bool,
    lines: Vec<LineForm>,
    more: usize,
    remarks: Vec<String>,
    #[serde(default)]
    credits: Vec<String>,
    stamp: Option<DateTime<Utc>>,
}

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
struct LineForm {
    label: String,
    heading: String,
    when: String,
    hold: String,
    trees: String,
    why: String,
    details: Vec<String>,
    cautions: Vec<String>,
    tasks: Vec<String>,
    windows: Vec<EntryForm>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct EntryForm {
    uid: String,
    summary: String,
    description: String,
    #[serde(default)]
    days: Vec<NaiveDate>,
    cancelled: bool,
}

impl Parcel {
    /// A letter put up for the outbox.
    pub fn put_up(letter: &Letter) -> Self {
        Parcel {
            thread: letter.thread.clone(),
            place: letter.place.clone(),
            day: letter.day.clone(),
            urgent: letter.urgent,
            lines: letter.lines.iter().map(LineForm::from).collect(),
            more: letter.more,
            remarks: letter.remarks.clone(),
            credits: letter.credits.clone(),
            stamp: letter.stamp,
            ..Parcel::default()
        }
    }

    /// The letter under a key, without the lines of which every task is in
    /// `done`; `None` when nothing is left of it.
    pub fn letter(&self, key: &str, done: &[&str]) -> Option<Letter> {
        let lines: Vec<Line> = self
            .lines
            .iter()
            .filter(|line| {
                line.tasks.is_empty()
                    || line.tasks.iter().any(|task| !done.contains(&task.as_str()))
            })
            .map(Line::from)
            .collect();
        if lines.is_empty() && self.remarks.is_empty() {
            return None;
        }
        Some(Letter {
            key: key.to_owned(),
            thread: self.thread.clone(),
            place: self.place.clone(),
            day: self.day.clone(),
            urgent: self.urgent,
            lines,
            more: self.more,
            remarks: self.remarks.clone(),
            credits: self.credits.clone(),
            stamp: self.stamp,
        })
    }

    /// The tasks it tells of.
    pub fn tasks(&self) -> Vec<String> {
        self.lines
            .iter()
            .flat_map(|line| line.tasks.iter().cloned())
            .collect()
    }

    /// Its first heading, for a message about it.
    pub fn heading(&self) -> String {
        match self.lines.as_slice() {
            [line] => line.heading.clone(),
            _ => format!("the digest of {}", self.day),
        }
    }

    /// As text for the store.
    pub fn write(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// From the text; `None` if it is none of ours.
    pub fn read(text: &str) -> Option<Self> {
        serde_json::from_str(text).ok()
    }
}

impl From<&Line> for LineForm {
    fn from(line: &Line) -> Self {
        LineForm {
            label: line.label.clone(),
            heading: line.heading.clone(),
            when: line.when.clone(),
            hold: line.hold.clone(),
            trees: line.trees.clone(),
            why: line.why.clone(),
            details: line.details.clone(),
            cautions: line.cautions.clone(),
            tasks: line.tasks.clone(),
            windows: line
                .windows
                .iter()
                .map(|entry| EntryForm {
                    uid: entry.uid.clone(),
                    summary: entry.summary.clone(),
                    description: entry.description.clone(),
                    days: entry.days.clone(),
                    cancelled: entry.cancelled,
                })
                .collect(),
        }
    }
}

impl From<&LineForm> for Line {
    fn from(line: &LineForm) -> Self {
        Line {
            label: line.label.clone(),
            heading: line.heading.clone(),
            when: line.when.clone(),
            hold: line.hold.clone(),
            trees: line.trees.clone(),
            why: line.why.clone(),
            details: line.details.clone(),
            cautions: line.cautions.clone(),
            tasks: line.tasks.clone(),
            windows: line
                .windows
                .iter()
                .map(|entry| CalendarEntry {
                    uid: entry.uid.clone(),
                    summary: entry.summary.clone(),
                    description: entry.description.clone(),
                    days: entry.days.clone(),
                    cancelled: entry.cancelled,
                })
                .collect(),
        }
    }
}

/// One thing told, as the store keeps it.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct ToldForm {
    kind: String,
    chore: String,
    crop: Option<String>,
    group: Option<String>,
    season: String,
    sequence: u32,
    on: NaiveDate,
    from: NaiveDate,
    until: NaiveDate,
    by: String,
}

/// What was told, each with the name of the message that told it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Memory {
    /// Entries in their order.
    pub entries: Vec<(Told, String)>,
}

/// Days after which it is forgotten what was told: longer than any season.
const FORGET_DAYS: i64 = 1100;

impl Memory {
    /// From the store's text. What cannot be read is as if never told.
    pub fn read(text: Option<String>) -> Self {
        let forms: Vec<ToldForm> = text
            .and_then(|text| serde_json::from_str(&text).ok())
            .unwrap_or_default();
        let entries = forms
            .into_iter()
            .filter_map(|form| {
                let subject = Subject {
                    chore: form.chore,
                    crop: form.crop,
                    group: form.group,
                    season: form.season,
                };
                let kind = Kind::read(&form.kind)?;
                let span = (form.from, form.until);
                let told = Told::new(kind, subject, form.sequence, form.on, span);
                Some((told, form.by))
            })
            .collect();
        Memory { entries }
    }

    /// As text for the store; what is long past is left out.
    pub fn write(&self, today: NaiveDate) -> String {
        let forms: Vec<ToldForm> = self
            .entries
            .iter()
            .filter(|(told, _)| (today - told.on).num_days() < FORGET_DAYS)
            .map(|(told, by)| ToldForm {
                kind: told.kind.word().to_owned(),
                chore: told.subject.chore.clone(),
                crop: told.subject.crop.clone(),
                group: told.subject.group.clone(),
                season: told.subject.season.clone(),
                sequence: told.sequence,
                on: told.on,
                from: told.from,
                until: told.until,
                by: by.clone(),
            })
            .collect();
        serde_json::to_string(&forms).unwrap_or_else(|_| "[]".to_owned())
    }

    /// For the plan.
    pub fn said(&self) -> Said {
        Said {
            told: self.entries.iter().map(|(told, _)| told.clone()).collect(),
        }
    }

    /// Notes that a message tells of something; a key is noted once.
    pub fn tell(&mut self, told: &Told, by: &str) {
        self.entries.retain(|(known, _)| known.key != told.key);
        self.entries.push((told.clone(), by.to_owned()));
    }

    /// Forgets what a message told that never left.
    pub fn forget(&mut self, by: &str) -> bool {
        let before = self.entries.len();
        self.entries.retain(|(_, message)| message != by);
        self.entries.len() < before
    }
}
