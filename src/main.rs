//! The command and the service; everything is in the library.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    budtide::cli::run()
}
