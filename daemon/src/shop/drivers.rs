//! How the host's drivers are shown.

use hearthward_api::{DriverState, DriverStatus};
use hearthward_drivers::{DriverState as Inner, DriverStatus as Found};
use hearthward_equipment::ShopMs;

/// The API's words for a driver of the host.
pub(super) fn shown(found: Found, now: ShopMs) -> DriverStatus {
    let state = match found.state {
        Inner::Starting => DriverState::Starting,
        Inner::Answering | Inner::Silent => DriverState::Running,
        Inner::Quarantined { .. } => DriverState::BackingOff,
        Inner::Stopped => DriverState::Stopped,
    };
    let age = |at: &ShopMs| u64::try_from(now.since(*at).as_millis()).unwrap_or(u64::MAX);
    DriverStatus {
        name: found.name.clone(),
        file: found.file.display().to_string(),
        sha256: found.digest,
        contract_version: found.contract,
        exports: found.exports,
        state,
        restarts: found.restarts,
        last_fault: found.last_fault.as_ref().map(|(fault, _)| fault.to_string()),
        last_fault_age_ms: found.last_fault.as_ref().map(|(_, at)| age(at)),
        units: found.units.iter().map(|unit| format!("{}/{unit}", found.name)).collect(),
        lines: found.lines.iter().map(ToString::to_string).collect(),
    }
}
