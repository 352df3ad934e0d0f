//! The independent client: `tests/peers/shop_client.py`.

use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};

use crate::place;
use crate::talk::{SOON, Talk};

/// The client.
#[derive(Debug)]
pub struct Client {
    talk: Talk,
    calls: u64,
}

impl Client {
    /// Starts a client of the service at an address.
    ///
    /// # Panics
    /// If it does not come up: the published contract does not compile, say.
    #[must_use]
    pub fn start(at: &str) -> Self {
        let mut command = Command::new(place::python());
        command
            .arg(place::root().join("tests/peers/shop_client.py"))
            .args(["--at", at, "--proto"])
            .arg(place::root().join("proto"));
        let talk = Talk::start("the client", &mut command);
        talk.wait(0, "that it is ready", |said| said["ready"] == true);
        Self { talk, calls: 0 }
    }

    /// Calls a method and returns the whole line that tells its outcome: with `answer` or with `error`.
    ///
    /// # Panics
    /// If nothing comes back.
    pub fn try_call(&mut self, service: &str, method: &str, request: &Value) -> Value {
        self.calls += 1;
        let name = format!("{method}-{}", self.calls);
        let from = self.talk.so_far();
        self.tell(&json!({"do": "call", "name": name, "service": service, "method": method, "request": request}));
        self.talk.wait(from, &format!("the outcome of {method}"), |said| said["call"] == name.as_str()).0
    }

    /// Calls a method that should succeed and returns the answer.
    ///
    /// # Panics
    /// If it fails.
    pub fn call(&mut self, service: &str, method: &str, request: &Value) -> Value {
        let outcome = self.try_call(service, method, request);
        assert!(outcome.get("answer").is_some(), "{method} failed: {outcome}");
        outcome["answer"].clone()
    }

    /// The shop as it is now.
    ///
    /// # Panics
    /// If the call fails.
    pub fn shop(&mut self) -> Value {
        self.call("ShopService", "GetShop", &json!({}))["shop"].clone()
    }

    /// A furnace as it is now.
    ///
    /// # Panics
    /// If there is none of that name.
    pub fn furnace(&mut self, name: &str) -> Value {
        let shop = self.shop();
        let furnaces = shop["furnaces"].as_array().expect("a list of furnaces");
        furnaces.iter().find(|furnace| furnace["name"] == name).unwrap_or_else(|| panic!("no furnace {name} in {shop}")).clone()
    }

    /// A reading as it is now.
    ///
    /// # Panics
    /// If there is no such point.
    pub fn reading(&mut self, point: &str) -> Value {
        let shop = self.shop();
        let readings = shop["readings"].as_array().expect("a list of readings");
        readings.iter().find(|reading| reading["point"] == point).unwrap_or_else(|| panic!("no point {point} in {shop}")).clone()
    }

    /// Asks again and again until the shop is as wanted, and returns it.
    ///
    /// # Panics
    /// If it does not come to that within [`SOON`].
    pub fn shop_until(&mut self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let until = std::time::Instant::now() + SOON;
        loop {
            let shop = self.shop();
            if wanted(&shop) {
                return shop;
            }
            assert!(std::time::Instant::now() < until, "it did not come to this: {what}; the shop is {shop}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Tells the client something else: see its own help.
    ///
    /// # Panics
    /// If it does not listen.
    pub fn tell(&mut self, what: &Value) {
        self.talk.tell(what);
    }

    /// How much was said so far.
    #[must_use]
    pub fn so_far(&self) -> usize {
        self.talk.so_far()
    }

    /// Everything said since a place.
    #[must_use]
    pub fn since(&self, place: usize) -> Vec<Value> {
        self.talk.since(place)
    }

    /// Waits for any line.
    ///
    /// # Panics
    /// If it does not come.
    pub fn wait(&self, from: usize, what: &str, wanted: impl Fn(&Value) -> bool) -> (Value, usize) {
        self.talk.wait(from, what, wanted)
    }

    /// Waits for an event on any stream of this client.
    ///
    /// # Panics
    /// If it does not come within `longest`.
    pub fn wait_event(&self, from: usize, longest: Duration, what: &str, wanted: impl Fn(&Value) -> bool) -> (Value, usize) {
        let (line, place) = self.talk.wait_for(from, longest, what, |said| said.get("event").is_some_and(&wanted));
        (line["event"].clone(), place)
    }

    /// Events that were seen since a place.
    #[must_use]
    pub fn events(&self, place: usize) -> Vec<Value> {
        self.since(place).into_iter().filter_map(|said| said.get("event").cloned()).collect()
    }

    /// All events on record, page by page.
    ///
    /// # Panics
    /// If a call fails or the pages do not end.
    pub fn all_events(&mut self) -> Vec<Value> {
        let mut all = Vec::new();
        let mut token = String::new();
        for _ in 0..10_000 {
            let page = self.call("EventService", "ListEvents", &json!({"page_size": 50, "page_token": token}));
            all.extend(page["events"].as_array().cloned().unwrap_or_default());
            token = page["next_page_token"].as_str().unwrap_or_default().to_owned();
            if token.is_empty() {
                return all;
            }
        }
        panic!("the pages of events do not end");
    }
}

/// The numbers of events.
///
/// # Panics
/// If one has none.
#[must_use]
pub fn numbers(events: &[Value]) -> Vec<u64> {
    events.iter().map(|event| event["seq"].as_u64().unwrap_or_else(|| panic!("an event without a number: {event}"))).collect()
}

/// Fails unless the numbers count up by one from `first`.
///
/// # Panics
/// If they do not, naming the first that is out of place.
pub fn assert_without_gaps(numbers: &[u64], first: u64) {
    assert!(!numbers.is_empty(), "there are no events at all");
    for (number, wanted) in numbers.iter().zip(first..) {
        assert_eq!(*number, wanted, "events are not gap-free and in order: {numbers:?}");
    }
}
