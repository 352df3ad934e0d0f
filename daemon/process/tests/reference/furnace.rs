//! Furnaces: identification on made-up records, times to set point, and what cold gas costs.

use crate::quantities::{celsius, kilograms, minutes, seconds, standard};
use crate::table::{Row, table};
use hearthward_process::furnace::{Furnace, Identified, Load, Nodes, Reading, identify};
use hearthward_process::gas::Gas;
use hearthward_process::heating::{Section, Surface, Surroundings, biot, time_to};
use hearthward_process::thermal::enthalpy;
use uom::si::f64::{HeatCapacity, Power, ThermalConductance};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::thermal_conductance::watt_per_kelvin;

fn identified(name: &str, column: &str) -> Identified {
    let record: Vec<Reading> = table!("identification")
        .iter()
        .filter(|row| row.text("furnace") == name)
        .map(|row| Reading {
            time: seconds(row.number("time_s")),
            power: Power::new::<watt>(row.number("power_w")),
            chamber: celsius(row.number(column)),
        })
        .collect();
    identify(&record, celsius(25.0)).unwrap()
}

#[test]
fn a_noisy_record_gives_the_furnace_back() {
    for row in table!("identification_truth") {
        let found = identified(row.text("furnace"), &format!("chamber_noisy_seed_{}_c", row.text("seed")));
        let truths = ["loss_u_w_k", "s_j_k", "q_j_s_k"];
        let errors = ["loss_u_standard_error_percent", "s_standard_error_percent", "q_standard_error_percent"];
        let ours = [found.loss.value, found.capacity.value, found.lag_j_s_k];
        for ((truth, error), ours) in truths.into_iter().zip(errors).zip(ours) {
            row.agrees(truth, ours, 3.0 * row.number(error) / 100.0);
        }
        // The same least squares by scipy, to more digits than the noise is worth.
        row.agrees("fit_loss_u_w_k", found.loss.value, 1e-4);
        row.agrees("fit_s_j_k", found.capacity.value, 1e-4);
        row.agrees("fit_q_j_s_k", found.lag_j_s_k, 1e-3);
        row.agrees("fit_fast_time_constant_s", found.fast.value, 1e-3);
        row.agrees("fit_slow_time_constant_s", found.slow.value, 1e-4);
        for (error, ours) in errors.into_iter().zip(found.errors) {
            row.agrees(error, ours.value * 100.0, 0.02);
        }
        assert!((found.scatter.value - 0.5).abs() < 0.05, "the noise was 0.5 K");
    }
}

#[test]
fn a_clean_record_is_explained_to_its_digits() {
    for row in table!("identification_truth").iter().filter(|row| row.text("seed") == "1") {
        let found = identified(row.text("furnace"), "chamber_c");
        assert!(found.scatter.value < 1e-3);
        row.agrees("loss_u_w_k", found.loss.value, 1e-5);
        row.agrees("s_j_k", found.capacity.value, 1e-5);
        row.agrees("fast_time_constant_s", found.fast.value, 1e-3);
    }
}

fn nodes(row: &Row) -> Nodes {
    Nodes {
        heater: HeatCapacity::new::<joule_per_kelvin>(row.number("c1_j_k")),
        chamber: HeatCapacity::new::<joule_per_kelvin>(row.number("c2_j_k")),
        coupling: ThermalConductance::new::<watt_per_kelvin>(row.number("coupling_k_w_k")),
        loss: ThermalConductance::new::<watt_per_kelvin>(row.number("loss_u_w_k")),
    }
}

#[test]
fn full_power_reaches_the_set_point_in_time() {
    let truths = table!("identification_truth");
    for row in table!("identification_times") {
        let truth = truths.iter().find(|truth| truth.text("furnace") == row.text("furnace")).unwrap();
        let mass = row.number("load_kg");
        let load = (mass > 0.0).then(|| Load {
            capacity: HeatCapacity::new::<joule_per_kelvin>(650.0 * mass),
            coupling: ThermalConductance::new::<watt_per_kelvin>(row.number("load_coupling_w_k")),
        });
        let power = Power::new::<watt>(truth.number("rated_w"));
        let ours = nodes(truth).heat_up(power, celsius(25.0), celsius(row.number("set_point_c")), load).unwrap();
        row.agrees("seconds_to_set_point", ours.time.value, 1e-4);
        row.agrees("seconds_to_set_point", ours.time.value, 1e-6);
        row.near("element_then_c", ours.heater.value - 273.15, 0.01);
        row.agrees("rate_then_k_per_min", ours.rate.kelvin_per_second() * 60.0, 1e-4);
        match ours.load {
            Some(load) => row.near("load_then_c", load.value - 273.15, 0.01),
            None => assert_eq!(row.text("load_then_c"), ""),
        }
        let furnace = Furnace {
            rated: power,
            loss: nodes(truth).loss,
            capacity: HeatCapacity::new::<joule_per_kelvin>(truth.number("s_j_k")),
            room: celsius(25.0),
        };
        row.agrees("steady_power_at_set_point_w", furnace.holding(celsius(row.number("set_point_c"))).unwrap().value, 1e-6);
    }
}

