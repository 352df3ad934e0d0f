//! Resets and stops: the two requests that act on interlock rows themselves.

use hearthward_equipment::FurnaceId;

use super::Shop;
use super::gaps::{Why, worth};
use super::people::{Outcomes, by, no_furnace};
use crate::cycle::{Gone, Stage, ask_to_go_on};
use crate::event::{EventBody, Priority};
use crate::facts::can_cut;
use crate::furnace::Gap;
use crate::interlock::{Change, InterlockKind, Verdict, entry};
use crate::output::Outputs;
use crate::request::Person;

/// What a furnace's own reset does not clear.
const ROOM_STAYS: &str = "The oxygen of the room is the whole shop's: reset it by its name, or with no furnace named.";

/// A cut that was sent is not yet one that came through.
const SENT: &str =
    " The cut is sent; it counts when the equipment confirms it, which `hearthward watch` tells. Until then look at the furnace.";

/// What a person wants reset: one furnace or all, one interlock or all.
#[derive(Clone, Copy)]
struct Meant {
    id: Option<FurnaceId>,
    kind: Option<InterlockKind>,
}

impl Meant {
    /// The air of the room is nobody's own: a furnace's reset is not meant for it, and its own goes for every furnace.
    fn is_room(self) -> bool {
        self.kind.map_or(self.id.is_none(), |kind| kind == InterlockKind::RoomOxygen)
    }
}

/// What came of a reset.
#[derive(Default)]
struct Came {
    /// Latches that it cleared.
    done: u32,
    /// Why the first latch that stays does so.
    left: Option<String>,
    /// Furnaces that a person's word is owed for.
    owe: Vec<FurnaceId>,
}

impl Shop {
    /// Clears every latch that was meant and whose cause is gone. It starts no heat by itself.
    pub(super) fn reset(
        &mut self,
        person: &Person,
        id: Option<FurnaceId>,
        kind: Option<InterlockKind>,
        out: &mut Outputs,
    ) -> Outcomes {
        let meant = Meant { id, kind };
        let mut came = Came::default();
        self.reset_rows(person, meant, &mut came, out);
        self.reset_room(person, meant, &mut came, out);
        self.reset_baths(person, meant, &mut came, out);
        let waits = came.owe.into_iter().filter(|&id| self.owe_a_word(id, out)).count();
        let then = if waits == 0 { "It starts no heat by itself." } else { "No heat until you say that the load goes on." };
        match (came.done, came.left) {
            (0, None) => Err("There is nothing to reset.".to_owned()),
            (0, Some(left)) => Err(left),
            (_, None) => Ok(format!("Reset. {then}")),
            (_, Some(left)) => Ok(format!("Reset what can be. {left} {then}")),
        }
    }

