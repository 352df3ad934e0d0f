//! A load and the cycle that belongs to it.

use std::time::Duration;

use hearthward_equipment::quantity::{Temperature, TemperatureStep};
use hearthward_equipment::{FurnaceId, Name, TankId};
use serde::{Deserialize, Serialize};

/// The steel that goes through together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// What people call it; also the name of its record.
    pub name: Name,
    /// The steel's trade designation, as given.
    pub steel: String,
    /// Number of parts, pulled one after another.
    pub parts: u16,
    /// What keeps air off it.
    pub protection: Protection,
    /// What happens to it, in order.
    pub steps: Vec<Step>,
    /// Whether the service sends set points or a controller's program is followed.
    pub drive: Drive,
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
    /// Heat at a rate, or as fast as the furnace can.
    Ramp {
        /// To where.
        to: Temperature,
        /// Kelvins an hour; absent means at full power.
        rate_k_per_h: Option<f64>,
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
    /// Parts under in the tank.
    Quench {
        /// Which.
        tank: TankId,
        /// Least time under.
        under: Duration,
    },
    /// Cool down to handling or opening temperature.
    Cool {
        /// Down to where.
        to: Temperature,
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
