//! Goal: a controller that takes a cut and goes on heating is believed by what it shows, not by its reply; heat that somebody turns on at
//! its panel while an interlock withholds it is taken away again.

use serde_json::json;

use crate::floor::Floor;

#[test]
fn a_controller_that_takes_a_cut_and_heats_on_is_not_confirmed() {
    let mut floor = Floor::open();
    floor.bring_to_heat("knives-deaf");
    floor.until_hot(true);
    floor.equipment.command(&json!({"do": "deaf", "furnace": "north", "on": true}));
    let from = floor.client.so_far();
    floor.equipment.door("north", true);
    let (unconfirmed, upto) = floor.event(from, "cut_unconfirmed");
    assert!(unconfirmed["text"].as_str().is_some_and(|text| text.contains("contactor is told to drop")), "{unconfirmed}");
    let confirmed = |event: &&serde_json::Value| event["kind"] == "cut_confirmed" && event["furnace"] == "north";
    assert_eq!(floor.client.all_events().iter().skip(from).filter(confirmed).count(), 0, "its reply was believed");
    floor.until_hot(false);
    let seen = floor.equipment.look();
    assert_eq!(seen["furnaces"]["north"]["run"], true, "it still wants to heat: {seen}");
    assert_eq!(seen["furnaces"]["north"]["contactor"], false, "and cannot: {seen}");
    floor.equipment.command(&json!({"do": "deaf", "furnace": "north", "on": false}));
    let (confirmed, _) = floor.event(upto, "cut_confirmed");
    assert_eq!(confirmed["text"], "north says that it does not heat.", "{confirmed}");
}

#[test]
fn heat_from_the_panel_is_cut_again_while_an_interlock_withholds_it() {
    let mut floor = Floor::open();
    floor.bring_to_heat("knives-panel");
    floor.until_hot(true);
    let from = floor.client.so_far();
    floor.client.call("InterlockService", "Stop", &json!({}));
    let (_, from) = floor.event(from, "cut_confirmed");
    // Longer than a cut may take: what is read from then on is what somebody did.
    std::thread::sleep(std::time::Duration::from_secs(3));
    floor.equipment.command(&json!({"do": "panel", "furnace": "north", "set_point_c": 600}));
    let (cut, from) = floor.event(from, "cut");
    assert!(cut["text"].as_str().is_some_and(|text| text.contains("heat that this service did not give")), "{cut}");
    floor.event(from, "cut_confirmed");
    let seen = floor.equipment.look();
    assert_eq!(seen["furnaces"]["north"]["run"], false, "{seen}");
}
