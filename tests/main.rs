//! One test binary: the rooms of `tests/` in the order of `DEVELOPERS.md`.

mod channels;
mod cli;
mod faults;
mod house;
mod knowledge;

mod sources;

mod models;

mod properties;

mod store;
