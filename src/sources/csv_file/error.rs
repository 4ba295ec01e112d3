//! Why a file could not be read, and the mend.

use std::fmt;

/// A file that could not be read at all, with the place and the mend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportError {
    /// The file's name as the user knows it.
    pub file: String,
    /// Line, from 1; 0 where the fault is about the whole file.
    pub line: usize,
    /// Column in characters, from 1; 0 where the fault is about the whole file.
    pub column: usize,
    /// What is wrong and how to mend it.
    pub message: String,
}

impl ImportError {
    /// A fault of the file as a whole.
    pub fn whole(file: &str, message: impl Into<String>) -> Self {
        ImportError {
            file: file.to_owned(),
            line: 0,
            column: 0,
            message: message.into(),
        }
    }

    /// A fault at a place in the file.
    pub fn at(file: &str, line: usize, column: usize, message: impl Into<String>) -> Self {
        ImportError {
            file: file.to_owned(),
            line,
            column,
            message: message.into(),
        }
    }
}

impl fmt::Display for ImportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = if self.line == 0 {
            self.file.clone()
        } else {
            format!("{}:{}:{}", self.file, self.line, self.column)
        };
        write!(f, "{place}: {}", self.message)
    }
}

impl std::error::Error for ImportError {}
