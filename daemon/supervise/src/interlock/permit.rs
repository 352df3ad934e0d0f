//! The one door that heat passes through.

use std::cmp::Ordering;
use std::marker::PhantomData;
use std::time::Duration;

use hearthward_equipment::quantity::{Temperature, celsius, in_celsius};
use hearthward_equipment::{FurnaceId, Generation, HeatPointId, ShopMs, Tick};
use serde::{Deserialize, Serialize};
use uom::si::f64::Ratio;

use super::InterlockKind;
use super::row::Rows;

/// Leave to heat, granted by the interlocks in this very tick.
///
/// It cannot be made elsewhere, cloned, kept past the tick (`'t`) or read from a file.
///
/// ```compile_fail
/// // It has no constructor: its fields are the interlocks' own.
/// fn forge(furnace: hearthward_equipment::FurnaceId) -> hearthward_supervise::interlock::Permit<'static> {
///     hearthward_supervise::interlock::Permit { furnace }
/// }
/// ```
///
/// ```compile_fail
/// // It does not outlive its tick.
/// fn keep<'t>(permit: hearthward_supervise::interlock::Permit<'t>) -> hearthward_supervise::interlock::Permit<'static> {
///     permit
/// }
/// ```
///
/// ```compile_fail
/// // It cannot be copied.
/// fn twice(permit: hearthward_supervise::interlock::Permit<'_>) {
///     let again = permit.clone();
///     drop((permit, again));
/// }
/// ```
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
///
/// ```compile_fail
/// // It cannot be made: its fields are the interlocks' own.
/// fn forge(means: hearthward_supervise::interlock::Means) -> hearthward_supervise::interlock::HeatOrder {
///     hearthward_supervise::interlock::HeatOrder { means, ..Default::default() }
/// }
/// ```
///
/// ```compile_fail
/// // It cannot be written to a file to be used later, nor read from one.
/// fn stored<T: serde::Serialize + serde::de::DeserializeOwned>() {}
/// stored::<hearthward_supervise::interlock::HeatOrder>();
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

impl Permit<'_> {
    /// An order to work to a set point, at most the ceiling.
    pub fn set_point(self, wanted: Temperature) -> HeatOrder {
        let given = match wanted.partial_cmp(&self.ceiling) {
            Some(Ordering::Greater) => self.ceiling,
            Some(Ordering::Less | Ordering::Equal) => wanted,
            // What is not a number must not become the ceiling.
            None => celsius(0.0),
        };
        self.order(Means::SetPoint(given))
    }

    /// An order to run a controller's program, if the highest temperature that it goes to is permitted: a program cannot be clamped.
    pub fn run_program(self, number: u32, highest: Temperature) -> Option<HeatOrder> {
        (highest <= self.ceiling).then(|| self.order(Means::RunProgram(number)))
    }

    /// An order to close the contactor, beside the one that the permit is turned into.
    pub fn closing(&self, contactor: HeatPointId) -> HeatOrder {
        self.order(Means::Close(contactor))
    }

    /// The most that the set point may be.
    #[must_use]
    pub fn ceiling(&self) -> Temperature {
        self.ceiling
    }

    fn order(&self, means: Means) -> HeatOrder {
        HeatOrder { furnace: self.furnace, means, generation: self.generation, tick: self.tick, expires: self.expires }
    }
}

impl HeatOrder {
    /// Which furnace.
    #[must_use]
    pub fn furnace(&self) -> FurnaceId {
        self.furnace
    }

    /// What it tells the equipment.
    #[must_use]
    pub fn means(&self) -> &Means {
        &self.means
    }

    /// The count of cuts that it was given under: after a further cut it is void.
    #[must_use]
    pub fn generation(&self) -> Generation {
        self.generation
    }

    /// When the lease ends.
    #[must_use]
    pub fn expires(&self) -> ShopMs {
        self.expires
    }

    /// The decision that gave it.
    #[must_use]
    pub fn tick(&self) -> Tick {
        self.tick
    }
}

/// Scans that a lease lasts: two may be late before heat falls away.
const LEASE_SCANS: u32 = 3;

/// What stands of a furnace's permit between two ticks: what has been written of it, and what has not.
///
/// ```text
/// Withheld ──allowed──▶ Pending (written, not yet on disk) ──durable──▶ Granted ──row trips, demand ends──▶ Withheld
/// Granted ──ceiling rises──▶ Granted, higher one pending      Granted ──ceiling falls──▶ Granted, lower at once
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Grant {
    /// The ceiling that may be used now, in °C.
    granted_c: Option<f64>,
    /// A higher one, and the tick that decided it.
    pending: Option<(Tick, f64)>,
}

/// What became of a permit in this tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum GrantChange {
    /// Heat became permitted up to here, or the ceiling changed.
    Permitted(f64),
    /// Heat became withheld.
    Withheld,
}

impl Grant {
    /// Takes what this tick allows: a ceiling in °C, or nothing. Lowering acts at once, raising when it is on disk.
    pub(crate) fn step(&mut self, tick: Tick, durable: Tick, allowed_c: Option<f64>, may_widen: bool) -> Option<GrantChange> {
        let told_c = self.told_c();
        let Some(allowed_c) = allowed_c.filter(|ceiling_c| ceiling_c.is_finite()) else {
            *self = Self::default();
            return told_c.map(|_| GrantChange::Withheld);
        };
        if let Some(granted_c) = &mut self.granted_c {
            *granted_c = granted_c.min(allowed_c);
        }
        let rises = self.granted_c.is_none_or(|granted_c| allowed_c > granted_c);
        if !rises {
            self.pending = None;
        } else if self.pending.is_none_or(|(_, pending_c)| pending_c != allowed_c) {
            // Without a record nothing widens; what was granted before stays.
            self.pending = may_widen.then_some((tick, allowed_c));
        }
        if let Some((decided, ceiling_c)) = self.pending
            && may_widen
            && durable >= decided
        {
            (self.granted_c, self.pending) = (Some(ceiling_c), None);
        }
        let tells_c = self.told_c();
        match tells_c {
            Some(ceiling_c) if told_c != tells_c => Some(GrantChange::Permitted(ceiling_c)),
            None if told_c.is_some() => Some(GrantChange::Withheld),
            _ => None,
        }
    }

