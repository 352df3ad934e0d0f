//! The gas in a chamber: the oxygen estimate, what an opening at heat did, and the exposure account.

use std::fmt::Write as _;

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_process::chamber::{Chamber, ChamberGas, Inputs, Pores};
use serde::{Deserialize, Serialize};
use uom::si::catalytic_activity::katal;
use uom::si::f64::{CatalyticActivity, Ratio, Time};
use uom::si::ratio::ratio;
use uom::si::time::second;

use crate::facts::{Door, Facts};
use crate::plan::{ChamberKind, ChamberPlan, FurnacePlan, GasPlan, ShopPlan};
use crate::points::Sample;
use crate::purge::atmosphere_proves;

/// The atmosphere of one chamber.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct Atmosphere {
    chamber: Option<Chamber>,
    gas: Option<ChamberGas>,
    /// Time that the estimate has not been stepped through yet, what is known to have flowed in meanwhile, in mol, and whether the door
    /// was open in it.
    lag_s: f64,
    lag_mol: f64,
    lag_open: bool,
    /// What is kept across a restart.
    pub(crate) account: Account,
}

/// What the steel has seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Account {
    /// Opened at heat and not back under its limit.
    pub(crate) recovering: bool,
    /// Volume changes since the door shut.
    changes: f64,
    /// How long the door was open, in milliseconds.
    pub(crate) open_ms: u64,
    /// Oxygen × time at heat, as a fraction × seconds.
    pub(crate) exposure_s: f64,
}

/// Longest time between two steps of the estimate: within one the solution is exact, so that a shorter one buys nothing.
const STEP_S: f64 = 1.0;
/// Pore air of a chamber that was never calibrated: assumed, no source. It is used for the exposure account and never shown as ppm.
const ASSUMED_PORES: f64 = 3.0;
const ASSUMED_EXCHANGE_S: f64 = 1200.0;
/// Temperature of the room that the wall's outside is at (assumed).
const ROOM_C: f64 = 21.0;

impl Atmosphere {
    /// Air, as after an open door.
    pub(crate) fn new(plan: &FurnacePlan) -> Self {
        let chamber = chamber(&plan.chamber);
        Self { chamber, gas: None, lag_s: 0.0, lag_mol: 0.0, lag_open: false, account: Account::default() }
    }

    /// The chamber, if its numbers make one.
    pub(crate) fn chamber(&self) -> Option<&Chamber> {
        self.chamber.as_ref()
    }

    /// A new load begins with a clean account, in a chamber that stood open for it.
    pub(crate) fn new_load(&mut self) {
        (self.account, self.gas, self.lag_s, self.lag_mol) = (Account::default(), None, 0.0, 0.0);
    }

    /// The load went into a chamber that was already hot: what follows is a recovery.
    pub(crate) fn charge_hot(&mut self) {
        self.account.recovering = true;
    }

    /// Nobody watched: the chamber may be full of air.
    pub(crate) fn doubt(&mut self, hot_gas_load: bool) {
        self.gas = None;
        if hot_gas_load && !self.account.recovering {
            (self.account.recovering, self.account.open_ms) = (true, 0);
        }
        self.account.changes = 0.0;
    }

    /// The oxygen fraction as estimated, whatever it rests on.
    pub(crate) fn oxygen(&self) -> Option<f64> {
        self.gas.as_ref().map(|gas| gas.oxygen().get::<ratio>())
    }

    /// The band of the estimate, of a calibrated chamber only.
    pub(crate) fn band(&self, plan: &ChamberPlan) -> Option<(f64, f64)> {
        let calibration = plan.calibration.as_ref()?;
        let oxygen = self.oxygen()?;
        let band = if calibration.band >= 1.0 { calibration.band } else { 1.0 };
        Some((oxygen / band, (oxygen * band).min(1.0)))
    }

