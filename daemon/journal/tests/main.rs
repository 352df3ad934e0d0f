//! The journal against what happens to files, disks and processes.

mod chain;
mod common;
mod damage;
mod failing;
mod inputs;
mod kept;
mod killed;
mod readers;
mod schema;
