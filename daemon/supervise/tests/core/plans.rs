//! The shops and loads that the tests run: small retorts on one argon manifold, one oil tank, plane irons.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, gas_flow, kelvins};
use hearthward_equipment::{Address, Directory, FurnaceId, HeatPointId, Name, PointId, SupplyId, TankId, UnitId};
use hearthward_process::gas::Gas;
use hearthward_supervise::plan::{
    ChamberKind, ChamberPlan, Contactor, DeadMan, FurnacePlan, GasPlan, Heating, OnSilence, PolicyPlan, PurgePlan, RoomPlan,
    ShopPlan, SteelChoice, SupplyPlan, TankPlan, ValvePlan,
};
use hearthward_supervise::recipe::{Drive, Load, Medium, Pace, Protection, Step};
use uom::si::f64::{Power, Pressure, Ratio, Volume};
use uom::si::power::kilowatt;
use uom::si::pressure::bar;
use uom::si::ratio::{part_per_million, percent, ratio};
use uom::si::volume::liter;

pub(crate) const NORTH: FurnaceId = FurnaceId(0);
pub(crate) const SOUTH: FurnaceId = FurnaceId(1);

pub(crate) fn name(text: &str) -> Name {
    Name::new(text).expect("a test's name")
}

/// The points of one furnace.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Points {
    pub(crate) temperature: PointId,
    pub(crate) door: PointId,
    pub(crate) flow: PointId,
}

/// What a furnace of the bench is like.
#[derive(Clone, Debug)]
pub(crate) struct Kind {
    pub(crate) name: &'static str,
    pub(crate) gas: bool,
    pub(crate) by_eye: bool,
    pub(crate) heating: Heating,
    pub(crate) contactor: bool,
}

impl Kind {
    pub(crate) fn gas(name: &'static str) -> Self {
        Self { name, gas: true, by_eye: false, heating: Heating::SetPoint, contactor: false }
    }

    pub(crate) fn plain(name: &'static str) -> Self {
        Self { gas: false, ..Self::gas(name) }
    }
}

/// A shop of such furnaces, one supply, one oil tank.
pub(crate) fn plan(kinds: &[Kind]) -> ShopPlan {
    let mut directory = Directory::default();
    let mut point = |text: String| directory.point(&text.parse::<Address>().expect("a test's address"));
    let mut furnaces = Vec::new();
    for kind in kinds {
        let n = kind.name;
        let points = Points {
            temperature: point(format!("bench/{n}.temperature")),
            door: point(format!("bench/{n}.door")),
            flow: point(format!("bench/{n}-meter.flow")),
        };
        let contactor = point(format!("io/{n}.contactor"));
        let valve = point(format!("io/{n}.valve"));
        furnaces.push((kind, points, contactor, valve));
    }
    let oil = point("bench/oil.temperature".to_owned());
    let level = point("bench/oil.level".to_owned());
    let oxygen = point("bench/room.oxygen".to_owned());
    let horn = point("io/room.horn".to_owned());
    let gauge = point("bench/argon.pressure".to_owned());
    let furnaces =
        furnaces.into_iter().map(|(kind, points, contactor, valve)| furnace(kind, points, contactor, valve, &directory));
    let furnaces = furnaces.collect();
    ShopPlan {
        name: "bench".to_owned(),
        scan: Duration::from_secs(1),
        ride_through: Duration::from_secs(60),
        furnaces,
        tanks: vec![tank(oil, level)],
        supplies: vec![supply(gauge)],
        room: RoomPlan {
            oxygen: Some(oxygen),
            first_level: Ratio::new::<percent>(19.5),
            second_level: Ratio::new::<percent>(18.0),
            debounce: Duration::from_secs(3),
            stale_after: Duration::from_secs(10),
            horn: Some(horn),
        },
        electrical_demand: None,
        alarms: hearthward_supervise::alarm::AlarmPlan::default(),
        directory,
    }
}

