//! The way to the bath and the bath, as they are typed.

use clap::Args;
use hearthward_api::planning;
use hearthward_process::quench::MOST_PARTS;
use hearthward_process::units;
use hearthward_proto::v1;
use uom::si::area::square_centimeter;
use uom::si::f64::{Area, Length, Mass, Ratio, ThermodynamicTemperature, Time, Volume};

use super::said::{
    Question, Said, Unasked, in_celsius, in_kilograms, in_litres, in_millimetres, in_minutes, in_percent, in_seconds,
};
use super::shop::{OF_CONFIG, ShopArgs};
use super::steel::SectionArgs;
use super::{HeatArgs, Needs, OilWord, RoomArgs, ShownArgs};

/// The seconds that count.
#[derive(Debug, Args)]
pub(super) struct InAirArgs {
    /// From the door to under the oil, such as "2 s".
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    pub(super) in_air: Option<Time>,
}

/// The way to the bath.
#[derive(Debug, Args)]
pub(super) struct TransferArgs {
    /// The temperature that the part must not fall below before it is under.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    limit: Option<ThermodynamicTemperature>,
    /// Thickness of its edge, where it has one: a knife's, before grinding.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "edge_width")]
    edge: Option<Length>,
    /// From the edge to the back.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "edge")]
    edge_width: Option<Length>,
}

impl TransferArgs {
    pub(super) fn request(&self, in_air: &InAirArgs) -> v1::PlanTransferRequest {
        v1::PlanTransferRequest {
            taper: self.edge.map(|edge| v1::PlanTaper {
                edge_mm: in_millimetres(edge),
                back_mm: None,
                width_mm: self.edge_width.map_or(0.0, in_millimetres),
            }),
            limit_c: self.limit.map(in_celsius),
            time_s: in_air.in_air.map(in_seconds),
            ..Default::default()
        }
    }
}

/// Asks about the way to the bath.
#[derive(Debug, Args)]
pub(in crate::cli) struct Transfer {
    #[command(flatten)]
    section: SectionArgs,
    #[command(flatten)]
    in_air: InAirArgs,
    #[command(flatten)]
    transfer: TransferArgs,
    #[command(flatten)]
    heat: HeatArgs,
    /// The steel, for its heat.
    #[arg(long)]
    steel: Option<String>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Transfer {
    pub(super) const NEEDS: Needs = &[("section", &[]), ("in_air", &[]), ("heat", &["steel"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: a carving knife 1.5 mm thick, its edge left at 0.5 mm, three seconds on the way:
  hearthward plan transfer --section \"1.5 mm\" --edge \"0.5 mm\" --edge-width \"15 mm\" --heat \"800 C\" --in-air \"3 s\"";
}

impl Question for Transfer {
    type Response = v1::PlanTransferResponse;
    const RESPONSE: &'static str = "PlanTransferResponse";
    const FLAGS: &'static [(&'static str, &'static str)] =
        &[("section.size_mm", "section"), ("time_s", "in-air"), ("taper.width_mm", "edge-width"), ("taper.edge_mm", "edge")];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let request = v1::PlanTransferRequest {
            section: self.section.section(),
            heat_c: self.heat.heat.map(in_celsius),
            steel: self.steel.clone().unwrap_or_default(),
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
            ..self.transfer.request(&self.in_air)
        };
        Ok(planning::transfer(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanTransferResponse { answer: said.only() }
    }
}

/// The bath and what goes into it.
#[derive(Debug, Args)]
pub(super) struct BathArgs {
    /// Volume of the oil, such as "12 L" or "5 gal".
    #[arg(long, value_name = "VOLUME", value_parser = units::volume)]
    bath: Option<Volume>,
    /// Its temperature.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    bath_temperature: Option<ThermodynamicTemperature>,
    /// The oil's class of speed.
    #[arg(long, value_enum)]
    oil: Option<OilWord>,
    /// Low end of its working window; that of its class unless said.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    window_low: Option<ThermodynamicTemperature>,
    /// High end of its working window.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    window_high: Option<ThermodynamicTemperature>,
    /// Flash point of the oil.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    flash_point: Option<ThermodynamicTemperature>,
    /// Mass of each part.
    #[arg(long, value_name = "MASS", value_parser = units::mass)]
    part_mass: Option<Mass>,
    /// How many parts are pulled one after another.
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_PARTS)))]
    parts: Option<u32>,
    /// Share of what a waiting part sees that is the open door.
    #[arg(long, value_name = "SHARE", value_parser = units::share)]
    view: Option<Ratio>,
    /// How long the door is open before each pull.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    open: Option<Time>,
    /// How long the door is shut between pulls.
    #[arg(long, value_name = "TIME", value_parser = units::time, requires = "parts")]
    shut: Option<Time>,
    /// Free surface of the oil, for level and cover.
    #[arg(long, value_name = "AREA", value_parser = units::area)]
    tank_surface: Option<Area>,
    /// From the oil up to the rim.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "tank_surface")]
    tank_freeboard: Option<Length>,
    /// Length of a part as it hangs.
    #[arg(long, value_name = "LENGTH", value_parser = units::length, requires = "tank_surface")]
    part_length: Option<Length>,
    /// Time constant of the tank's cooling, for when it is back in its window.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    bath_cooling: Option<Time>,
}

impl BathArgs {
    /// Whether a bath was asked about.
    pub(super) fn is_asked(&self) -> bool {
        self.bath.is_some()
    }

