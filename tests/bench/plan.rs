//! The arithmetic: each function of the physics that a plan or the decision core stands on, and each whole question as the command
//! line and the API ask it. The baseline is a hundred exponentials in the same run, so that ratios compare between computers.

use std::hint::black_box;
use std::time::Instant;

use hearthward_api::planning;
use hearthward_process::chamber::{Chamber, ChamberGas, Inputs};
use hearthward_process::cylinder::{Cylinder, Draw, forecast, overnight};
use hearthward_process::flow::Reference;
use hearthward_process::furnace::Furnace;
use hearthward_process::gas::{Gas, Mixture, SteelKind, protection};
use hearthward_process::heating::{Section, Surface, Surroundings, come_to_heat, core_by_conduction};
use hearthward_process::jet::{Port, diffusion_time, entry};
use hearthward_process::meter::{Scale, Service, Valve, flow_from_bag, reading_for};
use hearthward_process::purge::{Purge, recovery, time_to};
use hearthward_process::quench::{Bath, Hot, MOST_PARTS, OilSpeed, Pulls, plates_after, suits};
use hearthward_process::room::Room;
use hearthward_process::stack::{Gaps, Shape, draught};
use hearthward_process::steel::Steel;
use hearthward_process::steel::martensite::martensite;
use hearthward_process::tempering::{Temper, USUAL_C, equivalent_temperature};
use hearthward_process::thermocouple::Thermocouple;
use hearthward_process::transfer::{StillAir, Taper, after, seconds_until, taper};
use hearthward_process::trials::{compare, parts_needed};
use hearthward_process::uniformity::class_met;
use hearthward_process::vessel::Vessel;
use hearthward_process::{ProcessError, oxide, thermal, units};
use hearthward_proto::v1;
use hearthward_tests::place;

use crate::numbers::{Report, Row, Samples, Target};