fn furnace(kind: &Kind, points: Points, contactor: PointId, valve: PointId, directory: &Directory) -> FurnacePlan {
    let unit = |text: String| -> UnitId {
        let address = text.parse().expect("a test's unit");
        directory.find_unit(&address).expect("a unit of the bench")
    };
    let gas = kind.gas.then(|| GasPlan {
        supply: SupplyId(0),
        meter: Some(unit(format!("bench/{}-meter", kind.name))),
        flow: points.flow,
        resolution: gas_flow(0.2, 21.1, 101.325),
        by_eye: kind.by_eye,
        valve: Some(ValvePlan { output: valve, open_unpowered: true }),
        purge: PurgePlan {
            changes: 8.0,
            flow: gas_flow(8.0, 21.1, 101.325),
            hold: gas_flow(2.0, 21.1, 101.325),
            unpurged_ceiling: celsius(200.0),
            oxygen_limit: Ratio::new::<part_per_million>(200.0),
            exposure_budget_s: 30.0,
        },
    });
    FurnacePlan {
        name: name(kind.name),
        controller: Some(unit(format!("bench/{}", kind.name))),
        heating: kind.heating.clone(),
        dead_man: DeadMan::Nothing,
        temperature: points.temperature,
        stale_after: Duration::from_secs(5),
        set_point: None,
        output_share: None,
        heat_on: None,
        over_temperature: None,
        door: Some(points.door),
        load_temperature: None,
        probe: None,
        contactor: kind.contactor.then_some(Contactor { output: HeatPointId(contactor.0), feedback: None }),
        chamber: ChamberPlan { kind: ChamberKind::Retort, volume: Volume::new::<liter>(9.4), calibration: None },
        rated: celsius(1100.0),
        limit: celsius(1000.0),
        power: Power::new::<kilowatt>(2.2),
        band: kelvins(5.0),
        steepest_k_per_s: 5.0,
        no_response_after: Duration::from_secs(600),
        short_opening: Duration::from_secs(20),
        run_time_limit: None,
        gas,
        on_silence: OnSilence { after: Duration::from_secs(180), then: SteelChoice::SlowCoolUnderGas },
        takes_to: None,
        still_quenchable: celsius(740.0),
        falls_k_per_s: 0.3,
        policy: PolicyPlan::default(),
    }
}

fn tank(oil: PointId, level: PointId) -> TankPlan {
    TankPlan {
        name: name("oil"),
        unit: None,
        temperature: oil,
        level: Some(level),
        agitation: None,
        part_under: None,
        stale_after: Duration::from_secs(60),
        volume: Volume::new::<liter>(12.0),
        heater: None,
        window_low: celsius(40.0),
        window_high: celsius(70.0),
        flash_point: Some(celsius(180.0)),
        flash_margin: kelvins(27.8),
        level_least: Ratio::new::<ratio>(0.8),
    }
}

fn supply(gauge: PointId) -> SupplyPlan {
    SupplyPlan {
        name: name("argon"),
        gas: Gas::Argon,
        oxygen: Ratio::new::<part_per_million>(5.0),
        capacity: gas_flow(20.0, 21.1, 101.325),
        cylinder_volume: Some(Volume::new::<liter>(43.8)),
        pressure: Some(gauge),
        gauge_error: Pressure::new::<bar>(5.0),
        stale_after: Duration::from_secs(600),
    }
}

/// A load of plane irons: hardened in oil, tempered elsewhere or not at all.
pub(crate) fn irons(temper: Option<FurnaceId>) -> Load {
    let minutes = |n: u64| Duration::from_secs(n * 60);
    let mut steps = vec![
        Step::Purge,
        Step::Ramp { to: celsius(800.0), pace: Pace::Full },
        Step::Soak { at: celsius(800.0), band: None, minimum: minutes(10), maximum: minutes(20) },
        Step::Pull { window: Duration::from_secs(4) },
        Step::Quench { medium: Medium::Tank(TankId(0)), under: minutes(1) },
    ];
    if let Some(furnace) = temper {
        let furnace = Some(furnace).filter(|&furnace| furnace != NORTH);
        steps.push(Step::Temper { furnace, at: celsius(190.0), hold: minutes(30), within: minutes(120) });
    }
    Load {
        name: name("irons"),
        steel: "O1".to_owned(),
        parts: 1,
        part: None,
        protection: Protection::Gas,
        steps,
        drive: Drive::SetPoints,
    }
}
