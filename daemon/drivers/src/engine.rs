//! The Wasm engine with the settings that contain a driver, and the compiled drivers that share it.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use sha2::{Digest, Sha256};
use wasmtime::component::Component;
use wasmtime::{Config, OptLevel};

use crate::abi::{self, Prepared};
use crate::cache::{Cache, hex};
use crate::compile::{Compiler, compiled_by};
use crate::component::{self, Portrait};
use crate::cut::lock;
use crate::plan::DriverSpec;
use crate::refusal::{EngineError, Refusal};
use crate::ticker::{Ticker, TickerHandle};

/// The most memory of a sandbox: a driver that reads registers needs less than one megabyte.
pub(crate) const MEMORY_MOST: usize = 4 << 20;

/// Guard behind a memory, so that bounds checks can be left to the processor.
const MEMORY_GUARD: u64 = 64 << 10;

/// Stack of the guest's own code: deep enough for any parser, shallow enough that a recursion ends within milliseconds.
const GUEST_STACK: usize = 128 << 10;

/// Stack of a call in all: the guest's, and room for our own functions that it calls, which format log lines.
const CALL_STACK: usize = 512 << 10;

/// Makes sandboxes. Clones share everything.
#[derive(Clone, Debug)]
pub struct Engine {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    wasm: wasmtime::Engine,
    ticker: Ticker,
    cache: Option<Cache>,
    compiler: Compiler,
    /// What compiled code depends on beside the component: version, settings, processor.
    kind: u64,
    loaded: Mutex<HashMap<String, Arc<Loaded>>>,
}

/// A component that passed all checks that need no run.
#[derive(Debug)]
pub(crate) struct Loaded {
    /// SHA-256 of the file as it is, in hexadecimal.
    pub(crate) digest: String,
    pub(crate) portrait: Portrait,
    pub(crate) prepared: Box<dyn Prepared>,
}

/// How the engine's clockwork is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Heartbeat {
    /// Ticks so far. Must go on while a guest runs.
    pub ticks: u64,
    /// Whether a guest runs now.
    pub running: bool,
}

impl Engine {
    /// An engine with who compiles for it, and a folder for compiled drivers if they are to be kept.
    ///
    /// # Errors
    /// [`EngineError`] when the engine does not start on this computer or the folder cannot be used.
    pub fn new(cache: Option<PathBuf>, compiler: Compiler) -> Result<Self, EngineError> {
        let wasm = wasmtime::Engine::new(&settings()).map_err(|why| EngineError::Engine(why.to_string()))?;
        let ticking = wasm.clone();
        let ticker = Ticker::start(move || ticking.increment_epoch()).map_err(|why| EngineError::Engine(why.to_string()))?;
        let cache = match cache {
            Some(path) => Some(Cache::open(&path).map_err(|why| EngineError::Cache { path, why: why.to_string() })?),
            None => None,
        };
        let mut kind = DefaultHasher::new();
        wasm.precompile_compatibility_hash().hash(&mut kind);
        let kind = kind.finish();
        Ok(Self { shared: Arc::new(Shared { wasm, ticker, cache, compiler, kind, loaded: Mutex::default() }) })
    }

    /// The clockwork's count of ticks, for a watchdog.
    #[must_use]
    pub fn heartbeat(&self) -> Heartbeat {
        let (ticks, running) = self.shared.ticker.heartbeat();
        Heartbeat { ticks, running }
    }

    pub(crate) fn wasm(&self) -> &wasmtime::Engine {
        &self.shared.wasm
    }

    pub(crate) fn ticker(&self) -> Option<TickerHandle> {
        self.shared.ticker.handle()
    }

    /// Reads, checks and compiles a driver's file, or takes what was compiled before. None of its code runs.
    pub(crate) fn load(&self, spec: &DriverSpec) -> Result<Arc<Loaded>, Refusal> {
        let path = &spec.component;
        let file = component::read(path)?;
        let digest = hex(&Sha256::digest(&file));
        if let Some(pinned) = spec.sha256.as_ref().filter(|pinned| !pinned.eq_ignore_ascii_case(&digest)) {
            return Err(Refusal::WrongDigest { path: path.clone(), pinned: pinned.clone(), found: digest });
        }
        if let Some(known) = lock(&self.shared.loaded).get(&digest) {
            return Ok(Arc::clone(known));
        }
        let bytes = component::as_component(path, file)?;
        let portrait = component::portrait(path, &bytes)?;
        let compiled = self.compiled(path, &bytes)?;
        component::check_functions(path, self.wasm(), &compiled)?;
        let prepared = abi::prepare(&portrait.contract, self, &compiled).map_err(|why| not_a_driver(path, &why))?;
        let loaded = Arc::new(Loaded { digest: digest.clone(), portrait, prepared });
        lock(&self.shared.loaded).insert(digest, Arc::clone(&loaded));
        Ok(loaded)
    }

    fn compiled(&self, path: &Path, bytes: &[u8]) -> Result<Component, Refusal> {
        let mut name = Sha256::new();
        name.update(env!("CARGO_PKG_VERSION"));
        name.update(self.shared.kind.to_le_bytes());
        name.update(bytes);
        let name = hex(&name.finalize());
        let kept = self.shared.cache.as_ref().and_then(|cache| cache.find(&name));
        if let Some(component) = kept.and_then(|code| self.trusted(&code)) {
            return Ok(component);
        }
        let code = match &self.shared.compiler {
            Compiler::Within => self.wasm().precompile_component(bytes).map_err(|why| not_a_driver(path, &why))?,
            Compiler::Program(program) => compiled_by(program, path, bytes)?,
        };
        if let Some(cache) = &self.shared.cache {
            cache.keep(&name, &code);
        }
        let unfit =
            || Refusal::NotCompiled { path: path.to_owned(), why: "the compiled code does not fit this engine".to_owned() };
        self.trusted(&code).ok_or_else(unfit)
    }

    /// Takes compiled code; that of another engine is refused by the engine itself.
    fn trusted(&self, code: &[u8]) -> Option<Component> {
        #[expect(unsafe_code, reason = "compiled code can only be taken on trust; see the safety note")]
        // SAFETY: the bytes were made by `Engine::precompile_component` of this program: they came from it just now, or lay in a
        // folder that only this user can write to, under a name made of the component, the engine's settings and version, and
        // their own hash was checked. The engine checks version, settings and processor once more.
        let component = unsafe { Component::deserialize(self.wasm(), code) };
        component.map_err(|why| tracing::warn!(%why, "compiled code of a driver does not fit")).ok()
    }
}

fn not_a_driver(path: &Path, why: &wasmtime::Error) -> Refusal {
    Refusal::NotADriver { path: path.to_owned(), why: why.root_cause().to_string() }
}

/// The engine's settings: the compiling process has the same.
pub(crate) fn settings() -> Config {
    let mut config = Config::new();
    config
        .epoch_interruption(true)
        .consume_fuel(false)
        .cranelift_opt_level(OptLevel::Speed)
        .max_wasm_stack(GUEST_STACK)
        .async_stack_size(CALL_STACK)
        // Small reservations: 256 sandboxes take 2 GiB of addresses, not 1 TiB, and fit under an address limit.
        .memory_reservation(MEMORY_MOST as u64)
        .memory_reservation_for_growth(0)
        .memory_guard_size(MEMORY_GUARD)
        .memory_may_move(false);
    config
}
