//! Links the service so that starting it reads less.

use std::env;
use std::process::Command;

/// The first C library that understands packed relocations; an older one refuses to start a program that has them.
const PACKED_SINCE: (u32, u32) = (2, 36);

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    // Every start goes through 1.5 MiB of relocations otherwise, which stay in memory as long as the service runs.
    if env::var("HOST") == env::var("TARGET") && c_library().is_some_and(|version| version >= PACKED_SINCE) {
        println!("cargo::rustc-link-arg-bins=-Wl,-z,pack-relative-relocs");
    }
}

/// The version of this computer's C library, if it is the one of most Linux systems.
fn c_library() -> Option<(u32, u32)> {
    let output = Command::new("getconf").arg("GNU_LIBC_VERSION").output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    let (major, minor) = text.trim().strip_prefix("glibc ")?.split_once('.')?;
    Some((major.parse().ok()?, minor.parse().ok()?))
}
