//! One decision of the core, for 1 to 256 furnaces.
