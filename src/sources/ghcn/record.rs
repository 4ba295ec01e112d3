//! The forms of a station's record.

use super::super::error::Fault;
use super::super::reply::clean;
use super::super::{Left, Note};
use crate::facts::weather::Day;
use crate::units::Quantity;
use chrono::{Datelike, NaiveDate};
use csv::{ReaderBuilder, StringRecord, Trim};
use serde_json::Value;
use std::collections::BTreeMap;

/// A value that is none.
const MISSING: i32 = -9_999;

/// Readings at these hours are of a morning (our choice: 4:00 to 11:00).
const MORNING: std::ops::RangeInclusive<u32> = 400..=1_100;

/// Length of a `.dly` line, and where its values begin.
const DLY_LINE: usize = 269;
const DLY_VALUES: usize = 21;

/// What a record holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GhcnRecord {
    /// The days in order, as the station wrote them.
    pub days: Vec<Day>,
    /// The station, as far as the record tells.
    pub station: Option<GhcnStation>,
    /// What was not taken.
    pub left: Left,
    /// What is odd about it.
    pub notes: Vec<Note>,
}

/// A station.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GhcnStation {
    /// Its identifier.
    pub id: String,
    /// Its name.
    pub name: Option<String>,
    /// Degrees, north positive.
    pub latitude: Option<f64>,
    /// Degrees, east positive.
    pub longitude: Option<f64>,
    /// Height, m.
    pub elevation_m: Option<f64>,
}

/// The elements that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Element {
    High,
    Low,
    Rain,
}

impl Element {
    fn named(name: &str) -> Option<Self> {
        match name {
            "TMAX" => Some(Element::High),
            "TMIN" => Some(Element::Low),
            "PRCP" => Some(Element::Rain),
            _ => None,
        }
    }
}

/// Days as they come together.
#[derive(Debug, Default)]
struct Days {
    days: BTreeMap<NaiveDate, Day>,
    left: Left,
    /// How many highs were read at each time.
    times: BTreeMap<u32, usize>,
    highs: usize,
    values: usize,
}

impl Days {
    /// Puts a value in tenths with its flags of measurement and of quality. A
    /// quality flag means that a check failed it; a measurement of `P` means
    /// that nothing was written and nought was presumed: that is not known.
    fn put(
        &mut self,
        date: NaiveDate,
        element: Element,
        tenths: i32,
        [measurement, flag]: [&str; 2],
        time: &str,
    ) {
        self.values += 1;
        if measurement.trim() == "P" {
            self.left.missing += 1;
            return;
        }
        if !(1700..=2200).contains(&date.year()) {
            self.left.no_time += 1;
            return;
        }
        if tenths == MISSING {
            self.left.missing += 1;
            return;
        }
        if !flag.trim().is_empty() {
            self.left.flagged += 1;
            return;
        }
        let value = f64::from(tenths) / 10.0;
        let quantity = match element {
            Element::Rain => Quantity::Rain,
            Element::High | Element::Low => Quantity::Temperature,
        };
        if quantity.check(value).is_err() {
            self.left.impossible += 1;
            return;
        }
        if element == Element::High {
            self.highs += 1;
            if let Ok(time) = time.trim().parse() {
                *self.times.entry(time).or_insert(0) += 1;
            }
        }
        let day = self.days.entry(date).or_insert(Day {
            date,
            low_c: None,
            high_c: None,
            rain_mm: None,
        });
        let slot = match element {
            Element::High => &mut day.high_c,
            Element::Low => &mut day.low_c,
            Element::Rain => &mut day.rain_mm,
        };
        self.left.doubled += usize::from(slot.replace(value).is_some());
    }

    fn finish(mut self, station: Option<GhcnStation>) -> Result<GhcnRecord, Fault> {
        if self.values == 0 {
            return Err(Fault::unknown_form(
                "it has no TMAX, TMIN or PRCP of single days",
            ));
        }
        for day in self.days.values_mut() {
            if let (Some(low), Some(high)) = (day.low_c, day.high_c)
                && low > high
            {
                day.low_c = None;
                day.high_c = None;
                self.left.impossible += 2;
            }
        }
        let morning: usize = self.times.range(MORNING).map(|(_, days)| days).sum();
        let usual = self.times.range(MORNING).max_by_key(|(_, days)| **days);
        let mut notes = Vec::new();
        if let Some((at, _)) = usual
            && morning * 2 > self.highs
        {
            notes.push(Note::MorningReadings {
                at: *at,
                days: morning,
            });
        }
        let known =
            |day: &Day| day.low_c.is_some() || day.high_c.is_some() || day.rain_mm.is_some();
        Ok(GhcnRecord {
            days: self.days.into_values().filter(known).collect(),
            station,
            left: self.left,
            notes,
        })
    }
}

