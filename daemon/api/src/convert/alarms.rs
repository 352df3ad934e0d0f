//! Alarms.

use hearthward_proto::v1;
use hearthward_supervise::alarm::{AlarmKey, AlarmState, alarm_entry, alarm_names};
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::view::{AlarmView, AlarmsView};

use super::events::priority;

/// The alarms that are not normal.
pub(crate) fn alarms(view: &AlarmsView) -> v1::Alarms {
    v1::Alarms { alarms: view.shown.iter().map(alarm).collect(), raised: view.raised, flood: view.flood, horn: view.horn }
}

/// Every alarm that the shop has.
pub(crate) fn all(view: &AlarmsView, plan: &ShopPlan) -> v1::Alarms {
    let every = alarm_names(plan).map(|(key, name)| {
        let shown = view.shown.iter().find(|one| one.key == key);
        shown.map_or_else(|| normal(key, name, plan), alarm)
    });
    v1::Alarms { alarms: every.collect(), ..alarms(view) }
}

fn alarm(view: &AlarmView) -> v1::Alarm {
    let aside = view.aside.as_ref();
    v1::Alarm {
        alarm: view.name.clone(),
        state: state(view.state).into(),
        priority: priority(alarm_entry(view.key.kind).priority).into(),
        text: view.text.clone(),
        first: view.first,
        state_ms: view.for_ms,
        aside_by: aside.map(|aside| aside.person.clone()).unwrap_or_default(),
        aside_reason: aside.map(|aside| aside.reason.clone()).unwrap_or_default(),
        shelved_ms: aside.and_then(|aside| aside.left_ms),
    }
}

fn normal(key: AlarmKey, name: String, plan: &ShopPlan) -> v1::Alarm {
    let entry = alarm_entry(key.kind);
    v1::Alarm {
        alarm: name,
        state: v1::AlarmState::Normal.into(),
        priority: priority(entry.priority).into(),
        text: format!("{}: {}.", key.place(plan), entry.title),
        ..v1::Alarm::default()
    }
}

pub(crate) fn state(state: AlarmState) -> v1::AlarmState {
    match state {
        AlarmState::Normal => v1::AlarmState::Normal,
        AlarmState::Unacknowledged => v1::AlarmState::Unacknowledged,
        AlarmState::Acknowledged => v1::AlarmState::Acknowledged,
        AlarmState::ReturnedUnacknowledged => v1::AlarmState::ReturnedUnacknowledged,
        AlarmState::LatchedUnacknowledged => v1::AlarmState::LatchedUnacknowledged,
        AlarmState::LatchedAcknowledged => v1::AlarmState::LatchedAcknowledged,
        AlarmState::Shelved => v1::AlarmState::Shelved,
        AlarmState::OutOfService => v1::AlarmState::OutOfService,
    }
}
