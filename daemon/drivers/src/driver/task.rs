//! The task itself: its loop, its sandbox and its polls.

use std::sync::Arc;
use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode, ShopMs};
use hearthward_supervise::observe::{Observation, UnitState};
use tokio::sync::mpsc;
use tokio::time::{Interval, MissedTickBehavior};

use super::back_off::BackOff;
use super::unit::{Said, Unit};
use super::{ByGuestAlone, DriverState, Job, Shared, within};
use crate::abi::{CallError, Guest, Read};
use crate::alarm::Alarm;
use crate::clock::ShopClock;
use crate::cut::Tag;
use crate::engine::Engine;
use crate::inbox::Sink;
use crate::line::Line;
use crate::sandbox::{Call, Inside};

/// What a task is made of.
pub(crate) struct Parts {
    pub(crate) engine: Engine,
    pub(crate) shared: Arc<Shared>,
    pub(crate) clock: ShopClock,
    pub(crate) lines: Vec<Line>,
    pub(crate) units: Vec<Unit>,
    pub(crate) jobs: mpsc::Receiver<Job>,
    pub(crate) sink: Sink,
}

/// A driver's task.
pub(crate) struct Task {
    engine: Engine,
    pub(super) shared: Arc<Shared>,
    pub(super) clock: ShopClock,
    lines: Vec<Line>,
    pub(super) units: Vec<Unit>,
    /// Which of them something heats by; all others are never looked at when it hurries.
    pub(super) heating: Vec<usize>,
    jobs: mpsc::Receiver<Job>,
    pub(super) sink: Sink,
    pub(super) alarm: Alarm,
    /// The sandbox; none while quarantined.
    pub(super) guest: Option<Box<dyn Guest>>,
    back_off: BackOff,
    pub(super) by_guest_alone: ByGuestAlone,
    ended: bool,
}

impl Task {
    pub(crate) fn new(parts: Parts) -> Self {
        let Parts { engine, shared, clock, lines, units, jobs, sink } = parts;
        let alone = units.iter().flat_map(Unit::wired).filter(|wired| !wired.cell.way(wired.via).has_standing());
        let by_guest_alone = ByGuestAlone {
            wake: Arc::clone(&shared.wake),
            cells: alone.map(|wired| (Arc::clone(&wired.cell), wired.via)).collect(),
        };
        let heating = (0..units.len()).filter(|&unit| units[unit].wired().next().is_some()).collect();
        Self {
            engine,
            shared,
            clock,
            lines,
            units,
            heating,
            jobs,
            sink,
            alarm: Alarm::default(),
            guest: None,
            back_off: BackOff::new(),
            by_guest_alone,
            ended: false,
        }
    }

    /// Runs until it is told to stop.
    pub(crate) async fn run(mut self) {
        let mut polls = (!self.clock.is_stepped()).then(|| polls(self.shared.spec.poll_every));
        while !self.ended {
            self.urgent().await;
            self.sink.flush().await;
            // A poll that is due does not keep an act waiting, nor the other way round.
            tokio::select! {
                biased;
                () = self.shared.wake.notified() => {}
                job = self.jobs.recv() => match job {
                    Some(job) => self.job(job).await,
                    None => break,
                },
                () = due(&mut polls) => self.poll().await,
            }
        }
        self.close().await;
    }

    async fn job(&mut self, job: Job) {
        match job {
            Job::Act { unit, deed, act } => {
                let is = self.act(unit, deed).await;
                self.sink.put(Observation::Act { act, is });
            }
            Job::Identify { unit, reply } => {
                let answer = self.identify(unit).await;
                // Whoever asked may have gone.
                let _ = reply.send(answer);
            }
            Job::Step { reply } => {
                self.urgent().await;
                self.poll().await;
                self.urgent().await;
                // The host that steps waits for this.
                let _ = reply.send(self.sink.take());
            }
            Job::Stop => self.ended = true,
        }
    }

    /// Reads every unit that answers, then one that did not; what is urgent goes between two of them.
    async fn poll(&mut self) {
        self.ensure_open(false).await;
        // A step is a read of everything, however long a device takes; and where nobody is asked, nobody waits.
        let all = self.clock.is_stepped() || self.guest.is_none();
        for unit in 0..self.units.len() {
            if all || !self.units[unit].is_suspect() {
                self.read(unit).await;
                self.urgent().await;
            }
        }
        if let Some(unit) = self.rested_suspect().filter(|_| !all) {
            self.read(unit).await;
            self.urgent().await;
        }
        self.settle();
    }

