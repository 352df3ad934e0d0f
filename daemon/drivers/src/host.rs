//! The host: everything that runs, and the ways in for the core.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_celsius, in_litres_per_minute};
use hearthward_equipment::{Fault, FaultCode, PointId, ShopMs, UnitId, Value};
use hearthward_supervise::interlock::{HeatOrder, Means};
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::{Act, Cut, Via};
use tokio::runtime::Runtime;
use tokio::sync::{Notify, oneshot};

use crate::abi::TankCommand;
use crate::clock::ShopClock;
use crate::cut::{CutCell, StandingCuts, lock};
use crate::driver::{Deed, Handle, Job, no_such_unit};
use crate::engine::Engine;
use crate::inbox::{Inbox, take_cuts};
use crate::line::{Line, LineStatus};
use crate::plan::HostPlan;
use crate::refusal::Problem;
use crate::slot::OrderSlot;
use crate::start;
use crate::status::DriverStatus;
use crate::values::tidy;

/// How long drivers get to close in order when the host is stopped.
const CLOSE_WITHIN: Duration = Duration::from_secs(1);

/// The running equipment. [`Host::cut`], [`Host::put`] and [`Host::act`] never wait, so the core may call them from its tick.
///
/// Dropping it, or [`Host::stop`], ends drivers and lines; it takes no heat away by itself, that is the core's to decide.
pub struct Host {
    pub(crate) clock: ShopClock,
    pub(crate) cells: Vec<Arc<CutCell>>,
    /// By furnace and way; absent where nothing of that way is wired.
    pub(crate) slots: Vec<[Option<Arc<OrderSlot>>; 2]>,
    pub(crate) drivers: Vec<Handle>,
    pub(crate) lines: Vec<Line>,
    /// By unit number: the driver and the place of the unit in it.
    pub(crate) units: Vec<Option<(usize, usize)>>,
    /// By point number: the unit and the point's name in it.
    pub(crate) points: Vec<(UnitId, String)>,
    /// Points that no act may write, by number: they can heat.
    pub(crate) heat_points: Vec<bool>,
    /// By driver and unit: whether a person enters its values.
    pub(crate) by_hand: Vec<Vec<bool>>,
    pub(crate) standing: StandingCuts,
    /// Wakes the watch over the leases.
    pub(crate) leases: Arc<Notify>,
    pub(crate) runtimes: Mutex<Option<Runtimes>>,
}

/// Guests and lines never share a runtime: a guest that computes cannot keep a cut from its line.
#[derive(Debug)]
pub(crate) struct Runtimes {
    pub(crate) guests: Runtime,
    pub(crate) lines: Runtime,
}

impl Host {
    /// Checks everything, then starts lines and drivers. Readings come to `inbox`, or with a stepped clock out of [`Host::step`].
    ///
    /// # Errors
    /// Every problem at once; nothing was started.
    pub fn start(engine: &Engine, plan: HostPlan, clock: ShopClock, inbox: impl Inbox) -> Result<Self, Vec<Problem>> {
        start::start(engine, plan, clock, Arc::new(inbox))
    }

    /// Takes heat away from a furnace. Never waits, allocates nothing, cannot be full. The same cut again is carried out
    /// again once it was read back, and does nothing before.
    pub fn cut(&self, cut: &Cut) {
        if let Some(cell) = self.cells.get(cut.furnace.index()) {
            cell.raise(cut);
        }
    }

    /// Takes an order to heat. The newest of a furnace wins; an order of an older generation, or one that has expired, is dropped.
    /// One that only renews the last is not sent to the device again.
    pub fn put(&self, order: HeatOrder) {
        let via = match order.means() {
            Means::Close(_) => Via::Contactor,
            Means::SetPoint(_) | Means::OutputShare(_) | Means::RunProgram(_) => Via::Controller,
        };
        let slot = self.slots.get(order.furnace().index()).and_then(|ways| ways[via as usize].as_ref());
        match slot {
            Some(slot) => {
                if slot.put(order, self.clock.now()) {
                    self.leases.notify_one();
                }
            }
            None => tracing::error!(furnace = order.furnace().0, ?via, "an order to heat has nothing wired to go to"),
        }
    }

    /// Has equipment do something that is not heat. Never waits: what became of it is told as [`Observation::Act`].
    ///
    /// # Errors
    /// Why it is not even tried: there is no such output, it can heat, or its driver is too far behind. Nothing more is told of it.
    pub fn act(&self, act: &Act) -> Result<(), Fault> {
        let l_min = |flow| tidy(in_litres_per_minute(flow, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA));
        let (unit, deed) = match *act {
            Act::SetFlow { meter, flow } => (meter, Deed::SetFlow(l_min(flow))),
            Act::Agitate { unit, on } => (unit, Deed::Tank(TankCommand::Agitate(on))),
            Act::HeatTank { unit, to } => (unit, Deed::Tank(TankCommand::HeatToC(tidy(in_celsius(to))))),
            Act::TankHeaterOff { unit } => (unit, Deed::Tank(TankCommand::HeaterOff)),
            Act::WritePoint { point, ref value } => self.write(point, value.clone())?,
            Act::Enter { point, ref value } => self.entered(point, value.clone())?,
        };
        let (driver, unit) = self.find(unit)?;
        self.drivers[driver].give(Job::Act { unit, deed, act: act.clone() })
    }

    /// Has a unit show itself, and says what to look for.
    ///
    /// # Errors
    /// The unit's or the driver's fault; most drivers cannot do it.
    pub async fn identify(&self, unit: UnitId) -> Result<String, Fault> {
        let (driver, unit) = self.find(unit)?;
        let (reply, answer) = oneshot::channel();
        self.drivers[driver].give(Job::Identify { unit, reply })?;
        answer.await.unwrap_or_else(|_| Err(Fault::new(FaultCode::OTHER, "the driver ended before it answered")))
    }

