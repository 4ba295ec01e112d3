//! `service`: put up, look after and take down the user service, or be it.

mod unit; // the unit file and where it lies

use super::{Common, Output, folders};
use crate::service::apart;
use crate::service::gather::Folders;
use crate::service::log::{Level, Log};
use crate::service::run::{self, Options};
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand, ValueEnum};
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::process::{Command, ExitCode};
use std::time::Duration;
use unit::{NAME, unit, unit_path};

/// The exit status that keeps systemd from starting it again (sysexits.h,
/// EX_CONFIG).
const FOR_THE_KEEPER: u8 = 78;

const EXAMPLES: &str = "\
Examples:
  budtide service install --dry-run   what would be done
  budtide service install             write the unit, start it now and at login
  budtide service status
  budtide service logs --follow
  budtide service remove              stop it and take the unit away";

/// The background service of your user.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct Service {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Write the unit, start it, and have it start at login; never needs root
    Install {
        /// Only say what would be done
        #[arg(long)]
        dry_run: bool,
    },
    /// How it stands: running, next message, folders
    Status,
    /// Stop it and take the unit away; your files and the journal stay
    Remove {
        /// Only say what would be done
        #[arg(long)]
        dry_run: bool,
    },
    /// What it wrote in the systemd journal
    Logs {
        /// Wait for more
        #[arg(long)]
        follow: bool,
        /// How many lines
        #[arg(long, default_value_t = 50, value_parser = super::note::whole::<u32>)]
        lines: u32,
    },
    /// Be the service: what the unit starts; ends with Ctrl-C
    Run {
        /// Look once, send what is due, and end
        #[arg(long)]
        once: bool,
        /// How much to tell
        #[arg(long, value_name = "LEVEL", default_value = "info")]
        log: Tell,
    },
    /// One look for the service, which asks on standard input
    #[command(hide = true)]
    Look,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Tell {
    Error,
    Warning,
    Info,
    Debug,
}

/// Runs the command; the service itself gives its own exit code.
pub fn run(service: &Service, common: &Common) -> Result<Result<Output, ExitCode>, String> {
    match &service.what {
        What::Install { dry_run } => install(common, *dry_run).map(Ok),
        What::Remove { dry_run } => remove(*dry_run).map(Ok),
        What::Status => status(common).map(Ok),
        What::Logs { follow: true, .. } if common.json => Err(
            "--follow never ends, so it is no JSON document; leave out --follow or --json"
                .to_owned(),
        ),
        What::Logs { lines, .. } if common.json => logged(*lines).map(Ok),
        What::Logs { follow, lines } => logs(*follow, *lines).map(Err),
        What::Look => Ok(Err(look())),
        What::Run { .. } if common.json => {
            Err("the service writes a log, not JSON; start it without --json".to_owned())
        }
        What::Run { once, log } => Ok(Err(be(folders(common)?, *once, *log))),
    }
}

