//! Invariant 9: what is shown as protection is wired.

use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::{FurnacePlan, ShopPlan};
use hearthward_supervise::view::View;

use super::heat::can_cut;
use super::{Found, Oracle, must};

impl Oracle {
    pub(super) fn check_shown(&self, view: &View) -> Found {
        for (seen, plan) in view.furnaces.iter().zip(&self.plan.furnaces) {
            for row in &seen.interlocks {
                let may = may_act(row.kind, plan, &self.plan);
                must(!row.acts || may, || {
                    format!("invariant 9: {:?} of {} is shown as protection and is not", row.kind, plan.name)
                })?;
                let cuts = CUTTING.contains(&row.kind) && can_cut(plan);
                must(row.acts || !cuts, || {
                    format!("invariant 9: {:?} of {} cuts and is shown as a warning", row.kind, plan.name)
                })?;
            }
            for kind in [InterlockKind::OverTemperature, InterlockKind::SensorFault, InterlockKind::Stop] {
                let shown = seen.interlocks.iter().any(|row| row.kind == kind);
                must(shown, || format!("{kind:?} of {} is not shown", plan.name))?;
            }
            let dead = &seen.if_computer_dies;
            must(!dead.is_empty(), || format!("nothing says what cuts {} if this computer dies", plan.name))?;
        }
        Ok(())
    }
}

/// Rows that cut wherever anything is wired that can.
const CUTTING: [InterlockKind; 5] = [
    InterlockKind::DoorOpen,
    InterlockKind::OverTemperature,
    InterlockKind::SensorFault,
    InterlockKind::DriverLost,
    InterlockKind::Stop,
];

/// Whether anything is wired that this row could act by.
fn may_act(kind: InterlockKind, plan: &FurnacePlan, shop: &ShopPlan) -> bool {
    match kind {
        InterlockKind::DoorOpen => plan.door.is_some() && can_cut(plan),
        InterlockKind::RoomOxygen => shop.room.oxygen.is_some() && can_cut(plan),
        // What it turns off is the heater of a bath, which the service commands or does not.
        InterlockKind::QuenchOverTemperature => shop.tanks.iter().any(|tank| tank.unit.is_some()),
        InterlockKind::OffSetPoint | InterlockKind::PurgeFlow | InterlockKind::GasSupply | InterlockKind::QuenchReadiness => {
            false
        }
        InterlockKind::SharedSupply => plan.gas.as_ref().is_some_and(|gas| gas.meter.is_some() && !gas.by_eye),
        _ => can_cut(plan),
    }
}
