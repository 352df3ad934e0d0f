//! Proving a purge: volume changes delivered without a break, with the estimate and the probe where they may speak.

use hearthward_equipment::Evidence;
use hearthward_process::chamber::Chamber;
use serde::{Deserialize, Serialize};
use uom::si::catalytic_activity::katal;
use uom::si::ratio::ratio;

use crate::facts::{Door, Facts};
use crate::gas::{chamber_holds_mol, flow_by_evidence, swept_mol};
use crate::interlock::flow_is_lost;
use crate::plan::{FurnacePlan, GasPlan};
use crate::points::Sample;

/// How far the purge has come.
///
/// ```text
/// Idle ──wanted──▶ Settling ──flow proved for 5 s, door shut──▶ Counting ──changes, probe, estimate──▶ Proved
///                     ▲ ▲                                          │  └─by eye─▶ Confirming ──flow said─▶ Proved
///                     │ └────────────flow lost, door opened────────┴──────────────┘                        │
///                     └────────────────────door opened cold, flow lost cold────────────────────────────────┘
/// any ──no longer wanted──▶ Idle
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum PurgePhase {
    /// No purge is wanted.
    #[default]
    Idle,
    /// Gas is asked for; the flow is not proved yet.
    Settling,
    /// Volume changes are counted.
    Counting,
    /// All are delivered; a person says that the meter still shows the flow.
    Confirming,
    /// Proved for this load.
    Proved,
}

/// The purge of one load.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Purge {
    pub(crate) phase: PurgePhase,
    /// Volume changes delivered without a break.
    pub(crate) changes: f64,
    settled_s: f64,
    /// What a person last read on a meter kept by eye, in mol/s.
    pub(crate) by_eye: Option<f64>,
}

/// What a tick made of the purge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum PurgeStep {
    /// Nothing that the record would tell.
    Same,
    /// The count begins again; so many changes are lost.
    Broken(f64),
    /// It is proved.
    Proved,
}

/// How long a flow must stand before it is proved: a meter shows a surge when the valve opens (assumed, no source).
const SETTLES_S: f64 = 5.0;

impl Purge {
    /// Lets a tick pass.
    pub(crate) fn step(
        &mut self,
        plan: &FurnacePlan,
        gas: &GasPlan,
        chamber: Option<&Chamber>,
        case: &PurgeCase<'_>,
    ) -> PurgeStep {
        let facts = case.facts;
        if !case.wanted {
            self.forget();
            return PurgeStep::Same;
        }
        let shut = matches!(facts.door, Door::Shut | Door::Absent);
        let asked = gas.purge.flow.get::<katal>();
        let flow = flow_by_evidence(gas, facts, self.by_eye);
        let swept_mol = swept_mol(plan, gas, facts, flow);
        // `min` would drop a flow that cannot be read and keep the marks of earlier ones.
        let low = if gas.by_eye || flow.is_nan() { flow } else { flow.min(facts.flow_low) };
        // A flow that nobody looked at for longer than its reading may grow old did not flow without a break.
        let watched = gas.by_eye || facts.dt_s <= plan.stale_after.as_secs_f64();
        let flows = watched && is_proved_by(low, asked, gas.resolution.get::<katal>());
        match self.phase {
            PurgePhase::Idle => self.phase = PurgePhase::Settling,
            PurgePhase::Settling => {
                self.settled_s = if flows && shut { self.settled_s + facts.dt_s } else { 0.0 };
                if self.settled_s >= SETTLES_S || (gas.by_eye && flows && shut) {
                    (self.phase, self.changes) = (PurgePhase::Counting, 0.0);
                }
            }
            PurgePhase::Counting if flows && shut => {
                self.count(chamber, facts, swept_mol);
                if self.changes >= gas.purge.changes && atmosphere_proves(plan, gas, facts, case.estimate_high) {
                    self.phase = if gas.by_eye { PurgePhase::Confirming } else { PurgePhase::Proved };
                    if self.phase == PurgePhase::Proved {
                        return PurgeStep::Proved;
                    }
                }
            }
            PurgePhase::Confirming if flows && shut => {
                self.count(chamber, facts, swept_mol);
                // Nothing is confirmed past a probe that has changed its mind.
                if !atmosphere_proves(plan, gas, facts, case.estimate_high) {
                    self.phase = PurgePhase::Counting;
                }
            }
            PurgePhase::Counting | PurgePhase::Confirming => return self.breaks(),
            PurgePhase::Proved if !case.hot && (!shut || case.flow_lost) => return self.breaks(),
            PurgePhase::Proved => self.count(chamber, facts, swept_mol),
        }
        PurgeStep::Same
    }

