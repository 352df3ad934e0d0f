//! Goal: from cause to cut it is one tick, for every interlock that cuts. Method: one furnace at heat with everything wired; each cause
//! comes between two ticks, heat is given in every tick before and cut in the first that can know of it.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_equipment::{Address, Evidence, Fault, FaultCode, FurnaceId, PointId, Quality, Reading, ShopMs, Value};
use hearthward_faults::shops::{name, shop};
use hearthward_faults::wires::share;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::observe::{CutState, Observation, UnitState};
use hearthward_supervise::output::{Cut, Outputs};
use hearthward_supervise::plan::{FurnacePlan, Heating, PolicyPlan, ShopPlan};
use hearthward_supervise::recipe::{Drive, Load, Protection, Step};
use hearthward_supervise::request::{Person, Request};
use hearthward_supervise::rule::{Draft, Input, Operator, Quantity, RuleEffect, RulePlan};
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, Shop};

const FURNACE: FurnaceId = FurnaceId(0);
const SOAK_C: f64 = 400.0;

/// What the devices say in one second; nothing where they are silent.
#[derive(Clone)]
struct Says {
    temperature: Option<(f64, Quality)>,
    load_c: f64,
    door: Option<(bool, Quality)>,
    alarm: Option<bool>,
    share: f64,
    oxygen: f64,
    hood: bool,
}

impl Says {
    fn well(read_c: f64) -> Self {
        let door = Some((false, Quality::Good));
        Self {
            temperature: Some((read_c, Quality::Good)),
            load_c: read_c,
            door,
            alarm: Some(false),
            share: 0.5,
            oxygen: 0.209,
            hood: true,
        }
    }
}

struct Bench {
    plan: ShopPlan,
    shop: Shop,
    out: Outputs,
    now: ShopMs,
    points: Points,
}

struct Points {
    load: PointId,
    door: PointId,
    alarm: PointId,
    share: PointId,
    oxygen: PointId,
    hood: PointId,
}

/// A rule of the shop's own: no heat without the hood.
fn hood(point: PointId) -> RulePlan {
    let input = Input { point, quantity: Quantity::Flag, stale_after: Duration::from_secs(5) };
    let when = Draft::apply(Operator::Not, vec![Draft::input(input)]).and_then(Draft::finish).expect("it means something");
    let (text, source) = ("the hood is off".to_owned(), "!hood_on".to_owned());
    RulePlan { name: name("hood", 0), text, source, when, effect: RuleEffect::Cut, latch: false, after: Duration::ZERO }
}

impl Bench {
    /// A furnace that soaks.
    fn heating() -> Self {
        let mut plan = shop(1).plan;
        plan.furnaces.truncate(1);
        plan.electrical_demand = None;
        let mut point = |text: &str| plan.directory.point(&text.parse::<Address>().expect("a test's address"));
        let points = Points {
            load: point("latency/a.load"),
            door: point("latency/a.door"),
            alarm: point("latency/a.alarm"),
            share: point("latency/a.share"),
            oxygen: point("latency/a.oxygen"),
            hood: point("latency/a.hood"),
        };
        plan.room.oxygen = Some(points.oxygen);
        plan.room.debounce = Duration::from_secs(5);
        plan.furnaces[0] = FurnacePlan {
            heating: Heating::SetPoint,
            stale_after: Duration::from_secs(5),
            door: Some(points.door),
            over_temperature: Some(points.alarm),
            heat_on: None,
            output_share: Some(points.share),
            load_temperature: Some(points.load),
            probe: None,
            contactor: None,
            gas: None,
            no_response_after: Duration::from_secs(60),
            run_time_limit: Some(Duration::from_secs(900)),
            policy: PolicyPlan { rules: vec![hood(points.hood)], ..PolicyPlan::default() },
            ..plan.furnaces[0].clone()
        };
        let shop = Shop::new(plan.clone(), None, Away::Unknown);
        let mut bench = Self { plan, shop, out: Outputs::default(), now: ShopMs(0), points };
        bench.start();
        bench
    }

    fn start(&mut self) {
        let well = Says::well(SOAK_C);
        let at_rest = Says { share: 0.0, ..well.clone() };
        (0..3).for_each(|_| self.second(&at_rest));
        let at = celsius(SOAK_C);
        let hour = Duration::from_secs(3600);
        let steps = vec![Step::Soak { at, band: None, minimum: hour, maximum: hour }];
        let (protection, drive) = (Protection::FoilPack, Drive::SetPoints);
        let load = Load { name: name("irons", 1), steel: "O1".to_owned(), parts: 1, part: None, protection, steps, drive };
        self.ask(Request::Start { furnace: FURNACE, load, ready_in: None });
        self.second(&well);
        let mut view = View::default();
        self.shop.view(&mut view);
        self.ask(Request::Confirm { question: view.questions[0].id, reading: None });
        (0..120).for_each(|_| self.second(&well));
        assert!(self.heats(), "it soaks");
    }

    fn ask(&mut self, ask: Request) {
        let _ticket = self.shop.request(self.now, &Person { name: "ada".to_owned() }, ask);
    }

    fn read(&mut self, point: PointId, value: Value, quality: Quality) {
        let reading = Reading { point, at: self.now, value: Some(value), quality, evidence: Evidence::Measured };
        self.shop.observe(self.now, Observation::Reading(reading));
    }

