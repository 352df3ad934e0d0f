//! Alarms from outside: raised by trips, acknowledged, put aside, counted, heard and seen; and never an interlock.

use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode, PointId, ShopMs, Value};
use hearthward_supervise::Away;
use hearthward_supervise::alarm::{AlarmAsk, AlarmKey, AlarmState, Aside};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::InterlockKind::{DoorOpen, OverTemperature};
use hearthward_supervise::observe::{Observation, UnitState};
use hearthward_supervise::output::Act;
use hearthward_supervise::plan::{DeadMan, ShopPlan};
use hearthward_supervise::request::{Answer, Ask, Request};
use hearthward_supervise::view::{AlarmView, InterlockState};

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons, plan};

const OVER: &str = "furnace/north/over-temperature";
const DOOR: &str = "furnace/north/door-open";
const LOW: &str = "shop/room-oxygen-low";
const DANGER: &str = "shop/room-oxygen-dangerous";

impl Bench {
    fn key(&self, name: &str) -> AlarmKey {
        AlarmKey::find(&self.plan, name).unwrap_or_else(|| panic!("there is no alarm {name}"))
    }

    fn alarm(&self, name: &str) -> Option<&AlarmView> {
        self.view.alarms.shown.iter().find(|alarm| alarm.name == name)
    }

    pub(crate) fn state(&self, name: &str) -> AlarmState {
        self.alarm(name).map_or(AlarmState::Normal, |alarm| alarm.state)
    }

    fn about(&mut self, ask: AlarmAsk) -> Answer {
        self.ask(Request::Alarm(ask))
    }

    fn acknowledge(&mut self, name: &str) -> Answer {
        let alarm = Some(self.key(name));
        self.about(AlarmAsk::Acknowledge { alarm })
    }

    fn shelve(&mut self, name: &str, span_s: u64) -> Answer {
        let alarm = self.key(name);
        self.about(AlarmAsk::Shelve { alarm, reason: "the switch is being changed".to_owned(), span_ms: span_s * 1000 })
    }

    /// How often the alarm changed its state.
    fn told(&self, name: &str) -> usize {
        self.said(|body| matches!(body, EventBody::Alarm { alarm, .. } if alarm == name))
    }

    /// What an output was last told.
    fn output(&self, point: PointId) -> Option<bool> {
        self.acts.iter().rev().find_map(|act| match act {
            Act::WritePoint { point: of, value: Value::Flag(on) } if *of == point => Some(*on),
            _ => None,
        })
    }
}

/// A bench whose alarms have a horn and a lamp of their own.
fn wired() -> (ShopPlan, PointId, PointId) {
    let mut plan = plan(&[Kind::gas("north")]);
    let horn = plan.directory.point(&"io/alarms.horn".parse().expect("an address"));
    let lamp = plan.directory.point(&"io/alarms.lamp".parse().expect("an address"));
    (plan.alarms.horn, plan.alarms.lamp) = (Some(horn), Some(lamp));
    (plan, horn, lamp)
}

fn hot(bench: &mut Bench) {
    bench.plants[0].read_c = 1001.0;
    bench.scan();
}

#[test]
fn a_trip_raises_its_alarm_and_each_change_is_said_once() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    assert_eq!(bench.view.alarms.shown, [], "an ordinary morning raises none: {:?}", bench.view.alarms);
    hot(&mut bench);
    assert_eq!(bench.state(OVER), AlarmState::Unacknowledged);
    assert!(bench.alarm(OVER).expect("it is shown").first);
    assert!(matches!(bench.acknowledge(OVER), Answer::Done(_)));
    assert_eq!(bench.state(OVER), AlarmState::Acknowledged);
    assert!(matches!(bench.acknowledge(OVER), Answer::Refused(_)), "once is enough");
    bench.plants[0].read_c = 750.0;
    bench.scans(2);
    assert_eq!(bench.state(OVER), AlarmState::LatchedAcknowledged);
    assert_eq!(bench.row(NORTH, OverTemperature), InterlockState::Latched, "acknowledging resets nothing");
    bench.reset();
    bench.scan();
    assert_eq!((bench.state(OVER), bench.told(OVER)), (AlarmState::Normal, 4));
}

