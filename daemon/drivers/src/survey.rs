//! What drivers say of themselves for their settings, found out without touching a line.

use std::time::Duration;

use hearthward_equipment::reading::field;
use hearthward_equipment::{Evidence, Name};

use crate::abi::{self, CallError, Description, Face, Guest, Listed};
use crate::alarm::Alarm;
use crate::clock::ShopClock;
use crate::cut::StandingCut;
use crate::engine::{Engine, Loaded};
use crate::plan::{DriverSpec, Setting};
use crate::refusal::{Problem, Refusal};
use crate::sandbox::{Call, Inside};

/// The longest that `describe` and `check` may take: they compute, and wait for nothing.
const CHECK_LIMIT: Duration = Duration::from_secs(2);

/// What one driver instance offers, or what is wrong with it. It is of use only if there are no problems.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Surveyed {
    /// The instance's name.
    pub name: String,
    /// The file's SHA-256 in hexadecimal; empty if it could not be read.
    pub digest: String,
    /// The contract version that it was built against; empty if it was refused.
    pub contract: String,
    /// The faces and powers that it exports.
    pub exports: Vec<String>,
    /// What it calls itself.
    pub driver: String,
    /// Its own version.
    pub version: String,
    /// What it notes of itself.
    pub notes: Vec<(String, Setting)>,
    /// The units that these settings make.
    pub units: Vec<SurveyedUnit>,
    /// Why the file was refused, if it was.
    pub refusal: Option<Refusal>,
    /// Everything that is wrong. The key is that of a setting, or empty when the problem is the driver's as a whole.
    pub problems: Vec<Problem>,
}

/// A unit as its driver lists it.
#[derive(Clone, Debug, PartialEq)]
pub struct SurveyedUnit {
    /// Its name.
    pub name: Name,
    /// The faces that it is read by, by the contract's names.
    pub faces: Vec<String>,
    /// Everything that a read can bring, by the names that addresses use.
    pub readings: Vec<Name>,
    /// Those of them that can heat when they are written: only an order to heat may reach them.
    pub heating: Vec<Name>,
    /// How many standing cuts the host holds for it.
    pub standing_cuts: usize,
    /// What each exchange of one read costs on a line.
    pub costs: Vec<WireCost>,
    /// What its values rest on.
    pub evidence: Evidence,
    /// Everything else that the driver notes of it.
    pub notes: Vec<(String, Setting)>,
}

/// What one exchange of a read costs on a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WireCost {
    /// The line.
    pub line: Name,
    /// Bytes out.
    pub request_bytes: u32,
    /// Bytes back.
    pub reply_bytes: u32,
}

/// A unit as the host works with it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct UnitFacts {
    pub(crate) name: Name,
    pub(crate) faces: Vec<Face>,
    face_names: Vec<String>,
    /// Name in addresses, and name in the contract.
    pub(crate) readings: Vec<(Name, String)>,
    pub(crate) cuts: Vec<(u32, StandingCut)>,
    costs: Vec<WireCost>,
    pub(crate) evidence: Evidence,
    pub(crate) notes: Vec<(String, Setting)>,
    /// Whether reading it needs a line.
    pub(crate) on_a_line: bool,
}

/// Loads every component, checks it, and asks it about its settings. Touches no line. All problems of all drivers at once.
///
/// # Panics
/// Never: the thread that it uses holds no lock and has no panic of its own.
#[must_use]
pub fn survey(engine: &Engine, drivers: &[DriverSpec]) -> Vec<Surveyed> {
    survey_all(engine, drivers).into_iter().map(|(surveyed, _)| surveyed).collect()
}

/// A driver that may be started.
#[derive(Clone, Debug)]
pub(crate) struct Sound {
    pub(crate) loaded: std::sync::Arc<Loaded>,
    pub(crate) units: Vec<UnitFacts>,
}

/// As [`survey`], with what starting needs for those without problems.
pub(crate) fn survey_all(engine: &Engine, drivers: &[DriverSpec]) -> Vec<(Surveyed, Option<Sound>)> {
    // A thread of its own, since the caller may be on a runtime already, where another one may not block.
    std::thread::scope(|scope| {
        let asking = scope.spawn(|| {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build();
            drivers
                .iter()
                .map(|spec| match &runtime {
                    Ok(runtime) => runtime.block_on(survey_one(engine, spec)),
                    Err(why) => (broken(spec, format!("no runtime can be had: {why}")), None),
                })
                .collect()
        });
        asking
            .join()
            .unwrap_or_else(|_| drivers.iter().map(|spec| (broken(spec, "the survey broke off".to_owned()), None)).collect())
    })
}

