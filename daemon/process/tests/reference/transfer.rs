//! Cooling in air against ODE integration by scipy on CoolProp's air.

use crate::quantities::{celsius, millimetres, seconds, share};
use crate::table::table;
use hearthward_process::heating::{Section, Surface};
use hearthward_process::thermal::HeatCapacity;
use hearthward_process::transfer::{StillAir, Taper, after, seconds_until, taper};

fn plate(row: &crate::table::Row, column: &str) -> Section {
    Section::plate(millimetres(row.number(column))).unwrap()
}

#[test]
fn a_plate_falls_on_its_way_to_the_bath() {
    for row in table!("transfer_cooling") {
        let air = StillAir::room(celsius(row.number("ambient_c")));
        let slow = StillAir { capacity: HeatCapacity::Heating, ..air };
        let (start, time) = (celsius(row.number("start_c")), seconds(row.number("time_s")));
        let plate = plate(&row, "thickness_mm");
        let ours = after(plate, start, time, &air).unwrap();
        row.near("temperature_c", ours.temperature.value - 273.15, 0.2);
        row.near("drop_k", ours.drop.value, 0.2);
        row.agrees("initial_rate_k_per_s", ours.first_rate.value, 5e-3);
        row.near("temperature_en1993_c", after(plate, start, time, &slow).unwrap().temperature.value - 273.15, 0.2);
        row.agrees("h_rad_start_w_m2_k", air.radiation(start).unwrap().value, 1e-5);
        row.agrees("h_conv_start_w_m2_k", air.convection(start).unwrap().value, 5e-3);
    }
}

#[test]
fn a_section_has_so_many_seconds() {
    for row in table!("transfer_window") {
        let air = StillAir::room(celsius(row.number("ambient_c")));
        let bright = StillAir { surface: Surface::Emissivity(share(0.4)), ..air };
        let (start, limit) = (celsius(row.number("start_c")), celsius(row.number("limit_c")));
        let has = |air| seconds_until(plate(&row, "thickness_mm"), start, limit, air).unwrap().unwrap().value;
        row.agrees("seconds_allowed", has(&air), 2e-3);
        row.agrees("seconds_allowed_emissivity_0_4", has(&bright), 3e-3);
    }
}

#[test]
fn an_edge_alone_is_the_cold_bound() {
    let air = StillAir::room(celsius(25.0));
    for row in table!("edge_cooling") {
        let (start, edge) = (celsius(row.number("start_c")), plate(&row, "thickness_mm"));
        let ours = after(edge, start, seconds(row.number("time_s")), &air).unwrap();
        row.near("temperature_c", ours.temperature.value - 273.15, 0.2);
        let limit = celsius(row.number("start_c") - 40.0);
        row.agrees("seconds_to_lose_40_k", seconds_until(edge, start, limit, &air).unwrap().unwrap().value, 2e-3);
    }
}

#[test]
fn a_taper_lies_between_its_bounds() {
    let air = StillAir::room(celsius(25.0));
    for row in table!("edge_wedge") {
        let shape = Taper {
            edge: millimetres(row.number("edge_mm")),
            back: millimetres(row.number("back_mm")),
            width: millimetres(row.number("width_mm")),
        };
        let (start, time) = (celsius(row.number("start_c")), seconds(row.number("time_s")));
        let ours = taper(&shape, start, time, &air).unwrap();
        row.near("edge_c", ours.edge.value - 273.15, 0.2);
        row.near("edge_c_check", ours.edge.value - 273.15, 0.2);
        row.near("mean_c", ours.mean.value - 273.15, 0.2);
        row.near("back_c", ours.back.value - 273.15, 0.2);
        let alone = |column| after(plate(&row, column), start, time, &air).unwrap().temperature;
        row.near("lumped_at_edge_thickness_c", alone("edge_mm").value - 273.15, 0.2);
        row.near("lumped_at_back_thickness_c", alone("back_mm").value - 273.15, 0.2);
        assert!(alone("edge_mm") <= ours.edge && ours.edge <= alone("back_mm"), "the bounds are strict");
    }
}
