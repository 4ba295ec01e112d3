//! Reads a TOML table key by key and collects every fault on the way.
//!
//! Each getter notes that its key is known; [`Table::finish`] then tells of
//! the keys that nobody asked for. A getter returns `None` when the key is
//! missing or faulty, so a caller reads all keys first and builds its value
//! with `?` afterwards.

use super::fault::{Fault, hint, hint_of_few};
use crate::facts::knowledge::{Source, Standing};
use crate::facts::schedule::Schedule;
use crate::units::Quantity;
use chrono::{NaiveDate, NaiveTime};
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One file's text and the faults found in it so far.
#[derive(Debug)]
pub struct Sheet<'a> {
    file: String,
    text: &'a str,
    faults: RefCell<Vec<Fault>>,
}

impl<'a> Sheet<'a> {
    /// A sheet for a file's text.
    pub fn new(file: &str, text: &'a str) -> Self {
        Sheet {
            file: file.to_owned(),
            text,
            faults: RefCell::new(Vec::new()),
        }
    }

    /// Parses the text; syntax faults are collected. A date that cannot be is
    /// a syntax fault in TOML and is told here.
    pub fn parse(&self) -> Spanned<DeTable<'a>> {
        let (table, errors) = DeTable::parse_recoverable(self.text);
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            self.fault(span, "", plain_syntax(error.message()));
        }
        table
    }

    /// Notes a fault.
    pub fn fault(&self, span: Range<usize>, key: &str, message: String) {
        self.faults
            .borrow_mut()
            .push(Fault::at(&self.file, self.text, span, key, message));
    }

    /// The faults found, in the order of their lines.
    ///
    /// Where the text cannot be parsed, what was read of such a line says
    /// nothing, and a key that seems to be missing may stand in it.
    pub fn into_faults(self) -> Vec<Fault> {
        let mut faults = self.faults.into_inner();
        faults.sort_by_key(|fault| (fault.line, fault.column));
        faults.dedup();
        let unread = |fault: &Fault| fault.message.starts_with(UNREADABLE);
        let lines: BTreeSet<usize> = faults
            .iter()
            .filter(|fault| unread(fault))
            .map(|fault| fault.line)
            .collect();
        let broken = faults
            .iter()
            .any(|fault| unread(fault) && !fault.message.contains("invalid date"));
        faults.retain(|fault| {
            let lost = broken && fault.message.starts_with(MISSING);
            unread(fault) || !(lost || lines.contains(&fault.line))
        });
        faults
    }

    /// Whether no fault was found so far.
    pub fn is_clean(&self) -> bool {
        self.faults.borrow().is_empty()
    }

    /// The whole file as a table.
    pub fn root<'s>(&'s self, table: &'s Spanned<DeTable<'a>>) -> Table<'s, 'a> {
        Table::new(self, String::new(), table.get_ref(), 0..0)
    }
}

/// How the message of a text that cannot be parsed begins.
const UNREADABLE: &str = "not readable as TOML";

/// How the message of a missing key begins.
const MISSING: &str = "is missing";

/// The parser's words, made a sentence of ours.
fn plain_syntax(message: &str) -> String {
    let message = message.trim().replace('\n', ", ");
    format!("{UNREADABLE}: {message}")
}

/// A value with its place.
#[derive(Clone, Debug)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it stands in the text.
    pub span: Range<usize>,
}

/// One table of a sheet.
#[derive(Debug)]
pub struct Table<'s, 'a> {
    sheet: &'s Sheet<'a>,
    path: String,
    table: &'s DeTable<'a>,
    span: Range<usize>,
    asked: RefCell<BTreeSet<String>>,
}

impl<'s, 'a> Table<'s, 'a> {
    fn new(sheet: &'s Sheet<'a>, path: String, table: &'s DeTable<'a>, span: Range<usize>) -> Self {
        Table {
            sheet,
            path,
            table,
            span,
            asked: RefCell::new(BTreeSet::new()),
        }
    }

