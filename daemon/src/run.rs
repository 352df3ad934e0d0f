//! The service: started, watched over until it is told to end, and ended in order.

use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use hearthward_api::{Api, Listener, serve};
use hearthward_drivers::{Host, ShopClock, send_standing};
use hearthward_journal::Recorder;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::plan::{Heating, ShopPlan};
use tokio::sync::watch;

use crate::assembly::Assembly;
use crate::exit::{Ended, Exit};
use crate::settings::Listen;
use crate::shop::{FrontDoor, Input, Views};
use crate::start::{CUTS_WITHIN, Started, start};
use crate::watchdog::{Beat, Watchdog};

/// How long the record may take to be written to its end.
const RECORD_WITHIN: Duration = Duration::from_secs(5);

/// Runs the service until `stop` completes: heat is cut first, gas stays as it is, then the record is closed.
///
/// `listening` is told the address once clients can connect.
///
/// # Errors
/// [`Ended`] when something cannot be had at the start, or the record could not be closed.
pub async fn run(assembly: Assembly, stop: impl Future<Output = ()>, listening: impl FnOnce(&Listen)) -> Result<(), Ended> {
    let failed = |error: &dyn std::fmt::Display| Ended::new(Exit::Failed, error.to_string());
    let listener = Listener::bind(&assembly.settings.listen.clone().into()).await.map_err(|error| failed(&error))?;
    let clock = ShopClock::real();
    let Started { core, host, reader, inbox, views, plan } = start(&assembly, &clock)?;
    let recipes = assembly.wired.recipes.clone();
    let (to_ready, ready) = watch::channel(false);
    tokio::spawn(say_when_ready(views.clone(), Arc::clone(&plan), to_ready));
    let door = Arc::new(FrontDoor::new(views, ready, plan, recipes, Arc::clone(&host), inbox.clone()));
    let beat = Beat::default();
    let counted = beat.clone();
    let _watchdog = watch_over(&assembly, &host, beat).map_err(|error| failed(&error))?;
    let thread =
        std::thread::Builder::new().name("core".to_owned()).spawn(move || core.run(&counted)).map_err(|error| failed(&error))?;
    listening(&listener.address().clone().into());

    // On a thread that may wait, begun before anything can fail: however the API ends, the record is written to its end.
    let equipment = Arc::clone(&host);
    let mut closing = tokio::task::spawn_blocking(move || close(thread, &equipment));
    let mut closed = None;
    let tell_core = || {
        if inbox.send(Input::Observed(Observation::Stopping)).is_err() {
            tracing::error!("the core had ended before it was told to");
        }
    };
    let api = Api { shop: Arc::clone(&door) as _, reader, version: env!("CARGO_PKG_VERSION").to_owned() };
    let ending = async {
        stop.await;
        door.shut();
        tell_core();
    };
    // Heat is cut and the record closed before the streams end: people may still watch how the service ends.
    let over = async { closed = Some((&mut closing).await) };
    let served = serve(vec![listener], api, ending, over).await;
    if let Err(error) = &served {
        tracing::error!(%error, "the API ended; heat is cut");
        tell_core();
    }
    let closed = match closed {
        Some(closed) => closed,
        None => closing.await,
    };
    closed.map_err(|error| failed(&error))??;
    served.map_err(|error| failed(&error))
}

/// Waits until the core has ended, lets go of the equipment and writes the record to its end.
fn close(core: JoinHandle<Recorder>, host: &Host) -> Result<(), Ended> {
    let recorder =
        core.join().map_err(|_| Ended::new(Exit::Failed, "the core ended on a broken invariant; look at the furnaces now"))?;
    host.stop();
    recorder.finish(RECORD_WITHIN).map_err(|error| Ended::new(Exit::Failed, error.to_string()))
}

/// Ends the process out loud when the core or what contains drivers stands still; heat is cut first, without either of them.
fn watch_over(assembly: &Assembly, host: &Host, beat: Beat) -> std::io::Result<Watchdog> {
    let engine = assembly.engine.clone();
    let (lines, cuts) = (assembly.wired.host.lines.clone(), host.standing_cuts());
    let stands_still = move |what: &'static str| {
        tracing::error!("{what}: heat is cut and the service ends");
        eprintln!("{what}: heat is cut and the service ends; look at the furnaces now");
        for sent in send_standing(&lines, &cuts, CUTS_WITHIN).iter().filter(|sent| !sent.read_back) {
            eprintln!("furnace number {} did not confirm its standing cut: {}", sent.furnace.0, sent.why);
        }
        std::process::exit(i32::from(Exit::Failed as u8));
    };
    Watchdog::start(beat, move || engine.heartbeat(), stands_still)
}

/// The shop is ready once every furnace that can be read has been read.
async fn say_when_ready(mut views: Views, plan: Arc<ShopPlan>, ready: watch::Sender<bool>) {
    let all_read = |view: &Arc<hearthward_supervise::view::View>| {
        !view.furnaces.is_empty()
            && plan
                .furnaces
                .iter()
                .zip(&view.furnaces)
                .all(|(plan, view)| plan.heating == Heating::ByHand || view.temperature_c.is_some())
    };
    if views.wait_for(all_read).await.is_ok() {
        ready.send_replace(true);
        // Health watches this channel for as long as the service runs.
        ready.closed().await;
    }
}
