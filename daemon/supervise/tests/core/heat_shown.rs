//! What a controller shows of its heat: whether it obeyed a cut, and heat that nobody here gave.

use hearthward_supervise::Away;
use hearthward_supervise::alarm::AlarmState;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::output::Via;
use hearthward_supervise::request::Request;

use crate::bench::{Bench, Kind, NORTH, irons, plan};

const ALARM: &str = "furnace/north/cut-unconfirmed";

/// A furnace with a contactor, whose controller shows whether it heats.
fn shown() -> Bench {
    let mut plan = plan(&[Kind { contactor: true, ..Kind::gas("north") }]);
    plan.furnaces[0].heat_on = Some(plan.directory.point(&"bench/north.heat-on".parse().expect("an address")));
    Bench::of(plan, None, Away::Unknown)
}

fn heating() -> Bench {
    let mut bench = shown();
    bench.load(NORTH, irons(None));
    bench.until("it heats", |bench| bench.plants[0].heats_to(bench.now).is_some());
    bench.scans(20);
    bench
}

fn confirmed(bench: &Bench) -> usize {
    bench.said(|body| matches!(body, EventBody::CutConfirmed { .. }))
}

#[test]
fn a_cut_that_was_obeyed_is_confirmed_by_the_next_reading() {
    let mut bench = heating();
    let before = confirmed(&bench);
    bench.plants[0].open = true;
    bench.scans(2);
    assert_eq!(confirmed(&bench), before + 1);
    assert_eq!(bench.state(ALARM), AlarmState::Normal);
}

#[test]
fn a_controller_that_says_yes_and_heats_on_has_not_confirmed() {
    let mut bench = heating();
    let before = confirmed(&bench);
    bench.plants[0].deaf = true;
    bench.plants[0].open = true;
    bench.scans(4);
    assert_eq!(confirmed(&bench), before, "its word was taken for it");
    assert_eq!(bench.state(ALARM), AlarmState::Unacknowledged);
    assert!(bench.plants[0].cuts.iter().any(|(_, via)| *via == Via::Contactor), "its contactor was not dropped");
    bench.scans(60);
    assert_eq!(
        (confirmed(&bench), bench.state(ALARM)),
        (before, AlarmState::Unacknowledged),
        "the contactor's word changes nothing"
    );
    bench.plants[0].deaf = false;
    bench.scans(3);
    assert_eq!(confirmed(&bench), before + 1);
    assert_eq!(bench.state(ALARM), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn heat_from_the_panel_is_cut_again_while_it_is_withheld_and_only_then() {
    let mut bench = heating();
    bench.done(Request::Stop { furnace: None });
    bench.scans(5);
    let cuts = bench.plants[0].cuts.len();
    bench.plants[0].panel = true;
    bench.scans(2);
    assert_eq!(bench.plants[0].cuts.len(), cuts + 1);
    assert!(!bench.plants[0].panel);
    assert!(bench.events.iter().any(|event| event.text.contains("shows heat that this service did not give while stop")));
    bench.scans(60);
    assert_eq!(bench.plants[0].cuts.len(), cuts + 1, "once is enough where it is obeyed");
    // The same after the service was away: what an earlier run latched stands.
    bench.restart(Away::Known(hearthward_equipment::ShopMs(5_000)));
    bench.scans(5);
    let cuts = bench.plants[0].cuts.len();
    bench.plants[0].panel = true;
    bench.scans(2);
    assert_eq!(bench.plants[0].cuts.len(), cuts + 1);

    let mut idle = shown();
    idle.scans(10);
    let cuts = idle.plants[0].cuts.len();
    idle.plants[0].panel = true;
    idle.scans(60);
    assert_eq!(idle.plants[0].cuts.len(), cuts, "nothing forbids a person their own furnace");
}

#[test]
fn heat_from_the_panel_is_cut_again_while_a_load_is_to_cool() {
    let mut bench = heating();
    bench.until("it is hot", |bench| bench.plants[0].read_c > 400.0);
    bench.done(Request::Abort { furnace: NORTH });
    bench.scans(5);
    let cuts = bench.plants[0].cuts.len();
    bench.plants[0].panel = true;
    bench.scans(2);
    assert_eq!(bench.plants[0].cuts.len(), cuts + 1);
    assert!(!bench.plants[0].panel, "it is off again");
    let told = |bench: &Bench| {
        bench.events.iter().any(|event| event.text.contains("shows heat that this service did not give: it is cut"))
    };
    assert!(told(&bench));
}

#[test]
fn nothing_begins_where_the_last_cut_is_not_confirmed() {
    let mut bench = heating();
    bench.until("it is hot", |bench| bench.plants[0].read_c > 400.0);
    bench.plants[0].confirms = false;
    bench.done(Request::Abort { furnace: NORTH });
    bench.done(Request::Skip { furnace: NORTH, reason: "it is out".to_owned() });
    bench.scans(10);
    assert_eq!(bench.state(ALARM), AlarmState::Unacknowledged);
    let start = || Request::Start { furnace: NORTH, load: irons(None), ready_in: None };
    let words = bench.refused(start());
    assert!(words.contains("its last cut is not confirmed"), "{words}");
    bench.plants[0].confirms = true;
    bench.scans(10);
    bench.done(start());
}
