//! A TCP line: a connection that is kept open, and whose turn it is.
//!
//! ```text
//! Connecting ──lane──▶ Up ──end of stream, error, silence──▶ Connecting ──refused──▶ Down ──back-off──▶ Connecting
//! ```

use std::io::{self, ErrorKind, Write};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode, Name};
use tokio::net::TcpStream;
use tokio::runtime::Handle;
use tokio::sync::{Notify, oneshot};
use tokio::time::{Instant, sleep_until};

use super::frame::{FRAME_LONGEST, Progress, progress};
use super::lane::CutGroup;
use super::wire::{FREE, LANE, Link, State, Waiting, Wire, withdrawn};
use super::{Ask, Class, LineStatus};
use crate::alarm::Alarm;
use crate::cut::lock;

/// Bytes that are read at once: longer than nearly every reply.
pub(super) const READ_AT_ONCE: usize = 512;

/// Exchanges in a row without a single byte after which the connection is given up: a peer that lost its power leaves a
/// connection that looks open for hours.
const SILENT_MOST: u32 = 3;

/// A connection that several drivers may share.
#[derive(Debug)]
pub(crate) struct TcpLine {
    name: Name,
    address: String,
    pub(super) turnaround: Duration,
    guests: Handle,
    wire: Mutex<Wire>,
    /// The wire came up or went down, a turn was lost, or a cut was raised: whoever waits looks again.
    pub(super) changed: Notify,
    /// Wakes the lane.
    pub(super) lane: Arc<Notify>,
    groups: Mutex<Vec<Arc<CutGroup>>>,
    exchanges: AtomicU64,
    faults: AtomicU64,
    /// Exchanges that brought a whole reply.
    answers: AtomicU64,
}

/// What a step on the wire came to.
enum Step {
    Done,
    /// The socket is full: the rest follows.
    Rest,
    /// The connection had ended before anything went out.
    Ended(String),
}

/// Waits until then; in a box for the same reason as the reply.
async fn rarely(then: Instant) {
    Box::pin(sleep_until(then)).await;
}

/// How long a reply is waited for, and when that is over.
#[derive(Clone, Copy)]
struct Limit {
    until: Instant,
    within: Duration,
}

impl TcpLine {
    pub(super) fn new(name: Name, address: String, turnaround: Duration, guests: Handle) -> Self {
        Self {
            name,
            address,
            turnaround,
            guests,
            wire: Mutex::new(Wire::new()),
            changed: Notify::new(),
            lane: Arc::new(Notify::new()),
            groups: Mutex::default(),
            exchanges: AtomicU64::new(0),
            faults: AtomicU64::new(0),
            answers: AtomicU64::new(0),
        }
    }

    pub(super) fn name(&self) -> &Name {
        &self.name
    }

    pub(super) fn address(&self) -> &str {
        &self.address
    }

    pub(super) fn lane(&self) -> Arc<Notify> {
        Arc::clone(&self.lane)
    }

    pub(super) fn set_groups(&self, groups: Vec<Arc<CutGroup>>) {
        *lock(&self.groups) = groups;
        self.lane.notify_one();
    }

    pub(super) fn groups(&self) -> Vec<Arc<CutGroup>> {
        lock(&self.groups).clone()
    }

    pub(super) fn status(&self) -> LineStatus {
        let (open, why) = match &self.wire().state {
            State::Up(_) => (true, String::new()),
            State::Connecting => (false, "connecting".to_owned()),
            State::Down(why) => (false, why.clone()),
        };
        LineStatus {
            name: self.name.clone(),
            to: self.address.clone(),
            open,
            why,
            exchanges: self.exchanges.load(Ordering::Relaxed),
            faults: self.faults.load(Ordering::Relaxed),
        }
    }

