//! Goal: a trip raises its alarm, people act on it by its name, a kill forgets nothing of that, and none of it heats or resets
//! anything. Method: a stop, an acknowledgement and a shelf by a client and by the command line, SIGKILL, and a new start.

use std::time::Duration;

use hearthward_tests::daemon::{command, run_within};
use serde_json::{Value, json};

use crate::floor::Floor;

const STOP: &str = "furnace/north/stop";
const DOOR: &str = "furnace/north/door-open";

#[test]
fn it_is_acknowledged_once_and_resets_nothing() {
    let mut floor = Floor::open();
    floor.client.call("InterlockService", "Stop", &json!({"furnace": "north"}));
    until(&mut floor, STOP, "ALARM_STATE_LATCHED_UNACKNOWLEDGED");
    floor.client.call("AlarmService", "AcknowledgeAlarm", &json!({"alarm": STOP}));
    until(&mut floor, STOP, "ALARM_STATE_LATCHED_ACKNOWLEDGED");
    let said = typed(&floor, &["shelve", DOOR, "--for", "30 min", "--reason", "the switch is being changed", "--person", "ada"]);
    assert!(said.contains("shelved for 30 min"), "{said}");
    until(&mut floor, DOOR, "ALARM_STATE_SHELVED");

    floor.kill();
    floor.start_again(&[]);
    until(&mut floor, STOP, "ALARM_STATE_LATCHED_ACKNOWLEDGED");
    until(&mut floor, DOOR, "ALARM_STATE_SHELVED");
    assert_eq!(floor.interlock("INTERLOCK_KIND_STOP"), "INTERLOCK_STATE_LATCHED");
    let list = typed(&floor, &["list"]);
    assert!(
        list.contains(STOP) && list.contains("latched acknowledged") && list.contains("the switch is being changed"),
        "{list}"
    );
    let events = floor.client.all_events();
    let told = events.iter().filter(|event| event["alarm"]["alarm"] == STOP).count();
    assert_eq!(told, 2, "raised and acknowledged, and not told again after the kill");
}

/// Waits until an alarm is in a state.
fn until(floor: &mut Floor, name: &str, state: &str) {
    let is = |shop: &Value| {
        let alarms = shop["alarms"]["alarms"].as_array().cloned().unwrap_or_default();
        alarms.iter().any(|alarm| alarm["alarm"] == name && alarm["state"] == state)
    };
    floor.client.shop_until(&format!("{name} is {state}"), is);
}

/// What the command line prints.
fn typed(floor: &Floor, words: &[&str]) -> String {
    let at = &floor.daemon.as_ref().expect("it runs").at;
    let output = run_within(command().arg("alarm").args(words).args(["--at", at]), Duration::from_secs(30));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}
