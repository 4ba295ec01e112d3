//! One test binary: the rooms of `tests/` in the order of `DEVELOPERS.md`.

mod channels;
mod cli;
mod faults;
mod house;
mod http;
mod journal;
mod json;
mod knowledge;

mod chores;

mod sources;

mod models;

mod bloom;

mod properties;

mod nudge;

mod river;

mod store;

mod orchard;

mod service;
