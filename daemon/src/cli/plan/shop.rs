//! Figures that a configuration already holds, so that nobody types them twice. What is typed wins.

use std::path::PathBuf;

use clap::{ArgGroup, Args};
use hearthward_equipment::Name;
use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_celsius, in_litres_per_minute};
use hearthward_process::note::Note;
use hearthward_process::units::{self, System};
use hearthward_proto::v1;
use hearthward_supervise::plan::ChamberKind;
use uom::si::f64::{Ratio, Volume, VolumeRate};
use uom::si::frequency::hertz;
use uom::si::ratio::{part_per_million, percent};
use uom::si::volume::{cubic_meter, liter};
use uom::si::volume_rate::liter_per_minute;

use super::said::{in_bar, in_litres};
use crate::cli::check::refused;
use crate::exit::{Ended, Exit};
use crate::settings::{Problems, Settings, Sources};

/// The flags that name something of a configuration; without one of them a configuration would be read for nothing.
pub(super) const OF_CONFIG: &str = "of_config";

/// A configuration to take figures from.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new(OF_CONFIG).multiple(true))]
pub(super) struct ShopArgs {
    /// A configuration to take figures from; no driver is loaded and nothing is started.
    #[arg(long, short, value_name = "FILE", requires = OF_CONFIG)]
    config: Option<PathBuf>,
}

impl ShopArgs {
    /// Chamber, flows, gas and wanted level of a furnace. Handed back is what is to be said of that: what was taken, and what nobody
    /// knows of its lining.
    pub(super) fn purge(&self, furnace: &str, request: &mut v1::PlanPurgeRequest) -> Result<Vec<Note>, Ended> {
        let settings = self.read()?;
        let found = find("furnace", furnace, &settings.furnaces, |furnace| &furnace.name)?;
        if found.gas.is_none() && request.flow_l_min == 0.0 {
            let why = format!(
                "the furnace {furnace} has no supply of gas in the configuration: say --flow, or name a furnace with gas"
            );
            return Err(Ended::new(Exit::Usage, why));
        }
        let said = request.clone();
        or(&mut request.chamber_l, in_litres(found.chamber.volume));
        let flow = |flow| in_litres_per_minute(flow, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA);
        if let Some(known) = &found.chamber.calibration {
            request.leak_l_min = request.leak_l_min.or(Some(flow(known.leak)));
            request.pores = request.pores.or(Some(v1::PlanPores {
                volume_l: in_litres(known.pore_volume),
                exchange_min: Some(known.pore_exchange.as_secs_f64() / 60.0),
                warming_percent: None,
            }));
        }
        let lining = lining(furnace, found.chamber.kind, request);
        if let Some(gas) = &found.gas {
            or(&mut request.flow_l_min, flow(gas.purge.flow));
            request.hold_l_min = request.hold_l_min.or(Some(flow(gas.purge.hold)));
            request.level_ppm = request.level_ppm.or(Some(gas.purge.oxygen_limit.get::<part_per_million>()));
        }
        let supply = found.gas.as_ref().and_then(|gas| settings.supplies.iter().find(|supply| supply.name == gas.supply));
        if let Some(supply) = supply {
            if request.gas.is_empty() {
                request.gas = supply.gas.name().to_owned();
            }
            if request.gas_purity_percent.is_none() {
                request.gas_oxygen_ppm = request.gas_oxygen_ppm.or(Some(supply.oxygen.get::<part_per_million>()));
            }
        }
        Ok(told(furnace, &said, request).into_iter().chain(lining).collect())
    }

    /// Gas, cylinder and room of a supply, with the room's first alarm level.
    pub(super) fn cylinder(&self, supply: &str, request: &mut v1::PlanCylinderRequest) -> Result<(), Ended> {
        let settings = self.read()?;
        let found = find("supply", supply, &settings.supplies, |supply| &supply.name)?;
        if request.gas.is_empty() {
            request.gas = found.gas.name().to_owned();
        }
        if request.contents_l.is_none() {
            or(&mut request.volume_l, found.cylinder_volume.map_or(0.0, in_litres));
        }
        request.filled_bar = request.filled_bar.or(Some(in_bar(found.filled)));
        request.gauge_error_bar = request.gauge_error_bar.or(Some(in_bar(found.gauge_error)));
        if let Some(room) = &mut request.room {
            room.alarm_percent = room.alarm_percent.or(Some(settings.room.first_level.get::<percent>()));
        }
        let room = settings.room.volume.map(|volume| v1::PlanRoom {
            volume_m3: volume.get::<cubic_meter>(),
            air_changes_per_h: Some(settings.room.air_changes.get::<hertz>() * 3600.0),
            alarm_percent: Some(settings.room.first_level.get::<percent>()),
        });
        request.room = request.room.or(room);
        Ok(())
    }

