//! One decision of the core, for 1 to 256 furnaces, each with fresh readings of temperature, set point, output, door and flow, and
//! with a soak under way. Only the decision is timed; storing the readings is shown beside it.

use std::hint::black_box;
use std::time::{Duration, Instant};

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, celsius, gas_flow, kelvins};
use hearthward_equipment::{Address, Directory, Evidence, FurnaceId, Name, PointId, Quality, Reading, ShopMs, SupplyId, Value};
use hearthward_process::gas::Gas;
use hearthward_supervise::observe::{CutState, Observation};
use hearthward_supervise::output::{Cut, Outputs};
use hearthward_supervise::plan::{
    ChamberKind, ChamberPlan, DeadMan, FurnacePlan, GasPlan, Heating, OnSilence, PolicyPlan, PurgePlan, RoomPlan, ShopPlan,
    SteelChoice, SupplyPlan,
};
use hearthward_supervise::recipe::{Drive, Load, Protection, Step};
use hearthward_supervise::request::{Person, Request};
use hearthward_supervise::rule::{Draft, Input, Operator, Quantity, RuleEffect, RulePlan};
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, Shop};
use uom::si::f64::{Power, Pressure, Ratio, Volume};
use uom::si::power::kilowatt;
use uom::si::pressure::kilopascal;
use uom::si::ratio::{part_per_million, percent, ratio};
use uom::si::volume::liter;

use crate::numbers::{Report, Row, Samples, Target};

const SCAN_MS: u64 = 100;
const WARM_UP: u64 = 300;
/// The scan in which the loads are started.
const STARTS_AT: u64 = 10;
const SCANS: u64 = 3000;

pub(crate) fn measure(report: &mut Report) {
    let mut of_one_us = None;
    for furnaces in [1, 8, 64, 256] {
        let (tick, observe) = scans(furnaces, 0);
        let each_us = tick.quantile(0.5) / f64::from(furnaces);
        let name = format!("core tick, {furnaces} furnaces, per furnace, p50");
        report.row(&Row { name, value: each_us, unit: "us", baseline: of_one_us, target: Target::ValueMost(1.0) });
        let name = format!("core tick, {furnaces} furnaces, per furnace, p99");
        report.row(&Row {
            name,
            value: tick.quantile(0.99) / f64::from(furnaces),
            unit: "us",
            baseline: None,
            target: Target::None,
        });
        let name = format!("storing its five readings, {furnaces} furnaces, per furnace, p50");
        report.row(&Row {
            name,
            value: observe.quantile(0.5) / f64::from(furnaces),
            unit: "us",
            baseline: None,
            target: Target::None,
        });
        of_one_us.get_or_insert(each_us);
    }
    let (tick, _) = scans(256, RULES);
    let name = format!("core tick, 256 furnaces, {RULES} rules of the shop's own each, per furnace, p50");
    let value = tick.quantile(0.5) / 256.0;
    report.row(&Row { name, value, unit: "us", baseline: None, target: Target::ValueMost(15.0) });
}

/// Rules of the shop's own for each furnace: as many as a shop that watches everything would write.
const RULES: u16 = 16;

