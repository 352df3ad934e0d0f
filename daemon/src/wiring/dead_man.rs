//! Whether what is said to cut heat if this computer dies can do so: a promise that no wire keeps is worse than none.

use std::time::Duration;

use hearthward_supervise::plan::DeadMan;

use super::catalogue::Catalogue;
use crate::settings::{FurnaceSettings, Problems, Settings};

/// Notes heartbeats that would never leave, and time-outs that nothing or everything sets off.
pub(super) fn check(settings: &Settings, catalogue: &Catalogue, problems: &Problems) {
    for furnace in &settings.furnaces {
        let told = match furnace.dead_man {
            DeadMan::ContactorHeartbeat { .. } => {
                heartbeat(furnace, catalogue, problems).map(|words| ("contactor_drops_after", words))
            }
            DeadMan::ControllerTimeOut { after } => {
                time_out(furnace, after, settings, catalogue).map(|words| ("controller_times_out_after", words))
            }
            DeadMan::Nothing => None,
        };
        if let Some((key, words)) = told {
            problems.note(&furnace.home, format!("furnace.{}.if_computer_dies.{key}", furnace.name), words);
        }
    }
}

/// What may wear out is written on change only, so that what stays the same makes no beat.
fn heartbeat(furnace: &FurnaceSettings, catalogue: &Catalogue, problems: &Problems) -> Option<String> {
    let address = catalogue.point(&furnace.contactor.as_ref()?.output, "closed", problems)?;
    let facts = catalogue.facts(&address.unit)?;
    // One that cannot be written at all is refused as a contactor.
    let beats = facts.noted("write_often").any(|name| name == address.point.as_str());
    (facts.writes(&address.point) && !beats).then(|| {
        format!(
            "needs a heartbeat, but {address} is not written again while it holds its value, so no heartbeat would leave; \
             with the register driver its entry needs often = true, if writing does not wear it out"
        )
    })
}

/// Two reads have to fit into a time-out, since one of them may be late.
fn time_out(furnace: &FurnaceSettings, after: Duration, settings: &Settings, catalogue: &Catalogue) -> Option<String> {
    let unit = furnace.controller.as_ref()?;
    if catalogue.facts(unit)?.by_hand {
        return Some(format!(
            "names a communication time-out, but {unit} is kept by hand: nothing is sent that could stop; leave it out"
        ));
    }
    let driver = settings.drivers.iter().find(|driver| driver.spec.name == unit.driver)?;
    let (name, poll) = (&driver.spec.name, driver.spec.poll_every);
    (after < poll * 2).then(|| {
        format!(
            "is {} ms, but {name} is read every {} ms (`driver.{name}.poll`) and one read may be late: heat would be cut in a sound \
             shop; give it {} ms at least, in the controller too, or read more often",
            after.as_millis(),
            poll.as_millis(),
            (poll * 2).as_millis()
        )
    })
}
