//! The year's work: its texts, its coverage, its windows.

mod ahead;
mod catalogue;
mod handbook;
mod orchard;
mod replay;
mod seen;
mod springs;
mod walk;
mod year;