#[test]
fn an_alarm_is_never_the_interlock() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let alarm = bench.key(OVER);
    bench.about(AlarmAsk::TakeOut { alarm, reason: "it is being looked into".to_owned() });
    assert_eq!(bench.state(OVER), AlarmState::OutOfService);
    hot(&mut bench);
    assert!(!bench.heats(NORTH) && !bench.out.cuts.is_empty(), "heat is cut in the tick that saw it");
    assert_eq!(bench.state(OVER), AlarmState::OutOfService);
    bench.about(AlarmAsk::PutBack { alarm });
    assert_eq!(bench.state(OVER), AlarmState::Unacknowledged, "what stands is told again");
    assert!(!bench.heats(NORTH));
}

#[test]
fn what_shelving_takes_and_what_it_refuses() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    assert!(matches!(bench.shelve(DOOR, 9 * 3600), Answer::Refused(_)), "longer than a shift");
    assert!(matches!(bench.shelve(DOOR, 0), Answer::Refused(_)));
    let alarm = bench.key(DOOR);
    assert!(matches!(bench.about(AlarmAsk::Shelve { alarm, reason: " ".to_owned(), span_ms: 60_000 }), Answer::Refused(_)));
    for name in [LOW, DANGER, "furnace/north/cut-unconfirmed", "tank/oil/bath-near-flash"] {
        assert!(matches!(bench.shelve(name, 60), Answer::Refused(_)), "{name}");
    }
    assert!(matches!(bench.shelve(DOOR, 600), Answer::Done(_)));
    let said = bench.events.iter().find(|event| event.text.contains("is shelved")).expect("it was told");
    assert!(said.text.ends_with("the switch is being changed"), "who did it stands beside the sentence: {said:?}");
    let Some(AlarmView { aside: Some(Aside { person, left_ms: Some(left_ms), .. }), .. }) = bench.alarm(DOOR) else {
        panic!("it says who and for how long: {:?}", bench.alarm(DOOR))
    };
    assert!(person == "ada" && *left_ms <= 600_000);
    assert!(matches!(bench.shelve(DOOR, 1200), Answer::Refused(_)), "it only shrinks");
    assert!(matches!(bench.shelve(DOOR, 60), Answer::Done(_)));
    assert!(matches!(bench.about(AlarmAsk::PutBack { alarm }), Answer::Refused(_)), "it is shelved, not out of service");
    bench.scans(61);
    assert_eq!(bench.state(DOOR), AlarmState::Normal);
}

#[test]
fn a_shelf_outlives_a_restart_and_only_shrinks() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.shelve(DOOR, 600);
    bench.restart(Away::Known(ShopMs(50_000)));
    bench.scan();
    let left_ms = bench.alarm(DOOR).and_then(|alarm| alarm.aside.as_ref()?.left_ms).expect("it is shelved");
    assert!(left_ms <= 550_000, "{left_ms}");
    bench.restart(Away::Unknown);
    bench.scan();
    assert_eq!(bench.state(DOOR), AlarmState::Normal, "nobody knows how long it was");
}

#[test]
fn a_shelf_does_not_pay_for_the_time_before_it() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.now = bench.now + Duration::from_secs(120);
    assert!(matches!(bench.shelve(DOOR, 60), Answer::Done(_)));
    let left_ms = bench.alarm(DOOR).and_then(|alarm| alarm.aside.as_ref()?.left_ms);
    assert_eq!(left_ms, Some(60_000), "the computer slept for two minutes before that");
    bench.scans(59);
    assert_eq!(bench.state(DOOR), AlarmState::Shelved);
    bench.scan();
    assert_ne!(bench.state(DOOR), AlarmState::Shelved);
}

