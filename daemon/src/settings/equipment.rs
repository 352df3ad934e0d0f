//! The tables of equipment: supplies, furnaces, tanks and the room, each value checked by itself and against its table.

use std::time::Duration;

use hearthward_equipment::quantity::{GasFlow, Temperature, TemperatureStep, celsius, in_celsius, kelvins};
use hearthward_equipment::{Name, UnitAddress};
use hearthward_process::gas::Gas;
use hearthward_supervise::plan::{Calibration, ChamberKind, ChamberPlan, DeadMan, Heating, OnSilence, PurgePlan, SteelChoice};
use uom::si::f64::{Frequency, Power, Pressure, Ratio, Volume};
use uom::si::frequency::hertz;
use uom::si::pressure::kilopascal;
use uom::si::ratio::{part_per_million, percent, ratio};

use super::policy::{self, PolicySettings};
use super::quantities;
use super::section::Section;

/// A point as the configuration names it, still to be found: `driver/point`, `driver/unit` or `driver/unit.point`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PointRef {
    /// As written.
    pub text: String,
    /// The key that names it, for problems.
    pub key: String,
    /// The file it is written in, for problems.
    pub source: String,
}

/// A gas supply.
#[derive(Clone, Debug)]
pub struct SupplySettings {
    /// Its name.
    pub name: Name,
    /// The gas.
    pub gas: Gas,
    /// Oxygen in it.
    pub oxygen: Ratio,
    /// What it can give to all furnaces together.
    pub capacity: GasFlow,
    /// Water volume of the cylinder.
    pub cylinder_volume: Option<Volume>,
    /// Gauge pressure of a full one.
    pub filled: Pressure,
    /// Its gauge.
    pub pressure: Option<PointRef>,
    /// The gauge's uncertainty.
    pub gauge_error: Pressure,
    /// How old the gauge reading may be.
    pub stale_after: Duration,
}

/// A contactor.
#[derive(Clone, Debug)]
pub struct ContactorSettings {
    /// The output that closes it.
    pub output: PointRef,
    /// What says whether it is closed.
    pub feedback: Option<PointRef>,
}

/// Gas to a furnace.
#[derive(Clone, Debug)]
pub struct GasSettings {
    /// The supply's name.
    pub supply: Name,
    /// The meter's unit or flow point.
    pub meter: Option<PointRef>,
    /// Smallest flow that the meter can tell from none.
    pub resolution: GasFlow,
    /// The valve and how it stands without power.
    pub valve: Option<(PointRef, bool)>,
    /// The purge.
    pub purge: PurgePlan,
}

/// A furnace.
#[derive(Clone, Debug)]
pub struct FurnaceSettings {
    /// Its name.
    pub name: Name,
    /// Where it is written, for problems that are found later.
    pub home: String,
    /// The controller's unit.
    pub controller: Option<UnitAddress>,
    /// How heat is asked for.
    pub heating: Heating,
    /// What cuts heat if this computer dies.
    pub dead_man: DeadMan,
    /// Chamber temperature, where it is not the controller's.
    pub temperature: Option<PointRef>,
    /// Door switch.
    pub door: Option<PointRef>,
    /// Thermometer at the load.
    pub load_temperature: Option<PointRef>,
    /// Oxygen probe.
    pub probe: Option<PointRef>,
    /// Contactor.
    pub contactor: Option<ContactorSettings>,
    /// The chamber.
    pub chamber: ChamberPlan,
    /// What the maker permits.
    pub rated: Temperature,
    /// The furnace's own limit.
    pub limit: Temperature,
    /// Full power.
    pub power: Power,
    /// Half width of the band.
    pub band: TemperatureStep,
    /// Age at which a reading counts as missing.
    pub stale_after: Duration,
    /// Steepest believable change.
    pub steepest_k_per_s: f64,
    /// How long full output may bring no rise.
    pub no_response_after: Duration,
    /// Openings up to this length clear by themselves.
    pub short_opening: Duration,
    /// Longest continuous heating.
    pub run_time_limit: Option<Duration>,
    /// Gas.
    pub gas: Option<GasSettings>,
    /// The default on silence.
    pub on_silence: OnSilence,
    /// Coolest temperature at which steel can still be quenched.
    pub still_quenchable: Temperature,
    /// How fast the closed furnace falls without heat.
    pub falls_k_per_s: f64,
    /// What the shop has decided about its interlocks.
    pub policy: PolicySettings,
}

