//! The arithmetic, asked at the command line. No service runs for it: the question is put together here as the API's own message
//! and answered in this process, so that both say the same.

mod chamber;
mod furnace;
mod gas;
mod quench;
mod said;
mod shop;
mod steel;

use clap::{Arg, ArgGroup, Args, Command, Id, Subcommand, ValueEnum};
use hearthward_api::planning;
use hearthward_process::note::Note;
use hearthward_process::{ProcessError, units};
use hearthward_proto::v1;
use uom::si::f64::{ThermodynamicTemperature, Time};

use self::chamber::{Leak, Meter};
use self::furnace::{Furnace, Interrupted};
use self::gas::{Cylinder, CylinderArgs, GasArgs, Purge, PurgeArgs, PurityArgs};
use self::quench::{Bath, BathArgs, InAirArgs, Plates, Transfer, TransferArgs};
use self::said::{Question, Said, UnitsWord, in_celsius, in_minutes};
use self::shop::{OF_CONFIG, ShopArgs};
use self::steel::{HeatUp, RAMP_FLAGS, RampArgs, SectionArgs, Temper};
use super::words;
use crate::exit::Ended;

#[cfg(test)]
mod ranges;
#[cfg(test)]
mod walked;

#[derive(Debug, Subcommand)]
pub(super) enum Plan {
    /// How long to purge, with how much gas, what to set the meter to.
    #[command(after_help = Purge::EXAMPLE, mut_args(signed), mut_args(needed(Purge::NEEDS)))]
    Purge(Box<Purge>),
    /// What a gauge means, how long the gas lasts, what it does to the air of the room.
    #[command(after_help = Cylinder::EXAMPLE, mut_args(signed), mut_args(needed(Cylinder::NEEDS)))]
    Cylinder(Box<Cylinder>),
    /// When soak really begins, and whether the furnace can do a ramp.
    #[command(after_help = HeatUp::EXAMPLE, mut_args(signed), mut_args(needed(HeatUp::NEEDS)))]
    HeatUp(Box<HeatUp>),
    /// How far a part falls on its way to the bath, and how many seconds it has.
    #[command(after_help = Transfer::EXAMPLE, mut_args(signed), mut_args(needed(Transfer::NEEDS)))]
    Transfer(Box<Transfer>),
    /// What a load does to the bath, and whether the section suits the oil.
    #[command(after_help = Bath::EXAMPLE, mut_args(signed), mut_args(needed(Bath::NEEDS)))]
    Bath(Box<Bath>),
    /// What a temper gives, and what it is worth at another time.
    #[command(after_help = Temper::EXAMPLE, mut_args(signed), mut_args(needed(Temper::NEEDS)))]
    Temper(Box<Temper>),
    /// Heat was cut: how long the steel can still be quenched, and what slow cooling costs.
    #[command(after_help = Interrupted::EXAMPLE, mut_args(signed), mut_args(needed(Interrupted::NEEDS)))]
    Interrupted(Box<Interrupted>),
    /// What the furnace loses and holds, from a recorded heat-up.
    #[command(after_help = Furnace::EXAMPLE, mut_args(signed), mut_args(needed(Furnace::NEEDS)))]
    Furnace(Box<Furnace>),
    /// What leaks into a chamber, from a probe's record or from witness strips.
    #[command(after_help = Leak::EXAMPLE, mut_args(signed))]
    Leak(Box<Leak>),
    /// What a meter really shows, from a bag and a stopwatch.
    #[command(after_help = Meter::EXAMPLE, mut_args(signed), mut_args(needed(Meter::NEEDS)))]
    Meter(Box<Meter>),
    /// What plates or still air do to a part of air-hardening steel.
    #[command(after_help = Plates::EXAMPLE, mut_args(signed), mut_args(needed(Plates::NEEDS)))]
    Plates(Box<Plates>),
    /// A whole load: "I have this steel in this section: what cycle?"
    #[command(after_help = Cycle::EXAMPLE, mut_args(signed), mut_args(of_a_part), mut_args(needed(Cycle::NEEDS)), groups(parts()))]
    Cycle(Box<Cycle>),
}

