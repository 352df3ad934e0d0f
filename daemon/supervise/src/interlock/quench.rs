//! The three rows about the tank: ready, away from its flash point, and held by one load only.
//!
//! None of them cuts heat: the steel waits at heat with the door shut, and no part is pulled.

use std::fmt::Write as _;

use super::InterlockKind;
use super::catalogue::{Entry, For, Told, owed};
use super::row::Verdict;
use crate::facts::Situation;

pub(super) const READINESS: Entry = Entry {
    kind: InterlockKind::QuenchReadiness,
    id: "quench_readiness",
    title: "Quench readiness",
    does: "looks at the tank before heat, while the oil can still be warmed, and at the call to pull; extends the soak, then asks",
    clears: "the tank in its window, with its level and agitation right",
    causes: For::Steel,
};

pub(super) const OVER_TEMPERATURE: Entry = Entry {
    kind: InterlockKind::QuenchOverTemperature,
    id: "quench_over_temperature",
    title: "Quench over-temperature",
    does: "turns the bath's heater off and lets no part be pulled within the margin of the flash point, latched",
    clears: "below the limit, and a reset",
    causes: For::Steel,
};

pub(super) const ONE_LOAD: Entry = Entry {
    kind: InterlockKind::OneTankOneLoad,
    id: "one_tank_one_load",
    title: "One tank, one load",
    does: "lets a second furnace wait at heat until the tank is released and back in its window",
    clears: "the tank released",
    causes: For::Turn,
};

pub(super) fn readiness(now: &Situation) -> Verdict {
    Verdict::alarm(now.running && now.tank.routed && now.tank.matters && !now.tank.ready)
}

/// The latch is the tank's own: this row shows it at every furnace whose load goes there.
pub(super) fn over_temperature(now: &Situation) -> Verdict {
    Verdict::alarm(now.running && now.tank.routed && now.tank.near_flash)
}

pub(super) fn one_load(now: &Situation) -> Verdict {
    Verdict::alarm(now.running && now.tank.taken)
}

pub(super) fn say(kind: InterlockKind, told: &Told<'_>, into: &mut String) {
    let name = &told.plan.name;
    let _ = match kind {
        InterlockKind::QuenchReadiness => {
            write!(
                into,
                "The tank for the load in {name} is not ready: bring its bath into its window, look at level and agitation."
            )
        }
        InterlockKind::QuenchOverTemperature => {
            let by_hand =
                if told.situation.tank.heater { "" } else { " Turn its heater off by hand: nothing is wired that could." };
            write!(
                into,
                "The bath for the load in {name} is too near its flash point: no part may be pulled. Let it cool, then reset it.{by_hand}"
            )
        }
        _ => write!(into, "The load in {name} waits for the tank, which is kept for another load."),
    };
    into.push_str(owed(told));
}