    fn reset_rows(&mut self, person: &Person, meant: Meant, came: &mut Came, out: &mut Outputs) {
        let now = self.now;
        let room_resets = meant.is_room() && self.room.may_be_reset();
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            if meant.id.is_none_or(|id| id == furnace.id) {
                furnace.alone_s = 0.0;
            } else if !meant.is_room() {
                continue;
            }
            for one in InterlockKind::ALL.into_iter().filter(|&one| meant.kind.is_none_or(|kind| kind == one)) {
                let latched = furnace.rows.row(one).is_latched();
                if one == InterlockKind::RoomOxygen && !meant.is_room() {
                    if latched {
                        came.left.get_or_insert_with(|| ROOM_STAYS.to_owned());
                    }
                    continue;
                }
                // A person's reset is the sign of life that the run-time limit waited for, and air over the second level has left only
                // the first one's cause. What has not latched is told in the next tick.
                let gone = one == InterlockKind::RunTimeLimit || (one == InterlockKind::RoomOxygen && room_resets);
                if latched && gone {
                    furnace.rows.step(one, now, Verdict::latched(false));
                }
                let withheld = furnace.rows.row(one).withholds();
                if furnace.rows.reset(one, now) {
                    came.done += 1;
                    super::own_rules::reset(furnace, plan, one, &mut out.events);
                    if withheld && !came.owe.contains(&furnace.id) {
                        came.owe.push(furnace.id);
                    }
                    let text = format!("{} reset {} of {}.", person.name, entry(one).title.to_lowercase(), plan.name);
                    out.events.push(by(person, Some(furnace.id), Priority::Notice, text, EventBody::Reset { interlock: one }));
                } else if furnace.rows.row(one).is_latched() {
                    came.left.get_or_insert_with(|| {
                        format!("{} of {} keeps its cause: {}.", entry(one).title, plan.name, entry(one).clears)
                    });
                }
            }
        }
    }

    fn reset_room(&mut self, person: &Person, meant: Meant, came: &mut Came, out: &mut Outputs) {
        if !meant.is_room() || !self.room.latched || !self.room.may_be_reset() {
            return;
        }
        self.room.latched = false;
        came.done += 1;
        let text = format!("{} reset the oxygen of the room.", person.name);
        let body = EventBody::Reset { interlock: InterlockKind::RoomOxygen };
        out.events.push(by(person, None, Priority::Notice, text, body));
    }

    fn reset_baths(&mut self, person: &Person, meant: Meant, came: &mut Came, out: &mut Outputs) {
        // A furnace's own reset is not meant for a bath that its load does not go to.
        let bath = meant.id.and_then(|id| crate::cycle::tank_ahead(self.furnaces.get(id.index())?.cycle.as_ref()?));
        for (place, (tank, plan)) in self.tanks.iter_mut().zip(&self.plan.tanks).enumerate() {
            let is_meant = match meant.kind {
                Some(kind) => kind == InterlockKind::QuenchOverTemperature,
                None => meant.id.is_none() || bath.is_some_and(|bath| bath.index() == place),
            };
            if !is_meant || !tank.latched {
                continue;
            }
            if tank.reset() {
                came.done += 1;
                let text = format!("{} reset the over-temperature of {}.", person.name, plan.name);
                let body = EventBody::Reset { interlock: InterlockKind::QuenchOverTemperature };
                out.events.push(by(person, None, Priority::Notice, text, body));
            } else {
                came.left.get_or_insert_with(|| format!("{} is not below its limit, or cannot be read.", plan.name));
            }
        }
    }

    /// A reset starts no heat: where a cycle wanted it and nobody has said since the cut that it goes on, somebody is asked. Says
    /// whether somebody is.
    fn owe_a_word(&mut self, id: FurnaceId, out: &mut Outputs) -> bool {
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return false };
        let owes = furnace.cycle.as_ref().is_some_and(|cycle| cycle.stage == Stage::Running && !cycle.interrupted);
        if !owes || furnace.goes_on || furnace.gap != Gap::None {
            return false;
        }
        let because = worth(furnace, plan, Why::Reset, Some(0), None);
        if let (Some(cycle), at) = furnace.parts(plan) {
            let gone = Gone { because, away_ms: Some(0), before_c: cycle.seen_c };
            ask_to_go_on(cycle, &at, &mut turn, gone);
        }
        let kind = InterlockKind::Interrupted;
        if let Some(change) = furnace.rows.step(kind, turn.now, Verdict::latched(true)) {
            super::rows::tell(furnace, plan, kind, change, turn.events);
        }
        true
    }

    /// Cuts everything that heats, latched.
    pub(super) fn stop(&mut self, person: &Person, id: Option<FurnaceId>, out: &mut Outputs) -> Outcomes {
        if id.is_some_and(|id| self.plan.furnace(id).is_none()) {
            return Err(no_furnace());
        }
        let now = self.now;
        let mut by_hand = String::new();
        let mut cuts = false;
        for (furnace, plan) in self.furnaces.iter_mut().zip(&self.plan.furnaces) {
            if id.is_some_and(|id| id != furnace.id) {
                continue;
            }
            // Whatever was said before it, a person says anew whether the load goes on.
            (furnace.cut_now, furnace.goes_on) = (true, false);
            let first = furnace.rows.step(InterlockKind::Stop, now, Verdict::latched(true));
            furnace.rows.step(InterlockKind::Stop, now, Verdict::latched(false));
            if first == Some(Change::Tripped) {
                let told = out.events.len();
                super::rows::tell(furnace, plan, InterlockKind::Stop, Change::Tripped, &mut out.events);
                if let Some(event) = out.events.get_mut(told) {
                    event.person = Some(person.name.clone());
                }
            }
            cuts |= can_cut(plan);
            if !can_cut(plan) {
                by_hand.push_str(&format!(" Turn {} off by hand: nothing is wired that could.", plan.name));
            }
        }
        let sent = if cuts { SENT } else { "" };
        Ok(format!("No heat until a reset.{sent}{by_hand}"))
    }
}
