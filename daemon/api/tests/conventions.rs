//! Goal: what every gRPC client expects is there: health, reflection, words for an unknown method, keepalive.

use std::time::{Duration, Instant};

use hearthward_proto::v1;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio_stream::StreamExt;
use tonic::Code;
use tonic::transport::Endpoint;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::v1::ServerReflectionRequest;
use tonic_reflection::pb::v1::server_reflection_client::ServerReflectionClient;
use tonic_reflection::pb::v1::server_reflection_request::MessageRequest;
use tonic_reflection::pb::v1::server_reflection_response::MessageResponse;

use crate::common::Served;

const SERVICES: [&str; 7] = [
    "hearthward.v1.AlarmService",
    "hearthward.v1.CycleService",
    "hearthward.v1.DriverService",
    "hearthward.v1.EventService",
    "hearthward.v1.InterlockService",
    "hearthward.v1.PlanningService",
    "hearthward.v1.ShopService",
];

#[tokio::test]
async fn health_follows_readiness() {
    let served = Served::start().await;
    served.door.ready.send_replace(false);
    let mut health = HealthClient::new(served.channel().await);
    let ask = |service: &str| HealthCheckRequest { service: service.into() };
    let mut watch = health.watch(ask("")).await.expect("watches").into_inner();
    let mut status = ServingStatus::Unknown;
    while status != ServingStatus::NotServing {
        status = watch.message().await.expect("no error").expect("a message").status();
    }
    served.door.ready.send_replace(true);
    while status != ServingStatus::Serving {
        status = watch.message().await.expect("no error").expect("a message").status();
    }
    for service in SERVICES {
        // Told one after another; the whole is told first.
        while health.check(ask(service)).await.expect("known").into_inner().status() != ServingStatus::Serving {}
    }
    assert_eq!(health.check(ask("hearthward.v1.Nothing")).await.expect_err("unknown").code(), Code::NotFound);
}

#[tokio::test]
async fn reflection_lists_the_services_and_their_files() {
    let served = Served::start().await;
    let mut client = ServerReflectionClient::new(served.channel().await);
    let ask = |message| ServerReflectionRequest { host: String::new(), message_request: Some(message) };
    let questions = [
        ask(MessageRequest::ListServices(String::new())),
        ask(MessageRequest::FileContainingSymbol("hearthward.v1.EventService.StreamEvents".into())),
    ];
    let mut answers = client.server_reflection_info(tokio_stream::iter(questions)).await.expect("reflects").into_inner();
    let Some(MessageResponse::ListServicesResponse(list)) =
        answers.next().await.expect("an answer").expect("good").message_response
    else {
        panic!("not a list")
    };
    let names: Vec<_> = list.service.iter().map(|service| service.name.as_str()).collect();
    for service in SERVICES.iter().chain(&["grpc.health.v1.Health", "grpc.reflection.v1.ServerReflection"]) {
        assert!(names.contains(service), "{service} is not in {names:?}");
    }
    let Some(MessageResponse::FileDescriptorResponse(files)) =
        answers.next().await.expect("an answer").expect("good").message_response
    else {
        panic!("not a file")
    };
    assert!(!files.file_descriptor_proto.is_empty());
}

#[tokio::test]
async fn a_method_that_is_not_there_is_unimplemented() {
    let served = Served::start().await;
    let mut grpc = tonic::client::Grpc::new(served.channel().await);
    grpc.ready().await.expect("ready");
    let path = "/hearthward.v1.EventService/ForgetEvents".parse().expect("a path");
    let codec = tonic_prost::ProstCodec::<v1::GetShopRequest, v1::GetShopResponse>::default();
    let status = grpc.unary(tonic::Request::new(v1::GetShopRequest {}), path, codec).await.expect_err("not there");
    assert_eq!(status.code(), Code::Unimplemented);
}

#[tokio::test]
async fn an_oversized_request_is_refused() {
    let served = Served::start().await;
    let points = vec!["x".repeat(1000); 200];
    let status =
        served.shop().await.stream_readings(v1::StreamReadingsRequest { interval_ms: 0, points }).await.expect_err("too large");
    assert_eq!(status.code(), Code::OutOfRange, "{status:?}");
}

/// Runs with `--ignored`: it takes as long as a peer that is half gone is waited for.
#[tokio::test]
#[ignore = "takes 50 seconds"]
async fn a_peer_that_is_half_gone_is_let_go_within_90_seconds() {
    let served = Served::start().await;
    // An HTTP/2 client that says hello and then nothing more, not even to a ping.
    let mut peer = TcpStream::connect(served.address).await.expect("connects");
    peer.write_all(b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0").await.expect("written");
    let began = Instant::now();
    let mut heard = Vec::new();
    tokio::time::timeout(Duration::from_secs(90), peer.read_to_end(&mut heard)).await.expect("let go").ok();
    println!("let go after {:?}", began.elapsed());
    assert!(began.elapsed() > Duration::from_secs(40));
}

/// Runs with `--ignored`: it takes as long as a few pings of a careful client.
#[tokio::test]
#[ignore = "takes 100 seconds"]
async fn clients_may_ping_every_30_seconds() {
    let served = Served::start().await;
    let endpoint = Endpoint::from_shared(format!("http://{}", served.address))
        .expect("an address")
        .http2_keep_alive_interval(Duration::from_secs(30))
        .keep_alive_while_idle(true);
    let mut client = v1::event_service_client::EventServiceClient::new(endpoint.connect().await.expect("connects"));
    let mut stream = client.stream_events(v1::StreamEventsRequest::default()).await.expect("streams").into_inner();
    let until = Instant::now() + Duration::from_secs(100);
    while Instant::now() < until {
        stream.message().await.expect("not sent away").expect("goes on");
    }
}
