//! An independent judge, written from `safety.md`: it hears what the core hears, sees what the core gives out, and knows nothing of
//! how the core decides. Each check names the invariant that it stands for.

use std::collections::{BTreeMap, BTreeSet};

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{FurnaceId, GasFlow, Generation, Name, Quality, Reading, ShopMs, Tick, Value};
use hearthward_supervise::Away;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::{InterlockKind, Means};
use hearthward_supervise::output::{Act, Outputs};
use hearthward_supervise::plan::{FurnacePlan, ShopPlan, SteelChoice};
use hearthward_supervise::recipe::{Protection, StepKind};
use hearthward_supervise::request::{Ask, Choice, QuestionId, Request};
use hearthward_supervise::view::{InterlockState, View};

/// What the core was told since the last tick.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    pub(crate) readings: Vec<Reading>,
    pub(crate) requests: Vec<Request>,
    pub(crate) durable: Option<Tick>,
    pub(crate) stopping: bool,
}

/// What the oracle knows of a furnace.
#[derive(Debug, Default)]
struct Known {
    /// The last temperature that was told, with its quality.
    temperature: Option<(f64, ShopMs, Quality)>,
    last_c: Option<f64>,
    /// The same before this tick, and before its thermometer showed a fault.
    was_c: Option<f64>,
    door: Option<(bool, ShopMs)>,
    /// The door was not shut, or the temperature past its limit or doubtful, at any time since the last tick.
    glimpse: bool,
    /// What only a reset may clear.
    latches: BTreeSet<InterlockKind>,
    heated: bool,
    generation: Generation,
    protected: bool,
    charged_hot: bool,
    loaded: bool,
    pulled: bool,
    /// Volume changes without a break by the oracle's own count, and the most of them.
    changes: f64,
    proved: bool,
    flow: Option<(f64, ShopMs)>,
    told_flow: f64,
    /// What events say of each row.
    standing: BTreeMap<InterlockKind, bool>,
    permitted: Option<(Tick, f64)>,
    permits: Vec<(Tick, f64)>,
    in_band_ms: u64,
    /// The rows that stood after the last tick.
    told: BTreeSet<InterlockKind>,
    /// Somebody chose to quench this load before its time.
    quench_now: bool,
    /// What is bypassed, and how much longer by the oracle's own clock.
    bypasses: BTreeMap<InterlockKind, u64>,
}

/// Longer than any gap that may still be judged after a restart, in milliseconds.
const RIDE_MS: u64 = 75_000;
const QUENCH_NOW: Choice = Choice::Steel(SteelChoice::QuenchNow);

/// The oracle.
#[derive(Debug)]
pub(crate) struct Oracle {
    furnaces: Vec<Known>,
    questions: BTreeSet<QuestionId>,
    durable: Tick,
    last: Option<ShopMs>,
    room: Option<f64>,
    /// The oil as it was last told, in °C.
    oil: Option<f64>,
    danger_latched: bool,
    ended: bool,
    /// Furnace-ticks with heat: a run that never heats proves nothing.
    pub(crate) heated: u64,
    pub(crate) trips: u64,
}

impl Oracle {
    pub(crate) fn new(plan: &ShopPlan) -> Self {
        Self {
            furnaces: plan.furnaces.iter().map(|_| Known::default()).collect(),
            questions: BTreeSet::new(),
            durable: Tick(0),
            last: None,
            room: None,
            oil: None,
            danger_latched: false,
            ended: false,
            heated: 0,
            trips: 0,
        }
    }

    /// Another run begins: what is latched, asked and proved stays; readings and permits do not.
    pub(crate) fn restarted(&mut self, away: Away) {
        for known in &mut self.furnaces {
            (known.temperature, known.door, known.flow, known.heated) = (None, None, None, false);
            (known.permitted, known.changes) = (None, 0.0);
            known.permits.clear();
            let away_ms = if let Away::Known(span) = away { span.0 } else { u64::MAX };
            known.bypasses.values_mut().for_each(|left_ms| *left_ms = left_ms.saturating_sub(away_ms));
            if away == Away::Unknown {
                known.proved = false;
            }
        }
        (self.last, self.durable, self.room, self.ended) = (None, Tick(0), None, false);
    }