#[test]
fn parts_of_an_identified_furnace_answer_like_it() {
    let truths = table!("identification_truth");
    let truth = &truths[0];
    let found = identified(truth.text("furnace"), "chamber_c");
    let parts = Nodes::from_identified(&found, truth.number("c2_j_k") / truth.number("s_j_k")).unwrap();
    truth.agrees("c1_j_k", parts.heater.value, 2e-3);
    truth.agrees("coupling_k_w_k", parts.coupling.value, 2e-3);
    // Another share of the capacity answers the same at the thermometer without a load.
    let other = Nodes::from_identified(&found, 0.25).unwrap();
    let time = |nodes: Nodes| nodes.heat_up(Power::new::<watt>(2200.0), celsius(25.0), celsius(800.0), None).unwrap().time.value;
    assert!((time(parts) / time(other) - 1.0).abs() < 1e-3);
}

/// The third worked example: what cold gas and cold steel cost.
#[test]
fn the_worked_heat_comes_out() {
    let rows = table!("worked");
    let find = |example: &str, what: &str| {
        rows.iter().find(|row| row.text("example") == example && row.text("quantity") == what).unwrap()
    };
    let furnace = Furnace {
        rated: Power::new::<watt>(2200.0),
        loss: ThermalConductance::new::<watt_per_kelvin>(0.9),
        capacity: HeatCapacity::new::<joule_per_kelvin>(7743.0),
        room: celsius(25.0),
    };
    for (gas, name) in [(Gas::Argon, "argon"), (Gas::Nitrogen, "nitrogen")] {
        let rise = gas.enthalpy_rise(celsius(21.1), celsius(800.0)).unwrap();
        find("3", &format!("{name} enthalpy rise 21.1 to 800 degC")).agrees("value", rise.value / 1e3, 1e-3);
        for flow in ["0.6", "2.0", "8.0"] {
            let cost = furnace.gas_heat(gas, standard(flow.parse().unwrap()), celsius(21.1), celsius(800.0)).unwrap();
            find("3", &format!("{name} at {flow} std L/min")).agrees("value", cost.power.value, 1.5e-3);
        }
    }
    let cost = furnace.gas_heat(Gas::Argon, standard(2.0), celsius(21.1), celsius(800.0)).unwrap();
    find("3", "argon 2.0 std L/min as share of 2.2 kW").agrees("value", cost.share.value * 100.0, 1.5e-3);
    let irons = kilograms(find("3", "mass of four irons").number("value"));
    let heat = irons * (enthalpy(celsius(800.0)).unwrap() - enthalpy(celsius(25.0)).unwrap());
    find("3", "heat to take them from 25 to 800 degC").agrees("value", heat.value / 1e3, 1e-4);
    // The fourth: when soak really begins, scaled and bright.
    let plate = Section::plate(crate::quantities::millimetres(3.0)).unwrap();
    for (emissivity, surface) in [("0.8", Surface::Scaled), ("0.3", Surface::Bright)] {
        let around = Surroundings::furnace(celsius(800.0), surface);
        let took = |target| time_to(plate, celsius(25.0), celsius(target), &around).unwrap().lumped;
        find("4", &format!("time to 790 degC, emissivity {emissivity}")).agrees("value", took(790.0).value, 1e-4);
        find("4", &format!("time to 795 degC, emissivity {emissivity}")).agrees("value", took(795.0).value, 1e-4);
        let out = took(790.0) + minutes(15.0);
        find("4", &format!("load to quench with 15 min soak after 790 degC, emissivity {emissivity}")).agrees(
            "value",
            out.value / 60.0,
            1e-4,
        );
    }
    let number = biot(plate, &Surroundings::furnace(celsius(800.0), Surface::Scaled)).unwrap();
    find("4", "Biot number of the iron at 800 degC, emissivity 0.8").agrees("value", number.value, 1e-4);
}
