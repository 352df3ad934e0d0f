//! Cycles in a tick: each step, ends, moves to the furnace that tempers, questions about the steel, furnaces set by hand.

use std::time::Duration;

use uom::si::catalytic_activity::katal;
use uom::si::ratio::ratio;

use super::{Shop, heat};
use crate::cycle::{Outcome, Stage, ask_about_steel, step};
use crate::event::{EventBody, Priority};
use crate::facts::{Door, can_cut};
use crate::furnace::{Furnace, Gap};
use crate::gas::{AirCase, hot_c};
use crate::interlock::{For, InterlockKind, Told, entry, flow_is_lost, say};
use crate::output::Outputs;
use crate::plan::{FurnacePlan, Heating};
use crate::purge::{PurgeCase, PurgePhase, PurgeStep, evidence};
use crate::questions::{Asked, Purpose};
use crate::recipe::{Step, StepKind};
use crate::request::Ask;

/// Oxygen fractions as parts in a million.
const PPM: f64 = 1e6;

impl Shop {
    /// Chamber gas: the estimate, an opening at heat, the purge.
    pub(super) fn breathe(&mut self, out: &mut Outputs) {
        let shop = &self.plan;
        for (furnace, plan) in self.furnaces.iter_mut().zip(&shop.furnaces) {
            let open = matches!(furnace.facts.door, Door::Open | Door::Unknown);
            furnace.shut_for_s = if open { 0.0 } else { furnace.shut_for_s + furnace.facts.dt_s };
            let Some(gas) = &plan.gas else { continue };
            let hot = furnace.is_hot(plan);
            let gas_load = furnace.has_gas_load(plan);
            let supply_oxygen = shop.supplies.get(gas.supply.index()).map_or(0.0, |supply| supply.oxygen.get::<ratio>());
            let flow = furnace.flow(plan);
            let pulled = furnace.cycle.as_ref().is_some_and(|cycle| cycle.out);
            let case = AirCase { facts: &furnace.facts, hot_gas_load: hot && gas_load && !pulled, flow, supply_oxygen };
            let open_ms = furnace.air.account.open_ms;
            if gas_load && furnace.air.step(plan, &case) {
                let exposure_ppm_s = furnace.air.account.exposure_s * PPM;
                let text = match open_ms {
                    0 => format!("The atmosphere of {} is back under its limit.", plan.name),
                    _ => format!("{} is back under its limit after it was open for {} s.", plan.name, open_ms / 1000),
                };
                let body = EventBody::Recovered { open_ms, exposure_ppm_s };
                out.events.push(event(furnace, Priority::Notice, text, body));
            }
            let case = PurgeCase {
                facts: &furnace.facts,
                wanted: furnace.wants_purge(plan),
                // One cold reading is enough to doubt what an open door left of a proof.
                hot: hot && furnace.facts.temperature.good().is_none_or(|read_c| read_c > hot_c(plan)),
                flow_lost: furnace.rows.stands(InterlockKind::PurgeFlow),
                estimate_high: furnace.air.band(&plan.chamber).map(|(_, high)| high),
            };
            match furnace.purge.step(plan, gas, furnace.air.chamber(), &case) {
                PurgeStep::Same => {}
                PurgeStep::Proved => tell_proved(furnace, plan, out),
                PurgeStep::Broken(changes) => {
                    let text = format!(
                        "The purge of {} begins again: its flow or its door broke it after {changes:.1} changes.",
                        plan.name
                    );
                    out.events.push(event(furnace, Priority::Warning, text, EventBody::PurgeBroken { changes }));
                }
            }
        }
    }

    /// Lets every cycle take a tick.
    pub(super) fn run_cycles(&mut self, dt_ms: u64, out: &mut Outputs) {
        for place in 0..self.furnaces.len() {
            let (mut turn, furnaces) = self.turn(dt_ms, out);
            let shop = turn.plan;
            let (Some(furnace), Some(plan)) = (furnaces.get_mut(place), shop.furnaces.get(place)) else { break };
            if furnace.gap != Gap::None || furnace.cycle.is_none() {
                continue;
            }
            let (Some(cycle), mut at) = furnace.parts(plan) else { continue };
            let outcome = step(cycle, &mut at, &mut turn);
            if let Some(outcome) = outcome {
                self.end(place, outcome, out);
            }
            self.ask_by_eye(place, out);
            self.ask_by_hand(place, out);
        }
        for place in 0..self.furnaces.len() {
            self.ask_to_read(place, out);
        }
    }

