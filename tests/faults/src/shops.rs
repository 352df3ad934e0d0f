//! Shops of every size and kind, each the same for its seed.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, gas_flow, in_celsius, kelvins};
use hearthward_equipment::{Address, Directory, HeatPointId, Name, PointId, SupplyId, UnitId};
use hearthward_process::gas::Gas;
use hearthward_supervise::alarm::{AlarmKind, AlarmPlan, Delays};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::{
    Calibration, ChamberKind, ChamberPlan, Contactor, DeadMan, FurnacePlan, GasPlan, Heating, OnSilence, PolicyPlan, PurgePlan,
    RoomPlan, ShopPlan, SteelChoice, SupplyPlan, TankPlan, ValvePlan,
};
use hearthward_supervise::rule::{Draft, Input, Operator, Quantity, RuleEffect, RulePlan};
use uom::si::f64::{Power, Pressure, Ratio, Volume};
use uom::si::power::kilowatt;
use uom::si::pressure::bar;
use uom::si::ratio::{part_per_million, percent, ratio};
use uom::si::volume::liter;

use crate::chance::Chance;

/// Most furnaces of a shop.
pub const MOST_FURNACES: u64 = 8;

/// A shop as it is built, beside what its core is told of it.
#[derive(Clone, Debug)]
pub struct Built {
    /// What the core is told.
    pub plan: ShopPlan,
    /// Steepest rise of each furnace at full power, in K/s.
    pub rises_k_per_s: Vec<f64>,
}

const PLACE: u64 = 1;

/// The shop of a seed.
#[must_use]
pub fn shop(seed: u64) -> Built {
    let mut chance = Chance::of(seed, &[PLACE]);
    // Small shops are the rule, large ones put weight on what is shared.
    let size = if chance.happens(0.4) { chance.from_to(1, 3) } else { chance.from_to(3, MOST_FURNACES) };
    let mut directory = Directory::default();
    let supplies = chance.from_to(1, 2);
    let tanks = chance.from_to(1, 2);
    let (mut furnaces, mut rises_k_per_s) = (Vec::new(), Vec::new());
    for place in 0..size {
        let mut own = Chance::of(seed, &[PLACE, 1, place]);
        let rise_k_per_s = own.between(0.6, 2.0);
        furnaces.push(furnace(&mut own, &mut directory, place, supplies, rise_k_per_s));
        rises_k_per_s.push(rise_k_per_s);
    }
    let mut tanks: Vec<TankPlan> =
        (0..tanks).map(|place| tank(&mut Chance::of(seed, &[PLACE, 2, place]), &mut directory, place)).collect();
    let supplies = (0..supplies).map(|place| supply(&mut Chance::of(seed, &[PLACE, 3, place]), &mut directory, place)).collect();
    let room = room(&mut chance, &mut directory);
    let electrical_demand = chance.happens(0.45).then(|| demand(&mut chance, &furnaces));
    let alarms = alarms(&mut chance, &mut directory);
    wire_more(seed, &mut directory, &mut furnaces, &mut tanks);
    let plan = ShopPlan {
        name: format!("shop {seed}"),
        scan: Duration::from_secs(1),
        ride_through: Duration::from_secs(chance.pick(&[30, 60])),
        directory,
        furnaces,
        tanks,
        supplies,
        room,
        electrical_demand,
        alarms,
    };
    Built { plan, rises_k_per_s }
}

/// Set points and heat that can be read back, and switches that tell of a part in the bath. Chosen apart from all else, so that what was known of
/// a seed before stays as it was.
fn wire_more(seed: u64, directory: &mut Directory, furnaces: &mut [FurnacePlan], tanks: &mut [TankPlan]) {
    for (place, furnace) in furnaces.iter_mut().enumerate() {
        let driven = matches!(furnace.heating, Heating::SetPoint | Heating::Program);
        if driven && Chance::of(seed, &[PLACE, 4, place as u64]).happens(0.6) {
            furnace.set_point = Some(point(directory, format!("line/set{place}.value")));
        }
        if driven && Chance::of(seed, &[PLACE, 6, place as u64]).happens(0.6) {
            furnace.heat_on = Some(point(directory, format!("line/on{place}.value")));
        }
    }
    for (place, tank) in tanks.iter_mut().enumerate() {
        if Chance::of(seed, &[PLACE, 5, place as u64]).happens(0.4) {
            tank.part_under = Some(point(directory, format!("bath/tank{place}.under")));
        }
    }
}

/// A name made of a word and a number.
///
/// # Panics
/// If the word makes no name.
#[must_use]
pub fn name(word: &str, place: u64) -> Name {
    Name::new(format!("{word}{place}")).expect("a word and a number make a name")
}

fn point(directory: &mut Directory, address: String) -> PointId {
    directory.point(&address.parse::<Address>().expect("an address of the simulator"))
}

fn unit(directory: &mut Directory, address: String) -> UnitId {
    directory.unit(&address.parse().expect("a unit of the simulator"))
}

