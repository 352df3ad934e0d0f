//! The small machines of the core, every state of each visited.
//!
//! Nothing is modelled twice: a state holds the core's own struct, an action calls its own function. What the model adds is a
//! shadow, the history that the struct may not forget. Times are whole steps and readings are a few cases each, so that the states
//! are finite.

mod alarms;
mod purge;
mod rows;
mod shares;
mod tank;

use std::fmt::Debug;
use std::hash::Hash;

use stateright::{Checker, Model};

/// Visits every state that can be reached, checks every property in each, and says how many there were.
fn visit_all<M>(model: M) -> usize
where
    M: Model + Send + Sync + 'static,
    M::State: Clone + Debug + Hash + PartialEq + Send + Sync,
    M::Action: Clone + Debug + PartialEq + Send + Sync,
{
    let checker = model.checker().threads(2).spawn_bfs().join();
    checker.assert_properties();
    checker.unique_state_count()
}
