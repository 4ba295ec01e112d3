//! What is kept between runs: round trips, what beats what, and faults.

mod faults;
mod journal;
mod outbox;
mod weather;
