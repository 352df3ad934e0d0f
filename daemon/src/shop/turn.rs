//! One turn of the core thread: drain, decide, carry out, in the order that the guarantees need.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use hearthward_drivers::{Host, ShopClock};
use hearthward_equipment::{Directory, FurnaceId, Generation, PointId, Reading, ShopMs, Tick, Value};
use hearthward_journal::{Batch, Inputs, Recorder, Refused, StandingRow, Told};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::observe::{ActState, Observation, UnitState, Urgency};
use hearthward_supervise::output::{Act, Outputs};
use hearthward_supervise::request::{Answer, Person, Request, Ticket};
use hearthward_supervise::view::View;
use hearthward_supervise::{STANDING_FORMAT, Shop};
use tokio::sync::{oneshot, watch};

use super::{Asked, DRAIN, Input, answer_row};
use crate::watchdog::Beat;

/// What the core thread is made of.
pub struct CoreParts {
    /// The decisions.
    pub shop: Shop,
    /// The equipment.
    pub host: Arc<Host>,
    /// The record.
    pub recorder: Recorder,
    /// What reaches the core.
    pub inbox: Receiver<Input>,
    /// Where the latest view goes.
    pub views: watch::Sender<Arc<View>>,
    /// The shop's clock.
    pub clock: ShopClock,
    /// Units and points by number.
    pub directory: Directory,
}

/// The core with everything it carries out.
pub struct Core {
    parts: CoreParts,
    out: Outputs,
    view: View,
    /// Requests that the core has taken and not answered.
    asked: BTreeMap<Ticket, ((String, u64), oneshot::Sender<Answer>)>,
    /// Answers that wait until their tick is on disk.
    held: VecDeque<(Tick, oneshot::Sender<Answer>, Answer)>,
    /// Batches that the journal's full queue did not take.
    backlog: VecDeque<Batch>,
    /// What the next tick was given so far.
    inputs: Inputs,
    /// When the whole state was last kept, for a replay to begin at; nothing while inputs are missing since.
    kept_at: Option<ShopMs>,
    /// What stood when it was last written, so that only changes are.
    stood: Vec<u8>,
    written_at: ShopMs,
    durable: Tick,
    /// Cuts that no device has confirmed yet.
    unconfirmed: BTreeMap<FurnaceId, Generation>,
    /// Both clocks when they were last compared.
    clocks: (ShopMs, i64),
    ending: Ending,
}

/// How far the end in order has come.
///
/// ```text
/// No ──told──▶ Told ──next turn──▶ Decided ──on disk, and cuts confirmed or the grace over──▶ the thread returns
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ending {
    /// The service goes on.
    No,
    /// It was told to end; the core has not decided about it yet.
    Told,
    /// The core has cut heat and said so, in this tick at this time.
    Decided(Tick, ShopMs),
}

/// The longest first look at the equipment: a poll and an answer of a slow device, and no time in which anybody would miss the service.
const FIRST_LOOK: Duration = Duration::from_millis(300);

/// How long an ending service waits for devices to confirm that they do not heat, before it ends out loud.
const GRACE: Duration = Duration::from_secs(3);

/// What one turn decided, for the demo's narrator and for tests.
#[derive(Debug, Default)]
pub struct Deeds {
    /// Whether anything happened that the record shows.
    pub events: usize,
    /// The tick.
    pub tick: Tick,
}

/// Most batches kept while the journal is behind. At ten scans a second with events in each it is an hour; more means that the
/// disk is gone, and the core has long withheld heat because nothing becomes durable.
const BACKLOG: usize = 65_536;

/// Batches behind from which on inputs are no longer kept: a few megabytes in memory, some minutes at ten scans a second. Events go on
/// being kept, up to [`BACKLOG`].
const INPUTS_BEHIND: usize = 2_048;

/// How often the whole state is kept, so that going through an afternoon again does not begin months ago.
const KEEP_EVERY: Duration = Duration::from_secs(3600);

/// What stands is written at least this often, so that a restart knows when the service was last alive.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

