//! A served API over a scripted shop and a real journal, and clients of it.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use hearthward_api::{Address, Api, Command, DriverState, DriverStatus, Listener, NotAsked, Recipe, ShopDoor, serve};
use hearthward_equipment::{FurnaceId, ShopMs, Tick};
use hearthward_journal::{AnswerRow, Batch, Journal, Names, OpenOptions, Reader, Recorded, Recorder, Refused};
use hearthward_proto::v1;
use hearthward_proto::v1::alarm_service_client::AlarmServiceClient;
use hearthward_proto::v1::cycle_service_client::CycleServiceClient;
use hearthward_proto::v1::event_service_client::EventServiceClient;
use hearthward_proto::v1::interlock_service_client::InterlockServiceClient;
use hearthward_proto::v1::shop_service_client::ShopServiceClient;
use hearthward_supervise::event::{Event, EventBody, Priority};
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::Answer;
use hearthward_supervise::view::View;
use tokio::sync::{Notify, oneshot, watch};
use tokio::task::JoinHandle;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status};
use tonic_types::StatusExt;

use crate::plan;

/// What the shop does with the next commands.
#[derive(Clone, Debug)]
pub(crate) enum Script {
    Do,
    Refuse(&'static str),
    Busy,
    Ending,
    /// Done, once told so.
    Hold(Arc<Notify>),
}

/// The shop behind the door.
pub(crate) struct Door {
    pub(crate) view: watch::Sender<Arc<View>>,
    pub(crate) ready: watch::Sender<bool>,
    pub(crate) asked: Mutex<Vec<Command>>,
    pub(crate) script: Mutex<Script>,
    pub(crate) recorder: Mutex<Option<Recorder>>,
    pub(crate) reader: Reader,
    tick: Mutex<u64>,
    plan: Arc<ShopPlan>,
}

struct Deaf;

impl hearthward_journal::Listener for Deaf {
    fn durable(&mut self, _: Tick, _: &[Arc<Recorded>]) {}
    fn failing(&mut self, why: Option<&str>) {
        // Said, not asserted: on the journal's own thread a panic would only hide what a test waits for in vain.
        eprintln!("the journal: {why:?}");
    }
}

impl Door {
    /// Puts events on record, without waiting for the disk.
    pub(crate) fn say(&self, events: Vec<Event>) {
        self.send(events, Vec::new());
    }

    /// Puts so many events on record and waits until they are durable.
    pub(crate) async fn say_some(&self, count: u64) {
        let last = self.reader.last_seq();
        self.say((0..count).map(|place| event(place, &format!("Event {place} of {count}."))).collect());
        while self.reader.last_seq() < last + count {
            self.reader.beyond(self.reader.last_seq()).await;
        }
    }

    fn send(&self, events: Vec<Event>, answers: Vec<AnswerRow>) {
        let mut tick = self.tick.lock().expect("whole");
        *tick += 1;
        let mut batch = Batch { events, answers, ..Batch::of_tick(Tick(*tick), ShopMs(*tick * 100), 1_700_000_000_000) };
        let recorder = self.recorder.lock().expect("whole");
        let recorder = recorder.as_ref().expect("the journal runs");
        while let Err(Refused::Full(back)) = recorder.try_send(batch) {
            batch = *back;
            std::thread::yield_now();
        }
    }
}

#[tonic::async_trait]
impl ShopDoor for Door {
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
        1_700_000_000_123
    }

    fn recipes(&self) -> Vec<Recipe> {
        plan::recipes()
    }

    fn drivers(&self) -> Vec<DriverStatus> {
        ["controllers", "meters", "by-hand"].map(driver).into()
    }

    async fn ask(&self, command: Command) -> Result<Answer, NotAsked> {
        self.asked.lock().expect("whole").push(command.clone());
        let script = self.script.lock().expect("whole").clone();
        let answer = match script {
            Script::Do => Answer::Done(format!("Done, {}.", command.person.name)),
            Script::Refuse(why) => Answer::Refused(why.into()),
            Script::Busy => return Err(NotAsked::Busy),
            Script::Ending => return Err(NotAsked::Ending),
            Script::Hold(told) => {
                told.notified().await;
                Answer::Done("Done at last.".into())
            }
        };
        let Command { request_id, fingerprint, .. } = command;
        let last = self.reader.last_seq();
        self.send(vec![event(0, "A command.")], vec![AnswerRow { request_id, fingerprint, answer: answer.clone() }]);
        self.reader.beyond(last).await;
        Ok(answer)
    }
}

fn driver(name: &str) -> DriverStatus {
    DriverStatus {
        name: name.parse().expect("a name"),
        file: format!("/usr/lib/hearthward/{name}.wasm"),
        sha256: "ab".repeat(32),
        contract_version: "0.1.0".into(),
        exports: vec!["furnace".into(), "points".into()],
        state: if name == "meters" { DriverState::BackingOff } else { DriverState::Running },
        restarts: 2,
        last_fault: (name == "meters").then(|| "the line is down".into()),
        last_fault_age_ms: (name == "meters").then_some(1200),
        units: vec![format!("{name}/north")],
        lines: vec!["bus".into()],
    }
}

/// A running server.
pub(crate) struct Served {
    pub(crate) door: Arc<Door>,
    pub(crate) address: SocketAddr,
    pub(crate) folder: tempfile::TempDir,
    stop: Option<oneshot::Sender<()>>,
    over: Option<oneshot::Sender<()>>,
    served: JoinHandle<()>,
}

impl Served {
    pub(crate) async fn start() -> Self {
        Self::start_in(tempfile::tempdir().expect("a folder")).await
    }

