//! Texts, lists of them, and one word out of several.

use super::{At, Table};
use crate::config::fault::hint_of_few;

impl<'s, 'a> Table<'s, 'a> {
    /// A text, if the key is there.
    pub fn text_at(&self, key: &str) -> Option<At<String>> {
        self.filled_text(key, "write something or leave the key out")
    }

    /// A text, if the key is there; `wanted` says what else it should be.
    pub(super) fn quoted(&self, key: &str, wanted: &str) -> Option<At<String>> {
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
}
