//! What people ask about alarms.

use serde::{Deserialize, Serialize};

use super::AlarmKey;

/// Something that a person asks about alarms. None of it changes what is permitted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmAsk {
    /// Say that an alarm is known.
    Acknowledge {
        /// Which; every one that waits for it if absent.
        alarm: Option<AlarmKey>,
    },
    /// Put an alarm aside for a time. One that is shelved already may only come back sooner.
    Shelve {
        /// Which.
        alarm: AlarmKey,
        /// Why, for the record.
        reason: String,
        /// For how long, in milliseconds; bounded by the plan.
        span_ms: u64,
    },
    /// Bring a shelved alarm back before its time.
    Unshelve {
        /// Which.
        alarm: AlarmKey,
    },
    /// Put an alarm aside until it is mended.
    TakeOut {
        /// Which.
        alarm: AlarmKey,
        /// Why, for the record.
        reason: String,
    },
    /// Bring an alarm back into service.
    PutBack {
        /// Which.
        alarm: AlarmKey,
    },
    /// Stop the horn. The next urgent alarm sounds it again.
    Silence,
}