    /// The ceiling that the record was told.
    pub(crate) fn told_c(&self) -> Option<f64> {
        self.pending.map(|(_, ceiling_c)| ceiling_c).or(self.granted_c)
    }

    /// The ceiling that orders may use.
    pub(crate) fn granted_c(&self) -> Option<f64> {
        self.granted_c
    }

    /// Whether something waits for the disk.
    pub(crate) fn waits(&self) -> bool {
        self.pending.is_some()
    }
}

/// What a permit is judged from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Case<'a> {
    pub(crate) furnace: FurnaceId,
    pub(crate) rows: &'a Rows,
    pub(crate) grant: &'a Grant,
    pub(crate) generation: Generation,
    pub(crate) tick: Tick,
    pub(crate) now: ShopMs,
    pub(crate) scan: Duration,
}

/// Judges whether a furnace may heat in this tick, and hands the permit to `step`, which cannot keep it.
///
/// Without a permit `step` is not called. The rows are looked at once more here, whatever was decided before: no path leads
/// to an order past a row that withholds.
pub(crate) fn judge<R>(case: &Case<'_>, step: impl for<'t> FnOnce(Permit<'t>) -> R) -> Option<R> {
    let ceiling_c = case.grant.granted_c()?;
    if case.rows.withhold() {
        return None;
    }
    let permit = Permit {
        furnace: case.furnace,
        ceiling: celsius(ceiling_c),
        generation: case.generation,
        tick: case.tick,
        expires: case.now + case.scan * LEASE_SCANS,
        _tick: PhantomData,
    };
    debug_assert!(in_celsius(permit.ceiling).is_finite(), "a ceiling is a number");
    debug_assert!(!case.rows.stands(InterlockKind::Stop), "stopped furnaces do not heat");
    Some(step(permit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interlock::row::Verdict;

    #[test]
    fn a_rise_waits_for_the_disk_and_a_fall_does_not() {
        let mut grant = Grant::default();
        assert_eq!(grant.step(Tick(5), Tick(4), Some(800.0), true), Some(GrantChange::Permitted(800.0)));
        assert_eq!(grant.granted_c(), None);
        assert_eq!(grant.step(Tick(6), Tick(4), Some(800.0), true), None, "told once");
        assert_eq!(grant.step(Tick(7), Tick(5), Some(800.0), true), None);
        assert_eq!(grant.granted_c(), Some(800.0));
        assert_eq!(grant.step(Tick(8), Tick(5), Some(200.0), true), Some(GrantChange::Permitted(200.0)));
        assert_eq!(grant.granted_c(), Some(200.0));
        assert_eq!(grant.step(Tick(9), Tick(8), Some(800.0), true), Some(GrantChange::Permitted(800.0)));
        assert_eq!(grant.granted_c(), Some(200.0), "the old ceiling holds until the new one is on disk");
        assert_eq!(grant.step(Tick(10), Tick(8), None, true), Some(GrantChange::Withheld));
        assert_eq!(grant.granted_c(), None);
    }

    #[test]
    fn without_a_record_nothing_widens_and_what_was_granted_stays() {
        let mut grant = Grant::default();
        assert_eq!(grant.step(Tick(1), Tick(9), Some(800.0), false), None);
        grant.step(Tick(2), Tick(2), Some(200.0), true);
        assert_eq!(grant.granted_c(), Some(200.0));
        grant.step(Tick(3), Tick(9), Some(800.0), false);
        assert_eq!(grant.granted_c(), Some(200.0));
    }

    #[test]
    fn what_is_not_a_number_permits_nothing() {
        let mut grant = Grant::default();
        grant.step(Tick(1), Tick(9), Some(f64::NAN), true);
        assert_eq!(grant.granted_c(), None);
    }

    #[test]
    fn a_row_that_withholds_stands_in_the_way_of_every_order() {
        let mut rows = Rows::default();
        let mut grant = Grant::default();
        grant.step(Tick(1), Tick(1), Some(500.0), true);
        fn case<'a>(rows: &'a Rows, grant: &'a Grant) -> Case<'a> {
            let (generation, tick, scan) = (Generation(3), Tick(1), Duration::from_millis(100));
            Case { furnace: FurnaceId(0), rows, grant, generation, tick, now: ShopMs(1_000), scan }
        }
        let order = judge(&case(&rows, &grant), |permit| permit.set_point(celsius(900.0))).expect("nothing withholds");
        assert_eq!(order.means(), &Means::SetPoint(celsius(500.0)));
        assert_eq!((order.generation(), order.expires(), order.tick()), (Generation(3), ShopMs(1_300), Tick(1)));
        let nan = judge(&case(&rows, &grant), |permit| permit.set_point(celsius(f64::NAN))).expect("nothing withholds");
        assert_eq!(nan.means(), &Means::SetPoint(celsius(0.0)));
        assert!(
            judge(&case(&rows, &grant), |permit| permit.run_program(2, celsius(501.0))).expect("nothing withholds").is_none()
        );
        rows.step(InterlockKind::DoorOpen, ShopMs(0), Verdict::off(true));
        assert!(judge(&case(&rows, &grant), |permit| permit.set_point(celsius(20.0))).is_none());
    }
}
