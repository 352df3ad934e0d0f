//! A small shop: two furnaces, a tank, a supply; and a view of it.

use std::time::Duration;

use hearthward_api::Recipe;
use hearthward_equipment::quantity::{celsius, gas_flow, kelvins};
use hearthward_equipment::{Directory, Evidence, Generation, PointId, Quality, ShopMs, SupplyId, TankId, Tick, Value};
use hearthward_process::gas::Gas;
use hearthward_supervise::alarm::{AlarmKey, AlarmState, Aside};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::{
    ChamberKind, ChamberPlan, DeadMan, FurnacePlan, GasPlan, Heating, OnSilence, PolicyPlan, PurgePlan, RoomPlan, ShopPlan,
    SteelChoice, SupplyPlan, TankPlan,
};
use hearthward_supervise::recipe::{Drive, Form, Medium, Pace, Part, Protection, Step, StepKind};
use hearthward_supervise::request::{Ask, Choice, QuestionId};
use hearthward_supervise::view::{
    AlarmView, AlarmsView, CycleView, FurnaceView, InterlockState, InterlockView, PointView, QuestionView, SupplyView, TankView,
    View,
};
use uom::si::f64::{Length, Mass, Power, Pressure, Ratio, Volume};
use uom::si::length::millimeter;
use uom::si::mass::kilogram;
use uom::si::power::kilowatt;
use uom::si::pressure::kilopascal;
use uom::si::ratio::ratio;
use uom::si::volume::liter;

/// The points in order of their numbers.
pub(crate) const POINTS: [&str; 4] =
    ["controllers/north.temperature", "controllers/south.temperature", "meters/north.flow", "by-hand/oil.temperature"];

pub(crate) fn plan() -> ShopPlan {
    let mut directory = Directory::default();
    for point in POINTS {
        directory.point(&point.parse().expect("an address"));
    }
    ShopPlan {
        name: "Bench".into(),
        scan: Duration::from_millis(100),
        ride_through: Duration::from_secs(60),
        directory,
        furnaces: vec![furnace("north", 0), furnace("south", 1)],
        tanks: vec![tank()],
        supplies: vec![supply()],
        room: RoomPlan {
            oxygen: None,
            first_level: share(0.195),
            second_level: share(0.18),
            debounce: Duration::from_secs(10),
            stale_after: Duration::from_secs(10),
            horn: None,
        },
        electrical_demand: None,
        alarms: hearthward_supervise::alarm::AlarmPlan::default(),
    }
}

fn furnace(name: &str, temperature: u16) -> FurnacePlan {
    FurnacePlan {
        name: name.parse().expect("a name"),
        controller: None,
        heating: Heating::SetPoint,
        dead_man: DeadMan::Nothing,
        temperature: PointId(temperature),
        stale_after: Duration::from_secs(3),
        set_point: None,
        output_share: None,
        heat_on: None,
        over_temperature: None,
        door: None,
        load_temperature: None,
        probe: None,
        contactor: None,
        chamber: ChamberPlan { kind: ChamberKind::Brick, volume: Volume::new::<liter>(9.5), calibration: None },
        rated: celsius(1200.0),
        limit: celsius(1100.0),
        power: Power::new::<kilowatt>(3.0),
        band: kelvins(5.0),
        steepest_k_per_s: 5.0,
        no_response_after: Duration::from_secs(600),
        short_opening: Duration::from_secs(20),
        run_time_limit: None,
        gas: (temperature == 0).then(gas),
        on_silence: OnSilence { after: Duration::from_secs(300), then: SteelChoice::SlowCoolUnderGas },
        takes_to: None,
        still_quenchable: celsius(760.0),
        falls_k_per_s: 0.2,
        policy: PolicyPlan::default(),
    }
}

