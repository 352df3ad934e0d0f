//! Goal: lists page as lists usually do: every entry once, in order, and a token for one list is no token for another.

use hearthward_proto::v1;
use hearthward_proto::v1::driver_service_client::DriverServiceClient;
use tonic::Code;

use crate::common::{Served, error};

#[tokio::test]
async fn events_page_in_both_directions() {
    let served = Served::start().await;
    served.door.say_some(25).await;
    let mut client = served.events().await;
    for newest_first in [false, true] {
        let mut seen = Vec::new();
        let mut request = v1::ListEventsRequest { page_size: 10, newest_first, ..Default::default() };
        loop {
            let page = client.list_events(request.clone()).await.expect("answers").into_inner();
            assert!(page.events.len() <= 10);
            assert_eq!(page.journal_id, served.door.reader.journal_id());
            seen.extend(page.events.iter().map(|event| event.seq));
            if page.next_page_token.is_empty() {
                break;
            }
            request.page_token = page.next_page_token;
        }
        let mut expected: Vec<_> = (1..=25).collect();
        if newest_first {
            expected.reverse();
        }
        assert_eq!(seen, expected);
    }
}

#[tokio::test]
async fn a_filtered_list_is_whole() {
    let served = Served::start().await;
    served.door.say_some(9000).await;
    let filter = v1::EventFilter { furnaces: vec!["north".into()], kinds: vec!["permitted".into()], ..Default::default() };
    let mut request = v1::ListEventsRequest { page_size: 1000, filter: Some(filter), ..Default::default() };
    let mut client = served.events().await;
    let mut count = 0;
    loop {
        let page = client.list_events(request.clone()).await.expect("answers").into_inner();
        assert!(page.events.iter().all(|event| event.furnace == "north" && event.kind == "permitted"));
        count += page.events.len();
        if page.next_page_token.is_empty() {
            break;
        }
        request.page_token = page.next_page_token;
    }
    assert_eq!(count, 1500);
}

#[tokio::test]
async fn an_empty_record_is_an_empty_page() {
    let served = Served::start().await;
    for newest_first in [false, true] {
        let request = v1::ListEventsRequest { newest_first, ..Default::default() };
        let page = served.events().await.list_events(request).await.expect("answers").into_inner();
        assert!(page.events.is_empty() && page.next_page_token.is_empty());
    }
}

#[tokio::test]
async fn tokens_and_sizes_that_cannot_be_are_refused() {
    let served = Served::start().await;
    served.door.say_some(5).await;
    let mut client = served.events().await;
    let negative = v1::ListEventsRequest { page_size: -1, ..Default::default() };
    let status = client.list_events(negative).await.expect_err("refused");
    assert_eq!(error(&status, Code::InvalidArgument, "BAD_FIELD")["field"], "page_size");
    let first =
        client.list_events(v1::ListEventsRequest { page_size: 2, ..Default::default() }).await.expect("answers").into_inner();
    let turned =
        v1::ListEventsRequest { page_size: 2, newest_first: true, page_token: first.next_page_token, ..Default::default() };
    let status = client.list_events(turned).await.expect_err("refused");
    assert_eq!(error(&status, Code::InvalidArgument, "BAD_FIELD")["field"], "page_token");
}

#[tokio::test]
async fn drivers_and_questions_page() {
    let served = Served::start().await;
    let mut drivers = DriverServiceClient::new(served.channel().await);
    let first = drivers.list_drivers(v1::ListDriversRequest { page_size: 2, page_token: String::new() }).await.expect("answers");
    let first = first.into_inner();
    assert_eq!(first.drivers.iter().map(|one| one.name.as_str()).collect::<Vec<_>>(), ["controllers", "meters"]);
    assert_eq!((first.drivers[1].state(), first.drivers[1].last_fault_age_ms), (v1::DriverState::BackingOff, Some(1200)));
    let rest = v1::ListDriversRequest { page_size: 2, page_token: first.next_page_token };
    let rest = drivers.list_drivers(rest).await.expect("answers").into_inner();
    assert_eq!((rest.drivers.len(), rest.next_page_token.as_str()), (1, ""));

    let mut cycles = served.cycles().await;
    let all = cycles.list_questions(v1::ListQuestionsRequest::default()).await.expect("answers").into_inner();
    assert_eq!(all.questions.iter().map(|one| one.id).collect::<Vec<_>>(), [3, 2, 1], "oldest first");
    let north = v1::ListQuestionsRequest { furnace: "north".into(), ..Default::default() };
    let north = cycles.list_questions(north).await.expect("answers").into_inner();
    assert_eq!(north.questions.iter().map(|one| one.id).collect::<Vec<_>>(), [2, 1]);
    let question = &north.questions[0];
    assert_eq!(question.choices().collect::<Vec<_>>(), [v1::Choice::QuenchNow, v1::Choice::Finish]);
    assert_eq!((question.default_choice(), question.default_in_ms), (v1::Choice::SlowCoolUnderGas, Some(60_000)));
    assert!(matches!(question.ask.as_ref().and_then(|ask| ask.ask.as_ref()), Some(v1::ask::Ask::Steel(_))));
}
