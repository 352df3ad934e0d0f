//! The lane of a line: keeps it connected, and carries standing cuts ahead of everything else until they read back.
//!
//! It runs on the lines' own runtime and needs no guest, no core and no disk.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode};
use hearthward_supervise::observe::CutState;
use hearthward_supervise::output::Via;
use tokio::net::TcpStream;
use tokio::time::{Instant, sleep, sleep_until, timeout};

use super::Class;
use super::deliver::{Delivered, deliver};
use super::tcp::{TcpLine, Turn};
use super::wire::State;
use crate::cut::{CutCell, StandingCut, lock};
use crate::pause::pause_after;
use crate::values::{Hex, in_ms};

/// How long a connection may take to open. A device in the same building answers within milliseconds; one that is switched off
/// costs this much for each try.
pub(super) const CONNECT_WITHIN: Duration = Duration::from_secs(1);

/// The first wait after a refused connection, doubled up to [`RECONNECT_LONGEST`].
const RECONNECT_FIRST: Duration = Duration::from_millis(100);

/// Short enough that a device that comes back is read again while a person still looks at it.
const RECONNECT_LONGEST: Duration = Duration::from_secs(5);

/// A line that is down is tried at least this often while a cut is owed on it: four times in a second are no load.
const CUT_CONNECT_AGAIN_AFTER: Duration = Duration::from_millis(250);

/// How long the reply to a standing cut is waited for before it is sent again.
pub(super) const CUT_REPLY_WITHIN: Duration = Duration::from_millis(500);

/// How long a device usually takes to reply. When all furnaces of a line are cut at once, each has so long before the next goes
/// ahead of its reply.
const REPLY_USUAL: Duration = Duration::from_millis(20);

/// How long a repeated cut lets others on the line go first, if any of them were answered since it was last sent. Longer than one
/// of their exchanges; short enough that a line that has just gone silent altogether does not hold it up.
const OTHERS_FIRST_LONGEST: Duration = Duration::from_secs(1);

/// Tries on one connection after which it is taken for dead or out of step, and made anew, unless somebody else on it answers.
const CUT_TRIES_PER_CONNECTION: u32 = 2;

/// What one line carries for one way of one furnace.
#[derive(Debug)]
pub(crate) struct CutGroup {
    cell: Arc<CutCell>,
    via: Via,
    cuts: Vec<StandingCut>,
    far: Mutex<Far>,
}

/// How far it has come.
#[derive(Debug)]
struct Far {
    /// The last wish that was tried, and how often.
    tried: u64,
    tries: u32,
    /// The line's count of answers when it was last tried.
    answers: u64,
    /// The last wish that read back.
    read_back: u64,
    again_at: Instant,
}

impl CutGroup {
    pub(crate) fn new(cell: Arc<CutCell>, via: Via, cuts: Vec<StandingCut>) -> Self {
        let far = Far { tried: 0, tries: 0, answers: 0, read_back: 0, again_at: Instant::now() };
        Self { cell, via, cuts, far: Mutex::new(far) }
    }

    fn wish(&self) -> u64 {
        self.cell.way(self.via).wish()
    }

    /// When it is to be sent: absent if nothing is owed, `None` inside if it was never tried.
    fn due(&self) -> Option<Option<Instant>> {
        let wish = self.wish();
        let far = lock(&self.far);
        (far.read_back < wish).then(|| (far.tried >= wish).then_some(far.again_at))
    }

    pub(super) fn is_fresh(&self) -> bool {
        matches!(self.due(), Some(None))
    }

    /// Notes a try without confirmation and says how many there were of this wish.
    fn failed(&self, wish: u64, code: FaultCode, why: &str) -> u32 {
        let tries = {
            let mut far = lock(&self.far);
            far.tries = if far.tried == wish { far.tries + 1 } else { 1 };
            (far.tried, far.again_at) = (wish, Instant::now() + pause_after(far.tries));
            far.tries
        };
        if tries == 1 && self.cell.way(self.via).done() < wish {
            self.cell.tell(self.via, CutState::Failed(Fault::new(code, why)));
        }
        tries
    }

    /// Whether anybody on the line has answered since this was last tried, as told by the line's count.
    fn others_answered(&self, answers: u64) -> bool {
        lock(&self.far).answers < answers
    }

    /// Notes the line's count of answers at a try.
    fn tried_at(&self, answers: u64) {
        lock(&self.far).answers = answers;
    }

    /// Notes that the bytes are out and the reply was not waited for: it is due again as soon as the line is free.
    fn given_way(&self, wish: u64) {
        let mut far = lock(&self.far);
        (far.tried, far.again_at) = (wish, Instant::now());
    }

    fn read_back(&self, wish: u64) {
        {
            let mut far = lock(&self.far);
            (far.tried, far.tries, far.read_back) = (wish, 0, wish);
        }
        self.cell.confirm_line(self.via, wish);
    }
}