/// A quench tank.
#[derive(Clone, Debug)]
pub struct TankSettings {
    /// Its name.
    pub name: Name,
    /// Thermometer: a point, or the tank's unit.
    pub thermometer: PointRef,
    /// Level, where measured.
    pub level: Option<PointRef>,
    /// Agitation, where wired.
    pub agitation: Option<PointRef>,
    /// Switch that is on while a part is under.
    pub part_under: Option<PointRef>,
    /// Age at which a reading counts as missing.
    pub stale_after: Duration,
    /// Volume of the quenchant.
    pub volume: Volume,
    /// Power of its heater, from which the time to warm it is worked out.
    pub heater: Option<Power>,
    /// The working window.
    pub window: (Temperature, Temperature),
    /// Flash point.
    pub flash_point: Option<Temperature>,
    /// Distance to it.
    pub flash_margin: TemperatureStep,
    /// Lowest level that covers a part.
    pub level_least: Ratio,
}

/// The room.
#[derive(Clone, Debug)]
pub struct RoomSettings {
    /// Its volume.
    pub volume: Option<Volume>,
    /// How often its air is exchanged.
    pub air_changes: Frequency,
    /// Oxygen monitor.
    pub oxygen: Option<PointRef>,
    /// First level.
    pub first_level: Ratio,
    /// Second level.
    pub second_level: Ratio,
    /// How long the second must be undershot.
    pub debounce: Duration,
    /// Age at which the monitor counts as bad.
    pub stale_after: Duration,
    /// Horn.
    pub horn: Option<PointRef>,
}

pub(super) fn point(section: &Section<'_>, entry: &'static str) -> Option<PointRef> {
    let text = section.text(entry)?;
    Some(PointRef { text, key: section.key(entry), source: section.home().to_owned() })
}

/// Oxygen in a gas that may still be called protective; common practice, no source.
const OXYGEN_MOST_PPM: f64 = 1000.0;

pub(super) fn supplies(root: &Section<'_>) -> Vec<SupplySettings> {
    root.named("supply").into_iter().filter_map(|(name, section)| supply(name, section)).collect()
}

fn supply(name: Name, section: Section<'_>) -> Option<SupplySettings> {
    let gas = section.need("gas", "gas = \"argon\"", quantities::protective_gas);
    let oxygen = section.read("oxygen", quantities::share).unwrap_or_else(|| Ratio::new::<part_per_million>(10.0));
    if oxygen.get::<part_per_million>() > OXYGEN_MOST_PPM {
        let words = format!(
            "is {:.2} %: hot steel scales in that; a protective gas has {:.1} % oxygen at most, an argon cylinder some ppm",
            oxygen.get::<percent>(),
            OXYGEN_MOST_PPM * 1e-4
        );
        section.problem("oxygen", words);
    }
    let capacity = section.need("capacity", "capacity = \"20 L/min\"", quantities::capacity);
    let (mut cylinder_volume, mut filled, mut pressure, mut gauge_error) = (None, None, None, None);
    if let Some(cylinder) = section.section("cylinder") {
        cylinder_volume = cylinder.need("volume", "volume = \"43.8 L\"", quantities::volume);
        filled = cylinder.read("filled", quantities::filling_pressure);
        pressure = point(&cylinder, "pressure");
        gauge_error = cylinder.read("gauge_error", quantities::gauge_error);
        cylinder.finish();
    }
    let stale_after = section.read("stale_after", |text| quantities::duration_in(text, 1_000, 86_400_000));
    section.finish();
    Some(SupplySettings {
        name,
        gas: gas?,
        oxygen,
        capacity: capacity?,
        cylinder_volume,
        filled: filled.unwrap_or_else(|| Pressure::new::<kilopascal>(20_000.0)),
        pressure,
        gauge_error: gauge_error.unwrap_or_else(|| Pressure::new::<kilopascal>(500.0)),
        stale_after: stale_after.unwrap_or(Duration::from_secs(8 * 3600)),
    })
}

pub(super) fn furnaces(root: &Section<'_>) -> Vec<FurnaceSettings> {
    let named = root.named("furnace");
    if named.is_empty() {
        root.missing("furnace", "[furnace.north] with controller, chamber, rated, limit and power");
    }
    named.into_iter().filter_map(|(name, section)| furnace(name, section)).collect()
}

fn furnace(name: Name, section: Section<'_>) -> Option<FurnaceSettings> {
    let built = read_furnace(name, &section);
    section.finish();
    built
}

