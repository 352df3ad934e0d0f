//! A Modbus TCP device in this process: it answers at once, notes when each request came and when its answer was out, and can have a
//! door. Written for speed and for its clock, not as a check of the protocol: that is what the end-to-end tests have pymodbus for.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU16, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// A request as it came.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Came {
    /// Which connection, counted from 0.
    pub(crate) connection: u64,
    pub(crate) unit: u8,
    pub(crate) function: u8,
    pub(crate) at: u16,
    pub(crate) value: u16,
    /// When the whole request was here.
    pub(crate) when: Instant,
}

impl Came {
    pub(crate) fn of(request: &[u8; REQUEST_BYTES], connection: u64, when: Instant) -> Self {
        let word = |place: usize| u16::from_be_bytes([request[place], request[place + 1]]);
        Self { connection, unit: request[6], function: request[7], at: word(8), value: word(10), when }
    }
}

/// What all connections share.
#[derive(Debug, Default)]
struct Shared {
    /// What every input register holds.
    input: AtomicU16,
    holding: AtomicU16,
    run: AtomicBool,
    contactor: AtomicBool,
    door: AtomicBool,
    /// When an answer first told that the door is open; taken by whoever waits for it.
    told_open: Mutex<Option<Instant>>,
    requests: Mutex<Vec<Came>>,
    connections: AtomicU64,
    keep: AtomicBool,
}

/// The device. Its threads end with the process.
#[derive(Clone, Debug)]
pub(crate) struct Device {
    shared: Arc<Shared>,
    pub(crate) port: u16,
}

/// The coil that is the door.
pub(crate) const DOOR_COIL: u16 = 8;
/// The coil that is the contactor.
pub(crate) const CONTACTOR_COIL: u16 = 1;
/// The contact that the contactor's tips move.
pub(crate) const CONTACT_COIL: u16 = 9;

impl Device {
    pub(crate) fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let shared = Arc::new(Shared::default());
        let serving = Arc::clone(&shared);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let shared = Arc::clone(&serving);
                std::thread::spawn(move || serve(stream, &shared));
            }
        });
        Self { shared, port }
    }

    /// Sets what every input register holds.
    pub(crate) fn show(&self, raw: u16) {
        self.shared.input.store(raw, Ordering::Relaxed);
    }

    /// Keeps requests from now on.
    pub(crate) fn keep(&self, keep: bool) {
        self.shared.keep.store(keep, Ordering::Relaxed);
    }

    /// Requests that came since the last look.
    pub(crate) fn came(&self) -> Vec<Came> {
        std::mem::take(&mut *self.shared.requests.lock().expect("nobody panics while holding it"))
    }

    pub(crate) fn set_door(&self, open: bool) {
        *self.shared.told_open.lock().expect("nobody panics while holding it") = None;
        self.shared.door.store(open, Ordering::SeqCst);
    }

    /// When the door was first told to be open, since it was opened.
    pub(crate) fn told_open(&self) -> Option<Instant> {
        *self.shared.told_open.lock().expect("nobody panics while holding it")
    }

    /// Whether it was told to run, to a set point above the room.
    pub(crate) fn runs(&self) -> bool {
        self.shared.run.load(Ordering::SeqCst) && self.shared.holding.load(Ordering::SeqCst) > 300
    }

    /// Whether its contactor is closed.
    pub(crate) fn contactor(&self) -> bool {
        self.shared.contactor.load(Ordering::SeqCst)
    }

    /// Waits for something; panics with `what` if it does not come.
    pub(crate) fn until(&self, what: &str, wanted: impl Fn(&Self) -> bool) {
        let until = Instant::now() + Duration::from_secs(30);
        while !wanted(self) {
            assert!(Instant::now() < until, "{what} did not happen");
            std::thread::sleep(Duration::from_micros(500));
        }
    }
}

/// Bytes of a request that this device knows: all of them have the same length.
pub(crate) const REQUEST_BYTES: usize = 12;

fn serve(mut stream: TcpStream, shared: &Shared) {
    let connection = shared.connections.fetch_add(1, Ordering::Relaxed);
    stream.set_nodelay(true).expect("it can be set");
    let mut request = [0_u8; REQUEST_BYTES];
    while stream.read_exact(&mut request).is_ok() {
        let came = Came::of(&request, connection, Instant::now());
        if shared.keep.load(Ordering::Relaxed) {
            shared.requests.lock().expect("nobody panics while holding it").push(came);
        }
        let (answer, tells_open) = answer(&request, came, shared);
        if stream.write_all(&answer).is_err() {
            return;
        }
        if tells_open {
            shared.told_open.lock().expect("nobody panics while holding it").get_or_insert_with(Instant::now);
        }
    }
}

/// The whole answer, and whether it says that the door is open.
fn answer(request: &[u8; REQUEST_BYTES], came: Came, shared: &Shared) -> (Vec<u8>, bool) {
    let mut pdu = vec![came.function];
    let mut tells_open = false;
    match came.function {
        1 | 2 => {
            let bytes = usize::from(came.value).div_ceil(8);
            let mut bits = vec![0_u8; bytes];
            let door = shared.door.load(Ordering::SeqCst);
            let on = |coil: u16| match coil {
                0 => shared.run.load(Ordering::SeqCst),
                CONTACTOR_COIL | CONTACT_COIL => shared.contactor.load(Ordering::SeqCst),
                DOOR_COIL => door,
                _ => false,
            };
            for place in 0..came.value {
                bits[usize::from(place / 8)] |= u8::from(on(came.at + place)) << (place % 8);
            }
            tells_open = door && (came.at..came.at + came.value).contains(&DOOR_COIL);
            pdu.push(bytes as u8);
            pdu.extend(bits);
        }
        3 | 4 => {
            let source = if came.function == 3 { &shared.holding } else { &shared.input };
            let word = source.load(Ordering::SeqCst).to_be_bytes();
            pdu.push((came.value * 2) as u8);
            pdu.extend(std::iter::repeat_n(word, usize::from(came.value)).flatten());
        }
        5 => {
            let on = came.value != 0;
            let coil = if came.at == CONTACTOR_COIL { &shared.contactor } else { &shared.run };
            coil.store(on, Ordering::SeqCst);
            pdu.extend(&request[8..]);
        }
        6 => {
            shared.holding.store(came.value, Ordering::SeqCst);
            pdu.extend(&request[8..]);
        }
        _ => {
            pdu[0] |= 0x80;
            pdu.push(1);
        }
    }
    let mut frame = request[..4].to_vec();
    frame.extend(((pdu.len() + 1) as u16).to_be_bytes());
    frame.push(came.unit);
    frame.extend(pdu);
    (frame, tells_open)
}
