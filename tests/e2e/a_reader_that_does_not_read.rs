//! Goal: a client that reads slowly, or not at all, slows nobody. Method: two dozen streams of events and of readings that are
//! opened and never read, beside a shop that is watched by a client that reads.

use std::time::Duration;

use hearthward_tests::person;
use serde_json::json;

use crate::floor::{Floor, STEP, reading};

const STALLED: usize = 24;

/// Every stalled stream may hold what the windows of its connection hold, 64 KiB and some; far below this.
const GROWTH_MOST_KIB: u64 = 24 * 1024;

#[test]
fn slows_nobody() {
    let mut floor = Floor::open();
    floor
        .client
        .shop_until("the first readings", |shop| reading(shop, "controllers/north.temperature")["quality"] == "QUALITY_GOOD");
    let pid = floor.daemon.as_ref().expect("it runs").pid();
    let before_kib = resident_kib(pid);
    for number in 0..STALLED {
        let (service, method, request) = match number % 2 {
            0 => ("EventService", "StreamEvents", json!({"after_seq": 0})),
            _ => ("ShopService", "StreamReadings", json!({"interval_ms": 50})),
        };
        floor.client.tell(&json!({"do": "stall", "name": format!("stalled-{number}"), "service": service, "method": method, "request": request}));
    }
    let (_, _) = floor.client.wait(0, "that the last is stalled", |said| said["stalled"] == format!("stalled-{}", STALLED - 1));

    // A whole cycle beside them, and the shop decides as often as before.
    let from = floor.client.so_far();
    let tick = floor.client.shop()["tick"].as_u64().expect("a tick");
    let began = std::time::Instant::now();
    person::start(&mut floor.client, "knives-beside", "knives", 1);
    person::attend(&mut floor.client, &mut floor.equipment, from, STEP * 2, |event| event["kind"] == "cycle_ended");
    let ticks = floor.client.shop()["tick"].as_u64().expect("a tick") - tick;
    let wanted = began.elapsed().as_millis() as u64 / 100;
    assert!(ticks * 2 >= wanted, "{ticks} decisions in {:?}, where ten a second are due", began.elapsed());
    let age_ms = floor.client.reading("controllers/north.temperature")["age_ms"].as_u64().expect("an age");
    assert!(age_ms < 2000, "readings are {age_ms} ms old");
    let growth_kib = resident_kib(pid).saturating_sub(before_kib);
    assert!(growth_kib < GROWTH_MOST_KIB, "the service grew by {growth_kib} KiB");
    std::thread::sleep(Duration::from_millis(100));
}

fn resident_kib(pid: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).expect("this test needs /proc");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("a line VmRSS");
    line.trim().trim_end_matches(" kB").trim().parse().expect("a number of kB")
}