fn read_furnace(name: Name, section: &Section<'_>) -> Option<FurnaceSettings> {
    let controller = section.read("controller", |text| text.parse::<UnitAddress>().map_err(|_| not_a_unit(text)));
    let heating = section.read("heating", heating).unwrap_or(Heating::SetPoint);
    let rated = section.need("rated", "rated = \"1100 C\"", quantities::furnace_limit);
    let limit = section.need("limit", "limit = \"1060 C\"", quantities::furnace_limit);
    if let (Some(rated), Some(limit)) = (rated, limit)
        && limit > rated
    {
        let words = format!(
            "is {:.0} °C, above the {:.0} °C that the furnace is rated for; set it at or below `rated`",
            in_celsius(limit),
            in_celsius(rated)
        );
        section.problem("limit", words);
    }
    let power = section.need("power", "power = \"2.2 kW\"", quantities::power);
    let chamber = chamber(section);
    let gas = gas(section);
    let temperature = point(section, "temperature");
    if controller.is_none() && temperature.is_none() && !section.has("controller") {
        section.missing(
            "controller",
            "controller = \"controllers/north\", or temperature = \"by-hand/north\" for a furnace kept by hand",
        );
    }
    let contactor =
        point(section, "contactor").map(|output| ContactorSettings { output, feedback: point(section, "contactor_feedback") });
    let dead_man = dead_man(section, contactor.is_some());
    let timing = |entry, least, most, usual| {
        section.read(entry, |text| quantities::duration_in(text, least, most)).unwrap_or(Duration::from_secs(usual))
    };
    Some(FurnaceSettings {
        home: section.home().to_owned(),
        controller,
        heating,
        dead_man,
        temperature,
        door: point(section, "door"),
        load_temperature: point(section, "load_thermometer"),
        probe: point(section, "oxygen_probe"),
        contactor,
        band: section.read("band", quantities::step).unwrap_or_else(|| kelvins(8.0)),
        stale_after: timing("stale_after", 200, 3_600_000, 3),
        steepest_k_per_s: section.number("steepest_k_per_s", 0.1, 1_000.0).unwrap_or(40.0),
        no_response_after: timing("no_response_after", 30_000, 7_200_000, 900),
        short_opening: timing("short_opening", 0, 600_000, 30),
        run_time_limit: section.read("run_time_limit", |text| quantities::duration_in(text, 60_000, 604_800_000)),
        gas,
        on_silence: on_silence(section),
        still_quenchable: section.read("still_quenchable", quantities::furnace_temperature).unwrap_or_else(|| celsius(740.0)),
        falls_k_per_s: section.number("falls_k_per_s", 0.001, 50.0).unwrap_or(0.3),
        policy: policy::policy(section),
        name,
        // After all else was read, so that what is wrong there is said too.
        chamber: chamber?,
        rated: rated?,
        limit: limit?,
        power: power?,
    })
}

fn not_a_unit(text: &str) -> String {
    format!("{text:?} does not name a unit; write it like \"controllers/north\": the driver, a slash, its unit")
}

fn heating(text: &str) -> Result<Heating, String> {
    match text {
        "set-point" => Ok(Heating::SetPoint),
        "program" => Ok(Heating::Program),
        "by-hand" => Ok(Heating::ByHand),
        "watched" => Ok(Heating::Watched),
        _ => Err(format!("{text:?} is none of: set-point, program, by-hand, watched")),
    }
}

fn chamber(section: &Section<'_>) -> Option<ChamberPlan> {
    let Some(chamber) = section.section("chamber") else {
        section.missing("chamber", "chamber = { kind = \"brick\", volume = \"9.4 L\" }");
        return None;
    };
    let kind = chamber.need("kind", "kind = \"brick\"", |text| match text {
        "retort" => Ok(ChamberKind::Retort),
        "brick" => Ok(ChamberKind::Brick),
        "fibre" => Ok(ChamberKind::Fibre),
        _ => Err(format!("{text:?} is none of: retort (tight metal), brick, fibre")),
    });
    let volume = chamber.need("volume", "volume = \"9.4 L\"", quantities::volume);
    let calibration = chamber.section("calibration").and_then(|found| {
        let leak = found.need("leak", "leak = \"0.05 L/min\"", quantities::gas_flow);
        let pore_volume = found.need("pore_volume", "pore_volume = \"20 L\"", quantities::volume);
        let pore_exchange =
            found.need("pore_exchange", "pore_exchange = \"10 min\"", |text| quantities::duration_in(text, 1_000, 86_400_000));
        let band = found.number("band", 1.0, 1_000.0).unwrap_or(3.0);
        found.finish();
        Some(Calibration { leak: leak?, pore_volume: pore_volume?, pore_exchange: pore_exchange?, band })
    });
    chamber.finish();
    Some(ChamberPlan { kind: kind?, volume: volume?, calibration })
}

