//! Guided proof tests: a person brings the cause of an interlock about, with no load in, and the service watches that it trips and
//! clears. What came of it and when goes on record.

use serde::{Deserialize, Serialize};

use crate::interlock::InterlockKind;
use crate::plan::FurnacePlan;

/// A test that runs.
///
/// ```text
/// Tripping ──the row trips, and withholds heat where it is to──▶ Clearing ──its cause is gone──▶ passed
///     └──────────────not in time──────────────────────────────────┴──────────────────────────▶ failed
/// ```
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Proof {
    pub(crate) kind: InterlockKind,
    pub(crate) person: String,
    pub(crate) stage: ProofStage,
    pub(crate) left_ms: u64,
    /// Time of day when it was asked for, in milliseconds since 1970: the label of the outcome.
    pub(crate) wall_ms: i64,
}

/// How far a test has come.
///
/// ```text
/// Tripping ──▶ Clearing
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ProofStage {
    /// The person brings the cause about.
    Tripping,
    /// The person takes it away again.
    Clearing,
}

/// What came of the last test of one interlock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Proved {
    pub(crate) kind: InterlockKind,
    pub(crate) passed: bool,
    pub(crate) wall_ms: i64,
}

/// How long each half of a test may take: a person walks to the furnace and back (common practice, no source).
pub(crate) const HALF_MS: u64 = 10 * 60_000;

/// What the person does, and what undoes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Guide {
    pub(crate) trips: &'static str,
    pub(crate) undoes: &'static str,
}

/// How a row is tested without a load, or why it cannot be.
pub(crate) fn guide(kind: InterlockKind, plan: &FurnacePlan) -> Result<Guide, &'static str> {
    let (trips, undoes) = match kind {
        InterlockKind::DoorOpen => ("open its door", "shut its door"),
        InterlockKind::OverTemperature if plan.over_temperature.is_some() => (
            "bring its controller's own over-temperature alarm on, as the controller's maker says",
            "take the alarm back, and leave its setting as it was",
        ),
        InterlockKind::OverTemperature => return Err("no alarm of its controller is wired that could be brought on safely"),
        InterlockKind::SensorFault => (
            "with the furnace cold and its disconnect off, open the thermocouple's circuit at its connector",
            "close the circuit again and wait ten seconds",
        ),
        InterlockKind::DriverLost => ("unplug the data cable of its controller", "plug the cable in again"),
        InterlockKind::RoomOxygen => (
            "hold the test gas of the oxygen monitor to it until it alarms, as the monitor's maker says",
            "let the monitor breathe the room's air again",
        ),
        InterlockKind::Stop => ("stop it, as with `hearthward interlock stop`", "nothing more"),
        InterlockKind::ShopRule | InterlockKind::ShopWatch => {
            ("bring about what one of its own rules watches for", "take that away again")
        }
        _ => return Err("it acts only for a load, and a test is made without one"),
    };
    Ok(Guide { trips, undoes })
}
