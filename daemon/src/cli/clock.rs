//! Times of day as people say them. The service itself knows only spans: a clock that is set meanwhile changes nothing there.

use jiff::ZonedDateTime;
use jiff::civil::Time;

/// A time of day, written `07:00`.
pub(super) fn of_day(text: &str) -> Result<Time, String> {
    Time::strptime("%H:%M", text.trim()).map_err(|_| format!("{text:?} is no time of day; write it like 07:00"))
}

/// How long it is from now until that time comes next, in milliseconds. A night in which the clocks change counts as long as it is.
pub(super) fn until_ms(time: Time, now: &ZonedDateTime) -> u64 {
    let next = |date: jiff::civil::Date| date.to_datetime(time).to_zoned_datetime(now.time_zone().clone()).ok();
    let today = next(now.date()).filter(|at| at > now);
    let at = today.or_else(|| next(now.date().tomorrow().ok()?));
    at.map_or(0, |at| u64::try_from(at.timestamp().as_millisecond() - now.timestamp().as_millisecond()).unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_seven_is_today_or_tomorrow_and_hours_that_the_clock_skips_are_not_waited_for() {
        let seven = of_day("07:00").expect("a time");
        let now = |text: &str| text.parse::<ZonedDateTime>().expect("a time in a zone");
        assert_eq!(until_ms(seven, &now("2026-11-25T06:30:00[UTC]")), 30 * 60_000);
        assert_eq!(until_ms(seven, &now("2026-11-25T22:00:00[UTC]")), 9 * 3_600_000);
        assert_eq!(until_ms(seven, &now("2026-11-25T07:00:00[UTC]")), 24 * 3_600_000);
        for wrong in ["7", "25:00", "seven", "07:00:00 h"] {
            assert!(of_day(wrong).expect_err(wrong).contains("07:00"));
        }
    }
}
