//! HOW IT IS SAID: data in, text out.

pub mod message;
