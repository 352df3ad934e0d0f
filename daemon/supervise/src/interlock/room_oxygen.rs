//! Room oxygen: too little for people. First level: alarm and no new start. Second level: gas off where a valve is wired, horn, heat cut.

use std::fmt::Write as _;

use super::catalogue::{Entry, For, NoHeat, Told, owed};
use super::row::{Verdict, Why};
use crate::facts::{Room, Situation};

pub(super) const ENTRY: Entry = Entry {
    kind: super::InterlockKind::RoomOxygen,
    id: "room_oxygen",
    title: "Room oxygen",
    does: "first level: alarm and no new start; second level: heat cut, gas off where a valve is wired, horn, latched",
    clears: "above the level, and a reset for the second; a monitor that cannot be read never shuts gas off",
    causes: For::People,
};

pub(super) fn verdict(now: &Situation) -> Verdict {
    match now.room {
        Room::Unwired | Room::Fine => Verdict::CLEAR,
        Room::Unknown => Verdict::alarm(true).because(Why::Other),
        Room::Low => Verdict::alarm(true),
        Room::Danger => Verdict::latched(true).because(Why::Third),
    }
}

pub(super) fn say(told: &Told<'_>, into: &mut String) {
    let no_heat = NoHeat(told.plan);
    let name = &told.plan.name;
    let _ = match (told.situation.room, told.row.is_latched()) {
        (Room::Danger, _) => {
            write!(into, "Leave the room and ventilate: its oxygen is dangerously low. {no_heat}.")
        }
        (_, true) => write!(into, "The room's oxygen was dangerously low. {no_heat}."),
        (Room::Unknown, _) => {
            write!(into, "The room's oxygen cannot be read: {name} takes no new load. Look at the monitor, ventilate.")
        }
        _ => write!(into, "The room's oxygen is low: ventilate. {name} takes no new load."),
    };
    into.push_str(owed(told));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_second_level_cuts_and_latches() {
        let table = [
            (Room::Unwired, false, false),
            (Room::Fine, false, false),
            (Room::Low, true, false),
            (Room::Unknown, true, false),
            (Room::Danger, true, true),
        ];
        for (room, cause, off) in table {
            let said = verdict(&Situation { room, ..Situation::default() });
            assert_eq!((said.cause, said.off, said.latch), (cause, off, off), "{room:?}");
        }
    }
}
