//! Compiling a driver in a process of its own, so that a component made to exhaust the compiler exhausts that process and not the
//! service. What the compiler took is given back whole when the process ends.
//!
//! The process is this program started again with [`COMPILE`]; it gets the component on standard input, sets its own limits
//! before it reads the first byte, and writes the compiled code, or why there is none, to its outputs.

use std::io::{self, Read, Write};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, ExitStatus, Output, Stdio};

use rlimit::Resource;

use crate::component::FILE_MOST;
use crate::engine::settings;
use crate::refusal::Refusal;

/// The only argument of the compiling process.
pub const COMPILE: &str = "compile-a-driver-from-standard-input";

/// Addresses that the compiling process may have, its program and the stacks of its threads included. The largest driver that ships
/// needs a third of it.
const MEMORY_MOST_BYTES: u64 = 1 << 30;

/// Seconds of processor time that it may take. The largest driver that ships takes a fifth of one on a common computer, which leaves
/// room for a slow one.
const PROCESSOR_MOST_S: u64 = 30;

/// What a process gets that used up its processor time, on every Unix of today.
const SIGXCPU: i32 = 24;

/// Who compiles drivers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Compiler {
    /// This process, without limits: for tests and tools that load only what they made themselves.
    Within,
    /// This program, started again; it must call [`compile_if_asked`] before anything else.
    Program(PathBuf),
}

impl Compiler {
    /// The program that runs now.
    ///
    /// # Errors
    /// What the system says if it does not know its path.
    pub fn this_program() -> io::Result<Self> {
        std::env::current_exe().map(Self::Program)
    }
}

/// Compiles the component on standard input if this process was started for that, and says how it ended.
#[must_use]
pub fn compile_if_asked() -> Option<ExitCode> {
    let mut arguments = std::env::args_os().skip(1);
    let asked = arguments.next().is_some_and(|first| first == COMPILE) && arguments.next().is_none();
    asked.then(|| match compile() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprint!("{why}");
            ExitCode::FAILURE
        }
    })
}

fn compile() -> Result<(), String> {
    let limit = |resource: Resource, most: u64, hard: u64| {
        rlimit::setrlimit(resource, most, hard).map_err(|why| format!("the limits of the compiling process: {why}"))
    };
    limit(Resource::AS, MEMORY_MOST_BYTES, MEMORY_MOST_BYTES)?;
    // At the first the system says what it ends the process for, at the second it only ends it.
    limit(Resource::CPU, PROCESSOR_MOST_S, PROCESSOR_MOST_S + 1)?;
    limit(Resource::CORE, 0, 0)?;
    // A component made out of a module has the module and its names: less than twice the file.
    let mut component = Vec::new();
    io::stdin().lock().take(2 * FILE_MOST).read_to_end(&mut component).map_err(|why| why.to_string())?;
    let engine = wasmtime::Engine::new(&settings()).map_err(|why| why.to_string())?;
    let code = engine.precompile_component(&component).map_err(|why| why.root_cause().to_string())?;
    io::stdout().lock().write_all(&code).map_err(|why| why.to_string())
}

/// Has a component compiled by a process of its own.
pub(crate) fn compiled_by(program: &Path, path: &Path, component: &[u8]) -> Result<Vec<u8>, Refusal> {
    let Output { status, stdout, stderr } = run(program, component).map_err(|why| Refusal::NotCompiled {
        path: path.to_owned(),
        why: format!("{} does not start: {why}", program.display()),
    })?;
    if status.success() {
        return Ok(stdout);
    }
    let said = String::from_utf8_lossy(&stderr);
    if status.code() == Some(1) {
        return Err(Refusal::NotADriver { path: path.to_owned(), why: said.trim().to_owned() });
    }
    Err(Refusal::NotCompiled { path: path.to_owned(), why: broken_by(status, &said) })
}

fn run(program: &Path, component: &[u8]) -> io::Result<Output> {
    let mut command = Command::new(program);
    command.arg(COMPILE).env_clear().stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn()?;
    let input = child.stdin.take();
    std::thread::scope(|scope| {
        scope.spawn(move || {
            // Whoever ends before he has read all says why himself.
            let _ = input.map(|mut input| input.write_all(component));
        });
        child.wait_with_output()
    })
}

/// What ended a process that did not end by itself.
fn broken_by(status: ExitStatus, said: &str) -> String {
    match status.signal() {
        Some(SIGXCPU) => format!("it took more than {PROCESSOR_MOST_S} s of processor time"),
        _ if said.contains("memory allocation") => format!("it took more than {} MiB of memory", MEMORY_MOST_BYTES >> 20),
        _ => format!("the compiling process broke ({status}): {}", said.lines().next().unwrap_or_default()),
    }
}
