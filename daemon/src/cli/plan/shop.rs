//! Figures that a configuration already holds, so that nobody types them twice. What is typed wins.

use std::path::PathBuf;

use clap::{ArgGroup, Args};
use hearthward_equipment::Name;
use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_celsius, in_litres_per_minute};
use hearthward_proto::v1;
use uom::si::frequency::hertz;
use uom::si::ratio::{part_per_million, percent};
use uom::si::volume::cubic_meter;

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
    /// Chamber, flows, gas and wanted level of a furnace.
    pub(super) fn purge(&self, furnace: &str, request: &mut v1::PlanPurgeRequest) -> Result<(), Ended> {
        let settings = self.read()?;
        let found = find("furnace", furnace, &settings.furnaces, |furnace| &furnace.name)?;
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
        let Some(gas) = &found.gas else { return Ok(()) };
        or(&mut request.flow_l_min, flow(gas.purge.flow));
        request.hold_l_min = request.hold_l_min.or(Some(flow(gas.purge.hold)));
        request.level_ppm = request.level_ppm.or(Some(gas.purge.oxygen_limit.get::<part_per_million>()));
        if let Some(supply) = settings.supplies.iter().find(|supply| supply.name == gas.supply) {
            if request.gas.is_empty() {
                request.gas = supply.gas.name().to_owned();
            }
            if request.gas_purity_percent.is_none() {
                request.gas_oxygen_ppm = request.gas_oxygen_ppm.or(Some(supply.oxygen.get::<part_per_million>()));
            }
        }
        Ok(())
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
