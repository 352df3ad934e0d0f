//! Events as they happen, or from a journal's file.

use std::path::{Path, PathBuf};

use clap::Args;
use hearthward_journal::{JournalError, ReadError, Reader};
use hearthward_proto::v1;
use hearthward_proto::v1::event_service_client::EventServiceClient;
use hearthward_proto::v1::stream_events_request::Begin;
use hearthward_proto::v1::stream_events_response::Item;

use super::call::{block_on, connect, json, refused};
use super::{CallArgs, print, words};
use crate::exit::{Ended, Exit};

#[derive(Debug, Args)]
pub(super) struct Watch {
    /// The number of the first event; 1 is the first ever. Without it, what happens from now on; of a file, all of it.
    #[arg(long)]
    from: Option<u64>,
    /// Stop after the last event that is on record now, instead of waiting for more.
    #[arg(long)]
    once: bool,
    /// Read a journal's file instead of asking a service; implies --once, and --at is not looked at.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Tell hours since the service started instead of date and time of day; for the journal of a demonstration.
    #[arg(long)]
    shop_time: bool,
    #[command(flatten)]
    call: CallArgs,
}

impl Watch {
    pub(super) fn run(self) -> Result<(), Ended> {
        match &self.journal {
            Some(file) => self.replay(file),
            None => block_on(self.follow()),
        }
    }

    async fn follow(&self) -> Result<(), Ended> {
        let mut client = EventServiceClient::new(connect(&self.call.at).await?);
        let begin = self.from.map(Begin::FromSeq);
        let request = v1::StreamEventsRequest { begin, journal_id: String::new(), filter: None };
        let mut stream = client.stream_events(request).await.map_err(refused)?.into_inner();
        let mut last = None;
        while let Some(message) = stream.message().await.map_err(refused)? {
            match message.item {
                Some(Item::Event(event)) => {
                    self.print(&event)?;
                    if self.once && Some(event.seq) == last {
                        return Ok(());
                    }
                }
                Some(Item::Progress(progress)) if self.once => {
                    let end = *last.get_or_insert(progress.last_seq);
                    if progress.through_seq >= end {
                        return Ok(());
                    }
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn replay(&self, file: &Path) -> Result<(), Ended> {
        let broken = |error: JournalError| Ended::new(Exit::Failed, error.to_string());
        let reader = Reader::open(file).map_err(broken)?;
        let mut next = self.from.unwrap_or(reader.oldest_seq()).max(1);
        let last = reader.last_seq();
        if next > last + 1 {
            let words = format!("event {next} is not there yet; the last is {last}, the next to come is {}", last + 1);
            return Err(Ended::new(Exit::Refused, words));
        }
        loop {
            let page = reader.read(next, PAGE).map_err(|error| match error {
                ReadError::TooOld { .. } => Ended::new(Exit::Refused, error.to_string()),
                other => broken(other.of_file(file)),
            })?;
            let Some(last) = page.last() else { return Ok(()) };
            next = last.seq + 1;
            page.iter().try_for_each(|event| self.print(&hearthward_api::event(event)))?;
        }
    }

    fn clock(&self) -> words::Clock {
        if self.shop_time { words::Clock::Shop } else { words::Clock::OfDay }
    }

    fn print(&self, event: &v1::Event) -> Result<(), Ended> {
        print::line(if self.call.json { json("Event", event) } else { words::event(event, self.clock()) })
    }
}

/// Events read from a file at once: a screenful of memory, not the whole record.
const PAGE: usize = 500;
