//! Whole questions of a made-up workshop that makes plane irons, carving knives and punches, and the warnings that they earn.

use crate::quantities::{
    bars, celsius, kilograms, litres, litres_per_minute, millimetres, minutes, ppm, seconds, share, square_centimetres, standard,
};
use hearthward_process::ProcessError;
use hearthward_process::chamber::Chamber;
use hearthward_process::cylinder::{Cylinder, Draw};
use hearthward_process::flow::Reference;
use hearthward_process::furnace::Furnace;
use hearthward_process::gas::{Gas, Mixture, SteelKind};
use hearthward_process::heating::{Section, Surface};
use hearthward_process::meter::{Accuracy, Float, Scale, Service, Valve};
use hearthward_process::plan::{self, Answer, Value};
use hearthward_process::purge::Purge;
use hearthward_process::quench::{Bath, OilSpeed, Pulls};
use hearthward_process::room::Room;
use hearthward_process::stack::{Gaps, Shape};
use hearthward_process::steel::{Medium, STEELS, Steel, Wish};
use hearthward_process::tempering::Temper;
use hearthward_process::transfer::{StillAir, Taper};
use hearthward_process::units::{self, System};
use hearthward_process::vessel::Vessel;
use uom::si::amount_of_substance::mole;
use uom::si::f64::{AmountOfSubstance, Frequency, HeatCapacity, Power, TemperatureInterval, ThermalConductance};
use uom::si::frequency::hertz;
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::temperature_interval::kelvin;
use uom::si::thermal_conductance::watt_per_kelvin;

fn warned(answer: &Answer, words: &str) -> bool {
    answer.warnings.iter().any(|note| note.text.contains(words))
}

fn purge_question() -> plan::PurgeQuestion {
    let argon = Mixture::from(Gas::Argon);
    plan::PurgeQuestion {
        chamber: Chamber::tight(litres(9.4)).unwrap(),
        gas: argon,
        steel: SteelKind::Plain,
        purge: Purge {
            flow: standard(8.0),
            gas_oxygen: ppm(5.0),
            temperature: celsius(25.0),
            leak: standard(0.0),
            start: share(0.2095),
        },
        level: ppm(100.0),
        heat: (celsius(800.0), standard(2.0)),
        room: celsius(25.0),
        reference: Reference::TWENTY_ONE,
        meter: Some(plan::MeterAtHand {
            scale: Scale { gas: Gas::Air.into(), gauge: bars(0.0), temperature: celsius(21.1), reference: Reference::TWENTY_ONE },
            service: Service {
                gas: argon,
                valve: Valve::AfterTube,
                line: bars(0.5),
                back: bars(0.0),
                temperature: celsius(24.0),
            },
            accuracy: Accuracy::FullScale(share(0.05)),
            full_scale: litres_per_minute(10.0),
            float: Some((Float::Ball, millimetres(6.0))),
        }),
        port: Some(plan::PortAtHand { bore: millimetres(4.5), height: millimetres(150.0) }),
        gaps: Some(Gaps {
            height: millimetres(150.0),
            width: millimetres(0.3),
            length: millimetres(200.0),
            depth: millimetres(20.0),
            shape: Shape::DoorFrame,
        }),
        opening: Some(share(0.5)),
        exposed: Some(plan::ExposedSteel { surface: square_centimetres(789.84), carbon: share(0.007), time: minutes(70.0) }),
    }
}

fn cylinder_question(gauge_bar: f64) -> plan::CylinderQuestion {
    plan::CylinderQuestion {
        cylinder: Cylinder::new(Gas::Argon, litres(10.0)).unwrap(),
        gauge: bars(gauge_bar),
        gauge_error: bars(5.0),
        temperature: celsius(18.0),
        leave: bars(15.0),
        draws: vec![Draw { flow: standard(8.0), time: minutes(9.0) }, Draw { flow: standard(2.0), time: minutes(70.0) }],
        reserve: AmountOfSubstance::new::<mole>(1.0),
        room: Some(Room::new(litres(60_000.0), Frequency::new::<hertz>(2.0 / 3600.0), celsius(21.1)).unwrap()),
        reference: Reference::TWENTY_ONE,
    }
}

