//! Proof tests in a tick: begun by a person, watched, ended by what the row does or by time; told of by a person where nothing can be
//! watched; reminded of where one is owed.

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{Evidence, FurnaceId};

use super::Shop;
use super::people::{Outcomes, by, no_furnace};
use crate::cycle::span;
use crate::event::{Event, EventBody, Priority};
use crate::facts::can_cut;
use crate::furnace::Furnace;
use crate::interlock::{Effect, InterlockKind, acts, applies, effect, entry};
use crate::output::Outputs;
use crate::plan::{FurnacePlan, ShopPlan};
use crate::proof::{Needs, Proof, ProofStage, guide};
use crate::request::Person;
use crate::view::InterlockState;

/// What a person says of a test.
pub(super) struct Attested<'a> {
    pub(super) furnace: FurnaceId,
    pub(super) kind: InterlockKind,
    pub(super) passed: bool,
    pub(super) how: &'a str,
    pub(super) wall_ms: i64,
}

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
        let (furnace, plan) = of_row(&self.plan, &mut self.furnaces, id, kind)?;
        let (name, title) = (&plan.name, entry(kind).title.to_lowercase());
        let guide = guide(kind, &self.plan, plan).map_err(|why| format!("{title} of {name} cannot be tested: {why}."))?;
        if guide.needs == Needs::Word {
            return Err(format!(
                "The service cannot watch this test. Do so: {}. It passes if {}. Then say what you saw, as with `{} --saw passed --how \"...\"`.",
                guide.trips(name),
                guide.undoes,
                command(kind, plan)
            ));
        }
        match &furnace.cycle {
            Some(cycle) if guide.needs == Needs::NoLoad => {
                return Err(format!("{name} has load {} in it: test {title} when it is empty.", cycle.load.name));
            }
            None if guide.needs == Needs::Scrap => {
                return Err(format!(
                    "{title} of {name} is tested with a load that nobody will miss: start one of scrap steel first, then ask again. What to do then: {}.",
                    guide.trips(name)
                ));
            }
            _ => {}
        }
        if let Some(running) = &furnace.proofs.running {
            return Err(format!(
                "A test runs in {name} already: finish it, let its time pass, or call it off{}.",
                off(running, plan)
            ));
        }
        let row = furnace.rows.row(kind);
        if row.state() != InterlockState::Clear || row.is_bypassed() {
            return Err(format!("{title} of {name} stands or is bypassed: clear it first."));
        }
        let (person_name, left_ms) = (person.name.clone(), guide.half_ms);
        furnace.proofs.running = Some(Proof { kind, person: person_name, stage: ProofStage::Tripping, left_ms, wall_ms });
        let text = format!("{} tests {title} of {name}: {}.", person.name, guide.trips(name));
        out.events.push(by(person, Some(id), Priority::Notice, text.clone(), EventBody::Noted));
        Ok(format!("{text} The service watches for {}; the outcome goes on record.", span(left_ms)))
    }

    /// A person says what came of a test that nothing watched.
    pub(super) fn attest(&mut self, person: &Person, told: Attested<'_>, out: &mut Outputs) -> Outcomes {
        let Attested { furnace: id, kind, passed, how, wall_ms } = told;
        let (furnace, plan) = of_row(&self.plan, &mut self.furnaces, id, kind)?;
        let (name, title) = (&plan.name, entry(kind).title);
        if how.trim().is_empty() {
            return Err("Say how it was tested and what was seen: it goes on record.".to_owned());
        }
        if let Some(running) = furnace.proofs.running.as_ref().filter(|proof| proof.kind == kind) {
            let off = off(running, plan);
            return Err(format!(
                "A test of it runs in {name}, and is watched: finish it, let its time pass, or call it off{off}."
            ));
        }
        furnace.proofs.keep(kind, passed, Evidence::Confirmed, wall_ms);
        let (priority, how_it_went) = match passed {
            true => (Priority::Notice, "passed"),
            false => (Priority::Warning, "FAILED"),
        };
        let text = format!("{title} of {name} {how_it_went} a test that {} made and saw: {how}", person.name);
        let body = EventBody::Proved { interlock: kind, passed, evidence: Evidence::Confirmed, untested: false };
        out.events.push(by(person, Some(id), priority, text.clone(), body));
        Ok(text)
    }

    /// A person ends the test that runs: what became of it so far counts for nothing.
    pub(super) fn call_off(&mut self, person: &Person, id: FurnaceId, kind: InterlockKind, out: &mut Outputs) -> Outcomes {
        let shop = &self.plan;
        let (Some(furnace), Some(plan)) = (self.furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
        let Some(proof) = furnace.proofs.running.take_if(|proof| proof.kind == kind) else {
            return Err(format!("No test of {} runs in {}.", entry(kind).title.to_lowercase(), plan.name));
        };
        let why = format!("{} called it off", person.name);
        let event = Event { person: Some(person.name.clone()), ..void(id, shop, plan, &proof, &why) };
        let text = event.text.clone();
        out.events.push(event);
        Ok(text)
    }

    /// Ends every test that an earlier run left: until the first readings of this one most rows stand as tripped, which would pass for
    /// what the person did, and nobody saw what happened meanwhile.
    pub(super) fn void_proofs(&mut self, out: &mut Outputs) {
        let shop = &self.plan;
        for (furnace, plan) in self.furnaces.iter_mut().zip(&shop.furnaces) {
            if let Some(proof) = furnace.proofs.running.take() {
                out.events.push(void(furnace.id, shop, plan, &proof, "the service was gone meanwhile"));
            }
        }
    }

    /// Watches every test that runs, and reminds of those that are owed.
    pub(super) fn watch_proofs(&mut self, dt_ms: u64, out: &mut Outputs) {
        let (shop, now) = (&self.plan, self.now);
        for (furnace, plan) in self.furnaces.iter_mut().zip(&shop.furnaces) {
            if furnace.proofs.pass(dt_ms) {
                remind(furnace, shop, plan, &mut out.events);
            }
            let Some(mut proof) = furnace.proofs.running.take() else { continue };
            if !applies(proof.kind, plan, shop.room.oxygen.is_some(), shop.electrical_demand.is_some()) {
                out.events.push(void(furnace.id, shop, plan, &proof, "the furnace has no such interlock any more"));
                continue;
            }
            proof.left_ms = proof.left_ms.saturating_sub(dt_ms);
            let row = furnace.rows.row(proof.kind);
            let must_withhold = effect(proof.kind) == Effect::Cuts && acts(proof.kind, plan, &furnace.situation);
            let tripped = row.state() != InterlockState::Clear && (!must_withhold || row.withholds());
            let guide = guide(proof.kind, shop, plan);
            let over = guide.is_ok_and(|guide| guide.needs == Needs::Scrap) && furnace.cycle.is_none();
            // What was granted in the tick before was granted with the row standing, if it stood then already.
            let heated = row.cause() && row.since() < now && goes_past(furnace, plan, proof.kind);
            match proof.stage {
                _ if heated => end(furnace, plan, &proof, false, &mut out.events),
                ProofStage::Clearing if over => end(furnace, plan, &proof, false, &mut out.events),
                ProofStage::Tripping if over || (proof.left_ms == 0 && !tripped) => {
                    unseen(furnace, shop, plan, &proof, &mut out.events);
                }
                ProofStage::Tripping if tripped => {
                    (proof.stage, proof.left_ms) = (ProofStage::Clearing, guide.map_or(proof.left_ms, |guide| guide.half_ms));
                    let undoes = guide.map_or("undo it", |guide| guide.undoes);
                    let text = format!("{} of {} trips as it should. Now {undoes}.", entry(proof.kind).title, plan.name);
                    out.events.push(said(furnace.id, &proof, Priority::Notice, text, EventBody::Noted));
                    furnace.proofs.running = Some(proof);
                }
                ProofStage::Clearing if !row.cause() => end(furnace, plan, &proof, true, &mut out.events),
                _ if proof.left_ms == 0 => end(furnace, plan, &proof, false, &mut out.events),
                ProofStage::Tripping | ProofStage::Clearing => furnace.proofs.running = Some(proof),
            }
        }
    }
}

