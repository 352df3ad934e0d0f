//! From the reading that says "open" to the cut on the wire, in the service's own time: the clock starts when the device's answer
//! that tells of the open door is out, and stops when the cut has come in whole. The two ways over loopback in it are the wire's:
//! what they take at the median, between two threads that do nothing else, is measured in the same run and taken off.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::device::{CONTACTOR_COIL, Device};
use crate::floor::Floor;
use crate::numbers::{Report, Row, Samples, Target};
use hearthward_tests::client::Client;

const OPENINGS: usize = 400;
const PINGS: usize = 201;

pub(crate) fn measure(report: &mut Report) {
    for (name, runaways, most_ms) in [("alone", 0, 1.0), ("beside two runaway drivers", 2, 5.0)] {
        let wire = there_and_back();
        report.note(&format!("the wire itself, there and back: {:.0} us", wire.as_secs_f64() * 1e6));
        let samples = openings(report.times(OPENINGS), runaways, wire);
        for (share, word, target) in
            [(0.5, "p50", Target::None), (0.99, "p99", Target::ValueMost(most_ms)), (1.0, "max", Target::None)]
        {
            report.row(&Row {
                name: format!("door reading to cut on the wire beyond the wire itself, {name}, {word}"),
                value: samples.quantile(share) / 1000.0,
                unit: "ms",
                baseline: None,
                target,
            });
        }
    }
}

/// What a request and its answer over loopback take at the median.
fn there_and_back() -> Duration {
    let device = Device::start();
    let mut stream = TcpStream::connect(("127.0.0.1", device.port)).expect("the device listens");
    stream.set_nodelay(true).expect("it can be set");
    let mut spans: Vec<Duration> = (0..PINGS)
        .map(|_| {
            // As far apart as what it is compared with, so that both sides sleep in between.
            std::thread::sleep(Duration::from_millis(5));
            let began = Instant::now();
            // Writing a coil that nothing hangs on: the answer repeats it.
            let request = [0, 1, 0, 0, 0, 6, 1, 5, 0, 0, 0, 0];
            stream.write_all(&request).expect("it takes a request");
            stream.read_exact(&mut [0; 12]).expect("it answers");
            began.elapsed()
        })
        .collect();
    spans.sort();
    spans[PINGS / 2]
}

fn openings(times: usize, runaways: usize, wire: Duration) -> Samples {
    // The controller on one line, door and contactor on the other, as they are wired in a shop.
    let (controller, box_) = (Device::start(), Device::start());
    controller.show(6000);
    let floor = Floor::start(&configuration(controller.port, box_.port, runaways));
    let mut client = Client::start(&floor.daemon.at);
    client.tell(&json!({"do": "questions", "every_s": 0.05}));
    let plan = json!({"steel": "O1", "protection": "PROTECTION_NONE", "steps": [{"soak": {"temperature_c": 600, "minimum_ms": 86_400_000, "maximum_ms": 90_000_000}}]});
    client.call("CycleService", "StartCycle", &json!({"furnace": "north", "load": "punches", "parts": 1, "plan": plan}));
    if let Some(question) = client.shop()["questions"].as_array().and_then(|questions| questions.first()).cloned() {
        client.call("CycleService", "ConfirmQuestion", &json!({"question_id": question["id"]}));
    }
    let mut samples = Samples::default();
    for number in 0..times {
        controller.until("heat", |controller| controller.runs() && box_.contactor());
        // Not always at the same moment of a scan.
        std::thread::sleep(Duration::from_micros(20_000 + (number as u64 * 7919) % 20_000));
        controller.came();
        controller.keep(true);
        box_.set_door(true);
        controller.until("the cut", |controller| !controller.runs());
        controller.keep(false);
        let told = box_.told_open().expect("the cut came after the door was told to be open");
        let cut = controller
            .came()
            .into_iter()
            .find(|came| is_cut(came.function, came.at, came.value))
            .expect("the cut is among the requests");
        samples.add(cut.when.saturating_duration_since(told).saturating_sub(wire));
        box_.set_door(false);
    }
    drop(client);
    samples
}

fn is_cut(function: u8, at: u16, value: u16) -> bool {
    (function == 5 && at != CONTACTOR_COIL || function == 6) && value == 0
}

fn configuration(controller_port: u16, box_port: u16, runaways: usize) -> String {
    let mut text = format!(
        r#"
[shop]
name = "Alder Yard Edge Tools"

[line.loop]
tcp = "127.0.0.1:{controller_port}"

[line.box]
tcp = "127.0.0.1:{box_port}"

[driver.loop]
component = "modbus-registers.wasm"
lines = ["loop"]
poll = "0.02 s"

[driver.loop.settings.unit.north]
face = "furnace"
address = 1
map.temperature = {{ table = "input", register = 0, type = "i16", unit = "C", scale = 0.1 }}
map.set_point = {{ table = "holding", register = 0, type = "u16", unit = "C", scale = 0.1, write = true }}
map.heat_on = {{ table = "coil", register = 0, write = true }}
cut = {{ heat_on = false, set_point = 0 }}

[driver.box]
component = "modbus-registers.wasm"
lines = ["box"]
poll = "0.02 s"

[driver.box.settings.unit.north]
face = "points"
address = 3
map.door = {{ quantity = "state", table = "coil", register = 8 }}
map.contactor = {{ quantity = "state", table = "coil", register = 1, write = true, often = true, cuts_heat = true }}
map.contact = {{ quantity = "state", table = "coil", register = 9 }}

[furnace.north]
controller = "loop/north"
door = "box/north.door"
contactor = "box/north.contactor"
contactor_feedback = "box/north.contact"
chamber = {{ kind = "fibre", volume = "20 L" }}
rated = "1100 C"
limit = "1000 C"
power = "1.5 kW"
steepest_k_per_s = 1000
short_opening = "60 s"
"#
    );
    for number in 0..runaways {
        text += &format!(
            r#"
[driver.runaway-{number}]
component = "hostile.wasm"
settings = {{ fault = "endless-loop", good_reads = 0 }}

[furnace.runaway-{number}]
controller = "runaway-{number}/victim"
heating = "watched"
chamber = {{ kind = "fibre", volume = "20 L" }}
rated = "1100 C"
limit = "1000 C"
power = "1 kW"
"#
        );
    }
    text
}
