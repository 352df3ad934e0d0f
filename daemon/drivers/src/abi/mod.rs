//! The border between the host and guests of any contract version.
//!
//! Each supported track of the contract has one file here with its bindings and conversions, and yields one [`Prepared`] and one
//! [`Guest`]. Nothing outside this folder mentions a version.

mod v0_1;
mod v0_1_values;

use std::borrow::Cow;
use std::fmt;
use std::pin::Pin;

use hearthward_equipment::{Fault, FaultCode, Name, Quality, ShopMs, Value};
use hearthward_supervise::interlock::HeatOrder;
use wasmtime::{Store, Trap};

use crate::component::Version;
use crate::cut::StandingCut;
use crate::engine::Engine;
use crate::plan::Setting;
use crate::sandbox::{Call, Inside, Overrun};

/// What a call comes to, later.
pub(crate) type Answer<'a, T> = Pin<Box<dyn Future<Output = Result<T, CallError>> + Send + 'a>>;

/// A component of some version, ready to be put into sandboxes.
pub(crate) trait Prepared: fmt::Debug + Send + Sync {
    /// Puts it into a sandbox. Guest code may run already here.
    fn instantiate(&self, store: Store<Inside>, call: Call) -> Answer<'_, Box<dyn Guest>>;
}

/// A driver in its sandbox. After [`CallError::Dead`], or after dropping a call before its end, it must not be used again.
pub(crate) trait Guest: Send {
    fn describe(&mut self, call: Call) -> Answer<'_, Description>;
    fn check<'a>(
        &'a mut self,
        call: Call,
        settings: &'a [(String, Setting)],
        lines: &'a [Name],
    ) -> Answer<'a, Result<Vec<Listed>, Vec<Complaint>>>;
    fn open<'a>(&'a mut self, call: Call, settings: &'a [(String, Setting)], lines: &'a [Name]) -> Answer<'a, Vec<Listed>>;
    fn close(&mut self, call: Call) -> Answer<'_, ()>;
    fn read(&mut self, call: Call, face: Face, unit: u32) -> Answer<'_, Read>;
    /// The only way to heat by a controller.
    fn heat<'a>(&'a mut self, call: Call, unit: u32, order: &'a HeatOrder) -> Answer<'a, Read>;
    /// The only way to close a contactor.
    fn close_contactor<'a>(&'a mut self, call: Call, unit: u32, point: &'a str, order: &'a HeatOrder) -> Answer<'a, Read>;
    fn cut(&mut self, call: Call, unit: u32) -> Answer<'_, Read>;
    /// Litres a minute at the reference conditions that the service shows.
    fn set_flow(&mut self, call: Call, unit: u32, l_min: f64) -> Answer<'_, Read>;
    fn command_tank(&mut self, call: Call, unit: u32, command: TankCommand) -> Answer<'_, Read>;
    fn write<'a>(&'a mut self, call: Call, unit: u32, point: &'a str, value: Setting) -> Answer<'a, Read>;
    fn identify(&mut self, call: Call, unit: u32) -> Answer<'_, String>;
}

/// Prepares a component of a version that was found to be supported.
pub(crate) fn prepare(
    version: &Version,
    engine: &Engine,
    component: &wasmtime::component::Component,
) -> wasmtime::Result<Box<dyn Prepared>> {
    // One track so far; the next one becomes a second arm.
    tracing::debug!(contract = %version, "preparing a driver");
    Ok(Box::new(v0_1::Prepared::new(engine, component)?))
}

/// The name under which the shop knows what the contract's text, or the driver, calls so.
pub(crate) fn point_name(face: Option<Face>, wire: &str) -> String {
    v0_1_values::point_name(face, wire)
}

/// Why a call did not do its work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum CallError {
    /// The driver said so and lives on.
    Fault(Fault),
    /// The sandbox is lost: trap, limit, deadline.
    Dead(Fault),
}

/// The interfaces that units are read by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Face {
    Furnace,
    FlowMeter,
    QuenchTank,
    Points,
}

/// What a tank can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum TankCommand {
    Agitate(bool),
    HeatToC(f64),
    HeaterOff,
}

/// Who the driver says it is.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Description {
    pub(crate) name: String,
    pub(crate) version: String,
    pub(crate) notes: Vec<(String, Setting)>,
}

/// What is wrong with one setting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Complaint {
    pub(crate) key: String,
    pub(crate) message: String,
}

/// A unit as the driver lists it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Listed {
    pub(crate) name: String,
    pub(crate) readings: Vec<String>,
    pub(crate) costs: Vec<Cost>,
    pub(crate) cuts: Vec<(u32, StandingCut)>,
    pub(crate) notes: Vec<(String, Setting)>,
}

/// One exchange of a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cost {
    pub(crate) line: u32,
    pub(crate) request_bytes: u32,
    pub(crate) reply_bytes: u32,
}

/// What a read, or the reading after a command, brought.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Read {
    pub(crate) samples: Vec<Sample>,
    /// When the first of its exchanges completed; absent if it made none.
    pub(crate) exchanged_at: Option<ShopMs>,
}

/// One value of a read.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sample {
    /// The point's name within the unit, as the shop knows it.
    pub(crate) name: Cow<'static, str>,
    pub(crate) value: Option<Value>,
    pub(crate) quality: Quality,
}

impl Read {
    /// The value of that name.
    pub(crate) fn find(&self, name: &str) -> Option<&Sample> {
        self.samples.iter().find(|sample| sample.name == name)
    }
}

impl Face {
    /// The face by the contract's name for it.
    pub(crate) fn of(name: &str) -> Option<Self> {
        Some(match name {
            "furnace" => Self::Furnace,
            "flow-meter" => Self::FlowMeter,
            "quench-tank" => Self::QuenchTank,
            "points" => Self::Points,
            _ => return None,
        })
    }
}

impl CallError {
    /// The fault in either case.
    pub(crate) fn fault(&self) -> &Fault {
        match self {
            Self::Fault(fault) | Self::Dead(fault) => fault,
        }
    }
}

/// Why the sandbox died, in our own words.
fn death(why: &wasmtime::Error) -> CallError {
    let (code, what) = if let Some(overrun) = why.downcast_ref::<Overrun>() {
        (FaultCode::LIMIT, overrun.to_string())
    } else if let Some(trap) = why.downcast_ref::<Trap>() {
        match trap {
            Trap::Interrupt => (FaultCode::LIMIT, "it ran on without end in one call".to_owned()),
            Trap::StackOverflow => (FaultCode::LIMIT, "it ran out of stack".to_owned()),
            Trap::UnreachableCodeReached => {
                (FaultCode::OTHER, "it gave up (a panic; its text, if any, is in the log before this)".to_owned())
            }
            other => (FaultCode::OTHER, format!("it trapped: {other}")),
        }
    } else {
        let cause = why.root_cause().to_string();
        if cause.contains("when growing") {
            (FaultCode::LIMIT, "it asked for more memory or table than a driver may have".to_owned())
        } else if cause.contains("being copied between") {
            (FaultCode::LIMIT, "it handed over more bytes at once than a driver may".to_owned())
        } else {
            (FaultCode::OTHER, cause)
        }
    };
    CallError::Dead(Fault::new(code, what))
}
