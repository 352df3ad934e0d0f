//! What the core is told of the shop: plain values, checked by the configuration before they get here.

use std::time::Duration;

use hearthward_equipment::quantity::{GasFlow, Temperature, TemperatureStep};
use hearthward_equipment::{Directory, FurnaceId, HeatPointId, Name, PointId, SupplyId, TankId, UnitId};
use hearthward_process::gas::Gas;
use serde::{Deserialize, Serialize};
use uom::si::f64::{Power, Pressure, Ratio, Volume};

use crate::alarm::AlarmPlan;
use crate::interlock::InterlockKind;
use crate::rule::RulePlan;

/// Everything the core knows of the shop. Furnaces, tanks and supplies are numbered by their place in these lists.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ShopPlan {
    /// The shop's name, for people.
    pub name: String,
    /// Time between two ticks that no reading hurried.
    pub scan: Duration,
    /// The longest gap that is ridden through; one minute unless set otherwise.
    pub ride_through: Duration,
    /// The numbered units and points.
    pub directory: Directory,
    /// The furnaces.
    pub furnaces: Vec<FurnacePlan>,
    /// The quench tanks.
    pub tanks: Vec<TankPlan>,
    /// The gas supplies.
    pub supplies: Vec<SupplyPlan>,
    /// The room that all of it stands in.
    pub room: RoomPlan,
    /// The most electrical power that may heat at one time, if limited.
    pub electrical_demand: Option<Power>,
    /// Horn, lamp and delays of the alarms.
    pub alarms: AlarmPlan,
}

impl ShopPlan {
    /// The furnace's plan.
    #[must_use]
    pub fn furnace(&self, id: FurnaceId) -> Option<&FurnacePlan> {
        self.furnaces.get(id.index())
    }

    /// The number of the furnace of that name.
    #[must_use]
    pub fn find_furnace(&self, name: &Name) -> Option<FurnaceId> {
        let place = self.furnaces.iter().position(|furnace| furnace.name == *name)?;
        u16::try_from(place).ok().map(FurnaceId)
    }

    /// The number of the tank of that name.
    #[must_use]
    pub fn find_tank(&self, name: &Name) -> Option<TankId> {
        let place = self.tanks.iter().position(|tank| tank.name == *name)?;
        u16::try_from(place).ok().map(TankId)
    }
}

/// How heat is asked for and taken away.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Heating {
    /// The service sends set points; a cut sends the unit's standing cut.
    SetPoint,
    /// A program on the controller runs; the service starts it and can stop it.
    Program,
    /// A person sets the controller when asked. Every interlock of such a furnace only warns.
    ByHand,
    /// Nothing is ever sent: the furnace is shown and recorded.
    Watched,
}

/// What a dead service leaves to cut this furnace's heat.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum DeadMan {
    /// A contactor that drops when its heartbeat stops.
    ContactorHeartbeat {
        /// How long after the last heartbeat it drops.
        drops_after: Duration,
    },
    /// The controller drops its set point when communication stops.
    ControllerTimeOut {
        /// How long after the last request it does.
        after: Duration,
    },
    /// Nothing.
    Nothing,
}

/// A contactor that interrupts the furnace's power, wired to a point of its own.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Contactor {
    /// The output that closes it.
    pub output: HeatPointId,
    /// The point that says whether it is closed, where one is wired: a contactor that reads closed after it had to open is told as
    /// a cut that is not confirmed.
    pub feedback: Option<PointId>,
}

/// What kind of space the chamber is: it decides how far an oxygen estimate may be believed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChamberPlan {
    /// A tight metal retort, a brick chamber or a fibre chamber.
    pub kind: ChamberKind,
    /// Free volume of the empty chamber.
    pub volume: Volume,
    /// Measured leak and pore air, once the chamber was calibrated by a probe or by witness strips.
    pub calibration: Option<Calibration>,
}

/// The animals that a chamber may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ChamberKind {
    /// Tight metal; no pore air.
    Retort,
    /// Insulating brick.
    Brick,
    /// Ceramic fibre.
    Fibre,
}

