//! Weather files: real ones, awkward ones, and round trips.

mod awkward;
mod real;
mod round_trip;

use budtide::sources::csv_file::{Import, ImportError, Options, read};

/// Options from keys and values, as a command passes them on.
pub fn options(told: &[(&str, &str)]) -> Options {
    let mut options = Options::default();
    for (key, value) in told {
        options.set(key, value).unwrap();
    }
    options
}

/// Reads a text with some options told.
pub fn read_text(name: &str, bytes: &[u8], told: &[(&str, &str)]) -> Result<Import, ImportError> {
    read(bytes, name, &options(told))
}