    pub(super) fn oil(&self) -> i32 {
        self.oil.map_or_else(Default::default, i32::from)
    }

    pub(super) fn request(&self, in_air: &InAirArgs) -> v1::PlanBathRequest {
        v1::PlanBathRequest {
            volume_l: self.bath.map_or(0.0, in_litres),
            temperature_c: self.bath_temperature.map(in_celsius),
            window_low_c: self.window_low.map(in_celsius),
            window_high_c: self.window_high.map(in_celsius),
            flash_point_c: self.flash_point.map(in_celsius),
            part_kg: self.part_mass.map_or(0.0, in_kilograms),
            parts: self.parts.unwrap_or_default(),
            view_percent: self.view.map(in_percent),
            open_s: self.open.map(in_seconds),
            shut_s: self.shut.map(in_seconds),
            time_s: in_air.in_air.map(in_seconds),
            oil: self.oil(),
            tank: self.tank_surface.map(|surface| v1::PlanTank {
                surface_cm2: surface.get::<square_centimeter>(),
                freeboard_mm: self.tank_freeboard.map(in_millimetres),
                part_mm: self.part_length.map(in_millimetres),
            }),
            cooling_min: self.bath_cooling.map(in_minutes),
            ..Default::default()
        }
    }
}

/// Asks about a bath.
#[derive(Debug, Args)]
pub(in crate::cli) struct Bath {
    /// The temperature that no part must fall below before it is under, for the seconds that the last one has.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    limit: Option<ThermodynamicTemperature>,
    #[command(flatten)]
    bath: BathArgs,
    #[command(flatten)]
    section: SectionArgs,
    #[command(flatten)]
    in_air: InAirArgs,
    #[command(flatten)]
    heat: HeatArgs,
    /// The steel, to see whether the section suits the oil.
    #[arg(long)]
    steel: Option<String>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shop: ShopArgs,
    /// A tank of that configuration, whose volume, window and flash point are then taken.
    #[arg(long, value_name = "NAME", requires = "config", group = OF_CONFIG)]
    tank: Option<String>,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Bath {
    pub(super) const NEEDS: Needs =
        &[("bath", &["tank"]), ("bath_temperature", &[]), ("section", &[]), ("part_mass", &[]), ("heat", &["steel"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: four plane irons of L6 into 12 L of oil at 48 °C:
  hearthward plan bath --bath \"12 L\" --bath-temperature \"48 C\" --section \"3 mm\" --part-mass \"0.2 kg\" --parts 4 --steel L6 \\
    --flash-point \"180 C\"";
}

impl Question for Bath {
    type Response = v1::PlanBathResponse;
    const RESPONSE: &'static str = "PlanBathResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[
        ("volume_l", "bath"),
        ("temperature_c", "bath-temperature"),
        ("section.size_mm", "section"),
        ("time_s", "in-air"),
        ("part_kg", "part-mass"),
        ("tank.surface_cm2", "tank-surface"),
        ("tank.freeboard_mm", "tank-freeboard"),
        ("tank.part_mm", "part-length"),
        ("cooling_min", "bath-cooling"),
    ];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let mut request = v1::PlanBathRequest {
            section: self.section.section(),
            limit_c: self.limit.map(in_celsius),
            heat_c: self.heat.heat.map(in_celsius),
            steel: self.steel.clone().unwrap_or_default(),
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
            ..self.bath.request(&self.in_air)
        };
        if let Some(tank) = &self.tank {
            self.shop.bath(tank, &mut request).map_err(Unasked::Shop)?;
        }
        Ok(planning::bath(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanBathResponse { answer: said.only() }
    }
}

/// Asks about plates, or still air instead.
#[derive(Debug, Args)]
pub(in crate::cli) struct Plates {
    /// Mass of both plates together.
    #[arg(long, value_name = "MASS", value_parser = units::mass)]
    plates: Option<Mass>,
    /// Their temperature before the first part; the room's unless said.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    plates_temperature: Option<ThermodynamicTemperature>,
    #[command(flatten)]
    section: SectionArgs,
    /// Mass of each part.
    #[arg(long, value_name = "MASS", value_parser = units::mass)]
    part_mass: Option<Mass>,
    /// How many parts are pulled one after another.
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_PARTS)))]
    parts: Option<u32>,
    /// From the door to between the plates, such as "3 s".
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    in_air: Option<Time>,
    #[command(flatten)]
    heat: HeatArgs,
    /// The steel, to see whether the section hardens so.
    #[arg(long)]
    steel: Option<String>,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shown: ShownArgs,
}

impl Plates {
    pub(super) const NEEDS: Needs = &[("plates", &[]), ("section", &[]), ("part_mass", &[]), ("heat", &["steel"])];
    pub(super) const EXAMPLE: &'static str = "\
Example: three carving knives of A2 between aluminium plates of 6 kg:
  hearthward plan plates --plates \"6 kg\" --section \"3 mm\" --part-mass \"0.15 kg\" --parts 3 --steel A2";
}

impl Question for Plates {
    type Response = v1::PlanPlatesResponse;
    const RESPONSE: &'static str = "PlanPlatesResponse";
    const FLAGS: &'static [(&'static str, &'static str)] = &[
        ("section.size_mm", "section"),
        ("part_kg", "part-mass"),
        ("time_s", "in-air"),
        ("plates_kg", "plates"),
        ("plates_c", "plates-temperature"),
    ];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, Unasked> {
        let request = v1::PlanPlatesRequest {
            section: self.section.section(),
            part_kg: self.part_mass.map_or(0.0, in_kilograms),
            parts: self.parts.unwrap_or_default(),
            heat_c: self.heat.heat.map(in_celsius),
            time_s: self.in_air.map(in_seconds),
            plates_kg: self.plates.map_or(0.0, in_kilograms),
            plates_c: self.plates_temperature.map(in_celsius),
            steel: self.steel.clone().unwrap_or_default(),
            room_c: self.room.room.map(in_celsius),
            units: self.shown.units.into(),
        };
        Ok(planning::plates(&request)?.into())
    }

    fn response(said: &Said) -> Self::Response {
        v1::PlanPlatesResponse { answer: said.only() }
    }
}
