//! The shop's front door: what the API may see and ask.

use std::sync::mpsc::{SyncSender, TrySendError};
use std::sync::{Arc, Mutex, PoisonError};

use hearthward_api::{Command, DriverStatus, NotAsked, Recipe, ShopDoor};
use hearthward_drivers::Host;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::Answer;
use tokio::sync::{oneshot, watch};

use super::drivers::shown;
use super::turn::wall_ms;
use super::{Asked, Input, Views};

/// The door.
pub struct FrontDoor {
    views: Views,
    ready: watch::Receiver<bool>,
    plan: Arc<ShopPlan>,
    recipes: Vec<Recipe>,
    host: Arc<Host>,
    /// Gone when the service ends, so that a late command is refused instead of lost.
    inbox: Mutex<Option<SyncSender<Input>>>,
}

impl FrontDoor {
    /// A door to a running shop.
    #[must_use]
    pub fn new(
        views: Views,
        ready: watch::Receiver<bool>,
        plan: Arc<ShopPlan>,
        recipes: Vec<Recipe>,
        host: Arc<Host>,
        inbox: SyncSender<Input>,
    ) -> Self {
        Self { views, ready, plan, recipes, host, inbox: Mutex::new(Some(inbox)) }
    }

    /// Takes no more commands.
    pub fn shut(&self) {
        self.inbox.lock().unwrap_or_else(PoisonError::into_inner).take();
    }
}

#[tonic::async_trait]
impl ShopDoor for FrontDoor {
    fn view(&self) -> Views {
        self.views.clone()
    }

    fn plan(&self) -> Arc<ShopPlan> {
        Arc::clone(&self.plan)
    }

    fn ready(&self) -> watch::Receiver<bool> {
        self.ready.clone()
    }

    fn wall_ms(&self) -> i64 {
        wall_ms()
    }

    fn recipes(&self) -> Vec<Recipe> {
        self.recipes.clone()
    }

    fn drivers(&self) -> Vec<DriverStatus> {
        let now = self.views.borrow().at;
        self.host.status().into_iter().map(|driver| shown(driver, now)).collect()
    }

    async fn ask(&self, command: Command) -> Result<Answer, NotAsked> {
        let (reply, answer) = oneshot::channel();
        let Command { person, request, request_id, fingerprint } = command;
        let asked = Input::Asked(Asked { person, request, id: (request_id, fingerprint), reply });
        let sent = match &*self.inbox.lock().unwrap_or_else(PoisonError::into_inner) {
            Some(inbox) => inbox.try_send(asked),
            None => return Err(NotAsked::Ending),
        };
        match sent {
            Ok(()) => answer.await.map_err(|_| NotAsked::Ending),
            Err(TrySendError::Full(_)) => Err(NotAsked::Busy),
            Err(TrySendError::Disconnected(_)) => Err(NotAsked::Ending),
        }
    }
}
