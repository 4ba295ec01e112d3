//! Reads a TOML table key by key and collects every fault on the way.
//!
//! Each getter notes that its key is known; [`Table::finish`] then tells of
//! the keys that nobody asked for. A getter returns `None` when the key is
//! missing or faulty, so a caller reads all keys first and builds its value
//! with `?` afterwards.

mod days;
mod numbers;
mod sheet;
mod texts;

pub use sheet::Sheet;

use super::fault::hint;
use crate::facts::knowledge::{Source, Standing};
use sheet::MISSING;
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

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
    use crate::units::Quantity;

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
