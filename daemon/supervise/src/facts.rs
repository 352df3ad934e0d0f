//! What one tick knows of one furnace: the readings as they may be taken, and the situation that they are judged in.

use hearthward_equipment::ShopMs;

use crate::cut::{Feedback, ShowsHeat};
use crate::plan::{FurnacePlan, Heating};
use crate::points::{Points, Sample};
use crate::rule::RulesNow;
use serde::{Deserialize, Serialize};

/// The door as a tick may take it.
///
/// ```text
/// Absent (no switch wired)      Unknown ──good reading──▶ Shut ⇄ Open ──too old or bad──▶ Unknown
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Door {
    /// No switch is wired.
    #[default]
    Absent,
    /// It is shut, and was since the last tick.
    Shut,
    /// It is open, or was since the last tick.
    Open,
    /// The switch cannot be relied upon.
    Unknown,
}

/// Who told of the door so far.
///
/// ```text
/// Nobody ──first reading──▶ Switch, or Person
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum DoorTold {
    /// Nothing was read yet.
    Nobody,
    /// A switch.
    Switch,
    /// A person, who enters it.
    Person,
}

/// A unit as its driver last told.
///
/// ```text
/// Answering ⇄ Silent ⇄ OutOfService ⇄ Answering (each told by the host)
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Unit {
    /// It answers, or nothing else was told yet.
    #[default]
    Answering,
    /// It did not answer the last time.
    Silent,
    /// Its driver is out of service.
    OutOfService,
}

/// The readings of a furnace in this tick.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub(crate) struct Facts {
    /// Time since the last tick, in seconds.
    pub(crate) dt_s: f64,
    /// Chamber temperature in °C.
    pub(crate) temperature: Sample,
    /// It is what a person read, not a device.
    pub(crate) by_hand: bool,
    /// What a person read is only a little too old.
    pub(crate) aging: bool,
    /// When it was read.
    pub(crate) read_at: Option<ShopMs>,
    /// The highest good temperature since the last tick, in °C; negative infinity without any.
    pub(crate) peak_c: f64,
    /// Whether a temperature came in since the last tick that may not be relied upon.
    pub(crate) doubtful: bool,
    /// Whether the controller answers and gives no temperature.
    pub(crate) empty: bool,
    /// The set point as the controller reports it, in °C.
    pub(crate) set_point: Sample,
    /// Share of full power.
    pub(crate) output_share: Sample,
    /// The controller's own over-temperature alarm; none is wired if [`Sample::Never`] and not `alarm_wired`.
    pub(crate) alarm: Sample,
    pub(crate) alarm_wired: bool,
    /// Whether the alarm stood at any time since the last tick.
    pub(crate) alarm_seen: bool,
    /// Temperature at the load, in °C.
    pub(crate) load: Sample,
    /// Oxygen by the probe, as a fraction.
    pub(crate) probe: Sample,
    pub(crate) door: Door,
    /// Who tells of the door.
    pub(crate) door_told: DoorTold,
    /// Flow by a meter that is read each scan, in mol/s.
    pub(crate) flow: Sample,
    /// The lowest good flow since the last tick; infinity without any.
    pub(crate) flow_low: f64,
    /// The meter shows more than its supply can give.
    pub(crate) flow_beyond: bool,
    /// What its controller shows of its heat.
    pub(crate) heat: ShowsHeat,
    /// What its contactor's own switch says.
    pub(crate) contactor: Feedback,
    /// The driver of its controller is out of service.
    pub(crate) out_of_service: bool,
}

impl Facts {
    /// Nothing is known yet.
    pub(crate) fn nothing() -> Self {
        Self {
            dt_s: 0.0,
            temperature: Sample::Never,
            by_hand: false,
            aging: false,
            read_at: None,
            peak_c: f64::NEG_INFINITY,
            doubtful: false,
            empty: false,
            set_point: Sample::Never,
            output_share: Sample::Never,
            alarm: Sample::Never,
            alarm_wired: false,
            alarm_seen: false,
            load: Sample::Never,
            probe: Sample::Never,
            door: Door::Absent,
            door_told: DoorTold::Nobody,
            flow: Sample::Never,
            flow_low: f64::INFINITY,
            flow_beyond: false,
            heat: ShowsHeat::Nowhere,
            contactor: None,
            out_of_service: false,
        }
    }