    /// One step of a demonstration: sets the stepped clock, has every driver carry out what waits and read every unit once, and
    /// returns what was observed, in the order of the drivers. Blocks until all are done.
    ///
    /// With a real clock nothing is done.
    #[must_use]
    pub fn step(&self, now: ShopMs) -> Vec<Observation> {
        if !self.clock.is_stepped() {
            return Vec::new();
        }
        self.clock.step_to(now);
        self.lapse_leases();
        // All at once, collected in their order.
        let under_way: Vec<_> = self
            .drivers
            .iter()
            .map(|driver| {
                let (reply, answer) = std::sync::mpsc::channel();
                driver.give(Job::Step { reply }).map(|()| answer)
            })
            .collect();
        let mut observed = Vec::new();
        for answer in under_way.into_iter().flatten() {
            // A driver that has ended has nothing more to say.
            observed.extend(answer.recv().unwrap_or_default());
        }
        observed.extend(take_cuts(&self.cells));
        observed
    }

    /// How every driver is, in the order of the configuration.
    #[must_use]
    pub fn status(&self) -> Vec<DriverStatus> {
        self.drivers.iter().map(|driver| DriverStatus::of(&driver.shared)).collect()
    }

    /// How every line is.
    #[must_use]
    pub fn lines(&self) -> Vec<LineStatus> {
        self.lines.iter().map(Line::status).collect()
    }

    /// The standing cuts of all furnaces as bytes for the disk, to be sent at the next start by [`send_standing`](crate::send_standing).
    #[must_use]
    pub fn standing_cuts(&self) -> Vec<u8> {
        self.standing.to_bytes()
    }

    /// Closes the drivers in order and ends everything; waits a second at most. What is called afterwards does nothing.
    pub fn stop(&self) {
        let Some(runtimes) = lock(&self.runtimes).take() else { return };
        for driver in &self.drivers {
            // A queue that is full, or a task that has ended, is ended by the runtime below.
            let _ = driver.give(Job::Stop);
        }
        let until = std::time::Instant::now() + CLOSE_WITHIN;
        while self.drivers.iter().any(|driver| !driver.jobs.is_closed()) && std::time::Instant::now() < until {
            std::thread::sleep(Duration::from_millis(1));
        }
        runtimes.end();
    }

    /// Ends leases that have run out, and cuts; says when the next one does.
    pub(crate) fn lapse_leases(&self) {
        lapse(&self.cells, self.clock.now());
    }

    fn find(&self, unit: UnitId) -> Result<(usize, usize), Fault> {
        self.units.get(unit.index()).copied().flatten().ok_or_else(|| no_such_unit(unit))
    }

    /// What a person read. It heats nothing, since no wire leads to equipment that is kept by hand, whatever the point is called.
    fn entered(&self, point: PointId, value: Value) -> Result<(UnitId, Deed), Fault> {
        let (unit, name) = self.named(point)?;
        let (driver, place) = self.find(unit)?;
        if !self.by_hand[driver].get(place).is_some_and(|by_hand| *by_hand) {
            let why = format!("{name} is not kept by hand, so no value is entered there");
            return Err(Fault::new(FaultCode::NOT_ALLOWED, why));
        }
        Ok((unit, Deed::Write { point: name, value }))
    }

    fn named(&self, point: PointId) -> Result<(UnitId, String), Fault> {
        let known = self.points.get(point.index()).cloned();
        known.ok_or_else(|| Fault::new(FaultCode::NOT_SUPPORTED, format!("there is no point number {}", point.0)))
    }

    /// Heat goes by orders alone: whatever can heat is not to be written.
    fn write(&self, point: PointId, value: Value) -> Result<(UnitId, Deed), Fault> {
        let (unit, name) = self.named(point)?;
        if self.heat_points[point.index()] {
            return Err(Fault::new(FaultCode::NOT_ALLOWED, format!("{name} can heat and is written by orders alone")));
        }
        Ok((unit, Deed::Write { point: name, value }))
    }
}

impl Drop for Host {
    fn drop(&mut self) {
        if let Some(runtimes) = lock(&self.runtimes).take() {
            runtimes.end();
        }
    }
}

impl std::fmt::Debug for Host {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Host").field("drivers", &self.drivers.len()).field("lines", &self.lines.len()).finish_non_exhaustive()
    }
}

impl Runtimes {
    /// Never waits, and may be called anywhere: waiting is not allowed on a thread that carries another runtime.
    fn end(self) {
        self.guests.shutdown_background();
        self.lines.shutdown_background();
    }
}

/// Ends leases that have run out.
pub(crate) fn lapse(cells: &[Arc<CutCell>], now: ShopMs) {
    for cell in cells {
        for via in Via::BOTH {
            cell.lapse_if_over(via, now);
        }
    }
}

/// Watches the leases of a real shop: if the core stops renewing, heat is cut without it.
pub(crate) async fn watch_leases(cells: Vec<Arc<CutCell>>, clock: ShopClock, began: Arc<Notify>) {
    loop {
        lapse(&cells, clock.now());
        let next = cells.iter().flat_map(|cell| Via::BOTH.map(|via| cell.way(via).lease_until())).flatten().min();
        let pause = next.and_then(|next| clock.until(next));
        tokio::select! {
            () = began.notified() => {}
            // A renewal moves the end on; it is looked at again when the old end comes.
            () = tokio::time::sleep(pause.unwrap_or_default()), if pause.is_some() => {}
        }
    }
}
