//! HOW IT IS SAID: data in, text out.

pub mod chart;

pub mod choosing;

pub mod frost;

pub mod hindcast;
pub mod icalendar;
pub mod measure;
pub mod message;

pub mod orchard;

pub mod nudge;

pub mod page;
pub mod rust;
pub mod sentence;

pub mod views;

pub mod weather;
