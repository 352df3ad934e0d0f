//! Whole cycles on the bench: what a load goes through, what people are asked, and what counts.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, gas_flow};
use hearthward_equipment::{FurnaceId, Value};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::{Heating, SteelChoice};
use hearthward_supervise::recipe::{Drive, Pace, Protection, Step, StepKind};
use hearthward_supervise::request::{Ask, Choice, Request};
use hearthward_supervise::view::InterlockState;

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons, plan};

fn outcome(bench: &Bench) -> Option<String> {
    bench.events.iter().rev().find_map(|event| match &event.body {
        EventBody::CycleEnded { outcome, .. } => Some(outcome.clone()),
        _ => None,
    })
}

/// Opens the door, takes the part out, says that it is under, shuts the door.
fn pull(bench: &mut Bench, seconds: u32) {
    bench.until("the call to pull", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    bench.plants[0].open = true;
    bench.scans(seconds);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
}

#[test]
fn a_load_goes_from_purge_to_temper_in_six_touches() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    bench.load(NORTH, irons(Some(SOUTH)));
    bench.until("the ramp", |bench| bench.step() == Some(StepKind::Ramp));
    assert!(bench.north().purge_proved);
    pull(&mut bench, 2);
    bench.until("the transfer", |bench| bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some());
    assert!(!bench.heats(NORTH), "nothing is left to heat in the north");
    bench.confirm(|ask| matches!(ask, Ask::Transfer { .. }));
    assert!(bench.north().cycle.is_none());
    bench.until("the end", |bench| outcome(bench).is_some());
    assert_eq!(outcome(&bench).as_deref(), Some("complete"));
    let steps: Vec<StepKind> = bench
        .events
        .iter()
        .filter_map(|event| if let EventBody::StepEnded { step, complete: true, .. } = event.body { Some(step) } else { None })
        .collect();
    use StepKind::{Pull, Purge, Quench, Ramp, Soak, Temper};
    assert_eq!(steps, [Purge, Ramp, Soak, Pull, Quench, Temper]);
    let asked = bench.said(|body| matches!(body, EventBody::Asked { .. }));
    assert!(asked < 6, "a whole load needs about six touches with its start, not {asked} questions");
    assert_eq!(bench.said(|body| matches!(body, EventBody::PartUnder { in_time: true, .. })), 1);
    let soaked = bench.events.iter().find_map(|event| match event.body {
        EventBody::CycleEnded { soaked_ms, .. } => Some(soaked_ms),
        _ => None,
    });
    assert!((600_000..=610_000).contains(&soaked.expect("it ended")));
}

#[test]
fn an_ordinary_day_raises_no_trip() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    bench.scans(5);
    bench.events.clear();
    bench.load(NORTH, irons(Some(SOUTH)));
    pull(&mut bench, 2);
    bench.until("the transfer", |bench| bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some());
    bench.confirm(|ask| matches!(ask, Ask::Transfer { .. }));
    bench.until("the end", |bench| outcome(bench).is_some());
    let tripped: Vec<_> = bench
        .events
        .iter()
        .filter_map(|event| if let EventBody::Tripped { interlock, .. } = event.body { Some(interlock) } else { None })
        .collect();
    // The door of the pull is a trip that the cycle expected; the purge is waited for.
    let expected = [InterlockKind::PurgeBeforeHeat, InterlockKind::DoorOpen, InterlockKind::OpeningAtHeat];
    assert!(tripped.iter().all(|kind| expected.contains(kind)), "{tripped:?}");
    assert_eq!(bench.said(|body| matches!(body, EventBody::Tripped { latched: true, .. })), 0);
}

#[test]
fn no_heat_before_the_purge_is_proved_for_this_load() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.until("some changes", |bench| bench.north().changes.is_some_and(|(done, _)| done > 4.0));
    assert!(bench.plants[0].read_c < 22.0 && !bench.north().purge_proved);
    bench.plants[0].gas = false;
    bench.scans(3);
    assert!(bench.north().changes.is_some_and(|(done, _)| done < 0.5), "a lost flow begins the count again");
    assert_eq!(bench.said(|body| matches!(body, EventBody::PurgeBroken { changes } if *changes > 3.0)), 1);
    bench.scans(1200);
    assert_eq!(bench.step(), Some(StepKind::Purge));
    assert!(bench.plants[0].read_c < 22.0);
    bench.plants[0].gas = true;
    bench.until("the proof", |bench| bench.north().purge_proved);
    bench.until("heat", |bench| bench.plants[0].read_c > 300.0);
}

