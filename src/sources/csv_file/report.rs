//! What was read, what was left and why.

use super::bytes::Encoding;
use super::finding::{Effect, Finding, Reason, SAMPLES, Sample, short};
use super::header::Field;
use chrono::NaiveDateTime;
use std::fmt::{self, Write as _};

/// Whether the rows are days or hours.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// One row is a day.
    #[default]
    Daily,
    /// One row is an hour, or a part of it.
    Hourly,
}

/// A column that was used.
#[derive(Clone, Debug, PartialEq)]
pub struct UsedColumn {
    /// Its header.
    pub header: String,
    /// What it holds.
    pub field: Field,
    /// The sign of its unit; empty for times and names.
    pub unit: &'static str,
    /// How many rows told a value that was kept.
    pub known: usize,
    /// How many rows told none: empty or a mark for missing.
    pub unknown: usize,
}

/// Days or hours that no row tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// The first that is missing.
    pub from: NaiveDateTime,
    /// The last that is missing.
    pub to: NaiveDateTime,
    /// How many days or hours.
    pub len: usize,
}

/// What was read, what was left and why. [`fmt::Display`] says it in plain
/// text of at most 80 columns; [`Report::all_lines`] lists every line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// The file's name.
    pub file: String,
    /// Days or hours.
    pub kind: Kind,
    /// Whether the file was packed.
    pub packed: bool,
    /// How the characters were written.
    pub encoding: Option<Encoding>,
    /// The separator.
    pub separator: char,
    /// The line of the column names.
    pub header_line: usize,
    /// The station that was taken, if the file names one.
    pub station: Option<String>,
    /// All stations of the file with their rows, in their order.
    pub stations: Vec<(String, usize)>,
    /// The columns that were used.
    pub columns: Vec<UsedColumn>,
    /// The headers of the columns that were not used.
    pub unused: Vec<String>,
    /// Rows after the header, blank and comment lines not counted.
    pub rows: usize,
    /// Comment lines after the header.
    pub comments: usize,
    /// Blank lines after the header, and rows of separators only.
    pub blank: usize,
    /// Rows of other stations.
    pub other_stations: usize,
    /// Rows that are in the import.
    pub kept: usize,
    /// Days or hours in the import.
    pub entries: usize,
    /// The first and the last of them.
    pub span: Option<(NaiveDateTime, NaiveDateTime)>,
    /// What was dropped or changed, by reason.
    pub findings: Vec<Finding>,
    /// Gaps between the first and the last entry, in order.
    pub gaps: Vec<Gap>,
    /// Choices that were made, and what looks odd.
    pub notes: Vec<String>,
}

impl Report {
    /// Notes a case. `detail` is asked for the first one only.
    pub(super) fn note_case(
        &mut self,
        reason: Reason,
        line: usize,
        text: &str,
        detail: impl FnOnce() -> String,
    ) {
        let at = match self
            .findings
            .binary_search_by(|finding| finding.reason.cmp(&reason))
        {
            Ok(at) => at,
            Err(at) => {
                self.findings.insert(
                    at,
                    Finding {
                        reason,
                        detail: detail(),
                        lines: Vec::new(),
                        samples: Vec::new(),
                    },
                );
                at
            }
        };
        if let Some(finding) = self.findings.get_mut(at) {
            finding.lines.push(u32::try_from(line).unwrap_or(u32::MAX));
            if finding.samples.len() < SAMPLES {
                finding.samples.push(Sample {
                    line,
                    text: short(text),
                });
            }
        }
    }

    /// Puts the lines in order: later steps go by time, not by line.
    pub(super) fn finish(&mut self) {
        for finding in &mut self.findings {
            finding.lines.sort_unstable();
            finding.samples.sort_by_key(|sample| sample.line);
        }
        self.kept = self
            .rows
            .saturating_sub(self.rows_dropped() + self.other_stations);
    }

    /// The finding of a reason, if there is one.
    pub fn finding(&self, reason: Reason) -> Option<&Finding> {
        self.findings
            .iter()
            .find(|finding| finding.reason == reason)
    }

    /// How many rows were dropped or left out.
    pub fn rows_dropped(&self) -> usize {
        self.total(Effect::RowDropped)
    }

    /// How many values were dropped.
    pub fn values_dropped(&self) -> usize {
        self.total(Effect::ValueDropped)
    }

    fn total(&self, effect: Effect) -> usize {
        self.findings
            .iter()
            .filter(|finding| finding.reason.effect() == effect)
            .map(|finding| finding.lines.len())
            .sum()
    }

    /// How many days or hours no row tells between the first and the last.
    pub fn missing(&self) -> usize {
        self.gaps.iter().map(|gap| gap.len).sum()
    }

    /// Every finding with the numbers of all its lines, then every gap.
    pub fn all_lines(&self) -> String {
        let mut out = String::new();
        for finding in &self.findings {
            let numbers: Vec<String> = finding.lines.iter().map(u32::to_string).collect();
            let text = format!("{}: lines {}", finding.title(), numbers.join(", "));
            fill(&mut out, "", "  ", &text);
        }
        for gap in &self.gaps {
            fill(&mut out, "", "  ", &self.gap_words(gap));
        }
        out
    }