    pub(super) fn wire(&self) -> MutexGuard<'_, Wire> {
        lock(&self.wire)
    }

    /// One request and its reply, in turn.
    pub(super) async fn exchange(&self, ask: &Ask<'_>, alarm: &mut Alarm) -> Result<Vec<u8>, Fault> {
        self.exchanges.fetch_add(1, Ordering::Relaxed);
        let result = self.in_turn(ask, alarm).await;
        if result.is_err() {
            self.faults.fetch_add(1, Ordering::Relaxed);
        }
        result
    }

    /// How many exchanges have brought a whole reply so far.
    pub(super) fn answers(&self) -> u64 {
        self.answers.load(Ordering::Relaxed)
    }

    async fn in_turn(&self, ask: &Ask<'_>, alarm: &mut Alarm) -> Result<Vec<u8>, Fault> {
        let turn = self.turn(ask).await?;
        let link = self.begin(&turn, ask).await?;
        let asked = Instant::now();
        let within = ask.within.min(ask.give_up_at.saturating_duration_since(asked));
        self.send_rest(&turn, &link, ask, asked + within).await?;
        if ask.rules.is_empty() {
            return Ok(Vec::new());
        }
        // In a box of its own: one box for the whole exchange is too large for the allocator's quick lists.
        Box::pin(self.reply(&turn, &link, ask, Limit { until: asked + within, within }, alarm)).await
    }

    /// Gets in line for the turn; it is there when the receiver says so, or at once if there is none.
    pub(super) fn queue(&self, class: Class) -> (Turn<'_>, Option<oneshot::Receiver<()>>) {
        let mut wire = self.wire();
        // The lane is on its way: a cut goes before whoever comes after it, also before the guest's own. Looked at under the
        // lock that the lane takes last, so that it cannot have come and gone in between.
        let cut_owed = lock(&self.groups).iter().any(|group| group.is_fresh());
        let ticket = wire.next_ticket;
        wire.next_ticket += 1;
        // Made before anybody waits, so that a turn granted to somebody who has just given up is passed on.
        let turn = Turn { line: self, ticket };
        if wire.holder == FREE && !wire.lane_waits && !cut_owed && wire.admits(class) {
            wire.holder = ticket;
            return (turn, None);
        }
        let (grant, granted) = oneshot::channel();
        wire.waiting.push(Waiting { class, ticket, grant });
        (turn, Some(granted))
    }

    /// Waits for the turn.
    async fn turn(&self, ask: &Ask<'_>) -> Result<Turn<'_>, Fault> {
        let (turn, granted) = self.queue(ask.class);
        let Some(mut granted) = granted else { return Ok(turn) };
        loop {
            let changed = self.changed.notified();
            if ask.is_void() {
                return Err(withdrawn());
            }
            tokio::select! {
                biased;
                got = &mut granted => match got {
                    Ok(()) => return Ok(turn),
                    Err(_) => return Err(Fault::new(FaultCode::LINE_DOWN, format!("line {} is being closed", self.name))),
                },
                () = changed => {}
                () = rarely(ask.give_up_at) => {
                    return Err(Fault::new(FaultCode::TIMED_OUT, format!("line {} had no time for it", self.name)));
                }
            }
        }
    }

    /// Puts the request on the wire. A connection that had ended in the meantime is made anew, once.
    async fn begin(&self, turn: &Turn<'_>, ask: &Ask<'_>) -> Result<Arc<Link>, Fault> {
        let until = (Instant::now() + ask.within).min(ask.give_up_at);
        for last in [false, true] {
            let link = self.up(until).await?;
            match self.first_bytes(turn, &link, ask)? {
                Step::Done | Step::Rest => return Ok(link),
                Step::Ended(why) => {
                    self.ended(&link, &why);
                    if last {
                        return Err(self.down(&why));
                    }
                }
            }
        }
        Err(self.down("the connection ended twice"))
    }

    /// Waits until the line is open, or is known not to be.
    async fn up(&self, until: Instant) -> Result<Arc<Link>, Fault> {
        loop {
            let changed = self.changed.notified();
            match &self.wire().state {
                State::Up(link) => return Ok(Arc::clone(link)),
                State::Down(why) => return Err(self.down(why)),
                State::Connecting => {}
            }
            tokio::select! {
                () = changed => {}
                () = rarely(until) => return Err(self.down("it is still connecting")),
            }
        }
    }

    /// Empties the wire of late bytes and writes what the socket takes, unless the turn or the permission is gone.
    fn first_bytes(&self, turn: &Turn<'_>, link: &Link, ask: &Ask<'_>) -> Result<Step, Fault> {
        let mut wire = self.wire();
        wire.still(turn.ticket, ask)?;
        if let Err(why) = link.throw_away_late() {
            return Ok(Step::Ended(why.to_string()));
        }
        match (&link.plain).write(ask.request) {
            Ok(written) => {
                wire.asked_at = Some(Instant::now());
                if written == ask.request.len() {
                    return Ok(Step::Done);
                }
                wire.unsent.extend_from_slice(&ask.request[written..]);
                Ok(Step::Rest)
            }
            // Nothing of ours can be unsent here, so a full socket means a peer that has stopped reading.
            Err(why) => Ok(Step::Ended(why.to_string())),
        }
    }

    /// Writes what the socket did not take at first. Whoever gets the wire next ends the frame first, so nothing is torn.
    async fn send_rest(&self, turn: &Turn<'_>, link: &Link, ask: &Ask<'_>, until: Instant) -> Result<(), Fault> {
        loop {
            {
                let mut wire = self.wire();
                if wire.unsent.is_empty() {
                    return Ok(());
                }
                wire.still(turn.ticket, ask)?;
                if let Err(why) = wire.flush(&link.plain) {
                    drop(wire);
                    return Err(self.lost(link, &why.to_string()));
                }
            }
            tokio::select! {
                _ = link.guests.writable() => {}
                () = rarely(until) => return Err(self.lost(link, "it takes no more bytes")),
            }
        }
    }

    async fn reply(
        &self,
        turn: &Turn<'_>,
        link: &Link,
        ask: &Ask<'_>,
        limit: Limit,
        alarm: &mut Alarm,
    ) -> Result<Vec<u8>, Fault> {
        let Limit { until, within } = limit;
        let mut reply = Vec::with_capacity(READ_AT_ONCE);
        loop {
            let changed = self.changed.notified();
            let (patience, read) = {
                // Read under the lock: bytes that come after the lane has taken the wire are the lane's.
                let wire = self.wire();
                (self.patience(&wire, turn.ticket, ask)?, link.guests.try_read_buf(&mut reply))
            };
            let got = match read {
                Ok(0) => return Err(self.lost(link, "the peer closed it")),
                Ok(got) => got,
                Err(none) if none.kind() == ErrorKind::WouldBlock => 0,
                Err(why) => return Err(self.lost(link, &why.to_string())),
            };
            let mut pause = None;
            match progress(&reply, ask.rules) {
                Progress::Whole(end) => {
                    reply.truncate(end);
                    return self.answered(reply, ask);
                }
                Progress::Refused(why) => return Err(self.garbled(link, why)),
                Progress::Pause(pause_for) => pause = Some(Instant::now() + pause_for),
                Progress::More => {}
            }
            if got > 0 {
                // There may be more, and a pause counts from the last byte.
                if reply.len() >= FRAME_LONGEST {
                    return Err(self.garbled(link, "the reply is too long"));
                }
                reply.reserve(READ_AT_ONCE);
            }
            tokio::select! {
                biased;
                _ = link.guests.readable() => {}
                () = changed => {}
                () = rarely(pause.unwrap_or(until)), if pause.is_some() => return self.answered(reply, ask),
                // The loop's head finds that it is over.
                () = rarely(patience.unwrap_or(until)), if patience.is_some() => {}
                () = alarm.at(until) => return Err(self.too_late(link, within, reply.len())),
            }
        }
    }

    /// Whether the reply may still be waited for; and until when, if a cut has made it worthless but the unit is not to be
    /// disturbed while it replies.
    fn patience(&self, wire: &Wire, ticket: u64, ask: &Ask<'_>) -> Result<Option<Instant>, Fault> {
        if !wire.has_turn(ticket) {
            return Err(withdrawn());
        }
        if !ask.is_void() {
            return Ok(None);
        }
        let end = wire.asked_at.map(|asked| asked + self.turnaround);
        end.filter(|end| *end > Instant::now()).map(Some).ok_or_else(withdrawn)
    }

    fn answered(&self, reply: Vec<u8>, ask: &Ask<'_>) -> Result<Vec<u8>, Fault> {
        let mut wire = self.wire();
        wire.asked_at = None;
        wire.silent = 0;
        wire.answered = true;
        self.answers.fetch_add(1, Ordering::Relaxed);
        if ask.is_void() { Err(withdrawn()) } else { Ok(reply) }
    }

    /// The connection is over: the lane makes a new one.
    pub(super) fn ended(&self, link: &Link, why: &str) {
        let mut wire = self.wire();
        if matches!(&wire.state, State::Up(now) if std::ptr::eq(Arc::as_ptr(now), link)) {
            tracing::info!(line = %self.name, why, "connection ended");
            wire.state = State::Connecting;
            wire.start_over();
            drop(wire);
            self.lane.notify_one();
            self.changed.notify_waiters();
        }
    }

    /// Opens the line with this connection, or says why it is down.
    pub(super) fn opened(&self, opened: io::Result<TcpStream>) {
        let state = match opened.and_then(|stream| Link::new(stream, &self.guests)) {
            Ok(link) => State::Up(Arc::new(link)),
            Err(why) => State::Down(why.to_string()),
        };
        {
            let mut wire = self.wire();
            wire.state = state;
            wire.start_over();
        }
        self.changed.notify_waiters();
    }

    /// Takes the wire for a cut out of anybody's hands, unless a unit still has time to reply: then says when to try again.
    pub(super) fn take(&self) -> Result<(), Instant> {
        let mut wire = self.wire();
        let end = wire.asked_at.map(|asked| asked + self.turnaround);
        if let Some(end) = end.filter(|end| *end > Instant::now()) {
            wire.lane_waits = true;
            return Err(end);
        }
        wire.lane_waits = false;
        wire.holder = LANE;
        wire.asked_at = None;
        drop(wire);
        self.changed.notify_waiters();
        Ok(())
    }

    /// Gives the wire back after a cut.
    pub(super) fn give_back(&self) {
        self.release(LANE);
    }

    fn release(&self, ticket: u64) {
        let mut wire = self.wire();
        if wire.holder != ticket {
            // Somebody who gave up while waiting, or lost his turn to the lane.
            wire.waiting.retain(|waiting| waiting.ticket != ticket);
            return;
        }
        wire.holder = FREE;
        if wire.lane_waits {
            drop(wire);
            self.lane.notify_one();
            return;
        }
        while let Some(next) = wire.next_in_turn() {
            wire.holder = next.ticket;
            if next.grant.send(()).is_ok() {
                return;
            }
            wire.holder = FREE;
        }
    }

    fn down(&self, why: &str) -> Fault {
        Fault::new(FaultCode::LINE_DOWN, format!("line {} to {} is not open: {why}", self.name, self.address))
    }

    fn lost(&self, link: &Link, why: &str) -> Fault {
        self.ended(link, why);
        self.down(why)
    }

    /// After rubbish there is no telling where the next reply begins: a new connection is the only clean start.
    fn garbled(&self, link: &Link, why: &str) -> Fault {
        self.ended(link, why);
        Fault::new(FaultCode::BAD_ANSWER, format!("line {}: {why}", self.name))
    }

    fn too_late(&self, link: &Link, within: Duration, got: usize) -> Fault {
        let silent = {
            let mut wire = self.wire();
            wire.asked_at = None;
            wire.in_vain();
            wire.silent = if got == 0 { wire.silent + 1 } else { 0 };
            wire.silent
        };
        if silent >= SILENT_MOST {
            self.ended(link, "nothing was heard on it");
        }
        let detail = format!("line {}: {got} bytes came within {} ms, not a whole reply", self.name, within.as_millis());
        Fault::new(FaultCode::TIMED_OUT, detail)
    }
}

/// Somebody's turn on the wire, or his place in line for it, given back when it is dropped.
pub(super) struct Turn<'a> {
    line: &'a TcpLine,
    ticket: u64,
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.line.release(self.ticket);
    }
}
