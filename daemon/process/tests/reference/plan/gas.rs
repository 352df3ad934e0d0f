//! Purge, cylinder, a cut, and the furnace by its record.

use super::*;

#[test]
fn a_purge_is_planned_as_worked_by_hand() {
    let answer = plan::purge(&purge_question(), System::Metric).unwrap();
    // Worked example 1: 7.70 changes, 8.93 min, 71.4 L, marks 7.726 and 1.931 with 25.9 % error at the hold.
    let close = |key: &str, value: f64| {
        let ours = answer.number(key).unwrap();
        assert!((ours / value - 1.0).abs() < 1e-3, "{key}: {ours} against {value}");
    };
    close("changes_needed", 7.698_578);
    close("time_s", 8.927_504 * 60.0);
    close("gas_l", 71.420);
    close("purge_reading_l_min", 7.726);
    close("hold_reading_l_min", 1.931);
    close("hold_reading_error_fraction", 0.2589);
    assert!(warned(&answer, "the hold flow can be off by 25.9 %") && warned(&answer, "within 10 %"));
    assert!(!warned(&answer, "the purge flow can be off"), "6.5 % is the meter's usual");
    assert!(answer.number("port_velocity_m_s").unwrap() > 5.0 && answer.number("port_reynolds").unwrap() > 500.0);
    assert!(warned(&answer, "bag and a stopwatch"));
    assert!(answer.text().contains("time to the level: 8.93 min"), "{}", answer.text());
}

#[test]
fn a_leak_that_forbids_the_level_is_an_answer() {
    let mut question = purge_question();
    question.purge.leak = standard(0.005);
    // Worked example 1: 0.97 µm at most from the 98.1 mg that gas and leak bring in 70 min.
    question.gaps = None;
    question.opening = Some(share(0.0));
    question.cools = None;
    let answer = plan::purge(&question, System::Metric).unwrap();
    assert!((answer.number("oxygen_brought_kg").unwrap() * 1e6 - 98.1).abs() < 0.05);
    assert!((answer.number("scale_bound_mm").unwrap() * 1e3 - 0.970).abs() < 1e-3);
    assert!(warned(&answer, "not counted: the chimney") && warned(&answer, "a purge that never gets there"), "{}", answer.text());
    assert!(!answer.text().contains("upper bound, as FeO"), "{}", answer.text());
    assert!(warned(&answer, "never reaches 100 ppm: the leak alone keeps the oxygen at 136 ppm"), "{}", answer.text());
    assert!(answer.number("time_s").is_none() && answer.number("floor_fraction").is_some());
}

#[test]
fn an_opening_at_heat_is_recovered_from() {
    let answer = plan::purge(&purge_question(), System::Metric).unwrap();
    let row = crate::table::table!("recovery");
    let at = |row: &&crate::table::Row| {
        ["chamber_c", "air_fraction_after_opening", "flow_std_l_min"].map(|c| row.number(c)) == [800.0, 0.5, 8.0]
    };
    row.iter().find(at).unwrap().agrees("minutes_to_100_ppm", answer.number("recovery_s").unwrap() / 60.0, 1e-5);
}

