//! Thermocouples against the ITS-90 reference functions and IEC 60584-1.

use crate::quantities::celsius;
use crate::table::table;
use hearthward_process::thermocouple::{Class, Thermocouple};
use uom::si::electric_potential::{microvolt, millivolt};
use uom::si::f64::ElectricPotential;

fn couple(row: &crate::table::Row) -> Thermocouple {
    Thermocouple::named(row.text("type")).unwrap()
}

fn class(row: &crate::table::Row) -> Class {
    match row.text("class") {
        "1" => Class::One,
        "2" => Class::Two,
        _ => Class::Three,
    }
}

#[test]
fn temperatures_give_millivolts() {
    for row in table!("thermocouple") {
        let hot = celsius(row.number("hot_c"));
        let ours = couple(&row).voltage(hot, celsius(row.number("cold_c"))).unwrap();
        row.near("emf_mv", ours.get::<millivolt>(), 1e-3);
        row.near("emf_mv", ours.get::<millivolt>(), 1e-6);
        row.near("sensitivity_uv_per_k", couple(&row).sensitivity(hot).unwrap().get::<microvolt>(), 1e-5);
    }
}

#[test]
fn millivolts_give_temperatures() {
    for row in table!("thermocouple_inverse") {
        let (measured, cold) = (ElectricPotential::new::<millivolt>(row.number("measured_mv")), celsius(row.number("cold_c")));
        let hot = couple(&row).temperature(measured, cold).unwrap();
        row.near("hot_c", hot.value - 273.15, 0.05);
        row.near("hot_c", hot.value - 273.15, 6e-5);
        let bare = couple(&row).temperature(measured, celsius(0.0)).unwrap();
        row.near("hot_if_cold_junction_ignored_c", bare.value - 273.15, 0.05);
        // The usual mistake: degrees of the cold junction added where its voltage should be.
        row.near("hot_if_cold_temperature_simply_added_c", bare.value - 273.15 + row.number("cold_c"), 0.05);
    }
}

#[test]
fn printed_voltages_are_met() {
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "thermocouple") {
        let words: Vec<&str> = row.text("what").split_whitespace().collect();
        let couple = Thermocouple::named(words[1]).unwrap();
        let ours = couple.voltage(celsius(words[3].parse().unwrap()), celsius(0.0)).unwrap();
        row.agrees("published", ours.get::<millivolt>(), row.number("expected_tolerance_percent") / 100.0);
    }
}

#[test]
fn tolerances_are_the_standards() {
    for row in table!("thermocouple_tolerance") {
        let wanted = ["from_c", "to_c", "fixed_k", "slope"].map(|column| row.number(column));
        let segments = couple(&row).segments(class(&row));
        assert!(
            segments.iter().any(|part| [part.from_c, part.to_c, part.fixed_k, part.slope] == wanted),
            "{} {}",
            row.text("type"),
            row.text("class")
        );
    }
    for row in table!("thermocouple_tolerance_at") {
        let ours = couple(&row).tolerance(class(&row), celsius(row.number("temperature_c"))).unwrap();
        row.near("tolerance_k", ours.value, 1e-6);
    }
}
