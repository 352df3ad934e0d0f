//! A device at the other end of a real socket. It takes frames of two bytes and answers as it is told to.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::shop::PATIENCE;

/// What the device does with a frame.
pub(crate) enum Does {
    Answers(Vec<u8>),
    Nothing,
    HangsUp,
}

type Manner = Box<dyn FnMut([u8; 2]) -> Does + Send>;

/// The device.
pub(crate) struct Peer {
    pub(crate) address: SocketAddr,
    frames: Receiver<[u8; 2]>,
    manner: Arc<Mutex<Manner>>,
    /// The connection that was opened last.
    last: Arc<Mutex<Option<TcpStream>>>,
}

impl Peer {
    pub(crate) fn new(manner: impl FnMut([u8; 2]) -> Does + Send + 'static) -> Self {
        Self::on(TcpListener::bind("127.0.0.1:0").expect("a port"), manner)
    }

    pub(crate) fn on(listener: TcpListener, manner: impl FnMut([u8; 2]) -> Does + Send + 'static) -> Self {
        let address = listener.local_addr().expect("its address");
        let manner: Arc<Mutex<Manner>> = Arc::new(Mutex::new(Box::new(manner)));
        let last = Arc::new(Mutex::new(None));
        let (sender, frames) = channel();
        let (its_manner, its_last) = (Arc::clone(&manner), Arc::clone(&last));
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                stream.set_nodelay(true).expect("an option of every socket");
                *its_last.lock().expect("the connection") = stream.try_clone().ok();
                let (manner, sender) = (Arc::clone(&its_manner), sender.clone());
                std::thread::spawn(move || serve(stream, &manner, &sender));
            }
        });
        Self { address, frames, manner, last }
    }

    /// A device that answers every read with these degrees and a shut door, and takes every command.
    pub(crate) fn obedient(degrees: u8) -> Self {
        Self::new(move |frame| Does::Answers(obeys(degrees, frame)))
    }

    pub(crate) fn set(&self, manner: impl FnMut([u8; 2]) -> Does + Send + 'static) {
        *self.manner.lock().expect("the manner") = Box::new(manner);
    }

    /// The next frame that arrives.
    pub(crate) fn next(&self) -> [u8; 2] {
        self.frames.recv_timeout(PATIENCE).expect("no frame came")
    }

    /// The next frame with this word; those before it are passed over.
    pub(crate) fn next_of(&self, word: u8) -> [u8; 2] {
        loop {
            let frame = self.next();
            if frame[0] == word {
                return frame;
            }
        }
    }

    /// Whether nothing arrives for a while.
    pub(crate) fn is_quiet_for(&self, while_: Duration) -> bool {
        self.frames.recv_timeout(while_).is_err()
    }

    /// All frames so far.
    pub(crate) fn frames(&self) -> Vec<[u8; 2]> {
        self.frames.try_iter().collect()
    }

    /// Sends bytes that nobody asked for on the last connection.
    pub(crate) fn say(&self, bytes: &[u8]) {
        let mut last = self.last.lock().expect("the connection");
        last.as_mut().expect("it is connected").write_all(bytes).expect("writing");
    }
}

/// The answer of a device that does as it is told.
pub(crate) fn obeys(degrees: u8, [word, unit]: [u8; 2]) -> Vec<u8> {
    match word {
        b'R' => vec![b'R', degrees, 0],
        other => vec![other, unit],
    }
}

fn serve(mut stream: TcpStream, manner: &Mutex<Manner>, frames: &Sender<[u8; 2]>) {
    let mut frame = [0; 2];
    while stream.read_exact(&mut frame).is_ok() {
        let does = (manner.lock().expect("the manner"))(frame);
        // The test may be over.
        let _ = frames.send(frame);
        match does {
            Does::Answers(bytes) => {
                if stream.write_all(&bytes).is_err() {
                    return;
                }
            }
            Does::Nothing => {}
            Does::HangsUp => {
                let _ = stream.shutdown(std::net::Shutdown::Both);
                return;
            }
        }
    }
}
