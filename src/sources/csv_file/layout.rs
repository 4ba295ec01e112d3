//! Where the header stands, and the plan of columns made from it.

use super::error::ImportError;
use super::finding::short;
use super::header::{self, Field, Heading};
use super::options::{Clock, Options, unit_signs};
use super::report::Kind;
use super::rows::{self, Rows, Step};
use super::time;
use crate::units::{Quantity, Unit};

/// The header and where the data begin.
pub(super) struct Layout {
    pub separator: char,
    pub headings: Vec<Heading>,
    /// The header's line, from 1.
    pub line: usize,
    /// The header as it stands.
    pub text: String,
    /// Byte at which the line after the header begins.
    pub data: usize,
    /// Lines before the header that are neither blank nor comments.
    pub preamble: usize,
}

/// Lines that are looked through for a header.
const HEADER_WITHIN: usize = 50;
const SEPARATORS: [char; 4] = [',', ';', '\t', '|'];

/// Finds the separator and the line of column names.
pub(super) fn find(text: &str, name: &str, options: &Options) -> Result<Layout, ImportError> {
    let mut separators: Vec<char> = SEPARATORS.to_vec();
    if let Some(told) = options.separator {
        separators = vec![told];
    }
    let mut best: Option<(usize, Layout)> = None;
    let mut first: Option<(usize, &str)> = None;
    let mut at = 0;
    let mut seen = 0;
    for (number, raw) in text.split_inclusive('\n').enumerate() {
        at += raw.len();
        let line = raw.trim_end_matches(['\n', '\r']);
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        first.get_or_insert((number + 1, line));
        for &separator in &separators {
            let headings = header::headings(&rows::split(line, separator), options);
            let (times, measured) = header::score(&headings);
            // A header names a time and a quantity; one of them alone is
            // remembered, so that the message can name what is missing.
            let score = times + measured + if times > 0 && measured > 0 { 100 } else { 0 };
            let better = best.as_ref().is_none_or(|(most, _)| score > *most);
            if score > 0 && headings.len() > 1 && better {
                let layout = Layout {
                    separator,
                    headings,
                    line: number + 1,
                    text: line.to_owned(),
                    data: at,
                    preamble: seen,
                };
                best = Some((score, layout));
            }
        }
        seen += 1;
        if seen >= HEADER_WITHIN || best.as_ref().is_some_and(|(score, _)| *score > 100) {
            break;
        }
    }
    match (best, first) {
        (Some((_, layout)), _) => Ok(layout),
        (None, Some((line, text))) => Err(ImportError::at(
            name,
            line,
            1,
            format!(
                "no line of column names found; \"{}\" names none. Write a first line such as \
                 date,tmin_f,tmax_f,rain_in or time,temp_c,dewp_c,rh_pct,rain_mm",
                short(text)
            ),
        )),
        (None, None) => Err(ImportError::whole(
            name,
            "nothing but blank lines and comments; a weather file has a line of column names",
        )),
    }
}

/// Where a row says its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum When {
    /// Day and hour in one column.
    Stamp(usize),
    /// A day only.
    Day(usize),
    /// Day and hour in two columns.
    DayAndHour(usize, usize),
    /// Year, month, day, and perhaps the hour.
    Parts(usize, usize, usize, Option<usize>),
}

/// A measured column.
#[derive(Clone, Copy, Debug)]
pub(super) struct Measured {
    pub column: usize,
    pub field: Field,
    pub quantity: Quantity,
    pub unit: Unit,
    /// Whether the user told the unit.
    pub told: bool,
    /// Its place among the values of an entry.
    pub slot: usize,
}

/// Which columns are read, and as what.
pub(super) struct Plan {
    pub kind: Kind,
    pub when: When,
    /// The clock that a header or the user tells.
    pub clock: Option<Clock>,
    pub station: Option<usize>,
    pub measured: Vec<Measured>,
    pub width: usize,
}

/// The fields of a day, and of an hour, in the order of their slots.
const DAILY: [Field; 3] = [Field::Low, Field::High, Field::Rain];
const HOURLY: [Field; 5] = [
    Field::Temperature,
    Field::DewPoint,
    Field::Humidity,
    Field::Rain,
    Field::Wind,
];

impl Layout {
    /// An error at a column of the header.
    fn fault(&self, name: &str, column: usize, message: String) -> ImportError {
        let at = rows::column(&self.text, self.separator, column);
        ImportError::at(name, self.line, at, message)
    }

    fn title(&self, column: usize) -> &str {
        self.headings
            .get(column)
            .map_or("", |heading| heading.text.as_str())
    }

    fn columns(&self, field: Field) -> Vec<usize> {
        (0..self.headings.len())
            .filter(|&at| self.headings.get(at).and_then(|h| h.field) == Some(field))
            .collect()
    }

