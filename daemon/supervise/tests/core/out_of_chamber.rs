//! Steel that is out of its chamber, was quenched, or is set by hand: nothing heats an empty furnace, silence undoes no quench, and nobody
//! is left with a controller on.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_equipment::{PointId, Quality, ShopMs, Value};
use hearthward_supervise::Away;
use hearthward_supervise::event::EventBody;
use hearthward_supervise::plan::Heating;
use hearthward_supervise::recipe::{Load, Pace, Protection, Step, StepKind};
use hearthward_supervise::request::{Ask, Choice, Request};
use uom::si::f64::Ratio;
use uom::si::ratio::ratio;

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons, plan};

fn minutes(count: u64) -> Duration {
    Duration::from_secs(count * 60)
}

fn ramp(to_c: f64) -> Step {
    Step::Ramp { to: celsius(to_c), pace: Pace::Full }
}

fn temper(furnace: Option<hearthward_equipment::FurnaceId>) -> Step {
    Step::Temper { furnace, at: celsius(190.0), hold: minutes(30), within: minutes(120) }
}

fn in_foil(steps: Vec<Step>) -> Load {
    Load { protection: Protection::FoilPack, steps, ..irons(None) }
}

fn asked(bench: &Bench, is: impl Fn(&Ask) -> bool) -> bool {
    bench.question(is).is_some()
}

/// Goal: no route heats a furnace from which its steel was taken, and none waits for what cannot come. Method: each such route is asked for,
/// and one that puts the steel back with a temper before it goes on.
#[test]
fn a_route_that_heats_steel_that_is_out_is_refused() {
    let air = Step::Cool { to: celsius(60.0), in_air: true };
    let [pull, quench] = [3, 4].map(|place| irons(None).steps[place].clone());
    let gas = |steps: Vec<Step>| Load { steps, ..irons(None) };
    let cases = [
        (gas(vec![ramp(25.0), air.clone(), ramp(800.0)]), "after it was taken out"),
        (gas(vec![ramp(25.0), air.clone(), Step::Purge]), "no steel in it"),
        (in_foil(vec![ramp(800.0), pull.clone(), quench.clone(), ramp(700.0)]), "after it was taken out"),
        (in_foil(vec![ramp(800.0), pull.clone(), quench.clone(), pull.clone(), quench]), "a pull after"),
        (in_foil(vec![ramp(800.0), air.clone(), pull]), "a pull after"),
        (in_foil(vec![Step::Purge, ramp(800.0)]), "not protected by gas"),
        (in_foil(vec![temper(Some(SOUTH)), ramp(700.0)]), "above the limit of south"),
        (in_foil(vec![ramp(900.0)]), "takes a set point up to 850 °C only"),
    ];
    let mut shop = plan(&[Kind::gas("north"), Kind::plain("south")]);
    (shop.furnaces[1].limit, shop.furnaces[0].takes_to) = (celsius(650.0), Some(celsius(850.0)));
    let mut bench = Bench::of(shop, None, Away::Unknown);
    bench.scans(2);
    for (load, says) in cases {
        let words = bench.refused(Request::Start { furnace: NORTH, load, ready_in: None });
        assert!(words.contains(says), "{says}: {words}");
    }
    let back = in_foil(vec![ramp(800.0), air, temper(None), ramp(300.0)]);
    bench.done(Request::Start { furnace: NORTH, load: back, ready_in: None });
}

/// Goal: what went into a hot chamber and was spared its purge is purged once that chamber is cold. Method: charged at 300 °C, then the
/// service is away until it is near the room, and a person says that it goes on.
#[test]
fn a_chamber_that_has_gone_cold_is_purged_though_its_load_went_in_hot() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.plants[0].read_c = 300.0;
    bench.load(NORTH, irons(None));
    bench.scans(2);
    assert_eq!(bench.step(), Some(StepKind::Ramp), "its heat spares it the purge");
    bench.restart(Away::Known(ShopMs(3 * 3_600_000)));
    bench.scans(5);
    let text = bench.question(|ask| matches!(ask, Ask::GoOn { .. })).expect("a person is asked").text.clone();
    assert!(text.contains("once its purge is proved anew"), "{text}");
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    let mut heated = false;
    for _ in 0..3600 {
        bench.scan();
        if let Some(to_c) = bench.plants[0].heats_to(bench.now) {
            heated |= to_c > 300.0;
            assert!(to_c <= 200.0 || bench.north().purge_proved, "{to_c} °C without a purge");
        }
    }
    assert!(heated, "purged, it goes on");
}

