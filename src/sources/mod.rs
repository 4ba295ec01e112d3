//! Where weather comes from: one file or folder for each source.
//!
//! A source hands out [`facts::weather`](crate::facts::weather) types and a
//! report of what it took, what it left and why. Nothing is skipped silently.

pub mod csv_file;
