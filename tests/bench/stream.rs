//! The event stream, to 1 and to 50 subscribers, against a bare stream of the same messages: the same transport, no journal, no
//! cursor, messages made beforehand. Both servers run in this process on the same runtime; subscribers read everything that is kept in
//! memory from its first event to its last, over and over and in turns.

use std::pin::Pin;
use std::sync::Arc;
use std::time::{Duration, Instant};

use hearthward_api::{Address, Api, Command, DriverStatus, Listener as ApiListener, NotAsked, Recipe, ShopDoor};
use hearthward_equipment::{Name, ShopMs, Tick};
use hearthward_journal::{Batch, Journal, Listener, Names, OpenOptions, RING_EVENTS, Recorded};
use hearthward_proto::v1;
use hearthward_proto::v1::event_service_client::EventServiceClient;
use hearthward_proto::v1::event_service_server::{EventService, EventServiceServer};
use hearthward_proto::v1::stream_events_request::Begin;
use hearthward_proto::v1::stream_events_response::Item;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::Answer;
use hearthward_supervise::view::View;
use tokio::sync::watch;
use tokio_stream::{Stream, StreamExt};
use tonic::transport::Channel;
use tonic::{Request, Response, Status};

use crate::durable::event;
use crate::numbers::{Report, Row, Target};

const EVENTS: u64 = RING_EVENTS as u64;
const LASTS: Duration = Duration::from_secs(6);

pub(crate) fn measure(report: &mut Report) {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let folder = tempfile::tempdir().expect("a folder");
        let reader = filled(folder.path());
        let ours = serve_ours(reader).await;
        let messages = collect(&mut client(&ours).await).await;
        let bare = serve_bare(messages).await;
        for subscribers in [1, 50] {
            let (value, baseline) = in_turns(&ours, &bare, subscribers, report.lasts(LASTS)).await;
            report.row(&Row {
                name: format!("event stream to {subscribers} subscribers, against a bare stream"),
                value,
                unit: "events/s",
                baseline: Some(baseline),
                target: Target::RatioLeast(0.85),
            });
        }
    });
}

/// Events a second in total: ours, bare.
async fn in_turns(ours: &str, bare: &str, subscribers: usize, lasts: Duration) -> (f64, f64) {
    let mut clients = [Vec::new(), Vec::new()];
    for (clients, at) in clients.iter_mut().zip([ours, bare]) {
        for _ in 0..subscribers {
            clients.push(client(at).await);
        }
    }
    let mut spent = [Duration::ZERO; 2];
    let mut rounds = 0_u32;
    let until = Instant::now() + lasts;
    while Instant::now() < until {
        rounds += 1;
        for (clients, spent) in clients.iter().zip(&mut spent) {
            let began = Instant::now();
            let readers: Vec<_> =
                clients.iter().cloned().map(|mut client| tokio::spawn(async move { read_through(&mut client).await })).collect();
            for reader in readers {
                assert_eq!(reader.await.expect("a reader does not panic"), EVENTS);
            }
            *spent += began.elapsed();
        }
    }
    let events = f64::from(rounds) * EVENTS as f64 * subscribers as f64;
    (events / spent[0].as_secs_f64(), events / spent[1].as_secs_f64())
}

async fn client(at: &str) -> EventServiceClient<Channel> {
    EventServiceClient::connect(format!("http://{at}")).await.expect("the server listens")
}

/// Reads every event to the last.
async fn read_through(client: &mut EventServiceClient<Channel>) -> u64 {
    let mut count = 0;
    let mut stream = open(client).await;
    while let Some(message) = stream.message().await.expect("the stream does not fail") {
        if let Some(Item::Event(event)) = message.item {
            count += 1;
            if event.seq == EVENTS {
                return count;
            }
        }
    }
    count
}

async fn collect(client: &mut EventServiceClient<Channel>) -> Vec<v1::StreamEventsResponse> {
    let mut all = Vec::new();
    let mut stream = open(client).await;
    while let Some(message) = stream.message().await.expect("the stream does not fail") {
        let last = matches!(&message.item, Some(Item::Event(event)) if event.seq == EVENTS);
        all.push(message);
        if last {
            break;
        }
    }
    all
}

async fn open(client: &mut EventServiceClient<Channel>) -> tonic::Streaming<v1::StreamEventsResponse> {
    let request = v1::StreamEventsRequest { begin: Some(Begin::AfterSeq(0)), journal_id: String::new(), filter: None };
    client.stream_events(request).await.expect("the stream opens").into_inner()
}

struct Quiet(std::sync::mpsc::Sender<Tick>);

