//! The program: hands over to the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    // Started again by itself, to compile a driver and nothing else.
    hearthward_drivers::compile_if_asked().unwrap_or_else(|| hearthward::cli::run().into())
}