/// Goal: a meter that shows what its supply cannot give proves no purge, and is told. The bench's supply gives 20 L/min; 16-bit
/// registers full of ones in hundredths are 655.35 L/min.
#[test]
fn a_flow_that_the_supply_cannot_give_proves_nothing() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.obeys = false;
    bench.plants[0].flow = gas_flow(655.35, 21.1, 101.325);
    bench.scans(1200);
    assert_eq!(bench.step(), Some(StepKind::Purge));
    assert!(bench.plants[0].read_c < 22.0 && !bench.north().purge_proved && bench.north().flow_l_min.is_none());
    assert!(bench.north().changes.is_none_or(|(done, _)| done == 0.0));
    let told = bench.north().interlocks.iter().any(|row| row.text.contains("more gas than its supply can give"));
    assert!(told, "{:?}", bench.north().interlocks);
    bench.plants[0].flow = gas_flow(21.0, 21.1, 101.325);
    bench.until("the proof by a meter that is a little off", |bench| bench.north().purge_proved);
}

#[test]
fn a_load_without_a_purge_step_still_gets_no_heat_above_the_ceiling() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    let mut load = irons(None);
    load.steps.remove(0);
    bench.load(NORTH, load);
    bench.scans(3600);
    assert!(bench.plants[0].read_c <= 205.0, "{}", bench.plants[0].read_c);
    assert!(bench.plants[0].read_c > 150.0, "up to the ceiling it may heat");
    assert_eq!(bench.row(NORTH, InterlockKind::PurgeBeforeHeat), InterlockState::Tripped);
    bench.plants[0].gas = true;
    bench.until("heat", |bench| bench.plants[0].read_c > 300.0);
    assert!(bench.north().purge_proved);
}

#[test]
fn a_door_that_opens_cold_takes_the_proof_away() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.until("the proof", |bench| bench.north().purge_proved);
    bench.plants[0].open = true;
    bench.scans(2);
    assert!(!bench.north().purge_proved);
    bench.plants[0].open = false;
    bench.scans(100);
    assert!(bench.plants[0].read_c < 205.0, "no heat above the ceiling on an old proof");
    bench.until("a new proof", |bench| bench.north().purge_proved);
    assert_eq!(bench.said(|body| matches!(body, EventBody::PurgeProved { .. })), 2);
}

#[test]
fn changes_are_counted_by_the_amount_of_gas_at_the_chambers_temperature() {
    // 8 L/min at 21.1 °C into 9.4 L at 21 °C: one change takes 9.4 / 8 min × (294.25 / 294.15) = 70.5 s.
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.load(NORTH, irons(None));
    bench.until("the count", |bench| bench.north().changes.is_some_and(|(done, _)| done > 0.0));
    let begun = bench.now;
    bench.until("the proof", |bench| bench.north().purge_proved);
    let took_s = bench.now.since(begun).as_secs_f64();
    assert!((took_s - 8.0 * 70.5).abs() < 5.0, "{took_s} s");
}

#[test]
fn soak_time_counts_only_in_band() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let before = bench.north().cycle.as_ref().expect("it soaks").in_band_ms;
    bench.plants[0].read_c = 790.0;
    bench.scan();
    let counted = bench.north().cycle.as_ref().expect("it soaks").in_band_ms;
    assert_eq!(counted, before, "ten kelvins off is not in band");
    bench.until("back in band", |bench| (bench.plants[0].read_c - 800.0).abs() < 4.5);
    bench.scans(10);
    let after = bench.north().cycle.as_ref().expect("it soaks").in_band_ms;
    assert!(after > counted + 9_000 && after <= counted + 14_000);
}