fn install(common: &Common, dry_run: bool) -> Result<Output, String> {
    let folders = folders(common)?;
    let path = unit_path()?;
    let text = unit(common)?;
    let same = std::fs::read_to_string(&path).is_ok_and(|there| there == text);
    let mut lines = Vec::new();
    let value = json!({
        "dry_run": dry_run,
        "unit": path.display().to_string(),
        "unit_text": text,
        "written": !dry_run && !same,
        "steps": STEPS.map(|step| format!("systemctl --user {}", step.join(" "))),
    });
    // A service that cannot start is worse than none.
    let settings = crate::config::load(&folders.config).map_err(|faults| {
        let first = match folders.config.join(crate::config::place::FILE).exists() {
            true => "mend these first, then install the service:",
            false => "there is no orchard yet; `budtide setup` asks for it and writes the files:",
        };
        format!("{first}\n\n{}", super::all(&faults))
    })?;
    if dry_run {
        lines.push("This would be done; nothing was.".to_owned());
        lines.push(String::new());
        lines.push(match same {
            true => format!("  leave {} as it is", path.display()),
            false => format!("  write {}", path.display()),
        });
        for step in STEPS {
            lines.push(format!("  run   systemctl --user {}", step.join(" ")));
        }
        lines.push(String::new());
        lines.push("The unit:".to_owned());
        lines.push(String::new());
        lines.extend(
            text.lines()
                .map(|line| format!("  {line}").trim_end().to_owned()),
        );
        return Ok(Output::Both { lines, value });
    }
    if !same {
        let failed = |error| format!("cannot write {}: {error}", path.display());
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(failed)?;
        }
        // Whole or not at all, should the machine stop here.
        let draft = path.with_extension("service.new");
        std::fs::write(&draft, &text).map_err(failed)?;
        std::fs::rename(&draft, &path).map_err(failed)?;
    }
    lines.push(match same {
        true => format!("{} is there already.", path.display()),
        false => format!("Wrote {}.", path.display()),
    });
    for step in STEPS {
        systemctl(step).map_err(|error| {
            format!(
                "{}\n\n{error}\n\nThe unit stays; when systemd runs for your user, \
                 `budtide service install` goes on from here.",
                lines.join("\n")
            )
        })?;
    }
    lines.push("The service runs, and starts again at every login.".to_owned());
    lines.push(String::new());
    lines.extend(after_install(&settings));
    Ok(Output::Both { lines, value })
}

/// In this order: the unit is read, begins at login, begins now; a service
/// that runs already takes up what changed.
const STEPS: [&[&str]; 3] = [&["daemon-reload"], &["enable", NAME], &["restart", NAME]];

fn after_install(settings: &crate::config::Settings) -> Vec<String> {
    let mut lines = vec![
        "budtide service status     how it stands".to_owned(),
        "budtide test-message       one message by every way, to try them".to_owned(),
        "budtide rehearse           what a year of messages is like".to_owned(),
    ];
    if settings.delivery.email.is_some() {
        lines.push(String::new());
        lines.extend(crate::render::page::wrap(LINGER, "", ""));
    }
    lines
}

/// What a keeper who is seldom logged in should know.
const LINGER: &str = "The service of a user ends when you log out. So that e-mails go out without \
     you at the screen too, run `loginctl enable-linger` once (some systems ask for a password).";

fn remove(dry_run: bool) -> Result<Output, String> {
    let path = unit_path()?;
    let there = path.is_file();
    let answer = |lines: Vec<String>, stopped: bool| Output::Both {
        lines,
        value: json!({
            "dry_run": dry_run,
            "unit": path.display().to_string(),
            "removed": there && !dry_run,
            "stopped": stopped,
        }),
    };
    if dry_run {
        let mut lines = vec!["This would be done; nothing was.".to_owned(), String::new()];
        lines.push(format!("  run    systemctl --user disable --now {NAME}"));
        lines.push(match there {
            true => format!("  delete {}", path.display()),
            false => format!("  nothing to delete: there is no {}", path.display()),
        });
        lines.push("  run    systemctl --user daemon-reload".to_owned());
        return Ok(answer(lines, false));
    }
    if !there {
        let line = format!("There is nothing to remove: no {}.", path.display());
        return Ok(answer(vec![line], false));
    }
    // Without systemd the file can go all the same.
    let stopped = systemctl(&["disable", "--now", NAME]);
    std::fs::remove_file(&path)
        .map_err(|error| format!("cannot delete {}: {error}", path.display()))?;
    let mut lines = vec![format!("Took away {}.", path.display())];
    let told = stopped.and_then(|_| systemctl(&["daemon-reload"]));
    let stopped = told.is_ok();
    match told {
        Ok(_) => lines.insert(0, "The service has stopped.".to_owned()),
        Err(error) => lines.push(format!("systemd could not be told: {error}")),
    }
    lines.push("Your files, the journal and the weather stay.".to_owned());
    Ok(answer(lines, stopped))
}

