//! What a person is told before they say whether a load goes on: how long, where chamber and steel likely are, and what each choice
//! stands on.

use hearthward_equipment::ShopMs;
use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_process::heating::{Section, Shape, Surface, Surroundings, step_on};
use hearthward_supervise::Away;
use hearthward_supervise::interlock::InterlockKind::Stop;
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::recipe::{Form, Load, Part, Step, StepKind};
use hearthward_supervise::request::{Ask, Choice, Request};
use hearthward_supervise::view::QuestionView;
use uom::si::f64::{Length, Time};
use uom::si::length::millimeter;
use uom::si::time::second;

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons};

const QUENCH: Choice = Choice::Steel(SteelChoice::QuenchNow);

/// Irons of a known section in their soak, and the service gone for so long.
fn gone(away: Away, meanwhile: impl Fn(&mut Bench)) -> Bench {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    let part = Part { form: Form::Plate, size: Length::new::<millimeter>(6.0), mass: None };
    bench.load(NORTH, Load { part: Some(part), ..irons(None) });
    bench.until("time in band", |bench| bench.north().cycle.as_ref().is_some_and(|cycle| cycle.in_band_ms > 60_000));
    bench.restart(away);
    meanwhile(&mut bench);
    bench.scans(15);
    bench
}

fn asked(bench: &Bench) -> QuestionView {
    bench.question(|ask| matches!(ask, Ask::GoOn { .. })).expect("somebody is asked").clone()
}

#[test]
fn each_choice_says_what_it_stands_on() {
    let question = asked(&gone(Away::Known(ShopMs(100_000)), |_| {}));
    assert!(question.choices.contains(&QUENCH) && question.choices.contains(&Choice::RestartStep));
    for words in [
        "nobody watched it for 1",
        "Go on: its soak goes on",
        "purge is proved anew",
        "Restart the step: its soak begins anew",
        "Quench now: hot enough for another",
        "Slow-cool: it stays soft, in about",
        "End: its cycle is over",
        "Without an answer",
    ] {
        assert!(question.text.contains(words), "{words}: {}", question.text);
    }
}

/// Goal: a chamber that cannot be read is estimated, told as an estimate, and nothing is built on it. Method: the reading stays away;
/// the number is set against the exponential of the bench's rate of falling, 0.3 K/s at 800 °C over a room of 21 °C.
#[test]
fn a_chamber_that_cannot_be_read_is_estimated_and_its_steel_is_not_to_be_quenched() {
    let bench = gone(Away::Known(ShopMs(300_000)), |bench| bench.plants[0].answers = false);
    let question = asked(&bench);
    let Ask::GoOn { before_c: Some(before_c), now_c: None, steel_c: Some(steel_c), quenchable_s: None, away_ms, .. } =
        question.ask
    else {
        panic!("{:?}", question.ask)
    };
    let gone_s = away_ms.expect("known") as f64 / 1000.0;
    let likely_c = 21.0 + (before_c - 21.0) * libm::exp(-gone_s * 0.3 / 779.0);
    assert!(question.text.contains(&format!("near {likely_c:.0} °C (estimated)")), "{likely_c}: {}", question.text);
    assert!(steel_c >= likely_c - 0.5 && steel_c < before_c, "{steel_c} between {likely_c} and {before_c}");
    assert!(!question.choices.contains(&QUENCH) && question.text.contains("nobody knows whether it is hot enough"));
    assert!(question.text.contains("heats once its chamber can be read"), "{}", question.text);
}

