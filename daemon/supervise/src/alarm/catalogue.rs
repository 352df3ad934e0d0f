//! The catalogue: one entry an alarm, from which words, priorities and usual delays come.

use std::time::Duration;

use super::{AlarmKind, Delays};
use crate::event::Priority;
use crate::interlock::{self, InterlockKind};

/// What an alarm is, for people: everything that names or explains one takes it from here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlarmEntry {
    /// Its name for programs.
    pub id: &'static str,
    /// Its name for people.
    pub title: &'static str,
    /// How soon somebody must do something: `Urgent` now, `Warning` soon, `Notice` when there is time.
    pub priority: Priority,
    /// What that is.
    pub act: &'static str,
    /// Delays unless the shop sets others.
    pub delays: Delays,
    /// Whether it may be put aside. What warns people of the air that they breathe, and of heat that cannot be taken away, may not.
    pub may_go_aside: bool,
}

/// The alarms of each furnace, in the order in which causes of one tick count as first.
pub(crate) const OF_FURNACE: [AlarmKind; 16] = [
    AlarmKind::Interlock(InterlockKind::DoorOpen),
    AlarmKind::Interlock(InterlockKind::OverTemperature),
    AlarmKind::Interlock(InterlockKind::SensorFault),
    AlarmKind::Interlock(InterlockKind::DriverLost),
    AlarmKind::Interlock(InterlockKind::RunTimeLimit),
    AlarmKind::Interlock(InterlockKind::Stop),
    AlarmKind::Interlock(InterlockKind::Interrupted),
    AlarmKind::Interlock(InterlockKind::ShopRule),
    AlarmKind::Interlock(InterlockKind::OpeningAtHeat),
    AlarmKind::Interlock(InterlockKind::OffSetPoint),
    AlarmKind::Interlock(InterlockKind::PurgeFlow),
    AlarmKind::Interlock(InterlockKind::GasSupply),
    AlarmKind::Interlock(InterlockKind::QuenchReadiness),
    AlarmKind::Interlock(InterlockKind::ShopWatch),
    AlarmKind::TemperOverdue,
    AlarmKind::CutUnconfirmed,
];

/// The alarms of the shop as a whole.
pub(crate) const OF_SHOP: [AlarmKind; 4] =
    [AlarmKind::RoomOxygenDangerous, AlarmKind::RoomOxygenLow, AlarmKind::RoomMonitorLost, AlarmKind::RecordFailing];

/// The catalogue's entry for a kind of alarm. All delays are common practice, no source, unless they say otherwise.
#[must_use]
pub fn alarm_entry(kind: AlarmKind) -> AlarmEntry {
    match kind {
        AlarmKind::Interlock(kind) => of_interlock(kind),
        AlarmKind::TemperOverdue => AlarmEntry {
            act: "Temper the load now, or it may crack.",
            ..of("temper_overdue", "Temper overdue", Priority::Warning)
        },
        AlarmKind::CutUnconfirmed => AlarmEntry {
            act: "Go and look: turn the furnace off by hand if it still heats.",
            may_go_aside: false,
            ..of("cut_unconfirmed", "Cut not confirmed", Priority::Urgent)
        },
        AlarmKind::BathNearFlash => AlarmEntry {
            act: "Pull no part; let the bath cool with its heater off and the extinguisher at hand, then reset.",
            may_go_aside: false,
            ..of("bath_near_flash", "Bath near its flash point", Priority::Urgent)
        },
        // A device that drops one poll or act, or is switched over, is back by then.
        AlarmKind::UnitLost => AlarmEntry {
            act: "Look at its power, its cable and its driver.",
            delays: seconds(10, 10),
            ..of("unit_lost", "Unit lost", Priority::Notice)
        },
        AlarmKind::RoomOxygenLow => AlarmEntry {
            act: "Ventilate, and look for the leak. No new load starts.",
            // The dead band of the plan keeps it from chattering.
            delays: seconds(0, 10),
            may_go_aside: false,
            ..of("room_oxygen_low", "Room oxygen low", Priority::Urgent)
        },
        AlarmKind::RoomOxygenDangerous => AlarmEntry {
            act: "Leave the room now; ventilate from outside; go back only when a monitor says that the air is good.",
            may_go_aside: false,
            ..of("room_oxygen_dangerous", "Room oxygen dangerous", Priority::Urgent)
        },
        AlarmKind::RoomMonitorLost => AlarmEntry {
            act: "Ventilate, and mend the monitor: nothing here tells you of the air now.",
            delays: seconds(5, 5),
            may_go_aside: false,
            ..of("room_monitor_lost", "Room monitor lost", Priority::Warning)
        },
        AlarmKind::RecordFailing => AlarmEntry {
            act: "Make room on the disk or mend it: nothing more is permitted until the record can be written.",
            ..of("record_failing", "Record failing", Priority::Urgent)
        },
    }
}

