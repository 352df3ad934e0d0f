//! Goal: an ordinary day trips nothing that means trouble, loads come to their ends, and a load needs about six touches. Method: the
//! same shops without any fault.

use hearthward_faults::run::Case;
use hearthward_faults::tally::Tally;
use hearthward_supervise::interlock::InterlockKind;

fn days() -> Tally {
    let mut all = Tally::default();
    for seed in 1..=40 {
        let ran = Case::calm(seed, 3 * 3600).run();
        all.add(&ran.unwrap_or_else(|broke| panic!("seed {seed}: {}\n{}", broke.what, broke.said.join("\n"))));
    }
    all
}

#[test]
fn calm_days_trip_nothing_that_is_no_trouble() {
    let tally = days();
    let ended = tally.ends.get("complete").copied().unwrap_or(0);
    println!("{tally}");
    assert!(ended > 200, "{ended} loads were completed");
    for kind in [InterlockKind::OverTemperature, InterlockKind::SensorFault, InterlockKind::Stop, InterlockKind::RoomOxygen] {
        assert_eq!(tally.trips.get(&kind), None, "{kind:?} tripped on a calm day");
    }
    assert_eq!(tally.events.get("cut_unconfirmed"), None);
    // Invariant 10: a start, and what is answered after it, each part of a load being one touch.
    let count = |kind| tally.events.get(kind).copied().unwrap_or(0);
    let touches = count("cycle_began") + count("answered");
    assert!(touches <= 6 * count("cycle_began"), "{touches} touches for {} loads", count("cycle_began"));
}