/// The furnace, if the row is one of its own.
fn of_row<'a>(
    shop: &'a ShopPlan,
    furnaces: &'a mut [Furnace],
    id: FurnaceId,
    kind: InterlockKind,
) -> Result<(&'a mut Furnace, &'a FurnacePlan), String> {
    let (monitored, limited) = (shop.room.oxygen.is_some(), shop.electrical_demand.is_some());
    let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
    if !applies(kind, plan, monitored, limited) {
        return Err(format!("{} has no {}: nothing of it is wired.", plan.name, entry(kind).title.to_lowercase()));
    }
    Ok((furnace, plan))
}

/// More heat is granted than the row permits while it stands.
fn goes_past(furnace: &Furnace, plan: &FurnacePlan, kind: InterlockKind) -> bool {
    let Some(gas) = plan.gas.as_ref().filter(|_| kind == InterlockKind::PurgeBeforeHeat && can_cut(plan)) else { return false };
    furnace.grant.granted_c().is_some_and(|granted_c| !(granted_c <= in_celsius(gas.purge.unpurged_ceiling)))
}

/// Tells what is owed, if anything is.
fn remind(furnace: &mut Furnace, shop: &ShopPlan, plan: &FurnacePlan, events: &mut Vec<Event>) {
    let (monitored, limited) = (shop.room.oxygen.is_some(), shop.electrical_demand.is_some());
    let owed = |kind: &InterlockKind| {
        applies(*kind, plan, monitored, limited)
            && guide(*kind, shop, plan).is_ok()
            && furnace.proofs.owes(*kind, plan.policy.proof_stands)
    };
    let interlocks: Vec<InterlockKind> = InterlockKind::ALL.into_iter().filter(owed).collect();
    furnace.proofs.looked(!interlocks.is_empty());
    if interlocks.is_empty() {
        return;
    }
    let titles: Vec<String> = interlocks.iter().map(|&kind| entry(kind).title.to_lowercase()).collect();
    let text = format!(
        "Interlocks of {} are to be tested, since that was never done, failed, or is too long ago: {}. `hearthward interlock test` says how.",
        plan.name,
        titles.join(", ")
    );
    let body = EventBody::ProofsOwed { interlocks };
    events.push(Event { furnace: Some(furnace.id), priority: Priority::Notice, person: None, text, body });
}

