//! The journal against what happens to files and processes.

fn main() {}
