//! A shop floor for one test: equipment, service, client, in a folder of their own.

use std::time::Duration;

use hearthward_tests::client::Client;
use hearthward_tests::daemon::Daemon;
use hearthward_tests::equipment::{Equipment, Logged, unit};
use hearthward_tests::{person, shop};
use serde_json::{Value, json};
use tempfile::TempDir;

/// Long enough for any step of these quick furnaces on a busy computer.
pub(crate) const STEP: Duration = Duration::from_secs(90);

pub(crate) struct Floor {
    pub(crate) folder: TempDir,
    pub(crate) equipment: Equipment,
    pub(crate) daemon: Option<Daemon>,
    pub(crate) client: Client,
}

impl Floor {
    pub(crate) fn open() -> Self {
        Self::open_with("", &[])
    }

    /// A floor with more in its configuration, and more on the service's command line.
    pub(crate) fn open_with(more: &str, arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder of its own");
        let equipment = Equipment::start(folder.path());
        shop::write(folder.path(), &equipment, more);
        let daemon = Daemon::start_with(folder.path(), arguments);
        let client = Self::attended(&daemon.at);
        Self { folder, equipment, daemon: Some(daemon), client }
    }

    /// A client that follows all events and looks for questions.
    fn attended(at: &str) -> Client {
        let mut client = Client::start(at);
        client.tell(&json!({"do": "events", "name": "all", "after_seq": 0}));
        client.tell(&json!({"do": "questions"}));
        client
    }

    /// The service dies without warning.
    pub(crate) fn kill(&mut self) {
        self.daemon.take().expect("it runs").kill();
    }

    /// The service starts again on the same journal, with a client of its own.
    pub(crate) fn start_again(&mut self, arguments: &[&str]) {
        let daemon = Daemon::start_with(self.folder.path(), arguments);
        self.client = Self::attended(&daemon.at);
        self.daemon = Some(daemon);
    }

    /// Brings a load to its soak in the furnace north, where it stays.
    pub(crate) fn bring_to_heat(&mut self, load: &str) {
        let from = self.client.so_far();
        person::start(&mut self.client, load, "long-soak", 1);
        person::attend(&mut self.client, &mut self.equipment, from, STEP, |event| {
            event["step_began"]["step"] == "STEP_KIND_SOAK"
        });
    }

    /// Waits for an event of a kind at the furnace north.
    pub(crate) fn event(&self, from: usize, kind: &str) -> (Value, usize) {
        self.client.wait_event(from, STEP, kind, |event| event["kind"] == kind && event["furnace"] == "north")
    }

    /// Waits until the furnace north gets power, or gets none.
    pub(crate) fn until_hot(&mut self, hot: bool) {
        let until = std::time::Instant::now() + STEP;
        loop {
            let seen = self.equipment.look();
            if heat_possible(&seen, "north") == hot {
                return;
            }
            assert!(
                std::time::Instant::now() < until,
                "north did not become {}: {seen}; {}",
                if hot { "hot" } else { "cold" },
                self.client.shop()
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// How an interlock of the furnace north stands.
    pub(crate) fn interlock(&mut self, kind: &str) -> String {
        interlock(&self.client.furnace("north"), kind)
    }

    /// Waits until an interlock of the furnace north stands as wanted.
    pub(crate) fn until_interlock(&mut self, kind: &str, state: &str) {
        self.client.shop_until(&format!("{kind} of north is {state}"), |shop| interlock(furnace(shop, "north"), kind) == state);
    }

    /// Waits until a point is of this quality.
    pub(crate) fn until_quality(&mut self, point: &str, quality: &str) {
        self.client.shop_until(&format!("{point} is {quality}"), |shop| reading(shop, point)["quality"] == quality);
    }
}

/// A furnace of a snapshot.
pub(crate) fn furnace<'a>(shop: &'a Value, name: &str) -> &'a Value {
    let furnaces = shop["furnaces"].as_array().expect("a list of furnaces");
    furnaces.iter().find(|furnace| furnace["name"] == name).unwrap_or_else(|| panic!("no furnace {name} in {shop}"))
}

/// A point of a snapshot.
pub(crate) fn reading<'a>(shop: &'a Value, point: &str) -> &'a Value {
    let readings = shop["readings"].as_array().expect("a list of readings");
    readings.iter().find(|reading| reading["point"] == point).unwrap_or_else(|| panic!("no point {point} in {shop}"))
}

/// How an interlock of a furnace stands: the name of its state.
pub(crate) fn interlock(furnace: &Value, kind: &str) -> String {
    let all = furnace["interlocks"].as_array().cloned().unwrap_or_default();
    let found =
        all.iter().find(|interlock| interlock["kind"] == kind).unwrap_or_else(|| panic!("no interlock {kind} in {furnace}"));
    found["state"].as_str().unwrap_or_default().to_owned()
}

/// Whether the equipment would heat: its controller runs to a set point above the room, and the contactor lets it.
pub(crate) fn heat_possible(seen: &Value, furnace: &str) -> bool {
    let it = &seen["furnaces"][furnace];
    it["run"] == true && it["contactor"] == true && it["set_point_c"].as_f64().unwrap_or_default() > 30.0
}

/// What the equipment was told about one furnace's heat, as it stands after each line of its log.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Told {
    pub(crate) set_point_c: f64,
    pub(crate) run: bool,
    pub(crate) contactor: bool,
}

impl Told {
    /// Takes a line of the log into account.
    pub(crate) fn take(&mut self, line: &Logged) {
        self.set_point_c = line.set_point_c(unit::NORTH).unwrap_or(self.set_point_c);
        self.run = line.run(unit::NORTH).unwrap_or(self.run);
        self.contactor = line.contactor(0).unwrap_or(self.contactor);
    }

    /// Whether the furnace north heats towards more than this.
    pub(crate) fn heats_above(&self, limit_c: f64) -> bool {
        self.run && self.contactor && self.set_point_c > limit_c
    }

    /// Whether it heats at all.
    pub(crate) fn heats(&self) -> bool {
        self.heats_above(0.0)
    }
}

/// For every opening of the furnace north's door while it was told to heat: how many frames the equipment had served until it was
/// told not to.
///
/// Fails if it never was.
pub(crate) fn frames_to_each_cut(log: &[Logged]) -> Vec<u64> {
    let mut told = Told::default();
    let mut found = Vec::new();
    let mut waiting: Option<u64> = None;
    for line in log {
        told.take(line);
        if let Some(opened) = waiting
            && !told.heats()
        {
            found.push(line.frames() - opened);
            waiting = None;
        }
        if line.door("north") == Some(true) && told.heats() {
            waiting = Some(line.frames());
        }
    }
    assert!(waiting.is_none(), "the door was opened at heat and the equipment was never told to stop heating");
    found
}