#[test]
fn a_soak_waits_for_the_tank_and_asks_at_its_maximum() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.oil_c = 20.0;
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::BringBath { .. })).is_some());
    assert_eq!(bench.step(), Some(StepKind::Soak));
    assert_eq!(bench.row(NORTH, InterlockKind::QuenchReadiness), InterlockState::Tripped);
    bench.until("the steel question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    let in_band = bench.north().cycle.as_ref().expect("it soaks").in_band_ms;
    assert!((1_200_000..=1_210_000).contains(&in_band), "{in_band}");
    assert!(bench.heats(NORTH), "the steel stays at heat");
    let ask = bench.question(|ask| matches!(ask, Ask::Steel { .. })).expect("it waits").clone();
    assert!(ask.choices.contains(&Choice::Steel(SteelChoice::QuenchNow)));
    assert!(matches!(ask.ask, Ask::Steel { quenchable_s: Some(left), .. } if (150..=210).contains(&left)));
    bench.oil_c = 50.0;
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
}

/// Goal: no part is called out of a chamber that has fallen meanwhile. Method: the soak's time is done and its bath cold; the chamber cools,
/// then the bath is ready.
#[test]
fn steel_that_fell_out_of_its_band_while_it_waited_is_not_called() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.oil_c = 20.0;
    bench.until("the wait", |bench| bench.question(|ask| matches!(ask, Ask::BringBath { .. })).is_some());
    bench.plants[0].read_c = 780.0;
    bench.scan();
    bench.oil_c = 50.0;
    bench.scans(3);
    assert!(bench.plants[0].read_c < 794.0 && bench.step() == Some(StepKind::Soak), "{}", bench.plants[0].read_c);
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
    assert!((bench.plants[0].read_c - 800.0).abs() < 5.5, "{}", bench.plants[0].read_c);
}

/// Goal: a hold that somebody forgot is told once when it goes past the soak's maximum, and decides nothing. Method: a soak is held so long,
/// with the bath ready, then resumed.
#[test]
fn a_soak_that_is_held_past_its_maximum_is_told_once() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Hold { furnace: NORTH });
    let told = |bench: &Bench| bench.events.iter().filter(|event| event.text.contains("maximum and a person holds it")).count();
    bench.until("the maximum", |bench| told(bench) == 1);
    let in_band = bench.north().cycle.as_ref().expect("it soaks").in_band_ms;
    assert!((1_200_000..=1_202_000).contains(&in_band), "{in_band}");
    bench.scans(600);
    assert!(told(&bench) == 1 && bench.view.questions.is_empty() && bench.heats(NORTH));
    bench.oil_c = 20.0;
    bench.done(Request::Resume { furnace: NORTH });
    bench.until("the steel question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    bench.oil_c = 50.0;
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
}

/// Goal: the question at a soak's maximum names what keeps the load there. Method: a hold goes past the maximum; when it is resumed the bath
/// is cold, or the chamber is.
#[test]
fn at_its_maximum_a_soak_says_what_it_waits_for() {
    for (oil_c, read_c, words, not) in
        [(20.0, 800.0, "the tank is not ready", "not at its heat"), (50.0, 780.0, "it is not at its heat", "the tank")]
    {
        let mut bench = Bench::soaking(&[Kind::gas("north")]);
        bench.done(Request::Hold { furnace: NORTH });
        bench.until("the maximum", |bench| bench.events.iter().any(|event| event.text.contains("and a person holds it")));
        (bench.oil_c, bench.plants[0].read_c) = (oil_c, read_c);
        bench.done(Request::Resume { furnace: NORTH });
        let asked = bench.question(|ask| matches!(ask, Ask::Steel { .. })).expect("it is past its maximum");
        assert!(asked.text.contains(words) && !asked.text.contains(not), "{}", asked.text);
    }
}

/// Goal: no reading that nobody took sweeps a chamber. Method: the service sleeps for 43 s with the purge proved; more is not counted than
/// in the 5 s that a reading may grow old.
#[test]
fn a_proved_purge_counts_no_more_of_a_sleep_than_its_reading_speaks_for() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let changes = |bench: &Bench| bench.north().changes.expect("it has gas").0;
    let before = changes(&bench);
    bench.scans(5);
    let awake = changes(&bench) - before;
    let before = changes(&bench);
    bench.now = bench.now + Duration::from_secs(43);
    bench.scan();
    let slept = changes(&bench) - before;
    assert!(awake > 0.0 && slept > 0.9 * awake && slept < 1.1 * awake, "{slept} in the sleep, {awake} in 5 s");
}

