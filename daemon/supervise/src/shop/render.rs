//! Copies the shop as it is into a view, keeping the room that the view has taken.

use std::fmt::Write as _;

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_litres_per_minute};
use hearthward_equipment::{GasFlow, Name, Quality, ShopMs};
use uom::si::catalytic_activity::katal;

use super::{Shop, heat};
use crate::bypass::Bypass;
use crate::cycle::{NextPart, span, waiting_for};
use crate::facts::{Door, can_cut};
use crate::furnace::Furnace;
use crate::gas::basis;
use crate::interlock::{InterlockKind, Told, acts, applies, entry, say};
use crate::plan::{DeadMan, FurnacePlan, Heating};
use crate::points::Told as Quoted;
use crate::proof::{Proved, guide};
use crate::questions::Purpose;
use crate::recipe::{Step, StepKind};
use crate::view::{
    BypassView, CycleView, FurnaceView, InterlockState, InterlockView, OxygenEstimate, PointView, ProofView, QuestionView,
    RuleView, SupplyView, TankView, View,
};

/// Oxygen fractions as parts in a million.
const PPM: f64 = 1e6;

impl Shop {
    /// Copies out how the shop is after the last tick.
    pub fn view(&self, into: &mut View) {
        into.tick = self.tick;
        into.at = self.now;
        let blank = || blank_furnace(&self.plan.furnaces[0].name);
        resize(&mut into.furnaces, self.furnaces.len(), blank);
        for ((furnace, plan), view) in self.furnaces.iter().zip(&self.plan.furnaces).zip(&mut into.furnaces) {
            self.view_furnace(furnace, plan, view);
        }
        self.view_tanks(into);
        self.view_supplies(into);
        let room = &self.plan.room;
        into.room_oxygen = self.points.sample(room.oxygen, self.now, room.stale_after).good();
        self.view_points(into);
        self.view_questions(into);
        into.record_failing.clone_from(&self.record_failing);
        self.view_alarms(&mut into.alarms);
    }

    fn view_furnace(&self, furnace: &Furnace, plan: &FurnacePlan, view: &mut FurnaceView) {
        let facts = &furnace.facts;
        if view.name != plan.name {
            view.name = plan.name.clone();
        }
        view.temperature_c = facts.temperature.good();
        view.wanted_c = match plan.heating {
            Heating::ByHand => furnace.hand_c,
            _ => furnace.cycle.as_ref().and_then(|cycle| cycle.wanted_c).filter(|_| furnace.heating),
        };
        view.ceiling_c = furnace.grant.told_c();
        view.generation = furnace.cuts.generation();
        view.door_open = match facts.door {
            Door::Open => Some(true),
            Door::Shut => Some(false),
            Door::Absent | Door::Unknown => None,
        };
        view.flow_l_min =
            Some(furnace.flow(plan)).filter(|flow| flow.is_finite()).map(|flow| litres(GasFlow::new::<katal>(flow)));
        view.probe_ppm = facts.probe.good().map(|oxygen| oxygen * PPM);
        self.view_gas(furnace, plan, view);
        self.view_rows(furnace, plan, view);
        view_rules(furnace, plan, &mut view.rules);
        match &furnace.cycle {
            Some(_) => self.view_cycle(furnace, plan, view),
            None => view.cycle = None,
        }
        view.if_computer_dies.clear();
        if_computer_dies(plan, furnace.cuts.is_stuck(), &mut view.if_computer_dies);
        let mut heat = std::mem::take(&mut view.heat);
        heat.clear();
        heat_now(furnace, plan, view, &mut heat);
        test_now(furnace, plan, &mut heat);
        view.heat = heat;
    }

    fn view_gas(&self, furnace: &Furnace, plan: &FurnacePlan, view: &mut FurnaceView) {
        let Some(gas) = &plan.gas else {
            (view.estimate, view.changes, view.purge_proved) = (None, None, false);
            return;
        };
        let band = furnace.air.band(&plan.chamber);
        let estimate =
            view.estimate.get_or_insert_with(|| OxygenEstimate { low_ppm: None, high_ppm: None, basis: String::new() });
        estimate.low_ppm = band.map(|(low, _)| low * PPM);
        estimate.high_ppm = band.map(|(_, high)| high * PPM);
        estimate.basis.clear();
        basis(&plan.chamber, &mut estimate.basis);
        view.changes = furnace.has_gas_load(plan).then_some((furnace.purge.changes, gas.purge.changes));
        view.purge_proved = furnace.purge.is_proved();
    }

