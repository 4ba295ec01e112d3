//! What is wrong in a file, and where.

use std::fmt;
use std::ops::Range;
use textwrap::core::display_width;

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
    /// The line as it stands in the file; of a long one the part around the
    /// fault. What cannot be printed is shown as a replacement character.
    pub excerpt: String,
    /// How many columns of the terminal stand before the caret.
    pub indent: usize,
    /// How many columns the caret underlines.
    pub width: usize,
}

impl Fault {
    /// A fault at a byte span of a text.
    pub fn at(file: &str, text: &str, span: Range<usize>, key: &str, message: String) -> Self {
        // A mark of the byte order is no character of the first line.
        let body = text.strip_prefix('\u{feff}').unwrap_or(text);
        let skipped = text.len() - body.len();
        let start = floor_boundary(body, span.start.saturating_sub(skipped));
        let end = floor_boundary(body, span.end.saturating_sub(skipped)).max(start);
        let line_start = body[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = body[start..].find('\n').map_or(body.len(), |at| start + at);
        let before = body[line_start..start].chars().count();
        let width = body[start..end.min(line_end)].chars().count().max(1);
        let line = body[line_start..line_end].trim_end_matches('\r');
        let shown = Shown::of(line, before, width);
        Fault {
            file: file.to_owned(),
            line: body[..start].matches('\n').count() + 1,
            column: before + 1,
            key: printable(key),
            message: shortened(&printable(&message)),
            excerpt: shown.excerpt,
            indent: shown.indent,
            width: shown.width,
        }
    }

    /// The same without the line itself, which may hold a secret.
    pub fn unseen(self) -> Self {
        Fault {
            excerpt: String::new(),
            ..self
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
            indent: 0,
            width: 0,
        }
    }
}

/// How many characters of a line are shown.
const SHOWN: usize = 100;

/// How many characters of a long line are shown before the fault.
const BEFORE: usize = 40;

/// The longest message, in characters; only a long value of the file can
/// bring one over it.
const MESSAGE: usize = 400;

/// The part of a line that is shown, and where the caret stands under it.
struct Shown {
    excerpt: String,
    indent: usize,
    width: usize,
}

impl Shown {
    /// `before` and `width` count characters.
    fn of(line: &str, before: usize, width: usize) -> Self {
        let count = line.chars().count();
        let reach = width.min(SHOWN - BEFORE);
        let from = match count > SHOWN && before + reach > SHOWN {
            true => before - BEFORE,
            false => 0,
        };
        let until = if count > SHOWN { from + SHOWN } else { count };
        let piece = |from: usize, until: usize| -> String {
            let chars = line.chars().skip(from).take(until.saturating_sub(from));
            printable(&chars.collect::<String>())
        };
        let (front, back) = (
            if from > 0 { "... " } else { "" },
            if until < count { " ..." } else { "" },
        );
        let marked = piece(before, (before + width).min(until));
        Shown {
            excerpt: format!("{front}{}{back}", piece(from, until)),
            indent: front.len() + display_width(&piece(from, before)),
            width: display_width(&marked).max(1),
        }
    }
}

/// A text without what a terminal would obey: tabs become spaces, other
/// control characters the replacement character.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' => ' ',
            c if c.is_control() => char::REPLACEMENT_CHARACTER,
            c => c,
        })
        .collect()
}

/// A message whose middle is left out if it is very long: what is wrong
/// stands in front, the mend at the end.
fn shortened(message: &str) -> String {
    let count = message.chars().count();
    if count <= MESSAGE {
        return message.to_owned();
    }
    let front: String = message.chars().take(MESSAGE / 2).collect();
    let back: String = message.chars().skip(count - MESSAGE / 2).collect();
    format!("{front} ... {back}")
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
        if self.excerpt.is_empty() {
            return f.write_str(&self.message);
        }
        writeln!(f, "{}", self.message)?;
        writeln!(f, "{:>5} | {}", self.line, self.excerpt)?;
        write!(
            f,
            "      | {}{}",
            " ".repeat(self.indent),
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

/// A hint for a word out of a few: the one it is a slip of by a letter, or
/// all of them.
pub fn hint_of_few(word: &str, names: &[&str]) -> String {
    let wanted = word.to_lowercase();
    let slip = |name: &&&str| strsim::damerau_levenshtein(&wanted, &name.to_lowercase()) <= 1;
    match names.iter().find(slip) {
        Some(name) => format!("; did you mean \"{name}\"?"),
        None if names.len() <= 14 => format!("; known are {}", names.join(", ")),
        None => hint(word, names),
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