/// Goal: whoever looks sees what a pull waits for, and not a part that nobody was asked for. Method: the bath is cold, the chamber is, then
/// neither.
#[test]
fn a_pull_says_what_it_waits_for_before_it_calls() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let waits = |bench: &Bench| bench.north().cycle.as_ref().expect("it is pulled").waiting_for.clone();
    bench.oil_c = 20.0;
    bench.done(Request::Skip { furnace: NORTH, reason: "it has soaked before".to_owned() });
    bench.scans(2);
    assert_eq!(waits(&bench), "oil to be ready before part 1 of 1 is called");
    bench.plants[0].read_c = 780.0;
    bench.scan();
    let words = waits(&bench);
    assert!(words.starts_with("north to be back at 800 °C, now 7") && words.contains("before part 1 of 1"), "{words}");
    bench.oil_c = 160.0;
    bench.scan();
    assert!(waits(&bench).starts_with("oil to cool below its margin and to be reset before part"), "{}", waits(&bench));
    bench.oil_c = 50.0;
    bench.scan();
    bench.reset();
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    assert_eq!(waits(&bench), "part 1 of 1 to be under");
}

#[test]
fn silence_takes_the_default_that_was_shown() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    bench.until("the steel question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    assert!(bench.heats(NORTH), "a lost flow does not take heat from hot steel");
    let asked = bench.now;
    bench.until("the default", |bench| bench.said(|body| matches!(body, EventBody::Answered { by_silence: true, .. })) == 1);
    assert_eq!(bench.now.since(asked), Duration::from_secs(180));
    bench.scans(2);
    assert!(!bench.heats(NORTH));
    bench.until("the end", |bench| outcome(bench).is_some());
    assert_eq!(outcome(&bench).as_deref(), Some("slow_cooled"));
}

#[test]
fn a_flow_that_comes_back_takes_the_question_away() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    bench.until("the steel question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    bench.plants[0].gas = true;
    bench.scans(2);
    assert!(bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_none());
    assert_eq!(bench.said(|body| matches!(body, EventBody::Withdrawn { .. })), 1);
    assert_eq!(bench.row(NORTH, InterlockKind::PurgeFlow), InterlockState::Clear);
}

#[test]
fn quench_now_goes_to_the_pull() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    bench.until("the steel question", |bench| bench.question(|ask| matches!(ask, Ask::Steel { .. })).is_some());
    bench.choose(|ask| matches!(ask, Ask::Steel { .. }), Choice::Steel(SteelChoice::QuenchNow));
    pull(&mut bench, 2);
    bench.until("the end", |bench| outcome(bench).is_some());
    assert_eq!(outcome(&bench).as_deref(), Some("quenched_early"));
}

#[test]
fn a_slow_pull_is_told_as_late() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    pull(&mut bench, 7);
    let late = bench.events.iter().find_map(|event| match event.body {
        EventBody::PartUnder { transfer_ms, in_time, .. } => Some((transfer_ms, in_time)),
        _ => None,
    });
    assert_eq!(late, Some((7_000, false)));
}

#[test]
fn heat_is_off_while_a_part_is_pulled_and_back_for_the_next() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    let mut load = irons(None);
    load.parts = 2;
    bench.load(NORTH, load);
    bench.until("the call to pull", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    bench.plants[0].open = true;
    bench.scans(2);
    assert!(!bench.heats(NORTH));
    let hold = gas_flow(2.0, 21.1, 101.325);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
    bench.scans(4);
    assert!(bench.heats(NORTH), "the second part waits at heat");
    assert!(bench.plants[0].flow > hold, "a recovery purge runs");
    assert_eq!(bench.row(NORTH, InterlockKind::OpeningAtHeat), InterlockState::Clear, "a planned opening alarms nobody");
    bench.until("the next call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    assert_eq!(bench.said(|body| matches!(body, EventBody::Recovered { .. })), 1, "called when the chamber has recovered");
    assert!((bench.plants[0].read_c - 800.0).abs() <= 5.0, "and is back in its band: {}", bench.plants[0].read_c);
    pull(&mut bench, 2);
    bench.until("the end", |bench| outcome(bench).is_some());
    assert_eq!(bench.said(|body| matches!(body, EventBody::PartUnder { .. })), 2);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Tripped { latched: true, .. })), 0);
}