fn broken(spec: &DriverSpec, message: String) -> Surveyed {
    let problems = vec![Problem { key: String::new(), message }];
    Surveyed { name: spec.name.to_string(), problems, ..Surveyed::default() }
}

async fn survey_one(engine: &Engine, spec: &DriverSpec) -> (Surveyed, Option<Sound>) {
    let loaded = match engine.load(spec) {
        Ok(loaded) => loaded,
        Err(refusal) => {
            let mut surveyed = broken(spec, refusal.to_string());
            surveyed.refusal = Some(refusal);
            return (surveyed, None);
        }
    };
    let mut surveyed = Surveyed {
        name: spec.name.to_string(),
        digest: loaded.digest.clone(),
        contract: loaded.portrait.contract.to_string(),
        exports: loaded.portrait.faces.iter().map(|face| (*face).to_owned()).collect(),
        ..Surveyed::default()
    };
    let facts = match ask(engine, spec, &loaded).await {
        Ok((description, Ok(listed))) => {
            Description { name: surveyed.driver, version: surveyed.version, notes: surveyed.notes } = description;
            facts(spec, &loaded.portrait.faces, listed)
        }
        Ok((description, Err(complaints))) => {
            Description { name: surveyed.driver, version: surveyed.version, notes: surveyed.notes } = description;
            Err(complaints.into_iter().map(|told| Problem { key: told.key, message: told.message }).collect())
        }
        Err(error) => Err(vec![Problem { key: String::new(), message: format!("it cannot be asked: {}", error.fault()) }]),
    };
    match facts {
        Ok(units) => {
            surveyed.units = units.iter().map(UnitFacts::shown).collect();
            (surveyed, Some(Sound { loaded, units }))
        }
        Err(problems) => {
            surveyed.problems = problems;
            (surveyed, None)
        }
    }
}

type Asked = (Description, Result<Vec<Listed>, Vec<abi::Complaint>>);

async fn ask(engine: &Engine, spec: &DriverSpec, loaded: &Loaded) -> Result<Asked, CallError> {
    let asking = async {
        let store = Inside::store(engine, spec.name.clone(), ShopClock::stepped(), Vec::new());
        let mut guest: Box<dyn Guest> = loaded.prepared.instantiate(store, Call::dry(CHECK_LIMIT)).await?;
        let description = guest.describe(Call::dry(CHECK_LIMIT)).await?;
        let listed = guest.check(Call::dry(CHECK_LIMIT), &spec.settings, &spec.lines).await?;
        Ok((description, listed))
    };
    crate::driver::within(&mut Alarm::default(), CHECK_LIMIT, asking).await
}

/// What a driver lists, judged: names must be names, and every unit needs a face that the driver has.
fn facts(spec: &DriverSpec, exported: &[&str], listed: Vec<Listed>) -> Result<Vec<UnitFacts>, Vec<Problem>> {
    let mut problems = Vec::new();
    let mut units: Vec<UnitFacts> = Vec::new();
    for unit in listed {
        match unit_facts(spec, exported, unit) {
            Ok(unit) if units.iter().any(|known| known.name == unit.name) => {
                problems.push(format!("it lists two units called {}", unit.name));
            }
            Ok(unit) => units.push(unit),
            Err(why) => problems.extend(why),
        }
    }
    if problems.is_empty() {
        Ok(units)
    } else {
        Err(problems.into_iter().map(|message| Problem { key: String::new(), message }).collect())
    }
}

