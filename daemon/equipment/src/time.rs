//! Shop time, ticks and generations.

use std::fmt;
use std::ops::Add;
use std::time::Duration;

use serde::{Deserialize, Serialize};

/// Milliseconds on the shop's clock since this daemon started. Never goes back; says nothing about the time of day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ShopMs(pub u64);

impl ShopMs {
    /// Time from `earlier` to this, zero if `earlier` is later.
    #[must_use]
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_millis(self.0.saturating_sub(earlier.0))
    }
}

impl Add<Duration> for ShopMs {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(u64::try_from(span.as_millis()).unwrap_or(u64::MAX)))
    }
}

impl fmt::Display for ShopMs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = self.0 / 1000;
        write!(f, "{:02}:{:02}:{:02}.{:03}", seconds / 3600, seconds / 60 % 60, seconds % 60, self.0 % 1000)
    }
}

/// The number of a decision of the core, counted from its start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Tick(pub u64);

/// The count of cuts of a furnace: an order of an older generation is void.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Generation(pub u64);

impl Generation {
    /// The generation after a cut.
    #[must_use]
    pub fn next(self) -> Self {
        Self(self.0 + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_is_shown_as_people_read_it() {
        assert_eq!(ShopMs(3_723_004).to_string(), "01:02:03.004");
        assert_eq!(ShopMs(5).since(ShopMs(9)), Duration::ZERO);
    }
}
