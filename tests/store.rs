//! What is kept between runs: round trips, what beats what, and faults.

mod weather;