    /// Reads them out of the points.
    pub(crate) fn read(plan: &FurnacePlan, points: &Points, now: ShopMs, dt_s: f64, unit: Unit) -> Self {
        let of = |point| points.sample(point, now, plan.stale_after);
        let temperature = Some(plan.temperature);
        let flow = plan.gas.as_ref().map(|gas| gas.flow);
        let feedback = plan.contactor.as_ref().and_then(|contactor| contactor.feedback);
        Self {
            dt_s,
            temperature: of(temperature),
            by_hand: points.by_hand(temperature),
            aging: points.is_aging(temperature),
            read_at: points.read_at(temperature),
            peak_c: points.high(temperature),
            doubtful: points.doubtful(temperature),
            empty: points.is_empty(temperature) && unit == Unit::Answering && !points.by_hand(temperature),
            set_point: of(plan.set_point),
            output_share: of(plan.output_share),
            alarm: of(plan.over_temperature),
            alarm_wired: plan.over_temperature.is_some(),
            alarm_seen: points.high(plan.over_temperature) > 0.5,
            load: of(plan.load_temperature),
            probe: of(plan.probe),
            door: door(plan, points, of(plan.door)),
            door_told: match of(plan.door) {
                Sample::Never => DoorTold::Nobody,
                _ if points.by_hand(plan.door) => DoorTold::Person,
                _ => DoorTold::Switch,
            },
            flow: of(flow),
            flow_low: points.low(flow),
            flow_beyond: false,
            heat: shows_heat(plan, points, now),
            contactor: of(feedback).good().map(|closed| closed > 0.5).zip(points.read_at(feedback)),
            out_of_service: unit == Unit::OutOfService,
        }
    }

    /// Takes a flow above the most that may be believed, in mol/s, for one that cannot be read: it proves nothing.
    pub(crate) fn doubting_flows_above(mut self, most: f64) -> Self {
        self.flow_beyond = self.flow.good().is_some_and(|flow| flow > most);
        if self.flow_beyond {
            self.flow = Sample::Bad;
        }
        self
    }
}

/// Least share of full power that counts as heat: a share is shown smoothed, and falls slowly (common practice, no source).
const SHARE_THAT_HEATS: f64 = 0.05;

fn shows_heat(plan: &FurnacePlan, points: &Points, now: ShopMs) -> ShowsHeat {
    let point = plan.heat_on.or(plan.output_share).filter(|_| matches!(plan.heating, Heating::SetPoint | Heating::Program));
    if point.is_none() {
        return ShowsHeat::Nowhere;
    }
    let least = if plan.heat_on.is_some() { 0.5 } else { SHARE_THAT_HEATS };
    match points.sample(point, now, plan.stale_after).good().zip(points.read_at(point)) {
        Some((value, at)) => ShowsHeat::Read { heats: value > least, at },
        None => ShowsHeat::Unread,
    }
}

fn door(plan: &FurnacePlan, points: &Points, sample: Sample) -> Door {
    if plan.door.is_none() {
        return Door::Absent;
    }
    match sample {
        _ if points.high(plan.door) > 0.5 => Door::Open,
        Sample::Good(open) if open > 0.5 => Door::Open,
        Sample::Good(_) if points.doubtful(plan.door) => Door::Unknown,
        Sample::Good(_) => Door::Shut,
        Sample::Bad | Sample::Stale | Sample::Never => Door::Unknown,
    }
}

