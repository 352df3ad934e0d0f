//! What the host provides, behind traits, so that a driver's logic runs natively against stand-ins.

use crate::bindings::base::hearthward::equipment::{line, log as host_log, shop_clock};
use crate::{Fault, FrameRule, Level};

/// Bytes on granted lines.
pub trait Bus {
    /// Sends a request and returns its whole reply, the end of which the first matching rule tells. `deadline_ms` counts
    /// from when the request is on the line.
    ///
    /// # Errors
    /// The host's fault: no answer in time, line not open, reply not framed as the rules say, withdrawn by a cut.
    fn exchange(&mut self, line: u32, request: &[u8], reply: &[FrameRule], deadline_ms: u32) -> Result<Vec<u8>, Fault>;

    /// Sends bytes for which there is no reply.
    ///
    /// # Errors
    /// The host's fault: line not open, withdrawn by a cut.
    fn send(&mut self, line: u32, bytes: &[u8]) -> Result<(), Fault>;
}

/// The shop's clock.
pub trait Clock {
    /// Milliseconds of shop time; never goes back.
    fn now_ms(&self) -> u64;
}

/// The host itself. Works only inside a sandbox; natively its functions panic, because there is no host to call.
#[derive(Clone, Copy, Debug, Default)]
pub struct Host;

impl Bus for Host {
    fn exchange(&mut self, line: u32, request: &[u8], reply: &[FrameRule], deadline_ms: u32) -> Result<Vec<u8>, Fault> {
        line::exchange(line, request, reply, deadline_ms)
    }

    fn send(&mut self, line: u32, bytes: &[u8]) -> Result<(), Fault> {
        line::send(line, bytes)
    }
}

impl Clock for Host {
    fn now_ms(&self) -> u64 {
        shop_clock::now_ms()
    }
}

/// Writes one line to the service's log. Natively it goes to standard error.
pub fn log(level: Level, text: &str) {
    if cfg!(target_arch = "wasm32") {
        host_log::write(level, text);
    } else {
        eprintln!("{level:?}: {text}");
    }
}
