//! Everything that equipment shall do and that never is heat: gas, valves, horn, baths.

use hearthward_equipment::{GasFlow, Value};
use uom::si::catalytic_activity::katal;

use super::{Ending, Shop, share};
use crate::event::{Event, EventBody, Priority};
use crate::facts::Room;
use crate::output::{Act, Outputs};

/// How often a flow that stays the same is told again: a meter that lost its power forgets it.
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

    /// Tells meters, valves, horn and baths what changed.
    pub(super) fn act(&mut self, dt_ms: u64, out: &mut Outputs) {
        let shut = self.room.latched;
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            let Some(gas) = &plan.gas else { continue };
            let share = &mut furnace.gas;
            let flow = share.given;
            if let Some((_, ago_ms)) = &mut share.told {
                *ago_ms += dt_ms;
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
        let horn = self.room.is == Room::Danger;
        if let (Some(point), true) = (self.plan.room.horn, self.room.horn_told.unwrap_or(false) != horn) {
            self.room.horn_told = Some(horn);
            out.acts.push(Act::WritePoint { point, value: Value::Flag(horn) });
        }
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
