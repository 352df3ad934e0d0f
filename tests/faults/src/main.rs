//! The simulator's command: soak for a time, run seeds, replay one, print digests, hunt planted bugs.

use std::process::ExitCode;
use std::time::Duration;

use hearthward_faults::planted::{Hunted, SEEDS, bugs, hunt};
use hearthward_faults::run::{Broke, Case, Failure, Report, Until, many};
use hearthward_faults::shrink::shrink;

const USE: &str = "hearthward-faults soak [SECONDS] [--first SEED]
hearthward-faults seeds COUNT [--first SEED] [--seconds N]
hearthward-faults replay SEED [--seconds N]
hearthward-faults digest
hearthward-faults planted
--raw leaves a failure as long as it is.";

/// Shop time of one run, in seconds.
const SPAN_S: u32 = 4 * 3600;

fn main() -> ExitCode {
    // A panic of the core is a finding with words of its own.
    std::panic::set_hook(Box::new(|_| {}));
    let given: Vec<String> = std::env::args().skip(1).collect();
    let number = |text: &String| text.parse::<u64>().ok();
    let option = |name: &str| given.iter().position(|word| word == name).and_then(|at| number(given.get(at + 1)?));
    let first = option("--first").unwrap_or(1);
    let span_s = option("--seconds").map_or(SPAN_S, |seconds| seconds as u32);
    let count = given.get(1).and_then(number);
    match (given.first().map(String::as_str), count) {
        (Some("soak"), count) => told(&many(first, span_s, Until::Time(Duration::from_secs(count.unwrap_or(60))))),
        (Some("seeds"), Some(count)) => told(&many(first, span_s, Until::Seeds(count))),
        (Some("hunt"), Some(count)) => told(&many(first, span_s, Until::Failure(count))),
        (Some("replay"), Some(seed)) => replay(seed, span_s),
        (Some("digest"), _) => digest(),
        (Some("planted"), _) => planted(),
        _ => {
            eprintln!("{USE}");
            ExitCode::from(64)
        }
    }
}

/// Prints what many runs came to, the first failure shrunk.
fn told(report: &Report) -> ExitCode {
    println!("{}", report.tally);
    println!("{:.1} s; violations: {}", report.took.as_secs_f64(), report.failures.len());
    for failure in &report.failures {
        println!("seed {}, {}", failure.case.seed, failure.what);
    }
    let Some(failure) = report.failures.first() else { return ExitCode::SUCCESS };
    if std::env::args().all(|word| word != "--raw") {
        println!("\n{}\nshrunk:\n{}", failure.what, shrink(failure));
    }
    ExitCode::FAILURE
}

fn replay(seed: u64, span_s: u32) -> ExitCode {
    let case = Case::of(seed, span_s);
    match case.run() {
        Ok(tally) => {
            println!("{tally}\nseed {seed} holds for {span_s} s.");
            ExitCode::SUCCESS
        }
        Err(Broke { second, what, said }) => {
            said.iter().for_each(|said| println!("{said}"));
            println!("broke in second {second}: {what}");
            if std::env::args().all(|word| word != "--raw") {
                println!("{}", shrink(&Failure { case, what, whole_s: span_s }));
            }
            ExitCode::FAILURE
        }
    }
}

/// The digests of a fixed set of runs: the same on every computer, in every build.
fn digest() -> ExitCode {
    for seed in hearthward_faults::run::DIGESTED {
        match Case::of(seed, hearthward_faults::run::DIGESTED_S).run() {
            Ok(tally) => println!("{seed} {:016x}", tally.digest),
            Err(Broke { second, what, .. }) => {
                println!("{seed} broke in second {second}: {what}");
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}

/// Hunts the bugs that are planted into a copy of the core.
fn planted() -> ExitCode {
    let hunted = match bugs().and_then(|bugs| hunt(&bugs)) {
        Ok(hunted) => hunted,
        Err(what) => {
            eprintln!("{what}");
            return ExitCode::FAILURE;
        }
    };
    let mut missed = 0;
    for (name, how) in &hunted {
        match how {
            Hunted::Found(what) => println!("{name}: found by {what}"),
            Hunted::Missed => {
                missed += 1;
                println!("{name}: MISSED in {SEEDS} seeds");
            }
        }
    }
    println!("{} bugs planted, {missed} missed", hunted.len());
    if missed == 0 && hunted.len() >= BUGS_LEAST { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Bugs that are planted at least.
const BUGS_LEAST: usize = 12;
