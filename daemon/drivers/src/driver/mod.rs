//! One task per driver instance: it owns the sandbox, polls its units, carries out orders and acts, and rebuilds what broke.
//!
//! ```text
//! Starting ──opened──▶ Answering ◀──▶ Silent (a device does not answer; the driver itself is sound)
//!     ▲                    │ trap, limit, deadline
//!     └──back-off over── Quarantined ◀┘
//! ```

/// One call into the guest within its time; a cut that only this guest can carry out shortens it. A macro, since the call borrows
/// the sandbox and its arguments at once, which no closure type can say.
macro_rules! call {
    ($task:ident, |$guest:ident| $call:expr) => {
        match $task.take_guest() {
            Ok(mut $guest) => {
                let limit = $task.shared.spec.call_limit;
                // What was read before goes to the core while this call waits for its device.
                let call = $task.by_guest_alone.within(&mut $task.alarm, limit, $call);
                let (result, ()) = tokio::join!(biased; call, $task.sink.flush());
                $task.give_back($guest, result)
            }
            Err(error) => Err(error),
        }
    };
}

/// As [`call`] for cuts and for closing: nothing is more urgent, so only the time counts.
macro_rules! call_cut {
    ($task:ident, |$guest:ident| $call:expr) => {
        match $task.take_guest() {
            Ok(mut $guest) => {
                let limit = $task.shared.spec.call_limit;
                let result = $crate::driver::within(&mut $task.alarm, limit, $call).await;
                $task.give_back($guest, result)
            }
            Err(error) => Err(error),
        }
    };
}

mod back_off;
mod orders;
mod task;
mod unit;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode, ShopMs, UnitId, Value};
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::{Act, Via};
use tokio::sync::{Notify, mpsc, oneshot};
use tokio::time::Instant;

use crate::abi::{CallError, TankCommand};
use crate::alarm::Alarm;
use crate::cut::{CutCell, lock};
use crate::plan::DriverSpec;
use crate::survey::Sound;

pub(crate) use task::{Parts, Task};
pub(crate) use unit::{Brought, Contactor, Unit, Wired};

/// Acts that wait for one driver. A driver that is so far behind is as good as lost; the core says again what it does not take.
pub(crate) const JOBS_MOST: usize = 256;

/// How long a call may still run after a cut that only the guest can carry out, before the sandbox is torn down for it.
const CUT_GRACE: Duration = Duration::from_millis(20);

/// What a driver is known by outside its task.
#[derive(Debug)]
pub(crate) struct Shared {
    pub(crate) spec: DriverSpec,
    pub(crate) sound: Sound,
    /// Wakes the task: a cut, an order.
    pub(crate) wake: Arc<Notify>,
    now: Mutex<Now>,
}

/// How it is.
#[derive(Clone, Debug)]
pub(crate) struct Now {
    pub(crate) state: DriverState,
    pub(crate) restarts: u64,
    pub(crate) last_fault: Option<(Fault, ShopMs)>,
}

/// How a driver instance is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DriverState {
    /// It was not opened yet.
    Starting,
    /// It runs, and every unit answered when last asked.
    Answering,
    /// It runs, and at least one unit does not answer.
    Silent,
    /// It broke and is rebuilt no sooner than then.
    Quarantined {
        /// By the shop's clock.
        until: ShopMs,
    },
    /// The host is being stopped.
    Stopped,
}

/// Something that a driver's task is asked to do.
#[derive(Debug)]
pub(crate) enum Job {
    /// Do it, and say what became of it.
    Act { unit: usize, deed: Deed, act: Act },
    /// Show yourself.
    Identify { unit: usize, reply: oneshot::Sender<Result<String, Fault>> },
    /// Poll everything once and say what came of it.
    Step { reply: std::sync::mpsc::Sender<Vec<Observation>> },
    /// Close and end.
    Stop,
}

/// What equipment can be told beside heat.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Deed {
    /// Litres a minute at the reference conditions that the service shows.
    SetFlow(f64),
    Tank(TankCommand),
    Write {
        point: String,
        value: Value,
    },
}

/// How to reach a task.
#[derive(Clone, Debug)]
pub(crate) struct Handle {
    pub(crate) shared: Arc<Shared>,
    pub(crate) jobs: mpsc::Sender<Job>,
}

impl Shared {
    pub(crate) fn new(spec: DriverSpec, sound: Sound) -> Self {
        let now = Now { state: DriverState::Starting, restarts: 0, last_fault: None };
        Self { spec, sound, wake: Arc::new(Notify::new()), now: Mutex::new(now) }
    }

    pub(crate) fn now(&self) -> Now {
        lock(&self.now).clone()
    }

    fn set_state(&self, state: DriverState) {
        lock(&self.now).state = state;
    }

    fn note_fault(&self, fault: &Fault, at: ShopMs) {
        lock(&self.now).last_fault = Some((fault.clone(), at));
    }

    fn note_restart(&self) {
        lock(&self.now).restarts += 1;
    }
}

impl Handle {
    /// Hands over a job, or says why not. Never waits.
    pub(crate) fn give(&self, job: Job) -> Result<(), Fault> {
        self.jobs.try_send(job).map_err(|full| {
            let why = match full {
                mpsc::error::TrySendError::Full(_) => "is too far behind to take more",
                mpsc::error::TrySendError::Closed(_) => "has ended",
            };
            Fault::new(FaultCode::LIMIT, format!("driver {} {why}", self.shared.spec.name))
        })
    }
}

/// Gives a call its time, and no more: epochs stop a guest that computes, only this stops one that waits.
pub(crate) async fn within<T>(
    alarm: &mut Alarm,
    limit: Duration,
    call: impl Future<Output = Result<T, CallError>>,
) -> Result<T, CallError> {
    tokio::select! {
        biased;
        result = call => result,
        () = alarm.at(Instant::now() + limit) => {
            let detail = format!("it took longer than {} ms for one call", limit.as_millis());
            Err(CallError::Dead(Fault::new(FaultCode::TIMED_OUT, detail)))
        }
    }
}

/// Furnaces that only the guest can cut, watched while a call runs.
#[derive(Debug)]
pub(crate) struct ByGuestAlone {
    pub(crate) wake: Arc<Notify>,
    pub(crate) cells: Vec<(Arc<CutCell>, Via)>,
}

impl ByGuestAlone {
    /// As [`within`], but a cut that needs this guest gives the call no more than [`CUT_GRACE`].
    async fn within<T>(
        &self,
        alarm: &mut Alarm,
        limit: Duration,
        call: impl Future<Output = Result<T, CallError>>,
    ) -> Result<T, CallError> {
        if self.cells.is_empty() {
            return within(alarm, limit, call).await;
        }
        let wishes = || self.cells.iter().map(|(cell, via)| cell.way(*via).wish());
        let before: Vec<u64> = wishes().collect();
        let overtaken = async {
            while wishes().eq(before.iter().copied()) {
                self.wake.notified().await;
            }
            tokio::time::sleep(CUT_GRACE).await;
        };
        tokio::select! {
            biased;
            result = within(alarm, limit, call) => result,
            () = overtaken => {
                let detail = format!("it did not end its call within {} ms of a cut", CUT_GRACE.as_millis());
                Err(CallError::Dead(Fault::new(FaultCode::WITHDRAWN, detail)))
            }
        }
    }
}

/// For the status and the answers to [`UnitId`]s that lead nowhere.
pub(crate) fn no_such_unit(unit: UnitId) -> Fault {
    Fault::new(FaultCode::NOT_SUPPORTED, format!("no driver serves unit number {}", unit.0))
}