fn gas() -> GasPlan {
    GasPlan {
        supply: SupplyId(0),
        meter: None,
        flow: PointId(2),
        resolution: gas_flow(0.2, 21.1, 101.325),
        by_eye: false,
        valve: None,
        purge: PurgePlan {
            changes: 5.0,
            flow: gas_flow(8.0, 21.1, 101.325),
            hold: gas_flow(2.0, 21.1, 101.325),
            unpurged_ceiling: celsius(150.0),
            oxygen_limit: share(0.001),
            exposure_budget_s: 1.0,
        },
    }
}

fn tank() -> TankPlan {
    TankPlan {
        name: "oil".parse().expect("a name"),
        unit: None,
        temperature: PointId(3),
        level: None,
        agitation: None,
        part_under: None,
        stale_after: Duration::from_secs(600),
        volume: Volume::new::<liter>(20.0),
        heater: None,
        window_low: celsius(45.0),
        window_high: celsius(65.0),
        flash_point: None,
        flash_margin: kelvins(27.8),
        level_least: share(0.5),
    }
}

fn supply() -> SupplyPlan {
    SupplyPlan {
        name: "argon".parse().expect("a name"),
        gas: Gas::Argon,
        oxygen: share(5e-6),
        capacity: gas_flow(30.0, 21.1, 101.325),
        cylinder_volume: None,
        pressure: None,
        gauge_error: Pressure::new::<kilopascal>(200.0),
        stale_after: Duration::from_secs(600),
    }
}

fn share(value: f64) -> Ratio {
    Ratio::new::<ratio>(value)
}

/// The recipe of the shop.
pub(crate) fn recipes() -> Vec<Recipe> {
    vec![Recipe {
        name: "irons".parse().expect("a name"),
        text: "Plane irons, 3 mm.".into(),
        steel: "O1".into(),
        protection: Protection::Gas,
        drive: Drive::SetPoints,
        part: Some(Part { form: Form::Plate, size: Length::new::<millimeter>(3.0), mass: Some(Mass::new::<kilogram>(0.15)) }),
        steps: vec![
            Step::Purge,
            Step::Preheat { to: celsius(650.0), hold: Duration::from_secs(600) },
            Step::Ramp { to: celsius(800.0), pace: Pace::Rate(400.0) },
            Step::Soak {
                at: celsius(800.0),
                band: Some(kelvins(4.0)),
                minimum: Duration::from_secs(600),
                maximum: Duration::from_secs(1800),
            },
            Step::Pull { window: Duration::from_secs(4) },
            Step::Quench { medium: Medium::Tank(TankId(0)), under: Duration::from_secs(60) },
            Step::Cool { to: celsius(65.0), in_air: true },
            Step::Temper {
                furnace: None,
                at: celsius(200.0),
                hold: Duration::from_secs(7200),
                within: Duration::from_secs(3600),
            },
        ],
    }]
}

/// The shop at a moment: the north furnace soaks, the south one is latched, and a question waits.
pub(crate) fn view(tick: u64) -> View {
    let at = ShopMs(tick * 100);
    View {
        tick: Tick(tick),
        at,
        furnaces: vec![soaking(), latched(at)],
        tanks: vec![TankView {
            name: "oil".parse().expect("a name"),
            temperature_c: Some(52.0),
            ready: true,
            text: String::new(),
            kept_for: Some("north".parse().expect("a name")),
        }],
        supplies: vec![SupplyView { name: "argon".parse().expect("a name"), pressure_kpa: Some(9000.0), flow_l_min: Some(2.1) }],
        room_oxygen: Some(0.208),
        points: (0..POINTS.len())
            .map(|place| PointView {
                value: (place != 3).then(|| Value::Temperature(celsius(800.0 + tick as f64))),
                quality: if place == 3 { Quality::Bad } else { Quality::Good },
                evidence: Evidence::Measured,
                at: (place != 3).then_some(ShopMs(at.0.saturating_sub(40))),
            })
            .collect(),
        questions: (1..=3).map(|id| question(id, at)).collect(),
        record_failing: None,
        alarms: AlarmsView { shown: vec![shelved()], raised: 3, flood: false, horn: true, revision: 1 },
    }
}

