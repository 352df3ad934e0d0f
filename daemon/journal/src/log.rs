//! Whether SQLite's log beside the journal is whole, looked at before SQLite recovers what it can and forgets the rest without a word.
//!
//! A log is a head of 32 bytes and frames, each a head of 24 bytes and one page; every head carries two salts, and a checksum that
//! goes on from frame to frame (the file format that SQLite publishes, "The Write-Ahead Log"). What SQLite recovers ends with the last
//! commit before the chain breaks. A break is in order in two places: where frames of an earlier round begin, and inside the
//! last transaction, which a power cut may tear. The log is synced at every commit, so a commit behind the break that
//! something else was written behind had been durable: its loss is damage.

use std::fs::File;
use std::io::{BufReader, ErrorKind, Read};
use std::path::Path;

const HEAD_BYTES: usize = 32;
const FRAME_HEAD_BYTES: usize = 24;

/// The first word of a log, but for its last bit, which says how words are read for checksums.
const MAGIC: u32 = 0x377f_0682;

/// Rounds of the log that may have left frames behind the newest. Each round adds one to the first salt.
const ROUNDS: u32 = 1 << 16;

/// What a log is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Log {
    /// Nothing is lost, and nothing is left that a later look could mistake.
    Whole,
    /// A transaction was under way that nobody was told of.
    Torn,
    /// What had been durable is lost from this byte on.
    Damaged(u64),
}

/// Looks at the log of a journal; one that is not there is whole.
pub(crate) fn look(path: &Path) -> std::io::Result<Log> {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    match File::open(name) {
        Ok(file) => judge(BufReader::new(file)),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(Log::Whole),
        Err(error) => Err(error),
    }
}

fn judge(mut log: impl Read) -> std::io::Result<Log> {
    let mut head = [0; HEAD_BYTES];
    if !fill(&mut log, &mut head)? || head == [0; HEAD_BYTES] {
        return Ok(Log::Whole);
    }
    let page_bytes = word(&head, 8) as usize;
    let little = word(&head, 0) == MAGIC;
    let mut sum = Sum { little, of: (0, 0) };
    sum.add(&head[..24]);
    let sound = word(&head, 0) | 1 == MAGIC | 1 && page_bytes.is_power_of_two() && (512..=65_536).contains(&page_bytes);
    if !sound || sum.of != (word(&head, 24), word(&head, 28)) {
        return Ok(Log::Damaged(0));
    }
    let salts = (word(&head, 16), word(&head, 20));
    let (mut at, mut broken, mut committed) = (HEAD_BYTES as u64, None, false);
    let mut frame = vec![0; FRAME_HEAD_BYTES + page_bytes];
    while fill(&mut log, &mut frame)? {
        let own = (word(&frame, 8), word(&frame, 12));
        if broken.is_none() {
            sum.add(&frame[..8]);
            sum.add(&frame[FRAME_HEAD_BYTES..]);
            if own != salts || sum.of != (word(&frame, 16), word(&frame, 20)) {
                broken = Some(at);
            }
        }
        if let Some(from) = broken {
            let earlier = (1..ROUNDS).contains(&salts.0.wrapping_sub(own.0));
            let unwritten = frame[..FRAME_HEAD_BYTES] == [0; FRAME_HEAD_BYTES];
            let alien = own.0 != salts.0 && !earlier && !unwritten;
            if alien || (own == salts && committed) {
                return Ok(Log::Damaged(from));
            }
            committed |= own == salts && word(&frame, 4) != 0;
        }
        at += frame.len() as u64;
    }
    Ok(if broken.is_some() { Log::Torn } else { Log::Whole })
}

/// The running checksum of a log.
struct Sum {
    little: bool,
    of: (u32, u32),
}

impl Sum {
    fn add(&mut self, bytes: &[u8]) {
        for pair in bytes.chunks_exact(8) {
            let read = |place: usize| if self.little { word(pair, place).swap_bytes() } else { word(pair, place) };
            self.of.0 = self.of.0.wrapping_add(read(0)).wrapping_add(self.of.1);
            self.of.1 = self.of.1.wrapping_add(read(4)).wrapping_add(self.of.0);
        }
    }
}

fn word(bytes: &[u8], place: usize) -> u32 {
    u32::from_be_bytes([bytes[place], bytes[place + 1], bytes[place + 2], bytes[place + 3]])
}

/// Fills a buffer; says no when the file ends before.
fn fill(log: &mut impl Read, buffer: &mut [u8]) -> std::io::Result<bool> {
    match log.read_exact(buffer) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == ErrorKind::UnexpectedEof => Ok(false),
        Err(error) => Err(error),
    }
}
