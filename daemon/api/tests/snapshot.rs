//! Goal: the snapshot and the live readings say what the view says, in the API's units.

use std::sync::Arc;
use std::time::{Duration, Instant};

use hearthward_proto::v1;
use tonic::Code;

use crate::common::{Served, error};
use crate::plan::{POINTS, SHELVED, view};

#[tokio::test]
async fn the_snapshot_is_whole() {
    let served = Served::start().await;
    served.door.view.send_replace(Arc::new(view(30)));
    let response = served.shop().await.get_shop(v1::GetShopRequest {}).await.expect("answers").into_inner();
    let shop = response.shop.expect("a shop");
    assert_eq!((shop.name.as_str(), shop.version.as_str(), shop.tick, shop.shop_ms), ("Bench", "0.1.0", 30, 3000));
    assert_eq!(shop.journal_id, served.door.reader.journal_id());
    assert_eq!(shop.time.map(|time| (time.seconds, time.nanos)), Some((1_700_000_000, 123_000_000)));
    assert_eq!(shop.room_oxygen_share, Some(0.208));

    let north = &shop.furnaces[0];
    assert_eq!((north.name.as_str(), north.temperature_c, north.heating()), ("north", Some(799.5), v1::Heating::SetPoint));
    assert!((north.limit_c - 1100.0).abs() < 1e-9);
    assert_eq!((north.changes_delivered, north.changes_owed, north.purge_proved), (Some(5.2), Some(5.0), true));
    assert_eq!(north.if_computer_dies, "NOTHING");
    let cycle = north.cycle.as_ref().expect("a cycle");
    assert_eq!((cycle.step(), cycle.step_index, cycle.steps, cycle.step_ms), (v1::StepKind::Soak, 3, 8, 1500));

    let south = &shop.furnaces[1];
    assert_eq!((south.temperature_c, south.ceiling_c, south.door_open), (None, None, None));
    let interlock = &south.interlocks[0];
    assert_eq!(interlock.kind(), v1::InterlockKind::SensorFault);
    assert_eq!((interlock.state(), interlock.acts, interlock.first_cause), (v1::InterlockState::Latched, false, true));
    assert_eq!(interlock.standing_ms, 1500);

    assert!((shop.tanks[0].window_high_c - 65.0).abs() < 1e-9);
    assert_eq!(shop.tanks[0].kept_for, "north");
    // Its plan has no gauge; a pressure would be missed only where there is one.
    assert_eq!((shop.supplies[0].name.as_str(), shop.supplies[0].gauged), ("argon", false));
    assert_eq!(shop.questions[0].default_in_ms, Some(60_000));
    let alarms = shop.alarms.expect("alarms");
    assert_eq!((alarms.raised, alarms.flood, alarms.horn), (3, false, true));
    let alarm = &alarms.alarms[0];
    assert_eq!((alarm.alarm.as_str(), alarm.state(), alarm.priority()), (SHELVED, v1::AlarmState::Shelved, v1::Priority::Notice));
    assert_eq!((alarm.aside_by.as_str(), alarm.shelved_ms, alarm.state_ms), ("ada", Some(60_000), 2_000));
    let points: Vec<_> = shop.readings.iter().map(|reading| reading.point.as_str()).collect();
    assert_eq!(points, POINTS);
    assert_eq!(shop.readings[0].age_ms, Some(40));
    assert_eq!((shop.readings[3].value.as_ref(), shop.readings[3].age_ms), (None, None));
    assert_eq!(shop.readings[3].quality(), v1::Quality::Bad);
}

#[tokio::test]
async fn readings_stream_the_latest_of_the_points_wanted() {
    let served = Served::start().await;
    let request = v1::StreamReadingsRequest { interval_ms: 50, points: vec![POINTS[2].into()] };
    let mut stream = served.shop().await.stream_readings(request).await.expect("streams").into_inner();
    let first = stream.message().await.expect("no error").expect("a message");
    assert_eq!(first.readings.iter().map(|reading| reading.point.as_str()).collect::<Vec<_>>(), [POINTS[2]]);
    // Many views between two messages: the latest wins, and time between messages is kept.
    let began = Instant::now();
    let door = Arc::clone(&served.door);
    let ticking = tokio::spawn(async move {
        for tick in 2..=200 {
            door.view.send_replace(Arc::new(view(tick)));
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    });
    let mut ticks = Vec::new();
    while ticks.last() != Some(&200) {
        ticks.push(stream.message().await.expect("no error").expect("a message").tick);
    }
    ticking.await.expect("no panic");
    assert!(ticks.is_sorted_by(|a, b| a < b), "never an old one: {ticks:?}");
    let most = began.elapsed().as_millis() / 50 + 2;
    assert!(ticks.len() as u128 <= most, "{} messages in {:?}", ticks.len(), began.elapsed());
}

#[tokio::test]
async fn a_client_that_does_not_read_gets_the_latest_when_it_does() {
    let served = Served::start().await;
    let request = v1::StreamReadingsRequest { interval_ms: 50, points: Vec::new() };
    let mut stream = served.shop().await.stream_readings(request).await.expect("streams").into_inner();
    for tick in 2..=20 {
        served.door.view.send_replace(Arc::new(view(tick)));
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let mut last = 0;
    while last != 20 {
        last = stream.message().await.expect("no error").expect("a message").tick;
    }
}

#[tokio::test]
async fn readings_refuse_what_cannot_be() {
    let served = Served::start().await;
    let mut shop = served.shop().await;
    let short =
        shop.stream_readings(v1::StreamReadingsRequest { interval_ms: 49, points: Vec::new() }).await.expect_err("refused");
    assert_eq!(error(&short, Code::InvalidArgument, "BAD_FIELD")["field"], "interval_ms");
    let points = vec!["io/nothing.here".to_owned()];
    let unknown = shop.stream_readings(v1::StreamReadingsRequest { interval_ms: 0, points }).await.expect_err("refused");
    assert_eq!(error(&unknown, Code::NotFound, "UNKNOWN_NAME")["name"], "io/nothing.here");
}

#[tokio::test]
async fn interlocks_are_shown_for_one_furnace_or_all() {
    let served = Served::start().await;
    let mut interlocks = served.interlocks().await;
    let all = interlocks.get_interlocks(v1::GetInterlocksRequest::default()).await.expect("answers").into_inner();
    assert_eq!(all.furnaces.iter().map(|one| one.furnace.as_str()).collect::<Vec<_>>(), ["north", "south"]);
    let one =
        interlocks.get_interlocks(v1::GetInterlocksRequest { furnace: "south".into() }).await.expect("answers").into_inner();
    assert_eq!(one.furnaces.len(), 1);
    assert_eq!((one.furnaces[0].furnace.as_str(), one.furnaces[0].ceiling_c), ("south", None));
    let none = interlocks.get_interlocks(v1::GetInterlocksRequest { furnace: "west".into() }).await.expect_err("refused");
    error(&none, Code::NotFound, "UNKNOWN_NAME");
    assert_eq!(none.message(), "there is no furnace named \"west\"; there are: north, south");
    let near = interlocks.get_interlocks(v1::GetInterlocksRequest { furnace: "Suth".into() }).await.expect_err("refused");
    assert_eq!(near.message(), "there is no furnace named \"Suth\"; did you mean \"south\"?");
}
