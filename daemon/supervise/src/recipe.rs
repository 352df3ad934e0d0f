//! A load and the cycle that belongs to it.

use std::time::Duration;

use hearthward_equipment::quantity::{Temperature, TemperatureStep};
use hearthward_equipment::{FurnaceId, Name, TankId};
use serde::{Deserialize, Serialize};
use uom::si::f64::{Length, Mass};

/// The steel that goes through together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// What people call it; also the name of its record.
    pub name: Name,
    /// The steel's trade designation, as given.
    pub steel: String,
    /// Number of parts, pulled one after another.
    pub parts: u16,
    /// What one part is like. Without it the chamber speaks for the load, and what the bath will do is not predicted.
    pub part: Option<Part>,
    /// What keeps air off it.
    pub protection: Protection,
    /// What happens to it, in order.
    pub steps: Vec<Step>,
    /// Whether the service sends set points or a controller's program is followed.
    pub drive: Drive,
}

/// One part of a load, as far as heat needs to know it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Its shape where it is heaviest.
    pub form: Form,
    /// Thickness of a plate, diameter of a bar: 0.1 to 500 mm.
    pub size: Length,
    /// What one part weighs, up to 10 t; needed to predict the bath.
    pub mass: Option<Mass>,
}

/// The shape of a part where it is heaviest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// Much wider than it is thick.
    Plate,
    /// Round, much longer than it is thick.
    Bar,
}

/// What keeps air off the steel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Protection {
    /// Gas in the chamber: the purge must be proved before heat.
    Gas,
    /// A sealed foil pack.
    FoilPack,
    /// A coating.
    Coating,
    /// Nothing.
    None,
}

/// Who drives the temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Drive {
    /// The service sends set points.
    SetPoints,
    /// The controller's program of this number runs; steps are followed by what is read.
    Program(u32),
}

/// One step of a cycle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Sweep the air out, as the furnace's purge plan says.
    Purge,
    /// Heat to a temperature below the soak and let it even out.
    Preheat {
        /// To where.
        to: Temperature,
        /// For how long, in band.
        hold: Duration,
    },
    /// Heat at a rate, in a time, or as fast as the furnace can. The set point waits for what is measured.
    Ramp {
        /// To where.
        to: Temperature,
        /// How fast.
        pace: Pace,
    },
    /// Hold. Time counts only in band.
    Soak {
        /// At what temperature.
        at: Temperature,
        /// Half width of the band, the furnace's own unless given.
        band: Option<TemperatureStep>,
        /// Time in band that is owed.
        minimum: Duration,
        /// Longest time in band that the steel may be given while something is waited for.
        maximum: Duration,
    },
    /// Open, take parts out one by one.
    Pull {
        /// Seconds that may pass from door open to part under.
        window: Duration,
    },
    /// Parts in what quenches them.
    Quench {
        /// In what.
        medium: Medium,
        /// Least time in it.
        under: Duration,
    },
    /// Cool down to handling or opening temperature.
    Cool {
        /// Down to where.
        to: Temperature,
        /// Taken out to cool in air; otherwise it stays where it is, and in a chamber its gas stays on.
        in_air: bool,
    },
    /// Temper.
    Temper {
        /// In which furnace; the same one unless given.
        furnace: Option<FurnaceId>,
        /// At what temperature.
        at: Temperature,
        /// Time in band.
        hold: Duration,
        /// Longest time that may pass since the quench.
        within: Duration,
    },
}

/// How fast a ramp goes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pace {
    /// At full power.
    Full,
    /// So many kelvins an hour, above zero.
    Rate(f64),
    /// In so long, from where the furnace is when the ramp begins.
    Over(Duration),
}

/// What a part is quenched in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Medium {
    /// A bath.
    Tank(TankId),
    /// Between plates.
    Plates,
    /// Still air.
    Air,
}

impl Step {
    /// The kind of step.
    #[must_use]
    pub fn kind(&self) -> StepKind {
        match self {
            Self::Purge => StepKind::Purge,
            Self::Preheat { .. } => StepKind::Preheat,
            Self::Ramp { .. } => StepKind::Ramp,
            Self::Soak { .. } => StepKind::Soak,
            Self::Pull { .. } => StepKind::Pull,
            Self::Quench { .. } => StepKind::Quench,
            Self::Cool { .. } => StepKind::Cool,
            Self::Temper { .. } => StepKind::Temper,
        }
    }

    /// The temperature that it heats steel to; none for a step that heats nothing.
    #[must_use]
    pub fn heats_to(&self) -> Option<Temperature> {
        match self {
            Self::Preheat { to, .. } | Self::Ramp { to, .. } => Some(*to),
            Self::Soak { at, .. } | Self::Temper { at, .. } => Some(*at),
            Self::Purge | Self::Pull { .. } | Self::Quench { .. } | Self::Cool { .. } => None,
        }
    }
}

/// The kinds of step, without their numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepKind {
    /// Sweep the air out.
    Purge,
    /// Even out below the soak.
    Preheat,
    /// Heat.
    Ramp,
    /// Hold.
    Soak,
    /// Take out.
    Pull,
    /// Under in the tank.
    Quench,
    /// Cool down.
    Cool,
    /// Temper.
    Temper,
}
