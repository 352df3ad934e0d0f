//! Times of day as people say them. The service itself knows only spans: a clock that is set meanwhile changes nothing there.

use jiff::ZonedDateTime;
use jiff::civil::Time;

/// A time of day, written `07:00`.
pub(super) fn of_day(text: &str) -> Result<Time, String> {
    Time::strptime("%H:%M", text.trim()).map_err(|_| format!("{text:?} is no time of day; write it like 07:00"))
}

/// When that time of day comes next; none where the calendar ends.
pub(super) fn next(time: Time, now: &ZonedDateTime) -> Option<ZonedDateTime> {
    let on = |date: jiff::civil::Date| date.to_datetime(time).to_zoned_datetime(now.time_zone().clone()).ok();
    let today = on(now.date()).filter(|at| at > now);
    today.or_else(|| on(now.date().tomorrow().ok()?))
}

/// How long it is until then, in milliseconds. A night in which the clocks change counts as long as it is.
pub(super) fn until_ms(at: &ZonedDateTime, now: &ZonedDateTime) -> u64 {
    u64::try_from(at.timestamp().as_millisecond() - now.timestamp().as_millisecond()).unwrap_or(0)
}

/// A moment to come, as people say it: `today at 07:00`, `tomorrow at 07:00`, else with its date.
pub(super) fn in_words(at: &ZonedDateTime, now: &ZonedDateTime) -> String {
    let day = match at.date() {
        date if date == now.date() => "today".to_owned(),
        date if now.date().tomorrow().is_ok_and(|tomorrow| date == tomorrow) => "tomorrow".to_owned(),
        date => format!("on {date}"),
    };
    format!("{day} at {}, by this computer's clock", at.strftime("%H:%M"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(text: &str) -> ZonedDateTime {
        text.parse().expect("a time in a zone")
    }

    #[test]
    fn the_next_seven_is_today_or_tomorrow_and_hours_that_the_clock_skips_are_not_waited_for() {
        let seven = of_day("07:00").expect("a time");
        let wait_ms = |now: &str| {
            let now = moment(now);
            next(seven, &now).map(|at| until_ms(&at, &now))
        };
        assert_eq!(wait_ms("2026-11-25T06:30:00[UTC]"), Some(30 * 60_000));
        assert_eq!(wait_ms("2026-11-25T22:00:00[UTC]"), Some(9 * 3_600_000));
        assert_eq!(wait_ms("2026-11-25T07:00:00[UTC]"), Some(24 * 3_600_000));
        for wrong in ["7", "25:00", "seven", "07:00:00 h"] {
            assert!(of_day(wrong).expect_err(wrong).contains("07:00"));
        }
    }

    #[test]
    fn a_moment_is_said_with_the_day_that_it_is_on() {
        let now = moment("2026-11-25T22:00:00[UTC]");
        let said = |at: &str| in_words(&moment(at), &now);
        assert_eq!(said("2026-11-25T23:30:00[UTC]"), "today at 23:30, by this computer's clock");
        assert_eq!(said("2026-11-26T07:00:00[UTC]"), "tomorrow at 07:00, by this computer's clock");
        assert_eq!(said("2026-11-28T07:00:00[UTC]"), "on 2026-11-28 at 07:00, by this computer's clock");
    }
}
