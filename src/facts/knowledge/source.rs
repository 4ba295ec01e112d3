//! Where figures come from, what to beware of, and what is mistaken for what.

/// How well a figure is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Read in the source named.
    Seen,
    /// Worked out from a figure or an open record that was read.
    Computed,
    /// Usual among growers; no single source.
    CommonPractice,
    /// A reading or pairing of our own, where sources are silent.
    Judgement,
    /// Remembered, not looked up: it may inform, it never alone triggers a spray.
    FromMemory,
}

impl Standing {
    /// Every standing with the word used in files.
    pub const ALL: [(Standing, &'static str); 5] = [
        (Standing::Seen, "seen"),
        (Standing::Computed, "computed"),
        (Standing::CommonPractice, "common practice"),
        (Standing::Judgement, "our judgement"),
        (Standing::FromMemory, "from memory"),
    ];

    /// The word used in files and output.
    pub fn word(self) -> &'static str {
        Standing::ALL
            .iter()
            .find(|(one, _)| *one == self)
            .map_or("from memory", |(_, word)| word)
    }
}

/// Where a figure comes from and how well it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// Ids in `references.toml`; empty only for common practice, our own
    /// judgement and what is remembered.
    pub references: Vec<String>,
    /// How well it is known.
    pub standing: Standing,
}

/// A publication, record or page that a figure was taken from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    /// Short key, such as `wsu-eb0913`.
    pub id: String,
    /// Author, year, title, publisher: enough to find it.
    pub text: String,
}

/// What to beware of, shown wherever it applies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Short key, such as `ladder`.
    pub id: String,
    /// A few words for a message.
    pub short: String,
    /// The whole of it.
    pub text: String,
    /// Where it comes from.
    pub source: Source,
}

/// What a symptom may be, and how to tell it from others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lookalike {
    /// Short key, such as `peach-rust`.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Crop ids on which it is met.
    pub crops: Vec<String>,
    /// Words by which a keeper may call it.
    pub words: Vec<String>,
    /// Whether it is told before the others: it sets a common mistake right.
    pub first: bool,
    /// What it looks like.
    pub look: String,
    /// How to tell it from others.
    pub tell: String,
    /// What to do.
    pub act: String,
    /// Where it comes from.
    pub source: Source,
}

impl Reference {
    /// The reference as a line of text.
    pub fn line(&self) -> &str {
        &self.text
    }
}
