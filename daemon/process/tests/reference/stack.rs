//! The chimney against brentq and bisection by scipy.

use crate::quantities::{celsius, millimetres, standard, to_standard};
use crate::table::{SIX_DIGITS, table};
use hearthward_process::gas::Mixture;
use hearthward_process::stack::{Gaps, Shape, draught};
use uom::si::length::meter;

#[test]
fn the_draught_agrees_with_two_other_methods() {
    for row in table!("stack_leak") {
        let shape = if row.text("shape") == "door frame" { Shape::DoorFrame } else { Shape::TwoSlots };
        let gaps = Gaps {
            height: millimetres(row.number("height_m") * 1e3),
            width: millimetres(row.number("gap_width_mm")),
            length: millimetres(row.number("gap_length_mm")),
            depth: millimetres(20.0),
            shape,
        };
        let gas = Mixture::named(row.text("gas")).unwrap();
        let purge = standard(row.number("purge_std_l_min"));
        let ours = draught(&gas, celsius(row.number("chamber_c")), celsius(row.number("room_c")), &gaps, purge).unwrap();
        let tolerance = 1e-4 + SIX_DIGITS;
        row.agrees("buoyancy_pa", ours.buoyancy.value, tolerance);
        row.agrees("pressure_bottom_pa", ours.bottom.value, tolerance);
        // The difference of two pressures that nearly cancel is as good as they are.
        row.near("pressure_top_pa", ours.top.value, tolerance * ours.bottom.value.abs().max(ours.top.value.abs()));
        let neutral_m = ours.neutral.unwrap().get::<meter>();
        row.agrees("neutral_plane_m", neutral_m, tolerance);
        row.agrees("neutral_plane_check_m", neutral_m, tolerance);
        row.agrees("gas_out_std_l_min", to_standard(ours.gas_out), tolerance);
        row.near("air_in_std_l_min", to_standard(ours.air_in), tolerance * to_standard(ours.gas_out).max(1e-9));
        row.agrees("smallest_purge_all_outward_std_l_min", to_standard(ours.holding), tolerance);
        row.agrees("smallest_purge_if_viscous_20_mm_deep_std_l_min", to_standard(ours.holding_viscous), 0.02);
        row.agrees("reynolds_in_gap", ours.reynolds.value, 0.02);
        assert!(hearthward_process::note::outside_validity(&ours.notes) == (ours.reynolds.value < 300.0));
    }
}

#[test]
fn the_holding_flow_is_just_enough() {
    let gaps = Gaps {
        height: millimetres(200.0),
        width: millimetres(0.3),
        length: millimetres(200.0),
        depth: millimetres(20.0),
        shape: Shape::DoorFrame,
    };
    let argon = Mixture::named("argon").unwrap();
    let at = |purge| draught(&argon, celsius(800.0), celsius(25.0), &gaps, purge).unwrap();
    let holding = at(standard(0.0)).holding;
    assert!(at(holding * 1.001).air_in.value < 1e-12);
    assert!(at(holding * 0.99).air_in.value > 1e-9);
    // The same of slots, and of the smaller of the two: what is needed and what is drawn in follow one rule.
    let slots = at(standard(0.0)).holding_viscous;
    assert!(slots < holding && at(standard(0.0)).holds() == slots);
    assert!(at(slots * 1.001).air_in_viscous.value == 0.0 && at(slots * 1.001).draws().value == 0.0);
    assert!(at(slots * 1.001).air_in.value > 0.0, "sharp holes would still draw in");
    assert!(at(slots * 0.99).draws().value > 0.0 && at(slots * 0.5).draws() > at(slots * 0.9).draws());
}

/// Slots of two levels are linear, so their balance has a closed form: gas out at one end, air in at the other.
#[test]
fn air_through_two_slots_is_a_divider() {
    let gaps = Gaps {
        height: millimetres(200.0),
        width: millimetres(0.3),
        length: millimetres(200.0),
        depth: millimetres(20.0),
        shape: Shape::TwoSlots,
    };
    let argon = Mixture::named("argon").unwrap();
    let at = |purge| draught(&argon, celsius(800.0), celsius(25.0), &gaps, purge).unwrap();
    let still = at(standard(0.0));
    // Conductances g (out) and a (in): with a purge q, air = a (g Δp - q) / (g + a). Under no purge g Δp is the holding flow.
    let air = Mixture::named("air").unwrap();
    let conductance = |gas: &Mixture, t_c: f64| {
        let mol_m3 = 101_325.0 / (8.314_462_618 * (t_c + 273.15));
        0.2 * libm::pow(0.0003, 3.0) / (12.0 * 0.02 * gas.viscosity(celsius(t_c)).unwrap().value) * mol_m3
    };
    let (g, a) = (conductance(&argon, 800.0), conductance(&air, 25.0));
    let holding = g * still.buoyancy.value;
    assert!((still.holding_viscous.value / holding - 1.0).abs() < 1e-9);
    for share in [0.0, 0.3, 0.9] {
        let expected = a * holding * (1.0 - share) / (g + a);
        let ours = at(still.holding_viscous * share).air_in_viscous.value;
        assert!((ours / expected - 1.0).abs() < 1e-9, "{share}: {ours} against {expected}");
    }
}

#[test]
fn gas_as_heavy_as_the_air_has_no_draught() {
    for shape in [Shape::TwoSlots, Shape::DoorFrame] {
        let gaps = Gaps {
            height: millimetres(200.0),
            width: millimetres(0.3),
            length: millimetres(200.0),
            depth: millimetres(20.0),
            shape,
        };
        let air = Mixture::named("air").unwrap();
        for purge in [0.0, 2.0] {
            let ours = draught(&air, celsius(25.0), celsius(25.0), &gaps, standard(purge)).unwrap();
            assert!(ours.neutral.is_none() && ours.holds().value == 0.0 && ours.draws().value == 0.0, "{ours:?}");
            assert!((ours.gas_out - standard(purge)).value.abs() <= 1e-6 * standard(2.0).value, "{ours:?}");
            assert!(
                ours.notes.iter().any(|note| note.text.contains("no draught"))
                    && !hearthward_process::note::outside_validity(&ours.notes)
            );
        }
    }
}

#[test]
fn the_printed_constant_of_the_stack_effect_is_met() {
    let gaps = Gaps {
        height: millimetres(1000.0),
        width: millimetres(1.0),
        length: millimetres(200.0),
        depth: millimetres(20.0),
        shape: Shape::TwoSlots,
    };
    let air = Mixture::named("air").unwrap();
    let rise = draught(&air, celsius(400.0), celsius(25.0), &gaps, standard(0.0)).unwrap().buoyancy.value;
    let constant = rise / (1.0 / 298.15 - 1.0 / 673.15);
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "stack effect") {
        row.agrees("published", constant, row.number("expected_tolerance_percent") / 100.0);
    }
}
