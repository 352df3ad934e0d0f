//! The one door that heat passes through.

use std::marker::PhantomData;

use hearthward_equipment::quantity::Temperature;
use hearthward_equipment::{FurnaceId, Generation, HeatPointId, ShopMs, Tick};
use uom::si::f64::Ratio;

/// Leave to heat, granted by the interlocks in this very tick.
///
/// It cannot be made elsewhere, cloned, kept past the tick (`'t`) or read from a file.
#[derive(Debug)]
pub struct Permit<'t> {
    furnace: FurnaceId,
    ceiling: Temperature,
    generation: Generation,
    tick: Tick,
    expires: ShopMs,
    _tick: PhantomData<fn(&'t ()) -> &'t ()>,
}

/// The one order that lets a furnace heat: a short lease, void after its time or after a cut.
///
/// ```compile_fail
/// // An order cannot be copied: a lease is used once.
/// fn twice(order: hearthward_supervise::interlock::HeatOrder) -> [hearthward_supervise::interlock::HeatOrder; 2] {
///     [order.clone(), order]
/// }
/// ```
#[must_use]
#[derive(Debug)]
pub struct HeatOrder {
    furnace: FurnaceId,
    means: Means,
    generation: Generation,
    tick: Tick,
    expires: ShopMs,
}

/// What an order tells the equipment.
#[derive(Clone, Debug, PartialEq)]
pub enum Means {
    /// Work to this set point.
    SetPoint(Temperature),
    /// Give this share of full power.
    OutputShare(Ratio),
    /// Run this program.
    RunProgram(u32),
    /// Close this contactor, and keep it closed by renewing the order.
    Close(HeatPointId),
}