    fn unit_word(&self, count: usize) -> &'static str {
        match (self.kind, count) {
            (Kind::Daily, 1) => "day",
            (Kind::Daily, _) => "days",
            (Kind::Hourly, 1) => "hour",
            (Kind::Hourly, _) => "hours",
        }
    }

    fn time_words(&self, time: NaiveDateTime) -> String {
        match self.kind {
            Kind::Daily => time.format("%Y-%m-%d").to_string(),
            Kind::Hourly => time.format("%Y-%m-%d %H:%M").to_string(),
        }
    }

    fn gap_words(&self, gap: &Gap) -> String {
        let count = format!("{} {}", grouped(gap.len), self.unit_word(gap.len));
        if gap.len == 1 {
            format!("{} missing: {count}", self.time_words(gap.from))
        } else {
            format!(
                "{} to {} missing: {count}",
                self.time_words(gap.from),
                self.time_words(gap.to)
            )
        }
    }

    fn read_as(&self) -> String {
        let mut parts = Vec::new();
        if self.packed {
            parts.push("gzip".to_owned());
        }
        match self.encoding {
            Some(Encoding::Utf8) | None => parts.push("UTF-8".to_owned()),
            Some(Encoding::Utf8Marked) => parts.push("UTF-8 with a byte order mark".to_owned()),
            Some(Encoding::Latin1) => {
                parts.push("Latin-1, as it is not UTF-8".to_owned());
            }
        }
        parts.push(match self.separator {
            '\t' => "separator tab".to_owned(),
            other => format!("separator \"{other}\""),
        });
        parts.push(format!("header in line {}", self.header_line));
        parts.join(", ")
    }

    fn write_columns(&self, out: &mut String) {
        for column in &self.columns {
            let text = if column.field.quantity().is_some() {
                format!(
                    "{}: {} ({}), {} known, {} unknown",
                    column.header,
                    column.field.label(),
                    column.unit,
                    grouped(column.known),
                    grouped(column.unknown)
                )
            } else {
                format!("{}: {}", column.header, column.field.label())
            };
            fill(out, "  column      ", INDENT, &text);
        }
        if !self.unused.is_empty() {
            fill(out, "  not used    ", INDENT, &self.unused.join(", "));
        }
    }

    fn write_rows(&self, out: &mut String) {
        let mut text = format!(
            "{} read, {} kept, {} dropped",
            grouped(self.rows),
            grouped(self.kept),
            grouped(self.rows_dropped())
        );
        if self.other_stations > 0 {
            let _ = write!(text, ", {} of other stations", grouped(self.other_stations));
        }
        for (count, what) in [(self.comments, "comment"), (self.blank, "blank")] {
            if count > 0 {
                let lines = if count == 1 { "line" } else { "lines" };
                let _ = write!(text, "; {} {what} {lines}", grouped(count));
            }
        }
        fill(out, "  rows        ", INDENT, &text);
    }

    fn write_findings(&self, out: &mut String) {
        for (effect, title) in [
            (Effect::RowDropped, "  rows dropped\n"),
            (Effect::ValueDropped, "  values dropped\n"),
            (Effect::Changed, "  changed\n"),
            (Effect::Told, "  noticed\n"),
        ] {
            let mut title = Some(title);
            for finding in &self.findings {
                if finding.reason.effect() == effect {
                    out.push_str(title.take().unwrap_or(""));
                    fill(out, "    ", "      ", &finding.to_string());
                }
            }
        }
    }

    fn write_gaps(&self, out: &mut String) {
        if self.gaps.is_empty() {
            return;
        }
        let missing = self.missing();
        let count = self.gaps.len();
        let text = format!(
            "{} {} missing in {} {}{}",
            grouped(missing),
            self.unit_word(missing),
            grouped(count),
            if count == 1 { "gap" } else { "gaps" },
            if count > LONGEST {
                "; the longest:"
            } else {
                ":"
            }
        );
        fill(out, "  gaps        ", INDENT, &text);
        let mut longest: Vec<&Gap> = self.gaps.iter().collect();
        longest.sort_by_key(|gap| std::cmp::Reverse(gap.len));
        longest.truncate(LONGEST);
        longest.sort_by_key(|gap| gap.from);
        for gap in longest {
            fill(out, INDENT, INDENT, &self.gap_words(gap));
        }
    }
}

const INDENT: &str = "              ";
const LONGEST: usize = 5;
const COLUMNS: usize = 80;

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut out = String::new();
        let mut head = format!(
            "{}: {} {}",
            self.file,
            grouped(self.entries),
            self.unit_word(self.entries)
        );
        if let Some((first, last)) = self.span {
            let _ = write!(
                head,
                ", {} to {}",
                self.time_words(first),
                self.time_words(last)
            );
        }
        fill(&mut out, "", "  ", &head);
        fill(&mut out, "  read as     ", INDENT, &self.read_as());
        if let Some(station) = &self.station {
            let others = match self.stations.len() {
                0 | 1 => String::new(),
                count if count > 10 => format!(", one of {count}"),
                _ => {
                    let names: Vec<&str> = self.stations.iter().map(|(n, _)| n.as_str()).collect();
                    format!(" (the file has {})", names.join(", "))
                }
            };
            fill(
                &mut out,
                "  station     ",
                INDENT,
                &format!("{station}{others}"),
            );
        }
        self.write_columns(&mut out);
        self.write_rows(&mut out);
        self.write_findings(&mut out);
        self.write_gaps(&mut out);
        for note in &self.notes {
            fill(&mut out, "  note        ", INDENT, note);
        }
        f.write_str(out.trim_end())
    }
}

/// A count with a comma at every thousand.
pub fn grouped(count: usize) -> String {
    let digits = count.to_string();
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

fn fill(out: &mut String, first: &str, rest: &str, text: &str) {
    let options = textwrap::Options::new(COLUMNS)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    out.push_str(&textwrap::fill(text, options));
    out.push('\n');
}
