//! What a Hearthward driver is written against.
//!
//! A driver is a Wasm component that speaks for units (furnace controllers, flow meters, quench tanks, I/O modules) on the
//! lines that the shop's configuration grants it. It has no files, no sockets, no randomness and no clock but the shop's.
//! An author implements [`Driver`] and the traits of the faces that his units have, exports them with [`export!`], and
//! builds a `cdylib` for `wasm32-unknown-unknown`; the daemon makes the component.
//!
//! ```
//! use hearthward_driver::{Driver, Description, Fault, Form, Problem, Settings, Unit, reading};
//! use hearthward_driver::{FlowMeter, FlowReading};
//!
//! /// A meter that always shows the same.
//! struct Steady {
//!     flow_l_min: f64,
//! }
//!
//! impl Driver for Steady {
//!     fn describe() -> Description {
//!         reading::description("steady", env!("CARGO_PKG_VERSION"))
//!     }
//!
//!     fn build(settings: &Settings, _lines: &[String]) -> Result<(Self, Vec<Unit>), Vec<Problem>> {
//!         let form = Form::new(settings);
//!         let flow_l_min = form.root().number_or("flow_l_min", 0.0..=50.0, 4.0);
//!         form.finish()?;
//!         Ok((Self { flow_l_min }, vec![reading::unit("meter", "flow-meter", &["flow"])]))
//!     }
//! }
//!
//! impl FlowMeter for Steady {
//!     fn read(&mut self, _unit: usize) -> Result<FlowReading, Fault> {
//!         Ok(FlowReading {
//!             flow: Some(reading::flow(self.flow_l_min, 0.0, 101.325)),
//!             set_flow: None,
//!             pressure_kpa: None,
//!             temperature_c: None,
//!             points: Vec::new(),
//!         })
//!     }
//! }
//!
//! hearthward_driver::export!(Steady: flow_meter);
//! # fn main() {}
//! ```
//!
//! What is where: [`Form`] reads settings and collects every problem at once; [`Bus`] and [`Clock`] stand between a driver's
//! logic and the host, so that the logic is tested natively; [`frame`] builds the rules that say where a reply ends;
//! [`fault`] holds the codes; [`quantity`] the words for what a value measures; [`reading`] the
//! small constructors; [`modbus`] a codec without any I/O.
//!
//! The crate compiles natively too, where [`export!`] expands to nothing and [`Host`] panics when called.

// The generated export macros name this crate by its name, here as in an author's crate.
extern crate self as hearthward_driver;

pub mod bindings;
mod driver;
pub mod fault;
pub mod frame;
#[doc(hidden)]
pub mod glue;
mod host;
pub mod modbus;
mod nearest;
pub mod quantity;
pub mod reading;
mod settings;

pub use bindings::base::exports::hearthward::equipment::driver::{Description, Problem, StandingCut, Unit, WireCost};
pub use bindings::base::hearthward::equipment::line::{Extent, FrameRule, LengthField};
pub use bindings::base::hearthward::equipment::log::Level;
pub use bindings::base::hearthward::equipment::types::{Fault, Flag, Named, Number, Point, Quality, Value};
pub use bindings::flow_meter::exports::hearthward::equipment::flow_meter::{FlowReading, GasFlow};
pub use bindings::furnace::exports::hearthward::equipment::furnace::{FurnaceReading, HeatCommand};
pub use bindings::quench_tank::exports::hearthward::equipment::quench_tank::{TankCommand, TankReading};
pub use driver::{Driver, FlowMeter, Furnace, Identify, Points, QuenchTank};
pub use host::{Bus, Clock, Host, log};
pub use nearest::nearest;
pub use settings::{Form, Section, Settings, is_point_name, is_unit_name};

// For the generated code only.
#[doc(hidden)]
pub use wit_bindgen;

/// Exports a driver: its type, a colon, and the faces whose traits it implements, out of `furnace`, `flow_meter`,
/// `quench_tank`, `points` and `identify`.
///
/// ```ignore
/// hearthward_driver::export!(MyDriver: furnace, points);
/// ```
///
/// Once per `cdylib`. It keeps the one instance, installs a panic hook that sends a panic's text to the host's log (a trap
/// alone says nothing), and expands to nothing on any target but `wasm32`.
#[macro_export]
macro_rules! export {
    ($driver:ty: $($face:ident),+ $(,)?) => {
        #[cfg(target_arch = "wasm32")]
        const _: () = {
            struct Exported;
            ::std::thread_local! {
                static SLOT: $crate::glue::Slot<$driver> = const { $crate::glue::Slot::new() };
            }
            $crate::__export_face!(base, $driver, Exported, SLOT);
            $($crate::__export_face!($face, $driver, Exported, SLOT);)+
        };
        // The faces are checked natively as well, so that a missing trait shows up in an ordinary `cargo check`.
        #[cfg(not(target_arch = "wasm32"))]
        const _: () = {
            $($crate::__check_face!($face, $driver);)+
        };
    };
}
