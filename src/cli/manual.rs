//! `manual`: the man page, and what a shell needs to complete words.

use super::{Cli, Output};
use clap::{Args, CommandFactory};
use clap_complete::Shell;
use std::path::{Path, PathBuf};

const EXAMPLES: &str = "\
Examples:
  budtide manual | man -l -
  budtide manual --install           man page and completions into your home
  budtide manual --completions bash";

/// What of it is wanted.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct Manual {
    /// The completions of a shell instead of the man page
    #[arg(long, value_name = "SHELL", conflicts_with = "install")]
    completions: Option<Shell>,
    /// Put man page and completions where your shell and man look for them
    #[arg(long)]
    install: bool,
}

/// Prints or installs them.
pub fn run(manual: &Manual) -> Result<Output, String> {
    if manual.install {
        return install();
    }
    let text = match manual.completions {
        Some(shell) => completions(shell),
        None => page()?,
    };
    Ok(Output::Raw(text))
}

fn page() -> Result<String, String> {
    let mut bytes = Vec::new();
    let failed = |error: std::io::Error| format!("cannot write the man page: {error}");
    let mut command = Cli::command();
    command.build();
    let man = clap_mangen::Man::new(command.clone()).section("1");
    man.render_title(&mut bytes).map_err(failed)?;
    man.render_name_section(&mut bytes).map_err(failed)?;
    man.render_synopsis_section(&mut bytes).map_err(failed)?;
    man.render_description_section(&mut bytes).map_err(failed)?;
    man.render_options_section(&mut bytes).map_err(failed)?;
    let mut text = String::from_utf8_lossy(&bytes).into_owned();
    text.push_str(".SH COMMANDS\n");
    for sub in command.get_subcommands() {
        commands(sub, "budtide", &mut text);
    }
    let mut tail = Vec::new();
    man.render_extra_section(&mut tail).map_err(failed)?;
    text.push_str(&String::from_utf8_lossy(&tail));
    Ok(text)
}

/// A command with its options, and those below it.
fn commands(command: &clap::Command, above: &str, text: &mut String) {
    if command.is_hide_set() || command.get_name() == "help" {
        return;
    }
    let name = format!("{above} {}", command.get_name());
    text.push_str(&format!(".TP\n\\fB{}\\fR\n", roff(&name)));
    if let Some(about) = command.get_about() {
        text.push_str(&format!(
            "{}.\n",
            roff(about.to_string().trim_end_matches('.'))
        ));
    }
    for argument in command.get_arguments() {
        if argument.is_global_set() || argument.is_hide_set() || argument.get_id() == "help" {
            continue;
        }
        let shown = match (argument.get_long(), argument.get_value_names()) {
            (Some(long), Some(values)) if argument.get_action().takes_values() => {
                format!("--{long} {}", values.join(" "))
            }
            (Some(long), _) => format!("--{long}"),
            (None, Some(values)) => values.join(" "),
            (None, None) => argument.get_id().to_string().to_uppercase(),
        };
        let help = argument
            .get_help()
            .map(ToString::to_string)
            .unwrap_or_default();
        text.push_str(&format!(".br\n\\fI{}\\fR  {}\n", roff(&shown), roff(&help)));
    }
    for sub in command.get_subcommands() {
        // The demo shows what the other commands show.
        if command.get_name() != "demo" {
            commands(sub, &name, text);
        }
    }
}

/// Plain text within a man page.
fn roff(text: &str) -> String {
    let escaped = text
        .replace('\\', "\\e")
        .replace('-', "\\-")
        .replace('\n', " ");
    match escaped.starts_with(['.', '\'']) {
        true => format!("\\&{escaped}"),
        false => escaped,
    }
}

fn completions(shell: Shell) -> String {
    let mut bytes = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "budtide", &mut bytes);
    String::from_utf8_lossy(&bytes).into_owned()
}

fn install() -> Result<Output, String> {
    let home = std::env::home_dir()
        .filter(|home| !home.as_os_str().is_empty())
        .ok_or("there is no home folder")?;
    let base = |variable: &str, below: &str| {
        std::env::var_os(variable)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
            .unwrap_or_else(|| home.join(below))
    };
    let (data, config) = (
        base("XDG_DATA_HOME", ".local/share"),
        base("XDG_CONFIG_HOME", ".config"),
    );
    let files = [
        (data.join("man/man1/budtide.1"), page()?),
        (
            data.join("bash-completion/completions/budtide"),
            completions(Shell::Bash),
        ),
        (
            data.join("zsh/site-functions/_budtide"),
            completions(Shell::Zsh),
        ),
        (
            config.join("fish/completions/budtide.fish"),
            completions(Shell::Fish),
        ),
    ];
    let mut lines = Vec::new();
    let mut written = Vec::new();
    for (path, text) in &files {
        write(path, text)?;
        written.push(path.display().to_string());
        lines.push(format!("Wrote {}.", path.display()));
    }
    lines.push(String::new());
    lines.push("zsh looks there only if that folder is in its fpath.".to_owned());
    let value = serde_json::json!({ "written": written });
    Ok(Output::Both { lines, value })
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    let failed = |error| format!("cannot write {}: {error}", path.display());
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(failed)?;
    }
    std::fs::write(path, text).map_err(failed)
}
