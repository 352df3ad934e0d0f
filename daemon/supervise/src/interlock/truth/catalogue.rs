//! What belongs to a furnace, what acts there, and what may be bypassed, for every furnace that there can be.

use std::time::Duration;

use hearthward_equipment::{HeatPointId, Name, PointId, UnitId};

use super::super::InterlockKind::{
    self, DoorOpen, DriverLost, Ending, GasSupply, Interrupted, OffSetPoint, OneTankOneLoad, OpeningAtHeat, OverTemperature,
    PurgeBeforeHeat, PurgeFlow, QuenchOverTemperature, QuenchReadiness, RoomOxygen, RunTimeLimit, SensorFault, SharedElectrical,
    SharedSupply, ShopRule, ShopWatch, Stop,
};
use super::super::{Effect, For, acts, applies, effect, entry, may_be_bypassed};
use super::{every, one_of};
use crate::facts::{Situation, Tank};
use crate::plan::{Contactor, FurnacePlan, Heating};
use crate::rule::{Draft, Input, Operator, Quantity, RuleEffect, RulePlan};

pub(super) fn rule(name: &str, effect: RuleEffect) -> RulePlan {
    let input = Input { point: PointId(9), quantity: Quantity::Flag, stale_after: Duration::from_secs(3) };
    let when = Draft::apply(Operator::Not, vec![Draft::input(input)]).and_then(Draft::finish).expect("it fits");
    let name = Name::new(name).expect("a test's name");
    let (text, source) = (format!("the {name} is off"), format!("!{name}_on"));
    RulePlan { name, text, source, when, effect, latch: false, after: Duration::ZERO }
}

pub(super) fn contactor() -> Contactor {
    Contactor { output: HeatPointId(8), feedback: None }
}

/// The table: its row, what it does, and for whom its cause is one.
const TABLE: [(InterlockKind, Effect, For); InterlockKind::COUNT] = [
    (PurgeBeforeHeat, Effect::Limits, For::Turn),
    (OpeningAtHeat, Effect::Asks, For::Steel),
    (DoorOpen, Effect::Cuts, For::People),
    (OverTemperature, Effect::Cuts, For::People),
    (OffSetPoint, Effect::Alarms, For::Steel),
    (SensorFault, Effect::Cuts, For::People),
    (DriverLost, Effect::Cuts, For::People),
    (PurgeFlow, Effect::Asks, For::Steel),
    (GasSupply, Effect::Asks, For::Steel),
    (QuenchReadiness, Effect::Asks, For::Steel),
    (QuenchOverTemperature, Effect::HoldsPull, For::Steel),
    (RoomOxygen, Effect::Cuts, For::People),
    (OneTankOneLoad, Effect::Waits, For::Turn),
    (SharedSupply, Effect::Waits, For::Turn),
    (SharedElectrical, Effect::Waits, For::Turn),
    (RunTimeLimit, Effect::Cuts, For::People),
    (Stop, Effect::Cuts, For::People),
    (Interrupted, Effect::Cuts, For::People),
    (Ending, Effect::Cuts, For::People),
    (ShopRule, Effect::Cuts, For::People),
    (ShopWatch, Effect::Asks, For::Steel),
];

#[test]
fn each_row_does_what_the_table_says() {
    for (kind, does, causes) in TABLE {
        assert_eq!((entry(kind).kind, effect(kind), entry(kind).causes), (kind, does, causes));
    }
}

#[test]
fn a_row_belongs_to_a_furnace_that_has_what_it_is_about() {
    every(|[gas, door, room, demand, limit, rule_cuts, rule_warns]| {
        let mut plan = crate::testing::furnace("north");
        plan.gas = plan.gas.filter(|_| gas);
        plan.door = plan.door.filter(|_| door);
        plan.run_time_limit = limit.then_some(Duration::from_secs(60));
        plan.policy.rules.extend(rule_cuts.then(|| rule("hood", RuleEffect::Cut)));
        plan.policy.rules.extend(rule_warns.then(|| rule("fan", RuleEffect::Ask)));
        for kind in InterlockKind::ALL {
            let about = match kind {
                PurgeBeforeHeat | OpeningAtHeat | PurgeFlow | GasSupply | SharedSupply => gas,
                DoorOpen => door,
                RoomOxygen => room,
                SharedElectrical => demand,
                RunTimeLimit => limit,
                ShopRule => rule_cuts,
                ShopWatch => rule_warns,
                OverTemperature
                | OffSetPoint
                | SensorFault
                | DriverLost
                | QuenchReadiness
                | QuenchOverTemperature
                | OneTankOneLoad
                | Stop
                | Interrupted
                | Ending => true,
            };
            assert_eq!(applies(kind, &plan, room, demand), about, "{kind:?}");
        }
    });
}

#[test]
fn a_row_acts_where_something_is_wired() {
    const MEANS: [Heating; 4] = [Heating::SetPoint, Heating::Program, Heating::ByHand, Heating::Watched];
    every(|[heating_high, heating_low, controller, contacts, gas, meter, by_eye, heater]| {
        let plan = crate::testing::furnace("north");
        let plan = FurnacePlan {
            heating: one_of(MEANS, heating_high, heating_low),
            controller: controller.then_some(UnitId(0)),
            contactor: contacts.then(contactor),
            gas: plan.gas.clone().filter(|_| gas).map(|mut gas| {
                (gas.meter, gas.by_eye) = (meter.then_some(UnitId(1)), by_eye);
                gas
            }),
            ..plan
        };
        // "An interlock without a wired output is shown as *warns only*"; what a person heats is cut by a contactor alone.
        let cuts = match plan.heating {
            Heating::SetPoint | Heating::Program => controller || contacts,
            Heating::ByHand => contacts,
            Heating::Watched => false,
        };
        let now = Situation { tank: Tank { heater, ..Tank::default() }, ..Situation::default() };
        for kind in InterlockKind::ALL {
            let wired = match kind {
                // They tell a person, who acts.
                OffSetPoint | PurgeFlow | GasSupply | QuenchReadiness | ShopWatch => false,
                // It holds gas back by a meter that can be set.
                SharedSupply => gas && meter && !by_eye,
                // "heater off": where the bath's heater is the service's to switch.
                QuenchOverTemperature => heater,
                _ => cuts,
            };
            assert_eq!(acts(kind, &plan, &now), wired, "{kind:?} {plan:?}");
        }
    });
}

#[test]
fn some_rows_are_never_bypassed() {
    // "never for door, over-temperature, sensor fault, room oxygen or stop"; the rest has its reason beside it in the catalogue.
    let open = [OpeningAtHeat, OffSetPoint, DriverLost, PurgeFlow, GasSupply, QuenchReadiness, RunTimeLimit, ShopRule, ShopWatch];
    for kind in InterlockKind::ALL {
        assert_eq!(may_be_bypassed(kind).is_ok(), open.contains(&kind), "{kind:?}");
    }
}
