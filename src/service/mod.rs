//! The service: wait, look, say.

pub mod gather;
pub mod round;
