//! The `panroom` program.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    panroom::cli::run()
}
