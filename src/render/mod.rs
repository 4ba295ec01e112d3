//! HOW IT IS SAID: data in, text out.

pub mod chart;
pub mod frost;
pub mod hindcast;
pub mod measure;
pub mod message;
pub mod page;
pub mod rust;
pub mod sentence;
