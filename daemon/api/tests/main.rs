//! The API as a client sees it.

fn main() {}
