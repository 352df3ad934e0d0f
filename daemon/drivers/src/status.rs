//! How the drivers are, for people.

use std::path::PathBuf;

use hearthward_equipment::{Fault, Name, ShopMs};

use crate::driver::{DriverState, Shared};

/// How one driver instance is.
#[derive(Clone, Debug, PartialEq)]
pub struct DriverStatus {
    /// The instance's name.
    pub name: Name,
    /// Its file.
    pub file: PathBuf,
    /// The file's SHA-256 in hexadecimal.
    pub digest: String,
    /// The contract version that it was built against.
    pub contract: String,
    /// The faces and powers that it exports.
    pub exports: Vec<String>,
    /// The units that it serves.
    pub units: Vec<Name>,
    /// The lines that it was granted.
    pub lines: Vec<Name>,
    /// How it is now.
    pub state: DriverState,
    /// How often it was rebuilt.
    pub restarts: u64,
    /// The last thing that went wrong, and when.
    pub last_fault: Option<(Fault, ShopMs)>,
}

impl DriverStatus {
    pub(crate) fn of(shared: &Shared) -> Self {
        let now = shared.now();
        Self {
            name: shared.spec.name.clone(),
            file: shared.spec.component.clone(),
            digest: shared.sound.loaded.digest.clone(),
            contract: shared.sound.loaded.portrait.contract.to_string(),
            exports: shared.sound.loaded.portrait.faces.iter().map(|face| (*face).to_owned()).collect(),
            units: shared.sound.units.iter().map(|unit| unit.name.clone()).collect(),
            lines: shared.spec.lines.clone(),
            state: now.state,
            restarts: now.restarts,
            last_fault: now.last_fault,
        }
    }
}