/// What is measured: its name, its target in microseconds, and one call of it.
type Call = (&'static str, Option<f64>, Box<dyn Fn()>);

/// A whole cycle's plan is to take less than a millisecond.
const WHOLE_US: f64 = 1000.0;
const SAMPLES: usize = 31;
/// Calls to a sample: enough that the clock's own step does not count.
const SAMPLE_US: f64 = 2000.0;

pub(crate) fn measure(report: &mut Report) {
    let exponentials = || {
        for number in 0..100 {
            black_box(f64::from(black_box(number)).exp());
        }
    };
    let calls = functions().expect("the questions make sense").into_iter().chain(questions());
    for (name, target_us, call) in calls {
        let (value, baseline) = compared(&*call, &exponentials);
        let target = target_us.map_or(Target::None, Target::ValueMost);
        report.row(&Row { name: format!("plan: {name}, p50"), value, unit: "us", baseline: Some(baseline), target });
    }
}

/// Medians of a call and of the baseline, sampled in turn.
fn compared(call: &dyn Fn(), baseline: &dyn Fn()) -> (f64, f64) {
    let each = |call: &dyn Fn(), calls: u32| {
        let began = Instant::now();
        (0..calls).for_each(|_| call());
        began.elapsed() / calls
    };
    let calls = |call: &dyn Fn()| {
        let one_us = each(call, 3).as_secs_f64() * 1e6;
        (SAMPLE_US / one_us.max(0.01)).clamp(1.0, 100_000.0) as u32
    };
    let (of_call, of_baseline) = (calls(call), calls(baseline));
    let (mut ours, mut theirs) = (Samples::default(), Samples::default());
    for _ in 0..SAMPLES {
        ours.add(each(call, of_call));
        theirs.add(each(baseline, of_baseline));
    }
    (ours.quantile(0.5), theirs.quantile(0.5))
}

/// A call of a function whose answer nobody may leave out.
fn call<T>(name: &'static str, function: impl Fn() -> Result<T, ProcessError> + 'static) -> Call {
    (name, None, Box::new(move || drop(black_box(function().expect("it answers")))))
}

fn functions() -> Result<Vec<Call>, ProcessError> {
    Ok([of_gas()?, of_heat()?, of_quench()?].into_iter().flatten().collect())
}

fn of_gas() -> Result<Vec<Call>, ProcessError> {
    let flow = |text| units::flow(text).map(|flow| Reference::TWENTY_ONE.amount_flow(flow));
    let (fast, slow) = (flow("8 L/min")?, flow("2 L/min")?);
    let (cold, hot) = (units::temperature("21.1 C")?, units::temperature("800 C")?);
    let (clean, level) = (units::share("5 ppm")?, units::share("100 ppm")?);
    let chamber = Chamber::tight(units::volume("9.4 L")?)?;
    let purge =
        Purge { flow: fast, gas_oxygen: clean, temperature: cold, leak: flow("0 L/min")?, start: units::share("20.95 %")? };
    let argon = Mixture::from(Gas::Argon);
    let none = units::pressure("0 bar")?;
    let scale = Scale { gas: Gas::Air.into(), gauge: none, temperature: cold, reference: Reference::TWENTY_ONE };
    let service = Service { gas: argon, valve: Valve::BeforeTube, line: none, back: none, temperature: cold };
    let gaps = Gaps {
        height: units::length("150 mm")?,
        width: units::length("0.3 mm")?,
        length: units::length("200 mm")?,
        depth: units::length("20 mm")?,
        shape: Shape::DoorFrame,
    };
    let port = Port { gas: Gas::Argon, temperature: cold, bore: units::length("4 mm")?, flow: fast };
    let height = units::length("150 mm")?;
    let cylinder = Cylinder::new(Gas::Argon, units::volume("10 L")?)?;
    let (gauge, error, leave) = (units::pressure("165 bar")?, units::pressure("5 bar")?, units::pressure("10 bar")?);
    let draws = [Draw { flow: slow, time: units::time("4 h")? }];
    let reserve = Reference::TWENTY_ONE.amount(units::volume("120 L")?);
    let (weighed, filled) = (Cylinder::new(Gas::CarbonDioxide, units::volume("10 L")?)?, units::mass("6 kg")?);
    let room = Room::new(units::volume("60 m3")?, units::air_changes("2 /h")?, cold)?;
    let (hours, half) = (units::time("12 h")?, units::share("50 %")?);
    let (bag, filling, one_bar) = (units::volume("10 L")?, units::time("60 s")?, units::pressure("1.013 bar")?);
    let gas = ChamberGas::air(&chamber, cold)?;
    let minute = Inputs { time: units::time("1 min")?, inflow: fast, inflow_oxygen: clean, ..Inputs::nothing(cold) };
    Ok(vec![
        call("a quantity read from text", || units::flow("2 L/min")),
        call("viscosity of argon", move || Gas::Argon.viscosity(hot)),
        call("conductivity of argon", move || Gas::Argon.conductivity(hot)),
        call("heat capacity of argon", move || Gas::Argon.heat_capacity(hot)),
        call("density of argon", move || Gas::Argon.density(hot, one_bar)),
        call("heat that argon takes up", move || Gas::Argon.enthalpy_rise(cold, hot)),
        call("whether a gas protects", move || protection(&argon, SteelKind::HighAlloy, hot)),
        call("air that diffuses in", move || diffusion_time(height, cold)),
        call("a weighed cylinder", move || weighed.liquefied(filled, cold)),
        call("time of a purge", move || time_to(&chamber, &purge, level)),
        call("a minute of the chamber's gas", move || gas.step(&chamber, &minute)),
        call("chimney of the gaps", move || draught(&argon, hot, cold, &gaps, slow)),
        call("gas at the port", move || entry(&port, cold, height)),
        call("mark of a meter", move || reading_for(fast, &scale, &service)),
        call("contents of a cylinder", move || cylinder.contents(gauge, cold)),
        call("gas lost overnight", move || overnight(&cylinder, (gauge, cold), (leave, cold), error, hours)),
        call("flow from a bag", move || flow_from_bag(bag, filling, cold, one_bar)),
        call("recovery after an opening", move || recovery(&chamber, &purge, half, level)),
        call("forecast of a cylinder", move || forecast(&cylinder, gauge, error, cold, leave, &draws, reserve)),
        call("oxygen of the room", move || room.steady(slow, units::share("19.5 %")?)),
    ])
}

fn of_heat() -> Result<Vec<Call>, ProcessError> {
    let (cold, hot) = (units::temperature("20 C")?, units::temperature("800 C")?);
    let section = Section::plate(units::length("3 mm")?)?;
    let furnace = Surroundings::furnace(hot, Surface::of_load(true));
    let band = units::temperature_difference("5 K")?;
    let of_holding = Furnace::of_holding(units::power("0.7 kW")?, units::ramp("5 K/min")?, hot, cold)?;
    let furnace_of = Furnace { rated: units::power("2.2 kW")?, ..of_holding };
    let (ramp, load) = (units::ramp("6 K/min")?, units::mass("0.9 kg")?);
    let flow = Reference::TWENTY_ONE.amount_flow(units::flow("2 L/min")?);
    let (ends, minutes) = (units::temperature("400 C")?, units::time("90 min")?);
    let temper = Temper { temperature: units::temperature("205 C")?, time: units::time("2 h")? };
    let hour = units::time("1 h")?;
    let steel = Steel::named("5160")?;
    let (thick, target) = (Section::plate(units::length("25 mm")?)?, units::temperature("795 C")?);
    let type_k = Thermocouple::named("K")?;
    let measured = type_k.voltage(hot, cold)?;
    let (ms, bath) = (units::temperature("250 C")?, units::temperature("50 C")?);
    Ok(vec![
        call("core at heat", move || come_to_heat(section, cold, &furnace, band)),
        call("whether a ramp is feasible", move || furnace_of.ramp_feasible(cold, hot, ramp, load, (Gas::Argon, flow))),
        call("cooling after a cut", move || furnace_of.cools(hot, ends)),
        call("scale in air", move || oxide::in_air_along(hot, &[(ends, minutes)])),
        call("equivalent temper", move || equivalent_temperature(temper, hour, USUAL_C)),
        call("conductivity of steel", move || thermal::conductivity(hot)),
        call("heat in steel", move || thermal::enthalpy(hot)),
        call("hardness after a temper", move || steel.hardness_after(temper.temperature)),
        call("class of a survey", move || class_met(hot, &[hot, target, hot])),
        call("parts that a comparison needs", || parts_needed(0.5, 0.6)),
        call("critical temperatures", move || steel.composition.critical()),
        call("core by conduction", move || core_by_conduction(thick, cold, target, &furnace)),
        call("martensite at a bath", move || martensite(ms, bath)),
        call("two loads compared", || compare(&[61.0, 61.5, 60.5, 61.0], &[59.5, 60.0, 59.0, 59.5])),
        call("a thermocouple's temperature", move || type_k.temperature(measured, cold)),
        call("a thermocouple's voltage", move || Thermocouple::named("K")?.voltage(hot, cold)),
    ])
}

fn of_quench() -> Result<Vec<Call>, ProcessError> {
    let (hot, limit) = (units::temperature("800 C")?, units::temperature("740 C")?);
    let section = Section::plate(units::length("3 mm")?)?;
    let air = StillAir::room(units::temperature("20 C")?);
    let time = units::time("2 s")?;
    let shape = Taper { edge: units::length("0.5 mm")?, back: units::length("2 mm")?, width: units::length("15 mm")? };
    let bath = Bath::oil(units::volume("12 L")?, units::temperature("48 C")?)?;
    let part = Hot::straight(units::mass("0.2 kg")?, hot);
    let (cold, top) = (units::temperature("20 C")?, units::temperature("70 C")?);
    let (plates, steel) = (units::mass("2 kg")?, units::mass("1 kg")?);
    let row = Pulls {
        section,
        mass: steel / 5.0,
        parts: 12,
        furnace: hot,
        view: units::share("20 %")?,
        open: units::time("3 s")?,
        shut: units::time("1 min")?,
        in_air: time,
    };
    let vessel = Vessel { surface: units::area("700 cm2")?, oil: units::volume("12 L")?, freeboard: units::length("60 mm")? };
    Ok(vec![
        call("a part in air", move || after(section, hot, time, &air)),
        call("seconds that a part has", move || seconds_until(section, hot, limit, &air)),
        call("an edge in air", move || taper(&shape, hot, time, &air)),
        call("the bath after a part", move || bath.after(&part)),
        call("twelve parts one after another", move || row.run(&bath, &air)),
        call("plates after a part", move || plates_after(plates, cold, &part)),
        call("the level of the oil", move || vessel.rise(steel, cold, top)),
        call("parts before a bath is too hot", move || bath.parts_before(&part, top)),
        call("the oil that twelve parts need", move || bath.volume_for(&part, 12, top)),
        call("whether an oil suits", move || suits(OilSpeed::Medium, OilSpeed::Fast, 12.0, section)),
        call("the start for twelve parts", move || bath.start_for(&part, 12, top)),
    ])
}

/// The rows of a record in the example.
fn record(name: &str) -> impl Iterator<Item = [f64; 3]> {
    let text = std::fs::read_to_string(place::root().join("deploy/example").join(name)).expect("the example is there");
    let rows: Vec<String> = text.lines().skip(1).map(str::to_owned).collect();
    rows.into_iter().map(|row| {
        let mut numbers = row.split(',').map(|number| number.parse().expect("a number"));
        std::array::from_fn(|_| numbers.next().expect("three columns"))
    })
}

/// The whole questions, read and answered as the API does.
fn questions() -> Vec<Call> {
    let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
    let steel = || "L6".to_owned();
    let purge = v1::PlanPurgeRequest { chamber_l: 9.4, flow_l_min: 8.0, ..Default::default() };
    let cylinder = v1::PlanCylinderRequest { volume_l: 10.0, gauge_bar: Some(165.0), ..Default::default() };
    let heat_up = v1::PlanHeatUpRequest { section, steel: steel(), ..Default::default() };
    let transfer = v1::PlanTransferRequest { section, steel: steel(), time_s: Some(2.0), ..Default::default() };
    let bath = v1::PlanBathRequest {
        volume_l: 12.0,
        temperature_c: Some(48.0),
        section,
        part_kg: 0.2,
        parts: 3,
        steel: steel(),
        ..Default::default()
    };
    let temper = v1::PlanTemperRequest { steel: steel(), hardness_hrc: Some(58.0), ..Default::default() };
    let cycle = v1::PlanCycleRequest {
        steel: steel(),
        section,
        purge: Some(purge.clone()),
        cylinder: Some(cylinder.clone()),
        transfer: Some(transfer.clone()),
        bath: Some(bath.clone()),
        ..Default::default()
    };
    let ramp = v1::PlanRamp {
        rate_k_min: 6.0,
        rated_w: 2200.0,
        holding_w: 700.0,
        falls_k_min: 5.0,
        load_kg: Some(0.9),
        ..Default::default()
    };
    let most = v1::PlanBathRequest { parts: MOST_PARTS, ..bath.clone() };
    let most = v1::PlanCycleRequest { ramp: Some(ramp.clone()), bath: Some(most), ..cycle.clone() };
    let on_ramp = v1::PlanHeatUpRequest { ramp: Some(ramp.clone()), ..heat_up.clone() };
    let all = v1::PlanCycleRequest { ramp: Some(ramp), ..cycle.clone() };
    let interrupted = v1::PlanInterruptedRequest {
        chamber_l: 9.4,
        now_c: 800.0,
        holding_w: 700.0,
        falls_k_min: 5.0,
        surface_cm2: 400.0,
        ..Default::default()
    };
    let readings =
        record("heat-up.csv").map(|[time_min, chamber_c, power_w]| v1::PlanFurnaceReading { time_min, chamber_c, power_w });
    let furnace = v1::PlanFurnaceRequest { readings: readings.collect(), ..Default::default() };
    let swept =
        record("purge.csv").map(|[time_min, oxygen_ppm, flow_l_min]| v1::PlanProbeReading { time_min, oxygen_ppm, flow_l_min });
    let leak = v1::PlanLeakRequest { readings: swept.collect(), chamber_l: 9.4, ..Default::default() };
    let meter = v1::PlanMeterCheckRequest { bag_l: 10.0, time_s: 60.0, reading_l_min: 8.0, ..Default::default() };
    let plates = v1::PlanPlatesRequest { section, part_kg: 0.2, plates_kg: 2.0, heat_c: Some(960.0), ..Default::default() };
    vec![
        (
            "the question of a heat-up on a ramp",
            None,
            Box::new(move || drop(black_box(planning::heat_up(&on_ramp).expect("it answers")))),
        ),
        (
            "the question of an interruption",
            None,
            Box::new(move || drop(black_box(planning::interrupted(&interrupted).expect("it answers")))),
        ),
        ("the question of a furnace", None, Box::new(move || drop(black_box(planning::furnace(&furnace).expect("it answers"))))),
        ("the question of a leak", None, Box::new(move || drop(black_box(planning::leak(&leak).expect("it answers"))))),
        ("the question of a meter", None, Box::new(move || drop(black_box(planning::meter_check(&meter).expect("it answers"))))),
        ("the question of plates", None, Box::new(move || drop(black_box(planning::plates(&plates).expect("it answers"))))),
        (
            "a whole cycle on a ramp",
            Some(WHOLE_US),
            Box::new(move || drop(black_box(planning::cycle(&all).expect("it answers")))),
        ),
        (
            "a whole cycle of the most parts on a ramp",
            Some(WHOLE_US),
            Box::new(move || drop(black_box(planning::cycle(&most).expect("it answers")))),
        ),
        ("the question of a purge", None, Box::new(move || drop(black_box(planning::purge(&purge).expect("it answers"))))),
        (
            "the question of a cylinder",
            None,
            Box::new(move || drop(black_box(planning::cylinder(&cylinder).expect("it answers")))),
        ),
        ("the question of a heat-up", None, Box::new(move || drop(black_box(planning::heat_up(&heat_up).expect("it answers"))))),
        (
            "the question of a transfer",
            None,
            Box::new(move || drop(black_box(planning::transfer(&transfer).expect("it answers")))),
        ),
        ("the question of a bath", None, Box::new(move || drop(black_box(planning::bath(&bath).expect("it answers"))))),
        ("the question of a temper", None, Box::new(move || drop(black_box(planning::temper(&temper).expect("it answers"))))),
        ("a whole cycle", Some(WHOLE_US), Box::new(move || drop(black_box(planning::cycle(&cycle).expect("it answers"))))),
    ]
}