#[test]
fn an_opening_at_heat_starts_the_recovery_purge_at_once() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let hold = bench.plants[0].flow;
    bench.plants[0].open = true;
    bench.scan();
    assert!(bench.plants[0].flow > hold, "the high flow is asked for in the tick that saw the opening");
    bench.plants[0].open = false;
    bench.until("recovered", |bench| bench.said(|body| matches!(body, EventBody::Recovered { .. })) == 1);
    bench.scans(2);
    assert!((bench.plants[0].flow.value - hold.value).abs() < 1e-12);
    assert_eq!(bench.row(NORTH, InterlockKind::OpeningAtHeat), InterlockState::Clear);
    assert!(bench.north().purge_proved, "the proof is not lost by an opening at heat; it is recovered");
}

#[test]
fn a_ramp_with_a_rate_waits_for_the_furnace() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    let mut load = irons(None);
    load.protection = Protection::None;
    load.steps = vec![Step::Ramp { to: celsius(300.0), pace: Pace::Rate(600.0) }];
    bench.load(NORTH, load);
    bench.scans(600);
    let wanted = bench.north().wanted_c.expect("it heats");
    assert!((wanted - 121.0).abs() < 4.0, "ten minutes at 600 K/h from 21 °C, not {wanted}");
    // The furnace hangs: the set point does not run away from it.
    bench.plants[0].answers = true;
    let stuck = bench.plants[0].read_c;
    for _ in 0..300 {
        bench.plants[0].read_c = stuck;
        bench.scan();
    }
    let wanted = bench.north().wanted_c.expect("it heats");
    assert!(wanted <= stuck + 17.0, "{wanted} with the furnace at {stuck}");
}

#[test]
fn hold_keeps_the_step_and_skip_needs_a_reason() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Hold { furnace: NORTH });
    bench.scans(1800);
    assert_eq!(bench.step(), Some(StepKind::Soak));
    assert!(bench.heats(NORTH), "held at its set point");
    bench.refused(Request::Hold { furnace: NORTH });
    bench.done(Request::Resume { furnace: NORTH });
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
    bench.refused(Request::Skip { furnace: NORTH, reason: "  ".to_owned() });
    bench.done(Request::Skip { furnace: NORTH, reason: "the parts go back in".to_owned() });
    assert_eq!(bench.step(), Some(StepKind::Cool), "with nothing under there is nothing to quench: it cools under its gas");
    assert!(bench.plants[0].flow.value > 0.0 && !bench.heats(NORTH), "the steel is still in there, hot");
    bench.until("the end", |bench| outcome(bench).is_some());
    assert!(bench.plants[0].read_c <= 200.5, "it is safe to open");
}

#[test]
fn an_ended_cycle_cools_with_its_gas_on() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Abort { furnace: NORTH });
    bench.scans(5);
    assert!(!bench.heats(NORTH));
    assert!(bench.plants[0].flow.value > 0.0, "the steel is still hot");
    bench.until("the end", |bench| outcome(bench).is_some());
    assert_eq!(outcome(&bench).as_deref(), Some("aborted"));
    assert!(bench.plants[0].read_c <= 200.5);
    bench.scans(5);
    assert!(bench.plants[0].flow.value == 0.0, "cool steel needs no gas");
}

