//! Runs: one of a seed, or many on all processors.

use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use crate::script::{Fault, script};
use crate::shops::shop;
use crate::tally::Tally;
use crate::world::World;

/// What is run.
#[derive(Clone, Debug)]
pub struct Case {
    /// The seed of the shop and of everything in it.
    pub seed: u64,
    /// How long, in seconds of shop time.
    pub span_s: u32,
    /// What goes wrong.
    pub faults: Vec<Fault>,
    /// Which furnaces get loads.
    pub used: Vec<bool>,
}

/// How a run broke.
#[derive(Clone, Debug)]
pub struct Broke {
    /// In which second.
    pub second: u32,
    /// What was found, in a sentence.
    pub what: String,
    /// What the core had said last.
    pub said: Vec<String>,
}

/// A run that broke an invariant.
#[derive(Clone, Debug)]
pub struct Failure {
    /// The run.
    pub case: Case,
    /// What was found, in a sentence.
    pub what: String,
    /// The length of the seed's whole run, which is what is replayed.
    pub whole_s: u32,
}

impl Case {
    /// The whole run of a seed.
    #[must_use]
    pub fn of(seed: u64, span_s: u32) -> Self {
        let furnaces = shop(seed).plan.furnaces.len();
        Self { seed, span_s, faults: script(seed, furnaces, span_s), used: vec![true; furnaces] }
    }

    /// The same day without faults.
    #[must_use]
    pub fn calm(seed: u64, span_s: u32) -> Self {
        Self { faults: Vec::new(), ..Self::of(seed, span_s) }
    }

    /// Runs it.
    ///
    /// # Errors
    /// What broke, and after how many seconds.
    pub fn run(&self) -> Result<Tally, Broke> {
        let mut world = World::new(self.seed, shop(self.seed), self.faults.clone(), self.used.clone());
        for second in 1..=self.span_s {
            let stepped = catch_unwind(AssertUnwindSafe(|| world.second()));
            let what = match stepped {
                Ok(Ok(())) => continue,
                Ok(Err(what)) => what,
                Err(panic) => format!("the core panicked: {}", words(panic.as_ref())),
            };
            return Err(Broke { second, what, said: world.said.into() });
        }
        Ok(world.tally)
    }
}

fn words(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().cloned();
    text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned())).unwrap_or_else(|| "without words".to_owned())
}

/// What many runs came to.
#[derive(Debug, Default)]
pub struct Report {
    /// All that was reached.
    pub tally: Tally,
    /// The first failures, by seed.
    pub failures: Vec<Failure>,
    /// How long it took.
    pub took: Duration,
}

/// Failures that are kept: a few say more than thousands.
const FAILURES_MOST: usize = 8;

/// When many runs end.
#[derive(Clone, Copy, Debug)]
pub enum Until {
    /// After so many seeds.
    Seeds(u64),
    /// When this much time has passed, at the end of the runs under way.
    Time(Duration),
    /// At the first failure, or after so many seeds.
    Failure(u64),
}

/// Runs seeds from `first` on, on every processor.
#[must_use]
pub fn many(first: u64, span_s: u32, until: Until) -> Report {
    let began = Instant::now();
    let next = AtomicU64::new(first);
    let report = Mutex::new(Report::default());
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    let over = match until {
                        Until::Seeds(count) | Until::Failure(count) => seed >= first + count,
                        Until::Time(span) => began.elapsed() >= span,
                    };
                    let failed = !report.lock().expect("no thread panics with it").failures.is_empty();
                    if over || (failed && matches!(until, Until::Failure(_))) {
                        return;
                    }
                    let case = Case::of(seed, span_s);
                    let ran = case.run();
                    let mut report = report.lock().expect("no thread panics with it");
                    match ran {
                        Ok(tally) => report.tally.add(&tally),
                        Err(Broke { what, .. }) if report.failures.len() < FAILURES_MOST => {
                            report.failures.push(Failure { case, what, whole_s: span_s })
                        }
                        Err(_) => {}
                    }
                }
            });
        }
    });
    let mut report = report.into_inner().expect("no thread panics with it");
    report.failures.sort_by_key(|failure| failure.case.seed);
    report.took = began.elapsed();
    report
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let used = self.case.used.iter().filter(|used| **used).count();
        writeln!(f, "seed {} broke within {} s: {}", self.case.seed, self.case.span_s, self.what)?;
        writeln!(f, "with {used} of {} furnaces in use and these faults:", self.case.used.len())?;
        for fault in &self.case.faults {
            let Fault { at_s, for_s, place, kind, size } = fault;
            writeln!(f, "  second {at_s}, for {for_s} s, furnace {place}: {kind:?} ({size:.2})")?;
        }
        write!(
            f,
            "Replay the whole run from {}: cargo run --release -p hearthward-faults -- replay {} --seconds {}",
            commit(),
            self.case.seed,
            self.whole_s
        )
    }
}

/// The commit that is checked out, as far as anybody can tell.
fn commit() -> String {
    let asked = std::process::Command::new("git")
        .args(["describe", "--always", "--dirty", "--abbrev=12"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output();
    let told = asked.ok().filter(|told| told.status.success());
    told.map_or_else(|| "this commit".to_owned(), |told| format!("commit {}", String::from_utf8_lossy(&told.stdout).trim()))
}

/// Seeds of the runs whose digests are compared between builds and computers.
pub const DIGESTED: [u64; 6] = [1, 2, 3, 4, 5, 6];
/// Their length in seconds of shop time.
pub const DIGESTED_S: u32 = 3600;
