//! A configuration brought together with what its drivers say: all that `check` shows and `serve` starts from.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use hearthward_drivers::{Compiler, Engine, EngineError, LineKind, Refusal, Setting, Surveyed, SurveyedUnit, survey};
use hearthward_equipment::quantity::{celsius, in_celsius};
use hearthward_equipment::{Evidence, Name, ShopMs, UnitAddress};
use hearthward_process::cylinder::Cylinder;
use hearthward_process::room::Room;
use hearthward_supervise::interlock::entry;
use hearthward_supervise::output::Outputs;
use hearthward_supervise::plan::{DeadMan, FurnacePlan, Heating, SteelChoice};
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, Shop};
use serde::Serialize;
use uom::si::ratio::percent;

use crate::settings::{DriverSettings, Problem, Problems, Settings, Sources};
use crate::wiring::{Catalogue, UnitFacts, Wired, wire};

/// A shop that can be started.
#[derive(Debug)]
pub struct Assembly {
    /// The checked settings.
    pub settings: Settings,
    /// Plans for the core and the host.
    pub wired: Wired,
    /// The engine that has compiled the drivers already.
    pub engine: Engine,
    /// What was found out about the drivers.
    pub surveyed: Vec<Surveyed>,
}

/// Reads a configuration, surveys its drivers without touching a line, and wires it up.
///
/// # Errors
/// Every problem found, all at once; nothing was started.
pub fn assemble(sources: &Sources) -> Result<Assembly, Vec<Problem>> {
    assemble_on(sources, |cache, compiler| Engine::new(Some(cache.to_owned()), compiler))
}

/// The same without making anything: drivers are compiled in memory where there is no folder of compiled ones yet, or it belongs to
/// another user.
///
/// # Errors
/// As [`assemble`].
pub fn look(sources: &Sources) -> Result<Assembly, Vec<Problem>> {
    assemble_on(sources, |cache, compiler| {
        let kept = cache.is_dir().then(|| Engine::new(Some(cache.to_owned()), compiler.clone()).ok()).flatten();
        kept.map_or_else(|| Engine::new(None, compiler), Ok)
    })
}

fn assemble_on(
    sources: &Sources,
    engine: impl FnOnce(&Path, Compiler) -> Result<Engine, EngineError>,
) -> Result<Assembly, Vec<Problem>> {
    let problems = Problems::default();
    let Some(settings) = Settings::read(sources, &problems) else { return Err(problems.into_list()) };
    let compiler = match Compiler::this_program() {
        Ok(compiler) => compiler,
        Err(error) => {
            problems.note(
                "",
                "host",
                format!("this program's own file, which compiles drivers, cannot be found: {error}; start it by its path"),
            );
            return Err(problems.into_list());
        }
    };
    let engine = match engine(&settings.host.cache, compiler) {
        Ok(engine) => engine,
        Err(error) => {
            problems.note("", "host.cache", error.to_string());
            return Err(problems.into_list());
        }
    };
    let specs: Vec<_> = settings.drivers.iter().map(|driver| driver.spec.clone()).collect();
    let surveyed = survey(&engine, &specs);
    let mut catalogue = Catalogue::default();
    // One with problems of its own was not surveyed, and is complained about at its own place.
    let is_read = |name: &&Name| settings.drivers.iter().any(|driver| driver.spec.name == **name);
    settings.driver_names.iter().filter(|name| !is_read(name)).for_each(|name| catalogue.add_dark(name.clone()));
    for (driver, found) in settings.drivers.iter().zip(&surveyed) {
        enter(driver, found, &mut catalogue, &problems);
    }
    check_line_loads(&settings, &surveyed, &problems);
    match wire(&settings, &catalogue, &problems) {
        Some(wired) if problems.is_empty() => Ok(Assembly { settings, wired, engine, surveyed }),
        _ => Err(problems.into_list()),
    }
}

