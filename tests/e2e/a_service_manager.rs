//! Goal: a service manager is told when the service is ready, that it lives, and that it ends; the unit that ships starts it.

use std::os::unix::net::UnixDatagram;

use hearthward_tests::daemon::{Daemon, command, run_within};
use hearthward_tests::equipment::Equipment;
use hearthward_tests::{place, shop};

use crate::floor::STEP;

/// Waits for a line of a notification (`sd_notify(3)`).
fn wait_for(manager: &UnixDatagram, wanted: &str) {
    let mut said = [0; 4096];
    loop {
        let length = manager.recv(&mut said).unwrap_or_else(|error| panic!("{wanted} was not said: {error}"));
        if String::from_utf8_lossy(&said[..length]).lines().any(|line| line == wanted) {
            return;
        }
    }
}

#[test]
fn a_service_manager_is_told() {
    let folder = tempfile::tempdir().expect("a folder of its own");
    let equipment = Equipment::start(folder.path());
    shop::write(folder.path(), &equipment, "");
    let socket = folder.path().join("manager");
    let manager = UnixDatagram::bind(&socket).expect("a socket of its own");
    manager.set_read_timeout(Some(STEP)).expect("a time that is not zero");
    let daemon = Daemon::start_managed(folder.path(), &socket);
    wait_for(&manager, "READY=1");
    wait_for(&manager, "WATCHDOG=1");
    let status = daemon.end();
    assert!(status.success(), "it ended with {status}");
    wait_for(&manager, "STOPPING=1");
}

#[test]
fn the_unit_that_ships_starts_the_service() {
    let unit = std::fs::read_to_string(place::root().join("deploy/hearthward.service")).expect("the unit ships");
    let starts =
        unit.lines().find_map(|line| line.strip_prefix("ExecStart=/usr/local/bin/hearthward ")).expect("it starts something");
    // Nothing is installed here: what the command line names must be what is missing, and it must have been understood.
    let output = run_within(command().args(starts.split(' ')), STEP);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("/etc/hearthward/shop.toml"), "{said}");
}
