//! WHAT TO DO, AND WHEN.
//!
//! [`make`] is the whole of it: windows opened, events answered, days chosen.
//! Every look plans anew from the facts; nothing depends on having watched.

pub mod age;
pub mod calendar;
pub mod changes;
pub mod choose;
pub mod days;

pub mod event_id; // names of tasks that events set off
pub mod nudge;
mod occasions;

pub mod sprays;

pub mod junipers;
pub mod pollination;
pub mod replacement;
pub mod taking;

pub mod trees;
pub mod verdict;
pub mod window;

pub use calendar::{Plan, State, Task, make};