fn bath_question(bath_c: f64, parts: u32) -> plan::BathQuestion {
    plan::BathQuestion {
        bath: Bath::oil(litres(12.0), celsius(bath_c)).unwrap(),
        window: (celsius(40.0), celsius(70.0)),
        flash_point: Some(celsius(190.0)),
        pulls: Pulls {
            section: Section::plate(millimetres(3.0)).unwrap(),
            mass: kilograms(0.216),
            parts,
            furnace: celsius(800.0),
            view: share(0.2),
            open: seconds(4.0),
            shut: seconds(30.0),
            in_air: seconds(2.0),
        },
        air: StillAir::room(celsius(25.0)),
        steel: Some((Steel::named("L6").unwrap(), OilSpeed::Medium)),
        vessel: Some((
            Vessel { surface: square_centimetres(400.0), oil: litres(12.0), freeboard: millimetres(60.0) },
            millimetres(180.0),
        )),
        cooling: Some(minutes(120.0)),
    }
}

fn transfer_question(time_s: f64) -> plan::TransferQuestion {
    plan::TransferQuestion {
        section: Section::plate(millimetres(1.5)).unwrap(),
        taper: Some(Taper { edge: millimetres(0.5), back: millimetres(2.0), width: millimetres(15.0) }),
        start: celsius(800.0),
        limit: celsius(740.0),
        time: seconds(time_s),
        air: StillAir::room(celsius(25.0)),
    }
}

fn ramp_wish() -> plan::RampWish {
    plan::RampWish {
        furnace: Furnace {
            rated: Power::new::<watt>(2200.0),
            loss: ThermalConductance::new::<watt_per_kelvin>(0.9),
            capacity: HeatCapacity::new::<joule_per_kelvin>(7743.0),
            room: celsius(25.0),
        },
        ramp: units::ramp("6 K/min").unwrap(),
        load: kilograms(0.86),
        gas: (Gas::Argon, standard(2.0)),
    }
}

#[test]
fn a_purge_is_planned_as_worked_by_hand() {
    let answer = plan::purge(&purge_question(), System::Metric).unwrap();
    // Worked example 1: 7.70 changes, 8.93 min, 71.4 L, marks 7.726 and 1.931 with 25.9 % error at the hold.
    let close = |key: &str, value: f64| {
        let ours = answer.number(key).unwrap();
        assert!((ours / value - 1.0).abs() < 1e-3, "{key}: {ours} against {value}");
    };
    close("changes_needed", 7.698_578);
    close("time_s", 8.927_504 * 60.0);
    close("gas_l", 71.420);
    close("purge_reading_l_min", 7.726);
    close("hold_reading_l_min", 1.931);
    close("hold_reading_error_fraction", 0.2589);
    assert!(warned(&answer, "can be off by 25.9 %") && warned(&answer, "within 10 %"));
    assert!(warned(&answer, "bag and a stopwatch"));
    assert!(answer.text().contains("time to the level: 8.93 min") || answer.text().contains("536 s"), "{}", answer.text());
}

#[test]
fn a_leak_that_forbids_the_level_is_an_answer() {
    let mut question = purge_question();
    question.purge.leak = standard(0.005);
    let answer = plan::purge(&question, System::Metric).unwrap();
    // Worked example 1: 0.97 µm at most from the 98.1 mg that gas and leak bring in 70 min.
    assert!((answer.number("oxygen_brought_kg").unwrap() * 1e6 - 98.1).abs() < 0.05);
    assert!((answer.number("scale_bound_mm").unwrap() * 1e3 - 0.970).abs() < 1e-3);
    assert!(warned(&answer, "never reaches 100 ppm: the leak alone keeps the oxygen at 136 ppm"), "{}", answer.text());
    assert!(answer.number("time_s").is_none() && answer.number("floor_fraction").is_some());
}

#[test]
fn an_opening_at_heat_is_recovered_from() {
    let answer = plan::purge(&purge_question(), System::Metric).unwrap();
    let row = crate::table::table!("recovery");
    let at = |row: &&crate::table::Row| {
        ["chamber_c", "air_fraction_after_opening", "flow_std_l_min"].map(|c| row.number(c)) == [800.0, 0.5, 8.0]
    };
    row.iter().find(at).unwrap().agrees("minutes_to_100_ppm", answer.number("recovery_s").unwrap() / 60.0, 1e-5);
}

