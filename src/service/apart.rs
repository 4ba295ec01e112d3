//! A look in a process of its own.
//!
//! The service lies in memory all year, and a look needs more of it than all
//! the waiting: it reads the knowledge, thirty years of weather and most of
//! the program. So the service asks a second copy of itself, which looks,
//! leaves what is to be said in the outbox, answers in one line and ends; its
//! memory goes with it, and what goes wrong there does not end the service.

use super::gather::{self, Folders, GatherError, Look};
use super::round::{Answer, Keeper, Next, Troubles};
use crate::config;
use crate::facts::Facts;
use crate::store::journal::{self, JournalStore};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::PathBuf;
use std::process::Stdio;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::process::Command;

/// A look takes less than a second; one that takes this long hangs.
const LIMIT: Duration = Duration::from_secs(300);

/// What the second copy is asked, as one line of JSON on its standard input.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Question {
    /// Where files lie.
    pub config: PathBuf,
    /// Where weather and journal lie.
    pub data: PathBuf,
    /// The moment of the look.
    pub now: DateTime<Utc>,
    /// The names of the ways out.
    pub ways: Vec<String>,
    /// Trouble outside that the digest tells of.
    pub troubles: Troubles,
    /// A pressed button instead of a look: message and action.
    pub pressed: Option<(String, String)>,
}

/// What it answers, as one line of JSON on its standard output.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Reply {
    /// It looked: when to look again, and what of the trouble was told.
    Looked(Next, Troubles),
    /// What became of the button.
    Pressed(Answer),
    /// The keeper's files have faults: whoever read better ones before may
    /// look by those.
    Faults,
    /// What went wrong, in words.
    Trouble(String),
}

/// Why there is no answer.
#[derive(Debug)]
pub enum Unanswered {
    /// The second copy cannot be started.
    Unstarted(std::io::Error),
    /// It ended, or went on too long, without an answer.
    Broken(String),
}

impl fmt::Display for Unanswered {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unanswered::Unstarted(error) => {
                write!(
                    f,
                    "a look in a process of its own cannot be started: {error}"
                )
            }
            Unanswered::Broken(how) => {
                write!(f, "a look {how}; it is tried again in 5 minutes")
            }
        }
    }
}

impl std::error::Error for Unanswered {}

/// Asks a second copy of this program. Dropping the future ends the copy.
///
/// # Errors
/// [`Unanswered`].
pub async fn ask(question: &Question) -> Result<Reply, Unanswered> {
    // By this path it is the same program even where the file was replaced
    // by a newer one meanwhile.
    let mut child = Command::new("/proc/self/exe")
        .arg0("budtide")
        .args(["service", "look"])
        .env_remove("NOTIFY_SOCKET")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .kill_on_drop(true)
        .spawn()
        .map_err(Unanswered::Unstarted)?;
    let text = serde_json::to_string(question)
        .map_err(|error| Unanswered::Broken(format!("cannot be asked for: {error}")))?;
    let asked = async {
        if let Some(mut input) = child.stdin.take() {
            // Where it ended before, its end tells more.
            let _ = input.write_all(text.as_bytes()).await;
        }
        child.wait_with_output().await
    };
    let output = match tokio::time::timeout(LIMIT, asked).await {
        Ok(Ok(output)) => output,
        Ok(Err(error)) => return Err(Unanswered::Broken(format!("broke off: {error}"))),
        Err(_) => {
            let minutes = LIMIT.as_secs() / 60;
            let how = format!("took over {minutes} minutes and was ended");
            return Err(Unanswered::Broken(how));
        }
    };
    if !output.status.success() {
        return Err(Unanswered::Broken(format!("broke off: {}", output.status)));
    }
    serde_json::from_slice(&output.stdout)
        .map_err(|error| Unanswered::Broken(format!("gave no clear answer: {error}")))
}

/// The second copy's part: looks, or takes the answer of a button.
pub fn answer(question: Question) -> Reply {
    let folders = Folders {
        config: question.config.clone(),
        data: question.data.clone(),
    };
    let settings = match config::load(&folders.config) {
        Ok(settings) => settings,
        Err(_) => return Reply::Faults,
    };
    let zone = settings.place.time_zone;
    let look = Look {
        now: Some(question.now),
        ..Look::morning(question.now.with_timezone(&zone).date_naive())
    };
    let facts = gather::facts_of(settings, &folders, look);
    match facts.and_then(|facts| with_facts(&facts, question, &folders)) {
        Ok(reply) => reply,
        Err(error) => Reply::Trouble(error.to_string()),
    }
}

fn with_facts(facts: &Facts, question: Question, folders: &Folders) -> Result<Reply, GatherError> {
    let store = JournalStore::open(&folders.data.join(journal::FILE))?;
    let mut keeper = Keeper::beside(store, question.ways, question.troubles);
    Ok(match &question.pressed {
        None => {
            let next = keeper.look(facts, question.now)?;
            Reply::Looked(next, keeper.troubles().clone())
        }
        Some((message, action)) => {
            Reply::Pressed(keeper.pressed(facts, message, action, question.now)?)
        }
    })
}