fn demand(chance: &mut Chance, furnaces: &[FurnacePlan]) -> Power {
    let largest = furnaces.iter().map(|furnace| furnace.power.value).fold(0.0, f64::max);
    let all: f64 = furnaces.iter().map(|furnace| furnace.power.value).sum();
    Power { value: largest.max(all * chance.between(0.3, 0.9)), ..Power::new::<kilowatt>(0.0) }
}

fn furnace(chance: &mut Chance, directory: &mut Directory, place: u64, supplies: u64, rise_k_per_s: f64) -> FurnacePlan {
    let heating = match chance.below(20) {
        0..12 => Heating::SetPoint,
        12..15 => Heating::Program,
        15..19 => Heating::ByHand,
        _ => Heating::Watched,
    };
    let by_hand = heating == Heating::ByHand;
    let controller = unit(directory, format!("line{place}/furnace"));
    let mut at = |wired: bool, address: &str| wired.then(|| point(directory, format!("{address}{place}.value")));
    let temperature = at(true, "line/t").expect("it is wired");
    let output_share = at(!by_hand && chance.happens(0.4), "line/share");
    let over_temperature = at(!by_hand && chance.happens(0.3), "line/alarm");
    let door = at(chance.happens(0.8), "io/door");
    let load_temperature = at(chance.happens(0.2), "line/load");
    let probe = at(chance.happens(0.15), "io/probe");
    let contactor = at(chance.happens(if by_hand { 0.6 } else { 0.4 }), "io/contactor");
    let gas = chance.happens(0.7).then(|| gas(chance, directory, place, supplies));
    let limit_c = chance.pick(&[900.0, 1000.0, 1080.0]);
    let kind = chance.pick(&[ChamberKind::Retort, ChamberKind::Retort, ChamberKind::Brick, ChamberKind::Fibre]);
    FurnacePlan {
        name: name("furnace", place),
        controller: Some(controller),
        heating,
        dead_man: DeadMan::Nothing,
        temperature,
        stale_after: Duration::from_secs(chance.pick(&[3, 5, 10])),
        set_point: None,
        output_share,
        heat_on: None,
        over_temperature,
        door,
        load_temperature,
        probe,
        contactor: contactor.map(|output| Contactor { output: HeatPointId(output.0), feedback: None }),
        chamber: ChamberPlan {
            kind,
            volume: Volume::new::<liter>(chance.between(3.0, 12.0)),
            calibration: chance.happens(0.2).then(|| calibration(chance)),
        },
        rated: celsius(1100.0),
        limit: celsius(limit_c),
        power: Power::new::<kilowatt>(chance.between(1.5, 6.0)),
        band: kelvins(chance.between(4.0, 10.0)),
        steepest_k_per_s: 2.0 * rise_k_per_s + 1.0,
        no_response_after: Duration::from_secs(chance.pick(&[120, 300])),
        short_opening: Duration::from_secs(chance.pick(&[15, 30])),
        run_time_limit: chance.happens(0.15).then(|| Duration::from_secs(chance.pick(&[900, 2400]))),
        gas,
        on_silence: OnSilence {
            after: Duration::from_secs(chance.pick(&[60, 180])),
            then: chance.pick(&[SteelChoice::SlowCoolUnderGas, SteelChoice::QuenchNow, SteelChoice::Finish]),
        },
        policy: policy(chance, directory, place),
        takes_to: None,
        still_quenchable: celsius(740.0),
        falls_k_per_s: rise_k_per_s,
    }
}

/// What may be bypassed, and a rule on the switch of a hood in some shops.
fn policy(chance: &mut Chance, directory: &mut Directory, place: u64) -> PolicyPlan {
    let open = [
        InterlockKind::DriverLost,
        InterlockKind::RunTimeLimit,
        InterlockKind::PurgeFlow,
        InterlockKind::QuenchReadiness,
        InterlockKind::ShopRule,
        InterlockKind::ShopWatch,
    ];
    let may_bypass = open.into_iter().filter(|_| chance.happens(0.4)).collect();
    let rules = (0..chance.from_to(1, 2)).map(|number| rule(chance, directory, place, number)).collect();
    PolicyPlan { may_bypass, rules, ..PolicyPlan::default() }
}

fn rule(chance: &mut Chance, directory: &mut Directory, place: u64, number: u64) -> RulePlan {
    let point = point(directory, format!("io/hood{place}.value"));
    let input = Input { point, quantity: Quantity::Flag, stale_after: Duration::from_secs(5) };
    let when = Draft::apply(Operator::Not, vec![Draft::input(input)]).and_then(Draft::finish).expect("it means something");
    RulePlan {
        name: name("hood", number),
        text: "the hood is off".to_owned(),
        source: "!hood_on".to_owned(),
        when,
        effect: chance.pick(&[RuleEffect::Cut, RuleEffect::WithholdStart, RuleEffect::Alarm, RuleEffect::Ask]),
        latch: chance.happens(0.4),
        after: Duration::from_secs(chance.from_to(0, 8)),
    }
}