/// Reads a record in any of its forms. Of a file with several stations the
/// `wanted` one; without a wish the file must have one only.
///
/// # Errors
/// [`Fault`] where it is no such record, or one in other units.
pub fn read(bytes: &[u8], wanted: Option<&str>) -> Result<GhcnRecord, Fault> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let start = bytes.iter().find(|byte| !byte.is_ascii_whitespace());
    match start {
        None => return Err(Fault::broken("it is empty")),
        Some(b'<') => return Err(Fault::broken("it is a web page, not data")),
        Some(b'{' | b'[') => return json(bytes, wanted),
        Some(_) => {}
    }
    let text = String::from_utf8_lossy(bytes);
    let first = text.lines().find(|line| !line.trim().is_empty());
    if first.is_some_and(|line| dly_head(line).is_some()) {
        return dly(&text, wanted);
    }
    comma_separated(&text, wanted)
}

/// Station, year, month and element at the start of a `.dly` line.
fn dly_head(line: &str) -> Option<(&str, i32, u32, &str)> {
    let id = line.get(..11)?;
    let year = line.get(11..15)?.parse().ok()?;
    let month = line.get(15..17)?.parse().ok()?;
    let element = line.get(17..21)?;
    let plain = |c: u8| c.is_ascii_alphanumeric() || c == b'_' || c == b'-';
    (id.bytes().all(plain) && element.bytes().all(|c| c.is_ascii_alphanumeric()))
        .then_some((id, year, month, element))
}

fn dly(text: &str, wanted: Option<&str>) -> Result<GhcnRecord, Fault> {
    let mut days = Days::default();
    let mut stations = Stations::new(wanted);
    for line in text.lines().filter(|line| !line.trim().is_empty()) {
        let Some((id, year, month, element)) = dly_head(line).filter(|_| line.is_ascii()) else {
            days.left.no_time += 1;
            continue;
        };
        if !stations.takes(id)? {
            continue;
        }
        let Some(element) = Element::named(element) else {
            continue;
        };
        if NaiveDate::from_ymd_opt(year, month, 1).is_none() {
            days.left.no_time += 1;
            continue;
        }
        // Blanks at the end may be cut off.
        let padded = format!("{line:<DLY_LINE$}");
        for of_month in 1..=31 {
            let at = DLY_VALUES + (of_month as usize - 1) * 8;
            let Some(group) = padded.get(at..at + 8) else {
                break;
            };
            // Days that the month lacks stand as missing.
            let Some(date) = NaiveDate::from_ymd_opt(year, month, of_month) else {
                continue;
            };
            let (value, flags) = group.split_at(5);
            let tenths = match value.trim() {
                "" => MISSING,
                text => match text.parse() {
                    Ok(tenths) => tenths,
                    Err(_) => {
                        return Err(Fault::unknown_form(format!(
                            "\"{}\" is no value, {date}",
                            clean(text)
                        )));
                    }
                },
            };
            let flag = |at: usize| flags.get(at..=at).unwrap_or(" ");
            days.put(date, element, tenths, [flag(0), flag(1)], "");
        }
    }
    days.finish(stations.station())
}

/// Which station is read.
struct Stations<'w> {
    wanted: Option<&'w str>,
    found: Option<String>,
}

impl<'w> Stations<'w> {
    fn new(wanted: Option<&'w str>) -> Self {
        Stations {
            wanted,
            found: None,
        }
    }

    /// Whether a row of this station is to be taken.
    fn takes(&mut self, id: &str) -> Result<bool, Fault> {
        let id = id.trim();
        if self
            .wanted
            .is_some_and(|wanted| !wanted.eq_ignore_ascii_case(id))
        {
            return Ok(false);
        }
        match &self.found {
            Some(found) if found != id => Err(Fault::unknown_form(format!(
                "it holds several stations, {} and {}",
                clean(found),
                clean(id)
            ))),
            Some(_) => Ok(true),
            None => {
                self.found = Some(id.to_owned());
                Ok(true)
            }
        }
    }

    fn station(self) -> Option<GhcnStation> {
        self.found.map(|id| GhcnStation {
            id,
            ..GhcnStation::default()
        })
    }
}

fn comma_separated(text: &str, wanted: Option<&str>) -> Result<GhcnRecord, Fault> {
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = reader.records();
    let first = match rows.next() {
        Some(Ok(first)) => first,
        _ => return Err(Fault::unknown_form("it is no table")),
    };
    let rows = rows.map(|row| row.map_err(|_| Fault::broken("a row cannot be read")));
    let upper: Vec<String> = first.iter().map(str::to_ascii_uppercase).collect();
    let column = |name: &str| upper.iter().position(|known| known == name);
    if let (Some(date), true) = (column("DATE"), upper.iter().any(|name| name == "STATION")) {
        let elements = [
            (Element::High, "TMAX"),
            (Element::Low, "TMIN"),
            (Element::Rain, "PRCP"),
        ];
        let columns: Vec<(Element, usize, Option<usize>)> = elements
            .iter()
            .filter_map(|(element, name)| {
                let attributes = column(&format!("{name}_ATTRIBUTES"));
                Some((*element, column(name)?, attributes))
            })
            .collect();
        return wide(rows, date, &columns, &column, wanted);
    }
    // Without a header the first row is data already.
    let begins = long_date(&first).is_some();
    let all = std::iter::once(Ok(first)).filter(|_| begins).chain(rows);
    long(all, wanted)
}