fn unit_facts(spec: &DriverSpec, exported: &[&str], listed: Listed) -> Result<UnitFacts, Vec<String>> {
    let mut problems = Vec::new();
    let name = Name::new(listed.name.clone()).map_err(|why| vec![format!("it lists a unit whose name is no name: {why}")])?;
    let face_names = face_names(&listed, exported);
    let faces: Vec<Face> = face_names.iter().filter_map(|name| Face::of(name)).collect();
    for face in &face_names {
        if !exported.contains(&face.as_str()) || Face::of(face).is_none() {
            problems.push(format!("unit {name} has the face {face:?}, which the driver does not export"));
        }
    }
    if faces.is_empty() {
        problems.push(format!("unit {name} does not say by which face it is read (note \"face\")"));
    }
    let mut readings: Vec<(Name, String)> = Vec::new();
    for wire in listed.readings {
        match Name::new(abi::point_name(faces.first().copied(), &wire)) {
            Ok(point) if readings.iter().any(|(known, _)| *known == point) => {
                problems.push(format!("unit {name} lists {point} twice"));
            }
            Ok(point) => readings.push((point, wire)),
            Err(why) => problems.push(format!("unit {name} lists a reading whose name is no name: {why}")),
        }
    }
    let costs = listed.costs.iter().map(|cost| match spec.lines.get(cost.line as usize) {
        Some(line) => Ok(WireCost { line: line.clone(), request_bytes: cost.request_bytes, reply_bytes: cost.reply_bytes }),
        None => Err(format!("unit {name} counts on a line with index {}, which was not granted", cost.line)),
    });
    let (costs, lacking): (Vec<_>, Vec<_>) = costs.partition(Result::is_ok);
    problems.extend(lacking.into_iter().filter_map(Result::err));
    if !problems.is_empty() {
        return Err(problems);
    }
    let costs: Vec<WireCost> = costs.into_iter().filter_map(Result::ok).collect();
    Ok(UnitFacts {
        on_a_line: !costs.is_empty() || !listed.cuts.is_empty(),
        evidence: evidence(&listed.notes),
        name,
        faces,
        face_names,
        readings,
        cuts: listed.cuts,
        costs,
        notes: listed.notes,
    })
}

/// By the notes `face`; without any, the only one that the driver exports.
fn face_names(listed: &Listed, exported: &[&str]) -> Vec<String> {
    let noted: Vec<String> = texts(&listed.notes, "face").map(str::to_owned).collect();
    if !noted.is_empty() {
        return noted;
    }
    match exported.iter().filter(|face| Face::of(face).is_some()).collect::<Vec<_>>()[..] {
        [only] => vec![(*only).to_owned()],
        _ => Vec::new(),
    }
}

fn evidence(notes: &[(String, Setting)]) -> Evidence {
    match texts(notes, "evidence").next() {
        Some("confirmed") => Evidence::Confirmed,
        Some("estimated") => Evidence::Estimated,
        _ => Evidence::Measured,
    }
}

/// All texts that are noted under a name.
pub(crate) fn texts<'a>(notes: &'a [(String, Setting)], name: &str) -> impl Iterator<Item = &'a str> {
    notes.iter().filter(move |(noted, _)| noted == name).filter_map(|(_, value)| match value {
        Setting::Text(text) => Some(text.as_str()),
        Setting::Flag(_) | Setting::Number(_) | Setting::Whole(_) => None,
    })
}

impl UnitFacts {
    fn shown(&self) -> SurveyedUnit {
        SurveyedUnit {
            name: self.name.clone(),
            faces: self.face_names.clone(),
            readings: self.readings.iter().map(|(name, _)| name.clone()).collect(),
            heating: self.readings.iter().map(|(name, _)| name.clone()).filter(|name| self.can_heat(name)).collect(),
            standing_cuts: self.cuts.len(),
            costs: self.costs.clone(),
            evidence: self.evidence,
            notes: self.notes.clone(),
        }
    }

    /// Whether a point can heat: by its driver's word, or because a controller or a bath's heater works to it.
    pub(crate) fn can_heat(&self, point: &Name) -> bool {
        let works_to = [field::SET_POINT, field::OUTPUT_SHARE, field::HEAT_ON, field::HEATER_ON];
        let wire = self.readings.iter().find(|(name, _)| name == point).map(|(_, wire)| wire.as_str());
        let mut noted = texts(&self.notes, "heats").chain(texts(&self.notes, "cut"));
        works_to.contains(&point.as_str()) || noted.any(|noted| Some(noted) == wire)
    }

    /// The standing cuts that take away heat by one point: those whose note `cut` names it; all of them if the driver does not
    /// tell them apart.
    pub(crate) fn cuts_of(&self, wire: &str) -> Vec<(u32, StandingCut)> {
        let named: Vec<&str> = texts(&self.notes, "cut").collect();
        if named.len() != self.cuts.len() || !named.contains(&wire) {
            return self.cuts.clone();
        }
        named.iter().zip(&self.cuts).filter(|(name, _)| **name == wire).map(|(_, cut)| cut.clone()).collect()
    }
}
