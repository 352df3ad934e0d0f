//! One turn of the core thread: drain, decide, carry out, in the order that the guarantees need.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use hearthward_drivers::{Host, ShopClock};
use hearthward_equipment::{FurnaceId, Generation, ShopMs, Tick};
use hearthward_journal::{Batch, Recorder, Refused, StandingRow};
use hearthward_supervise::observe::{CutState, Observation, Urgency};
use hearthward_supervise::output::Outputs;
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
    /// What stood when it was last written, so that only changes are.
    stood: Vec<u8>,
    written_at: ShopMs,
    durable: Tick,
    /// Cuts that no device has confirmed yet.
    unconfirmed: BTreeMap<FurnaceId, Generation>,
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

/// What stands is written at least this often, so that a restart knows when the service was last alive.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

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
            stood: Vec::new(),
            written_at: ShopMs(0),
            durable: Tick(0),
            unconfirmed: BTreeMap::new(),
            ending: Ending::No,
        }
    }

    /// Turns until the service has ended in order, and counts its turns; then gives the record back to be written to its end.
    pub fn run(mut self, beat: &Beat) -> Recorder {
        loop {
            self.wait();
            if self.ended() {
                beat.end();
                return self.parts.recorder;
            }
            self.turn();
            beat.count();
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
                match &observation {
                    Observation::Durable { through } => self.now_durable(*through),
                    Observation::Stopping if self.ending == Ending::No => self.ending = Ending::Told,
                    Observation::Cut { furnace, generation, is: CutState::Confirmed }
                        if self.unconfirmed.get(furnace).is_some_and(|cut| cut <= generation) =>
                    {
                        self.unconfirmed.remove(furnace);
                    }
                    _ => {}
                }
                self.parts.shop.observe(now, observation)
            }
            Input::Asked(Asked { person, request, id, reply }) => {
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
        self.parts.shop.tick(now, &mut self.out);
        for cut in &self.out.cuts {
            self.parts.host.cut(cut);
            self.unconfirmed.insert(cut.furnace, cut.generation);
        }
        self.out.acts.drain(..).for_each(|act| self.parts.host.act(act));
        let deeds = Deeds { events: self.out.events.len(), tick: self.out.tick };
        self.record(now);
        self.out.orders.drain(..).for_each(|order| self.parts.host.put(order));
        self.parts.shop.view(&mut self.view);
        self.parts.views.send_replace(Arc::new(self.view.clone()));
        if self.ending == Ending::Told {
            self.ending = Ending::Decided(self.out.tick, now);
        }
        deeds
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

/// Time of day in milliseconds since 1970: a label on the record, never a reason for anything.
pub(crate) fn wall_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
