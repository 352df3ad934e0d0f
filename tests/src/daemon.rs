//! The daemon as it is installed: its binary, its command line, its signals.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use crate::place;
use crate::talk::SOON;

/// A running service.
#[derive(Debug)]
pub struct Daemon {
    child: Child,
    folder: PathBuf,
    /// Where its API is: `127.0.0.1:PORT`.
    pub at: String,
}

/// The command line without a verb: no configuration of the person who runs the tests gets in.
#[must_use]
pub fn command() -> Command {
    let mut command = Command::new(place::daemon());
    for name in ["HEARTHWARD_CONFIG", "HEARTHWARD_AT", "HEARTHWARD_PERSON", "USER"] {
        command.env_remove(name);
    }
    command
}

/// A verb on the configuration in `folder`, with drivers, cache and journal where tests keep them.
#[must_use]
pub fn on_shop(verb: &str, folder: &Path, arguments: &[&str]) -> Command {
    let mut command = command();
    command.arg(verb).arg("--config").arg(folder.join("shop.toml"));
    command.arg("--drivers").arg(place::guests());
    command.arg("--journal").arg(folder.join("journal.sqlite"));
    command.arg("--set").arg(format!("host.cache={}", place::cache().display()));
    command.args(arguments);
    command
}

impl Daemon {
    /// Starts the service on the configuration in `folder` and waits until it listens.
    ///
    /// # Panics
    /// If it does not; with what it said.
    #[must_use]
    pub fn start(folder: &Path) -> Self {
        Self::start_with(folder, &[])
    }

    /// The same with further arguments.
    ///
    /// # Panics
    /// If it does not come up.
    #[must_use]
    pub fn start_with(folder: &Path, arguments: &[&str]) -> Self {
        Self::spawn(folder, &mut on_shop("serve", folder, arguments))
    }

    /// The same under a service manager that listens on this socket.
    ///
    /// # Panics
    /// If it does not come up.
    #[must_use]
    pub fn start_managed(folder: &Path, socket: &Path) -> Self {
        Self::spawn(folder, on_shop("serve", folder, &[]).env("NOTIFY_SOCKET", socket))
    }

    fn spawn(folder: &Path, command: &mut Command) -> Self {
        let errors =
            File::options().create(true).append(true).open(folder.join("daemon.log")).expect("the folder can be written");
        command.args(["--listen", "127.0.0.1:0"]).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(errors);
        let mut child = command.spawn().expect("the daemon can be started");
        let output = child.stdout.take().expect("its output is piped");
        let (tell, told) = mpsc::channel();
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                if let Some(at) = line.split_once("listening on ").map(|(_, at)| at.trim().to_owned()) {
                    let _ = tell.send(at);
                }
            }
        });
        let at = told.recv_timeout(SOON).unwrap_or_else(|_| {
            let _ = child.kill();
            panic!("the daemon did not come to listen; it said:\n{}", said(folder));
        });
        Self { child, folder: folder.to_owned(), at }
    }

    /// Its process number.
    #[must_use]
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What it wrote to standard error so far, over all its lives in this folder.
    #[must_use]
    pub fn log(&self) -> String {
        said(&self.folder)
    }

    /// Kills it as a power cut would: without any warning.
    ///
    /// # Panics
    /// If that is not possible.
    pub fn kill(mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it is gone");
    }

    /// Asks it to end in order and returns how it did.
    ///
    /// # Panics
    /// If it does not end.
    pub fn end(mut self) -> ExitStatus {
        let asked = Command::new("kill").args(["-TERM", &self.pid().to_string()]).status();
        assert!(asked.is_ok_and(|status| status.success()), "the daemon cannot be asked to end");
        let until = Instant::now() + SOON;
        loop {
            if let Some(status) = self.child.try_wait().expect("its status can be asked") {
                return status;
            }
            assert!(Instant::now() < until, "the daemon did not end in order; it said:\n{}", self.log());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Whether it still runs.
    ///
    /// # Panics
    /// If its status cannot be asked.
    pub fn runs(&mut self) -> bool {
        self.child.try_wait().expect("its status can be asked").is_none()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            eprintln!("the daemon's log:\n{}", self.log());
        }
    }
}

/// Runs a command to its end within a time.
///
/// # Panics
/// If it does not end.
#[must_use]
pub fn run_within(command: &mut Command, longest: Duration) -> Output {
    let mut child =
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it can be started");
    let until = Instant::now() + longest;
    let pid = child.id();
    // Its output is read by `wait_with_output`; a watch beside it ends what does not end by itself.
    let (done, ended) = mpsc::channel::<()>();
    let watch = std::thread::spawn(move || {
        let overdue = ended.recv_timeout(until.saturating_duration_since(Instant::now())) == Err(mpsc::RecvTimeoutError::Timeout);
        if overdue {
            let _ = Command::new("kill").args(["-KILL", &pid.to_string()]).status();
        }
        overdue
    });
    let _ = child.stdin.take();
    let output = child.wait_with_output().expect("it can be waited for");
    let _ = done.send(());
    let overdue = watch.join().expect("the watch does not panic");
    assert!(!overdue, "{command:?} did not end within {longest:?}; it said:\n{}", String::from_utf8_lossy(&output.stderr));
    output
}

fn said(folder: &Path) -> String {
    std::fs::read_to_string(folder.join("daemon.log")).unwrap_or_default()
}