/// Goal: thick steel is told to be as hot as it is, not as its chamber. Method: a bar of 80 mm from its soak, an hour without the service;
/// the estimate is set against the same law of heating stepped second by second along the exponential of the chamber's fall, and against
/// a chamber that had been as cold as it is now all the time.
#[test]
fn steel_is_followed_through_the_fall_of_its_chamber() {
    let section = Section { shape: Shape::Bar, size: Length::new::<millimeter>(80.0) };
    let mut bench = Bench::new(&[Kind::gas("north")]);
    let part = Part { form: Form::Bar, size: section.size, mass: None };
    bench.load(NORTH, Load { part: Some(part), ..irons(None) });
    bench.until("time in band", |bench| bench.north().cycle.as_ref().is_some_and(|cycle| cycle.in_band_ms > 60_000));
    let soaked_c = bench.north().cycle.as_ref().and_then(|cycle| cycle.load_c).expect("estimated");
    bench.restart(Away::Known(ShopMs(1_800_000)));
    bench.scans(15);
    let Ask::GoOn { before_c: Some(before_c), now_c: Some(now_c), steel_c: Some(steel_c), away_ms: Some(away_ms), .. } =
        asked(&bench).ask
    else {
        panic!("{:?}", asked(&bench).ask)
    };
    let seconds = away_ms / 1000;
    let step = |steel_c: f64, chamber_c: f64| {
        let around = Surroundings::furnace(celsius(chamber_c), Surface::of_load(true));
        in_celsius(step_on(section, celsius(steel_c), &around, Time::new::<second>(1.0)).expect("in range"))
    };
    let (mut followed_c, mut cold_c) = (soaked_c, soaked_c);
    for at in 0..seconds {
        let share = (at as f64 + 0.5) / seconds as f64;
        followed_c = step(followed_c, 21.0 + (before_c - 21.0) * libm::pow((now_c - 21.0) / (before_c - 21.0), share));
        cold_c = step(cold_c, now_c);
    }
    assert!((steel_c - followed_c).abs() < 2.0, "{steel_c}, stepped finely {followed_c}");
    assert!(steel_c > cold_c + 5.0 && steel_c > now_c + 5.0 && steel_c < before_c, "{now_c} < {cold_c} < {steel_c} < {before_c}");
}

#[test]
fn after_a_time_that_nobody_knows_nothing_is_estimated_without_a_reading() {
    let question = asked(&gone(Away::Unknown, |bench| bench.plants[0].answers = false));
    let Ask::GoOn { away_ms: None, steel_c: None, now_c: None, .. } = question.ask else { panic!("{:?}", question.ask) };
    assert!(question.text.contains("a time that nobody knows") && question.text.contains("cannot be estimated"));
    assert!(!question.text.contains("(estimated)"), "{}", question.text);
}

#[test]
fn a_reset_without_a_gap_speaks_of_none() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.done(Request::Stop { furnace: None });
    bench.done(Request::Reset { furnace: None, interlock: Some(Stop) });
    let question = asked(&bench);
    assert!(matches!(question.ask, Ask::GoOn { away_ms: Some(0), .. }), "{:?}", question.ask);
    for words in ["nobody watched", "for 0 s", "interrupted", "Its purge counts", "proved anew"] {
        assert!(!question.text.contains(words), "{words}: {}", question.text);
    }
    for words in ["Heat was cut from load irons in north", "Its chamber is at", "in band are done", "Quench now: hot enough"] {
        assert!(question.text.contains(words), "{words}: {}", question.text);
    }
}

/// Goal: whoever lets a load cool is told that air comes to it where too little gas flows. Method: with and without gas; 0.3 K/s at
/// 800 °C in 9.4 L: n / T dT/dt of an ideal gas, counted at 21.1 °C and one atmosphere (from memory).
#[test]
fn cooling_without_gas_is_said_to_draw_air_in() {
    let with_gas = asked(&gone(Away::Known(ShopMs(100_000)), |_| {}));
    assert!(!with_gas.text.contains("draws air in"), "{}", with_gas.text);
    let without = asked(&gone(Away::Known(ShopMs(100_000)), |bench| bench.plants[0].gas = false));
    let Ask::GoOn { now_c: Some(now_c), .. } = without.ask else { panic!("{:?}", without.ask) };
    let falls_k_per_min = 60.0 * 0.3 * (now_c - 21.0) / 779.0;
    let litres = 9.4 * 294.25 / (now_c + 273.15) * falls_k_per_min / (now_c + 273.15);
    assert!(without.text.contains(&format!("draws air in, up to {litres:.2} L/min")), "{litres}: {}", without.text);
}

