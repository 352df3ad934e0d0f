//! Goal: the same seed comes to the same digests natively and in bare Wasm, which knows nothing of this processor. Method: a scripted
//! day of the core, compiled for both, the Wasm run in the engine that the service uses. `tests/run same` compares further builds.

use hearthward_same::{Day, day};
use hearthward_tests::place;
use wasmtime::{Engine, Instance, Module, Store};

/// Some hours of scans: enough for a load to be purged, heated, and met by a door.
const SCANS: u32 = 16_000;

#[test]
fn bare_wasm_decides_as_this_processor_does() {
    let file = place::guests().join("same.wasm");
    let bytes = std::fs::read(&file)
        .unwrap_or_else(|error| panic!("{}: {error}; `deploy/guests hearthward-same` builds it", file.display()));
    let engine = Engine::default();
    let module = Module::new(&engine, bytes).expect("a module");
    assert_eq!(module.imports().count(), 0, "bare means that nothing is given to it");
    let mut store = Store::new(&engine, ());
    let instance = Instance::new(&mut store, &module, &[]).expect("it starts");
    let there = instance.get_typed_func::<(u64, u32), u64>(&mut store, "day_as_number").expect("it is exported");
    for seed in 1..=4 {
        let Day { digests, events } = day(seed, SCANS);
        assert!(events > 50, "little happened with seed {seed}: {events} events");
        let found = there.call(&mut store, (seed, SCANS)).expect("no trap");
        assert_eq!(found, digests ^ events.rotate_left(32), "seed {seed}");
    }
}

#[test]
fn another_seed_comes_to_other_digests() {
    assert_ne!(day(1, 500).digests, day(2, 500).digests);
}
