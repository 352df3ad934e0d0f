//! Goal: a command that cannot do what was asked ends with the documented code, in words that name the mend, and in JSON where JSON
//! was asked for; one whose reader goes, or whose disk is full, does not panic; one that only looks leaves nothing behind.
//! Method: run the installed binary as people and programs do.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Command, Output, Stdio};

use hearthward_tests::daemon::{command, run_within};
use hearthward_tests::place;
use hearthward_tests::talk::SOON;
use serde_json::Value;

const EXAMPLE: &str = "deploy/example/shop.toml";

fn said(arguments: &[&str]) -> Output {
    // From the repository's root, where paths are as the guides write them.
    run_within(command().current_dir(place::root()).args(arguments), SOON)
}

fn words(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn check_of_the_example() -> Command {
    let mut check = command();
    check.current_dir(place::root()).args(["check", "--config", EXAMPLE, "--drivers"]).arg(place::guests());
    check
}

#[test]
fn failures_are_json_where_json_was_asked_for() {
    let cases: [(&[&str], i32, &str); 4] = [
        (&["status", "--json", "--at", "127.0.0.1:9"], 4, "unreachable"),
        (&["cycle", "start", "north", "knives", "--load", "k", "--parts", "0", "--json"], 2, "usage"),
        (&["check", "--json", "--config", "/nowhere.toml"], 3, "configuration"),
        (&["serve", "--json", "--config", "/nowhere.toml"], 3, "configuration"),
    ];
    for (arguments, code, reason) in cases {
        let output = said(arguments);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", words(&output));
        let told: Value = serde_json::from_str(words(&output).trim()).unwrap_or_else(|_| panic!("no JSON: {}", words(&output)));
        assert_eq!((told["exit"].as_i64(), told["reason"].as_str()), (Some(code.into()), Some(reason)), "{told}");
        assert!(told["error"].as_str().is_some_and(|error| !error.is_empty()), "{told}");
    }
}

/// Goal: flags and variables reach what a file can hold: a driver's numbers, names with a dash, lists; and what is wrong in one is told
/// of it, not of a line of the file that is right.
#[test]
fn flags_and_variables_give_numbers_and_lists() {
    let with = |set: &[&str], variables: &[(&str, &str)]| {
        let mut check = check_of_the_example();
        check.args(set.iter().flat_map(|key| ["--set", key])).envs(variables.iter().copied());
        run_within(&mut check, SOON)
    };
    let output = with(
        &["driver.bench.settings.seed=8", "furnace.north.may_bypass=[\"purge-flow\", \"quench-readiness\"]", "shop.name=17"],
        &[("HEARTHWARD__DRIVER__BENCH__SETTINGS__UNIT__SOUTH__LOAD_KG", "1")],
    );
    assert!(output.status.success(), "{}", words(&output));
    assert!(String::from_utf8_lossy(&output.stdout).starts_with("17: the configuration is good"));
    let meter = "HEARTHWARD__DRIVER__BENCH__SETTINGS__UNIT__NORTH_METER__FURNACE";
    let output = with(&["driver.bench.settings.seed=eight"], &[(meter, "nowhere")]);
    let told = words(&output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains("--set: driver.bench.settings.seed: should be a whole number, not \"eight\""), "{told}");
    assert!(told.contains(&format!("{meter}: driver.bench.settings.unit.north-meter.furnace: ")), "{told}");
}

/// Goal: what lets heat come, takes protection away or stands as evidence has a person's name; what takes heat away never waits for one.
#[test]
fn nobody_is_no_name_for_what_a_person_answers_for() {
    let nowhere = ["--at", "127.0.0.1:9"];
    let named: [&[&str]; 10] = [
        &["interlock", "bypass", "purge-flow", "--furnace", "north", "--reason", "its meter is away"],
        &["interlock", "test", "door-open", "--furnace", "north", "--saw", "passed", "--how", "opened it"],
        &["interlock", "test", "door-open", "--furnace", "north"],
        &["interlock", "reset"],
        &["cycle", "start", "north", "knives", "--load", "k"],
        &["cycle", "resume", "north"],
        &["cycle", "skip", "north", "--reason", "it is late"],
        &["question", "confirm", "1"],
        &["question", "choose", "1", "go-on"],
        &["enter", "by-hand/oil.temperature", "52 C"],
    ];
    for arguments in named {
        let output = said(&[arguments, nowhere.as_slice()].concat());
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {}", words(&output));
        assert!(words(&output).contains("say who you are: --person NAME or HEARTHWARD_PERSON"), "{}", words(&output));
        let output = run_within(command().args(arguments).args(nowhere).env("HEARTHWARD_PERSON", " ").env("USER", "ada"), SOON);
        assert_eq!(output.status.code(), Some(4), "{arguments:?}: {}", words(&output));
    }
    let away: [&[&str]; 4] = [
        &["interlock", "stop"],
        &["interlock", "restore", "purge-flow", "--furnace", "north"],
        &["cycle", "hold", "north"],
        &["cycle", "abort", "north"],
    ];
    for arguments in away {
        let output = said(&[arguments, nowhere.as_slice()].concat());
        assert_eq!(output.status.code(), Some(4), "{arguments:?}: {}", words(&output));
    }
}

/// Goal: a service that dies in the middle of a call is not reached, and has refused nothing. Method: a listener that takes the request
/// and hangs up.
#[test]
fn a_service_that_dies_in_mid_call_is_not_reached() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let at = listener.local_addr().expect("bound").to_string();
    std::thread::spawn(move || {
        for call in listener.incoming() {
            let mut call = call.expect("a call");
            // An empty SETTINGS frame, as HTTP/2 begins (RFC 9113, 3.4).
            call.write_all(&[0, 0, 0, 4, 0, 0, 0, 0, 0]).expect("written");
            let mut heard = Vec::new();
            let mut some = [0; 4096];
            while !String::from_utf8_lossy(&heard).contains("grpc") && heard.len() < 150 {
                let count = call.read(&mut some).expect("readable");
                heard.extend_from_slice(&some[..count]);
            }
        }
    });
    for arguments in [["interlock", "stop"].as_slice(), &["cycle", "hold", "north"], &["status"], &["watch"]] {
        let output = said(&[arguments, &["--json", "--at", &at]].concat());
        let told: Value = serde_json::from_str(words(&output).trim()).unwrap_or_else(|_| panic!("no JSON: {}", words(&output)));
        assert_eq!((output.status.code(), told["reason"].as_str()), (Some(4), Some("unreachable")), "{arguments:?}: {told}");
        assert!(told["error"].as_str().is_some_and(|error| error.contains("the service went away")), "{told}");
    }
}

