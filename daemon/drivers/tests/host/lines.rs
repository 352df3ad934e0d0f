//! A driver on a real TCP line, and a device that is slow, silent, rude or away. Time is stepped: a step ends when its exchanges do.

use hearthward_drivers::ShopClock;
use hearthward_equipment::{FaultCode, Quality, Reading, ShopMs};
use hearthward_supervise::observe::{CutState, Observation, UnitState};

use crate::guest::Guest;
use crate::log::Log;
use crate::peer::{Does, Peer, obeys};
use crate::shop::{Running, Shop, celsius, cut, is_bad, is_good, readings};

/// A guest whose reads wait for the device this long.
fn guest(within_ms: u32) -> Guest {
    Guest {
        read: format!("(call $ask (i32.const 0x52) (local.get $unit) (i32.const 3) (i32.const {within_ms}))"),
        ..Guest::on_a_line(&["north"])
    }
}

fn shop(peer: &Peer, within_ms: u32) -> Running {
    Shop::new().line("wire", peer.address).driver("io", &guest(within_ms), &["wire"]).everything().start(ShopClock::stepped())
}

fn step(shop: &Running, at: u64) -> (Reading, Vec<Observation>) {
    let observed = shop.host.step(ShopMs(at));
    (readings(&observed)[&shop.point("io/north.temperature")].clone(), observed)
}

fn silent(observed: &[Observation]) -> Option<FaultCode> {
    observed.iter().find_map(|what| match what {
        Observation::Unit { is: UnitState::Silent(fault), .. } => Some(fault.code),
        _ => None,
    })
}

/// Goal: a device that answers is read, at the time of its answer, and told to answer once.
#[test]
fn a_device_is_read() {
    let peer = Peer::obedient(61);
    let shop = shop(&peer, 5000);
    for at in [100, 200, 300] {
        let (reading, observed) = step(&shop, at);
        assert_eq!((celsius(&reading), reading.quality, reading.at), (Some(61.0), Quality::Good, ShopMs(at)));
        let answering = observed.iter().filter(|what| matches!(what, Observation::Unit { is: UnitState::Answering, .. })).count();
        assert_eq!(answering, usize::from(at == 100));
    }
    assert_eq!(peer.frames(), [[b'R', 0]; 3]);
    let line = &shop.host.lines()[0];
    assert!(line.open && line.exchanges == 3 && line.faults == 0, "{line:?}");
}

/// Goal: whoever looks for a driver's mistake sees each call and each exchange, with its bytes as manuals write them.
#[test]
fn exchanges_and_calls_are_in_the_log() {
    let log = Log::of_all_tests();
    let peer = Peer::obedient(61);
    let shop = Shop::new().line("looked-at", peer.address).driver("told", &guest(50), &["looked-at"]);
    let shop = shop.furnace("told/north").everything().start(ShopClock::real());
    let point = shop.point("told/north.temperature");
    shop.wait("a reading", |what| is_good(what, point));
    peer.set(|frame| if frame[0] == b'R' { Does::Nothing } else { Does::Answers(obeys(61, frame)) });
    shop.wait("silence", |what| is_bad(what, point));
    shop.host.cut(&cut(0, 1));
    shop.wait("a cut", |what| matches!(what, Observation::Cut { is: CutState::Confirmed, .. }));
    shop.host.stop();
    let log = log.so_far();
    // What the peer and the guest say to each other: a word of one letter and the unit's number, and the degrees in the answer.
    for expected in [
        ["driver=told", "call=\"read\"", " ms="],
        ["driver=told line=looked-at out=52 00 back=52 3d 00", "an exchange", " ms="],
        ["driver=told line=looked-at out=52 00 fault=", "an exchange", " ms="],
        ["line=looked-at out=53 00 became=\"read back\"", "a standing cut", " ms="],
    ] {
        let is = |line: &&str| line.contains("DEBUG") && expected.iter().all(|part| line.contains(part));
        assert!(log.lines().any(|line| is(&line)), "no {expected:?} in the log:\n{log}");
    }
}

