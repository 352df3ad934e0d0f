//! What was heard of one point: the newest reading, its age, and the worst since the last tick.

use std::time::Duration;

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{Evidence, Quality, Reading, ShopMs, Value};

/// One point.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    number: f64,
    quality: Quality,
    empty: bool,
    by_person: bool,
    at: Option<ShopMs>,
    /// Highest and lowest good number since the last tick.
    pub(super) high: f64,
    pub(super) low: f64,
    /// A device gave something since the last tick that may not be relied upon.
    pub(super) doubtful: bool,
}

impl Default for Heard {
    fn default() -> Self {
        Self {
            number: f64::NAN,
            quality: Quality::Bad,
            empty: true,
            by_person: false,
            at: None,
            high: f64::NEG_INFINITY,
            low: f64::INFINITY,
            doubtful: false,
        }
    }
}

impl Heard {
    /// Takes a reading that was told at this time.
    pub(super) fn take(&mut self, told: ShopMs, reading: &Reading) {
        let number = reading.value.as_ref().map_or(f64::NAN, bare);
        let good = reading.quality == Quality::Good && number.is_finite();
        let by_person = reading.evidence == Evidence::Confirmed;
        if good {
            (self.high, self.low) = (self.high.max(number), self.low.min(number));
        }
        self.doubtful |= !good && reading.value.is_some() && !by_person;
        let at = reading.at.min(told);
        if self.at.is_some_and(|known| at < known) {
            return;
        }
        (self.number, self.quality, self.empty, self.by_person) = (number, reading.quality, reading.value.is_none(), by_person);
        self.at = Some(at);
    }

    /// The number, if it is good and no older than this.
    pub(super) fn good(&self, now: ShopMs, stale_after: Duration) -> Option<f64> {
        let good = self.quality == Quality::Good && self.number.is_finite() && !self.empty && !self.is_stale(now, stale_after);
        good.then_some(self.number)
    }

    /// When the newest was read.
    pub(super) fn read_at(&self) -> Option<ShopMs> {
        self.at
    }

    /// There is no reading, or none that is young enough, or the device gave no value.
    pub(super) fn is_missing(&self, now: ShopMs, stale_after: Duration) -> bool {
        self.empty || self.is_stale(now, stale_after) || (self.by_person && self.quality != Quality::Good)
    }

    fn is_stale(&self, now: ShopMs, stale_after: Duration) -> bool {
        self.at.is_none_or(|at| now.since(at) > stale_after)
    }

    pub(super) fn forget_marks(&mut self) {
        (self.high, self.low, self.doubtful) = (f64::NEG_INFINITY, f64::INFINITY, false);
    }
}

/// A value as a bare number; what no thermometer of a workshop can show is none.
fn bare(value: &Value) -> f64 {
    match value {
        Value::Flag(is) => f64::from(u8::from(*is)),
        Value::Temperature(is) => Some(in_celsius(*is)).filter(|read_c| (-60.0..=1900.0).contains(read_c)).unwrap_or(f64::NAN),
        Value::Share(is) => is.value,
        Value::GasFlow(is) => is.value,
        Value::Pressure(is) => is.value,
        Value::Number(is) => *is,
        Value::Whole(_) | Value::Text(_) => f64::NAN,
    }
}
