//! What the service costs while nothing happens: the example shop of three furnaces, read ten times a second.

use std::time::{Duration, Instant};

use hearthward_tests::place;

use crate::floor::Floor;
use crate::numbers::{Report, Row, Target};

const SETTLES: Duration = Duration::from_secs(5);
const LASTS: Duration = Duration::from_secs(20);

pub(crate) fn measure(report: &mut Report) {
    let example = place::root().join("deploy/example/shop.toml");
    let text = std::fs::read_to_string(&example).unwrap_or_else(|error| panic!("{}: {error}", example.display()));
    // A first start, which has the drivers compiled: nothing that this took may stay.
    let floor = Floor::start_cold(&text);
    std::thread::sleep(SETTLES);
    let pid = floor.daemon.pid();
    let (before_s, began) = (cpu_s(pid), Instant::now());
    std::thread::sleep(report.lasts(LASTS));
    let used_s = cpu_s(pid) - before_s;
    report.row(&Row {
        name: "idle three-furnace shop at 10 Hz, share of one core".to_owned(),
        value: used_s / began.elapsed().as_secs_f64() * 100.0,
        unit: "%",
        baseline: None,
        target: Target::ValueMost(1.0),
    });
    report.row(&Row {
        name: "idle three-furnace shop at 10 Hz, resident memory".to_owned(),
        value: resident_mib(pid),
        unit: "MiB",
        baseline: None,
        target: Target::ValueMost(24.0),
    });
}

/// Processor time of a process so far: user and system, in the kernel's hundredths of a second.
fn cpu_s(pid: u32) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).expect("this needs /proc");
    // Behind the name, which may hold anything but ends with the last parenthesis, the times are the 12th and 13th field.
    let fields: Vec<&str> = stat.rsplit_once(')').expect("a name in parentheses").1.split_whitespace().collect();
    let ticks = |place: usize| fields[place].parse::<f64>().expect("a number");
    (ticks(11) + ticks(12)) / 100.0
}

fn resident_mib(pid: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).expect("this needs /proc");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("a line VmRSS");
    line.trim().trim_end_matches(" kB").trim().parse::<f64>().expect("a number of kB") / 1024.0
}
