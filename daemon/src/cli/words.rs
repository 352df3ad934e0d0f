//! How the service's words and numbers are shown to people.

use std::time::Duration;

use hearthward_equipment::nearest;
use hearthward_process::units;
use hearthward_proto::v1;
use hearthward_supervise::interlock::{InterlockKind, entry};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use uom::si::f64::Ratio;
use uom::si::ratio::ratio;

use crate::settings::quantities;

/// Milliseconds as people say them: `4.2 s`, `12 min 00 s`, `1 h 05 min`.
pub(super) fn span(ms: u64) -> String {
    let seconds = ms / 1000;
    match seconds {
        0..60 => format!("{:.1} s", ms as f64 / 1000.0),
        60..3600 => format!("{} min {:02} s", seconds / 60, seconds % 60),
        _ => format!("{} h {:02} min", seconds / 3600, seconds / 60 % 60),
    }
}

/// The word of an enum value without its prefix: `INTERLOCK_KIND_DOOR_OPEN` is `door-open`.
pub(super) fn word(full: &str, prefix: &str) -> String {
    full.strip_prefix(prefix).unwrap_or(full).trim_start_matches('_').to_ascii_lowercase().replace('_', "-")
}

/// The word of an interlock.
pub(super) fn interlock(kind: v1::InterlockKind) -> String {
    word(kind.as_str_name(), "INTERLOCK_KIND")
}

/// The interlock of a word.
pub(super) fn interlock_of(text: &str) -> Result<v1::InterlockKind, String> {
    let name = format!("INTERLOCK_KIND_{}", text.to_ascii_uppercase().replace('-', "_"));
    v1::InterlockKind::from_str_name(&name).filter(|kind| *kind != v1::InterlockKind::Unspecified).ok_or_else(|| {
        let known: Vec<String> = InterlockKind::ALL.iter().map(|&kind| entry(kind).word()).collect();
        let meant = nearest(text, known.iter().map(String::as_str)).map(|meant| format!("; did you mean {meant:?}?"));
        let meant = meant.unwrap_or_else(|| format!("; there are: {}", known.join(", ")));
        format!("{text:?} is no interlock{meant}")
    })
}

/// How many parts a load has, as the service takes it.
pub(super) fn parts_of(text: &str) -> Result<u16, String> {
    let parts = text.trim().parse().ok().filter(|parts| (1..=1000).contains(parts));
    parts.ok_or_else(|| format!("{text:?} is no number of parts; write a whole number from 1 to 1000, such as 4"))
}

/// A hardness in HRC, with or without its unit.
pub(super) fn hardness_of(text: &str) -> Result<f64, String> {
    let plain = text.trim();
    let plain = plain.strip_suffix("HRC").or_else(|| plain.strip_suffix("hrc")).unwrap_or(plain).trim();
    let hrc = plain.parse().ok().filter(|hrc: &f64| hrc.is_finite());
    hrc.ok_or_else(|| format!("{text:?} is no hardness; write it in HRC, such as 61 or \"61 HRC\""))
}

/// A span as people write it, such as `4 h`.
pub(super) fn span_of(text: &str) -> Result<Duration, String> {
    quantities::duration_in(text, 1_000, 30 * 86_400_000)
}

/// The day of a time in seconds since 1970, where the shop is: `2026-11-25`.
pub(super) fn day(unix_s: i64, zone: TimeZone) -> String {
    Timestamp::from_second(unix_s).map_or_else(|_| "?".to_owned(), |time| time.to_zoned_datetime(zone).date().to_string())
}

/// The word of a choice.
pub(super) fn choice(choice: v1::Choice) -> String {
    word(choice.as_str_name(), "CHOICE")
}

/// The choice of a word.
pub(super) fn choice_of(text: &str) -> Result<v1::Choice, String> {
    let name = format!("CHOICE_{}", text.to_ascii_uppercase().replace('-', "_"));
    v1::Choice::from_str_name(&name)
        .filter(|choice| *choice != v1::Choice::Unspecified)
        .ok_or_else(|| format!("{text:?} is none of: quench-now, finish, slow-cool-under-gas, go-on, restart-step, end"))
}

/// Something that may be missing.
pub(super) fn or_none(value: Option<f64>, digits: usize, unit: &str) -> String {
    value.map_or_else(|| "no good reading".to_owned(), |value| format!("{value:.digits$} {unit}"))
}

/// A fraction as a share.
pub(super) fn share(fraction: f64) -> String {
    units::show_ratio(Ratio::new::<ratio>(fraction))
}

/// A reading's value.
pub(super) fn value(value: Option<&v1::Value>) -> String {
    use v1::value::Kind;
    match value.and_then(|value| value.kind.as_ref()) {
        None => "-".to_owned(),
        Some(Kind::Flag(is)) => if *is { "yes" } else { "no" }.to_owned(),
        Some(Kind::TemperatureC(c)) => format!("{c:.1} °C"),
        Some(Kind::Share(share)) => self::share(*share),
        Some(Kind::FlowLMin(flow)) => format!("{flow:.2} L/min"),
        Some(Kind::PressureKpa(kpa)) => format!("{kpa:.0} kPa"),
        Some(Kind::Whole(whole)) => whole.to_string(),
        Some(Kind::Number(number)) => number.to_string(),
        Some(Kind::Text(text)) => text.clone(),
    }
}

