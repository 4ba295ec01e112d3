//! To the terminal: colour only where it is one and NO_COLOR is not set.

use super::answer::{Output, Refusal};
use anstyle::{AnsiColor, Style};
use std::io::{self, Write};
use std::process::ExitCode;

/// Headings that are set off in colour.
const HEADINGS: [&str; 2] = ["Cannot wait", "Open now"];

/// Prints a page, or a JSON document; a reader that went away is no failure.
pub fn page(output: Output, as_json: bool) -> ExitCode {
    let mut out = anstream::stdout().lock();
    let output = match as_json {
        true => Output::Json(output.document()),
        false => output,
    };
    let result = match &output {
        Output::Json(text) => writeln!(out, "{text}"),
        Output::Raw(text) => write!(out, "{text}"),
        Output::Lines(lines) | Output::Both { lines, .. } => {
            let mut lines = lines.iter().enumerate();
            lines.try_for_each(|(at, line)| match style(at, line) {
                Some(style) => writeln!(out, "{style}{line}{style:#}"),
                None => writeln!(out, "{line}"),
            })
        }
    };
    match result.and_then(|()| out.flush()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(super::FAILED),
    }
}

fn style(at: usize, line: &str) -> Option<Style> {
    if at == 0 {
        Some(Style::new().bold())
    } else if line == HEADINGS[0] {
        Some(Style::new().bold().fg_color(Some(AnsiColor::Red.into())))
    } else if line == HEADINGS[1] {
        Some(Style::new().bold().fg_color(Some(AnsiColor::Green.into())))
    } else {
        None
    }
}

/// Prints an error to standard error, so that standard output holds answers
/// alone.
pub fn error(refusal: &Refusal, as_json: bool, exit_code: u8) {
    let mut out = anstream::stderr().lock();
    let text = match as_json {
        true => refusal.document(exit_code),
        false => refusal.text.clone(),
    };
    // Nowhere is left to tell of a failure to tell.
    let _ = writeln!(out, "{text}");
}