fn dead_man(section: &Section<'_>, contactor: bool) -> DeadMan {
    let Some(dies) = section.section("if_computer_dies") else { return DeadMan::Nothing };
    let drops = dies.read("contactor_drops_after", |text| quantities::duration_in(text, 100, 600_000));
    let times_out = dies.read("controller_times_out_after", |text| quantities::duration_in(text, 100, 600_000));
    if drops.is_some() && !contactor {
        dies.lacks("contactor_drops_after", "names a contactor's heartbeat, but the furnace has no `contactor`");
    }
    if times_out.is_some() && !section.has("controller") {
        dies.lacks("controller_times_out_after", "names a controller's time-out, but the furnace has no `controller`");
    }
    if drops.is_some() && times_out.is_some() {
        dies.problem("controller_times_out_after", "stands beside `contactor_drops_after`: give one of the two");
    }
    dies.finish();
    match (drops, times_out) {
        (Some(drops_after), _) => DeadMan::ContactorHeartbeat { drops_after },
        (None, Some(after)) => DeadMan::ControllerTimeOut { after },
        (None, None) => DeadMan::Nothing,
    }
}

fn gas(section: &Section<'_>) -> Option<GasSettings> {
    let supply = section.read("supply", str::parse::<Name>);
    let meter = point(section, "meter");
    let resolution = section.read("meter_resolution", quantities::gas_flow);
    let valve = point(section, "gas_valve");
    let unpowered = section.read("gas_valve_unpowered", |text| match text {
        "open" => Ok(true),
        "shut" => Ok(false),
        _ => Err(format!("{text:?} is neither open nor shut")),
    });
    if valve.is_some() && unpowered.is_none() && !section.has("gas_valve_unpowered") {
        section.missing("gas_valve_unpowered", "gas_valve_unpowered = \"open\" or \"shut\"");
    }
    let purge = section.section("purge");
    let Some(supply) = supply else {
        if let Some(purge) = purge {
            purge.lacks("", "is set, but the furnace has no `supply` to purge it with");
        }
        return None;
    };
    let Some(purge) = purge else {
        section.missing("purge", "[furnace.NAME.purge] with changes, flow and hold");
        return None;
    };
    if meter.is_none() && !section.has("meter") {
        section.lacks(
            "meter",
            "is missing: a furnace that is purged before it heats needs evidence of flow; name a meter's unit, \
             or one of the driver `hand-kept` that a person reads",
        );
    }
    let purge = self::purge(purge)?;
    let resolution = resolution.unwrap_or(purge.hold * 0.25);
    if purge.hold < resolution {
        section.problem(
            "purge.hold",
            "is less than the meter can tell from none (`meter_resolution`); use a meter of a smaller range",
        );
    }
    Some(GasSettings { supply, meter, resolution, valve: valve.zip(unpowered), purge })
}

fn purge(section: Section<'_>) -> Option<PurgePlan> {
    let flow = section.need("flow", "flow = \"8 L/min\"", quantities::gas_flow);
    let hold = section.need("hold", "hold = \"2 L/min\"", quantities::gas_flow);
    let ceiling = section.read("unpurged_ceiling", quantities::furnace_temperature).unwrap_or_else(|| celsius(200.0));
    if in_celsius(ceiling) > 400.0 {
        section.problem("unpurged_ceiling", "is above 400 °C, where steel scales in air; 200 °C is usual");
    }
    let changes = section.number("changes", 1.0, 100.0).unwrap_or(8.0);
    let oxygen_limit = section.read("oxygen_limit", quantities::share);
    let exposure_budget_s = section.number("exposure_budget_s", 0.0, 1e6).unwrap_or(3.0);
    if hold.is_some_and(|hold| hold.value <= 0.0) {
        section
            .problem("hold", "is nothing: a flow that is to be none is never missed; give what keeps air out of the hot chamber");
    }
    if flow.zip(hold).is_some_and(|(flow, hold)| hold > flow) {
        section.problem("hold", "is more than `flow`; the holding flow is the smaller one");
    }
    section.finish();
    Some(PurgePlan {
        changes,
        flow: flow?,
        hold: hold?,
        unpurged_ceiling: ceiling,
        oxygen_limit: oxygen_limit.unwrap_or_else(|| Ratio::new::<part_per_million>(500.0)),
        exposure_budget_s,
    })
}

