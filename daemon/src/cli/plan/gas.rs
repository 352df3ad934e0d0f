//! Purge and cylinder, as they are typed.

use clap::{Args, ValueEnum};
use hearthward_api::planning;
use hearthward_process::ProcessError;
use hearthward_process::units;
use hearthward_process::units::Ramp;
use hearthward_proto::v1;
use uom::si::area::square_centimeter;
use uom::si::f64::{Area, Frequency, Length, Pressure, Ratio, ThermodynamicTemperature, Time, Volume, VolumeRate};
use uom::si::frequency::hertz;
use uom::si::volume::cubic_meter;

use super::said::{
    Question, Said, Unasked, falling_k_min, in_bar, in_celsius, in_litres, in_litres_a_minute, in_millimetres, in_minutes,
    in_percent, in_ppm,
};
use super::shop::{OF_CONFIG, ShopArgs};
use super::{HeatArgs, Needs, RoomArgs, ShownArgs};

/// The gas.
#[derive(Debug, Args)]
pub(super) struct GasArgs {
    /// The gas: argon, nitrogen or helium.
    #[arg(long)]
    gas: Option<String>,
    /// The temperature that litres and cubic feet of gas are counted at; 21.1 °C (70 °F) unless said.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    reference: Option<ThermodynamicTemperature>,
}

/// How pure it is.
#[derive(Debug, Args)]
pub(super) struct PurityArgs {
    /// Oxygen in the gas, such as "5 ppm".
    #[arg(long, value_name = "SHARE", value_parser = units::share)]
    gas_oxygen: Option<Ratio>,
    /// Purity of the gas instead, such as "99.996 %": the rest then counts as oxygen.
    #[arg(long, value_name = "SHARE", value_parser = purity)]
    gas_purity: Option<Ratio>,
}

/// A purity, whose range is narrower than any share's.
fn purity(text: &str) -> Result<Ratio, ProcessError> {
    units::share(text).map_err(|error| match error {
        ProcessError::Negative { value, unit, .. } | ProcessError::OutOfRange { value, unit, .. } => {
            ProcessError::OutOfRange { what: "the purity", value, unit, low: 50.0, high: 100.0 }
        }
        other => other,
    })
}

/// A purge.
#[derive(Debug, Args)]
pub(super) struct PurgeArgs {
    /// Free volume of the chamber, such as "9.4 L" or "580 in3".
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    chamber: Option<Volume>,
    /// The purge flow, such as "8 L/min" or "15 ft3/h".
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    flow: Option<VolumeRate>,
    /// The flow that holds it under heat.
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    hold: Option<VolumeRate>,
    /// Air that leaks in.
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    leak: Option<VolumeRate>,
    /// Oxygen at the start.
    #[arg(long, value_name = "SHARE", value_parser = units::share)]
    start_oxygen: Option<Ratio>,
    /// The oxygen wanted, such as "100 ppm".
    #[arg(long, value_name = "SHARE", value_parser = units::share)]
    level: Option<Ratio>,
    /// Temperature of the chamber while it is purged.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    purged_at: Option<ThermodynamicTemperature>,
    /// Share of the gas that an opening at heat replaces by air, to see the recovery; "0 %" says that it stays shut.
    #[arg(long, value_name = "SHARE", value_parser = units::share)]
    opening: Option<Ratio>,
    /// How fast the chamber begins to fall once heat is cut, such as "5 K/min", to see what it then draws in.
    #[arg(long, value_name = "RATE", value_parser = units::ramp)]
    cools: Option<Ramp>,
    /// Gas volume in the pores of brick or fibre; "0 L" says that there are none.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    pores: Option<Volume>,
    /// Time in which the pores exchange with the chamber.
    #[arg(long, value_name = "TIME", value_parser = units::time, requires = "pores")]
    pores_exchange: Option<Time>,
    /// How far the mean insulation follows the chamber's rise over the room.
    #[arg(long, value_name = "SHARE", value_parser = units::share, requires = "pores")]
    pores_warming: Option<Ratio>,
    #[command(flatten)]
    meter: MeterArgs,
    /// Bore of the port that the gas enters by.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "port_height")]
    port_bore: Option<Length>,
    /// Height of the chamber over the port.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "port_bore")]
    port_height: Option<Length>,
    /// Height from the lowest gap of the chamber to the highest, for its chimney.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "gaps_width")]
    gaps_height: Option<Length>,
    /// Width of the gaps.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "gaps_length")]
    gaps_width: Option<Length>,
    /// Length of each level gap.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "gaps_height")]
    gaps_length: Option<Length>,
    /// Depth of the seal.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "gaps_height")]
    gaps_depth: Option<Length>,
    /// Surface of the steel that what gets in could act on.
    #[arg(long, value_name = "AREA", value_parser = units::area, requires = "exposed_time")]
    exposed_surface: Option<Area>,
    /// How long that steel is hot.
    #[arg(long, value_name = "TIME", value_parser = units::time, requires = "exposed_surface")]
    exposed_time: Option<Time>,
}

