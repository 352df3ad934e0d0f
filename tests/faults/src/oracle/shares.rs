//! Invariant 6: shared limits at every tick, fair turns; and the halves of 3 that keep gas on hot steel and people out of thin air.

use hearthward_equipment::Value;
use hearthward_equipment::quantity::{in_celsius, in_kelvins};
use hearthward_supervise::event::Event;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::output::Act;
use hearthward_supervise::recipe::{Medium, Step};
use hearthward_supervise::request::Ask;
use hearthward_supervise::view::InterlockState;

use super::known::Known;
use super::{Found, Moment, Oracle, must};

/// The judge's books of a bath.
#[derive(Clone, Debug, Default)]
pub(super) struct Bath {
    /// It was too near its flash point and nobody has reset it.
    latched: bool,
    /// Its switch said, before this tick, that a part is under; before it is first seen off nobody knows.
    pub(super) under: bool,
}

/// The rows of turns that are waited for, in the order of the books.
const TURNS: [InterlockKind; 3] = [InterlockKind::SharedSupply, InterlockKind::SharedElectrical, InterlockKind::OneTankOneLoad];

impl Oracle {
    pub(super) fn check_shares(&mut self, moment: &Moment<'_>) -> Found {
        let plan = std::sync::Arc::clone(&self.plan);
        for (place, supply) in plan.supplies.iter().enumerate() {
            let here = self.known.iter().zip(&plan.furnaces);
            let given: f64 = here
                .filter(|(_, plan)| plan.gas.as_ref().is_some_and(|gas| gas.supply.index() == place))
                .map(|(known, _)| known.told_flow)
                .sum();
            must(given <= supply.capacity.value * 1.000_001, || {
                format!("invariant 6: {given} mol/s of a manifold that gives {}", supply.capacity.value)
            })?;
        }
        let heating: f64 =
            self.known.iter().zip(&plan.furnaces).filter(|(known, _)| known.heated).map(|(_, plan)| plan.power.value).sum();
        let limit = plan.electrical_demand.map_or(f64::INFINITY, |limit| limit.value);
        must(heating <= limit * 1.000_001, || format!("invariant 6: {heating} W of {limit} W"))?;
        self.look_at_baths(moment);
        Ok(())
    }

    /// Gas: what was told, whether hot steel kept its own, and whether a room without oxygen gets no more.
    pub(super) fn check_gas(&mut self, moment: &Moment<'_>) -> Found {
        let plan = std::sync::Arc::clone(&self.plan);
        let told = self.known.iter().any(|known| known.latched.has(InterlockKind::RoomOxygen));
        let shut = self.room.latched || self.room.danger || told;
        self.known.iter_mut().for_each(|known| known.flow_rose = false);
        for act in &moment.out.acts {
            for (known, plan) in self.known.iter_mut().zip(&plan.furnaces) {
                let Some(gas) = &plan.gas else { continue };
                let ceiling_c = in_celsius(gas.purge.unpurged_ceiling);
                let hot = known.is_protected() && known.last_c.is_some_and(|last_c| last_c > ceiling_c + 30.0);
                match act {
                    Act::SetFlow { meter, flow } if gas.meter == Some(*meter) => {
                        let taken = hot && known.told_flow > 0.0 && flow.value <= 0.0;
                        must(!taken || shut, || format!("invariant 3: gas was taken from hot steel in {}", plan.name))?;
                        known.flow_rose = flow.value > known.told_flow;
                        known.told_flow = flow.value;
                    }
                    Act::WritePoint { point, value: Value::Flag(open) }
                        if gas.valve.is_some_and(|valve| valve.output == *point) =>
                    {
                        must(!hot || *open || shut || known.told_valve != Some(true), || {
                            format!("invariant 3: the gas of hot steel in {} was shut off", plan.name)
                        })?;
                        known.told_valve = Some(*open);
                    }
                    _ => {}
                }
            }
        }
        if self.room.danger {
            for (known, plan) in self.known.iter().zip(&plan.furnaces) {
                let Some(gas) = &plan.gas else { continue };
                let open = gas.valve.is_some() && known.told_valve != Some(false);
                must(!open && known.told_flow <= 0.0, || format!("the room is dangerous and gas flows into {}", plan.name))?;
            }
        }
        Ok(())
    }

    /// The second level is debounced: a moment under it takes nothing away.
    pub(super) fn check_early_danger(&self, moment: &Moment<'_>) -> Found {
        let debounce_ms = self.plan.room.debounce.as_millis() as u64;
        // The tick that first saw it may stand for the scan before it.
        let since_ms = self.room.under.map_or(0, |(at, dt_ms)| moment.now.0 - at.0 + dt_ms.min(1_500));
        must(since_ms >= debounce_ms, || format!("invariant 3: the room tripped after {since_ms} ms under its second level"))
    }

    fn look_at_baths(&mut self, moment: &Moment<'_>) {
        for place in 0..self.baths.len() {
            let plan = &self.plan.tanks[place];
            let limit_c = plan.flash_point.map_or(f64::INFINITY, in_celsius) - in_kelvins(plan.flash_margin);
            let heard = self.of(Some(plan.temperature)).copied().unwrap_or_default();
            let read_c = heard.good(moment.now, plan.stale_after).unwrap_or(f64::NEG_INFINITY).max(heard.high);
            self.baths[place].latched |= read_c >= limit_c;
        }
    }

