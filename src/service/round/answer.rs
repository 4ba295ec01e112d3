//! The answer of a notification's button.

use super::super::payload::Parcel;
use super::Keeper;
use super::seen::{ASKED, Seen, Span};
use crate::facts::Facts;
use crate::facts::journal::{Entry, Fact, Snooze, Work};
use crate::plan;
use crate::plan::nudge::{self, Kind};
use crate::render::message::Line;
use crate::render::page;
use crate::render::sentence::Words;
use crate::season;
use crate::store::StoreError;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

/// How long an answer to `why` is of use, hours.
const ASKED_HOURS: i64 = 12;

/// What became of a pressed button.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Answer {
    /// Noted in the journal: a line for the log. Gather and look anew.
    Noted(String),
    /// A longer text is in the outbox: deliver.
    Explained,
    /// It cannot be done; the reason for the log.
    Refused(String),
    /// The message or the button is not known (any more).
    Unknown,
}

impl Keeper {
    /// The tasks that a message tells of.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn tasks_of(&self, key: &str) -> Result<Vec<String>, StoreError> {
        let waiting = self.store.message(key)?;
        let parcel = waiting.and_then(|waiting| Parcel::read(&waiting.message.payload));
        Ok(parcel.map(|parcel| parcel.tasks()).unwrap_or_default())
    }

    /// Takes the answer of a button: `done`, `tomorrow` or `why`, to the
    /// message with that key.
    ///
    /// # Errors
    /// [`StoreError`]; then nothing was noted.
    pub fn pressed(
        &mut self,
        facts: &Facts,
        message: &str,
        action: &str,
        now: DateTime<Utc>,
    ) -> Result<Answer, StoreError> {
        let Some(waiting) = self.store.message(message)? else {
            return Ok(Answer::Unknown);
        };
        let Some(parcel) = Parcel::read(&waiting.message.payload) else {
            return Ok(Answer::Unknown);
        };
        let today = now.with_timezone(&facts.place.time_zone).date_naive();
        let tomorrow = today.checked_add_days(Days::new(1)).unwrap_or(today);
        let tasks = parcel.tasks();
        match action {
            "done" if !tasks.is_empty() => {
                self.note(&tasks, today, now, |task| {
                    Fact::Done(Work {
                        task,
                        minutes: None,
                    })
                })?;
                Ok(Answer::Noted(format!("done: {}", tasks.join(", "))))
            }
            "tomorrow" if !tasks.is_empty() => {
                let plan = plan::make(facts, &season::derive(facts, today), today);
                let late = |id: &String| {
                    let task = plan.tasks.iter().find(|task| task.id == *id);
                    task.is_none_or(|task| nudge::latest_snooze(task) < tomorrow)
                };
                if tasks.iter().all(late) {
                    return Ok(Answer::Refused(format!(
                        "{} cannot be put off: the window closes before",
                        tasks.join(", ")
                    )));
                }
                self.note(&tasks, today, now, |task| {
                    Fact::Snoozed(Snooze {
                        task,
                        until: tomorrow,
                    })
                })?;
                Ok(Answer::Noted(format!(
                    "put off until {tomorrow}: {}",
                    tasks.join(", ")
                )))
            }
            "why" => {
                self.explain(facts, &parcel, message, today, now)?;
                Ok(Answer::Explained)
            }
            _ => Ok(Answer::Unknown),
        }
    }

    /// Notes the same of several tasks, and drops what waits about those that
    /// are done.
    fn note(
        &mut self,
        tasks: &[String],
        today: NaiveDate,
        now: DateTime<Utc>,
        fact: impl Fn(String) -> Fact,
    ) -> Result<(), StoreError> {
        self.store.change("noting the answer", |change| {
            for task in tasks {
                let what = fact(task.clone());
                if matches!(what, Fact::Done(_)) {
                    change.cancel(task, now)?;
                }
                let entry = Entry {
                    date: today,
                    trees: Vec::new(),
                    crop: None,
                    note: None,
                    what,
                };
                change.record(&entry, now)?;
            }
            Ok(())
        })
    }

    /// Queues the long text of a message on the channel it was asked from.
    fn explain(
        &mut self,
        facts: &Facts,
        parcel: &Parcel,
        key: &str,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let season = season::derive(facts, today);
        let plan = plan::make(facts, &season, today);
        let seen = Seen {
            facts,
            season: &season,
            plan: &plan,
            now,
        };
        let mut letter = seen.blank();
        let known = parcel
            .tasks()
            .into_iter()
            .filter_map(|id| plan.tasks.iter().find(|task| task.id == id));
        letter.lines = known
            .take(nudge::MOST_LINES)
            .map(|task| Line {
                heading: Words::new(facts, today).say(task),
                details: page::why(facts, &season, &plan, task)
                    .into_iter()
                    .skip_while(|line| !line.is_empty())
                    .filter(|line| !line.is_empty())
                    .collect(),
                ..Line::default()
            })
            .collect();
        if letter.lines.is_empty()
            && let Some(old) = parcel.letter(key, &[])
        {
            letter.lines = old.lines;
        }
        let mut answer = Parcel::put_up(&letter);
        answer.base = format!("why/{key}/{}", now.timestamp_millis());
        answer.channel.clone_from(&parcel.channel);
        answer.whole = true;
        let span = Span {
            from: now,
            until: now + TimeDelta::hours(ASKED_HOURS),
            priority: ASKED,
        };
        let message = span.outgoing(nudge::key(&answer.base, Kind::Opening, 0), &answer);
        self.store.change("answering a question", |change| {
            change.queue(&message, now).map(drop)
        })
    }
}
