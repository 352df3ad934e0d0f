//! Heat: what is permitted in this tick, the orders that follow from it, and the cuts.

use hearthward_equipment::quantity::{celsius, in_celsius};

use super::Shop;
use crate::cycle::{Cycle, Stage, highest_c};
use crate::event::{Event, EventBody, Priority};
use crate::facts::{Door, can_cut};
use crate::furnace::{Furnace, Gap};
use crate::interlock::{Case, GrantChange, InterlockKind, entry, judge};
use crate::output::Outputs;
use crate::plan::{FurnacePlan, Heating};

impl Shop {
    /// Decides on heat, furnace by furnace: cut first, then orders.
    pub(super) fn permit(&mut self, dt_ms: u64, out: &mut Outputs) {
        let may_widen = self.record_failing.is_none();
        self.waits_for_disk = false;
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let allowed_c = allowed_c(furnace, plan);
            let change = furnace.grant.step(self.tick, self.durable, allowed_c, may_widen);
            self.waits_for_disk |= furnace.grant.waits();
            if let Some(change) = change {
                tell(furnace, plan, change, &mut out.events);
            }
            let taken = furnace.heating && furnace.grant.granted_c().is_none();
            let unasked = furnace.rows.withhold() || (furnace.grant.granted_c().is_none() && has_load_of_ours(furnace));
            let back = !furnace.heating && unasked && furnace.cuts.heat_is_back(furnace.facts.heat);
            let cut = std::mem::take(&mut furnace.cut_now) || taken || back;
            if cut && can_cut(plan) {
                let because: Vec<InterlockKind> = furnace.rows.withholding().collect();
                let why = match back {
                    true => (Priority::Urgent, back_words(plan, &because)),
                    false => (matters(furnace, &because), why(furnace, plan, &because)),
                };
                furnace.cuts.cut(furnace.id, plan, because, why, &mut out.cuts, &mut out.events);
            }
            furnace.heating = false;
            if !cut {
                let case = Case {
                    furnace: furnace.id,
                    rows: &furnace.rows,
                    grant: &furnace.grant,
                    generation: furnace.cuts.generation(),
                    tick: self.tick,
                    now: self.now,
                    scan: self.plan.scan,
                };
                furnace.heating = order(furnace, plan, &case, out);
            }
            if furnace.heating {
                furnace.cuts.heated();
            }
            furnace.alone_s = if furnace.heating { furnace.alone_s + dt_ms as f64 / 1000.0 } else { furnace.alone_s };
            furnace.cuts.settle(furnace.id, plan, self.now, furnace.facts.heat, &mut out.events);
            furnace.cuts.step(furnace.id, plan, dt_ms, &mut out.cuts, &mut out.events);
            let feedback = furnace.facts.contactor;
            furnace.cuts.watch_contactor(furnace.id, plan, self.now, feedback, &mut out.cuts, &mut out.events);
        }
    }
}

/// Whether what is in the chamber is the service's to heat or to cool. An empty furnace is a person's own.
fn has_load_of_ours(furnace: &Furnace) -> bool {
    let ours = |cycle: &&Cycle| !cycle.out && matches!(cycle.stage, Stage::Running | Stage::Transferring | Stage::Ending);
    furnace.cycle.as_ref().filter(ours).is_some()
}

/// The ceiling that this tick allows, in °C; nothing while heat is withheld or not wanted.
fn allowed_c(furnace: &Furnace, plan: &FurnacePlan) -> Option<f64> {
    let cycle = furnace.cycle.as_ref()?;
    // Steel that is out is heated by nothing here: an empty chamber is not purged for it either.
    let wanted = cycle.is_running() && !cycle.out && cycle.wanted_c.is_some();
    let wanted = wanted && !cycle.interrupted && furnace.gap == Gap::None;
    if !wanted || !can_cut(plan) || !furnace.power.given || furnace.rows.withhold() || furnace.cut_now {
        return None;
    }
    let ceiling_c = ceiling_c(furnace, plan);
    // A program cannot be clamped: it is permitted as a whole or not at all.
    let runs_over = plan.heating == Heating::Program && !(highest_c(cycle) <= ceiling_c);
    (!runs_over).then_some(ceiling_c)
}

