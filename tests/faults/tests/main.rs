//! The usual run of the simulator: enough shops and faults, what they reach, calm days, digests, and how soon each cause cuts.

mod calm;
mod enough;
mod latency;
