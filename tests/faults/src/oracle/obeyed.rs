//! What a controller shows of its heat, beside what it says to a cut.

use std::time::Duration;

use hearthward_equipment::ShopMs;
use hearthward_supervise::plan::Heating;

use super::known::Known;
use super::{Moment, Oracle};

/// How long a device may take to show that it obeyed.
const SHOWS_WITHIN: Duration = Duration::from_secs(2);
/// A share of power under which a controller is at rest.
const AT_REST: f64 = 0.05;

/// What is read of a controller's heat.
#[derive(Clone, Copy, Debug)]
pub(super) enum Shows {
    /// Nothing is wired that tells, or nobody drives it.
    Nothing,
    /// It cannot be read.
    Unread,
    /// It heats, as read at this time.
    Heat(ShopMs),
    /// It does not.
    Rest(ShopMs),
}

impl Oracle {
    pub(super) fn shows(&self, place: usize, moment: &Moment<'_>) -> Shows {
        let plan = &self.plan.furnaces[place];
        let driven = matches!(plan.heating, Heating::SetPoint | Heating::Program);
        let (point, rest) = match (plan.heat_on, plan.output_share) {
            (Some(on), _) if driven => (on, 0.5),
            (None, Some(share)) if driven => (share, AT_REST),
            _ => return Shows::Nothing,
        };
        let Some(heard) = self.of(Some(point)) else { return Shows::Unread };
        match (heard.good(moment.now, plan.stale_after), heard.read_at()) {
            (Some(number), Some(at)) if number > rest => Shows::Heat(at),
            (Some(_), Some(at)) => Shows::Rest(at),
            _ => Shows::Unread,
        }
    }
}

impl Known {
    /// Whether a cut was taken, and what is shown bears it out.
    pub(super) fn shows_that_it_obeyed(&self, shows: Shows) -> bool {
        let taken = self.cut_taken || self.contactor_took;
        match shows {
            Shows::Nothing => taken,
            // The controller's word does not go for the contactor.
            Shows::Unread => self.contactor_took,
            Shows::Rest(at) => taken && self.cut_at.is_some_and(|cut_at| at > cut_at),
            Shows::Heat(_) => false,
        }
    }

    /// Whether it shows heat that no order gave, after it was at rest or never cut, in a tick that did not cut it.
    pub(super) fn heat_is_back(&self, shows: Shows) -> bool {
        let cut_at = self.cut_at.unwrap_or_default();
        let settled = self.cut_at.is_none() || self.obeyed;
        !self.heated && settled && matches!(shows, Shows::Heat(at) if at > cut_at + SHOWS_WITHIN)
    }
}
