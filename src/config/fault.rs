//! What is wrong in a file, and where.

use std::fmt;
use std::ops::Range;

/// One fault of one file, with its place and the mend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The file's name as the user knows it.
    pub file: String,
    /// Line, from 1; 0 where the fault is about the whole file.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The key, such as `tree[3].crop` (entries count from 1); empty where
    /// there is none.
    pub key: String,
    /// What is wrong and how to mend it.
    pub message: String,
    /// The line as it stands in the file.
    pub excerpt: String,
    /// How many characters the caret underlines.
    pub width: usize,
}

impl Fault {
    /// A fault at a byte span of a text.
    pub fn at(file: &str, text: &str, span: Range<usize>, key: &str, message: String) -> Self {
        let start = floor_boundary(text, span.start);
        let end = floor_boundary(text, span.end.max(span.start));
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let excerpt = text[line_start..line_end]
            .trim_end_matches('\r')
            .replace('\t', " ");
        let shown_end = end.min(line_end).max(start);
        Fault {
            file: file.to_owned(),
            line: text[..start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            key: key.to_owned(),
            message,
            excerpt,
            width: text[start..shown_end].chars().count().max(1),
        }
    }

    /// A fault that concerns a file as a whole (missing, unreadable).
    pub fn whole(file: &str, message: String) -> Self {
        Fault {
            file: file.to_owned(),
            line: 0,
            column: 0,
            key: String::new(),
            message,
            excerpt: String::new(),
            width: 0,
        }
    }
}

/// The nearest character boundary at or before a byte.
fn floor_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            return write!(f, "{}: {}", self.file, self.message);
        }
        write!(f, "{}:{}:{}: ", self.file, self.line, self.column)?;
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        writeln!(f, "{}", self.message)?;
        writeln!(f, "{:>5} | {}", self.line, self.excerpt)?;
        write!(
            f,
            "      | {}{}",
            " ".repeat(self.column - 1),
            "^".repeat(self.width)
        )
    }
}

impl std::error::Error for Fault {}

/// The nearest of several names, if one is near enough to be a slip.
pub fn nearest<'n>(word: &str, names: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    let wanted = word.to_lowercase();
    let reach = wanted.chars().count() / 3 + 1;
    names
        .into_iter()
        .map(|name| {
            (
                strsim::damerau_levenshtein(&wanted, &name.to_lowercase()),
                name,
            )
        })
        .filter(|(distance, _)| *distance <= reach)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

/// `; did you mean "apple"?`, or the names to choose from if they are few.
pub fn hint(word: &str, names: &[&str]) -> String {
    match nearest(word, names.iter().copied()) {
        Some(name) => format!("; did you mean \"{name}\"?"),
        None if names.is_empty() => String::new(),
        None if names.len() <= 14 => format!("; known are {}", names.join(", ")),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_at_the_place() {
        let text = "[[tree]]\nid = \"a\"\ncrop = \"appel\"\n";
        let at = text.find("\"appel\"").unwrap();
        let fault = Fault::at(
            "register.toml",
            text,
            at..at + 7,
            "tree[1].crop",
            format!(
                "no crop named \"appel\"{}",
                hint("appel", &["apple", "pear"])
            ),
        );
        assert_eq!(
            fault.to_string(),
            "register.toml:3:8: tree[1].crop: no crop named \"appel\"; did you mean \"apple\"?\n\
             \u{20}   3 | crop = \"appel\"\n\
             \u{20}     |        ^^^^^^^"
        );
    }

    #[test]
    fn far_names_are_not_offered() {
        assert_eq!(nearest("banana", ["apple", "pear"]), None);
        assert_eq!(nearest("Pair", ["apple", "pear"]), Some("pear"));
    }
}