    /// What a person reads is asked for when it has grown old while it matters.
    fn ask_to_read(&mut self, place: usize, out: &mut Outputs) {
        let Self { plan: shop, points, now, questions, furnaces, .. } = self;
        let (Some(furnace), Some(plan)) = (furnaces.get(place), shop.furnaces.get(place)) else { return };
        if furnace.cycle.is_none() || questions.find(furnace.id, Purpose::GoOn).is_some() {
            return;
        }
        let name = &plan.name;
        let old = furnace.facts.by_hand && furnace.facts.temperature.good().is_none();
        let address = shop.directory.point_address(plan.temperature).filter(|_| old);
        if let Some(address) = address {
            questions.ask(furnace.id, Purpose::ReadTemperature, *now, &mut out.events, || {
                let text = format!("Read the thermometer of {name} and enter what it shows at {address}.");
                Asked::to_do(Ask::EnterReading { point: address.to_string() }, text)
            });
        } else {
            questions.withdraw(furnace.id, &mut out.events, |purpose| purpose == Purpose::ReadTemperature);
        }
        let Some(gas) = plan.gas.as_ref().filter(|gas| gas.by_eye) else { return };
        let asked = [Purpose::PurgeFlow, Purpose::HoldFlow].iter().any(|&purpose| questions.find(furnace.id, purpose).is_some());
        let old = points.sample(Some(gas.flow), *now, Duration::MAX).good().is_none();
        // Across a gap the flow has to be proved again, whatever was asked about it before.
        let needed = furnace.gap != Gap::None || (!asked && furnace.purge.is_proved());
        if furnace.gap != Gap::None {
            let before = |purpose| matches!(purpose, Purpose::PurgeFlow | Purpose::HoldFlow);
            questions.withdraw(furnace.id, &mut out.events, before);
        }
        if old && needed && furnace.gas.given > 0.0 && furnace.has_gas_load(plan) {
            questions.ask(furnace.id, Purpose::ReadFlow, *now, &mut out.events, || {
                Asked::to_do(Ask::ReadFlow, format!("Say what the gas meter of {name} shows: it was read too long ago."))
            });
        } else {
            questions.withdraw(furnace.id, &mut out.events, |purpose| purpose == Purpose::ReadFlow);
        }
    }

    /// Keeps each furnace that a load goes to for its temper.
    pub(super) fn keep_for_tempers(&mut self) {
        self.furnaces.iter_mut().for_each(|furnace| furnace.kept_for = None);
        for at in 0..self.furnaces.len() {
            // Most of the time nothing moves, and nothing was kept.
            let coming = self
                .furnaces
                .get(at)
                .and_then(|furnace| furnace.cycle.as_ref())
                .and_then(|cycle| cycle.moves_to.filter(|to| to.index() != at).map(|to| (to, cycle.load.name.clone())));
            if let Some((to, load)) = coming
                && let Some(target) = self.furnaces.get_mut(to.index())
            {
                target.kept_for = Some(load);
            }
        }
    }

