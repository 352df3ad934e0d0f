//! Orders to heat, made by the real core since nobody else can make one: carried out once, void after a cut, ended with their lease.

use std::time::Duration;

use hearthward_drivers::ShopClock;
use hearthward_equipment::quantity::{celsius, kelvins};
use hearthward_equipment::{FurnaceId, Generation, ShopMs};
use hearthward_supervise::event::EventBody;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::{Cut, Outputs, Via};
use hearthward_supervise::plan::{
    ChamberKind, ChamberPlan, DeadMan, FurnacePlan, Heating, OnSilence, PolicyPlan, RoomPlan, ShopPlan, SteelChoice,
};
use hearthward_supervise::recipe::{Drive, Load, Pace, Protection, Step};
use hearthward_supervise::request::{Ask, Person, Request};
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, Shop as Core};
use uom::si::f64::{Power, Ratio, Volume};
use uom::si::power::kilowatt;
use uom::si::ratio::percent;
use uom::si::volume::liter;

use crate::guest::Guest;
use crate::peer::{Does, Peer, obeys};
use crate::shop::{Running, Shop, name};

/// Frames that command, without the reads.
fn commands(peer: &Peer) -> Vec<u8> {
    peer.frames().into_iter().map(|[word, _]| word).filter(|word| *word != b'R').collect()
}

/// The core and the host, stepped together.
struct Bench {
    peer: Peer,
    floor: Running,
    core: Core,
    out: Outputs,
    now: ShopMs,
}

impl Bench {
    /// A plain furnace that has just been permitted to heat: the order is in [`Bench::out`], not yet given to the host.
    fn permitted() -> Self {
        let peer = Peer::obedient(25);
        let floor = Shop::new()
            .line("wire", peer.address)
            .driver("io", &Guest::on_a_line(&["north"]), &["wire"])
            .furnace("io/north")
            .everything()
            .start(ShopClock::stepped());
        let core = Core::new(plan(&floor), None, Away::Unknown);
        let mut bench = Self { peer, floor, core, out: Outputs::default(), now: ShopMs(0) };
        bench.scan();
        bench.scan();
        let person = Person { name: "ada".to_owned() };
        for _ in 0..3 {
            // A start without a known time away is cold until a person says to go on.
            bench.core.request(bench.now, &person, Request::Reset { furnace: None, interlock: None });
            bench.scan();
        }
        bench.core.request(bench.now, &person, Request::Start { furnace: FurnaceId(0), load: load(), ready_in: None });
        bench.scan();
        let mut view = View::default();
        bench.core.view(&mut view);
        let question = view.questions.iter().find(|question| matches!(question.ask, Ask::LoadAndShut));
        let question = question.unwrap_or_else(|| panic!("no question: {:#?}", bench.out.answers)).id;
        bench.core.request(bench.now, &person, Request::Confirm { question, reading: None });
        for _ in 0..20 {
            bench.observe_and_tick();
            if !bench.out.orders.is_empty() {
                bench.peer.frames();
                return bench;
            }
            bench.carry_out();
        }
        let mut view = View::default();
        bench.core.view(&mut view);
        panic!("never permitted: {:#?}", view.furnaces[0].interlocks);
    }

    fn scan(&mut self) {
        self.observe_and_tick();
        self.carry_out();
    }

    fn observe_and_tick(&mut self) {
        self.now = self.now + Duration::from_secs(1);
        for observed in self.floor.host.step(self.now) {
            self.core.observe(self.now, observed);
        }
        self.core.tick(self.now, &mut self.out);
        self.core.observe(self.now, Observation::Durable { through: self.out.tick });
    }

    fn carry_out(&mut self) {
        self.out.cuts.iter().for_each(|cut| self.floor.host.cut(cut));
        self.out.orders.drain(..).for_each(|order| self.floor.host.put(order));
    }
}

/// Goal: an order reaches the device once; renewing it writes nothing; an open door cuts by the standing cut and ends it.
#[test]
fn an_order_is_carried_out_once_and_ends_at_the_door() {
    let mut bench = Bench::permitted();
    bench.carry_out();
    for _ in 0..10 {
        bench.scan();
    }
    assert_eq!(commands(&bench.peer), b"H");
    bench.peer.set(|frame| Does::Answers(if frame[0] == b'R' { vec![b'R', 25, 1] } else { obeys(25, frame) }));
    bench.scan();
    assert_eq!(bench.peer.next_of(b'S'), [b'S', 0], "cut in the scan that saw the door");
    for _ in 0..5 {
        bench.scan();
    }
    assert!(!commands(&bench.peer).contains(&b'H'), "nothing heats behind an open door");
}