/// How often the clocks are compared, and how far apart they must be to say so: a clock that is disciplined drifts by less.
const COMPARED_EVERY: Duration = Duration::from_secs(10);
const AHEAD_MS: u64 = 2_000;

impl Core {
    /// A core that has not turned yet.
    #[must_use]
    pub fn new(parts: CoreParts) -> Self {
        Self {
            parts,
            out: Outputs::default(),
            view: View::default(),
            asked: BTreeMap::new(),
            held: VecDeque::new(),
            backlog: VecDeque::new(),
            inputs: Inputs::default(),
            // A start is itself a place to begin at.
            kept_at: Some(ShopMs(0)),
            stood: Vec::new(),
            written_at: ShopMs(0),
            durable: Tick(0),
            unconfirmed: BTreeMap::new(),
            clocks: (ShopMs(0), wall_ms()),
            ending: Ending::No,
        }
    }

    /// Turns until the service has ended in order, and counts its turns; then gives the record back to be written to its end.
    pub fn run(mut self, beat: &Beat) -> Recorder {
        let mut first = true;
        loop {
            if std::mem::take(&mut first) {
                self.first_look();
            } else {
                self.wait();
            }
            if self.ended() {
                beat.end();
                return self.parts.recorder;
            }
            self.turn();
            beat.count();
        }
    }

    /// Lets every point be read once, or its unit be silent, before anything is decided. A shop that was not looked at yet would put
    /// a trip and its end on record for each thing that is not known for some milliseconds. Nothing is permitted meanwhile, and what an
    /// earlier run may have left heating was sent its standing cuts before; the first turn's own cuts come [`FIRST_LOOK`] later at most.
    /// An urgent reading and a request end the look at once.
    fn first_look(&mut self) {
        let until = self.parts.clock.now() + FIRST_LOOK;
        let mut unread: BTreeSet<PointId> = (0..).map(PointId).take(self.parts.directory.points().len()).collect();
        while !unread.is_empty() {
            let Ok(input) = self.parts.inbox.recv_timeout(until.since(self.parts.clock.now())) else { return };
            match &input {
                Input::Observed(Observation::Reading(reading)) => {
                    unread.remove(&reading.point);
                }
                Input::Observed(Observation::Unit { unit, is: UnitState::Silent(_) | UnitState::OutOfService(_) }) => {
                    let directory = &self.parts.directory;
                    let silent = directory.unit_address(*unit);
                    unread.retain(|point| directory.point_address(*point).map(|address| &address.unit) != silent);
                }
                _ => {}
            }
            if self.take(input) == Urgency::Now {
                return;
            }
        }
    }

    /// Waits for an input or for the next scan, whichever comes first, and takes what there is.
    fn wait(&mut self) {
        for _ in 0..DRAIN {
            let until = self.out.wake_at.since(self.parts.clock.now());
            match self.parts.inbox.recv_timeout(until) {
                Ok(first) => {
                    if self.take(first) == Urgency::Now {
                        return;
                    }
                }
                Err(RecvTimeoutError::Timeout) => return,
                // Nobody is left who could ask or read: the same as being told to end.
                Err(RecvTimeoutError::Disconnected) => {
                    self.observe(Observation::Stopping);
                    return;
                }
            }
        }
    }

    /// Takes what waits, up to the first thing that must be decided at once.
    pub fn drain(&mut self) {
        for _ in 0..DRAIN {
            match self.parts.inbox.try_recv() {
                Ok(input) => {
                    if self.take(input) == Urgency::Now {
                        return;
                    }
                }
                Err(_) => return,
            }
        }
    }

