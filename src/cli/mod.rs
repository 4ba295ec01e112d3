//! The commands.

mod answer;
mod ask;
mod calendar;

mod hindcast;
mod import;
mod json;
mod manual;
mod measure;

mod note;

mod orchard;

mod print;
mod register_notes; // the register's file against the notes
mod rehearse;
mod service;
mod setup;
mod show;

mod test_message;

mod weather;

use crate::clock::Clock;
use crate::config;
use crate::facts::Facts;
use crate::service::gather::{self, Folders};
use answer::{Output, Refusal};
use chrono::NaiveDate;
use clap::error::ErrorKind;
use clap::{Args, CommandFactory, Parser, Subcommand};
use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

/// Something in a file is wrong, or the thing asked for cannot be done.
const FAILED: u8 = 1;

const EXAMPLES: &str = "\
Examples:
  budtide demo                     the year of an invented orchard
  budtide demo today               what is due there on its day
  budtide check                    are my files in order?
  budtide calendar                 my year, one line a task
  budtide today                    what is due, for which trees, and why
  budtide why prune-pome-apple-2027
  budtide import station.csv --set unit.temperature=F
  budtide calendar --as-of 2026-03-01 --json

Exit codes, with --json too:
  0  done
  1  a file has faults, or what was asked for cannot be done; the text says why
  2  the command line is not understood

Files:
  place.toml and register.toml in ~/.config/budtide (XDG_CONFIG_HOME), or in
  the folder given by --folder. Weather and journal are kept in
  ~/.local/share/budtide (XDG_DATA_HOME), or beside them in that folder.";

/// Watches the season for a small orchard and says in time what to do, to
/// which trees, and why.
#[derive(Debug, Parser)]
#[command(name = "budtide", version, after_help = EXAMPLES, max_term_width = 80)]
struct Cli {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

impl Cli {
    /// Reads a command line, and whether what it asks for goes together.
    fn read(words: &[OsString]) -> Result<Self, clap::Error> {
        let cli = Cli::try_parse_from(words)?;
        if let Command::Show(Show::Calendar(asked))
        | Command::Demo {
            show: Some(Show::Calendar(asked)),
        } = &cli.command
        {
            let conflict = |text| Cli::command().error(ErrorKind::ArgumentConflict, text);
            asked.check().map_err(conflict)?;
        }
        Ok(cli)
    }
}

/// What every command takes.
#[derive(Clone, Debug, Args)]
struct Common {
    /// The folder that holds place.toml and register.toml
    #[arg(long, global = true, value_name = "DIR")]
    folder: Option<PathBuf>,
    /// Look at the orchard as on the morning of this day, such as 2026-03-01
    #[arg(long, global = true, value_name = "DATE", value_parser = day)]
    as_of: Option<NaiveDate>,
    /// Print one JSON document instead of text, and an error as one on
    /// standard error; the keys are told in the README
    #[arg(long, global = true)]
    json: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Show an invented orchard: the calendar, or another command on it
    Demo {
        /// What to show of it; the calendar if left out
        #[command(subcommand)]
        show: Option<Show>,
    },
    #[command(flatten)]
    Show(Show),
    /// Bring in a weather file: days or hours as CSV, packed by gzip or not
    Import(import::Import),

    /// Begin: asks for place and trees, and writes the files
    Setup(Box<setup::Setup>),
    /// Send one message by every way that is set up
    TestMessage,
    /// The man page, and completions for your shell
    Manual(manual::Manual),
    /// The background service: install, status, logs, remove
    Service(service::Service),

