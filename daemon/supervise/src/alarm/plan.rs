//! What the core is told of the shop's alarms.

use std::time::Duration;

use hearthward_equipment::PointId;
use serde::{Deserialize, Serialize};
use uom::si::f64::Ratio;
use uom::si::ratio::percent;

use super::{AlarmKind, alarm_entry};

/// Horn, lamp, and how alarms are kept from chattering.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlarmPlan {
    /// Output of a horn that sounds for urgent alarms that nobody has acknowledged, until it is silenced.
    pub horn: Option<PointId>,
    /// Output of a lamp that is on while any alarm stands.
    pub lamp: Option<PointId>,
    /// The longest that an alarm may be shelved: 8 h unless set otherwise (a shift; common practice, no source).
    pub shelve_at_most: Duration,
    /// How far room oxygen has to rise above its first level before that alarm returns: 0.2 % unless set otherwise. It is what
    /// 10 mbar of barometer do to a sensor of partial pressure (arithmetic).
    pub room_dead_band: Ratio,
    /// Delays other than those of the catalogue.
    pub delays: Vec<(AlarmKind, Delays)>,
}

impl Default for AlarmPlan {
    fn default() -> Self {
        Self {
            horn: None,
            lamp: None,
            shelve_at_most: Duration::from_secs(8 * 3600),
            room_dead_band: Ratio::new::<percent>(0.2),
            delays: Vec::new(),
        }
    }
}

/// How long a cause must stand before it is told, and be gone before it counts as gone. What latches is told at once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delays {
    /// From the cause to the alarm.
    pub on: Duration,
    /// From the end of the cause to the end of the alarm.
    pub off: Duration,
}

impl AlarmPlan {
    /// The delays of a kind: those set, else the catalogue's.
    #[must_use]
    pub fn delays(&self, kind: AlarmKind) -> Delays {
        let set = self.delays.iter().find(|(of, _)| *of == kind);
        set.map_or_else(|| alarm_entry(kind).delays, |(_, delays)| *delays)
    }
}
