//! The shop behind a trait: all that the API needs of it, implemented by the binary.

use std::sync::Arc;

use hearthward_equipment::Name;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::{Drive, Part, Protection, Step};
use hearthward_supervise::request::{Answer, Person, Request};
use hearthward_supervise::view::View;
use tokio::sync::watch;

/// The way from the API to the shop. Nothing here may wait for a line or a guest.
#[tonic::async_trait]
pub trait ShopDoor: Send + Sync + 'static {
    /// The shop as it is, replaced after every tick; the latest wins.
    fn view(&self) -> watch::Receiver<Arc<View>>;

    /// The plan in force.
    fn plan(&self) -> Arc<ShopPlan>;

    /// Whether the shop is ready: drivers answering and the first readings there. It is what the health service says.
    fn ready(&self) -> watch::Receiver<bool>;

    /// Time of day in milliseconds since 1970: a label on what is sent.
    fn wall_ms(&self) -> i64;

    /// The recipes that a cycle may be started by.
    fn recipes(&self) -> Vec<Recipe>;

    /// The driver instances in the order of the configuration.
    fn drivers(&self) -> Vec<DriverStatus>;

    /// Hands a command to the core and completes with its answer **once that answer is durable**, or with why it was not taken.
    ///
    /// It must not give up on its own: an error promises that the command was not and will not be carried out, so that a client
    /// may send it again. The API waits on the client's behalf, goes on waiting when the client hangs up, and never asks twice for
    /// one `request_id` at the same time. The journal keeps [`Command::request_id`] and [`Command::fingerprint`] beside the answer.
    async fn ask(&self, command: Command) -> Result<Answer, NotAsked>;
}

/// A person's command, checked and with names resolved.
#[derive(Clone, Debug, PartialEq)]
pub struct Command {
    /// Who acts.
    pub person: Person,
    /// What is asked.
    pub request: Request,
    /// The command's own id, for repeats.
    pub request_id: String,
    /// A hash over what was asked: the same id for something else is a mistake, not a repeat.
    pub fingerprint: u64,
}

/// Why a command was not taken. It was not carried out and will not be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAsked {
    /// The core's inbox is full.
    #[error("the shop has too many commands waiting; try again in a moment")]
    Busy,
    /// The service is ending.
    #[error("the service is ending and takes no more commands")]
    Ending,
}

/// A cycle as planned, before a load takes it.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Its name.
    pub name: Name,
    /// What it is for, in words.
    pub text: String,
    /// The steel's trade designation.
    pub steel: String,
    /// What keeps air off it.
    pub protection: Protection,
    /// Whether the service sends set points or a controller's program is followed.
    pub drive: Drive,
    /// What one part is like, if it says.
    pub part: Option<Part>,
    /// What happens, in order.
    pub steps: Vec<Step>,
}

/// A driver instance as it is now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DriverStatus {
    /// Its name in the configuration.
    pub name: Name,
    /// The component's file.
    pub file: String,
    /// SHA-256 of the component, in lower-case hexadecimal; empty when it could not be read.
    pub sha256: String,
    /// The version of the driver contract that it was built against; empty when unknown.
    pub contract_version: String,
    /// The interfaces that it exports.
    pub exports: Vec<String>,
    /// How it is.
    pub state: DriverState,
    /// How often it was rebuilt since the service started.
    pub restarts: u64,
    /// The words of its last fault.
    pub last_fault: Option<String>,
    /// Milliseconds since that fault.
    pub last_fault_age_ms: Option<u64>,
    /// The units that it serves.
    pub units: Vec<String>,
    /// The lines that it was granted.
    pub lines: Vec<String>,
}

/// How a driver instance is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DriverState {
    /// Being compiled, instantiated or opened.
    Starting,
    /// It serves.
    Running,
    /// Stopped after a fault; it will be rebuilt after a pause.
    BackingOff,
    /// Out of service after repeated faults.
    Quarantined,
    /// It never ran: the component was refused.
    Refused,
    /// It was closed, since the service is ending.
    Stopped,
}