    /// Check place.toml, register.toml and your own knowledge files
    Check,
    #[command(flatten)]
    Book(note::book::Book),
}

/// What can be shown of an orchard, yours or the demo's.
#[derive(Clone, Debug, Subcommand)]
enum Show {
    /// The coming year: one lane a chore, one character a week
    Calendar(calendar::Calendar),
    /// What is due today, for which trees, by when and why
    Today,
    /// Why a task is there and when: figures, source, how sure
    Why {
        /// The task's name, as the calendar shows it in brackets
        name: String,
    },
    /// Keep, watch, treat or replace: every tree with its verdict and why
    Trees {
        /// One tree in full, by its id
        id: Option<String>,
    },
    /// Which cultivars of a crop suit this place, and why
    Choose(orchard::Choose),
    /// The orchard by rows and spots, with verdicts and missing partners
    Map,
    /// The junipers near by, and whether cutting is worth it
    Junipers,
    /// What comes out, what to order by when, and when to plant
    Replanting,
    /// The growth stages of this season, crop by crop
    Stages,
    /// How well past springs were forecast, from your own notes of bloom
    Hindcast {
        /// Only one crop
        #[arg(long, value_name = "CROP")]
        crop: Option<String>,
    },
    /// Any model over the weather of the place: heat, chill, wetness, frost
    Measure {
        /// What to measure
        #[command(subcommand)]
        what: measure::Measure,
    },
    /// Live a year in seconds: each message at its time, as it would be sent
    Rehearse(rehearse::Rehearse),
    /// What moved in the calendar since a day
    Changes {
        /// That day, such as 2026-04-20
        #[arg(value_parser = day)]
        since: NaiveDate,
    },
    /// The coming nights against the buds: what to do by day, and what not
    Frost,
    /// Juniper rust: infection periods, what still helps, when to look
    Rust,
    /// What a symptom may be: ask peach "leaf spots"
    Ask {
        /// The crop
        crop: String,
        /// What you see
        #[arg(required = true)]
        words: Vec<String>,
    },
    /// What is known of the weather, from whom, until when; fetch, compare
    Weather(weather::Weather),
    #[command(flatten)]
    Keep(note::Keep),
}

fn day(text: &str) -> Result<NaiveDate, String> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d")
        .map_err(|_| "not a day of the calendar; write it as 2026-03-01".to_owned())
}

/// Runs the command line.
pub fn run() -> ExitCode {
    let words: Vec<OsString> = std::env::args_os().collect();
    let cli = match Cli::read(&words) {
        Ok(cli) => cli,
        Err(error) if asks_json(&words) => return not_understood(&error),
        Err(error) => error.exit(),
    };
    let as_json = cli.common.json;
    let done = match &cli.command {
        Command::Service(service) => match service::run(service, &cli.common) {
            Ok(Ok(output)) => Ok(output),
            Ok(Err(code)) => return code,
            Err(text) => Err(text.into()),
        },
        Command::TestMessage => match test_message::run(&cli.common) {
            Ok((output, code)) => {
                print::page(output, as_json);
                return code;
            }
            Err(refusal) => Err(refusal),
        },
        _ => dispatch(&cli),
    };
    match done {
        Ok(output) => print::page(output, as_json),
        Err(refusal) => {
            print::error(&refusal, as_json, FAILED);
            ExitCode::from(FAILED)
        }
    }
}

/// Whether JSON is asked for on a command line that may not be understood.
fn asks_json(words: &[OsString]) -> bool {
    let options = words.iter().skip(1).take_while(|word| *word != "--");
    options.into_iter().any(|word| word == "--json")
}

/// A command line that is not understood, or a help page, as JSON.
fn not_understood(error: &clap::Error) -> ExitCode {
    let text = error.render().to_string();
    if !error.use_stderr() {
        return print::page(Output::Raw(text), true);
    }
    let code = u8::try_from(error.exit_code()).unwrap_or(FAILED);
    print::error(&text.into(), true, code);
    ExitCode::from(code)
}

