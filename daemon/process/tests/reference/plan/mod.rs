//! Whole questions of a made-up workshop that makes plane irons, carving knives and punches, and the warnings that they earn.

use crate::quantities::{
    bars, celsius, kilograms, litres, litres_per_minute, millimetres, minutes, ppm, seconds, share, square_centimetres, standard,
};
use hearthward_process::ProcessError;
use hearthward_process::chamber::{Chamber, Pores};
use hearthward_process::cylinder::{Cylinder, Draw};
use hearthward_process::flow::Reference;
use hearthward_process::furnace::{Furnace, Reading};
use hearthward_process::gas::{Gas, Mixture, SteelKind};
use hearthward_process::heating::{Section, Surface};
use hearthward_process::meter::{Accuracy, Float, Scale, Service, Valve};
use hearthward_process::plan::{self, Answer, Value};
use hearthward_process::purge::Purge;
use hearthward_process::quench::{Bath, OilSpeed, Pulls};
use hearthward_process::room::{Room, USUAL_ALARM};
use hearthward_process::span::Span;
use hearthward_process::stack::{Gaps, Shape};
use hearthward_process::steel::{Medium, Own, STEELS, Steel, Wish};
use hearthward_process::tempering::Temper;
use hearthward_process::transfer::{StillAir, Taper};
use hearthward_process::units::{self, System};
use uom::si::amount_of_substance::mole;
use uom::si::f64::{AmountOfSubstance, Frequency, HeatCapacity, Power, TemperatureInterval, ThermalConductance};
use uom::si::frequency::hertz;
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::temperature_interval::kelvin;
use uom::si::thermal_conductance::watt_per_kelvin;

mod gas;
mod more;
mod steel;

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
        heat: celsius(800.0),
        hold: standard(2.0),
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
        cools: Some(units::ramp("5 K/min").unwrap()),
        leak_said: true,
        tight_said: true,
        exposed: Some(plan::ExposedSteel { surface: square_centimetres(789.84), carbon: share(0.007), time: minutes(70.0) }),
    }
}

fn cylinder_question(gauge_bar: f64) -> plan::CylinderQuestion {
    plan::CylinderQuestion {
        cylinder: Cylinder::new(Gas::Argon, litres(10.0)).unwrap(),
        filled: Some(bars(200.0)),
        gauge: bars(gauge_bar),
        gauge_error: bars(5.0),
        temperature: celsius(18.0),
        leave: bars(15.0),
        in_turn: vec![Draw { flow: standard(8.0), time: minutes(9.0) }, Draw { flow: standard(2.0), time: minutes(70.0) }],
        draws: vec![],
        reserve: AmountOfSubstance::new::<mole>(1.0),
        room: Some(Room::new(litres(60_000.0), Frequency::new::<hertz>(2.0 / 3600.0), celsius(21.1)).unwrap()),
        alarm: share(USUAL_ALARM),
        evening: None,
        reference: Reference::TWENTY_ONE,
    }
}

fn bath_question(bath_c: f64, parts: u32) -> plan::BathQuestion {
    plan::BathQuestion {
        bath: Bath::oil(litres(12.0), celsius(bath_c)).unwrap(),
        window: Span { least: celsius(40.0), most: celsius(70.0) },
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
        steel: Some(Steel::named("L6").unwrap()),
        oil: OilSpeed::Medium,
        tank: Some(plan::TankAtHand {
            surface: square_centimetres(400.0),
            freeboard: Some(millimetres(60.0)),
            part: Some(millimetres(180.0)),
        }),
        limit: None,
        cooling: Some(minutes(120.0)),
    }
}

fn transfer_question(time_s: f64) -> plan::TransferQuestion {
    plan::TransferQuestion {
        section: Section::plate(millimetres(1.5)).unwrap(),
        taper: Some(Taper { edge: millimetres(0.5), back: millimetres(2.0), width: millimetres(15.0) }),
        start: celsius(800.0),
        limit: celsius(740.0),
        limit_said: false,
        steel: None,
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
        gas: Gas::Argon,
        flow: standard(2.0),
    }
}
