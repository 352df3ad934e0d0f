//! The smallest part of a run that still fails: less time, fewer furnaces, fewer faults.

use crate::run::{Broke, Case, Failure};

/// Runs that are spent on it.
const TRIES: usize = 400;

/// Shrinks a failure to a smaller one of the same kind.
#[must_use]
pub fn shrink(failure: &Failure) -> Failure {
    let mut best = failure.clone();
    let mut tries = TRIES;
    shorten(&mut best, &mut tries);
    for place in 0..best.case.used.len() {
        let mut case = best.case.clone();
        case.used[place] = false;
        case.faults.retain(|fault| fault.place != place);
        keep(&mut best, case, &mut tries);
    }
    let mut chunk = best.case.faults.len().div_ceil(2);
    while chunk > 0 && tries > 0 {
        let mut at = 0;
        while at < best.case.faults.len() && tries > 0 {
            let mut case = best.case.clone();
            case.faults.drain(at..(at + chunk).min(case.faults.len()));
            if !keep(&mut best, case, &mut tries) {
                at += chunk;
            }
        }
        chunk /= 2;
    }
    shorten(&mut best, &mut tries);
    best
}

/// Ends the run where it fails.
fn shorten(best: &mut Failure, tries: &mut usize) {
    let case = best.case.clone();
    keep(best, case, tries);
}

/// Takes the case if it fails too.
fn keep(best: &mut Failure, case: Case, tries: &mut usize) -> bool {
    *tries = tries.saturating_sub(1);
    let Err(Broke { second, what, .. }) = case.run() else { return false };
    if kind(&what) != kind(&best.what) {
        return false;
    }
    let faults = case.faults.iter().filter(|fault| fault.at_s < second).copied().collect();
    *best = Failure { case: Case { span_s: second, faults, ..case }, what, whole_s: best.whole_s };
    true
}

/// What a sentence says without its numbers, as far as its first words.
fn kind(what: &str) -> String {
    let said = what.split_once("tick ").map_or(what, |(_, said)| said);
    said.chars().filter(char::is_ascii_alphabetic).take(40).collect()
}
