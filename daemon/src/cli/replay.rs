//! Goes through a journal's decisions again.

use std::path::PathBuf;

use clap::Args;
use hearthward_equipment::{ShopMs, Tick};
use hearthward_journal::Reader;
use hearthward_supervise::plan::ShopPlan;
use serde_json::json;

use super::check::refused;
use super::print;
use crate::assembly::assemble;
use crate::exit::{Ended, Exit};
use crate::replay::{Difference, Line, NotReplayed, Replay as Again};
use crate::settings::Sources;

/// Takes what the core was given, tick by tick, from a journal, decides again, and compares. A journal that a service is writing may be
/// named too. Ends with 0 when everything came out as it is on record, with 1 when something did not, with 5 when something
/// cannot be read or there is nothing to go through.
#[derive(Debug, Args)]
pub(super) struct Replay {
    /// The journal's file.
    #[arg(long, value_name = "FILE")]
    journal: PathBuf,
    /// Which start of the service, from 1; all of them unless given.
    #[arg(long)]
    boot: Option<u64>,
    /// Begin at or before this tick of that start; at the first that is kept unless given.
    #[arg(long, value_name = "TICK", requires = "boot")]
    from: Option<u64>,
    /// Decide under this configuration instead of the one that was in force. Furnaces and points must be the same.
    #[arg(long, value_name = "FILE")]
    plan: Option<PathBuf>,
    /// Folder of driver files, for the other configuration.
    #[arg(long, requires = "plan")]
    drivers: Option<PathBuf>,
    /// Show only differences that say something about this furnace.
    #[arg(long)]
    furnace: Option<String>,
    /// How many differences are shown; all are counted.
    #[arg(long, default_value_t = 10)]
    show: usize,
    /// Print for programs: one JSON object a line.
    #[arg(long)]
    json: bool,
}

/// What was gone through, and how it came out.
#[derive(Debug, Default)]
struct Tally {
    ticks: u64,
    digests: u64,
    events: u64,
    shown: usize,
    /// Ticks are missing between two stretches of one start.
    gaps: u64,
    /// Why stretches could not be gone through.
    unread: Vec<String>,
}

impl Replay {
    pub(super) fn run(self) -> Result<(), Ended> {
        let broken = |error: &dyn std::fmt::Display| Ended::new(Exit::Failed, error.to_string());
        let reader = Reader::open(&self.journal).map_err(|error| broken(&error))?;
        let other = self.other_plan()?;
        let starts = reader.starts().map_err(|error| broken(&error))?;
        let mut starts: Vec<(u64, Tick)> =
            starts.into_iter().filter(|(boot, _)| self.boot.is_none_or(|wanted| *boot == wanted)).collect();
        if let Some(from) = self.from {
            let before = starts.iter().rposition(|(_, tick)| tick.0 <= from).unwrap_or(0);
            starts.drain(..before);
        }
        let mut tally = Tally::default();
        let mut reached: Option<(u64, Tick)> = None;
        for (boot, tick) in starts {
            // A stretch that was gone through from an earlier start already.
            if reached.is_some_and(|(of, through)| of == boot && tick <= through) {
                continue;
            }
            let start = reader.start(boot, tick).map_err(|error| broken(&error))?;
            let again = match Again::begin(&reader, &start, other.as_ref()) {
                Ok(again) => again,
                Err(NotReplayed::OtherShop) => return Err(broken(&NotReplayed::OtherShop)),
                // A later start may be of a form that can be read.
                Err(error) => {
                    tally.unread.push(error.to_string());
                    continue;
                }
            };
            tally.gaps += u64::from(reached.is_some_and(|(of, _)| of == boot));
            reached = Some((boot, self.stretch(again, &mut tally)?));
        }
        self.close(&tally)
    }

    /// Goes through one stretch without a gap; says how far it reached.
    fn stretch(&self, mut again: Again, tally: &mut Tally) -> Result<Tick, Ended> {
        let before = tally.ticks;
        loop {
            match again.step() {
                Ok(None) => break,
                Ok(Some(None)) => tally.ticks += 1,
                Ok(Some(Some(difference))) => {
                    tally.ticks += 1;
                    self.take(&difference, tally)?;
                }
                // What lies behind may still be whole, and is gone through from its own start.
                Err(error) => {
                    tally.unread.push(error.to_string());
                    break;
                }
            }
        }
        let (tick, at) = again.at;
        if !self.json && tally.ticks > before {
            print::line(format!("gone through up to tick {} ({at}): {} ticks", tick.0, tally.ticks - before))?;
        }
        Ok(tick)
    }

