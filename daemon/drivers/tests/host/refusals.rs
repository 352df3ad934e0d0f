//! What is refused before any of its code runs, in our own words; and the cache, which is never trusted.

use std::path::{Path, PathBuf};

use hearthward_drivers::{Compiler, DriverSpec, Engine, Refusal, Surveyed, survey};

use crate::guest::{CONTRACT, Guest};
use crate::shop::{engine, name};

fn survey_file(path: &Path) -> Surveyed {
    survey(&engine(), &[DriverSpec::new(name("one"), path)]).remove(0)
}

fn refusal(path: &Path) -> Refusal {
    survey_file(path).refusal.unwrap_or_else(|| panic!("{} was taken", path.display()))
}

fn write(folder: &tempfile::TempDir, bytes: &[u8]) -> PathBuf {
    let path = folder.path().join("guest.wasm");
    std::fs::write(&path, bytes).expect("writing");
    path
}

/// Goal: files that are no drivers are refused for what they are.
#[test]
fn what_is_no_driver_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    assert!(matches!(refusal(&folder.path().join("nowhere.wasm")), Refusal::Unreadable { .. }));
    assert!(matches!(refusal(&write(&folder, b"not wasm at all")), Refusal::NotADriver { .. }));
    assert!(matches!(refusal(&write(&folder, b"")), Refusal::NotADriver { .. }));
    assert!(matches!(refusal(&write(&folder, &vec![0; (8 << 20) + 1])), Refusal::TooLarge { .. }));
    let empty = wat::parse_str("(component)").expect("a component");
    assert!(matches!(refusal(&write(&folder, &empty)), Refusal::NotADriver { .. }));
    let plain = wat::parse_str("(module)").expect("a module");
    assert!(matches!(refusal(&write(&folder, &plain)), Refusal::NotADriver { .. }));
    let whole = Guest::steady(&["north"]).module();
    for end in [9, whole.len() / 2, whole.len() - 1] {
        assert!(matches!(refusal(&write(&folder, &whole[..end])), Refusal::NotADriver { .. }), "cut off at {end}");
    }
}

/// Goal: files, sockets and clocks of the world outside are named and refused, in a module as in a component.
#[test]
fn the_world_outside_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let module =
        wat::parse_str(r#"(module (import "wasi_snapshot_preview1" "fd_write" (func (param i32 i32 i32 i32) (result i32))))"#);
    let Refusal::ForbiddenImport { name, .. } = refusal(&write(&folder, &module.expect("a module"))) else {
        panic!("not refused as forbidden");
    };
    assert_eq!(name, "wasi_snapshot_preview1");
    let component = wat::parse_str(r#"(component (import "wasi:filesystem/types@0.2.0" (instance)))"#).expect("a component");
    assert!(matches!(refusal(&write(&folder, &component)), Refusal::ForbiddenImport { .. }));
    let unknown =
        wat::parse_str(r#"(component (import "hearthward:equipment/teleport@0.1.0" (instance)))"#).expect("a component");
    assert!(matches!(refusal(&write(&folder, &unknown)), Refusal::MissingImport { .. }));
}

/// Goal: a later contract is refused as too new, an earlier one as too old, also within what a linker would take.
#[test]
fn other_contracts_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let later = Guest { contract: CONTRACT.replace("0.1.0", "0.2.0"), ..Guest::steady(&["north"]) };
    let Refusal::TooNew { driver, host_most, .. } = refusal(&write(&folder, &later.module())) else {
        panic!("not refused as too new");
    };
    assert_eq!((driver.as_str(), host_most.as_str()), ("0.2.0", "0.1.0"));
    for (version, new) in [("0.1.1", true), ("1.0.0", true), ("0.0.4", false)] {
        let text = format!(r#"(component (import "hearthward:equipment/line@{version}" (instance)))"#);
        let found = refusal(&write(&folder, &wat::parse_str(text).expect("a component")));
        assert_eq!(matches!(found, Refusal::TooNew { .. }), new, "{version}: {found}");
        assert_eq!(matches!(found, Refusal::TooOld { .. }), !new, "{version}: {found}");
    }
}

/// Goal: a pinned file that was swapped is refused, whatever is in it.
#[test]
fn a_swapped_file_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = write(&folder, &Guest::steady(&["north"]).module());
    let digest = survey_file(&path).digest;
    let mut spec = DriverSpec::new(name("one"), &path);
    spec.sha256 = Some(digest.to_uppercase());
    assert_eq!(survey(&engine(), &[spec.clone()])[0].refusal, None);
    write(&folder, &Guest::steady(&["south"]).module());
    assert!(matches!(survey(&engine(), &[spec])[0].refusal, Some(Refusal::WrongDigest { .. })));
}

/// Goal: a survey of a sound driver tells its units by the names that addresses use, and all problems of all drivers at once.
#[test]
fn a_survey_tells_what_is_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let sound = Guest::on_a_line(&["north", "south"]).write(folder.path(), "sound");
    let mut spec = DriverSpec::new(name("sound"), sound);
    spec.lines = vec![name("wire")];
    let unlined = DriverSpec { name: name("unlined"), lines: Vec::new(), ..spec.clone() };
    let twice = Guest::steady(&["north", "north"]).write(folder.path(), "twice");
    let nameless = Guest::steady(&["Not A Name"]).write(folder.path(), "nameless");
    let specs = [spec, unlined, DriverSpec::new(name("twice"), twice), DriverSpec::new(name("nameless"), nameless)];
    let surveyed = survey(&engine(), &specs);
    let unit = &surveyed[0].units[1];
    assert_eq!(unit.name.as_str(), "south");
    assert_eq!(unit.readings.iter().map(|reading| reading.as_str()).collect::<Vec<_>>(), ["temperature", "heat-on", "door-open"]);
    assert_eq!((unit.standing_cuts, unit.costs[0].line.as_str(), unit.costs[0].reply_bytes), (1, "wire", 3));
    assert_eq!((surveyed[0].driver.as_str(), surveyed[0].contract.as_str()), ("in-text", "0.1.0"));
    assert_eq!(surveyed[0].exports, ["furnace"]);
    for (place, words) in [(1, "not granted"), (2, "two units called north"), (3, "no name")] {
        assert!(surveyed[place].problems[0].message.contains(words), "{:?}", surveyed[place].problems);
    }
}

