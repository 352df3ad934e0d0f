//! Goal: the guide of the configuration is whole; and the planner at the command line answers, warns and refuses as people and programs need it, and the guide's pages are what
//! it really prints. Method: the program itself, with no service running.

mod configuration;
mod guide;
mod plan;

use std::process::{Command, Output};

/// The program.
fn command() -> Command {
    Command::new(env!("CARGO_BIN_EXE_hearthward"))
}

/// The program with arguments.
fn hearthward(arguments: &[&str]) -> Output {
    command().args(arguments).output().expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}
