//! One test binary: the rooms of `tests/` in the order of `DEVELOPERS.md`.

mod house;
mod knowledge;

mod sources;

mod models;

mod store;