/// What a calibration found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// Air that leaks in, cold.
    pub leak: GasFlow,
    /// Volume of air in the pores that the chamber exchanges with.
    pub pore_volume: Volume,
    /// Time constant of that exchange.
    pub pore_exchange: Duration,
    /// Factor by which the truth may lie above or below the estimate.
    pub band: f64,
}

/// A furnace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FurnacePlan {
    /// Its name.
    pub name: Name,
    /// The unit that controls it; none for a furnace kept by hand without any reading.
    pub controller: Option<UnitId>,
    /// How heat is asked for.
    pub heating: Heating,
    /// What cuts heat if this computer dies.
    pub dead_man: DeadMan,
    /// Chamber temperature.
    pub temperature: PointId,
    /// Age at which a reading of this furnace counts as missing.
    pub stale_after: Duration,
    /// The set point as the controller reports it.
    pub set_point: Option<PointId>,
    /// Output share as the controller reports it.
    pub output_share: Option<PointId>,
    /// Whether the controller may heat, as it reports it. This, or else its output share, shows whether a cut was obeyed, and heat
    /// that this service did not give.
    pub heat_on: Option<PointId>,
    /// The controller's own over-temperature alarm.
    pub over_temperature: Option<PointId>,
    /// Door switch; true is open.
    pub door: Option<PointId>,
    /// A second thermometer at the load.
    pub load_temperature: Option<PointId>,
    /// Oxygen probe in the chamber, as a volume fraction.
    pub probe: Option<PointId>,
    /// Contactor in the power feed.
    pub contactor: Option<Contactor>,
    /// The chamber.
    pub chamber: ChamberPlan,
    /// Highest temperature that the maker permits.
    pub rated: Temperature,
    /// The furnace's own limit, at most `rated`: above it heat is cut and latched.
    pub limit: Temperature,
    /// Full electrical power.
    pub power: Power,
    /// Half width of the band around the set point in which soak time counts.
    pub band: TemperatureStep,
    /// Steepest believable change of the chamber temperature; a faster one is a sensor fault.
    pub steepest_k_per_s: f64,
    /// How long full output may bring no rise before it is a sensor fault.
    pub no_response_after: Duration,
    /// Door openings up to this length clear by themselves even when no step expected them.
    pub short_opening: Duration,
    /// Longest continuous heating without any sign of life from a person, where set.
    pub run_time_limit: Option<Duration>,
    /// Gas to this furnace, where it has any.
    pub gas: Option<GasPlan>,
    /// The highest set point that its controller takes, where its driver says so.
    pub takes_to: Option<Temperature>,
    /// What happens when a question about the steel is not answered.
    pub on_silence: OnSilence,
    /// Coolest temperature at which steel can still be quenched, for the time shown with a question.
    pub still_quenchable: Temperature,
    /// How fast the closed furnace falls without heat, for the same purpose, in K/s at austenitizing heat.
    pub falls_k_per_s: f64,
    /// What the shop has decided about its interlocks.
    pub policy: PolicyPlan,
}

/// What a shop has decided about a furnace's interlocks beside the table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PolicyPlan {
    /// Those that a person may bypass for a time. One that [`may_be_bypassed`](crate::interlock::may_be_bypassed) refuses is refused
    /// here too.
    pub may_bypass: Vec<InterlockKind>,
    /// Rules of the shop's own, at most [`MOST_RULES`](crate::rule::MOST_RULES).
    pub rules: Vec<RulePlan>,
    /// How long a passed proof test stands before it is owed again.
    pub proof_stands: Duration,
}

impl Default for PolicyPlan {
    fn default() -> Self {
        Self { may_bypass: Vec::new(), rules: Vec::new(), proof_stands: PROOF_STANDS }
    }
}

/// How long a proof test stands unless set otherwise: a year (common practice, no source).
pub const PROOF_STANDS: Duration = Duration::from_secs(365 * 86_400);