fn status(common: &Common) -> Result<Output, String> {
    let folders = folders(common)?;
    let path = unit_path()?;
    let mut lines = Vec::new();
    let mut value = json!({
        "installed": path.is_file(),
        "unit": path.display().to_string(),
        "files": folders.config.display().to_string(),
        "kept": folders.data.display().to_string(),
    });
    if path.is_file() {
        let shown = systemctl(&[
            "show",
            NAME,
            "--property=ActiveState,SubState,StatusText,MainPID,NRestarts,UnitFileState,ActiveEnterTimestamp,Result,ExecMainStatus",
        ])?;
        let told = |key: &str| {
            shown
                .lines()
                .find_map(|line| line.strip_prefix(key)?.strip_prefix('='))
                .filter(|text| !text.is_empty())
                .map(str::to_owned)
        };
        let state = told("ActiveState").unwrap_or_default();
        let head = match state.as_str() {
            "active" => "The service runs",
            "reloading" => "The service reads its files anew",
            "activating" => "The service is starting",
            "failed" => "The service has failed",
            _ => "The service does not run",
        };
        lines.push(match told("ActiveEnterTimestamp") {
            Some(since) if state == "active" => format!("{head}, since {since}."),
            _ => format!("{head}."),
        });
        if let Some(text) = told("StatusText").filter(|_| state == "active") {
            lines.extend(crate::render::page::wrap(&text, "  ", "    "));
        }
        let for_the_keeper =
            told("ExecMainStatus").is_some_and(|status| status == FOR_THE_KEEPER.to_string());
        if state == "failed" && for_the_keeper {
            lines.push("  why: your files have faults; `budtide check` shows them".to_owned());
        } else if state == "failed" {
            lines.push(format!(
                "  why: {}; `budtide service logs` tells more",
                told("Result").unwrap_or_else(|| "unknown".to_owned())
            ));
        }
        lines.push(match told("UnitFileState").as_deref() {
            Some("enabled") => "It starts at login.".to_owned(),
            _ => "It does not start at login; `budtide service install` mends that.".to_owned(),
        });
        if let Some(count) = told("NRestarts").filter(|count| count != "0") {
            lines.push(format!(
                "It was started again {count} times after an end not asked for."
            ));
        }
        let other = unit(common)
            .is_ok_and(|text| std::fs::read_to_string(&path).is_ok_and(|there| there != text));
        value["state"] = json!(state);
        value["since"] = json!(told("ActiveEnterTimestamp").filter(|_| state == "active"));
        value["says"] = json!(told("StatusText").filter(|_| state == "active"));
        value["at_login"] = json!(told("UnitFileState").as_deref() == Some("enabled"));
        value["restarts"] = json!(told("NRestarts").and_then(|count| count.parse::<u32>().ok()));
        value["files_have_faults"] = json!(state == "failed" && for_the_keeper);
        value["unit_differs"] = json!(other);
        if other {
            lines.extend(crate::render::page::wrap(
                "The unit is not the one that this program would write (another version, folder \
                 or an edit of yours); `budtide service install` writes it anew.",
                "",
                "",
            ));
        }
    } else {
        lines.push("The service is not installed; `budtide service install` does it.".to_owned());
    }
    lines.push(String::new());
    lines.push(format!("unit   {}", path.display()));
    lines.push(format!("files  {}", folders.config.display()));
    lines.push(format!("kept   {}", folders.data.display()));
    Ok(Output::Both { lines, value })
}

/// What the service wrote last, as a document.
fn logged(lines: u32) -> Result<Output, String> {
    let output = journalctl(lines)
        .args(["--no-pager", "--output", "json"])
        .output()
        .map_err(|error| format!("cannot run journalctl: {error}"))?;
    if !output.status.success() {
        let why = String::from_utf8_lossy(&output.stderr);
        return Err(format!("journalctl failed: {}", why.trim()));
    }
    let text = String::from_utf8_lossy(&output.stdout);
    let said: Vec<Value> = text
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .map(|line| {
            let micros = line["__REALTIME_TIMESTAMP"].as_str();
            let micros = micros.and_then(|text| text.parse::<i64>().ok());
            let at = micros.and_then(DateTime::<Utc>::from_timestamp_micros);
            json!({"at": at.map(|at| at.to_rfc3339()), "text": line["MESSAGE"]})
        })
        .collect();
    Ok(Output::Json(format!("{:#}", json!({ "lines": said }))))
}