    /// Checks everything after a tick.
    pub(crate) fn ticked(&mut self, plan: &ShopPlan, now: ShopMs, seen: &Seen, out: &Outputs, view: &View) {
        self.hear(plan, now, seen);
        for place in 0..self.furnaces.len() {
            self.check_heat(place, &plan.furnaces[place], now, out, view);
        }
        self.check_events(plan, seen, out, view);
        self.check_bypasses(plan, now, out, view);
        self.check_shares(plan, out, view);
        for place in 0..self.furnaces.len() {
            self.check_soak(place, &plan.furnaces[place], now, view);
            self.furnaces[place].glimpse = false;
        }
        if let Some(through) = seen.durable {
            self.durable = through;
        }
        self.last = Some(now);
    }

    fn hear(&mut self, plan: &ShopPlan, now: ShopMs, seen: &Seen) {
        // What is told between two ticks was on disk before this one.
        self.durable = seen.durable.unwrap_or(self.durable);
        self.ended |= seen.stopping;
        let dt_s = self.last.map_or(0.0, |last| now.since(last).as_secs_f64());
        for reading in &seen.readings {
            if plan.room.oxygen == Some(reading.point) {
                self.room = share(reading);
            }
            if let (true, Some(Value::Temperature(oil))) = (plan.tanks[0].temperature == reading.point, &reading.value) {
                self.oil = Some(in_celsius(*oil));
            }
            for (known, plan) in self.furnaces.iter_mut().zip(&plan.furnaces) {
                hear_reading(known, plan, reading);
            }
        }
        for (known, plan) in self.furnaces.iter_mut().zip(&plan.furnaces) {
            count_purge(known, plan, now, dt_s);
        }
        for request in &seen.requests {
            if let Request::Stop { furnace } = request {
                for (place, known) in self.furnaces.iter_mut().enumerate() {
                    if furnace.is_none_or(|furnace| furnace.index() == place) {
                        known.latches.insert(InterlockKind::Stop);
                    }
                }
            }
        }
    }

    /// Invariants 1, 2, 3 and 5, leases and generations.
    fn check_heat(&mut self, place: usize, plan: &FurnacePlan, now: ShopMs, out: &Outputs, view: &View) {
        let id = FurnaceId(place as u16);
        let durable = self.durable;
        let ended = self.ended;
        let known = &mut self.furnaces[place];
        // Requests of this tick are carried out before heat: a reset that was done counts now.
        for event in out.events.iter().filter(|event| event.furnace == Some(id)) {
            if let EventBody::Reset { interlock } = event.body {
                assert!(event.person.is_some(), "invariant 5: a reset without a person");
                known.latches.remove(&interlock);
            }
            if let EventBody::Permitted { ceiling_c } = event.body {
                known.permits.push((out.tick, ceiling_c));
                known.permitted = Some((out.tick, ceiling_c));
            }
            if matches!(event.body, EventBody::Withheld { .. }) {
                known.permits.clear();
                known.permitted = None;
            }
        }
        assert_eq!(
            known.permitted.map(|(_, ceiling_c)| ceiling_c),
            view.furnaces[place].ceiling_c,
            "invariant 7: permits are events"
        );
        let cut = out.cuts.iter().filter(|cut| cut.furnace == id).map(|cut| cut.generation).max();
        if let Some(generation) = cut {
            assert!(generation >= known.generation, "a cut of an old generation");
            known.generation = generation;
        }
        let cause =
            why_not(known, plan, now).or(ended.then_some("the service is ending")).or(known.latches.first().map(|_| "a latch"));
        let orders: Vec<_> = out.orders.iter().filter(|order| order.furnace() == id).collect();
        if let Some(cause) = cause {
            assert!(orders.is_empty(), "invariant 1: heat for {} at {now} though {cause}: {:?}", plan.name, known.latches);
            assert!(!known.heated || cut.is_some(), "invariant 1: no cut for {} in the tick that saw {cause}", plan.name);
        }
        for order in &orders {
            let Means::SetPoint(to) = order.means() else { continue };
            let to_c = in_celsius(*to);
            assert!(to_c <= in_celsius(plan.limit) + 1e-9, "{to_c} °C is above the furnace's limit");
            let ceiling_c = plan.gas.as_ref().map(|gas| in_celsius(gas.purge.unpurged_ceiling));
            if let Some(ceiling_c) = ceiling_c.filter(|_| known.protected && !known.charged_hot && !known.proved && !known.pulled)
            {
                assert!(
                    to_c <= ceiling_c + 1e-6,
                    "invariant 2: {to_c} °C for {} without a proved purge ({} changes)",
                    plan.name,
                    known.changes
                );
            }
            assert!(known.loaded, "heat for a furnace with no load in it");
            assert_eq!(order.generation(), known.generation, "an order of another generation");
            assert!(order.expires() <= now + plan_scan() * 3 && order.expires() > now, "a lease is three scans");
            let written = known.permits.iter().any(|(tick, ceiling_c)| *tick <= durable && to_c <= *ceiling_c + 1e-6);
            assert!(written, "heat to {to_c} °C before its permit was on disk: {:?}, durable {durable:?}", known.permits);
        }
        known.heated = !orders.is_empty();
        self.heated += u64::from(known.heated);
    }

