//! Purging against closed forms and ODE integration by scipy, and the trade's own facts.

use crate::quantities::{bars, celsius, litres, litres_per_minute, minutes, ppm, seconds, share, standard, to_standard};
use crate::table::{SIX_DIGITS, table};
use hearthward_process::chamber::{Chamber, ChamberGas, Inputs, Pores};
use hearthward_process::flow::{Reference, actual, expansion};
use hearthward_process::purge::{self, Purge, Reached};
use hearthward_process::units;
use uom::si::volume::liter;

fn steady(flow_l_min: f64, t_c: f64) -> Purge {
    Purge {
        flow: standard(flow_l_min),
        gas_oxygen: ppm(5.0),
        temperature: celsius(t_c),
        leak: standard(0.0),
        start: share(0.2095),
    }
}

/// The time to a level, min, and the gas that it takes, standard litres.
fn reached(chamber: &Chamber, purge: &Purge, level: f64) -> (f64, f64) {
    match purge::time_to(chamber, purge, share(level)).unwrap() {
        Reached::After { time, gas, .. } => (time.value / 60.0, Reference::TWENTY_ONE.volume(gas).get::<liter>()),
        Reached::Never { why, .. } => panic!("never: {why}"),
    }
}

fn minutes_to(chamber: &Chamber, purge: &Purge, level: f64) -> f64 {
    reached(chamber, purge, level).0
}

#[test]
fn dilution_follows_its_law() {
    for row in table!("dilution") {
        let (gas, n) = (ppm(row.number("purge_o2_ppm")), share(row.number("volume_changes")));
        let ours = purge::oxygen_after(share(0.2095), gas, n).unwrap().value;
        row.agrees("oxygen_fraction", ours, 1e-6);
        row.agrees("oxygen_fraction_ode", ours, 1e-6);
        assert!(purge::oxygen_if_displaced(share(0.2095), gas, n).unwrap().value <= ours, "displacement is the better bound");
    }
}

#[test]
fn changes_for_a_level_or_none() {
    for row in table!("dilution_changes") {
        let (gas, level) = (row.number("purge_o2_ppm"), row.number("target_oxygen_ppm"));
        let needed = purge::changes_needed(share(0.2095), ppm(gas), ppm(level)).unwrap();
        // Where gas and level are the same 100 ppm the table prints 46 changes: a last bit of rounding that was not zero.
        match needed {
            Some(n) => row.agrees("volume_changes_needed", n.value, 1e-6),
            None => assert!(gas >= level, "{gas} ppm can reach {level} ppm"),
        }
        assert!(row.text("volume_changes_needed") != "unreachable" || needed.is_none());
    }
}

#[test]
fn a_hot_chamber_changes_its_gas_faster() {
    for row in table!("dilution_hot") {
        let chamber = Chamber::tight(litres(row.number("chamber_l"))).unwrap();
        let purge = steady(row.number("flow_std_l_min"), row.number("chamber_c"));
        let n = purge::changes(&chamber, purge.flow, purge.temperature, minutes(1.0)).unwrap();
        row.agrees("volume_changes_per_min", n.value, 1e-4);
        let swells = expansion(Reference::TWENTY_ONE, purge.temperature, bars(1.013_25)).unwrap();
        row.agrees("expansion_factor", swells.value, 1e-4);
        let clean = Purge { gas_oxygen: ppm(0.0), ..purge };
        row.agrees("minutes_to_1_percent_o2", minutes_to(&chamber, &clean, 0.01), 1e-4);
        let (minutes, litres) = reached(&chamber, &purge, 1e-4);
        row.agrees("minutes_to_100_ppm_o2_with_5_ppm_gas", minutes, 1e-4);
        row.agrees("std_litres_to_100_ppm", litres, 1e-4);
    }
}

#[test]
fn a_ramp_expels_gas_and_leaves_the_fraction_alone() {
    for row in table!("dilution_ramp") {
        let chamber = Chamber::tight(litres(row.number("chamber_l"))).unwrap();
        let (from, to) = (celsius(row.number("start_c")), celsius(row.number("end_c")));
        let time = minutes(row.number("ramp_min"));
        let flow = standard(row.number("flow_std_l_min"));
        let n = purge::changes_while_heating(&chamber, flow, from, to, time).unwrap();
        row.agrees("volume_changes", n.value, 1e-4);
        let expelled = Reference::TWENTY_ONE.volume(purge::expelled(&chamber, from, to).unwrap());
        row.agrees("gas_expelled_by_heating_std_l", expelled.get::<liter>(), 1e-4);
        let step = Inputs { time, inflow: flow, inflow_oxygen: ppm(row.number("purge_o2_ppm")), ..Inputs::nothing(to) };
        let stepped = ChamberGas::air(&chamber, from).unwrap().step(&chamber, &step).unwrap();
        row.agrees("oxygen_ppm_ode", stepped.gas.oxygen().value * 1e6, 1e-4);
        assert!(stepped.drawn.value == 0.0);
    }
}