    /// The bath of this name was reset: it is below its margin and can be read.
    pub(super) fn bath_reset(&mut self, event: &Event) -> Found {
        for place in 0..self.baths.len() {
            let plan = &self.plan.tanks[place];
            if event.text.contains(plan.name.as_str()) {
                self.baths[place].latched = false;
            }
        }
        Ok(())
    }

    /// A part is called for: the bath of its route is not near its flash point, and no other load pulls into it.
    pub(super) fn check_pull(&self, place: usize) -> Found {
        let Some(tank) = self.tank_ahead(place) else { return Ok(()) };
        must(!self.baths[tank].latched, || "a part was called for though its bath is too near its flash point".to_owned())?;
        let others = self.questions.values().filter(|waiting| matches!(waiting.ask, Ask::PartUnder { .. }));
        for other in others.filter_map(|waiting| waiting.furnace) {
            let own = self.known[place].forced || self.known[other.index()].forced;
            must(own || self.tank_ahead(other.index()) != Some(tank), || "two loads are pulled into one tank".to_owned())?;
        }
        Ok(())
    }

    pub(super) fn tank_ahead(&self, place: usize) -> Option<usize> {
        let known: &Known = &self.known[place];
        let (index, _) = known.step?;
        known.load.as_ref()?.steps.iter().skip(usize::from(index)).find_map(|step| match step {
            Step::Quench { medium: Medium::Tank(tank), .. } => Some(tank.index()),
            _ => None,
        })
    }

    /// Fair turns: nobody who came later is served before somebody who waits for the same.
    pub(super) fn check_turns(&mut self, moment: &Moment<'_>) -> Found {
        let before: Vec<_> = self.known.iter().map(|known| known.waits).collect();
        for (known, seen) in self.known.iter_mut().zip(&moment.view.furnaces) {
            for (slot, kind) in TURNS.into_iter().enumerate() {
                let waits = seen.interlocks.iter().any(|row| row.kind == kind && row.state != InterlockState::Clear);
                known.waits[slot] = if waits { known.waits[slot].or(Some(moment.now)) } else { None };
            }
        }
        for served in 0..self.known.len() {
            for waits in (0..self.known.len()).filter(|&waits| waits != served) {
                for (slot, kind) in TURNS.into_iter().enumerate() {
                    let (Some(came), Some(since)) = (before[served][slot], before[waits][slot]) else { continue };
                    let overtook = came > since
                        && self.known[served].waits[slot].is_none()
                        && self.known[waits].waits[slot].is_some()
                        && self.is_served(slot, served, waits, moment);
                    must(!overtook, || {
                        let names = (&self.plan.furnaces[served].name, &self.plan.furnaces[waits].name);
                        format!("invariant 6: {} was served before {}, which waited longer ({kind:?})", names.0, names.1)
                    })?;
                }
            }
        }
        self.check_idle_power(moment)
    }

    /// The furnace that waits no more was given what the other waits for.
    fn is_served(&self, slot: usize, served: usize, waits: usize, moment: &Moment<'_>) -> bool {
        let supply = |place: usize| self.plan.furnaces[place].gas.as_ref().map(|gas| gas.supply);
        match slot {
            0 => supply(served) == supply(waits) && self.known[served].flow_rose,
            1 => self.known[served].permitted.is_some(),
            _ => {
                let tank = self.tank_ahead(served);
                let name = Some(&self.plan.furnaces[served].name);
                tank.is_some()
                    && tank == self.tank_ahead(waits)
                    && tank.and_then(|tank| moment.view.tanks.get(tank)).is_some_and(|seen| seen.kept_for.as_ref() == name)
            }
        }
    }

    /// No furnace waits for power that nobody has used for long.
    fn check_idle_power(&mut self, moment: &Moment<'_>) -> Found {
        let Some(limit) = self.plan.electrical_demand else { return Ok(()) };
        let plan = std::sync::Arc::clone(&self.plan);
        // Whoever might heat again by itself keeps its share: a door that is open, a gap in the readings.
        let keeps =
            |known: &Known| known.permitted.is_some() || known.heated || (known.load.is_some() && known.withholding().is_empty());
        let used: f64 =
            self.known.iter().zip(&plan.furnaces).filter(|(known, _)| keeps(known)).map(|(_, plan)| plan.power.value).sum();
        for (known, plan) in self.known.iter_mut().zip(&plan.furnaces) {
            let own = if keeps(known) { 0.0 } else { plan.power.value };
            let waits = known.waits[1].is_some() && used + own <= limit.value;
            known.idle_power_ms = if waits { known.idle_power_ms + moment.dt_ms } else { 0 };
            must(known.idle_power_ms <= IDLE_MOST_MS, || {
                format!("invariant 6: {} waits for power that nobody may use", plan.name)
            })?;
        }
        Ok(())
    }

    /// Silence has a default, and it comes when it was said to come.
    pub(super) fn check_silence(&mut self, moment: &Moment<'_>) -> Found {
        for seen in &moment.view.questions {
            let Some(waiting) = self.questions.get_mut(&seen.id) else { continue };
            let Some((_, at)) = seen.default else { continue };
            let told = *waiting.silent_at.get_or_insert(at);
            must(at.0 <= told.0 + 1, || format!("the default of {:?} is put off", seen.text))?;
            must(moment.now.0 <= told.0 + 1_000 + moment.dt_ms, || format!("silence is not heard: {:?}", seen.text))?;
        }
        Ok(())
    }
}

/// Longest that power may be waited for while all who hold it are latched: a latch is looked at within minutes, or it is not.
const IDLE_MOST_MS: u64 = 120_000;
