//! Baths and tanks against energy and volume balances.

use crate::quantities::{celsius, kilograms, litres, millimetres, seconds, share, square_centimetres};
use crate::table::{SIX_DIGITS, table};
use hearthward_process::heating::Section;
use hearthward_process::quench::{Bath, Hot, Pulls, WINDOWS, WindowUnit};
use hearthward_process::thermal::enthalpy;
use hearthward_process::transfer::StillAir;
use hearthward_process::vessel::{Vessel, oil_density};
use uom::si::f64::{MassDensity, Power, SpecificHeatCapacity};
use uom::si::length::millimeter;
use uom::si::mass_density::kilogram_per_cubic_meter;
use uom::si::power::watt;
use uom::si::specific_heat_capacity::joule_per_kilogram_kelvin;
use uom::si::volume::milliliter;

fn bath(volume_l: f64, density: f64, heat: f64, t_c: f64) -> Bath {
    let density = MassDensity::new::<kilogram_per_cubic_meter>(density);
    Bath::new(litres(volume_l), density, SpecificHeatCapacity::new::<joule_per_kilogram_kelvin>(heat), celsius(t_c)).unwrap()
}

fn degrees(t: uom::si::f64::ThermodynamicTemperature) -> f64 {
    t.value - 273.15
}

#[test]
fn a_bath_warms_by_what_the_steel_gives() {
    for row in table!("quench_bath") {
        let bath = bath(
            row.number("bath_l"),
            row.number("bath_density_kg_m3"),
            row.number("bath_cp_j_kg_k"),
            row.number("bath_start_c"),
        );
        let steel = Hot::straight(kilograms(row.number("steel_kg")), celsius(row.number("quench_from_c")));
        let end = bath.after(&steel).unwrap();
        row.near("bath_final_c", degrees(end), 0.1);
        row.near("bath_final_c", degrees(end), 1e-3);
        let given = enthalpy(steel.soaked).unwrap() - enthalpy(end).unwrap();
        row.agrees("steel_enthalpy_drop_kj_kg", given.value / 1e3, 1e-5);
        row.agrees("heat_kj", bath.heat_to(end, kilograms(0.0)).unwrap().value / 1e3, 1e-5);
    }
}

#[test]
fn the_rule_of_a_gallon_per_pound_rises_so_far() {
    for row in table!("quench_rule") {
        let bath = bath(row.number("oil_l_per_kg_steel"), 870.0, row.number("oil_cp_j_kg_k"), row.number("bath_start_c"));
        let end = bath.after(&Hot::straight(kilograms(1.0), celsius(row.number("quench_from_c")))).unwrap();
        row.near("rise_k", degrees(end) - row.number("bath_start_c"), 0.1);
    }
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "bath rule") {
        let bath = bath(8.3454, 870.0, 1884.0, 48.0);
        let rise = degrees(bath.after(&Hot::straight(kilograms(1.0), celsius(790.0))).unwrap()) - 48.0;
        row.agrees("published", rise, row.number("expected_tolerance_percent") / 100.0);
    }
}

#[test]
fn windows_are_the_tables() {
    let rows = table!("quench_windows");
    assert_eq!(rows.len(), WINDOWS.len());
    for (row, window) in rows.iter().zip(&WINDOWS) {
        assert_eq!(row.text("item"), window.item);
        row.near("value", window.value, 0.0);
        let unit = match window.unit {
            WindowUnit::Celsius => "degC",
            WindowUnit::Kelvin => "K",
            WindowUnit::Litre => "L",
            WindowUnit::Percent => "percent",
        };
        assert_eq!(row.text("unit"), unit);
    }
}

#[test]
fn the_level_rises() {
    for row in table!("tank_vessel") {
        let vessel = Vessel {
            surface: square_centimetres(row.number("surface_cm2")),
            oil: litres(row.number("oil_l_at_start")),
            freeboard: millimetres(50.0),
        };
        let (from, to) = (celsius(row.number("oil_from_c")), celsius(row.number("oil_to_c")));
        let rise = vessel.rise(kilograms(row.number("steel_kg")), from, to).unwrap();
        row.agrees("depth_mm", vessel.depth().get::<millimeter>(), 1e-4);
        row.agrees("level_rise_displacement_mm", rise.displacement.get::<millimeter>(), 1e-4);
        row.agrees("level_rise_expansion_mm", rise.expansion.get::<millimeter>(), 1e-4);
        row.agrees("level_rise_total_mm", rise.total.get::<millimeter>(), 1e-4);
        row.agrees("oil_volume_growth_ml", rise.growth.get::<milliliter>(), 1e-4);
        row.agrees("steel_volume_ml", rise.steel.get::<milliliter>(), 1e-4);
        let density = oil_density(MassDensity::new::<kilogram_per_cubic_meter>(870.0), from, to).unwrap();
        row.agrees("oil_density_at_end_kg_m3", density.value, 1e-4);
    }
}

#[test]
fn a_cold_bath_takes_heat_or_scrap() {
    for row in table!("tank_warmup") {
        let bath = bath(row.number("oil_l"), 870.0, 1884.0, row.number("oil_from_c"));
        let (to, hot) = (celsius(row.number("oil_to_c")), celsius(800.0));
        let (none, shell) = (kilograms(0.0), kilograms(0.5 * row.number("oil_l")));
        let tolerance = 1e-4 + SIX_DIGITS;
        row.agrees("heat_oil_kj", bath.heat_to(to, none).unwrap().value / 1e3, tolerance);
        row.agrees("heat_with_shell_kj", bath.heat_to(to, shell).unwrap().value / 1e3, tolerance);
        row.agrees("steel_at_800_c_kg", bath.scrap_to(to, hot, none).unwrap().value, tolerance);
        row.agrees("steel_at_800_c_with_shell_kg", bath.scrap_to(to, hot, shell).unwrap().value, tolerance);
        let time = bath.time_to(to, Power::new::<watt>(500.0), none).unwrap().unwrap();
        row.agrees("minutes_with_500_w_heater", time.value / 60.0, tolerance);
        // Scrap of that mass does warm the bath to there.
        let after = bath.after(&Hot::straight(kilograms(row.number("steel_at_800_c_kg")), hot)).unwrap();
        row.near("oil_to_c", degrees(after), 0.01);
    }
}

#[test]
fn parts_pulled_one_by_one() {
    let rows = table!("several_pulls");
    for group in rows.chunk_by(|_, next| next.number("pull") > 1.0) {
        let first = &group[0];
        let pulls = Pulls {
            section: Section::plate(millimetres(first.number("part_mm"))).unwrap(),
            mass: kilograms(first.number("part_kg")),
            parts: group.len() as u32,
            furnace: celsius(800.0),
            view: share(first.number("view_factor_to_opening")),
            open: seconds(first.number("door_open_s")),
            shut: seconds(first.number("door_shut_between_s")),
            in_air: seconds(2.0),
        };
        let bath = bath(first.number("bath_l"), 870.0, 1884.0, first.number("bath_before_c"));
        let ours = pulls.run(&bath, &StillAir::room(celsius(25.0))).unwrap();
        assert_eq!(group.len(), 6);
        for (row, pull) in group.iter().zip(&ours) {
            row.near("part_leaving_furnace_c", degrees(pull.leaving), 0.1);
            row.near("part_entering_bath_c", degrees(pull.entering), 0.1);
            row.near("bath_before_c", degrees(pull.bath_before), 0.1);
            row.near("bath_after_c", degrees(pull.bath_after), 0.1);
            assert_eq!(degrees(pull.bath_after) > 70.0, row.text("bath_over_70_c") == "yes");
        }
    }
}
