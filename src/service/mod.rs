//! The loop: wait, look, say. And the gathering of facts that every look, by
//! the service or by a command, begins with.

pub mod console;
pub mod gather;
pub mod refresh;

pub mod apart;
pub mod lock;
pub mod log;
pub mod post;
pub mod run;
pub mod tell;
pub mod wake;

mod payload; // messages and what was told, as text for the store
pub mod rehearse;
pub mod round;
pub mod schedule;
