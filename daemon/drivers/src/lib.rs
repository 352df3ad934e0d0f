//! The driver host: sandboxes for Wasm drivers, the lines that they exchange bytes on, and the lane on which heat is cut.
//!
//! # How it is used
//! 1. [`Engine::new`] makes the engine, with a folder for compiled drivers and a [`Compiler`], which for a service is a process of
//!    its own under limits ([`compile_if_asked`]).
//! 2. [`survey`] loads every component and asks it about its settings, without touching a line: units, readings, costs on the
//!    wire, standing cuts, and every problem at once. The configuration builds its directory from that.
//! 3. [`send_standing`], at a restart, sends the standing cuts that the last run left on disk, before any guest is loaded.
//! 4. [`Host::start`] checks everything again, then starts lines and drivers. Readings, states of units and the progress of cuts
//!    come to an [`Inbox`] as [`Observation`](hearthward_supervise::observe::Observation)s.
//! 5. The core calls [`Host::cut`], [`Host::put`] and [`Host::act`], none of which waits. With a stepped [`ShopClock`] nothing
//!    moves by itself: [`Host::step`] polls every driver once and returns what was observed.
//! 6. [`Host::status`] and [`Host::lines`] are for people; [`Host::stop`] ends it.
//!
//! # What holds
//! - A cut never waits for a guest, the core or the disk. It goes ahead of reads and writes on its line after one frame and the
//!   line's turnaround at most, is repeated until it reads back, and voids everything older that belongs to its furnace.
//! - Heat is asked for only by a [`HeatOrder`](hearthward_supervise::interlock::HeatOrder); an act that would write something that
//!   heats is refused. A lease that is not renewed is cut without the core.
//! - A guest gets lines, the shop's clock and the log, and nothing else; its time, memory, output, calls and restarts are bounded.
//!   One that breaks is rebuilt after a pause that grows, and its points are bad meanwhile.
//! - Numbers that cannot be are bad, whatever a driver says of them; the others are rounded to whole steps
//!   ([`STEPS_PER_KELVIN`] and so on), so that a replay sees the same bits.

mod abi;
mod alarm;
mod cache;
mod clock;
mod compile;
mod component;
mod cut;
mod driver;
mod engine;
mod host;
mod inbox;
mod line;
mod pause;
mod plan;
mod refusal;
mod sandbox;
mod slot;
mod start;
mod status;
mod survey;
mod ticker;
mod values;

use std::time::Duration;

pub use clock::ShopClock;
pub use compile::{COMPILE, Compiler, compile_if_asked};
pub use component::{CONTRACT, Version};
pub use driver::DriverState;
pub use engine::{Engine, Heartbeat};
pub use host::Host;
pub use inbox::Inbox;
pub use line::{LineStatus, StandingSent};
pub use plan::{DriverSpec, FurnaceWiring, HostPlan, LineKind, LineSpec, Setting};
pub use refusal::{EngineError, Problem, Refusal};
pub use status::DriverStatus;
pub use survey::{Surveyed, SurveyedUnit, WireCost, survey};
pub use values::{STEPS_PER_KELVIN, STEPS_PER_MOLE_A_SECOND, STEPS_PER_NUMBER, STEPS_PER_PASCAL, STEPS_PER_SHARE};

/// Sends the standing cuts that [`Host::standing_cuts`] once gave, on connections of their own, until they read back or the time
/// is up. To be called at the start, before any driver is loaded. Bytes that are none of ours send nothing.
#[must_use]
pub fn send_standing(lines: &[LineSpec], cuts: &[u8], within: Duration) -> Vec<StandingSent> {
    let Some(cuts) = cut::StandingCuts::from_bytes(cuts).filter(|cuts| !cuts.is_empty()) else { return Vec::new() };
    // A thread of its own, since the caller may be on a runtime already, where another one may not block.
    std::thread::scope(|scope| {
        let sending = scope.spawn(|| {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            runtime.map(|runtime| runtime.block_on(line::deliver_all(lines, &cuts, within))).unwrap_or_default()
        });
        sending.join().unwrap_or_default()
    })
}