/// Goal: a silent device is bad and said to be silent once; when it answers again all is well without anybody's doing.
#[test]
fn a_silent_device_comes_back() {
    let peer = Peer::new(|_| Does::Nothing);
    let shop = shop(&peer, 50);
    let (reading, observed) = step(&shop, 100);
    assert_eq!((reading.value, reading.quality), (None, Quality::Bad));
    assert_eq!(silent(&observed), Some(FaultCode::TIMED_OUT));
    // Long enough that the line takes the connection for dead and makes a new one.
    for at in 2..8 {
        let (reading, observed) = step(&shop, at * 100);
        assert_eq!(reading.quality, Quality::Bad);
        assert_eq!(silent(&observed), None, "the same again is no news");
    }
    peer.set(|frame| Does::Answers(obeys(70, frame)));
    let back = (9..200).map(|at| step(&shop, at * 100).0).find(|reading| reading.quality == Quality::Good);
    assert_eq!(back.as_ref().and_then(celsius), Some(70.0));
    assert_eq!(shop.host.status()[0].restarts, 0, "a silent device is no reason to rebuild its driver");
}

/// Goal: a reply that comes after its request was given up is not taken for the reply to the next.
#[test]
fn a_late_reply_is_thrown_away() {
    let peer = Peer::new(|_| Does::Nothing);
    let shop = shop(&peer, 50);
    assert_eq!(step(&shop, 100).0.quality, Quality::Bad);
    peer.set(|frame| Does::Answers(obeys(50, frame)));
    // On the way before the next request is, since the socket is the same and this returns only when it is written.
    peer.say(&[b'R', 99, 1, b'R', 98]);
    assert_eq!(celsius(&step(&shop, 200).0), Some(50.0));
}

/// Goal: rubbish is a bad answer, and the line is in step again for the next.
#[test]
fn rubbish_does_not_stick() {
    let peer = Peer::new(|_| Does::Answers(vec![0xEE; 300]));
    let shop = shop(&peer, 5000);
    let (reading, observed) = step(&shop, 100);
    assert_eq!((reading.quality, silent(&observed)), (Quality::Bad, Some(FaultCode::BAD_ANSWER)));
    peer.set(|frame| Does::Answers(obeys(50, frame)));
    assert_eq!(celsius(&step(&shop, 200).0), Some(50.0));
}

/// Goal: a device that hangs up between two requests costs nothing; one that hangs up on a request costs that request.
#[test]
fn a_device_that_hangs_up_is_called_again() {
    let peer = Peer::obedient(40);
    let shop = shop(&peer, 5000);
    assert_eq!(celsius(&step(&shop, 100).0), Some(40.0));
    peer.set(|_| Does::HangsUp);
    let (reading, observed) = step(&shop, 200);
    assert_eq!((reading.quality, silent(&observed)), (Quality::Bad, Some(FaultCode::LINE_DOWN)));
    peer.set(|frame| Does::Answers(obeys(41, frame)));
    assert_eq!(celsius(&step(&shop, 300).0), Some(41.0));
}