impl Listener for Quiet {
    fn durable(&mut self, through: Tick, _events: &[Arc<Recorded>]) {
        let _ = self.0.send(through);
    }

    fn failing(&mut self, why: Option<&str>) {
        assert!(why.is_none(), "the journal cannot write: {why:?}");
    }
}

/// A journal with as many events as are kept in memory.
fn filled(folder: &std::path::Path) -> hearthward_journal::Reader {
    let names = Names { furnaces: vec![Name::new("north").expect("a name")], ..Names::default() };
    let options = OpenOptions::new("# a benchmark", names, 1_764_000_000_000);
    let (journal, _) = Journal::open(&folder.join("journal.sqlite"), options).expect("a journal");
    let reader = journal.reader();
    let (tell, told) = std::sync::mpsc::channel();
    let recorder = journal.record(Quiet(tell)).expect("a thread");
    let mut batch = Batch::of_tick(Tick(1), ShopMs(100), 1_764_000_000_000);
    batch.events = (1..=EVENTS).map(event).collect();
    recorder.try_send(batch).expect("there is room");
    assert_eq!(told.recv(), Ok(Tick(1)));
    recorder.finish(Duration::from_secs(5)).expect("everything is written");
    assert_eq!(reader.last_seq(), EVENTS);
    reader
}

async fn serve_ours(reader: hearthward_journal::Reader) -> String {
    let listener = ApiListener::bind(&Address::Tcp(([127, 0, 0, 1], 0).into())).await.expect("a port");
    let at = listener.address().to_string();
    let api = Api { shop: Arc::new(EmptyShop::new()), reader, version: "benchmark".to_owned() };
    tokio::spawn(hearthward_api::serve(vec![listener], api, std::future::pending(), std::future::pending()));
    at
}

/// A shop without anything: the stream of events asks it for the names of its furnaces, and for nothing else.
struct EmptyShop {
    plan: Arc<ShopPlan>,
    view: watch::Sender<Arc<View>>,
    ready: watch::Sender<bool>,
}

impl EmptyShop {
    fn new() -> Self {
        Self {
            plan: Arc::new(crate::tick::plan(0, 0)),
            view: watch::Sender::new(Arc::new(View::default())),
            ready: watch::Sender::new(true),
        }
    }
}

#[tonic::async_trait]
impl ShopDoor for EmptyShop {
    fn view(&self) -> watch::Receiver<Arc<View>> {
        self.view.subscribe()
    }

    fn plan(&self) -> Arc<ShopPlan> {
        Arc::clone(&self.plan)
    }

    fn ready(&self) -> watch::Receiver<bool> {
        self.ready.subscribe()
    }

    fn wall_ms(&self) -> i64 {
        0
    }

    fn recipes(&self) -> Vec<Recipe> {
        Vec::new()
    }

    fn drivers(&self) -> Vec<DriverStatus> {
        Vec::new()
    }

    async fn ask(&self, _command: Command) -> Result<Answer, NotAsked> {
        Err(NotAsked::Ending)
    }
}

/// The bare stream.
struct Bare(Arc<Vec<v1::StreamEventsResponse>>);

#[tonic::async_trait]
impl EventService for Bare {
    type StreamEventsStream = Pin<Box<dyn Stream<Item = Result<v1::StreamEventsResponse, Status>> + Send>>;

    async fn stream_events(
        &self,
        _request: Request<v1::StreamEventsRequest>,
    ) -> Result<Response<Self::StreamEventsStream>, Status> {
        let messages = Arc::clone(&self.0);
        let each = (0..messages.len()).map(move |place| Ok(messages[place].clone()));
        // Like ours it does not end by itself.
        Ok(Response::new(Box::pin(tokio_stream::iter(each).chain(tokio_stream::pending()))))
    }

    async fn list_events(&self, _request: Request<v1::ListEventsRequest>) -> Result<Response<v1::ListEventsResponse>, Status> {
        Err(Status::unimplemented("a benchmark"))
    }
}

async fn serve_bare(messages: Vec<v1::StreamEventsResponse>) -> String {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let at = listener.local_addr().expect("an address").to_string();
    let incoming = tokio_stream::wrappers::TcpListenerStream::new(listener).map(|stream| {
        let stream = stream?;
        stream.set_nodelay(true)?;
        Ok::<_, std::io::Error>(stream)
    });
    let service = EventServiceServer::new(Bare(Arc::new(messages)));
    tokio::spawn(tonic::transport::Server::builder().add_service(service).serve_with_incoming(incoming));
    at
}
