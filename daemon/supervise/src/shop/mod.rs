//! The shop: what is kept, and the order in which a tick decides.

mod acts;
mod alarms;
mod bypasses;
mod cycles;
mod digest;
mod enter;
mod gaps;
mod heat;
mod news;
mod own_rules;
mod people;
mod proofs;
mod render;
mod resets;
mod restart;
mod rows;
pub(crate) mod share;
mod start;
mod supply;

use hearthward_equipment::{FurnaceId, Generation, ShopMs, Tick, UnitId};
use serde::{Deserialize, Serialize};

use crate::alarm::Alarms;
use crate::cycle::{ShopNow, Turn};
use crate::event::{Event, EventBody, Priority};
use crate::facts::{Room, Unit};
use crate::furnace::Furnace;
use crate::interlock::{Change, InterlockKind, Verdict, Why};
use crate::observe::{ActState, CutState, Observation, UnitState, Urgency};
use crate::output::{Act, Outputs, Via};
use crate::plan::ShopPlan;
use crate::points::Points;
use crate::questions::Questions;
use crate::request::{Person, Request, Ticket};
use crate::standing::{Away, STANDING_FORMAT, Standing};
use crate::tanks::Tank;
use crate::wires::Wires;

/// Everything that the core decides on and remembers.
///
/// Kept whole with `serde` for a replay to begin at: no field of the state is left out of that, only the plan and what waits.
///
/// Feed it with [`Shop::observe`] and [`Shop::request`] in the order in which things happened, then call [`Shop::tick`] and carry
/// out all outputs before the next one. Time never goes back: an earlier one counts as the last.
#[derive(Debug, Serialize, Deserialize)]
pub struct Shop {
    #[serde(skip)]
    plan: ShopPlan,
    points: Points,
    units: Vec<Unit>,
    furnaces: Vec<Furnace>,
    tanks: Vec<Tank>,
    room: RoomNow,
    questions: Questions,
    alarms: Alarms,
    wires: Wires,
    /// What was told since the last tick.
    #[serde(skip)]
    inbox: Inbox,
    tick: Tick,
    now: ShopMs,
    durable: Tick,
    record_failing: Option<String>,
    ending: Ending,
    /// What the first tick says of the time before.
    began: Option<Began>,
    next_ticket: u64,
    /// Places given out in queues.
    turns: u64,
    /// When the gas forecast was last made, counted down in milliseconds.
    forecast_ms: u64,
    /// Some permit waits for the disk.
    waits_for_disk: bool,
}

/// Whether the service is ending.
///
/// ```text
/// No ──told──▶ Told ──said in a tick──▶ Said
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
enum Ending {
    /// It goes on.
    No,
    /// It was told to end.
    Told,
    /// It said so.
    Said,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
struct Began {
    away: Away,
    clean: bool,
    /// What stood before cannot be read: what was latched then is not known.
    unread: bool,
}

/// The room's oxygen over time.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
struct RoomNow {
    is: Room,
    /// Whether the last tick saw it under the second level, and for how long it has been.
    under: bool,
    under_s: f64,
    /// The second level was undershot and nobody has reset it: gas is shut.
    latched: bool,
}

impl RoomNow {
    /// Loads may begin in this air.
    fn is_well(&self) -> bool {
        matches!(self.is, Room::Unwired | Room::Fine) && !self.latched
    }

    /// What its second level left may be reset. Under that level it may be low only because it has not lasted long enough to trip.
    fn may_be_reset(&self) -> bool {
        matches!(self.is, Room::Unwired | Room::Fine | Room::Low) && !self.under
    }
}

#[derive(Debug, Default)]
struct Inbox {
    cuts: Vec<(FurnaceId, Generation, Via, CutState)>,
    acts: Vec<(Act, ActState)>,
    orders: Vec<(UnitId, ActState)>,
    units: Vec<(UnitId, UnitState)>,
    record: Vec<Option<String>>,
    requests: Vec<(Ticket, Person, Request)>,
    /// How far the wall clock ran ahead of the shop's.
    wall_ahead_ms: u64,
}

impl Shop {
    /// A shop before its first tick, which cuts everything that can be cut.
    ///
    /// A cycle that was running goes on by itself only within the ride-through, with readings that agree and a door that is shut;
    /// else a person is asked. What stood in another format is as good as not read: see [`Shop::after_unread`].
    #[must_use]
    pub fn new(plan: ShopPlan, stood: Option<Standing>, away: Away) -> Self {
        let unread = stood.as_ref().is_some_and(|stood| stood.format != STANDING_FORMAT);
        let stood = stood.filter(|_| !unread);
        let mut points = Points::default();
        limit_points(&plan, &mut points);
        let furnaces = plan.furnaces.iter().enumerate().map(|(place, plan)| Furnace::new(furnace_id(place), plan)).collect();
        let mut shop = Self {
            units: vec![Unit::Answering; plan.directory.units().len()],
            tanks: plan.tanks.iter().map(|_| Tank::default()).collect(),
            points,
            furnaces,
            room: RoomNow::default(),
            questions: Questions::default(),
            alarms: Alarms::new(&plan),
            wires: Wires::default(),
            inbox: Inbox::default(),
            tick: Tick(0),
            now: ShopMs(0),
            durable: Tick(0),
            record_failing: None,
            ending: Ending::No,
            began: Some(Began { away, clean: stood.as_ref().is_some_and(Standing::is_clean), unread }),
            next_ticket: 0,
            turns: 0,
            forecast_ms: 0,
            waits_for_disk: false,
            plan,
        };
        if let Some(stood) = stood {
            shop.restore(stood, away);
        }
        shop
    }

