//! How the host's drivers are shown.

use hearthward_api::{DriverState, DriverStatus};
use hearthward_drivers::{DriverState as Inner, DriverStatus as Found};
use hearthward_equipment::{Fault, FaultCode, ShopMs};

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
        last_fault: found.last_fault.as_ref().map(|(fault, _)| told(fault, found.state == Inner::Answering)),
        last_fault_age_ms: found.last_fault.as_ref().map(|(_, at)| age(at)),
        units: found.units.iter().map(|unit| format!("{}/{unit}", found.name)).collect(),
        lines: found.lines.iter().map(ToString::to_string).collect(),
    }
}

/// A fault in words alone: what happened, of what kind it is, and whether that is over.
fn told(fault: &Fault, answers: bool) -> String {
    let kind = match fault.code {
        FaultCode::TIMED_OUT => Some("no answer in time"),
        FaultCode::LINE_DOWN => Some("the line is down"),
        FaultCode::BAD_ANSWER => Some("an answer that makes no sense"),
        FaultCode::REFUSED => Some("refused by the device"),
        FaultCode::NOT_SUPPORTED => Some("the driver has no such thing"),
        FaultCode::NOT_ALLOWED => Some("the settings do not allow it"),
        FaultCode::WITHDRAWN => Some("overtaken by a cut"),
        FaultCode::LIMIT => Some("a bound of the host was reached"),
        _ => None,
    };
    let kind = kind.map(|kind| format!(" ({kind})")).unwrap_or_default();
    format!("{}{kind}{}", fault.detail, if answers { "; it answers again" } else { "" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_told_in_words_and_whether_it_is_over() {
        let fault = |code| Fault::new(code, "the controller did not answer");
        assert_eq!(told(&fault(FaultCode::TIMED_OUT), false), "the controller did not answer (no answer in time)");
        assert_eq!(
            told(&fault(FaultCode::LIMIT), true),
            "the controller did not answer (a bound of the host was reached); it answers again"
        );
        // A kind that a later driver added.
        assert_eq!(told(&fault(FaultCode(77)), false), "the controller did not answer");
    }
}
