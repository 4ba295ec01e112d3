//! The loop: wait, look, say. And the gathering of facts that every look, by
//! the service or by a command, begins with.

pub mod gather;