/// Gas to a furnace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GasPlan {
    /// Where it comes from.
    pub supply: SupplyId,
    /// The meter's unit, if flow can be set or asked for there.
    pub meter: Option<UnitId>,
    /// The meter's flow reading.
    pub flow: PointId,
    /// The smallest flow that the meter can tell from none.
    pub resolution: GasFlow,
    /// A meter read by eye: flow is confirmed by a person at natural moments, not measured each scan.
    pub by_eye: bool,
    /// A valve, true is open, and how it stands without power.
    pub valve: Option<ValvePlan>,
    /// The purge.
    pub purge: PurgePlan,
}

/// A gas valve.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ValvePlan {
    /// The output; true opens.
    pub output: PointId,
    /// Whether it is open without power.
    pub open_unpowered: bool,
}

/// How this furnace is purged.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PurgePlan {
    /// Volume changes to deliver without a break, counted as gas warms in the chamber.
    pub changes: f64,
    /// Flow while purging and recovering.
    pub flow: GasFlow,
    /// Flow while holding.
    pub hold: GasFlow,
    /// Temperature under which steel does not scale: the ceiling of heat before the purge is proved.
    pub unpurged_ceiling: Temperature,
    /// Oxygen that proves a purge where a probe or a calibrated estimate speaks.
    pub oxygen_limit: Ratio,
    /// Oxygen × time at heat after which an opening alarms, in volume fraction × seconds.
    pub exposure_budget_s: f64,
}

/// The default on silence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OnSilence {
    /// How long a question waits.
    pub after: Duration,
    /// What is done then.
    pub then: SteelChoice,
}

/// What can be done with steel when something that protects it is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SteelChoice {
    /// Pull and quench at once.
    QuenchNow,
    /// Go on to the end of the cycle.
    Finish,
    /// Heat off, gas on, let it cool in the chamber.
    SlowCoolUnderGas,
}

/// A quench tank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TankPlan {
    /// Its name.
    pub name: Name,
    /// The unit that keeps it, if any can be commanded.
    pub unit: Option<UnitId>,
    /// Bath temperature.
    pub temperature: PointId,
    /// Level as a share of the working depth.
    pub level: Option<PointId>,
    /// Agitation on.
    pub agitation: Option<PointId>,
    /// A switch that is true while a part is under, where there is one: it stops the clock of a transfer.
    pub part_under: Option<PointId>,
    /// Age at which a reading counts as missing.
    pub stale_after: Duration,
    /// Volume of the quenchant.
    pub volume: Volume,
    /// Power of its heater, where it is known.
    pub heater: Option<Power>,
    /// Working window.
    pub window_low: Temperature,
    /// Upper end of the working window.
    pub window_high: Temperature,
    /// Flash point; absent for water and brine.
    pub flash_point: Option<Temperature>,
    /// Distance to the flash point at which the quench over-temperature interlock acts: 27.8 K (50 °F) unless set wider.
    pub flash_margin: TemperatureStep,
    /// Lowest level that covers a part.
    pub level_least: Ratio,
}

/// A gas supply.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SupplyPlan {
    /// Its name.
    pub name: Name,
    /// The gas; only gases that protect steel get here.
    pub gas: Gas,
    /// Oxygen in the gas as delivered.
    pub oxygen: Ratio,
    /// What it can give to all furnaces together.
    pub capacity: GasFlow,
    /// Water volume of the cylinder.
    pub cylinder_volume: Option<Volume>,
    /// Cylinder gauge.
    pub pressure: Option<PointId>,
    /// Uncertainty of the gauge.
    pub gauge_error: Pressure,
    /// How old a gauge reading may be.
    pub stale_after: Duration,
}

/// The room.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RoomPlan {
    /// Room oxygen monitor, as a volume fraction.
    pub oxygen: Option<PointId>,
    /// First level: 19.5 % unless set otherwise.
    pub first_level: Ratio,
    /// Second level: 18.0 % unless set otherwise.
    pub second_level: Ratio,
    /// How long the second level must be undershot before gas is shut.
    pub debounce: Duration,
    /// Age at which the monitor counts as bad.
    pub stale_after: Duration,
    /// Horn output.
    pub horn: Option<PointId>,
}
