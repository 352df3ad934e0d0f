//! What is ordered: leases, generations, and nothing that widens before it is on disk.

use hearthward_supervise::event::EventBody;
use hearthward_supervise::interlock::Means;
use hearthward_supervise::observe::{Observation, Urgency};
use hearthward_supervise::recipe::Protection;
use hearthward_supervise::request::{Answer, Request};

use crate::bench::{Bench, Kind, NORTH, irons};

fn plain() -> hearthward_supervise::recipe::Load {
    let mut load = irons(None);
    load.protection = Protection::None;
    load.steps.remove(0);
    load
}

#[test]
fn the_first_tick_cuts_everything_that_can_be_cut() {
    let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
    bench.scan();
    assert_eq!(bench.out.cuts.len(), 2);
    assert!(bench.out.orders.is_empty());
}

#[test]
fn heat_waits_until_the_permit_is_on_disk_and_renewals_do_not() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    bench.durable = false;
    bench.load(NORTH, plain());
    bench.scans(5);
    assert_eq!(bench.said(|body| matches!(body, EventBody::Permitted { .. })), 1);
    assert!(bench.out.orders.is_empty());
    let through = bench.tick_number();
    assert_eq!(bench.shop.observe(bench.now, Observation::Durable { through }), Urgency::Now);
    bench.scan();
    assert_eq!(bench.out.orders.len(), 1);
    bench.scans(50);
    assert_eq!(bench.out.orders.len(), 1, "a renewal does not wait for the disk");
    let order = &bench.out.orders[0];
    assert_eq!(order.expires(), bench.now + bench.plan.scan * 3);
    assert_eq!(order.generation(), bench.north().generation);
    assert_eq!(order.tick(), bench.tick_number());
}

#[test]
fn a_disk_that_claims_the_future_is_not_believed() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    bench.durable = false;
    bench.scans(2);
    bench.shop.observe(bench.now, Observation::Durable { through: hearthward_equipment::Tick(u64::MAX) });
    bench.load(NORTH, plain());
    bench.scans(5);
    assert!(bench.out.orders.is_empty());
}

#[test]
fn without_a_record_nothing_widens_and_what_was_granted_goes_on() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    bench.load(NORTH, plain());
    bench.scans(5);
    bench.durable = false;
    bench.shop.observe(bench.now, Observation::Record { failing: Some("the disk is full".to_owned()) });
    bench.scans(10);
    assert!(bench.heats(NORTH));
    bench.plants[0].open = true;
    bench.scans(2);
    bench.plants[0].open = false;
    bench.scans(20);
    assert!(!bench.heats(NORTH), "after a cut heat would have to be permitted anew");
    let mut other = irons(None);
    other.protection = Protection::None;
    assert!(matches!(bench.ask(Request::Start { furnace: NORTH, load: other, ready_in: None }), Answer::Refused(_)));
    bench.durable = true;
    bench.scans(5);
    assert!(bench.heats(NORTH), "the first durable tick says that the record is back");
    assert_eq!(bench.said(|body| matches!(body, EventBody::Record { .. })), 2);
}

#[test]
fn a_cut_makes_every_older_order_void() {
    let mut bench = Bench::new(&[Kind::plain("north")]);
    bench.load(NORTH, plain());
    bench.scans(5);
    let before = bench.out.orders[0].generation();
    bench.plants[0].open = true;
    bench.scan();
    let cut = bench.out.cuts[0].generation;
    assert!(cut > before);
    bench.plants[0].open = false;
    bench.scans(3);
    assert_eq!(bench.out.orders[0].generation(), cut);
}

#[test]
fn set_points_are_clamped_to_the_ceiling() {
    let mut bench = Bench::new(&[Kind::gas("north")]);
    bench.plants[0].gas = false;
    let mut load = irons(None);
    load.steps.remove(0);
    bench.load(NORTH, load);
    bench.scans(5);
    let Means::SetPoint(to) = bench.out.orders[0].means() else { panic!("it works to set points") };
    assert!((hearthward_equipment::quantity::in_celsius(*to) - 200.0).abs() < 1e-9);
}

#[test]
fn the_same_inputs_give_the_same_digests() {
    let run = |open_at: u32| {
        let mut bench = Bench::new(&[Kind::gas("north"), Kind::plain("south")]);
        bench.load(NORTH, irons(None));
        for scan in 0..900 {
            bench.plants[0].open = scan == open_at;
            bench.scan();
        }
        (bench.digests, bench.events)
    };
    let (first, second, other) = (run(700), run(700), run(701));
    assert_eq!(first.0, second.0);
    assert_eq!(first.1, second.1);
    assert_ne!(first.0, other.0);
    let parted = first.0.iter().zip(&other.0).position(|(a, b)| a != b).expect("they differ");
    assert!((700..720).contains(&parted), "digests part where the inputs do, not at {parted}");
}