    /// Lets a tick pass: steps the estimate, opens and closes a recovery, keeps the account.
    ///
    /// Says whether the chamber has come back under its limit after an opening at heat.
    pub(crate) fn step(&mut self, plan: &FurnacePlan, case: &AirCase<'_>) -> bool {
        let Some(gas_plan) = &plan.gas else { return false };
        let facts = case.facts;
        let open = matches!(facts.door, Door::Open | Door::Unknown);
        if self.lag_s >= STEP_S || open != self.lag_open {
            self.advance(plan, case);
        }
        self.lag_s += facts.dt_s;
        let swept_mol = swept_mol(plan, gas_plan, facts, case.flow);
        self.lag_mol += swept_mol;
        self.lag_open = open;
        if facts.door == Door::Open && case.hot_gas_load {
            if !self.account.recovering {
                (self.account.recovering, self.account.open_ms) = (true, 0);
            }
            self.account.changes = 0.0;
            self.account.open_ms += milliseconds(facts.dt_s);
        }
        if case.hot_gas_load && self.account.recovering {
            let oxygen = facts.probe.good().or(self.oxygen()).unwrap_or(AIR);
            self.account.exposure_s += oxygen * facts.dt_s;
        }
        if !self.account.recovering || open {
            return false;
        }
        if let Some(held_mol) = chamber_holds_mol(self.chamber.as_ref(), facts.temperature) {
            self.account.changes += swept_mol / held_mol;
        }
        let back = self.is_back(plan, gas_plan, facts);
        self.account.recovering = !back;
        back
    }

    fn is_back(&self, plan: &FurnacePlan, gas: &GasPlan, facts: &Facts) -> bool {
        let speaks = plan.probe.is_some() || plan.chamber.calibration.is_some();
        if speaks {
            return atmosphere_proves(plan, gas, facts, self.band(&plan.chamber).map(|(_, high)| high));
        }
        self.account.changes >= gas.purge.changes
    }

    fn advance(&mut self, plan: &FurnacePlan, case: &AirCase<'_>) {
        let Some(chamber) = &self.chamber else { return };
        let Some(read_c) = case.facts.temperature.good() else { return };
        let temperature = celsius(read_c);
        let gas = match self.gas {
            Some(gas) => gas,
            None => match ChamberGas::air(chamber, temperature) {
                Ok(air) => air,
                Err(_) => return,
            },
        };
        let leak = plan.chamber.calibration.map_or_else(|| CatalyticActivity::new::<katal>(0.0), |found| found.leak);
        let inflow = if self.lag_s > 0.0 { self.lag_mol / self.lag_s } else { 0.0 };
        let inputs = Inputs {
            time: Time::new::<second>(self.lag_s.min(86_400.0)),
            inflow: CatalyticActivity::new::<katal>(inflow),
            inflow_oxygen: Ratio::new::<ratio>(case.supply_oxygen),
            leak,
            door_open: self.lag_open,
            ..Inputs::nothing(temperature)
        };
        // A step that the model refuses leaves the chamber unknown, which counts as air.
        self.gas = gas.step(chamber, &inputs).ok().map(|stepped| stepped.gas);
        (self.lag_s, self.lag_mol) = (0.0, 0.0);
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        self.oxygen().unwrap_or(1.0).to_bits() ^ self.account.exposure_s.to_bits().rotate_left(17)
    }
}

/// Oxygen in air.
const AIR: f64 = 0.2095;

/// What the atmosphere is judged by in this tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct AirCase<'a> {
    pub(crate) facts: &'a Facts,
    /// Steel that gas shall protect is in the chamber and hot.
    pub(crate) hot_gas_load: bool,
    /// Gas flowing in by its evidence, in mol/s; not a number without any.
    pub(crate) flow: f64,
    /// Oxygen in that gas.
    pub(crate) supply_oxygen: f64,
}

/// The flow by the evidence that the meter gives, in mol/s; not a number without any.
pub(crate) fn flow_by_evidence(gas: &GasPlan, facts: &Facts, by_eye: Option<f64>) -> f64 {
    if gas.by_eye { by_eye.unwrap_or(f64::NAN) } else { facts.flow.or_nan() }
}

/// How far the meter and what the regulator is said to give may differ: one is read in per cent of its scale, the other is set by hand
/// (common practice, no source).
const DIFFER: f64 = 1.25;

