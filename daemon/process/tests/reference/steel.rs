//! Steels, tempering, martensite and hardenability against their tables.

use crate::quantities::{celsius, minutes, share};
use crate::table::{EIGHT_DIGITS, Row, SIX_DIGITS, table};
use hearthward_process::steel::critical::Critical;
use hearthward_process::steel::martensite::{SEVERITIES, cool_to, ideal_diameter, martensite, retained_austenite};
use hearthward_process::steel::{Composition, STEELS, Steel};
use hearthward_process::tempering::{Temper, USUAL_C, equivalent_temperature, equivalent_time, parameter, together};
use uom::si::length::{inch, millimeter};
use uom::si::time::hour;

fn same(row: &Row, column: &str, ours: Option<f64>) {
    assert_eq!(row.maybe(column), ours, "{}: {column}", row.text("grade"));
}

/// The tables spell degrees in ASCII.
fn words(text: &str) -> String {
    text.replace("degC", "°C").replace("degF", "°F")
}

#[test]
fn the_table_is_the_table() {
    let rows = table!("steels");
    assert_eq!(rows.len(), STEELS.len());
    for row in &rows {
        let steel = Steel::named(row.text("grade")).unwrap();
        let Composition { carbon, manganese, silicon, chromium, nickel, molybdenum, tungsten, vanadium, .. } = steel.composition;
        let shares = [carbon, manganese, silicon, chromium, nickel, molybdenum, tungsten, vanadium];
        for (symbol, ours) in ["c", "mn", "si", "cr", "ni", "mo", "w", "v"].into_iter().zip(shares) {
            same(row, &format!("{symbol}_percent"), Some(ours));
        }
        same(row, "preheat_c", steel.preheat_c);
        same(row, "austenitize_low_c", Some(steel.austenitize_c.least));
        same(row, "austenitize_high_c", Some(steel.austenitize_c.most));
        same(row, "soak_handbook_low_minutes", Some(steel.soak.handbook_min.least));
        same(row, "soak_handbook_high_minutes", Some(steel.soak.handbook_min.most));
        same(row, "soak_sheet_low_minutes_per_inch", steel.soak.sheet_min_per_inch.map(|soak| soak.least));
        same(row, "soak_sheet_high_minutes_per_inch", steel.soak.sheet_min_per_inch.map(|soak| soak.most));
        same(row, "soak_sheet_floor_minutes", steel.soak.sheet_floor_min);
        same(row, "as_quenched_low_hrc", Some(steel.as_quenched_hrc.least));
        same(row, "as_quenched_high_hrc", Some(steel.as_quenched_hrc.most));
        same(row, "temper_low_c", Some(steel.temper_c.least));
        same(row, "temper_high_c", Some(steel.temper_c.most));
        assert_eq!(words(row.text("quench")), steel.quench);
        assert_eq!(words(row.text("source")), steel.source);
        assert_eq!(words(row.text("soak_note")), steel.soak.note);
        assert_eq!(words(row.text("soak_handbook_kind")), steel.soak.handbook_kind);
    }
}

#[test]
fn compositions_and_tempering_curves_are_the_tables() {
    for row in table!("steels_composition") {
        let steel = Steel::named(row.text("grade")).unwrap();
        let element = steel.elements.iter().find(|element| element.symbol == row.text("element")).unwrap();
        same(&row, "low_percent", element.range.map(|range| range.least));
        same(&row, "high_percent", element.range.map(|range| range.most));
        same(&row, "mid_percent", Some(element.middle));
    }
    for row in table!("steels_tempering") {
        let steel = Steel::named(row.text("grade")).unwrap();
        let ours = steel.hardness_after(celsius(row.number("temper_c"))).unwrap();
        row.near("hardness_hrc", ours, 1e-9);
        let point = steel.tempering.iter().find(|point| point.temper_c == row.number("temper_c")).unwrap();
        assert_eq!(point.source, row.text("source"));
    }
}

/// The compositions that the table checks the formula on beside the grades.
fn composition(name: &str) -> Composition {
    let of = |carbon, manganese, silicon| Composition { carbon, manganese, silicon, ..Composition::default() };
    match name {
        "4340 check composition" => Composition { nickel: 1.80, chromium: 0.80, molybdenum: 0.25, ..of(0.40, 0.70, 0.25) },
        "1045 check composition" => of(0.45, 0.75, 0.20),
        "5160 hand-check" => Composition { chromium: 0.80, ..of(0.60, 0.875, 0.225) },
        "L6 matrix at 800 degC (0.60 C dissolved, assumed)" => {
            Composition { carbon: 0.60, ..Steel::named("L6").unwrap().composition }
        }
        grade => Steel::named(grade).unwrap().composition,
    }
}

