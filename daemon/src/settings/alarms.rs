//! The table of alarms: horn, lamp, how long one may be shelved, and delays.

use std::time::Duration;

use hearthward_supervise::alarm::{AlarmKind, AlarmPlan, Delays, alarm_entry, alarm_kind_of};
use hearthward_supervise::event::Priority;
use uom::si::f64::Ratio;
use uom::si::ratio::percent;

use super::PointRef;
use super::equipment::point;
use super::quantities;
use super::section::Section;

/// Alarms as the configuration has them.
#[derive(Clone, Debug)]
pub struct AlarmSettings {
    /// Output of the horn.
    pub horn: Option<PointRef>,
    /// Output of the lamp.
    pub lamp: Option<PointRef>,
    /// Everything else; its outputs are found later.
    pub plan: AlarmPlan,
}

/// The longest delay of an alarm that somebody must act on now.
const URGENT_DELAY_MS: u64 = 10_000;
/// The longest delay of any other: the span over which alarms are counted.
const DELAY_MS: u64 = 600_000;

pub(super) fn alarms(root: &Section<'_>) -> AlarmSettings {
    let mut plan = AlarmPlan::default();
    let Some(section) = root.section("alarms") else { return AlarmSettings { horn: None, lamp: None, plan } };
    let (horn, lamp) = (point(&section, "horn"), point(&section, "lamp"));
    plan.shelve_at_most = section
        .read("shelve_at_most", |text| quantities::duration_in(text, 60_000, 24 * 3_600_000))
        .unwrap_or(plan.shelve_at_most);
    plan.room_dead_band = section.read("room_dead_band", dead_band).unwrap_or(plan.room_dead_band);
    for (name, delay) in section.named("delays") {
        match alarm_kind_of(name.as_str()) {
            Some(kind) => plan.delays.push((kind, delays(kind, delay))),
            None => delay.problem("", "is no alarm; `hearthward alarm list --all` shows them, such as \"unit-lost\""),
        }
    }
    section.finish();
    AlarmSettings { horn, lamp, plan }
}

fn delays(kind: AlarmKind, section: Section<'_>) -> Delays {
    let entry = alarm_entry(kind);
    let on_most_ms = if entry.priority == Priority::Urgent { URGENT_DELAY_MS } else { DELAY_MS };
    let on = section.read("on", |text| quantities::duration_in(text, 0, on_most_ms));
    let off = section.read("off", |text| quantities::duration_in(text, 0, DELAY_MS));
    section.finish();
    let usual = entry.delays;
    Delays { on: on.unwrap_or(usual.on).min(Duration::from_millis(on_most_ms)), off: off.unwrap_or(usual.off) }
}

/// Wider than this the alarm would hardly ever return.
const DEAD_BAND_PERCENT: f64 = 1.0;

fn dead_band(text: &str) -> Result<Ratio, String> {
    let share = quantities::share(text)?;
    if share.get::<percent>() > DEAD_BAND_PERCENT {
        return Err(format!("{text:?} is more than {DEAD_BAND_PERCENT} %"));
    }
    Ok(share)
}
