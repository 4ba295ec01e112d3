//! The words of the commands that note something.

use clap::{Args, Subcommand};

/// When, on which trees, and a word more: for every note.
#[derive(Clone, Debug, Default, Args)]
pub struct Where {
    /// The day: today, yesterday, "14 Apr", 04-14 or 2026-04-14
    #[arg(long, value_name = "DAY")]
    pub on: Option<String>,
    /// Trees by their names in the register, such as A1,A2
    #[arg(long, value_name = "TREES", value_delimiter = ',')]
    pub tree: Vec<String>,
    /// A word of your own
    #[arg(long, value_name = "TEXT")]
    pub say: Option<String>,
}

/// What the keeper did with the work of the calendar, or saw.
#[derive(Clone, Debug, Subcommand)]
pub enum Keep {
    /// Note what you saw or did: a stage, a low, a spray, a symptom and more
    Note {
        /// What it is about
        #[command(subcommand)]
        what: Seen,
    },
    /// A task is done; a part of its name will do
    Done {
        /// The task, such as prune-pome-apple
        task: String,
        /// How long it took
        #[arg(long, value_name = "MINUTES", value_parser = whole::<u32>)]
        minutes: Option<u32>,
        #[command(flatten)]
        at: Where,
    },
    /// A task will not be done this season
    Skip {
        /// The task, such as prune-pome-apple
        task: String,
        #[command(flatten)]
        at: Where,
    },
    /// Put a task off for some days
    Snooze {
        /// The task, such as prune-pome-apple
        task: String,
        /// Until then: 5d for five days, or a day such as 04-20
        #[arg(default_value = "3d", value_name = "UNTIL")]
        until: String,
        #[command(flatten)]
        at: Where,
    },
}

/// What can be noted.
#[derive(Clone, Debug, Subcommand)]
pub enum Seen {
    /// A growth stage seen: note stage apple "full bloom"
    Stage {
        /// The crop
        crop: String,
        /// The stage
        stage: String,
        /// One cultivar of it alone
        #[arg(long, value_name = "NAME")]
        cultivar: Option<String>,
        #[command(flatten)]
        at: Where,
    },
    /// The lowest temperature read at the trees: note low 28F --spot D
    Low {
        /// With its unit, such as 28F or -2C
        #[arg(allow_hyphen_values = true, value_name = "LOW")]
        low: String,
        /// Where: a row of the register, or a word
        #[arg(long, value_name = "PLACE")]
        spot: Option<String>,
        /// It is so, do not ask back
        #[arg(long)]
        sure: bool,
        #[command(flatten)]
        at: Where,
    },
    /// Buds cut after a frost, dead of all: note buds peach 60/100
    Buds {
        /// The crop
        crop: String,
        /// Dead of cut, such as 60/100
        #[arg(value_name = "DEAD/CUT")]
        count: String,
        /// One cultivar of it alone
        #[arg(long, value_name = "NAME")]
        cultivar: Option<String>,
        #[command(flatten)]
        at: Where,
    },
    /// A spray, with all that a spray log is asked for
    Spray(Box<SprayArgs>),
    /// A catch in a trap, an empty one too: note catch codling-moth 4
    Catch {
        /// The insect
        insect: String,
        /// How many
        #[arg(value_parser = whole::<u32>)]
        count: u32,
        /// Which trap
        #[arg(long, value_name = "NAME")]
        trap: Option<String>,
        /// Count degree days from this day on, without a second catch
        #[arg(long)]
        biofix: bool,
        #[command(flatten)]
        at: Where,
    },
    /// A symptom: note symptom apple rust 3 --tree A1
    Symptom {
        /// The crop
        crop: String,
        /// What it looks like, or its name
        what: String,
        /// How bad: 0 (none) to 5 (all of it), or a share such as 30%
        #[arg(value_name = "SEVERITY")]
        severity: Option<String>,
        #[command(flatten)]
        at: Where,
    },
    /// This year's shoot growth: note shoots 14in --tree A1
    Shoots {
        /// Usual length, such as 14in or 35cm
        length: String,
        #[command(flatten)]
        at: Where,
    },
    /// A crop picked or judged: note harvest apple 45lb, or 60%
    Harvest {
        /// The crop
        crop: String,
        /// A weight, 45lb or 20kg, or a share of a full crop, 60%
        amount: String,
        #[command(flatten)]
        at: Where,
    },
    /// Damage: note damage hail apple 30%
    Damage {
        /// frost, hail, wind, ice, deer, vole or other
        cause: String,
        /// The crop
        crop: Option<String>,
        /// Share of buds, fruit, bark or limbs, such as 30%
        share: Option<String>,
        #[command(flatten)]
        at: Where,
    },
    /// The rain gauge: note rain 0.5in
    Rain {
        /// With its unit, such as 0.5in or 12mm
        rain: String,
        #[command(flatten)]
        at: Where,
    },
    /// A planting: note planting apple Liberty --count 2
    Planting {
        /// The crop
        crop: String,
        /// The cultivar
        cultivar: Option<String>,
        /// How many; one each for the names given, if left out
        #[arg(long, value_parser = whole::<u32>)]
        count: Option<u32>,
        /// The row; its next free name is taken, unless --tree gives names
        #[arg(long, value_name = "ROW")]
        row: Option<String>,
        #[command(flatten)]
        at: Where,
    },
    /// A tree taken out: note removal A7 "fire blight"
    Removal {
        /// The name of the tree, or of the juniper
        #[arg(value_name = "TREE")]
        which: String,
        /// Why
        why: Option<String>,
        #[command(flatten)]
        at: Where,
    },
    /// Anything else, in your words
    Text {
        /// Your words
        text: String,
        #[command(flatten)]
        at: Where,
    },
}

