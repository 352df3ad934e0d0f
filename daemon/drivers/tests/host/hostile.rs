//! Guests that misbehave: each is contained, its points are bad, and the driver beside it keeps its scan.

use hearthward_drivers::{DriverState, ShopClock, survey};
use hearthward_equipment::{Fault, FaultCode, FurnaceId, Generation, Quality, ShopMs};
use hearthward_supervise::observe::{CutState, Observation, UnitState};
use hearthward_supervise::output::{Cut, Via};

use crate::guest::Guest;
use crate::log::Log;
use crate::shop::{Running, Shop, celsius, engine, is_bad, is_good, is_out, readings};

const SPIN: &str = "(loop $for_ever (br $for_ever))";

fn misread(read: &str) -> Guest {
    Guest { read: read.into(), ..Guest::steady(&["victim"]) }
}

/// Starts it beside a healthy driver, steps a few times, and gives what became of both.
fn beside_a_healthy_one(guest: &Guest) -> (Running, Vec<Observation>) {
    let shop = Shop::new()
        .driver("bad", guest, &[])
        .driver("good", &Guest::steady(&["north"]), &[])
        .everything()
        .start(ShopClock::stepped());
    let mut all = Vec::new();
    for step in 1..=5 {
        let observed = shop.host.step(ShopMs(step * 100));
        let healthy = readings(&observed)[&shop.point("good/north.temperature")].clone();
        assert_eq!((healthy.quality, healthy.at), (Quality::Good, ShopMs(step * 100)), "the healthy one missed step {step}");
        all.extend(observed);
    }
    (shop, all)
}

fn fault_of(observed: &[Observation], shop: &Running) -> Fault {
    let victim = shop.unit("bad/victim");
    let found = observed.iter().find_map(|what| match what {
        Observation::Unit { unit, is: UnitState::OutOfService(fault) } if *unit == victim => Some(fault.clone()),
        _ => None,
    });
    found.unwrap_or_else(|| panic!("it was never told to be out of service: {observed:?}"))
}

/// Goal: whatever kills a guest in a read leaves bad points, a fault of the right kind and in our words, and others untouched.
#[test]
fn a_read_that_kills_its_sandbox_is_contained() {
    let cases = [
        ("endless loop", SPIN.to_owned(), FaultCode::LIMIT, "without end"),
        ("trap", "unreachable".to_owned(), FaultCode::OTHER, "gave up"),
        ("wild pointer", "(drop (i32.load (i32.const -8)))".to_owned(), FaultCode::OTHER, "trapped"),
        ("division by zero", "(drop (i32.div_u (i32.const 1) (i32.const 0)))".to_owned(), FaultCode::OTHER, "trapped"),
        ("recursion", "(call $deeper)".to_owned(), FaultCode::LIMIT, "stack"),
        ("memory bomb", "(loop $more (drop (memory.grow (i32.const 1))) (br $more))".to_owned(), FaultCode::LIMIT, "memory"),
        ("call flood", "(loop $more (drop (call $now)) (br $more))".to_owned(), FaultCode::LIMIT, "too often"),
        (
            "giant result",
            // A list of more points than memory could hold, then one that fits in memory but not in a crossing.
            "(drop (memory.grow (i32.const 32))) (i32.store (i32.const 1116) (i32.const 0)) \
             (i32.store (i32.const 1120) (i32.const 40000))"
                .to_owned(),
            FaultCode::LIMIT,
            "more bytes",
        ),
        (
            "a list beyond memory",
            "(i32.store (i32.const 1116) (i32.const 64)) (i32.store (i32.const 1120) (i32.const -1))".to_owned(),
            FaultCode::OTHER,
            "",
        ),
    ];
    for (name, read, code, words) in cases {
        let mut guest = misread(&read);
        guest.extra = "(func $deeper (call $deeper))".into();
        let (shop, observed) = beside_a_healthy_one(&guest);
        let fault = fault_of(&observed, &shop);
        assert_eq!(fault.code, code, "{name}: {fault}");
        assert!(fault.detail.contains(words), "{name}: {fault}");
        let point = shop.point("bad/victim.temperature");
        assert!(observed.iter().any(|what| is_bad(what, point)), "{name}");
        assert!(!observed.iter().any(|what| is_good(what, point)), "{name}");
        let status = &shop.host.status()[0];
        assert!(matches!(status.state, DriverState::Quarantined { .. }), "{name}: {status:?}");
        assert_eq!(shop.host.status()[1].restarts, 0, "{name}");
        shop.host.stop();
    }
}

/// Goal: one that breaks is rebuilt after its pause, and pauses grow, so that it is tried ever less often. The log says for how long.
#[test]
fn a_broken_driver_is_rebuilt_ever_less_often() {
    let log = Log::of_all_tests();
    let shop = Shop::new().driver("breaks", &misread("unreachable"), &[]).everything().start(ShopClock::stepped());
    let mut restarts = Vec::new();
    for step in 1..=600 {
        let _ = shop.host.step(ShopMs(step * 100));
        restarts.push(shop.host.status()[0].restarts);
    }
    let (first, last) = (restarts[99], restarts[599]);
    assert!(first >= 3, "{first} restarts in ten seconds");
    assert!(last - first <= first, "{first} restarts in the first ten seconds, {last} in the minute");
    let log = log.so_far();
    for pause in ["0.2 s", "0.4 s", "6.4 s"] {
        let told = format!("a driver broke and is quarantined for another {pause}");
        assert!(log.lines().any(|line| line.contains(&told) && line.contains("driver=breaks")), "no {told:?} in the log:\n{log}");
    }
}

