//! Goal: a driver that misbehaves costs nobody anything but its own equipment. Method: every misdeed that the hostile guest knows,
//! all at once in one service, beside the real drivers of two furnaces, which must keep their scan, their purge and their cut.

use std::net::TcpListener;
use std::time::Duration;

use hearthward_tests::client::{assert_without_gaps, numbers};
use hearthward_tests::daemon::{on_shop, run_within};
use hearthward_tests::{shop, talk};
use serde_json::{Value, json};

use crate::floor::{Floor, STEP, frames_to_each_cut, reading};

/// What a misdeed does to the equipment that it speaks for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Fate {
    /// Its readings go bad and its driver is stopped.
    Killed,
    /// Its readings go bad, its driver lives.
    Bad,
    /// It only made noise.
    Good,
}

const FATES: [(&str, Fate); 14] = [
    ("none", Fate::Good),
    ("endless-loop", Fate::Killed),
    ("loop-in-open", Fate::Killed),
    ("trap", Fate::Killed),
    ("panic", Fate::Killed),
    ("recursion", Fate::Killed),
    ("memory-bomb", Fate::Killed),
    ("giant-result", Fate::Killed),
    ("call-flood", Fate::Killed),
    ("log-flood", Fate::Good),
    ("slow-read", Fate::Bad),
    ("lying-values", Fate::Bad),
    ("bad-names", Fate::Good),
    ("other-line", Fate::Bad),
];

/// Lines of a flood of five thousand a read that may get into the log while this test runs.
const FLOOD_LINES_MOST: usize = 10_000;

/// A device that takes every connection and never says a word.
fn silent_device() -> TcpListener {
    TcpListener::bind("127.0.0.1:0").expect("a port")
}

/// The configuration of a hostile driver and of a furnace that shows what it says. It has a line of its own: drivers on one line
/// wait for each other's exchanges, however long the host lets them be.
fn hostile(misdeed: &str, good_reads: u32, device: &TcpListener) -> String {
    let at = device.local_addr().expect("it has an address");
    format!(
        r#"
[line.spare-{misdeed}]
tcp = "{at}"

[driver.bad-{misdeed}]
component = "hostile.wasm"
lines = ["spare-{misdeed}"]
settings = {{ fault = "{misdeed}", good_reads = {good_reads} }}

[furnace.victim-{misdeed}]
controller = "bad-{misdeed}/victim"
heating = "watched"
chamber = {{ kind = "fibre", volume = "20 L" }}
rated = "1100 C"
limit = "1000 C"
power = "2 kW"
stale_after = "2 s"
"#
    )
}

#[test]
fn each_is_contained_and_every_other_furnace_keeps_its_scan() {
    // The hostile drivers' lines lead to devices of their own: what is asked here is whether the host keeps them apart.
    let silent = FATES.map(|_| silent_device());
    let more: String = FATES.iter().zip(&silent).map(|((misdeed, _), device)| hostile(misdeed, 5, device)).collect();
    let mut floor = Floor::open_with(&more, &[]);

    for (misdeed, fate) in FATES {
        let point = format!("bad-{misdeed}/victim.temperature");
        match fate {
            Fate::Good => floor.until_quality(&point, "QUALITY_GOOD"),
            Fate::Killed | Fate::Bad => floor.until_quality(&point, "QUALITY_BAD"),
        }
    }
    assert_others_keep_their_scan(&mut floor);
    assert_drivers(&mut floor);

    // And the shop works: a purge, heat, an opening, a cut.
    floor.bring_to_heat("knives-among-wolves");
    floor.until_hot(true);
    floor.equipment.door("north", true);
    floor.until_hot(false);
    let frames = frames_to_each_cut(&floor.equipment.log());
    println!("frames from the opening to the cut beside the hostile guests: {frames:?}");
    assert!(!frames.is_empty());
    floor.equipment.door("north", false);

    let events = floor.client.all_events();
    assert_without_gaps(&numbers(&events), 1);
    for (misdeed, _) in FATES.iter().filter(|(_, fate)| *fate != Fate::Good) {
        assert!(events.iter().any(|event| tells_of(event, misdeed)), "no event tells of {misdeed}");
    }
    let daemon = floor.daemon.as_mut().expect("it runs");
    let log = daemon.log();
    assert!(log.contains("the hostile guest panics with these words"), "the panic's words are not in the log");
    let flood = log.lines().filter(|line| line.contains("flood")).count();
    assert!(flood < FLOOD_LINES_MOST, "{flood} lines of a flood got into the log");
    assert!(daemon.runs());
}