#[test]
fn the_exit_codes_stand_under_every_help_and_in_the_readme() {
    let readme = std::fs::read_to_string(place::root().join("README.md")).expect("the README");
    for arguments in [["--help", ""], ["watch", "--help"], ["cycle", "--help"]] {
        let arguments: Vec<&str> = arguments.into_iter().filter(|word| !word.is_empty()).collect();
        let output = said(&arguments);
        assert!(output.status.success());
        let help = String::from_utf8_lossy(&output.stdout).into_owned();
        for code in [
            "0 done",
            "1 refused",
            "2 command line not understood",
            "3 configuration has problems",
            "4 service cannot be reached",
            "5 service could not start",
            "6 answer not on record yet",
        ] {
            let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat(&help).contains(code), "{arguments:?} does not say {code}:\n{help}");
            assert!(flat(&readme).contains(code), "the README does not say {code}");
        }
    }
}

/// Method: a reader takes one line of a long record and goes; another record's reader is a full disk.
#[test]
fn a_reader_that_goes_and_a_full_disk_are_no_panic() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut demo = command();
    demo.arg("demo").arg("--drivers").arg(place::guests()).arg("--folder").arg(folder.path());
    let mut demo = demo.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    let mut out = BufReader::new(demo.stdout.take().expect("piped"));
    let mut line = String::new();
    out.read_line(&mut line).expect("a first line");
    assert!(line.contains("supervision"), "{line}");
    drop(out);
    let status = demo.wait().expect("it ends");
    let mut errors = String::new();
    demo.stderr.take().expect("piped").read_to_string(&mut errors).expect("text");
    assert!(status.success() && errors.is_empty(), "{status}: {errors}");

    let full = std::fs::File::options().write(true).open("/dev/full").expect("Linux has one");
    let output = check_of_the_example().stdout(full).stderr(Stdio::piped()).output().expect("it runs");
    assert_eq!(output.status.code(), Some(5));
    assert!(words(&output).contains("standard output cannot be written"), "{}", words(&output));
}

