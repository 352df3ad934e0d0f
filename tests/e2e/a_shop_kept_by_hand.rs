//! Goal: a shop of one furnace without any electronics is a first-class shop: a load goes through its whole cycle, everything that is
//! wanted of the person is asked with the command that answers it, what was read is asked for anew when it has grown old, and nobody is
//! told of protection, lines or switches that are not there. Method: the installed program alone, its command line as the person's hand.

use std::path::Path;
use std::time::{Duration, Instant};

use hearthward_tests::daemon::{Daemon, command, on_shop, run_within};
use hearthward_tests::talk::SOON;
use serde_json::Value;

const SHOP: &str = r#"
[shop]
name = "Back Shed"

[driver.by-hand]
component = "hand-kept.wasm"

[driver.by-hand.settings.unit.north]
face = "furnace"
readings = ["temperature"]
valid_for_s = 3

[driver.by-hand.settings.unit.ball]
face = "flow-meter"

[driver.by-hand.settings.unit.oil]
face = "quench-tank"
readings = ["temperature"]

[supply.argon]
gas = "argon"
capacity = "20 L/min"

[furnace.north]
controller = "by-hand/north"
heating = "by-hand"
chamber = { kind = "brick", volume = "0.1 L" }
rated = "1100 C"
limit = "1060 C"
power = "2.2 kW"
supply = "argon"
meter = "by-hand/ball"
meter_resolution = "0.2 L/min"
purge = { changes = 5, flow = "8 L/min", hold = "2 L/min" }

[tank.oil]
thermometer = "by-hand/oil"
volume = "12 L"
oil = { window = ["40 C", "70 C"], flash_point = "180 C" }

[recipe.knives]
text = "carving knives of O1"
steel = "O1"
protection = "gas"
steps = [
    { step = "purge" },
    { step = "ramp", to = "790 C" },
    { step = "soak", at = "790 C", minimum = "6 s", maximum = "1 h" },
    { step = "pull", window = "3 s" },
    { step = "quench", tank = "oil", under = "1 s" },
    { step = "temper", at = "190 C", hold = "1 s", within = "2 h" },
]
"#;

const LONGEST: Duration = Duration::from_secs(180);

/// The shop and the person in it.
struct Shed {
    daemon: Daemon,
    /// What the furnace's own display shows.
    display_c: f64,
    /// Somebody has read the bath.
    bath_read: bool,
    asked: Vec<String>,
}

impl Shed {
    fn opened(folder: &Path) -> Self {
        std::fs::write(folder.join("shop.toml"), SHOP).expect("written");
        Self { daemon: Daemon::start(folder), display_c: 21.0, bath_read: false, asked: Vec::new() }
    }

    /// A command as it is typed; what it said, and whether it was done.
    fn types(&self, arguments: &[&str]) -> (String, bool) {
        let mut command = command();
        command.env("HEARTHWARD_AT", &self.daemon.at).env("HEARTHWARD_PERSON", "ada").args(arguments);
        let output = run_within(&mut command, SOON);
        let said = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
        (String::from_utf8_lossy(&said).into_owned(), output.status.success())
    }

    fn does(&self, arguments: &[&str]) -> String {
        let (said, done) = self.types(arguments);
        assert!(done, "{arguments:?}: {said}");
        said
    }

    fn lines(&self, arguments: &[&str]) -> Vec<Value> {
        self.does(arguments).lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
    }

    fn events(&self) -> Vec<Value> {
        self.lines(&["watch", "--json", "--from", "1", "--once"])
    }

    fn enters_the_display(&self) {
        self.does(&["enter", "by-hand/north.temperature", &format!("{} C", self.display_c)]);
    }

