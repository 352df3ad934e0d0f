//! Sending a standing cut and reading it back; at the start also without any line, lane or guest.

use std::io::{self, ErrorKind};
use std::time::Duration;

use hearthward_equipment::FurnaceId;
use tokio::net::TcpStream;
use tokio::time::{Instant, sleep, sleep_until, timeout_at};

use super::frame::{FRAME_LONGEST, Progress, progress};
use super::lane::{CONNECT_WITHIN, CUT_REPLY_WITHIN};
use crate::cut::{StandingCut, StandingCuts, StandingEntry};
use crate::plan::{LineKind, LineSpec};

/// Between two rounds of a line that was not open at the start.
const ROUND_AGAIN_AFTER: Duration = Duration::from_millis(100);

/// Silence after bytes that were not the awaited reply: it may have been framed away with them.
const OUT_OF_STEP_AFTER: Duration = Duration::from_millis(50);

/// What became of a standing cut.
pub(super) enum Delivered {
    /// The device has said that it took it.
    ReadBack,
    /// Nothing that confirms it came in time.
    Silent(String),
    /// The connection is gone.
    Ended(String),
    /// Something more urgent came; the bytes went out, the reply was not waited for.
    Overtaken,
}

impl Delivered {
    /// What became of it, for the log.
    pub(super) fn words(&self) -> &str {
        match self {
            Self::ReadBack => "read back",
            Self::Silent(why) | Self::Ended(why) => why,
            Self::Overtaken => "overtaken by another cut",
        }
    }
}

/// What became of one furnace's standing cuts on one line at the start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandingSent {
    /// Which furnace.
    pub furnace: FurnaceId,
    /// Whether every one of them read back.
    pub read_back: bool,
    /// What is known, if not.
    pub why: String,
}

/// Writes what is left of a begun frame, then the cut, and reads until a reply confirms it. Other frames are passed over: they
/// answer what was asked before.
pub(super) async fn deliver(
    stream: &TcpStream,
    rest: &[u8],
    cut: &StandingCut,
    until: Instant,
    sent: impl FnOnce(),
    overtaken: impl Future<Output = ()>,
) -> Delivered {
    for bytes in [rest, &cut.request] {
        match timeout_at(until, write_all(stream, bytes)).await {
            Ok(Ok(())) => {}
            Ok(Err(why)) => return Delivered::Ended(why.to_string()),
            Err(_) => return Delivered::Ended("the line takes no more bytes".to_owned()),
        }
    }
    sent();
    if cut.reply.is_empty() {
        return Delivered::ReadBack;
    }
    tokio::select! {
        biased;
        read = timeout_at(until, until_read_back(stream, cut)) => match read {
            Ok(Ok(())) => Delivered::ReadBack,
            Ok(Err(why)) => Delivered::Ended(why.to_string()),
            Err(_) => Delivered::Silent("the device did not confirm the standing cut in time".to_owned()),
        },
        () = overtaken => Delivered::Overtaken,
    }
}

async fn write_all(stream: &TcpStream, mut bytes: &[u8]) -> io::Result<()> {
    while !bytes.is_empty() {
        match stream.try_write(bytes) {
            Ok(written) => bytes = &bytes[written..],
            Err(full) if full.kind() == ErrorKind::WouldBlock => stream.writable().await?,
            Err(why) => return Err(why),
        }
    }
    Ok(())
}

/// Reads the cut back, and sends it again when the reply was lost in the rest of another.
async fn until_read_back(stream: &TcpStream, cut: &StandingCut) -> io::Result<()> {
    while !read_back(stream, cut).await? {
        write_all(stream, &cut.request).await?;
    }
    Ok(())
}

