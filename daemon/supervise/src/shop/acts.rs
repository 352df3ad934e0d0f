//! Everything that equipment shall do and that never is heat: gas, valves, horn, baths.

use hearthward_equipment::{GasFlow, Value};
use uom::si::catalytic_activity::katal;

use super::enter::shown;
use super::{Ending, RoomNow, Shop, say, share};
use crate::alarm::{AlarmPlan, Alarms};
use crate::event::{Event, EventBody, Priority};
use crate::facts::Room;
use crate::furnace::Furnace;
use crate::observe::ActState;
use crate::output::{Act, Outputs};
use crate::plan::ShopPlan;
use crate::wires::{Heard, Teller};

impl Shop {
    /// Works out what each furnace wants of what it shares, and gives it in turn.
    pub(super) fn share(&mut self) {
        // The room is dangerous, or the service ends and leaves gas as it is: nothing more is given.
        let (shut, keep) = (self.room.latched, self.ending != Ending::No);
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let kept = if keep { furnace.gas.given } else { furnace.wanted_flow(plan) };
            furnace.gas.wanted = if shut { 0.0 } else { kept };
        }
        share::gas(&self.plan, &mut self.furnaces, &mut self.turns);
        share::power(&self.plan, &mut self.furnaces, &mut self.turns);
        debug_assert!(self.shares_hold(), "what is given fits into what there is");
    }

    /// The shared limits hold.
    fn shares_hold(&self) -> bool {
        self.plan.supplies.iter().enumerate().all(|(place, supply)| {
            let here = self.furnaces.iter().zip(&self.plan.furnaces);
            let given: f64 = here
                .filter(|(_, plan)| plan.gas.as_ref().is_some_and(|gas| gas.supply.index() == place))
                .map(|(furnace, _)| furnace.gas.given)
                .sum();
            given <= supply.capacity.get::<katal>() * 1.000_001
        })
    }

    /// Tells meters, valves, horns and baths what they shall be.
    pub(super) fn act(&mut self, out: &mut Outputs) {
        let Self { plan, wires, furnaces, tanks, room, alarms, ending, now, .. } = self;
        let mut teller = Teller { wires, now: *now, directory: &plan.directory, acts: &mut out.acts };
        tell_gas(furnaces, plan, room.latched, &mut teller);
        sound(plan, room, alarms, &mut teller);
        for (place, (tank, tank_plan)) in tanks.iter().zip(&plan.tanks).enumerate() {
            let coming = furnaces.iter().filter(|furnace| furnace.comes_to(place));
            let warmest = |furnace: &Furnace| furnace.cycle.as_ref().and_then(|cycle| cycle.bath_warmest_c);
            let (count, warmest_c) = coming.fold((0, None), |(count, least): (u32, Option<f64>), furnace| {
                let own = warmest(furnace);
                (count + 1, least.map_or(own, |least| Some(own.map_or(least, |own| own.min(least)))))
            });
            let wanted = count > 0 && *ending == Ending::No;
            tank.shall(tank_plan, wanted, warmest_c).into_iter().flatten().for_each(|act| teller.tell(act));
        }
        self.say_gas_after(out);
    }

    /// Says once that gas flows on after a load.
    fn say_gas_after(&mut self, out: &mut Outputs) {
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let after = furnace.cycle.is_none() && furnace.gas.given > 0.0;
            if after && !furnace.gas.after_said {
                let text = format!("Gas still flows into {} after its load, until it is cool.", plan.name);
                out.events.push(Event {
                    furnace: Some(furnace.id),
                    priority: Priority::Notice,
                    person: None,
                    text,
                    body: EventBody::Noted,
                });
            }
            furnace.gas.after_said = after;
        }
    }

    /// What became of acts since the last tick.
    pub(super) fn hear_acts(&mut self, out: &mut Outputs) {
        for (act, is) in std::mem::take(&mut self.inbox.acts) {
            let lost = matches!((&act, &is), (Act::Enter { .. }, ActState::Failed(_))).then_some(Heard::Fails);
            let Some(heard) = self.wires.hear(&act, &is, self.now).or(lost) else { continue };
            self.say_act(&act, &is, heard, out);
        }
    }

    /// Which units take the orders to heat that they are given, and which do not.
    pub(super) fn hear_orders(&mut self, out: &mut Outputs) {
        for (unit, is) in std::mem::take(&mut self.inbox.orders) {
            let Some(heard) = self.wires.hear_order(unit, &is) else { continue };
            let place = self.plan.directory.unit_address(unit).map(ToString::to_string).unwrap_or_default();
            let (priority, detail, text) = match is {
                ActState::Failed(fault) => {
                    let text = format!(
                        "{place} does not take an order to heat: {}. It is told again until it does; go and look what it does.",
                        fault.detail
                    );
                    (Priority::Warning, fault.detail, text)
                }
                ActState::Done => (Priority::Notice, String::new(), format!("{place} takes orders to heat again.")),
            };
            say(&mut out.events, priority, text, EventBody::Output { unit: Some(unit), done: heard == Heard::Recovers, detail });
        }
    }

    fn say_act(&self, act: &Act, is: &ActState, heard: Heard, out: &mut Outputs) {
        let directory = &self.plan.directory;
        let (place, unit) = match *act {
            Act::WritePoint { point, .. } | Act::Enter { point, .. } => {
                let address = directory.point_address(point);
                (address.map(ToString::to_string), address.and_then(|address| directory.find_unit(&address.unit)))
            }
            Act::SetFlow { meter: unit, .. }
            | Act::Agitate { unit, .. }
            | Act::HeatTank { unit, .. }
            | Act::TankHeaterOff { unit } => (directory.unit_address(unit).map(ToString::to_string), Some(unit)),
        };
        let (place, what) = (place.unwrap_or_default(), words(act));
        let detail = if let ActState::Failed(fault) = is { fault.detail.clone() } else { String::new() };
        let gas = matches!(act, Act::SetFlow { .. })
            || self
                .plan
                .furnaces
                .iter()
                .filter_map(|furnace| furnace.gas.as_ref()?.valve)
                .any(|valve| matches!(act, Act::WritePoint { point, .. } if *point == valve.output));
        let (priority, text) = match (heard, act) {
            (Heard::Recovers, _) => (Priority::Notice, format!("{place} does after all what it was told ({what}).")),
            (Heard::Fails, Act::Enter { .. }) => {
                (Priority::Warning, format!("{place} did not take what was entered ({what}): {detail}. Enter it again."))
            }
            (Heard::Fails, _) if gas && self.room.latched => (
                Priority::Urgent,
                format!(
                    "{place} does not shut the gas off: {detail}. Stay out of the room, and shut the gas off where the air is good."
                ),
            ),
            (Heard::Fails, _) => (
                Priority::Warning,
                format!("{place} does not do what it is told ({what}): {detail}. It is told again until it does."),
            ),
        };
        say(&mut out.events, priority, text, EventBody::Output { unit, done: heard == Heard::Recovers, detail });
    }
}

