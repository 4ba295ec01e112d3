//! **budtide** turns a place, a register of trees and the weather into the
//! year's calendar of a small mixed orchard, and says in time what to do, to
//! which trees, by when and why.
//!
//! One sentence holds the program: **facts + today -> plan.**
//!
//! ```text
//!  config/ files ----+
//!  weather sources --+--> FACTS --> SEASON --> PLAN --> RENDER --> terminal, channels
//!  journal (store) --+   (known)   (weather    (what,    (how it
//!                                   did what)   when)     is said)
//!        shell               pure: no clock, no file, no network
//! ```
//!
//! The modules stand in the order in which data passes through them; the
//! layer table in `DEVELOPERS.md` says who may import whom, and
//! `tests/house.rs` holds it.
#![forbid(unsafe_code)]

// The pure core, floors 0 to 4.
pub mod units;

pub mod facts;

pub mod season;

pub mod plan;

pub mod render;

// The shell, floors 5 to 7: may read clock, files and network.
pub mod clock;

pub mod config;

pub mod sources;

pub mod store;

pub mod channels;

pub mod service;

pub mod cli;
