//! Cuts on the wire: ahead of everything, without the guest, again and again until they read back.

use std::time::Duration;

use hearthward_drivers::{LineSpec, ShopClock, send_standing};
use hearthward_equipment::{FaultCode, HeatPointId, PointId, ShopMs, Value};
use hearthward_supervise::observe::{CutState, Observation};
use hearthward_supervise::output::{Act, Cut, Via};

use crate::guest::Guest;
use crate::peer::{Does, Peer, obeys};
use crate::shop::{Running, Shop, cut, name};

fn confirmed(shop: &Running, furnace: u16) {
    shop.wait(
        "a confirmed cut",
        |what| matches!(what, Observation::Cut { furnace: found, is: CutState::Confirmed, .. } if found.0 == furnace),
    );
}

/// A shop whose guest would wait for ever for its device.
fn patient(peer: &Peer, units: &[&'static str]) -> Shop {
    let mut shop = Shop::new().line("wire", peer.address).driver("io", &Guest::on_a_line(units), &["wire"]);
    shop.plan.drivers[0].call_limit = Duration::from_secs(3600);
    for unit in units {
        shop = shop.furnace(&format!("io/{unit}"));
    }
    shop.everything()
}

/// Goal: while a read hangs, the standing cut goes out at once and is confirmed; the read is withdrawn, and the guest's own cut
/// follows.
#[test]
fn a_cut_overtakes_a_read_that_hangs() {
    let peer = Peer::new(|frame| if frame[0] == b'R' { Does::Nothing } else { Does::Answers(obeys(0, frame)) });
    let shop = patient(&peer, &["north"]).start(ShopClock::real());
    assert_eq!(peer.next(), [b'R', 0]);
    shop.host.cut(&cut(0, 1));
    assert_eq!(peer.next(), [b'S', 0], "the standing cut is the next frame");
    confirmed(&shop, 0);
    assert_eq!(peer.next_of(b'C'), [b'C', 0], "the guest's own cut follows");
}

/// Goal: a cut that the core asks for again, since it did not help, goes out again though it was read back.
#[test]
fn a_cut_that_was_read_back_and_did_not_help_goes_out_again() {
    let peer = Peer::new(|frame| Does::Answers(obeys(20, frame)));
    let shop = patient(&peer, &["north"]).start(ShopClock::real());
    for _ in 0..3 {
        shop.host.cut(&cut(0, 1));
        assert_eq!(peer.next_of(b'S'), [b'S', 0]);
        confirmed(&shop, 0);
    }
}

/// Goal: a standing cut that is not confirmed is said to have failed, and is sent again until it reads back.
#[test]
fn a_cut_is_repeated_until_it_reads_back() {
    let peer = Peer::new(|frame| if frame[0] == b'R' { Does::Answers(obeys(20, frame)) } else { Does::Nothing });
    let shop = patient(&peer, &["north"]).start(ShopClock::real());
    shop.host.cut(&cut(0, 1));
    shop.wait("a cut that failed", |what| matches!(what, Observation::Cut { is: CutState::Failed(_), .. }));
    for _ in 0..3 {
        assert_eq!(peer.next_of(b'S'), [b'S', 0]);
    }
    // A reply that is not the expected one confirms nothing.
    peer.set(|frame| Does::Answers(if frame[0] == b'S' { vec![b'S', 9] } else { obeys(20, frame) }));
    peer.next_of(b'S');
    peer.set(|frame| Does::Answers(obeys(20, frame)));
    confirmed(&shop, 0);
}

/// Goal: the cut of one furnace does not wait for the device of another on the same line.
#[test]
fn a_dead_neighbour_does_not_hold_up_a_cut() {
    let peer = Peer::new(|frame| if frame == [b'S', 0] { Does::Nothing } else { Does::Answers(obeys(20, frame)) });
    let mut shop = patient(&peer, &["north", "south"]);
    // The guest has no cut of its own here, so that only the lane can confirm.
    let lane_only =
        Guest { cut: "(call $fail (i32.const 5) (i32.const 0) (i32.const 0))".into(), ..Guest::on_a_line(&["north", "south"]) };
    lane_only.write(shop.folder.path(), "io");
    shop.plan.drivers[0].poll_every = Duration::from_millis(50);
    let shop = shop.start(ShopClock::real());
    shop.host.cut(&cut(0, 1));
    peer.next_of(b'S');
    shop.host.cut(&cut(1, 1));
    confirmed(&shop, 1);
}

/// Goal: on a line where replies must not be disturbed, the cut waits for the one under way, and for no more.
#[test]
fn a_cut_respects_the_turnaround() {
    let peer = Peer::new(|_| Does::Nothing);
    let mut shop = patient(&peer, &["north"]);
    shop.plan.lines[0].turnaround = Duration::from_secs(60);
    let shop = shop.start(ShopClock::real());
    assert_eq!(peer.next(), [b'R', 0]);
    peer.set(|frame| Does::Answers(obeys(20, frame)));
    shop.host.cut(&cut(0, 1));
    assert!(peer.is_quiet_for(Duration::from_millis(200)), "the cut did not wait for the reply");
    peer.say(&[b'R', 30, 0]);
    assert_eq!(peer.next(), [b'S', 0], "nothing gets in between");
    confirmed(&shop, 0);
}

/// Goal: the contactor's own line carries its standing cut when the core asks for it.
#[test]
fn the_contactor_is_on_a_line_of_its_own() {
    let (controller, contactor) = (Peer::new(|_| Does::Nothing), Peer::obedient(20));
    let mut shop = patient(&controller, &["north"])
        .line("other", contactor.address)
        .driver("relays", &Guest::on_a_line(&["k-one"]), &["other"])
        .everything();
    let closes = shop.plan.directory.find_point(&"relays/k-one.heat-on".parse().expect("an address")).expect("a point");
    shop.plan.wiring[0].contactor = Some(HeatPointId(closes.0));
    let shop = shop.start(ShopClock::real());
    shop.host.cut(&cut(0, 1));
    controller.next_of(b'S');
    assert!(!contactor.frames().iter().any(|frame| frame[0] == b'S'), "not before it is asked for");
    shop.host.cut(&Cut { via: Via::Contactor, ..cut(0, 1) });
    assert_eq!(contactor.next_of(b'S'), [b'S', 0]);
    confirmed(&shop, 0);
}

/// Goal: no act reaches anything that can heat, and a value is entered only where a person keeps it.
#[test]
fn acts_never_heat() {
    let peer = Peer::obedient(20);
    let shop = patient(&peer, &["north"]).start(ShopClock::stepped());
    let point = |of: &str| PointId(shop.point(&format!("io/north.{of}")).0);
    let refused = |act: &Act| shop.host.act(act).expect_err("it is refused").code;
    let heats = Act::WritePoint { point: point("heat-on"), value: Value::Flag(true) };
    assert_eq!(refused(&heats), FaultCode::NOT_ALLOWED);
    assert_eq!(refused(&Act::Enter { point: point("door-open"), value: Value::Flag(false) }), FaultCode::NOT_ALLOWED);
    assert_eq!(refused(&Act::WritePoint { point: PointId(999), value: Value::Flag(true) }), FaultCode::NOT_SUPPORTED);
    let _ = shop.host.step(ShopMs(100));
    assert_eq!(peer.frames(), [[b'R', 0]]);
}

/// Goal: what one run kept is sent by the next before any driver is loaded, and a line that is dead is said to be.
#[test]
fn standing_cuts_are_sent_at_the_start() {
    let (alive, spare) = (Peer::obedient(20), Peer::obedient(20));
    let shop = patient(&alive, &["north"])
        .line("dead", spare.address)
        .driver("far", &Guest::on_a_line(&["south"]), &["dead"])
        .furnace("far/south")
        .everything()
        .start(ShopClock::stepped());
    let kept = shop.host.standing_cuts();
    shop.host.stop();
    let next = Peer::obedient(20);
    let lines = [LineSpec::tcp(name("wire"), next.address.to_string()), LineSpec::tcp(name("dead"), "127.0.0.1:1")];
    let sent = send_standing(&lines, &kept, Duration::from_secs(2));
    assert_eq!(next.frames(), [[b'S', 0]]);
    assert_eq!(sent.iter().map(|one| (one.furnace.0, one.read_back)).collect::<Vec<_>>(), [(0, true), (1, false)]);
    assert!(sent[1].why.contains("127.0.0.1:1"), "{}", sent[1].why);
    assert!(send_standing(&lines, b"rubbish", Duration::from_secs(2)).is_empty());
}
