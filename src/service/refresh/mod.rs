//! The weather brought up to date: what is due is asked for, screened,
//! corrected to the height of the place and kept.
//!
//! A source that fails leaves the kept weather in use; what failed, and when
//! it is tried again, is kept beside it. The first fetch goes back in time
//! year by year, the newest first, and goes on where it was broken off.
//!
//! ```no_run
//! # use budtide::{config, service::refresh, store::weather::WeatherStore};
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let settings = config::load(std::path::Path::new("x")).map_err(|_| "faults")?;
//! # let now = chrono::DateTime::UNIX_EPOCH;
//! let mut store = WeatherStore::open(std::path::Path::new("weather.sqlite"))?;
//! let fetcher = refresh::Fetcher::new(&settings, refresh::Manner::Background, 7);
//! let done = fetcher.round(&mut store, now, refresh::Wanted::Due, &mut |_| {
//!     std::ops::ControlFlow::Continue(())
//! })?;
//! # let _ = done.next_due;
//! # Ok(()) }
//! ```

