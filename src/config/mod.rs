//! Files in, checked facts out.
//!
//! All faults of all files are told at once, each with file, line, column,
//! key, the line itself and the nearest known name.

pub mod fault;
pub mod journal;
pub mod knowledge;
pub mod place;
pub mod reader;
pub mod register;
