//! What a person is told before they say whether a load goes on: how long, where chamber and steel likely are, and what each choice
//! stands on.

use hearthward_equipment::ShopMs;
use hearthward_supervise::Away;
use hearthward_supervise::interlock::InterlockKind::Stop;
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::recipe::{Form, Load, Part};
use hearthward_supervise::request::{Ask, Choice, Request};
use hearthward_supervise::view::QuestionView;
use uom::si::f64::Length;
use uom::si::length::millimeter;

use crate::bench::{Bench, Kind, NORTH, irons};

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