/// What the cycle, the shop and people make of a furnace in this tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Situation {
    /// A cycle runs here.
    pub(crate) running: bool,
    /// Its load is in the chamber.
    pub(crate) load_in: bool,
    /// The load is to be protected by gas.
    pub(crate) gas_load: bool,
    /// The load went into a chamber that was already hot.
    pub(crate) charged_hot: bool,
    /// The purge is proved for this load.
    pub(crate) proved: bool,
    /// The step expects that the door opens.
    pub(crate) opening_expected: bool,
    /// Steel in the chamber is, by the last good reading, so hot that it scales in air.
    pub(crate) hot: bool,
    /// The set point stays where it is: soak, equalizing, temper.
    pub(crate) steady: bool,
    /// Where the chamber was last by a thermometer that could be relied upon, in °C.
    pub(crate) last_c: Option<f64>,
    /// What heat is wanted for, in °C.
    pub(crate) wanted_c: Option<f64>,
    /// The program that the controller runs asks for something else than the recipe, or what it asks for cannot be read.
    pub(crate) program_off: bool,
    /// Orders to heat were given in the last tick.
    pub(crate) heating: bool,
    /// The chamber was opened at heat and is not back under its limit.
    pub(crate) recovering: bool,
    /// It was seen open, or was hot when the load went in; otherwise nobody knows whether it was.
    pub(crate) seen_open: bool,
    /// Time since the door was last seen open, in seconds; infinite if never.
    pub(crate) shut_for_s: f64,
    /// The flow that protects the steel now, in mol/s, as it was asked for.
    pub(crate) asked_flow: f64,
    /// Flow by the evidence that this meter gives, in mol/s; not a number without any.
    pub(crate) flow: f64,
    /// Oxygen × time at heat is past its budget.
    pub(crate) exposed: bool,
    /// A question waits that only a person may answer after an interruption.
    pub(crate) interrupted: bool,
    /// A gap before this run is not dealt with yet.
    pub(crate) in_gap: bool,
    /// It was short enough to be ridden through.
    pub(crate) gap_rides: bool,
    /// The service is ending in order.
    pub(crate) ending: bool,
    /// Oxygen in the room.
    pub(crate) room: Room,
    /// The tank of this load's route.
    pub(crate) tank: Tank,
    /// The supply of this furnace will not reach the end.
    pub(crate) gas_short: bool,
    /// A person has said that the gas will do for this load.
    pub(crate) gas_word: bool,
    /// It waits for its share of the manifold.
    pub(crate) waits_for_supply: bool,
    /// It waits for its share of the electrical demand.
    pub(crate) waits_for_power: bool,
    /// Since when it heats without a sign of life from a person, in seconds.
    pub(crate) alone_s: f64,
    /// What the shop's own rules come to.
    pub(crate) rules: RulesNow,
    /// The longest gap that is ridden through, in seconds.
    pub(crate) ride_through_s: f64,
}

/// Room oxygen as the interlock takes it.
///
/// ```text
/// Unwired      Fine ⇄ Low (first level) ⇄ Danger (second, debounced)      any ──bad reading──▶ Unknown
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Room {
    /// There is no monitor.
    #[default]
    Unwired,
    /// Above the first level.
    Fine,
    /// Under the first level.
    Low,
    /// Under the second level for longer than the debounce.
    Danger,
    /// The monitor cannot be relied upon.
    Unknown,
}

/// The tank of a load's route as its interlocks take it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Tank {
    /// The route leads to a tank.
    pub(crate) routed: bool,
    /// The bath is in its window, covered and stirred.
    pub(crate) ready: bool,
    /// It matters now: before heat, while the oil can still be warmed, at the call.
    pub(crate) matters: bool,
    /// The bath is within its margin of the flash point, or that is latched.
    pub(crate) near_flash: bool,
    /// The service commands its heater; without a route, that of every tank.
    pub(crate) heater: bool,
    /// Another load holds the tank, and this one waits for it.
    pub(crate) taken: bool,
}

/// Whether the service can take this furnace's heat away.
pub(crate) fn can_cut(plan: &FurnacePlan) -> bool {
    match plan.heating {
        Heating::SetPoint | Heating::Program => plan.controller.is_some() || plan.contactor.is_some(),
        Heating::ByHand => plan.contactor.is_some(),
        Heating::Watched => false,
    }
}
