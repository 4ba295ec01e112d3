//! What a command answers: words for the keeper, and the same for a program.

use crate::config::fault::Fault;
use serde_json::{Value, json};

/// What goes to standard output.
#[derive(Debug)]
pub enum Output {
    /// Lines of text; for a program they are the list `said`.
    Lines(Vec<String>),
    /// Words, and the same as a JSON document.
    Both {
        /// For the keeper.
        lines: Vec<String>,
        /// For a program.
        value: Value,
    },
    /// One JSON document, already made.
    Json(String),
    /// A file as it stands, for another program; within JSON it is `text`.
    Raw(String),
}

impl Output {
    /// One JSON document.
    pub fn document(self) -> String {
        let value = match self {
            Output::Json(text) => return text,
            Output::Both { value, .. } => value,
            Output::Lines(lines) => json!({ "said": lines }),
            Output::Raw(text) => json!({ "text": text }),
        };
        format!("{value:#}")
    }
}

/// Why something was not done.
#[derive(Debug)]
pub struct Refusal {
    /// What is wrong and how to mend it, as the terminal shows it.
    pub text: String,
    /// The faults of files, where it was they.
    pub faults: Vec<Fault>,
}

impl Refusal {
    /// Faults of files, with a last line below them.
    pub fn of_files(faults: Vec<Fault>, below: &str) -> Self {
        Refusal {
            text: format!("{}{below}", super::all(&faults)),
            faults,
        }
    }

    /// The document of an error: `{"error": {"exit_code", "text", "faults"}}`.
    pub fn document(&self, exit_code: u8) -> String {
        let faults: Vec<Value> = self
            .faults
            .iter()
            .map(|fault| {
                json!({
                    "file": fault.file,
                    "line": (fault.line > 0).then_some(fault.line),
                    "column": (fault.line > 0).then_some(fault.column),
                    "key": (!fault.key.is_empty()).then_some(&fault.key),
                    "text": fault.message,
                })
            })
            .collect();
        let error = json!({
            "exit_code": exit_code,
            "text": self.text.trim_end(),
            "faults": faults,
        });
        format!("{:#}", json!({ "error": error }))
    }
}

impl From<String> for Refusal {
    fn from(text: String) -> Self {
        Refusal {
            text,
            faults: Vec::new(),
        }
    }
}

/// The sentences of wrapped lines: a line that is set in goes on with the one
/// before it.
pub fn sentences(lines: &[String]) -> Vec<String> {
    let mut whole: Vec<String> = Vec::new();
    for line in lines {
        match whole.last_mut() {
            Some(last) if line.starts_with("  ") && !last.is_empty() => {
                last.push(' ');
                last.push_str(line.trim_start());
            }
            _ => whole.push(line.clone()),
        }
    }
    whole.retain(|text| !text.is_empty());
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_that_are_set_in_go_on_a_sentence() {
        let lines = ["One goes", "  on.", "", "Two."].map(str::to_owned);
        assert_eq!(sentences(&lines), ["One goes on.", "Two."]);
    }

    #[test]
    fn each_answer_is_one_document() {
        let read = |output: Output| -> Value { serde_json::from_str(&output.document()).unwrap() };
        assert_eq!(
            read(Output::Lines(vec!["a".to_owned()])),
            json!({"said": ["a"]})
        );
        assert_eq!(read(Output::Raw("a\n".to_owned())), json!({"text": "a\n"}));
        let both = Output::Both {
            lines: Vec::new(),
            value: json!({"number": 3}),
        };
        assert_eq!(read(both), json!({"number": 3}));
        assert_eq!(read(Output::Json("[]".to_owned())), json!([]));
    }
}