/// Goal: silence about steel that was quenched meanwhile decides nothing. Method: an interlock latches while the part is called, the part
/// goes under, nobody answers the question about the steel.
#[test]
fn silence_undoes_no_quench() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    bench.until("the call", |bench| asked(bench, |ask| matches!(ask, Ask::PartUnder { .. })));
    bench.done(Request::Stop { furnace: Some(NORTH) });
    bench.scans(2);
    assert!(asked(&bench, |ask| matches!(ask, Ask::Steel { .. })), "hot steel is asked about");
    bench.plants[0].open = true;
    bench.scans(2);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
    bench.scans(2);
    assert!(!asked(&bench, |ask| matches!(ask, Ask::Steel { .. })), "there is nothing left to ask");
    bench.until("the end", |bench| bench.north().cycle.is_none());
    let ends = |event: &hearthward_supervise::event::Event| match &event.body {
        EventBody::CycleEnded { outcome, .. } => Some(outcome.clone()),
        _ => None,
    };
    assert_eq!(bench.events.iter().find_map(ends).as_deref(), Some("complete"));
}

fn by_hand(name: &'static str) -> Kind {
    Kind { heating: Heating::ByHand, contactor: false, ..Kind::plain(name) }
}

fn set(bench: &mut Bench) {
    bench.until("the set point", |bench| asked(bench, |ask| matches!(ask, Ask::SetController { .. })));
    bench.confirm(|ask| matches!(ask, Ask::SetController { .. }));
}

/// Goal: a furnace that was set by hand is asked to be turned off until somebody says that it is. Method: the load is ended with the question
/// open, before it, by a skip of its last step, and by a restart.
#[test]
fn a_furnace_that_was_set_by_hand_is_turned_off_however_its_load_ends() {
    type Ends = fn(&mut Bench);
    let ends: [(&str, Ends); 4] = [
        ("with the question open", |bench| {
            bench.plants[0].open = true;
            bench.scans(3);
            assert!(asked(bench, |ask| matches!(ask, Ask::TurnOff)));
            bench.done(Request::Abort { furnace: NORTH });
        }),
        ("before it", |bench| {
            bench.done(Request::Abort { furnace: NORTH });
        }),
        ("by a skip", |bench| {
            bench.done(Request::Skip { furnace: NORTH, reason: "it is hot enough".to_owned() });
        }),
        ("by a restart", |bench| bench.restart(Away::Known(ShopMs(600_000)))),
    ];
    for (how, end) in ends {
        let mut bench = Bench::new(&[by_hand("north")]);
        bench.load(NORTH, in_foil(vec![temper(None)]));
        set(&mut bench);
        end(&mut bench);
        bench.scans(20);
        let skipped =
            bench.events.iter().any(|event| matches!(&event.body, EventBody::CycleEnded { outcome, .. } if outcome == "skipped"));
        assert_eq!(skipped, how == "by a skip", "a skipped step is no complete cycle");
        assert!(asked(&bench, |ask| matches!(ask, Ask::TurnOff)), "{how}: {:#?}", bench.view.questions);
        assert!(!asked(&bench, |ask| matches!(ask, Ask::SetController { .. })), "{how}");
        bench.confirm(|ask| matches!(ask, Ask::TurnOff));
        bench.scans(20);
        assert!(!asked(&bench, |ask| matches!(ask, Ask::TurnOff)), "{how}: it was said");
    }
}

/// Goal: a load that may begin by itself does so at its time or not at all. Method: the service is away over its time, for a known span and for
/// ones that nobody knows, several in a row.
#[test]
fn a_load_whose_time_went_by_begins_on_a_persons_word_only() {
    let waiting = || {
        let mut bench = Bench::new(&[Kind::gas("north")]);
        bench.scans(2);
        bench.done(Request::Start { furnace: NORTH, load: irons(None), ready_in: Some(minutes(240)) });
        bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
        bench
    };
    let mut bench = waiting();
    bench.restart(Away::Known(ShopMs(14 * 3_600_000)));
    for _ in 0..600 {
        bench.scan();
        assert!(!bench.heats(NORTH) && bench.plants[0].flow.value == 0.0, "it began alone, ten hours late");
    }
    let text = bench.question(|ask| matches!(ask, Ask::LoadAndShut)).expect("a person is asked").text.clone();
    assert!(text.contains("its time went by"), "{text}");
    bench.confirm(|ask| matches!(ask, Ask::LoadAndShut));
    bench.until("heat", |bench| bench.heats(NORTH));
    let mut bench = waiting();
    for _ in 0..4 {
        bench.restart(Away::Unknown);
        bench.scans(20);
    }
    bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), Choice::GoOn);
    bench.until("heat", |bench| bench.heats(NORTH));
    let mut bench = waiting();
    bench.done(Request::Hold { furnace: NORTH });
    bench.scans(6 * 3600);
    bench.done(Request::Resume { furnace: NORTH });
    bench.scans(60);
    assert!(!bench.heats(NORTH) && asked(&bench, |ask| matches!(ask, Ask::LoadAndShut)), "it was held over its time");
}

