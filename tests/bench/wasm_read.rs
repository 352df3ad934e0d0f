//! A Modbus TCP read of ten registers: through the Wasm driver of the running service, and through a client written for nothing else.
//!
//! Both ask the same server for the same ten registers of twelve units, one after the other, twelve times a second, and make ten
//! numbers of each answer. What is timed is the span from one request to the next as it is seen on the wire: the server's answer, the
//! way there and back, and all that the asking side does in between. A second native client in the same run shows what two equal
//! things differ by. Each asking side is a process of its own: one that shared the tap's would be woken for less.
//!
//! Two servers: pymodbus in a process of its own, written by others, for which the target is; and a device in this process that
//! answers at once, so that nothing but the asking sides' own time is left to compare.

use std::collections::BTreeMap;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::device::{Came, Device};
use crate::floor::Floor;
use crate::numbers::{Report, Row, Samples, Target};
use crate::tap::{Server, Tap};

const UNITS: u8 = 12;
const REGISTERS: u16 = 10;
const EVERY: Duration = Duration::from_millis(80);
const APART: Duration = Duration::from_millis(1);
const LASTS: Duration = Duration::from_secs(40);
const SETTLES: Duration = Duration::from_secs(2);

pub(crate) fn measure(report: &mut Report) {
    let tap = Tap::before(Server::start(UNITS, NATIVE_AT + 2000, RAW));
    let lasts = report.lasts(LASTS);
    let spans = run(lasts, tap.port, |keep| tap.keep(keep), || tap.came());
    show(report, "of pymodbus", spans, Target::RatioMost);
    let device = Device::start();
    device.show(RAW);
    let spans = run(lasts, device.port, |keep| device.keep(keep), || device.came());
    show(report, "of a device without a thought", spans, |_| Target::None);
}

/// What every register holds: 25.0 in tenths.
const RAW: u16 = 250;

/// Lets the service and two native clients read for a while.
fn run(lasts: Duration, port: u16, keep: impl Fn(bool), came: impl Fn() -> Vec<Came>) -> BTreeMap<Asker, Samples> {
    let floor = Floor::start(&configuration(port));
    let native = [0, 1].map(|number| start_native(port, number, lasts));
    // Everybody has settled.
    std::thread::sleep(SETTLES);
    came();
    keep(true);
    std::thread::sleep(lasts);
    keep(false);
    let spans = spans(&came());
    for mut client in native {
        assert!(client.wait().expect("it was started").success(), "a native client failed");
    }
    drop(floor);
    spans
}