#[test]
fn a_cut_shows_its_three_ways_on() {
    let question = plan::InterruptedQuestion {
        furnace: ramp_wish().furnace,
        chamber: Chamber::tight(litres(9.4)).unwrap(),
        now: celsius(800.0),
        limit: celsius(760.0),
        scaling_ends: celsius(400.0),
        gas: (standard(2.0), ppm(5.0), standard(0.0)),
        steel: (square_centimetres(789.84), share(0.007)),
        reference: Reference::TWENTY_ONE,
    };
    let answer = plan::interrupted(&question, System::Metric).unwrap();
    assert!((answer.number("quenchable_s").unwrap() - 456.3).abs() < 1.0, "{}", answer.text());
    assert!(answer.number("scale_in_air_mm").unwrap() > 100.0 * answer.number("scale_under_gas_mm").unwrap());
    assert!(!warned(&answer, "air is drawn in"));
    let starved = plan::InterruptedQuestion { gas: (standard(0.001), ppm(5.0), standard(0.0)), ..question };
    assert!(warned(&plan::interrupted(&starved, System::Metric).unwrap(), "air is drawn in"));
    let cold = plan::InterruptedQuestion { now: celsius(750.0), ..question };
    assert!(warned(&plan::interrupted(&cold, System::Metric).unwrap(), "too cold to quench"));
}

#[test]
fn a_flow_below_the_meter_is_said() {
    let mut question = purge_question();
    question.heat.1 = standard(0.3);
    assert!(warned(&plan::purge(&question, System::Metric).unwrap(), "below what this meter can show"));
    question.purge.flow = standard(20.0);
    assert!(warned(&plan::purge(&question, System::Metric).unwrap(), "above the top of the meter"));
}

#[test]
fn a_gas_that_harms_is_refused() {
    let question = plan::PurgeQuestion { gas: Mixture::named("argon + 18 % CO2").unwrap(), ..purge_question() };
    let refused = plan::purge(&question, System::Metric).unwrap_err();
    assert!(matches!(refused, ProcessError::NotProtective { .. }), "{refused}");
}

#[test]
fn a_chimney_that_draws_is_said() {
    let mut question = purge_question();
    question.heat.1 = standard(0.005);
    let answer = plan::purge(&question, System::Metric).unwrap();
    assert!(warned(&answer, "chimney may draw air in") && answer.number("chimney_air_in_l_min").unwrap() > 0.0);
    let held = plan::purge(&purge_question(), System::Metric).unwrap();
    assert_eq!(held.item("chimney_outward").unwrap().value, Value::Flag(true));
    assert!(held.number("chimney_holding_l_min").unwrap() < held.number("chimney_holding_orifice_l_min").unwrap());
}

#[test]
fn a_cylinder_that_will_not_last_is_said() {
    let full = plan::cylinder(&cylinder_question(165.0), System::Metric).unwrap();
    assert_eq!(full.item("reach").unwrap().value, Value::Word("surely".into()));
    assert!(full.number("mass_kg").unwrap() > 2.9);
    assert!(!warned(&full, "which room"));
    let nowhere = plan::CylinderQuestion { room: None, ..cylinder_question(165.0) };
    assert!(warned(&plan::cylinder(&nowhere, System::Metric).unwrap(), "which room"));
    let low = plan::cylinder(&cylinder_question(28.0), System::Imperial).unwrap();
    assert!(warned(&low, "will not last") && low.number("ends_after_s").is_some());
    assert!(low.item("usable_l").unwrap().shown.contains("ft³"));
}

#[test]
fn soak_begins_when_the_core_is_there() {
    let question = plan::HeatQuestion {
        section: Section::plate(millimetres(3.0)).unwrap(),
        surface: Surface::of_load(true),
        start: celsius(25.0),
        heat: celsius(800.0),
        band: TemperatureInterval::new::<kelvin>(5.0),
        soak: minutes(15.0),
        ramp: Some(ramp_wish()),
    };
    let answer = plan::heat(&question, System::Metric).unwrap();
    // Worked example 4: 720 s to 795 °C at emissivity 0.3, 294 s at 0.8.
    assert!((answer.number("core_in_band_s").unwrap() - 720.2).abs() < 1.0);
    assert!((answer.number("core_in_band_other_surface_s").unwrap() - 294.2).abs() < 1.0);
    assert!((answer.number("pull_s").unwrap() - 720.2 - 900.0).abs() < 1.0);
    assert_eq!(answer.item("ramp_feasible").unwrap().value, Value::Flag(true));
    let fast = plan::RampWish { ramp: units::ramp("20 K/min").unwrap(), ..ramp_wish() };
    let answer = plan::heat(&plan::HeatQuestion { ramp: Some(fast), ..question }, System::Metric).unwrap();
    assert_eq!(answer.item("ramp_feasible").unwrap().value, Value::Flag(false));
    assert!(warned(&answer, "falls behind this ramp"));
}

#[test]
fn seconds_in_air_count() {
    let quick = plan::transfer(&transfer_question(1.0), System::Metric).unwrap();
    assert!(!warned(&quick, "below the limit"));
    let slow = plan::transfer(&transfer_question(4.0), System::Metric).unwrap();
    assert!(warned(&slow, "the part is below the limit") && warned(&slow, "the edge is below the limit"));
    assert!(slow.number("edge_c").unwrap() < slow.number("entering_c").unwrap());
}