    /// Invariants 5 and 7: each change is an event, exactly once, and what is shown agrees with what was told.
    fn check_events(&mut self, plan: &ShopPlan, seen: &Seen, out: &Outputs, view: &View) {
        let resets = seen.requests.iter().any(|request| matches!(request, Request::Reset { .. }));
        let answers = seen.requests.iter().any(|request| matches!(request, Request::Choose { .. } | Request::Abort { .. }));
        for event in &out.events {
            match &event.body {
                EventBody::Asked { question, .. } => assert!(self.questions.insert(*question), "invariant 7: asked twice"),
                EventBody::Answered { question, .. } | EventBody::Withdrawn { question } => {
                    assert!(self.questions.remove(question), "invariant 7: answered and not asked");
                }
                EventBody::Reset { interlock } => {
                    let own = *interlock == InterlockKind::Interrupted && answers;
                    assert!(resets || own, "invariant 5: {interlock:?} was reset and nobody asked");
                }
                _ => {}
            }
            let Some(known) = event.furnace.and_then(|id| self.furnaces.get_mut(id.index())) else { continue };
            match &event.body {
                EventBody::Tripped { interlock, latched, .. } => {
                    self.trips += 1;
                    let before = known.standing.insert(*interlock, *latched);
                    let again = before.is_some_and(|was| was == *latched && !was);
                    assert!(!again, "invariant 7: {interlock:?} tripped twice");
                }
                EventBody::Cleared { interlock } => {
                    let was = known.standing.remove(interlock);
                    assert_eq!(was, Some(false), "invariant 5: {interlock:?} cleared itself from {was:?}");
                }
                EventBody::Reset { interlock } => {
                    let was = known.standing.remove(interlock);
                    assert_eq!(was, Some(true), "invariant 5: {interlock:?} was reset from {was:?}");
                }
                EventBody::CycleEnded { .. } => (known.loaded, known.protected) = (false, false),
                EventBody::PartUnder { .. } => known.pulled = true,
                _ => {}
            }
        }
        for (place, plan) in plan.furnaces.iter().enumerate() {
            self.check_questions(place, &plan.name, seen, out, view);
        }
        let shown: BTreeSet<QuestionId> = view.questions.iter().map(|question| question.id).collect();
        assert_eq!(shown, self.questions, "invariant 7: the questions shown are those asked");
        for (known, (furnace, plan)) in self.furnaces.iter_mut().zip(view.furnaces.iter().zip(&plan.furnaces)) {
            for row in &furnace.interlocks {
                let told = known.standing.get(&row.kind);
                match row.state {
                    InterlockState::Clear => {
                        assert_eq!(told, None, "invariant 7: {:?} of {} is shown clear", row.kind, plan.name)
                    }
                    InterlockState::Tripped => {
                        assert!(told.is_some(), "invariant 7: {:?} of {} tripped in silence", row.kind, plan.name)
                    }
                    InterlockState::Latched => {
                        assert_eq!(told, Some(&true), "invariant 7: {:?} of {} latched in silence", row.kind, plan.name)
                    }
                }
            }
            let step = furnace.cycle.as_ref().map(|cycle| (cycle.step, cycle.protection));
            let begins = !known.loaded && step.is_some();
            known.loaded = step.is_some();
            if begins {
                (known.proved, known.pulled, known.changes) = (false, false, 0.0);
                known.protected = step.is_some_and(|(_, protection)| protection == Protection::Gas);
                // By its own thermometer: a hot chamber is charged, not purged cold.
                known.charged_hot = known.last_c.is_none_or(|last_c| last_c > 200.0);
            }
        }
    }

