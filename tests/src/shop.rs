//! The configuration of the tests' shop.

use std::path::Path;

use crate::equipment::Equipment;

/// The ceiling of heat before the purge is proved, in degrees Celsius: as the configuration says.
pub const UNPURGED_CEILING_C: f64 = 200.0;

/// Litres of gas that prove the purge: five changes of 0.2 L.
pub const PURGE_L: f64 = 1.0;

/// Soak of the recipes, in degrees Celsius.
pub const SOAK_C: f64 = 600.0;

/// The configuration for equipment on these ports.
#[must_use]
pub fn text(controllers_port: u16, io_port: u16) -> String {
    include_str!("shop.toml.in").replace("@CONTROLLERS@", &controllers_port.to_string()).replace("@IO@", &io_port.to_string())
}

/// Writes the configuration for this equipment, with more behind it, into a folder.
///
/// # Panics
/// If the folder cannot be written.
pub fn write(folder: &Path, equipment: &Equipment, more: &str) {
    let text = text(equipment.controllers_port, equipment.io_port) + "\n" + more;
    std::fs::write(folder.join("shop.toml"), text).expect("the folder can be written");
}