#[test]
fn a_program_runs_only_when_the_purge_is_proved_and_its_steps_follow_what_is_read() {
    let mut bench = Bench::new(&[Kind { heating: Heating::Program, ..Kind::gas("north") }]);
    let mut load = irons(None);
    load.drive = Drive::Program(7);
    bench.load(NORTH, load);
    let told: Vec<_> = bench.events.iter().filter(|event| event.text.contains("cannot read which segment")).collect();
    assert!(told.len() == 1 && told[0].text.contains("nothing else compares the program with the recipe"), "{told:#?}");
    bench.until("the proof", |bench| {
        assert!(bench.plants[0].order.is_none() || bench.north().purge_proved, "a program cannot be clamped");
        bench.north().purge_proved
    });
    bench.until("the pull", |bench| bench.step() == Some(StepKind::Pull));
    let programs = bench.plants[0].order.as_ref().expect("it runs").0.clone();
    assert_eq!(programs, hearthward_supervise::interlock::Means::RunProgram(7));
    bench.restart(hearthward_supervise::Away::Unknown);
    bench.until("the question", |bench| bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some());
    let question = bench.question(|ask| matches!(ask, Ask::GoOn { .. })).expect("asked");
    assert!(question.text.contains("start its program 7 again"), "{}", question.text);
    let mut other = Bench::new(&[Kind { heating: Heating::Program, ..Kind::gas("north") }]);
    other.scans(2);
    other.refused(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
}

#[test]
fn a_furnace_set_by_hand_is_asked_about_and_only_warns() {
    let mut bench = Bench::new(&[Kind { heating: Heating::ByHand, ..Kind::gas("north") }]);
    bench.load(NORTH, irons(None));
    bench.until("the proof", |bench| {
        assert!(bench.question(|ask| matches!(ask, Ask::SetController { .. })).is_none() || bench.north().purge_proved);
        bench.north().purge_proved
    });
    bench.scans(3);
    let ask = bench.question(|ask| matches!(ask, Ask::SetController { .. })).expect("somebody has to set it").clone();
    assert_eq!(ask.ask, Ask::SetController { set_point_c: 800.0 });
    bench.confirm(|ask| matches!(ask, Ask::SetController { .. }));
    bench.plants[0].read_c = 500.0;
    bench.plants[0].open = true;
    bench.scans(2);
    assert!(bench.question(|ask| matches!(ask, Ask::TurnOff)).is_some());
    assert!(bench.out.orders.is_empty() && bench.plants[0].cuts.is_empty());
    let door = bench.north().interlocks.iter().find(|row| row.kind == InterlockKind::DoorOpen).expect("it applies").clone();
    assert!(!door.acts, "nothing is wired that acts");
    assert!(door.text.contains("by hand"), "{}", door.text);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Tripped { acts: true, interlock: InterlockKind::DoorOpen, .. })), 0);
}

#[test]
fn a_hand_kept_furnace_that_falls_faster_than_its_ramp_is_not_deaf() {
    let mut bench = Bench::new(&[Kind { heating: Heating::ByHand, contactor: true, ..Kind::plain("north") }]);
    (bench.plants[0].read_c, bench.plants[0].pace) = (730.0, 3.0);
    let mut load = irons(None);
    load.protection = Protection::FoilPack;
    load.steps = vec![Step::Ramp { to: celsius(300.0), pace: Pace::Rate(360.0) }];
    bench.load(NORTH, load);
    bench.confirm(|ask| matches!(ask, Ask::SetController { .. }));
    bench.until("it is nearly there", |bench| bench.north().temperature_c.is_some_and(|read_c| read_c < 330.0));
    assert_eq!(bench.row(NORTH, InterlockKind::SensorFault), InterlockState::Clear, "it was told to fall, and fell");
}

/// Goal: a person who has set a controller for the ramp is not sent there again when the soak begins.
#[test]
fn a_hand_kept_furnace_is_set_once_for_its_ramp_and_soak() {
    let mut bench = Bench::new(&[Kind { heating: Heating::ByHand, contactor: true, ..Kind::plain("north") }]);
    let mut load = irons(None);
    load.protection = Protection::FoilPack;
    load.steps[0] = Step::Ramp { to: celsius(300.0), pace: Pace::Rate(60.0) };
    load.steps[1] =
        Step::Soak { at: celsius(300.0), band: None, minimum: Duration::from_secs(600), maximum: Duration::from_secs(1200) };
    load.steps.truncate(2);
    bench.load(NORTH, load);
    bench.confirm(|ask| matches!(ask, Ask::SetController { .. }));
    for _ in 0..1000 {
        bench.plants[0].read_c = (bench.plants[0].read_c + 0.5).min(300.0);
        bench.scan();
    }
    assert_eq!(bench.step(), Some(StepKind::Soak));
    assert_eq!(bench.said(|body| matches!(body, EventBody::Asked { ask: Ask::SetController { .. }, .. })), 1);
}