/// Enters what a driver offers, or its problems at the place where its settings are written.
fn enter(driver: &DriverSettings, found: &Surveyed, catalogue: &mut Catalogue, problems: &Problems) {
    let name = &driver.spec.name;
    for problem in &found.problems {
        let key = match (&found.refusal, problem.key.is_empty()) {
            (Some(_), _) => format!("driver.{name}.component"),
            (None, true) => format!("driver.{name}"),
            (None, false) => format!("driver.{name}.settings.{}", problem.key),
        };
        let mend = match &found.refusal {
            Some(Refusal::Unreadable { .. }) => "; name the folder of drivers with --drivers or host.drivers",
            _ => "",
        };
        let place = driver.places.get(&problem.key).unwrap_or(&driver.home);
        problems.note(place, key, format!("{}{mend}", problem.message));
    }
    if !found.problems.is_empty() {
        catalogue.add_dark(name.clone());
    }
    for unit in &found.units {
        let facts = UnitFacts {
            readings: unit.readings.clone(),
            heating: unit.heating.clone(),
            by_hand: unit.evidence == Evidence::Confirmed,
            standing_cuts: unit.standing_cuts > 0,
            on_a_line: !driver.spec.lines.is_empty(),
            faces: unit.faces.clone(),
            notes: texts(&unit.notes),
            waits_ms: number(&unit.notes, "waits_ms"),
            most: unit
                .readings
                .iter()
                .filter_map(|reading| Some((reading.clone(), number(&unit.notes, &format!("most.{reading}"))?)))
                .collect(),
        };
        catalogue.add(UnitAddress { driver: name.clone(), unit: unit.name.clone() }, facts);
    }
}

/// The notes that are words.
fn texts(notes: &[(String, Setting)]) -> Vec<(String, String)> {
    let text = |(name, value): &(String, Setting)| match value {
        Setting::Text(text) => Some((name.clone(), text.clone())),
        Setting::Flag(_) | Setting::Number(_) | Setting::Whole(_) => None,
    };
    notes.iter().filter_map(text).collect()
}

/// A note that is a number.
fn number(notes: &[(String, Setting)], name: &str) -> Option<f64> {
    notes.iter().find(|(known, _)| known == name).and_then(|(_, value)| match value {
        Setting::Number(number) => Some(*number),
        Setting::Whole(whole) => Some(*whole as f64),
        Setting::Text(_) | Setting::Flag(_) => None,
    })
}

/// The largest share of a line's time that polling may take; above it a cut or a person's write would wait behind reads.
const MOST_LINE_LOAD: f64 = 0.8;

/// Time that one exchange takes on a TCP line besides its bytes, from memory: a small controller answers within some milliseconds.
const EXCHANGE_S: f64 = 0.004;

/// The share of each line's time that the polls planned take, in the order of the lines.
fn line_loads(settings: &Settings, surveyed: &[Surveyed]) -> Vec<(Name, f64)> {
    let mut busy: BTreeMap<&Name, f64> = BTreeMap::new();
    for (driver, found) in settings.drivers.iter().zip(surveyed) {
        for cost in found.units.iter().flat_map(|unit| &unit.costs) {
            let turnaround =
                settings.lines.iter().find(|line| line.name == cost.line).map_or(0.0, |line| line.turnaround.as_secs_f64());
            *busy.entry(&cost.line).or_default() += (EXCHANGE_S + turnaround) / driver.spec.poll_every.as_secs_f64();
        }
    }
    busy.into_iter().map(|(line, share)| (line.clone(), share)).collect()
}

fn check_line_loads(settings: &Settings, surveyed: &[Surveyed], problems: &Problems) {
    for (line, share) in line_loads(settings, surveyed).into_iter().filter(|(_, share)| *share > MOST_LINE_LOAD) {
        let words = format!(
            "would be busy {:.0} % of the time with the polls planned; poll its drivers less often (`poll`) so that at most {:.0} % is used",
            share * 100.0,
            MOST_LINE_LOAD * 100.0
        );
        problems.note("", format!("line.{line}"), words);
    }
}

/// What `check` says of a furnace.
#[derive(Debug, Serialize)]
pub struct FurnaceCard {
    /// Its name.
    pub name: Name,
    /// Its own limit.
    pub limit_c: f64,
    /// What the maker permits.
    pub rated_c: f64,
    /// By what heat is cut if this computer dies.
    pub if_computer_dies: String,
    /// Interlocks that only warn.
    pub warns_only: Vec<String>,
    /// Protection that is not wired, in words.
    pub not_wired: Vec<String>,
    /// The default on silence, where gas protects steel here.
    pub on_silence: Option<String>,
}

