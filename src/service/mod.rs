//! The service: wait, look, say.

pub mod gather;
pub mod refresh;

pub mod lock;
pub mod log;
pub mod post;
pub mod run;
pub mod tell;
pub mod wake;

pub mod round;