/// Whether an event tells that the equipment of a hostile driver is gone: its unit, or what it is worth to its furnace.
fn tells_of(event: &Value, misdeed: &str) -> bool {
    let unit = event["unit"]["unit"] == format!("bad-{misdeed}/victim") && event["unit"]["state"] != "answering";
    let furnace = event["furnace"] == format!("victim-{misdeed}");
    unit || furnace && (event["kind"] == "tripped" || event["kind"] == "point_quality")
}

/// Five seconds of snapshots, in each of which the real furnaces are read, well and freshly.
fn assert_others_keep_their_scan(floor: &mut Floor) {
    let before = floor.client.shop()["tick"].as_u64().expect("a tick");
    for _ in 0..50 {
        let shop = floor.client.shop();
        for point in [
            "controllers/north.temperature",
            "controllers/south.temperature",
            "io/north-box.door",
            "gas/north-meter.flow",
            "bad-none/victim.temperature",
        ] {
            let reading = reading(&shop, point);
            assert_eq!(reading["quality"], "QUALITY_GOOD", "{reading}");
            assert!(reading["age_ms"].as_u64().is_some_and(|age| age < 2000), "{reading}");
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    let after = floor.client.shop()["tick"].as_u64().expect("a tick");
    assert!(after > before + 10, "{} decisions in five seconds", after - before);
}

fn assert_drivers(floor: &mut Floor) {
    let drivers = floor.client.call("DriverService", "ListDrivers", &json!({}));
    let drivers = drivers["drivers"].as_array().expect("a list of drivers");
    for (misdeed, fate) in FATES {
        let name = format!("bad-{misdeed}");
        let driver = drivers.iter().find(|driver| driver["name"] == name.as_str()).unwrap_or_else(|| panic!("no driver {name}"));
        let faulted = driver["last_fault"].as_str().is_some_and(|words| !words.is_empty());
        match fate {
            Fate::Killed => assert!(
                faulted && driver["restarts"].as_u64().is_some_and(|restarts| restarts > 0) || is_stopped(driver),
                "{driver}"
            ),
            Fate::Bad | Fate::Good => assert!(!is_stopped(driver), "{driver}"),
        }
    }
}

fn is_stopped(driver: &Value) -> bool {
    ["DRIVER_STATE_BACKING_OFF", "DRIVER_STATE_QUARANTINED"].iter().any(|state| driver["state"] == *state)
}

/// Goal: a driver that hangs when it is asked about its settings is refused in words; `check` does not hang with it.
#[test]
fn one_that_hangs_in_check_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = shop::text(1, 2) + "\n" + &hostile("loop-in-check", 0, &silent_device());
    std::fs::write(folder.path().join("shop.toml"), text).expect("the folder can be written");
    let output = run_within(&mut on_shop("check", folder.path(), &[]), talk::SOON);
    let said = String::from_utf8_lossy(&output.stderr).into_owned() + &String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("bad-loop-in-check"), "{said}");
}

/// Goal: two runaways do not keep the others from being read. Method: two drivers that never return, restarted for ever, and the
/// ages of the real readings over a minute's worth of restarts.
#[test]
fn two_runaways_do_not_starve_the_rest() {
    let silent = [silent_device(), silent_device()];
    let runaway = |name: &str, device: &TcpListener| {
        hostile("endless-loop", 0, device).replace("endless-loop\n", "\n").replace("-endless-loop", name)
    };
    let more = runaway("-one", &silent[0]) + &runaway("-two", &silent[1]);
    let mut floor = Floor::open_with(&more, &[]);
    for name in ["one", "two"] {
        floor.until_quality(&format!("bad-{name}/victim.temperature"), "QUALITY_BAD");
    }
    let until = std::time::Instant::now() + Duration::from_secs(10);
    while std::time::Instant::now() < until {
        let shop = floor.client.shop();
        for point in ["controllers/north.temperature", "io/north-box.door"] {
            let reading = reading(&shop, point);
            assert_eq!(reading["quality"], "QUALITY_GOOD", "{reading}");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let from = floor.client.so_far();
    floor.equipment.door("north", true);
    floor
        .client
        .wait_event(from, STEP, "that the door is open", |event| event["furnace"] == "north" && event["kind"] == "tripped");
}
