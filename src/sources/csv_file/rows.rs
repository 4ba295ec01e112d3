//! The rows of a file, each with its true line.
//!
//! The csv crate counts from where it stood before blank and comment lines;
//! here the line is counted to the row itself, and a quote that is not closed
//! on its line costs that line only.

use csv::{Position, ReaderBuilder, StringRecord};
use std::io::Cursor;

/// What came next.
pub(super) enum Step {
    /// A row; its fields stand in [`Rows::record`].
    Row,
    /// A quote was opened and not closed on its line.
    OpenQuote,
    /// The end.
    End,
}

/// Walks over the rows of a text.
pub(super) struct Rows<'t> {
    bytes: &'t [u8],
    reader: csv::Reader<Cursor<&'t [u8]>>,
    /// The fields of the row.
    pub record: StringRecord,
    /// The line of the row, from 1.
    pub line: usize,
    /// Comment lines passed so far.
    pub comments: usize,
    /// Blank lines passed so far.
    pub blank: usize,
    counted: usize,
    start: usize,
    end: usize,
}

impl<'t> Rows<'t> {
    /// Rows of `text`, whose first line is line `line` of the file.
    pub fn new(text: &'t str, line: usize, separator: char) -> Self {
        let bytes = text.as_bytes();
        Rows {
            bytes,
            reader: ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .comment(Some(b'#'))
                .delimiter(u8::try_from(separator).unwrap_or(b','))
                .from_reader(Cursor::new(bytes)),
            record: StringRecord::new(),
            line,
            comments: 0,
            blank: 0,
            counted: 0,
            start: 0,
            end: 0,
        }
    }

    /// Goes to the next row.
    pub fn step(&mut self) -> Step {
        let from = usize::try_from(self.reader.position().byte()).unwrap_or(0);
        let more = self.reader.read_record(&mut self.record).unwrap_or(false);
        self.count_to(from);
        self.skip(from);
        // A comment without a line end comes as a row of nothing.
        if !more || self.start >= self.bytes.len() {
            return Step::End;
        }
        self.end = usize::try_from(self.reader.position().byte()).unwrap_or(self.start);
        let raw = self.raw_bytes();
        if raw.contains(&b'"') {
            let quotes = raw.iter().filter(|byte| **byte == b'"').count();
            if quotes % 2 == 1 || raw.contains(&b'\n') {
                let line_end = self.next_line(self.start);
                self.end = line_end;
                let mut place = Position::new();
                place.set_byte(line_end as u64);
                if self.reader.seek(place).is_err() {
                    return Step::End;
                }
                return Step::OpenQuote;
            }
        }
        Step::Row
    }

    /// The row as it stands in the file.
    pub fn raw(&self) -> String {
        String::from_utf8_lossy(self.raw_bytes()).into_owned()
    }

    fn raw_bytes(&self) -> &[u8] {
        let raw = self.bytes.get(self.start..self.end).unwrap_or(&[]);
        let end = raw
            .iter()
            .rposition(|byte| !matches!(byte, b'\r' | b'\n'))
            .map_or(0, |at| at + 1);
        raw.get(..end).unwrap_or(raw)
    }

    /// Where the line after the one of a byte begins.
    fn next_line(&self, at: usize) -> usize {
        let rest = self.bytes.get(at..).unwrap_or(&[]);
        let end = rest.iter().position(|byte| *byte == b'\n');
        end.map_or(self.bytes.len(), |end| at + end + 1)
    }

    fn count_to(&mut self, at: usize) {
        let passed = self.bytes.get(self.counted..at).unwrap_or(&[]);
        self.line += passed.iter().filter(|byte| **byte == b'\n').count();
        self.counted = at.max(self.counted);
    }

    /// Passes what stands between two rows: the rest of a line end, blank
    /// lines and comments.
    fn skip(&mut self, from: usize) {
        let mut at = from;
        let mut at_line_start = from == 0 || self.bytes.get(from - 1) == Some(&b'\n');
        while let Some(byte) = self.bytes.get(at) {
            match byte {
                b'\r' => at += 1,
                b'\n' => {
                    self.blank += usize::from(at_line_start);
                    at_line_start = true;
                    at += 1;
                }
                b'#' => {
                    self.comments += 1;
                    at = self.next_line(at);
                    at_line_start = true;
                }
                _ => break,
            }
        }
        self.count_to(at);
        self.start = at;
    }
}

/// The fields of one line.
pub(super) fn split(line: &str, separator: char) -> Vec<String> {
    let mut rows = Rows::new(line, 1, separator);
    match rows.step() {
        Step::Row => rows.record.iter().map(str::to_owned).collect(),
        // An open quote in the header: take it as a letter.
        Step::OpenQuote => line.split(separator).map(str::to_owned).collect(),
        Step::End => Vec::new(),
    }
}

/// The column in characters, from 1, at which a field of a line begins.
pub(super) fn column(line: &str, separator: char, field: usize) -> usize {
    let mut quoted = false;
    let mut passed = 0;
    for (at, c) in line.chars().enumerate() {
        if passed == field {
            return at + 1;
        }
        if c == '"' {
            quoted = !quoted;
        } else if c == separator && !quoted {
            passed += 1;
        }
    }
    line.chars().count() + 1
}
