//! A grower's own or an agency's weather file: days or hours as CSV.
//!
//! [`read`] finds out separator, columns, units and clock from the file and
//! from [`Options`], and asks by an error where the file does not tell.
//! Everything is handed out in SI units and local standard time. The
//! [`Report`] tells each row and value that was not taken as it stands.

mod bytes;
mod collect;
mod dial;
mod doubt;
mod error;
mod finding;
mod header;
mod hours;
mod layout;
mod names;
mod options;
mod report;
mod rows;
mod scan;
mod survey;
mod time;
mod value;

pub use bytes::Encoding;
pub use error::ImportError;
pub use finding::{Effect, Finding, Reason, Sample};
pub use header::Field;
pub use hours::{DaysOfHours, PartRain, days_from_hours, summarise_hours};
pub use options::{Clock, ColumnChoice, DateOrder, Limits, Options, Stamps};
pub use report::{Gap, Kind, Report, UsedColumn, grouped};
pub use time::month_named;

use crate::facts::weather::{Day, Hour};
use std::io::Read;
use std::path::Path;

/// What a file gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Import {
    /// Days in order, each once; empty for an hourly file.
    pub daily: Vec<Day>,
    /// Hours in order, each once, local standard time; empty for a daily file.
    pub hourly: Vec<Hour>,
    /// The stations that the file names, in their order.
    pub stations: Vec<String>,
    /// What was read, what was left and why.
    pub report: Report,
}

/// Reads a weather file from bytes, packed by gzip or not.
///
/// `name` stands in messages only.
///
/// # Errors
/// [`ImportError`] when the file as a whole cannot be read, or when something
/// must be told first (a unit, a station, the order of day and month, a
/// zone); it names the place and the option. A single bad row or value is no
/// error: it is in the report.
pub fn read(bytes: &[u8], name: &str, options: &Options) -> Result<Import, ImportError> {
    let file = bytes::text(bytes, name, &options.limits)?;
    let layout = layout::find(&file.text, name, options)?;
    let plan = layout.plan(&file.text, name, options)?;
    let mut report = Report {
        file: name.to_owned(),
        kind: plan.kind,
        packed: file.packed,
        encoding: Some(file.encoding),
        separator: layout.separator,
        header_line: layout.line,
        unused: layout.unused(&plan),
        notes: file.notes,
        ..Report::default()
    };
    let sheet = scan::Sheet {
        text: file.text.get(layout.data..).unwrap_or(""),
        name,
        layout: &layout,
        plan: &plan,
        options,
    };
    let survey = sheet.survey(&mut report)?;
    let entries = sheet.entries(&survey, &mut report)?;
    let (daily, hourly) = sheet.collect(entries, &mut report)?;
    report.finish();
    Ok(Import {
        daily,
        hourly,
        stations: report
            .stations
            .iter()
            .map(|(name, _)| name.clone())
            .collect(),
        report,
    })
}

/// Reads a weather file from a path.
///
/// # Errors
/// As [`read`], and when the file cannot be opened.
pub fn read_path(path: &Path, options: &Options) -> Result<Import, ImportError> {
    let name = path.display().to_string();
    let fail =
        |error: std::io::Error| ImportError::whole(&name, format!("cannot be read: {error}"));
    let file = std::fs::File::open(path).map_err(fail)?;
    let mut bytes = Vec::new();
    file.take(options.limits.bytes.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(fail)?;
    read(&bytes, &name, options)
}