/// Times of a tick, and of storing the readings before it.
fn scans(furnaces: u16, rules: u16) -> (Samples, Samples) {
    let plan = plan(furnaces, rules);
    let points: Vec<[PointId; 5]> = (0..furnaces).map(|furnace| points_of(&plan, furnace)).collect();
    let mut shop = Shop::new(plan, None, Away::Known(ShopMs(0)));
    let mut out = Outputs::default();
    let mut view = View::default();
    let (mut tick, mut observe) = (Samples::default(), Samples::default());
    for scan in 1..=WARM_UP + SCANS {
        let at = ShopMs(scan * SCAN_MS);
        let began = Instant::now();
        for points in &points {
            for reading in readings(*points, at, scan) {
                black_box(shop.observe(at, Observation::Reading(reading)));
            }
        }
        let stored = began.elapsed();
        if scan == STARTS_AT {
            for furnace in 0..furnaces {
                shop.request(at, &ansa(), Request::Start { furnace: FurnaceId(furnace), load: load(furnace), ready_in: None });
            }
        }
        if scan == STARTS_AT + 2 {
            shop.view(&mut view);
            for question in &view.questions {
                shop.request(at, &ansa(), Request::Confirm { question: question.id, reading: None });
            }
        }
        let began = Instant::now();
        shop.tick(at, &mut out);
        let ticked = began.elapsed();
        for &Cut { furnace, generation, via } in &out.cuts {
            shop.observe(at, Observation::Cut { furnace, generation, via, is: CutState::Confirmed });
        }
        shop.observe(at, Observation::Durable { through: out.tick });
        if scan > WARM_UP {
            tick.add(ticked);
            observe.add(stored);
        }
    }
    assert_eq!(out.orders.len(), usize::from(furnaces), "each furnace soaks");
    (tick, observe)
}

fn ansa() -> Person {
    Person { name: "Ansa".to_owned() }
}

/// Readings that differ from scan to scan, so that nothing can be predicted from the last.
fn readings([temperature, set_point, output, door, flow]: [PointId; 5], at: ShopMs, scan: u64) -> [Reading; 5] {
    let wobble = (scan.wrapping_mul(2_654_435_761) >> 7) as f64 % 1000.0 / 1000.0;
    let reading = |point, value| Reading { point, at, value: Some(value), quality: Quality::Good, evidence: Evidence::Measured };
    [
        reading(temperature, Value::Temperature(celsius(148.0 + wobble))),
        reading(set_point, Value::Temperature(celsius(150.0))),
        // At rest until its load is in: heat that nobody gave would leave its first cut unconfirmed.
        reading(output, Value::Share(Ratio::new::<ratio>(if scan <= STARTS_AT { 0.0 } else { 0.3 + 0.1 * wobble }))),
        reading(door, Value::Flag(false)),
        reading(flow, Value::GasFlow(gas_flow(8.0 + 0.1 * wobble, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA))),
    ]
}

fn load(furnace: u16) -> Load {
    Load {
        name: name(&format!("load-{furnace}")),
        steel: "O1".to_owned(),
        parts: 1,
        part: None,
        protection: Protection::None,
        steps: vec![Step::Soak {
            at: celsius(150.0),
            band: None,
            minimum: Duration::from_secs(86_400),
            maximum: Duration::from_secs(172_800),
        }],
        drive: Drive::SetPoints,
    }
}

fn name(text: &str) -> Name {
    Name::new(text).expect("a good name")
}

fn address(furnace: u16, point: &str) -> Address {
    format!("d{furnace}/u.{point}").parse().expect("a good address")
}

const POINTS: [&str; 5] = ["temperature", "set-point", "output-share", "door-open", "flow"];

fn points_of(plan: &ShopPlan, furnace: u16) -> [PointId; 5] {
    POINTS.map(|point| plan.directory.find_point(&address(furnace, point)).expect("it is listed"))
}

pub(crate) fn plan(furnaces: u16, rules: u16) -> ShopPlan {
    let mut directory = Directory::default();
    let furnaces = (0..furnaces).map(|number| furnace(number, rules, &mut directory)).collect();
    ShopPlan {
        name: "Alder Yard Edge Tools".to_owned(),
        scan: Duration::from_millis(SCAN_MS),
        ride_through: Duration::from_secs(60),
        furnaces,
        directory,
        tanks: Vec::new(),
        supplies: vec![SupplyPlan {
            name: name("argon"),
            gas: Gas::Argon,
            oxygen: Ratio::new::<part_per_million>(5.0),
            capacity: gas_flow(10_000.0, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA),
            cylinder_volume: None,
            pressure: None,
            gauge_error: Pressure::new::<kilopascal>(500.0),
            stale_after: Duration::from_secs(3600),
        }],
        room: RoomPlan {
            oxygen: None,
            first_level: Ratio::new::<percent>(19.5),
            second_level: Ratio::new::<percent>(18.0),
            debounce: Duration::from_secs(5),
            stale_after: Duration::from_secs(60),
            horn: None,
        },
        electrical_demand: None,
        alarms: hearthward_supervise::alarm::AlarmPlan::default(),
    }
}

