//! Scale and decarburisation against the laws' own arithmetic, stoichiometry and one measurement.

use crate::quantities::{celsius, minutes, seconds, share, square_centimetres};
use crate::table::{SIX_DIGITS, table};
use hearthward_process::flow::Reference;
use hearthward_process::oxide::{self, Oxide};
use hearthward_process::transfer::StillAir;
use uom::si::amount_of_substance::mole;
use uom::si::f64::{AmountOfSubstance, Mass};
use uom::si::length::micrometer;
use uom::si::mass::milligram;
use uom::si::volume::milliliter;

fn oxide(formula: &str) -> Oxide {
    match formula {
        "FeO" => Oxide::Wustite,
        "Fe3O4" => Oxide::Magnetite,
        _ => Oxide::Haematite,
    }
}

fn mg(m: f64) -> Mass {
    Mass::new::<milligram>(m)
}

#[test]
fn scale_grows_by_the_parabola() {
    for row in table!("scale_air") {
        let t = celsius(row.number("temperature_c"));
        let ours = match row.maybe("minutes") {
            Some(time) => oxide::in_air(t, minutes(time)).unwrap(),
            None => {
                // 15 min at 1000 °C with ramps of 5 K/min from and to 700 °C: squares of thickness add.
                let ramp = oxide::in_air_along(celsius(700.0), &[(t, minutes(60.0))]).unwrap().thickness;
                let soak = oxide::in_air(t, minutes(15.0)).unwrap();
                let squared = 2.0 * ramp.value * ramp.value + soak.thickness.value * soak.thickness.value;
                let scaled = squared.sqrt() / soak.thickness.value;
                oxide::Scale { thickness: soak.thickness * scaled, metal: soak.metal * scaled, ..soak }
            }
        };
        let tolerance = 1e-4 + SIX_DIGITS;
        row.agrees("scale_um", ours.thickness.get::<micrometer>(), tolerance);
        row.agrees("metal_lost_um", ours.metal.get::<micrometer>(), tolerance);
        // The parabola's constant, out of a minute's scale; and the thickness of those who read the law as x² = 2 kp t.
        let minute_cm = oxide::in_air(t, minutes(1.0)).unwrap().thickness.value * 100.0;
        row.agrees("kp_cm2_s", minute_cm * minute_cm / 60.0, tolerance);
        row.agrees("scale_um_if_x2_is_2kpt", ours.thickness.get::<micrometer>() * 2.0_f64.sqrt(), tolerance);
        if row.maybe("scale_um_second_law").is_some() {
            row.agrees("scale_um_second_law", ours.second_opinion.get::<micrometer>(), tolerance);
            let each = Oxide::Wustite.thickness(mg(1.0), square_centimetres(1.0));
            row.agrees("mass_gain_second_law_mg_cm2", (ours.second_opinion / each).value, tolerance);
        } else {
            // 401 µm measured: Materials 18 (2025) 2463.
            assert!((ours.thickness.get::<micrometer>() / 401.0 - 1.0).abs() < 0.15);
        }
    }
}

#[test]
fn hot_parts_of_a_cycle_without_gas() {
    let room = StillAir::room(celsius(25.0));
    for row in table!("hot_hold_scale") {
        let (from, to) = (celsius(row.number("from_c")), celsius(row.number("to_c")));
        let time = seconds(row.number("seconds"));
        let ours = oxide::in_air_along(from, &[(to, time)]).unwrap();
        // The same way in two stretches grows the same.
        let middle = celsius((row.number("from_c") + row.number("to_c")) / 2.0);
        let halves = oxide::in_air_along(from, &[(middle, time / 2.0), (to, time / 2.0)]).unwrap();
        assert!((halves.thickness.value / ours.thickness.value - 1.0).abs() < 1e-6);
        row.agrees("scale_um", ours.thickness.get::<micrometer>(), 1e-4);
        row.agrees("metal_lost_um", ours.metal.get::<micrometer>(), 1e-4);
        row.agrees("scale_um_second_law", ours.second_opinion.get::<micrometer>(), 1e-4);
        if from != to {
            let below = oxide::share_below(from, to, celsius(700.0)).unwrap().value * 100.0;
            row.near("share_below_700_percent", below, 1e-3);
        }
        if row.maybe("gas_supply_limit_um").is_some() {
            // The air's properties come from other correlations than the table's: within 1 %.
            let supply = oxide::supply_limit(from, time, &room).unwrap();
            row.agrees("gas_supply_limit_um", supply.get::<micrometer>(), 0.01);
            let smaller = if supply < ours.thickness { supply } else { ours.thickness };
            row.agrees("smaller_of_the_two_um", smaller.get::<micrometer>(), 0.01);
        }
    }
}

#[test]
fn oxides_weigh_what_they_weigh() {
    for row in table!("oxide_stoichiometry") {
        let oxide = oxide(row.text("oxide"));
        row.agrees("oxygen_mass_fraction", oxide.oxygen_share().value, 1e-3);
        row.agrees("oxide_g_per_g_oxygen", 1.0 / oxide.oxygen_share().value, 1e-3);
        row.agrees("pilling_bedworth", oxide.volume_ratio().value, 1e-3);
        let (oxygen, surface) = (mg(1.0), square_centimetres(1.0));
        row.agrees("scale_um_per_mg_oxygen_cm2", oxide.thickness(oxygen, surface).get::<micrometer>(), 1e-3);
        row.agrees("metal_um_per_mg_oxygen_cm2", oxide.metal(oxygen, surface).get::<micrometer>(), 1e-3);
    }
}

#[test]
fn the_oxygen_that_got_in_bounds_the_scale() {
    for row in table!("scale_oxygen_limited") {
        let (oxide, oxygen) = (oxide(row.text("oxide")), mg(row.number("oxygen_mg")));
        let surface = square_centimetres(row.number("steel_area_cm2"));
        row.agrees("scale_um_upper_bound", oxide.thickness(oxygen, surface).get::<micrometer>(), 1e-3);
        row.agrees("metal_um_upper_bound", oxide.metal(oxygen, surface).get::<micrometer>(), 1e-3);
    }
}

#[test]
fn the_oxygen_that_got_in_bounds_the_carbon_lost() {
    for row in table!("oxygen_budget") {
        let surface = square_centimetres(row.number("steel_area_cm2"));
        let ours = oxide::bound(mg(row.number("oxygen_mg")), surface, share(row.number("carbon_percent") / 100.0)).unwrap();
        row.agrees("feo_um", ours.scale.get::<micrometer>(), 1e-3);
        row.agrees("iron_lost_as_feo_um", ours.metal.get::<micrometer>(), 1e-3);
        row.agrees("decarburized_depth_co_um", ours.decarburised.get::<micrometer>(), 1e-3);
        row.agrees("decarburized_depth_co2_um", ours.decarburised_co2.get::<micrometer>(), 1e-3);
        // The carbon of the skin that was robbed of it, steel of 7.85 g/cm³; and the oxygen as a volume, 31.998 g/mol.
        let skin_cm3 = ours.decarburised.get::<micrometer>() * 1e-4 * row.number("steel_area_cm2");
        row.agrees("carbon_removed_as_co_mg", skin_cm3 * 7850.0 * row.number("carbon_percent") / 100.0, 1e-3);
        let oxygen = AmountOfSubstance::new::<mole>(row.number("oxygen_mg") / 31_998.0);
        row.agrees("oxygen_std_ml", Reference::TWENTY_ONE.volume(oxygen).get::<milliliter>(), 1e-3);
    }
}