    /// A cycle has ended.
    pub(super) fn end(&mut self, place: usize, outcome: Outcome, out: &mut Outputs) {
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(place), shop.furnaces.get(place)) else { return };
        let Some(cycle) = &furnace.cycle else { return };
        let (load, soaked_ms) = (cycle.load.name.clone(), cycle.soaked_ms);
        let how = match outcome {
            Outcome::Complete => "is complete",
            Outcome::Aborted => "was ended by a person",
            Outcome::QuenchedEarly => "is over; it was quenched early",
            Outcome::SlowCooled => "is over; it cooled in the chamber and stays soft",
            Outcome::Skipped => "is over; a person skipped some of its steps",
        };
        let soaked = match soaked_ms {
            0 => "it was never soaked in band".to_owned(),
            soaked_ms => format!("it soaked for {} in band", crate::cycle::span(soaked_ms)),
        };
        let (under, parts) = (cycle.parts_under, cycle.load.parts.max(1));
        let some = match (1..parts).contains(&under) {
            true => format!(" {under} of its {parts} parts were quenched before: they are hard, and are to be tempered soon."),
            false => String::new(),
        };
        let text = format!("The cycle of load {load} in {} {how}; {soaked}.{some}", plan.name);
        let body = EventBody::CycleEnded { load, outcome: outcome.word().to_owned(), soaked_ms };
        turn.say(furnace.id, Priority::Notice, text, body);
        crate::cycle::free_tanks(furnace.id, &mut turn);
        turn.questions.withdraw(furnace.id, turn.events, |purpose| purpose != Purpose::TurnOff);
        furnace.forget_load();
        self.ask_by_hand(place, out);
    }

    /// Asks what becomes of hot steel where a row stands that concerns it, once for as long as it stands.
    pub(super) fn ask_about_steel(&mut self, out: &mut Outputs) {
        for place in 0..self.furnaces.len() {
            let (mut turn, furnaces) = self.turn(0, out);
            let shop = turn.plan;
            let (Some(furnace), Some(plan)) = (furnaces.get_mut(place), shop.furnaces.get(place)) else { break };
            let Some(cycle) = &mut furnace.cycle else { continue };
            if cycle.asked != 0 && (cycle.out || cycle.stage != Stage::Running) {
                // What is quenched, or cools where it is, is decided: silence must not decide it again.
                cycle.asked = 0;
                turn.questions.withdraw(furnace.id, turn.events, |purpose| matches!(purpose, Purpose::Steel(_)));
            }
            if cycle.interrupted || furnace.gap != Gap::None || cycle.stage != Stage::Running {
                continue;
            }
            let hot = furnace.is_hot(plan);
            for kind in InterlockKind::ALL {
                let stands = furnace.rows.stands(kind);
                let bit = 1 << (kind as u32);
                let asked = furnace.cycle.as_ref().is_some_and(|cycle| cycle.asked & bit != 0);
                if asked && !stands {
                    forget_question(furnace, kind, &mut turn);
                } else if stands && !asked && hot && asks(furnace, kind) {
                    let mut because = String::new();
                    let told = Told { plan, facts: &furnace.facts, situation: &furnace.situation, row: furnace.rows.row(kind) };
                    say(kind, &told, &mut because);
                    if let (Some(cycle), at) = furnace.parts(plan) {
                        ask_about_steel(cycle, &at, &mut turn, kind, because);
                    }
                }
            }
        }
    }

    /// A meter that is set and read by hand is asked about at natural moments: the begin of the purge and its end.
    fn ask_by_eye(&mut self, place: usize, out: &mut Outputs) {
        let (turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(place), shop.furnaces.get(place)) else { return };
        let Some(gas) = plan.gas.as_ref().filter(|gas| gas.by_eye) else { return };
        if furnace.cycle.as_ref().is_some_and(|cycle| cycle.interrupted) {
            return;
        }
        let asked = gas.purge.flow.get::<katal>();
        let (purpose, flow, text) = match furnace.purge.phase {
            PurgePhase::Settling if furnace.gas.turn.is_none() && flow_is_lost(furnace.flow(plan), asked, 0.0) => (
                Purpose::PurgeFlow,
                gas.purge.flow,
                format!("Set the gas of {} to the purge flow, and say what its meter shows.", plan.name),
            ),
            PurgePhase::Confirming => (
                Purpose::HoldFlow,
                gas.purge.hold,
                format!(
                    "If the meter of {} still shows the purge flow, turn it down to the holding flow and say what it shows.",
                    plan.name
                ),
            ),
            _ => {
                let stale = |purpose| matches!(purpose, Purpose::PurgeFlow | Purpose::HoldFlow);
                turn.questions.withdraw(furnace.id, turn.events, stale);
                return;
            }
        };
        let litres_per_minute = super::render::litres(flow);
        turn.questions.ask(furnace.id, purpose, turn.now, turn.events, || {
            Asked::to_do(Ask::SetFlow { litres_per_minute }, format!("{text} It should be {litres_per_minute:.1} L/min."))
        });
    }

    /// A controller that is set by hand is asked to be set, or turned off.
    fn ask_by_hand(&mut self, place: usize, out: &mut Outputs) {
        let (turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(place), shop.furnaces.get(place)) else { return };
        if plan.heating != Heating::ByHand {
            return;
        }
        let target_c =
            furnace.cycle.as_ref().filter(|cycle| cycle.is_running() && !cycle.out && !cycle.interrupted).and_then(|cycle| {
                let wanted_c = match cycle.step() {
                    Some(Step::Ramp { to, .. }) => Some(hearthward_equipment::quantity::in_celsius(*to)),
                    _ => cycle.wanted_c,
                };
                // In tenths, as a controller is set.
                wanted_c.filter(|_| cycle.kind() != StepKind::Pull).map(|wanted_c| libm::round(wanted_c * 10.0) / 10.0)
            });
        let may = !furnace.rows.withhold() && target_c.is_some_and(|target_c| target_c <= heat::ceiling_c(furnace, plan));
        let name = &plan.name;
        let address = shop.directory.point_address(plan.temperature).filter(|_| furnace.facts.by_hand);
        match target_c.filter(|_| may) {
            Some(target_c) if furnace.hand_c != Some(target_c) => {
                furnace.hand_c = Some(target_c);
                turn.questions
                    .withdraw(furnace.id, turn.events, |purpose| matches!(purpose, Purpose::SetController | Purpose::TurnOff));
                turn.questions.ask(furnace.id, Purpose::SetController, turn.now, turn.events, || {
                    let then = address.map(|at| format!(" When it is there, enter what it shows at {at}.")).unwrap_or_default();
                    let text = format!("Set the controller of {name} to {target_c:.0} °C by hand, and say so.{then}");
                    Asked::to_do(Ask::SetController { set_point_c: target_c }, text)
                });
            }
            None if furnace.hand_c.is_some() && furnace.cycle.as_ref().is_none_or(|cycle| cycle.kind() != StepKind::Pull) => {
                furnace.hand_c = None;
                turn.questions.withdraw(furnace.id, turn.events, |purpose| purpose == Purpose::SetController);
                turn.questions.ask(furnace.id, Purpose::TurnOff, turn.now, turn.events, || {
                    let text = format!("Turn {name} off by hand, and say so.");
                    Asked { priority: Priority::Urgent, ..Asked::to_do(Ask::TurnOff, text) }
                });
            }
            _ => {}
        }
        debug_assert!(plan.contactor.is_some() == can_cut(plan), "a furnace set by hand is cut by a contactor or not at all");
    }
}

