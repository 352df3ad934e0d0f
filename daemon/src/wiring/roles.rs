//! What a point must be to serve as a door switch, a contactor, a thermometer: a slip in an address would otherwise show protection
//! that is not there.

use hearthward_equipment::{Address, Name};

use super::catalogue::UnitFacts;
use crate::settings::PointRef;

/// What the configuration wants of a point.
#[derive(Clone, Copy, Debug)]
pub(super) struct Role {
    /// The key's subject, in words: "a contactor".
    what: &'static str,
    /// Quantities that will do, by the contract's words.
    quantities: &'static [&'static str],
    /// Whether the service has to write it.
    written: bool,
    /// Whether it has to tell of something that the service does not switch itself.
    moved: bool,
    /// Whether writing it has to take heat away.
    cuts_heat: bool,
}

impl Role {
    const fn read(what: &'static str, quantities: &'static [&'static str]) -> Self {
        Self { what, quantities, written: false, moved: false, cuts_heat: false }
    }

    const fn written(what: &'static str) -> Self {
        Self { what, quantities: &["state"], written: true, moved: false, cuts_heat: false }
    }

    pub(super) const THERMOMETER: Self = Self::read("a thermometer", &["temperature_c"]);
    pub(super) const SWITCH: Self = Self::read("a switch", &["state"]);
    pub(super) const CONTACT: Self = Self { moved: true, ..Self::SWITCH };
    pub(super) const OXYGEN: Self = Self::read("an oxygen reading", &["volume_fraction"]);
    pub(super) const METER: Self = Self::read("a flow", &["flow_standard_l_min"]);
    pub(super) const GAUGE: Self = Self::read("a pressure", &["pressure_kpa"]);
    pub(super) const LEVEL: Self = Self::read("a level", &["share"]);
    pub(super) const VALVE: Self = Self::written("a valve");
    pub(super) const SIGNAL: Self = Self::written("a horn or lamp");
    pub(super) const CONTACTOR: Self = Self { cuts_heat: true, ..Self::written("a contactor") };

    /// Why this point cannot serve, with the mend. A driver that does not say what a point measures gets the benefit of the doubt;
    /// one that does not say that a point can be written, or cuts heat, gets none.
    pub(super) fn refuses(self, facts: &UnitFacts, point: &Name) -> Option<String> {
        let Self { what, quantities, written, moved, cuts_heat } = self;
        if let Some(is) = facts.quantity(point)
            && !quantities.contains(&is)
        {
            return Some(format!("reads `{is}`, but {what} is needed: `{}`", quantities.join("` or `")));
        }
        // What a person enters is written too, and tells what the person sees.
        if moved && !facts.by_hand && (facts.writes(point) || facts.cuts_heat_by(point)) {
            return Some(format!(
                "is an output, which only repeats what it was told, but {what} is needed that something else moves; \
                 name the input of a contact"
            ));
        }
        if written && !facts.writes(point) {
            return Some(format!(
                "cannot be written, but {what} has to be; with the register driver its entry needs write = true"
            ));
        }
        if written && !cuts_heat && facts.heating.contains(point) {
            return Some(format!("can heat, so it cannot serve as {what}; name an output that heats nothing"));
        }
        if cuts_heat && !facts.cuts_heat_by(point) {
            return Some(format!(
                "is not said to cut heat, as {what} has to; with the register driver its entry needs cuts_heat = true"
            ));
        }
        None
    }
}

/// A point that was found, and what may be said against it.
pub(super) fn refusal(role: Role, facts: &UnitFacts, address: &Address, reference: &PointRef) -> Option<String> {
    let words = role.refuses(facts, &address.point)?;
    // The address as written may be short: the point that it was taken for helps to see the slip.
    let shown = if reference.text.contains('.') { String::new() } else { format!("{address} ") };
    Some(format!("{shown}{words}"))
}