#[test]
fn a_leak_sets_the_floor() {
    for row in table!("dilution_leak") {
        let (flow, leak) = (standard(row.number("flow_std_l_min")), standard(row.number("leak_air_std_l_min")));
        let gas = ppm(row.number("purge_o2_ppm"));
        row.agrees("steady_oxygen_ppm", purge::floor(flow, gas, leak).unwrap().value * 1e6, 1e-6 + SIX_DIGITS);
        let brought = purge::oxygen_delivered(standard(0.0), gas, leak, minutes(60.0)).unwrap();
        row.agrees("oxygen_delivered_g_per_h", brought.value * 1e3, 1e-6 + SIX_DIGITS);
    }
}

#[test]
fn cooling_asks_for_a_flow() {
    for row in table!("dilution_suckback") {
        let chamber = Chamber::tight(litres(row.number("chamber_l"))).unwrap();
        let t = celsius(row.number("chamber_c"));
        let held = Reference::TWENTY_ONE.volume(chamber.holds(t));
        row.agrees("gas_in_chamber_std_l", held.get::<liter>(), 1e-6 + SIX_DIGITS);
        let cooling = units::ramp(&format!("-{} K/min", row.text("cooling_k_per_min"))).unwrap();
        let flow = purge::makeup_flow(&chamber, t, cooling).unwrap();
        row.agrees("flow_needed_to_stay_at_pressure_std_l_min", to_standard(flow), 1e-6 + SIX_DIGITS);
    }
}

/// The chamber with pore air of one row, and its inputs up to a minute; purge at 8, hold at 2 standard litres a minute.
fn lined(row: &crate::table::Row) -> (Chamber, Inputs, f64, bool) {
    let pores = Pores {
        volume: litres(row.number("pore_air_l")),
        exchange: minutes(row.number("exchange_time_min")),
        warming: share(0.5),
        room: celsius(25.0),
    };
    let chamber = Chamber::tight(litres(row.number("chamber_l"))).unwrap().with_pores(pores).unwrap();
    let inputs = Inputs { inflow_oxygen: ppm(5.0), ..Inputs::nothing(celsius(25.0)) };
    (chamber, inputs, row.number("purge_8_0_std_l_min_for_min"), row.text("case").starts_with("25 to 800"))
}

/// Steps a lined chamber by half minutes and hands each state over, as the decision core does with its scans.
fn run(row: &crate::table::Row, to_min: f64, each: impl FnMut(f64, &ChamberGas)) {
    stepped(row, &lined(row).0, to_min, each);
}

/// The same of any chamber, through the flows and the heat of a row.
fn stepped(row: &crate::table::Row, chamber: &Chamber, to_min: f64, mut each: impl FnMut(f64, &ChamberGas)) {
    let (_, inputs, switch_min, heated) = lined(row);
    let mut gas = ChamberGas::air(chamber, celsius(25.0)).unwrap();
    for half in 1..=(to_min * 2.0) as u32 {
        let now_min = f64::from(half) / 2.0;
        let t_c = if heated { 25.0 + 775.0 * ((now_min - 10.0) / 60.0).clamp(0.0, 1.0) } else { 25.0 };
        let flow = standard(if now_min <= switch_min { 8.0 } else { 2.0 });
        let step = Inputs { time: seconds(30.0), temperature: celsius(t_c), inflow: flow, ..inputs };
        gas = gas.step(chamber, &step).unwrap().gas;
        each(now_min, &gas);
    }
}

#[test]
fn pore_air_feeds_the_chamber_for_hours() {
    let rows = table!("wall_air");
    for case in rows.chunk_by(|a, b| {
        ["insulation_mm", "porosity", "exchange_time_min", "purge_8_0_std_l_min_for_min", "case"]
            .iter()
            .all(|c| a.text(c) == b.text(c))
    }) {
        let last = case.last().unwrap();
        let mut left = case.iter().peekable();
        run(last, last.number("time_min"), |now_min, gas| {
            if let Some(row) = left.next_if(|row| (row.number("time_min") - now_min).abs() < 1e-9) {
                row.agrees("oxygen_ppm", gas.oxygen().value * 1e6, 1e-4);
                row.agrees("oxygen_ppm_check", gas.oxygen().value * 1e6, 1e-4);
                row.agrees("oxygen_in_pores_ppm", gas.oxygen_in_pores().value * 1e6, 1e-4);
            }
        });
        assert!(left.next().is_none(), "a row was never reached");
        // What people work out who forget the pores: the chamber as one well-mixed volume.
        let tight = Chamber::tight(litres(last.number("chamber_l"))).unwrap();
        let mut left = case.iter().peekable();
        stepped(last, &tight, last.number("time_min"), |now_min, gas| {
            if let Some(row) = left.next_if(|row| (row.number("time_min") - now_min).abs() < 1e-9) {
                row.agrees("oxygen_ppm_single_volume", gas.oxygen().value * 1e6, 1e-4);
            }
        });
        assert!(left.next().is_none(), "a row was never reached");
    }
}

