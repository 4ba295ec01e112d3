//! What a symptom may be: look-alikes of a crop, and how to tell them apart.

use super::Output;
use crate::facts::Facts;
use crate::facts::knowledge::Lookalike;
use crate::render::page;
use crate::render::sentence::Words;
use chrono::NaiveDate;
use serde_json::json;

/// Most look-alikes that are told after a note.
const MOST: usize = 6;

/// Said under every answer.
const NO_DIAGNOSIS: &str = "This is not a diagnosis: it says what to look at. A plant clinic or \
     your county extension office settles it, and a licensed adviser where a spray is meant.";

/// What fits a crop and a keeper's words, and whether the words were met;
/// everything of the crop where they were not.
pub fn fitting<'f>(facts: &'f Facts, crop: &str, words: &str) -> (Vec<&'f Lookalike>, bool) {
    let words = words.to_lowercase().replace('-', " ");
    let of_crop = || {
        let all = facts.knowledge.lookalikes.iter();
        all.filter(|one| one.crops.iter().any(|own| own == crop))
    };
    let met = |one: &&Lookalike| {
        one.id.replace('-', " ") == words
            || one.name.to_lowercase() == words
            || one.words.iter().any(|own| {
                let own = own.to_lowercase();
                words.contains(&own) || (words.len() >= 4 && own.contains(&words))
            })
    };
    let mut found: Vec<&Lookalike> = of_crop().filter(met).collect();
    let fits = !found.is_empty();
    if !fits {
        found = of_crop().collect();
    }
    let named = |one: &Lookalike| one.id.replace('-', " ") == words;
    found.sort_by_key(|one| (!one.first, !named(one)));
    (found, fits)
}

/// The lines of an answer.
pub fn lines(facts: &Facts, crop: &str, words: &str) -> Vec<String> {
    let (found, fits) = fitting(facts, crop, words);
    let name = facts.knowledge.crop(crop).map_or(crop, |crop| &crop.name);
    let mut lines = Vec::new();
    if found.is_empty() {
        lines.extend(page::wrap(
            &format!("Nothing is known here that is taken for \"{words}\" on {name}."),
            "",
            "  ",
        ));
    } else if !fits {
        lines.push(format!(
            "Nothing here fits these words; what is known of {name}:"
        ));
    } else {
        lines.push(format!(
            "\"{words}\" on {name}: what it may be, and how to tell"
        ));
    }
    for one in found.iter().take(MOST) {
        lines.push(String::new());
        lines.push(one.name.clone());
        lines.extend(page::wrap(&one.look, "  ", "  "));
        lines.extend(page::wrap(&one.tell, "  To make sure: ", "    "));
        lines.extend(page::wrap(&one.act, "  What helps: ", "    "));
        let source = Words::new(facts, NaiveDate::MIN).source(&one.source);
        lines.extend(page::wrap(&source, "  From: ", "    "));
    }
    lines.push(String::new());
    lines.extend(page::wrap(NO_DIAGNOSIS, "", ""));
    lines
}

/// Answers a question.
pub fn run(facts: &Facts, crop: &str, words: &[String], as_json: bool) -> Result<Output, String> {
    let words = words.join(" ");
    if !as_json {
        return Ok(Output::Lines(lines(facts, crop, &words)));
    }
    let (found, _) = fitting(facts, crop, &words);
    let list: Vec<_> = found
        .into_iter()
        .map(|one| {
            json!({
                "id": one.id, "name": one.name, "appearance": one.look,
                "to_make_sure": one.tell, "what_helps": one.act, "references": one.source.references,
                "standing": one.source.standing.word(),
            })
        })
        .collect();
    let answer = json!({"crop": crop, "words": words, "may_be": list, "note": NO_DIAGNOSIS});
    serde_json::to_string_pretty(&answer)
        .map(Output::Json)
        .map_err(|error| error.to_string())
}
