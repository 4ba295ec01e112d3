//! The knowledge of the trade, read and checked.

pub mod chores;
pub mod zones;
