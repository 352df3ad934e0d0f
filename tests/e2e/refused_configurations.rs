//! Goal: a configuration that cannot be right is refused at `check` and at start, with every problem at once, and nothing of it is
//! half started. Method: each folder of `tests/refused` holds a configuration and what is said to it, word for word.
//!
//! `HEARTHWARD_BLESS=1` writes what is said now; look at it before it is committed.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Output;

use hearthward_tests::daemon::{command, run_within};
use hearthward_tests::talk::SOON;
use hearthward_tests::{place, shop};
use tempfile::TempDir;

/// Cases, by the names of their folders. Written out, so that a folder that got lost is missed.
const CASES: [&str; 24] = [
    "a-slip-in-the-gas",
    "alarms",
    "bypasses-and-rules",
    "drivers",
    "files-that-cannot-be-read",
    "flammable-gas",
    "gas-that-does-not-protect",
    "lines",
    "one-reading-for-two-things",
    "orders-that-do-not-arrive",
    "points-of-the-wrong-kind",
    "protection-that-no-wire-keeps",
    "recipes-that-never-run",
    "register-maps",
    "shared-outputs",
    "shares-that-never-suffice",
    "slips-in-a-register-map",
    "slips-in-lines-and-addresses",
    "tables-that-are-none",
    "things-without-a-name",
    "two-ways-to-one-device",
    "units-of-measure",
    "unknown-keys",
    "without-flow-evidence",
];

