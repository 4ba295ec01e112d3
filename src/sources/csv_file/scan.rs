//! Through the rows: a first look for stations and the order of dates, then
//! times and values.

use super::doubt::ColumnSum;
use super::error::ImportError;
use super::finding::Reason;
use super::header::Field;
use super::layout::{Layout, Measured, Plan, When};
use super::options::{DateOrder, Options};
use super::report::{Report, UsedColumn};
use super::rows::{Rows, Step, column};
use super::survey::Survey;
use super::time::{self, TimeFault, Written};
use super::value::{Value, value};
use crate::units::plain;
use csv::StringRecord;

/// How many values an entry has at most.
pub(super) const SLOTS: usize = 5;

/// One row that has a time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entry {
    pub time: Written,
    pub line: u32,
    /// In the SI unit; NaN where unknown.
    pub values: [f64; SLOTS],
}

/// The data of a file with the plan to read them by.
pub(super) struct Sheet<'t> {
    pub text: &'t str,
    pub name: &'t str,
    pub layout: &'t Layout,
    pub plan: &'t Plan,
    pub options: &'t Options,
}

impl<'t> Sheet<'t> {
    /// The rows from the first on.
    pub fn rows(&self) -> Rows<'t> {
        Rows::new(self.text, self.layout.line + 1, self.layout.separator)
    }

    /// The second pass: times and values of every row.
    pub fn entries(&self, survey: &Survey, report: &mut Report) -> Result<Vec<Entry>, ImportError> {
        let mut rows = self.rows();
        let mut entries = Vec::new();
        let mut sums = vec![ColumnSum::default(); self.plan.measured.len()];
        let mut short_years = false;
        loop {
            match rows.step() {
                Step::End => break,
                Step::OpenQuote => {
                    report.rows += 1;
                    report.note_case(Reason::OpenQuote, rows.line, &rows.raw(), String::new);
                    continue;
                }
                Step::Row => {}
            }
            let line = rows.line;
            if rows.record.iter().all(|field| field.trim().is_empty()) {
                report.blank += 1;
                continue;
            }
            report.rows += 1;
            if !self.has_its_width(&rows, report) || !self.is_of(survey, &rows, report) {
                continue;
            }
            let time = match self.time(&rows.record, survey.order) {
                Ok(time) => time,
                Err(fault) => {
                    let text = self.time_text(&rows.record);
                    report.note_case(reason(fault), line, &text, String::new);
                    continue;
                }
            };
            short_years |= time.short_year;
            let values = self.values(&rows.record, line, &mut sums, report);
            entries.push(Entry {
                time,
                line: u32::try_from(line).unwrap_or(u32::MAX),
                values,
            });
        }
        report.comments = rows.comments;
        report.blank += rows.blank;
        if short_years {
            report
                .notes
                .push("years of two digits are taken as 1970 to 2069".to_owned());
        }
        self.note_columns(&sums, report);
        self.doubt_units(&sums)?;
        Ok(entries)
    }

    fn has_its_width(&self, rows: &Rows, report: &mut Report) -> bool {
        let width = self.plan.width;
        let count = rows.record.len();
        let detail = || format!(" ({width})");
        if count < width {
            report.note_case(Reason::TooFewFields, rows.line, &rows.raw(), detail);
            return false;
        }
        let surplus = rows.record.iter().skip(width);
        if count > width && !surplus.map(str::trim).all(str::is_empty) {
            report.note_case(Reason::TooManyFields, rows.line, &rows.raw(), detail);
            return false;
        }
        true
    }

    fn is_of(&self, survey: &Survey, rows: &Rows, report: &mut Report) -> bool {
        let (Some(at), Some(wanted)) = (self.plan.station, &survey.station) else {
            return true;
        };
        let station = rows.record.get(at).unwrap_or("").trim();
        if station == wanted {
            return true;
        }
        if station.is_empty() {
            if report.stations.len() == 1 {
                return true;
            }
            report.note_case(Reason::NoStation, rows.line, &rows.raw(), String::new);
        } else {
            report.other_stations += 1;
        }
        false
    }

    fn time(&self, record: &StringRecord, order: Option<DateOrder>) -> Result<Written, TimeFault> {
        let text = |at: usize| record.get(at).unwrap_or("");
        match self.plan.when {
            When::Stamp(at) | When::Day(at) => time::stamp(text(at), order),
            When::DayAndHour(day, hour) => time::stamp_and_hour(text(day), text(hour), order),
            When::Parts(year, month, day, hour) => {
                let number = |at: usize| {
                    let text = text(at).trim();
                    if text.is_empty() {
                        return Err(TimeFault::Missing);
                    }
                    text.parse::<u32>().map_err(|_| TimeFault::Unreadable)
                };
                let date = time::day(number(year)?, number(month)?, number(day)?)?;
                match hour {
                    None => Ok(time::whole_day(date)),
                    Some(hour) => time::with_hour(time::whole_day(date), text(hour)),
                }
            }
        }
    }

    /// The time of a row as it stands, for messages.
    fn time_text(&self, record: &StringRecord) -> String {
        let parts: Vec<&str> = self
            .plan
            .when
            .columns()
            .into_iter()
            .filter_map(|at| record.get(at))
            .map(str::trim)
            .collect();
        parts.join(" ").trim().to_owned()
    }

    fn values(
        &self,
        record: &StringRecord,
        line: usize,
        sums: &mut [ColumnSum],
        report: &mut Report,
    ) -> [f64; SLOTS] {
        let mut values = [f64::NAN; SLOTS];
        let decimal_comma = self.layout.separator != ',';
        for (measured, sum) in self.plan.measured.iter().zip(sums) {
            let text = record.get(measured.column).unwrap_or("");
            let number = match value(text, measured.quantity, &measured.unit, decimal_comma) {
                Value::Known(number) => number,
                Value::Trace => {
                    report.note_case(Reason::Trace, line, text, String::new);
                    0.0
                }
                Value::Unknown => {
                    sum.unknown += 1;
                    continue;
                }
                Value::NotANumber => {
                    report.note_case(Reason::NotANumber(measured.field), line, text, String::new);
                    continue;
                }
            };
            sum.see(number, line);
            let si = measured.unit.to_si(number);
            if measured.quantity.check(si).is_err() {
                let reason = Reason::OutOfBounds(measured.field);
                report.note_case(reason, line, text, || bounds(measured));
                continue;
            }
            sum.known += 1;
            if let Some(slot) = values.get_mut(measured.slot) {
                *slot = si;
            }
        }
        if values.iter().all(|value| value.is_nan()) {
            report.note_case(Reason::NoValue, line, "", String::new);
        }
        values
    }

    fn note_columns(&self, sums: &[ColumnSum], report: &mut Report) {
        let mut columns: Vec<(usize, UsedColumn)> = Vec::new();
        let header = |at: usize| {
            let heading = self.layout.headings.get(at);
            heading.map_or(String::new(), |heading| heading.text.clone())
        };
        for at in self
            .plan
            .when
            .columns()
            .into_iter()
            .chain(self.plan.station)
        {
            let field = self
                .layout
                .headings
                .get(at)
                .and_then(|heading| heading.field);
            let column = UsedColumn {
                header: header(at),
                field: field.unwrap_or(Field::Date),
                unit: "",
                known: 0,
                unknown: 0,
            };
            columns.push((at, column));
        }
        for (measured, sum) in self.plan.measured.iter().zip(sums) {
            let column = UsedColumn {
                header: header(measured.column),
                field: measured.field,
                unit: measured.unit.symbol,
                known: sum.known,
                unknown: sum.unknown,
            };
            columns.push((measured.column, column));
            let heading = self.layout.headings.get(measured.column);
            if let Some(said) = heading.and_then(|heading| heading.overruled) {
                report.notes.push(format!(
                    "{}: its name says {said}, you say {}: yours stands",
                    header(measured.column),
                    measured.unit.symbol
                ));
            }
        }
        columns.sort_by_key(|(at, _)| *at);
        report.columns = columns.into_iter().map(|(_, column)| column).collect();
        let preamble = self.layout.preamble;
        if preamble > 0 {
            let lines = if preamble == 1 { "line" } else { "lines" };
            report.notes.push(format!(
                "{preamble} {lines} before the column names not used"
            ));
        }
    }

    /// A unit that the header tells but the values belie; the surest doubt.
    fn doubt_units(&self, sums: &[ColumnSum]) -> Result<(), ImportError> {
        let doubts = self.plan.measured.iter().zip(sums);
        let worst = doubts
            .filter(|(measured, _)| !measured.told)
            .filter_map(|(measured, sum)| Some((measured.column, sum.doubt(measured)?)))
            .rev()
            .max_by_key(|(_, doubt)| doubt.weight);
        let Some((column, doubt)) = worst else {
            return Ok(());
        };
        let heading = self.layout.headings.get(column);
        let header = heading.map_or("", |heading| heading.text.as_str());
        let line = doubt.line.unwrap_or(self.layout.line);
        Err(self.fault(line, column, format!("\"{header}\" {}", doubt.what)))
    }

    /// An error at a field of a line.
    pub fn fault(&self, line: usize, field: usize, message: String) -> ImportError {
        let text = match line.checked_sub(self.layout.line + 1) {
            Some(at) => self.text.split('\n').nth(at).unwrap_or(""),
            None => &self.layout.text,
        };
        let at = column(text, self.layout.separator, field);
        ImportError::at(self.name, line, at, message)
    }

    /// An error at the time of a line.
    pub fn fault_of_time(&self, line: u32, message: String) -> ImportError {
        let field = self.plan.when.columns().first().copied().unwrap_or(0);
        self.fault(line as usize, field, message)
    }
}

fn reason(fault: TimeFault) -> Reason {
    match fault {
        TimeFault::Missing => Reason::NoDate,
        TimeFault::Unreadable => Reason::DateUnreadable,
        TimeFault::Impossible => Reason::DateImpossible,
        TimeFault::OutOfYears => Reason::DateOutOfYears,
    }
}

/// The bounds of a quantity in the unit of its column, for messages.
fn bounds(measured: &Measured) -> String {
    let row = measured.quantity.measure();
    format!(
        " (it lies from {} to {} {})",
        plain(measured.unit.from_si(row.least)),
        plain(measured.unit.from_si(row.most)),
        measured.unit.symbol
    )
}
