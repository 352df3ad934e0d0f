//! What the readings alone say: the causes for people and equipment, and the latches that follow from them.

use hearthward_equipment::ShopMs;
use hearthward_equipment::quantity::in_celsius;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::FurnacePlan;
use hearthward_supervise::recipe::StepKind;
use hearthward_supervise::request::{Ask, Request};

use super::known::{Door, Known};
use super::{Moment, Oracle};

/// Oxygen in the room.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Room {
    /// The level now, if it can be relied upon.
    pub(super) level: Option<f64>,
    /// Since which tick it is under the second level, and how long that tick took.
    pub(super) under: Option<(ShopMs, u64)>,
    /// It was for longer than the debounce.
    pub(super) danger: bool,
    /// And nobody has reset it.
    pub(super) latched: bool,
}

impl Room {
    pub(super) fn restarted(&mut self) {
        (self.level, self.under, self.danger) = (None, None, false);
    }
}

impl Oracle {
    /// Reads everything.
    pub(super) fn look(&mut self, moment: &Moment<'_>) {
        self.look_at_room(moment);
        let shop = std::sync::Arc::clone(&self.plan);
        for place in 0..self.known.len() {
            let plan = &shop.furnaces[place];
            let stale = plan.stale_after;
            let good = |point| self.of(point).and_then(|heard| heard.good(moment.now, stale));
            let high = |point| self.of(point).map_or(f64::NEG_INFINITY, |heard| heard.high);
            let doubtful = |point| self.of(point).is_some_and(|heard| heard.doubtful);
            let temperature = Some(plan.temperature);
            let read_c = good(temperature);
            let missing = self.of(temperature).is_none_or(|heard| heard.is_missing(moment.now, stale));
            let door = match good(plan.door) {
                _ if plan.door.is_none() => Door::Absent,
                _ if high(plan.door) > 0.5 => Door::Open,
                Some(open) if open > 0.5 => Door::Open,
                Some(_) if !doubtful(plan.door) => Door::Shut,
                _ => Door::Unknown,
            };
            let alarm = good(plan.over_temperature);
            let out = plan.controller.is_some_and(|unit| self.out_of_service[unit.index()]);
            let above = read_c.unwrap_or(f64::NEG_INFINITY).max(high(temperature)) > in_celsius(plan.limit);
            let alarmed = alarm.is_some_and(|alarm| alarm > 0.5) || high(plan.over_temperature) > 0.5;
            let doubt = doubtful(temperature) || (!missing && read_c.is_none());
            let lost = missing || out || (plan.over_temperature.is_some() && alarm.is_none());
            let slept = moment.dt_ms > stale.as_millis() as u64;
            // At its end, and while it is moved, the load is nobody's surprise.
            let shown = moment.view.furnaces[place].cycle.as_ref().map(|cycle| cycle.step);
            let loading = self.is_loading(place) || shown != self.known[place].step.map(|(_, step)| step);
            let room = self.room;
            let ended = self.ended;
            let (cuts, cuts_latched) = self.weigh_rules(place, moment.now);
            let durable = self.durable;
            let known = &mut self.known[place];
            (known.door, known.read_c) = (door, read_c);
            known.opened_for_part |= door == Door::Open;
            let mut seen = super::set::Set::default();
            seen.add(InterlockKind::DoorOpen, matches!(door, Door::Open | Door::Unknown));
            seen.add(InterlockKind::OverTemperature, above || alarmed);
            seen.add(InterlockKind::SensorFault, doubt);
            // Readings that nobody looked at for longer than they may grow old were missing for that time.
            seen.add(InterlockKind::DriverLost, lost || slept);
            seen.add(InterlockKind::RoomOxygen, room.danger);
            seen.add(InterlockKind::Ending, ended);
            seen.add(InterlockKind::ShopRule, cuts);
            known.bypassed = known.policy.in_force(durable);
            if read_c.is_none() {
                // What nobody can read is never heated, whatever is bypassed.
                known.bypassed.remove(InterlockKind::DriverLost);
            }
            known.seen = seen;
            known.judge_health(doubt, read_c.is_some() && !slept, moment.dt_ms);
            let kinds = Kinds { lost: lost || slept, loading, rule: cuts_latched, durable };
            latch(known, plan, moment, kinds, shop.ride_through.as_millis() as u64);
        }
    }

    /// The load is on its way in or out, so that nobody is surprised by an open door.
    fn is_loading(&self, place: usize) -> bool {
        self.questions.values().any(|waiting| {
            let here = waiting.furnace.is_some_and(|id| id.index() == place);
            let comes = matches!(&waiting.ask, Ask::Transfer { to } if *to == self.plan.furnaces[place].name);
            comes || (here && matches!(waiting.ask, Ask::LoadAndShut | Ask::Transfer { .. } | Ask::PartUnder { .. }))
        })
    }

