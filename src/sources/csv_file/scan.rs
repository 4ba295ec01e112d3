//! Through the rows: a first look for stations and the order of dates, then
//! times and values.

use super::error::ImportError;
use super::header::Field;
use super::layout::{Layout, Measured, Plan, When};
use super::options::{DateOrder, Options};
use super::report::{Reason, Report, UsedColumn, grouped, short};
use super::rows::{Rows, Step, column};
use super::time::{self, TimeFault, Written};
use super::value::{Value, value};
use crate::units::{Quantity, plain};
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

/// What the first look found.
pub(super) struct Survey {
    /// The station to take, if the file names stations.
    station: Option<String>,
    /// The order of day and month, if a date needs it.
    order: Option<DateOrder>,
}

/// What tells the order of day and month: the first line with each.
#[derive(Default)]
struct OrderSigns {
    /// First number above 12.
    day_first: Option<(usize, String)>,
    /// Second number above 12.
    month_first: Option<(usize, String)>,
    /// Any date with the year at the end.
    any: Option<(usize, usize, String)>,
}

impl<'t> Sheet<'t> {
    fn rows(&self) -> Rows<'t> {
        Rows::new(self.text, self.layout.line + 1, self.layout.separator)
    }

    /// The first look: which stations there are, and how dates are written.
    pub fn survey(&self, report: &mut Report) -> Result<Survey, ImportError> {
        let mut signs = OrderSigns::default();
        let mut rows = self.rows();
        let date = self.plan.when.date_column();
        let mut stations: Vec<(String, usize)> = Vec::new();
        let mut recent = 0;
        let mut count = 0;
        loop {
            match rows.step() {
                Step::End => break,
                Step::OpenQuote => continue,
                Step::Row => {}
            }
            count += 1;
            if count > self.options.limits.rows {
                return Err(ImportError::at(
                    self.name,
                    rows.line,
                    1,
                    format!(
                        "more than {} rows; cut the file by year or by station",
                        grouped(self.options.limits.rows)
                    ),
                ));
            }
            if let Some(text) = date.and_then(|at| rows.record.get(at)) {
                signs.see(text, || {
                    (
                        rows.line,
                        column(&rows.raw(), self.layout.separator, date.unwrap_or(0)),
                    )
                });
            }
            let station = self.plan.station.and_then(|at| rows.record.get(at));
            if let Some(station) = station.map(str::trim).filter(|name| !name.is_empty()) {
                // Rows of one station mostly stand together.
                let same = stations
                    .get(recent)
                    .is_some_and(|(name, _)| name == station);
                if !same {
                    recent = stations
                        .iter()
                        .position(|(name, _)| name == station)
                        .unwrap_or(stations.len());
                    if recent == stations.len() {
                        stations.push((station.to_owned(), 0));
                    }
                    if stations.len() > MOST_STATIONS {
                        return Err(self.too_many_stations());
                    }
                }
                if let Some(entry) = stations.get_mut(recent) {
                    entry.1 += 1;
                }
            }
        }
        report.stations = stations;
        let station = self.choose_station(report)?;
        report.station.clone_from(&station);
        Ok(Survey {
            station,
            order: self.choose_order(signs, report)?,
        })
    }

    fn too_many_stations(&self) -> ImportError {
        let at = self.plan.station.unwrap_or(0);
        let title = self.layout.headings.get(at).map_or("", |h| h.text.as_str());
        ImportError::at(
            self.name,
            self.layout.line,
            column(&self.layout.text, self.layout.separator, at),
            format!(
                "\"{title}\" has more than {MOST_STATIONS} different values; if it does not name \
                 stations, set column.station = none"
            ),
        )
    }

    fn choose_station(&self, report: &Report) -> Result<Option<String>, ImportError> {
        let at = self.plan.station.unwrap_or(0);
        let place = |message: String| {
            let at = column(&self.layout.text, self.layout.separator, at);
            ImportError::at(self.name, self.layout.line, at, message)
        };
        let list = || {
            let names: Vec<String> = report
                .stations
                .iter()
                .map(|(name, rows)| {
                    let word = if *rows == 1 { "row" } else { "rows" };
                    format!("{name} ({} {word})", grouped(*rows))
                })
                .collect();
            names.join(", ")
        };
        match (&self.options.station, report.stations.as_slice()) {
            (None, []) => Ok(None),
            (Some(wanted), []) => Err(place(format!(
                "station = {wanted}: no column names stations; leave the option out, or set \
                 column.station = ..."
            ))),
            (Some(wanted), all) => match all.iter().find(|(name, _)| name == wanted) {
                Some((name, _)) => Ok(Some(name.clone())),
                None => Err(place(format!(
                    "station = {wanted}: no such station; the file has {}",
                    list()
                ))),
            },
            (None, [(name, _)]) => Ok(Some(name.clone())),
            (None, _) => Err(place(format!(
                "several stations; set station to one of {}",
                list()
            ))),
        }
    }

    fn choose_order(
        &self,
        signs: OrderSigns,
        report: &mut Report,
    ) -> Result<Option<DateOrder>, ImportError> {
        let Some((line, at, text)) = signs.any else {
            return Ok(self.options.dates);
        };
        let fault = |message: String| ImportError::at(self.name, line, at, message);
        let (order, sign) = match (self.options.dates, signs.month_first, signs.day_first) {
            (Some(told), _, _) => return Ok(Some(told)),
            (None, Some(sign), None) => (DateOrder::MonthFirst, sign),
            (None, None, Some(sign)) => (DateOrder::DayFirst, sign),
            (None, Some((m, month)), Some((d, day))) => {
                return Err(fault(format!(
                    "dates in two orders: line {m} has \"{month}\", line {d} has \"{day}\"; set \
                     dates = m/d/y or dates = d/m/y, and the others are told as faults"
                )));
            }
            (None, None, None) => {
                return Err(fault(format!(
                    "\"{text}\" may be month/day or day/month, and no date of the file tells; \
                     set dates = m/d/y or dates = d/m/y"
                )));
            }
        };
        let words = match order {
            DateOrder::MonthFirst => "month before day",
            DateOrder::DayFirst => "day before month",
        };
        report.notes.push(format!(
            "dates are written with the {words}, as line {} tells: \"{}\"",
            sign.0, sign.1
        ));
        Ok(Some(order))
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

    /// A unit that the header tells but the values belie.
    fn doubt_units(&self, sums: &[ColumnSum]) -> Result<(), ImportError> {
        for (measured, sum) in self.plan.measured.iter().zip(sums) {
            if measured.told {
                continue;
            }
            if let Some((line, what)) = sum.doubt(measured) {
                let at = column(&self.layout.text, self.layout.separator, measured.column);
                let heading = self.layout.headings.get(measured.column);
                let header = heading.map_or("", |heading| heading.text.as_str());
                let key = measured.field.name();
                // The first value that cannot be, or else the header.
                let (line, at) = if line == 0 {
                    (self.layout.line, at)
                } else {
                    (line, 1)
                };
                return Err(ImportError::at(
                    self.name,
                    line,
                    at,
                    format!("\"{header}\" {what}", what = what.replace("KEY", key)),
                ));
            }
        }
        Ok(())
    }
}

