//! The loop: wait, look, say. And the gathering of facts that every look, by
//! the service or by a command, begins with.

pub mod gather;
pub mod lock;
pub mod log;
pub mod tell;
pub mod wake;