/// One that reads three points and does a little arithmetic: `temperature_c > 900 + n && !door_open || flow_l_min < 0.1`.
fn rule(number: u16, [temperature, door, flow]: [PointId; 3]) -> RulePlan {
    let stale_after = Duration::from_secs(3);
    let input = |point, quantity| Draft::input(Input { point, quantity, stale_after });
    let plain = |value| Draft::number(value).expect("a number");
    let all = |operator, parts| Draft::apply(operator, parts).expect("it fits");
    let limit = all(Operator::Add, vec![plain(900.0), plain(f64::from(number))]);
    let hot = all(Operator::More, vec![input(temperature, Quantity::Temperature), limit]);
    let shut = all(Operator::Not, vec![input(door, Quantity::Flag)]);
    let starved = all(Operator::Less, vec![input(flow, Quantity::GasFlow), plain(0.1)]);
    let when = all(Operator::Or, vec![all(Operator::And, vec![hot, shut]), starved]).finish().expect("it says yes or no");
    RulePlan {
        name: name(&format!("rule-{number}")),
        text: "it is too hot or without gas".to_owned(),
        source: String::new(),
        when,
        effect: if number.is_multiple_of(2) { RuleEffect::Cut } else { RuleEffect::Alarm },
        latch: false,
        after: Duration::from_secs(u64::from(number)),
    }
}

fn furnace(number: u16, rules: u16, directory: &mut Directory) -> FurnacePlan {
    let [temperature, set_point, output, door, flow] = POINTS.map(|point| directory.point(&address(number, point)));
    let unit = directory.unit(&address(number, "temperature").unit);
    let litres = |l_min| gas_flow(l_min, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA);
    FurnacePlan {
        name: name(&format!("f{number}")),
        controller: Some(unit),
        heating: Heating::SetPoint,
        dead_man: DeadMan::Nothing,
        temperature,
        stale_after: Duration::from_secs(3),
        set_point: Some(set_point),
        output_share: Some(output),
        heat_on: None,
        over_temperature: None,
        door: Some(door),
        load_temperature: None,
        probe: None,
        contactor: None,
        chamber: ChamberPlan { kind: ChamberKind::Brick, volume: Volume::new::<liter>(9.4), calibration: None },
        rated: celsius(1100.0),
        limit: celsius(1060.0),
        power: Power::new::<kilowatt>(2.2),
        band: kelvins(8.0),
        steepest_k_per_s: 40.0,
        no_response_after: Duration::from_secs(900),
        short_opening: Duration::from_secs(30),
        run_time_limit: None,
        gas: Some(GasPlan {
            supply: SupplyId(0),
            meter: Some(unit),
            flow,
            resolution: litres(0.5),
            by_eye: false,
            valve: None,
            purge: PurgePlan {
                changes: 8.0,
                flow: litres(8.0),
                hold: litres(2.0),
                unpurged_ceiling: celsius(200.0),
                oxygen_limit: Ratio::new::<part_per_million>(500.0),
                exposure_budget_s: 1.0,
            },
        }),
        on_silence: OnSilence { after: Duration::from_secs(180), then: SteelChoice::SlowCoolUnderGas },
        takes_to: None,
        still_quenchable: celsius(740.0),
        falls_k_per_s: 0.3,
        policy: PolicyPlan {
            rules: (0..rules).map(|number| rule(number, [temperature, door, flow])).collect(),
            ..PolicyPlan::default()
        },
    }
}