#[test]
fn each_is_refused_in_words() {
    let mut wrong = Vec::new();
    for case in CASES {
        let refused = Refused::new(case);
        for verb in ["check", "serve"] {
            let output = refused.run(verb);
            let said = refused.normal(&output);
            assert_eq!(output.status.code(), Some(3), "{verb} of {case} ended with {}:\n{said}", output.status);
            refused.assert_nothing_started(case, verb);
            if std::env::var_os("HEARTHWARD_BLESS").is_some() && verb == "check" {
                std::fs::write(refused.expected(), &said).expect("the expectation can be written");
            }
            let expected = std::fs::read_to_string(refused.expected())
                .unwrap_or_else(|_| panic!("{} is missing", refused.expected().display()));
            if said != expected {
                wrong.push(format!("== {verb} of {case} said:\n{said}-- expected:\n{expected}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_case_is_left_out() {
    let mut folders: Vec<String> = std::fs::read_dir(place::root().join("tests/refused"))
        .expect("the folder of cases")
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| !name.contains('.'))
        .collect();
    folders.sort();
    assert_eq!(folders, CASES);
}

/// Goal: the configuration of the other tests is sound, or their success means little; and `check` touches no line.
#[test]
fn a_sound_one_is_not_refused() {
    let refused = Refused::in_folder(shop::text(1, 2), PathBuf::new());
    let output = refused.run("check");
    let said = refused.normal(&output);
    assert!(output.status.success(), "{said}");
    assert!(refused.nobody_called(), "check opened a line");
    let all = String::from_utf8_lossy(&output.stdout).into_owned() + &said;
    assert!(all.contains("if this computer dies"), "check does not say what cuts heat if this computer dies:\n{all}");
}

/// Goal: a journal or a folder of compiled drivers that cannot be is refused at `check` as at `serve`, by its key, and nothing is made.
#[test]
fn what_cannot_be_kept_is_told_before_the_start() {
    let refused = Refused::in_folder(shop::text(1, 2), PathBuf::new());
    let file = |name: &str| refused.folder.path().join(name);
    let files = || std::fs::read_dir(refused.folder.path()).expect("the folder").count();
    std::fs::write(file("cache"), "no folder").expect("it can be written");
    let before = files();
    for (journal, cache, says) in [
        (file("drivers"), place::cache(), "journal.file: is a folder; name a file in it, such as \"drivers/journal.sqlite\""),
        (file("shop.toml"), place::cache(), "journal.file: is a file already, and no journal: name one of its own"),
        (file("shop.toml/journal.sqlite"), place::cache(), "journal.file: lies in shop.toml, which is a file and no folder"),
        (file("journal.sqlite"), file("cache"), "host.cache: is a file, and a folder is needed"),
    ] {
        for verb in ["check", "serve"] {
            let output = refused.run_with(verb, &journal, &cache);
            let said = refused.normal(&output);
            assert_eq!((output.status.code(), files()), (Some(3), before), "{verb}: {said}");
            assert!(said.ends_with(&format!("{says}\n1 problem in the configuration; nothing was started\n")), "{verb}: {said}");
        }
    }
}

/// Goal: what the guide shows as whole files can be used as it stands.
#[test]
fn the_examples_of_the_guide_are_good() {
    let guide = std::fs::read_to_string(place::root().join("deploy/configuration.md")).expect("the guide");
    let examples: Vec<&str> = guide.split("```toml\n").skip(1).map(|rest| rest.split("```").next().unwrap_or_default()).collect();
    assert_eq!(examples.len(), 4, "kept by hand, a program, a heartbeat, a calibrated chamber");
    for (example, dies) in examples.into_iter().zip([
        "NOTHING. It is set by hand",
        "the controller's own communication time-out of 30.0 s",
        "a contactor that drops 10.0 s after the last heartbeat",
        "NOTHING",
    ]) {
        let output = Refused::in_folder(example.to_owned(), PathBuf::new()).run("check");
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{example}\n{}", String::from_utf8_lossy(&output.stderr));
        assert!(said.contains(&format!("heat is cut by: {dies}")), "{said}");
    }
}

struct Refused {
    folder: TempDir,
    source: PathBuf,
    line: TcpListener,
}

impl Refused {
    fn new(case: &str) -> Self {
        let source = place::root().join("tests/refused").join(case);
        let text = std::fs::read_to_string(source.join("shop.toml")).unwrap_or_else(|error| panic!("{case}: {error}"));
        Self::in_folder(text, source)
    }

    /// A folder with the configuration, the drivers that ship and some that cannot be loaded. Where it says `@LINE@` a line leads
    /// to this process, which notices if anybody calls.
    fn in_folder(text: String, source: PathBuf) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let line = TcpListener::bind("127.0.0.1:0").expect("a port");
        line.set_nonblocking(true).expect("it can be asked without waiting");
        let port = line.local_addr().expect("it has an address").port().to_string();
        let text = text.replace("@LINE@", &format!("127.0.0.1:{port}")).replace("127.0.0.1:1\"", &format!("127.0.0.1:{port}\""));
        std::fs::write(folder.path().join("shop.toml"), text).expect("it can be written");
        if let Ok(drop_ins) = std::fs::read_dir(source.join("shop.d")) {
            std::fs::create_dir(folder.path().join("shop.d")).expect("it can be made");
            for file in drop_ins.map(|file| file.expect("a file")) {
                std::fs::copy(file.path(), folder.path().join("shop.d").join(file.file_name())).expect("it can be copied");
            }
        }
        let drivers = folder.path().join("drivers");
        std::fs::create_dir(&drivers).expect("it can be made");
        for guest in ["modbus-registers.wasm", "hand-kept.wasm", "simulated-bench.wasm", "hostile.wasm"] {
            std::fs::copy(place::guests().join(guest), drivers.join(guest)).expect("it can be copied");
        }
        std::fs::write(drivers.join("a-letter.wasm"), "Dear driver, please read the furnace.\n").expect("it can be written");
        std::fs::write(drivers.join("newer.wasm"), of_a_newer_contract(&drivers.join("hand-kept.wasm")))
            .expect("it can be written");
        Self { folder, source, line }
    }

    fn expected(&self) -> PathBuf {
        self.source.join("expected.txt")
    }

    fn run(&self, verb: &str) -> Output {
        self.run_with(verb, &self.folder.path().join("journal.sqlite"), &place::cache())
    }

    fn run_with(&self, verb: &str, journal: &Path, cache: &Path) -> Output {
        let mut command = command();
        let folder = self.folder.path();
        // From within, as a person would: problems then name the file as it was given.
        command.current_dir(folder).args([verb, "--config", "shop.toml"]).arg("--drivers").arg(folder.join("drivers"));
        command.arg("--journal").arg(journal);
        command.arg("--set").arg(format!("host.cache={}", cache.display()));
        if verb == "serve" {
            command.args(["--listen", "127.0.0.1:0"]);
        }
        run_within(&mut command, SOON)
    }

    /// What was said, without what differs from run to run.
    fn normal(&self, output: &Output) -> String {
        let said = String::from_utf8_lossy(&output.stderr).replace(&format!("{}/", self.folder.path().display()), "");
        let port = self.line.local_addr().expect("it has an address").to_string();
        without_digests(&said.replace(&port, "@LINE@"))
    }

    fn nobody_called(&self) -> bool {
        self.line.accept().is_err_and(|error| error.kind() == std::io::ErrorKind::WouldBlock)
    }

    fn assert_nothing_started(&self, case: &str, verb: &str) {
        assert!(self.nobody_called(), "{verb} of {case} opened a line");
        let journal = self.folder.path().join("journal.sqlite");
        assert!(!journal.exists(), "{verb} of {case} began a journal");
    }
}

/// A driver's digest moves with every build of it; a digest of nothing but zeros is from a configuration and stays.
fn without_digests(text: &str) -> String {
    let is_digest = |word: &str| {
        word.len() == 64 && word.chars().all(|letter| letter.is_ascii_hexdigit()) && word.contains(|letter| letter != '0')
    };
    let digests: Vec<&str> = text.split(|letter: char| !letter.is_ascii_alphanumeric()).filter(|word| is_digest(word)).collect();
    digests.into_iter().fold(text.to_owned(), |text, digest| text.replace(digest, "@DIGEST@"))
}

/// A driver whose every mention of the contract says 0.2.0.
fn of_a_newer_contract(guest: &Path) -> Vec<u8> {
    let mut bytes = std::fs::read(guest).expect("the guest can be read");
    let (old, new) = (b"@0.1.0", b"@0.2.0");
    let mut changed = 0;
    for at in 0..bytes.len() - old.len() {
        if &bytes[at..at + old.len()] == old {
            bytes[at..at + new.len()].copy_from_slice(new);
            changed += 1;
        }
    }
    assert!(changed > 0, "the guest names no contract");
    bytes
}
