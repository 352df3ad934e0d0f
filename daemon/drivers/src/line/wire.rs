//! What the lock of a TCP line guards: the connection, whose turn it is, and the rest of a frame that was begun.
//!
//! Two handles lead to one socket: one registered with the guests' runtime, and a plain one for reading and writing at once without
//! asking any runtime. The lane makes one of its own while it has a cut to send, and only then: a handle that is registered wakes
//! its runtime with every byte that comes.

use std::io::{self, ErrorKind, Read, Write};
use std::net::TcpStream as Plain;
use std::sync::Arc;

use hearthward_equipment::{Fault, FaultCode};
use tokio::io::Interest;
use tokio::net::TcpStream;
use tokio::runtime::Handle;
use tokio::sync::oneshot;
use tokio::time::Instant;

use super::tcp::READ_AT_ONCE;
use super::{Ask, Class};

/// The most late bytes that are thrown away before a request; a peer that has more to say without being asked is not one of ours.
const LATE_MOST: usize = 64 * 1024;

/// What the lock guards; held for single steps, never while waiting.
#[derive(Debug)]
pub(super) struct Wire {
    pub(super) state: State,
    /// Whose turn it is: a ticket, [`FREE`] or [`LANE`].
    pub(super) holder: u64,
    pub(super) next_ticket: u64,
    pub(super) waiting: Vec<Waiting>,
    /// The rest of a frame that was begun; goes out before anything else.
    pub(super) unsent: Vec<u8>,
    /// When the last request went out, until its reply is there or given up.
    pub(super) asked_at: Option<Instant>,
    /// The lane waits for the one who has the turn; nobody else gets it meanwhile.
    pub(super) lane_waits: bool,
    pub(super) silent: u32,
    /// Whether anybody was answered since the line last waited for a reply in vain.
    pub(super) answered: bool,
}

/// How the connection is.
#[derive(Clone, Debug)]
pub(super) enum State {
    Connecting,
    Up(Arc<Link>),
    Down(String),
}

/// One open connection.
#[derive(Debug)]
pub(super) struct Link {
    pub(super) plain: Plain,
    pub(super) guests: TcpStream,
}

#[derive(Debug)]
pub(super) struct Waiting {
    pub(super) class: Class,
    pub(super) ticket: u64,
    pub(super) grant: oneshot::Sender<()>,
}

/// Nobody has the turn.
pub(super) const FREE: u64 = 0;
/// The lane has it.
pub(super) const LANE: u64 = 1;
/// The first ticket of an exchange.
const FIRST_TICKET: u64 = 2;

impl Wire {
    pub(super) fn new() -> Self {
        Self {
            state: State::Connecting,
            holder: FREE,
            next_ticket: FIRST_TICKET,
            waiting: Vec::new(),
            unsent: Vec::new(),
            asked_at: None,
            lane_waits: false,
            silent: 0,
            answered: true,
        }
    }

    /// Whether it is this ticket's turn.
    pub(super) fn has_turn(&self, ticket: u64) -> bool {
        self.holder == ticket
    }

    /// Whether the exchange may go on: it has the turn, and no cut has overtaken it.
    pub(super) fn still(&self, ticket: u64, ask: &Ask<'_>) -> Result<(), Fault> {
        if self.has_turn(ticket) && !ask.is_void() { Ok(()) } else { Err(withdrawn()) }
    }

    /// Nothing of an earlier connection counts.
    pub(super) fn start_over(&mut self) {
        self.unsent.clear();
        self.asked_at = None;
        self.silent = 0;
    }

    /// Writes of the rest of a begun frame what the socket takes.
    pub(super) fn flush(&mut self, mut plain: &Plain) -> io::Result<()> {
        while !self.unsent.is_empty() {
            match plain.write(&self.unsent) {
                Ok(written) => {
                    self.unsent.drain(..written);
                }
                Err(full) if full.kind() == ErrorKind::WouldBlock => return Ok(()),
                Err(why) => return Err(why),
            }
        }
        Ok(())
    }

    /// Whether it may have the turn if nobody else wants it. After a wait in vain somebody else is to be answered before a cut is
    /// repeated: one silent unit must not cost its neighbours more than one wait at a time.
    pub(super) fn admits(&self, class: Class) -> bool {
        class != Class::Again || self.answered
    }