    /// A shop of which something stood that cannot be read: by another version, or damaged. Nobody knows what was latched, so that every
    /// furnace is stopped until a person has looked and resets; loads and questions of before are gone.
    #[must_use]
    pub fn after_unread(plan: ShopPlan, away: Away) -> Self {
        let mut shop = Self::new(plan, None, away);
        shop.began = Some(Began { away, clean: false, unread: true });
        shop
    }

    /// Stores what happened. [`Urgency::Now`] means that it may trip something: tick at once.
    pub fn observe(&mut self, at: ShopMs, what: Observation) -> Urgency {
        let at = at.max(self.now);
        match what {
            Observation::Reading(reading) => {
                let news = self.points.is_news(at, &reading);
                self.points.store(at, &reading);
                return if news || self.trips_rule(at, reading.point) { Urgency::Now } else { Urgency::Scan };
            }
            Observation::Unit { unit, is } => {
                let urgency = if matches!(is, UnitState::OutOfService(_)) { Urgency::Now } else { Urgency::Scan };
                self.inbox.units.push((unit, is));
                return urgency;
            }
            Observation::Cut { furnace, generation, via, is } => {
                let urgency = if matches!(is, CutState::Failed(_)) { Urgency::Now } else { Urgency::Scan };
                self.inbox.cuts.push((furnace, generation, via, is));
                return urgency;
            }
            Observation::Durable { through } => {
                // What is not decided yet cannot be on disk.
                let through = through.min(self.tick);
                if through > self.durable {
                    self.durable = through;
                    if self.record_failing.is_some() {
                        self.inbox.record.push(None);
                    }
                }
                return if self.waits_for_disk { Urgency::Now } else { Urgency::Scan };
            }
            Observation::Order { unit, is } => self.inbox.orders.push((unit, is)),
            Observation::Act { act, is } => self.inbox.acts.push((act, is)),
            Observation::Record { failing } => self.inbox.record.push(failing),
            Observation::WallAhead { by } => {
                self.inbox.wall_ahead_ms = self.inbox.wall_ahead_ms.saturating_add(by.0);
            }
            Observation::Stopping => {
                if self.ending == Ending::No {
                    self.ending = Ending::Told;
                }
                return Urgency::Now;
            }
        }
        Urgency::Scan
    }

    /// Stores what a person asks. The answer is an output of the next tick.
    pub fn request(&mut self, _at: ShopMs, by: &Person, ask: Request) -> Ticket {
        self.next_ticket += 1;
        let ticket = Ticket(self.next_ticket);
        self.inbox.requests.push((ticket, by.clone(), ask));
        ticket
    }

    /// Decides. Clears the outputs and fills them anew; nothing is allocated once they are warm and nothing happens.
    pub fn tick(&mut self, now: ShopMs, out: &mut Outputs) {
        out.clear();
        let now = now.max(self.now);
        let dt_ms = if self.tick == Tick(0) { 0 } else { now.0 - self.now.0 };
        self.now = now;
        self.tick = Tick(self.tick.0 + 1);
        self.questions.pass(dt_ms);
        self.say_began(out);
        self.pass_shelves(dt_ms, out);
        self.take_news(out);
        self.hear_acts(out);
        self.hear_orders(out);
        self.read(dt_ms);
        self.pass_bypasses(dt_ms, out);
        self.weigh_rules(out);
        self.breathe(out);
        self.judge(&rows::PEOPLE, out);
        self.remember();
        self.bridge_gaps(dt_ms, out);
        self.answer(out);
        self.hear_silence(out);
        self.run_cycles(dt_ms, out);
        self.keep_for_tempers();
        self.forecast(dt_ms);
        self.share();
        self.judge(&rows::REST, out);
        self.watch_proofs(dt_ms, out);
        self.ask_about_steel(out);
        self.permit(dt_ms, out);
        self.tell_alarms(dt_ms, out);
        self.act(out);
        self.tell_quality(out);
        self.mark_bypassed(out);
        self.points.forget_marks();
        out.tick = self.tick;
        out.wake_at = now + self.plan.scan;
        out.digest = self.digest();
    }