#[test]
fn critical_temperatures_are_andrews_and_refused_outside_him() {
    for row in table!("steels_andrews") {
        let steel = composition(row.text("grade"));
        let Critical { ac1, ac3, ac3_long, ms, ms_product, ms_steven_haynes } = steel.critical_extrapolated();
        row.near("ac1_c", ac1.value - 273.15, 0.1);
        row.near("ac3_short_c", ac3.value - 273.15, 0.1);
        row.near("ac3_long_c", ac3_long.value - 273.15, 0.1);
        row.near("ms_linear_c", ms.value - 273.15, 0.1);
        row.near("ms_product_c", ms_product.value - 273.15, 0.1);
        row.near("ms_steven_haynes_c", ms_steven_haynes.value - 273.15, 0.1);
        assert_eq!(steel.critical().is_ok(), row.text("within_validity").starts_with("yes"), "{}", row.text("grade"));
    }
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "Andrews Ac1") {
        let grade = row.text("what").split(' ').next().unwrap();
        let ours = composition(grade).critical_extrapolated().ac1.value - 273.15;
        row.agrees("published", ours, row.number("expected_tolerance_percent") / 100.0);
    }
}

#[test]
fn tempers_are_traded_by_the_parameter() {
    for row in table!("hollomon_jaffe") {
        let temper = Temper { temperature: celsius(row.number("temperature_c")), time: minutes(60.0 * row.number("hours")) };
        let tolerance = 1e-6 + EIGHT_DIGITS;
        row.agrees("parameter_c_20", parameter(temper, USUAL_C).unwrap(), tolerance);
        row.agrees("parameter_c_18", parameter(temper, 18.0).unwrap(), tolerance);
        let for_two = equivalent_temperature(temper, minutes(120.0), USUAL_C).unwrap();
        row.agrees("equivalent_c_for_2_h", for_two.value - 273.15, tolerance);
        let at_205 = equivalent_time(temper, celsius(205.0), USUAL_C).unwrap();
        row.agrees("equivalent_h_at_205_c", at_205.get::<hour>(), tolerance);
    }
}

#[test]
fn tempers_in_a_row_add() {
    for row in table!("hollomon_jaffe_sequence") {
        let tempers: Vec<Temper> = row
            .text("sequence")
            .split(" + ")
            .map(|part| {
                let numbers: Vec<f64> = part.split(' ').filter_map(|word| word.parse().ok()).collect();
                Temper { temperature: celsius(numbers[1]), time: minutes(60.0 * numbers[0]) }
            })
            .collect();
        let one = together(&tempers, celsius(row.number("reference_c")), USUAL_C).unwrap();
        row.agrees("equivalent_hours", one.time.get::<hour>(), 1e-6);
        row.agrees("parameter", parameter(one, USUAL_C).unwrap(), 1e-6);
    }
}

#[test]
fn martensite_follows_koistinen_and_marburger() {
    for row in table!("koistinen_marburger") {
        let (ms, to) = (celsius(row.number("ms_c")), celsius(row.number("quench_to_c")));
        row.near("martensite_fraction", martensite(ms, to).unwrap().value, 1e-6);
        row.near("retained_austenite_fraction", retained_austenite(ms, to).unwrap().value, 1e-6);
        for (column, wanted) in [("temperature_for_90_percent_c", 0.9), ("temperature_for_99_percent_c", 0.99)] {
            match cool_to(ms, share(wanted)).unwrap() {
                Some(t) => row.near(column, t.value - 273.15, 1e-4),
                None => assert!(row.number(column) < -273.15, "only below absolute zero there is none"),
            }
        }
    }
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "martensite") {
        let ours = retained_austenite(celsius(200.0), celsius(25.0)).unwrap().value * 100.0;
        row.agrees("published", ours, row.number("expected_tolerance_percent") / 100.0);
    }
}

#[test]
fn hardenability_follows_the_factors() {
    let of = |carbon, manganese, silicon| Composition { carbon, manganese, silicon, ..Composition::default() };
    let cases = [
        Composition { nickel: 0.10, chromium: 0.43, molybdenum: 0.25, copper: 0.10, vanadium: 0.05, ..of(0.22, 0.80, 0.18) },
        Composition { chromium: 0.95, molybdenum: 0.20, ..of(0.405, 0.875, 0.225) },
        Composition { chromium: 0.80, ..of(0.60, 0.875, 0.225) },
        of(0.865, 0.75, 0.20),
        of(0.90, 0.40, 0.20),
        of(0.815, 0.75, 0.20),
    ];
    let rows = table!("hardenability_a255");
    assert_eq!(rows.len(), cases.len());
    for (row, steel) in rows.iter().zip(cases) {
        let ours = ideal_diameter(&steel).unwrap();
        for (column, factor) in ["f_c", "f_mn", "f_si", "f_ni", "f_cr", "f_mo", "f_cu", "f_v"].into_iter().zip(ours.factors) {
            row.agrees(column, factor, 1e-4 + SIX_DIGITS);
        }
        row.agrees("ideal_diameter_in", ours.ideal_diameter.get::<inch>(), 1e-4);
        row.agrees("ideal_diameter_mm", ours.ideal_diameter.get::<millimeter>(), 1e-4);
        assert_eq!(hearthward_process::note::outside_validity(&ours.notes), steel.carbon > 0.70 || steel.manganese < 0.5);
    }
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "hardenability") {
        let ours = ideal_diameter(&cases[0]).unwrap().ideal_diameter.get::<inch>();
        row.agrees("published", ours, row.number("expected_tolerance_percent") / 100.0);
    }
    for (row, severity) in table!("grossmann_h").iter().zip(&SEVERITIES) {
        assert_eq!(row.text("quench"), severity.quench);
        row.near("h_per_inch", severity.h_per_inch, 0.0);
    }
}