#[test]
fn pore_air_sets_the_time() {
    for row in table!("wall_air_times") {
        let tight = Chamber::tight(litres(row.number("chamber_l"))).unwrap();
        row.agrees("single_volume_minutes_to_100_ppm", minutes_to(&tight, &steady(8.0, 25.0), 1e-4), 1e-4);
        let mut left_mg = 0.0;
        let pores_mol = Reference::at(celsius(25.0)).unwrap().amount(litres(row.number("pore_air_l"))).value;
        let mut since = [0.0; 3];
        let levels = [0.01, 1e-3, 1e-4];
        run(&row, 900.0, |now_min, gas| {
            for (since, level) in since.iter_mut().zip(levels) {
                if gas.oxygen().value > level {
                    *since = now_min + 0.5;
                }
            }
            if now_min == 10.0 {
                left_mg = gas.oxygen_in_pores().value * pores_mol * 31_998.0;
            }
        });
        row.agrees("oxygen_left_in_pores_at_10_min_mg", left_mg, 1e-4);
        let columns = ["minutes_to_stay_under_1_percent", "minutes_to_stay_under_1000_ppm", "minutes_to_stay_under_100_ppm"];
        for (column, since) in columns.into_iter().zip(since) {
            match row.maybe(column) {
                Some(_) => row.near(column, since, 0.5 + 1e-9),
                None => assert!(since > 900.0, "{column} is {}, ours {since}", row.text(column)),
            }
        }
    }
}

#[test]
fn recovery_after_an_opening() {
    for row in table!("recovery") {
        let chamber = Chamber::tight(litres(row.number("chamber_l"))).unwrap();
        let purge = steady(row.number("flow_std_l_min"), row.number("chamber_c"));
        let opened = share(row.number("air_fraction_after_opening"));
        let at = |level: f64| purge::recovery(&chamber, &purge, opened, share(level)).unwrap();
        let tolerance = 1e-5 + SIX_DIGITS;
        row.agrees("oxygen_at_start_percent", at(0.01).start.value * 100.0, tolerance);
        row.agrees("minutes_to_1_percent", at(0.01).time.unwrap().value / 60.0, tolerance);
        row.agrees("minutes_to_1000_ppm", at(1e-3).time.unwrap().value / 60.0, tolerance);
        let end = at(1e-4);
        row.agrees("minutes_to_100_ppm", end.time.unwrap().value / 60.0, tolerance);
        row.agrees("exposure_to_100_ppm_ppm_min", end.exposure.value * 1e6 / 60.0, tolerance);
        row.agrees("exposure_without_end_above_gas_ppm_min", end.exposure_without_end.value * 1e6 / 60.0, tolerance);
        row.agrees("gas_used_to_100_ppm_std_l", Reference::TWENTY_ONE.volume(end.gas).get::<liter>(), tolerance);
        row.agrees("oxygen_in_chamber_at_start_mg", end.oxygen.value * 1e6, tolerance);
    }
}

#[test]
fn printed_purge_times_are_met() {
    // 133.625 L at 46.66 L/min: a public article on purging with CFD beside it; litres as they stand in the vessel.
    let chamber = Chamber::tight(litres(133.625)).unwrap();
    let flow = Reference::TWENTY_ONE.amount_flow(litres_per_minute(46.66));
    let purge = Purge { flow, gas_oxygen: ppm(0.0), temperature: celsius(21.1), leak: standard(0.0), start: share(0.21) };
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "dilution") {
        let seconds = if row.text("what").contains("five") {
            5.0 * 60.0 / purge::changes(&chamber, flow, celsius(21.1), minutes(1.0)).unwrap().value
        } else {
            minutes_to(&chamber, &purge, 0.01) * 60.0
        };
        row.agrees("published", seconds, row.number("expected_tolerance_percent") / 100.0);
    }
}

/// Common practice, no source: a chamber of 360 cubic inches, its changes an hour, and what a 125 ft³ cylinder lasts.
#[test]
fn the_trade_facts_come_out() {
    let volume = units::volume("360 in3").unwrap();
    assert_eq!(format!("{:.3}", volume.get::<uom::si::volume::cubic_foot>()), "0.208");
    let chamber = Chamber::tight(volume).unwrap();
    let cold = Reference::TWENTY_ONE;
    for (flow, changes, hours) in [("5 ft3/h", 24.0, 25.0), ("2.5 ft3/h", 12.0, 50.0), ("1 ft3/h", 4.8, 125.0)] {
        let flow = cold.amount_flow(units::flow(flow).unwrap());
        // By cold volume: counted at the temperature at which the flow is counted.
        let ours = purge::changes(&chamber, flow, cold.temperature(), minutes(60.0)).unwrap();
        assert!((ours.value / changes - 1.0).abs() < 1e-9, "{}", ours.value);
        let cylinder = cold.amount(units::volume("125 ft3").unwrap());
        let lasts = hearthward_process::cylinder::lasts(cylinder, flow).unwrap();
        assert!((lasts.value / 3600.0 / hours - 1.0).abs() < 1e-9);
    }
    // In the hot chamber the same flow makes 3.6 times as many changes.
    let hot = actual(cold.amount_flow(units::flow("5 ft3/h").unwrap()), celsius(800.0), bars(1.013_25)).unwrap();
    assert!((hot.value / units::flow("5 ft3/h").unwrap().value - 1073.15 / 294.25).abs() < 1e-9);
}
