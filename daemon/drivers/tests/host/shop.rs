//! A small shop for the tests: an engine, a folder of guests, and what was observed.

use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, LazyLock};
use std::time::{Duration, Instant};

use hearthward_drivers::{Compiler, DriverSpec, Engine, FurnaceWiring, Host, HostPlan, LineSpec, Problem, ShopClock, survey};
use hearthward_equipment::{
    Address, Directory, FurnaceId, Generation, Name, PointId, Quality, Reading, UnitAddress, UnitId, Value,
};
use hearthward_supervise::observe::{Observation, UnitState};
use hearthward_supervise::output::{Cut, Via};

use crate::guest::Guest;

/// Long enough for the busiest computer; nothing is asserted about the time itself.
pub(crate) const PATIENCE: Duration = Duration::from_secs(20);

/// One engine for all tests: compiling is the dearest part of them.
pub(crate) fn engine() -> Engine {
    static ENGINE: LazyLock<Engine> = LazyLock::new(|| Engine::new(None, Compiler::Within).expect("an engine"));
    ENGINE.clone()
}

pub(crate) fn name(text: &str) -> Name {
    Name::new(text).expect("a name")
}

/// A shop under construction, then running.
pub(crate) struct Shop {
    pub(crate) folder: tempfile::TempDir,
    pub(crate) plan: HostPlan,
}

/// A running host with what it says.
pub(crate) struct Running {
    pub(crate) host: Arc<Host>,
    pub(crate) directory: Directory,
    inbox: Receiver<Observation>,
}

impl Shop {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder"), plan: HostPlan::default() }
    }

    /// Adds a driver made of this guest, on these lines.
    pub(crate) fn driver(mut self, driver: &str, guest: &Guest, lines: &[&str]) -> Self {
        let path = guest.write(self.folder.path(), driver);
        let mut spec = DriverSpec::new(name(driver), path);
        spec.lines = lines.iter().map(|line| name(line)).collect();
        spec.poll_every = Duration::from_millis(20);
        self.plan.drivers.push(spec);
        self
    }

    /// Adds a TCP line.
    pub(crate) fn line(mut self, line: &str, address: impl ToString) -> Self {
        self.plan.lines.push(LineSpec::tcp(name(line), address.to_string()));
        self
    }

    /// Wires the unit as the controller of the next furnace.
    pub(crate) fn furnace(mut self, unit: &str) -> Self {
        let address: UnitAddress = unit.parse().expect("a unit's address");
        let controller = Some(self.plan.directory.unit(&address));
        let furnace = FurnaceId(u16::try_from(self.plan.wiring.len()).expect("few furnaces"));
        self.plan.wiring.push(FurnaceWiring { furnace, controller, contactor: None, heartbeat: None });
        self
    }

    /// Takes every point that the drivers offer into the directory.
    pub(crate) fn everything(mut self) -> Self {
        for surveyed in survey(&engine(), &self.plan.drivers) {
            for unit in surveyed.units {
                for point in unit.readings {
                    let unit = UnitAddress { driver: name(&surveyed.name), unit: unit.name.clone() };
                    self.plan.directory.point(&Address { unit, point });
                }
            }
        }
        self
    }

    pub(crate) fn try_start(self, clock: ShopClock) -> Result<(Running, tempfile::TempDir), Vec<Problem>> {
        let (sender, inbox) = sync_channel(1024);
        let directory = self.plan.directory.clone();
        let offer = move |what: Observation| match sender.try_send(what) {
            Err(std::sync::mpsc::TrySendError::Full(back)) => Err(Box::new(back)),
            Ok(()) | Err(std::sync::mpsc::TrySendError::Disconnected(_)) => Ok(()),
        };
        let host = Host::start(&engine(), self.plan, clock, offer)?;
        Ok((Running { host: Arc::new(host), directory, inbox }, self.folder))
    }

    pub(crate) fn start(self, clock: ShopClock) -> Running {
        self.try_start(clock).unwrap_or_else(|problems| panic!("{problems:?}")).0
    }
}

impl Running {
    pub(crate) fn point(&self, address: &str) -> PointId {
        self.directory.find_point(&address.parse().expect("an address")).expect("a point of the directory")
    }

    pub(crate) fn unit(&self, address: &str) -> UnitId {
        self.directory.find_unit(&address.parse().expect("an address")).expect("a unit of the directory")
    }

    /// Everything that was observed and not waited for yet.
    pub(crate) fn so_far(&self) -> Vec<Observation> {
        self.inbox.try_iter().collect()
    }

    /// Waits for an observation that fits, and says which.
    pub(crate) fn wait(&self, what: &str, fits: impl Fn(&Observation) -> bool) -> Observation {
        let until = Instant::now() + PATIENCE;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let observed = self.inbox.recv_timeout(left).unwrap_or_else(|_| panic!("waited in vain for {what}"));
            if fits(&observed) {
                return observed;
            }
        }
    }
}

/// A cut of a furnace by its controller.
pub(crate) fn cut(furnace: u16, generation: u64) -> Cut {
    Cut { furnace: FurnaceId(furnace), generation: Generation(generation), via: Via::Controller }
}

/// The last reading of every point in a list of observations.
pub(crate) fn readings(observed: &[Observation]) -> BTreeMap<PointId, Reading> {
    let mut last = BTreeMap::new();
    for what in observed {
        if let Observation::Reading(reading) = what {
            last.insert(reading.point, reading.clone());
        }
    }
    last
}

pub(crate) fn is_good(observed: &Observation, point: PointId) -> bool {
    matches!(observed, Observation::Reading(reading) if reading.point == point && reading.quality == Quality::Good)
}

pub(crate) fn is_bad(observed: &Observation, point: PointId) -> bool {
    matches!(observed, Observation::Reading(reading) if reading.point == point && reading.quality == Quality::Bad)
}

pub(crate) fn is_out(observed: &Observation, of: UnitId) -> bool {
    matches!(observed, Observation::Unit { unit, is: UnitState::OutOfService(_) } if *unit == of)
}

/// Degrees Celsius of a reading.
pub(crate) fn celsius(reading: &Reading) -> Option<f64> {
    let value = reading.value.as_ref().and_then(Value::as_temperature)?;
    Some((hearthward_equipment::quantity::in_celsius(value) * 100.0).round() / 100.0)
}