/// Goal: no two loads wait for each other's furnace for ever. Method: one is to be tempered in the other's furnace, then the other in its.
#[test]
fn loads_that_would_wait_for_each_other_are_refused() {
    let mut bench = Bench::new(&[Kind::plain("north"), Kind::plain("south")]);
    let load = |name: &str, to| Load { name: name.parse().expect("a name"), ..in_foil(vec![ramp(300.0), temper(Some(to))]) };
    bench.scans(2);
    bench.done(Request::Start { furnace: NORTH, load: load("a", SOUTH), ready_in: None });
    let words = bench.refused(Request::Start { furnace: SOUTH, load: load("b", NORTH), ready_in: None });
    assert!(words.contains("wait for each other"), "{words}");
    bench.done(Request::Start { furnace: SOUTH, load: load("c", SOUTH), ready_in: None });
}

/// Goal: parts that were quenched are not forgotten with those that were not. Method: a load of two parts is ended when one is under.
#[test]
fn the_parts_of_a_load_that_were_quenched_are_told_at_its_end() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    let mut steps = irons(Some(NORTH)).steps;
    steps.remove(0);
    bench.load(NORTH, Load { parts: 2, ..in_foil(steps) });
    bench.until("the call", |bench| asked(bench, |ask| matches!(ask, Ask::PartUnder { .. })));
    bench.plants[0].open = true;
    bench.scans(2);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
    bench.scans(2);
    let due = bench.north().cycle.as_ref().and_then(|cycle| cycle.temper_due_ms);
    assert!(due.is_some(), "its temper is due from the first part on");
    bench.done(Request::Abort { furnace: NORTH });
    bench.until("the end", |bench| bench.north().cycle.is_none());
    let said = bench.events.iter().find(|event| matches!(event.body, EventBody::CycleEnded { .. })).expect("it ended");
    assert!(said.text.contains("1 of its 2 parts"), "{}", said.text);
}

/// Goal: a gap is not ridden through past a probe that says that the gas is gone. Method: after a short gap the probe reads as before, far over
/// its limit, and not at all.
#[test]
fn a_gap_is_not_ridden_through_past_a_probe_that_says_air() {
    let mut shop = plan(&[Kind::gas("north")]);
    let probe = shop.directory.point(&"bench/probe.oxygen".parse().expect("a test's address"));
    shop.furnaces[0].probe = Some(probe);
    let soaking = || {
        let mut bench = Bench::of(shop.clone(), None, Away::Unknown);
        bench.load(NORTH, irons(None));
        for _ in 0..20_000 {
            if bench.step() == Some(StepKind::Soak) && bench.heats(NORTH) {
                return bench;
            }
            read(&mut bench, probe, 20e-6);
            bench.scan();
        }
        panic!("it never soaks");
    };
    for (oxygen, rides) in [(Some(20e-6), true), (Some(0.2), false), (None, false)] {
        let mut bench = soaking();
        bench.restart(Away::Known(ShopMs(3_000)));
        for _ in 0..70 {
            if let Some(oxygen) = oxygen {
                read(&mut bench, probe, oxygen);
            }
            bench.scan();
        }
        assert_eq!(bench.heats(NORTH), rides, "{oxygen:?}");
        assert_eq!(asked(&bench, |ask| matches!(ask, Ask::GoOn { .. })), !rides, "{oxygen:?}");
    }
}

fn read(bench: &mut Bench, probe: PointId, oxygen: f64) {
    bench.reading(probe, Some(Value::Share(Ratio::new::<ratio>(oxygen))), Quality::Good);
}

/// The plan's own words for what is hot enough to be spared a purge, so that the case above is one.
#[test]
fn the_case_of_a_hot_charge_is_one() {
    let plan = plan(&[Kind::gas("north")]);
    let ceiling_c = in_celsius(plan.furnaces[0].gas.as_ref().expect("it has gas").purge.unpurged_ceiling);
    assert!((60.0..300.0).contains(&ceiling_c), "{ceiling_c}");
}