    /// Does what every question asks for, as its own words say.
    fn answers(&mut self) {
        for question in self.lines(&["question", "list", "--json"]) {
            let (id, text) = (question["id"].as_str().expect("a number"), question["text"].as_str().expect("words").to_owned());
            let ask = question["ask"].as_object().expect("something is asked");
            let (kind, what) = ask.iter().next().expect("of one kind");
            self.asked.push(kind.clone());
            match kind.as_str() {
                "loadAndShut" | "partUnder" | "transfer" => {}
                "setFlow" => {
                    let flow = format!("{} L/min", what["flowLMin"]);
                    self.does(&["question", "confirm", id, "--reading", &flow]);
                    continue;
                }
                "setController" => {
                    assert!(text.contains("enter what it shows at by-hand/north.temperature"), "{text}");
                    let status = self.does(&["status"]);
                    assert!(status.contains("set by hand, as asked, to"), "{status}");
                    self.display_c = what["temperatureC"].as_f64().expect("a temperature");
                    self.enters_the_display();
                }
                "enterReading" => {
                    assert_eq!(what["point"], "by-hand/north.temperature");
                    let listed = self.does(&["question", "list"]);
                    assert!(listed.contains("hearthward enter by-hand/north.temperature"), "{listed}");
                    self.enters_the_display();
                    continue;
                }
                "bringBath" => {
                    assert!(text.contains("enter its temperature at by-hand/oil.temperature"), "{text}");
                    let (said, done) = self.types(&["question", "confirm", id]);
                    if said.contains("not open any more") {
                        // It was withdrawn between the two commands: the bath is in its window.
                        continue;
                    }
                    assert!(done == self.bath_read, "a bath is there once somebody has read it: {said}");
                    assert!(done || said.contains("enter what it shows"), "{said}");
                    self.does(&["enter", "by-hand/oil.temperature", "50 C"]);
                    self.bath_read = true;
                    continue;
                }
                "turnOff" => {
                    self.display_c = 150.0;
                    self.enters_the_display();
                }
                _ => panic!("nobody expects this question: {question}"),
            }
            // A question whose reason is gone meanwhile is withdrawn, which is an answer too.
            let _ = self.types(&["question", "confirm", id]);
        }
    }
}

#[test]
fn lives_through_a_whole_cycle() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut shed = Shed::opened(folder.path());
    let checked = run_within(&mut on_shop("check", folder.path(), &[]), SOON);
    let checked = String::from_utf8_lossy(&checked.stdout).into_owned();
    assert!(checked.contains("heat is cut by: NOTHING. It is set by hand: turn it off at its own switch"), "{checked}");

    let start = ["cycle", "start", "north", "knives", "--load", "knives-1"];
    let until = Instant::now() + LONGEST;
    while !shed.does(&["status"]).contains("hearthward enter by-hand/north.temperature") {
        assert!(Instant::now() < until, "the driver does not come up");
    }
    let (said, done) = shed.types(&start);
    assert!(!done && said.contains("enter by-hand/north.temperature, then start"), "{said}");
    shed.enters_the_display();
    while let (said, false) = shed.types(&start) {
        assert!(Instant::now() < until, "{said}");
    }
    while !shed.events().iter().any(|event| event["kind"] == "cycle_ended") {
        assert!(Instant::now() < until, "the cycle did not end; asked so far: {:?}\n{}", shed.asked, shed.does(&["status"]));
        shed.answers();
    }
    let events = shed.events();
    let ended = events.iter().find(|event| event["kind"] == "cycle_ended").expect("it ended");
    assert_eq!(ended["cycleEnded"]["outcome"], "complete", "{ended}");
    for kind in ["loadAndShut", "setFlow", "setController", "enterReading", "bringBath", "partUnder", "turnOff", "transfer"] {
        assert!(shed.asked.iter().any(|asked| asked == kind), "{kind} was never asked: {:?}", shed.asked);
    }
    assert_only_warned(&events);
    let entered = events.iter().find(|event| event["kind"] == "entered").expect("entries are on record");
    assert_eq!(entered["entered"]["value"]["temperatureC"], 21.0, "{entered}");
}

/// Nothing acts here, and nothing is spoken of that is not there.
fn assert_only_warned(events: &[Value]) {
    for event in events {
        let text = event["text"].as_str().unwrap_or_default();
        assert!(event.get("cut").is_none(), "nothing is wired that could cut: {text}");
        assert_ne!(event["tripped"]["acts"], true, "nothing is wired that acts: {text}");
        for absent in ["Heat is withheld", "its line", "its driver", "door switch cannot"] {
            assert!(!text.contains(absent), "{absent:?} in: {text}");
        }
    }
}
