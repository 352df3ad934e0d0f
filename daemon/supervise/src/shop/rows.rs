//! The interlock rows in a tick: the situation that they judge, their verdicts, what is said of a change.

use super::{Ending, Shop};
use crate::cycle::{Outcome, span};
use crate::event::{Event, EventBody, Priority};
use crate::facts::{Door, Room, Situation, Tank as TankNow};
use crate::furnace::{Furnace, Gap};
use crate::interlock::{Change, For, InterlockKind, Told, Why, acts, applies, entry, say, verdict};
use crate::output::Outputs;
use crate::plan::{FurnacePlan, Heating, TankPlan};
use crate::recipe::StepKind;

/// The rows that cut, judged before anything else is decided.
pub(super) const PEOPLE: [InterlockKind; 10] = [
    InterlockKind::DoorOpen,
    InterlockKind::OverTemperature,
    InterlockKind::SensorFault,
    InterlockKind::DriverLost,
    InterlockKind::RoomOxygen,
    InterlockKind::RunTimeLimit,
    InterlockKind::Stop,
    InterlockKind::Interrupted,
    InterlockKind::Ending,
    InterlockKind::ShopRule,
];

/// The rows that ask or wait, judged when cycles and shares are decided.
pub(super) const REST: [InterlockKind; 11] = [
    InterlockKind::PurgeBeforeHeat,
    InterlockKind::OpeningAtHeat,
    InterlockKind::OffSetPoint,
    InterlockKind::PurgeFlow,
    InterlockKind::GasSupply,
    InterlockKind::QuenchReadiness,
    InterlockKind::QuenchOverTemperature,
    InterlockKind::OneTankOneLoad,
    InterlockKind::SharedSupply,
    InterlockKind::SharedElectrical,
    InterlockKind::ShopWatch,
];

impl Shop {
    /// Judges these rows of every furnace.
    pub(super) fn judge(&mut self, kinds: &[InterlockKind], out: &mut Outputs) {
        let (now, room, ending) = (self.now, self.room.is, self.ending != Ending::No);
        let ride_through_s = self.plan.ride_through.as_secs_f64();
        let limited = self.plan.electrical_demand.is_some();
        for place in 0..self.furnaces.len() {
            let (Some(furnace), Some(plan)) = (self.furnaces.get(place), self.plan.furnaces.get(place)) else { break };
            let tank = self.tank_of(furnace);
            let gap_rides = matches!(furnace.gap, Gap::Open { away_ms, .. } if away_ms as f64 / 1000.0 <= ride_through_s);
            let now_is = Situation { room, ending, ride_through_s, gap_rides, tank, ..situation(furnace, plan) };
            let furnace = &mut self.furnaces[place];
            furnace.situation = now_is;
            for &kind in kinds {
                if !applies(kind, plan, self.plan.room.oxygen.is_some(), limited) {
                    continue;
                }
                let said = verdict(kind, plan, &furnace.facts, &now_is, &mut furnace.memory);
                if let Some(change) = furnace.rows.step(kind, now, said) {
                    let cuts =
                        change == Change::Tripped && furnace.rows.row(kind).withholds() && entry(kind).causes == For::People;
                    furnace.cut_now |= cuts;
                    furnace.goes_on &= !cuts;
                    tell(furnace, plan, kind, change, &mut out.events);
                }
            }
        }
    }

    fn tank_of(&self, furnace: &Furnace) -> TankNow {
        let commanded = |plan: &TankPlan| plan.unit.is_some();
        let ahead = furnace.cycle.as_ref().and_then(|cycle| Some((cycle, crate::cycle::tank_ahead(cycle)?)));
        let Some((cycle, id)) = ahead.filter(|(_, id)| self.tanks.get(id.index()).is_some()) else {
            let heater = !self.plan.tanks.is_empty() && self.plan.tanks.iter().all(commanded);
            return TankNow { heater, ..TankNow::default() };
        };
        let tank = &self.tanks[id.index()];
        let kind = cycle.kind();
        // Under way the quality window is never revoked, only noted.
        // Before heat it is people's turn only where the service cannot warm the bath; from then on there is still time.
        let heater = self.plan.tanks.get(id.index()).is_some_and(commanded);
        let looked_at = matches!(kind, StepKind::Preheat | StepKind::Ramp | StepKind::Soak);
        let matters = cycle.is_running() && (looked_at || (kind == StepKind::Purge && !heater));
        TankNow {
            routed: true,
            ready: tank.is_ready_for(cycle.bath_warmest_c),
            matters,
            near_flash: tank.latched,
            heater,
            taken: tank.waits(furnace.id)
                && (kind == StepKind::Soak || (kind == StepKind::Pull && cycle.outcome != Outcome::QuenchedEarly)),
        }
    }
}

