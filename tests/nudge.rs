//! What is told, when, and that it is told once: rehearsed years, and single
//! rounds under faults.

mod calendar_part;
mod rounds;
mod year;
