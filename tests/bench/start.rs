//! From starting the process to the first reading of equipment, with the drivers compiled at an earlier start: the device's second
//! request on the line is proof that the first answer was taken.

use std::time::{Duration, Instant};

use crate::device::Device;
use crate::numbers::{Report, Row, Samples, Target};
use hearthward_tests::daemon::Daemon;

const STARTS: usize = 15;

pub(crate) fn measure(report: &mut Report) {
    let device = Device::start();
    device.show(250);
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("shop.toml"), configuration(device.port)).expect("it can be written");
    // The first start compiles, if no benchmark before has.
    drop(Daemon::start(folder.path()));
    device.keep(true);
    let mut samples = Samples::default();
    let starts = report.times(STARTS);
    for _ in 0..starts {
        device.came();
        let began = Instant::now();
        let daemon = Daemon::start(folder.path());
        std::thread::sleep(Duration::from_millis(400));
        drop(daemon);
        let came = device.came();
        let second = came.get(1).unwrap_or_else(|| panic!("the device was asked {} times after a start", came.len()));
        samples.add(second.when.saturating_duration_since(began));
    }
    for (share, word, target) in [(0.5, "median", Target::ValueMost(50.0)), (1.0, "slowest", Target::None)] {
        report.row(&Row {
            name: format!("process start to first reading, warm cache, {word} of {starts}"),
            value: samples.quantile(share) / 1000.0,
            unit: "ms",
            baseline: None,
            target,
        });
    }
}

/// A furnace and a box on one line: two requests follow each other without a pause between polls.
fn configuration(port: u16) -> String {
    format!(
        r#"
[shop]
name = "Alder Yard Edge Tools"

[line.loop]
tcp = "127.0.0.1:{port}"

[driver.loop]
component = "modbus-registers.wasm"
lines = ["loop"]

[driver.loop.settings.unit.north]
face = "points"
address = 1
map.temperature = {{ quantity = "temperature_c", table = "input", register = 0, type = "i16", unit = "C", scale = 0.1 }}

[driver.loop.settings.unit.south]
face = "points"
address = 2
map.temperature = {{ quantity = "temperature_c", table = "input", register = 0, type = "i16", unit = "C", scale = 0.1 }}

[furnace.north]
controller = "loop/north"
temperature = "loop/north.temperature"
heating = "watched"
chamber = {{ kind = "fibre", volume = "20 L" }}
rated = "700 C"
limit = "650 C"
power = "1.5 kW"

[furnace.south]
controller = "loop/south"
temperature = "loop/south.temperature"
heating = "watched"
chamber = {{ kind = "fibre", volume = "20 L" }}
rated = "700 C"
limit = "650 C"
power = "1.5 kW"
"#
    )
}
