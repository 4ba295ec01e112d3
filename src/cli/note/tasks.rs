//! Tasks by a part of their name.

/// The tasks that a word fits: the one of that name, or those of which every
/// part of the word begins a part of the name; this season's before the
/// next one's.
pub fn fitting(word: &str, ids: &[String]) -> Vec<String> {
    let exact = ids.iter().find(|id| id.eq_ignore_ascii_case(word.trim()));
    if let Some(exact) = exact {
        return vec![exact.clone()];
    }
    let word = word.to_lowercase();
    let parts: Vec<&str> = word
        .split(['-', ' ', '_'])
        .filter(|part| !part.is_empty())
        .collect();
    if parts.is_empty() {
        return Vec::new();
    }
    let fits = |id: &&String| {
        let begins = |part: &&str| id.split('-').any(|own| own.starts_with(*part));
        parts.iter().all(begins)
    };
    let mut found: Vec<String> = ids.iter().filter(fits).cloned().collect();
    let year = found.iter().filter_map(|id| season_of(id)).min();
    found.retain(|id| season_of(id) == year);
    found
}

/// That a word fits several tasks, and which.
pub fn several(word: &str, many: &[String]) -> String {
    let shown: Vec<&str> = many.iter().take(6).map(String::as_str).collect();
    format!(
        "\"{word}\" fits {} tasks: {}{}; write more of the name",
        many.len(),
        shown.join(", "),
        if many.len() > 6 { " and more" } else { "" }
    )
}

/// The year at the end of a task's name, or before its number.
fn season_of(id: &str) -> Option<i32> {
    let parts = id.rsplit('-').take(2);
    parts
        .filter(|part| part.len() == 4)
        .find_map(|part| part.parse::<i32>().ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_of_a_name_finds_this_seasons_task() {
        let ids = [
            "prune-pome-apple-2026",
            "prune-pome-apple-2027",
            "prune-pome-pear-2026",
            "scab-cover-apple-2026-1",
        ]
        .map(str::to_owned);
        assert_eq!(fitting("scab", &ids), ["scab-cover-apple-2026-1"]);
        assert_eq!(fitting("prune pear", &ids), ["prune-pome-pear-2026"]);
        assert_eq!(fitting("prune-pome-apple", &ids), ["prune-pome-apple-2026"]);
        assert_eq!(
            fitting("Prune-Pome-Apple-2027", &ids),
            ["prune-pome-apple-2027"]
        );
        assert_eq!(
            several("prune", &fitting("prune", &ids)),
            "\"prune\" fits 2 tasks: prune-pome-apple-2026, prune-pome-pear-2026; \
             write more of the name"
        );
        assert!(fitting("-", &ids).is_empty());
    }
}
