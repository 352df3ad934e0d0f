//! Ramps, plates, what bags, probes and strips tell, and that every number says what it rests on.

use super::*;
use crate::quantities::square_centimetres;
use hearthward_process::calibrate::ProbeReading;
use hearthward_process::chamber::{ChamberGas, Inputs};
use hearthward_process::note::NoteKind;

fn punch(ramp: Option<plan::RampWish>) -> plan::HeatQuestion {
    plan::HeatQuestion {
        section: Section::bar(millimetres(12.0)).unwrap(),
        surface: Surface::of_load(true),
        start: celsius(25.0),
        heat: celsius(800.0),
        band: TemperatureInterval::new::<kelvin>(5.0),
        soak: minutes(20.0),
        ramp,
    }
}

#[test]
fn with_a_ramp_the_load_follows_its_furnace() {
    let said = |question: &plan::HeatQuestion| plan::heat(question, System::Metric).unwrap();
    let hot = said(&punch(None)).number("pull_s").unwrap();
    let answer = said(&punch(Some(ramp_wish())));
    // 775 K at 6 K/min are 129.17 min; a load in its furnace is never there before, and lags by less than in a hot furnace.
    let ramp_s = 775.0 / 6.0 * 60.0;
    assert!((answer.number("ramp_s").unwrap() - ramp_s).abs() < 0.1);
    let pull_s = answer.number("pull_s").unwrap();
    assert!(pull_s > ramp_s + 1200.0 - 50.0 && pull_s < ramp_s + hot, "{}", answer.text());
    assert!(answer.item("core_in_band_s").unwrap().basis.contains("the ramp takes 129 min"), "{}", answer.text());
    // A furnace that falls behind is counted at its rated power, faster than its fastest even ramp, and says so.
    let wish = plan::RampWish { ramp: units::ramp("20 K/min").unwrap(), ..ramp_wish() };
    let behind = said(&punch(Some(wish)));
    let fastest = behind.number("ramp_fastest_k_min").unwrap();
    let behind_s = behind.number("ramp_s").unwrap();
    assert!(behind_s > 775.0 / 20.0 * 60.0 && behind_s < 775.0 / fastest * 60.0 - 600.0, "{}", behind.text());
    assert!(behind.item("ramp_s").unwrap().basis.contains("falls behind the ramp asked for"), "{}", behind.text());
    // One that does not even hold the heat never gets there: 0.9 W/K over 775 K are 698 W.
    let weak = Furnace { rated: Power::new::<watt>(500.0), ..ramp_wish().furnace };
    let never = said(&punch(Some(plan::RampWish { furnace: weak, ..ramp_wish() })));
    assert!(never.number("pull_s").is_none() && warned(&never, "never comes to 800 °C"), "{}", never.text());
}

#[test]
fn a_whole_load_counts_its_ramp_and_its_room() {
    let question = |grade, room_c, ramp| {
        let mut question = super::steel::load(grade, 3.0, None);
        (question.wish.room, question.ramp) = (celsius(room_c), ramp);
        plan::cycle(&question, System::Metric).unwrap().1
    };
    let of = |answers: &[Answer], key| answers.iter().find_map(|answer| answer.number(key));
    let ramped = question("L6", 25.0, Some(ramp_wish()));
    let straight = question("L6", 25.0, None);
    // L6 is preheated at 650 °C: 625 K at 6 K/min, then 165 K to 815 °C.
    let preheat = of(&ramped, "preheat_s").unwrap();
    assert!(preheat > 620.0 / 0.1 && preheat < 625.0 / 0.1 + 900.0, "{preheat}");
    assert!((of(&ramped, "ramp_s").unwrap() - 165.0 / 0.1).abs() < 0.1);
    // What the cylinder gives covers it: 2 L/min of some 132 min more.
    let more = of(&ramped, "needed_l").unwrap() - of(&straight, "needed_l").unwrap();
    assert!((200.0..270.0).contains(&more), "{more}");
    assert!(of(&question("L6", -15.0, None), "preheat_s").unwrap() > of(&straight, "preheat_s").unwrap() + 5.0);
    let plain = question("1084", -15.0, None);
    assert!(plain.iter().any(|answer| answer.title == "Heat from -15 °C to 815 °C"), "{:?}", plain[2].title);
    let weak = Furnace { rated: Power::new::<watt>(500.0), ..ramp_wish().furnace };
    let never = question("L6", 25.0, Some(plan::RampWish { furnace: weak, ..ramp_wish() }));
    assert!(never.iter().any(|answer| warned(answer, "no forecast: this furnace never comes to heat")));
    assert!(
        question(
            "L6",
            -15.0,
            Some(plan::RampWish { furnace: Furnace { room: celsius(-15.0), ..ramp_wish().furnace }, ..ramp_wish() })
        )
        .len()
            == 7
    );
}