/// Words and names are the interlock's; what an alarm adds is how soon, what to do, and delays.
fn of_interlock(kind: InterlockKind) -> AlarmEntry {
    let interlock::Entry { id, title, .. } = *interlock::entry(kind);
    let (priority, delays, act) = match kind {
        // Longer than a look into the chamber.
        InterlockKind::DoorOpen => (Priority::Warning, seconds(60, 2), "Shut the door, or look at its switch."),
        InterlockKind::OverTemperature => {
            (Priority::Urgent, seconds(0, 2), "Look at the furnace and its limit device; reset once it is below the limit.")
        }
        InterlockKind::SensorFault => {
            (Priority::Urgent, seconds(0, 5), "Look at the thermocouple and its wires; answer what becomes of the steel.")
        }
        InterlockKind::DriverLost => {
            (Priority::Warning, seconds(5, 5), "Look at the controller's power, its cable and its driver.")
        }
        InterlockKind::RunTimeLimit => (Priority::Warning, seconds(0, 0), "Go to the furnace, then reset."),
        InterlockKind::Stop => (Priority::Notice, seconds(0, 0), "Reset when it is safe to heat again."),
        InterlockKind::Interrupted => (Priority::Urgent, seconds(0, 0), "Answer what becomes of the load."),
        InterlockKind::OpeningAtHeat => (Priority::Warning, seconds(0, 30), "Decide what becomes of the steel."),
        // The interlock itself waits a minute before it speaks.
        InterlockKind::OffSetPoint => (Priority::Warning, seconds(0, 60), "Look at its elements and its door."),
        InterlockKind::PurgeFlow => (Priority::Urgent, seconds(0, 5), "Look at cylinder, regulator, hose and meter now."),
        // Two forecasts.
        InterlockKind::GasSupply => (Priority::Warning, seconds(0, 120), "Have another cylinder ready."),
        InterlockKind::QuenchReadiness => {
            (Priority::Warning, seconds(30, 10), "Bring the bath into its window; look at level and agitation.")
        }
        InterlockKind::ShopRule => {
            (Priority::Warning, seconds(0, 2), "Look at what the rule watches, then reset if it is latched.")
        }
        InterlockKind::ShopWatch => (Priority::Warning, seconds(5, 5), "Look at what the rule watches."),
        // These wait for their turn, or are told for the room, the tank or by whoever ends the service.
        InterlockKind::PurgeBeforeHeat
        | InterlockKind::OneTankOneLoad
        | InterlockKind::SharedSupply
        | InterlockKind::SharedElectrical
        | InterlockKind::RoomOxygen
        | InterlockKind::QuenchOverTemperature
        | InterlockKind::Ending => (Priority::Warning, seconds(0, 0), "Look at what the interlock says."),
    };
    AlarmEntry { act, delays, ..of(id, title, priority) }
}

const fn of(id: &'static str, title: &'static str, priority: Priority) -> AlarmEntry {
    AlarmEntry { id, title, priority, act: "", delays: seconds(0, 0), may_go_aside: true }
}

const fn seconds(on: u64, off: u64) -> Delays {
    Delays { on: Duration::from_secs(on), off: Duration::from_secs(off) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interlock::{For, entry};

    const OF_OTHERS: [AlarmKind; 2] = [AlarmKind::BathNearFlash, AlarmKind::UnitLost];

    #[test]
    fn every_alarm_says_what_to_do_under_a_name_of_its_own() {
        let all: Vec<AlarmKind> = OF_FURNACE.into_iter().chain(OF_SHOP).chain(OF_OTHERS).collect();
        let mut ids: Vec<&str> = all.iter().map(|&kind| alarm_entry(kind).id).collect();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all.len());
        for kind in all {
            let entry = alarm_entry(kind);
            assert!(!entry.act.is_empty() && !entry.title.is_empty() && entry.priority > Priority::Record, "{kind:?}");
        }
    }

    /// Goal: an interlock trip raises its alarm. Method: each row that is a cause has one, here or of its tank or the room; what only
    /// waits for its turn has none, and the service's own end is told by the person who ends it.
    #[test]
    fn every_interlock_that_is_a_cause_has_an_alarm() {
        for kind in InterlockKind::ALL {
            let elsewhere = matches!(kind, InterlockKind::RoomOxygen | InterlockKind::QuenchOverTemperature);
            let told = kind == InterlockKind::Ending;
            let wants = entry(kind).causes != For::Turn && !elsewhere && !told;
            assert_eq!(OF_FURNACE.contains(&AlarmKind::Interlock(kind)), wants, "{kind:?}");
        }
    }

    #[test]
    fn what_warns_of_air_and_of_heat_that_stays_cannot_be_put_aside() {
        let kinds = [
            AlarmKind::RoomOxygenLow,
            AlarmKind::RoomOxygenDangerous,
            AlarmKind::RoomMonitorLost,
            AlarmKind::CutUnconfirmed,
            AlarmKind::BathNearFlash,
        ];
        assert!(kinds.iter().all(|&kind| !alarm_entry(kind).may_go_aside));
    }
}
