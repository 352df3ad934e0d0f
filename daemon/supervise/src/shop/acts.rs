//! Everything that equipment shall do and that never is heat: gas, valves, horn, baths.

use hearthward_equipment::{GasFlow, Value};
use uom::si::catalytic_activity::katal;

use super::{Ending, Shop, share};
use crate::alarm::AlarmPlan;
use crate::event::{Event, EventBody, Priority};
use crate::facts::Room;
use crate::output::{Act, Outputs};

/// How often what stays the same is told again: a device that lost its power forgets it.
const AGAIN_MS: u64 = 60_000;

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

    /// Tells the horns and the lamp what changed. A horn that both the room and the alarms use sounds for either.
    fn sound(&mut self, dt_ms: u64, out: &mut Outputs) {
        let danger = self.room.is == Room::Danger;
        let (room_horn, AlarmPlan { horn, lamp, .. }) = (self.plan.room.horn, &self.plan.alarms);
        let shared = horn.is_some() && *horn == room_horn;
        if let (Some(point), true, false) = (room_horn, self.room.horn_told.unwrap_or(false) != danger, shared) {
            self.room.horn_told = Some(danger);
            out.acts.push(Act::WritePoint { point, value: Value::Flag(danger) });
        }
        let (sounds, stands) = (self.alarms.sounds() || (shared && danger), self.alarms.stands());
        for (point, on, told) in [(*horn, sounds, &mut self.alarms.horn), (*lamp, stands, &mut self.alarms.lamp)] {
            if let (Some(point), true) = (point, told.is_due(on, dt_ms, AGAIN_MS)) {
                out.acts.push(Act::WritePoint { point, value: Value::Flag(on) });
            }
        }
    }

    /// Tells meters, valves, horns and baths what changed.
    pub(super) fn act(&mut self, dt_ms: u64, out: &mut Outputs) {
        let shut = self.room.latched;
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let Some(gas) = &plan.gas else { continue };
            let share = &mut furnace.gas;
            let flow = share.given;
            if let Some((_, ago_ms)) = &mut share.told {
                *ago_ms = ago_ms.saturating_add(dt_ms);
            }
            // Nothing was ever given and nothing told: the meter stays as its owner left it.
            let first = share.told.is_none() && flow == 0.0 && !shut;
            let due = share.told.is_none_or(|(told, ago_ms)| told != flow || ago_ms >= AGAIN_MS);
            if let (Some(meter), true, false) = (gas.meter, due && !gas.by_eye, first) {
                share.told = Some((flow, 0));
                out.acts.push(Act::SetFlow { meter, flow: GasFlow::new::<katal>(flow) });
            }
            let open = flow > 0.0 && !shut;
            if let (Some(valve), true) = (gas.valve, share.valve_told != Some(open) && !(first && share.valve_told.is_none())) {
                share.valve_told = Some(open);
                out.acts.push(Act::WritePoint { point: valve.output, value: Value::Flag(open) });
            }
            let after = furnace.cycle.is_none() && flow > 0.0;
            if after && !share.after_said {
                let text = format!("Gas still flows into {} after its load, until it is cool.", plan.name);
                out.events.push(Event {
                    furnace: Some(furnace.id),
                    priority: Priority::Notice,
                    person: None,
                    text,
                    body: EventBody::Noted,
                });
            }
            share.after_said = after;
        }
        self.sound(dt_ms, out);
        for place in 0..self.tanks.len() {
            let coming = self.furnaces.iter().filter(|furnace| furnace.comes_to(place));
            let warmest = |furnace: &crate::furnace::Furnace| furnace.cycle.as_ref().and_then(|cycle| cycle.bath_warmest_c);
            let (count, warmest_c) = coming.fold((0, None), |(count, least): (u32, Option<f64>), furnace| {
                let own = warmest(furnace);
                (count + 1, least.map_or(own, |least| Some(own.map_or(least, |own| own.min(least)))))
            });
            let wanted = count > 0 && self.ending == Ending::No;
            if let (Some(tank), Some(plan)) = (self.tanks.get_mut(place), self.plan.tanks.get(place)) {
                tank.act(plan, wanted, warmest_c, &mut out.acts);
            }
        }
    }
}
