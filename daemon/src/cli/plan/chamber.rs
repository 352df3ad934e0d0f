//! What a chamber leaks and what a meter shows, as it is typed.

use std::path::PathBuf;

use clap::Args;
use hearthward_api::planning;
use hearthward_process::units;
use hearthward_proto::v1;
use uom::si::area::square_centimeter;
use uom::si::f64::{Area, Mass, Pressure, Ratio, ThermodynamicTemperature, Time, Volume, VolumeRate};

use super::said::{
    Question, Row, Said, Unasked, in_bar, in_celsius, in_kilograms, in_litres, in_litres_a_minute, in_minutes, in_ppm, in_seconds,
};
use super::{Needs, RoomArgs, ShownArgs, said};

/// Asks what leaks into a chamber.
#[derive(Debug, Args)]
pub(in crate::cli) struct Leak {
    /// A probe's record of a purge of the cold chamber, full of air at first: a line a reading, with minutes since the start, oxygen in
    /// ppm, and the flow since the reading before in L/min, parted by commas. A first reading at minute 0 is the chamber before the
    /// purge. A first line that is no numbers is its heading.
    #[arg(long, value_name = "FILE", requires = "chamber", required_unless_present = "strips_gain")]
    record: Option<PathBuf>,
    /// Free volume of the chamber.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume, conflicts_with = "strips_gain")]
    chamber: Option<Volume>,
    /// What bright strips gained that were hot with a load, such as "2.5 mg".
    #[arg(
        long,
        value_name = "MASS",
        value_parser = units::mass,
        conflicts_with = "record",
        requires_all = ["strips_surface", "steel_surface", "time", "flow"]
    )]
    strips_gain: Option<Mass>,
    /// Surface of the strips.
    #[arg(long, value_name = "AREA", value_parser = units::area, requires = "strips_gain")]
    strips_surface: Option<Area>,
    /// Surface of all the steel that was hot, the strips with it.
    #[arg(long, value_name = "AREA", value_parser = units::area, requires = "strips_gain")]
    steel_surface: Option<Area>,
    /// How long it was hot.
    #[arg(long, value_name = "TIME", value_parser = units::time, requires = "strips_gain")]
    time: Option<Time>,
    /// The flow of gas meanwhile.
    #[arg(long, value_name = "FLOW", value_parser = units::flow, requires = "strips_gain")]
    flow: Option<VolumeRate>,
    /// Oxygen in the gas, such as "5 ppm".
    #[arg(long, value_name = "SHARE", value_parser = units::share)]
    gas_oxygen: Option<Ratio>,
    /// The temperature that litres of gas are counted at; 21.1 °C (70 °F) unless said.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    reference: Option<ThermodynamicTemperature>,
    /// The temperature of the room, and of the chamber while it was purged.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature, conflicts_with = "strips_gain")]
    room: Option<ThermodynamicTemperature>,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Leak {
    pub(super) const EXAMPLE: &'static str = "\
Example: bright strips beside plane irons gained 2.5 mg in 70 minutes under 2 L/min:
  hearthward plan leak --strips-gain \"2.5 mg\" --strips-surface \"20 cm2\" --steel-surface \"800 cm2\" --time \"70 min\" \\
    --flow \"2 L/min\" --gas-oxygen \"5 ppm\"";
}

impl Question for Leak {
    type Response = v1::PlanLeakResponse;
    const RESPONSE: &'static str = "PlanLeakResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[
        ("readings", "record"),
        ("strips", "strips-gain"),
        ("strips.gain_kg", "strips-gain"),
        ("strips.surface_cm2", "strips-surface"),
        ("strips.steel_cm2", "steel-surface"),
        ("strips.time_min", "time"),
        ("strips.flow_l_min", "flow"),
    ];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let rows = match &self.record {
            Some(file) => said::rows(file, "minutes, ppm and L/min").map_err(Unasked::Shop)?,
            None => Vec::new(),
        };
        let reading = |&(_, [time_min, oxygen_ppm, flow_l_min]): &Row| v1::PlanProbeReading { time_min, oxygen_ppm, flow_l_min };
        let square_centimetres = |area: Option<Area>| area.map_or(0.0, |area| area.get::<square_centimeter>());
        let request = v1::PlanLeakRequest {
            readings: rows.iter().map(reading).collect(),
            chamber_l: self.chamber.map_or(0.0, in_litres),
            strips: self.strips_gain.map(|gain| v1::PlanStrips {
                gain_kg: in_kilograms(gain),
                surface_cm2: square_centimetres(self.strips_surface),
                steel_cm2: square_centimetres(self.steel_surface),
                time_min: self.time.map_or(0.0, in_minutes),
                flow_l_min: self.flow.map(in_litres_a_minute),
            }),
            gas_oxygen_ppm: self.gas_oxygen.map(in_ppm),
            room_c: self.room.map(in_celsius),
            reference_c: self.reference.map(in_celsius),
            units: self.shown.units.into(),
        };
        planning::leak(&request).map(Said::from).map_err(|why| said::of_line(why, &rows))
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanLeakResponse { answer: said.only() }
    }
}

/// Asks what a meter really shows.
#[derive(Debug, Args)]
pub(in crate::cli) struct Meter {
    /// Volume of the full bag, which was flat before.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    bag: Option<Volume>,
    /// How long it took to fill.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    time: Option<Time>,
    /// What the meter showed meanwhile.
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    reading: Option<VolumeRate>,
    /// The gas.
    #[arg(long)]
    gas: Option<String>,
    /// The gas that the scale is engraved for.
    #[arg(long, value_name = "GAS")]
    scale_gas: Option<String>,
    /// The temperature that the scale is engraved for.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    scale_temperature: Option<ThermodynamicTemperature>,
    /// Gauge pressure in the tube: the line's, where the needle valve sits after the tube.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure)]
    tube: Option<Pressure>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Meter {
    pub(super) const NEEDS: Needs = &[("bag", &[]), ("time", &[]), ("reading", &[])];
    pub(super) const EXAMPLE: &'static str = "\
Example: argon at a mark of 2 L/min of a scale for air fills a bag of 5 L in 175 s:
  hearthward plan meter --bag \"5 L\" --time \"175 s\" --reading \"2 L/min\"";
}

impl Question for Meter {
    type Response = v1::PlanMeterCheckResponse;
    const RESPONSE: &'static str = "PlanMeterCheckResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[("scale_c", "scale-temperature")];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let request = v1::PlanMeterCheckRequest {
            bag_l: self.bag.map_or(0.0, in_litres),
            time_s: self.time.map_or(0.0, in_seconds),
            reading_l_min: self.reading.map_or(0.0, in_litres_a_minute),
            gas: self.gas.clone().unwrap_or_default(),
            scale_gas: self.scale_gas.clone().unwrap_or_default(),
            scale_c: self.scale_temperature.map(in_celsius),
            tube_bar: self.tube.map(in_bar),
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
        };
        Ok(planning::meter_check(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanMeterCheckResponse { answer: said.only() }
    }
}
