//! A process that is told and that tells, one JSON object a line.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::time::{Duration, Instant};

use serde_json::Value;

/// The longest that a test waits for anything that should happen soon. Generous: two cores may be shared with a build.
pub const SOON: Duration = Duration::from_secs(30);

/// Lines that a failed wait shows.
const SHOWN_LINES: usize = 25;

/// Everything that the process said so far; grows only.
type Said = Arc<(Mutex<Vec<Value>>, Condvar)>;

/// The process.
#[derive(Debug)]
pub struct Talk {
    name: &'static str,
    child: Child,
    input: Option<ChildStdin>,
    said: Said,
}

impl Talk {
    /// Starts it and listens from then on.
    ///
    /// # Panics
    /// If it cannot be started.
    #[must_use]
    pub fn start(name: &'static str, command: &mut Command) -> Self {
        let child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
        let mut child = child.unwrap_or_else(|error| panic!("{name} cannot be started: {error}"));
        let input = child.stdin.take();
        let output = child.stdout.take().expect("its output is piped");
        let said = Said::default();
        let listener = Arc::clone(&said);
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                let value = serde_json::from_str(&line).unwrap_or(Value::String(line));
                listener.0.lock().expect("nobody panics while holding it").push(value);
                listener.1.notify_all();
            }
        });
        Self { name, child, input, said }
    }

    /// Tells it something.
    ///
    /// # Panics
    /// If it does not listen any more.
    pub fn tell(&mut self, what: &Value) {
        let input = self.input.as_mut().expect("it was not told to end");
        writeln!(input, "{what}").unwrap_or_else(|error| panic!("{} does not listen: {error}", self.name));
    }

    /// How much it has said: a place to wait from.
    #[must_use]
    pub fn so_far(&self) -> usize {
        self.said.0.lock().expect("nobody panics while holding it").len()
    }

    /// Everything it said from a place on.
    #[must_use]
    pub fn since(&self, place: usize) -> Vec<Value> {
        self.said.0.lock().expect("nobody panics while holding it").iter().skip(place).cloned().collect()
    }

    /// Waits for something at or after a place, and returns it with the place behind it.
    ///
    /// # Panics
    /// If it is not said within [`SOON`].
    pub fn wait(&self, from: usize, what: &str, wanted: impl Fn(&Value) -> bool) -> (Value, usize) {
        self.wait_for(from, SOON, what, wanted)
    }

    /// As [`wait`](Self::wait), for as long as given.
    ///
    /// # Panics
    /// If it is not said in that time.
    pub fn wait_for(&self, from: usize, longest: Duration, what: &str, wanted: impl Fn(&Value) -> bool) -> (Value, usize) {
        let until = Instant::now() + longest;
        let mut said = self.said.0.lock().expect("nobody panics while holding it");
        let mut place = from;
        loop {
            if let Some(found) = said.iter().skip(place).position(&wanted) {
                return (said[place + found].clone(), place + found + 1);
            }
            place = said.len().max(from);
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                let last: Vec<String> = said.iter().rev().take(SHOWN_LINES).rev().map(Value::to_string).collect();
                drop(said);
                panic!("{} did not say {what} within {longest:?}; it said last:\n{}", self.name, last.join("\n"));
            }
            said = self.said.1.wait_timeout(said, left).expect("nobody panics while holding it").0;
        }
    }
}

impl Drop for Talk {
    fn drop(&mut self) {
        // End of input asks it to go; it is not waited for long, since a test that failed must end too.
        drop(self.input.take());
        let until = Instant::now() + Duration::from_secs(2);
        while Instant::now() < until {
            if matches!(self.child.try_wait(), Ok(Some(_))) {
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
