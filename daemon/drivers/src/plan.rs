//! What the configuration says of lines, drivers and wiring: plain values, checked before they get here.

use std::path::PathBuf;
use std::time::Duration;

use hearthward_equipment::{Directory, FurnaceId, HeatPointId, Name, UnitId};

/// One driver instance.
#[derive(Clone, Debug, PartialEq)]
pub struct DriverSpec {
    /// The instance's name in the shop; unique.
    pub name: Name,
    /// The component, or the core module that becomes one.
    pub component: PathBuf,
    /// The file's SHA-256 in hexadecimal, if the configuration pins it.
    pub sha256: Option<String>,
    /// The lines that are granted, in the order in which the driver numbers them.
    pub lines: Vec<Name>,
    /// The settings, flattened: a key has dots where the table was nested.
    pub settings: Vec<(String, Setting)>,
    /// Time from one poll to the next.
    pub poll_every: Duration,
    /// The longest that one call may take, waiting for devices included; the call is given up and the sandbox rebuilt after it.
    pub call_limit: Duration,
}

impl DriverSpec {
    /// A driver without settings and lines, polled ten times a second, with a second for each call.
    #[must_use]
    pub fn new(name: Name, component: impl Into<PathBuf>) -> Self {
        Self {
            name,
            component: component.into(),
            sha256: None,
            lines: Vec::new(),
            settings: Vec::new(),
            poll_every: Duration::from_millis(100),
            call_limit: Duration::from_secs(1),
        }
    }
}

/// The value of one setting, or of one note of a unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Setting {
    /// Yes or no.
    Flag(bool),
    /// A number; its unit is in the key.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// Words.
    Text(String),
}

/// A line: a wire or connection that bytes are exchanged on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineSpec {
    /// Its name; unique.
    pub name: Name,
    /// What kind, and where it leads.
    pub kind: LineKind,
    /// How long a unit may take from the end of a request to the end of its reply before a waiting cut goes ahead of it.
    /// Zero where a new request never disturbs the reply to the last one, as on most TCP connections.
    pub turnaround: Duration,
}

impl LineSpec {
    /// A TCP line without turnaround.
    #[must_use]
    pub fn tcp(name: Name, address: impl Into<String>) -> Self {
        Self { name, kind: LineKind::Tcp { address: address.into() }, turnaround: Duration::ZERO }
    }
}

/// The kinds of line.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum LineKind {
    /// A TCP connection that this side opens and keeps open.
    Tcp {
        /// Host and port.
        address: String,
    },
}

/// By what a furnace is heated, so that the host can take it away without asking anyone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FurnaceWiring {
    /// Which furnace.
    pub furnace: FurnaceId,
    /// The unit that controls it; none for a furnace that is kept by hand.
    pub controller: Option<UnitId>,
    /// The point that closes its contactor, if one is wired.
    pub contactor: Option<HeatPointId>,
    /// How often the closing of the contactor is written again, where it drops without; otherwise as seldom as other outputs.
    pub heartbeat: Option<Duration>,
}

/// Everything that a host is started with.
#[derive(Clone, Debug, Default)]
pub struct HostPlan {
    /// The lines.
    pub lines: Vec<LineSpec>,
    /// The driver instances.
    pub drivers: Vec<DriverSpec>,
    /// The numbered units and points that the shop uses; readings of others are dropped.
    pub directory: Directory,
    /// The furnaces that the service may heat or has to cut.
    pub wiring: Vec<FurnaceWiring>,
}