/// Runs for the life of the line.
pub(super) async fn run(line: Arc<TcpLine>) {
    let mut back_off = RECONNECT_FIRST;
    let mut tried_at = Instant::now() - CUT_CONNECT_AGAIN_AFTER;
    let mut retry_at = tried_at;
    loop {
        let state = line.wire().state.clone();
        let groups = line.groups();
        let owed = groups.iter().filter_map(|group| group.due()).min();
        if owed.is_some() {
            // A cut does not sit out a back-off.
            retry_at = retry_at.min(tried_at + CUT_CONNECT_AGAIN_AFTER);
        }
        if !matches!(state, State::Up(_)) && Instant::now() >= retry_at {
            line.opened(connect(&line).await);
            tried_at = Instant::now();
            let up = matches!(line.wire().state, State::Up(_));
            back_off = if up { RECONNECT_FIRST } else { (back_off * 2).min(RECONNECT_LONGEST) };
            retry_at = tried_at + back_off;
            continue;
        }
        if owed.is_some_and(|at| at.is_none_or(|at| at <= Instant::now())) {
            send_first_due(&line, &groups, &state).await;
            continue;
        }
        let connect_at = (!matches!(state, State::Up(_))).then_some(retry_at);
        let wake_at = owed.flatten().into_iter().chain(connect_at).min();
        tokio::select! {
            () = line.lane.notified() => {
                // A connection that ended just now was good until then.
                if matches!(line.wire().state, State::Connecting) {
                    retry_at = retry_at.min(tried_at + RECONNECT_FIRST);
                }
                // Exchanges that a cut has made void sit on lines that carry no standing cut, too. Where one is to be carried,
                // it goes first and tells them then.
                if !groups.iter().any(|group| group.is_fresh()) {
                    line.changed.notify_waiters();
                }
            }
            () = async { sleep_until(wake_at.unwrap_or_else(Instant::now)).await }, if wake_at.is_some() => {}
        }
    }
}

async fn connect(line: &TcpLine) -> std::io::Result<TcpStream> {
    let opening = timeout(CONNECT_WITHIN, TcpStream::connect(line.address()));
    tokio::pin!(opening);
    loop {
        tokio::select! {
            opened = &mut opening => {
                return opened.unwrap_or_else(|_| Err(std::io::Error::new(std::io::ErrorKind::TimedOut, "nobody answered")));
            }
            () = line.lane.notified() => line.changed.notify_waiters(),
        }
    }
}

/// Sends the cut that has waited longest; one that was never sent goes before all repetitions.
async fn send_first_due(line: &TcpLine, groups: &[Arc<CutGroup>], state: &State) {
    let Some(group) = groups.iter().filter(|group| group.due().is_some()).min_by_key(|group| group.due()) else { return };
    let others_answered = group.others_answered(line.answers());
    let longest = if others_answered { OTHERS_FIRST_LONGEST } else { Duration::ZERO };
    let _turn = match state {
        State::Up(_) if !group.is_fresh() => match in_turn(line, groups, longest).await {
            Some(turn) => Some(turn),
            None => return,
        },
        _ => None,
    };
    let wish = group.wish();
    while let Err(turnaround_over_at) = line.take() {
        tokio::select! {
            () = line.lane.notified() => {}
            () = sleep_until(turnaround_over_at) => {}
        }
    }
    let _given_back = GivesBack(line);
    let State::Up(link) = state else {
        group.failed(wish, FaultCode::LINE_DOWN, "the line is not open");
        return;
    };
    let stream = match link.register() {
        Ok(stream) => stream,
        Err(why) => {
            group.failed(wish, FaultCode::LINE_DOWN, &why.to_string());
            line.ended(link, &why.to_string());
            return;
        }
    };
    for cut in &group.cuts {
        match send(line, &stream, groups, group, cut).await {
            Delivered::ReadBack => {}
            // Another furnace's cut must not wait for this one's device; this one comes again.
            Delivered::Overtaken => {
                group.given_way(wish);
                return;
            }
            Delivered::Silent(why) => {
                let tries = group.failed(wish, FaultCode::TIMED_OUT, &why);
                line.wire().in_vain();
                group.tried_at(line.answers());
                if !others_answered && tries % CUT_TRIES_PER_CONNECTION == 0 {
                    line.ended(link, "a cut was not read back");
                }
                return;
            }
            Delivered::Ended(why) => {
                group.failed(wish, FaultCode::LINE_DOWN, &why);
                line.ended(link, &why);
                return;
            }
        }
    }
    group.read_back(wish);
}

/// Waits for the turn to repeat a cut, or until the others had it for this long; none if something else is to be done first.
async fn in_turn<'a>(line: &'a TcpLine, groups: &[Arc<CutGroup>], longest: Duration) -> Option<Turn<'a>> {
    let (turn, granted) = line.queue(Class::Again);
    let Some(granted) = granted else { return Some(turn) };
    tokio::select! {
        biased;
        _ = granted => Some(turn),
        () = line.lane.notified() => {
            if !groups.iter().any(|group| group.is_fresh()) {
                line.changed.notify_waiters();
            }
            None
        }
        () = sleep(longest) => Some(turn),
    }
}

async fn send(line: &TcpLine, stream: &TcpStream, groups: &[Arc<CutGroup>], group: &CutGroup, cut: &StandingCut) -> Delivered {
    // The frame that was begun goes out whole before the cut: half a frame could swallow it.
    let rest = std::mem::take(&mut line.wire().unsent);
    let overtaken = async {
        sleep(line.turnaround.max(REPLY_USUAL)).await;
        while !groups.iter().any(|other| !std::ptr::eq(Arc::as_ptr(other), group) && other.is_fresh()) {
            line.lane.notified().await;
            line.changed.notify_waiters();
        }
    };
    let begun = Instant::now();
    let delivered = deliver(stream, &rest, cut, begun + CUT_REPLY_WITHIN, || group.cell.tell_sent(group.via), overtaken).await;
    tracing::debug!(
        line = %line.name(),
        out = %Hex(&cut.request),
        became = delivered.words(),
        ms = %in_ms(begun.elapsed()),
        "a standing cut"
    );
    delivered
}

/// Gives the wire back on every way out.
struct GivesBack<'a>(&'a TcpLine);

impl Drop for GivesBack<'_> {
    fn drop(&mut self) {
        self.0.give_back();
    }
}
