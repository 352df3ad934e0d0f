//! A furnace, a shop and a load for unit tests.

use std::time::Duration;

use hearthward_equipment::quantity::{celsius, gas_flow, kelvins};
use hearthward_equipment::{Directory, Name, PointId, SupplyId, UnitId};
use hearthward_process::gas::Gas;
use uom::si::f64::{Power, Pressure, Ratio, Volume};
use uom::si::power::kilowatt;
use uom::si::pressure::bar;
use uom::si::ratio::{part_per_million, percent};
use uom::si::volume::liter;

use crate::plan::{
    ChamberKind, ChamberPlan, DeadMan, FurnacePlan, GasPlan, Heating, OnSilence, PolicyPlan, PurgePlan, RoomPlan, ShopPlan,
    SteelChoice, SupplyPlan,
};
use crate::recipe::{Drive, Load, Pace, Protection, Step};

/// A small retort with everything wired and a purge of eight changes.
pub(crate) fn furnace(name: &str) -> FurnacePlan {
    FurnacePlan {
        name: Name::new(name).expect("a test's name"),
        controller: Some(UnitId(0)),
        heating: Heating::SetPoint,
        dead_man: DeadMan::Nothing,
        temperature: PointId(0),
        stale_after: Duration::from_secs(2),
        set_point: None,
        output_share: None,
        heat_on: None,
        over_temperature: None,
        door: Some(PointId(1)),
        load_temperature: None,
        probe: None,
        contactor: None,
        chamber: ChamberPlan { kind: ChamberKind::Retort, volume: Volume::new::<liter>(9.4), calibration: None },
        rated: celsius(1100.0),
        limit: celsius(1060.0),
        power: Power::new::<kilowatt>(2.2),
        band: kelvins(5.0),
        steepest_k_per_s: 5.0,
        no_response_after: Duration::from_secs(600),
        short_opening: Duration::from_secs(20),
        run_time_limit: None,
        gas: Some(GasPlan {
            supply: SupplyId(0),
            meter: Some(UnitId(1)),
            flow: PointId(2),
            resolution: gas_flow(0.2, 21.1, 101.325),
            by_eye: false,
            valve: None,
            purge: PurgePlan {
                changes: 8.0,
                flow: gas_flow(8.0, 21.1, 101.325),
                hold: gas_flow(2.0, 21.1, 101.325),
                unpurged_ceiling: celsius(200.0),
                oxygen_limit: Ratio::new::<part_per_million>(100.0),
                exposure_budget_s: 0.5,
            },
        }),
        on_silence: OnSilence { after: Duration::from_secs(180), then: SteelChoice::SlowCoolUnderGas },
        takes_to: None,
        still_quenchable: celsius(740.0),
        falls_k_per_s: 0.3,
        policy: PolicyPlan::default(),
    }
}

/// A shop of these furnaces on one supply, with nothing else.
pub(crate) fn shop(furnaces: Vec<FurnacePlan>) -> ShopPlan {
    ShopPlan {
        name: "test".to_owned(),
        scan: Duration::from_secs(1),
        ride_through: Duration::from_secs(60),
        directory: Directory::default(),
        furnaces,
        tanks: Vec::new(),
        supplies: vec![SupplyPlan {
            name: Name::new("argon").expect("a test's name"),
            gas: Gas::Argon,
            oxygen: Ratio::new::<part_per_million>(2.0),
            capacity: gas_flow(20.0, 21.1, 101.325),
            cylinder_volume: None,
            pressure: None,
            gauge_error: Pressure::new::<bar>(5.0),
            stale_after: Duration::from_secs(60),
        }],
        room: RoomPlan {
            oxygen: None,
            first_level: Ratio::new::<percent>(19.5),
            second_level: Ratio::new::<percent>(18.0),
            debounce: Duration::from_secs(5),
            stale_after: Duration::from_secs(10),
            horn: None,
        },
        electrical_demand: None,
        alarms: crate::alarm::AlarmPlan::default(),
    }
}

/// A load that only wants heat.
pub(crate) fn load() -> Load {
    Load {
        name: Name::new("irons").expect("a test's name"),
        steel: "O1".to_owned(),
        parts: 1,
        part: None,
        protection: Protection::Gas,
        steps: vec![Step::Ramp { to: celsius(800.0), pace: Pace::Full }],
        drive: Drive::SetPoints,
    }
}