    /// The only column of a field; two are a fault that names both.
    fn only(&self, name: &str, field: Field) -> Result<Option<usize>, ImportError> {
        match self.columns(field).as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(*one)),
            [one, two, ..] => Err(self.fault(
                name,
                *two,
                format!(
                    "two columns for {}: \"{}\" and \"{}\"; say which, such as column.{} = {}",
                    field.label(),
                    self.title(*one),
                    self.title(*two),
                    field.name(),
                    self.title(*one)
                ),
            )),
        }
    }

    /// Of several columns for a time the one whose clock serves best: with a
    /// zone UTC, which is never doubled; without one standard time.
    fn best_time(
        &self,
        name: &str,
        field: Field,
        options: &Options,
    ) -> Result<Option<usize>, ImportError> {
        let rank = |column: &usize| {
            let clock = self.headings.get(*column).and_then(|heading| heading.clock);
            match (clock, options.zone.is_some()) {
                (Some(Clock::Utc), true) | (Some(Clock::Standard), false) => 0,
                (Some(Clock::Standard), true) | (None | Some(Clock::Civil), false) => 1,
                _ => 2,
            }
        };
        let columns = self.columns(field);
        let Some(best) = columns.iter().min_by_key(|column| rank(column)).copied() else {
            return Ok(None);
        };
        if columns
            .iter()
            .filter(|one| rank(one) == rank(&best))
            .count()
            > 1
        {
            return self.only(name, field);
        }
        Ok(Some(best))
    }

    /// Makes the plan of columns.
    pub fn plan(&self, text: &str, name: &str, options: &Options) -> Result<Plan, ImportError> {
        self.check_choices(name, options)?;
        let peek = self.first_rows(text);
        let when = self.when(&peek, name, options)?;
        let any = |fields: &[Field]| fields.iter().any(|field| !self.columns(*field).is_empty());
        let extremes = any(&[Field::Low, Field::High]);
        let kind = match when {
            When::Day(_) | When::Parts(_, _, _, None) => Kind::Daily,
            _ if extremes && !any(&[Field::Temperature]) => Kind::Daily,
            _ => Kind::Hourly,
        };
        let fields: &[Field] = match kind {
            Kind::Daily => &DAILY,
            Kind::Hourly => &HOURLY,
        };
        if !any(fields) {
            return Err(self.nothing_measured(name, kind));
        }
        Ok(Plan {
            kind,
            when,
            clock: options.clock.or_else(|| self.clock_told(when)),
            station: self.only(name, Field::Station)?,
            measured: self.measured(name, fields, options)?,
            width: self.headings.len(),
        })
    }

    fn clock_told(&self, when: When) -> Option<Clock> {
        let told = |column: usize| self.headings.get(column).and_then(|heading| heading.clock);
        match when {
            When::Stamp(at) | When::Day(at) => told(at),
            When::DayAndHour(day, hour) => told(hour).or_else(|| told(day)),
            When::Parts(_, _, _, hour) => hour.and_then(told),
        }
    }

    fn check_choices(&self, name: &str, options: &Options) -> Result<(), ImportError> {
        for choice in &options.columns {
            let Some(wanted) = &choice.header else {
                continue;
            };
            if header::find(&self.headings, wanted).is_none() {
                let titles: Vec<&str> = self.headings.iter().map(|h| h.text.as_str()).collect();
                return Err(self.fault(
                    name,
                    0,
                    format!(
                        "column.{} = {wanted}: no such column; the columns are {}",
                        choice.field.name(),
                        titles.join(", ")
                    ),
                ));
            }
        }
        Ok(())
    }

    fn nothing_measured(&self, name: &str, kind: Kind) -> ImportError {
        let message = match kind {
            Kind::Daily => {
                "no column for the low, the high or the rain of a day; name them such as tmin_f, \
                 tmax_f, rain_in, or say which they are: column.low = ..., column.high = ..., \
                 column.rain = ... (a day's mean is not enough; if the rows are hours, say \
                 column.time = ...)"
            }
            Kind::Hourly => {
                "no column for temperature, dew point, humidity, rain or wind; name them such as \
                 temp_f, dewp_f, rh_pct, rain_in, wind_mph, or say which they are: \
                 column.temperature = ..."
            }
        };
        self.fault(name, 0, message.to_owned())
    }

    /// Some rows from the start, to see what the columns of time hold.
    fn first_rows(&self, text: &str) -> Vec<Vec<String>> {
        let data = text.get(self.data..).unwrap_or("");
        let mut rows = Rows::new(data, self.line + 1, self.separator);
        let mut some = Vec::new();
        for _ in 0..20 {
            match rows.step() {
                Step::Row => some.push(rows.record.iter().map(str::to_owned).collect()),
                Step::OpenQuote => {}
                Step::End => break,
            }
        }
        some
    }

    fn when(
        &self,
        peek: &[Vec<String>],
        name: &str,
        options: &Options,
    ) -> Result<When, ImportError> {
        let date = self.best_time(name, Field::Date, options)?;
        let stamp = self.best_time(name, Field::Time, options)?;
        let hour = self.only(name, Field::Hour)?;
        let fields = |column: usize| {
            peek.iter()
                .filter_map(move |row| row.get(column))
                .map(|text| text.trim())
                .filter(|text| !text.is_empty())
        };
        // The order of day and month does not matter for what is asked here.
        let dated = |column: usize| {
            fields(column).any(|text| {
                time::year_last(text).is_some()
                    || !matches!(
                        time::stamp(text, None),
                        Err(time::TimeFault::Unreadable | time::TimeFault::Missing)
                    )
            })
        };
        let timed = |column: usize| fields(column).any(|text| text.contains(':'));
        let by_itself = |column: usize| {
            if timed(column) || fields(column).next().is_none() {
                When::Stamp(column)
            } else {
                When::Day(column)
            }
        };
        if let Some(column) = stamp.filter(|column| dated(*column)) {
            return Ok(by_itself(column));
        }
        let of_day = stamp.or(hour);
        if let Some(date) = date {
            return Ok(match of_day {
                Some(hour) if !timed(date) => When::DayAndHour(date, hour),
                _ if timed(date) => When::Stamp(date),
                _ => When::Day(date),
            });
        }
        let year = self.only(name, Field::Year)?;
        let month = self.only(name, Field::Month)?;
        let day = self.only(name, Field::Day)?;
        match (year, month, day, stamp) {
            (Some(year), Some(month), Some(day), _) => Ok(When::Parts(year, month, day, of_day)),
            // A column named "day" alone may hold whole dates.
            (None, None, Some(day), None) if dated(day) => Ok(by_itself(day)),
            (_, _, _, Some(column)) if peek.is_empty() => Ok(When::Stamp(column)),
            _ => Err(self.fault(
                name,
                stamp.unwrap_or(0),
                "no column for the date; name it date, time, timestamp, or year, month and day, \
                 or say which it is: column.date = ... or column.time = ..."
                    .to_owned(),
            )),
        }
    }

    fn measured(
        &self,
        name: &str,
        fields: &[Field],
        options: &Options,
    ) -> Result<Vec<Measured>, ImportError> {
        let mut measured = Vec::new();
        let mut untold = Vec::new();
        for (slot, field) in fields.iter().copied().enumerate() {
            let (Some(column), Some(quantity)) = (self.only(name, field)?, field.quantity()) else {
                continue;
            };
            let Some(heading) = self.headings.get(column) else {
                continue;
            };
            if let Some(strange) = &heading.strange_unit {
                return Err(self.fault(
                    name,
                    column,
                    format!(
                        "\"{}\": \"{strange}\" is not a unit of {}; use {}, or say unit.{} = ...",
                        heading.text,
                        field.label(),
                        unit_signs(quantity),
                        field.name()
                    ),
                ));
            }
            match heading.unit {
                Some(unit) => measured.push(Measured {
                    column,
                    field,
                    quantity,
                    unit,
                    told: options.unit(field).is_some(),
                    slot,
                }),
                None => untold.push((column, field, quantity)),
            }
        }
        if let Some((first, _, _)) = untold.first() {
            return Err(self.fault(name, *first, self.ask_units(&untold)));
        }
        measured.sort_by_key(|one| one.column);
        Ok(measured)
    }

    fn ask_units(&self, untold: &[(usize, Field, Quantity)]) -> String {
        let names: Vec<String> = untold
            .iter()
            .map(|(column, field, _)| format!("\"{}\" ({})", self.title(*column), field.label()))
            .collect();
        let mut sets: Vec<String> = Vec::new();
        for (_, field, quantity) in untold {
            let key = match quantity {
                Quantity::Temperature => Field::Temperature,
                _ => *field,
            };
            let line = format!("unit.{} ({})", key.name(), unit_signs(*quantity));
            if !sets.contains(&line) {
                sets.push(line);
            }
        }
        let example = untold
            .first()
            .map_or(String::new(), |(column, _, quantity)| {
                let sign = quantity
                    .measure()
                    .units
                    .last()
                    .map_or("", |unit| unit.symbol);
                format!("\"{} ({sign})\"", self.title(*column))
            });
        format!(
            "the unit is not told for {}; write it into the column's name, such as {example}, or \
             set {}",
            names.join(", "),
            sets.join(" and ")
        )
    }

    /// The headers that the plan does not use.
    pub fn unused(&self, plan: &Plan) -> Vec<String> {
        let mut used: Vec<usize> = plan.measured.iter().map(|one| one.column).collect();
        used.extend(plan.station);
        used.extend(plan.when.columns());
        self.headings
            .iter()
            .enumerate()
            .filter(|(at, heading)| !used.contains(at) && !heading.text.is_empty())
            .map(|(_, heading)| heading.text.clone())
            .collect()
    }
}

impl When {
    /// The columns it reads.
    pub fn columns(self) -> Vec<usize> {
        match self {
            When::Stamp(at) | When::Day(at) => vec![at],
            When::DayAndHour(day, hour) => vec![day, hour],
            When::Parts(year, month, day, hour) => {
                let mut all = vec![year, month, day];
                all.extend(hour);
                all
            }
        }
    }

    /// The column that holds whole dates, if one does.
    pub fn date_column(self) -> Option<usize> {
        match self {
            When::Stamp(at) | When::Day(at) | When::DayAndHour(at, _) => Some(at),
            When::Parts(..) => None,
        }
    }
}