    fn take(&self, difference: &Difference, tally: &mut Tally) -> Result<(), Ended> {
        tally.digests += u64::from(difference.digest_on_record != difference.digest_now);
        let events = difference.events_on_record != difference.events_now;
        tally.events += u64::from(events);
        // Behind the first other digest nearly every tick has another: then only what is said says something new.
        let tells = events || tally.digests == 1;
        let about = |line: &Line| line.furnace.as_ref() == self.furnace.as_ref();
        let wanted = self.furnace.is_none() || difference.events_on_record.iter().chain(&difference.events_now).any(about);
        if !tells || !wanted || tally.shown >= self.show {
            return Ok(());
        }
        tally.shown += 1;
        print::line(if self.json { json!({ "difference": difference }).to_string() } else { shown(difference) })
    }

    fn close(&self, tally: &Tally) -> Result<(), Ended> {
        if self.json {
            let Tally { ticks, digests, events, gaps, unread, .. } = tally;
            let counts =
                json!({ "ticks": ticks, "digests_differ": digests, "events_differ": events, "gaps": gaps, "unread": unread });
            print::line(json!({ "replayed": counts }))?;
        }
        if !tally.unread.is_empty() {
            return Err(Ended::new(Exit::Failed, tally.unread.join("\n")));
        }
        if tally.ticks == 0 {
            let words = format!(
                "{} holds no inputs to go through: its service kept none, they were given up for room, or it ended within a minute of its start",
                self.journal.display()
            );
            return Err(Ended::new(Exit::Failed, words));
        }
        if tally.digests + tally.events > 0 {
            let words = format!(
                "of {} ticks, {} came out with another digest and {} with other events",
                tally.ticks, tally.digests, tally.events
            );
            return Err(Ended::new(Exit::Refused, words));
        }
        if !self.json {
            print::line(format!("{} ticks came out as they are on record, digest by digest", tally.ticks))?;
        }
        Ok(())
    }

    fn other_plan(&self) -> Result<Option<ShopPlan>, Ended> {
        let Some(file) = &self.plan else { return Ok(None) };
        let absolute = |path: &PathBuf| std::path::absolute(path).unwrap_or(path.clone()).display().to_string();
        let set = self.drivers.iter().map(|folder| ("host.drivers".to_owned(), absolute(folder))).collect();
        let sources = Sources { file: Some(file.clone()), text: None, set, environment: false };
        let assembly = assemble(&sources).map_err(|problems| refused(&problems, self.json))?;
        Ok(Some(assembly.wired.plan))
    }
}

fn shown(difference: &Difference) -> String {
    use std::fmt::Write as _;
    let Difference { boot, tick, shop_ms, .. } = difference;
    let mut text = format!("start {boot}, tick {tick} ({}): ", ShopMs(*shop_ms));
    let (was, is) = (difference.digest_on_record, difference.digest_now);
    let _ = match was == is {
        true => writeln!(text, "the same digest, other words"),
        false => writeln!(text, "digest {was:08x} on record, {is:08x} now"),
    };
    for (mark, lines) in [("on record", &difference.events_on_record), ("now", &difference.events_now)] {
        if lines.is_empty() {
            let _ = writeln!(text, "  {mark:<9} nothing was said");
        }
        for line in lines {
            let _ = writeln!(text, "  {mark:<9} {}: {}", line.kind, line.text);
        }
    }
    if !difference.cut_now.is_empty() {
        let _ = writeln!(text, "  now       cut: {}", difference.cut_now.join(", "));
    }
    let permitted: Vec<String> =
        difference.permitted_now.iter().map(|(furnace, ceiling_c)| format!("{furnace} up to {ceiling_c:.0} °C")).collect();
    let permitted = if permitted.is_empty() { "nothing".to_owned() } else { permitted.join(", ") };
    let _ = write!(text, "  now       heat is permitted to: {permitted}");
    text
}