    /// The suspect that has rested longest: one a round, so that several silent devices cost the others one wait at a time.
    fn rested_suspect(&self) -> Option<usize> {
        let now = self.clock.now();
        let rested = |unit: usize| self.units[unit].rested_since(now).map(|since| (since, unit));
        (0..self.units.len()).filter_map(rested).min().map(|(_, unit)| unit)
    }

    async fn read(&mut self, unit: usize) {
        if self.guest.is_none() {
            self.tell_bad(unit);
            return;
        }
        let mut whole = Read::default();
        for place in 0..self.units[unit].facts.faces.len() {
            let (face, index) = (self.units[unit].facts.faces[place], self.units[unit].index);
            let call = Call::read(self.tag_of(unit), self.shared.spec.call_limit);
            match call!(self, |guest| guest.read(call, face, index)) {
                Ok(read) => {
                    whole.samples.extend(read.samples);
                    // The oldest exchange counts: the whole is no fresher.
                    whole.exchanged_at = whole.exchanged_at.into_iter().chain(read.exchanged_at).min();
                }
                Err(error) => {
                    let now = self.clock.now();
                    match &error {
                        CallError::Fault(fault) if fault.code == FaultCode::WITHDRAWN => self.units[unit].withdrawn(now),
                        CallError::Fault(_) => self.units[unit].missed(now),
                        CallError::Dead(_) => {}
                    }
                    self.failed(unit, &error);
                    return;
                }
            }
        }
        self.units[unit].answered();
        self.tell_read(unit, whole, true);
        self.say(unit, Said::Answering, UnitState::Answering);
    }

    /// A tag for calls that only read: a cut of the furnace that the unit controls takes the line from them.
    fn tag_of(&self, unit: usize) -> Option<Tag> {
        self.units[unit].controls.as_ref().map(|wired| wired.cell.tag(wired.via))
    }

    /// Takes the sandbox for one call; see [`call`](super::call).
    pub(super) fn take_guest(&mut self) -> Result<Box<dyn Guest>, CallError> {
        self.guest.take().ok_or_else(|| self.out_of_service())
    }

    /// Puts the sandbox back after a call that it survived; one that it did not survive ends it.
    pub(super) fn give_back<T>(&mut self, guest: Box<dyn Guest>, result: Result<T, CallError>) -> Result<T, CallError> {
        match &result {
            Err(CallError::Dead(fault)) => self.die(fault.clone()),
            Ok(_) | Err(CallError::Fault(_)) => self.guest = Some(guest),
        }
        result
    }

    fn out_of_service(&self) -> CallError {
        let last = self.shared.now().last_fault.map_or_else(String::new, |(fault, _)| format!(": {}", fault.detail));
        CallError::Fault(Fault::new(FaultCode::LIMIT, format!("driver {} is out of service{last}", self.shared.spec.name)))
    }

    /// The sandbox is lost. Evidence first, then the quarantine.
    fn die(&mut self, fault: Fault) {
        self.guest = None;
        let now = self.clock.now();
        let until = self.back_off.broke(now);
        // A span: the log's own times are those of the wall, not the shop's.
        let pause_s = until.since(now).as_secs_f64();
        tracing::warn!(driver = %self.shared.spec.name, %fault, "a driver broke and is quarantined for another {pause_s:.1} s");
        self.shared.note_fault(&fault, now);
        self.shared.set_state(DriverState::Quarantined { until });
        for wired in self.units.iter().flat_map(Unit::wired) {
            wired.slot.forget();
        }
    }

    /// Builds the sandbox if there is none and its time has come, or at once if `now` is urgent.
    pub(super) async fn ensure_open(&mut self, at_once: bool) {
        let now = self.clock.now();
        if self.guest.is_some() || !(at_once || self.back_off.is_over(now)) {
            return;
        }
        if self.shared.now().last_fault.is_some() {
            self.shared.note_restart();
        }
        let limit = self.shared.spec.call_limit;
        let mut alarm = std::mem::take(&mut self.alarm);
        let opened = within(&mut alarm, limit, self.open()).await;
        self.alarm = alarm;
        match opened {
            Ok(guest) => {
                self.guest = Some(guest);
                self.back_off.built(self.clock.now());
                self.shared.set_state(DriverState::Answering);
                tracing::info!(
                    driver = %self.shared.spec.name,
                    digest = %self.shared.sound.loaded.digest,
                    contract = %self.shared.sound.loaded.portrait.contract,
                    "a driver was opened"
                );
            }
            Err(error) => self.die(error.fault().clone()),
        }
    }