    /// Volume, window and flash point of a tank.
    pub(super) fn bath(&self, tank: &str, request: &mut v1::PlanBathRequest) -> Result<(), Ended> {
        let settings = self.read()?;
        let found = find("tank", tank, &settings.tanks, |tank| &tank.name)?;
        or(&mut request.volume_l, in_litres(found.volume));
        request.window_low_c = request.window_low_c.or(Some(in_celsius(found.window.0)));
        request.window_high_c = request.window_high_c.or(Some(in_celsius(found.window.1)));
        request.flash_point_c = request.flash_point_c.or(found.flash_point.map(in_celsius));
        Ok(())
    }

    fn read(&self) -> Result<Settings, Ended> {
        let problems = Problems::default();
        let sources = Sources { file: self.config.clone(), text: None, set: Vec::new(), environment: true };
        let settings = Settings::read(&sources, &problems);
        let found = problems.into_list();
        settings.filter(|_| found.is_empty()).ok_or_else(|| refused(&found, false))
    }
}

/// What a lining does to a purge of whose pores nothing is known.
fn lining(furnace: &str, kind: ChamberKind, request: &v1::PlanPurgeRequest) -> Option<Note> {
    let of = match kind {
        ChamberKind::Retort => return None,
        ChamberKind::Brick => "brick",
        ChamberKind::Fibre => "fibre",
    };
    request.pores.is_none().then(|| {
        Note::caution(format!(
            "{furnace} is lined with {of}, and nobody has said what its pores hold: they are left out here, and the true times are \
             longer, by hours perhaps; say --pores, or calibrate the chamber"
        ))
    })
}

/// What was taken from the configuration for want of a word.
fn told(furnace: &str, said: &v1::PlanPurgeRequest, request: &v1::PlanPurgeRequest) -> Option<Note> {
    let system = if request.units() == v1::UnitSystem::Us { System::Us } else { System::Metric };
    let flow = |l_min: f64| units::show_flow(VolumeRate::new::<liter_per_minute>(l_min), system);
    let volume = |l: f64| units::show_volume(Volume::new::<liter>(l), system);
    let share = |ppm: f64| units::show_ratio(Ratio::new::<part_per_million>(ppm));
    let unless = |known: bool, words: Option<String>| words.filter(|_| !known);
    let gas = (!request.gas.is_empty()).then(|| format!("gas {}", request.gas));
    let taken: Vec<String> = [
        unless(said.chamber_l != 0.0, Some(format!("chamber {}", volume(request.chamber_l)))),
        unless(said.leak_l_min.is_some(), request.leak_l_min.map(|leak| format!("leak {}", flow(leak)))),
        unless(said.pores.is_some(), request.pores.map(|pores| format!("pores {}", volume(pores.volume_l)))),
        unless(said.flow_l_min != 0.0, Some(format!("purge flow {}", flow(request.flow_l_min)))),
        unless(said.hold_l_min.is_some(), request.hold_l_min.map(|hold| format!("holding flow {}", flow(hold)))),
        unless(said.level_ppm.is_some(), request.level_ppm.map(|level| format!("oxygen wanted {}", share(level)))),
        unless(!said.gas.is_empty(), gas),
        unless(
            said.gas_oxygen_ppm.is_some(),
            request.gas_oxygen_ppm.map(|oxygen| format!("oxygen in the gas {}", share(oxygen))),
        ),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!taken.is_empty())
        .then(|| Note::basis(format!("not said, so taken from {furnace} of the configuration: {}", taken.join(", "))))
}

fn or(said: &mut f64, shop: f64) {
    if *said == 0.0 {
        *said = shop;
    }
}

/// The thing of a name, or the names that there are.
fn find<'a, T>(what: &str, name: &str, all: &'a [T], named: impl Fn(&T) -> &Name) -> Result<&'a T, Ended> {
    all.iter().find(|one| named(one).to_string() == name).ok_or_else(|| {
        let names: Vec<String> = all.iter().map(|one| named(one).to_string()).collect();
        Ended::new(Exit::Usage, format!("the configuration has no {what} {name:?}; it has: {}", names.join(", ")))
    })
}
