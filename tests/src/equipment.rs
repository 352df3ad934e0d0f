//! The independent equipment: `tests/peers/bench_server.py`.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::place;
use crate::talk::Talk;

/// Modbus unit identifiers, as in the server's head.
pub mod unit {
    /// Controller of the furnace north.
    pub const NORTH: u64 = 1;
    /// Controller of the furnace south.
    pub const SOUTH: u64 = 2;
    /// Doors and contactors.
    pub const IO: u64 = 3;
    /// Gas flow controller.
    pub const GAS: u64 = 4;
    /// Oil tank.
    pub const TANK: u64 = 5;
}

/// The server.
#[derive(Debug)]
pub struct Equipment {
    talk: Talk,
    log: PathBuf,
    /// Port of the furnace controllers.
    pub controllers_port: u16,
    /// Port of everything else.
    pub io_port: u16,
}

/// A line of the server's own log.
#[derive(Clone, Debug)]
pub struct Logged(pub Value);

impl Logged {
    /// What kind: `write`, `door`, `manner`, …
    #[must_use]
    pub fn kind(&self) -> &str {
        self.0["kind"].as_str().unwrap_or_default()
    }

    /// When, on the computer's monotonic clock.
    #[must_use]
    pub fn t_ns(&self) -> u64 {
        self.0["t_ns"].as_u64().unwrap_or_default()
    }

    /// How many requests had come by then.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.0["frames"].as_u64().unwrap_or_default()
    }

    /// Whether it is a write to this register, and the value if so.
    #[must_use]
    pub fn written(&self, unit: u64, table: &str, address: u64) -> Option<u64> {
        let it = &self.0;
        let same = self.kind() == "write" && it["unit"] == unit && it["table"] == table && it["address"] == address;
        if same { it["value"].as_u64() } else { None }
    }

    /// The set point in degrees Celsius, if it is a write of one to this controller.
    #[must_use]
    pub fn set_point_c(&self, controller: u64) -> Option<f64> {
        self.written(controller, "holding", 0).map(|tenths| f64::from(u32::try_from(tenths).unwrap_or(u32::MAX)) / 10.0)
    }

    /// Whether it is a write of the run switch of this controller, and how.
    #[must_use]
    pub fn run(&self, controller: u64) -> Option<bool> {
        self.written(controller, "coil", 0).map(|value| value != 0)
    }

    /// Whether it is a write of the contactor of this furnace (0 north, 1 south), and how.
    #[must_use]
    pub fn contactor(&self, furnace: u64) -> Option<bool> {
        self.written(unit::IO, "coil", furnace).map(|value| value != 0)
    }

    /// Whether this furnace's door was opened or shut, and how.
    #[must_use]
    pub fn door(&self, furnace: &str) -> Option<bool> {
        if self.kind() == "door" && self.0["furnace"] == furnace { self.0["open"].as_bool() } else { None }
    }
}

impl Equipment {
    /// Starts the server with its log in `folder`.
    ///
    /// # Panics
    /// If it does not come up.
    #[must_use]
    pub fn start(folder: &Path) -> Self {
        Self::start_with(folder, &[])
    }

    /// The same with further arguments.
    ///
    /// # Panics
    /// If it does not come up.
    #[must_use]
    pub fn start_with(folder: &Path, arguments: &[&str]) -> Self {
        let log = folder.join("equipment.jsonl");
        let mut command = Command::new(place::python());
        command.arg(place::root().join("tests/peers/bench_server.py")).arg("--log").arg(&log).args(arguments);
        let talk = Talk::start("the equipment", &mut command);
        let (ready, _) = talk.wait(0, "on which ports it listens", |said| said.get("ready").is_some());
        let port = |name: &str| u16::try_from(ready["ready"][name].as_u64().unwrap_or_default()).expect("a port");
        Self { controllers_port: port("controllers"), io_port: port("io"), log, talk }
    }

    /// Opens or shuts a door, and returns the equipment's state.
    ///
    /// # Panics
    /// If the server does not answer.
    pub fn door(&mut self, furnace: &str, open: bool) -> Value {
        self.command(&json!({"do": "door", "furnace": furnace, "open": open}))
    }

    /// Makes a unit answer well, not at all, late, rubbish or as another unit.
    ///
    /// # Panics
    /// If the server does not answer.
    pub fn answers(&mut self, unit: u64, how: &str) {
        self.command(&json!({"do": "answer", "unit": unit, "how": how, "ms": LATE_MS}));
    }

    /// The state of everything.
    ///
    /// # Panics
    /// If the server does not answer.
    pub fn look(&mut self) -> Value {
        self.command(&json!({"do": "look"}))
    }

    /// Any command of the server's standard input.
    ///
    /// # Panics
    /// If the server does not take it.
    pub fn command(&mut self, command: &Value) -> Value {
        let from = self.talk.so_far();
        self.talk.tell(command);
        let (said, _) =
            self.talk.wait(from, "that it is done", |said| said.get("done").is_some() || said.get("problem").is_some());
        assert!(said.get("problem").is_none(), "the equipment did not understand: {said}");
        said
    }

    /// The server's log up to now.
    ///
    /// # Panics
    /// If it cannot be read.
    #[must_use]
    pub fn log(&self) -> Vec<Logged> {
        let text = std::fs::read_to_string(&self.log).expect("the server keeps a log");
        // The last line may be half written.
        text.lines().filter_map(|line| serde_json::from_str(line).ok()).map(Logged).collect()
    }
}

/// Later than the driver's deadline, so that the answer belongs to a request which was given up.
const LATE_MS: u64 = 900;