/// Stations that one file may hold.
const MOST_STATIONS: usize = 1_000;

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

impl OrderSigns {
    fn see(&mut self, text: &str, place: impl Fn() -> (usize, usize)) {
        let Some((first, second)) = time::year_last(text) else {
            return;
        };
        let day_first = first > 12 && self.day_first.is_none();
        let month_first = second > 12 && self.month_first.is_none();
        if self.any.is_some() && !day_first && !month_first {
            return;
        }
        let (line, column) = place();
        if day_first && second <= 12 {
            self.day_first = Some((line, short(text)));
        }
        if month_first && first <= 12 {
            self.month_first = Some((line, short(text)));
        }
        self.any.get_or_insert_with(|| (line, column, short(text)));
    }
}

/// What a column held, in its own unit.
#[derive(Clone, Debug, Default)]
struct ColumnSum {
    known: usize,
    unknown: usize,
    seen: usize,
    most: Option<f64>,
    /// Readings that are too hot for Celsius, and the first line.
    hot: usize,
    hot_line: usize,
    /// Readings that are too hot for Fahrenheit, and the first line.
    absurd: usize,
    absurd_line: usize,
}

impl ColumnSum {
    fn see(&mut self, number: f64, line: usize) {
        self.seen += 1;
        self.most = Some(self.most.map_or(number, |most| most.max(number)));
        if number > 130.0 && number < 700.0 {
            self.absurd += 1;
            if self.absurd == 1 {
                self.absurd_line = line;
            }
        } else if number > 55.0 && number <= 130.0 {
            self.hot += 1;
            if self.hot == 1 {
                self.hot_line = line;
            }
        }
    }

    /// Three readings and one of 200 that cannot be are a wrong unit, fewer
    /// are slips. Our judgement, as are the limits: no orchard reads above
    /// 55 °C, and none stays below 50 °F for most of a year.
    fn doubt(&self, measured: &Measured) -> Option<(usize, String)> {
        let many = |count: usize| count >= 3 && count * 200 >= self.seen;
        let most = plain(self.most.unwrap_or(0.0));
        let of = |count: usize| format!("{} of {} values", grouped(count), grouped(self.seen));
        let temperature = measured.quantity == Quantity::Temperature;
        let celsius = temperature && measured.unit.symbol == "°C";
        if celsius && many(self.absurd) {
            let what = format!(
                "is said to be in °C, but {} are above 130, up to {most}: it looks like tenths \
                 of °C; set unit.KEY = 0.1 °C, or unit.KEY = °C if that is right",
                of(self.absurd)
            );
            return Some((self.absurd_line, what));
        }
        if celsius && many(self.hot) {
            let what = format!(
                "is said to be in °C, but {} are above 55, up to {most}: it looks like °F; set \
                 unit.KEY = °F, or unit.KEY = °C if that is right",
                of(self.hot)
            );
            return Some((self.hot_line, what));
        }
        let a_year = match measured.field {
            Field::High => 300,
            _ => 7_000,
        };
        if matches!(measured.field, Field::High | Field::Temperature)
            && measured.unit.symbol == "°F"
            && self.seen >= a_year
            && self.most.is_some_and(|most| most <= 50.0)
        {
            let what = format!(
                "is said to be in °F, but none of {} values is above {most}: it looks like °C; \
                 set unit.KEY = °C, or unit.KEY = °F if that is right",
                grouped(self.seen)
            );
            return Some((0, what));
        }
        if measured.quantity == Quantity::Humidity
            && self.seen >= 24
            && self.most.is_some_and(|most| most <= 1.0)
        {
            let what = format!(
                "is never above {most}: it looks like a fraction, not percent; multiply it by \
                 100, or set column.KEY = none to leave it out, or unit.KEY = % if it is right"
            );
            return Some((0, what));
        }
        None
    }
}