#[test]
fn a_place_that_cannot_be_right_is_named_and_nothing_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let broken = folder.path().join("broken.toml");
    std::fs::write(&broken, "[shop\nname = 1").expect("written");
    let cases: [(&Path, &str); 3] = [
        (Path::new("deploy/example"), "is a folder; name the file in it, such as deploy/example/shop.toml"),
        (Path::new("/nowhere.toml"), "not found"),
        (&broken, "line 1"),
    ];
    for (config, expected) in cases {
        let output = said(&["check", "--config", config.to_str().expect("text")]);
        let words = words(&output);
        assert!(words.contains(expected) && words.contains("1 problem in"), "{}: {words}", config.display());
    }
    let output = run_within(check_of_the_example().env("HEARTHWARD_FURNACE__NORTH__LIMIT", "900 C"), SOON);
    assert!(words(&output).contains("write HEARTHWARD__FURNACE__NORTH__LIMIT"), "{}", words(&output));
}

/// Goal: who writes a driver or a map sees what `check` has found in it, in words and in JSON.
#[test]
fn check_shows_each_driver_with_its_units() {
    let output = run_within(&mut check_of_the_example(), SOON);
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{}", words(&output));
    let driver = told.lines().find(|line| line.starts_with("driver bench: ")).unwrap_or_else(|| panic!("no driver:\n{told}"));
    assert!(driver.contains("simulated-bench ") && driver.contains(", contract 0.1.0, "), "{driver}");
    assert!(driver.ends_with("/simulated-bench.wasm"), "{driver}");
    let exports = told.lines().find(|line| line.starts_with("  exports ")).unwrap_or_else(|| panic!("no exports:\n{told}"));
    for face in ["furnace", "flow-meter", "quench-tank", "points", "identify"] {
        assert!(exports.contains(face), "{exports}");
    }
    for line in ["  north (furnace)", "  contactors (points)"] {
        assert!(told.lines().any(|shown| shown == line), "no line {line:?}:\n{told}");
    }
    let output = run_within(check_of_the_example().arg("--json"), SOON);
    let told: Value = serde_json::from_slice(&output.stdout).expect("one object");
    let driver = &told["drivers"][0];
    assert_eq!((driver["name"].as_str(), driver["contract"].as_str()), (Some("bench"), Some("0.1.0")), "{driver}");
    let units = driver["units"].as_array().expect("units");
    let north = units.iter().find(|unit| unit["name"] == "north").expect("a unit of the example");
    assert_eq!(north["faces"], serde_json::json!(["furnace"]), "{north}");
}