fn on_silence(section: &Section<'_>) -> OnSilence {
    let usual = OnSilence { after: Duration::from_secs(180), then: SteelChoice::SlowCoolUnderGas };
    let Some(silence) = section.section("if_nobody_answers") else { return usual };
    let after = silence.read("after", |text| quantities::duration_in(text, 5_000, 86_400_000));
    let then = silence.read("do", |text| match text {
        "finish" => Ok(SteelChoice::Finish),
        "slow-cool under gas" => Ok(SteelChoice::SlowCoolUnderGas),
        "quench now" => Err("cannot be quench now: nobody is there to pull the part".to_owned()),
        _ => Err(format!("{text:?} is neither \"finish\" nor \"slow-cool under gas\"")),
    });
    silence.finish();
    OnSilence { after: after.unwrap_or(usual.after), then: then.unwrap_or(usual.then) }
}

pub(super) fn tanks(root: &Section<'_>) -> Vec<TankSettings> {
    root.named("tank").into_iter().filter_map(|(name, section)| tank(name, section)).collect()
}

fn tank(name: Name, section: Section<'_>) -> Option<TankSettings> {
    let built = read_tank(name, &section);
    section.finish();
    built
}

fn read_tank(name: Name, section: &Section<'_>) -> Option<TankSettings> {
    let thermometer = point(section, "thermometer");
    if thermometer.is_none() {
        section.missing("thermometer", "thermometer = \"by-hand/oil-thermometer\"");
    }
    let volume = section.need("volume", "volume = \"12 L\"", quantities::volume);
    let heater = section.read("heater", quantities::power);
    let level = point(section, "level");
    let agitation = point(section, "agitation");
    let part_under = point(section, "part_under");
    let stale_after = section.read("stale_after", |text| quantities::duration_in(text, 1_000, 86_400_000));
    let level_least = section.read("level_least", quantities::share);
    let Some(oil) = section.section("oil") else {
        section.missing("oil", "oil = { window = [\"40 C\", \"70 C\"], flash_point = \"180 C\" }");
        return None;
    };
    let ends: Vec<Temperature> = oil.texts("window").iter().filter_map(|text| quantities::bath_temperature(text).ok()).collect();
    let window = match ends[..] {
        [low, high] if low < high => Some((low, high)),
        _ => {
            oil.problem("window", "is the lower and the upper end, written like [\"40 C\", \"70 C\"]");
            None
        }
    };
    let flash_point = oil.need("flash_point", "flash_point = \"180 C\"", quantities::bath_temperature);
    // 50 °F, as workplace rules for oil quenching have it (Washington Administrative Code 296-835-13005).
    let flash_margin = oil.read("flash_margin", quantities::step).unwrap_or_else(|| kelvins(50.0 / 1.8));
    oil.finish();
    if let (Some((_, high)), Some(flash)) = (window, flash_point)
        && high > flash - flash_margin
    {
        section.problem("oil.window", "reaches into the margin below the flash point; lower its upper end");
    }
    Some(TankSettings {
        name,
        thermometer: thermometer?,
        level,
        agitation,
        part_under,
        stale_after: stale_after.unwrap_or(Duration::from_secs(1800)),
        volume: volume?,
        heater,
        window: window?,
        flash_point,
        flash_margin,
        level_least: level_least.unwrap_or_else(|| Ratio::new::<ratio>(0.8)),
    })
}

pub(super) fn room(root: &Section<'_>) -> RoomSettings {
    let mut room = RoomSettings {
        volume: None,
        air_changes: Frequency::new::<hertz>(0.0),
        oxygen: None,
        first_level: Ratio::new::<percent>(19.5),
        second_level: Ratio::new::<percent>(18.0),
        debounce: Duration::from_secs(5),
        stale_after: Duration::from_secs(60),
        horn: None,
    };
    let Some(section) = root.section("room") else { return room };
    room.volume = section.read("volume", quantities::volume);
    room.air_changes = section.read("air_changes", quantities::air_changes).unwrap_or(room.air_changes);
    room.oxygen = point(&section, "oxygen");
    room.horn = point(&section, "horn");
    room.first_level = section.read("first_level", quantities::share).unwrap_or(room.first_level);
    room.second_level = section.read("second_level", quantities::share).unwrap_or(room.second_level);
    room.debounce = section.read("debounce", |text| quantities::duration_in(text, 0, 60_000)).unwrap_or(room.debounce);
    room.stale_after =
        section.read("stale_after", |text| quantities::duration_in(text, 1_000, 600_000)).unwrap_or(room.stale_after);
    if room.second_level >= room.first_level {
        section.problem("second_level", "is not below `first_level`");
    }
    section.finish();
    room
}