#[test]
fn an_upper_bound_counts_every_way_for_air() {
    // Everything is said: all of it is counted, and then it is a bound.
    let answer = plan::purge(&purge_question(), System::Metric).unwrap();
    let all = answer.number("oxygen_brought_kg").unwrap();
    assert!(answer.item("scale_bound_mm").unwrap().basis.contains("upper bound"), "{}", answer.text());
    assert!(!warned(&answer, "not counted"));
    // Left in 9.4 L at 25 °C and 1 atm at 100 ppm, 0.3842 mol; half of 0.1067 mol at 800 °C swapped for air; 5 ppm of 140 L
    // at 21.1 °C in 70 min, 5.799 mol; nothing drawn in, since 2 L/min make up for the fall.
    let mol = 0.3842 * 100e-6 + 0.1067 * 0.5 * 0.2095 + 5.799 * 5e-6;
    assert!((all / (mol * 0.031_998) - 1.0).abs() < 1e-3, "{all} against {}", mol * 0.031_998);
    // Each way that is not said makes it less than a bound, by name.
    let without = |change: fn(&mut plan::PurgeQuestion)| {
        let mut question = purge_question();
        change(&mut question);
        plan::purge(&question, System::Metric).unwrap()
    };
    type Unsaid = (fn(&mut plan::PurgeQuestion), &'static str);
    let cases: [Unsaid; 5] = [
        (|question| question.leak_said = false, "a leak"),
        (|question| question.gaps = None, "chimney"),
        (|question| question.opening = None, "openings"),
        (|question| question.cools = None, "cooling draws in"),
        (|question| question.tight_said = false, "pores of brick"),
    ];
    for (change, words) in cases {
        let answer = without(change);
        assert!(warned(&answer, "not counted") && warned(&answer, words), "{words}: {}", answer.text());
        assert!(!answer.item("scale_bound_mm").unwrap().basis.contains("upper bound"), "{words}");
    }
}

#[test]
fn air_of_chimney_pores_and_cooling_is_brought_in() {
    let brought =
        |question: &plan::PurgeQuestion| plan::purge(question, System::Metric).unwrap().number("oxygen_brought_kg").unwrap();
    let tight = purge_question();
    let starved = plan::PurgeQuestion { hold: standard(0.0), ..tight };
    let answer = plan::purge(&starved, System::Metric).unwrap();
    let air = answer.number("chimney_air_in_l_min").unwrap();
    // The chimney's litres of air, counted at 21.1 °C, for 70 min, and what 70 min of no flow leave to draw in.
    assert!(brought(&starved) > 70.0 * air / 24.14 * 0.2095 * 0.031_998, "{}", answer.text());
    assert!(answer.number("hold_floor_fraction").unwrap() > 0.2, "no flow and a chimney: air at last");
    assert!(warned(&answer, "does not make up for the gas that shrinks") && answer.number("drawn_l").unwrap() > 0.0);
    let lined = plan::PurgeQuestion { chamber: lined(50.0), level: share(0.01), ..tight };
    let answer = plan::purge(&lined, System::Metric).unwrap();
    let tight = plan::PurgeQuestion { level: share(0.01), ..tight };
    assert!(brought(&lined) > 2.0 * brought(&tight), "{}", answer.text());
    assert!(answer.number("hold_peak_fraction").unwrap() > answer.number("hold_floor_fraction").unwrap());
    assert!(warned(&answer, "the pores bring the oxygen up to"), "{}", answer.text());
}

fn lined(pores_l: f64) -> Chamber {
    let pores = Pores { volume: litres(pores_l), exchange: minutes(10.0), warming: share(0.5), room: celsius(25.0) };
    Chamber::tight(litres(9.4)).unwrap().with_pores(pores).unwrap()
}

#[test]
fn a_level_that_the_purge_never_reaches_is_not_reached_after_an_opening_either() {
    let mut question = purge_question();
    question.purge.leak = standard(0.05);
    let answer = plan::purge(&question, System::Metric).unwrap();
    assert!(answer.number("recovery_s").is_none(), "{}", answer.text());
    assert!(warned(&answer, "after an opening the level is never reached again"));
    // A leak that allows the level slows the recovery, and so do pores.
    let recovers = |question: &plan::PurgeQuestion| plan::purge(question, System::Metric).unwrap().number("recovery_s").unwrap();
    question.purge.leak = standard(0.003);
    assert!(recovers(&question) > 1.05 * recovers(&purge_question()));
    let level = share(0.01);
    let lined = plan::PurgeQuestion { chamber: lined(20.0), level, ..purge_question() };
    assert!(recovers(&lined) > 1.05 * recovers(&plan::PurgeQuestion { level, ..purge_question() }));
}

#[test]
fn a_cut_shows_what_is_left() {
    let question = plan::InterruptedQuestion {
        furnace: ramp_wish().furnace,
        chamber: Chamber::tight(litres(9.4)).unwrap(),
        now: celsius(800.0),
        limit: celsius(760.0),
        scaling_ends: celsius(400.0),
        flow: standard(2.0),
        gas_oxygen: ppm(5.0),
        leak: standard(0.0),
        surface: square_centimetres(789.84),
        carbon: share(0.007),
        reference: Reference::TWENTY_ONE,
    };
    let answer = plan::interrupted(&question, System::Metric).unwrap();
    assert!((answer.number("quenchable_s").unwrap() - 456.3).abs() < 1.0, "{}", answer.text());
    // The law along the furnace's own fall, 25 °C and 775 K over it with 7743 J/K and 0.9 W/K, by the middles of small steps.
    let (pace, steps) = (0.9 / 7743.0, 200_000_u32);
    let end_s = libm::log(775.0 / 375.0) / pace;
    let squared_cm2: f64 = (0..steps)
        .map(|step| 298.15 + 775.0 * libm::exp(-pace * end_s * (f64::from(step) + 0.5) / f64::from(steps)))
        .map(|t_k| 6.1 * libm::exp(-169_452.0 / (8.314_462_618 * t_k)) * end_s / f64::from(steps))
        .sum();
    let scale_mm = answer.number("scale_in_air_mm").unwrap();
    assert!((scale_mm / (squared_cm2.sqrt() * 10.0) - 1.0).abs() < 2e-3, "{scale_mm} beside {}", squared_cm2.sqrt() * 10.0);
    // 2 L/min counted at 294.25 K at 800 °C.
    assert!((answer.number("hot_flow_l_min").unwrap() - 2.0 * 1073.15 / 294.25).abs() < 1e-9);
    assert!(answer.number("scale_in_air_mm").unwrap() > 100.0 * answer.number("scale_under_gas_mm").unwrap());
    assert!(!warned(&answer, "air is drawn in"));
    let starved = plan::InterruptedQuestion { flow: standard(0.001), ..question };
    let drawing = plan::interrupted(&starved, System::Metric).unwrap();
    assert!(warned(&drawing, "air is drawn in"));
    // Without flow all that shrinks from 800 to 400 °C comes in as air: 9.4 L hold 0.1067 mol at the one, 0.1702 at the other.
    let none = plan::InterruptedQuestion { flow: standard(0.0), ..question };
    let drawn = plan::interrupted(&none, System::Metric).unwrap();
    let iron_oxide_mm = (0.1702 - 0.1067) * 0.2095 * 0.031_998 / 0.078_984 / 0.2227 / 5750.0 * 1e3;
    assert!((drawn.number("scale_under_gas_mm").unwrap() / iron_oxide_mm - 1.0).abs() < 5e-3, "{}", drawn.text());
    let cold = plan::InterruptedQuestion { now: celsius(750.0), ..question };
    assert!(warned(&plan::interrupted(&cold, System::Metric).unwrap(), "too cold to quench"));
    for now_c in [400.0, 300.0] {
        let out = plan::interrupted(&plan::InterruptedQuestion { now: celsius(now_c), ..question }, System::Metric).unwrap();
        assert!(out.number("cools_s") == Some(0.0) && out.number("scale_in_air_mm").is_none(), "{}", out.text());
        assert!(out.text().contains("scaling has ended") && out.number("makeup_l_min").unwrap() > 0.0, "{}", out.text());
    }
}

#[test]
fn a_flow_below_the_meter_is_said() {
    let mut question = purge_question();
    question.hold = standard(0.3);
    assert!(warned(&plan::purge(&question, System::Metric).unwrap(), "below what this meter can show"));
    question.purge.flow = standard(20.0);
    assert!(warned(&plan::purge(&question, System::Metric).unwrap(), "above the top of the meter"));
}

#[test]
fn what_the_meter_is_worth_is_said() {
    let mut question = purge_question();
    let meter = question.meter.as_mut().unwrap();
    meter.full_scale = litres_per_minute(20.0);
    let answer = plan::purge(&question, System::Metric).unwrap();
    // 5 % of 20 L/min at the mark of 7.726.
    assert!((answer.number("purge_reading_error_fraction").unwrap() - 1.0 / 7.726).abs() < 1e-3);
    assert!(warned(&answer, "the purge flow can be off by 12.9 %"), "{}", answer.text());
    question.meter.as_mut().unwrap().float = Some((Float::SharpEdged, millimetres(50.0)));
    assert!(warned(&plan::purge(&question, System::Metric).unwrap(), "doubtful for this float at the hold flow"));
}

#[test]
fn gas_does_not_leave_a_port_faster_than_sound() {
    let mut question = purge_question();
    let port = |bore| Some(plan::PortAtHand { bore: millimetres(bore), height: millimetres(150.0) });
    // 8 L/min through 0.5 mm would be 690 m/s; argon's sound is some 322 m/s at 25 °C (√(5/3 R T / M)).
    question.port = port(0.5);
    let refused = plan::purge(&question, System::Metric).unwrap_err().to_string();
    assert!(refused.contains("faster than sound") && refused.contains("sound in it, 32"), "{refused}");
    question.port = port(1.0);
    let fast = plan::purge(&question, System::Metric).unwrap();
    assert!(warned(&fast, "more than 0.3 of the speed of sound"), "{}", fast.text());
    question.port = port(2.0);
    assert!(!warned(&plan::purge(&question, System::Metric).unwrap(), "speed of sound"));
}

#[test]
fn a_gas_that_harms_is_refused() {
    let question = plan::PurgeQuestion { gas: Mixture::named("argon + 18 % CO2").unwrap(), ..purge_question() };
    let refused = plan::purge(&question, System::Metric).unwrap_err();
    assert!(matches!(refused, ProcessError::NotProtective { .. }), "{refused}");
}

#[test]
fn a_chimney_that_draws_is_said() {
    let mut question = purge_question();
    question.hold = standard(0.005);
    let answer = plan::purge(&question, System::Metric).unwrap();
    assert!(warned(&answer, "chimney may draw air in") && answer.number("chimney_air_in_l_min").unwrap() > 0.0);
    let held = plan::purge(&purge_question(), System::Metric).unwrap();
    assert_eq!(held.item("chimney_outward").unwrap().value, Value::Flag(true));
    assert!(held.number("chimney_holding_l_min").unwrap() < held.number("chimney_holding_orifice_l_min").unwrap());
}

#[test]
fn a_cylinder_that_will_not_last_is_said() {
    let full = plan::cylinder(&cylinder_question(165.0), System::Metric).unwrap();
    assert_eq!(full.item("reach").unwrap().value, Value::Word("surely".into()));
    assert!(full.number("mass_kg").unwrap() > 2.9);
    assert!(!warned(&full, "which room"));
    let nowhere = plan::CylinderQuestion { room: None, ..cylinder_question(165.0) };
    assert!(warned(&plan::cylinder(&nowhere, System::Metric).unwrap(), "which room"));
    let low = plan::cylinder(&cylinder_question(28.0), System::Us).unwrap();
    assert!(warned(&low, "will not last") && low.number("ends_after_s").is_some());
    assert!(low.item("usable_l").unwrap().shown.contains("ft³"));
}

#[test]
fn furnaces_that_may_run_at_once_are_judged_together() {
    let ask = |in_turn: &[f64], at_once: &[f64]| {
        let [in_turn, draws] = [in_turn, at_once]
            .map(|flows| flows.iter().map(|&flow| Draw { flow: standard(flow), time: minutes(9.0) }).collect::<Vec<_>>());
        plan::cylinder(&plan::CylinderQuestion { in_turn, draws, ..cylinder_question(165.0) }, System::Metric).unwrap()
    };
    let told = |answer: &Answer| ["lasts_s", "room_steady_fraction", "room_air_m3_h"].map(|key| answer.number(key).unwrap());
    let one = ask(&[], &[16.0]);
    let two = ask(&[], &[8.0, 8.0]);
    assert!(told(&two).iter().zip(told(&one)).all(|(ours, one)| (ours / one - 1.0).abs() < 1e-12), "{}", two.text());
    assert!(one.text().contains("lasts under this flow") && two.text().contains("lasts under all furnaces at once"));
    assert!(two.text().contains("room oxygen under all furnaces at once for ever"), "{}", two.text());
    // One furnace purges and then holds: 8 L/min at most, and another's 8 L/min beside it.
    let turns = ask(&[8.0, 2.0], &[]);
    assert_eq!(told(&turns), told(&ask(&[], &[8.0])));
    assert!(turns.text().contains("lasts under the largest of the flows"), "{}", turns.text());
    let beside = told(&ask(&[8.0, 2.0], &[8.0]));
    assert!(beside.iter().zip(told(&one)).all(|(ours, one)| (ours / one - 1.0).abs() < 1e-12));
}

#[test]
fn a_leak_overnight_is_told_from_a_cold_night() {
    let ask = |gauge_bar, gauge_error| {
        let evening = Some(plan::Evening { gauge: bars(165.0), temperature: celsius(28.0), ago: minutes(840.0) });
        let question =
            plan::CylinderQuestion { evening, gauge_error: bars(gauge_error), in_turn: vec![], ..cylinder_question(gauge_bar) };
        plan::cylinder(&question, System::Metric).unwrap()
    };
    // 10 K colder take some 8 bar off without any loss.
    let cold = ask(157.0, 2.0);
    assert!(!warned(&cold, "it leaks") && (cold.number("expected_gauge_bar").unwrap() - 157.0).abs() < 2.0, "{}", cold.text());
    let leaks = ask(140.0, 2.0);
    assert!(warned(&leaks, "it leaks") && leaks.number("lost_l").unwrap() > 100.0, "{}", leaks.text());
    assert!(!warned(&ask(152.0, 5.0), "it leaks"), "a coarse gauge does not show it");
}

#[test]
fn what_a_gauge_cannot_show_is_said() {
    let ask = |question: plan::CylinderQuestion| plan::cylinder(&question, System::Metric).unwrap();
    // Full is 200 bar at 21.1 °C; at 18 °C that is less, and 210 bar less 5 bar is more.
    assert!(warned(&ask(cylinder_question(210.0)), "more gas than a full cylinder holds"));
    assert!(!warned(&ask(cylinder_question(200.0)), "more gas than a full cylinder holds"));
    // It is changed at 15 bar.
    assert!(warned(&ask(cylinder_question(14.0)), "already due for change"));
    assert!(!warned(&ask(cylinder_question(16.0)), "already due for change"));
    let evening = Some(plan::Evening { gauge: bars(70.0), temperature: celsius(18.0), ago: minutes(840.0) });
    let more = ask(plan::CylinderQuestion { evening, ..cylinder_question(165.0) });
    assert!(warned(&more, "mixed up") && more.number("lost_l").is_none(), "{}", more.text());
    let same = ask(plan::CylinderQuestion { evening, ..cylinder_question(72.0) });
    // Two bar more than before, within the gauge's error: a shut cylinder gains none, and none is shown as lost.
    assert!(!warned(&same, "mixed up") && same.number("lost_l") == Some(0.0), "{}", same.text());
    assert!(same.item("lost_l").unwrap().basis.starts_with("none that shows"), "{}", same.text());
    // 200 bar are full at 21.1 °C and some thousandths more than full at 18 °C: full, as far as the gauge goes.
    let full = ask(cylinder_question(200.0));
    assert!(full.number("full_fraction") == Some(1.0) && full.item("full_fraction").unwrap().shown == "100 %", "{}", full.text());
    assert!(ask(cylinder_question(190.0)).number("full_fraction").unwrap() < 1.0);
}

#[test]
fn a_purge_that_ends_above_its_level_is_said_even_if_it_starts_below() {
    let ask = |start_ppm, leak_l_min| {
        let mut question = purge_question();
        (question.purge.start, question.purge.leak) = (ppm(start_ppm), standard(leak_l_min));
        plan::purge(&question, System::Metric).unwrap()
    };
    // 5 ppm and 0.005 of 8.005 L/min of air: 136 ppm, as in worked example 1.
    assert!(
        warned(&ask(50.0, 0.005), "brings the oxygen up to 136 ppm, above the 100 ppm wanted"),
        "{}",
        ask(50.0, 0.005).text()
    );
    assert!(!warned(&ask(50.0, 0.0), "brings the oxygen up to"));
}

#[test]
fn a_recorded_heat_up_tells_the_furnace() {
    let truth = crate::table::table!("identification_truth");
    let row = truth.iter().find(|row| row.text("furnace") == "A medium brick" && row.text("seed") == "1").unwrap();
    let record = crate::table::table!("identification")
        .iter()
        .filter(|row| row.text("furnace") == "A medium brick")
        .map(|row| Reading {
            time: seconds(row.number("time_s")),
            power: Power::new::<watt>(row.number("power_w")),
            chamber: celsius(row.number("chamber_c")),
        })
        .collect();
    let answer = plan::furnace(&plan::FurnaceQuestion { record, room: celsius(25.0) }, System::Metric).unwrap();
    row.agrees("loss_u_w_k", answer.number("loss_w_k").unwrap(), 1e-4);
    row.agrees("s_j_k", answer.number("capacity_kj_k").unwrap() * 1e3, 1e-4);
    assert!(answer.number("holding_w").unwrap() > 100.0 && answer.number("falls_k_min").unwrap() > 0.1, "{}", answer.text());
}