/// Goal: a loop in `start`, `describe` or `open` is contained as well; the first two are already seen by the survey.
#[test]
fn loops_before_the_first_read_are_contained() {
    let in_start = Guest { start: Some(SPIN.into()), ..Guest::steady(&["victim"]) };
    let in_describe = Guest { check: SPIN.into(), ..Guest::steady(&["victim"]) };
    for guest in [in_start, in_describe] {
        let shop = Shop::new().driver("bad", &guest, &[]).driver("good", &Guest::steady(&["north"]), &[]);
        let surveyed = survey(&engine(), &shop.plan.drivers);
        assert!(surveyed[0].problems[0].message.contains("without end"), "{:?}", surveyed[0].problems);
        assert!(surveyed[1].problems.is_empty());
        let problems = shop.try_start(ShopClock::stepped()).err().expect("nothing is half started");
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].key, "driver.bad");
    }
    let in_open = Guest { open: SPIN.into(), ..Guest::steady(&["victim"]) };
    let (shop, observed) = beside_a_healthy_one(&in_open);
    assert!(observed.iter().any(|what| is_out(what, shop.unit("bad/victim"))));
}

/// Goal: values that cannot be are bad without a value; what is only doubtful keeps the driver's own quality.
#[test]
fn lying_values_are_bad() {
    for lie in ["nan", "inf", "-300", "9999"] {
        let shop = Shop::new()
            .driver("bad", &misread(&format!("(call $temperature (f64.const {lie}))")), &[])
            .everything()
            .start(ShopClock::stepped());
        let told = readings(&shop.host.step(ShopMs(100)))[&shop.point("bad/victim.temperature")].clone();
        assert_eq!((told.value.clone(), told.quality), (None, Quality::Bad), "{lie}");
    }
    let doubtful = misread("(i32.store8 (i32.const 1048) (i32.const 1))");
    let shop = Shop::new().driver("bad", &doubtful, &[]).everything().start(ShopClock::stepped());
    let told = readings(&shop.host.step(ShopMs(100)))[&shop.point("bad/victim.temperature")].clone();
    assert_eq!((celsius(&told), told.quality), (Some(25.0), Quality::Uncertain));
}

/// Goal: a value that a unit lists and then does not bring is bad, not silently old.
#[test]
fn what_is_missing_is_bad() {
    let forgetful = misread("(i32.store8 (i32.const 1032) (i32.const 0))");
    let shop = Shop::new().driver("bad", &forgetful, &[]).everything().start(ShopClock::stepped());
    let last = readings(&shop.host.step(ShopMs(100)));
    assert_eq!(last[&shop.point("bad/victim.temperature")].quality, Quality::Bad);
    assert_eq!(last[&shop.point("bad/victim.heat-on")].quality, Quality::Good);
}

/// Goal: a guest that only waits is ended by the clock on the wall, which no epoch can do; here it waits for a line that never
/// answers, longer than its call may take.
#[test]
fn a_call_that_waits_is_ended() {
    let peer = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let mut shop = Shop::new()
        .line("wire", peer.local_addr().expect("its address"))
        .driver("bad", &Guest::on_a_line(&["victim"]), &["wire"])
        .driver("good", &Guest::steady(&["north"]), &[])
        .everything();
    shop.plan.drivers[0].call_limit = std::time::Duration::from_millis(100);
    let running = shop.start(ShopClock::real());
    running.wait("the victim to be bad", |what| is_bad(what, running.point("bad/victim.temperature")));
    running.wait("the healthy one", |what| is_good(what, running.point("good/north.temperature")));
    running.host.stop();
}

/// Goal: a cut that only a hung guest could carry out tears its sandbox down and is carried out by a new one.
#[test]
fn a_cut_does_not_wait_for_a_hung_guest() {
    let peer = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    // The line is granted, but the unit has no standing cut: only the guest can cut, and it needs no line for that.
    let guest = Guest { standing: false, cut: "(call $heat_on (i32.const 0))".into(), ..Guest::on_a_line(&["victim"]) };
    let mut shop = Shop::new()
        .line("wire", peer.local_addr().expect("its address"))
        .driver("bad", &guest, &["wire"])
        .furnace("bad/victim")
        .everything();
    shop.plan.drivers[0].call_limit = std::time::Duration::from_secs(3600);
    let running = shop.start(ShopClock::real());
    let (_held, _) = peer.accept().expect("the line connects");
    running.host.cut(&Cut { furnace: FurnaceId(0), generation: Generation(1), via: Via::Controller });
    running.wait("the cut to be confirmed", |what| {
        matches!(what, Observation::Cut { generation: Generation(1), is: CutState::Confirmed, .. })
    });
    running.host.stop();
}

/// Goal: a panic's text is in the log with the driver's name; a flood of lines is cut off and counted, and every line is one line.
#[test]
fn what_a_guest_says_is_in_the_log() {
    let text = "the panic's own words\\nand a forged line";
    let say = "(call $log (i32.const 0) (i32.const 512) (i32.const 39))";
    let flood = Guest {
        extra: format!("(global $left (mut i32) (i32.const 0)) (data (i32.const 512) \"{text}\")"),
        read: format!(
            "(global.set $left (i32.const 500)) \
             (loop $more {say} (global.set $left (i32.sub (global.get $left) (i32.const 1))) (br_if $more (global.get $left)))"
        ),
        ..Guest::steady(&["victim"])
    };
    let log = Log::of_all_tests();
    let (shop, _) = beside_a_healthy_one(&flood);
    shop.host.stop();
    let log = log.so_far();
    let mine: Vec<&str> = log.lines().filter(|line| line.contains("the panic's own words")).collect();
    assert!(
        !mine.is_empty() && mine.iter().all(|line| line.contains("driver=bad") && line.contains("and a forged line")),
        "{log}"
    );
    assert!(mine.len() <= 200, "{} lines of 2500 were let through", mine.len());
}
