//! The shop as it is now.

use hearthward_equipment::ShopMs;
use hearthward_proto::v1;
use hearthward_supervise::plan::{FurnacePlan, Heating, ShopPlan, SupplyPlan, TankPlan};
use hearthward_supervise::view::{FurnaceView, OxygenEstimate, PointView, SupplyView, TankView, View};

use super::interlocks::Clocks;
use super::{alarms, cycles, interlocks, millis, tidy, timestamp, values};
use hearthward_equipment::quantity::in_celsius;

/// What a snapshot says beside what the view holds.
pub(crate) struct Frame<'a> {
    pub(crate) plan: &'a ShopPlan,
    pub(crate) version: &'a str,
    pub(crate) journal_id: &'a str,
    pub(crate) last_seq: u64,
    pub(crate) wall_ms: i64,
}

pub(crate) fn shop(view: &View, frame: &Frame<'_>) -> v1::Shop {
    let furnaces = view.furnaces.iter().enumerate();
    let tanks = view.tanks.iter().enumerate();
    v1::Shop {
        name: frame.plan.name.clone(),
        version: frame.version.into(),
        journal_id: frame.journal_id.into(),
        last_seq: frame.last_seq,
        time: Some(timestamp(frame.wall_ms)),
        shop_ms: view.at.0,
        tick: view.tick.0,
        furnaces: furnaces.map(|(place, one)| furnace(one, frame.plan.furnaces.get(place), view.at, frame.wall_ms)).collect(),
        tanks: tanks.map(|(place, one)| tank(one, frame.plan.tanks.get(place))).collect(),
        supplies: view.supplies.iter().enumerate().map(|(place, one)| supply(one, frame.plan.supplies.get(place))).collect(),
        room_oxygen_share: view.room_oxygen,
        readings: readings(view, frame.plan, |_| true),
        questions: view.questions.iter().map(|one| cycles::question(one, view.at)).collect(),
        record_failing: view.record_failing.clone().unwrap_or_default(),
        alarms: Some(alarms::alarms(&view.alarms)),
    }
}

/// The latest readings of the points that are wanted, in the order of the shop's list.
pub(crate) fn readings(view: &View, plan: &ShopPlan, wanted: impl Fn(usize) -> bool) -> Vec<v1::Reading> {
    let addressed = plan.directory.points().iter().zip(&view.points).enumerate();
    addressed
        .filter(|(place, _)| wanted(*place))
        .map(|(_, (address, point))| reading(address.to_string(), point, view.at))
        .collect()
}

fn reading(point: String, view: &PointView, now: ShopMs) -> v1::Reading {
    v1::Reading {
        point,
        value: view.value.as_ref().map(values::value),
        quality: values::quality(view.quality).into(),
        evidence: values::evidence(view.evidence).into(),
        age_ms: view.at.map(|at| millis(now.since(at))),
    }
}

fn furnace(view: &FurnaceView, plan: Option<&FurnacePlan>, now: ShopMs, wall_ms: i64) -> v1::Furnace {
    let clocks = Clocks::of(plan, now, wall_ms);
    v1::Furnace {
        name: view.name.to_string(),
        heating: plan.map_or(v1::Heating::Unspecified, |plan| heating(&plan.heating)).into(),
        temperature_c: view.temperature_c.map(tidy),
        wanted_c: view.wanted_c.map(tidy),
        ceiling_c: view.ceiling_c.map(tidy),
        limit_c: plan.map_or(0.0, |plan| tidy(in_celsius(plan.limit))),
        generation: view.generation.0,
        door_open: view.door_open,
        flow_l_min: view.flow_l_min.map(tidy),
        probe_ppm: view.probe_ppm,
        estimate: view.estimate.as_ref().map(estimate),
        changes_delivered: view.changes.map(|(delivered, _)| delivered),
        changes_owed: view.changes.map(|(_, owed)| owed),
        purge_proved: view.purge_proved,
        interlocks: view.interlocks.iter().map(|one| interlocks::interlock(one, clocks)).collect(),
        cycle: view.cycle.as_ref().map(cycles::cycle),
        if_computer_dies: view.if_computer_dies.clone(),
    }
}

fn heating(heating: &Heating) -> v1::Heating {
    match heating {
        Heating::SetPoint => v1::Heating::SetPoint,
        Heating::Program => v1::Heating::Program,
        Heating::ByHand => v1::Heating::ByHand,
        Heating::Watched => v1::Heating::Watched,
    }
}

fn estimate(estimate: &OxygenEstimate) -> v1::OxygenEstimate {
    v1::OxygenEstimate { low_ppm: estimate.low_ppm, high_ppm: estimate.high_ppm, basis: estimate.basis.clone() }
}

fn tank(view: &TankView, plan: Option<&TankPlan>) -> v1::Tank {
    v1::Tank {
        name: view.name.to_string(),
        temperature_c: view.temperature_c.map(tidy),
        window_low_c: plan.map_or(0.0, |plan| tidy(in_celsius(plan.window_low))),
        window_high_c: plan.map_or(0.0, |plan| tidy(in_celsius(plan.window_high))),
        ready: view.ready,
        text: view.text.clone(),
        kept_for: view.kept_for.as_ref().map(ToString::to_string).unwrap_or_default(),
    }
}

fn supply(view: &SupplyView, plan: Option<&SupplyPlan>) -> v1::Supply {
    v1::Supply {
        name: view.name.to_string(),
        pressure_kpa: view.pressure_kpa.map(tidy),
        flow_l_min: view.flow_l_min.map(tidy),
        gauged: plan.is_some_and(|plan| plan.pressure.is_some()),
    }
}