    /// What a restart goes on from.
    #[must_use]
    pub fn standing(&self) -> Standing {
        Standing {
            format: STANDING_FORMAT,
            clean: self.ending == Ending::Said,
            furnaces: self.furnaces.iter().zip(&self.plan.furnaces).map(|(furnace, plan)| furnace.stood(plan)).collect(),
            tanks: self.tanks.iter().zip(&self.plan.tanks).map(|(tank, plan)| (plan.name.clone(), tank.stood())).collect(),
            room_latched: self.room.latched,
            questions: self.questions.stood(),
            alarms: self.alarms.stood(&self.plan, self.now),
            next_ticket: self.next_ticket,
            turns: self.turns,
        }
    }

    /// Puts a shop that was read back under the plan that it was kept under.
    ///
    /// A shop is kept with `serde` right after a tick, and without its plan, so that its decisions can be gone through again from
    /// there. A service never begins like this: it begins with [`Shop::new`], which cuts heat and looks at the gap.
    #[must_use]
    pub fn under(self, plan: ShopPlan) -> Self {
        Self { plan, ..self }
    }

    fn say_began(&mut self, out: &mut Outputs) {
        let Some(Began { away, clean, unread }) = self.began.take() else { return };
        let away_ms = match away {
            Away::Known(span) => Some(span.0),
            Away::Unknown => None,
        };
        let text = format!("The service looks after {} from now on; heat is off until it is permitted.", self.plan.name);
        say(&mut out.events, Priority::Record, text, EventBody::Began { away_ms, clean });
        self.void_proofs(out);
        if unread {
            self.stop_unread(out);
        }
    }

    /// Latches that cannot be read are not gone: a person has to look before anything heats.
    fn stop_unread(&mut self, out: &mut Outputs) {
        let text = "What stood before this start was kept by another version of the service, or is damaged, and cannot be read: its latches, \
                    loads and questions are not known. Look at every furnace and tank, then reset.";
        say(&mut out.events, Priority::Urgent, text.to_owned(), EventBody::Noted);
        let (kind, now) = (InterlockKind::Stop, self.now);
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            furnace.rows.step(kind, now, Verdict::latched(true).because(Why::Other));
            furnace.rows.step(kind, now, Verdict::latched(false));
            rows::tell(furnace, plan, kind, Change::Tripped, &mut out.events);
        }
    }

    /// What a tick lends to cycles and questions, beside the furnaces.
    fn turn<'a>(&'a mut self, dt_ms: u64, out: &'a mut Outputs) -> (Turn<'a>, &'a mut Vec<Furnace>) {
        let Self { plan, now, questions, tanks, furnaces, record_failing, room, .. } = self;
        let shop = shop_now(room, record_failing);
        (Turn { plan, now: *now, dt_ms, events: &mut out.events, questions, tanks, shop }, furnaces)
    }
}

/// Says something about the shop.
fn say(events: &mut Vec<Event>, priority: Priority, text: String, body: EventBody) {
    events.push(Event { furnace: None, priority, person: None, text, body });
}

/// What has to be well before anything may begin.
fn shop_now<'a>(room: &RoomNow, record_failing: &'a Option<String>) -> ShopNow<'a> {
    ShopNow { room_is_well: room.is_well(), record_failing: record_failing.as_deref() }
}

/// The furnace at this place of the plan.
fn furnace_id(place: usize) -> FurnaceId {
    FurnaceId(u16::try_from(place).unwrap_or(u16::MAX))
}

/// Each point grows old at the age of its strictest reader, and hurries a tick if it can trip something.
fn limit_points(plan: &ShopPlan, points: &mut Points) {
    points.resize(plan.directory.points().len());
    for (place, furnace) in plan.furnaces.iter().enumerate() {
        let own = [
            Some(furnace.temperature),
            furnace.set_point,
            furnace.output_share,
            furnace.heat_on,
            furnace.over_temperature,
            furnace.door,
            furnace.load_temperature,
            furnace.probe,
            furnace.contactor.as_ref().and_then(|contactor| contactor.feedback),
        ];
        for point in own {
            points.limit(point, furnace.stale_after);
        }
        let flow = furnace.gas.as_ref().filter(|gas| !gas.by_eye).map(|gas| gas.flow);
        points.limit(flow, furnace.stale_after);
        for input in furnace.policy.rules.iter().flat_map(|rule| rule.when.inputs()) {
            points.limit(Some(input.point), input.stale_after);
        }
        own_rules::hurry(furnace_id(place), furnace, points);
        points.hurry(Some(furnace.temperature), hearthward_equipment::quantity::in_celsius(furnace.limit));
        points.hurry(furnace.door, 0.5);
        points.hurry(furnace.over_temperature, 0.5);
    }
    for tank in &plan.tanks {
        for point in [Some(tank.temperature), tank.level, tank.agitation, tank.part_under] {
            points.limit(point, tank.stale_after);
        }
        points.hurry(tank.part_under, 0.5);
    }
    for supply in &plan.supplies {
        points.limit(supply.pressure, supply.stale_after);
    }
    points.limit(plan.room.oxygen, plan.room.stale_after);
}