#[test]
fn a_curve_that_ends_says_so_and_tells_no_hardness() {
    let ask = |grade: &str, temper_c| {
        let temper = Temper { temperature: celsius(temper_c), time: minutes(120.0) };
        let question =
            plan::TemperQuestion { tempers: vec![temper; 2], steel: Some(Steel::named(grade).unwrap()), instead: None };
        plan::temper(&question, System::Us)
    };
    let beyond = ask("5160", 400.0).unwrap();
    assert!(beyond.number("hardness_hrc").is_none() && beyond.number("parameter").is_some());
    assert!(warned(&beyond, "tempering curve of 5160 ends at 601 °F, and there is no source beyond"), "{}", beyond.text());
    assert!(ask("5160", 316.0).unwrap().number("hardness_hrc").is_some());
    assert!(ask("L6", 96.0).is_err(), "a temper below the curve is no temper");
}

#[test]
fn martensite_at_the_bath_is_told_where_its_start_is() {
    let at = |grade: &str| {
        let mut question = bath_question(48.0, 1);
        question.steel = Some(Steel::named(grade).unwrap());
        plan::bath(&question, System::Metric).unwrap()
    };
    let answer = at("5160");
    // 1 - exp(-0.011 (Ms - T)) by hand, with Ms = 539 - 423 0.6 - 30.4 0.875 - 12.1 0.8 = 248.92 °C.
    let by_hand = 1.0 - libm::exp(-0.011 * (248.92 - answer.number("bath_after_c").unwrap()));
    assert!((answer.number("martensite_fraction").unwrap() - by_hand).abs() < 1e-9, "{}", answer.text());
    assert!(answer.item("martensite_fraction").unwrap().basis.contains("where the section suits the oil"));
    let mut heavy = plan::BathQuestion { oil: OilSpeed::Slow, steel: Steel::named("5160").ok(), ..bath_question(48.0, 1) };
    heavy.pulls.section = Section::plate(millimetres(60.0)).unwrap();
    let heavy = plan::bath(&heavy, System::Metric).unwrap();
    assert!(heavy.number("martensite_fraction").is_none() && warned(&heavy, "60 mm"), "{}", heavy.text());
    let outside = at("L6");
    assert!(outside.number("martensite_fraction").is_none() && outside.text().contains("no share of martensite is given for L6"));
}

#[test]
fn the_last_of_a_row_has_the_fewest_seconds() {
    let ask = |parts, shut_s| {
        let mut question = plan::BathQuestion { limit: Some(celsius(740.0)), ..bath_question(48.0, parts) };
        (question.pulls.view, question.pulls.shut) = (share(0.5), seconds(shut_s));
        plan::bath(&question, System::Metric).unwrap()
    };
    let has = |answer: &Answer| answer.number("last_has_s");
    assert!(has(&ask(3, 0.0)).unwrap() < has(&ask(1, 0.0)).unwrap() && has(&ask(3, 600.0)) > has(&ask(3, 0.0)));
    assert!(warned(&ask(20, 0.0), "before it leaves the furnace"), "{}", ask(20, 0.0).text());
    assert!(has(&plan::bath(&bath_question(48.0, 3), System::Metric).unwrap()).is_none());
}

fn plates_question(parts: u32) -> plan::PlatesQuestion {
    plan::PlatesQuestion {
        section: Section::plate(millimetres(3.0)).unwrap(),
        mass: kilograms(0.2),
        heat: celsius(950.0),
        in_air: seconds(2.0),
        plates: kilograms(4.0),
        plates_at: celsius(20.0),
        parts,
        air: StillAir::room(celsius(20.0)),
        steel: Some(Steel::named("A2").unwrap()),
    }
}

