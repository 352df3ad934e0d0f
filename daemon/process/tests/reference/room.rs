//! The room's oxygen against mole balances integrated by scipy.

use crate::quantities::{celsius, share, standard, to_standard};
use crate::table::{SIX_DIGITS, table};
use hearthward_process::flow::Reference;
use hearthward_process::room::{Breathing, Mixing, Room};
use uom::si::f64::Volume;
use uom::si::volume::cubic_meter;

fn room(volume_m3: f64, changes_per_h: f64) -> Room {
    let changes = uom::si::f64::Frequency::new::<uom::si::frequency::hertz>(changes_per_h / 3600.0);
    Room::new(Volume::new::<cubic_meter>(volume_m3), changes, celsius(21.1)).unwrap()
}

#[test]
fn a_release_takes_oxygen_three_ways() {
    for row in table!("room_oxygen") {
        let room = room(row.number("room_m3"), 0.0);
        let gas = Reference::TWENTY_ONE.amount(Volume::new::<cubic_meter>(row.number("gas_released_m3")));
        let percent = |mixing| room.after_release(gas, mixing).unwrap().value * 100.0;
        row.agrees("oxygen_percent_sealed_room", percent(Mixing::Sealed), 1e-5);
        row.agrees("oxygen_percent_mixed_while_air_leaves", percent(Mixing::Mixed), 1e-5);
        row.agrees("oxygen_percent_worst_case", percent(Mixing::Worst), 1e-5);
        // The table's own three bounds say what each share does to people.
        let breathing = Breathing::of(room.after_release(gas, Mixing::Worst).unwrap());
        let under =
            [Breathing::Deficient, Breathing::Impaired, Breathing::Deadly].map(|bad| if breathing >= bad { "yes" } else { "no" });
        for (column, ours) in ["worst_case_under_19_5", "worst_case_under_18", "worst_case_under_12"].into_iter().zip(under) {
            assert_eq!(row.text(column), ours, "{column}");
        }
        let limit = Reference::TWENTY_ONE.volume(room.release_to(share(0.195)).unwrap());
        row.agrees("release_that_reaches_19_5_worst_case_m3", limit.value, 1e-5);
    }
}

#[test]
fn a_steady_flow_settles() {
    for row in table!("room_oxygen_steady") {
        let room = room(row.number("room_m3"), row.number("air_changes_per_h"));
        let flow = standard(row.number("gas_flow_std_l_min"));
        let steady = room.steady(flow, share(0.195)).unwrap();
        let tolerance = 1e-5 + SIX_DIGITS;
        row.agrees("steady_oxygen_percent", steady.oxygen.value * 100.0, tolerance);
        row.agrees("hours_to_63_percent_of_the_drop", steady.time_constant.value / 3600.0, tolerance);
        row.agrees("gas_flow_that_reaches_19_5_std_l_min", to_standard(steady.flow_at_alarm), tolerance);
        row.agrees("hours_to_19_5_without_ventilation", steady.unventilated.value / 3600.0, tolerance);
        assert_eq!(steady.oxygen.value < 0.195, row.text("under_19_5") == "yes");
        // After 63 % of the drop's time, 63 % of the drop.
        let then = room.after(flow, share(0.2095), steady.time_constant).unwrap().value;
        assert!(((0.2095 - then) / (0.2095 - steady.oxygen.value) - 0.632_120_558_8).abs() < 1e-9);
    }
}
