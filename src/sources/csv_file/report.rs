//! What was read, what was left and why.

use super::bytes::Encoding;
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

/// Why a row or a value was not taken, or was changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// Row dropped: fewer fields than the header.
    TooFewFields,
    /// Row dropped: more fields than the header, and not only empty ones.
    TooManyFields,
    /// Row dropped: a quote is not closed on its line.
    OpenQuote,
    /// Row dropped: several stations, and none is named.
    NoStation,
    /// Row dropped: no date or hour.
    NoDate,
    /// Row dropped: a date in no known form.
    DateUnreadable,
    /// Row dropped: a day or hour that does not exist.
    DateImpossible,
    /// Row dropped: a year that no record touches.
    DateOutOfYears,
    /// Row dropped: after the day on which the file was read.
    AfterToday,
    /// Row dropped: in the hour that spring skips on a civil clock.
    InTheSpringGap,
    /// Row left out: it says what an earlier row said.
    SameTwice,
    /// Row left out: a later row of the same time says something else.
    Overwritten,
    /// Value dropped: not a number.
    NotANumber(Field),
    /// Value dropped: out of the bounds of what can be.
    OutOfBounds(Field),
    /// Value dropped: rain of an hour with fewer rows than the others.
    PartOfAnHour,
    /// Value changed: low and high changed places.
    Swapped,
    /// Told only: a trace of rain, taken as none.
    Trace,
    /// Told only: a row without any value.
    NoValue,
    /// Told only: the stamp was moved to the full hour.
    OffTheHour,
    /// Told only: the hour that comes twice in fall stands once.
    FallHourOnce,
}

/// What a [`Reason`] did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effect {
    /// The row is not in the import.
    RowDropped,
    /// The value is unknown in the import.
    ValueDropped,
    /// The import differs from the file.
    Changed,
    /// Nothing was changed.
    Told,
}

impl Reason {
    /// What it did.
    pub fn effect(self) -> Effect {
        match self {
            Reason::NotANumber(_) | Reason::OutOfBounds(_) | Reason::PartOfAnHour => {
                Effect::ValueDropped
            }
            Reason::Swapped | Reason::OffTheHour | Reason::Trace => Effect::Changed,
            Reason::NoValue | Reason::FallHourOnce => Effect::Told,
            _ => Effect::RowDropped,
        }
    }

    /// In words, for one case or many.
    fn words(self) -> &'static str {
        match self {
            Reason::TooFewFields => "fewer fields than the header",
            Reason::TooManyFields => "more fields than the header",
            Reason::OpenQuote => "a quote that is not closed on its line",
            Reason::NoStation => "no station named",
            Reason::NoDate => "no date or hour",
            Reason::DateUnreadable => "a date in no known form",
            Reason::DateImpossible => "a day or hour that does not exist",
            Reason::DateOutOfYears => "a year out of 1800 to 2200",
            Reason::AfterToday => "in the future",
            Reason::InTheSpringGap => "in the hour that the clock skips in spring",
            Reason::SameTwice => "the same row again",
            Reason::Overwritten => "a later row of the same time differs and stands",
            Reason::NotANumber(_) => "not a number",
            Reason::OutOfBounds(_) => "cannot be",
            Reason::PartOfAnHour => "rain of an hour with fewer rows than usual",
            Reason::Swapped => "low above high: the two changed places",
            Reason::Trace => "a trace of rain: taken as none",
            Reason::NoValue => "rows without any value",
            Reason::OffTheHour => "stamps moved to the nearest hour",
            Reason::FallHourOnce => {
                "the hour that comes twice in fall stands once: taken as daylight time"
            }
        }
    }
}

/// One case of a finding, as it stands in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sample {
    /// The line, from 1.
    pub line: usize,
    /// What stands there, cut short.
    pub text: String,
}

/// All cases of one reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Why.
    pub reason: Reason,
    /// More words, such as the bounds; may be empty.
    pub detail: String,
    /// The lines of all cases, from 1.
    pub lines: Vec<u32>,
    /// The first few as they stand.
    pub samples: Vec<Sample>,
}

const SAMPLES: usize = 3;
const SAMPLE_LETTERS: usize = 24;

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
        parts.push(format!("column names in line {}", self.header_line));
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
                count => format!(", one of {count}"),
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

impl Finding {
    fn title(&self) -> String {
        let field = match self.reason {
            Reason::NotANumber(field) | Reason::OutOfBounds(field) => {
                format!("{} that is ", field.label())
            }
            _ => String::new(),
        };
        let field = if matches!(self.reason, Reason::OutOfBounds(_)) {
            field.replace("that is ", "that ")
        } else {
            field
        };
        format!("{field}{}{}", self.reason.words(), self.detail)
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = self.lines.len();
        write!(f, "{}: {}", self.title(), grouped(count))?;
        for sample in &self.samples {
            write!(f, ", line {}", sample.line)?;
            if !sample.text.is_empty() {
                write!(f, " \"{}\"", sample.text)?;
            }
        }
        match count - self.samples.len().min(count) {
            0 => Ok(()),
            more => write!(f, " and {} more", grouped(more)),
        }
    }
}

/// A text cut to what fits in a line, without control characters.
pub(super) fn short(text: &str) -> String {
    let mut letters = text
        .trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c });
    let mut out: String = letters.by_ref().take(SAMPLE_LETTERS).collect();
    if letters.next().is_some() {
        out.push_str("..");
    }
    out
}

/// A count with a comma at every thousand.
pub(super) fn grouped(count: usize) -> String {
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
