//! Comparisons against scipy.stats, uniformity against AMS 2750's table.

use crate::quantities::celsius;
use crate::table::{EIGHT_DIGITS, table};
use hearthward_process::trials::{compare, parts_estimate, parts_needed};
use hearthward_process::uniformity::{CLASSES, INSTRUMENTS, SENSORS, sensors_for};
use uom::si::f64::Volume;
use uom::si::volume::{cubic_foot, cubic_meter};

#[test]
fn groups_are_compared_as_scipy_does() {
    let data = table!("trials_data");
    for row in table!("trials") {
        let group = |name: &str| -> Vec<f64> {
            let of =
                |reading: &&crate::table::Row| reading.text("data_set") == row.text("data_set") && reading.text("group") == name;
            data.iter().filter(of).map(|reading| reading.number("hardness_hrc")).collect()
        };
        let (a, b) = (group("A"), group("B"));
        row.near("n_a", a.len() as f64, 0.0);
        row.near("n_b", b.len() as f64, 0.0);
        let ours = compare(&a, &b).unwrap();
        let tolerance = 1e-6 + EIGHT_DIGITS;
        for (column, value) in [
            ("mean_a_hrc", ours.first.mean),
            ("mean_b_hrc", ours.second.mean),
            ("sd_a_hrc", ours.first.deviation),
            ("sd_b_hrc", ours.second.deviation),
            ("difference_hrc", ours.difference),
            ("welch_t", ours.t),
            ("welch_df", ours.degrees),
            ("p_two_sided", ours.p),
            ("ci95_low_hrc", ours.interval.least),
            ("ci95_high_hrc", ours.interval.most),
            ("pooled_sd_hrc", ours.pooled),
            ("hedges_j", ours.correction),
            ("hedges_g", ours.hedges_g),
            ("welch_t_check", ours.t),
            ("welch_df_check", ours.degrees),
            ("p_check", ours.p),
        ] {
            row.agrees(column, value, tolerance);
        }
        for (difference, exact, estimate) in [
            (ours.difference, "n_per_group_for_seen_difference", "n_normal_estimate_for_seen_difference"),
            (1.0, "n_per_group_for_1_hrc", "n_normal_estimate_for_1_hrc"),
        ] {
            row.near(exact, f64::from(parts_needed(difference, ours.pooled).unwrap().unwrap()), 0.0);
            row.agrees(estimate, parts_estimate(difference, ours.pooled).unwrap(), tolerance);
        }
    }
}

#[test]
fn printed_sample_sizes_are_met() {
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "sample size") {
        let size: f64 = row.text("what").split("d = ").nth(1).unwrap().split(',').next().unwrap().parse().unwrap();
        row.near("published", f64::from(parts_needed(size, 1.0).unwrap().unwrap()), 0.0);
    }
}

#[test]
fn uniformity_is_the_standards() {
    for (row, class) in table!("uniformity").iter().zip(&CLASSES) {
        row.near("class", f64::from(class.class), 0.0);
        row.near("tolerance_f", class.tolerance_f, 0.0);
        row.near("tolerance_c_as_printed", class.tolerance_c_printed, 0.0);
        row.near("tolerance_k_exact_conversion", class.tolerance().value, 1e-4);
        row.near("sat_limit_f", class.accuracy_f, 0.0);
        row.near("sat_limit_c", class.accuracy_c_printed, 0.0);
        row.near("sat_limit_percent_of_reading", class.accuracy_percent, 0.0);
        assert!(class.accuracy_at(celsius(800.0)).value >= class.accuracy_f / 1.8);
    }
    for (row, sensors) in table!("uniformity_sensors").iter().zip(&SENSORS) {
        row.near("work_zone_below_ft3", sensors.0, 0.0);
        let below = Volume::new::<cubic_foot>(sensors.0 * 0.999);
        row.agrees("work_zone_below_m3", Volume::new::<cubic_foot>(sensors.0).get::<cubic_meter>(), 1e-5);
        row.near("sensors_class_1_2", f64::from(sensors_for(below, 2).unwrap().unwrap()), 0.0);
        row.near("sensors_class_3_to_6", f64::from(sensors_for(below, 5).unwrap().unwrap()), 0.0);
    }
    for (row, instruments) in table!("uniformity_instruments").iter().zip(&INSTRUMENTS) {
        assert_eq!((row.text("type"), row.text("sensors")), *instruments);
    }
    for row in table!("published_checks").iter().filter(|row| row.text("topic") == "uniformity") {
        let wanted = row.text("what").split_whitespace().nth(2).unwrap().trim_start_matches("+-").parse::<f64>().unwrap();
        let class = CLASSES.iter().find(|class| class.tolerance_f == wanted).unwrap();
        row.agrees("published", class.tolerance().value, row.number("expected_tolerance_percent") / 100.0);
    }
}