#[test]
fn plates_take_the_heat_of_part_after_part() {
    let said = |question: &plan::PlatesQuestion| plan::plates(question, System::Metric).unwrap();
    let one = said(&plates_question(1));
    // Some 650 J/(kg K) of 0.2 kg over 900 K are 117 to 130 kJ; 4 kg of aluminium take 3.6 kJ/K.
    let rise_k = one.number("plates_after_c").unwrap() - 20.0;
    assert!((30.0..38.0).contains(&rise_k), "{}", one.text());
    assert!(one.number("parts_that_fit") == Some(1.0) && !warned(&one, "the plates pass"));
    assert!(one.warnings[0].text.contains("hot steel burns") && one.number("air_s").unwrap() > 120.0);
    let three = said(&plates_question(3));
    assert!(warned(&three, "the plates pass 60 °C after 1 of 3"), "{}", three.text());
    assert!(three.number("plates_after_c").unwrap() > 20.0 + 2.5 * rise_k);
    let small = said(&plan::PlatesQuestion { plates: kilograms(0.5), ..plates_question(3) });
    assert!(small.number("plates_after_c").is_none() && warned(&small, "after 0 of 3"), "{}", small.text());
    let of = |grade: &str, mm| {
        let section = Section::plate(millimetres(mm)).unwrap();
        said(&plan::PlatesQuestion { steel: Some(Steel::named(grade).unwrap()), section, ..plates_question(1) })
    };
    assert!(warned(&of("O1", 3.0), "O1 does not harden in air or between plates"));
    assert!(warned(&of("D2", 100.0), "of D2 is heavier than the 75 mm"));
    assert_eq!(of("D2", 100.0).item("hardens").unwrap().value, Value::Flag(false));
    assert_eq!(of("D2", 20.0).item("hardens").unwrap().value, Value::Flag(true));
}

fn meter_question(seconds_to_fill: f64) -> plan::MeterQuestion {
    plan::MeterQuestion {
        bag: litres(5.0),
        time: seconds(seconds_to_fill),
        room: celsius(21.1),
        reading: litres_per_minute(2.0),
        scale: Scale { gas: Gas::Air.into(), gauge: bars(0.0), temperature: celsius(21.1), reference: Reference::TWENTY_ONE },
        service: Service {
            gas: Gas::Argon.into(),
            valve: Valve::BeforeTube,
            line: bars(0.0),
            back: bars(0.0),
            temperature: celsius(21.1),
        },
    }
}

#[test]
fn a_bag_and_a_stopwatch_prove_a_meter() {
    let said = |seconds_to_fill| plan::meter(&meter_question(seconds_to_fill), System::Metric).unwrap();
    // 5 L in 175 s are 1.714 L/min: 0.857 of the reading. By the rule √(28.96/39.95) = 0.8514.
    let answer = said(175.0);
    assert!((answer.number("flow_l_min").unwrap() - 5.0 / 175.0 * 60.0).abs() < 1e-3, "{}", answer.text());
    assert!((answer.number("factor").unwrap() - 0.857_14).abs() < 1e-3);
    assert!((answer.number("factor_rule").unwrap() - f64::sqrt(28.96 / 39.95)).abs() < 1e-3);
    assert!(!warned(&answer, "neither law") && !warned(&answer, "too fast"));
    assert!(warned(&said(100.0), "neither law explains this factor") && warned(&said(4.0), "too fast to be timed"));
}

