//! The traits that an author implements. Plain Rust: none of them mentions Wasm, so a driver is tested natively.

use crate::{
    Description, Fault, FlowReading, FurnaceReading, GasFlow, HeatCommand, Point, Problem, Settings, TankCommand, TankReading,
    Unit, Value, fault,
};

/// Required of every driver.
///
/// There is one constructor for both the contract's `check` and its `open`, so that they cannot disagree: it looks at the
/// settings, touches no line and no clock, and gives the same answer for the same settings.
pub trait Driver: Sized + 'static {
    /// Who the driver is.
    fn describe() -> Description;

    /// Builds the instance that serves the units of these settings on these lines. The place of a unit in the list is the
    /// `unit` that all other functions get.
    ///
    /// # Errors
    /// Every problem of the settings at once, each with the key and what would mend it; see [`Form`](crate::Form).
    fn build(settings: &Settings, lines: &[String]) -> Result<(Self, Vec<Unit>), Vec<Problem>>;

    /// The host is about to drop the instance. Not called after a trap.
    fn close(&mut self) {}
}

/// The face of a furnace's controller.
pub trait Furnace: Driver {
    /// Everything of one unit at once.
    ///
    /// # Errors
    /// A fault with a code of [`fault`]; the host gives the unit's readings quality bad.
    fn read(&mut self, unit: usize) -> Result<FurnaceReading, Fault>;

    /// Does what is needed for the command to take effect, and returns what the device says afterwards.
    ///
    /// # Errors
    /// A fault; [`fault::NOT_CONFIRMED`] when the device took the write but shows something else.
    fn heat(&mut self, unit: usize, command: HeatCommand) -> Result<FurnaceReading, Fault>;

    /// Takes heat away, whatever happened before, and returns what the device says afterwards.
    ///
    /// # Errors
    /// As [`heat`](Self::heat). Every part of the cut is tried before a fault is returned.
    fn cut(&mut self, unit: usize) -> Result<FurnaceReading, Fault>;
}

/// The face of a gas flow meter or controller.
pub trait FlowMeter: Driver {
    /// Everything of one unit at once.
    ///
    /// # Errors
    /// A fault; the host gives the unit's readings quality bad.
    fn read(&mut self, unit: usize) -> Result<FlowReading, Fault>;

    /// Sets the flow and returns what the device says afterwards.
    ///
    /// # Errors
    /// [`fault::NOT_SUPPORTED`] unless a driver says otherwise: most meters only show.
    fn set_flow(&mut self, unit: usize, flow: GasFlow) -> Result<FlowReading, Fault> {
        let _ = flow;
        Err(fault::not_supported(format!("unit {unit} only shows its flow")))
    }
}

/// The face of a quench tank.
pub trait QuenchTank: Driver {
    /// Everything of one unit at once.
    ///
    /// # Errors
    /// A fault; the host gives the unit's readings quality bad.
    fn read(&mut self, unit: usize) -> Result<TankReading, Fault>;

    /// Does one command and returns what the device says afterwards.
    ///
    /// # Errors
    /// [`fault::NOT_SUPPORTED`] for what the unit lacks.
    fn write(&mut self, unit: usize, command: TankCommand) -> Result<TankReading, Fault>;
}

/// The face of named points.
pub trait Points: Driver {
    /// All points of one unit.
    ///
    /// # Errors
    /// A fault; the host gives the unit's readings quality bad.
    fn read(&mut self, unit: usize) -> Result<Vec<Point>, Fault>;

    /// Writes one point and returns what the device says afterwards.
    ///
    /// # Errors
    /// [`fault::NOT_SUPPORTED`] for a point that is missing, [`fault::NOT_ALLOWED`] for one that is only read and for a value that
    /// does not fit.
    fn write(&mut self, unit: usize, name: &str, value: Value) -> Result<Point, Fault>;
}

/// Optional: a unit that can show itself to a person.
pub trait Identify: Driver {
    /// Says what to look for, or what the device says it is.
    ///
    /// # Errors
    /// A fault; nothing depends on it.
    fn identify(&mut self, unit: usize) -> Result<String, Fault>;
}