/// One row a day: the elements are columns.
fn wide(
    rows: impl Iterator<Item = Result<StringRecord, Fault>>,
    date: usize,
    columns: &[(Element, usize, Option<usize>)],
    column: &dyn Fn(&str) -> Option<usize>,
    wanted: Option<&str>,
) -> Result<GhcnRecord, Fault> {
    let mut days = Days::default();
    let mut stations = Stations::new(wanted);
    let mut station = GhcnStation::default();
    for row in rows {
        let row = row?;
        let field = |index: usize| row.get(index).unwrap_or("");
        let named = |name: &str| column(name).map_or("", field);
        if !stations.takes(named("STATION"))? {
            continue;
        }
        let Ok(of) = field(date).parse::<NaiveDate>() else {
            days.left.no_time += 1;
            continue;
        };
        station = GhcnStation {
            id: named("STATION").to_owned(),
            name: Some(named("NAME").to_owned()).filter(|name| !name.is_empty()),
            latitude: named("LATITUDE").parse().ok(),
            longitude: named("LONGITUDE").parse().ok(),
            elevation_m: named("ELEVATION")
                .parse()
                .ok()
                .filter(|metres| Quantity::Elevation.check(*metres).is_ok()),
        };
        for (element, value, attributes) in columns {
            let attributes = attributes.map_or("", field);
            let mut parts = attributes.split(',');
            let flags = [parts.next().unwrap_or(""), parts.next().unwrap_or("")];
            let time = parts.nth(1).unwrap_or("");
            days.put(of, *element, tenths(field(*value))?, flags, time);
        }
    }
    days.finish(Some(station).filter(|station| !station.id.is_empty()))
}

/// Where the date stands in a row of one value: after the station or first.
fn long_date(row: &StringRecord) -> Option<(usize, NaiveDate)> {
    (0..2).find_map(|index| {
        let text = row.get(index)?;
        let date = NaiveDate::parse_from_str(text, "%Y%m%d")
            .ok()
            .filter(|_| text.len() == 8)
            .or_else(|| text.parse().ok())?;
        Some((index, date))
    })
}

/// One row a value: station (may be left out), date, element, value, three
/// flags, time of reading.
fn long(
    rows: impl Iterator<Item = Result<StringRecord, Fault>>,
    wanted: Option<&str>,
) -> Result<GhcnRecord, Fault> {
    let mut days = Days::default();
    let mut stations = Stations::new(wanted);
    for row in rows {
        let row = row?;
        let Some((at, date)) = long_date(&row) else {
            days.left.no_time += 1;
            continue;
        };
        let field = |index: usize| row.get(at + index).unwrap_or("");
        if at == 1 && !stations.takes(row.get(0).unwrap_or(""))? {
            continue;
        }
        let Some(element) = Element::named(field(1)) else {
            continue;
        };
        let flags = [field(3), field(4)];
        days.put(date, element, tenths(field(2))?, flags, field(6));
    }
    days.finish(stations.station())
}

/// A value in tenths. A decimal point means other units.
fn tenths(text: &str) -> Result<i32, Fault> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(MISSING);
    }
    text.parse().map_err(|_| {
        Fault::unknown_form(if text.parse::<f64>().is_ok() {
            "its values have decimals: they are not in tenths of °C and mm".to_owned()
        } else {
            format!("\"{}\" is no value", clean(text))
        })
    })
}

/// The older service's answer: a list of values.
fn json(bytes: &[u8], wanted: Option<&str>) -> Result<GhcnRecord, Fault> {
    let answer: Value =
        serde_json::from_slice(bytes).map_err(|error| Fault::broken(clean(&error.to_string())))?;
    let mut days = Days::default();
    let mut stations = Stations::new(wanted);
    let list = answer.get("results").and_then(Value::as_array);
    for row in list.into_iter().flatten() {
        let text = |name: &str| row.get(name).and_then(Value::as_str).unwrap_or("");
        let Some(element) = Element::named(text("datatype")) else {
            continue;
        };
        let id = text("station");
        if !stations.takes(id.rsplit(':').next().unwrap_or(id))? {
            continue;
        }
        let date = text("date").split('T').next().unwrap_or("");
        let (Ok(date), Some(value)) = (date.parse(), row.get("value").and_then(Value::as_f64))
        else {
            days.left.no_time += 1;
            continue;
        };
        if value.fract() != 0.0 {
            return tenths("0.5").map(|_| GhcnRecord::default());
        }
        let mut parts = text("attributes").split(',');
        let flags = [parts.next().unwrap_or(""), parts.next().unwrap_or("")];
        let time = parts.nth(1).unwrap_or("");
        days.put(date, element, value as i32, flags, time);
    }
    days.finish(stations.station())
}