impl Plan {
    pub(super) fn run(self) -> Result<(), Ended> {
        match self {
            Self::Purge(purge) => said::answer(*purge),
            Self::Cylinder(cylinder) => said::answer(*cylinder),
            Self::HeatUp(heat_up) => said::answer(*heat_up),
            Self::Transfer(transfer) => said::answer(*transfer),
            Self::Bath(bath) => said::answer(*bath),
            Self::Temper(temper) => said::answer(*temper),
            Self::Interrupted(interrupted) => said::answer(*interrupted),
            Self::Furnace(furnace) => said::answer(*furnace),
            Self::Leak(leak) => said::answer(*leak),
            Self::Meter(meter) => said::answer(*meter),
            Self::Plates(plates) => said::answer(*plates),
            Self::Cycle(cycle) => said::answer(*cycle),
        }
    }
}

/// The flags that a question cannot do without, each with those that make up for it.
type Needs = &'static [(&'static str, &'static [&'static str])];

/// Marks what is needed, in the help and for whoever leaves out several at once.
fn needed(needs: Needs) -> impl Fn(Arg) -> Arg {
    move |flag| {
        let Some((_, instead)) = needs.iter().find(|(needed, _)| flag.get_id() == needed) else { return flag };
        let help = flag.get_help().map(ToString::to_string).unwrap_or_default();
        if instead.is_empty() {
            return flag.required(true).help(format!("{help} [needed]"));
        }
        let others: Vec<String> = instead.iter().map(|other| format!("--{other}")).collect();
        flag.required_unless_present_any(*instead).help(format!("{help} [needed without {}]", others.join(" or ")))
    }
}

/// Lets a value begin with its sign: "-1 L/min" is then refused as a flow, "-5 C" is a temperature.
fn signed(flag: Arg) -> Arg {
    if flag.get_action().takes_values() { flag.allow_hyphen_values(true) } else { flag }
}

/// The parts of a whole load: each with the flags that begin it, and with what it then cannot do without, flags or [`SOME`] of them.
const BEGINS: [(&str, &[&str], &[&str]); 4] = [
    ("gas_side", &["chamber", "flow", "furnace"], &["some_chamber", "some_flow"]),
    ("cylinder_side", &["cylinder", "contents", "supply"], &["some_gauge", "some_chamber", "some_flow"]),
    ("any_gas", &["chamber", "flow", "furnace", "cylinder", "contents", "supply"], &[]),
    ("quench_side", &["bath", "tank", "in_air"], &["some_bath", "bath_temperature", "part_mass", "in_air"]),
];
/// Flags that make up for each other.
const SOME: [(&str, &[&str]); 4] = [
    ("some_chamber", &["chamber", "furnace"]),
    ("some_flow", &["flow", "furnace"]),
    ("some_gauge", &["gauge", "filled", "supply"]),
    ("some_bath", &["bath", "tank"]),
];