    fn view_rows(&self, furnace: &Furnace, plan: &FurnacePlan, view: &mut FurnaceView) {
        let monitored = self.plan.room.oxygen.is_some();
        let limited = self.plan.electrical_demand.is_some();
        let shown = InterlockKind::ALL.into_iter().filter(|&kind| applies(kind, plan, monitored, limited));
        let mut count = 0;
        for kind in shown {
            if view.interlocks.len() <= count {
                view.interlocks.push(InterlockView {
                    kind,
                    state: InterlockState::Clear,
                    acts: false,
                    first: false,
                    since: ShopMs(0),
                    text: String::new(),
                    withholds: false,
                    may_bypass: false,
                    bypass: None,
                    may_prove: false,
                    proof: None,
                    proof_owed: false,
                });
            }
            let row = furnace.rows.row(kind);
            let into = &mut view.interlocks[count];
            (into.kind, into.state, into.first, into.since) = (kind, row.state(), row.is_first(), row.since());
            into.acts = acts(kind, plan, &furnace.situation);
            into.withholds = row.withholds();
            into.may_bypass = plan.policy.may_bypass.contains(&kind);
            into.may_prove = guide(kind, &self.plan, plan).is_ok();
            into.proof =
                furnace.proofs.of(kind).map(|&Proved { passed, evidence, wall_ms, .. }| ProofView { passed, evidence, wall_ms });
            into.proof_owed = into.may_prove && furnace.proofs.owes(kind, plan.policy.proof_stands);
            view_bypass(furnace.bypasses.find(kind), &mut into.bypass);
            into.text.clear();
            if row.state() != InterlockState::Clear {
                say(kind, &Told { plan, facts: &furnace.facts, situation: &furnace.situation, row }, &mut into.text);
            }
            count += 1;
        }
        view.interlocks.truncate(count);
    }

    fn view_cycle(&self, furnace: &Furnace, plan: &FurnacePlan, view: &mut FurnaceView) {
        let Some(cycle) = &furnace.cycle else { return };
        let into = view.cycle.get_or_insert_with(|| CycleView {
            load: cycle.load.name.clone(),
            steel: String::new(),
            protection: cycle.load.protection,
            index: 0,
            steps: 0,
            step: StepKind::Cool,
            step_ms: 0,
            waiting_for: String::new(),
            in_band_ms: 0,
            owed_ms: 0,
            held: false,
            load_c: None,
            temper_due_ms: None,
            ready_in_ms: None,
        });
        into.load.clone_from(&cycle.load.name);
        into.steel.clone_from(&cycle.load.steel);
        into.protection = cycle.load.protection;
        (into.index, into.step, into.held) = (cycle.index, cycle.kind(), cycle.held);
        into.steps = u16::try_from(cycle.load.steps.len()).unwrap_or(u16::MAX);
        into.step_ms = cycle.step_ms;
        into.in_band_ms = cycle.in_band_ms;
        let owed = match cycle.step() {
            Some(Step::Soak { minimum, .. }) => minimum.as_millis(),
            Some(Step::Preheat { hold, .. } | Step::Temper { hold, .. }) => hold.as_millis(),
            _ => 0,
        };
        into.owed_ms = u64::try_from(owed).unwrap_or(u64::MAX).saturating_sub(cycle.in_band_ms);
        into.waiting_for.clear();
        let mut purge = furnace.purge;
        let at = crate::cycle::At {
            id: furnace.id,
            plan,
            facts: &furnace.facts,
            rows: &furnace.rows,
            purge: &mut purge,
            last_c: furnace.last_c,
            recovering: furnace.air.account.recovering,
            now: furnace.now(plan),
        };
        into.load_c = crate::cycle::load_c(cycle, &at);
        into.temper_due_ms = crate::cycle::temper_due_ms(cycle);
        into.ready_in_ms = cycle.ready_ms;
        let bath = crate::cycle::tank_ahead(cycle);
        let bath = bath.and_then(|id| Some((self.tanks.get(id.index())?, self.plan.tanks.get(id.index())?)));
        let next = NextPart { called: self.questions.find(furnace.id, Purpose::PartUnder).is_some(), bath };
        waiting_for(cycle, &at, &next, &mut into.waiting_for);
        debug_assert!(heat::ceiling_c(furnace, plan).is_finite(), "a limit is a number");
    }

