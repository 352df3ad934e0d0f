//! The states of an alarm and every way between them.

use serde::{Deserialize, Serialize};

/// The state of an alarm, in the words of ISA-18.2.
///
/// ```text
/// Normal ──cause──▶ Unacknowledged ──acknowledged──▶ Acknowledged ──cause gone──▶ Normal
///    ▲                 │    ▲ └──cause gone, latched──▶ LatchedUnacknowledged ──acknowledged──▶ LatchedAcknowledged ──reset──▶ Normal
///    │       cause gone│    │cause                        └──reset──▶ ReturnedUnacknowledged
///    └──acknowledged── ReturnedUnacknowledged
/// any ──a person, for a time──▶ Shelved        any ──a person, until returned──▶ OutOfService
/// Shelved, OutOfService ──over, or a person──▶ Normal, Unacknowledged or LatchedUnacknowledged, as its cause stands then
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmState {
    /// No cause, and nobody is owed anything.
    #[default]
    Normal,
    /// The cause stands, and nobody has said that they know.
    Unacknowledged,
    /// The cause stands, and somebody knows.
    Acknowledged,
    /// The cause is gone, and nobody has said that they knew.
    ReturnedUnacknowledged,
    /// The cause is gone, a reset is owed, and nobody has said that they know.
    LatchedUnacknowledged,
    /// The cause is gone, a reset is owed, and somebody knows.
    LatchedAcknowledged,
    /// A person has put it aside for a time.
    Shelved,
    /// A person has put it aside until it is mended.
    OutOfService,
}

/// How the cause of an alarm stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// There is none.
    #[default]
    Clear,
    /// It stands.
    Active,
    /// It is gone, and a reset is owed.
    Latched,
}

/// What happens to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Happening {
    /// Its cause stands so from now on.
    Is(Condition),
    /// A person says that they know.
    Acknowledge,
    /// A person puts it aside for a time.
    Shelve,
    /// A person puts it aside until it is mended.
    TakeOut,
    /// It comes back while its cause stands so: the time is over, or a person says so.
    Return(Condition),
}

