//! The decision core from outside: a scripted bench, whole cycles, each interlock, restarts, and random sequences under an oracle.

mod alarms;
mod bench;
mod bypass_sequences;
mod bypasses;
mod calls;
mod cost;
mod cycles;
mod entering;
mod gaps;
mod heat_shown;
mod interlocks;
mod interruptions;
mod oracle;
mod owed;
mod own_rules;
mod permits;
mod plans;
mod practice;
mod proofs;
mod properties;
mod ready_by;
mod resets;
mod restarts;
mod routes;
mod standings;
mod taken_up;
