//! The same bits on every computer: results whose last bits would move if a processor's or a platform's own functions got in.
//!
//! The bits were taken on x86-64 with Rust 1.95. A change of formula changes them rightly: take the new ones then, from the
//! failure's message, after the other tests agree.

use crate::quantities::{bars, celsius, kilograms, litres, millimetres, minutes, ppm, seconds, share, standard};
use hearthward_process::chamber::{Chamber, ChamberGas, Inputs, Pores};
use hearthward_process::cylinder::Cylinder;
use hearthward_process::gas::Gas;
use hearthward_process::heating::{Section, Surface, Surroundings, time_to};
use hearthward_process::oxide;
use hearthward_process::quench::{Bath, Hot};
use hearthward_process::thermocouple::Thermocouple;
use hearthward_process::transfer::{StillAir, after};
use hearthward_process::trials::compare;

#[test]
fn results_are_the_same_to_the_last_bit() {
    let pores = Pores { volume: litres(20.0), exchange: minutes(15.0), warming: share(0.5), room: celsius(25.0) };
    let chamber = Chamber::tight(litres(9.4)).unwrap().with_pores(pores).unwrap();
    let inputs = Inputs {
        time: minutes(30.0),
        inflow: standard(2.0),
        inflow_oxygen: ppm(5.0),
        leak: standard(0.005),
        ..Inputs::nothing(celsius(640.0))
    };
    let gas = ChamberGas::air(&chamber, celsius(25.0)).unwrap().step(&chamber, &inputs).unwrap().gas;
    let argon = Cylinder::new(Gas::Argon, litres(10.0)).unwrap();
    let bar = Section::bar(millimetres(12.0)).unwrap();
    let furnace = Surroundings::furnace(celsius(800.0), Surface::Bright);
    let plate = Section::plate(millimetres(3.0)).unwrap();
    let bath = Bath::oil(litres(12.0), celsius(48.0)).unwrap();
    let voltage = Thermocouple::K.voltage(celsius(800.0), celsius(24.0)).unwrap();
    let ours = [
        gas.oxygen().value,
        gas.oxygen_in_pores().value,
        argon.contents(bars(165.0), celsius(18.0)).unwrap().amount.value,
        Gas::Nitrogen.viscosity(celsius(640.0)).unwrap().value,
        time_to(bar, celsius(25.0), celsius(795.0), &furnace).unwrap().time.value,
        after(plate, celsius(800.0), seconds(3.0), &StillAir::room(celsius(25.0))).unwrap().temperature.value,
        bath.after(&Hot::straight(kilograms(0.86), celsius(780.0))).unwrap().value,
        oxide::in_air(celsius(800.0), minutes(15.0)).unwrap().thickness.value,
        voltage.value,
        compare(&[61.0, 61.5, 60.5], &[59.5, 60.0, 59.0]).unwrap().p,
    ];
    let bits = ours.map(f64::to_bits);
    assert_eq!(bits, TAKEN, "{bits:#018x?} of {ours:?}");
}

const TAKEN: [u64; 10] = [
    0x3f96_411b_2097_18d4,
    0x3fb1_b745_ff1f_1861,
    0x4052_4aab_e89f_bac5,
    0x3f04_863f_449e_4393,
    0x4096_815b_8eb1_e74e,
    0x4090_5d92_f3e9_1df8,
    0x4075_7f2b_1ceb_376c,
    0x3f0d_34be_2a2a_fbc1,
    0x3fa0_8bac_d72b_fca8,
    0x3f95_d2b8_06b0_3aa3,
];