#[test]
fn a_bath_is_judged_before_the_first_pull() {
    let answer = plan::bath(&bath_question(48.0, 4), System::Metric).unwrap();
    assert!(answer.number("bath_after_c").unwrap() > 70.0 && warned(&answer, "passes the top of its window after 3 of 4"));
    assert!(answer.number("volume_for_all_l").unwrap() > 12.0 && answer.number("back_s").unwrap() > 0.0);
    let cold = plan::bath(&bath_question(15.0, 1), System::Metric).unwrap();
    assert!(warned(&cold, "oil is too cold") && cold.number("scrap_kg").unwrap() > 0.5);
    let mut heavy = bath_question(48.0, 1);
    heavy.steel = Some((Steel::named("1084").unwrap(), OilSpeed::Slow));
    assert!(warned(&plan::bath(&heavy, System::Metric).unwrap(), "heavier than"));
    heavy.steel = Some((Steel::named("A2").unwrap(), OilSpeed::Slow));
    assert!(warned(&plan::bath(&heavy, System::Metric).unwrap(), "not an oil-hardening steel"));
    heavy.vessel =
        Some((Vessel { surface: square_centimetres(400.0), oil: litres(6.0), freeboard: millimetres(60.0) }, millimetres(180.0)));
    assert!(warned(&plan::bath(&heavy, System::Metric).unwrap(), "sticks out"));
}

#[test]
fn two_tempers_are_worth_one_hotter() {
    let question = plan::TemperQuestion {
        temper: Temper { temperature: celsius(205.0), time: minutes(120.0) },
        times: 2,
        steel: Some(Steel::named("L6").unwrap()),
        instead: Some(minutes(60.0)),
    };
    let answer = plan::temper(&question, System::Metric).unwrap();
    // Worked example 6: parameter 9.851, one hour at 219.4 °C; 60.97 HRC.
    assert!((answer.number("parameter").unwrap() - 9.850_875).abs() < 1e-5);
    assert!((answer.number("instead_c").unwrap() - 219.39).abs() < 0.05);
    assert!((answer.number("hardness_hrc").unwrap() - 60.97).abs() < 0.01);
}

fn load(grade: &str, mm: f64, hardness_hrc: Option<f64>) -> plan::CycleQuestion {
    let section = Section::plate(millimetres(mm)).unwrap();
    let steel = Steel::named(grade).unwrap();
    plan::CycleQuestion {
        wish: Wish { steel, section, protected: true, hardness_hrc, oil: Some(OilSpeed::Medium) },
        gas: Some(plan::GasSide {
            purge: purge_question(),
            cylinder: Some(plan::CylinderQuestion { draws: vec![], ..cylinder_question(165.0) }),
        }),
        quench: Some(plan::QuenchSide { transfer: transfer_question(2.0), bath: bath_question(48.0, 3) }),
        ramp: Some(ramp_wish()),
        cooling: minutes(20.0),
    }
}

#[test]
fn every_steel_is_answered_thin_and_thick() {
    for steel in &STEELS {
        for mm in [3.0, 30.0, 110.0] {
            let mut question = load(steel.grade, mm, None);
            // 1190 °C is beyond this furnace's ramp, and that is an answer too.
            question.ramp = None;
            let (cycle, answers) = plan::cycle(&question, System::Imperial).unwrap();
            assert_eq!(answers.iter().any(|answer| answer.title.contains("of bath")), cycle.medium == Medium::Oil);
            if cycle.soak.temperature > celsius(1200.0) {
                assert!(answers.iter().any(|answer| warned(answer, "ends at 1200")), "{}", steel.grade);
            }
        }
    }
}

#[test]
fn a_whole_load_is_answered_in_one_call() {
    let question = load("L6", 3.0, Some(61.0));
    let (cycle, answers) = plan::cycle(&question, System::Metric).unwrap();
    assert_eq!(cycle.medium, Medium::Oil);
    assert_eq!(answers.len(), 7);
    let cylinder = &answers[2];
    // Purge, hold until the pull, and the reserve that cools an abandoned load are all in what is needed.
    assert!(cylinder.number("needed_l").unwrap() > 71.0 + 2.0 * 20.0);
    for answer in &answers {
        assert!(!answer.items.is_empty() && answer.text().lines().count() > answer.items.len());
        for item in &answer.items {
            assert!(!item.shown.is_empty() && !matches!(item.value, Value::Number(n) if !n.is_finite()), "{}", item.key);
        }
    }
}