impl AlarmState {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Normal,
        Self::Unacknowledged,
        Self::Acknowledged,
        Self::ReturnedUnacknowledged,
        Self::LatchedUnacknowledged,
        Self::LatchedAcknowledged,
        Self::Shelved,
        Self::OutOfService,
    ];

    /// The state that follows, or nothing where this cannot happen or changes nothing.
    #[must_use]
    pub fn next(self, what: Happening) -> Option<Self> {
        use Condition::{Active, Clear, Latched};
        use Happening::{Acknowledge, Is, Return, Shelve, TakeOut};
        match (self, what) {
            (Self::Shelved | Self::OutOfService, Return(Clear)) => Some(Self::Normal),
            (Self::Shelved | Self::OutOfService, Return(Active)) => Some(Self::Unacknowledged),
            (Self::Shelved | Self::OutOfService, Return(Latched)) => Some(Self::LatchedUnacknowledged),
            (Self::Shelved, TakeOut) => Some(Self::OutOfService),
            (Self::Shelved | Self::OutOfService, _) | (_, Return(_)) => None,

            (_, Shelve) => Some(Self::Shelved),
            (_, TakeOut) => Some(Self::OutOfService),

            (Self::Normal | Self::ReturnedUnacknowledged, Is(Active)) => Some(Self::Unacknowledged),
            // The same cause came anew: whoever knew of the last one does not know of this.
            (Self::LatchedUnacknowledged | Self::LatchedAcknowledged, Is(Active)) => Some(Self::Unacknowledged),
            (Self::Normal | Self::Unacknowledged | Self::ReturnedUnacknowledged, Is(Latched)) => {
                Some(Self::LatchedUnacknowledged)
            }
            (Self::Acknowledged, Is(Latched)) => Some(Self::LatchedAcknowledged),
            (Self::Unacknowledged | Self::LatchedUnacknowledged, Is(Clear)) => Some(Self::ReturnedUnacknowledged),
            (Self::Acknowledged | Self::LatchedAcknowledged, Is(Clear)) => Some(Self::Normal),

            (Self::Unacknowledged, Acknowledge) => Some(Self::Acknowledged),
            (Self::ReturnedUnacknowledged, Acknowledge) => Some(Self::Normal),
            (Self::LatchedUnacknowledged, Acknowledge) => Some(Self::LatchedAcknowledged),

            (Self::Normal | Self::ReturnedUnacknowledged, Is(Clear))
            | (Self::Unacknowledged | Self::Acknowledged, Is(Active))
            | (Self::LatchedUnacknowledged | Self::LatchedAcknowledged, Is(Latched))
            | (Self::Normal | Self::Acknowledged | Self::LatchedAcknowledged, Acknowledge) => None,
        }
    }

    /// Whether somebody has yet to say that they know.
    #[must_use]
    pub fn is_unacknowledged(self) -> bool {
        matches!(self, Self::Unacknowledged | Self::ReturnedUnacknowledged | Self::LatchedUnacknowledged)
    }

    /// Whether a person has put it aside.
    #[must_use]
    pub fn is_aside(self) -> bool {
        matches!(self, Self::Shelved | Self::OutOfService)
    }

    /// Whether it is told now: neither normal nor put aside.
    #[must_use]
    pub fn stands(self) -> bool {
        self != Self::Normal && !self.is_aside()
    }

    /// The standard's words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::ReturnedUnacknowledged => "returned unacknowledged",
            Self::LatchedUnacknowledged => "latched unacknowledged",
            Self::LatchedAcknowledged => "latched acknowledged",
            Self::Shelved => "shelved",
            Self::OutOfService => "out of service",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::AlarmState::{
        Acknowledged, LatchedAcknowledged, LatchedUnacknowledged, Normal, OutOfService, ReturnedUnacknowledged, Shelved,
        Unacknowledged,
    };
    use super::Condition::{Active, Clear, Latched};
    use super::Happening::{Acknowledge, Is, Return, Shelve, TakeOut};
    use super::*;

    const EVERYTHING: [Happening; 9] =
        [Is(Clear), Is(Active), Is(Latched), Acknowledge, Shelve, TakeOut, Return(Clear), Return(Active), Return(Latched)];

    /// Goal: the flow of states is the published one. Method: every arrow of the alarm state transition diagram of ISA-18.2 /
    /// IEC 62682, with the letters of its figure, is here, and nothing else is possible. The states are from public documentation of
    /// three general-purpose systems; letters and arrows from memory. Not in the figure, and ours: a cause that returns while a reset
    /// is owed is told anew; a shelved alarm may be taken out of service. The figure's `suppressed by design` (H) is not a state here.
    #[test]
    fn the_transitions_are_those_of_the_standard() {
        let published = [
            // A, normal.
            (Normal, Is(Active), Unacknowledged),
            (Normal, Is(Latched), LatchedUnacknowledged),
            (Normal, Shelve, Shelved),
            (Normal, TakeOut, OutOfService),
            // B, unacknowledged.
            (Unacknowledged, Acknowledge, Acknowledged),
            (Unacknowledged, Is(Clear), ReturnedUnacknowledged),
            (Unacknowledged, Is(Latched), LatchedUnacknowledged),
            (Unacknowledged, Shelve, Shelved),
            (Unacknowledged, TakeOut, OutOfService),
            // C, acknowledged.
            (Acknowledged, Is(Clear), Normal),
            (Acknowledged, Is(Latched), LatchedAcknowledged),
            (Acknowledged, Shelve, Shelved),
            (Acknowledged, TakeOut, OutOfService),
            // D, returned to normal unacknowledged.
            (ReturnedUnacknowledged, Acknowledge, Normal),
            (ReturnedUnacknowledged, Is(Active), Unacknowledged),
            (ReturnedUnacknowledged, Is(Latched), LatchedUnacknowledged),
            (ReturnedUnacknowledged, Shelve, Shelved),
            (ReturnedUnacknowledged, TakeOut, OutOfService),
            // E, latched unacknowledged.
            (LatchedUnacknowledged, Acknowledge, LatchedAcknowledged),
            (LatchedUnacknowledged, Is(Clear), ReturnedUnacknowledged),
            (LatchedUnacknowledged, Is(Active), Unacknowledged),
            (LatchedUnacknowledged, Shelve, Shelved),
            (LatchedUnacknowledged, TakeOut, OutOfService),
            // F, latched acknowledged.
            (LatchedAcknowledged, Is(Clear), Normal),
            (LatchedAcknowledged, Is(Active), Unacknowledged),
            (LatchedAcknowledged, Shelve, Shelved),
            (LatchedAcknowledged, TakeOut, OutOfService),
            // G, shelved.
            (Shelved, Return(Clear), Normal),
            (Shelved, Return(Active), Unacknowledged),
            (Shelved, Return(Latched), LatchedUnacknowledged),
            (Shelved, TakeOut, OutOfService),
            // I, out of service.
            (OutOfService, Return(Clear), Normal),
            (OutOfService, Return(Active), Unacknowledged),
            (OutOfService, Return(Latched), LatchedUnacknowledged),
        ];
        for state in AlarmState::ALL {
            for what in EVERYTHING {
                let expected = published.iter().find(|(from, by, _)| (*from, *by) == (state, what)).map(|(_, _, to)| *to);
                assert_eq!(state.next(what), expected, "{state:?} when {what:?}");
            }
        }
    }

    #[test]
    fn what_is_aside_hears_neither_its_cause_nor_an_acknowledgement() {
        for state in [Shelved, OutOfService] {
            for what in [Is(Clear), Is(Active), Is(Latched), Acknowledge, Shelve] {
                assert_eq!(state.next(what), None, "{state:?} when {what:?}");
            }
        }
    }

    #[test]
    fn the_kinds_of_state_do_not_overlap() {
        for state in AlarmState::ALL {
            assert!(!(state.stands() && state.is_aside()), "{state:?}");
            assert!(!state.is_unacknowledged() || state.stands(), "{state:?}");
        }
    }
}
