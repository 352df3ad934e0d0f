//! Stepped time: every step polls everything once, and tells it in the same order.

use hearthward_drivers::{DriverState, ShopClock};
use hearthward_equipment::{FaultCode, FurnaceId, GasFlow, Generation, Quality, ShopMs};
use hearthward_supervise::observe::{ActState, CutState, Observation};
use hearthward_supervise::output::{Act, Cut, Via};

use crate::guest::Guest;
use crate::shop::{Shop, celsius, readings};

/// Goal: a step reads every unit of every driver once, at the step's own time, and two runs tell the same.
#[test]
fn a_step_polls_everything_once() {
    let run = || {
        let shop = Shop::new()
            .driver("one", &Guest::steady(&["north", "south"]), &[])
            .driver("two", &Guest::steady(&["east"]), &[])
            .everything()
            .start(ShopClock::stepped());
        let told: Vec<Vec<Observation>> = (1..=3).map(|step| shop.host.step(ShopMs(step * 1000))).collect();
        shop.host.stop();
        (told, shop.directory)
    };
    let (told, directory) = run();
    for (step, observed) in (1..=3).zip(&told) {
        let last = readings(observed);
        assert_eq!(last.len(), directory.points().len(), "step {step}");
        assert!(last.values().all(|reading| reading.quality == Quality::Good && reading.at == ShopMs(step * 1000)));
        assert_eq!(observed.iter().filter(|what| matches!(what, Observation::Reading(_))).count(), last.len());
    }
    let first = readings(&told[0]);
    assert_eq!(first.values().filter_map(celsius).collect::<Vec<_>>(), [25.0; 3]);
    assert_eq!(run().0, told);
}

/// Goal: a cut of a furnace that only its guest can cut is carried out within the step and reads back.
#[test]
fn a_cut_without_a_line_is_the_guests() {
    let shop = Shop::new()
        .driver("bench", &Guest::steady(&["north"]), &[])
        .furnace("bench/north")
        .everything()
        .start(ShopClock::stepped());
    let _ = shop.host.step(ShopMs(100));
    shop.host.cut(&Cut { furnace: FurnaceId(0), generation: Generation(4), via: Via::Controller });
    let observed = shop.host.step(ShopMs(200));
    let confirmed =
        Observation::Cut { furnace: FurnaceId(0), generation: Generation(4), via: Via::Controller, is: CutState::Confirmed };
    assert!(observed.contains(&confirmed), "{observed:?}");
    let again = shop.host.step(ShopMs(300));
    assert!(!again.iter().any(|what| matches!(what, Observation::Cut { .. })), "said once: {again:?}");
    assert!(matches!(shop.host.status()[0].state, DriverState::Answering));
}

/// Goal: what becomes of an act is told with the act itself. Method: a furnace is told a flow, which it has not.
#[test]
fn an_act_that_fails_comes_back() {
    let shop = Shop::new().driver("bench", &Guest::steady(&["north"]), &[]).everything().start(ShopClock::stepped());
    let act = Act::SetFlow { meter: shop.unit("bench/north"), flow: GasFlow::default() };
    shop.host.act(&act).expect("it is tried");
    let observed = shop.host.step(ShopMs(100));
    let back = observed.iter().find_map(|what| match what {
        Observation::Act { act, is: ActState::Failed(fault) } => Some((act.clone(), fault.code)),
        _ => None,
    });
    assert_eq!(back, Some((act, FaultCode::NOT_SUPPORTED)), "{observed:?}");
}

/// Goal: a real clock has no steps, and a stopped host does nothing and does not hang.
#[test]
fn a_stopped_host_is_silent() {
    let shop = Shop::new().driver("one", &Guest::steady(&["north"]), &[]).everything().start(ShopClock::stepped());
    let _ = shop.host.step(ShopMs(100));
    shop.host.stop();
    shop.host.stop();
    assert!(shop.host.step(ShopMs(200)).is_empty());
    assert!(matches!(shop.host.status()[0].state, DriverState::Stopped));
}