#[test]
fn alarms_outlive_a_restart_and_are_not_said_again() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    hot(&mut bench);
    bench.acknowledge(OVER);
    let told = bench.told(OVER);
    let for_ms = |bench: &Bench| bench.alarm(OVER).expect("it is shown").for_ms;
    for _ in 0..20 {
        bench.plants[0].read_c = 1001.0;
        bench.scan();
    }
    let before_ms = for_ms(&bench);
    assert!(before_ms >= 15_000, "{before_ms}");
    bench.restart(Away::Known(ShopMs(1_000)));
    bench.plants[0].read_c = 1001.0;
    bench.scans(3);
    assert_eq!((bench.state(OVER), bench.told(OVER)), (AlarmState::Acknowledged, told));
    let after_ms = for_ms(&bench);
    assert!((before_ms + 3_000..before_ms + 6_000).contains(&after_ms), "{before_ms} before, {after_ms} after");
    bench.restart(Away::Unknown);
    bench.plants[0].read_c = 1001.0;
    bench.scans(1);
    assert!(for_ms(&bench) >= after_ms, "kept from run to run, and a time away that nobody knows counts as none");
    assert!(bench.alarm(OVER).expect("it is shown").first, "the first cause is kept");
}

#[test]
fn the_first_of_a_group_is_kept_apart_from_what_followed() {
    let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
    bench.plants[0].gas = false;
    bench.scans(30);
    hot(&mut bench);
    let firsts: Vec<_> = bench.view.alarms.shown.iter().filter(|alarm| alarm.first).map(|alarm| alarm.name.as_str()).collect();
    assert_eq!(firsts, ["furnace/north/purge-flow"]);
    bench.done(Request::Stop { furnace: Some(SOUTH) });
    assert!(bench.alarm("furnace/south/stop").expect("it is shown").first, "another furnace is another group");
}

#[test]
fn the_horn_sounds_until_it_is_silenced_and_the_lamp_until_all_is_well() {
    let (plan, horn, lamp) = wired();
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.load(NORTH, irons(None));
    bench.until("the soak", |bench| bench.step() == Some(hearthward_supervise::recipe::StepKind::Soak) && bench.heats(NORTH));
    bench.scans(60);
    assert_eq!((bench.output(horn), bench.output(lamp)), (Some(false), Some(false)));
    hot(&mut bench);
    assert_eq!((bench.output(horn), bench.output(lamp)), (Some(true), Some(true)));
    assert!(matches!(bench.about(AlarmAsk::Silence), Answer::Done(_)));
    assert_eq!((bench.output(horn), bench.output(lamp)), (Some(false), Some(true)));
    assert_eq!(bench.state(OVER), AlarmState::Unacknowledged, "silence acknowledges nothing");
    assert!(matches!(bench.about(AlarmAsk::Silence), Answer::Refused(_)));
    bench.oxygen = Some(0.19);
    bench.scans(2);
    assert_eq!(bench.output(horn), Some(true), "the next urgent alarm sounds again");
    bench.about(AlarmAsk::Acknowledge { alarm: None });
    assert_eq!((bench.output(horn), bench.output(lamp)), (Some(false), Some(true)));
    bench.acts.clear();
    bench.scans(61);
    let written = bench.acts.iter().filter(|act| matches!(act, Act::WritePoint { point, .. } if *point == lamp)).count();
    assert_eq!(written, 1, "re-asserted once a minute");
}

#[test]
fn one_horn_for_room_and_alarms_cannot_be_silenced_in_bad_air() {
    let mut plan = plan(&[Kind::gas("north")]);
    plan.alarms.horn = plan.room.horn;
    let horn = plan.room.horn.expect("one is wired");
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.scans(3);
    bench.oxygen = Some(0.17);
    bench.scans(5);
    assert_eq!(bench.state(DANGER), AlarmState::Unacknowledged);
    bench.about(AlarmAsk::Silence);
    bench.about(AlarmAsk::Acknowledge { alarm: None });
    bench.scan();
    assert_eq!(bench.output(horn), Some(true));
    bench.oxygen = Some(0.209);
    bench.scans(2);
    assert_eq!(bench.output(horn), Some(false));
    assert_eq!(bench.state(DANGER), AlarmState::LatchedAcknowledged);
}

