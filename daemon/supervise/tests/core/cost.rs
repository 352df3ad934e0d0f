//! What a tick costs. Timed, therefore not part of an ordinary run: `cargo test --release -p hearthward-supervise -- --ignored --nocapture`.

use hearthward_equipment::FurnaceId;

use crate::bench::{Bench, Kind, irons, plan};

#[test]
#[expect(clippy::disallowed_methods, reason = "it measures the host, not the shop")]
#[ignore = "a timed figure: run it by name, on a quiet machine"]
fn a_tick_costs_little_and_grows_linearly() {
    for count in [1_usize, 8, 64, 256] {
        let names: Vec<&'static str> = (0..count).map(|n| &*Box::leak(format!("f{n}").into_boxed_str())).collect();
        let kinds: Vec<Kind> = names.iter().map(|name| Kind::gas(name)).collect();
        let mut plan = plan(&kinds);
        plan.supplies[0].cylinder_volume = None;
        plan.supplies[0].capacity = hearthward_equipment::quantity::gas_flow(1e4, 21.1, 101.325);
        let mut bench = Bench::of(plan, None, hearthward_supervise::Away::Unknown);
        bench.scans(2);
        for furnace in 0..count {
            bench.load(FurnaceId(furnace as u16), irons(None));
        }
        bench.scans(1000);
        let (mut spent, mut clock) = (Vec::new(), Vec::new());
        for _ in 0..300 {
            // Ten scans a second, as a shop has.
            bench.now = bench.now + std::time::Duration::from_millis(100);
            bench.read_all();
            let (now, begun) = (bench.now, std::time::Instant::now());
            bench.shop.tick(now, &mut bench.out);
            spent.push(begun.elapsed().as_nanos());
            // The clock itself, as a control.
            let begun = std::time::Instant::now();
            clock.push(begun.elapsed().as_nanos());
            let said: Vec<_> = bench.out.events.iter().map(|event| &event.text).collect();
            assert!(bench.out.orders.len() == count, "every furnace heats: {} of {count}, {said:?}", bench.out.orders.len());
        }
        let median = |mut all: Vec<u128>| {
            all.sort_unstable();
            all[all.len() / 2]
        };
        let tick_ns = median(spent).saturating_sub(median(clock)) as f64;
        println!("{count} furnaces: {:.0} ns a furnace and tick, {tick_ns:.0} ns a tick", tick_ns / count as f64);
    }
}