#[test]
fn a_load_that_was_never_hot_is_told_of_as_cold() {
    for (away, words) in
        [(None, "Go on: its purge goes on where it was."), (Some(ShopMs(100_000)), "Go on: its purge begins again.")]
    {
        let mut bench = Bench::new(&[Kind::gas("north")]);
        bench.load(NORTH, irons(None));
        bench.until("half a purge", |bench| bench.north().changes.is_some_and(|(done, _)| done > 4.0));
        match away {
            Some(away) => bench.restart(Away::Known(away)),
            None => {
                bench.done(Request::Stop { furnace: None });
                bench.done(Request::Reset { furnace: None, interlock: Some(Stop) });
            }
        }
        bench.until("the question", |bench| bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some());
        let text = asked(&bench).text;
        assert!(text.contains(words) && text.contains("Slow-cool: it is cool already"), "{text}");
        for wrong in ["proved anew", "in band are done", "stays soft"] {
            assert!(!text.contains(wrong), "{wrong}: {text}");
        }
    }
}

#[test]
fn a_step_that_does_not_run_cannot_be_begun_again() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(2);
    let ready_in = Some(std::time::Duration::from_secs(8 * 3600));
    bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in });
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.restart(Away::Unknown);
    bench.scans(20);
    let question = asked(&bench);
    assert!(!question.choices.contains(&Choice::RestartStep), "{:?}", question.choices);
    assert!(!question.text.contains("Restart") && question.text.contains("too cool"), "{}", question.text);
}

/// Goal: steel is not called cool because its chamber is, and its gas is not taken from it. Method: a bar of 80 mm at its soak, ten minutes
/// in which the chamber was open and fell under 200 °C, where irons may be taken out.
#[test]
fn a_cool_chamber_does_not_make_its_load_cool() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    let part = Part { form: Form::Bar, size: Length::new::<millimeter>(80.0), mass: None };
    bench.load(NORTH, Load { part: Some(part), ..irons(None) });
    bench.until("time in band", |bench| bench.north().cycle.as_ref().is_some_and(|cycle| cycle.in_band_ms > 60_000));
    bench.restart(Away::Known(ShopMs(600_000)));
    bench.plants[0].read_c = 150.0;
    bench.scans(15);
    let question = asked(&bench);
    let Ask::GoOn { now_c: Some(now_c), steel_c: Some(steel_c), .. } = question.ask else { panic!("{:?}", question.ask) };
    assert!(now_c < 200.0 && steel_c > 250.0, "{now_c} {steel_c}");
    assert!(!question.text.contains("cool already") && question.text.contains("Slow-cool: it stays soft"), "{}", question.text);
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::Steel(SteelChoice::SlowCoolUnderGas));
    bench.scans(60);
    let load_c = |bench: &Bench| bench.north().cycle.as_ref().and_then(|cycle| cycle.load_c);
    assert!(load_c(&bench).is_some_and(|load_c| load_c > 200.0) && bench.plants[0].flow.value > 0.0, "{:?}", load_c(&bench));
    let mut last_c = f64::NAN;
    while let Some(now_c) = load_c(&bench) {
        last_c = now_c;
        bench.scan();
    }
    assert!((last_c - 200.0).abs() < 1.0, "it was over when its load was at {last_c} °C");
}

/// Goal: a load that goes on after an interruption is not left without anybody to move it on. Method: the service was gone for a moment and
/// the furnace does not answer yet, so that the gap may still be ridden through; a person skips the soak, so that the temper in the other
/// furnace is next; then the gap grows too long.
#[test]
fn a_move_to_another_furnace_is_asked_for_again_once_the_load_goes_on() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    let mut load = irons(Some(SOUTH));
    load.steps.retain(|step| !matches!(step, Step::Pull { .. } | Step::Quench { .. }));
    bench.load(NORTH, load);
    bench.until("the soak", |bench| bench.step() == Some(StepKind::Soak));
    bench.restart(Away::Known(ShopMs(5_000)));
    bench.plants[0].answers = false;
    bench.scans(3);
    bench.done(Request::Skip { furnace: NORTH, reason: "it has soaked enough".to_owned() });
    let moves = |bench: &Bench| bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some();
    assert!(moves(&bench));
    bench.until("the interruption", |bench| bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some());
    assert!(!moves(&bench), "the interruption is asked about alone");
    bench.plants[0].answers = true;
    bench.scans(3);
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.scans(2);
    bench.confirm(|ask| matches!(ask, Ask::Transfer { .. }));
    bench.until("heat in the south", |bench| bench.heats(SOUTH));
}
