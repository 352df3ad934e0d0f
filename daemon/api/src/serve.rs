//! Putting the services on the listeners, and taking them off again.

use std::sync::Arc;
use std::time::Duration;

use hearthward_journal::Reader;
use hearthward_proto::v1::alarm_service_server::AlarmServiceServer;
use hearthward_proto::v1::cycle_service_server::CycleServiceServer;
use hearthward_proto::v1::driver_service_server::DriverServiceServer;
use hearthward_proto::v1::interlock_service_server::InterlockServiceServer;
use hearthward_proto::v1::planning_service_server::PlanningServiceServer;
use hearthward_proto::v1::shop_service_server::ShopServiceServer;
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::task::JoinSet;
use tokio_stream::wrappers::ReceiverStream;
use tonic::server::NamedService;
use tonic::transport::Server;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

use crate::commands::Commands;
use crate::door::ShopDoor;
use crate::listen::{Connection, Listener};
use crate::services::{AlarmServer, Cycles, Drivers, EventServer, Interlocks, Planner, Shops};

/// A silent connection is asked for a sign of life this often. With [`KEEPALIVE_ANSWER`] a peer that is half gone is let go after
/// 50 seconds, well below the 90 that clients may count on.
const KEEPALIVE_EVERY: Duration = Duration::from_secs(30);

/// How long the sign of life may take; gRPC's own default.
const KEEPALIVE_ANSWER: Duration = Duration::from_secs(20);

/// Connections at one time. A shop has a handful of screens and programs; the rest is room for a client that leaks them.
const CONNECTIONS: usize = 256;

/// Streams on one connection at one time.
const STREAMS_PER_CONNECTION: u32 = 256;

/// The largest request. A cycle of the most steps that are taken is some 10 KiB.
const REQUEST_BYTES: usize = 128 * 1024;

/// How long clients have to take what is left when the service ends.
const GRACE: Duration = Duration::from_secs(5);

/// A pause after a connection could not be accepted, as when the process has no more files.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// What the services work on.
#[derive(Clone)]
pub struct Api {
    /// The shop.
    pub shop: Arc<dyn ShopDoor>,
    /// The journal.
    pub reader: Reader,
    /// The service's version, as it is shown.
    pub version: String,
}

