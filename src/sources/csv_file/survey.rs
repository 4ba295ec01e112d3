//! The first look through the rows: stations and the order of dates.

use super::error::ImportError;
use super::finding::short;
use super::options::DateOrder;
use super::report::{Report, grouped};
use super::rows::{Step, column};
use super::scan::Sheet;
use super::time;

/// What the first look found.
pub(super) struct Survey {
    /// The station to take, if the file names stations.
    pub station: Option<String>,
    /// The order of day and month, if a date needs it.
    pub order: Option<DateOrder>,
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

impl Sheet<'_> {
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
        self.fault(
            self.layout.line,
            at,
            format!(
                "\"{title}\" has more than {MOST_STATIONS} different values; if it does not name \
                 stations, set column.station = none"
            ),
        )
    }

    fn choose_station(&self, report: &Report) -> Result<Option<String>, ImportError> {
        let at = self.plan.station.unwrap_or(0);
        let place = |message: String| self.fault(self.layout.line, at, message);
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
}

/// Stations that one file may hold.
const MOST_STATIONS: usize = 1_000;

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