/// How a value for this point is typed: after the kind that was read last, or else after the point's name.
pub(super) fn example(point: &str, value: Option<&v1::Value>) -> &'static str {
    use v1::value::Kind;
    let name = point.rsplit('.').next().unwrap_or_default();
    match value.and_then(|value| value.kind.as_ref()) {
        Some(Kind::Flag(_)) => "yes|no",
        Some(Kind::TemperatureC(_)) => "\"… C\"",
        Some(Kind::Share(_)) => "\"… %\"",
        Some(Kind::FlowLMin(_)) => "\"… L/min\"",
        Some(Kind::PressureKpa(_)) => "\"… bar\"",
        None if name.contains("temperature") || name == "set-point" => "\"… C\"",
        None if name.ends_with("-on") || name.ends_with("-open") => "yes|no",
        None if name == "flow" => "\"… L/min\"",
        None if name.ends_with("-share") => "\"… %\"",
        _ => "VALUE",
    }
}

/// How much something matters, in two characters.
pub(super) fn mark(priority: v1::Priority) -> &'static str {
    match priority {
        v1::Priority::Urgent => "!!",
        v1::Priority::Warning => "! ",
        _ => "  ",
    }
}

/// By which clock an event is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Clock {
    /// Date and time of day, where the command runs.
    OfDay,
    /// Hours since the service started: what counts in a demonstration, which takes seconds for them.
    Shop,
}

/// One event on one line.
pub(super) fn event(event: &v1::Event, clock: Clock) -> String {
    let when = match (clock, event.time.as_ref().and_then(|time| of_day(time.seconds))) {
        (Clock::OfDay, Some(when)) => when,
        _ => {
            let seconds = event.shop_ms / 1000;
            format!("{:02}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
        }
    };
    let mark = mark(event.priority());
    // Most sentences begin with who acted.
    let named = event.person.is_empty() || event.text.starts_with(&format!("{} ", event.person));
    let by = if named { String::new() } else { format!(" ({})", event.person) };
    format!("{:>6} {when} {mark} {}{by}", event.seq, event.text)
}

/// A moment as the wall clock and the calendar here show it.
fn of_day(unix_s: i64) -> Option<String> {
    let moment = Timestamp::from_second(unix_s).ok()?;
    Some(moment.to_zoned_datetime(TimeZone::system()).strftime("%Y-%m-%d %H:%M:%S").to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_shown_as_people_say_them() {
        let shown = |share| value(Some(&v1::Value { kind: Some(v1::value::Kind::Share(share)) }));
        assert_eq!(shown(0.0), "0 %");
        assert_eq!(shown(0.2095), "20.95 %");
        assert_eq!(shown(5e-6), "5 ppm");
    }

    #[test]
    fn who_acted_is_named_once() {
        let told =
            |text: &str| event(&v1::Event { person: "ada".into(), text: text.into(), ..v1::Event::default() }, Clock::Shop);
        assert!(told("ada reset stop of north.").ends_with("ada reset stop of north."));
        assert!(told("Load irons began in north.").ends_with("began in north. (ada)"));
        assert!(told("adam is no ada").ends_with("(ada)"));
    }

    #[test]
    fn words_lead_back_to_their_values() {
        assert_eq!(interlock(v1::InterlockKind::DoorOpen), "door-open");
        assert_eq!(interlock_of("door-open"), Ok(v1::InterlockKind::DoorOpen));
        assert!(interlock_of("unspecified").is_err_and(|words| words.contains("there are: purge-before-heat, ")));
        assert!(interlock_of("dor-open").is_err_and(|words| words.ends_with("did you mean \"door-open\"?")));
        assert_eq!((hardness_of("61"), hardness_of("61.5 HRC")), (Ok(61.0), Ok(61.5)));
        assert!(hardness_of("hard").is_err_and(|words| words.contains("61 HRC")) && hardness_of("inf").is_err());
        assert_eq!((parts_of("1"), parts_of(" 1000 ")), (Ok(1), Ok(1000)));
        for wrong in ["abc", "0", "1001", "-1", "2.5"] {
            assert!(parts_of(wrong).is_err_and(|words| words.contains("from 1 to 1000")), "{wrong}");
        }
        assert!(span_of("-30 min").is_err());
        assert_eq!(choice_of("slow-cool-under-gas"), Ok(v1::Choice::SlowCoolUnderGas));
        assert!(choice_of("unspecified").is_err());
        assert_eq!(example("by-hand/oil.temperature", None), "\"… C\"");
        assert_eq!(example("by-hand/north.door-open", None), "yes|no");
        assert_eq!(span(4_200), "4.2 s");
        assert_eq!(span(720_000), "12 min 00 s");
        assert_eq!(span(3_900_000), "1 h 05 min");
        // By `date -u -d @SECONDS +%F`.
        assert_eq!(
            [0, 951_782_400, 1_700_000_000, -1].map(|unix_s| day(unix_s, TimeZone::UTC)),
            ["1970-01-01", "2000-02-29", "2023-11-14", "1969-12-31"]
        );
    }
}