    fn view_tanks(&self, into: &mut View) {
        let blank = || TankView {
            name: self.plan.tanks[0].name.clone(),
            temperature_c: None,
            ready: false,
            text: String::new(),
            kept_for: None,
        };
        resize(&mut into.tanks, self.tanks.len(), blank);
        for ((tank, plan), view) in self.tanks.iter().zip(&self.plan.tanks).zip(&mut into.tanks) {
            view.name.clone_from(&plan.name);
            view.temperature_c = tank.temperature;
            view.ready = tank.ready;
            view.kept_for = tank.held_by().and_then(|id| self.plan.furnace(id)).map(|plan| plan.name.clone());
            view.text.clear();
            if !tank.ready {
                tank.say(plan, &mut view.text);
            }
        }
    }

    fn view_supplies(&self, into: &mut View) {
        let blank = || SupplyView { name: self.plan.supplies[0].name.clone(), pressure_kpa: None, flow_l_min: None };
        resize(&mut into.supplies, self.plan.supplies.len(), blank);
        for (place, (supply, view)) in self.plan.supplies.iter().zip(&mut into.supplies).enumerate() {
            view.name.clone_from(&supply.name);
            let absolute_pa = self.points.sample(supply.pressure, self.now, supply.stale_after).good();
            view.pressure_kpa = absolute_pa.map(|pa| pa / 1000.0 - SHOWN_REFERENCE_KPA);
            let here = self.furnaces.iter().zip(&self.plan.furnaces);
            let flow: f64 = here
                .filter(|(_, plan)| plan.gas.as_ref().is_some_and(|gas| gas.supply.index() == place))
                .map(|(furnace, plan)| furnace.flow(plan))
                .sum();
            view.flow_l_min = Some(flow).filter(|flow| flow.is_finite()).map(|flow| litres(GasFlow::new::<katal>(flow)));
        }
    }

    fn view_points(&self, into: &mut View) {
        let blank =
            || PointView { value: None, quality: Quality::Bad, evidence: hearthward_equipment::Evidence::Measured, at: None };
        resize(&mut into.points, self.points.list().len(), blank);
        for (point, view) in self.points.list().iter().zip(&mut into.points) {
            view.value.clone_from(&point.value);
            view.quality = match point.tells(self.now) {
                Quoted::Good => Quality::Good,
                Quoted::Uncertain => Quality::Uncertain,
                Quoted::Nothing | Quoted::Bad | Quoted::Stale => Quality::Bad,
            };
            (view.evidence, view.at) = (point.evidence, point.at);
        }
    }

    fn view_questions(&self, into: &mut View) {
        let open = self.questions.open();
        let same =
            into.questions.len() == open.len() && into.questions.iter().zip(open).all(|(view, question)| view.id == question.id);
        if !same {
            into.questions.clear();
            into.questions.extend(open.iter().map(|question| QuestionView {
                id: question.id,
                furnace: self.plan.furnace(question.furnace).map(|plan| plan.name.clone()),
                ask: question.ask.clone(),
                text: question.text.clone(),
                choices: question.choices.clone(),
                default: None,
                since: question.since,
            }));
        }
        for (view, question) in into.questions.iter_mut().zip(open) {
            view.default = question.default.map(|(choice, left_ms)| (choice, ShopMs(self.now.0.saturating_add(left_ms))));
        }
    }
}

/// Litres a minute at the shown reference conditions.
pub(super) fn litres(flow: GasFlow) -> f64 {
    in_litres_per_minute(flow, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA)
}

/// Writes whether a furnace may heat, what withholds heat, and what would clear that.
fn heat_now(furnace: &Furnace, plan: &FurnacePlan, view: &FurnaceView, into: &mut String) {
    let name = &plan.name;
    for row in view.interlocks.iter().filter(|row| row.withholds) {
        let space = if into.is_empty() { "" } else { " " };
        let _ = write!(into, "{space}{}", row.text);
    }
    if !into.is_empty() {
        return;
    }
    let wants = furnace.cycle.as_ref().is_some_and(|cycle| cycle.wanted_c.is_some());
    let _ = match (view.ceiling_c, &furnace.cycle) {
        (Some(ceiling_c), _) => write!(into, "{name} may heat up to {ceiling_c:.0} °C."),
        (None, None) => write!(into, "Nothing withholds heat from {name}; no load is in it, so none is wanted."),
        (None, Some(cycle)) if !wants => {
            write!(into, "Nothing withholds heat from {name}; load {} wants none in this step.", cycle.load.name)
        }
        (None, Some(cycle)) if can_cut(plan) => {
            write!(into, "Nothing withholds heat from {name}; load {} waits for its permit to be written.", cycle.load.name)
        }
        (None, Some(_)) => write!(into, "{name} is heated by hand: do what the service asks."),
    };
    for row in view.interlocks.iter().filter(|row| row.kind == InterlockKind::PurgeBeforeHeat && !row.text.is_empty()) {
        let _ = write!(into, " {}", row.text);
    }
}