/// Goal: a line that is not there is bad at once and does not hold up the step; when it is there, it is used.
#[test]
fn a_line_may_come_later() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("its address");
    drop(listener);
    let shop = Shop::new().line("wire", address).driver("io", &guest(5000), &["wire"]).everything().start(ShopClock::stepped());
    let (reading, observed) = step(&shop, 100);
    assert_eq!((reading.quality, silent(&observed)), (Quality::Bad, Some(FaultCode::LINE_DOWN)));
    let listener = std::net::TcpListener::bind(address).expect("the same port");
    let _peer = Peer::on(listener, |frame| Does::Answers(obeys(33, frame)));
    let until = std::time::Instant::now() + crate::shop::PATIENCE;
    let mut at = 200;
    while celsius(&step(&shop, at).0) != Some(33.0) {
        at += 100;
        assert!(std::time::Instant::now() < until, "it never came back: {:?}", shop.host.lines());
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

/// Goal: a driver that reads from memory does not look fresh.
#[test]
fn a_read_without_an_exchange_keeps_its_time() {
    let peer = Peer::obedient(40);
    // It asks the device in the first read only, and remembers.
    let forgetful = Guest {
        extra: "(global $asked (mut i32) (i32.const 0))".into(),
        read: "(if (i32.eqz (global.get $asked)) (then (global.set $asked (i32.const 1)) \
               (call $ask (i32.const 0x52) (local.get $unit) (i32.const 3) (i32.const 5000))))"
            .into(),
        ..Guest::on_a_line(&["north"])
    };
    let shop =
        Shop::new().line("wire", peer.address).driver("io", &forgetful, &["wire"]).everything().start(ShopClock::stepped());
    assert_eq!(step(&shop, 100).0.at, ShopMs(100));
    assert_eq!(step(&shop, 200).0.at, ShopMs(100));
    assert_eq!(step(&shop, 300).0.at, ShopMs(100));
}

/// Goal: a unit that says nothing costs its neighbour on the line two waits at a time at most, from the first failure on: its read
/// and its cut. Method: the neighbour's frames between those of the silent unit are counted at the device, its readings stay good.
#[test]
fn a_silent_unit_leaves_its_neighbour_the_line() {
    let peer = Peer::obedient(20);
    let in_a_row = beside(&peer, |frame| if frame[1] == 0 { Does::Nothing } else { Does::Answers(obeys(20, frame)) }, 8);
    assert!(in_a_row <= 2, "the silent unit was tried {in_a_row} times before its neighbour had a turn");
}

/// Goal: the same of a unit that answers rubbish, however often the line has to be opened anew for it.
#[test]
fn a_unit_that_talks_rubbish_leaves_its_neighbour_the_line() {
    let peer = Peer::obedient(20);
    let in_a_row = beside(&peer, |frame| Does::Answers(if frame[1] == 0 { vec![0xEE; 300] } else { obeys(20, frame) }), 4);
    assert!(in_a_row > 0, "it was never tried");
}

/// Runs two units on one line until the first has been tried so often after it turned bad; says how often in a row at most,
/// without its neighbour being asked in between. Fails if the neighbour goes bad.
fn beside(peer: &Peer, manner: impl FnMut([u8; 2]) -> Does + Send + 'static, tries: usize) -> usize {
    let read = "(call $ask (i32.const 0x52) (local.get $unit) (i32.const 3) (i32.const 100))";
    let units = Guest { read: read.into(), ..Guest::on_a_line(&["north", "south"]) };
    let shop = Shop::new().line("wire", peer.address).driver("io", &units, &["wire"]);
    let shop = shop.furnace("io/north").furnace("io/south").everything().start(ShopClock::real());
    let (north, south) = (shop.point("io/north.temperature"), shop.point("io/south.temperature"));
    shop.wait("a good neighbour", |what| is_good(what, south));
    peer.set(manner);
    shop.wait("a bad unit", |what| is_bad(what, north));
    let before = peer.frames();
    shop.host.cut(&cut(0, 1));
    // The read that turned it bad, unless the neighbour was asked since.
    let mut row = before.iter().rev().take_while(|frame| frame[1] == 0).count();
    let (mut longest, mut tried) = (row, 0);
    assert!(before.contains(&[b'R', 0]), "the unit turned bad without being asked");
    while tried < tries {
        if peer.next()[1] == 0 {
            (row, tried) = (row + 1, tried + 1);
            longest = longest.max(row);
        } else {
            row = 0;
        }
    }
    assert!(!shop.so_far().iter().any(|what| is_bad(what, south)), "the neighbour went bad too");
    longest
}

/// Goal: a new cut goes at once, although an older one of a silent unit is being repeated on the same line.
#[test]
fn a_new_cut_goes_before_a_repeated_one() {
    let peer = Peer::new(|frame| if frame == [b'S', 0] { Does::Nothing } else { Does::Answers(obeys(20, frame)) });
    let shop = Shop::new().line("wire", peer.address).driver("io", &Guest::on_a_line(&["north", "south"]), &["wire"]);
    let shop = shop.furnace("io/north").furnace("io/south").everything().start(ShopClock::real());
    shop.host.cut(&cut(0, 1));
    for _ in 0..2 {
        peer.next_of(b'S');
    }
    shop.host.cut(&cut(1, 1));
    while peer.next_of(b'S') != [b'S', 1] {}
    shop.wait(
        "a confirmed cut",
        |what| matches!(what, Observation::Cut { furnace, is: CutState::Confirmed, .. } if furnace.0 == 1),
    );
}