/// Shows the journal of the unit in place of this program's own output.
fn logs(follow: bool, lines: u32) -> Result<ExitCode, String> {
    let mut command = journalctl(lines);
    if follow {
        command.arg("--follow");
    } else {
        command.arg("--no-pager");
    }
    let ended = command
        .status()
        .map_err(|error| format!("cannot run journalctl: {error}"))?;
    Ok(match ended.success() || follow {
        true => ExitCode::SUCCESS,
        false => ExitCode::from(super::FAILED),
    })
}

/// The last lines of the service in the systemd journal.
fn journalctl(lines: u32) -> Command {
    let mut command = Command::new("journalctl");
    // By name and user, not by unit: that finds it too where systemd did not
    // file it under the user's unit.
    command.args(["--identifier", "budtide", "--no-hostname", "--lines"]);
    command.arg(lines.to_string());
    command.arg(format!("_UID={}", rustix::process::getuid().as_raw()));
    command
}

/// Runs `systemctl --user` and gives back what it printed.
fn systemctl(arguments: &[&str]) -> Result<String, String> {
    let said = format!("systemctl --user {}", arguments.join(" "));
    let output = Command::new("systemctl")
        .arg("--user")
        .args(arguments)
        .env("SYSTEMD_PAGER", "")
        .output()
        .map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => {
                "there is no systemctl: this machine does not run systemd. Start \
                 `budtide service run` by another way, such as your desktop's autostart."
                    .to_owned()
            }
            _ => format!("cannot run {said}: {error}"),
        })?;
    if output.status.success() {
        return Ok(String::from_utf8_lossy(&output.stdout).into_owned());
    }
    let error = String::from_utf8_lossy(&output.stderr);
    let cause = error.trim();
    let more = if cause.contains("bus") || cause.contains("XDG_RUNTIME_DIR") {
        "\nsystemd does not run for your user here. Log in on the machine itself or by ssh, not by \
         su or sudo, and try again."
    } else {
        ""
    };
    Err(format!("{said} failed: {cause}{more}"))
}

/// Is the second copy of the service for one look.
fn look() -> ExitCode {
    let mut text = String::new();
    let question = std::io::stdin()
        .read_to_string(&mut text)
        .map_err(|error| error.to_string())
        .and_then(|_| serde_json::from_str(&text).map_err(|error| error.to_string()));
    let reply = question
        .map(apart::answer)
        .and_then(|reply| serde_json::to_string(&reply).map_err(|error| error.to_string()));
    let said = reply.and_then(|reply| {
        let mut out = std::io::stdout();
        writeln!(out, "{reply}").map_err(|error| error.to_string())
    });
    match said {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            let text = format!("the service asks this for itself: {why}");
            super::print::error(&text.into(), false, super::FAILED);
            ExitCode::from(super::FAILED)
        }
    }
}

/// Is the service until it is told to end.
fn be(folders: Folders, once: bool, tell: Tell) -> ExitCode {
    let least = match tell {
        Tell::Error => Level::Error,
        Tell::Warning => Level::Warning,
        Tell::Info => Level::Info,
        Tell::Debug => Level::Debug,
    };
    let log = Log::new(least, std::env::var_os("JOURNAL_STREAM").is_some());
    let runtime = match tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .max_blocking_threads(2)
        .build()
    {
        Ok(runtime) => runtime,
        Err(error) => {
            log.error("the system refuses what waiting needs", &[("why", &error)]);
            return ExitCode::from(super::FAILED);
        }
    };
    let options = Options { folders, log, once };
    let ended = runtime.block_on(run::run(options));
    // A fetch under way is not waited for: it is only begun anew next time.
    runtime.shutdown_timeout(Duration::from_millis(500));
    match ended {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            log.error(&error.to_string(), &[]);
            ExitCode::from(match error.is_for_the_keeper() {
                true => FOR_THE_KEEPER,
                false => super::FAILED,
            })
        }
    }
}
