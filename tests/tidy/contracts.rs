//! Contracts that do not change: what was built against them must go on loading.

use std::fmt::Write as _;

use hearthward_tests::place;
use sha2::{Digest, Sha256};

/// The text of the driver contract's track 0.1, by digest.
const WIT_0_1: &str = "f40b00df3925f140a3437d52378ce6ba90756166cfe61a5a5a09a97055be3931";

#[test]
fn the_driver_contract_0_1_is_frozen() {
    let file = place::root().join("sdk/wit/v0_1/equipment.wit");
    let text = std::fs::read(&file).expect("the contract");
    let mut digest = String::new();
    for byte in Sha256::digest(&text) {
        write!(digest, "{byte:02x}").expect("text can be written");
    }
    assert_eq!(
        digest, WIT_0_1,
        "sdk/wit/v0_1 changed. A record, variant or function that was released never changes: a driver built today must load in five \
         years. New functions of the host, new optional interfaces and comments are additions within the track, and this digest moves \
         with them; anything else is a new track, sdk/wit/v0_2"
    );
}

#[test]
fn a_track_is_a_folder_with_one_text() {
    let mut tracks: Vec<String> = std::fs::read_dir(place::root().join("sdk/wit"))
        .expect("the folder of tracks")
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| name.starts_with('v'))
        .collect();
    tracks.sort();
    assert_eq!(tracks, ["v0_1"], "a new track needs a digest here, and drivers built for the old one as golden files");
}