    /// The next in turn: writes before all else, then who came first.
    pub(super) fn next_in_turn(&mut self) -> Option<Waiting> {
        let admitted = self.waiting.iter().enumerate().filter(|(_, waiting)| self.admits(waiting.class));
        let first = admitted.min_by_key(|(_, waiting)| (waiting.class != Class::Write, waiting.ticket))?.0;
        Some(self.waiting.swap_remove(first))
    }

    /// A reply was waited for in vain.
    pub(super) fn in_vain(&mut self) {
        self.answered = false;
    }
}

impl Link {
    pub(super) fn new(stream: TcpStream, guests: &Handle) -> io::Result<Self> {
        stream.set_nodelay(true)?;
        let plain = stream.into_std()?;
        let other = plain.try_clone()?;
        let _entered = guests.enter();
        Ok(Self { plain, guests: TcpStream::from_std(other)? })
    }

    /// Throws away what came unasked, or fails if the connection is over. Asked through the runtime, so that it knows that the
    /// socket is empty and the reply is waited for without looking once more.
    pub(super) fn throw_away_late(&self) -> io::Result<()> {
        let mut looked = false;
        let through_the_runtime = self.guests.try_io(Interest::READABLE, || {
            looked = true;
            throw_away_all(&self.plain)
        });
        // Where the runtime knows of no bytes it does not look, and bytes that have just come may lie there.
        let end = if looked { through_the_runtime } else { throw_away_all(&self.plain) };
        match end {
            Err(none) if none.kind() == ErrorKind::WouldBlock => Ok(()),
            end => end,
        }
    }

    /// A handle that is registered with the runtime of the caller.
    pub(super) fn register(&self) -> io::Result<TcpStream> {
        TcpStream::from_std(self.plain.try_clone()?)
    }
}

/// Reads until there is nothing more, which is the error [`ErrorKind::WouldBlock`].
fn throw_away_all(mut plain: &Plain) -> io::Result<()> {
    let mut late = [0; READ_AT_ONCE];
    let mut thrown = 0;
    loop {
        match plain.read(&mut late) {
            Ok(0) => return Err(io::Error::new(ErrorKind::UnexpectedEof, "the peer closed it")),
            Ok(got) => thrown += got,
            Err(end) => return Err(end),
        }
        if thrown > LATE_MOST {
            return Err(io::Error::new(ErrorKind::InvalidData, "the peer talks without being asked"));
        }
    }
}

pub(super) fn withdrawn() -> Fault {
    Fault::new(FaultCode::WITHDRAWN, "a cut went ahead of it")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: whoever commands goes before whoever reads, and of two alike who came first.
    #[test]
    fn writes_go_before_reads() {
        let mut wire = Wire::new();
        wait(&mut wire, &[(Class::Read, 4), (Class::Write, 7), (Class::Read, 3), (Class::Write, 5)]);
        assert_eq!(order(&mut wire), [5, 7, 3, 4]);
    }

    /// Goal: a repeated cut comes in turn like a read, and after a wait in vain not before somebody was answered.
    #[test]
    fn a_repeated_cut_lets_others_be_answered_first() {
        let mut wire = Wire::new();
        let waiting = [(Class::Again, 3), (Class::Read, 4), (Class::Read, 2), (Class::Write, 5)];
        wait(&mut wire, &waiting);
        assert_eq!(order(&mut wire), [5, 2, 3, 4]);
        wire.in_vain();
        wait(&mut wire, &waiting);
        assert_eq!(order(&mut wire), [5, 2, 4]);
        wire.answered = true;
        assert_eq!(order(&mut wire), [3]);
    }

    fn wait(wire: &mut Wire, waiting: &[(Class, u64)]) {
        wire.waiting.extend(waiting.iter().map(|&(class, ticket)| Waiting { class, ticket, grant: oneshot::channel().0 }));
    }

    fn order(wire: &mut Wire) -> Vec<u64> {
        std::iter::from_fn(|| wire.next_in_turn()).map(|next| next.ticket).collect()
    }
}
