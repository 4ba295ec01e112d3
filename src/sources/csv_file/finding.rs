//! Why rows and values were left or changed, with their lines.

use super::header::Field;
use super::report::grouped;
use std::fmt;

/// Why a row or a value was not taken, or was changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// Row dropped: fewer fields than the header.
    TooFewFields,
    /// Row dropped: more fields than the header, and not only empty ones.
    TooManyFields,
    /// Row dropped: a quote is not closed on its line.
    OpenQuote,
    /// Row dropped: several stations, and none is named.
    NoStation,
    /// Row dropped: no date or hour.
    NoDate,
    /// Row dropped: a date in no known form.
    DateUnreadable,
    /// Row dropped: a day or hour that does not exist.
    DateImpossible,
    /// Row dropped: a year that no record touches.
    DateOutOfYears,
    /// Row dropped: after the day on which the file was read.
    AfterToday,
    /// Row dropped: in the hour that spring skips on a civil clock.
    InTheSpringGap,
    /// Row left out: it says what an earlier row said.
    SameTwice,
    /// Row left out: a later row of the same time says something else.
    Overwritten,
    /// Value dropped: not a number.
    NotANumber(Field),
    /// Value dropped: out of the bounds of what can be.
    OutOfBounds(Field),
    /// Value dropped: the rain of an hour that not all of its rows tell.
    PartOfAnHour,
    /// Value changed: low and high changed places.
    Swapped,
    /// Told only: a trace of rain, taken as none.
    Trace,
    /// Told only: a row without any value.
    NoValue,
    /// Told only: the stamp was moved to the full hour.
    OffTheHour,
    /// Told only: the hour that comes twice in fall stands once.
    FallHourOnce,
}

/// What a [`Reason`] did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effect {
    /// The row is not in the import.
    RowDropped,
    /// The value is unknown in the import.
    ValueDropped,
    /// The import differs from the file.
    Changed,
    /// Nothing was changed.
    Told,
}

impl Reason {
    /// What it did.
    pub fn effect(self) -> Effect {
        match self {
            Reason::NotANumber(_) | Reason::OutOfBounds(_) | Reason::PartOfAnHour => {
                Effect::ValueDropped
            }
            Reason::Swapped | Reason::OffTheHour | Reason::Trace => Effect::Changed,
            Reason::NoValue | Reason::FallHourOnce => Effect::Told,
            _ => Effect::RowDropped,
        }
    }

    /// In words, for one case or many.
    fn words(self) -> &'static str {
        match self {
            Reason::TooFewFields => "fewer fields than the header",
            Reason::TooManyFields => "more fields than the header",
            Reason::OpenQuote => "a quote that is not closed on its line",
            Reason::NoStation => "no station named",
            Reason::NoDate => "no date or hour",
            Reason::DateUnreadable => "a date in no known form",
            Reason::DateImpossible => "a day or hour that does not exist",
            Reason::DateOutOfYears => "a year out of 1800 to 2200",
            Reason::AfterToday => "in the future",
            Reason::InTheSpringGap => "in the hour that the clock skips in spring",
            Reason::SameTwice => "the same row again",
            Reason::Overwritten => "a later row of the same time differs and stands",
            Reason::NotANumber(_) => "not a number",
            Reason::OutOfBounds(_) => "cannot be",
            Reason::PartOfAnHour => "rain of an hour that not all of its rows tell",
            Reason::Swapped => "low above high: the two changed places",
            Reason::Trace => "a trace of rain: taken as none",
            Reason::NoValue => "rows without any value",
            Reason::OffTheHour => "stamps moved to the nearest hour",
            Reason::FallHourOnce => {
                "the hour that comes twice in fall stands once: taken as daylight time"
            }
        }
    }
}

/// One case of a finding, as it stands in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sample {
    /// The line, from 1.
    pub line: usize,
    /// What stands there, cut short.
    pub text: String,
}

/// All cases of one reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Why.
    pub reason: Reason,
    /// More words, such as the bounds; may be empty.
    pub detail: String,
    /// The lines of all cases, from 1.
    pub lines: Vec<u32>,
    /// The first few as they stand.
    pub samples: Vec<Sample>,
}

pub(super) const SAMPLES: usize = 3;
const SAMPLE_LETTERS: usize = 24;

impl Finding {
    /// What became of such rows or values, in words.
    pub fn title(&self) -> String {
        let field = match self.reason {
            Reason::NotANumber(field) | Reason::OutOfBounds(field) => {
                format!("{} that is ", field.label())
            }
            _ => String::new(),
        };
        let field = if matches!(self.reason, Reason::OutOfBounds(_)) {
            field.replace("that is ", "that ")
        } else {
            field
        };
        format!("{field}{}{}", self.reason.words(), self.detail)
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = self.lines.len();
        write!(f, "{}: {}", self.title(), grouped(count))?;
        for sample in &self.samples {
            write!(f, ", line {}", sample.line)?;
            if !sample.text.is_empty() {
                write!(f, " \"{}\"", sample.text)?;
            }
        }
        match count - self.samples.len().min(count) {
            0 => Ok(()),
            more => write!(f, " and {} more", grouped(more)),
        }
    }
}

/// A text cut to what fits in a line, without control characters.
pub(super) fn short(text: &str) -> String {
    let mut letters = text
        .trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c });
    let mut out: String = letters.by_ref().take(SAMPLE_LETTERS).collect();
    if letters.next().is_some() {
        out.push_str("..");
    }
    out
}