/// Whether a row's standing calls for the steel question.
fn asks(furnace: &Furnace, kind: InterlockKind) -> bool {
    let row = furnace.rows.row(kind);
    if row.is_bypassed() {
        return false;
    }
    match kind {
        InterlockKind::Interrupted | InterlockKind::Ending => false,
        // Asked by the soak itself, when it is at its maximum.
        InterlockKind::QuenchReadiness | InterlockKind::QuenchOverTemperature | InterlockKind::OffSetPoint => false,
        InterlockKind::OpeningAtHeat => furnace.situation.exposed,
        InterlockKind::ShopWatch => furnace.situation.rules.asks,
        // An opening that a step expects, or a look, is no cut that anybody wonders about.
        InterlockKind::DoorOpen => row.is_latched(),
        _ if entry(kind).causes == For::People => row.withholds(),
        _ => entry(kind).causes == For::Steel,
    }
}

fn forget_question(furnace: &mut Furnace, kind: InterlockKind, turn: &mut crate::cycle::Turn<'_>) {
    // The question at the soak's maximum stays as long as its soak.
    if kind == InterlockKind::QuenchReadiness && furnace.cycle.as_ref().is_some_and(|cycle| cycle.extended) {
        return;
    }
    if let Some(cycle) = &mut furnace.cycle {
        cycle.asked &= !(1 << (kind as u32));
    }
    turn.questions.withdraw(furnace.id, turn.events, |purpose| purpose == Purpose::Steel(kind));
}

/// The purge of a furnace is proved.
pub(super) fn tell_proved(furnace: &Furnace, plan: &FurnacePlan, out: &mut Outputs) {
    let Some(gas) = &plan.gas else { return };
    let changes = furnace.purge.changes;
    let text = format!("The purge of {} is proved: {changes:.1} volume changes without a break.", plan.name);
    let body = EventBody::PurgeProved {
        changes,
        evidence: evidence(gas, furnace.facts.flow),
        probe_ppm: furnace.facts.probe.good().map(|oxygen| oxygen * PPM),
        estimate_ppm: furnace.air.band(&plan.chamber).and_then(|_| furnace.air.oxygen()).map(|oxygen| oxygen * PPM),
    };
    out.events.push(event(furnace, Priority::Notice, text, body));
}

fn event(furnace: &Furnace, priority: Priority, text: String, body: EventBody) -> crate::event::Event {
    crate::event::Event { furnace: Some(furnace.id), priority, person: None, text, body }
}
