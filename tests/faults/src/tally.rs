//! What a run reached: without it nobody would know whether anything was put to the test.

use std::collections::BTreeMap;
use std::fmt;

use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::output::Outputs;

use crate::chance::fold;
use crate::script::Kind;

/// Counts of one run, or of many.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Runs.
    pub runs: u64,
    /// Furnaces × seconds of shop time.
    pub furnace_s: u64,
    /// Decisions.
    pub ticks: u64,
    /// Furnaces × decisions in which an order to heat was given.
    pub heated: u64,
    /// Faults that began, by kind.
    pub faults: BTreeMap<Kind, u64>,
    /// Interlocks that tripped.
    pub trips: BTreeMap<InterlockKind, u64>,
    /// Cuts, by what withheld heat first.
    pub cuts: BTreeMap<InterlockKind, u64>,
    /// Other events, by kind.
    pub events: BTreeMap<&'static str, u64>,
    /// How cycles ended.
    pub ends: BTreeMap<String, u64>,
    /// A hash over every decision.
    pub digest: u64,
}

impl Tally {
    /// A fault begins.
    pub fn began(&mut self, kind: Kind) {
        *self.faults.entry(kind).or_default() += 1;
    }

    /// A tick was made.
    pub fn ticked(&mut self, out: &Outputs) {
        self.ticks += 1;
        self.heated += out.orders.len() as u64;
        self.digest = fold(self.digest, out.digest);
        self.digest = fold(self.digest, (out.events.len() + 1000 * out.cuts.len() + 100_000 * out.orders.len()) as u64);
        for event in &out.events {
            *self.events.entry(event.body.kind()).or_default() += 1;
            match &event.body {
                EventBody::Tripped { interlock, .. } => *self.trips.entry(*interlock).or_default() += 1,
                EventBody::Cut { because, .. } => {
                    if let Some(first) = because.first() {
                        *self.cuts.entry(*first).or_default() += 1;
                    }
                }
                EventBody::CycleEnded { outcome, .. } => *self.ends.entry(outcome.clone()).or_default() += 1,
                _ => {}
            }
        }
    }

    /// Adds another.
    pub fn add(&mut self, other: &Self) {
        self.runs += other.runs;
        self.furnace_s += other.furnace_s;
        self.ticks += other.ticks;
        self.heated += other.heated;
        add(&mut self.faults, &other.faults);
        add(&mut self.trips, &other.trips);
        add(&mut self.cuts, &other.cuts);
        add(&mut self.events, &other.events);
        add(&mut self.ends, &other.ends);
        // The order in which threads finish must not show.
        self.digest = self.digest.wrapping_add(other.digest);
    }

    /// All faults.
    #[must_use]
    pub fn fault_count(&self) -> u64 {
        self.faults.values().sum()
    }

    /// Furnace-hours of shop time.
    #[must_use]
    pub fn furnace_hours(&self) -> f64 {
        self.furnace_s as f64 / 3600.0
    }
}

fn add<K: Ord + Clone>(to: &mut BTreeMap<K, u64>, from: &BTreeMap<K, u64>) {
    for (key, count) in from {
        *to.entry(key.clone()).or_default() += count;
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hours = self.furnace_hours();
        let faults = self.fault_count();
        writeln!(
            f,
            "{} runs, {hours:.0} furnace-hours ({:.2} furnace-years), {} decisions, {} leases to heat",
            self.runs,
            hours / 8766.0,
            self.ticks,
            self.heated
        )?;
        writeln!(f, "{faults} faults, {:.1} a furnace-hour: {:?}", faults as f64 / hours.max(1e-9), self.faults)?;
        writeln!(f, "trips: {:?}", self.trips)?;
        writeln!(f, "cuts by first cause: {:?}", self.cuts)?;
        writeln!(f, "cycles: {:?}", self.ends)?;
        write!(f, "events: {:?}\ndigest {:016x}", self.events, self.digest)
    }
}