/// The most that the meter of a furnace may show and be believed, in mol/s: what its supply cannot give does not flow.
pub(crate) fn most_believed(shop: &ShopPlan, gas: &GasPlan) -> f64 {
    shop.supplies.get(gas.supply.index()).map_or(f64::INFINITY, |supply| supply.capacity.get::<katal>() * DIFFER)
}

/// The most that a meter may be taken to tell, in mol/s: no workshop's gas comes faster (assumed, no source).
const MOST_FLOW: f64 = 1e3;

/// What a flow has swept in this tick, in mol. What nobody read did not sweep, and a reading speaks for no longer than it may grow old.
pub(crate) fn swept_mol(plan: &FurnacePlan, gas: &GasPlan, facts: &Facts, flow: f64) -> f64 {
    let spoken_s = if gas.by_eye { facts.dt_s } else { facts.dt_s.min(plan.stale_after.as_secs_f64()) };
    if flow > 0.0 { flow.min(MOST_FLOW) * spoken_s } else { 0.0 }
}

/// The gas that the chamber holds at what it reads, in mol.
pub(crate) fn chamber_holds_mol(chamber: Option<&Chamber>, temperature: Sample) -> Option<f64> {
    let held_mol = chamber?.holds(celsius(temperature.good()?)).value;
    (held_mol > 0.0 && held_mol.is_finite()).then_some(held_mol)
}

/// The gas that the empty chamber holds at a temperature, in mol; nothing where its numbers make none.
pub(crate) fn chamber_moles(plan: &FurnacePlan, at_c: f64) -> f64 {
    Chamber::tight(plan.chamber.volume).map_or(0.0, |chamber| chamber.holds(celsius(at_c)).value)
}

/// Writes what an estimate of this chamber rests on.
pub(crate) fn basis(plan: &ChamberPlan, into: &mut String) {
    let kind = match plan.kind {
        ChamberKind::Retort => "a tight retort",
        ChamberKind::Brick => "a brick chamber, whose pores hold air",
        ChamberKind::Fibre => "a fibre chamber, whose pores hold air",
    };
    let _ = match &plan.calibration {
        Some(found) => write!(into, "calibrated, {kind}; the truth may lie {:.1} times above or below", found.band),
        None => write!(into, "never calibrated, {kind}: no ppm can be told; the purge is proved by volume changes alone"),
    };
}

fn chamber(plan: &ChamberPlan) -> Option<Chamber> {
    let tight = Chamber::tight(plan.volume).ok()?;
    let (volume, exchange_s) = match (&plan.calibration, plan.kind) {
        (Some(found), _) => (found.pore_volume, found.pore_exchange.as_secs_f64()),
        (None, ChamberKind::Retort) => return Some(tight),
        (None, ChamberKind::Brick | ChamberKind::Fibre) => (plan.volume * ASSUMED_PORES, ASSUMED_EXCHANGE_S),
    };
    if volume.value <= 0.0 {
        return Some(tight);
    }
    let exchange = Time::new::<second>(exchange_s);
    tight.with_pores(Pores { volume, exchange, warming: Ratio::new::<ratio>(0.5), room: celsius(ROOM_C) }).ok()
}

/// Whole milliseconds of a span of ticks.
pub(crate) fn milliseconds(span_s: f64) -> u64 {
    libm::round(span_s * 1000.0) as u64
}

/// The temperature above which steel is hot in this furnace: where it scales, by its purge plan, or 200 °C (common practice, no source).
pub(crate) fn scaling_c(plan: &FurnacePlan) -> f64 {
    plan.gas.as_ref().map_or(200.0, |gas| in_celsius(gas.purge.unpurged_ceiling))
}

/// The temperature from which the steel is treated as hot: beyond the scaling temperature by an overshoot, so that heat held at the
/// unpurged ceiling is not taken for an opening or a loss at heat.
pub(crate) fn hot_c(plan: &FurnacePlan) -> f64 {
    scaling_c(plan) + OVERSHOOT_K
}

/// Overshoot of a small furnace at a low set point (assumed, no source).
const OVERSHOOT_K: f64 = 25.0;
