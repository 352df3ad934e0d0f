//! Goal: a shop that was written down after a tick and read back decides, from there on, exactly as the one that went on. Method: two
//! benches live through the same day; one of them is written down and read back every few scans.

use hearthward_supervise::Shop;
use hearthward_supervise::request::{Ask, Request};

use crate::bench::{Bench, Kind, NORTH, SOUTH, irons};

/// A number of scans that hits every phase of a purge, a ramp and a debounce sooner or later.
const EVERY: u32 = 7;

fn live(bench: &mut Bench, scans: u32, taken_up: bool) {
    for scan in 0..scans {
        bench.scan();
        if taken_up && scan % EVERY == 0 {
            let bytes = postcard::to_stdvec(&bench.shop).expect("plain data");
            let back: Shop = postcard::from_bytes(&bytes).expect("what was written");
            bench.shop = back.under(bench.plan.clone());
            assert_eq!(bench.shop.digest(), *bench.digests.last().expect("a scan was made"), "at scan {scan}");
        }
    }
}

fn day(taken_up: bool) -> Bench {
    let mut bench = Bench::new(&[Kind { contactor: true, ..Kind::gas("north") }, Kind::plain("south")]);
    bench.plants.iter_mut().for_each(|plant| plant.pace = 4.0);
    bench.load(NORTH, irons(Some(SOUTH)));
    live(&mut bench, 400, taken_up);
    // A door, a broken meter, oil that grows hot, a disk that lags: rows, queues and questions come and go.
    bench.plants[0].open = true;
    live(&mut bench, 40, taken_up);
    bench.plants[0].open = false;
    bench.reset();
    live(&mut bench, 900, taken_up);
    bench.plants[0].gas = false;
    live(&mut bench, 60, taken_up);
    bench.plants[0].gas = true;
    bench.durable = false;
    live(&mut bench, 30, taken_up);
    bench.durable = true;
    bench.reset();
    if bench.question(|ask| matches!(ask, Ask::GoOn { .. })).is_some() {
        bench.choose(|ask| matches!(ask, Ask::GoOn { .. }), hearthward_supervise::request::Choice::GoOn);
    }
    bench.oil_c = 160.0;
    live(&mut bench, 20, taken_up);
    bench.oil_c = 50.0;
    bench.plants[1].answers = false;
    live(&mut bench, 90, taken_up);
    bench.ask(Request::Stop { furnace: None });
    live(&mut bench, 20, taken_up);
    bench
}

#[test]
fn a_shop_read_back_decides_as_the_one_that_went_on() {
    let (went_on, taken_up) = (day(false), day(true));
    let differs = went_on.digests.iter().zip(&taken_up.digests).position(|(one, other)| one != other);
    assert_eq!(differs, None, "the tick of the first other digest");
    assert_eq!(went_on.events, taken_up.events);
    assert!(went_on.events.len() > 20, "little happened in this day: {:#?}", went_on.events);
}
