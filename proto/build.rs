//! Compiles `hearthward/v1/*.proto` with no `protoc` on the machine, and keeps the descriptor set beside the generated code.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::{env, fs};

use prost::Message;

/// Every file of the package. A new file is named here and nowhere else.
const FILES: [&str; 8] = [
    "hearthward/v1/alarms.proto",
    "hearthward/v1/cycles.proto",
    "hearthward/v1/drivers.proto",
    "hearthward/v1/events.proto",
    "hearthward/v1/interlocks.proto",
    "hearthward/v1/planning.proto",
    "hearthward/v1/readings.proto",
    "hearthward/v1/shop.proto",
];

fn main() -> Result<(), Box<dyn Error>> {
    for file in FILES {
        println!("cargo::rerun-if-changed={file}");
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or("cargo sets OUT_DIR")?);
    let descriptors = protox::compile(FILES, [Path::new(".")])?;
    fs::write(out.join("descriptors.bin"), descriptors.encode_to_vec())?;
    tonic_prost_build::configure().compile_fds(descriptors)?;
    Ok(())
}