fn soaking() -> FurnaceView {
    FurnaceView {
        name: "north".parse().expect("a name"),
        temperature_c: Some(799.5),
        wanted_c: Some(800.0),
        ceiling_c: Some(1100.0),
        generation: Generation(4),
        door_open: Some(false),
        flow_l_min: Some(2.1),
        probe_ppm: None,
        estimate: None,
        changes: Some((5.2, 5.0)),
        purge_proved: true,
        interlocks: vec![InterlockView {
            kind: InterlockKind::DoorOpen,
            state: InterlockState::Clear,
            acts: true,
            first: false,
            since: ShopMs(0),
            text: String::new(),
            withholds: false,
            may_bypass: false,
            bypass: None,
            may_prove: true,
            proof: None,
            proof_owed: true,
        }],
        rules: Vec::new(),
        cycle: Some(CycleView {
            load: "irons-7".parse().expect("a name"),
            steel: "O1".into(),
            protection: Protection::Gas,
            index: 3,
            steps: 8,
            step: StepKind::Soak,
            step_ms: 1500,
            waiting_for: "6 min more in band".into(),
            in_band_ms: 240_000,
            owed_ms: 600_000,
            held: false,
            load_c: Some(798.0),
            temper_due_ms: None,
            ready_in_ms: None,
        }),
        if_computer_dies: "NOTHING".into(),
        heat: String::new(),
    }
}

fn latched(at: ShopMs) -> FurnaceView {
    FurnaceView {
        name: "south".parse().expect("a name"),
        temperature_c: None,
        wanted_c: None,
        ceiling_c: None,
        generation: Generation(9),
        door_open: None,
        flow_l_min: None,
        probe_ppm: None,
        estimate: None,
        changes: None,
        purge_proved: false,
        interlocks: vec![InterlockView {
            kind: InterlockKind::SensorFault,
            state: InterlockState::Latched,
            acts: false,
            first: true,
            since: ShopMs(at.0.saturating_sub(1500)),
            text: "The thermocouple was open; reset when it is mended.".into(),
            withholds: false,
            may_bypass: false,
            bypass: None,
            may_prove: true,
            proof: None,
            proof_owed: true,
        }],
        rules: Vec::new(),
        cycle: None,
        if_computer_dies: "the controller's own communication time-out, 30 s".into(),
        heat: String::new(),
    }
}

fn question(id: u64, at: ShopMs) -> QuestionView {
    QuestionView {
        id: QuestionId(id),
        furnace: Some(if id == 3 { "south" } else { "north" }.parse().expect("a name")),
        ask: Ask::Steel { because: "Gas was lost.".into(), quenchable_s: Some(240) },
        text: "Gas was lost: quench now, finish, or cool slowly?".into(),
        choices: vec![Choice::Steel(SteelChoice::QuenchNow), Choice::Steel(SteelChoice::Finish)],
        default: Some((Choice::Steel(SteelChoice::SlowCoolUnderGas), ShopMs(at.0 + 60_000))),
        since: ShopMs(at.0.saturating_sub(id * 10)),
    }
}

fn shelved() -> AlarmView {
    AlarmView {
        key: AlarmKey::find(&plan(), SHELVED).expect("an alarm of the shop"),
        name: SHELVED.into(),
        state: AlarmState::Shelved,
        first: false,
        for_ms: 2_000,
        text: "meters/north: Unit lost. Look at its power, its cable and its driver.".into(),
        aside: Some(Aside { person: "ada".into(), reason: "the meter is at the maker".into(), left_ms: Some(60_000) }),
    }
}

/// An alarm that somebody has shelved.
pub(crate) const SHELVED: &str = "unit/meters/north/unit-lost";
