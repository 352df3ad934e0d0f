//! A tap on the way to an independent Modbus TCP server: passes requests and replies through, and notes when each request came.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;

use hearthward_tests::place;

use crate::device::{Came, REQUEST_BYTES};

/// The server behind the tap: pymodbus, in a process of its own; it ends with the value.
#[derive(Debug)]
pub(crate) struct Server {
    child: Child,
    port: u16,
}

impl Server {
    /// Starts it with so many units of so many input registers, which all hold `value`.
    pub(crate) fn start(units: u8, registers: u16, value: u16) -> Self {
        let mut command = Command::new(place::python());
        command.arg(place::root().join("tests/peers/register_server.py"));
        for (name, number) in [("--units", u16::from(units)), ("--registers", registers), ("--value", value)] {
            command.args([name, &number.to_string()]);
        }
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("Python starts");
        let mut said = String::new();
        let output = child.stdout.take().expect("its output is piped");
        BufReader::new(output).read_line(&mut said).expect("it says where it is");
        let said: serde_json::Value = serde_json::from_str(&said).expect("it speaks JSON");
        let port = said["ready"].as_u64().and_then(|port| u16::try_from(port).ok()).expect("a port");
        Self { child, port }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The tap.
#[derive(Debug)]
pub(crate) struct Tap {
    shared: Arc<Shared>,
    pub(crate) port: u16,
    _server: Server,
}

#[derive(Debug, Default)]
struct Shared {
    requests: Mutex<Vec<Came>>,
    connections: AtomicU64,
    keep: AtomicBool,
}

impl Tap {
    pub(crate) fn before(server: Server) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let (shared, behind) = (Arc::new(Shared::default()), server.port);
        let its = Arc::clone(&shared);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let shared = Arc::clone(&its);
                std::thread::spawn(move || pass(stream, behind, &shared));
            }
        });
        Self { shared, port, _server: server }
    }

    /// Keeps requests from now on.
    pub(crate) fn keep(&self, keep: bool) {
        self.shared.keep.store(keep, Ordering::Relaxed);
    }

    /// Requests that came since the last look.
    pub(crate) fn came(&self) -> Vec<Came> {
        std::mem::take(&mut *self.shared.requests.lock().expect("nobody panics while holding it"))
    }
}

/// Header of a frame up to its length.
const HEADER_BYTES: usize = 6;

fn pass(mut asker: TcpStream, behind: u16, shared: &Shared) {
    let connection = shared.connections.fetch_add(1, Ordering::Relaxed);
    let mut server = TcpStream::connect(("127.0.0.1", behind)).expect("the server listens");
    for stream in [&asker, &server] {
        stream.set_nodelay(true).expect("it can be set");
    }
    let mut request = [0_u8; REQUEST_BYTES];
    let mut reply = [0_u8; 512];
    while asker.read_exact(&mut request).is_ok() {
        if shared.keep.load(Ordering::Relaxed) {
            let came = Came::of(&request, connection, Instant::now());
            shared.requests.lock().expect("nobody panics while holding it").push(came);
        }
        server.write_all(&request).expect("the server takes requests");
        server.read_exact(&mut reply[..HEADER_BYTES]).expect("the server answers");
        let end = HEADER_BYTES + usize::from(u16::from_be_bytes([reply[4], reply[5]]));
        server.read_exact(&mut reply[HEADER_BYTES..end]).expect("the whole answer comes");
        if asker.write_all(&reply[..end]).is_err() {
            return;
        }
    }
}
