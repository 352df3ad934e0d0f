//! Drivers.

use hearthward_proto::v1;

use crate::door::{DriverState, DriverStatus};

pub(crate) fn driver(status: DriverStatus) -> v1::Driver {
    v1::Driver {
        name: status.name.to_string(),
        file: status.file,
        sha256: status.sha256,
        contract_version: status.contract_version,
        exports: status.exports,
        state: state(status.state).into(),
        restarts: status.restarts,
        last_fault: status.last_fault.unwrap_or_default(),
        last_fault_age_ms: status.last_fault_age_ms,
        units: status.units,
        lines: status.lines,
    }
}

fn state(state: DriverState) -> v1::DriverState {
    match state {
        DriverState::Starting => v1::DriverState::Starting,
        DriverState::Running => v1::DriverState::Running,
        DriverState::BackingOff => v1::DriverState::BackingOff,
        DriverState::Quarantined => v1::DriverState::Quarantined,
        DriverState::Refused => v1::DriverState::Refused,
        DriverState::Stopped => v1::DriverState::Stopped,
    }
}