/// What `check` says of a driver.
#[derive(Debug, Serialize)]
pub struct DriverCard {
    /// The instance's name.
    pub name: Name,
    /// Its file.
    pub component: PathBuf,
    /// What it calls itself.
    pub driver: String,
    /// Its own version.
    pub version: String,
    /// The contract version that it was built against.
    pub contract: String,
    /// The faces and powers that it exports.
    pub exports: Vec<String>,
    /// The units that its settings make.
    pub units: Vec<UnitCard>,
}

/// What `check` says of a unit.
#[derive(Debug, Serialize)]
pub struct UnitCard {
    /// Its name.
    pub name: Name,
    /// The faces that it is read by.
    pub faces: Vec<String>,
    /// What one read of it costs, by line.
    pub read_costs: BTreeMap<Name, ReadCost>,
}

/// What one read of a unit costs on a line.
#[derive(Debug, Default, Serialize)]
pub struct ReadCost {
    /// Requests with their replies.
    pub exchanges: u32,
    /// Bytes out, all requests together.
    pub request_bytes: u64,
    /// Bytes back, all replies together.
    pub reply_bytes: u64,
}

impl Assembly {
    /// What is to be said of each driver, in the order of the configuration.
    #[must_use]
    pub fn drivers(&self) -> Vec<DriverCard> {
        let card = |(driver, found): (&DriverSettings, &Surveyed)| DriverCard {
            name: driver.spec.name.clone(),
            component: driver.spec.component.clone(),
            driver: found.driver.clone(),
            version: found.version.clone(),
            contract: found.contract.clone(),
            exports: found.exports.clone(),
            units: found.units.iter().map(unit_card).collect(),
        };
        self.settings.drivers.iter().zip(&self.surveyed).map(card).collect()
    }

    /// What is to be said of each furnace, from the core's own mouth.
    #[must_use]
    pub fn furnaces(&self) -> Vec<FurnaceCard> {
        let mut shop = Shop::new(self.wired.plan.clone(), None, Away::Unknown);
        // What acts is known once a tick has looked at what there is.
        shop.tick(ShopMs(0), &mut Outputs::default());
        let mut view = View::default();
        shop.view(&mut view);
        self.wired
            .plan
            .furnaces
            .iter()
            .zip(view.furnaces)
            .map(|(plan, view)| {
                let warns_only =
                    view.interlocks.iter().filter(|interlock| !interlock.acts).map(|interlock| entry(interlock.kind).word());
                FurnaceCard {
                    name: plan.name.clone(),
                    limit_c: to_thousandths(in_celsius(plan.limit)),
                    rated_c: to_thousandths(in_celsius(plan.rated)),
                    if_computer_dies: view.if_computer_dies,
                    warns_only: warns_only.collect(),
                    not_wired: not_wired(plan, &self.wired.plan.furnaces),
                    on_silence: on_silence(plan),
                }
            })
            .collect()
    }

