//! WHAT IS KEPT between runs, in two SQLite files.
//!
//! * [`weather`]: what was seen and forecast, by source. It can be fetched
//!   again, so a damaged file is set aside and a new one begun.
//! * [`journal`] and [`outbox`]: what the keeper saw and did, and what was
//!   said. It cannot be had again: it is only ever added to, and a damaged
//!   file is copied, told and never replaced on its own.
//!
//! No clock is read here: every instant comes from the caller.

mod entry_fields;
mod error;
mod file;
pub mod journal;
mod journal_id;
mod journal_rows;
pub mod outbox;
mod packing;
pub mod salvage;
pub mod weather;
mod weather_fetching;
mod weather_live;
mod weather_merge;
mod weather_read;

pub use entry_fields::{fields_of, with_field};
pub use error::StoreError;
pub use journal_id::EntryId;
pub use weather_fetching::FetchState;
pub use weather_live::Live;
pub use weather_merge::Coverage;
pub use weather_read::{ForecastSummary, Said, SourceSummary};
