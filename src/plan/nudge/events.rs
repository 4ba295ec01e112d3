//! What an event sets off: frost tonight, an infection that ended, heavy rain.
//! Each event is told once, however its date or its number shifts.

use super::{About, Kind, Nudge, Said, Subject, Told, plus, snoozed};
use crate::facts::Facts;
use crate::facts::knowledge::{ChoreKind, Trigger};
use crate::plan::calendar::{State, Task};
use crate::season::Season;
use crate::season::evidence::{Evidence, FrostNight, TOLD_SHARE};
use chrono::NaiveDate;

/// The chore of the frost warning: who does not want it is not warned.
pub(super) const FROST_CHORE: &str = "frost-tonight";

/// Share killed from which a frost some days ahead is mentioned (our judgement).
const AHEAD_SHARE: f64 = 0.25;

/// Events within as many days are one.
const ONE_EVENT_DAYS: i64 = 3;

/// Days between two calls after infections: who did not answer the first has
/// leaves that are infected already.
const INFECTION_REST_DAYS: i64 = 5;

/// Days between two words on one chore that events set off.
const REST_DAYS: i64 = 7;

/// Whether an evidence is a frost night.
pub(super) fn is_frost(evidence: &Evidence) -> bool {
    matches!(evidence, Evidence::FrostNight(_))
}

/// How bad a night is: 1 some, 2 many, 3 most of the buds.
fn class(night: &FrostNight) -> u32 {
    match night.kill {
        kill if kill >= 0.6 => 3,
        kill if kill >= 0.25 => 2,
        _ => 1,
    }
}

/// Frost in the coming night, as often as it worsens by a class.
pub(super) fn frost_tonight(
    facts: &Facts,
    season: &Season,
    today: NaiveDate,
    said: &Said,
) -> Option<Nudge> {
    let silent = &facts.preferences.silent_chores;
    if silent.iter().any(|chore| chore == FROST_CHORE) {
        return None;
    }
    let date = plus(today, 1);
    let mut nights: Vec<FrostNight> = season
        .frosts
        .iter()
        .filter(|night| night.forecast && night.date == date)
        .filter(|night| night.is_feared())
        .cloned()
        .collect();
    nights.sort_by(|a, b| b.kill.total_cmp(&a.kill));
    let mut crops: Vec<String> = Vec::new();
    nights.retain(|night| {
        let first = !crops.contains(&night.crop);
        crops.push(night.crop.clone());
        first
    });
    let class = class(nights.first()?);
    let subject = Subject::named("frost-night", date);
    let told = said
        .of(&subject)
        .filter(|told| told.kind == Kind::Urgent)
        .map(|told| told.sequence)
        .max();
    // In a cold spell each night is told alone only where more is at stake
    // than some buds.
    let spell = class == 1
        && said.told.iter().any(|told| {
            told.kind == Kind::Urgent
                && told.subject.chore == subject.chore
                && (1..=ONE_EVENT_DAYS).contains(&(date - told.from).num_days())
        });
    if spell || told.is_some_and(|told| told >= class) {
        return None;
    }
    Some(Nudge {
        kind: Kind::Urgent,
        told: Told::new(Kind::Urgent, subject, class, today, (date, date)),
        about: About::Frost(nights),
        patient: false,
    })
}

/// A frost that was warned of and did not come, once its night is known.
pub(super) fn all_clear(
    facts: &Facts,
    season: &Season,
    today: NaiveDate,
    said: &Said,
) -> Option<Nudge> {
    let warned = said.told.iter().rev().find(|told| {
        told.kind == Kind::Urgent
            && told.subject.chore == "frost-night"
            && (0..=3).contains(&(today - told.from).num_days())
    })?;
    let date = warned.from;
    let known = said
        .of(&warned.subject)
        .any(|told| told.kind == Kind::AllClear);
    let low_c = facts.weather.daily.as_ref()?.day(date)?.low_c?;
    let harmed = season
        .frosts
        .iter()
        .any(|night| !night.forecast && night.date == date && night.kill >= TOLD_SHARE);
    if known || harmed {
        return None;
    }
    Some(Nudge {
        kind: Kind::AllClear,
        told: Told::new(
            Kind::AllClear,
            warned.subject.clone(),
            0,
            today,
            (date, date),
        ),
        about: About::AllClear { date, low_c },
        patient: false,
    })
}

/// A spray that only helps in the days after an infection: at once.
pub(super) fn infection(
    facts: &Facts,
    task: &Task,
    today: NaiveDate,
    said: &Said,
) -> Option<Nudge> {
    if !pressing(facts, task) || task.state != State::Urgent {
        return None;
    }
    fresh(task, said, INFECTION_REST_DAYS)
        .map(|sequence| Nudge::of_task(Kind::Urgent, task, sequence, today, false))
}

/// Whether the task is a spray that an infection calls for.
fn pressing(facts: &Facts, task: &Task) -> bool {
    let chore = facts.knowledge.chore(&task.chore);
    let after = chore.and_then(|chore| chore.after.as_ref());
    task.kind == ChoreKind::Spray
        && task.worth >= 4
        && after.is_some_and(|after| matches!(after.trigger, Trigger::Infection { .. }))
}

/// Another event's chore, in the digest.
pub(super) fn opening(facts: &Facts, task: &Task, today: NaiveDate, said: &Said) -> Option<Nudge> {
    let chore = facts.knowledge.chore(&task.chore)?;
    let after = chore.after.as_ref()?;
    let open = matches!(task.state, State::Open | State::Urgent);
    if !open || pressing(facts, task) || snoozed(facts, task, today) {
        return None;
    }
    if let Trigger::FrostAhead { .. } = after.trigger {
        // The night before it is warned of at once; earlier only in the digest
        // and only where much would be lost.
        let worst = task.reasons.iter().any(
            |reason| matches!(reason, Evidence::FrostNight(night) if night.kill >= AHEAD_SHARE),
        );
        let opens = &task.window.opens;
        let first = plus(opens.spread.middle, -(opens.shift_days as i64));
        if !worst || first <= plus(today, 2) {
            return None;
        }
    }
    let sequence = fresh(task, said, REST_DAYS)?;
    Some(Nudge::of_task(
        Kind::Opening,
        task,
        sequence,
        today,
        task.worth < 4,
    ))
}

/// The number of an event that was not told yet; `None` for one that was, or
/// that follows too close on another.
fn fresh(task: &Task, said: &Said, rest_days: i64) -> Option<u32> {
    let subject = Subject::of(task);
    let event = task.window.opens.spread.middle;
    let mut count = 0;
    for told in said
        .of(&subject)
        .filter(|told| matches!(told.kind, Kind::Opening | Kind::Urgent))
    {
        let apart = (event - told.from).num_days();
        if apart.abs() < rest_days || event < told.from {
            return None;
        }
        count += 1;
    }
    Some(count)
}
