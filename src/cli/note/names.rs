//! Names as one writes them in the field, and the keeper who is asked back.

use std::io::{BufRead, IsTerminal, Write};

/// Most names that are offered.
const OFFERED: usize = 3;

/// Letters that a beginning needs to stand for a whole name.
const LEAST_BEGUN: usize = 3;

/// Whether somebody sits there to be asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeper {
    /// A terminal, in and out.
    There,
    /// A script or a pipe: a doubt is refused, not asked.
    Away,
}

impl Keeper {
    /// Looks whether both input and error output are a terminal.
    pub fn look() -> Self {
        if std::io::stdin().is_terminal() && std::io::stderr().is_terminal() {
            Keeper::There
        } else {
            Keeper::Away
        }
    }

    /// Asks; no answer is a no. `None` where nobody is there.
    pub fn yes(self, question: &str) -> Option<bool> {
        if self == Keeper::Away {
            return None;
        }
        let mut out = std::io::stderr();
        // What cannot be asked is not answered with yes.
        let asked = write!(out, "{question} [y/N] ").and_then(|()| out.flush());
        let mut answer = String::new();
        let read = std::io::stdin().lock().read_line(&mut answer);
        let yes = matches!(answer.trim().to_lowercase().as_str(), "y" | "yes");
        Some(asked.is_ok() && read.is_ok() && yes)
    }
}

/// One thing that can be named: its id and its other names.
pub type Named = (String, Vec<String>);

/// A name without case, quotes, hyphens and double blanks.
fn plain(name: &str) -> String {
    let spaced: String = name
        .chars()
        .filter(|c| !matches!(c, '\'' | '"' | '.'))
        .map(|c| if matches!(c, '-' | '_') { ' ' } else { c })
        .collect();
    let words: Vec<&str> = spaced.split_whitespace().collect();
    words.join(" ").to_lowercase()
}

/// The id that is called so, exactly but for case and hyphens.
pub fn exact(word: &str, among: &[Named]) -> Option<String> {
    let wanted = plain(word);
    let called = |(id, names): &&Named| {
        plain(id) == wanted || names.iter().any(|name| plain(name) == wanted)
    };
    among.iter().find(called).map(|(id, _)| id.clone())
}

/// The one id whose name begins so: "codlin" for the codling moth. A number is
/// never finished for the keeper: "A10" is not A101.
fn begun(word: &str, among: &[Named]) -> Option<String> {
    let wanted = plain(word);
    if wanted.chars().count() < LEAST_BEGUN {
        return None;
    }
    let begins = |name: &str| {
        let name = plain(name);
        name.strip_prefix(&wanted).is_some_and(|rest| {
            let numbers = [wanted.chars().next_back(), rest.chars().next()];
            !numbers
                .iter()
                .all(|c| c.is_some_and(|c| c.is_ascii_digit()))
        })
    };
    let mut found = among
        .iter()
        .filter(|(id, names)| begins(id) || names.iter().any(|name| begins(name)));
    match (found.next(), found.next()) {
        (Some((id, _)), None) => Some(id.clone()),
        _ => None,
    }
}

/// The ids nearest to a word, the nearest first; those too far off left out.
pub fn near(word: &str, among: &[Named]) -> Vec<String> {
    let wanted = plain(word);
    let reach = wanted.chars().count() / 3 + 1;
    let mut found: Vec<(usize, &String)> = among
        .iter()
        .filter_map(|(id, names)| {
            let names = std::iter::once(id).chain(names).map(|name| plain(name));
            let distance = names
                .map(|name| {
                    let long = wanted.chars().count() >= 3;
                    if long && name.starts_with(&wanted) {
                        1
                    } else if long && name.split(' ').any(|own| own == wanted) {
                        // "oil" of "horticultural oil".
                        2
                    } else {
                        strsim::damerau_levenshtein(&wanted, &name)
                    }
                })
                .min()?;
            (distance <= reach).then_some((distance, id))
        })
        .collect();
    found.sort();
    found.dedup_by(|a, b| a.1 == b.1);
    found
        .into_iter()
        .take(OFFERED)
        .map(|(_, id)| id.clone())
        .collect()
}

/// Finds what is meant by a word, asking where it is a slip and somebody is
/// there. `what` is the thing, such as `crop`.
///
/// # Errors
/// That there is none, with the nearest names.
pub fn find(word: &str, what: &str, among: &[Named], keeper: Keeper) -> Result<String, String> {
    if let Some(id) = exact(word, among).or_else(|| begun(word, among)) {
        return Ok(id);
    }
    let near = near(word, among);
    let Some(nearest) = near.first() else {
        let few = among.len() <= 14 && !among.is_empty();
        let known: Vec<&str> = among.iter().map(|(id, _)| id.as_str()).collect();
        let known = if few {
            format!("; known are {}", known.join(", "))
        } else {
            String::new()
        };
        return Err(format!(
            "no {what} is called \"{word}\"{known}; nothing was noted"
        ));
    };
    let asked = format!("no {what} is called \"{word}\": did you mean \"{nearest}\"?");
    match keeper.yes(&asked) {
        Some(true) => Ok(nearest.clone()),
        Some(false) => Err("nothing was noted".to_owned()),
        None => {
            let names: Vec<String> = near.iter().map(|name| format!("\"{name}\"")).collect();
            let (is, are) = if names.len() == 1 {
                ("the", "is")
            } else {
                ("the", "are")
            };
            Err(format!(
                "no {what} is called \"{word}\"; {is} nearest {are} {}; nothing was noted",
                names.join(", ")
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn among() -> Vec<Named> {
        let named = |id: &str, names: &[&str]| {
            let names = names.iter().map(|name| (*name).to_owned()).collect();
            (id.to_owned(), names)
        };
        vec![
            named("apple", &["apples", "crab apple"]),
            named("sweet-cherry", &["sweet cherry"]),
            named("tart-cherry", &["sour cherry"]),
        ]
    }

    #[test]
    fn a_beginning_will_do_where_it_is_one_name() {
        let trees: Vec<Named> = ["A101", "A11", "North-1", "North-2", "South-1"]
            .map(|id| (id.to_owned(), Vec::new()))
            .to_vec();
        assert_eq!(begun("sou", &trees), Some("South-1".to_owned()));
        assert_eq!(begun("so", &trees), None, "two letters are too few");
        assert_eq!(begun("north", &trees), None, "two begin so");
        assert_eq!(begun("A10", &trees), None, "a number is not finished");
    }

    #[test]
    fn names_are_found_or_offered() {
        let find = |word| find(word, "crop", &among(), Keeper::Away);
        assert_eq!(find("Apples"), Ok("apple".to_owned()));
        assert_eq!(find("Sour Cherry"), Ok("tart-cherry".to_owned()));
        assert_eq!(find("sweet_cherry"), Ok("sweet-cherry".to_owned()));
        assert_eq!(find("swee"), Ok("sweet-cherry".to_owned()));
        assert_eq!(
            find("appel"),
            Err(
                "no crop is called \"appel\"; the nearest is \"apple\"; nothing was noted"
                    .to_owned()
            )
        );
        assert_eq!(
            find("cherry"),
            Err(
                "no crop is called \"cherry\"; the nearest are \"sweet-cherry\", \
                 \"tart-cherry\"; nothing was noted"
                    .to_owned()
            )
        );
        assert_eq!(
            find("banana"),
            Err(
                "no crop is called \"banana\"; known are apple, sweet-cherry, tart-cherry; \
                 nothing was noted"
                    .to_owned()
            )
        );
    }
}