fn dispatch(cli: &Cli) -> Result<Output, Refusal> {
    let common = &cli.common;
    match &cli.command {
        Command::Demo { show } => {
            let (year, month, day) = gather::DEMO_DAY;
            let own = NaiveDate::from_ymd_opt(year, month, day).unwrap_or_default();
            let today = common.as_of.unwrap_or(own);

            let whole = || Show::Calendar(calendar::Calendar::default());
            let show = show.clone().unwrap_or_else(whole);
            let mut output = match &show {
                Show::Keep(keep) => note::demo(keep, today)?,
                Show::Weather(weather) => weather::demo(weather, today, common.json)?,
                show => show::run(show, common.json, today, |today| {
                    gather::demo(today).map_err(|error| error.to_string())
                })?,
            };

            if let Output::Lines(lines) | Output::Both { lines, .. } = &mut output {
                lines.push(String::new());
                lines.push(show::DEMO_FOOT.to_owned());
            }
            Ok(output)
        }
        Command::Show(Show::Weather(weather)) => Ok(weather::run(weather, common)?),
        Command::Show(Show::Keep(keep)) => {
            let folders = folders(common)?;
            let today = today(common, &folders)?;
            Ok(note::run(keep, &folders, today, common.as_of)?)
        }
        Command::Book(book) => {
            let folders = folders(common)?;
            let today = today(common, &folders)?;
            Ok(note::book::run(
                book,
                &folders,
                today,
                common.as_of,
                common.json,
            )?)
        }
        Command::Show(show) => {
            let folders = folders(common)?;
            let today = today(common, &folders)?;
            let shown = show::run(show, common.json, today, |today| {
                let look = gather::Look {
                    today,
                    now: common
                        .as_of
                        .is_none()
                        .then(|| Clock::Wall.now(chrono_tz::UTC)),
                    all_hours: matches!(show, Show::Measure { .. }),
                };
                gather::facts_at(&folders, look).map_err(|error| error.to_string())
            })?;
            Ok(shown)
        }
        Command::Import(import) => import::run(import, common),
        Command::Check => check(common),
        Command::Setup(setup) => Ok(setup::run(setup, common)?),
        Command::Manual(manual) => Ok(manual::run(manual)?),
        // Answered before: they have exit codes of their own.
        Command::Service(_) | Command::TestMessage => Ok(Output::Lines(Vec::new())),
    }
}

/// The day to look at: `--as-of`, or today at the place.
fn today(common: &Common, folders: &Folders) -> Result<NaiveDate, Refusal> {
    if let Some(day) = common.as_of {
        return Ok(day);
    }
    let settings = config::load(&folders.config).map_err(|faults| Refusal::of_files(faults, ""))?;
    let today = Clock::Wall.today(settings.place.time_zone);
    let ahead = config::planted_ahead(&folders.config, today);
    if ahead.is_empty() {
        Ok(today)
    } else {
        Err(Refusal::of_files(ahead, ""))
    }
}

fn all(faults: &[config::fault::Fault]) -> String {
    faults
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("\n")
}

/// The folders of the user, by `--folder` or by the XDG base directories.
fn folders(common: &Common) -> Result<Folders, String> {
    if let Some(folder) = &common.folder {
        return Ok(Folders {
            config: folder.clone(),
            data: folder.join("data"),
        });
    }
    let home = std::env::home_dir().filter(|home| !home.as_os_str().is_empty());
    let base = |variable: &str, below: &str| {
        std::env::var_os(variable)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
            .or_else(|| home.as_ref().map(|home| home.join(below)))
            .map(|path| path.join("budtide"))
            .ok_or_else(|| "there is no home folder to look in; name one with --folder".to_owned())
    };
    Ok(Folders {
        config: base("XDG_CONFIG_HOME", ".config")?,
        data: base("XDG_DATA_HOME", ".local/share")?,
    })
}

/// Checks the user's files and says what was found.
fn check(common: &Common) -> Result<Output, Refusal> {
    let folders = folders(common)?;
    let told = |faults: Vec<config::fault::Fault>| {
        let count = faults.len();
        let noun = if count == 1 { "fault" } else { "faults" };
        let below = format!("\n\n{count} {noun} in {}", folders.config.display());
        Refusal::of_files(faults, &below)
    };
    let settings = config::load(&folders.config).map_err(told)?;
    // A day that is looked at does not make a later planting a fault.
    let now = Clock::Wall.today(settings.place.time_zone);
    let ahead = config::planted_ahead(
        &folders.config,
        common.as_of.map_or(now, |day| day.max(now)),
    );
    if !ahead.is_empty() {
        return Err(told(ahead));
    }
    let today = common
        .as_of
        .unwrap_or_else(|| Clock::Wall.today(settings.place.time_zone));
    let facts: Facts =
        gather::facts(&folders, today).map_err(|error: gather::GatherError| error.to_string())?;
    Ok(show::checked(&facts, &folders.config, today))
}