#[test]
fn the_room_alarm_has_a_dead_band_and_does_not_chatter() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(3);
    for scan in 0..100 {
        bench.oxygen = Some(if scan % 2 == 0 { 0.1949 } else { 0.1951 });
        bench.scan();
    }
    assert_eq!((bench.state(LOW), bench.told(LOW)), (AlarmState::Unacknowledged, 1));
    bench.oxygen = Some(0.1969);
    bench.scans(30);
    assert_eq!(bench.state(LOW), AlarmState::Unacknowledged, "inside the dead band");
    bench.oxygen = Some(0.1971);
    bench.scans(12);
    assert_eq!(bench.state(LOW), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn a_monitor_that_fails_does_not_end_the_alarm_of_the_air() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(3);
    bench.oxygen = Some(0.19);
    bench.scans(3);
    bench.oxygen = None;
    bench.scans(60);
    assert_eq!(bench.state(LOW), AlarmState::Unacknowledged);
    assert_eq!(bench.state("shop/room-monitor-lost"), AlarmState::Unacknowledged);
}

#[test]
fn the_record_and_units_have_alarms_too() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.scans(3);
    bench.durable = false;
    bench.shop.observe(bench.now, Observation::Record { failing: Some("the disk is full".to_owned()) });
    let unit = bench.plan.directory.find_unit(&"bench/north".parse().expect("an address")).expect("a unit");
    let fault = Fault { code: FaultCode::TIMED_OUT, detail: "nothing came".to_owned() };
    bench.shop.observe(bench.now, Observation::Unit { unit, is: UnitState::Silent(fault) });
    bench.scans(5);
    assert_eq!(bench.state("shop/record-failing"), AlarmState::Unacknowledged);
    assert_eq!(bench.state("unit/bench/north/unit-lost"), AlarmState::Normal, "a poll that is dropped is no alarm");
    bench.scans(10);
    assert_eq!(bench.state("unit/bench/north/unit-lost"), AlarmState::Unacknowledged);
}