    /// Serves on a journal that may be there already.
    pub(crate) async fn start_in(folder: tempfile::TempDir) -> Self {
        let listener = Listener::bind(&Address::Tcp(([127, 0, 0, 1], 0).into())).await.expect("a free port");
        let Address::Tcp(address) = *listener.address() else { unreachable!("asked for TCP") };
        let plan = Arc::new(plan::plan());
        let options = OpenOptions::new("", Names::of(&plan), 1_700_000_000_000);
        let (journal, _) = Journal::open(&folder.path().join("journal.db"), options).expect("opens");
        let reader = journal.reader();
        let door = Arc::new(Door {
            view: watch::Sender::new(Arc::new(plan::view(1))),
            ready: watch::Sender::new(true),
            asked: Mutex::default(),
            script: Mutex::new(Script::Do),
            recorder: Mutex::new(Some(journal.record(Deaf).expect("a thread"))),
            reader: reader.clone(),
            tick: Mutex::new(0),
            plan,
        });
        let api = Api { shop: door.clone(), reader, version: "0.1.0".into() };
        let (stop, stopped) = oneshot::channel::<()>();
        let (over, is_over) = oneshot::channel::<()>();
        let served = tokio::spawn(async move {
            let told = |by: oneshot::Receiver<()>| async {
                let _ = by.await;
            };
            serve(vec![listener], api, told(stopped), told(is_over)).await.expect("serves");
        });
        Self { door, address, folder, stop: Some(stop), over: Some(over), served }
    }

    /// Tells the service to end, and waits until it has.
    pub(crate) async fn stop(mut self) -> tempfile::TempDir {
        self.tell_stop();
        tokio::time::timeout(Duration::from_secs(10), &mut self.served).await.expect("ends in time").expect("no panic");
        let recorder = self.door.recorder.lock().expect("whole").take().expect("running");
        recorder.finish(Duration::from_secs(10)).expect("a clean end");
        self.folder
    }

    /// Tells the service to end, with nothing more to come on record.
    pub(crate) fn tell_stop(&mut self) {
        self.tell_ending();
        self.tell_over();
    }

    /// Tells the service to end, while the shop still has things to say.
    pub(crate) fn tell_ending(&mut self) {
        self.stop.take().expect("told once").send(()).expect("serving");
    }

    /// Tells the service that the shop has said everything.
    pub(crate) fn tell_over(&mut self) {
        self.over.take().expect("told once").send(()).expect("serving");
    }

    pub(crate) async fn channel(&self) -> Channel {
        Endpoint::from_shared(format!("http://{}", self.address)).expect("an address").connect().await.expect("connects")
    }

    pub(crate) async fn shop(&self) -> ShopServiceClient<Channel> {
        ShopServiceClient::new(self.channel().await)
    }

    pub(crate) async fn events(&self) -> EventServiceClient<Channel> {
        EventServiceClient::new(self.channel().await)
    }

    pub(crate) async fn cycles(&self) -> CycleServiceClient<Channel> {
        CycleServiceClient::new(self.channel().await)
    }

    pub(crate) async fn alarms(&self) -> AlarmServiceClient<Channel> {
        AlarmServiceClient::new(self.channel().await)
    }

    pub(crate) async fn interlocks(&self) -> InterlockServiceClient<Channel> {
        InterlockServiceClient::new(self.channel().await)
    }

    pub(crate) fn script(&self, script: Script) {
        *self.door.script.lock().expect("whole") = script;
    }

    pub(crate) fn asked(&self) -> Vec<Command> {
        self.door.asked.lock().expect("whole").clone()
    }
}

/// An event of one of several kinds, furnaces and priorities, by place.
pub(crate) fn event(place: u64, text: &str) -> Event {
    Event {
        furnace: [None, Some(FurnaceId(0)), Some(FurnaceId(1))][usize::try_from(place % 3).expect("small")],
        priority: [Priority::Record, Priority::Notice, Priority::Warning, Priority::Urgent]
            [usize::try_from(place % 4).expect("small")],
        person: None,
        text: text.into(),
        body: if place.is_multiple_of(2) { EventBody::Noted } else { EventBody::Permitted { ceiling_c: 150.0 } },
    }
}

/// The next message of a stream of events.
pub(crate) async fn next(
    stream: &mut tonic::Streaming<v1::StreamEventsResponse>,
) -> Option<Result<v1::stream_events_response::Item, Status>> {
    let message = tokio::time::timeout(Duration::from_secs(10), stream.message()).await.expect("in time");
    message.map(|message| message.map(|message| message.item.expect("one or the other"))).transpose()
}

/// The next event of a stream; progress marks are passed over.
pub(crate) async fn next_event(stream: &mut tonic::Streaming<v1::StreamEventsResponse>) -> v1::Event {
    loop {
        if let v1::stream_events_response::Item::Event(event) = next(stream).await.expect("goes on").expect("no error") {
            return event;
        }
    }
}

/// The next message, which must be a progress mark.
pub(crate) async fn next_mark(stream: &mut tonic::Streaming<v1::StreamEventsResponse>) -> v1::Progress {
    match next(stream).await.expect("goes on").expect("no error") {
        v1::stream_events_response::Item::Progress(mark) => mark,
        other => panic!("not a mark: {other:?}"),
    }
}

/// Checks the code and the reason of an error, and gives its metadata.
pub(crate) fn error(status: &Status, code: Code, reason: &str) -> std::collections::HashMap<String, String> {
    assert_eq!(status.code(), code, "{status:?}");
    let details = status.get_error_details();
    let info = details.error_info().expect("an ErrorInfo");
    assert_eq!((info.reason.as_str(), info.domain.as_str()), (reason, "hearthward.v1"));
    info.metadata.clone()
}