fn show(report: &mut Report, server: &str, mut spans: BTreeMap<Asker, Samples>, target: impl Fn(f64) -> Target) {
    let mut of = |asker| spans.remove(&asker).unwrap_or_default();
    let (wasm, one, other) = (of(Asker::Wasm), of(Asker::Native(0)), of(Asker::Native(1)));
    report.note(&format!("{} reads through Wasm, {} and {} native", wasm.len(), one.len(), other.len()));
    for (share, word, most) in [(0.5, "p50", 1.10), (0.99, "p99", 1.25)] {
        let baseline = Some(one.quantile(share));
        let row = |name: &str, samples: &Samples, target| Row {
            name: format!("read of ten registers {server}, {name}, {word}"),
            value: samples.quantile(share),
            unit: "us",
            baseline,
            target,
        };
        report.row(&row("wasm driver against native", &wasm, target(most)));
        report.row(&row("native against native (control)", &other, Target::None));
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Asker {
    Wasm,
    Native(u16),
}

/// Where the native clients read, so that the device can tell them apart; the register's number does nothing else.
const NATIVE_AT: u16 = 1000;

fn asker(came: &Came) -> Asker {
    if came.at < NATIVE_AT { Asker::Wasm } else { Asker::Native((came.at - NATIVE_AT) / 1000) }
}

/// Spans from each request to the next of the same round of units; the pause between rounds is not one.
fn spans(requests: &[Came]) -> BTreeMap<Asker, Samples> {
    let mut last: BTreeMap<u64, Came> = BTreeMap::new();
    let mut spans: BTreeMap<Asker, Samples> = BTreeMap::new();
    for came in requests {
        if let Some(before) = last.insert(came.connection, *came)
            && came.unit == before.unit + 1
        {
            spans.entry(asker(came)).or_default().add(came.when - before.when);
        }
    }
    spans
}

fn configuration(port: u16) -> String {
    let mut text = format!(
        r#"
[shop]
name = "Alder Yard Edge Tools"

[line.many]
tcp = "127.0.0.1:{port}"

[driver.many]
component = "modbus-registers.wasm"
lines = ["many"]
poll = "{} s"

[furnace.shown]
controller = "many/u1"
temperature = "many/u1.t0"
heating = "watched"
chamber = {{ kind = "fibre", volume = "20 L" }}
rated = "700 C"
limit = "650 C"
power = "1.5 kW"
"#,
        EVERY.as_secs_f64()
    );
    for unit in 1..=UNITS {
        text += &format!("\n[driver.many.settings.unit.u{unit}]\nface = \"points\"\naddress = {unit}\n");
        for register in 0..REGISTERS {
            text += &format!(
                "map.t{register} = {{ quantity = \"temperature_c\", table = \"input\", register = {register}, type = \"i16\", unit = \"C\", scale = 0.1 }}\n"
            );
        }
    }
    text
}

/// The word by which this program becomes a native client: `native-client PORT NUMBER MILLISECONDS`.
pub(crate) const NATIVE: &str = "native-client";

fn start_native(port: u16, number: u16, lasts: Duration) -> Child {
    let program = std::env::current_exe().expect("it runs");
    Command::new(program)
        .arg(NATIVE)
        .args([u128::from(port), u128::from(number), lasts.as_millis()].map(|number| number.to_string()))
        .spawn()
        .expect("it starts again")
}

/// Is the native client that these words describe.
pub(crate) fn native_client(words: &[String]) {
    let numbers: Vec<u16> = words.iter().map(|word| word.parse().expect("this program gave itself numbers")).collect();
    let [port, number, lasts_ms] = numbers[..] else { panic!("a native client is told three numbers, not {numbers:?}") };
    native(port, number, Duration::from_millis(lasts_ms.into()));
}

/// The least that a client can do: ask, wait with a limit, check what came, make ten numbers of it.
fn native(port: u16, number: u16, lasts: Duration) {
    let until = Instant::now() + SETTLES + lasts;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).await.expect("the device listens");
        stream.set_nodelay(true).expect("it can be set");
        let at = NATIVE_AT + 1000 * number;
        // A little slower and a little quicker than the service: so everybody meets everybody else's rounds equally often.
        let mut rounds = tokio::time::interval(EVERY + APART - 2 * APART * u32::from(number));
        rounds.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        let mut transaction = 0_u16;
        while Instant::now() < until {
            rounds.tick().await;
            for unit in 1..=UNITS {
                transaction = transaction.wrapping_add(1);
                let read = read(&mut stream, transaction, unit, at);
                let values = tokio::time::timeout(Duration::from_millis(500), read).await.expect("in time").expect("an answer");
                assert!((values[9] - 25.0).abs() < 1e-9);
            }
        }
    });
}

async fn read(stream: &mut TcpStream, transaction: u16, unit: u8, at: u16) -> std::io::Result<[f64; REGISTERS as usize]> {
    let mut request = [0, 0, 0, 0, 0, 6, unit, 4, 0, 0, 0, REGISTERS as u8];
    request[..2].copy_from_slice(&transaction.to_be_bytes());
    request[8..10].copy_from_slice(&at.to_be_bytes());
    stream.write_all(&request).await?;
    let mut header = [0_u8; 6];
    stream.read_exact(&mut header).await?;
    let mut rest = vec![0_u8; usize::from(u16::from_be_bytes([header[4], header[5]]))];
    stream.read_exact(&mut rest).await?;
    let sound = header[..2] == transaction.to_be_bytes()
        && rest[0] == unit
        && rest[1] == 4
        && usize::from(rest[2]) == 2 * usize::from(REGISTERS);
    assert!(sound, "not the answer to what was asked");
    let mut values = [0.0; REGISTERS as usize];
    for (value, word) in values.iter_mut().zip(rest[3..].chunks_exact(2)) {
        *value = f64::from(i16::from_be_bytes([word[0], word[1]])) * 0.1;
    }
    Ok(values)
}
