//! What [`export!`](crate::export) puts between the contract's plain functions and an author's traits. Not for authors.

use std::cell::RefCell;
use std::sync::Once;

use crate::{Driver, Fault, Level, Named, Problem, Settings, Unit, fault};

/// The one instance of a driver in its sandbox.
#[derive(Debug)]
pub struct Slot<D>(RefCell<Option<D>>);

impl<D: Driver> Slot<D> {
    /// Nothing open yet.
    #[must_use]
    pub const fn new() -> Self {
        Self(RefCell::new(None))
    }

    /// The contract's `open`.
    ///
    /// # Errors
    /// [`fault::NOT_ALLOWED`] with all problems in one text: `check` is the place where they come apart.
    pub fn open(&self, settings: Vec<Named>, lines: &[String]) -> Result<Vec<Unit>, Fault> {
        let (driver, units) = D::build(&Settings::new(settings), lines).map_err(|problems| as_fault(&problems))?;
        *self.0.borrow_mut() = Some(driver);
        Ok(units)
    }

    /// The contract's `close`.
    pub fn close(&self) {
        if let Some(mut driver) = self.0.borrow_mut().take() {
            driver.close();
        }
    }

    /// Any call that needs the open driver.
    ///
    /// # Errors
    /// [`fault::OTHER`] before `open`, or what the call itself says.
    pub fn with<R>(&self, call: impl FnOnce(&mut D) -> Result<R, Fault>) -> Result<R, Fault> {
        match self.0.borrow_mut().as_mut() {
            Some(driver) => call(driver),
            None => Err(fault::new(fault::OTHER, "called before the driver was opened")),
        }
    }
}

impl<D: Driver> Default for Slot<D> {
    fn default() -> Self {
        Self::new()
    }
}

/// The contract's `check`.
///
/// # Errors
/// Every problem of the settings.
pub fn check<D: Driver>(settings: Vec<Named>, lines: &[String]) -> Result<Vec<Unit>, Vec<Problem>> {
    D::build(&Settings::new(settings), lines).map(|(_, units)| units)
}

/// Sends a panic's text to the host's log. With `panic = "abort"` the trap that follows carries no words at all.
pub fn install_panic_hook() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        std::panic::set_hook(Box::new(|panic| crate::log(Level::Error, &format!("{panic}"))));
    });
}

fn as_fault(problems: &[Problem]) -> Fault {
    let told: Vec<String> = problems.iter().map(|problem| format!("{}: {}", problem.key, problem.message)).collect();
    fault::new(fault::NOT_ALLOWED, told.join("; "))
}

/// Exports one face. One arm per face, since each has functions of its own.
#[doc(hidden)]
#[macro_export]
macro_rules! __export_face {
    (base, $driver:ty, $exported:ident, $slot:ident) => {
        impl $crate::bindings::base::exports::hearthward::equipment::driver::Guest for $exported {
            fn describe() -> $crate::Description {
                $crate::glue::install_panic_hook();
                <$driver as $crate::Driver>::describe()
            }
            fn check(
                settings: ::std::vec::Vec<$crate::Named>,
                lines: ::std::vec::Vec<::std::string::String>,
            ) -> ::std::result::Result<::std::vec::Vec<$crate::Unit>, ::std::vec::Vec<$crate::Problem>> {
                $crate::glue::install_panic_hook();
                $crate::glue::check::<$driver>(settings, &lines)
            }
            fn open(
                settings: ::std::vec::Vec<$crate::Named>,
                lines: ::std::vec::Vec<::std::string::String>,
            ) -> ::std::result::Result<::std::vec::Vec<$crate::Unit>, $crate::Fault> {
                $crate::glue::install_panic_hook();
                $slot.with(|slot| slot.open(settings, &lines))
            }
            fn close() {
                $slot.with(|slot| slot.close());
            }
        }
        $crate::bindings::base::export_base!($exported);
    };
    (furnace, $driver:ty, $exported:ident, $slot:ident) => {
        impl $crate::bindings::furnace::exports::hearthward::equipment::furnace::Guest for $exported {
            fn read(unit: u32) -> ::std::result::Result<$crate::FurnaceReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::Furnace::read(driver, unit as usize)))
            }
            fn heat(unit: u32, command: $crate::HeatCommand) -> ::std::result::Result<$crate::FurnaceReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::Furnace::heat(driver, unit as usize, command)))
            }
            fn cut(unit: u32) -> ::std::result::Result<$crate::FurnaceReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::Furnace::cut(driver, unit as usize)))
            }
        }
        $crate::bindings::furnace::export_furnace!($exported);
    };
    (flow_meter, $driver:ty, $exported:ident, $slot:ident) => {
        impl $crate::bindings::flow_meter::exports::hearthward::equipment::flow_meter::Guest for $exported {
            fn read(unit: u32) -> ::std::result::Result<$crate::FlowReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::FlowMeter::read(driver, unit as usize)))
            }
            fn set_flow(unit: u32, flow: $crate::GasFlow) -> ::std::result::Result<$crate::FlowReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::FlowMeter::set_flow(driver, unit as usize, flow)))
            }
        }
        $crate::bindings::flow_meter::export_flow_meter!($exported);
    };
    (quench_tank, $driver:ty, $exported:ident, $slot:ident) => {
        impl $crate::bindings::quench_tank::exports::hearthward::equipment::quench_tank::Guest for $exported {
            fn read(unit: u32) -> ::std::result::Result<$crate::TankReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::QuenchTank::read(driver, unit as usize)))
            }
            fn write(unit: u32, command: $crate::TankCommand) -> ::std::result::Result<$crate::TankReading, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::QuenchTank::write(driver, unit as usize, command)))
            }
        }
        $crate::bindings::quench_tank::export_quench_tank!($exported);
    };
    (points, $driver:ty, $exported:ident, $slot:ident) => {
        impl $crate::bindings::points::exports::hearthward::equipment::points::Guest for $exported {
            fn read(unit: u32) -> ::std::result::Result<::std::vec::Vec<$crate::Point>, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::Points::read(driver, unit as usize)))
            }
            fn write(
                unit: u32,
                name: ::std::string::String,
                value: $crate::Value,
            ) -> ::std::result::Result<$crate::Point, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::Points::write(driver, unit as usize, &name, value)))
            }
        }
        $crate::bindings::points::export_points!($exported);
    };
    (identify, $driver:ty, $exported:ident, $slot:ident) => {
        impl $crate::bindings::identify::exports::hearthward::equipment::identify::Guest for $exported {
            fn identify(unit: u32) -> ::std::result::Result<::std::string::String, $crate::Fault> {
                $slot.with(|slot| slot.with(|driver| $crate::Identify::identify(driver, unit as usize)))
            }
        }
        $crate::bindings::identify::export_identify!($exported);
    };
}

/// The native stand-in of [`__export_face`]: only asks that the trait is there.
#[doc(hidden)]
#[macro_export]
macro_rules! __check_face {
    (furnace, $driver:ty) => {
        const fn furnace<D: $crate::Furnace>() {}
        furnace::<$driver>();
    };
    (flow_meter, $driver:ty) => {
        const fn flow_meter<D: $crate::FlowMeter>() {}
        flow_meter::<$driver>();
    };
    (quench_tank, $driver:ty) => {
        const fn quench_tank<D: $crate::QuenchTank>() {}
        quench_tank::<$driver>();
    };
    (points, $driver:ty) => {
        const fn points<D: $crate::Points>() {}
        points::<$driver>();
    };
    (identify, $driver:ty) => {
        const fn identify<D: $crate::Identify>() {}
        identify::<$driver>();
    };
}