    async fn open(&mut self) -> Result<Box<dyn Guest>, CallError> {
        let spec = &self.shared.spec;
        let store = Inside::store(&self.engine, spec.name.clone(), self.clock.clone(), self.lines.clone());
        let mut guest = self.shared.sound.loaded.prepared.instantiate(store, Call::dry(spec.call_limit)).await?;
        let listed = guest.open(Call::dry(spec.call_limit), &spec.settings, &spec.lines).await?;
        let same = listed.iter().map(|unit| unit.name.as_str()).eq(self.units.iter().map(|unit| unit.facts.name.as_str()));
        let cuts_same = listed.iter().map(|unit| &unit.cuts).eq(self.units.iter().map(|unit| &unit.facts.cuts));
        if same && cuts_same {
            Ok(guest)
        } else {
            let what = "it lists other units, or other standing cuts, when opened than when checked";
            Err(CallError::Dead(Fault::new(FaultCode::OTHER, what)))
        }
    }

    async fn close(&mut self) {
        self.shared.set_state(DriverState::Stopped);
        let call = Call::dry(self.shared.spec.call_limit);
        if self.guest.is_some() && call_cut!(self, |guest| guest.close(call)).is_err() {
            tracing::warn!(driver = %self.shared.spec.name, "a driver did not close in order");
        }
        self.guest = None;
    }

    /// What a call on a unit failed with becomes known, unless a cut took the line from it.
    pub(super) fn failed(&mut self, unit: usize, error: &CallError) {
        match error {
            CallError::Fault(fault) if fault.code == FaultCode::WITHDRAWN => {}
            CallError::Fault(fault) => {
                self.shared.note_fault(fault, self.clock.now());
                self.say(unit, Said::silent(fault), UnitState::Silent(fault.clone()));
                self.tell_bad(unit);
            }
            // All its units are out of service with it.
            CallError::Dead(fault) => {
                for unit in 0..self.units.len() {
                    self.say(unit, Said::OutOfService, UnitState::OutOfService(fault.clone()));
                    self.tell_bad(unit);
                }
            }
        }
    }

    pub(super) fn tell_read(&mut self, unit: usize, read: Read, whole: bool) {
        let now = self.clock.now();
        let at = self.units[unit].time_of(&read, now);
        self.sink.put_read(self.units[unit].brought(read, at, now, whole));
    }

    fn tell_bad(&mut self, unit: usize) {
        let now = self.clock.now();
        if self.guest.is_none() && self.units[unit].said != Some(Said::OutOfService) {
            let fault = self.out_of_service().fault().clone();
            self.say(unit, Said::OutOfService, UnitState::OutOfService(fault));
        }
        self.sink.put_read(self.units[unit].nothing(now));
    }

    pub(super) fn say(&mut self, unit: usize, said: Said, is: UnitState) {
        let known = &mut self.units[unit];
        if known.said.as_ref() == Some(&said) {
            return;
        }
        known.said = Some(said);
        if let Some(unit) = known.id {
            self.sink.put(Observation::Unit { unit, is });
        }
    }

    /// The driver's own state out of its units'.
    fn settle(&self) {
        if self.guest.is_some() {
            let silent = self.units.iter().any(|unit| matches!(unit.said, Some(Said::Silent(_))));
            self.shared.set_state(if silent { DriverState::Silent } else { DriverState::Answering });
        }
    }

    /// The shop's time after which something that failed is tried again.
    pub(super) fn again_at(&self, pause: Duration) -> ShopMs {
        self.clock.now() + pause
    }
}

fn polls(every: Duration) -> Interval {
    let mut polls = tokio::time::interval(every.max(Duration::from_millis(1)));
    // A poll that took too long is not made up for: the device is slow, not the shop fast.
    polls.set_missed_tick_behavior(MissedTickBehavior::Delay);
    polls
}

async fn due(polls: &mut Option<Interval>) {
    match polls {
        Some(polls) => {
            polls.tick().await;
        }
        None => std::future::pending().await,
    }
}
