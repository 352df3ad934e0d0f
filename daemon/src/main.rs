//! The program: reads the command line and hands over to the library.

use std::process::ExitCode;

use clap::Parser;
use hearthward::cli::Cli;
use hearthward::exit::Exit;

fn main() -> ExitCode {
    match Cli::parse().run() {
        Ok(()) => Exit::Done.into(),
        Err(ended) => {
            eprintln!("{ended}");
            ended.exit.into()
        }
    }
}