#[test]
fn a_cut_that_is_not_confirmed_is_an_alarm_until_it_is() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].confirms = false;
    hot(&mut bench);
    bench.scans(3);
    let name = "furnace/north/cut-unconfirmed";
    assert_eq!(bench.state(name), AlarmState::Unacknowledged);
    bench.plants[0].confirms = true;
    bench.scans(4);
    assert_eq!(bench.state(name), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn a_contactor_that_stays_closed_after_a_cut_is_an_alarm_though_the_controller_is_at_rest() {
    for welded in [false, true] {
        let mut plan = plan(&[Kind { contactor: true, ..Kind::gas("north") }]);
        let feedback = plan.directory.point(&"io/north.contactor-closed".parse().expect("an address"));
        let contactor = plan.furnaces[0].contactor.as_mut().expect("it has one");
        contactor.feedback = Some(feedback);
        plan.furnaces[0].dead_man = DeadMan::ContactorHeartbeat { drops_after: Duration::from_secs(3) };
        let mut bench = Bench::of(plan, None, Away::Unknown);
        bench.load(NORTH, irons(None));
        bench.until("it heats", |bench| bench.plants[0].heats_to(bench.now).is_some());
        bench.scans(20);
        let name = "furnace/north/cut-unconfirmed";
        assert_eq!(bench.state(name), AlarmState::Normal, "closed is as it should be");
        bench.plants[0].welded = welded;
        bench.plants[0].open = true;
        bench.scans(5);
        assert_eq!(bench.state(name), AlarmState::Normal, "three seconds of heartbeat and two of grace");
        bench.scans(3);
        let (told, state) = if welded { (1, AlarmState::Unacknowledged) } else { (0, AlarmState::Normal) };
        assert_eq!(bench.said(|body| matches!(body, EventBody::CutUnconfirmed { .. })), told);
        assert_eq!(bench.state(name), state);
        bench.plants[0].welded = false;
        bench.scans(10);
        assert_eq!(bench.state(name) == AlarmState::ReturnedUnacknowledged, welded);
    }
}

#[test]
fn a_short_supply_is_an_alarm_that_outlasts_one_forecast() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    let name = "furnace/north/gas-supply";
    bench.gauge_bar = 8.0;
    bench.scans(70);
    assert_eq!(bench.state(name), AlarmState::Unacknowledged);
    bench.gauge_bar = 150.0;
    bench.scans(65);
    assert_eq!(bench.state(name), AlarmState::Unacknowledged, "one forecast that is better ends nothing");
    bench.scans(180);
    assert_eq!(bench.state(name), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn a_temper_that_is_overdue_is_an_alarm_until_the_load_is_in() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    bench.load(NORTH, irons(Some(SOUTH)));
    bench.until("the call", |bench| bench.question(|ask| matches!(ask, Ask::PartUnder { .. })).is_some());
    bench.plants[0].open = true;
    bench.scans(2);
    bench.confirm(|ask| matches!(ask, Ask::PartUnder { .. }));
    bench.plants[0].open = false;
    bench.until("the transfer", |bench| bench.question(|ask| matches!(ask, Ask::Transfer { .. })).is_some());
    let name = "furnace/north/temper-overdue";
    assert_eq!(bench.state(name), AlarmState::Normal);
    bench.until("it is overdue", |bench| bench.state(name) == AlarmState::Unacknowledged);
    bench.confirm(|ask| matches!(ask, Ask::Transfer { .. }));
    bench.scan();
    assert_eq!(bench.state(name), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn a_look_into_the_chamber_is_no_alarm_and_a_door_left_open_is_one() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].open = true;
    bench.scans(10);
    bench.plants[0].open = false;
    bench.scans(120);
    assert_eq!(bench.told(DOOR), 0);
    bench.plants[0].open = true;
    bench.scans(62);
    assert_eq!(bench.state(DOOR), AlarmState::Unacknowledged);
}

#[test]
fn a_door_that_waits_for_a_reset_is_told_of_at_once_though_it_still_stands_open() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    bench.plants[0].open = true;
    let latches =
        |bench: &Bench| bench.said(|body| matches!(body, EventBody::Tripped { interlock: DoorOpen, latched: true, .. })) == 1;
    bench.until("the latch", latches);
    assert_eq!(bench.row(NORTH, DoorOpen), InterlockState::Tripped, "it stands open");
    assert_eq!(bench.state(DOOR), AlarmState::Unacknowledged);
}

#[test]
fn ten_alarms_in_ten_minutes_are_a_flood_and_it_ends() {
    let names: Vec<&'static str> = vec!["a", "b", "c", "d", "e", "f", "g", "h", "i", "north"];
    let kinds: Vec<Kind> = names.iter().map(|name| Kind::plain(name)).collect();
    let mut bench = Bench::new(&kinds);
    bench.scans(3);
    bench.done(Request::Stop { furnace: None });
    assert!(bench.view.alarms.flood && bench.view.alarms.raised == 10);
    let floods = |bench: &Bench, on| bench.said(|body| matches!(body, EventBody::AlarmFlood { flood, .. } if *flood == on));
    assert_eq!((floods(&bench, true), floods(&bench, false)), (1, 0));
    bench.until("the end of the flood", |bench| !bench.view.alarms.flood);
    assert!(bench.now >= ShopMs(600_000));
    assert_eq!((floods(&bench, true), floods(&bench, false)), (1, 1));
}

