//! Between the inner types and the API's messages; nowhere else.
//!
//! Outward conversions cannot fail: what the core says can be said. Inward ones name the field that cannot be taken.

pub(crate) mod alarms;
pub(crate) mod cycles;
pub(crate) mod drivers;
pub(crate) mod events;
pub(crate) mod interlocks;
pub mod planning;
pub(crate) mod shop;
pub(crate) mod values;

use std::time::Duration;

use prost_types::Timestamp;

/// A point in time from milliseconds since 1970.
pub(crate) fn timestamp(wall_ms: i64) -> Timestamp {
    Timestamp {
        seconds: wall_ms.div_euclid(1000),
        nanos: i32::try_from(wall_ms.rem_euclid(1000) * 1_000_000).expect("less than a second in nanoseconds"),
    }
}

/// A number in °C, L/min or kPa without the last bits that the way over SI units leaves: 950, not 950.0000000000001.
pub(crate) fn tidy(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}

/// Milliseconds of a span.
pub(crate) fn millis(span: Duration) -> u64 {
    u64::try_from(span.as_millis()).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_before_1970_keep_their_nanoseconds_positive() {
        assert_eq!(timestamp(-1), Timestamp { seconds: -1, nanos: 999_000_000 });
        assert_eq!(timestamp(1_500), Timestamp { seconds: 1, nanos: 500_000_000 });
    }
}