    fn take(&mut self, input: Input) -> Urgency {
        let now = self.parts.clock.now();
        match input {
            Input::Observed(observation) => {
                let observation = as_kept(observation, now);
                match &observation {
                    Observation::Reading(reading) => self.inputs.readings.push(reading.clone()),
                    other => self.inputs.others.push(Told::Observed(other.clone())),
                }
                match &observation {
                    Observation::Durable { through } => self.now_durable(*through),
                    Observation::Stopping if self.ending == Ending::No => self.ending = Ending::Told,
                    _ => {}
                }
                self.parts.shop.observe(now, observation)
            }
            Input::Asked(Asked { person, request, id, reply }) => {
                self.inputs.others.push(Told::Asked { by: person.clone(), ask: request.clone() });
                let ticket = self.parts.shop.request(now, &person, request);
                self.asked.insert(ticket, (id, reply));
                Urgency::Now
            }
        }
    }

    /// Takes one observation.
    pub fn observe(&mut self, observation: Observation) {
        self.take(Input::Observed(observation));
    }

    /// Takes one request; the answer comes when it is durable.
    pub fn ask(&mut self, person: Person, request: Request, id: String) -> oneshot::Receiver<Answer> {
        let (reply, answer) = oneshot::channel();
        self.take(Input::Asked(Asked { person, request, id: (id, 0), reply }));
        answer
    }

    /// Waits until everything decided so far is on disk, or the patience is over.
    ///
    /// A stepped shop needs it: its time must not run ahead of its record.
    #[must_use]
    pub fn settle(&mut self, patience: Duration) -> bool {
        while self.durable < self.out.tick {
            match self.parts.inbox.recv_timeout(patience) {
                Ok(input) => {
                    self.take(input);
                }
                Err(_) => return false,
            }
        }
        true
    }

    /// Ends a stepped shop: gives the record back to be closed.
    #[must_use]
    pub fn into_recorder(self) -> Recorder {
        self.parts.recorder
    }

    /// Decides once and carries it out: cuts first, then what narrows, the record, and leases to heat last.
    pub fn turn(&mut self) -> Deeds {
        let now = self.parts.clock.now();
        self.compare_clocks(now);
        self.parts.shop.tick(now, &mut self.out);
        for cut in &self.out.cuts {
            self.parts.host.cut(cut);
            self.unconfirmed.insert(cut.furnace, cut.generation);
        }
        for event in &self.out.events {
            if let (Some(furnace), EventBody::CutConfirmed { generation, .. }) = (event.furnace, &event.body) {
                self.unconfirmed.retain(|of, cut| *of != furnace || *cut > *generation);
            }
        }
        let refused = self.act();
        let deeds = Deeds { events: self.out.events.len(), tick: self.out.tick };
        self.record(now);
        // It came of this tick, and is an input of the next.
        refused.into_iter().for_each(|refused| self.observe(refused));
        self.out.orders.drain(..).for_each(|order| self.parts.host.put(order));
        self.parts.shop.view(&mut self.view);
        self.parts.views.send_replace(Arc::new(self.view.clone()));
        if self.ending == Ending::Told {
            self.ending = Ending::Decided(self.out.tick, now);
        }
        deeds
    }

    /// Has equipment do what is not heat. Gives back what it does not even try.
    fn act(&mut self) -> Vec<Observation> {
        let refused = |act: Act| {
            let fault = self.parts.host.act(&act).err()?;
            tracing::error!(?act, %fault, "an act was refused");
            Some(Observation::Act { act, is: ActState::Failed(fault) })
        };
        self.out.acts.drain(..).filter_map(refused).collect()
    }

    /// Tells the core when the wall clock ran ahead of the shop's: a computer that slept has aged what may only last so long.
    fn compare_clocks(&mut self, now: ShopMs) {
        let (then, wall_then) = self.clocks;
        if now.since(then) < COMPARED_EVERY && self.out.tick > Tick(0) {
            return;
        }
        let wall = wall_ms();
        let passed_ms = u64::try_from(wall.saturating_sub(wall_then)).unwrap_or(0);
        self.clocks = (now, wall);
        let ahead_ms = passed_ms.saturating_sub(now.0.saturating_sub(then.0));
        if self.out.tick > Tick(0) && ahead_ms > AHEAD_MS {
            self.observe(Observation::WallAhead { by: ShopMs(ahead_ms) });
        }
    }