#[test]
fn delays_of_the_plan_go_before_those_of_the_catalogue() {
    let mut plan = plan(&[Kind::gas("north")]);
    let kind = hearthward_supervise::alarm::alarm_kind_of("room-oxygen-low").expect("a kind");
    let delays = hearthward_supervise::alarm::Delays { on: Duration::from_secs(20), off: Duration::ZERO };
    plan.alarms.delays.push((kind, delays));
    let mut bench = Bench::of(plan, None, Away::Unknown);
    bench.scans(3);
    bench.oxygen = Some(0.19);
    bench.scans(20);
    assert_eq!(bench.state(LOW), AlarmState::Normal);
    bench.scans(2);
    assert_eq!(bench.state(LOW), AlarmState::Unacknowledged);
}

#[test]
fn a_changed_plan_keeps_its_alarms() {
    let mut bench = Bench::soaking(&[Kind::gas("north")]);
    hot(&mut bench);
    bench.shelve(DOOR, 600);
    let mut plan = bench.plan.clone();
    plan.furnaces[0].limit = hearthward_equipment::quantity::celsius(900.0);
    bench.shop.replan(bench.now, plan.clone());
    bench.plan = plan;
    let (told, raised) = (bench.told(OVER), bench.view.alarms.raised);
    let for_ms = bench.alarm(OVER).expect("it is shown").for_ms;
    bench.scan();
    assert_eq!((bench.state(OVER), bench.state(DOOR)), (AlarmState::Unacknowledged, AlarmState::Shelved));
    assert_eq!((bench.told(OVER), bench.view.alarms.raised), (told, raised));
    let still_ms = bench.alarm(OVER).expect("it is shown").for_ms;
    assert!((for_ms..for_ms + 5_000).contains(&still_ms), "{for_ms} before, {still_ms} after");
}

/// Goal: whatever people do about alarms, what may heat stays as it is. Method: two benches live through the same troubles; in one of
/// them somebody acknowledges, shelves, takes out and silences in every scan. Orders, cuts, permits and rows are the same.
#[test]
fn nothing_done_about_alarms_changes_what_heats() {
    let ask = |scan: u64, plan: &ShopPlan| {
        let all: Vec<AlarmKey> = hearthward_supervise::alarm::alarm_names(plan).map(|(key, _)| key).collect();
        let alarm = all[scan as usize * 7 % all.len()];
        let reason = "a test".to_owned();
        match scan % 6 {
            0 => AlarmAsk::Acknowledge { alarm: None },
            1 => AlarmAsk::Shelve { alarm, reason, span_ms: 1_000 * (1 + scan % 90) },
            2 => AlarmAsk::TakeOut { alarm, reason },
            3 => AlarmAsk::Unshelve { alarm },
            4 => AlarmAsk::PutBack { alarm },
            _ => AlarmAsk::Silence,
        }
    };
    let live = |meddles: bool| {
        let mut bench = Bench::soaking(&[Kind::gas("north"), Kind::plain("south")]);
        let mut lived = Vec::new();
        for scan in 0..600_u64 {
            bench.plants[0].open = scan % 97 > 90;
            bench.plants[0].gas = scan % 211 < 180;
            bench.plants[0].confirms = scan % 61 > 5;
            bench.oxygen = Some(if scan % 173 > 150 { 0.19 } else { 0.209 });
            if scan % 149 == 148 {
                bench.plants[0].read_c = 1001.0;
            }
            if scan % 151 == 0 {
                bench.shop.request(bench.now, &crate::bench::person(), Request::Reset { furnace: None, interlock: None });
            }
            if meddles {
                bench.shop.request(bench.now, &crate::bench::person(), Request::Alarm(ask(scan, &bench.plan)));
            }
            bench.scan();
            let rows: Vec<_> =
                bench.view.furnaces.iter().map(|furnace| (furnace.interlocks.clone(), furnace.ceiling_c)).collect();
            lived.push((bench.plants[0].cuts.len(), bench.out.orders.len(), bench.heats(NORTH), rows));
        }
        lived
    };
    assert!(live(true) == live(false));
}