/// The highest set point: the furnace's limit, and the unpurged ceiling until the purge is proved.
pub(super) fn ceiling_c(furnace: &Furnace, plan: &FurnacePlan) -> f64 {
    let own_c = in_celsius(plan.limit).min(in_celsius(plan.rated));
    let charged_hot = furnace.cycle.as_ref().is_some_and(|cycle| cycle.charged_hot);
    match &plan.gas {
        Some(gas) if furnace.has_gas_load(plan) && !furnace.purge.is_proved() && !charged_hot => {
            own_c.min(in_celsius(gas.purge.unpurged_ceiling))
        }
        _ => own_c,
    }
}

/// Gives the orders of this tick. Says whether there are any.
fn order(furnace: &Furnace, plan: &FurnacePlan, case: &Case<'_>, out: &mut Outputs) -> bool {
    let Some(cycle) = &furnace.cycle else { return false };
    let Some(wanted_c) = cycle.wanted_c else { return false };
    let closing = plan.contactor.as_ref().map(|contactor| contactor.output);
    let orders = &mut out.orders;
    judge(case, |permit| {
        let close = closing.map(|output| permit.closing(output));
        let main = match (&plan.heating, cycle.program()) {
            (Heating::SetPoint, None) if plan.controller.is_some() => Some(permit.set_point(celsius(wanted_c))),
            (Heating::Program, Some(number)) if plan.controller.is_some() => {
                permit.run_program(number, celsius(highest_c(cycle)))
            }
            (Heating::ByHand, _) => None,
            _ => return false,
        };
        if main.is_none() && plan.heating != Heating::ByHand {
            return false;
        }
        let any = main.is_some() || close.is_some();
        orders.extend(main);
        orders.extend(close);
        any
    })
    .unwrap_or(false)
}

fn tell(furnace: &Furnace, plan: &FurnacePlan, change: GrantChange, events: &mut Vec<Event>) {
    let name = &plan.name;
    let (text, body) = match change {
        GrantChange::Permitted(ceiling_c) => {
            (format!("{name} may heat up to {ceiling_c:.0} °C."), EventBody::Permitted { ceiling_c })
        }
        GrantChange::Withheld => {
            let by: Vec<InterlockKind> = furnace.rows.withholding().collect();
            let text = match by.first() {
                Some(&kind) => format!("{name} may not heat: {}.", entry(kind).title.to_lowercase()),
                None => format!("{name} may not heat: its cycle wants no heat now."),
            };
            (text, EventBody::Withheld { by })
        }
    };
    events.push(Event { furnace: Some(furnace.id), priority: Priority::Record, person: None, text, body });
}

/// How much a cut matters to people: an opening that the step asked for, and heat that nobody wants any more, are the usual course.
fn matters(furnace: &Furnace, because: &[InterlockKind]) -> Priority {
    let opening = |kind: &InterlockKind| *kind == InterlockKind::DoorOpen;
    let asked_for = furnace.situation.opening_expected && furnace.facts.door == Door::Open && because.iter().all(opening);
    if because.is_empty() || asked_for { Priority::Record } else { Priority::Warning }
}

fn back_words(plan: &FurnacePlan, because: &[InterlockKind]) -> String {
    let why =
        because.first().map_or_else(String::new, |&kind| format!(" while {} withholds it", entry(kind).title.to_lowercase()));
    format!("{} shows heat that this service did not give{why}: it is cut again. See who turned it on.", plan.name)
}

fn why(furnace: &Furnace, plan: &FurnacePlan, because: &[InterlockKind]) -> String {
    match because.first() {
        Some(InterlockKind::DoorOpen) if furnace.facts.door == Door::Unknown => {
            format!("The heat of {} is cut: its door cannot be read, or has not been yet.", plan.name)
        }
        Some(&kind) => format!("The heat of {} is cut: {}.", plan.name, entry(kind).title.to_lowercase()),
        None => format!("The heat of {} is turned off: nothing asks for it now.", plan.name),
    }
}
