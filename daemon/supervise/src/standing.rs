//! What outlives the service: latches, generations, the purge's proof, cycles, questions.

use hearthward_equipment::ShopMs;
use serde::{Deserialize, Serialize};

use crate::alarm::AlarmsStood;
use crate::furnace::FurnaceStood;
use crate::questions::Questions;
use crate::tanks::TankStood;

/// The format of [`Standing`]: another number is another shape, and is not read. The service then starts cold: nothing heats, and
/// loads that ran before have to be started anew. Format 3 added alarms, 4 what tests of interlocks rest on, 5 whether a meter was
/// ever told anything, 6 a test of an interlock that runs, 7 what a controller shows of its heat after a cut, 8 by what
/// a cut was confirmed, 9 what a furnace that is set by hand was set to.
pub const STANDING_FORMAT: u32 = 9;

/// The state that a restart goes on from. Its times are spans: the shop's clock begins anew with every run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    pub(crate) format: u32,
    pub(crate) clean: bool,
    pub(crate) furnaces: Vec<FurnaceStood>,
    pub(crate) tanks: Vec<(hearthward_equipment::Name, TankStood)>,
    pub(crate) room_latched: bool,
    pub(crate) questions: Questions,
    pub(crate) alarms: AlarmsStood,
    pub(crate) next_ticket: u64,
    pub(crate) turns: u64,
}

impl Standing {
    /// The number of its format.
    #[must_use]
    pub fn format(&self) -> u32 {
        self.format
    }

    /// Whether the service ended in order.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.clean
    }
}

/// Time between [`Standing`] and now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Away {
    /// So long, by a clock that can be trusted.
    Known(ShopMs),
    /// Nobody knows: the worst is taken.
    Unknown,
}