/// A row changed: says so.
pub(super) fn tell(furnace: &Furnace, plan: &FurnacePlan, kind: InterlockKind, change: Change, events: &mut Vec<Event>) {
    let row = furnace.rows.row(kind);
    let entry = entry(kind);
    let (body, priority, text) = match change {
        Change::Tripped => {
            let told = Told { plan, facts: &furnace.facts, situation: &furnace.situation, row };
            let mut text = String::new();
            say(kind, &told, &mut text);
            let (latched, first, acts) = (row.is_latched(), row.is_first(), acts(kind, plan, &furnace.situation));
            let opened_on_purpose = kind == InterlockKind::DoorOpen && furnace.situation.opening_expected && !latched;
            // A look through the door is over before anybody could come.
            let looked = kind == InterlockKind::DoorOpen && furnace.facts.door == Door::Open && !latched;
            let priority = match (entry.causes, furnace.situation.running) {
                _ if opened_on_purpose || row.is_bypassed() => Priority::Record,
                _ if looked => Priority::Notice,
                (For::Turn, _) | (_, false) if !latched => Priority::Record,
                (For::People, _) if latched || furnace.situation.hot => Priority::Urgent,
                _ => Priority::Warning,
            };
            (EventBody::Tripped { interlock: kind, latched, first, acts }, priority, text)
        }
        Change::Cleared => {
            let after = span(crate::gas::milliseconds(row.stood().as_secs_f64()));
            let text = match kind {
                InterlockKind::DoorOpen if row.why() == Why::Other => {
                    format!("{}: its door can be read again; it could not for {after}.", plan.name)
                }
                _ => format!("{}: {} is clear; it stood for {after}.", plan.name, entry.title.to_lowercase()),
            };
            (EventBody::Cleared { interlock: kind }, Priority::Record, text)
        }
    };
    events.push(Event { furnace: Some(furnace.id), priority, person: None, text, body });
    if change == Change::Cleared && furnace.situation.running {
        tell_ridden_through(furnace, plan, kind, events);
    }
}

/// A gap that a load has been carried over is noted beside what cleared.
fn tell_ridden_through(furnace: &Furnace, plan: &FurnacePlan, kind: InterlockKind, events: &mut Vec<Event>) {
    let (what, gap_s) = match kind {
        InterlockKind::DriverLost => ("could not be read", furnace.memory.driver.gap_s),
        // A furnace that is not read at all tells of that when it is.
        InterlockKind::DoorOpen if furnace.rows.stands(InterlockKind::DriverLost) => return,
        InterlockKind::DoorOpen if furnace.rows.row(kind).why() == Why::Other => {
            ("did not tell of its door", furnace.memory.door.gap_s)
        }
        _ => return,
    };
    // Longer than that, at a step that expected the door, or with a latch that stands: nothing was ridden through.
    if !(gap_s <= furnace.situation.ride_through_s) || furnace.rows.withhold_until_reset() {
        return;
    }
    let gap_ms = crate::gas::milliseconds(gap_s);
    let text = format!("{} {what} for {}; what it reads now agrees, so its load goes on.", plan.name, span(gap_ms));
    let body = EventBody::RodeThrough { gap_ms };
    events.push(Event { furnace: Some(furnace.id), priority: Priority::Notice, person: None, text, body });
}

/// What the furnace itself makes of this tick; the shop's part is added by the caller.
fn situation(furnace: &Furnace, plan: &FurnacePlan) -> Situation {
    let cycle = furnace.cycle.as_ref();
    let exposure = plan.gas.as_ref().is_some_and(|gas| !(furnace.air.account.exposure_s <= gas.purge.exposure_budget_s));
    Situation {
        running: cycle.is_some(),
        load_in: cycle.is_some_and(|cycle| !cycle.out),
        gas_load: furnace.has_gas_load(plan),
        charged_hot: cycle.is_some_and(|cycle| cycle.charged_hot),
        proved: furnace.purge.is_proved(),
        // What has cooled until it is safe to open may be opened.
        opening_expected: cycle
            .is_none_or(|cycle| cycle.expects_opening() || (cycle.kind() == StepKind::Cool && !furnace.is_hot(plan))),
        hot: furnace.is_hot(plan),
        last_c: furnace.last_c,
        program_off: cycle.is_some_and(|cycle| crate::cycle::program_is_off(cycle, plan, &furnace.facts)),
        steady: cycle.is_some_and(crate::cycle::Cycle::is_steady),
        // What the equipment was told: a ceiling, or a ramp that no hand follows, is no fault of the furnace.
        wanted_c: cycle.and_then(|cycle| cycle.wanted_c).and_then(|wanted_c| match plan.heating {
            Heating::ByHand => furnace.hand_c,
            _ => Some(wanted_c.min(furnace.grant.granted_c().unwrap_or(wanted_c))),
        }),
        heating: furnace.heating,
        recovering: furnace.air.account.recovering,
        seen_open: furnace.air.account.open_ms > 0 || cycle.is_some_and(|cycle| cycle.charged_hot),
        shut_for_s: furnace.shut_for_s,
        asked_flow: furnace.gas.given,
        flow: furnace.flow(plan),
        exposed: exposure,
        interrupted: cycle.is_some_and(|cycle| cycle.interrupted),
        in_gap: furnace.gap != Gap::None,
        gap_rides: false,
        gas_short: furnace.gas_short,
        gas_word: furnace.gas_word,
        waits_for_supply: furnace.gas.turn.is_some(),
        waits_for_power: furnace.power.turn.is_some(),
        alone_s: furnace.alone_s,
        rules: furnace.rules_now,
        room: Room::Unwired,
        tank: TankNow::default(),
        ending: false,
        ride_through_s: 0.0,
    }
}