    fn look_at_room(&mut self, moment: &Moment<'_>) {
        let plan = &self.plan.room;
        let level = self.of(plan.oxygen).and_then(|heard| heard.good(moment.now, plan.stale_after));
        let debounce_ms = plan.debounce.as_millis() as u64;
        let second = plan.second_level.value;
        let room = &mut self.room;
        room.level = level;
        room.under = match (level, room.under) {
            (Some(level), None) if level < second => Some((moment.now, moment.dt_ms)),
            (Some(level), known) if level < second => known,
            _ => None,
        };
        room.danger = room.under.is_some_and(|(since, _)| moment.now.0 - since.0 >= debounce_ms);
        room.latched |= room.danger;
    }

    /// A stop latches in the tick that hears it.
    pub(super) fn hear_stops(&mut self) {
        for at in 0..self.asked.len() {
            match &self.asked[at] {
                Request::Stop { furnace } => {
                    for (place, known) in self.known.iter_mut().enumerate() {
                        if furnace.is_none_or(|furnace| furnace.index() == place) {
                            known.latches.add(InterlockKind::Stop, true);
                            known.seen.add(InterlockKind::Stop, true);
                            known.stopped |= known.step.is_some();
                        }
                    }
                }
                Request::Start { furnace, .. }
                | Request::Hold { furnace }
                | Request::Resume { furnace }
                | Request::Skip { furnace, .. }
                | Request::Abort { furnace } => {
                    if let Some(known) = self.known.get_mut(furnace.index()) {
                        known.alone_ms = 0;
                    }
                }
                // To know of an alarm, or to put it aside, is nothing done at a furnace.
                Request::Alarm(_) => {}
                // Whose question it was is not worth the looking: any answer counts as a sign of life everywhere.
                _ => self.known.iter_mut().for_each(|known| known.alone_ms = 0),
            }
        }
    }
}

/// A lease lasts three scans of a second at most.
const LEASE_MS: u64 = 3_000;

/// What a latch depends on beside the readings.
#[derive(Clone, Copy)]
struct Kinds {
    lost: bool,
    loading: bool,
    rule: bool,
    durable: hearthward_equipment::Tick,
}

/// The latches that the readings leave behind by themselves.
fn latch(known: &mut Known, plan: &FurnacePlan, moment: &Moment<'_>, kinds: Kinds, ride_ms: u64) {
    for kind in [InterlockKind::OverTemperature, InterlockKind::SensorFault, InterlockKind::RoomOxygen] {
        let is = known.seen.has(kind);
        known.latches.add(kind, is);
    }
    let runs = known.step.is_some();
    known.lost_ms = if kinds.lost { known.lost_ms + moment.dt_ms } else { 0 };
    // A tick more than the rule: whether the first or the last moment of a loss counts is nobody's concern.
    let slack_ms = 1_500;
    let bypassed = known.policy.in_force(kinds.durable);
    let in_force = |kind| !bypassed.has(kind);
    known
        .latches
        .add(InterlockKind::DriverLost, runs && known.lost_ms > ride_ms + slack_ms && in_force(InterlockKind::DriverLost));
    known.latches.add(InterlockKind::ShopRule, runs && kinds.rule && in_force(InterlockKind::ShopRule));
    let surprised = runs
        && known.in_chamber
        && !kinds.loading
        && matches!(
            known.step,
            Some((_, StepKind::Purge | StepKind::Preheat | StepKind::Ramp | StepKind::Soak | StepKind::Temper))
        );
    let open = surprised && known.door == Door::Open;
    known.open_ms = if open { known.open_ms + moment.dt_ms } else { 0 };
    // A switch that could not be read before it read open may count as open since then, or as unread since then.
    let long = known.open_ms > plan.short_opening.as_millis() as u64 + slack_ms;
    known.latches.add(InterlockKind::DoorOpen, long);
    if let Some(limit) = plan.run_time_limit {
        // Heat ends with its lease: who sleeps for longer than that gives none, and how much of a lease was used is nobody's concern.
        let heats = known.heated && moment.dt_ms <= LEASE_MS;
        known.alone_ms += if heats { moment.dt_ms } else { 0 };
        let over = known.alone_ms > limit.as_millis() as u64 + 2 * slack_ms;
        known.seen.add(InterlockKind::RunTimeLimit, over);
        known.latches.add(InterlockKind::RunTimeLimit, over && in_force(InterlockKind::RunTimeLimit));
    }
    if known.door == Door::Open {
        known.opened_in_gap = true;
    }
}