#[test]
fn a_meter_read_by_eye_is_asked_about_twice() {
    let mut bench = Bench::new(&[Kind { by_eye: true, ..Kind::gas("north") }]);
    bench.load(NORTH, irons(None));
    bench.scans(2);
    let flow = |l_min| Some(Value::GasFlow(gas_flow(l_min, 21.1, 101.325)));
    let question = bench.open(|ask| matches!(ask, Ask::SetFlow { .. }));
    bench.refused(Request::Confirm { question, reading: None });
    let words = bench.refused(Request::Confirm { question, reading: flow(655.0) });
    assert!(words.contains("more than the supply argon can give, which is 20.0 L/min"), "{words}");
    bench.done(Request::Confirm { question, reading: flow(8.0) });
    bench.until("the end of the purge", |bench| bench.question(|ask| matches!(ask, Ask::SetFlow { .. })).is_some());
    assert!(!bench.north().purge_proved, "nobody has said yet that the flow stood to the end");
    let question = bench.open(|ask| matches!(ask, Ask::SetFlow { .. }));
    bench.done(Request::Confirm { question, reading: flow(2.0) });
    assert!(bench.north().purge_proved);
    bench.until("the soak", |bench| bench.step() == Some(StepKind::Soak));
}

#[test]
fn a_load_that_does_not_fit_is_refused_with_words() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    bench.scans(2);
    assert!(bench.refused(Request::Start { furnace: SOUTH, load: irons(None), ready_in: None }).contains("gas"));
    let mut load = irons(None);
    load.steps[1] = Step::Ramp { to: celsius(1001.0), pace: Pace::Full };
    assert!(bench.refused(Request::Start { furnace: NORTH, load: load.clone(), ready_in: None }).contains("limit"));
    load.steps[1] = Step::Ramp { to: celsius(f64::NAN), pace: Pace::Full };
    bench.refused(Request::Start { furnace: NORTH, load: load.clone(), ready_in: None });
    load.steps[1] = Step::Ramp { to: celsius(800.0), pace: Pace::Rate(-1.0) };
    bench.refused(Request::Start { furnace: NORTH, load: load.clone(), ready_in: None });
    let mut hasty = irons(None);
    hasty.steps[3] = Step::Pull { window: Duration::ZERO };
    assert!(bench.refused(Request::Start { furnace: NORTH, load: hasty, ready_in: None }).contains("without any time"));
    load.steps = Vec::new();
    bench.refused(Request::Start { furnace: NORTH, load, ready_in: None });
    bench.refused(Request::Start { furnace: FurnaceId(9), load: irons(None), ready_in: None });
    bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: None });
    assert!(bench.refused(Request::Start { furnace: NORTH, load: irons(None), ready_in: None }).contains("irons"));
    let mut plain = irons(None);
    plain.protection = Protection::None;
    let twin = bench.refused(Request::Start { furnace: SOUTH, load: plain.clone(), ready_in: None });
    assert!(twin.contains("in progress in north"), "{twin}");
    plain.name = "spokeshaves".parse().expect("a name");
    bench.oxygen = Some(0.19);
    bench.scan();
    assert!(bench.refused(Request::Start { furnace: SOUTH, load: plain, ready_in: None }).contains("oxygen"));
}

#[test]
fn shares_of_gas_and_power_hold_at_every_tick_and_everybody_gets_a_turn() {
    let kinds = [Kind::gas("a"), Kind::gas("b"), Kind::gas("c"), Kind::gas("d")];
    let mut plan = plan(&kinds);
    plan.electrical_demand = Some(uom::si::f64::Power::new::<uom::si::power::kilowatt>(5.0));
    let mut bench = Bench::of(plan, None, hearthward_supervise::Away::Unknown);
    bench.scans(2);
    for furnace in 0..4 {
        let mut load = irons(None);
        load.steps.truncate(3);
        bench.load(FurnaceId(furnace), load);
    }
    let mut ended = 0;
    for _ in 0..40_000 {
        bench.scan();
        let flow: f64 = bench.plants.iter().map(|plant| plant.flow.value).sum();
        assert!(flow <= gas_flow(20.0, 21.1, 101.325).value * 1.000_001, "{flow} mol/s at {}", bench.now);
        let heating = (0..4).filter(|&at| bench.heats(FurnaceId(at))).count();
        assert!(heating <= 2, "{heating} furnaces of 2.2 kW at a limit of 5 kW");
        ended = bench.said(|body| matches!(body, EventBody::CycleEnded { .. }));
        if ended == 4 {
            break;
        }
    }
    assert_eq!(ended, 4, "nobody waits for ever");
    assert!(bench.said(|body| matches!(body, EventBody::Tripped { interlock: InterlockKind::SharedElectrical, .. })) >= 2);
    assert!(bench.said(|body| matches!(body, EventBody::Tripped { interlock: InterlockKind::SharedSupply, .. })) >= 1);
}