/// Writes what is tested now: whoever comes by must know that what is read may be a simulator's.
fn test_now(furnace: &Furnace, plan: &FurnacePlan, into: &mut String) {
    let Some(proof) = &furnace.proofs.running else { return };
    let (title, left) = (entry(proof.kind).title.to_lowercase(), span(proof.left_ms));
    let _ = write!(
        into,
        " {} tests {title} of {}, for another {left} at most: what is read of it may be part of the test.",
        proof.person, plan.name
    );
}

/// Writes by what heat is cut if this computer dies.
fn if_computer_dies(plan: &FurnacePlan, stuck: bool, into: &mut String) {
    let _ = match (&plan.heating, &plan.dead_man) {
        (Heating::ByHand, DeadMan::Nothing) => {
            into.write_str("NOTHING. It is set by hand: turn it off at its own switch when it is to be cold")
        }
        (Heating::Watched, DeadMan::Nothing) => into.write_str("its own controls: the service only watches it"),
        (_, DeadMan::ContactorHeartbeat { drops_after }) => {
            write!(into, "a contactor that drops {:.1} s after the last heartbeat", drops_after.as_secs_f64())
        }
        (_, DeadMan::ControllerTimeOut { after }) => {
            write!(into, "the controller's own communication time-out of {:.1} s", after.as_secs_f64())
        }
        (_, DeadMan::Nothing) => into.write_str("NOTHING"),
    };
    if stuck {
        into.push_str("; but its contactor was last seen closed when it had to be open: it may be welded");
    }
    if !can_cut(plan) && plan.heating != Heating::Watched {
        into.push_str("; its interlocks only warn");
    }
}

fn view_rules(furnace: &Furnace, plan: &FurnacePlan, into: &mut Vec<RuleView>) {
    let rules = &plan.policy.rules;
    if into.len() != rules.len()
        || into.iter().zip(rules).any(|(view, rule)| view.name != rule.name || view.source != rule.source)
    {
        into.clear();
        into.extend(rules.iter().map(|rule| RuleView {
            name: rule.name.clone(),
            source: rule.source.clone(),
            text: rule.text.clone(),
            effect: rule.effect,
            state: InterlockState::Clear,
            failed: false,
        }));
    }
    for (view, state) in into.iter_mut().zip(&furnace.rules) {
        view.state = match (state.cause, state.latched) {
            (true, _) => InterlockState::Tripped,
            (false, true) => InterlockState::Latched,
            (false, false) => InterlockState::Clear,
        };
        view.failed = state.cause && state.failed;
    }
}

fn view_bypass(bypass: Option<&Bypass>, into: &mut Option<BypassView>) {
    let Some(bypass) = bypass else {
        *into = None;
        return;
    };
    let view = into.get_or_insert_with(|| BypassView { person: String::new(), reason: String::new(), left_ms: 0 });
    view.person.clone_from(&bypass.person);
    view.reason.clone_from(&bypass.reason);
    view.left_ms = bypass.left_ms;
}

fn resize<T>(list: &mut Vec<T>, count: usize, blank: impl Fn() -> T) {
    list.truncate(count);
    while list.len() < count {
        list.push(blank());
    }
}

fn blank_furnace(name: &Name) -> FurnaceView {
    FurnaceView {
        name: name.clone(),
        temperature_c: None,
        wanted_c: None,
        ceiling_c: None,
        generation: hearthward_equipment::Generation(0),
        door_open: None,
        flow_l_min: None,
        probe_ppm: None,
        estimate: None,
        changes: None,
        purge_proved: false,
        interlocks: Vec::new(),
        rules: Vec::new(),
        cycle: None,
        if_computer_dies: String::new(),
        heat: String::new(),
    }
}