/// A test is over: its outcome takes the place of the last one.
fn end(furnace: &mut Furnace, plan: &FurnacePlan, proof: &Proof, passed: bool, events: &mut Vec<Event>) {
    let kind = proof.kind;
    furnace.proofs.keep(kind, passed, Evidence::Measured, proof.wall_ms);
    let (title, name) = (entry(kind).title, &plan.name);
    let reset = if furnace.rows.row(kind).is_latched() { " It is latched: reset it." } else { "" };
    let (priority, text) = match (passed, proof.stage) {
        (true, _) => (Priority::Notice, format!("{title} of {name} passed its test.{reset}")),
        (false, ProofStage::Tripping) => (
            Priority::Warning,
            format!("{title} of {name} FAILED its test: more heat was granted than it permits. Do not rely on it."),
        ),
        (false, ProofStage::Clearing) => (
            Priority::Warning,
            format!("{title} of {name} FAILED its test: it tripped and did not clear as it should. Look at its wiring.{reset}"),
        ),
    };
    let body = EventBody::Proved { interlock: kind, passed, evidence: Evidence::Measured, untested: false };
    events.push(said(furnace.id, proof, priority, text, body));
}

/// Nothing of a test was seen: the cause never came, or what watches for it is broken. Only the person knows which.
fn unseen(furnace: &mut Furnace, shop: &ShopPlan, plan: &FurnacePlan, proof: &Proof, events: &mut Vec<Event>) {
    let (kind, name) = (proof.kind, &plan.name);
    furnace.proofs.forget(kind);
    let done = guide(kind, shop, plan).map(|guide| format!(" ({})", guide.trips(name))).unwrap_or_default();
    let (title, command) = (entry(kind).title, command(kind, plan));
    let text = format!(
        "{title} of {name} was NOT TESTED: it did not trip while the service watched. If what was asked for was done{done}, it does not work: do not rely on it, look at its wiring, and say so, as with `{command} --saw failed --how \"...\"`. Else test it again."
    );
    let body = EventBody::Proved { interlock: kind, passed: false, evidence: Evidence::Measured, untested: true };
    events.push(said(furnace.id, proof, Priority::Warning, text, body));
}

/// How a person asks for a test.
fn command(kind: InterlockKind, plan: &FurnacePlan) -> String {
    format!("hearthward interlock test {} --furnace {}", entry(kind).word(), plan.name)
}

/// A test ends without an outcome: the last one stands. What the person did for it may still be done, and would mislead whoever heats next.
fn void(id: FurnaceId, shop: &ShopPlan, plan: &FurnacePlan, proof: &Proof, why: &str) -> Event {
    let (entry, name) = (entry(proof.kind), &plan.name);
    let undo = match guide(proof.kind, shop, plan) {
        Ok(guide) if guide.needs != Needs::Either => {
            format!(" Take back what was done for it before anything heats (it was: {}).", guide.trips(name))
        }
        _ => String::new(),
    };
    let text = format!(
        "The test of {} of {name} by {} counts neither for it nor against it, since {why}.{undo} Test it again, as with `{}`.",
        entry.title.to_lowercase(),
        proof.person,
        command(proof.kind, plan)
    );
    said(id, proof, Priority::Warning, text, EventBody::ProofVoid { interlock: proof.kind })
}

/// How a test that runs is called off.
fn off(proof: &Proof, plan: &FurnacePlan) -> String {
    format!(", as with `{} --call-off`", command(proof.kind, plan))
}

fn said(id: FurnaceId, proof: &Proof, priority: Priority, text: String, body: EventBody) -> Event {
    Event { furnace: Some(id), priority, person: Some(proof.person.clone()), text, body }
}
