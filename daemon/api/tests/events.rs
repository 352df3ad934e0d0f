//! Goal: the stream of events is complete and in order from any number, however it is cut and however slowly it is read.

use std::sync::Arc;
use std::time::{Duration, Instant};

use hearthward_journal::RING_EVENTS;
use hearthward_proto::v1;
use hearthward_proto::v1::stream_events_request::Begin;
use hearthward_proto::v1::stream_events_response::Item;
use tonic::Code;

use crate::common::{Served, error, event, next, next_event, next_mark};

fn from(begin: Begin) -> v1::StreamEventsRequest {
    v1::StreamEventsRequest { begin: Some(begin), ..Default::default() }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stream_cut_again_and_again_is_complete_and_in_order() {
    let served = Served::start().await;
    let total = RING_EVENTS as u64 * 2 + 500;
    let door = Arc::clone(&served.door);
    // Written while it is read, so that cuts fall into replay, into the turn to live, and into live.
    let writing = tokio::task::spawn_blocking(move || {
        for batch in 0..total / 20 + 1 {
            door.say((0..20).map(|place| event(place, &format!("Batch {batch}, event {place}."))).collect());
            if batch % 10 == 0 {
                std::thread::sleep(Duration::from_millis(3));
            }
        }
    });
    let mut client = served.events().await;
    let (mut seen, mut cuts) = (0, 0);
    while seen < total {
        let mut request = from(Begin::AfterSeq(seen));
        request.journal_id = served.door.reader.journal_id().into();
        let mut stream = client.stream_events(request).await.expect("streams").into_inner();
        for _ in 0..(cuts * 37) % 911 + 1 {
            let event = next_event(&mut stream).await;
            assert_eq!(event.seq, seen + 1);
            seen = event.seq;
            if seen == total {
                break;
            }
        }
        cuts += 1;
        drop(stream);
    }
    writing.await.expect("no panic");
    assert!(cuts > 10, "only {cuts} cuts");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_reader_misses_nothing_and_slows_nobody() {
    let served = Served::start().await;
    let mut slow = served.events().await.stream_events(from(Begin::FromSeq(0))).await.expect("streams").into_inner();
    next_mark(&mut slow).await;
    // Far more than every buffer on the way and the memory of the journal can hold.
    let total = RING_EVENTS as u64 * 5;
    let began = Instant::now();
    let door = Arc::clone(&served.door);
    let writing = tokio::task::spawn_blocking(move || {
        for batch in 0..total / 64 {
            door.say((0..64).map(|place| event(place, &format!("Batch {batch}, event {place}."))).collect());
        }
    });
    let mut fast = served.events().await.stream_events(from(Begin::FromSeq(1))).await.expect("streams").into_inner();
    for seq in 1..=total {
        assert_eq!(next_event(&mut fast).await.seq, seq);
    }
    writing.await.expect("no panic");
    let asked = Instant::now();
    served.shop().await.get_shop(v1::GetShopRequest {}).await.expect("answers");
    assert!(asked.elapsed() < Duration::from_secs(1), "the shop was slowed: {:?}", asked.elapsed());
    for seq in 1..=total {
        assert_eq!(next_event(&mut slow).await.seq, seq);
    }
    println!("{total} events to a fast and a slow reader in {:?}", began.elapsed());
}

#[tokio::test]
async fn events_begin_where_they_are_asked_to() {
    let served = Served::start().await;
    served.door.say_some(10).await;
    let mut client = served.events().await;
    for (begin, first) in [(Begin::AfterSeq(0), 1), (Begin::FromSeq(0), 1), (Begin::FromSeq(4), 4), (Begin::AfterSeq(4), 5)] {
        let mut stream = client.stream_events(from(begin)).await.expect("streams").into_inner();
        let mark = next_mark(&mut stream).await;
        assert_eq!((mark.through_seq, mark.oldest_seq, mark.last_seq), (first - 1, 1, 10));
        assert_eq!(mark.journal_id, served.door.reader.journal_id());
        assert_eq!(next_event(&mut stream).await.seq, first);
    }
    // From now on.
    let mut stream = client.stream_events(v1::StreamEventsRequest::default()).await.expect("streams").into_inner();
    assert_eq!(next_mark(&mut stream).await.through_seq, 10);
    served.door.say_some(1).await;
    let event = next_event(&mut stream).await;
    assert_eq!((event.seq, event.kind.as_str(), event.boot), (11, "noted", 1));
    assert_eq!(event.text, "Event 0 of 1.");
    assert!(matches!(event.body, Some(v1::event::Body::Noted(_))));
}

#[tokio::test]
async fn cursors_that_cannot_be_served_are_errors_not_silence() {
    let served = Served::start().await;
    served.door.say_some(30).await;
    let folder = served.stop().await;
    let by_hand = hearthward_journal_file(folder.path());
    by_hand(10);
    let served = Served::start_in(folder).await;
    let mut client = served.events().await;

    let old = client.stream_events(from(Begin::AfterSeq(5))).await.expect_err("too old");
    let metadata = error(&old, Code::OutOfRange, "CURSOR_TOO_OLD");
    assert_eq!((metadata["oldest_seq"].as_str(), metadata["last_seq"].as_str()), ("11", "30"));
    let ahead = client.stream_events(from(Begin::AfterSeq(31))).await.expect_err("ahead");
    error(&ahead, Code::OutOfRange, "CURSOR_AHEAD");
    let most = client.stream_events(from(Begin::AfterSeq(u64::MAX))).await.expect_err("ahead");
    error(&most, Code::OutOfRange, "CURSOR_AHEAD");
    let mut other = from(Begin::AfterSeq(20));
    other.journal_id = "0123456789abcdef".into();
    let other = client.stream_events(other).await.expect_err("another journal");
    error(&other, Code::FailedPrecondition, "OTHER_JOURNAL");

    // The oldest that is kept, and the end, are good places to begin.
    let mut stream = client.stream_events(from(Begin::FromSeq(0))).await.expect("streams").into_inner();
    assert_eq!(next_event(&mut stream).await.seq, 11);
    client.stream_events(from(Begin::AfterSeq(30))).await.expect("the end");
}

/// Drops the oldest events from a journal, as a later version will.
fn hearthward_journal_file(folder: &std::path::Path) -> impl Fn(u64) + use<> {
    let path = folder.join("journal.db");
    move |through| {
        let file = rusqlite::Connection::open(&path).expect("opens");
        file.execute("DELETE FROM event WHERE seq <= ?1", [i64::try_from(through).expect("small")]).expect("pruned");
    }
}

#[tokio::test]
async fn a_filter_narrows_and_marks_still_advance() {
    let served = Served::start().await;
    served.door.say_some(600).await;
    let filter = v1::EventFilter {
        furnaces: vec!["south".into()],
        least_priority: v1::Priority::Warning.into(),
        kinds: vec!["permitted".into()],
    };
    let mut request = from(Begin::FromSeq(0));
    request.filter = Some(filter);
    let mut stream = served.events().await.stream_events(request).await.expect("streams").into_inner();
    let mut seen = Vec::new();
    let mark = loop {
        match next(&mut stream).await.expect("goes on").expect("no error") {
            Item::Event(event) => {
                assert_eq!((event.furnace.as_str(), event.kind.as_str()), ("south", "permitted"));
                assert!(event.priority() as i32 >= v1::Priority::Warning as i32);
                seen.push(event.seq);
            }
            Item::Progress(mark) if mark.through_seq > 0 => break mark,
            Item::Progress(_) => {}
        }
    };
    // Places 11, 23, 35 … are of the south furnace, permitted and urgent.
    assert_eq!(seen, (1..=50).map(|count| count * 12).collect::<Vec<_>>());
    assert_eq!(mark.through_seq, 600, "what did not pass is counted too");
}

#[tokio::test]
async fn an_idle_stream_shows_that_it_lives() {
    let served = Served::start().await;
    served.door.say_some(3).await;
    let mut stream = served.events().await.stream_events(from(Begin::AfterSeq(3))).await.expect("streams").into_inner();
    assert_eq!(next_mark(&mut stream).await.through_seq, 3);
    for _ in 0..2 {
        let began = Instant::now();
        assert_eq!(next_mark(&mut stream).await.through_seq, 3);
        assert!(began.elapsed() < Duration::from_secs(5), "silent for {:?}", began.elapsed());
    }
}

#[tokio::test]
async fn an_ending_service_says_how_far_it_came() {
    let mut served = Served::start().await;
    served.door.say_some(5).await;
    let mut stream = served.events().await.stream_events(from(Begin::FromSeq(0))).await.expect("streams").into_inner();
    let mut readings =
        served.shop().await.stream_readings(v1::StreamReadingsRequest::default()).await.expect("streams").into_inner();
    readings.message().await.expect("no error").expect("a message");
    for seq in 1..=5 {
        assert_eq!(next_event(&mut stream).await.seq, seq);
    }
    served.tell_stop();
    assert_eq!(next_mark(&mut stream).await.through_seq, 5);
    let end = next(&mut stream).await.expect("an end in words").expect_err("an end");
    error(&end, Code::Unavailable, "ENDING");
    assert!(next(&mut stream).await.is_none());
    let end = readings.message().await.expect_err("an end");
    error(&end, Code::Unavailable, "ENDING");
}

#[tokio::test]
async fn a_furnace_that_is_not_there_is_refused_and_not_waited_for() {
    let served = Served::start().await;
    served.door.say_some(3).await;
    let only =
        |furnace: &str| Some(v1::EventFilter { furnaces: vec!["north".into(), furnace.into()], ..v1::EventFilter::default() });
    let asked = |furnace| v1::StreamEventsRequest { filter: only(furnace), ..v1::StreamEventsRequest::default() };
    let mut client = served.events().await;
    for (wrong, hint) in [("nroth", "did you mean \"north\"?"), ("", "there are: ")] {
        let refused = client.stream_events(asked(wrong)).await.expect_err("was waited for");
        error(&refused, Code::NotFound, "UNKNOWN_NAME");
        assert!(refused.message().contains(hint), "{refused}");
    }
    client.stream_events(asked("south")).await.expect("is there");
    // A furnace that is gone has its past all the same.
    client.list_events(v1::ListEventsRequest { filter: only("west"), ..v1::ListEventsRequest::default() }).await.expect("a page");
}

#[tokio::test]
async fn what_the_shop_says_while_it_ends_still_arrives() {
    let mut served = Served::start().await;
    served.door.say_some(5).await;
    let mut stream = served.events().await.stream_events(from(Begin::AfterSeq(5))).await.expect("streams").into_inner();
    assert_eq!(next_mark(&mut stream).await.through_seq, 5);
    let mut health = tonic_health::pb::health_client::HealthClient::new(served.channel().await);
    let whole = || tonic_health::pb::HealthCheckRequest::default();
    let well = |status| status == tonic_health::pb::health_check_response::ServingStatus::Serving;
    while !well(health.check(whole()).await.expect("known").into_inner().status()) {}
    served.tell_ending();
    while well(health.check(whole()).await.expect("known").into_inner().status()) {}
    // It has been told: what comes on record from here on is how it ends, and a client that comes late sees it too.
    served.door.say_some(3).await;
    let mut late = served.events().await.stream_events(from(Begin::FromSeq(6))).await.expect("streams").into_inner();
    for stream in [&mut stream, &mut late] {
        for seq in 6..=8 {
            assert_eq!(next_event(stream).await.seq, seq);
        }
    }
    served.tell_over();
    assert_eq!(next_mark(&mut stream).await.through_seq, 8);
    error(&next(&mut stream).await.expect("an end in words").expect_err("an end"), Code::Unavailable, "ENDING");
}

#[tokio::test]
async fn a_reader_that_stopped_reading_does_not_keep_the_service_from_ending() {
    let served = Served::start().await;
    for _ in 0..4 {
        served.door.say_some(2000).await;
    }
    let little = tonic::transport::Endpoint::from_shared(format!("http://{}", served.address)).expect("an address");
    let little = little.initial_stream_window_size(16_384).initial_connection_window_size(65_535);
    let mut client = v1::event_service_client::EventServiceClient::new(little.connect().await.expect("connects"));
    let mut stream = client.stream_events(from(Begin::FromSeq(1))).await.expect("streams").into_inner();
    next_mark(&mut stream).await;
    // Cut off after its grace of five seconds, and not before: this client held back the end for as long as it may.
    let began = Instant::now();
    let _folder = served.stop().await;
    assert!(began.elapsed() >= Duration::from_secs(4), "nothing was held back: it ended after {:?}", began.elapsed());
    drop(stream);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fifty_subscribers_see_the_same() {
    let served = Served::start().await;
    let channel = served.channel().await;
    let mut subscribers = Vec::new();
    for _ in 0..50 {
        let mut client = v1::event_service_client::EventServiceClient::new(channel.clone());
        subscribers.push(tokio::spawn(async move {
            let mut stream = client.stream_events(from(Begin::FromSeq(1))).await.expect("streams").into_inner();
            let mut sum = 0;
            for seq in 1..=2000 {
                let event = next_event(&mut stream).await;
                assert_eq!(event.seq, seq);
                sum += event.text.len();
            }
            sum
        }));
    }
    for _ in 0..100 {
        served.door.say_some(20).await;
    }
    let mut sums = Vec::new();
    for subscriber in subscribers {
        sums.push(subscriber.await.expect("complete and in order"));
    }
    assert!(sums.windows(2).all(|pair| pair[0] == pair[1]));
}