/// Goal: what a read costs on its line is shown. Method: a made-up device whose values stand in two places far from each other; a
/// request for registers has 12 bytes with its head, a reply 9 and two for each register (Modbus on TCP, function 3; from memory).
#[test]
fn check_shows_what_a_read_costs_on_its_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let shop = folder.path().join("shop.toml");
    std::fs::write(
        &shop,
        r#"
[shop]
name = "Alder Yard Edge Tools"
[line.loops]
tcp = "127.0.0.1:9"
[driver.loops]
component = "modbus-registers.wasm"
lines = ["loops"]
[driver.loops.settings.unit.north]
face = "furnace"
address = 1
map.temperature = { table = "holding", register = 0, type = "i16", unit = "C" }
map.output_share = { table = "holding", register = 500, type = "u16", unit = "%" }
[furnace.north]
controller = "loops/north"
heating = "watched"
chamber = { kind = "brick", volume = "9.4 L" }
rated = "1100 C"
limit = "1060 C"
power = "2 kW"
"#,
    )
    .expect("written");
    let mut check = command();
    check.arg("check").arg("--config").arg(&shop).arg("--drivers").arg(place::guests());
    let output = run_within(&mut check, SOON);
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{}", words(&output));
    let expected = "  north (furnace): a read is 2 exchanges on loops, 24 bytes out and 22 back";
    assert!(told.lines().any(|line| line == expected), "no line {expected:?}:\n{told}");
    let output = run_within(check.arg("--json"), SOON);
    let told: Value = serde_json::from_slice(&output.stdout).expect("one object");
    let cost = serde_json::json!({ "loops": { "exchanges": 2, "request_bytes": 24, "reply_bytes": 22 } });
    assert_eq!(told["drivers"][0]["units"][0]["read_costs"], cost, "{told}");
}

/// Method: a home of its own, so that what is left behind is seen.
#[test]
fn looking_leaves_nothing_behind() {
    let home = tempfile::tempdir().expect("a folder");
    let output = run_within(
        check_of_the_example().env("HOME", home.path()).env_remove("XDG_CACHE_HOME").env_remove("XDG_STATE_HOME"),
        SOON,
    );
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{}", words(&output));
    let journal = home.path().join(".local/state/hearthward/alder-yard-edge-tools/journal.sqlite");
    assert!(told.contains(&journal.display().to_string()), "check does not say where the journal will be:\n{told}");
    let left: Vec<_> = std::fs::read_dir(home.path()).expect("the home").collect();
    assert!(left.is_empty(), "check left {left:?}");
}

#[test]
fn a_file_says_what_it_does_not_hold() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut demo = command();
    demo.arg("demo").arg("--drivers").arg(place::guests()).arg("--folder").arg(folder.path());
    // A day of the shop, on a computer that may be busy with other tests.
    let output = run_within(&mut demo, SOON * 6);
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(told.contains("every furnace confirmed that it does not heat"), "{told}");
    let journal = folder.path().join("journal.sqlite");
    let watch = |from: &str| {
        let mut watch = command();
        // An address in the environment is no reason not to read a file.
        watch.env("HEARTHWARD_AT", "127.0.0.1:9").args(["watch", "--from", from, "--journal"]).arg(&journal);
        run_within(&mut watch, SOON)
    };
    assert_eq!(watch("1").status.code(), Some(0));
    let beyond = watch("99999");
    assert_eq!(beyond.status.code(), Some(1));
    assert!(words(&beyond).contains("not there yet; the last is"), "{}", words(&beyond));

    // A hole, and then a page that was overwritten: the file, the place and the mend are said.
    let hole = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute('DELETE FROM event WHERE seq BETWEEN 12 AND 14'); \
                c.commit(); c.close()";
    let cut = Command::new("python3").args(["-c", hole]).arg(&journal).status().expect("python3 runs");
    assert!(cut.success());
    let told_of = |from: &str, what: &str| {
        let output = watch(from);
        let told = words(&output);
        assert_eq!(output.status.code(), Some(5), "{told}");
        for part in [what, &journal.display().to_string(), "is damaged", "move it away"] {
            assert!(told.contains(part), "no {part:?}: {told}");
        }
    };
    told_of("1", "events 12 to 14 are missing");
    assert_eq!(watch("15").status.code(), Some(0));
    let mut bytes = std::fs::read(&journal).expect("readable");
    let middle = bytes.len() / 2;
    bytes[middle..].fill(0xa5);
    std::fs::write(&journal, bytes).expect("written");
    told_of("15", "malformed");
}
