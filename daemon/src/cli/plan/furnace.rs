//! The furnace itself, as it is typed.

use std::path::PathBuf;

use clap::Args;
use hearthward_api::planning;
use hearthward_process::units;
use hearthward_process::units::Ramp;
use hearthward_proto::v1;
use uom::si::area::square_centimeter;
use uom::si::f64::{Area, Power, Ratio, ThermodynamicTemperature, Volume, VolumeRate};

use super::said::{Question, Row, Said, Unasked, falling_k_min, in_celsius, in_litres, in_litres_a_minute, in_ppm, in_watts};
use super::{Needs, RoomArgs, ShownArgs, said};

/// Asks what is left after heat was cut.
#[derive(Debug, Args)]
pub(in crate::cli) struct Interrupted {
    /// Free volume of the chamber.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    chamber: Option<Volume>,
    /// What the chamber is at now.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    now: Option<ThermodynamicTemperature>,
    /// Power that held that heat.
    #[arg(long, value_name = "POWER", value_parser = units::power)]
    holding: Option<Power>,
    /// How fast the closed chamber begins to fall.
    #[arg(long, value_name = "RATE", value_parser = units::ramp)]
    falls: Option<Ramp>,
    /// The lowest temperature that the steel may still be quenched from.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    limit: Option<ThermodynamicTemperature>,
    /// The temperature below which it no longer scales.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    scaling_ends: Option<ThermodynamicTemperature>,
    /// The flow of gas while it cools.
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    hold: Option<VolumeRate>,
    /// Oxygen in that gas.
    #[arg(long, value_name = "SHARE", value_parser = units::share, requires = "hold")]
    gas_oxygen: Option<Ratio>,
    /// Air that leaks in.
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    leak: Option<VolumeRate>,
    /// The steel's whole surface.
    #[arg(long, value_name = "AREA", value_parser = units::area)]
    surface: Option<Area>,
    /// The steel, for the carbon that it can lose.
    #[arg(long)]
    steel: Option<String>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Interrupted {
    pub(super) const NEEDS: Needs = &[("chamber", &[]), ("now", &[]), ("holding", &[]), ("falls", &[]), ("surface", &[])];
    pub(super) const EXAMPLE: &'static str = "\
Example: heat was cut at 800 °C with plane irons in the furnace, which held it with 0.7 kW:
  hearthward plan interrupted --chamber \"9.4 L\" --now \"800 C\" --holding \"0.7 kW\" --falls \"5 K/min\" --hold \"2 L/min\" \\
    --surface \"800 cm2\"";
}

impl Question for Interrupted {
    type Response = v1::PlanInterruptedResponse;
    const RESPONSE: &'static str = "PlanInterruptedResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let request = v1::PlanInterruptedRequest {
            chamber_l: self.chamber.map_or(0.0, in_litres),
            now_c: self.now.map_or(0.0, in_celsius),
            holding_w: self.holding.map_or(0.0, in_watts),
            falls_k_min: self.falls.map_or(0.0, falling_k_min),
            limit_c: self.limit.map(in_celsius),
            scaling_ends_c: self.scaling_ends.map(in_celsius),
            hold_l_min: self.hold.map(in_litres_a_minute),
            gas_oxygen_ppm: self.gas_oxygen.map(in_ppm),
            leak_l_min: self.leak.map(in_litres_a_minute),
            surface_cm2: self.surface.map_or(0.0, |surface| surface.get::<square_centimeter>()),
            steel: self.steel.clone().unwrap_or_default(),
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
        };
        Ok(planning::interrupted(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanInterruptedResponse { answer: said.only() }
    }
}

/// Asks what a furnace loses and holds.
#[derive(Debug, Args)]
pub(in crate::cli) struct Furnace {
    /// A recorded heat-up: a line a reading, with minutes since the start, chamber in °C, and the power from then on in W, parted
    /// by commas. A first line that is no numbers is its heading.
    #[arg(long, value_name = "FILE")]
    record: PathBuf,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Furnace {
    pub(super) const NEEDS: Needs = &[("record", &[])];
    pub(super) const EXAMPLE: &'static str = "\
Example: a record of at least 20 lines such as \"12.5,431.0,2200\": full power, then part power, then cooling:
  hearthward plan furnace --record heat-up.csv --room \"18 C\"";
}

impl Question for Furnace {
    type Response = v1::PlanFurnaceResponse;
    const RESPONSE: &'static str = "PlanFurnaceResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[("readings", "record")];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let rows = said::rows(&self.record, "minutes, °C and W").map_err(Unasked::Shop)?;
        let reading = |&(_, [time_min, chamber_c, power_w]): &Row| v1::PlanFurnaceReading { time_min, chamber_c, power_w };
        let request = v1::PlanFurnaceRequest {
            readings: rows.iter().map(reading).collect(),
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
        };
        planning::furnace(&request).map(Said::from).map_err(|why| said::of_line(why, &rows))
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanFurnaceResponse { answer: said.only() }
    }
}
