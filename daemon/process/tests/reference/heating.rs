//! Heating against eigenvalue series and ODE integration by scipy.

use crate::quantities::{celsius, millimetres, share};
use crate::table::table;
use hearthward_process::heating::{Section, Shape, Surface, Surroundings, core_by_conduction, time_to};
use hearthward_process::thermal::{HeatCapacity, enthalpy, specific_heat};
use uom::si::f64::HeatTransfer;
use uom::si::heat_transfer::watt_per_square_meter_kelvin;

fn shape(name: &str) -> Shape {
    match name {
        "plate" => Shape::Plate,
        "cylinder" => Shape::Bar,
        _ => Shape::Sphere,
    }
}

fn furnace(emissivity: f64, convection: f64, capacity: HeatCapacity) -> Surroundings {
    Surroundings {
        convection: HeatTransfer::new::<watt_per_square_meter_kelvin>(convection),
        capacity,
        ..Surroundings::furnace(celsius(800.0), Surface::Emissivity(share(emissivity)))
    }
}

#[test]
fn eigenvalues_are_the_textbooks() {
    for row in table!("heisler_roots") {
        let (shape, biot) = (shape(row.text("shape")), share(row.number("biot")));
        let zeta = |term| shape.eigenvalue(biot, term).unwrap();
        row.near("zeta1_rad", zeta(1), 1e-6);
        row.near("zeta2_rad", zeta(2), 1e-6);
        row.near("zeta3_rad", zeta(3), 1e-6);
        row.near("c1", shape.coefficient(zeta(1)), 1e-6);
        if row.maybe("textbook_zeta1").is_some() {
            row.near("textbook_zeta1", zeta(1), 6e-5);
            row.near("textbook_c1", shape.coefficient(zeta(1)), 6e-5);
        }
    }
}

#[test]
fn the_series_is_summed_right() {
    for row in table!("heisler") {
        let (shape, biot, fourier) = (shape(row.text("shape")), share(row.number("biot")), share(row.number("fourier")));
        let theta = |place| shape.theta(biot, fourier, share(place)).unwrap().value;
        row.near("theta_centre", theta(0.0), 1e-5);
        row.near("theta_surface", theta(1.0), 1e-5);
        let one = |place| shape.theta_one_term(biot, fourier, share(place)).unwrap().value;
        row.near("theta_centre_one_term", one(0.0), 1e-5);
        row.near("theta_surface_one_term", one(1.0), 1e-5);
        row.near("theta_lumped", shape.theta_lumped(biot, fourier).unwrap().value, 1e-5);
    }
}

#[test]
fn the_core_comes_when_the_series_says() {
    for row in table!("lumped") {
        let shape = shape(row.text("shape"));
        let (start, medium, target) = (row.number("start_c"), row.number("medium_c"), row.number("target_c"));
        let theta = (medium - target) / (medium - start);
        let biot = share(row.number("biot_half"));
        let fourier = shape.fourier_for(biot, share(theta)).unwrap().unwrap();
        let half_m = row.number("thickness_or_diameter_mm") / 2e3;
        let held = row.number("density_kg_m3") * row.number("cp_j_kg_k");
        let time = fourier.value * half_m * half_m * held / row.number("k_w_m_k");
        row.agrees("time_centre_exact_s", time, 1e-5);
        // Lumped: θ = exp(-m Bi Fo), and Bi on volume over area is Bi on half the size over m.
        let m = row.number("biot_half") / row.number("biot_volume_over_area");
        let lumped = -libm::log(theta) / (m * biot.value) * half_m * half_m * held / row.number("k_w_m_k");
        row.agrees("time_lumped_s", lumped, 1e-5);
    }
}

#[test]
fn a_plate_comes_to_heat_in_the_furnace() {
    let mut checked = 0;
    for row in table!("through_heating") {
        let capacity = if row.text("specific_heat").starts_with("EN") { HeatCapacity::Heating } else { HeatCapacity::Austenite };
        let furnace = furnace(row.number("emissivity"), row.number("h_conv_w_m2_k"), capacity);
        let plate = Section::plate(millimetres(row.number("thickness_mm"))).unwrap();
        let lumped = |target| time_to(plate, celsius(25.0), celsius(target), &furnace).unwrap().lumped.value;
        for target in [600.0, 750.0, 790.0, 795.0, 798.0, 799.0] {
            row.agrees(&format!("time_to_{target}_c_s"), lumped(target), 5e-3);
            // The integration over temperature is far better than asked: five printed digits.
            row.agrees(&format!("time_to_{target}_c_s"), lumped(target), 5e-5);
            checked += 1;
        }
        row.agrees("time_from_730_to_740_c_s", lumped(740.0) - lumped(730.0), 5e-3);
    }
    assert_eq!(checked, 32 * 6);
}

#[test]
fn a_thick_plates_core_lags() {
    for row in table!("through_heating_conduction") {
        let furnace = furnace(row.number("emissivity"), row.number("h_conv_w_m2_k"), HeatCapacity::Heating);
        let plate = Section::plate(millimetres(row.number("thickness_mm"))).unwrap();
        let core = |target| core_by_conduction(plate, celsius(25.0), celsius(target), &furnace).unwrap();
        row.agrees("centre_to_750_c_s", core(750.0).time.value, 5e-3);
        row.agrees("centre_to_790_c_s", core(790.0).time.value, 5e-3);
        let end = core(795.0);
        row.agrees("centre_to_795_c_s", end.time.value, 5e-3);
        row.agrees("largest_surface_minus_centre_k", end.lag.value, 0.01);
        row.near("surface_c_at_largest_lag", end.surface_then.value - 273.15, 10.0);
        // The quick answer, lumped and stretched by the series, beside it.
        let quick = time_to(plate, celsius(25.0), celsius(795.0), &furnace).unwrap();
        row.agrees("centre_to_795_c_s", quick.time.value, 0.02);
        row.agrees("lumped_to_795_c_s", quick.lumped.value, 5e-3);
    }
}

#[test]
fn printed_series_and_heat_capacities_are_met() {
    for row in table!("published_checks") {
        let tolerance = || row.number("expected_tolerance_percent") / 100.0;
        match row.text("topic") {
            "series" => {
                // "plate zeta1, Bi 0.1", "sphere C1, Bi 10".
                let words: Vec<&str> = row.text("what").split([' ', ',']).filter(|word| !word.is_empty()).collect();
                let shape = shape(words[0]);
                let zeta = shape.eigenvalue(share(words[3].parse().unwrap()), 1).unwrap();
                row.agrees("published", if words[1] == "zeta1" { zeta } else { shape.coefficient(zeta) }, tolerance());
            }
            "steel heat capacity" if row.text("what").contains("735") => {
                row.agrees("published", specific_heat(celsius(735.0)).unwrap().value, tolerance());
            }
            "steel heat capacity" => {
                let mean = enthalpy(celsius(600.0)).unwrap().value / 580.0;
                row.agrees("published", mean, tolerance());
            }
            _ => {}
        }
    }
}
