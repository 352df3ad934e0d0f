//! Steel in the furnace and in the temper, as it is typed.

use clap::{Args, ValueEnum};
use hearthward_api::planning;
use hearthward_process::units;
use hearthward_process::units::Ramp;
use hearthward_proto::v1;
use uom::si::f64::{Length, Mass, Power, TemperatureInterval, ThermodynamicTemperature, Time, VolumeRate};

use super::said::{
    Question, Said, Unasked, falling_k_min, in_celsius, in_kelvins, in_kilograms, in_litres_a_minute, in_millimetres, in_minutes,
    in_watts,
};
use super::{HeatArgs, Needs, RoomArgs, ShownArgs, said, words};
use crate::exit::{Ended, Exit};

/// A section of steel.
#[derive(Debug, Args)]
pub(super) struct SectionArgs {
    /// Thickness of a plate, diameter of a bar or lump, such as "3 mm" or "3/16 in".
    #[arg(long, value_name = "LENGTH", value_parser = units::length)]
    section: Option<Length>,
    /// Its shape.
    #[arg(long, value_enum)]
    shape: Option<ShapeWord>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum ShapeWord {
    /// A plate, heated from both faces.
    Plate,
    /// A long round bar.
    Bar,
    /// A compact lump.
    Sphere,
}

impl SectionArgs {
    pub(super) fn section(&self) -> Option<v1::PlanSection> {
        let shape = self.shape.map_or(v1::SectionShape::Unspecified, |word| match word {
            ShapeWord::Plate => v1::SectionShape::Plate,
            ShapeWord::Bar => v1::SectionShape::Bar,
            ShapeWord::Sphere => v1::SectionShape::Sphere,
        });
        self.section.map(|size| v1::PlanSection { shape: shape.into(), size_mm: in_millimetres(size) })
    }
}

/// A ramp and the furnace that is to do it.
#[derive(Debug, Args)]
pub(super) struct RampArgs {
    /// The ramp, such as "6 K/min" or "540 F/h", if the load starts with its furnace: whether it can do it, and when the load is there.
    #[arg(long, value_name = "RATE", value_parser = units::ramp, requires_all = ["power", "holding", "falls"])]
    ramp: Option<Ramp>,
    /// Power on the furnace's plate.
    #[arg(long, value_name = "POWER", value_parser = units::power, requires = "ramp")]
    power: Option<Power>,
    /// Power that holds the heat once all is hot: what the controller's output settles at.
    #[arg(long, value_name = "POWER", value_parser = units::power, requires = "ramp")]
    holding: Option<Power>,
    /// How fast the closed, empty furnace begins to fall from the heat once it is cut.
    #[arg(long, value_name = "RATE", value_parser = units::ramp, requires = "ramp")]
    falls: Option<Ramp>,
    /// Mass of the load.
    #[arg(long, value_name = "MASS", value_parser = units::mass, requires = "ramp")]
    load: Option<Mass>,
}

/// Fields of a ramp whose flags have other names.
pub(super) const RAMP_FLAGS: &[(&str, &str)] = &[("rate_k_min", "ramp"), ("rated_w", "power"), ("load_kg", "load")];

impl RampArgs {
    /// The ramp, without its gas.
    pub(super) fn ramp(&self) -> Option<v1::PlanRamp> {
        self.ramp.map(|ramp| v1::PlanRamp {
            rate_k_min: ramp.kelvin_per_second() * 60.0,
            rated_w: self.power.map_or(0.0, in_watts),
            holding_w: self.holding.map_or(0.0, in_watts),
            falls_k_min: self.falls.map_or(0.0, falling_k_min),
            load_kg: self.load.map(in_kilograms),
            ..Default::default()
        })
    }
}

/// Asks when a load is at heat.
#[derive(Debug, Args)]
pub(in crate::cli) struct HeatUp {
    #[command(flatten)]
    section: SectionArgs,
    #[command(flatten)]
    heat: HeatArgs,
    /// The steel, for its heat and its soak.
    #[arg(long)]
    steel: Option<String>,
    /// Gas, foil or coating keeps it bright: it heats more slowly.
    #[arg(long)]
    protected: bool,
    /// Where the load starts.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    start: Option<ThermodynamicTemperature>,
    /// How close the core must be for soak to begin.
    #[arg(long, value_name = "DIFFERENCE", value_parser = units::temperature_difference)]
    band: Option<TemperatureInterval>,
    /// The soak.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    soak: Option<Time>,
    #[command(flatten)]
    ramp: RampArgs,
    /// The gas that flows meanwhile.
    #[arg(long, requires = "flow")]
    gas: Option<String>,
    /// Its flow.
    #[arg(long, value_name = "FLOW", value_parser = units::flow, requires = "ramp")]
    flow: Option<VolumeRate>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shown: ShownArgs,
}

impl HeatUp {
    pub(super) const NEEDS: Needs = &[("section", &[]), ("heat", &["steel"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: punches of 12 mm under gas, in a furnace of 2.2 kW that holds 800 °C with 0.7 kW:
  hearthward plan heat-up --section \"12 mm\" --shape bar --steel O1 --protected --ramp \"6 K/min\" --power \"2.2 kW\" \\
    --holding \"0.7 kW\" --falls \"5 K/min\" --load \"0.9 kg\" --flow \"2 L/min\"";
}

impl Question for HeatUp {
    type Response = v1::PlanHeatUpResponse;
    const RESPONSE: &'static str = "PlanHeatUpResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[("section.size_mm", "section")];
    const PARTS: &'static [said::Part] = &[("ramp", RAMP_FLAGS)];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        if self.room.room.is_some() && self.start.is_some() && self.ramp.ramp.is_none() {
            let why = "--room does not count where --start is said and no --ramp is asked for: leave it out";
            return Err(Unasked::Shop(Ended::new(Exit::Usage, why)));
        }
        let ramp = self.ramp.ramp().map(|ramp| v1::PlanRamp {
            gas: self.gas.clone().unwrap_or_default(),
            flow_l_min: self.flow.map(in_litres_a_minute),
            ..ramp
        });
        let request = v1::PlanHeatUpRequest {
            section: self.section.section(),
            protected: self.protected,
            heat_c: self.heat.heat.map(in_celsius),
            steel: self.steel.clone().unwrap_or_default(),
            start_c: self.start.map(in_celsius),
            band_k: self.band.map(in_kelvins),
            soak_min: self.soak.map(in_minutes),
            room_c: self.room.room.map(in_celsius),
            ramp,
            units: self.shown.units.into(),
        };
        Ok(planning::heat_up(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanHeatUpResponse { answer: said.only() }
    }
}

/// Asks about a temper.
#[derive(Debug, Args)]
pub(in crate::cli) struct Temper {
    /// The temper's temperature, such as "205 C" or "400 F".
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    temperature: Option<ThermodynamicTemperature>,
    /// The time of each temper.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    time: Option<Time>,
    /// How many.
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=10))]
    tempers: Option<u32>,
    /// The steel, for its hardness.
    #[arg(long)]
    steel: Option<String>,
    /// The hardness wanted of that steel, HRC, instead of the temperature.
    #[arg(long, value_name = "HRC", value_parser = words::hardness_of)]
    hardness: Option<f64>,
    /// Another time that the same is to be done in.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    instead: Option<Time>,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Temper {
    pub(super) const NEEDS: Needs = &[("temperature", &["hardness"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: plane irons of L6 at 205 °C for two hours, twice; and what one hour would have to be:
  hearthward plan temper --temperature \"205 C\" --time \"2 h\" --tempers 2 --steel L6 --instead \"1 h\"";
}

impl Question for Temper {
    type Response = v1::PlanTemperResponse;
    const RESPONSE: &'static str = "PlanTemperResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let request = v1::PlanTemperRequest {
            temperature_c: self.temperature.map(in_celsius),
            time_min: self.time.map(in_minutes),
            tempers: self.tempers.unwrap_or_default(),
            steel: self.steel.clone().unwrap_or_default(),
            hardness_hrc: self.hardness,
            instead_min: self.instead.map(in_minutes),
            units: self.shown.units.into(),
        };
        Ok(planning::temper(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanTemperResponse { answer: said.only() }
    }
}