/// Whether the reply came; not if other bytes came and then nothing more.
async fn read_back(stream: &TcpStream, cut: &StandingCut) -> io::Result<bool> {
    let mut others = false;
    let mut reply = Vec::with_capacity(cut.expect.len().max(64));
    let mut paused = false;
    loop {
        loop {
            match progress(&reply, &cut.reply) {
                Progress::Whole(end) if cut.is_confirmed_by(&reply[..end]) => return Ok(true),
                Progress::Whole(end) => {
                    others = true;
                    reply.drain(..end);
                }
                Progress::Pause(_) if paused && cut.is_confirmed_by(&reply) => return Ok(true),
                // Rubbish, or the tail of a reply whose head somebody else has read.
                Progress::Refused(_) => {
                    others = true;
                    reply.clear();
                }
                Progress::Pause(_) if paused => {
                    others = true;
                    reply.clear();
                }
                Progress::Pause(_) | Progress::More => break,
            }
            if reply.is_empty() {
                break;
            }
        }
        paused = false;
        match stream.try_read_buf(&mut reply) {
            Ok(0) => return Err(io::Error::new(ErrorKind::UnexpectedEof, "the peer closed it")),
            Ok(_) if reply.len() > FRAME_LONGEST => reply.clear(),
            Ok(_) => reply.reserve(64),
            Err(none) if none.kind() == ErrorKind::WouldBlock => match progress(&reply, &cut.reply) {
                Progress::Pause(pause) => paused = tokio::time::timeout(pause, stream.readable()).await.is_err(),
                _ if others => match tokio::time::timeout(OUT_OF_STEP_AFTER, stream.readable()).await {
                    Ok(readable) => readable?,
                    Err(_) => return Ok(false),
                },
                _ => stream.readable().await?,
            },
            Err(why) => return Err(why),
        }
    }
}

/// Sends all standing cuts on connections of their own, again and again until they read back or the time is up.
pub(crate) async fn deliver_all(lines: &[LineSpec], cuts: &StandingCuts, within: Duration) -> Vec<StandingSent> {
    let until = Instant::now() + within;
    let mut under_way = tokio::task::JoinSet::new();
    for line in lines {
        let LineKind::Tcp { address } = line.kind.clone();
        let entries: Vec<StandingEntry> = cuts.entries.iter().filter(|entry| entry.line == line.name).cloned().collect();
        if !entries.is_empty() {
            under_way.spawn(async move { on_one_line(&address, entries, until).await });
        }
    }
    let mut all = Vec::new();
    for entry in &cuts.entries {
        if !lines.iter().any(|line| line.name == entry.line) {
            let why = format!("line {} is not in the configuration any more", entry.line);
            all.push(StandingSent { furnace: entry.furnace, read_back: false, why });
        }
    }
    while let Some(done) = under_way.join_next().await {
        all.extend(done.into_iter().flatten());
    }
    all.sort_by_key(|sent| sent.furnace);
    all
}

async fn on_one_line(address: &str, entries: Vec<StandingEntry>, until: Instant) -> Vec<StandingSent> {
    let mut all: Vec<StandingSent> = entries
        .iter()
        .map(|entry| StandingSent { furnace: entry.furnace, read_back: false, why: "not tried".to_owned() })
        .collect();
    loop {
        match timeout_at((Instant::now() + CONNECT_WITHIN).min(until), TcpStream::connect(address)).await {
            Ok(Ok(stream)) => {
                for (entry, sent) in entries.iter().zip(&mut all).filter(|(_, sent)| !sent.read_back) {
                    (sent.read_back, sent.why) = send_entry(&stream, entry, until).await;
                }
            }
            Ok(Err(why)) => all.iter_mut().for_each(|sent| sent.why = format!("{address}: {why}")),
            Err(_) => all.iter_mut().for_each(|sent| sent.why = format!("{address}: nobody answered")),
        }
        if all.iter().all(|sent| sent.read_back) || Instant::now() >= until {
            return all;
        }
        tokio::select! { () = sleep(ROUND_AGAIN_AFTER) => {}, () = sleep_until(until) => {} }
    }
}

async fn send_entry(stream: &TcpStream, entry: &StandingEntry, until: Instant) -> (bool, String) {
    for cut in &entry.cuts {
        let until = (Instant::now() + CUT_REPLY_WITHIN).min(until);
        match deliver(stream, &[], cut, until, || (), std::future::pending()).await {
            Delivered::ReadBack => {}
            Delivered::Silent(why) | Delivered::Ended(why) => return (false, why),
            Delivered::Overtaken => return (false, "overtaken".to_owned()),
        }
    }
    (true, String::new())
}
