//! Rounds of the service: gather, plan, say, deliver, and answers to buttons.

use super::{AFTER_TROUBLE, Service, first_day};
use crate::channels::desktop::Pressed;
use crate::clock;
use crate::config::{Settings, knowledge};
use crate::facts::Facts;
use crate::service::apart::{self, Question, Reply, Unanswered};
use crate::service::gather::{self, GatherError, Look};
use crate::service::log::Level;
use crate::service::round::{Answer, Next};
use crate::service::tell;
use crate::store::StoreError;
use chrono::{DateTime, TimeDelta, Utc};

impl Service {
    /// One round: gather, plan, say, deliver. Trouble is logged, and tried
    /// again in a while.
    pub(super) async fn round(&mut self) {
        let now = clock::now();
        if now.date_naive() < first_day() {
            self.options.log.error(
                "the clock of this machine is wrong: nothing is sent until it is set",
                &[("clock", &now.format("%Y-%m-%d %H:%M"))],
            );
            self.next = now + AFTER_TROUBLE;
            return;
        }
        let console = self.console.as_ref();
        if let Some(silence) = console.and_then(|console| console.desk.trouble(now)) {
            self.keeper.trouble("console", Some(silence));
        }
        match self.look(now).await {
            Ok(()) => {}
            Err(error) => {
                self.options.log.error(&error.to_string(), &[]);
                self.next = now + AFTER_TROUBLE;
                self.status = "trouble; the log tells it; tried again in 5 minutes".to_owned();
            }
        }
        self.kept = self.kept_now();
        tell::status(&self.status);
    }

    pub(super) async fn look(&mut self, now: DateTime<Utc>) -> Result<(), GatherError> {
        let began = std::time::Instant::now();
        let next = self.next_look(now).await?;
        let took = began.elapsed().as_millis();
        self.deliver(now, next.wake).await?;
        self.status = next.status;
        self.options.log.write(
            Level::Debug,
            "looked",
            &[
                ("ms", &took),
                ("next", &self.next.format("%Y-%m-%dT%H:%M:%SZ")),
            ],
        );
        Ok(())
    }

    /// Looks, in a process of its own where it can.
    pub(super) async fn next_look(&mut self, now: DateTime<Utc>) -> Result<Next, GatherError> {
        match self.apart(now, None).await? {
            Some(Reply::Looked(next, troubles)) => {
                self.keeper.take_troubles(troubles);
                Ok(next)
            }
            Some(other) => Err(odd(&other)),
            None => {
                let facts = self.facts(now)?;
                Ok(self.keeper.look(&facts, now)?)
            }
        }
    }

    /// Asks a process of its own; `None` where the look must be here: by
    /// files that are not there any more, or where none can be started.
    pub(super) async fn apart(
        &self,
        now: DateTime<Utc>,
        pressed: Option<&Pressed>,
    ) -> Result<Option<Reply>, GatherError> {
        if self.stale || self.options.once {
            return Ok(None);
        }
        let question = Question {
            config: self.options.folders.config.clone(),
            data: self.options.folders.data.clone(),
            now,
            ways: self.keeper.ways().to_vec(),
            troubles: self.keeper.troubles().clone(),
            pressed: pressed.map(|pressed| (pressed.message.clone(), pressed.action.clone())),
        };
        match apart::ask(&question).await {
            Ok(Reply::Faults) => Ok(None),
            Ok(Reply::Trouble(text)) => Err(GatherError::Weather(text)),
            Ok(reply) => Ok(Some(reply)),
            Err(error @ Unanswered::Unstarted(_)) => {
                self.options.log.warning(&error.to_string(), &[]);
                Ok(None)
            }
            Err(error) => Err(GatherError::Weather(error.to_string())),
        }
    }

    pub(super) async fn deliver(
        &mut self,
        now: DateTime<Utc>,
        wake: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let delivered = self.keeper.deliver(&self.settings.place, now).await?;
        for trouble in &delivered.troubles {
            self.options.log.warning(trouble, &[]);
        }
        if delivered.sent > 0 {
            self.options
                .log
                .info("sent", &[("messages", &delivered.sent)]);
        }
        // Never at once again: what is due now was just tried.
        let soonest = now + TimeDelta::seconds(5);
        self.next = delivered
            .next
            .map_or(wake, |due| due.min(wake))
            .max(soonest);
        Ok(())
    }

    pub(super) async fn pressed(&mut self, pressed: &Pressed) {
        let log = self.options.log;
        let now = clock::now();
        match self.answer_to(pressed, now).await {
            Ok(Answer::Noted(line)) => {
                log.info(&line, &[]);
                self.round().await;
            }
            Ok(Answer::Explained) => {
                if let Err(error) = self.deliver(now, self.next).await {
                    log.error(&error.to_string(), &[]);
                }
            }
            Ok(Answer::Refused(why)) => log.warning(&why, &[]),
            Ok(Answer::Unknown) => {
                log.warning(
                    "a button of a message that is not known any more",
                    &[("action", &pressed.action)],
                );
            }
            Err(error) => log.error(&error.to_string(), &[]),
        }
    }

    pub(super) async fn answer_to(
        &mut self,
        pressed: &Pressed,
        now: DateTime<Utc>,
    ) -> Result<Answer, GatherError> {
        match self.apart(now, Some(pressed)).await? {
            Some(Reply::Pressed(answer)) => Ok(answer),
            Some(other) => Err(odd(&other)),
            None => {
                let facts = self.facts(now)?;
                let (message, action) = (&pressed.message, &pressed.action);
                Ok(self.keeper.pressed(&facts, message, action, now)?)
            }
        }
    }

    /// The facts as they stand at this moment.
    pub(super) fn facts(&self, now: DateTime<Utc>) -> Result<Facts, GatherError> {
        let zone = self.settings.place.time_zone;
        let look = Look {
            now: Some(now),
            ..Look::morning(now.with_timezone(&zone).date_naive())
        };
        let settings = Settings {
            knowledge: knowledge::on(&self.shelf, None).map_err(GatherError::Faults)?,
            ..self.settings.clone()
        };
        gather::facts_of(settings, &self.options.folders, look)
    }
}

/// An answer to another question.
fn odd(reply: &Reply) -> GatherError {
    GatherError::Weather(format!(
        "a look gave an answer that was not asked for: {reply:?}"
    ))
}