/// A spray.
#[derive(Clone, Debug, Args)]
pub struct SprayArgs {
    /// Active ingredients, such as captan,myclobutanil
    #[arg(value_delimiter = ',', value_name = "MATERIALS")]
    pub materials: Vec<String>,
    /// The crop
    #[arg(long, value_name = "CROP")]
    pub crop: Option<String>,
    /// Rate, as on the label
    #[arg(long, value_name = "TEXT")]
    pub rate: Option<String>,
    /// How much was put out
    #[arg(long, value_name = "TEXT")]
    pub amount: Option<String>,
    /// Area, or how much of the orchard
    #[arg(long, value_name = "TEXT")]
    pub area: Option<String>,
    /// What it was for
    #[arg(long, value_name = "WHAT")]
    pub against: Option<String>,
    /// Wind, such as "4 mph from the west"
    #[arg(long, value_name = "TEXT")]
    pub wind: Option<String>,
    /// Begun at, such as 18:30
    #[arg(long, value_name = "TIME")]
    pub at_time: Option<String>,
    /// Ended at
    #[arg(long, value_name = "TIME")]
    pub until: Option<String>,
    /// Who sprayed
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Name and registration number on the label
    #[arg(long, value_name = "TEXT")]
    pub label: Option<String>,
    /// Hours before anybody may enter, from your label
    #[arg(long, value_name = "HOURS", value_parser = number)]
    pub reentry: Option<f64>,
    /// Days before picking, from your label
    #[arg(long, value_name = "DAYS", value_parser = number)]
    pub harvest: Option<f64>,
    #[command(flatten)]
    pub at: Where,
}

/// A count as one writes it.
pub(in crate::cli) fn whole<N: std::str::FromStr>(text: &str) -> Result<N, String> {
    text.trim()
        .parse()
        .map_err(|_| "not a whole number from 0 up; write it as 4".to_owned())
}

/// A figure as one writes it, with a point.
fn number(text: &str) -> Result<f64, String> {
    let value: Option<f64> = text.trim().parse().ok();
    value
        .filter(|value| value.is_finite())
        .ok_or_else(|| "not a number; write it as 24 or 0.5".to_owned())
}