/// Why serving ended before it was told to.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The transport failed.
    #[error("the API cannot go on: {0}")]
    Transport(#[from] tonic::transport::Error),
    /// The descriptor set cannot be read, which a build that passed its tests cannot have.
    #[error("the API's own description cannot be read: {0}")]
    Reflection(#[from] tonic_reflection::server::Error),
}

/// Serves until `stop` completes, and on while the shop ends: the health service says "not serving" from then on, and streams go on,
/// so that people see how it ends. Once `over` completes, with nothing more to come on record, streams end with their last number;
/// clients have five seconds to take it. `over` is not waited on before `stop` has completed.
///
/// Commands that were accepted before go on to their end.
///
/// # Errors
/// [`ServeError`] when the transport fails.
pub async fn serve(
    listeners: Vec<Listener>,
    api: Api,
    stop: impl Future<Output = ()>,
    over: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let (end, ending) = watch::channel(false);
    let (health, health_service) = tonic_health::server::health_reporter();
    let commands = Commands::new(Arc::clone(&api.shop), api.reader.clone());
    let described = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(hearthward_proto::FILE_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let cycles = Cycles { shop: Arc::clone(&api.shop), commands: commands.clone() };
    let alarms = AlarmServer { shop: Arc::clone(&api.shop), commands: commands.clone() };
    let interlocks = Interlocks { shop: Arc::clone(&api.shop), commands };
    let drivers = Drivers { shop: Arc::clone(&api.shop) };
    let events = EventServer::new(Arc::clone(&api.shop), api.reader.clone(), ending.clone());
    let ready = api.shop.ready();
    let shops = Shops { api, ending: ending.clone() };

    let mut helpers = JoinSet::new();
    let well = helpers.spawn(keep_health(health.clone(), ready));
    let router = Server::builder()
        .http2_keepalive_interval(Some(KEEPALIVE_EVERY))
        .http2_keepalive_timeout(Some(KEEPALIVE_ANSWER))
        .max_concurrent_streams(Some(STREAMS_PER_CONNECTION))
        .add_service(health_service)
        .add_service(described().build_v1()?)
        // Many clients in other languages still ask in the older way.
        .add_service(described().build_v1alpha()?)
        .add_service(ShopServiceServer::new(shops).max_decoding_message_size(REQUEST_BYTES))
        .add_service(events)
        .add_service(CycleServiceServer::new(cycles).max_decoding_message_size(REQUEST_BYTES))
        .add_service(AlarmServiceServer::new(alarms).max_decoding_message_size(REQUEST_BYTES))
        .add_service(InterlockServiceServer::new(interlocks).max_decoding_message_size(REQUEST_BYTES))
        .add_service(DriverServiceServer::new(drivers).max_decoding_message_size(REQUEST_BYTES))
        .add_service(PlanningServiceServer::new(Planner).max_decoding_message_size(REQUEST_BYTES));
    let incoming = accept_all(listeners, &mut helpers);
    let serving = router.serve_with_incoming_shutdown(incoming, told(ending));
    tokio::pin!(serving);
    let ended = async {
        stop.await;
        well.abort();
        set_health(&health, ServingStatus::NotServing).await;
        over.await;
    };
    tokio::select! {
        ended = &mut serving => return Ok(ended?),
        () = ended => {}
    }
    helpers.shutdown().await;
    end.send_replace(true);
    match tokio::time::timeout(GRACE, serving).await {
        Ok(ended) => Ok(ended?),
        Err(_) => {
            tracing::warn!(grace_s = GRACE.as_secs(), "clients did not take what was left; they are cut off");
            Ok(())
        }
    }
}

/// Completes when the service was told to end.
pub(crate) async fn told(mut ending: watch::Receiver<bool>) {
    // A sender that is gone means the same.
    let _ = ending.wait_for(|ending| *ending).await;
}

/// A stream of connections from all listeners, bounded in number.
fn accept_all(listeners: Vec<Listener>, helpers: &mut JoinSet<()>) -> ReceiverStream<std::io::Result<Connection>> {
    let (arrived, incoming) = mpsc::channel(1);
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    for listener in listeners {
        let (arrived, room) = (arrived.clone(), Arc::clone(&room));
        helpers.spawn(async move {
            while let Ok(place) = Arc::clone(&room).acquire_owned().await {
                match listener.accept().await {
                    Ok(stream) => {
                        if arrived.send(Ok(Connection::new(stream, place))).await.is_err() {
                            return;
                        }
                    }
                    Err(error) => {
                        tracing::warn!(address = %listener.address(), %error, "a connection could not be accepted");
                        tokio::time::sleep(ACCEPT_PAUSE).await;
                    }
                }
            }
        });
    }
    ReceiverStream::new(incoming)
}

/// Says "serving" while the shop is ready.
async fn keep_health(health: HealthReporter, mut ready: watch::Receiver<bool>) {
    loop {
        let status = if *ready.borrow_and_update() { ServingStatus::Serving } else { ServingStatus::NotServing };
        set_health(&health, status).await;
        if ready.changed().await.is_err() {
            return;
        }
    }
}

async fn set_health(health: &HealthReporter, status: ServingStatus) {
    let names = [
        // The whole service.
        "",
        <ShopServiceServer<Shops> as NamedService>::NAME,
        <EventServer as NamedService>::NAME,
        <AlarmServiceServer<AlarmServer> as NamedService>::NAME,
        <CycleServiceServer<Cycles> as NamedService>::NAME,
        <InterlockServiceServer<Interlocks> as NamedService>::NAME,
        <DriverServiceServer<Drivers> as NamedService>::NAME,
        <PlanningServiceServer<Planner> as NamedService>::NAME,
    ];
    for name in names {
        health.set_service_status(name, status).await;
    }
}
