//! One file's text and the faults found in it.

use super::Table;
use crate::config::fault::Fault;
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use toml::Spanned;
use toml::de::DeTable;

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
pub(super) const MISSING: &str = "is missing";

/// The parser's words, made a sentence of ours.
fn plain_syntax(message: &str) -> String {
    let message = message.trim().replace('\n', ", ");
    format!("{UNREADABLE}: {message}")
}
