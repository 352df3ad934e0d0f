//! The configuration: read in layers, checked in one pass that lists every problem at once.
//!
//! Three steps, one direction: `layers` gathers text from files, environment and flags; the parts beside it turn tables into
//! [`Settings`], in which every value is checked but addresses are still text; [`crate::wiring`] resolves those against what the
//! drivers say of themselves.

mod advice;
mod alarms;
mod equipment;
mod folders;
mod furnace;
mod layers;
mod overrides;
mod parts;
mod place;
mod policy;
mod problem;
pub(crate) mod quantities;
mod recipe;
mod section;
mod unread;

use std::path::PathBuf;
use std::time::Duration;

pub use alarms::AlarmSettings;
pub use equipment::{PointRef, RoomSettings, SupplySettings, TankSettings};
pub use furnace::{ContactorSettings, FurnaceSettings, GasSettings};
use hearthward_drivers::LineSpec;
use hearthward_equipment::Name;
use hearthward_journal::InputsKept;
pub use layers::Sources;
pub use parts::{DriverSettings, HostSettings, Listen};
pub use policy::{PolicySettings, RulePoint, RuleSettings};
pub use problem::{Problem, Problems};
pub use recipe::{Bath, RecipeSettings, StepSettings};
use uom::si::f64::Power;

/// A configuration in which every value was checked by itself.
#[derive(Debug)]
pub struct Settings {
    /// The shop's name, for people.
    pub name: String,
    /// Time between two scans.
    pub scan: Duration,
    /// The longest gap that is ridden through.
    pub ride_through: Duration,
    /// Where the API is offered.
    pub listen: Listen,
    /// The journal's file.
    pub journal: PathBuf,
    /// How much of the core's inputs the journal keeps.
    pub inputs: InputsKept,
    /// Where drivers are looked for and kept compiled.
    pub host: HostSettings,
    /// The lines.
    pub lines: Vec<LineSpec>,
    /// The drivers.
    pub drivers: Vec<DriverSettings>,
    /// The names of all lines, also of those with problems.
    pub line_names: Vec<Name>,
    /// The same of all drivers.
    pub driver_names: Vec<Name>,
    /// The same of all supplies.
    pub supply_names: Vec<Name>,
    /// The same of all furnaces.
    pub furnace_names: Vec<Name>,
    /// The same of all tanks.
    pub tank_names: Vec<Name>,
    /// The gas supplies.
    pub supplies: Vec<SupplySettings>,
    /// The furnaces.
    pub furnaces: Vec<FurnaceSettings>,
    /// The quench tanks.
    pub tanks: Vec<TankSettings>,
    /// The room.
    pub room: RoomSettings,
    /// The alarms.
    pub alarms: AlarmSettings,
    /// The most electrical power that may heat at one time.
    pub electrical_demand: Option<Power>,
    /// Rules of the shop's own.
    pub rules: Vec<RuleSettings>,
    /// Recipes by name.
    pub recipes: Vec<RecipeSettings>,
    /// The configuration as merged, for the record.
    pub merged: String,
}

impl Settings {
    /// Reads and checks a configuration.
    ///
    /// What could be read is returned even beside problems, so that the drivers can be surveyed and all problems shown together;
    /// nothing may be started from it unless `problems` stayed empty. Where a file could not be read, the others are still checked
    /// for what is wrong in themselves, and nothing is returned.
    pub fn read(sources: &Sources, problems: &Problems) -> Option<Self> {
        let merged = layers::merge(sources, problems)?;
        let text = merged.text;
        let root = section::Section::root(merged.values, problems);
        let settings = parts::settings(&root, &merged.base, text);
        root.finish();
        // Whether the parts fit together cannot be said while one is not known.
        (!problems.is_partial()).then_some(settings)
    }
}
