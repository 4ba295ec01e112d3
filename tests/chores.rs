//! The year's work: its texts, its coverage, its windows.

mod ahead;
mod catalogue;
mod handbook;
mod orchard;
mod replay;
mod seen;
mod walk;
mod year;
