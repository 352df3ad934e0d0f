//! What was read, how good it is and what it rests on.

use serde::{Deserialize, Serialize};
use uom::si::f64::{Pressure, Ratio};

use crate::directory::PointId;
use crate::quantity::{GasFlow, Temperature};
use crate::time::ShopMs;

/// The names under which fields of the driver contract's records appear as points.
pub mod field {
    /// Temperature of a furnace or tank.
    pub const TEMPERATURE: &str = "temperature";
    /// The set point that the controller works to.
    pub const SET_POINT: &str = "set-point";
    /// Share of full power, 0 to 1.
    pub const OUTPUT_SHARE: &str = "output-share";
    /// The controller says that it heats.
    pub const HEAT_ON: &str = "heat-on";
    /// The door is open.
    pub const DOOR_OPEN: &str = "door-open";
    /// The controller's own over-temperature alarm.
    pub const OVER_TEMPERATURE: &str = "over-temperature";
    /// Gas flow.
    pub const FLOW: &str = "flow";
    /// The flow that the meter was told to keep.
    pub const SET_FLOW: &str = "set-flow";
    /// Pressure at a meter.
    pub const PRESSURE: &str = "pressure";
    /// Temperature of the gas at a meter.
    pub const GAS_TEMPERATURE: &str = "gas-temperature";
    /// Level of a tank as a share of its working depth.
    pub const LEVEL_SHARE: &str = "level-share";
    /// The bath is being stirred.
    pub const AGITATION_ON: &str = "agitation-on";
    /// The tank's heater is on.
    pub const HEATER_ON: &str = "heater-on";
}

/// How far a value may be relied upon. Ordered from best to worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Quality {
    /// As the device gives it in normal working.
    Good,
    /// Usable for showing; an interlock treats it as missing.
    Uncertain,
    /// Not usable.
    Bad,
}

/// What a value rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Evidence {
    /// A device measured it.
    Measured,
    /// A person read it and said so.
    Confirmed,
    /// It was worked out.
    Estimated,
}

/// A value with its dimension.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// Yes or no.
    Flag(bool),
    /// A temperature.
    Temperature(Temperature),
    /// A share or volume fraction, 0 to 1.
    Share(Ratio),
    /// A flow of gas as an amount.
    GasFlow(GasFlow),
    /// An absolute pressure.
    Pressure(Pressure),
    /// A count or state number.
    Whole(i64),
    /// A number without a dimension known here.
    Number(f64),
    /// Words.
    Text(String),
}

impl Value {
    /// The flag, if it is one.
    #[must_use]
    pub fn as_flag(&self) -> Option<bool> {
        if let Self::Flag(is) = self { Some(*is) } else { None }
    }

    /// The temperature, if it is one.
    #[must_use]
    pub fn as_temperature(&self) -> Option<Temperature> {
        if let Self::Temperature(is) = self { Some(*is) } else { None }
    }

    /// The share, if it is one.
    #[must_use]
    pub fn as_share(&self) -> Option<Ratio> {
        if let Self::Share(is) = self { Some(*is) } else { None }
    }

    /// The gas flow, if it is one.
    #[must_use]
    pub fn as_gas_flow(&self) -> Option<GasFlow> {
        if let Self::GasFlow(is) = self { Some(*is) } else { None }
    }

    /// The pressure, if it is one.
    #[must_use]
    pub fn as_pressure(&self) -> Option<Pressure> {
        if let Self::Pressure(is) = self { Some(*is) } else { None }
    }
}

/// One value of one point at one time.
///
/// `value` is absent when the device gave none; quality is then [`Quality::Bad`]. The time is when the oldest exchange of the read
/// completed, so a driver that answers from memory cannot look fresh.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Which point.
    pub point: PointId,
    /// When, by the shop's clock.
    pub at: ShopMs,
    /// What; rounded by the host to the resolution that the journal keeps, so that a replay sees the same bits.
    pub value: Option<Value>,
    /// How good.
    pub quality: Quality,
    /// What it rests on.
    pub evidence: Evidence,
}