#[test]
fn a_probe_and_strips_tell_what_leaks() {
    // A chamber of 9.4 L with 20 L of pores and a leak of 4 µmol/s, made up with the chamber's own steps.
    let pores = Pores { volume: litres(20.0), exchange: minutes(15.0), warming: share(0.5), room: celsius(25.0) };
    let truth = Chamber::tight(litres(9.4)).unwrap().with_pores(pores).unwrap();
    let leak = hearthward_process::AmountFlow::new::<uom::si::catalytic_activity::katal>(4e-6);
    let mut gas = ChamberGas::air(&truth, celsius(25.0)).unwrap();
    let record: Vec<ProbeReading> = (0..60)
        .map(|step| {
            let inflow = standard(if step < 30 { 8.0 } else { 2.0 });
            let inputs = Inputs { time: minutes(2.0), inflow, inflow_oxygen: ppm(5.0), ..Inputs::nothing(celsius(25.0)) };
            gas = gas.step(&truth, &Inputs { leak, ..inputs }).unwrap().gas;
            ProbeReading { inputs, oxygen: gas.oxygen() }
        })
        .collect();
    let reference = Reference::TWENTY_ONE;
    let probe = plan::LeakQuestion::Probe { volume: litres(9.4), temperature: celsius(25.0), record, reference };
    let answer = plan::leak(&probe, System::Metric).unwrap();
    // 4 µmol/s at 24.145 L/mol.
    assert!((answer.number("leak_l_min").unwrap() / (4e-6 * 60.0 * 24.145) - 1.0).abs() < 2e-3, "{}", answer.text());
    assert!((answer.number("pores_l").unwrap() / 20.0 - 1.0).abs() < 2e-3);
    assert!((answer.number("pores_exchange_s").unwrap() / 900.0 - 1.0).abs() < 2e-3);
    // The first worked example the other way round: 98.1 mg in 70 min came of 5 mL/min of air and 5 ppm of 2 L/min.
    let strips = plan::LeakQuestion::Strips {
        gain: kilograms(2.4525e-6),
        strips: square_centimetres(20.0),
        steel: square_centimetres(800.0),
        time: minutes(70.0),
        flow: standard(2.0),
        gas_oxygen: ppm(5.0),
        reference,
    };
    let answer = plan::leak(&strips, System::Metric).unwrap();
    assert!((answer.number("leak_l_min").unwrap() * 1e3 - 5.0).abs() < 0.01, "{}", answer.text());
    assert!(answer.notes.iter().any(|note| note.kind == NoteKind::Bound && note.text.contains("a lower bound")));
    for item in &answer.items {
        assert!(!item.basis.is_empty(), "{}", item.key);
    }
}

#[test]
fn every_number_says_what_it_rests_on() {
    let mut answers = vec![
        plan::heat(&punch(Some(ramp_wish())), System::Us).unwrap(),
        plan::bath(&bath_question(15.0, 8), System::Us).unwrap(),
        plan::transfer(&transfer_question(4.0), System::Us).unwrap(),
        plan::plates(&plates_question(3), System::Us).unwrap(),
        plan::meter(&meter_question(175.0), System::Us).unwrap(),
        plan::cylinder(&cylinder_question(28.0), System::Us).unwrap(),
    ];
    for steel in &STEELS {
        for mm in [3.0, 30.0, 110.0] {
            let question = plan::CycleQuestion { ramp: None, ..super::steel::load(steel.grade, mm, None) };
            answers.extend(plan::cycle(&question, System::Us).unwrap().1);
        }
    }
    for answer in &answers {
        for item in &answer.items {
            assert!(!item.basis.trim().is_empty(), "{} of {}", item.key, answer.title);
        }
    }
}

#[test]
fn an_equal_temper_that_would_harden_anew_is_no_temper() {
    let ask = |grade: Option<&str>, temper_c, instead_min| {
        let temper = Temper { temperature: celsius(temper_c), time: minutes(120.0) };
        let steel = grade.map(|grade| Steel::named(grade).unwrap());
        let question = plan::TemperQuestion { tempers: vec![temper], steel, instead: Some(minutes(instead_min)) };
        plan::temper(&question, System::Metric).unwrap()
    };
    // 973.15 K × (20 + log10 2) / (20 - log10 60) = 1084 K by hand, 811 °C: beyond where the parameter is worked out.
    let hot = ask(None, 700.0, 1.0);
    assert!((hot.number("instead_c").unwrap() - 811.04).abs() < 0.1, "{}", hot.text());
    assert!(warned(&hot, "811 °C is no temper: above 750 °C austenite forms"), "{}", hot.text());
    assert!(!warned(&ask(None, 700.0, 60.0), "is no temper"));
    // Ac1 of 5160 by Andrews: 723 - 10.7 0.875 + 29.1 0.25 + 16.9 0.8 = 734 °C, here below 750 °C.
    assert!(warned(&ask(Some("5160"), 650.0, 2.0), "is no temper: above 734 °C"), "{}", ask(Some("5160"), 650.0, 2.0).text());
}