/// Goal: people hear once of a device that answers and takes no order to heat, and once that it does. Method: it leaves orders unanswered for
/// some scans.
#[test]
fn a_device_that_takes_no_order_is_told_of_until_it_does() {
    let mut bench = Bench::permitted();
    bench.peer.set(|frame| if frame[0] == b'H' { Does::Nothing } else { Does::Answers(obeys(25, frame)) });
    bench.carry_out();
    let said = |bench: &mut Bench| {
        let mut texts = Vec::new();
        for _ in 0..6 {
            bench.scan();
            let orders = bench.out.events.iter().filter(|event| matches!(event.body, EventBody::Output { .. }));
            texts.extend(orders.map(|event| event.text.clone()));
        }
        texts
    };
    let refused = said(&mut bench);
    assert!(refused.len() == 1 && refused[0].contains("io/north does not take an order to heat"), "{refused:#?}");
    bench.peer.set(|frame| Does::Answers(obeys(25, frame)));
    let taken = said(&mut bench);
    assert!(taken.len() == 1 && taken[0].contains("takes orders to heat again"), "{taken:#?}");
}

/// Goal: an order that a cut has overtaken never reaches the device, neither before nor after the cut is confirmed.
#[test]
fn a_cut_voids_what_waits() {
    let mut bench = Bench::permitted();
    let order = bench.out.orders.pop().expect("an order");
    let generation = Generation(order.generation().0 + 1);
    bench.floor.host.put(order);
    bench.floor.host.cut(&Cut { furnace: FurnaceId(0), generation, via: Via::Controller });
    assert_eq!(bench.peer.next_of(b'S'), [b'S', 0]);
    for _ in 0..3 {
        bench.now = bench.now + Duration::from_millis(100);
        let _ = bench.floor.host.step(bench.now);
    }
    assert!(!commands(&bench.peer).contains(&b'H'));
    // One that was made before the cut and comes after it is void as well.
    bench.observe_and_tick();
    bench.carry_out();
    let _ = bench.floor.host.step(bench.now + Duration::from_millis(100));
    assert!(!commands(&bench.peer).contains(&b'H'));
}

/// Goal: when the core is silent the lease ends and heat is cut without it.
#[test]
fn a_lease_that_nobody_renews_is_cut() {
    let mut bench = Bench::permitted();
    bench.carry_out();
    bench.scan();
    assert_eq!(commands(&bench.peer), b"H");
    let _ = bench.floor.host.step(bench.now + Duration::from_secs(2));
    assert!(commands(&bench.peer).is_empty(), "the lease still holds");
    let _ = bench.floor.host.step(bench.now + Duration::from_secs(4));
    assert_eq!(bench.peer.next_of(b'S'), [b'S', 0]);
}

fn load() -> Load {
    let minutes = |count: u64| Duration::from_secs(count * 60);
    Load {
        name: name("irons"),
        steel: "O1".to_owned(),
        parts: 1,
        part: None,
        protection: Protection::None,
        steps: vec![
            Step::Ramp { to: celsius(800.0), pace: Pace::Full },
            Step::Soak { at: celsius(800.0), band: None, minimum: minutes(10), maximum: minutes(20) },
        ],
        drive: Drive::SetPoints,
    }
}

fn plan(floor: &Running) -> ShopPlan {
    let furnace = FurnacePlan {
        name: name("north"),
        controller: Some(floor.unit("io/north")),
        heating: Heating::SetPoint,
        dead_man: DeadMan::Nothing,
        temperature: floor.point("io/north.temperature"),
        stale_after: Duration::from_secs(5),
        set_point: None,
        output_share: None,
        heat_on: None,
        over_temperature: None,
        door: Some(floor.point("io/north.door-open")),
        load_temperature: None,
        probe: None,
        contactor: None,
        chamber: ChamberPlan { kind: ChamberKind::Retort, volume: Volume::new::<liter>(9.4), calibration: None },
        rated: celsius(1100.0),
        limit: celsius(1000.0),
        power: Power::new::<kilowatt>(2.2),
        band: kelvins(5.0),
        steepest_k_per_s: 5.0,
        no_response_after: Duration::from_secs(600),
        short_opening: Duration::from_secs(20),
        run_time_limit: None,
        gas: None,
        on_silence: OnSilence { after: Duration::from_secs(180), then: SteelChoice::Finish },
        takes_to: None,
        still_quenchable: celsius(740.0),
        falls_k_per_s: 0.3,
        policy: PolicyPlan::default(),
    };
    ShopPlan {
        name: "floor".to_owned(),
        scan: Duration::from_secs(1),
        ride_through: Duration::from_secs(60),
        directory: floor.directory.clone(),
        furnaces: vec![furnace],
        tanks: Vec::new(),
        supplies: Vec::new(),
        room: RoomPlan {
            oxygen: None,
            first_level: Ratio::new::<percent>(19.5),
            second_level: Ratio::new::<percent>(18.0),
            debounce: Duration::from_secs(3),
            stale_after: Duration::from_secs(10),
            horn: None,
        },
        electrical_demand: None,
        alarms: hearthward_supervise::alarm::AlarmPlan::default(),
    }
}
