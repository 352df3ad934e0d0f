//! Furnaces: identification on made-up records, and times to set point.

use crate::quantities::{celsius, seconds};
use crate::table::{Row, table};
use hearthward_process::furnace::{Furnace, Identified, Load, Nodes, Reading, identify};
use uom::si::f64::{HeatCapacity, Power, ThermalConductance};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::thermal_conductance::watt_per_kelvin;

fn identified(name: &str, column: &str) -> Identified {
    identified_until(name, column, f64::INFINITY)
}

fn identified_until(name: &str, column: &str, end_s: f64) -> Identified {
    let record: Vec<Reading> = table!("identification")
        .iter()
        .filter(|row| row.text("furnace") == name && row.number("time_s") <= end_s)
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
        row.agrees("slow_time_constant_s", found.slow.value, 1e-4);
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
        row.agrees("seconds_check", ours.time.value, 1e-6);
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
        let set_point_c = row.number("set_point_c");
        let holding = furnace.holding(celsius(set_point_c)).unwrap();
        row.agrees("steady_power_at_set_point_w", holding.value, 1e-6);
        // Far above what anything here is worked out for, but what holds a heat grows straight with its rise over the room.
        row.agrees("full_power_end_temperature_c", 25.0 + (set_point_c - 25.0) * power.value / holding.value, 1e-6);
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

#[test]
fn a_heat_up_alone_tells_capacity_better_than_loss() {
    // The first power step alone: full power, nothing held, nothing cooled.
    for (name, minutes) in [("A medium brick", 40.0), ("B light fibre", 20.0), ("C heavy brick", 60.0)] {
        let found = identified_until(name, "chamber_noisy_seed_1_c", minutes * 60.0);
        let rows = table!("identification_truth");
        let truth = rows.iter().find(|row| row.text("furnace") == name).unwrap();
        truth.agrees("s_j_k", found.capacity.value, 3.0 * found.errors[1].value);
        truth.agrees("loss_u_w_k", found.loss.value, 3.0 * found.errors[0].value);
        assert!(found.errors[1] < found.errors[0], "{name}: {:?}", found.errors);
        assert!(found.errors[0].value < 0.05, "{name}: {:?}", found.errors);
    }
}
