//! Parts that go under: on a person's word, or by a switch at the tank that was seen to go on after the door opened. What is missing tells
//! of none.

use hearthward_equipment::FurnaceId;

use super::{Found, Moment, Oracle, must};

impl Oracle {
    /// A part counts as under on a person's word in this tick, or when the switch of its tank was seen to go on after the door had opened
    /// for it.
    pub(super) fn check_part(&mut self, furnace: Option<FurnaceId>) -> Found {
        let Some(place) = furnace.map(FurnaceId::index) else { return Err("a part without a furnace".to_owned()) };
        let opened = std::mem::take(&mut self.known[place].opened_for_part);
        if std::mem::take(&mut self.known[place].said_under) {
            return Ok(());
        }
        let tank = self.tank_ahead(place).ok_or("a part is under, nobody said so and it goes into no tank")?;
        let switch = self.plan.tanks[tank].part_under;
        let on = self.of(switch).is_some_and(|heard| heard.high > 0.5);
        must(on && !self.baths[tank].under, || "a part is under by a switch that did not go on".to_owned())?;
        must(opened, || "a part is under and the door did not open for it".to_owned())
    }

    /// What the switches at the tanks say, for the next tick: what cannot be read is as it was.
    pub(super) fn look_at_switches(&mut self, moment: &Moment<'_>) {
        for (place, bath) in self.plan.tanks.iter().enumerate() {
            let heard = self.of(bath.part_under).copied().unwrap_or_default();
            let now = heard.good(moment.now, bath.stale_after).map(|on| on > 0.5);
            let under = if heard.high > 0.5 { Some(true) } else { now };
            self.baths[place].under = under.unwrap_or(self.baths[place].under);
        }
    }
}
