//! The program: hands over to the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    hearthward::cli::run().into()
}
