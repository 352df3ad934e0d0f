//! The service's program.

fn main() {}