fn parts() -> impl Iterator<Item = ArgGroup> {
    let group = |(name, flags): (&'static str, &'static [&'static str])| ArgGroup::new(name).args(flags).multiple(true);
    let begins = BEGINS.into_iter().map(move |(part, flags, needs)| group((part, flags)).requires_all(needs));
    begins.chain(SOME.into_iter().map(group))
}

/// Holds a flag of a whole load to the part that it belongs to: without that part nothing would come of it.
fn of_a_part(flag: Arg) -> Arg {
    let id = flag.get_id().clone();
    if BEGINS.iter().any(|(_, begin, _)| begin.contains(&id.as_str())) {
        return flag;
    }
    let part = match () {
        () if belongs::<PurgeArgs>(&id) || belongs::<PurityArgs>(&id) => "gas_side",
        () if belongs::<GasArgs>(&id) => "any_gas",
        () if belongs::<CylinderArgs>(&id) || id == "cooling" => "cylinder_side",
        // The proposal itself asks for the class of the oil.
        () if (belongs::<BathArgs>(&id) && id != "oil") || belongs::<TransferArgs>(&id) => "quench_side",
        () => return flag,
    };
    flag.requires(part)
}

fn belongs<A: Args>(id: &Id) -> bool {
    A::augment_args(Command::new("part")).get_arguments().any(|flag| flag.get_id() == id)
}

/// How the answer is shown.
#[derive(Debug, Args)]
struct ShownArgs {
    /// The units that the answer is written in; quantities may be given in any.
    #[arg(long, value_enum, default_value_t = UnitsWord::Metric)]
    units: UnitsWord,
    /// Print for programs: one JSON object, a failure too.
    #[arg(long)]
    json: bool,
}

/// The room around it all.
#[derive(Debug, Args)]
struct RoomArgs {
    /// The temperature of the room, such as "18 C".
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    room: Option<ThermodynamicTemperature>,
}

/// The heat.
#[derive(Debug, Args)]
struct HeatArgs {
    /// The heat of the furnace, such as "800 C" or "1475 F".
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    heat: Option<ThermodynamicTemperature>,
}

/// A whole load.
#[derive(Debug, Args)]
pub(super) struct Cycle {
    /// The steel, such as O1, L6 or 1095.
    #[arg(long)]
    steel: Option<String>,
    #[command(flatten)]
    section: SectionArgs,
    /// Foil or coating keeps it bright, where no gas does.
    #[arg(long, conflicts_with_all = ["chamber", "flow", "furnace"])]
    protected: bool,
    /// The hardness wanted after tempering, HRC.
    #[arg(long, value_name = "HRC", value_parser = words::hardness_of)]
    hardness: Option<f64>,
    #[command(flatten)]
    own: OwnArgs,
    /// How long an abandoned load cools under gas; the cylinder keeps that in reserve.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    cooling: Option<Time>,
    #[command(flatten)]
    gas: GasArgs,
    #[command(flatten)]
    purity: PurityArgs,
    #[command(flatten)]
    purge: PurgeArgs,
    #[command(flatten)]
    cylinder: CylinderArgs,
    #[command(flatten)]
    ramp: RampArgs,
    #[command(flatten)]
    in_air: InAirArgs,
    #[command(flatten)]
    transfer: TransferArgs,
    #[command(flatten)]
    bath: BathArgs,
    #[command(flatten)]
    room: RoomArgs,
    #[command(flatten)]
    shop: ShopArgs,
    /// A furnace of that configuration, whose chamber, flows and gas are then taken.
    #[arg(long, value_name = "NAME", requires = "config", group = OF_CONFIG)]
    furnace: Option<String>,
    /// A supply of that configuration, whose cylinder and room are then taken.
    #[arg(long, value_name = "NAME", requires = "config", group = OF_CONFIG)]
    supply: Option<String>,
    /// A tank of that configuration, whose volume, window and flash point are then taken.
    #[arg(long, value_name = "NAME", requires = "config", group = OF_CONFIG)]
    tank: Option<String>,
    /// Print a recipe of that name for the configuration in place of the answers: put it into a file of `shop.d`.
    #[arg(long, value_name = "NAME")]
    as_recipe: Option<String>,
    #[command(flatten)]
    shown: ShownArgs,
}

/// Values of your own in place of the table's.
#[derive(Debug, Args)]
struct OwnArgs {
    /// Your own heat to soak at, such as "800 C" or "1475 F".
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    heat: Option<ThermodynamicTemperature>,
    /// Your own soak: the least time at that heat.
    #[arg(long, value_name = "TIME", value_parser = units::time)]
    soak: Option<Time>,
    /// Your own preheat.
    #[arg(long, value_name = "TEMPERATURE", value_parser = units::temperature)]
    preheat: Option<ThermodynamicTemperature>,
    /// Your own temper, such as "205 C for 2 h"; once for each, one after another.
    #[arg(long, value_name = "TEMPERATURE [for TIME]", value_parser = temper, conflicts_with = "hardness")]
    temper: Vec<v1::PlanTemper>,
}

/// A temper, as it is typed.
fn temper(text: &str) -> Result<v1::PlanTemper, ProcessError> {
    let (temperature, time) = text.split_once(" for ").map_or((text, None), |(temperature, time)| (temperature, Some(time)));
    let time_min = time.map(units::time).transpose()?.map(in_minutes);
    Ok(v1::PlanTemper { temperature_c: in_celsius(units::temperature(temperature)?), time_min })
}

impl Cycle {
    const NEEDS: Needs = &[("steel", &[]), ("section", &[])];
    const EXAMPLE: &'static str = "\
Example: 3 mm plane irons of L6 in a 9.4 L chamber, then into 12 L of oil:
  hearthward plan cycle --steel L6 --section \"3 mm\" --hardness 61 \\
    --chamber \"9.4 L\" --flow \"8 L/min\" --hold \"2 L/min\" --cylinder \"10 L\" --gauge \"165 bar\" \\
    --in-air \"2 s\" --bath \"12 L\" --bath-temperature \"48 C\" --part-mass \"0.2 kg\" --parts 3
With a heat and tempers of your own, as a recipe:
  hearthward plan cycle --steel L6 --section \"3 mm\" --heat \"805 C\" --temper \"205 C for 2 h\" --temper \"190 C for 1 h\" \\
    --as-recipe l6-irons > shop.d/l6-irons.toml";

    /// The request, and what is to be said of the configuration that it was made of.
    fn request(&self) -> Result<(v1::PlanCycleRequest, Vec<Note>), Ended> {
        let units = i32::from(self.shown.units);
        let asked = self.purge.is_asked() || self.furnace.is_some();
        let mut purge = asked.then(|| v1::PlanPurgeRequest { units, ..self.purge.request(&self.gas, &self.purity) });
        let mut from_shop = Vec::new();
        if let (Some(furnace), Some(purge)) = (&self.furnace, &mut purge) {
            from_shop = self.shop.purge(furnace, purge)?;
        }
        let asked = self.cylinder.is_asked() || self.supply.is_some();
        let mut cylinder = asked.then(|| v1::PlanCylinderRequest { units, ..self.cylinder.request(&self.gas) });
        if let (Some(supply), Some(cylinder)) = (&self.supply, &mut cylinder) {
            self.shop.cylinder(supply, cylinder)?;
        }
        let quenched = self.bath.is_asked() || self.tank.is_some() || self.in_air.in_air.is_some();
        let mut bath = quenched.then(|| v1::PlanBathRequest { units, ..self.bath.request(&self.in_air) });
        if let (Some(tank), Some(bath)) = (&self.tank, &mut bath) {
            self.shop.bath(tank, bath)?;
        }
        let request = v1::PlanCycleRequest {
            steel: self.steel.clone().unwrap_or_default(),
            section: self.section.section(),
            protected: self.protected,
            hardness_hrc: self.hardness,
            oil: self.bath.oil(),
            purge,
            cylinder,
            ramp: self.ramp.ramp(),
            transfer: quenched.then(|| v1::PlanTransferRequest { units, ..self.transfer.request(&self.in_air) }),
            bath,
            cooling_min: self.cooling.map(in_minutes),
            room_c: self.room.room.map(in_celsius),
            heat_c: self.own.heat.map(in_celsius),
            soak_min: self.own.soak.map(in_minutes),
            preheat_c: self.own.preheat.map(in_celsius),
            tempers: self.own.temper.clone(),
            recipe: self.as_recipe.clone().map(|name| v1::PlanRecipe { name, tank: self.tank.clone().unwrap_or_default() }),
            units,
        };
        Ok((request, from_shop))
    }
}

impl Question for Cycle {
    type Response = v1::PlanCycleResponse;
    const RESPONSE: &'static str = "PlanCycleResponse";
    const FLAGS: &'static [(&'static str, &'static str)] =
        &[("section.size_mm", "section"), ("tempers", "temper"), ("recipe.name", "as-recipe")];
    const PARTS: &'static [said::Part] = &[
        ("purge", Purge::FLAGS),
        ("cylinder", Cylinder::FLAGS),
        ("ramp", RAMP_FLAGS),
        ("transfer", Transfer::FLAGS),
        ("bath", Bath::FLAGS),
    ];

    fn shown(&self) -> &ShownArgs {
        &self.shown
    }

    fn ask(&self) -> Result<Said, said::Unasked> {
        let (request, from_shop) = self.request().map_err(said::Unasked::Shop)?;
        let planning::Load { answers, recipe } = planning::cycle(&request)?;
        Ok(Said { answers, recipe }.noted(from_shop))
    }

    fn response(said: &Said) -> Self::Response {
        let answers = said.answers.iter().map(planning::message).collect();
        v1::PlanCycleResponse { answers, recipe: said.recipe.clone().unwrap_or_default() }
    }
}

/// The class of an oil, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum OilWord {
    /// About 8 to 11 s of the nickel-ball test.
    Fast,
    /// About 11 to 14 s.
    Medium,
    /// About 14 to 20 s and over.
    Slow,
}

impl From<OilWord> for i32 {
    fn from(word: OilWord) -> Self {
        match word {
            OilWord::Fast => v1::OilClass::Fast.into(),
            OilWord::Medium => v1::OilClass::Medium.into(),
            OilWord::Slow => v1::OilClass::Slow.into(),
        }
    }
}
