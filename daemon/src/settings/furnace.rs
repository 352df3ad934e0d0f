//! A furnace as the configuration says it: what reaches it, what it may do, its chamber, its gas, its door and its people.

use std::time::Duration;

use hearthward_equipment::quantity::{GasFlow, Temperature, TemperatureStep, celsius, in_celsius, kelvins};
use hearthward_equipment::{Name, UnitAddress};
use hearthward_supervise::plan::{Calibration, ChamberKind, ChamberPlan, DeadMan, Heating, OnSilence, PurgePlan, SteelChoice};
use uom::si::f64::{Power, Ratio};
use uom::si::ratio::part_per_million;

use super::equipment::{PointRef, point};
use super::policy::{self, PolicySettings};
use super::quantities;
use super::section::Section;

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