    /// The key's full name, for messages.
    pub fn key(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// The table's own name, such as `tree[3]`.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Where the table begins.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Notes a fault at a key's value, or at the table if the key is missing.
    pub fn fault(&self, key: &str, message: String) {
        let span = self.table.get(key).map_or(self.span.clone(), Spanned::span);
        self.sheet.fault(span, &self.key(key), message);
    }

    /// Notes a fault at a place.
    pub fn fault_at(&self, span: Range<usize>, key: &str, message: String) {
        self.sheet.fault(span, &self.key(key), message);
    }

    /// Whether a key stands in the table.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Where a key itself stands, or the table if it is not there.
    pub fn key_span(&self, key: &str) -> Range<usize> {
        self.table
            .get_key_value(key)
            .map_or(self.span.clone(), |(key, _)| key.span())
    }

    /// Whether a key holds a bare number.
    pub fn is_number(&self, key: &str) -> bool {
        let value = self.table.get(key).map(Spanned::get_ref);
        matches!(value, Some(DeValue::Integer(_) | DeValue::Float(_)))
    }

    /// Whether a key holds a text.
    pub fn is_text(&self, key: &str) -> bool {
        matches!(
            self.table.get(key).map(Spanned::get_ref),
            Some(DeValue::String(_))
        )
    }

    fn value(&self, key: &str) -> Option<&'s Spanned<DeValue<'a>>> {
        self.asked.borrow_mut().insert(key.to_owned());
        self.table.get(key)
    }

    fn missing(&self, key: &str, example: &str) {
        let name = self.key(key);
        self.sheet.fault(
            self.span.clone(),
            &name,
            format!("{MISSING}; write it as {key} = {example}"),
        );
    }

    fn wrong_type(&self, key: &str, value: &Spanned<DeValue<'a>>, wanted: &str) {
        let found = match value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        self.fault_at(
            value.span(),
            key,
            format!("should be {wanted}, not {found}"),
        );
    }

    /// A text, if the key is there.
    pub fn text_at(&self, key: &str) -> Option<At<String>> {
        self.filled_text(key, "write something or leave the key out")
    }

    /// A text, if the key is there; `wanted` says what else it should be.
    fn quoted(&self, key: &str, wanted: &str) -> Option<At<String>> {
        let value = self.value(key)?;
        if !self.is_text(key) {
            self.wrong_type(key, value, wanted);
            return None;
        }
        self.text_at(key)
    }

    /// A text that holds something; `mend` says what to do about an empty one.
    fn filled_text(&self, key: &str, mend: &str) -> Option<At<String>> {
        let value = self.value(key)?;
        match value.get_ref().as_str() {
            Some(text) if text.trim().is_empty() => {
                self.fault_at(value.span(), key, format!("is empty; {mend}"));
                None
            }
            Some(text) => Some(At {
                value: text.trim().to_owned(),
                span: value.span(),
            }),
            None => {
                self.wrong_type(key, value, "a text in quotes");
                None
            }
        }
    }

    /// A text, if the key is there.
    pub fn maybe_text(&self, key: &str) -> Option<String> {
        self.text_at(key).map(|at| at.value)
    }

    /// A text that must be there.
    pub fn text(&self, key: &str, example: &str) -> Option<String> {
        self.required_text_at(key, example).map(|at| at.value)
    }

    /// A text with its place, which must be there.
    pub fn required_text_at(&self, key: &str, example: &str) -> Option<At<String>> {
        if self.value(key).is_none() {
            self.missing(key, &format!("\"{example}\""));
            return None;
        }
        self.filled_text(key, &format!("write it as {key} = \"{example}\""))
    }

    /// A list of texts; a missing key is an empty list.
    pub fn texts(&self, key: &str) -> Vec<At<String>> {
        let Some(value) = self.value(key) else {
            return Vec::new();
        };
        let Some(list) = value.get_ref().as_array() else {
            self.wrong_type(key, value, "a list of texts in [ ]");
            return Vec::new();
        };
        let mut texts = Vec::new();
        for item in list {
            match item.get_ref().as_str() {
                Some(text) => texts.push(At {
                    value: text.trim().to_owned(),
                    span: item.span(),
                }),
                None => self.wrong_type(key, item, "a text in quotes"),
            }
        }
        texts
    }

    /// A list of plain texts; a missing key is an empty list.
    pub fn words(&self, key: &str) -> Vec<String> {
        self.texts(key).into_iter().map(|at| at.value).collect()
    }

    /// A bare number, if the key is there.
    pub fn number_at(&self, key: &str) -> Option<At<f64>> {
        let value = self.value(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(integer) => {
                i64::from_str_radix(&integer.as_str().replace('_', ""), integer.radix())
                    .ok()
                    .map(|integer| integer as f64)
            }
            DeValue::Float(float) => float.as_str().replace('_', "").parse().ok(),
            _ => {
                self.wrong_type(key, value, "a number without quotes");
                return None;
            }
        };
        match number.filter(|number: &f64| number.is_finite()) {
            Some(number) => Some(At {
                value: number,
                span: value.span(),
            }),
            None => {
                self.fault_at(value.span(), key, "is not a number that can be used".into());
                None
            }
        }
    }

    /// A bare number within bounds, if the key is there.
    pub fn maybe_number(&self, key: &str, least: f64, most: f64) -> Option<f64> {
        let at = self.number_at(key)?;
        if (least..=most).contains(&at.value) {
            return Some(at.value);
        }
        self.fault_at(
            at.span,
            key,
            format!("{} cannot be: it lies between {least} and {most}", at.value),
        );
        None
    }

    /// A bare number within bounds that must be there.
    pub fn number(&self, key: &str, least: f64, most: f64) -> Option<f64> {
        if self.value(key).is_none() {
            self.missing(key, &format!("{least}"));
            return None;
        }
        self.maybe_number(key, least, most)
    }

    /// A whole number within bounds, if the key is there.
    pub fn maybe_whole(&self, key: &str, least: i64, most: i64) -> Option<i64> {
        let at = self.number_at(key)?;
        if at.value.fract() != 0.0 {
            self.fault_at(
                at.span,
                key,
                format!("should be a whole number, not {}", at.value),
            );
            return None;
        }
        if (least as f64..=most as f64).contains(&at.value) {
            return Some(at.value as i64);
        }
        self.fault_at(
            at.span,
            key,
            format!("{} cannot be: it lies between {least} and {most}", at.value),
        );
        None
    }

    /// `true` or `false`; missing means `otherwise`.
    pub fn flag(&self, key: &str, otherwise: bool) -> bool {
        let Some(value) = self.value(key) else {
            return otherwise;
        };
        match value.get_ref().as_bool() {
            Some(flag) => flag,
            None => {
                self.wrong_type(key, value, "true or false, without quotes");
                otherwise
            }
        }
    }

    /// A quantity with its unit, such as `"28 °F"`, if the key is there.
    /// Latitude and longitude may be bare numbers.
    pub fn maybe_quantity(&self, key: &str, quantity: Quantity) -> Option<f64> {
        let value = self.value(key)?;
        let bare = matches!(quantity, Quantity::Latitude | Quantity::Longitude);
        let result = match value.get_ref() {
            DeValue::String(text) => quantity.read(text),
            DeValue::Integer(_) | DeValue::Float(_) => {
                let number = self.number_at(key)?;
                if !bare {
                    self.fault_at(
                        number.span,
                        key,
                        format!(
                            "{} has no unit; write it in quotes with one, such as \"{}\"",
                            number.value,
                            quantity.example()
                        ),
                    );
                    return None;
                }
                quantity.check(number.value)
            }
            _ => {
                let wanted = match bare {
                    true => format!("a number such as {}", quantity.example()),
                    false => format!("a text such as \"{}\"", quantity.example()),
                };
                self.wrong_type(key, value, &wanted);
                return None;
            }
        };
        match result {
            Ok(si) => Some(si),
            Err(error) => {
                self.fault_at(value.span(), key, error.to_string());
                None
            }
        }
    }

    /// A quantity that must be there.
    pub fn quantity(&self, key: &str, quantity: Quantity) -> Option<f64> {
        if self.value(key).is_none() {
            let bare = matches!(quantity, Quantity::Latitude | Quantity::Longitude);
            let quote = if bare { "" } else { "\"" };
            self.missing(key, &format!("{quote}{}{quote}", quantity.example()));
            return None;
        }
        self.maybe_quantity(key, quantity)
    }

    /// A pair of bare numbers, least and most: `[10, 15]`; one number stands
    /// for both.
    pub fn span_of(&self, key: &str) -> Option<(f64, f64)> {
        let value = self.value(key)?;
        let Some(list) = value.get_ref().as_array() else {
            return self.number_at(key).map(|at| (at.value, at.value));
        };
        let numbers: Vec<f64> = list
            .iter()
            .filter_map(|item| match item.get_ref() {
                DeValue::Integer(integer) => integer.as_str().parse().ok(),
                DeValue::Float(float) => float.as_str().parse().ok(),
                _ => None,
            })
            .collect();
        match numbers[..] {
            [least, most] if list.iter().count() == 2 && least <= most => Some((least, most)),
            _ => {
                self.fault_at(value.span(), key, "should be [least, most]".into());
                None
            }
        }
    }

    /// One or two quantities with their unit, least and most: `"308 °F d"` or
    /// `["1150 °F d", "1200 °F d"]`; one stands for both.
    pub fn quantity_span(&self, key: &str, quantity: Quantity) -> Option<(f64, f64)> {
        let value = self.value(key)?;
        if value.get_ref().as_array().is_none() {
            return self.maybe_quantity(key, quantity).map(|one| (one, one));
        }
        let mut read = Vec::new();
        for at in self.texts(key) {
            match quantity.read(&at.value) {
                Ok(si) => read.push(si),
                Err(error) => {
                    self.fault_at(at.span, key, error.to_string());
                    return None;
                }
            }
        }
        match read[..] {
            [least, most] if least <= most => Some((least, most)),
            _ => {
                let example = quantity.example();
                let message =
                    format!("should be [least, most], such as [\"{example}\", \"{example}\"]");
                self.fault_at(value.span(), key, message);
                None
            }
        }
    }

    /// A list of pairs of texts, such as `[["HS", "WVU-CAR"]]`; a missing key
    /// is an empty list.
    pub fn pairs(&self, key: &str) -> Vec<(At<String>, At<String>)> {
        let Some(value) = self.value(key) else {
            return Vec::new();
        };
        let Some(list) = value.get_ref().as_array() else {
            self.wrong_type(key, value, "a list of pairs of texts in [[ ]]");
            return Vec::new();
        };
        let mut pairs = Vec::new();
        for item in list {
            let words: Vec<At<String>> = item
                .get_ref()
                .as_array()
                .map(|pair| {
                    pair.iter()
                        .filter_map(|word| {
                            word.get_ref().as_str().map(|text| At {
                                value: text.trim().to_owned(),
                                span: word.span(),
                            })
                        })
                        .collect()
                })
                .unwrap_or_default();
            match <[At<String>; 2]>::try_from(words) {
                Ok([first, second]) => pairs.push((first, second)),
                Err(_) => self.fault_at(
                    item.span(),
                    key,
                    "should be a pair of texts, such as [\"HS\", \"WVU-CAR\"]".into(),
                ),
            }
        }
        pairs
    }

    /// One of several words, if the key is there.
    pub fn maybe_choice<T: Copy>(&self, key: &str, choices: &[(T, &str)]) -> Option<T> {
        let at = self.text_at(key)?;
        self.choose(key, &at, choices)
    }

    /// One of several words; the key must be there.
    pub fn choice<T: Copy>(&self, key: &str, choices: &[(T, &str)]) -> Option<T> {
        if self.value(key).is_none() {
            self.missing(
                key,
                &format!("\"{}\"", choices.first().map_or("", |(_, word)| word)),
            );
            return None;
        }
        self.maybe_choice(key, choices)
    }

    /// A list of words out of several.
    pub fn choices<T: Copy>(&self, key: &str, choices: &[(T, &str)]) -> Vec<T> {
        self.texts(key)
            .iter()
            .filter_map(|at| self.choose(key, at, choices))
            .collect()
    }

    fn choose<T: Copy>(&self, key: &str, at: &At<String>, choices: &[(T, &str)]) -> Option<T> {
        let found = choices
            .iter()
            .find(|(_, word)| word.eq_ignore_ascii_case(&at.value));
        if found.is_none() {
            let words: Vec<&str> = choices.iter().map(|(_, word)| *word).collect();
            self.fault_at(
                at.span.clone(),
                key,
                format!(
                    "\"{}\" is not known here{}",
                    at.value,
                    hint_of_few(&at.value, &words)
                ),
            );
        }
        found.map(|(choice, _)| *choice)
    }

    /// A day: `2019-04-05` with or without quotes, if the key is there.
    pub fn maybe_date(&self, key: &str) -> Option<NaiveDate> {
        let value = self.value(key)?;
        let text = match value.get_ref() {
            DeValue::Datetime(date) => date.to_string(),
            DeValue::String(text) => text.trim().to_owned(),
            _ => {
                self.wrong_type(key, value, "a day such as 2019-04-05");
                return None;
            }
        };
        match NaiveDate::parse_from_str(&text, "%Y-%m-%d") {
            Ok(date) => Some(date),
            Err(_) => {
                self.fault_at(
                    value.span(),
                    key,
                    format!("{text} is not a day of the calendar; write it as 2019-04-05"),
                );
                None
            }
        }
    }

    /// A day that must be there.
    pub fn date(&self, key: &str) -> Option<NaiveDate> {
        if self.value(key).is_none() {
            self.missing(key, "2019-04-05");
            return None;
        }
        self.maybe_date(key)
    }

    /// A day without its year: `"04-20"`, if the key is there. 29 February is
    /// accepted.
    pub fn maybe_month_day(&self, key: &str) -> Option<(u32, u32)> {
        let at = self.quoted(key, "month and day in quotes, such as \"04-20\"")?;
        let parsed = NaiveDate::parse_from_str(&format!("2024-{}", at.value), "%Y-%m-%d");
        match parsed {
            Ok(date) => {
                use chrono::Datelike;
                Some((date.month(), date.day()))
            }
            Err(_) => {
                self.fault_at(
                    at.span,
                    key,
                    format!(
                        "\"{}\" is not a day of the year; write month and day as \"04-20\"",
                        at.value
                    ),
                );
                None
            }
        }
    }

    /// A time of day: `"07:00"`, if the key is there.
    pub fn maybe_time(&self, key: &str) -> Option<NaiveTime> {
        let at = self.quoted(key, "a time of day in quotes, such as \"07:00\"")?;
        match NaiveTime::parse_from_str(&at.value, "%H:%M") {
            Ok(time) => Some(time),
            Err(_) => {
                self.fault_at(
                    at.span,
                    key,
                    format!(
                        "\"{}\" is not a time of day; write it as \"07:00\"",
                        at.value
                    ),
                );
                None
            }
        }
    }

    /// A time of day or a cron expression, as text.
    pub fn maybe_schedule(&self, key: &str) -> Option<Schedule> {
        let at = self.quoted(key, "a time of day in quotes, such as \"07:00\"")?;
        Schedule::read(&at.value)
            .map_err(|why| self.fault_at(at.span, key, why))
            .ok()
    }

    /// A table within this one, if the key is there.
    pub fn table(&self, key: &str) -> Option<Table<'s, 'a>> {
        let value = self.value(key)?;
        match value.get_ref().as_table() {
            Some(table) => Some(Table::new(self.sheet, self.key(key), table, value.span())),
            None => {
                self.wrong_type(key, value, &format!("a table [{}]", self.key(key)));
                None
            }
        }
    }

    /// The tables of a list `[[key]]`, named `key[1]`, `key[2]`; missing means
    /// none.
    pub fn tables(&self, key: &str) -> Vec<Table<'s, 'a>> {
        let Some(value) = self.value(key) else {
            return Vec::new();
        };
        let Some(list) = value.get_ref().as_array() else {
            self.wrong_type(
                key,
                value,
                &format!("a list of tables [[{}]]", self.key(key)),
            );
            return Vec::new();
        };
        let mut tables = Vec::new();
        for (index, item) in list.iter().enumerate() {
            let path = format!("{}[{}]", self.key(key), index + 1);
            match item.get_ref().as_table() {
                Some(table) => tables.push(Table::new(self.sheet, path, table, item.span())),
                None => self.wrong_type(key, item, &format!("a table [[{}]]", self.key(key))),
            }
        }
        tables
    }

    /// The keys that stand in this table, in file order unknown to TOML.
    pub fn keys(&self) -> Vec<String> {
        self.table
            .keys()
            .map(|key| key.get_ref().to_string())
            .collect()
    }

    /// `reference = "key"` or a list of keys, and `standing`. Whatever was
    /// seen or computed needs a reference.
    pub fn source(&self) -> Option<Source> {
        let standing = self.choice("standing", &Standing::ALL);
        let references = match self.value("reference") {
            Some(value) if value.get_ref().as_str().is_some() => {
                self.maybe_text("reference").into_iter().collect()
            }
            _ => self.words("reference"),
        };
        let standing = standing?;
        if references.is_empty() && matches!(standing, Standing::Seen | Standing::Computed) {
            self.fault(
                "reference",
                format!("is missing: what is {} needs one", standing.word()),
            );
            return None;
        }
        Some(Source {
            references,
            standing,
        })
    }

    /// Tells of every key that nobody asked for.
    pub fn finish(&self) {
        let asked = self.asked.borrow();
        let known: Vec<&str> = asked.iter().map(String::as_str).collect();
        for (key, _) in self.table.iter() {
            let name = key.get_ref();
            if !asked.contains(name.as_ref()) {
                let message = format!("no such key{}", hint(name, &known));
                self.sheet.fault(key.span(), &self.key(name), message);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str, read: impl Fn(&Table<'_, '_>)) -> Vec<String> {
        let sheet = Sheet::new("place.toml", text);
        let parsed = sheet.parse();
        let root = sheet.root(&parsed);
        read(&root);
        root.finish();
        drop(root);
        drop(parsed);
        sheet
            .into_faults()
            .iter()
            .map(ToString::to_string)
            .collect()
    }

    #[test]
    fn all_faults_of_a_file_at_once() {
        let found = faults(
            "latitude = 400\nelevaton = \"850 ft\"\nday = 2023-02-30\n",
            |root| {
                root.quantity("latitude", Quantity::Latitude);
                root.quantity("elevation", Quantity::Elevation);
                root.maybe_date("day");
            },
        );
        assert!(found.len() >= 4, "{found:#?}");
        assert!(found.iter().any(|f| f.contains("latitude 400 ° cannot be")));
        assert!(
            found
                .iter()
                .any(|f| f.contains("did you mean \"elevation\"?"))
        );
    }

    #[test]
    fn a_source_needs_its_reference() {
        let found = faults("standing = \"seen\"\n", |root| {
            assert_eq!(root.source(), None);
        });
        assert_eq!(found.len(), 1);
        assert!(found[0].contains("what is seen needs one"));
    }
}