fn calibration(chance: &mut Chance) -> Calibration {
    Calibration {
        leak: gas_flow(0.001, 21.1, 101.325),
        pore_volume: Volume::new::<liter>(chance.between(0.0, 1.0)),
        pore_exchange: Duration::from_secs(60),
        band: chance.pick(&[1.5, 3.0]),
    }
}

fn gas(chance: &mut Chance, directory: &mut Directory, place: u64, supplies: u64) -> GasPlan {
    let by_eye = chance.happens(0.25);
    let commanded = !by_eye && chance.happens(0.9);
    let flow = point(directory, format!("meter{place}/gas.flow"));
    let meter = commanded.then(|| unit(directory, format!("meter{place}/gas")));
    let valve = chance.happens(0.6).then(|| point(directory, format!("io/valve{place}.value")));
    let purge_l_min = chance.between(5.0, 14.0);
    GasPlan {
        supply: SupplyId(chance.below(supplies) as u16),
        meter,
        flow,
        resolution: gas_flow(0.2, 21.1, 101.325),
        by_eye,
        valve: valve.map(|output| ValvePlan { output, open_unpowered: chance.happens(0.5) }),
        purge: PurgePlan {
            changes: chance.between(3.0, 9.0),
            flow: gas_flow(purge_l_min, 21.1, 101.325),
            hold: gas_flow(purge_l_min * 0.25, 21.1, 101.325),
            unpurged_ceiling: celsius(chance.pick(&[180.0, 200.0])),
            oxygen_limit: Ratio::new::<percent>(chance.pick(&[0.05, 0.5])),
            exposure_budget_s: chance.pick(&[2.0, 30.0]),
        },
    }
}

fn tank(chance: &mut Chance, directory: &mut Directory, place: u64) -> TankPlan {
    let flash_point = chance.happens(0.8).then(|| celsius(180.0));
    let unit = chance.happens(0.5).then(|| unit(directory, format!("bath/tank{place}")));
    let mut at = |wired: bool, field: &str| wired.then(|| point(directory, format!("bath/tank{place}.{field}")));
    TankPlan {
        name: name("tank", place),
        unit,
        temperature: at(true, "temperature").expect("it is wired"),
        level: at(chance.happens(0.6), "level"),
        agitation: at(chance.happens(0.4), "agitation"),
        part_under: None,
        stale_after: Duration::from_secs(30),
        volume: Volume::new::<liter>(12.0),
        heater: None,
        window_low: celsius(40.0),
        window_high: celsius(70.0),
        flash_point,
        flash_margin: kelvins(27.8),
        level_least: Ratio::new::<ratio>(0.8),
    }
}

fn supply(chance: &mut Chance, directory: &mut Directory, place: u64) -> SupplyPlan {
    SupplyPlan {
        name: name("supply", place),
        gas: chance.pick(&[Gas::Argon, Gas::Nitrogen]),
        oxygen: Ratio::new::<part_per_million>(5.0),
        // Never less than the largest purge: a furnace that can never be purged is refused before it gets here.
        capacity: gas_flow(chance.between(14.5, 30.0), 21.1, 101.325),
        cylinder_volume: chance.happens(0.7).then(|| Volume::new::<liter>(50.0)),
        pressure: chance.happens(0.7).then(|| point(directory, format!("io/gauge{place}.value"))),
        gauge_error: Pressure::new::<bar>(5.0),
        stale_after: Duration::from_secs(120),
    }
}

/// Horn and shelf of the alarms; in some shops a cause is told at once, in others after the usual delays.
fn alarms(chance: &mut Chance, directory: &mut Directory) -> AlarmPlan {
    let kinds = [InterlockKind::DoorOpen, InterlockKind::DriverLost, InterlockKind::ShopWatch];
    let at_once = chance.happens(0.3).then(|| kinds.map(|kind| (AlarmKind::Interlock(kind), Delays::default())));
    AlarmPlan {
        horn: chance.happens(0.4).then(|| point(directory, "io/alarm.horn".to_owned())),
        lamp: chance.happens(0.4).then(|| point(directory, "io/alarm.lamp".to_owned())),
        shelve_at_most: Duration::from_secs(chance.pick(&[600, 8 * 3600])),
        delays: at_once.into_iter().flatten().collect(),
        ..AlarmPlan::default()
    }
}

fn room(chance: &mut Chance, directory: &mut Directory) -> RoomPlan {
    let oxygen = chance.happens(0.6).then(|| point(directory, "io/room.oxygen".to_owned()));
    RoomPlan {
        oxygen,
        first_level: Ratio::new::<percent>(19.5),
        second_level: Ratio::new::<percent>(18.0),
        debounce: Duration::from_secs(chance.pick(&[5, 10])),
        stale_after: Duration::from_secs(10),
        horn: chance.happens(0.5).then(|| point(directory, "io/room.horn".to_owned())),
    }
}

/// The furnace's own limit in °C.
#[must_use]
pub fn limit_c(plan: &FurnacePlan) -> f64 {
    in_celsius(plan.limit).min(in_celsius(plan.rated))
}
