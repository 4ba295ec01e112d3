//! The service: wait, look, say.

pub mod gather;
pub mod refresh;

pub mod lock;
pub mod log;
pub mod tell;
pub mod wake;

pub mod round;
