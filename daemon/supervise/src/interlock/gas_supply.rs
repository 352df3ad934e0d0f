//! Gas supply: the forecast does not reach the end of the load with its reserve. A cause for the steel.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, Told};
use super::row::Verdict;
use crate::facts::Situation;

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::GasSupply,
    id: "gas_supply",
    title: "Gas supply",
    does: "warns at the start and alarms while running when the gas will not reach the end with its reserve",
    clears: "more gas, or a person's word",
    causes: For::Steel,
};

pub(super) fn verdict(now: &Situation) -> Verdict {
    Verdict::alarm(is_short(now))
}

/// The expression. A person's word that the gas will do counts for the load that it was given for.
fn is_short(now: &Situation) -> bool {
    now.running && now.gas_load && now.gas_short && !now.gas_word
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let name = &told.plan.name;
    let _ = write!(into, "The gas for {name} may not reach the end of its load with the reserve: have another cylinder ready.");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_supply_alarms_for_a_gas_load_until_a_person_answers_for_it() {
        for bits in 0..16_u8 {
            let bit = |place: u8| bits & (1 << place) != 0;
            let now =
                Situation { running: bit(0), gas_load: bit(1), gas_short: bit(2), gas_word: bit(3), ..Situation::default() };
            assert_eq!(is_short(&now), bits == 0b0111, "{bits:04b}");
        }
    }
}