    /// A second passes: readings, then one tick.
    fn second(&mut self, says: &Says) {
        self.now = self.now + Duration::from_secs(1);
        let temperature = self.plan.furnaces[0].temperature;
        if let Some((read_c, quality)) = says.temperature {
            self.read(temperature, Value::Temperature(celsius(read_c)), quality);
        }
        self.read(self.points.load, Value::Temperature(celsius(says.load_c)), Quality::Good);
        self.read(self.points.share, share(says.share), Quality::Good);
        self.read(self.points.oxygen, share(says.oxygen), Quality::Good);
        self.read(self.points.hood, Value::Flag(says.hood), Quality::Good);
        if let Some((open, quality)) = says.door {
            self.read(self.points.door, Value::Flag(open), quality);
        }
        if let Some(alarm) = says.alarm {
            self.read(self.points.alarm, Value::Flag(alarm), Quality::Good);
        }
        self.tick();
    }

    fn tick(&mut self) {
        self.shop.tick(self.now, &mut self.out);
        for &Cut { furnace, generation, via } in &self.out.cuts {
            self.shop.observe(self.now, Observation::Cut { furnace, generation, via, is: CutState::Confirmed });
        }
        self.shop.observe(self.now, Observation::Durable { through: self.out.tick });
    }

    fn heats(&self) -> bool {
        !self.out.orders.is_empty()
    }

    fn cut(&self) -> bool {
        !self.out.cuts.is_empty() && self.out.orders.is_empty()
    }

    fn stands(&self, kind: InterlockKind) -> bool {
        let mut view = View::default();
        self.shop.view(&mut view);
        let row = view.furnaces[0].interlocks.iter().find(|row| row.kind == kind).expect("the row applies");
        row.state != hearthward_supervise::view::InterlockState::Clear
    }
}

/// Lets the devices say this, second by second: heat stays until the second in which the cause is complete, and is cut in its tick.
fn cuts_in_its_tick(kind: InterlockKind, complete_after_s: u64, says: impl Fn(u64) -> Says) {
    let mut bench = Bench::heating();
    for second in 1..complete_after_s {
        bench.second(&says(second));
        assert!(bench.heats(), "{kind:?}: second {second} of {complete_after_s} is no cause yet");
    }
    bench.second(&says(complete_after_s));
    assert!(bench.cut(), "{kind:?} is not cut in the tick that saw it");
    assert!(bench.stands(kind), "{kind:?} is why");
}

#[test]
fn every_reading_that_cuts_does_so_in_its_tick() {
    use InterlockKind::{DoorOpen, DriverLost, OverTemperature, RoomOxygen, SensorFault, ShopRule};
    let well = || Says::well(SOAK_C);
    cuts_in_its_tick(DoorOpen, 1, |_| Says { door: Some((true, Quality::Good)), ..well() });
    cuts_in_its_tick(DoorOpen, 1, |_| Says { door: Some((false, Quality::Uncertain)), ..well() });
    // Its last reading is five seconds old after five seconds, and too old after six.
    cuts_in_its_tick(DoorOpen, 6, |_| Says { door: None, ..well() });
    let limit_c = in_celsius(Bench::heating().plan.furnaces[0].limit);
    cuts_in_its_tick(OverTemperature, 1, |_| Says::well(limit_c + 0.1));
    cuts_in_its_tick(OverTemperature, 1, |_| Says { alarm: Some(true), ..well() });
    cuts_in_its_tick(SensorFault, 1, |_| Says { temperature: Some((SOAK_C, Quality::Bad)), ..well() });
    cuts_in_its_tick(SensorFault, 1, |_| Says { temperature: Some((f64::NAN, Quality::Good)), ..well() });
    cuts_in_its_tick(SensorFault, 1, |_| Says::well(SOAK_C + 300.0));
    cuts_in_its_tick(DriverLost, 6, |_| Says { temperature: None, ..well() });
    cuts_in_its_tick(DriverLost, 6, |_| Says { alarm: None, ..well() });
    // Five seconds under the second level by a scan of one second.
    cuts_in_its_tick(RoomOxygen, 5, |_| Says { oxygen: 0.17, ..well() });
    cuts_in_its_tick(ShopRule, 1, |_| Says { hood: false, ..well() });
    // Full output without a rise for sixty seconds, and one more; the load far above the chamber for thirty, and one more.
    cuts_in_its_tick(SensorFault, 61, |_| Says { share: 1.0, ..well() });
    cuts_in_its_tick(SensorFault, 31, |_| Says { load_c: SOAK_C + 60.0, ..well() });
}

#[test]
fn what_is_told_or_asked_cuts_in_its_tick() {
    let well = Says::well(SOAK_C);
    let mut bench = Bench::heating();
    bench.ask(Request::Stop { furnace: None });
    bench.tick();
    assert!(bench.cut() && bench.stands(InterlockKind::Stop));

    let mut bench = Bench::heating();
    bench.shop.observe(bench.now, Observation::Stopping);
    bench.tick();
    assert!(bench.cut() && bench.stands(InterlockKind::Ending));

    let mut bench = Bench::heating();
    let unit = bench.plan.furnaces[0].controller.expect("it has one");
    let is = UnitState::OutOfService(Fault::new(FaultCode::LIMIT, "a test says so"));
    bench.shop.observe(bench.now, Observation::Unit { unit, is });
    bench.tick();
    assert!(bench.cut() && bench.stands(InterlockKind::DriverLost));

    let mut bench = Bench::heating();
    let mut seconds = 0;
    while bench.heats() {
        bench.second(&well);
        seconds += 1;
        assert!(seconds < 1000, "the run-time limit never came");
    }
    assert!(bench.cut() && bench.stands(InterlockKind::RunTimeLimit));

    let bench = Bench::heating();
    let stood = bench.shop.standing();
    let mut again = Bench { shop: Shop::new(bench.plan.clone(), Some(stood), Away::Unknown), ..bench };
    again.tick();
    assert!(again.cut() && again.stands(InterlockKind::Interrupted), "the first tick of a run cuts");
}