/// Gas to meters and valves. What the service never told anything stays as its owner left it.
fn tell_gas(furnaces: &mut [Furnace], plan: &ShopPlan, shut: bool, teller: &mut Teller<'_>) {
    for (furnace, plan) in furnaces.iter_mut().zip(&plan.furnaces) {
        let Some(gas) = &plan.gas else { continue };
        let flow = furnace.gas.given;
        furnace.gas.told |= flow > 0.0 || shut;
        if !furnace.gas.told {
            continue;
        }
        if let (Some(meter), false) = (gas.meter, gas.by_eye) {
            teller.tell(Act::SetFlow { meter, flow: GasFlow::new::<katal>(flow) });
        }
        if let Some(valve) = gas.valve {
            teller.tell(Act::WritePoint { point: valve.output, value: Value::Flag(flow > 0.0 && !shut) });
        }
    }
}

/// Horns and the lamp. A horn that both the room and the alarms use sounds for either.
fn sound(plan: &ShopPlan, room: &RoomNow, alarms: &Alarms, teller: &mut Teller<'_>) {
    let danger = room.is == Room::Danger;
    let (room_horn, AlarmPlan { horn, lamp, .. }) = (plan.room.horn, &plan.alarms);
    let shared = horn.is_some() && *horn == room_horn;
    if let (Some(point), false) = (room_horn, shared) {
        let act = Act::WritePoint { point, value: Value::Flag(danger) };
        // One that never sounded stays as its owner left it; one that may have sounded before a restart does not.
        if danger || room.latched || teller.has_told(&act) {
            teller.tell(act);
        }
    }
    let (sounds, stands) = (alarms.sounds() || (shared && danger), alarms.stands());
    for (point, on) in [(*horn, sounds), (*lamp, stands)] {
        if let Some(point) = point {
            teller.tell(Act::WritePoint { point, value: Value::Flag(on) });
        }
    }
}

/// What an act asks for.
fn words(act: &Act) -> String {
    match act {
        Act::SetFlow { flow, .. } => shown(&Value::GasFlow(*flow)),
        Act::WritePoint { value: Value::Flag(on), .. } | Act::Agitate { on, .. } => if *on { "on" } else { "off" }.to_owned(),
        Act::WritePoint { value, .. } | Act::Enter { value, .. } => shown(value),
        Act::HeatTank { to, .. } => format!("a bath of {}", shown(&Value::Temperature(*to))),
        Act::TankHeaterOff { .. } => "its heater off".to_owned(),
    }
}
