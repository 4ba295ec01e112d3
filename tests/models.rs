//! The models of `season/` against values from outside the project: every row
//! of `fixtures/check_values/`, within the tolerances of the catalogue they
//! came with. `computed_with` in each file names where a value is from.
//!
//! Rows that need weather records beside the two in `fixtures/weather/` read
//! the folder named by `BUDTIDE_DATA`; where it is missing they say that they
//! were skipped.

mod cases;
mod chill_and_heat;
pub(crate) mod data;
mod degree_days;
mod freeze;
mod frost;
mod frost_nights;
mod sun_and_hours;
mod wetness;