    /// "After a cut for people the same question follows at once if the steel is hot", one question about a load at a time, and no
    /// part is called before its bath is ready, unless a person wants it quenched now.
    fn check_questions(&mut self, place: usize, name: &Name, seen: &Seen, out: &Outputs, view: &View) {
        use InterlockKind::{DriverLost, OverTemperature, RunTimeLimit, SensorFault, Stop};
        let id = FurnaceId(place as u16);
        let mine: Vec<&Ask> = view
            .questions
            .iter()
            .filter(|question| question.furnace.as_ref() == Some(name))
            .map(|question| &question.ask)
            .collect();
        let decides = mine.iter().filter(|ask| matches!(ask, Ask::GoOn { .. })).count();
        let steel = mine.iter().any(|ask| matches!(ask, Ask::Steel { .. }));
        assert!(decides <= 1 && !(decides == 1 && steel), "two questions stand for the load in {name}");
        let elsewhere = |ask: &&Ask| matches!(ask, Ask::LoadAndShut | Ask::Transfer { .. } | Ask::LetCool { .. });
        let out_of_it = mine.iter().any(elsewhere);
        let known = &mut self.furnaces[place];
        let runs =
            view.furnaces[place].cycle.as_ref().is_some_and(|cycle| cycle.step != StepKind::Cool && cycle.ready_in_ms.is_none());
        let hot = known.loaded && runs && !known.pulled && !out_of_it && known.was_c.is_some_and(|was_c| was_c > 300.0);
        for event in out.events.iter().filter(|event| event.furnace == Some(id)) {
            match &event.body {
                EventBody::Tripped { interlock, .. } if hot && view.at.0 > RIDE_MS => {
                    let cuts = matches!(interlock, DriverLost | OverTemperature | SensorFault | RunTimeLimit | Stop);
                    let began = !known.told.contains(interlock);
                    assert!(
                        !cuts || !began || decides == 1 || steel || known.bypasses.contains_key(interlock),
                        "nobody is asked about the hot steel in {name}: {interlock:?}"
                    );
                }
                EventBody::Asked { ask: Ask::PartUnder { part: 1, .. }, .. } => {
                    let chose = known.quench_now
                        || seen.requests.iter().any(|request| matches!(request, Request::Choose { choice: QUENCH_NOW, .. }));
                    let in_window = self.oil.is_some_and(|oil_c| (40.0..=70.0).contains(&oil_c));
                    let bypassed = known.bypasses.contains_key(&InterlockKind::QuenchReadiness);
                    assert!(chose || in_window || bypassed, "a part was called in {name} with its bath at {:?} °C", self.oil);
                }
                EventBody::Answered { choice: Some(QUENCH_NOW), .. } => known.quench_now = true,
                EventBody::CycleEnded { .. } => known.quench_now = false,
                _ => {}
            }
        }
        known.told = known.standing.keys().copied().collect();
        if !known.told.contains(&SensorFault) {
            known.was_c = known.last_c;
        }
    }