    fn record(&mut self, now: ShopMs) {
        let mut batch = Batch::of_tick(self.out.tick, now, wall_ms());
        for (ticket, answer) in self.out.answers.drain(..) {
            if let Some((id, reply)) = self.asked.remove(&ticket) {
                batch.answers.push(answer_row(&id, &answer));
                self.held.push_back((self.out.tick, reply, answer));
            }
        }
        if !self.out.events.is_empty() || now.since(self.written_at) >= SIGN_OF_LIFE {
            batch.standing = self.standing(now);
        }
        batch.events = std::mem::take(&mut self.out.events);
        self.keep_inputs(&mut batch);
        if self.backlog.len() < BACKLOG {
            self.backlog.push_back(batch);
        }
        while let Some(batch) = self.backlog.pop_front() {
            match self.parts.recorder.try_send(batch) {
                Ok(()) => {}
                Err(Refused::Full(batch) | Refused::Ended(batch)) => {
                    self.backlog.push_front(*batch);
                    return;
                }
            }
        }
    }

    /// Puts into a batch what its tick was given, and now and then the whole state that came of it.
    fn keep_inputs(&mut self, batch: &mut Batch) {
        let inputs = Inputs { digest: self.out.digest, ..std::mem::take(&mut self.inputs) };
        if self.backlog.len() >= INPUTS_BEHIND {
            self.kept_at = None;
            return;
        }
        batch.inputs = Some(inputs);
        if self.kept_at.is_none_or(|kept_at| batch.at.since(kept_at) >= KEEP_EVERY) {
            match StandingRow::pack(STANDING_FORMAT, &self.parts.shop, Vec::new()) {
                Ok(whole) => batch.kept = Some(whole),
                Err(error) => tracing::error!(%error, "the state could not be packed: no replay begins here"),
            }
            self.kept_at = Some(batch.at);
        }
    }

    fn standing(&mut self, now: ShopMs) -> Option<StandingRow> {
        let row = match StandingRow::pack(STANDING_FORMAT, &self.parts.shop.standing(), self.parts.host.standing_cuts()) {
            Ok(row) => row,
            Err(error) => {
                tracing::error!(%error, "what stands could not be packed: a restart would begin cold");
                return None;
            }
        };
        let due = now.since(self.written_at) >= SIGN_OF_LIFE;
        if row.body == self.stood && !due {
            return None;
        }
        self.written_at = now;
        self.stood.clone_from(&row.body);
        Some(row)
    }

    fn now_durable(&mut self, through: Tick) {
        self.durable = self.durable.max(through);
        while let Some((tick, _, _)) = self.held.front() {
            if *tick > through {
                return;
            }
            if let Some((_, reply, answer)) = self.held.pop_front() {
                // A client that hung up does not want it any more; it is on record for the repeat.
                let _ = reply.send(answer);
            }
        }
    }

    /// Whether the service was told to end, what it decided is on disk, and heat is off as far as can be known.
    fn ended(&self) -> bool {
        let Ending::Decided(tick, at) = self.ending else { return false };
        let grace_over = self.parts.clock.now().since(at) >= GRACE;
        if grace_over {
            for furnace in self.unconfirmed.keys() {
                tracing::error!(furnace = furnace.0, "the device has not confirmed that it does not heat: go and look");
            }
        }
        grace_over || (self.unconfirmed.is_empty() && self.backlog.is_empty() && self.durable >= tick)
    }

    /// The highest tick that is on disk.
    #[must_use]
    pub fn durable(&self) -> Tick {
        self.durable
    }

    /// The shop as it is after the last turn.
    #[must_use]
    pub fn view(&self) -> &View {
        &self.view
    }
}

/// An observation as the record keeps it, so that decisions rest on what is kept: rounded, and not from the future.
fn as_kept(observation: Observation, now: ShopMs) -> Observation {
    let Observation::Reading(reading) = observation else { return observation };
    Observation::Reading(Reading { at: reading.at.min(now), value: reading.value.map(Value::rounded), ..reading })
}

/// Time of day in milliseconds since 1970: a label on the record, never a reason for anything.
pub(crate) fn wall_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
