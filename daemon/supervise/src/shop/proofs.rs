//! Guided proof tests in a tick: begun by a person, watched, ended by what the row does or by time.

use hearthward_equipment::FurnaceId;

use super::Shop;
use super::people::{Outcomes, by, no_furnace};
use crate::event::{Event, EventBody, Priority};
use crate::furnace::Furnace;
use crate::interlock::{Effect, InterlockKind, acts, applies, effect, entry};
use crate::output::Outputs;
use crate::plan::FurnacePlan;
use crate::proof::{HALF_MS, Proof, ProofStage, Proved, guide};
use crate::request::Person;
use crate::view::InterlockState;

impl Shop {
    /// A person begins a test.
    pub(super) fn prove(
        &mut self,
        person: &Person,
        id: FurnaceId,
        kind: InterlockKind,
        wall_ms: i64,
        out: &mut Outputs,
    ) -> Outcomes {
        let (monitored, limited) = (self.plan.room.oxygen.is_some(), self.plan.electrical_demand.is_some());
        let (Some(furnace), Some(plan)) = (self.furnaces.get_mut(id.index()), self.plan.furnace(id)) else {
            return Err(no_furnace());
        };
        let (name, title) = (&plan.name, entry(kind).title.to_lowercase());
        if !applies(kind, plan, monitored, limited) {
            return Err(format!("{name} has no {title}: nothing of it is wired."));
        }
        let guide = guide(kind, plan).map_err(|why| format!("{title} of {name} cannot be tested by itself: {why}."))?;
        if let Some(cycle) = &furnace.cycle {
            return Err(format!("{name} has load {} in it: test when it is empty.", cycle.load.name));
        }
        if furnace.proof.is_some() {
            return Err(format!("A test runs in {name} already: finish it first, or let its time pass."));
        }
        let row = furnace.rows.row(kind);
        if row.state() != InterlockState::Clear || row.is_bypassed() {
            return Err(format!("{title} of {name} stands or is bypassed: clear it first."));
        }
        let person_name = person.name.clone();
        furnace.proof = Some(Proof { kind, person: person_name, stage: ProofStage::Tripping, left_ms: HALF_MS, wall_ms });
        let text = format!("{} tests {title} of {name}: {}.", person.name, guide.trips);
        out.events.push(by(person, Some(id), Priority::Notice, text.clone(), EventBody::Noted));
        Ok(format!("{text} The service watches for {} min.", HALF_MS / 60_000))
    }

    /// Watches every test that runs.
    pub(super) fn watch_proofs(&mut self, dt_ms: u64, out: &mut Outputs) {
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let Some(mut proof) = furnace.proof.take() else { continue };
            proof.left_ms = proof.left_ms.saturating_sub(dt_ms);
            let row = furnace.rows.row(proof.kind);
            let must_withhold = effect(proof.kind) == Effect::Cuts && acts(proof.kind, plan);
            let tripped = row.state() != InterlockState::Clear && (!must_withhold || row.withholds());
            match proof.stage {
                ProofStage::Tripping if tripped => {
                    (proof.stage, proof.left_ms) = (ProofStage::Clearing, HALF_MS);
                    let undoes = guide(proof.kind, plan).map_or("undo it", |guide| guide.undoes);
                    let text = format!("{} of {} trips as it should. Now {undoes}.", entry(proof.kind).title, plan.name);
                    out.events.push(said(furnace.id, &proof, Priority::Notice, text, EventBody::Noted));
                    furnace.proof = Some(proof);
                }
                ProofStage::Clearing if !row.cause() => end(furnace, plan, &proof, true, &mut out.events),
                _ if proof.left_ms == 0 => end(furnace, plan, &proof, false, &mut out.events),
                ProofStage::Tripping | ProofStage::Clearing => furnace.proof = Some(proof),
            }
        }
    }
}

/// A test is over: its outcome takes the place of the last one.
fn end(furnace: &mut Furnace, plan: &FurnacePlan, proof: &Proof, passed: bool, events: &mut Vec<Event>) {
    let kind = proof.kind;
    furnace.proved.retain(|known| known.kind != kind);
    furnace.proved.push(Proved { kind, passed, wall_ms: proof.wall_ms });
    let (title, name) = (entry(kind).title, &plan.name);
    let reset = if furnace.rows.row(kind).is_latched() { " It is latched: reset it." } else { "" };
    let (priority, text) = match (passed, proof.stage) {
        (true, _) => (Priority::Notice, format!("{title} of {name} passed its test.{reset}")),
        (false, ProofStage::Tripping) => (
            Priority::Warning,
            format!("{title} of {name} FAILED its test: it did not trip. Do not rely on it; look at its wiring."),
        ),
        (false, ProofStage::Clearing) => (
            Priority::Warning,
            format!("{title} of {name} FAILED its test: it tripped and did not clear. Look at its wiring.{reset}"),
        ),
    };
    events.push(said(furnace.id, proof, priority, text, EventBody::Proved { interlock: kind, passed }));
}

fn said(id: FurnaceId, proof: &Proof, priority: Priority, text: String, body: EventBody) -> Event {
    Event { furnace: Some(id), priority, person: Some(proof.person.clone()), text, body }
}