    /// A person says at the end that the meter kept by eye still shows the purge flow.
    pub(crate) fn confirm(&mut self) -> bool {
        let can = self.phase == PurgePhase::Confirming;
        if can {
            self.phase = PurgePhase::Proved;
        }
        can
    }

    /// No load waits for it any more; what the meter shows stays known.
    pub(crate) fn forget(&mut self) {
        *self = Self { by_eye: self.by_eye, ..Self::default() };
    }

    /// The count begins again, because nobody watched.
    pub(crate) fn doubt(&mut self) {
        if self.phase != PurgePhase::Idle {
            self.breaks();
        }
    }

    /// Whether it is proved.
    pub(crate) fn is_proved(&self) -> bool {
        self.phase == PurgePhase::Proved
    }

    fn breaks(&mut self) -> PurgeStep {
        let lost = self.changes;
        (self.phase, self.changes, self.settled_s) = (PurgePhase::Settling, 0.0, 0.0);
        PurgeStep::Broken(lost)
    }

    fn count(&mut self, chamber: Option<&Chamber>, facts: &Facts, swept_mol: f64) {
        // A chamber that cannot be read counts nothing: it might be cold and hold more gas.
        if let Some(held_mol) = chamber_holds_mol(chamber, facts.temperature) {
            self.changes += swept_mol / held_mol;
        }
    }
}

/// What the purge is judged by in this tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PurgeCase<'a> {
    pub(crate) facts: &'a Facts,
    /// A load that gas shall protect waits for it.
    pub(crate) wanted: bool,
    /// Steel in the chamber would scale in air.
    pub(crate) hot: bool,
    /// The purge flow row has tripped.
    pub(crate) flow_lost: bool,
    /// The upper end of the oxygen estimate, of a calibrated chamber only.
    pub(crate) estimate_high: Option<f64>,
}

/// Whether probe and estimate, where they may speak, are under the limit. What is wired and cannot be read does not agree.
pub(crate) fn atmosphere_proves(plan: &FurnacePlan, gas: &GasPlan, facts: &Facts, estimate_high: Option<f64>) -> bool {
    let limit = gas.purge.oxygen_limit.get::<ratio>();
    let probe = plan.probe.is_none() || facts.probe.or_nan() <= limit;
    let estimate = plan.chamber.calibration.is_none() || estimate_high.unwrap_or(f64::NAN) <= limit;
    probe && estimate
}

/// The flow is over its minimum, by a meter that can tell that flow from none.
fn is_proved_by(low: f64, asked: f64, resolution: f64) -> bool {
    !flow_is_lost(low, asked, 0.0) && low >= resolution
}

/// What the flow rests on.
pub(crate) fn evidence(gas: &GasPlan, flow: Sample) -> Evidence {
    if gas.by_eye || flow.good().is_none() { Evidence::Confirmed } else { Evidence::Measured }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flow_is_proved_over_its_minimum_by_a_meter_that_can_resolve_it() {
        let table = [
            (1.0, 1.0, 0.1, true),
            (0.8, 1.0, 0.1, true),
            (0.79, 1.0, 0.1, false),
            (0.9, 1.0, 0.95, false),
            (f64::NAN, 1.0, 0.1, false),
            (1.0, f64::NAN, 0.1, false),
            (1.0, 1.0, f64::NAN, false),
        ];
        for (low, asked, resolution, proved) in table {
            assert_eq!(is_proved_by(low, asked, resolution), proved, "{low} of {asked}, resolution {resolution}");
        }
    }
}
