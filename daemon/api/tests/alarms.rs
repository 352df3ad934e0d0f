//! Goal: alarms are listed as they stand, and what people do about them reaches the core under the alarm's name.

use std::sync::Arc;

use hearthward_proto::v1;
use hearthward_supervise::alarm::{AlarmAsk, AlarmKey};
use hearthward_supervise::request::Request;
use tonic::Code;

use crate::common::{Served, error};
use crate::plan::{self, SHELVED, view};

const STOP: &str = "furnace/north/stop";

#[tokio::test]
async fn those_that_are_not_normal_are_listed_and_all_when_asked_for() {
    let served = Served::start().await;
    served.door.view.send_replace(Arc::new(view(30)));
    let mut alarms = served.alarms().await;
    let standing = alarms.get_alarms(v1::GetAlarmsRequest { all: false }).await.expect("answers").into_inner();
    let names: Vec<_> = standing.alarms.expect("alarms").alarms.into_iter().map(|alarm| alarm.alarm).collect();
    assert_eq!(names, [SHELVED]);
    let all = alarms.get_alarms(v1::GetAlarmsRequest { all: true }).await.expect("answers").into_inner();
    let all = all.alarms.expect("alarms").alarms;
    let of = |name: &str| all.iter().find(|alarm| alarm.alarm == name).unwrap_or_else(|| panic!("{name} is not there")).state();
    assert_eq!((of(SHELVED), of(STOP)), (v1::AlarmState::Shelved, v1::AlarmState::Normal));
}

#[tokio::test]
async fn what_people_do_about_alarms_reaches_the_core() {
    let served = Served::start().await;
    let mut alarms = served.alarms().await;
    let (person, alarm) = (String::from("Ada"), String::from(STOP));
    let id = |id: &str| id.to_owned();
    let of = |request_id: String| v1::AcknowledgeAlarmRequest { request_id, person: person.clone(), alarm: String::new() };
    alarms.acknowledge_alarm(of(id("1"))).await.expect("done");
    alarms.acknowledge_alarm(of(id("1"))).await.expect("a repeat gets the first answer");
    let shelve = v1::ShelveAlarmRequest {
        request_id: id("2"),
        person: person.clone(),
        alarm: alarm.clone(),
        reason: " it is known ".into(),
        span_ms: 60_000,
    };
    alarms.shelve_alarm(shelve).await.expect("done");
    let unshelve = v1::UnshelveAlarmRequest { request_id: id("3"), person: person.clone(), alarm: alarm.clone() };
    alarms.unshelve_alarm(unshelve).await.expect("done");
    let out = v1::TakeAlarmOutOfServiceRequest {
        request_id: id("4"),
        person: person.clone(),
        alarm: alarm.clone(),
        reason: "it is being mended".into(),
    };
    alarms.take_alarm_out_of_service(out).await.expect("done");
    let back = v1::ReturnAlarmToServiceRequest { request_id: id("5"), person: person.clone(), alarm };
    alarms.return_alarm_to_service(back).await.expect("done");
    alarms.silence_horn(v1::SilenceHornRequest { request_id: id("6"), person: person.clone() }).await.expect("done");

    let alarm = AlarmKey::find(&plan::plan(), STOP).expect("an alarm of the shop");
    let asked: Vec<Request> = served.asked().into_iter().map(|command| command.request).collect();
    let expected = [
        AlarmAsk::Acknowledge { alarm: None },
        AlarmAsk::Shelve { alarm, reason: "it is known".into(), span_ms: 60_000 },
        AlarmAsk::Unshelve { alarm },
        AlarmAsk::TakeOut { alarm, reason: "it is being mended".into() },
        AlarmAsk::PutBack { alarm },
        AlarmAsk::Silence,
    ];
    assert_eq!(asked, expected.map(Request::Alarm));
}

#[tokio::test]
async fn a_name_that_is_none_and_a_reason_that_is_missing_are_refused() {
    let served = Served::start().await;
    let mut alarms = served.alarms().await;
    let request = |alarm: &str, reason: &str| v1::TakeAlarmOutOfServiceRequest {
        request_id: "one".into(),
        person: "Ada".into(),
        alarm: alarm.into(),
        reason: reason.into(),
    };
    let unknown = alarms.take_alarm_out_of_service(request("furnace/north/tired", "why not")).await.expect_err("no such alarm");
    assert_eq!(unknown.code(), Code::NotFound, "{unknown:?}");
    for (alarm, why) in [(STOP, " "), ("", "why not"), (STOP, "a\u{7}bell")] {
        let refused = alarms.take_alarm_out_of_service(request(alarm, why)).await.expect_err("refused");
        error(&refused, Code::InvalidArgument, "BAD_FIELD");
    }
    assert!(served.asked().is_empty());
}