    /// Invariant 5: no bypass past its expiry, none of what is never bypassed, and no heat past a row that is in force.
    fn check_bypasses(&mut self, plan: &ShopPlan, now: ShopMs, out: &Outputs, view: &View) {
        let dt_ms = self.last.map_or(0, |last| now.0 - last.0);
        for (place, known) in self.furnaces.iter_mut().enumerate() {
            known.bypasses.values_mut().for_each(|left_ms| *left_ms = left_ms.saturating_sub(dt_ms));
            for event in out.events.iter().filter(|event| event.furnace == Some(FurnaceId(place as u16))) {
                match &event.body {
                    EventBody::Bypassed { interlock, for_ms, reason } => {
                        assert!(
                            event.person.is_some() && !reason.is_empty(),
                            "invariant 5: a bypass without a person or a reason"
                        );
                        assert!(
                            plan.furnaces[place].policy.may_bypass.contains(interlock),
                            "{interlock:?} is not open to a bypass"
                        );
                        let day_ms = 24 * 3_600_000;
                        assert!(*for_ms > 0 && *for_ms <= day_ms, "a bypass of {for_ms} ms");
                        known.bypasses.insert(*interlock, *for_ms);
                    }
                    EventBody::Restored { interlock, .. } => drop(known.bypasses.remove(interlock)),
                    _ => {}
                }
            }
            let heated = out.orders.iter().any(|order| order.furnace().index() == place);
            for row in &view.furnaces[place].interlocks {
                let own_ms = known.bypasses.get(&row.kind).copied();
                let shown_ms = row.bypass.as_ref().map(|bypass| bypass.left_ms);
                assert!(
                    shown_ms.is_none() || own_ms.is_some_and(|own_ms| own_ms > 0),
                    "invariant 5: {:?} past its expiry",
                    row.kind
                );
                assert_eq!(shown_ms, own_ms, "invariant 5: the bypass of {:?}", row.kind);
                let cuts = matches!(row.kind, InterlockKind::RunTimeLimit | InterlockKind::DriverLost);
                let in_force = cuts && row.state != InterlockState::Clear && own_ms.is_none();
                assert!(!(heated && in_force), "invariant 1: heat past {:?}, which nobody has bypassed", row.kind);
            }
        }
    }

    /// Invariant 6, and the half of 3 that keeps gas on hot steel.
    fn check_shares(&mut self, plan: &ShopPlan, out: &Outputs, view: &View) {
        for act in &out.acts {
            let Act::SetFlow { meter, flow } = act else { continue };
            for (known, plan) in self.furnaces.iter_mut().zip(&plan.furnaces) {
                if plan.gas.as_ref().is_some_and(|gas| gas.meter == Some(*meter)) {
                    known.told_flow = flow.value;
                }
            }
        }
        let given: f64 = self.furnaces.iter().map(|known| known.told_flow).sum();
        assert!(given <= plan.supplies[0].capacity.value * 1.000_001, "invariant 6: {given} mol/s of the manifold");
        let heating: f64 =
            self.furnaces.iter().zip(&plan.furnaces).filter(|(known, _)| known.heated).map(|(_, plan)| plan.power.value).sum();
        let limit = plan.electrical_demand.map_or(f64::INFINITY, |limit| limit.value);
        assert!(heating <= limit * 1.000_001, "invariant 6: {heating} W");
        let danger = |known: &Known| known.standing.get(&InterlockKind::RoomOxygen) == Some(&true);
        self.danger_latched =
            self.furnaces.iter().any(danger) || self.room.is_some_and(|room| room < 0.18) || self.danger_latched;
        if self.danger_latched {
            self.danger_latched = self.furnaces.iter().any(danger) || self.room.is_none_or(|room| room < 0.195);
            return;
        }
        for (known, (furnace, plan)) in self.furnaces.iter().zip(view.furnaces.iter().zip(&plan.furnaces)) {
            let in_chamber = known.loaded && known.protected && known.proved && !known.pulled;
            if in_chamber && known.last_c.is_some_and(|last_c| last_c > 300.0) && furnace.cycle.is_some() {
                assert!(known.told_flow > 0.0, "invariant 3: gas was taken from hot steel in {}", plan.name);
            }
        }
    }

