//! The person at the furnace: hands on the equipment, words to the service.

use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::client::Client;
use crate::equipment::Equipment;

/// How long a part takes from the open door to the oil, in earnest a second or two.
const TRANSFER: Duration = Duration::from_millis(700);

/// Starts a load's cycle in the furnace north by a recipe.
///
/// # Panics
/// If it is refused.
pub fn start(client: &mut Client, load: &str, recipe: &str, parts: u32) -> Value {
    client.call("CycleService", "StartCycle", &json!({"furnace": "north", "load": load, "recipe": recipe, "parts": parts}))
}

/// Does what the service asks, question by question, until an event that ends it is seen; returns the questions' texts.
///
/// # Panics
/// If the end does not come within `longest`, or something is asked that nobody expects in a good cycle.
pub fn attend(
    client: &mut Client,
    equipment: &mut Equipment,
    from: usize,
    longest: Duration,
    end: impl Fn(&Value) -> bool,
) -> Vec<String> {
    let until = Instant::now() + longest;
    let mut place = from;
    let mut asked = Vec::new();
    loop {
        let left = until.saturating_duration_since(Instant::now());
        assert!(!left.is_zero(), "the cycle did not end within {longest:?}; the shop is {}", client.shop());
        let said = client.since(place);
        for line in &said {
            place += 1;
            if line.get("event").is_some_and(&end) {
                return asked;
            }
            if let Some(question) = line.get("question") {
                asked.push(question["text"].as_str().unwrap_or_default().to_owned());
                answer(client, equipment, question);
            }
        }
        if said.is_empty() {
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

/// Does what one question asks for, and says so.
///
/// # Panics
/// If it is none of a good cycle.
pub fn answer(client: &mut Client, equipment: &mut Equipment, question: &Value) {
    let ask = &question["ask"];
    let is = |kind: &str| ask.get(kind).is_some();
    if is("part_under") {
        equipment.door("north", true);
        std::thread::sleep(TRANSFER);
        confirm(client, question);
        equipment.door("north", false);
    } else if is("load_and_shut") || is("transfer") {
        confirm(client, question);
    } else {
        panic!("nobody expects this question in a good cycle: {question}");
    }
}

/// Says that what a question asked for is done.
///
/// # Panics
/// If the service does not take it.
pub fn confirm(client: &mut Client, question: &Value) {
    client.call("CycleService", "ConfirmQuestion", &json!({"question_id": question["id"]}));
}

/// Chooses between what a question offers.
///
/// # Panics
/// If the service does not take it.
pub fn choose(client: &mut Client, question: &Value, choice: &str) {
    client.call("CycleService", "ChooseAnswer", &json!({"question_id": question["id"], "choice": choice}));
}

/// Clears every latch of a furnace that can be cleared.
pub fn reset(client: &mut Client, furnace: &str) -> Value {
    client.try_call("InterlockService", "ResetInterlock", &json!({"furnace": furnace}))
}