/// Goal: compiled code is kept and taken again; an entry that was damaged, cut off, swapped for another's or forged with a right
/// hash is compiled anew.
#[test]
fn the_cache_is_never_trusted() {
    let folder = tempfile::tempdir().expect("a folder");
    let cache = folder.path().join("compiled");
    let guests = [Guest::steady(&["north"]), Guest::steady(&["south"])];
    let specs: Vec<DriverSpec> = guests
        .iter()
        .zip(["one", "two"])
        .map(|(guest, called)| DriverSpec::new(name(called), guest.write(folder.path(), called)))
        .collect();
    let check = || {
        let engine = Engine::new(Some(cache.clone()), Compiler::Within).expect("an engine");
        let surveyed = survey(&engine, &specs);
        assert!(surveyed.iter().all(|one| one.problems.is_empty()), "{surveyed:?}");
        assert_eq!(surveyed.iter().map(|one| one.units[0].name.as_str()).collect::<Vec<_>>(), ["north", "south"]);
    };
    check();
    let mut entries: Vec<PathBuf> =
        std::fs::read_dir(&cache).expect("the cache").map(|entry| entry.expect("an entry").path()).collect();
    entries.sort();
    assert_eq!(entries.len(), 2);
    let whole: Vec<Vec<u8>> = entries.iter().map(|entry| std::fs::read(entry).expect("reading")).collect();
    check();
    assert_eq!(std::fs::read(&entries[0]).expect("reading"), whole[0], "a good entry stays");
    let mut flipped = whole[0].clone();
    *flipped.last_mut().expect("it is not empty") ^= 1;
    for damaged in [flipped, whole[0][..100].to_vec(), whole[1].clone(), forged(&entries[0])] {
        std::fs::write(&entries[0], &damaged).expect("writing");
        check();
        assert_ne!(std::fs::read(&entries[0]).expect("reading"), damaged, "it was made anew");
    }
}

/// Rubbish with a right hash, as somebody who can write into the folder could leave it: the engine itself refuses it.
fn forged(entry: &Path) -> Vec<u8> {
    use sha2::{Digest, Sha256};
    let rubbish = b"\x7fELF and then nothing that any engine made".to_vec();
    let name = entry.file_stem().and_then(|stem| stem.to_str()).expect("a name in hexadecimal");
    let seal = Sha256::new().chain_update(name).chain_update(&rubbish).finalize();
    [seal.to_vec(), rubbish].concat()
}