/// A variable-area meter.
#[derive(Debug, Args)]
struct MeterArgs {
    /// Top of the meter's scale, for the mark to set.
    #[arg(long, value_name = "FLOW", value_parser = units::flow)]
    meter_scale: Option<VolumeRate>,
    /// The gas that the scale is engraved for.
    #[arg(long, value_name = "GAS", requires = "meter_scale")]
    meter_scale_gas: Option<String>,
    /// The meter's accuracy, of full scale.
    #[arg(long, value_name = "SHARE", value_parser = units::share, requires = "meter_scale")]
    meter_accuracy: Option<Ratio>,
    /// Where its needle valve sits.
    #[arg(long, value_enum, requires = "meter_scale")]
    meter_valve: Option<ValveWord>,
    /// Gauge pressure of the supply line.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure, requires = "meter_scale")]
    meter_line: Option<Pressure>,
    /// Gauge pressure after the meter.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure, requires = "meter_scale")]
    meter_back: Option<Pressure>,
    /// Its float.
    #[arg(long, value_enum, requires_all = ["meter_scale", "meter_bore"])]
    meter_float: Option<FloatWord>,
    /// Bore of its tube.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires_all = ["meter_scale", "meter_float"])]
    meter_bore: Option<Length>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum ValveWord {
    /// Before the tube: the tube stands at the room's pressure.
    BeforeTube,
    /// After the tube: the tube stands at line pressure.
    AfterTube,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum FloatWord {
    /// A ball.
    Ball,
    /// A float with a sharp edge.
    SharpEdged,
}

impl GasArgs {
    pub(super) fn name(&self) -> String {
        self.gas.clone().unwrap_or_default()
    }
}

impl MeterArgs {
    fn meter(&self) -> Option<v1::PlanMeter> {
        let full_scale_l_min = self.meter_scale.map(in_litres_a_minute)?;
        Some(v1::PlanMeter {
            full_scale_l_min,
            scale_gas: self.meter_scale_gas.clone().unwrap_or_default(),
            accuracy_percent: self.meter_accuracy.map(in_percent),
            valve: self.meter_valve.map_or_else(Default::default, |word| {
                i32::from(match word {
                    ValveWord::BeforeTube => v1::ValvePlace::BeforeTube,
                    ValveWord::AfterTube => v1::ValvePlace::AfterTube,
                })
            }),
            line_bar: self.meter_line.map(in_bar),
            back_bar: self.meter_back.map(in_bar),
            float: self.meter_float.map_or_else(Default::default, |word| {
                i32::from(match word {
                    FloatWord::Ball => v1::FloatShape::Ball,
                    FloatWord::SharpEdged => v1::FloatShape::SharpEdged,
                })
            }),
            bore_mm: self.meter_bore.map(in_millimetres),
            ..Default::default()
        })
    }
}

impl PurgeArgs {
    /// Whether a purge was asked about.
    pub(super) fn is_asked(&self) -> bool {
        self.chamber.is_some() || self.flow.is_some()
    }

    pub(super) fn request(&self, gas: &GasArgs, purity: &PurityArgs) -> v1::PlanPurgeRequest {
        let millimetres = |length: Option<Length>| length.map_or(0.0, in_millimetres);
        v1::PlanPurgeRequest {
            chamber_l: self.chamber.map_or(0.0, in_litres),
            flow_l_min: self.flow.map_or(0.0, in_litres_a_minute),
            hold_l_min: self.hold.map(in_litres_a_minute),
            gas: gas.name(),
            gas_oxygen_ppm: purity.gas_oxygen.map(in_ppm),
            gas_purity_percent: purity.gas_purity.map(in_percent),
            leak_l_min: self.leak.map(in_litres_a_minute),
            start_oxygen_percent: self.start_oxygen.map(in_percent),
            level_ppm: self.level.map(in_ppm),
            purged_at_c: self.purged_at.map(in_celsius),
            reference_c: gas.reference.map(in_celsius),
            pores: self.pores.map(|pores| v1::PlanPores {
                volume_l: in_litres(pores),
                exchange_min: self.pores_exchange.map(in_minutes),
                warming_percent: self.pores_warming.map(in_percent),
            }),
            meter: self.meter.meter(),
            port: self
                .port_bore
                .or(self.port_height)
                .map(|_| v1::PlanPort { bore_mm: millimetres(self.port_bore), height_mm: millimetres(self.port_height) }),
            gaps: self.gaps_width.or(self.gaps_height).or(self.gaps_length).map(|_| v1::PlanGaps {
                height_mm: millimetres(self.gaps_height),
                width_mm: millimetres(self.gaps_width),
                length_mm: millimetres(self.gaps_length),
                depth_mm: self.gaps_depth.map(in_millimetres),
                shape: v1::GapShape::DoorFrame.into(),
            }),
            opening_percent: self.opening.map(in_percent),
            cools_k_min: self.cools.map(falling_k_min),
            exposed: self.exposed_surface.map(|surface| v1::PlanExposed {
                surface_cm2: surface.get::<square_centimeter>(),
                carbon_percent: None,
                time_min: self.exposed_time.map_or(0.0, in_minutes),
            }),
            ..Default::default()
        }
    }
}

/// Asks about a purge.
#[derive(Debug, Args)]
pub(in crate::cli) struct Purge {
    #[command(flatten)]
    purge: PurgeArgs,
    #[command(flatten)]
    gas: GasArgs,
    #[command(flatten)]
    purity: PurityArgs,
    #[command(flatten)]
    heat: HeatArgs,
    /// The steel, for what the gas does to it.
    #[arg(long)]
    steel: Option<String>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shop: ShopArgs,
    /// A furnace of that configuration, whose chamber, flows and supply are then taken.
    #[arg(long, value_name = "NAME", requires = "config", group = OF_CONFIG)]
    furnace: Option<String>,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Purge {
    pub(super) const NEEDS: Needs = &[("chamber", &["furnace"]), ("flow", &["furnace"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: a 9.4 L chamber for plane irons, purged with argon at 8 L/min and held with 2 L/min:
  hearthward plan purge --chamber \"9.4 L\" --flow \"8 L/min\" --hold \"2 L/min\" --gas-oxygen \"5 ppm\" --level \"100 ppm\"";
}

impl Question for Purge {
    type Response = v1::PlanPurgeResponse;
    const RESPONSE: &'static str = "PlanPurgeResponse";
    const FLAGS: &'static [(&'static str, &'static str)] =
        &[("pores.volume_l", "pores"), ("meter.full_scale_l_min", "meter-scale")];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let mut request = v1::PlanPurgeRequest {
            heat_c: self.heat.heat.map(in_celsius),
            room_c: self.room.room.map(in_celsius),
            steel: self.steel.clone().unwrap_or_default(),
            units: self.shown.units.into(),
            ..self.purge.request(&self.gas, &self.purity)
        };
        let from_shop = match &self.furnace {
            Some(furnace) => self.shop.purge(furnace, &mut request).map_err(Unasked::Shop)?,
            None => Vec::new(),
        };
        Ok(Said::from(planning::purge(&request)?).noted(from_shop))
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanPurgeResponse { answer: said.only() }
    }
}

/// A cylinder.
#[derive(Debug, Args)]
pub(super) struct CylinderArgs {
    /// Water volume of the cylinder, such as "43.8 L".
    #[arg(long, value_name = "VOLUME", value_parser = units::volume, conflicts_with = "contents")]
    cylinder: Option<Volume>,
    /// What a full one holds, such as "110 ft3" or "6 m3", instead of its water volume; with --filled.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume, requires = "filled")]
    contents: Option<Volume>,
    /// Gauge pressure of a full one, such as "200 bar": to say how full it is.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure)]
    filled: Option<Pressure>,
    /// What its gauge shows, such as "140 bar" or "2000 psi".
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure)]
    gauge: Option<Pressure>,
    /// Largest error of the gauge.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure)]
    gauge_error: Option<Pressure>,
    /// Temperature of the cylinder.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    cylinder_temperature: Option<ThermodynamicTemperature>,
    /// The gauge at which it is changed.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure)]
    leave: Option<Pressure>,
    /// What is drawn, such as "8 L/min for 9 min"; once for each stretch of each furnace. Without a time it is only asked how long
    /// the gas lasts.
    #[arg(long, value_name = "FLOW for TIME", value_parser = draw)]
    draw: Vec<v1::PlanDraw>,
    /// What must be left to cool an abandoned load.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    reserve: Option<Volume>,
    /// What the gauge showed before, with everything shut since, to see whether it leaks.
    #[arg(long, value_name = "PRESSURE", value_parser = units::pressure, requires = "ago")]
    evening: Option<Pressure>,
    /// The cylinder's temperature then.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature, requires = "evening")]
    evening_temperature: Option<ThermodynamicTemperature>,
    /// How long ago that was, such as "14 h".
    #[arg(long, value_name = "TIME", value_parser = units::time, requires = "evening")]
    ago: Option<Time>,
    /// Volume of the room that the gas ends up in.
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    room_volume: Option<Volume>,
    /// How often the air of that room is replaced, such as "2 /h".
    #[arg(long, value_name = "RATE", value_parser = units::air_changes, requires = "room_volume")]
    room_changes: Option<Frequency>,
    /// The oxygen at which the shop's first alarm of that room is raised; 19.5 % unless said.
    #[arg(long, value_name = "SHARE", value_parser = units::share, requires = "room_volume")]
    room_alarm: Option<Ratio>,
}

/// A stretch that draws gas, as it is typed.
fn draw(text: &str) -> Result<v1::PlanDraw, ProcessError> {
    let (flow, time_min) = match text.split_once(" for ") {
        Some((flow, time)) => (flow, in_minutes(units::time(time)?)),
        None => (text, 0.0),
    };
    Ok(v1::PlanDraw { flow_l_min: in_litres_a_minute(units::flow(flow)?), time_min })
}

impl CylinderArgs {
    /// Whether a cylinder was asked about.
    pub(super) fn is_asked(&self) -> bool {
        self.cylinder.is_some() || self.contents.is_some()
    }

    pub(super) fn request(&self, gas: &GasArgs) -> v1::PlanCylinderRequest {
        v1::PlanCylinderRequest {
            volume_l: self.cylinder.map_or(0.0, in_litres),
            contents_l: self.contents.map(in_litres),
            filled_bar: self.filled.map(in_bar),
            gas: gas.name(),
            gauge_bar: self.gauge.map(in_bar),
            gauge_error_bar: self.gauge_error.map(in_bar),
            temperature_c: self.cylinder_temperature.map(in_celsius),
            leave_bar: self.leave.map(in_bar),
            draws: self.draw.clone(),
            reserve_l: self.reserve.map(in_litres),
            room: self.room_volume.map(|volume| v1::PlanRoom {
                volume_m3: volume.get::<cubic_meter>(),
                air_changes_per_h: self.room_changes.map(|changes| changes.get::<hertz>() * 3600.0),
                alarm_percent: self.room_alarm.map(in_percent),
            }),
            reference_c: gas.reference.map(in_celsius),
            evening: self.evening.map(|gauge| v1::PlanEvening {
                gauge_bar: in_bar(gauge),
                temperature_c: self.evening_temperature.map(in_celsius),
                ago_h: self.ago.map_or(0.0, in_minutes) / 60.0,
            }),
            ..Default::default()
        }
    }
}

/// Asks about a cylinder.
#[derive(Debug, Args)]
pub(in crate::cli) struct Cylinder {
    #[command(flatten)]
    cylinder: CylinderArgs,
    /// The draws come one after another, as those of one furnace do; unless said, any of them may run while any other does.
    #[arg(long, requires = "draw")]
    in_turn: bool,
    #[command(flatten)]
    gas: GasArgs,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shop: ShopArgs,
    /// A supply of that configuration, whose gas, cylinder and room are then taken.
    #[arg(long, value_name = "NAME", requires = "config", group = OF_CONFIG)]
    supply: Option<String>,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Cylinder {
    pub(super) const NEEDS: Needs = &[("cylinder", &["contents", "supply"]), ("gauge", &["filled", "supply"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: a morning of plane irons on a cylinder that shows 90 bar, in a room of 60 m³:
  hearthward plan cylinder --cylinder \"43.8 L\" --gauge \"90 bar\" --draw \"8 L/min for 9 min\" --draw \"2 L/min for 4 h\" \\
    --room-volume \"60 m3\" --room-changes \"2 /h\"";
}

impl Question for Cylinder {
    type Response = v1::PlanCylinderResponse;
    const RESPONSE: &'static str = "PlanCylinderResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[
        ("volume_l", "cylinder"),
        ("draws", "draw"),
        ("temperature_c", "cylinder-temperature"),
        ("evening.gauge_bar", "evening"),
        ("evening.ago_h", "ago"),
        ("room.volume_m3", "room-volume"),
        ("room.air_changes_per_h", "room-changes"),
    ];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let mut request = v1::PlanCylinderRequest {
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
            draws_in_turn: self.in_turn,
            ..self.cylinder.request(&self.gas)
        };
        if let Some(supply) = &self.supply {
            self.shop.cylinder(supply, &mut request).map_err(Unasked::Shop)?;
        }
        Ok(planning::cylinder(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanCylinderResponse { answer: said.only() }
    }
}