    /// One line of words for each line that bytes go over.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let loads = line_loads(&self.settings, &self.surveyed);
        self.settings
            .lines
            .iter()
            .map(|line| {
                let LineKind::Tcp { address } = &line.kind else { return format!("line {}", line.name) };
                let load = loads.iter().find(|(name, _)| *name == line.name).map_or(0.0, |(_, share)| *share);
                let rest = match line.turnaround.as_millis() {
                    0 => String::new(),
                    rest_ms => format!(" and {rest_ms} ms"),
                };
                format!(
                    "line {} to {address}: about {:.0} % busy with polls; a cut waits for one exchange{rest} at most",
                    line.name,
                    load * 100.0
                )
            })
            .collect()
    }

    /// What the gas of the shop can do to the people in the room, by the room's volume and the largest cylinder.
    #[must_use]
    pub fn room_card(&self) -> String {
        let settings = &self.settings.room;
        let monitor = if settings.oxygen.is_some() { "" } else { " There is NO oxygen monitor: nothing here would tell you." };
        let Some(volume) = settings.volume else {
            return format!(
                "room: its volume is not given (`room.volume`), so what a cylinder does to its air cannot be worked out.{monitor}"
            );
        };
        let cards = self.settings.supplies.iter().filter_map(|supply| {
            let cylinder = Cylinder::new(supply.gas, supply.cylinder_volume?).ok()?;
            let room = Room::new(volume, settings.air_changes, celsius(20.0)).ok()?;
            let whole = room.whole_cylinder(&cylinder, supply.filled, celsius(20.0), settings.first_level).ok()?;
            Some(format!(
                "a full cylinder of {} let out at once leaves {:.1} % oxygen on average, at worst",
                supply.name,
                whole.worst.get::<percent>()
            ))
        });
        let cards: Vec<String> = cards.collect();
        let level = settings.first_level.get::<percent>();
        format!(
            "room of {:.0} m³: {} (alarm below {level:.1} %).{monitor} Ventilate; local codes decide.",
            volume.value,
            cards.join("; ")
        )
    }

    /// Whether nothing here is real: no line, and every unit says that it is simulated. What a person keeps by hand is real equipment.
    #[must_use]
    pub fn is_simulated(&self) -> bool {
        let simulated = |unit: &SurveyedUnit| unit.notes.iter().any(|(key, is)| key == "simulated" && *is == Setting::Flag(true));
        self.settings.lines.is_empty() && self.surveyed.iter().flat_map(|driver| &driver.units).all(simulated)
    }
}

fn unit_card(unit: &SurveyedUnit) -> UnitCard {
    let mut read_costs: BTreeMap<Name, ReadCost> = BTreeMap::new();
    for cost in &unit.costs {
        let sum = read_costs.entry(cost.line.clone()).or_default();
        sum.exchanges += 1;
        sum.request_bytes += u64::from(cost.request_bytes);
        sum.reply_bytes += u64::from(cost.reply_bytes);
    }
    UnitCard { name: unit.name.clone(), faces: unit.faces.clone(), read_costs }
}

/// What a person may believe to be there, and is not.
fn not_wired(plan: &FurnacePlan, all: &[FurnacePlan]) -> Vec<String> {
    let commanded = matches!(plan.heating, Heating::SetPoint | Heating::Program);
    let lacks = [
        (plan.door.is_none(), "no door switch: nothing here sees an open door, and none cuts heat"),
        (commanded && plan.contactor.is_none(), "no contactor: heat is cut by telling the controller, and by nothing else"),
        (
            commanded && plan.heat_on.is_none() && plan.output_share.is_none(),
            "nothing shows whether its controller heats: a cut counts as obeyed on its reply alone",
        ),
        (
            plan.contactor.is_some() && plan.dead_man == DeadMan::Nothing,
            "no heartbeat to its contactor: it stays closed if this computer dies",
        ),
    ];
    let mut words: Vec<String> = lacks.into_iter().filter(|(lacks, _)| *lacks).map(|(_, words)| words.to_owned()).collect();
    let same_door = |other: &&FurnacePlan| plan.door.is_some() && other.door == plan.door && other.name != plan.name;
    let others: Vec<&str> = all.iter().filter(same_door).map(|other| other.name.as_str()).collect();
    if !others.is_empty() {
        let others = others.join(", ");
        words.push(format!("no door switch of its own: it shares that of {others}, which must see the doors of all of them"));
    }
    words
}

/// Without the last bits that the way over kelvins leaves: 950, not 950.0000000000001.
fn to_thousandths(number: f64) -> f64 {
    (number * 1e3).round() / 1e3
}

fn on_silence(plan: &FurnacePlan) -> Option<String> {
    plan.gas.as_ref()?;
    let choice = match plan.on_silence.then {
        SteelChoice::QuenchNow => "quench now",
        SteelChoice::Finish => "finish the cycle",
        SteelChoice::SlowCoolUnderGas => "slow-cool under gas",
    };
    Some(format!("{choice}, after {} s", plan.on_silence.after.as_secs()))
}