    /// Invariant 8.
    fn check_soak(&mut self, place: usize, plan: &FurnacePlan, now: ShopMs, view: &View) {
        let known = &mut self.furnaces[place];
        let Some(cycle) = view.furnaces[place].cycle.as_ref().filter(|cycle| cycle.step == StepKind::Soak) else {
            known.in_band_ms = 0;
            return;
        };
        if cycle.in_band_ms > known.in_band_ms {
            let read_c =
                known.temperature.filter(|(_, at, _)| now.since(*at) <= plan.stale_after).map_or(f64::NAN, |(read_c, ..)| read_c);
            assert!((read_c - 800.0).abs() <= 5.0 + 1e-6, "invariant 8: {read_c} °C counted as in band");
            let dt_ms = self.last.map_or(0, |last| now.0 - last.0);
            assert!(cycle.in_band_ms <= known.in_band_ms + dt_ms.max(1), "invariant 8: time ran faster than the clock");
        }
        known.in_band_ms = cycle.in_band_ms;
    }
}

fn plan_scan() -> std::time::Duration {
    std::time::Duration::from_secs(1)
}

fn share(reading: &Reading) -> Option<f64> {
    match (&reading.value, reading.quality) {
        (Some(Value::Share(share)), Quality::Good) => Some(share.value),
        _ => None,
    }
}

fn hear_reading(known: &mut Known, plan: &FurnacePlan, reading: &Reading) {
    match &reading.value {
        Some(Value::Temperature(read)) if reading.point == plan.temperature => {
            let read_c = in_celsius(*read);
            known.temperature = Some((read_c, reading.at, reading.quality));
            if reading.quality == Quality::Good {
                known.last_c = Some(read_c);
            } else {
                known.latches.insert(InterlockKind::SensorFault);
                known.glimpse = true;
            }
            if reading.quality == Quality::Good && read_c > in_celsius(plan.limit) {
                known.latches.insert(InterlockKind::OverTemperature);
                known.glimpse = true;
            }
        }
        Some(Value::Flag(open)) if Some(reading.point) == plan.door => {
            known.door = Some((*open, reading.at));
            known.glimpse |= *open;
        }
        Some(Value::GasFlow(flow)) if plan.gas.as_ref().is_some_and(|gas| gas.flow == reading.point) => {
            let flow: GasFlow = *flow;
            known.flow = Some((flow.value, reading.at));
        }
        _ => {}
    }
}

/// A cause for people and equipment, by the readings alone.
fn why_not(known: &Known, plan: &FurnacePlan, now: ShopMs) -> Option<&'static str> {
    if known.glimpse {
        return Some("something was seen since the last tick");
    }
    match known.temperature {
        None => return Some("there is no temperature"),
        Some((_, at, _)) if now.since(at) > plan.stale_after => return Some("the temperature is too old"),
        Some((.., quality)) if quality != Quality::Good => return Some("the temperature is not good"),
        Some((read_c, ..)) if read_c > in_celsius(plan.limit) => return Some("the temperature is above the limit"),
        Some(_) => {}
    }
    match known.door {
        _ if plan.door.is_none() => None,
        None => Some("the door is not known"),
        Some((_, at)) if now.since(at) > plan.stale_after => Some("the door's reading is too old"),
        Some((true, _)) => Some("the door is open"),
        Some((false, _)) => None,
    }
}

/// The oracle's own count of volume changes: n = ∫ flow · R T / (p V) dt while flow stands and the door is shut.
fn count_purge(known: &mut Known, plan: &FurnacePlan, now: ShopMs, dt_s: f64) {
    const R: f64 = 8.314_462_618;
    let Some(gas) = &plan.gas else { return };
    let door_shut = matches!(known.door, Some((false, at)) if now.since(at) <= plan.stale_after) && !known.glimpse;
    let cold = known.last_c.is_none_or(|last_c| last_c <= 200.0);
    if !door_shut && cold && known.door.is_some() {
        known.proved = false;
    }
    let flow = known.flow.filter(|(_, at)| now.since(*at) <= plan.stale_after).map_or(0.0, |(flow, _)| flow);
    if !door_shut || flow < 0.8 * gas.purge.flow.value {
        known.changes = 0.0;
        return;
    }
    let kelvin = known.last_c.unwrap_or(21.0) + 273.15;
    known.changes += flow * dt_s * R * kelvin / (101_325.0 * plan.chamber.volume.value);
    // A whole purge, less what the first readings may have missed.
    known.proved |= known.loaded && known.changes >= gas.purge.changes * 0.98;
}
