//! The decision core from outside: a scripted bench, whole cycles, each interlock, restarts, and random sequences under an oracle.

mod bench;
mod cost;
mod cycles;
mod entering;
mod interlocks;
mod oracle;
mod permits;
mod plans;
mod properties;
mod restarts;
mod taken_up;
